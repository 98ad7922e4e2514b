"""`covecast check`: the plan read as a careful colleague would."""

from __future__ import annotations

import sys
import textwrap
from typing import TYPE_CHECKING

import click

from preview.commands.options import between, json_option, load, print_json, scene_argument

if TYPE_CHECKING:
    from preview.handover.checking import Checked
    from preview.scene.model import Scene

__all__ = ["check_text", "command"]

WIDTH = 112


@click.command(name="check")
@scene_argument
@click.option(
    "--kwh-price",
    type=float,
    callback=between(0, 999_999, "a kilowatt-hour"),
    metavar="PRICE",
    help="Price of a kilowatt-hour, in the scene's currency [0.30, assumed].",
)
@click.option("--no-eyes", is_flag=True, help="Leave out the flashes, whose pictures take longest.")
@json_option
def command(scene: str, kwh_price: float | None, no_eyes: bool, as_json: bool) -> None:
    """Every fault, limit and caution of SCENE, heaviest first, with what to do and where the rule comes from.

    Exit code 1 where the plan has a fault or its looks pass a limit.
    """
    from preview.commands.progress import progress_bar
    from preview.handover.checking import check_scene

    plan = load(scene)
    with progress_bar("Reading the plan", 1000) as bar:
        found = check_scene(
            plan, kwh_price=kwh_price, eyes=not no_eyes, progress=lambda share: bar(round(1000 * share))
        )
    if as_json:
        print_json(found.as_json(plan))
    else:
        click.echo(check_text(plan, found))
    if found.breaks:
        sys.exit(1)


def check_text(scene: Scene, found: Checked) -> str:
    """The findings in few lines each: weight, about, says; then what to do, and the source."""
    from preview.commands.table import assumed_lines, table
    from preview.power.finding import WEIGHTS

    words = {"fault": "fault", "over": "limit passed", "caution": "caution", "note": "note"}
    plural = {"fault": "faults", "over": "limits passed", "caution": "cautions", "note": "notes"}
    counts = {weight: sum(f.weight == weight for f in found.findings) for weight in WEIGHTS}
    told = [f"{n} {words[w] if n == 1 else plural[w]}" for w, n in counts.items() if n]
    lines = [f"{scene.title}: {', '.join(told) or 'nothing to say'}."]
    for finding in found.findings:
        lines.append("")
        head = f"{finding.weight:<8} {_parts(finding.about)}: {finding.says}"
        lines += _wrapped(head, "", " " * 9)
        lines += _wrapped(f"do: {finding.do}", " " * 9, " " * 13)
        lines += _wrapped(f"source: {finding.source}", " " * 9, " " * 13)
    rows = [
        [
            dots["run"], f"{dots['pitch_mm']:.1f}", f"{dots['depth_mm']:.1f}", f"{100 * dots['ripple']:.1f}",
            f"{dots['visible_within_m']:.1f}", f"{dots['viewer_m']:.1f}" if dots["in_view"] else "not seen",
        ]
        for dots in found.dots
    ]  # fmt: skip
    heads = ["<dots of run", "pitch mm", "depth mm", "ripple %", "show within m", "viewer at m"]
    lines += ["", table(heads, rows)]
    if found.flashes:
        rows = [
            [one["look"], f"{one['general_per_s']:g}", f"{one['red_per_s']:g}", f"{one['at_s']:.1f}"]
            for one in found.flashes
        ]
        lines += ["", table(["<flashes of look", "general a s", "red a s", "at s"], rows)]
    if scene.assumed:
        lines += ["", assumed_lines(scene.assumed)]
    return "\n".join(lines)


def _parts(about: str) -> str:
    """Several parts of one kind without the kind before each.

    >>> _parts("run shelf, run niche"), _parts("run shelf"), _parts("supply a, block b")
    ('runs shelf, niche', 'run shelf', 'supply a, block b')
    """
    kinds = {"run": "runs", "supply": "supplies", "feed": "feeds", "block": "blocks", "strip": "strips"}
    words = [part.partition(" ") for part in about.split(", ")]
    kind = words[0][0]
    if len(words) == 1 or kind not in kinds or any(word != kind for word, _, _ in words):
        return about
    return f"{kinds[kind]} {', '.join(name for _, _, name in words)}"


def _wrapped(text: str, first: str, then: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=then, break_on_hyphens=False)
