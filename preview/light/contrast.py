"""What the eye can tell apart: the contrast sensitivity function of Barten (1999), and the distance at which a pattern vanishes.

With u in cycles a degree, L the mean luminance in cd/m² and a field of X × Y degrees,

    S = (M/k) / √( (2/T) · A(X)·A(Y) · (1/(η·p·E) + φ0/(1 − exp(−(u/u0)²))) ),
    A(X) = √(1/X² + 1/Xmax² + u²/Nmax²),  M = exp(−2π²σ²u²),  σ = √(σ0² + (Cab·d)²),
    d = 5 − 3·tanh(0.4·log10(L·X·Y/40²)) mm,  E = (πd²/4)·L·(1 − (d/9.7)² + (d/12.4)⁴).

A pattern is seen where its modulation is above 1/S. The field is the lit cover itself: as long as the run, as tall as the cover is wide, so
a thin line shows less than a wide panel would. A square wave is seen by its fundamental, 4/π of its contrast (Campbell and Robson 1968;
Report ITU-R BT.2246 says the same as 2/(1.27·S)).

Colour differences are filtered by the red-green kernel of Zhang and Wandell's spatial extension of CIELAB (1997), the finer of its two, and
seen where more than one step of 0.0011 in CIE 1976 u'v' (CIE TN 001:2014) is left. Kernel and step: from memory.

Source: P. G. J. Barten, Contrast Sensitivity of the Human Eye and Its Effects on Image Quality (1999), with its typical values.
Leaves out: light scattered in the eye by the bright line on a dark ground, movement, and that eyes differ by a factor of two either way.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from preview.scene.layout import Floats

__all__ = [
    "NEAREST_M",
    "chroma_transfer",
    "contrast_sensitivity",
    "cycles_per_degree",
    "degrees",
    "farthest_m",
    "pattern_sensitivity",
]

NEAREST_M = 0.1
"""Nobody looks at a cover from nearer than this."""

_FARTHEST_M = 2000.0
_K, _T_S, _ETA, _P, _PHI0, _U0 = 3.0, 0.1, 0.03, 1.2274e6, 3e-8, 7.0
_SIGMA0_DEG, _CAB_DEG_PER_MM, _XMAX_DEG, _NMAX = 0.5 / 60, 0.08 / 60, 12.0, 15.0
_COLOUR_ACUITY = 12.0  # cycles a degree: red-green gratings of any contrast end there (Mullen 1985, from memory)
_RED_GREEN = ((0.531, 0.0392), (0.330, 0.494))  # weight, spread in degrees


def contrast_sensitivity(
    cycles_per_deg: ArrayLike, luminance_cd_m2: ArrayLike, wide_deg: ArrayLike, tall_deg: ArrayLike | None = None
) -> Floats:
    """Sensitivity S (…,): 1 over the smallest modulation that is seen, at u above 0; all arguments broadcast.

    `wide_deg` is the field along the pattern, `tall_deg` across it; a square where left out.
    """
    u = np.asarray(cycles_per_deg, dtype=np.float64)
    luminance = np.asarray(luminance_cd_m2, dtype=np.float64)
    wide = np.asarray(wide_deg, dtype=np.float64)
    tall = wide if tall_deg is None else np.asarray(tall_deg, dtype=np.float64)
    pupil_mm = 5 - 3 * np.tanh(0.4 * np.log10(luminance * wide * tall / 40**2))
    sigma = np.hypot(_SIGMA0_DEG, _CAB_DEG_PER_MM * pupil_mm)
    troland = np.pi * pupil_mm**2 / 4 * luminance * (1 - (pupil_mm / 9.7) ** 2 + (pupil_mm / 12.4) ** 4)
    optics = np.exp(-2 * (np.pi * sigma * u) ** 2)
    area = np.sqrt(
        (1 / wide**2 + 1 / _XMAX_DEG**2 + (u / _NMAX) ** 2) * (1 / tall**2 + 1 / _XMAX_DEG**2 + (u / _NMAX) ** 2)
    )
    noise = 1 / (_ETA * _P * troland) + _PHI0 / -np.expm1(-((u / _U0) ** 2))
    return np.asarray(optics / _K / np.sqrt(2 / _T_S * area * noise))


def chroma_transfer(cycles_per_deg: ArrayLike) -> Floats:
    """Share (…,) of a colour difference of that many cycles a degree that the eye keeps, 1 to 0; nothing beyond its acuity."""
    u = np.asarray(cycles_per_deg, dtype=np.float64)
    whole = sum(weight for weight, _ in _RED_GREEN)
    left = sum(weight * np.exp(-((np.pi * spread * u) ** 2)) for weight, spread in _RED_GREEN) / whole
    return np.where(u <= _COLOUR_ACUITY, left, 0.0)


def degrees(size_m: ArrayLike, distance_m: ArrayLike) -> Floats:
    """Angle that something of that size fills, seen square on."""
    return np.asarray(np.degrees(2 * np.arctan2(np.asarray(size_m) / 2, np.asarray(distance_m))))


def cycles_per_degree(period_m: float, distance_m: ArrayLike) -> Floats:
    """Cycles a degree of a pattern of that period.

    >>> round(float(cycles_per_degree(1 / 60, 2.5)), 3)
    2.618
    """
    return np.asarray(np.asarray(distance_m) * np.pi / 180 / period_m)


def pattern_sensitivity(
    distance_m: ArrayLike, period_m: float, luminance_cd_m2: float, long_m: float, wide_m: float
) -> Floats:
    """Sensitivity (…,) for a pattern along a lit line `long_m` × `wide_m` seen from distances (…,)."""
    return contrast_sensitivity(
        cycles_per_degree(period_m, distance_m),
        luminance_cd_m2,
        degrees(long_m, distance_m),
        degrees(wide_m, distance_m),
    )


def farthest_m(over: Callable[[Floats], Floats]) -> float:
    """The largest distance from which something is seen, 0 where it is seen from nowhere.

    `over` gives for distances (N,) how many times its threshold it is; seen is above 1.
    """
    distance = np.geomspace(NEAREST_M, _FARTHEST_M, 600)
    seen = np.nonzero(over(distance) > 1)[0]
    if not len(seen):
        return 0.0
    last = int(seen[-1])
    if last == len(distance) - 1:
        return float(_FARTHEST_M)

    from scipy.optimize import brentq  # takes a quarter of a second, which a picture without dots need not wait

    def beyond(log_m: float) -> float:
        return float(np.log(np.maximum(over(np.array([np.exp(log_m)])), 1e-300))[0])

    return float(np.exp(brentq(beyond, np.log(distance[last]), np.log(distance[last + 1]), xtol=1e-9)))
