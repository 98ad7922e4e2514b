"""Sold lengths that a plan takes, against the fewest that there can be, found by trying every way."""

import itertools
import random

import pytest

from preview.scene.lengths import sold_lengths


def fewest(pieces: list[int], sold: int) -> int:
    """By brute force: every way to hand the pieces out to n lengths."""
    for n in range(1, len(pieces) + 1):
        for way in itertools.product(range(n), repeat=len(pieces)):
            if all(sum(p for p, w in zip(pieces, way, strict=True) if w == k) <= sold for k in range(n)):
                return n
    return len(pieces)


@pytest.mark.parametrize("seed", range(12))
def test_never_fewer_than_can_be_nor_more_than_the_proven_bound(seed: int) -> None:
    """First fit decreasing takes at most 11/9 of the fewest and 6/9 of one (Dósa 2007)."""
    draw = random.Random(seed)
    pieces = [draw.randint(1, 10) for _ in range(6)]
    best = fewest(pieces, 10)
    assert best <= sold_lengths(pieces, 10) <= 11 / 9 * best + 6 / 9


@pytest.mark.parametrize(
    ("pieces", "sold", "count"),
    [
        ([2.5, 2.5], 5, 1), ([3, 3, 3], 5, 3), ([4, 3, 2], 5, 2), ([7], 5, 2), ([10], 5, 2), ([12.5], 5, 3),
        ([4.9, 0.2], 5, 2), ([], 5, 0), ([0.1] * 50, 5, 1),
    ],
)  # fmt: skip
def test_by_hand(pieces: list[float], sold: float, count: int) -> None:
    assert sold_lengths(pieces, sold) == count


def test_strip_is_cut_between_groups() -> None:
    """Groups of 0.3 m: a reel of 5 m has 16 of them, 4.8 m; a run of 17 groups, 5.1 m, takes two."""
    assert sold_lengths([4.8], 5, 0.3) == 1
    assert sold_lengths([5.1], 5, 0.3) == 2
    assert sold_lengths([2.4, 2.4], 5, 0.3) == 1
    assert sold_lengths([2.7, 2.4], 5, 0.3) == 2


def test_a_group_longer_than_the_sold_length() -> None:
    assert sold_lengths([2.0], 0.5, 1.0) == 2
