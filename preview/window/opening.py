"""The room as lines, while its light is being worked out for the first time."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pygame

from preview.light.camera import Camera
from preview.scene.layout import Floats
from preview.scene.model import Scene
from preview.window.instruments import mix
from preview.window.ledge import Rect
from preview.window.lettering import Lettering
from preview.window.overlay import veil
from preview.window.palette import ACCENT, GROUND, HAIRLINE, QUIET, TEXT, Rgb

__all__ = ["draw_opening"]


def _corners(low: Floats, high: Floats) -> list[tuple[Floats, Floats]]:
    """The twelve edges of a box."""
    points = np.array(
        [[(low, high)[i][0], (low, high)[j][1], (low, high)[k][2]] for i in (0, 1) for j in (0, 1) for k in (0, 1)]
    )
    return [(points[a], points[b]) for a in range(8) for b in range(a + 1, 8) if bin(a ^ b).count("1") == 1]


def _line(surface: pygame.Surface, camera: Camera, at: Rect, ends: tuple[Floats, Floats], colour: Rgb) -> None:
    """A line of the room in the picture, cut off before it passes the eye."""
    start, end = ends
    depth = (np.array([start, end]) - camera.eye_m) @ camera.forward
    near = 0.05
    if (depth < near).all():
        return
    if (depth < near).any():
        share = (near - depth[0]) / (depth[1] - depth[0])
        cut = start + share * (end - start)
        start, end = (cut, end) if depth[0] < near else (start, cut)
    x, y, _ = camera.project(np.array([start, end]))
    limit = 20_000
    if np.abs(x).max() > limit or np.abs(y).max() > limit:
        return
    pygame.draw.aaline(surface, colour, (at.x + x[0], at.y + y[0]), (at.x + x[1], at.y + y[1]))


def _plan(surface: pygame.Surface, at: Rect, scene: Scene, camera: Camera) -> None:
    """Room, boxes and runs as lines."""
    size = np.array(scene.room.size_m)
    for ends in _corners(np.zeros(3), size):
        _line(surface, camera, at, ends, HAIRLINE)
    for box in scene.box:
        low = np.array(box.corner_m)
        for ends in _corners(low, low + np.array(box.size_m)):
            _line(surface, camera, at, ends, mix(GROUND, HAIRLINE, 0.7))
    for run in scene.run:
        path = np.array(run.path_m, dtype=float)
        for ends in pairwise(path):
            _line(surface, camera, at, ends, ACCENT)


def draw_opening(
    surface: pygame.Surface, at: Rect, scene: Scene, camera: Camera | None, letters: Lettering, done: float
) -> None:
    """The room and its runs as lines, with how far its light has been worked out."""
    px = letters.px
    surface.set_clip(pygame.Rect(at))
    pygame.draw.rect(surface, GROUND, at)
    if camera is not None:
        _plan(surface, at, scene, camera)
    x, y = at.middle[0], at.bottom - px(56)
    title, says = letters.fit(scene.title, at.w - px(48), 22), "working out how light falls in the room"
    wide = max(letters.width(title, 22), letters.width(says, 14), px(240)) + px(40)
    veil(
        surface, pygame.Rect(x - wide // 2, y - px(54), wide, px(88)), 225, letters.unit
    )  # no line of the room crosses the words
    letters.draw(surface, title, x, y - px(30), 22, TEXT, "middle")
    letters.draw(surface, says, x, y, 14, QUIET, "middle")
    bar = Rect(x - px(120), y + px(18), px(240), max(2, px(3)))
    pygame.draw.rect(surface, HAIRLINE, bar)
    pygame.draw.rect(surface, ACCENT, (bar.x, bar.y, round(bar.w * done), bar.h))
    surface.set_clip(None)
