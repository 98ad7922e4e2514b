"""Shapes of light along a run, each the exact mean over the length of a group, and easing.

A group has one colour over its whole length. If a sharp shape were sampled at the middle of each group, a moving
mark would jump from group to group. So every shape here is integrated over the group in closed form: as a mark
crosses from one group to the next, one loses exactly what the other gains.

`x_m` is the middle of a group and `half_m` half its length; both broadcast against times.
"""

from __future__ import annotations

import numpy as np

from effects.kit.place import Floats, Number

__all__ = ["arch", "ease", "edge", "felt", "mark", "pulses", "span", "tail", "wave"]


def ease(x: Number) -> Floats:
    """From 0 to 1 for x from 0 to 1, level at both ends (3x² − 2x³); held outside.

    >>> ease([-1.0, 0.0, 0.5, 1.0, 2.0]).tolist()
    [0.0, 0.0, 0.5, 1.0, 1.0]
    """
    t = np.clip(np.asarray(x, dtype=np.float64), 0.0, 1.0)
    return np.asarray(t * t * (3.0 - 2.0 * t), dtype=np.float64)


def arch(x: Number) -> Floats:
    """From 0 up to 1 at x = 0.5 and back to 0 at x = 1, level at both ends: (1 − (2x − 1)²)²; 0 outside."""
    t = np.clip(2.0 * np.asarray(x, dtype=np.float64) - 1.0, -1.0, 1.0)
    return np.asarray((1.0 - t * t) ** 2, dtype=np.float64)


def felt(lightness: Number) -> Floats:
    """Linear light (0..1) that is felt as `lightness` (0..1) of full: CIE 1976 L*/100 → Y, its dark end left straight.

    >>> round(float(felt(0.5)), 4)
    0.1842
    """
    x = np.clip(np.asarray(lightness, dtype=np.float64), 0.0, 1.0)
    upper = (x + 0.16) / 1.16
    return np.asarray(np.where(x > 0.08, upper * upper * upper, x / 9.033), dtype=np.float64)


def span(x_m: Floats, half_m: Floats, from_m: Number, to_m: Number) -> Floats:
    """Part (0..1) of each group that lies between `from_m` and `to_m`."""
    low = np.maximum(x_m - half_m, from_m)
    high = np.minimum(x_m + half_m, to_m)
    return np.asarray(np.maximum(high - low, 0.0) / (2.0 * half_m), dtype=np.float64)


def edge(x_m: Floats, half_m: Floats, at_m: Number, soft_m: Number) -> Floats:
    """A soft step, 0 well before `at_m` and 1 well after it, eased over `soft_m` (more than 0): mean over the group."""

    def total(u: Floats) -> Floats:
        t = np.clip(u, 0.0, 1.0)
        return np.asarray(t * t * t * (1.0 - 0.5 * t) + np.maximum(u - 1.0, 0.0), dtype=np.float64)

    u = (x_m - at_m) / soft_m + 0.5
    h = half_m / soft_m
    return np.asarray((total(u + h) - total(u - h)) / (2.0 * h), dtype=np.float64)


def mark(x_m: Floats, half_m: Floats, at_m: Number, reach_m: Number) -> Floats:
    """A soft round mark, 1 in its middle `at_m` and 0 from `reach_m` on either side, (1 − u²)²: mean over the group."""

    def total(u: Floats) -> Floats:
        t = np.clip(u, -1.0, 1.0)
        square = t * t
        return np.asarray(t * (1.0 + square * (0.2 * square - 2.0 / 3.0)), dtype=np.float64)

    u = (x_m - at_m) / reach_m
    h = half_m / reach_m
    return np.asarray((total(u + h) - total(u - h)) / (2.0 * h), dtype=np.float64)


def tail(x_m: Floats, half_m: Floats, head_m: Number, length_m: Number) -> Floats:
    """1 at `head_m`, falling as e^(−d/length) behind it and 0 before it: mean over the group.

    A positive `length_m` trails towards smaller x, a negative one towards larger x.
    """
    way = np.where(np.asarray(length_m) < 0, -1.0, 1.0)
    size = np.maximum(np.abs(length_m), 1e-6)
    d = way * (head_m - x_m)  # how far the group lies behind the head
    near = np.maximum(d - half_m, 0.0) / size
    far = np.maximum(d + half_m, 0.0) / size
    return np.asarray((np.exp(-near) - np.exp(-far)) * size / (2.0 * half_m), dtype=np.float64)


def wave(x_m: Floats, half_m: Floats, length_m: float, phase_turns: Number = 0.0) -> Floats:
    """sin(2π(x/length − phase)), mean over the group: a wave too short for the groups fades to nothing."""
    spread = np.sinc(2.0 * half_m / length_m)
    return np.asarray(np.sin(2.0 * np.pi * (x_m / length_m - phase_turns)) * spread, dtype=np.float64)


def pulses(x_m: Floats, half_m: Floats, pitch_m: float, lit: float) -> Floats:
    """Stretches lit for `lit` (0..1) of every pitch, the first from 0 to lit × pitch: mean over the group."""

    def total(u: Floats) -> Floats:
        whole = np.floor(u)
        return np.asarray(whole * lit + np.minimum(u - whole, lit), dtype=np.float64)

    u = x_m / pitch_m
    h = half_m / pitch_m
    return np.asarray((total(u + h) - total(u - h)) / (2.0 * h), dtype=np.float64)
