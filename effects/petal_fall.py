"""Blossom falling through the room: pale pink petals sink and sway, and runs light up where one goes by.

Where all runs lie at one height nothing could be seen to fall: there the petals drift along the runs, as on slow water.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from effects import kit

MOOD = "calm"

DIALS = (
    kit.Dial(
        "fall_m_per_s", "m/s", 0.02, 1, 0.26, "how fast a petal sinks, or drifts along where all runs lie at one height"
    ),
    kit.Dial("apart_m", "m", 0.3, 5, 0.55, "from one column of petals to the next"),
    kit.Dial("sway_m", "m", 0, 1, 0.22, "how far a petal sways to either side"),
    kit.Dial("petal_m", "m", 0.05, 0.6, 0.19, "reach of a petal's glow"),
    kit.hue_dial("hue_deg", 340, "the petals"),
    kit.purity_dial(0.4, "that hue is"),
    kit.part_dial("evening", 0.26, "how bright the evening behind them is felt"),
)

_PETALS = 4  # of a column, before they come again
_EVERY_M = 1.7  # from one to the next
_LEVEL_M = 0.3  # runs that differ by less in height lie at one height


def period_s(dials: Mapping[str, float]) -> float | None:
    """The time in which a column sinks by as many petals as it has before they repeat."""
    return _PETALS * _EVERY_M / dials["fall_m_per_s"]


def light(place: kit.Place, time_s: kit.Floats, dials: Mapping[str, float], seed: int) -> kit.Floats:
    """Columns of petals in one plane, across and up: the walls unrolled, or a stream along the runs. A group sees the nearest few."""
    t = kit.columns(time_s)
    across, up, lean = place.room_m[:, 0] + place.room_m[:, 1], place.room_m[:, 2], 1.0
    level = np.ptp(up) < _LEVEL_M
    if level:  # one column, lying down along the runs; a petal that sways aside is not lost from sight
        across, up, lean = np.full(place.groups, 0.5 * dials["apart_m"]), -place.course_m, 0.5
    apart, reach = dials["apart_m"], np.maximum(dials["petal_m"], place.group_length_m)
    period = _PETALS * _EVERY_M / dials["fall_m_per_s"]
    own = np.floor(across / apart).astype(np.int64)
    wide = 0 if level else int(np.ceil((dials["sway_m"] + 2.2 * dials["petal_m"]) / apart))
    glow: kit.Floats = np.zeros((t.shape[0], place.groups))
    pale = np.zeros((t.shape[0], place.groups))
    for step in range(-wide, wide + 1):
        column = own + step
        sunk = (up + dials["fall_m_per_s"] * t) / _EVERY_M + kit.uniform(seed, column, 0)
        petal = np.floor(sunk).astype(np.int64)
        which = np.mod(petal, _PETALS)
        below_m = (sunk - petal - 0.5) * _EVERY_M
        turns = np.round(period / (2.6 + 1.6 * kit.uniform(seed, column, which, 1)))
        swing = np.sin(2.0 * np.pi * (t * turns / period + kit.uniform(seed, column, which, 2)))
        middle = (column + 0.2 + 0.6 * kit.uniform(seed, column, which, 3)) * apart
        aside_m = lean * (across - middle - dials["sway_m"] * swing)
        square = (aside_m**2 + below_m**2) / reach**2
        one = np.exp(-0.5 * square) * (kit.uniform(seed, column, which, 4) < 0.8)
        glow += one
        pale += one * kit.uniform(seed, column, which, 5)
    # A petal passes a place twice in a swing, and those of the columns beside it too where they sway so far.
    passes_per_s = 0.6 * (1.0 + 2.0 * dials["sway_m"] / apart) + dials["fall_m_per_s"] / _EVERY_M
    glow = kit.mix(0.5, np.clip(glow, 0.0, 1.0), kit.gentle(passes_per_s))
    share = np.clip(pale, 0.0, 1.0) * 0.8
    evening = kit.felt(dials["evening"] * (0.85 + 0.15 * kit.noise(seed + 1, across / 1.4, up / 1.4)))
    return kit.paint(
        (glow * (1.0 - share), kit.tint(place, dials["hue_deg"], dials["purity"], 4500.0)),
        (glow * share, kit.white(place, 3600.0)),
        (evening * (1.0 - glow), kit.tint(place, 300.0, 0.45)),
    )
