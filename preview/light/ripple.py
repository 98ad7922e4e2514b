"""How unevenly a row of LEDs lights the cover in front of it: the closed form of the row.

One LED `depth` behind a parallel cover lights it along its middle as 1/(1 + (x/h)²)²: a Lambertian source, cos⁴. Its Fourier transform is
∝ (1 + 2πhf)·exp(−2πhf). A cover that blurs with a Gaussian of standard deviation s multiplies that by exp(−2(πsf)²). By Poisson's sum an
endless row at pitch p then gives, with T the product of the two,

    E(x)/mean = 1 + Σ 2·T(n/p)·cos(2πnx/p),  x = 0 in front of an LED.

Every term adds up in front of an LED and alternates half way to the next, so the largest and the least value lie there.
Depth 0 stands for LEDs that are seen as they are, bare or through a clear cover: even over the width of a package.

Source: Poisson's summation formula; the Fourier transform of 1/(1 + u²)² is (π/2)(1 + |ω|)·e^−|ω|.
Leaves out: light that the channel's walls send back, which evens a deep channel further; the ends of the row.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from preview.light.emission import BARE_WIDTH_M
from preview.scene.layout import Floats

__all__ = ["amplitude", "ripple", "row", "transfer"]

_SMALLEST = 1e-12
_MOST_TERMS = 20_000


def transfer(cycles_per_m: ArrayLike, depth_m: float, spread_m: float) -> Floats:
    """Share (…,) of a pattern of that many cycles a metre in the LEDs that is left on the cover, 1 to 0."""
    f = np.asarray(cycles_per_m, dtype=np.float64)
    if depth_m <= 0:
        return np.asarray(np.sinc(f * BARE_WIDTH_M))
    w = 2 * np.pi * depth_m * f
    return np.asarray((1 + w) * np.exp(-w - 2 * (np.pi * spread_m * f) ** 2))


def amplitude(pitch_m: float, depth_m: float, spread_m: float) -> float:
    """Modulation of the row's fundamental, one cycle a pitch, over the mean. Above 1 for narrow dots on a dark ground.

    >>> round(amplitude(0.010, 0.010, 0.0), 8)
    0.02720186
    """
    return float(2 * abs(transfer(1 / pitch_m, depth_m, spread_m)))


def row(x_m: ArrayLike, pitch_m: float, depth_m: float, spread_m: float) -> Floats:
    """Light (…,) along an endless row over its mean, at places `x_m` (…,) from in front of an LED. `depth_m` above 0."""
    place = np.asarray(x_m, dtype=np.float64)
    decay = 2 * np.pi * depth_m / pitch_m
    terms = int(np.clip(np.ceil(50 / decay), 4, _MOST_TERMS))
    total = np.ones(place.shape)
    for n in range(1, terms + 1):
        part = float(2 * transfer(n / pitch_m, depth_m, spread_m))
        if part < _SMALLEST:
            break
        total = total + part * np.cos(2 * np.pi * n * place / pitch_m)
    return total


def ripple(pitch_m: float, depth_m: float, spread_m: float) -> float:
    """Michelson contrast (max − min)/(max + min) along the middle of the cover, 0 to 1.

    >>> round(ripple(0.020, 0.010, 0.0), 5)
    0.35008
    """
    if depth_m <= 0:  # packages side by side: so many over every place, or one more
        over = BARE_WIDTH_M / pitch_m
        low, high = np.floor(over + 1e-9), np.ceil(over - 1e-9)
        return float((high - low) / (high + low))
    most, least = row([0.0, pitch_m / 2], pitch_m, depth_m, spread_m)
    return float(np.clip((most - least) / (most + least), 0.0, 1.0))
