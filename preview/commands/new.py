"""`covecast new`: a first scene from a strip's label, and the everyday question answered at once."""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from preview.commands.options import json_option, load, print_json

if TYPE_CHECKING:
    from preview.scene.draft import Draft
    from preview.scene.model import Scene

__all__ = ["command"]


def quantity(unit: str, high: float, whole: bool = False) -> Callable[[Any], float | int]:
    """A reader of finite numbers above 0, at most `high`. What it refuses, it says with the unit."""
    kind = "a whole number" if whole else "a number"

    def read(value: Any) -> float | int:
        try:
            number = float(value)
        except ValueError:
            number = math.nan
        if not (math.isfinite(number) and 0 < number <= high) or (whole and number != int(number)):
            raise click.BadParameter(f"expected {kind} above 0, at most {high:g} ({unit}), found {value!r}.")
        return int(number) if whole else number

    read.__name__ = unit
    return read


VOLTS = quantity("volts", 120)
LEDS_PER_M = quantity("LEDs a metre", 10_000)
LEDS_PER_GROUP = quantity("LEDs a group", 1000, whole=True)
LENGTH = quantity("metres", 900)
AMPS = quantity("amps", 10_000)
WATTS_PER_M = quantity("watts a metre", 10_000)
DEPTH = quantity("millimetres", 1000)

ASKED: dict[str, tuple[str, str, Callable[[Any], float | int]]] = {
    "volts": ("--volts", "Volts on the strip's label", VOLTS),
    "leds_per_m": ("--leds-per-m", "LEDs a metre", LEDS_PER_M),
    "leds_per_group": ("--leds-per-group", "LEDs that one address drives together", LEDS_PER_GROUP),
    "length": ("--length", "Length of the run, in metres", LENGTH),
    "amps": ("--amps", "Rated amps of the supply", AMPS),
}
"""What a draft cannot do without: its option, the question, and what an answer must be."""


@click.command("new")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--volts", type=VOLTS, metavar="V", help="Rated voltage of strip and supply.")
@click.option("--leds-per-m", type=LEDS_PER_M, metavar="N", help="LEDs a metre.")
@click.option("--leds-per-group", type=LEDS_PER_GROUP, metavar="N", help="LEDs that one address drives together.")
@click.option("--length", type=LENGTH, metavar="M", help="Length of the run, in metres.")
@click.option("--amps", type=AMPS, metavar="A", help="Rated current of the supply.")
@click.option(
    "--watts-per-m", type=WATTS_PER_M, metavar="W", help="From the label, every colour fully on. Typical if left out."
)
@click.option(
    "--channel-depth", type=DEPTH, metavar="MM", help="LED to cover of the channel, in mm. Bare strip if left out."
)
@click.option("--rgbw", is_flag=True, help="Four colours: a white LED besides red, green and blue.")
@click.option("--title", help="Shown to the client. The file's name if left out.")
@click.option("--force", is_flag=True, help="Replace the file if it is there.")
@json_option
def command(
    file: Path,
    channel_depth: float | None,
    watts_per_m: float | None,
    rgbw: bool,
    title: str | None,
    force: bool,
    as_json: bool,
    **label: float | int | None,
) -> None:
    """Write FILE, a commented scene with one straight run along the back wall, and say whether its supply holds.

    On a terminal it asks for what was not given.
    """
    from preview.looks.library import effect_names
    from preview.power.cautions import label_findings
    from preview.scene.draft import Draft, draft_text
    from preview.scene.faults import CovecastError
    from preview.scene.write import new_scene

    if file.is_dir():
        raise CovecastError(f"{file}: expected the name of a scene file to write, found a folder")
    if file.exists() and not force:  # before anybody answers five questions
        raise CovecastError(f"{file}: expected a new file, found one that is there already; --force replaces it")
    known = _complete(label)
    draft = _fused(
        Draft(
            title=title or file.stem.replace("_", " ") or "A first draft",
            volts=float(known["volts"]),
            leds_per_m=float(known["leds_per_m"]),
            leds_per_group=int(known["leds_per_group"]),
            length_m=float(known["length"]),
            amps=float(known["amps"]),
            watts_per_m=watts_per_m,
            channel_depth_mm=channel_depth,
            rgbw=rgbw,
        )
    )
    new_scene(file, draft_text(draft), force=force, effects=effect_names())
    scene = load(str(file))
    answer, odd = _answer(scene, file, watts_per_m is not None), label_findings(scene)
    if as_json:
        print_json({**answer, "findings": [finding.as_json() for finding in odd]})
        return
    _print_answer(answer, draft, file)
    for finding in odd:
        do = f"{finding.do[0].upper()}{finding.do[1:]}"
        click.echo(f"{finding.weight}: {finding.about}: {finding.says}. {do}.", err=True)


def _fused(draft: Draft) -> Draft:
    """The draft with a fuse that carries its run and protects its cable, where one feed can carry it at all."""
    from dataclasses import replace

    from preview.power.fusing import fused
    from preview.scene.model import Limits

    found = fused(draft.full_a, Limits().fuse_fraction, draft.cable_mm2)
    return draft if found is None else replace(draft, fuse_a=found[0], cable_mm2=found[1])


def _complete(label: dict[str, float | int | None]) -> dict[str, float | int]:
    """The label with what was not given asked for, or an error that names it where nobody is there to ask."""
    missing = [name for name, value in label.items() if value is None]
    if missing and not sys.stdin.isatty():
        options = ", ".join(ASKED[name][0] for name in ASKED if name in missing)
        raise click.UsageError(f"Not on a terminal, so nobody can be asked: {options} must be given.")
    asked = {
        name: click.prompt(question, value_proc=kind, err=True)
        for name, (_, question, kind) in ASKED.items()
        if name in missing
    }
    return {name: value if value is not None else asked[name] for name, value in label.items()}


def _answer(scene: Scene, file: Path, given: bool) -> dict[str, Any]:
    """Groups, watts and amps fully on, and the level up to which any content keeps every limit. Was its power `given`?"""
    import numpy as np

    from preview.power.cap import cap_any
    from preview.power.network import build
    from preview.power.solve import solve
    from preview.scene.layout import lay_out

    layout = lay_out(scene)
    network = build(scene, layout)
    full = solve(network, np.ones((1, layout.groups, layout.colours)))
    cap = cap_any(scene, layout, network)
    (supply,) = scene.supply.values()
    amps = float(full.supply_a[0, 0])
    return {
        "format": 1,
        "scene": scene.title,
        "file": str(file),
        "assumed": [*(() if given else ("strip.main.watts_per_m",)), *scene.assumed],
        "groups": layout.groups,
        "cut_m": float(layout.cut_m[0]),
        "length_m": float(layout.length_m[0]),
        "rated_amps": float(layout.rated_a.sum() + layout.idle_a.sum()),
        "amps": amps,
        "watts": float(full.supply_v[0, 0] * amps),
        "supply_amps": supply.amps,
        "limit_amps": supply.amps * scene.limits.supply_fraction,
        "far_volts": float(full.group_v[0, -1]),
        "cap": cap.as_json(),
    }


LIMITS = {
    "supply": "the supply's limit",
    "fuse": "the fuse",
    "cable": "what the cable may carry",
    "colour": "the colour shift from drop",
    "dimming": "the dimming from drop",
    "reset": "groups that would lose their data",
}
"""What sets a cap, in plain words."""


def _print_answer(answer: dict[str, Any], draft: Draft, file: Path) -> None:
    cap, limit_a = answer["cap"], answer["limit_amps"]
    click.echo(
        f"{file}: {answer['groups']} groups of {1000 * answer['cut_m']:.1f} mm on {answer['length_m']:.2f} m.\n"
        f"Every colour fully on: {answer['amps']:.2f} A, {answer['watts']:.0f} W at the supply"
        f" ({answer['rated_amps']:.2f} A if nothing were lost on the way); {answer['far_volts']:.1f} V at the far end."
    )
    holds = answer["amps"] <= limit_a
    verdict = "holds" if holds else "does not hold"
    click.echo(f"The supply {verdict} that: {answer['supply_amps']:g} A rated, {limit_a:.2f} A for hours on end.")
    if not cap["holds"]:
        click.echo(f"No level keeps every limit, not even darkness: {LIMITS[cap['limited_by']]}.")
    elif cap["limited_by"] == "nothing":
        click.echo("Any content keeps every limit at full level.")
    else:
        click.echo(
            f"Any content keeps every limit up to level {cap['level']:.2f} (code {cap['code']} of 255);"
            f" what stops it there is {LIMITS[cap['limited_by']]}."
        )
    if draft.watts_per_m is None:
        click.echo(
            f"{draft.assumed_watts_per_m:.1f} W/m is typical of such a strip, not from its label: --watts-per-m."
        )
    click.echo("Rails, currents and light of its colours are typical values; measuring them is worth it.")
    planned = cap["limited_by"] in ("colour", "dimming", "reset", "fuse", "cable")
    steps = ["show", "check", *(["feed"] if planned else [])]
    click.echo("Next: " + ", ".join(f"covecast {step} {file}" for step in steps))
