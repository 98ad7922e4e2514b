"""Ctrl-C while a window is open: heard at the next turn of its event loop.

Raised wherever Python happens to be, it would be lost now and then: in the callback that tidies up after an import, which a window that
has only just come does a thousand times, Python prints an interrupt and drops it.
"""

from __future__ import annotations

import signal
import threading
from types import FrameType
from typing import Self

__all__ = ["Interrupts"]


class Interrupts:
    """Keeps the first Ctrl-C until `heed` is called; a second one does not wait.

    Within `with` on the main thread, and only where Ctrl-C would have been raised anyway: who starts a program deaf to it keeps that.
    """

    def __init__(self) -> None:
        self._kept = False
        self._installed = False

    def __enter__(self) -> Self:
        if (
            threading.current_thread() is threading.main_thread()
            and signal.getsignal(signal.SIGINT) is signal.default_int_handler
        ):
            signal.signal(signal.SIGINT, self._keep)
            self._installed = True
        return self

    def __exit__(self, *_: object) -> None:
        if self._installed:
            signal.signal(signal.SIGINT, signal.default_int_handler)
            self._installed = False

    def _keep(self, _number: int, _frame: FrameType | None) -> None:
        if self._kept:
            raise KeyboardInterrupt
        self._kept = True

    def heed(self) -> None:
        """Raise the KeyboardInterrupt that was kept, if one was."""
        if self._kept:
            raise KeyboardInterrupt
