"""`covecast meter`: every look over its whole length, and every limit that it passes."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from preview.commands.options import json_option, load, print_json, scene_argument

if TYPE_CHECKING:
    from collections.abc import Iterator

    from preview.looks.drives import Codes
    from preview.power.meter import Metered
    from preview.power.network import Network
    from preview.scene.layout import Layout
    from preview.scene.model import Look, Scene

__all__ = ["breaks_text", "command", "meter_scene", "meter_text"]

MOST_TRIED = 4_000_000
"""Frames times groups of a look above which further feeds are not tried out: every trial meters the whole look."""


@click.command(name="meter")
@scene_argument
@click.option("--look", "names", multiple=True, metavar="NAME", help="Only this look; may be given again.")
@click.option("--level", type=float, metavar="0..1", help="Instead of each look's own level.")
@click.option("--strict", is_flag=True, help="Exit with 1 where a limit is passed.")
@json_option
def command(scene: str, names: tuple[str, ...], level: float | None, strict: bool, as_json: bool) -> None:
    """Amps, drop and colour shift of every look of SCENE over its whole length: what passes what, where and when."""
    from preview.scene.layout import lay_out

    plan = load(scene)
    layout = lay_out(plan)
    found = meter_scene(plan, layout, names, level)
    if as_json:
        looks = [metered.as_json(plan, layout) for metered in found]
        print_json({"format": 1, "scene": plan.title, "assumed": list(plan.assumed), "looks": looks})
    else:
        click.echo(meter_text(plan, layout, found))
    if strict and any(metered.breaks for metered in found):
        sys.exit(1)


def meter_scene(scene: Scene, layout: Layout, names: tuple[str, ...] = (), level: float | None = None) -> list[Metered]:
    """Every look of a scene, or those named, metered. Raises CovecastError where there is none of that name, or none at all."""
    from preview.looks.drives import find_look
    from preview.looks.library import looks_of
    from preview.power.network import build
    from preview.scene.faults import CovecastError

    if level is not None and not 0 <= level <= 1:
        raise CovecastError(f"--level: expected 0 to 1, found {level:g}")
    looks = [find_look(scene, name) for name in names] if names else [find_look(scene, None), *looks_of(scene)[1:]]
    network = build(scene, layout)
    return [_meter(scene, layout, network, look, level, show=True) for look in looks]


def _meter(
    scene: Scene, layout: Layout, network: Network, look: Look, level: float | None, show: bool = False
) -> Metered:
    from preview.commands.progress import progress_bar
    from preview.looks.drives import drive_blocks, look_times
    from preview.power.meter import meter_frames

    rate = scene.assume.data_frames_per_s
    frames = len(look_times(look, rate))
    long = show and frames * layout.groups > 2_000_000
    with progress_bar(f"Metering {look.name}", frames if long else 0) as bar:

        def blocks() -> Iterator[Codes]:
            done = 0
            for codes in drive_blocks(scene, layout, look, level):
                yield codes
                done += len(codes)
                if long:
                    bar(done)

        return meter_frames(
            scene,
            layout,
            network,
            blocks(),
            rate,
            name=look.name,
            effect=look.effect,
            level=look.level if level is None else level,
        )


def breaks_text(scene: Scene, layout: Layout, found: list[Metered]) -> str:
    """Every break in plain words, by look, each with what would mend it."""
    from preview.looks.drives import channel_blocks, find_look
    from preview.power.cap import cap_of
    from preview.power.mend import mends
    from preview.power.network import build

    lines = []
    for metered in found:
        if not metered.breaks:
            continue
        look = find_look(scene, metered.name)
        network = build(scene, layout)
        cap = cap_of(scene, layout, network, channel_blocks(scene, layout, look), f"look {look.name}")
        level = f"level {cap.level:.3f} keeps every limit" if cap.holds else "no level keeps every limit, not even 0"
        lines.append(f"  look {metered.name} at level {metered.level:g} ({level}):")

        def again(changed: Scene, look: Look = look, level: float = metered.level) -> Metered:
            return _meter(changed, layout, build(changed, layout), look, level)

        for broken in metered.breaks:
            about_groups = broken.kind in ("colour", "dimming", "reset")
            ways = (
                []
                if about_groups and metered.frames * layout.groups > MOST_TRIED
                else mends(scene, layout, broken, again)
            )
            lines.append(f"    {broken}" + "".join(f"\n      {way}" for way in ways))
    if any(" more feed" in line for line in lines):
        lines.append("  `covecast feed` finds the cheapest feeds; it may also move those that are there.")
    return "\n".join(lines)


def meter_text(scene: Scene, layout: Layout, found: list[Metered]) -> str:
    """The meter's report: breaks first, then amps by look and supply, then what drop does."""
    from preview.commands.table import assumed_lines, table

    breaks = breaks_text(scene, layout, found)
    kept = f"{scene.title}: every look keeps every limit." if len(found) > 1 else f"{scene.title}: every limit is kept."
    parts = [f"{scene.title}: limits are passed.\n{breaks}" if breaks else kept]
    amps, drop = [], []
    for metered in found:
        entry = metered.as_json(scene, layout)
        for s, supply in enumerate(entry["supplies"]):
            over = supply["seconds_over"]
            amps.append(
                [
                    "" if s else metered.name, "" if s else f"{metered.level:g}", supply["name"],
                    f"{supply['peak_amps']:.2f}", f"{supply['peak_at_s']:.2f}", f"{supply['limit_amps']:.2f}",
                    f"{over:.1f}" if over else "-", f"{supply['mean_amps']:.2f}", "" if s else f"{entry['mean_watts']:.1f}",
                ]
            )  # fmt: skip
        volts, loss, shift = entry["lowest_volts"], entry["worst_dimming"], entry["worst_colour_steps"]
        drop.append(
            [
                metered.name, f"{volts['volts']:.2f}", _where(volts),
                f"{100 * loss['fraction']:.1f}", _where(loss) if loss["fraction"] > 0 else "-",
                f"{shift['steps']:.1f}", _where(shift) if shift["steps"] > 0 else "-",
            ]
        )  # fmt: skip
    heads = ["<look", "level", "<supply", "peak A", "at s", "limit A", "s over", "mean A", "mean W"]
    parts.append(table(heads, amps))
    heads = ["<look", "lowest V", "<at", "dimming %", "<at", "shift steps", "<at"]
    parts.append(table(heads, drop))
    parts.append(
        f"Limits: supplies to {scene.limits.supply_fraction:g} and fuses to {scene.limits.fuse_fraction:g} of their rating, "
        f"shift {scene.limits.colour_steps:g} steps, dimming {100 * scene.limits.dimming:g} %."
    )
    if scene.assumed:
        parts[-1] += "\n" + assumed_lines(scene.assumed)
    return "\n\n".join(parts)


def _where(entry: dict[str, object]) -> str:
    return f"{entry['run']} {entry['group']}, {entry['at_s']:.2f} s"
