"""Rules about the strips themselves: heat, what they draw when dark, corners they must be cut at, and the mains side."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from preview.power.finding import PRACTICE, Finding
from preview.scene.corners import Corner, corners_of
from preview.scene.layout import group_count
from preview.scene.model import Box, Scene, Strip

__all__ = ["KWH_PRICE", "full_watts_per_m", "strip_findings"]

KWH_PRICE = 0.30
"""Price of a kilowatt-hour where none is given, in the currency of the scene: an assumption, not a tariff."""

COILED_W = 10.0
"""A coil that gives off more than this gets hot (common practice, no source)."""

BARE_W_PER_M = 10.0
"""A strip that gives off more than this a metre wants metal behind it (common practice, no source)."""

WOUND_TIMES, WOUND_W_PER_M2, WOUND_ROOM_M = 6.0, 500.0, 0.02
"""A run this many times as long as what it lies in, with more watts than this on its area, at least so wide, is a coil (common practice,
no source)."""

DEEP_M, STEP_M = 0.015, 0.01
"""A run this far below every face of a box, or two fifths of it, is inside it and not let into it (common practice, no source); looked
at in such steps."""

HOURS_PER_YEAR = 8760

MAINS = "IEC 60364-1, clause 132, and national wiring rules after it (from memory)"


def full_watts_per_m(strip: Strip) -> float:
    """Watts a metre of a strip with every colour at full and nothing lost on the way."""
    milliamps = strip.idle_milliamp_per_group + sum(
        colour.milliamp for colour in (strip.red, strip.green, strip.blue, strip.white) if colour is not None
    )
    return milliamps / 1000 * strip.volts / strip.cut_m


def strip_findings(scene: Scene, idle_a: float, idle_w: float, kwh_price: float | None) -> list[Finding]:
    """What is to be said of the strips. `idle_a` and `idle_w` leave the supplies with every group dark."""
    return [
        *_bare(scene),
        *_wound(scene),
        *_boxed_in(scene),
        *_idle(scene, idle_a, idle_w, kwh_price),
        *_coiled(scene),
        *_mains(scene),
        *_corners(scene),
    ]


def _corners(scene: Scene) -> Iterator[Finding]:
    """Runs that turn in their strip's own plane."""
    for run in scene.run:
        corners = corners_of(run, scene.strip[run.strip])
        if corners:
            places = ", ".join(f"{corner.at_m:.3f} m ({_cut_words(corner)})" for corner in corners)
            says = f"turns sideways at {places}, which a flat strip does not"
            do = "cut it there and link the pieces with short wires for positive, negative and data: three joints a corner more"
            yield Finding("note", f"run {run.name}", says, do, PRACTICE)


def _cut_words(corner: Corner) -> str:
    """Where the cut point nearest to a corner lies.

    >>> _cut_words(Corner(1.23, 90.0, 24, 1.2)), _cut_words(Corner(1.2, 90.0, 24, 1.2))
    ('nearest cut point 30 mm before it', 'a cut point falls on it')
    """
    off_mm = round(1000 * corner.off_m)
    return (
        f"nearest cut point {abs(off_mm)} mm {'past' if off_mm > 0 else 'before'} it"
        if off_mm
        else "a cut point falls on it"
    )


def _bare(scene: Scene) -> Iterator[Finding]:
    for run in scene.run:
        watts = full_watts_per_m(scene.strip[run.strip])
        if run.channel is None and watts > BARE_W_PER_M:
            says = f"{watts:.1f} W a metre at full, and no channel to lead the heat away"
            yield Finding(
                "caution", f"run {run.name}", says, "an aluminium channel, or metal behind the strip", PRACTICE
            )


def _wound(scene: Scene) -> Iterator[Finding]:
    """Runs that lie wound up in the plan itself: much longer than what they lie in, and with much heat on little room."""
    for run in scene.run:
        strip = scene.strip[run.strip]
        path = np.asarray(run.path_m, dtype=float)
        sides_m = np.sort(np.ptp(path, axis=0))[::-1]
        length_m = group_count(run, strip) * strip.cut_m
        watts = full_watts_per_m(strip) * length_m
        area_m2 = max(float(sides_m[0] * sides_m[1]), WOUND_ROOM_M * float(sides_m[0]))
        if (
            watts > COILED_W
            and length_m > WOUND_TIMES * float(np.hypot(*sides_m[:2]))
            and watts > WOUND_W_PER_M2 * area_m2
        ):
            says = (
                f"{length_m:.1f} m of strip lie within {sides_m[0]:.2f} × {sides_m[1]:.2f} m and give off {watts:.0f} W there:"
                " as hot as a coil"
            )
            do = "spread it out, on aluminium that leads the heat away; or a strip of fewer watts"
            yield Finding("caution", f"run {run.name}", says, do, PRACTICE)


def _boxed_in(scene: Scene) -> Iterator[Finding]:
    """Runs that lie inside something solid, where no light gets out and no strip can be fixed."""
    for run in scene.run:
        points = np.asarray(run.path_m, dtype=float)
        steps_m = np.linalg.norm(np.diff(points, axis=0), axis=1)
        along_m = (np.arange(int(steps_m.sum() / STEP_M) + 1) + 0.5) * STEP_M
        reached_m = np.concatenate([[0.0], np.cumsum(steps_m)])
        at = np.stack([np.interp(along_m, reached_m, points[:, axis]) for axis in range(3)], axis=1)
        for box in scene.box:
            size = np.asarray(box.size_m)
            deep = np.minimum(DEEP_M, 0.4 * size)
            low, high = np.asarray(box.corner_m) + deep, np.asarray(box.corner_m) + size - deep
            inside_m = float(((at > low) & (at < high)).all(axis=1).sum()) * STEP_M
            if inside_m > 0:
                says = (
                    f"{inside_m:.2f} m of it lie inside {box.name}: what the picture and lux show of them means nothing"
                )
                yield Finding(
                    "caution", f"run {run.name}", says, "move the run to a face of the box", "the plan itself"
                )


def _idle(scene: Scene, idle_a: float, idle_w: float, kwh_price: float | None) -> Iterator[Finding]:
    if idle_w < 0.05:
        return
    kwh = idle_w * HOURS_PER_YEAR / 1000
    price = KWH_PRICE if kwh_price is None else kwh_price
    assumed = " (assumed)" if kwh_price is None else ""
    currency = scene.money.currency
    says = (
        f"{idle_a:.2f} A and {idle_w:.1f} W with every group dark: {kwh:.0f} kWh a year, "
        f"{kwh * price:.2f} {currency} at {price:.2f} {currency} a kWh{assumed}, supplies' own losses on top"
    )
    do = "switch the supplies off on their mains side when nothing plays"
    yield Finding("note", "plan", says, do, "strip.idle_milliamp_per_group, 8760 h a year")


def _coiled(scene: Scene) -> Iterator[Finding]:
    for name in dict.fromkeys(run.strip for run in scene.run):
        strip = scene.strip[name]
        watts = full_watts_per_m(strip) * strip.reel_m
        if watts > COILED_W:
            says = f"a whole reel fully lit gives off {watts:.0f} W"
            do = "never light it coiled up, not even for a test: unroll it first"
            yield Finding("note", f"strip {name}", says, do, PRACTICE)


def _mains(scene: Scene) -> Iterator[Finding]:
    do = "have it connected by a licensed person, as your local code asks; switch off before work on the low-voltage side"
    for name in scene.supply:
        yield Finding("note", f"supply {name}", "the mains side is live and can kill", do, MAINS)
    for name, supply in scene.supply.items():
        box = next((box.name for box in scene.box if supply.at_m is not None and _inside(supply.at_m, box)), None)
        if box is not None:
            says = (
                f"hangs inside {box}: closed in, with its own heat, a tenth or so of {supply.volts * supply.amps:.0f} W"
            )
            do = "leave air around it, keep it within reach, and keep wood and paper off it"
            yield Finding("note", f"supply {name}", says, do, PRACTICE)


def _inside(at_m: tuple[float, float, float], box: Box) -> bool:
    return all(low < at < low + size for at, low, size in zip(at_m, box.corner_m, box.size_m, strict=True))
