"""Work in threads beside the one that takes it: same items, errors handed over, no thread left behind."""

import threading
import time
from collections.abc import Iterator

import numpy as np
import pytest

from preview.handover.ahead import ahead
from preview.handover.eyes import FlashingError, watched


def left_over() -> list[str]:
    return [thread.name for thread in threading.enumerate() if thread.name in ("ahead", "eyes")]


def test_items_come_in_order_and_are_not_all_held() -> None:
    asked = 0

    def items() -> Iterator[int]:
        nonlocal asked
        for k in range(100):
            asked = k
            yield k

    taken = ahead(items(), depth=3)
    assert next(taken) == 0
    time.sleep(0.2)
    assert asked <= 6
    assert list(taken) == list(range(1, 100))
    assert left_over() == []


def test_what_goes_wrong_is_raised_where_it_is_taken() -> None:
    def items() -> Iterator[int]:
        yield 1
        raise ValueError("the second")

    taken = ahead(items())
    assert next(taken) == 1
    with pytest.raises(ValueError, match="the second"):
        next(taken)
    assert left_over() == []


def test_it_may_be_left_at_any_time() -> None:
    taken = ahead(iter(range(1000)), depth=2)
    next(taken)
    taken.close()
    assert left_over() == []


def blinking(changes_per_s: float, seconds: float, rate: int = 30) -> list[np.ndarray]:
    """All of a picture between black and white."""
    times = np.arange(round(seconds * rate)) / rate
    return [np.full((36, 64, 3), 255 * int(np.floor(t * changes_per_s + 1e-9) % 2), np.uint8) for t in times]


def test_five_flashes_a_second_are_stopped_and_two_go_through() -> None:
    # WCAG 2.2: a pair of opposing changes is a flash, and more than three in any second are too many.
    with pytest.raises(FlashingError, match=r"look 'x': at least .* general flashes .* 3 are allowed"):
        list(watched(blinking(10, 2), "x", 30, 60, 3))
    slow = blinking(4, 2)
    assert all((a == b).all() for a, b in zip(watched(slow, "x", 30, 60, 3), slow, strict=True))
    assert left_over() == []


def test_flashing_over_the_seam_counts() -> None:
    # Still but for a burst at the end and one at the start, each within the limit, which meet when the clip goes round.
    burst = blinking(10, 0.4)
    dark = [burst[0]] * 60
    list(watched([*burst, *dark], "x", 30, 60, 3))
    with pytest.raises(FlashingError):
        list(watched([*burst, *dark, *burst], "x", 30, 60, 3))


def test_pictures_that_fail_leave_no_thread() -> None:
    def failing() -> Iterator[np.ndarray]:
        yield from blinking(1, 0.2)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        list(ahead(watched(failing(), "x", 30, 60, 3)))
    assert left_over() == []
