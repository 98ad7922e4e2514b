"""Pieces from sold lengths, in the fewest lengths: the one-dimensional cutting stock problem, solved exactly for practical sizes.

Lengths are whole numbers of one unit, and a saw takes `kerf` of them at every cut. Pieces that fill a length with one cut fewer than
pieces fit too, so pieces of l₁ … lₙ fit a length S if Σ(lᵢ + kerf) ≤ S + kerf.

First two quick packings, each piece into the first length that still has room, and each length as full as it can be, longest pieces first,
are held against Martello and Toth's lower bound (Discrete Applied Mathematics 28, 1990). Where one meets it, it is proven to be
best. Elsewhere every way of filling a length to which no further piece could be added is listed, and HiGHS finds how often to use
which: minimise Σ x_p so that Σ a_ip x_p ≥ demand_i, x whole (Gilmore and Gomory, Operations Research 9, 1961, without their columns'
generation).

Leaves out: which of several best ways leaves the handiest rest; squaring the ends of a length; flaws in it.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from preview.scene.faults import CovecastError

__all__ = ["Cutting", "CuttingError", "cut_from_stock", "fewest_at_least"]

MOST_WAYS = 60_000
"""Ways of filling a length that are listed at most; a plan with more of them gets the quick packing, and is told so."""

MOST_STEPS = 1_000_000
"""Steps of listing them, found or not."""

MOST_SECONDS = 20.0
"""What the solver may take before the quick packing stands."""


Table = NDArray[np.int64]


class CuttingError(CovecastError):
    """A piece that is longer than any sold length."""


@dataclass(frozen=True)
class Cutting:
    """Which pieces, by their number in what was asked, come from which length; `proven`: in fewer lengths it cannot be done."""

    lengths: tuple[tuple[int, ...], ...]
    proven: bool


def cut_from_stock(pieces: Sequence[int], stock: int, kerf: int = 0) -> Cutting:
    """Pieces, each more than 0 and at most `stock`, from as few lengths of `stock` as they can be cut from.

    In every length the longest piece comes first, and the lengths come in the order of the first piece each holds.

    >>> cut_from_stock([30, 30, 20, 20], 50).lengths
    ((0, 2), (1, 3))
    """
    long = [piece for piece in pieces if not 0 < piece <= stock]
    if long:
        raise CuttingError(f"pieces: expected each longer than 0 and at most {stock}, found {long[0]}")
    if not pieces:
        return Cutting((), True)
    room, sizes = stock + kerf, [piece + kerf for piece in pieces]
    quick = min(_first_fit(sizes, room), _fullest(sizes, room), key=len)
    least = fewest_at_least(sizes, room)
    if len(quick) <= least:
        return Cutting(_in_order(quick, sizes), True)
    demand = Counter(sizes)
    widths = sorted(demand, reverse=True)
    ways = _ways(widths, [demand[width] for width in widths], room)
    if ways is None:
        return Cutting(_in_order(quick, sizes), False)
    counts, proven = _solved(ways, np.array([demand[width] for width in widths]), len(quick))
    if counts is None:
        return Cutting(_in_order(quick, sizes), proven)
    return Cutting(_in_order(_handed_out(ways, counts, widths, sizes), sizes), proven)


def fewest_at_least(sizes: Sequence[int], room: int) -> int:
    """A number of lengths below which `sizes` cannot be packed: the bound L2 of Martello and Toth.

    >>> fewest_at_least([6, 6, 6], 10), fewest_at_least([5, 5, 5], 10)
    (3, 2)
    """
    size = np.sort(np.asarray(sizes, dtype=np.int64))
    best = math.ceil(int(size.sum()) / room)
    for least in np.unique(np.append(size[size <= room // 2], 0)):
        alone = int((size > room - least).sum())
        halves = size[(size > room // 2) & (size <= room - least)]
        halves = halves[2 * halves > room]
        small = int(size[(size >= least) & (2 * size <= room)].sum())
        spare = halves.size * room - int(halves.sum())
        best = max(best, alone + halves.size + max(0, math.ceil((small - spare) / room)))
    return best


def _first_fit(sizes: Sequence[int], room: int) -> list[list[int]]:
    """Pieces by number, longest first, each in the first length that has room."""
    lengths: list[list[int]] = []
    left: list[int] = []
    for number in sorted(range(len(sizes)), key=lambda k: (-sizes[k], k)):
        place = next((n for n, rest in enumerate(left) if sizes[number] <= rest), len(left))
        if place == len(left):
            lengths.append([])
            left.append(room)
        lengths[place].append(number)
        left[place] -= sizes[number]
    return lengths


def _fullest(sizes: Sequence[int], room: int) -> list[list[int]]:
    """Pieces by number: one length after another begun with the longest that is left, and then filled as full as those left can fill it."""
    waiting = sorted(range(len(sizes)), key=lambda k: (-sizes[k], k))
    lengths = []
    while waiting:
        first = waiting.pop(0)
        rest = room - sizes[first]
        reached = [1]  # bit s of the n-th: the first n of those waiting have some that add up to s
        for number in waiting:
            reached.append((reached[-1] | reached[-1] << sizes[number]) & ((1 << (rest + 1)) - 1))
        fill = reached[-1].bit_length() - 1
        chosen = [first]
        for n in range(len(waiting), 0, -1):
            if not reached[n - 1] >> fill & 1:
                chosen.append(waiting[n - 1])
                fill -= sizes[waiting[n - 1]]
        waiting = [number for number in waiting if number not in chosen]
        lengths.append(chosen)
    return lengths


def _ways(widths: Sequence[int], demand: Sequence[int], room: int) -> Table | None:
    """Every way (W, kinds) of filling a length to which no piece that is still wanted could be added; None where they are too many."""
    found: list[list[int]] = []
    counts = [0] * len(widths)
    last = len(widths) - 1
    steps = 0

    def fill(kind: int, rest: int) -> bool:
        nonlocal steps
        steps += 1
        most = min(rest // widths[kind], demand[kind])
        if kind == last:
            counts[kind] = most  # with fewer of the last kind another would fit
            rest -= most * widths[kind]
            shortest = next((k for k in range(last, -1, -1) if counts[k] < demand[k]), None)
            if shortest is None or widths[shortest] > rest:
                found.append(list(counts))
            counts[kind] = 0
            return len(found) <= MOST_WAYS and steps <= MOST_STEPS
        for count in range(most, -1, -1):
            counts[kind] = count
            if not fill(kind + 1, rest - count * widths[kind]):
                return False
        counts[kind] = 0
        return True

    return np.array(found, dtype=np.int64) if fill(0, room) else None


def _solved(
    ways: Table,
    demand: Table,
    most: int,
) -> tuple[list[int] | None, bool]:
    """How often each way is used, None where that is no better than `most` lengths; and whether the answer is proven."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    answer = milp(
        np.ones(len(ways)),
        constraints=LinearConstraint(ways.T, lb=demand),
        integrality=np.ones(len(ways)),
        bounds=Bounds(0, most),
        options={"time_limit": MOST_SECONDS, "mip_rel_gap": 0.0},
    )
    proven = answer.status == 0
    if answer.x is None:
        return None, proven
    counts = [round(float(count)) for count in answer.x]
    return (counts if sum(counts) < most else None), proven


def _handed_out(
    ways: Table,
    counts: Sequence[int],
    widths: Sequence[int],
    sizes: Sequence[int],
) -> list[list[int]]:
    """The pieces by number on the lengths that were chosen; what a way has beyond the demand is left off."""
    waiting = {width: [k for k, size in enumerate(sizes) if size == width] for width in widths}
    lengths = []
    for way, count in zip(ways, counts, strict=True):
        for _ in range(count):
            length = [
                waiting[width].pop(0)
                for width, n in zip(widths, way, strict=True)
                for _ in range(min(int(n), len(waiting[width])))
            ]
            if length:
                lengths.append(length)
    return lengths


def _in_order(lengths: list[list[int]], sizes: Sequence[int]) -> tuple[tuple[int, ...], ...]:
    each = [tuple(sorted(length, key=lambda k: (-sizes[k], k))) for length in lengths]
    return tuple(sorted(each, key=min))
