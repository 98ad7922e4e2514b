"""How a feed is called before people: by its number in the file, counted from 1, and by what it leads from and to.

The JSON of `probe` and `meter` counts feeds from 0 in `index`; every text says `feed_names`.
"""

from __future__ import annotations

import re

import numpy as np

from preview.scene.layout import group_count
from preview.scene.model import Scene

__all__ = ["feed_names", "feed_number", "metres"]

_NAMED = re.compile(r"feed (\d+)")


def feed_names(scene: Scene) -> tuple[str, ...]:
    """Every feed of a scene by number, source, run and the cut point that it stands at, such as "feed 2 (psu to shelf at 0 m)"."""
    cut_m = {run.name: scene.strip[run.strip].cut_m for run in scene.run}
    last = {run.name: group_count(run, scene.strip[run.strip]) for run in scene.run}
    names = []
    for number, feed in enumerate(scene.feed, start=1):
        cut = float(np.clip(np.floor(feed.at_m / cut_m[feed.run] + 0.5), 0, last[feed.run]))
        names.append(f"feed {number} ({feed.from_} to {feed.run} at {metres(cut * cut_m[feed.run])} m)")
    return tuple(names)


def feed_number(name: str) -> int | None:
    """The place in `scene.feed`, from 0, of what `feed_names` calls so; None of anything else.

    >>> feed_number("feed 2 (psu to shelf at 0 m)"), feed_number("block b")
    (1, None)
    """
    found = _NAMED.match(name)
    return None if found is None else int(found[1]) - 1


def metres(length_m: float) -> str:
    """A length to the millimetre, without noughts at its end.

    >>> metres(0.0), metres(4.0), metres(1.25000001), metres(20.0)
    ('0', '4', '1.25', '20')
    """
    return f"{length_m:.3f}".rstrip("0").rstrip(".")
