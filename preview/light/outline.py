"""The plan drawn as lines over the client's photo: how a fitter sees whether the corners were marked rightly.

The rectangle of the corners and a half-metre grid on its surface come from the homography and are there in any case; the room's edges,
the boxes and the runs need the camera. A plate in the lower left corner names the colours.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from preview.light.camera import Camera
from preview.light.colour import to_srgb
from preview.light.lit_photo import sighting_of
from preview.light.photo import load_photo
from preview.light.room import FACES, surfaces_of
from preview.light.sighting import Sighting
from preview.scene.layout import Floats
from preview.scene.model import Scene
from preview.typeface import letters

__all__ = ["outlined"]

_GRID_M = 0.5
_NEAR_M = 0.05
_SHIFT = 4  # cv2 draws to a sixteenth of a pixel
_FAR_PX = 30_000.0
_GRID, _ROOM, _BOX, _RUN, _RECT = (120, 200, 255), (255, 255, 255), (190, 190, 190), (255, 170, 40), (60, 255, 120)

Picture = NDArray[np.uint8]
Colour = tuple[int, int, int]


def outlined(scene: Scene, size: tuple[int, int]) -> tuple[Picture, Sighting]:
    """The photo (h, w, 3) inside a picture of `size` with the plan's lines on it, and what its corners say.

    The scene has a photo. Raises CovecastError where the photo or its corners are no good.
    """
    given = scene.photo
    assert given is not None
    photo = load_photo(given.file, Path(scene.folder))
    sighting = sighting_of(scene, photo)
    linear, inside, scale, corner = photo.fitted(size)
    picture = np.ascontiguousarray(np.rint(255 * to_srgb(0.55 * linear)).astype(np.uint8))
    picture[~inside] = 0
    surfaces = surfaces_of(scene)
    number = FACES.index(given.surface)
    thick = max(1, round(size[0] / 900))

    back = np.linalg.inv(sighting.plane)
    wide, tall = (float(side) for side in surfaces.size_m[number])
    for u in np.arange(0, wide + 1e-9, _GRID_M):
        _draw(picture, _on_photo(back, np.linspace([u, 0], [u, tall], 40), scale, corner), _GRID, 1)
    for v in np.arange(0, tall + 1e-9, _GRID_M):
        _draw(picture, _on_photo(back, np.linspace([0, v], [wide, v], 40), scale, corner), _GRID, 1)
    if sighting.camera is not None:
        room = np.asarray(scene.room.size_m, dtype=float)
        _box(picture, sighting.camera, np.zeros(3), room, scale, corner, _ROOM, thick)
        for box in scene.box:
            low = np.asarray(box.corner_m, dtype=float)
            _box(picture, sighting.camera, low, low + np.asarray(box.size_m), scale, corner, _BOX, 1)
        for run in scene.run:
            path = np.asarray(run.path_m, dtype=float)
            for start, end in pairwise(path):
                _segment(picture, sighting.camera, start, end, scale, corner, _RUN, 2 * thick)
    marked = np.asarray(given.corners_px, dtype=float) * scale + np.asarray(corner)
    _draw(picture, np.concatenate([marked, marked[:1]]), _RECT, 2 * thick)
    names = [("rectangle as marked", _RECT), (f"{_GRID_M:g} m grid", _GRID)]
    if sighting.camera is not None:
        names += [("room", _ROOM), ("boxes", _BOX), ("runs", _RUN)]
    return _named(picture, names), sighting


def _named(picture: Picture, names: list[tuple[str, Colour]]) -> Picture:
    """What the colours stand for, on a dark plate in the lower left corner; left out where there is no room for it."""
    height, width = picture.shape[:2]
    letter = max(9, height // 45)
    typeface = letters(letter)
    row, swatch, edge = round(1.5 * letter), 2 * letter, letter
    wide = 3 * edge + swatch + round(max(typeface.getlength(name) for name, _ in names))
    high = 2 * edge + row * len(names) - (row - letter)
    if wide + edge > width or high + edge > height:
        return picture
    image = Image.fromarray(picture)
    plate = Image.new("L", (wide, high), 200)
    left, top = edge, height - edge - high
    image.paste((20, 19, 18), (left, top), plate)
    draw = ImageDraw.Draw(image)
    for k, (name, colour) in enumerate(names):
        middle = top + edge + k * row + letter // 2
        draw.line((left + edge, middle, left + edge + swatch, middle), fill=colour, width=max(2, letter // 5))
        draw.text((left + 2 * edge + swatch, middle), name, fill=(230, 226, 218), font=typeface, anchor="lm")
    return np.array(image)


def _on_photo(back: Floats, places: Floats, scale: float, corner: tuple[float, float]) -> Floats:
    """Picture coordinates (N, 2) of places (N, 2) in metres on the surface, NaN for what lies behind the camera."""
    seen = np.concatenate([places, np.ones((len(places), 1))], axis=1) @ back.T
    depth = seen[:, 2] * np.sign(np.median(seen[:, 2]))
    sound = depth > 1e-6 * np.abs(depth).max(initial=1e-12)
    flat = seen[:, :2] / np.where(sound, seen[:, 2], 1.0)[:, None]
    return np.asarray(np.where(sound[:, None], flat * scale + np.asarray(corner), np.nan))


def _box(
    picture: Picture,
    camera: Camera,
    low: Floats,
    high: Floats,
    scale: float,
    corner: tuple[float, float],
    colour: Colour,
    thick: int,
) -> None:
    """The twelve edges of an axis-parallel box."""
    ends = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], dtype=float)
    places = low + ends * (high - low)
    for one in range(8):
        for other in range(one + 1, 8):
            if np.abs(ends[one] - ends[other]).sum() == 1:
                _segment(picture, camera, places[one], places[other], scale, corner, colour, thick)


def _segment(
    picture: Picture,
    camera: Camera,
    start: Floats,
    end: Floats,
    scale: float,
    corner: tuple[float, float],
    colour: Colour,
    thick: int,
) -> None:
    """A straight line in the room, cut off where it passes the camera."""
    depth = (np.stack([start, end]) - camera.eye_m) @ camera.forward
    if depth.max() <= _NEAR_M:
        return
    if depth.min() < _NEAR_M:
        cut = start + (end - start) * (_NEAR_M - depth[0]) / (depth[1] - depth[0])
        start, end = (cut, end) if depth[0] < _NEAR_M else (start, cut)
    x, y, _ = camera.project(np.stack([start, end]))
    _draw(picture, np.stack([x, y], axis=1) * scale + np.asarray(corner), colour, thick)


def _draw(picture: Picture, points: Floats, colour: Colour, thick: int) -> None:
    for one, other in pairwise(points):
        ends = np.stack([one, other])
        if np.isfinite(ends).all() and np.abs(ends).max() < _FAR_PX:
            (x0, y0), (x1, y1) = np.rint((ends - 0.5) * 2**_SHIFT).astype(int).tolist()
            cv2.line(picture, (x0, y0), (x1, y1), colour, thick, cv2.LINE_AA, _SHIFT)
