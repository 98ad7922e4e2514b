"""Red, green and blue fully on in turn, every group together: which colour sags first, and whether the wires are right."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from effects import kit

MOOD = "proof"

DIALS = (kit.Dial("each_s", "s", 0.5, 60, 2, "how long each colour stays on"),)


def period_s(dials: Mapping[str, float]) -> float | None:
    """Red, green and blue once each."""
    return 3.0 * dials["each_s"]


def light(place: kit.Place, time_s: kit.Floats, dials: Mapping[str, float], seed: int) -> kit.Floats:
    """One colour at a time."""
    turn = np.mod(np.floor(time_s / dials["each_s"]), 3)
    on = (turn[:, None] == np.arange(3)).astype(np.float64)
    return np.broadcast_to(on[:, None, :], (time_s.shape[0], place.groups, 3)).copy()
