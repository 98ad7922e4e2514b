"""Things that move, in closed form: where they are at any time follows from the time alone, with nothing kept from frame to frame."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from effects.kit.noise import Loop, uniform
from effects.kit.place import Floats, Ints, Number
from effects.kit.shapes import ease

__all__ = ["arrivals", "gentle", "pendulum_per_s", "ripple"]

_GRAVITY_M_PER_S2 = 9.81


def gentle(per_s: Number) -> Floats:
    """Part (0..1) of its contrast that a pattern keeps when `per_s` of its lights pass a place in a second.

    All up to 2, none from 3 on: what passes more often runs into its mean, as for a slow eye, and does not flash.

    >>> gentle([0.0, 2.0, 2.5, 3.0, 40.0]).tolist()
    [1.0, 1.0, 0.5, 0.0, 0.0]
    """
    return np.asarray(1.0 - ease(np.abs(np.asarray(per_s, dtype=np.float64)) - 2.0), dtype=np.float64)


def pendulum_per_s(cord_m: float) -> float:
    """Swings a second of a small pendulum: √(g/L)/2π.

    >>> round(1.0 / pendulum_per_s(1.0), 3)
    2.006
    """
    return float(np.sqrt(_GRAVITY_M_PER_S2 / cord_m) / (2.0 * np.pi))


def arrivals(seed: int, loop: Loop, time_s: Floats, per_s: float, lasts_s: float) -> Iterator[tuple[Ints, Floats]]:
    """What comes now and then, `per_s` a second on average, and can be seen for `lasts_s`: drops, sparks, passers-by.

    For each of the last few at times (F, 1): its number (F, 1), to be given to `uniform` for what it is like, and the seconds since it came
    (F, 1), less than 0 where it has yet to come. With a loop the same ones come again.
    """
    rate, turns = loop.rate(per_s), loop.turns(per_s)
    slot = np.floor(time_s * rate).astype(np.int64)
    for back in range(int(np.ceil(lasts_s * rate)) + 1):
        number = slot - back
        which = np.asarray(np.mod(number, turns) if turns else number, dtype=np.int64)
        came_s = (number + 0.9 * uniform(seed, which, 1)) / rate
        yield which, np.asarray(time_s - came_s, dtype=np.float64)


def ripple(away_m: Floats, since_s: Floats, speed_m_per_s: float, length_m: Number, die_s: float) -> Floats:
    """A ring on water, −1..1: one crest with a trough on either side that spreads at a speed and dies away.

    cos(2πd/length)·exp(−½(2.5 d/length)²)·exp(−t/die), d = away − speed·t; 0 before t = 0. It rises within 0.5 s.
    """
    since = np.maximum(since_s, 0.0)
    d = (away_m - speed_m_per_s * since) / length_m
    wave = np.cos(2.0 * np.pi * d) * np.exp(-0.5 * (2.5 * d) ** 2)
    return np.asarray(wave * ease(since / 0.5) * np.exp(-since / die_s), dtype=np.float64)
