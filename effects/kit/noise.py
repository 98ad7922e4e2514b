"""Seeded random numbers and smooth noise, the same on every platform, and closed loops of both.

Whole numbers are hashed with 32-bit integer arithmetic, and what lies between them is a polynomial: only adding and
multiplying, which IEEE 754 rounds the same everywhere.

Noise: each lattice point carries a random value and a random slope. Between the points these are blended with the
quintic 10 f³ − 15 f⁴ + 6 f⁵, so that noise has no kinks in its first and second derivative. Leaves out: exact band
limits.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from effects.kit.place import Floats

__all__ = ["Loop", "Wrapped", "noise", "seamless", "uniform"]

Hash = NDArray[np.uint32]

# odd numbers and shifts that are known to mix well, from memory; tests hold the evenness of what comes out
_STRIDES = tuple(np.uint32(odd) for odd in (0x9E3779B1, 0x85EBCA77, 0xC2B2AE3D, 0x27D4EB2F))


def _scatter(h: Any) -> Hash:
    """A 32-bit permutation in which every bit of the result depends on every bit of `h`."""
    h = h ^ (h >> np.uint32(16))
    h = h * np.uint32(0x7FEB352D)
    h = h ^ (h >> np.uint32(15))
    h = h * np.uint32(0x846CA68B)
    return np.asarray(h ^ (h >> np.uint32(16)), dtype=np.uint32)


def _whole(value: ArrayLike) -> Hash:
    """Whole numbers of any sign as 32-bit patterns."""
    return np.asarray(np.asarray(value, dtype=np.int64) & 0xFFFFFFFF, dtype=np.uint32)


def uniform(seed: int, *whole: ArrayLike) -> Floats:
    """Random numbers in 0 ≤ r < 1, one for each combination of the whole numbers `whole` (which broadcast).

    >>> bool(uniform(7, 3) == uniform(7, 3)), bool(uniform(7, 3) == uniform(7, 4))
    (True, False)
    """
    with np.errstate(over="ignore"):
        h = _scatter(_whole(seed))
        for number in whole:
            h = _scatter(h * _STRIDES[0] + _whole(number))
    return np.asarray(h * 2.0**-32, dtype=np.float64)


@dataclass(frozen=True)
class Wrapped:
    """A noise coordinate that comes round again after `cells` whole steps; `cells` 0: never."""

    at: Floats
    cells: int


def noise(seed: int, *coordinates: Floats | Wrapped | float) -> Floats:
    """Smooth noise between −1 and 1, mean 0, in one to four dimensions; features are about one unit long.

    The coordinates broadcast: `noise(seed, place.along_m / 0.3, kit.columns(time_s) / 5.0)` is (F, G).
    Put the time last: what depends on the place alone is then worked out once.
    """
    if not 1 <= len(coordinates) <= 4:
        raise ValueError("noise takes one to four coordinates")
    bits = 8 if len(coordinates) < 4 else 6
    axes = []
    for axis, coordinate in enumerate(coordinates):
        wrapped = (
            coordinate if isinstance(coordinate, Wrapped) else Wrapped(np.asarray(coordinate, dtype=np.float64), 0)
        )
        floor = np.floor(wrapped.at)
        f = np.asarray(wrapped.at - floor, dtype=np.float64)
        cell = floor.astype(np.int64)
        low, high = (cell, cell + 1) if wrapped.cells == 0 else (cell % wrapped.cells, (cell + 1) % wrapped.cells)
        with np.errstate(over="ignore"):
            steps = (_whole(low) * _STRIDES[axis], _whole(high) * _STRIDES[axis])
        axes.append((f, f * f * f * (f * (6.0 * f - 15.0) + 10.0), steps))

    scale, mask = 2.0 / (2**bits - 1), np.uint32(2**bits - 1)

    def field(h: Hash, number: int) -> Floats:
        return np.asarray(((h >> np.uint32(bits * number)) & mask) * scale - 1.0, dtype=np.float64)

    def blend(axis: int, h: Hash, offsets: tuple[Floats, ...]) -> Floats:
        if axis == len(axes):
            total = 0.75 * field(h, len(axes))
            for number, offset in enumerate(offsets):
                total = total + field(h, number) * offset
            return total
        f, weight, (low, high) = axes[axis]
        with np.errstate(over="ignore"):
            h_low, h_high = _scatter(h + low), _scatter(h + high)
        a = blend(axis + 1, h_low, (*offsets, f))
        b = blend(axis + 1, h_high, (*offsets, f - 1.0))
        return np.asarray(a + weight * (b - a), dtype=np.float64)

    with np.errstate(over="ignore"):
        start = _scatter(_whole(seed) + np.uint32(0x1B873593))
    raw = np.clip(blend(0, start, ()) * _GAIN[len(axes) - 1], -1.0, 1.0)
    return np.asarray(raw * (1.5 - 0.5 * raw * raw), dtype=np.float64)


_GAIN = (0.8, 0.9, 1.0, 1.1)  # brings the spread to about 0.45 for every number of dimensions


@dataclass(frozen=True)
class Loop:
    """Time that comes round after `period_s`; 0: it never does, and every method leaves its input as it is."""

    period_s: float

    def turns(self, per_s: float) -> int:
        """The whole number of cycles, at least one, that a rate comes to in the period; 0 without a period."""
        return max(1, round(abs(per_s) * self.period_s)) if self.period_s > 0 else 0

    def rate(self, per_s: float) -> float:
        """The rate nearest to `per_s` that makes a whole number of cycles in the period, sign kept.

        >>> seamless(10.0).rate(0.33), seamless(0.0).rate(0.33)
        (0.3, 0.33)
        """
        if self.period_s <= 0:
            return per_s
        return (-1.0 if per_s < 0 else 1.0) * self.turns(per_s) / self.period_s

    def clock(self, time_s: Floats, scale_s: float) -> Wrapped:
        """A time coordinate for `noise` whose features last about `scale_s`, closed after the period."""
        return Wrapped(np.asarray(time_s * self.rate(1.0 / scale_s), dtype=np.float64), self.turns(1.0 / scale_s))

    def travel(self, along_m: Floats, time_s: Floats, speed_m_per_s: float, scale_m: float) -> Wrapped:
        """A coordinate for `noise` that moves at exactly `speed_m_per_s`; its features, about `scale_m` long, are
        fitted so that the pattern comes round after the period."""
        moved = along_m - speed_m_per_s * time_s
        if speed_m_per_s == 0 or self.period_s <= 0:
            return Wrapped(np.asarray(moved / scale_m, dtype=np.float64), 0)
        per_s = self.rate(abs(speed_m_per_s) / scale_m)
        scale = abs(speed_m_per_s) / per_s
        return Wrapped(np.asarray(moved / scale, dtype=np.float64), self.turns(abs(speed_m_per_s) / scale_m))


def seamless(period_s: float) -> Loop:
    """Time in a closed loop of `period_s` seconds, or for 0 one that never repeats."""
    return Loop(float(period_s))
