"""What of the room is seen in a picture of another shape than 16:9, so that the room fills it.

A scene's field of view is meant for a picture of 16:9. In a wider picture as much is seen upwards and downwards as there, and more to the
sides; in a narrower one as much to the sides, and more upwards and downwards. Where that would look past the room, beside the opening
that the viewer stands in front of, the field is narrowed until it does not: in a wide picture down to the scene's own field, in a narrow
one to three quarters of it. A photo keeps its own shape.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from preview.light.camera import Camera, camera_of
from preview.light.photo import load_photo
from preview.scene.layout import Floats
from preview.scene.model import Scene

__all__ = ["SHAPE", "framed", "shaped"]

SHAPE = 16 / 9
"""Width over height of the picture that a scene's field of view is meant for."""

_NARROWEST = 0.75
"""Least share of the field, as the tangent of its half, that a narrow picture keeps."""

_WIDEST_DEG = 150.0
_STEPS = 12
_ALONG = np.linspace(0.0, 1.0, 9)


def framed(scene: Scene, size: tuple[int, int]) -> Scene:
    """The scene with the field of view that a picture of `size` = (width, height) needs; itself at 16:9, and on a photo."""
    shape = size[0] / size[1]
    if scene.photo is not None or abs(shape / SHAPE - 1) < 0.01:
        return scene
    own = math.tan(math.radians(scene.viewer.field_deg) / 2)
    widest = own * max(shape / SHAPE, 1.0)
    low, high = own * (1.0 if shape > SHAPE else _NARROWEST), min(widest, math.tan(math.radians(_WIDEST_DEG) / 2))
    if high <= low or _is_filled(scene, size, high):
        return _with_field(scene, high)
    for _ in range(_STEPS):
        middle = (low + high) / 2
        low, high = (middle, high) if _is_filled(scene, size, middle) else (low, middle)
    return _with_field(scene, low)


def shaped(scene: Scene, size: tuple[int, int]) -> tuple[int, int]:
    """The largest size within `size`, of even sides, that a scene fills: `size` itself, or one of the shape of its photo.

    Raises CovecastError where the photo is no good.
    """
    if scene.photo is None:
        return size
    wide, high = load_photo(scene.photo.file, Path(scene.folder)).size
    scale = min(size[0] / wide, size[1] / high)
    return max(16, 2 * round(scale * wide / 2)), max(16, 2 * round(scale * high / 2))


def _with_field(scene: Scene, half: float) -> Scene:
    field = math.degrees(2 * math.atan(half))
    return scene.model_copy(update={"viewer": scene.viewer.model_copy(update={"field_deg": field})})


def _is_filled(scene: Scene, size: tuple[int, int], half: float) -> bool:
    """Whether all rays through the picture's border meet the room. What is seen of a box is convex, so then all others do."""
    camera = camera_of(_with_field(scene, half).viewer, size)
    return bool(_meets(camera, np.asarray(scene.room.size_m, dtype=float)).all())


def _meets(camera: Camera, room_m: Floats) -> Floats:
    """Whether each of some rays (N,) through the picture's border meets the room."""
    wide, high = camera.size
    sides = [(_ALONG * wide, 0 * _ALONG), (_ALONG * wide, 0 * _ALONG + high)]
    sides += [(0 * _ALONG, _ALONG * high), (0 * _ALONG + wide, _ALONG * high)]
    x, y = (np.concatenate(part) for part in zip(*sides, strict=True))
    right, down = camera.slopes(x, y)
    way = camera.forward + right[:, None] * camera.right + down[:, None] * camera.down
    way = np.where(np.abs(way) < 1e-9, 1e-9, way)
    one, other = -camera.eye_m / way, (room_m - camera.eye_m) / way
    enters, leaves = np.minimum(one, other).max(axis=1), np.maximum(one, other).min(axis=1)
    return np.asarray((enters < leaves) & (leaves > 0))
