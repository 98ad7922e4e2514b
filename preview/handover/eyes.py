"""Flashing of a clip, watched while it is written: above the limit nothing is left of it.

The limit is that of WCAG 2.2, success criterion 2.3.1, three flashes in any one second, or the plan's own where that is lower. Leaves
out: what `preview.looks.flashing` leaves out.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Iterable, Iterator

from preview.handover.video import Picture
from preview.looks.flashing import FLASHES_PER_S, Flashes, flashes_of
from preview.scene.faults import CovecastError
from preview.scene.model import Scene

__all__ = ["FlashingError", "caution", "flash_limit", "foot_words", "watched"]


class FlashingError(CovecastError):
    """A clip flashes more often than it may; the message says which look, how often and when."""


def flash_limit(scene: Scene) -> float:
    """Most flashes in any one second of a clip of this scene."""
    return min(FLASHES_PER_S, float(scene.limits.flashes_per_s))


def caution(found: Flashes, limit: float) -> str:
    """What is written into the metadata of a clip that flashes more than it may, and said of it."""
    kinds = [("general", found.general_per_s), ("red", found.red_per_s)]
    counts = " and ".join(f"{count:g} {kind}" for kind, count in kinds if count > limit)
    return f"{counts} flashes in the second from {found.at_s:.2f} s, {limit:g} are allowed: it can bring on a seizure"


def foot_words(found: Flashes) -> str:
    """What is written at the foot of the pictures of such a clip, short enough for any size.

    >>> foot_words(Flashes(5.0, 0.0, 0.0, (0, 0, 1, 1)))
    'flashes: 5 a second'
    """
    return f"flashes: {found.per_s:g} a second"


def watched(
    pictures: Iterable[Picture], look: str, frames_per_s: float, field_deg: float, limit: float
) -> Iterator[Picture]:
    """The same pictures (height, width, 3). FlashingError as soon as, or at the end when, they pass the limit as they loop."""
    waiting: queue.Queue[Picture | None] = queue.Queue(8)
    found: list[Flashes | BaseException] = []

    def taken() -> Iterator[Picture]:
        while (picture := waiting.get()) is not None:
            yield picture

    def watch() -> None:
        try:
            found.append(flashes_of(taken(), frames_per_s, field_deg, fullest=limit))
        except BaseException as error:  # handed over, and raised on the other side
            found.append(error)

    def put(item: Picture | None) -> None:
        while not found:
            try:
                waiting.put(item, timeout=0.1)
                return
            except queue.Full:
                continue

    def check() -> None:
        for result in found:
            if isinstance(result, BaseException):
                raise result
            if not result.within(limit):
                raise FlashingError(
                    f"look {look!r}: at least {caution(result, limit)} (WCAG 2.2, criterion 2.3.1). Slow the effect, lower "
                    "its level or its contrast; or write it with --allow-flashing, which marks the file"
                )

    thread = threading.Thread(target=watch, name="eyes", daemon=True)
    thread.start()
    try:
        for picture in pictures:
            put(picture)
            check()
            yield picture
        put(None)
        thread.join()
        check()
    finally:
        put(None)
        thread.join()
