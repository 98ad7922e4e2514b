"""The places of everything in the window, at every size."""

from itertools import combinations

import pygame
from hypothesis import given, settings
from hypothesis import strategies as st

from preview.window.framing import MOST_PIXELS, picture_size
from preview.window.ledge import SMALLEST, Arrangement, Rect, arrange
from preview.window.lettering import Lettering
from preview.window.panel import _fit_place

sizes = st.tuples(st.integers(SMALLEST[0], 4000), st.integers(SMALLEST[1], 2400))


def pieces(at: Arrangement) -> list[Rect]:
    rows = [rect for row in at.rows for rect in (row.label, row.bar, row.curve)]
    gauges = [rect for gauge in (at.level, at.light) for rect in (gauge.name, gauge.track, gauge.value)]
    return [at.looks, at.words, at.play, at.clock, at.axis, *rows, *gauges, *at.readings]


def overlap(one: Rect, other: Rect) -> bool:
    return one.x < other.right and other.x < one.right and one.y < other.bottom and other.y < one.bottom


@settings(max_examples=300, deadline=None)
@given(sizes, st.integers(1, 12))
def test_nothing_overlaps_or_leaves_the_ledge(size: tuple[int, int], supplies: int) -> None:
    at = arrange(size, supplies)
    assert at.ledge is not None
    found = pieces(at)
    for rect in found:
        assert rect.w > 0
        assert rect.h > 0
        assert at.ledge.x <= rect.x
        assert rect.right <= at.ledge.right
        assert at.ledge.y <= rect.y
        assert rect.bottom <= at.ledge.bottom
    for one, other in combinations(found, 2):
        assert not overlap(one, other), (size, one, other)


@given(sizes, st.integers(1, 12))
def test_the_room_has_more_than_half_of_the_window(size: tuple[int, int], supplies: int) -> None:
    at = arrange(size, supplies)
    assert at.ledge is not None
    assert not overlap(at.room, at.ledge)
    assert at.room.w * at.room.h + at.ledge.w * at.ledge.h == size[0] * size[1]
    assert at.room.w * at.room.h > 0.5 * size[0] * size[1]


@given(sizes)
def test_without_instruments_the_room_is_everything(size: tuple[int, int]) -> None:
    at = arrange(size, 2, instruments=False)
    assert at.ledge is None
    assert at.room == (0, 0, *size)


@given(st.integers(1, 8000), st.integers(1, 5000))
def test_a_picture_never_has_too_many_pixels(w: int, h: int) -> None:
    assert picture_size((w, h))[0] * picture_size((w, h))[1] <= MOST_PIXELS


def test_where_room_is_short_a_group_keeps_its_number() -> None:
    pygame.font.init()
    letters = Lettering()
    whole = "the third beam from the left, above the bench, group 17"
    for width in (600, 300, 180, 110, 70):
        shown = _fit_place(letters, whole, width)
        assert letters.width(shown, 13) <= width
        assert shown.endswith(" 17")
        assert (shown == whole) == (letters.width(whole, 13) <= width)
    assert letters.width(_fit_place(letters, whole, 12), 13) <= 12
    assert _fit_place(letters, "", 100) == ""
