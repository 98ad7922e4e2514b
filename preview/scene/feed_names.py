"""How a feed is called before people: by its number in the file, counted from 1, and by what it leads from and to.

The JSON of `probe` and `meter` counts feeds from 0 in `index`; every text says `feed_names`.
"""

from __future__ import annotations

import re

from preview.scene.layout import cut_point, group_count
from preview.scene.model import Scene

__all__ = ["feed_names", "feed_number", "metres"]

_NAMED = re.compile(r"feed (\d+)")


def feed_names(scene: Scene) -> tuple[str, ...]:
    """Every feed of a scene by number, source, run and the cut point that it stands at, such as "feed 2 (psu to shelf at 0 m)"."""
    runs = {run.name: (scene.strip[run.strip].cut_m, group_count(run, scene.strip[run.strip])) for run in scene.run}
    names = []
    for number, feed in enumerate(scene.feed, start=1):
        cut_m, groups = runs[feed.run]
        at_m = cut_point(feed.at_m, cut_m, groups) * cut_m
        names.append(f"feed {number} ({feed.from_} to {feed.run} at {metres(at_m)} m)")
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
