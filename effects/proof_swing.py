"""Worst case for a steady supply: the near and the far half of every run take turns at full, so that its load swings."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from effects import kit

MOOD = "proof"

DIALS = (
    kit.Dial("each_s", "s", 0.5, 60, 2, "how long each half stays on"),
    kit.Dial("dark_s", "s", 0, 60, 1, "how long all is dark between them"),
)


def period_s(dials: Mapping[str, float]) -> float | None:
    """Each half once."""
    return 2.0 * (dials["each_s"] + dials["dark_s"])


def light(place: kit.Place, time_s: kit.Floats, dials: Mapping[str, float], seed: int) -> kit.Floats:
    """One half at a time."""
    step = dials["each_s"] + dials["dark_s"]
    turn = np.floor(time_s / step)
    lit = (time_s - turn * step) < dials["each_s"]
    far = place.along_m >= 0.5 * place.run_length_m
    on = lit[:, None] & (far == (np.mod(turn, 2)[:, None] == 1))
    return np.repeat(on[:, :, None].astype(np.float64), 3, axis=2)
