"""Pictures worked out ahead of whoever takes them, in a thread, so that drawing and writing go on side by side."""

from __future__ import annotations

import queue
import threading
from collections.abc import Iterable, Iterator
from typing import TypeVar

from preview.handover.placing import heed

__all__ = ["ahead"]

T = TypeVar("T")


def ahead(items: Iterable[T], depth: int = 4) -> Iterator[T]:
    """The same items in the same order, up to `depth` of them waiting. It may be left at any time.

    What goes wrong while they are worked out is raised where they are taken, and so is an interrupt that was dropped elsewhere.
    """
    waiting: queue.Queue[tuple[T] | BaseException | None] = queue.Queue(depth)
    left = threading.Event()

    def put(item: tuple[T] | BaseException | None) -> None:
        while not left.is_set():
            try:
                waiting.put(item, timeout=0.1)
                return
            except queue.Full:
                continue

    def work() -> None:
        try:
            for item in items:
                put((item,))
                if left.is_set():
                    return
            put(None)
        except BaseException as error:  # handed over, and raised on the other side
            put(error)

    thread = threading.Thread(target=work, name="ahead", daemon=True)
    thread.start()
    try:
        while True:
            taken = waiting.get()
            heed()
            if taken is None:
                return
            if isinstance(taken, BaseException):
                raise taken
            yield taken[0]
    finally:
        left.set()
        thread.join()
