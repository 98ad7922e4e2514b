"""What of the room is seen in a window of another shape than a clip.

A scene's field of view is meant for a picture of 16:9. In a wider window as much is seen upwards and downwards as there, and more
to the sides; in a narrower one as much to the sides, and more upwards and downwards. So nothing of the composition is cut off.
"""

from __future__ import annotations

import math

from preview.scene.model import Scene, Viewer

__all__ = ["MOST_PIXELS", "framed", "framed_viewer", "picture_size"]

SHAPE = 16 / 9
MOST_PIXELS = 2_100_000
"""A larger room is drawn with this many pixels and scaled up, so that it still moves."""


def framed_viewer(viewer: Viewer, size: tuple[int, int]) -> Viewer:
    """The viewer with the field that a picture of `size` needs, at most 150°."""
    shape = size[0] / size[1]
    if shape <= SHAPE:
        return viewer
    half = math.tan(math.radians(viewer.field_deg) / 2) * shape / SHAPE
    return viewer.model_copy(update={"field_deg": min(math.degrees(2 * math.atan(half)), 150.0)})


def framed(scene: Scene, size: tuple[int, int]) -> Scene:
    """The scene as it is to be drawn at `size`."""
    return scene.model_copy(update={"viewer": framed_viewer(scene.viewer, size)})


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
