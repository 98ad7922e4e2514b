"""`covecast compare`: the same layout with each strip, channel or supply."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from preview.commands.options import json_option, load, print_json, scene_argument

if TYPE_CHECKING:
    from collections.abc import Sequence

    from preview.handover.comparing import Compared
    from preview.scene.model import Scene

__all__ = ["command", "compare_text"]

WIDTH = 116
"""Columns of text; options that do not fit go into a further table."""


@click.command(name="compare")
@scene_argument
@click.option("--strip", "strips", multiple=True, metavar="NAME", help="A strip type of SCENE; may be given again.")
@click.option(
    "--channel", "channels", multiple=True, metavar="NAME", help="A channel of SCENE, or none for bare strip."
)
@click.option("--supply", "supplies", multiple=True, metavar="NAME", help="A supply of SCENE, for the place of each.")
@json_option
def command(
    scene: str, strips: tuple[str, ...], channels: tuple[str, ...], supplies: tuple[str, ...], as_json: bool
) -> None:
    """The layout of SCENE with one strip or another: groups, reels, watts, drop, cap, dots and data rate side by side.

    With several kinds of option, every combination is worked out. The plan as it stands comes first.
    """
    from preview.commands.progress import progress_bar
    from preview.handover.comparing import choices_of, compare

    if not (strips or channels or supplies):
        raise click.UsageError("Nothing to compare: give --strip, --channel or --supply, each as often as you like.")
    plan = load(scene)
    choices = choices_of(plan, strips, channels, supplies)
    with progress_bar("Comparing", 1000) as bar:
        found = compare(plan, choices, lambda share: bar(round(1000 * share)))
    if as_json:
        options = [one.as_json() for one in found]
        print_json({"format": 1, "scene": plan.title, "assumed": list(plan.assumed), "options": options})
    else:
        click.echo(compare_text(plan, found))


def compare_text(scene: Scene, found: Sequence[Compared]) -> str:
    """The options side by side, and what is to be said of them."""
    from preview.commands.table import assumed_lines, table

    rows = _rows(scene, found)
    parts = [f"{scene.title}: the same layout, {len(found)} {'way' if len(found) == 1 else 'ways'}."]
    first = max(len(head) for head, _ in rows)
    start = 0
    while start < len(found):
        end, width = start, first
        while end < len(found) and (end == start or width + 2 + len(str(found[end].choice)) <= WIDTH):
            width += 2 + len(str(found[end].choice))
            end += 1
        heads = ["<", *(str(one.choice) for one in found[start:end])]
        parts.append(table(heads, [[head, *cells[start:end]] for head, cells in rows]))
        start = end
    kept = [str(one.choice) for one in found if not one.over]
    lines = [f"Every look keeps every limit: {'; '.join(kept) if kept else 'with none of them'}."]
    lines += [f"{one.choice}: {note}." for one in found for note in one.notes]
    lacking = dict.fromkeys(name for one in found for name in one.unpriced)
    if any(one.price is not None for one in found) and lacking:
        lines.append(f"Prices leave out, as the plan gives none: {', '.join(lacking)}.")
    lines.append(
        "Full is every colour of every group at full. Reels: runs cut from them one by one, no spare. "
        "Data at 800 kbit/s on a single wire."
    )
    parts.append("\n".join(lines))
    if scene.assumed:
        parts.append(assumed_lines(scene.assumed))
    return "\n\n".join(parts)


def _rows(scene: Scene, found: Sequence[Compared]) -> list[tuple[str, list[str]]]:
    """Each property's name with its value for every option."""
    from preview.looks.library import looks_of

    looks = len(looks_of(scene))
    return [
        ("groups", [str(one.groups) for one in found]),
        ("group, mm", ["/".join(f"{mm:.1f}" for mm in one.group_mm) for one in found]),
        ("strip, m", [f"{one.strip_m:.2f}" for one in found]),
        ("reels", [str(one.reels) for one in found]),
        (f"price, {scene.money.currency}", ["-" if one.price is None else f"{one.price:.2f}" for one in found]),
        ("watts, full", [f"{one.full_w:.1f}" for one in found]),
        ("watts, mean of looks", [f"{one.mean_w:.1f}" for one in found]),
        ("lowest volts, full", [f"{one.lowest_v:.2f}" for one in found]),
        ("dimming %, full", [f"{100 * one.dimming:.1f}" for one in found]),
        ("shift steps, full", [f"{one.colour_steps:.1f}" for one in found]),
        ("cap, any content", [_level(one.cap_any.level, one.cap_any.holds) for one in found]),
        ("  set by", [one.cap_any.limited_by or "nothing" for one in found]),
        ("cap, lowest of the looks", [_level(one.cap_looks.level, one.cap_looks.holds) for one in found]),
        ("looks over a limit", [f"{len(one.over)} of {looks}" for one in found]),
        ("dots to the viewer", ["show" if one.dots_show else "hidden" for one in found]),
        ("dots show within, m", [f"{one.dots_within_m:.1f}" for one in found]),
        ("data, frames a second", [f"{one.frames_per_s:.0f}" for one in found]),
    ]


def _level(level: float, holds: bool) -> str:
    return f"{level:.3f}" if holds else "none"
