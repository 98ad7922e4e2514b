"""How long something takes, for the benchmarks."""

from __future__ import annotations

import time
from collections.abc import Callable

__all__ = ["seconds"]


def seconds(work: Callable[[], object], times: int = 3) -> float:
    """Process time of the quickest of a few tries."""
    best = float("inf")
    for _ in range(times):
        began = time.process_time()
        work()
        best = min(best, time.process_time() - began)
    return best
