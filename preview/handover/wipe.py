"""Before and after in one picture: a line that goes across the clip and back, with the one on its left and the other on its right.

It starts with all of the left one, and the clip still loops. In a single moment the line stands in the middle.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from itertools import repeat

import numpy as np

from preview.handover.frames import Film, Progress
from preview.handover.video import Picture
from preview.scene.layout import Floats

__all__ = ["WIPES", "wiped"]

WIPES = {
    "unlit": ("the room without the strips", "with them"),
    "no-drop": ("as planned", "as if no voltage were lost"),
}
"""What can be wiped: what stands on the left, and on the right."""

_REST = 0.12
"""Part of the clip for which each side fills the picture."""


def wiped(film: Film, wipe: str, times_s: Floats | None = None, progress: Progress | None = None) -> Iterator[Picture]:
    """The film's pictures (height, width, 3) with a wipe of that name; at `times_s` alone the line stands in the middle."""
    width, height = film.stage.size
    times = film.times if times_s is None else times_s
    left: Iterable[Picture]
    if wipe == "unlit":
        left, right = repeat(film.unlit()), film.pictures_at(times)
    else:
        left, right = film.pictures_at(times), film.sagging(False).pictures_at(times)
    thick = max(1, round(height / 240))
    for k, (one, other) in enumerate(zip(left, right, strict=False)):
        share = 0.5 if times_s is not None else _share(k / times.size)
        column = round(share * width)
        picture = np.concatenate([one[:, :column], other[:, column:]], axis=1)
        if 0 < column < width:
            edge = slice(max(0, column - thick // 2 - 1), column + (thick + 1) // 2)
            picture[:, edge] = 255 - (255 - picture[:, edge]) // 3
        yield picture
        if progress is not None:
            progress(k + 1, times.size)


def _share(turn: float) -> float:
    """How much of the picture is the left one's, at a part 0..1 of the clip.

    >>> _share(0.0), _share(0.5), round(_share(0.25), 3)
    (1.0, 0.0, 0.5)
    """
    moving = min(max((abs(2 * turn - 1) - _REST) / (1 - 2 * _REST), 0.0), 1.0)
    return 0.5 - 0.5 * math.cos(math.pi * moving)
