"""`covecast dots`: whether single LEDs show through the covers, from how far, and what would hide them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from preview.commands.options import between, check_png, json_option, load, print_json, scene_argument

if TYPE_CHECKING:
    from preview.commands.drive import OneDrive
    from preview.light.alternatives import Alternative
    from preview.light.dots import Dots, Steps
    from preview.scene.layout import Layout
    from preview.scene.model import Scene

__all__ = ["command"]


@click.command(name="dots")
@scene_argument
@click.option("--run", "run_name", metavar="NAME", help="One run only; for --closeup the first if left out.")
@click.option(
    "--from",
    "from_m",
    type=float,
    callback=between(0.1, 100, "m"),
    metavar="METRES",
    help="Judge every run from this distance instead of the viewer's own.",
)
@click.option("--closeup", metavar="OUT.png", help="Draw a hand's breadth of the run's cover, life-size.")
@click.option(
    "--pixel-mm",
    type=float,
    default=0.25,
    show_default=True,
    callback=between(0.02, 2, "mm"),
    help="Size of a pixel of the screen that the close-up is looked at on.",
)
@click.option(
    "--screen-m",
    type=float,
    default=0.6,
    show_default=True,
    callback=between(0.1, 10, "m"),
    help="Distance of the eye from that screen.",
)
@click.option("--drive", metavar="R,G,B[,W]", help="Codes 0 to 255 for every group.")
@click.option("--drive-csv", metavar="FILE", help="Codes by group: run,group,red,green,blue[,white]; others are dark.")
@click.option("--look", metavar="NAME", help="A look of the scene, with --at; the first if left out.")
@click.option("--at", "at_s", type=float, metavar="SECONDS", help="The moment of the look.")
@click.option("--level", type=float, metavar="0..1", help="Scales the drive; 1 if left out, for a look its own.")
@json_option
def command(
    scene: str,
    run_name: str | None,
    from_m: float | None,
    closeup: str | None,
    pixel_mm: float,
    screen_m: float,
    drive: str | None,
    drive_csv: str | None,
    look: str | None,
    at_s: float | None,
    level: float | None,
    as_json: bool,
) -> None:
    """Whether single LEDs of SCENE show through their covers, from how far, and what would hide them.

    Dots are judged with every colour fully on. With a drive the steps between its groups are judged too, and the close-up shows it; without
    one it shows the scene's first look, half way through.
    """
    import numpy as np

    from preview.commands.drive import one_drive
    from preview.handover.placing import check_place
    from preview.handover.stills import write_png
    from preview.light.alternatives import alternatives_of
    from preview.light.closeup import Screen
    from preview.light.closeup import closeup as draw
    from preview.light.colour import group_xyz
    from preview.light.dots import dots_of, longest_piece, steps_of
    from preview.light.emission import lines_of
    from preview.power.network import build
    from preview.power.solve import solve_volts
    from preview.power.strip import light_fraction
    from preview.scene.faults import CovecastError, unknown
    from preview.scene.layout import lay_out

    plan = load(scene)
    layout = lay_out(plan)
    if run_name is not None and run_name not in layout.run_names:
        raise CovecastError(f"--run: {unknown(run_name, layout.run_names)}")
    if closeup is not None:
        check_png(closeup, "--closeup")
        check_place(Path(closeup))
    chosen = one_drive(plan, layout, drive, drive_csv, look, at_s, level)
    has_drive = any(value is not None for value in (drive, drive_csv, look, at_s, level))
    lines = lines_of(plan, layout)
    runs = [r for r, name in enumerate(layout.run_names) if run_name is None or name == run_name]
    every = dots_of(plan, layout)
    found = [every[r] for r in runs]
    distance = {r: from_m if from_m is not None else every[r].viewer_m for r in runs}
    others = [alternatives_of(plan, r, float(lines.length_m[lines.run == r].max()), distance[r]) for r in runs]

    steps: list[Steps] = []
    xyz = None
    if has_drive or closeup is not None:
        if not has_drive:
            chosen = _shown(plan, layout)
        g = light_fraction(layout, solve_volts(build(plan, layout), chosen.codes))
        xyz = group_xyz(layout, chosen.codes, g)[0]
    if has_drive and xyz is not None:
        steps = [step for step in steps_of(plan, layout, xyz) if run_name in (None, step.run)]
    if closeup is not None and xyz is not None:
        run = runs[0]
        line, groups = longest_piece(plan, lines, run)
        sees = every[run]
        away = distance[run]
        says = (
            f"{plan.title}, {sees.run}: {chosen.says}.",
            f"Pitch {sees.pitch_mm:.1f} mm, {_cover(sees)}, ripple {_percent(sees.ripple)}\u00a0%; {_within(sees)}.",
        )
        room = plan.room
        picture = draw(
            line, np.asarray(xyz)[groups], away, Screen(pixel_mm, screen_m), says, room.ambient_lux, room.ambient_k
        )
        write_png(Path(closeup), picture)
    if as_json:
        print_json(_json(plan, found, others, steps if has_drive else None, from_m))
        return
    _print(plan, found, others, steps, chosen.says, from_m)
    if closeup is not None:
        click.echo(f"\n{closeup}: {found[0].run}, {chosen.says}, life-size where a pixel is {pixel_mm:g} mm")


def _shown(scene: Scene, layout: Layout) -> OneDrive:
    """What the close-up shows where no drive is given: the first look, half way through."""
    import numpy as np

    from preview.commands.drive import OneDrive
    from preview.looks.drives import find_look, look_drive

    look = find_look(scene, None)
    at_s = look.seconds / 2
    says = f"look {look.name} at {at_s:g} s, its own level {look.level:g} (no drive was given)"
    return OneDrive(look_drive(scene, layout, look, np.array([at_s])), says)


def _percent(share: float) -> str:
    """A share in percent, to two figures.

    >>> [_percent(share) for share in (1.0, 0.1305, 0.0041, 0.00002)]
    ['100', '13', '0.41', '0.00']
    """
    return (
        f"{100 * share:.0f}" if share >= 0.0995 else f"{100 * share:.1f}" if share >= 0.00995 else f"{100 * share:.2f}"
    )


def _cover(dots: Dots) -> str:
    return "no cover" if dots.channel is None else f"cover {dots.depth_mm:g} mm away"


def _within(dots: Dots) -> str:
    return f"dots show within {dots.visible_within_m:.2g}\u00a0m" if dots.visible_within_m > 0 else "no dots show"


def _verdict(dots: Dots, from_m: float | None) -> str:
    """What an eye makes of a run from where it is, or from the distance asked for."""
    if from_m is None and not dots.in_view:
        return "cover out of the viewer's sight"
    at = dots.viewer_m if from_m is None else from_m
    if dots.visible_within_m <= 0:
        return "even"
    return "dots show" if at < dots.visible_within_m else "even from there"


def _print(
    scene: Scene,
    found: list[Dots],
    others: list[tuple[Alternative, ...]],
    steps: list[Steps],
    says: str,
    from_m: float | None,
) -> None:
    from preview.commands.table import assumed_lines, table

    click.echo(f"{scene.title}: dots with every colour fully on.\n")
    rows = [
        [
            d.run, d.strip, d.channel or "none", f"{d.pitch_mm:.1f}", f"{d.depth_mm:g}", _percent(d.ripple),
            f"{d.luminance_cd_m2:.0f}", f"{d.visible_within_m:.1f}" if d.visible_within_m else "-",
            f"{d.viewer_m if from_m is None else from_m:.1f}", _verdict(d, from_m),
        ]
        for d in found
    ]  # fmt: skip
    heads = [
        "<run",
        "<strip",
        "<channel",
        "pitch mm",
        "depth mm",
        "ripple %",
        "cd/m²",
        "show within m",
        "eye at m",
        "<",
    ]
    click.echo(table(heads, rows))
    first = True
    for dots, ways in zip(found, others, strict=True):
        if _verdict(dots, from_m) != "dots show":
            continue
        if first:
            click.echo("\nWhat would hide them from there:")
            first = False
        words = "; ".join(f"{way.says} (ripple {_percent(way.ripple)} %)" for way in ways)
        click.echo(f"  {dots.run}: {words or 'nothing that is commonly sold: move the strip out of sight'}")
    if steps:
        click.echo(f"\nSteps between neighbouring groups, {says}:\n")
        rows = [
            [
                s.run, f"{s.group} | {s.group + 1}", _percent(s.contrast), f"{s.colour_steps:.1f}",
                f"{s.visible_within_m:.1f}" if s.visible_within_m else "-",
            ]
            for s in steps
        ]  # fmt: skip
        click.echo(table(["<run", "groups", "light %", "colour steps", "show within m"], rows))
    if scene.assumed:
        click.echo("\n" + assumed_lines(scene.assumed))


def _json(
    scene: Scene,
    found: list[Dots],
    others: list[tuple[Alternative, ...]],
    steps: list[Steps] | None,
    from_m: float | None,
) -> dict[str, Any]:
    from dataclasses import asdict

    data: dict[str, Any] = {
        "format": 1,
        "scene": scene.title,
        "assumed": list(scene.assumed),
        "dots": [
            {**asdict(dots), "judged_from_m": dots.viewer_m if from_m is None else from_m, "says": _verdict(dots, from_m),
             "alternatives": [asdict(way) for way in ways]}
            for dots, ways in zip(found, others, strict=True)
        ],
    }  # fmt: skip
    if steps is not None:
        data["steps"] = [asdict(step) for step in steps]
    return data
