"""Blade fuses: the standard ratings, and the fuse and the cable for a load: one that carries it for hours, through copper it protects."""

from __future__ import annotations

import math

from preview.power.conductors import CLASS_5_OHM_PER_KM, ampacity_a
from preview.scene.model import Cable

__all__ = ["FUSE_A", "fuse_for", "fused", "largest_fuse"]

FUSE_A = (1, 2, 3, 4, 5, 7.5, 10, 15, 20, 25, 30)
"""Ratings of blade fuses in amps, ISO 8820-3."""


def largest_fuse(at_most_a: float) -> float | None:
    """The largest blade fuse that lets no more through than `at_most_a` amps for long, or None.

    >>> largest_fuse(6), largest_fuse(0.5)
    (5, None)
    """
    return max((rating for rating in FUSE_A if rating <= at_most_a * (1 + 1e-9)), default=None)


def fuse_for(load_a: float, fuse_fraction: float, at_most_a: float = math.inf) -> float | None:
    """The smallest blade fuse that carries `load_a` at `fuse_fraction` of its rating, none above `at_most_a`, or None.

    >>> fuse_for(4.1, 0.8, 15), fuse_for(4.1, 0.8, 5)
    (7.5, None)
    """
    need = load_a / fuse_fraction * (1 - 1e-9)
    return next((rating for rating in FUSE_A if need <= rating <= at_most_a * (1 + 1e-9)), None)


def fused(load_a: float, fuse_fraction: float, least_mm2: float) -> tuple[float, float] | None:
    """Amps of the smallest blade fuse that carries `load_a` at `fuse_fraction` of its rating, and mm² of the thinnest standard
    cable, `least_mm2` or more, that may carry what the fuse lets through. None where no such fuse or cable is made.

    >>> fused(2.2, 0.8, 1.5), fused(13.0, 0.8, 1.5), fused(25.0, 0.8, 1.5)
    ((3, 1.5), (20, 2.5), None)
    """
    fuse_a = fuse_for(load_a, fuse_fraction)
    if fuse_a is None:
        return None
    sizes = (mm2 for mm2 in CLASS_5_OHM_PER_KM if mm2 >= least_mm2)
    found = next((mm2 for mm2 in sizes if ampacity_a(Cable(mm2=mm2, length_m=1)) >= fuse_a), None)
    return None if found is None else (fuse_a, found)
