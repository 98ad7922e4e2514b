"""Worst case for drop: only the half of each run that lies farthest from its data end is on, every colour full."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from effects import kit

MOOD = "proof"

DIALS = (kit.part_dial("part", 0.5, "part of the run that is on, counted from its far end", 0.05, 1),)


def period_s(dials: Mapping[str, float]) -> float | None:
    """It stands still."""
    return 0.0


def light(place: kit.Place, time_s: kit.Floats, dials: Mapping[str, float], seed: int) -> kit.Floats:
    """Full where the middle of a group lies in the far part."""
    on = (place.along_m >= (1.0 - dials["part"]) * place.run_length_m).astype(np.float64)
    return np.broadcast_to(on[None, :, None], (time_s.shape[0], place.groups, 3)).copy()
