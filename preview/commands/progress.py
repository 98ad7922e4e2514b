"""What long commands show while they run."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Iterator

import click

__all__ = ["progress_bar"]


@contextlib.contextmanager
def progress_bar(label: str, steps: int) -> Iterator[Callable[[int], None]]:
    """A bar on standard error while something runs, on a terminal; nothing at all elsewhere. Call it with the steps done."""
    if not sys.stderr.isatty():
        yield lambda done: None
        return
    with click.progressbar(length=steps, label=label.ljust(18), file=sys.stderr) as bar:
        yield lambda done: bar.update(done - bar.pos)
