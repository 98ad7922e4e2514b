"""Twelve moments of a look, to be seen side by side."""

from __future__ import annotations

import numpy as np

from preview.looks.library import Ready
from preview.scene.layout import Floats

__all__ = ["twelve_moments"]


def twelve_moments(ready: Ready) -> Floats:
    """Times (12,) in seconds, even over one period where the look has one that fits into it, else over its length.

    They stand in the middle of their twelfth, so that neither the dark before a dawn nor a repeated start takes a place.
    """
    period = ready.period_s
    whole = period if period and period <= ready.look.seconds else ready.look.seconds
    return np.asarray((np.arange(12) + 0.5) * whole / 12, dtype=np.float64)
