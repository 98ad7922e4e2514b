"""Cutting stock against published examples and against brute force."""

from collections.abc import Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from preview.pack import cutting
from preview.pack.cutting import CuttingError, cut_from_stock, fewest_at_least

CHVATAL = ({45: 97, 36: 610, 31: 395, 14: 211}, 100, 453)
"""V. Chvátal, Linear Programming, W. H. Freeman 1983, chapter 13: raws of 100 in, whose relaxation is 452.25 (from memory)."""

PAPER = (
    {1380: 22, 1520: 25, 1560: 12, 1710: 14, 1820: 18, 1880: 18, 1930: 20, 2000: 10, 2050: 12, 2100: 14, 2140: 16, 2150: 18, 2200: 20},
    5600,
    73,
)  # fmt: skip
"""The paper mill of encyclopaedias: master rolls of 5600 mm, 0.401 % wasted at best (from memory)."""


HARD = [11, 11, 10, 9, 8, 8, 7, 6]
"""Lengths that no quick packing cuts from as few bars of 24 as they need."""


def laid(demand: dict[int, int]) -> list[int]:
    return [size for size, count in demand.items() for _ in range(count)]


def fits(pieces: Sequence[int], stock: int, kerf: int) -> bool:
    """What a saw needs: a kerf between two pieces, and none where the last piece ends with the bar."""
    return sum(pieces) + kerf * (len(pieces) - 1) <= stock


def brute(pieces: Sequence[int], stock: int, kerf: int) -> int:
    """The fewest bars, by trying every way of sharing the pieces out."""
    best = len(pieces)

    def place(k: int, bars: list[list[int]]) -> None:
        nonlocal best
        if len(bars) >= best and k < len(pieces):
            return
        if k == len(pieces):
            best = min(best, len(bars))
            return
        for bar in bars:
            if fits([*bar, pieces[k]], stock, kerf):
                bar.append(pieces[k])
                place(k + 1, bars)
                bar.pop()
        bars.append([pieces[k]])
        place(k + 1, bars)
        bars.pop()

    place(0, [])
    return best


def checked(pieces: Sequence[int], stock: int, kerf: int = 0) -> int:
    """The number of lengths, once every piece is found in one of them and every length holds what it must."""
    found = cut_from_stock(pieces, stock, kerf)
    assert sorted(k for length in found.lengths for k in length) == list(range(len(pieces)))
    assert all(fits([pieces[k] for k in length], stock, kerf) for length in found.lengths)
    assert found.proven
    return len(found.lengths)


@pytest.mark.parametrize("example", [CHVATAL, PAPER], ids=["Chvatal", "paper mill"])
def test_published_examples(example: tuple[dict[int, int], int, int]) -> None:
    demand, stock, fewest = example
    assert checked(laid(demand), stock) == fewest


@settings(max_examples=150, deadline=None)
@given(st.lists(st.integers(1, 40), min_size=1, max_size=8), st.integers(40, 70), st.integers(0, 6))
def test_against_brute_force(pieces: list[int], stock: int, kerf: int) -> None:
    assert checked(pieces, stock, kerf) == brute(pieces, stock, kerf)
    assert fewest_at_least([piece + kerf for piece in pieces], stock + kerf) <= brute(pieces, stock, kerf)


def test_where_the_quick_packing_is_not_best() -> None:
    # Three bars of 24 do by hand: 10 8 6, 9 8 7 and 11 11. Longest first takes four, filling each bar as far as it goes too.
    assert checked(HARD, 24) == 3


def test_kerf_takes_a_bar_more() -> None:
    assert checked([1000, 1000], 2000, 0) == 1
    assert checked([1000, 1000], 2000, 3) == 2
    assert checked([1000, 997], 2000, 3) == 1


def test_a_piece_that_is_too_long() -> None:
    with pytest.raises(CuttingError, match="2001"):
        cut_from_stock([2001], 2000)


def test_nothing_to_cut() -> None:
    assert cut_from_stock([], 2000).lengths == ()


def test_too_many_ways_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cutting, "MOST_WAYS", 2)
    found = cut_from_stock(HARD, 24)
    assert not found.proven
    assert len(found.lengths) == 4
    assert sorted(k for length in found.lengths for k in length) == list(range(len(HARD)))
