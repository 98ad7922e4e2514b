"""A thread beside the event loop that works on the latest wish and can be ended at any time."""

from __future__ import annotations

import threading
from collections.abc import Callable

__all__ = ["CLOSING_S", "Worker"]

CLOSING_S = 2.0
"""How long a window that is being closed waits for a thread that is in the midst of a long calculation."""


class Worker:
    """Calls `_work`, which returns when `_stopping` is set. `tell` is called on its thread whenever there is something new.

    An error that nobody expected ends the thread and is kept as `failure`, for the event loop to raise: a window whose picture has
    stopped for good must not stay open.
    """

    def __init__(self, name: str, tell: Callable[[], None]) -> None:
        self.failure: BaseException | None = None
        self._tell = tell
        self._wake = threading.Condition()
        self._stopping = False
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self, wait: bool = True) -> None:
        """End the thread at the next chance; with `wait`, be there when it ends."""
        with self._wake:
            self._stopping = True
            self._wake.notify_all()
        if wait and self._thread.is_alive():
            self._thread.join(timeout=CLOSING_S)

    def _run(self) -> None:
        try:
            self._work()
        except BaseException as error:  # not swallowed: raised again where the window is
            self.failure = error
            self._tell()

    def _work(self) -> None:
        raise NotImplementedError
