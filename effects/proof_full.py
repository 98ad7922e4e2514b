"""Worst case for the supply: every colour of every group fully on, all the time."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from effects import kit

MOOD = "proof"

DIALS = (kit.part_dial("light", 1, "part of full"),)


def period_s(dials: Mapping[str, float]) -> float | None:
    """It stands still."""
    return 0.0


def light(place: kit.Place, time_s: kit.Floats, dials: Mapping[str, float], seed: int) -> kit.Floats:
    """One everywhere."""
    return np.full((time_s.shape[0], place.groups, 3), float(dials["light"]))
