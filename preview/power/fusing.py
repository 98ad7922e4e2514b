"""The fuse and the cable for a load: a standard rating that carries it for hours, through copper that the fuse protects."""

from __future__ import annotations

from preview.power.conductors import CLASS_5_OHM_PER_KM, ampacity_a
from preview.power.mend import FUSE_A
from preview.scene.model import Cable

__all__ = ["fused"]


def fused(load_a: float, fuse_fraction: float, least_mm2: float) -> tuple[float, float] | None:
    """Amps of the smallest blade fuse (ISO 8820-3) that carries `load_a` at `fuse_fraction` of its rating, and mm² of the thinnest
    standard cable, `least_mm2` or more, that may carry what the fuse lets through. None where no such fuse or cable is made.

    >>> fused(2.2, 0.8, 1.5), fused(13.0, 0.8, 1.5), fused(25.0, 0.8, 1.5)
    ((3, 1.5), (20, 2.5), None)
    """
    fuse_a = next((amps for amps in FUSE_A if amps * fuse_fraction * (1 + 1e-9) >= load_a), None)
    if fuse_a is None:
        return None
    sizes = (mm2 for mm2 in CLASS_5_OHM_PER_KM if mm2 >= least_mm2)
    found = next((mm2 for mm2 in sizes if ampacity_a(Cable(mm2=mm2, length_m=1)) >= fuse_a), None)
    return None if found is None else (fuse_a, found)
