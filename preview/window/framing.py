"""How large the picture of the room is made for the pane that it is shown in."""

from __future__ import annotations

import math

__all__ = ["MOST_PIXELS", "picture_size"]

MOST_PIXELS = 2_100_000
"""A larger room is drawn with this many pixels and scaled up, so that it still moves."""


def picture_size(room: tuple[int, int]) -> tuple[int, int]:
    """Size of the picture for a room of so many pixels on the screen: the same, unless that is too many.

    >>> picture_size((1280, 720)), picture_size((3840, 2160))
    ((1280, 720), (1932, 1086))
    """
    w, h = max(room[0], 64), max(room[1], 64)
    if w * h <= MOST_PIXELS:
        return w, h
    shrink = math.sqrt(MOST_PIXELS / (w * h))
    return int(w * shrink), int(h * shrink)
