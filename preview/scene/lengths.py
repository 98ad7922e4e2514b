"""How many sold lengths a plan takes: reels of strip, lengths of channel.

A piece longer than a sold length is made of whole ones and a rest; the rests are cut from further ones, longest first, each from the first
that still has enough left (first fit decreasing, never more than 11/9 of the fewest and two thirds of one; Dósa 2007). Strip is only cut
between groups.

Leaves out: cutting waste, a spare, joining short rests into one run.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

__all__ = ["sold_lengths"]

_SLACK_M = 1e-6


def sold_lengths(pieces_m: Iterable[float], sold_m: float, cut_m: float = 0.0) -> int:
    """Sold lengths of `sold_m` that pieces take. `cut_m`: pieces and what is cut from them are whole multiples of it.

    >>> sold_lengths([3, 3, 3], 5), sold_lengths([4, 3, 2], 5), sold_lengths([7], 5)
    (3, 2, 2)
    """
    usable_m = sold_m if cut_m <= 0 else max(math.floor(sold_m / cut_m + _SLACK_M), 1) * cut_m
    whole, rests = 0, []
    for piece in pieces_m:
        count = math.floor(piece / usable_m + _SLACK_M)
        whole += count
        if piece - count * usable_m > _SLACK_M:
            rests.append(piece - count * usable_m)
    left: list[float] = []
    for rest in sorted(rests, reverse=True):
        for n, room in enumerate(left):
            if rest <= room + _SLACK_M:
                left[n] -= rest
                break
        else:
            left.append(usable_m - rest)
    return whole + len(left)
