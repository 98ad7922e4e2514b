"""`covecast cap`: the cap of every look and of any content."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from preview.commands.options import json_option, load, print_json, scene_argument

if TYPE_CHECKING:
    from preview.power.cap import Cap
    from preview.scene.layout import Layout
    from preview.scene.model import Scene

__all__ = ["cap_text", "caps_of", "command"]


@click.command(name="cap")
@scene_argument
@click.option("--look", "names", multiple=True, metavar="NAME", help="Only this look; may be given again.")
@json_option
def command(scene: str, names: tuple[str, ...], as_json: bool) -> None:
    """The largest level of SCENE that keeps every limit, with every lower one: for each look, and for any content."""
    from preview.scene.layout import lay_out

    plan = load(scene)
    found = caps_of(plan, lay_out(plan), names)
    if as_json:
        print_json(
            {"format": 1, "scene": plan.title, "assumed": list(plan.assumed), "caps": [c.as_json() for c in found]}
        )
    else:
        click.echo(cap_text(plan, found))


def caps_of(scene: Scene, layout: Layout, names: tuple[str, ...] = ()) -> list[Cap]:
    """The caps of a scene's looks, or of those named, and last that of any content."""
    from preview.commands.progress import progress_bar
    from preview.looks.drives import channel_blocks, find_look
    from preview.looks.library import looks_of
    from preview.power.cap import cap_any, cap_of
    from preview.power.network import build

    looks = [find_look(scene, name) for name in names] if names else list(looks_of(scene))
    network = build(scene, layout)
    found = []
    with progress_bar("Finding the cap", len(looks)) as done:
        for number, look in enumerate(looks, start=1):
            blocks = channel_blocks(scene, layout, look)
            found.append(cap_of(scene, layout, network, blocks, f"look {look.name}"))
            done(number)
    return [*found, cap_any(scene, layout, network)]


def cap_text(scene: Scene, found: list[Cap]) -> str:
    """The caps as a table, with the level each look is planned at."""
    from preview.commands.table import assumed_lines, table
    from preview.looks.library import looks_of

    planned = {f"look {look.name}": look.level for look in looks_of(scene)}
    rows = []
    for cap in found:
        level = planned.get(cap.content)
        what = "nothing" if cap.limited_by is None else cap.limited_by
        fits = "" if level is None or cap.holds else "no level holds"
        if level is not None and cap.holds and level > cap.level + 1e-9:
            fits = "planned too bright"
        rows.append(
            [
                cap.content, f"{cap.level:.3f}", str(cap.code), "-" if level is None else f"{level:g}", what,
                cap.where or "-", "-" if cap.at_s is None else f"{cap.at_s:.2f}", fits,
            ]
        )  # fmt: skip
    heads = ["<content", "cap", "code", "planned", "<limited by", "<where", "at s", "<"]
    text = f"{scene.title}: up to the cap, every limit is kept.\n\n" + table(heads, rows)
    return text + ("\n\n" + assumed_lines(scene.assumed) if scene.assumed else "")
