"""The room as rectangles and solid boxes: what light falls on and what stops it.

A rectangle is an origin, two unit vectors u and v with a size along each, and a normal into the air. The room's six faces come
first, then the faces of the boxes that are not flush against a wall. Lengths in metres.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from preview.light.colour import linear_of_finish
from preview.scene.layout import Bools, Floats, Ints
from preview.scene.model import Scene

__all__ = ["FACES", "SHRINK_M", "TOUCH_M", "Boxes", "Surfaces", "boxes_of", "inside_boxes", "surfaces_of"]

FACES = ("left", "right", "front", "back", "floor", "ceiling")
"""The room's faces in the order of their axis: x low and high, y low and high, z low and high."""

TOUCH_M = 0.0005
"""Surfaces nearer to each other than this touch."""

SHRINK_M = 0.00001
"""How far inside a box's faces light is stopped."""

_AXES_UV = ((1, 2), (0, 2), (0, 1))  # u and v of a face across x, y, z


@dataclass(frozen=True)
class Boxes:
    """Solid, axis-parallel boxes: low and high corners, each (B, 3)."""

    low_m: Floats
    high_m: Floats

    def __len__(self) -> int:
        return len(self.low_m)

    @cached_property
    def opaque_m(self) -> tuple[Floats, Floats]:
        """Low and high corners (B, 3) of what stops light: a hair inside each box, so that it does not shade what touches it.

        Where two boxes touch there is no gap between them for light to leak through.
        """
        low, high = self.low_m + SHRINK_M, self.high_m - SHRINK_M
        for axis in range(3):
            others = [k for k in range(3) if k != axis]
            beside = np.ones((len(self), len(self)), dtype=bool)  # [a, b]: b overlaps a across the axis
            for k in others:
                beside &= np.minimum(self.high_m[:, None, k], self.high_m[None, :, k]) > np.maximum(
                    self.low_m[:, None, k], self.low_m[None, :, k]
                )
            met = beside & (np.abs(self.high_m[:, None, axis] - self.low_m[None, :, axis]) <= TOUCH_M)
            plane = np.where(met, self.low_m[None, :, axis], -np.inf).max(axis=1, initial=-np.inf)
            high[:, axis] = np.where(met.any(axis=1), plane, high[:, axis])
            low[:, axis] = np.where(met.any(axis=0), self.low_m[:, axis], low[:, axis])
        return low, high


@dataclass(frozen=True)
class Surfaces:
    """Rectangles that light falls on, S of them."""

    names: tuple[str, ...]
    origin_m: Floats  # (S, 3)
    u: Floats  # (S, 3) unit vector
    v: Floats  # (S, 3) unit vector
    size_m: Floats  # (S, 2) along u and v
    normal: Floats  # (S, 3) unit vector into the air
    reflectance: Floats  # (S, 3) diffuse, linear sRGB
    box: Ints  # (S,) number of the box the face belongs to, −1 for the room's own faces

    def __len__(self) -> int:
        return len(self.names)

    @property
    def area_m2(self) -> Floats:
        """(S,) area of each rectangle."""
        return np.asarray(self.size_m.prod(axis=1))

    def points(self, surface: int | Ints, u_m: Floats, v_m: Floats) -> Floats:
        """Places (N, 3) in the room of places (N,) on one surface, or on `surface` (N,)."""
        return np.asarray(self.origin_m[surface] + u_m[:, None] * self.u[surface] + v_m[:, None] * self.v[surface])

    def pick(self, which: Ints | Bools) -> Surfaces:
        """Some of the surfaces, in the order asked for."""
        numbers = np.arange(len(self))[which]
        return Surfaces(
            tuple(self.names[k] for k in numbers),
            self.origin_m[numbers],
            self.u[numbers],
            self.v[numbers],
            self.size_m[numbers],
            self.normal[numbers],
            self.reflectance[numbers],
            self.box[numbers],
        )

    def faces_eye(self, eye_m: Floats) -> Bools:
        """(S,) true where the eye is on the lit side: a wall between the eye and the room is not drawn."""
        return np.asarray(((eye_m - self.origin_m) * self.normal).sum(axis=1) > TOUCH_M)


def boxes_of(scene: Scene) -> Boxes:
    """The scene's boxes, cut off at the room's faces."""
    corner = np.array([box.corner_m for box in scene.box], dtype=float).reshape(-1, 3)
    size = np.array([box.size_m for box in scene.box], dtype=float).reshape(-1, 3)
    room = np.asarray(scene.room.size_m, dtype=float)
    return Boxes(np.clip(corner, 0.0, room), np.clip(corner + size, 0.0, room))


def inside_boxes(boxes: Boxes, points_m: Floats) -> Bools:
    """(N,) true for points (N, 3) inside any box."""
    inside = np.zeros(len(points_m), dtype=bool)
    for low, high in zip(boxes.low_m, boxes.high_m, strict=True):
        inside |= ((points_m > low) & (points_m < high)).all(axis=1)
    return inside


def _face(low: Floats, high: Floats, axis: int, top: bool, outward: bool) -> tuple[Floats, ...]:
    u_axis, v_axis = _AXES_UV[axis]
    origin = low.copy()
    origin[axis] = high[axis] if top else low[axis]
    eye = np.eye(3)
    normal = eye[axis] * (1.0 if top == outward else -1.0)
    size = np.array([high[u_axis] - low[u_axis], high[v_axis] - low[v_axis]])
    return origin, eye[u_axis], eye[v_axis], size, normal


def surfaces_of(scene: Scene) -> Surfaces:
    """Every surface of the scene: the room's six faces, and box faces that are neither flush with a wall nor without area."""
    room = np.asarray(scene.room.size_m, dtype=float)
    boxes = boxes_of(scene)
    names: list[str] = []
    parts: list[tuple[Floats, ...]] = []
    reflectance: list[Floats] = []
    owner: list[int] = []
    for number, name in enumerate(FACES):
        names.append(name)
        parts.append(_face(np.zeros(3), room, number // 2, bool(number % 2), outward=False))
        reflectance.append(linear_of_finish(getattr(scene.room.finish, name)))
        owner.append(-1)
    for b, box in enumerate(scene.box):
        low, high = boxes.low_m[b], boxes.high_m[b]
        if (high - low <= TOUCH_M).any():
            continue
        for number, name in enumerate(FACES):
            axis, top = number // 2, bool(number % 2)
            flush = high[axis] >= room[axis] - TOUCH_M if top else low[axis] <= TOUCH_M
            if flush:
                continue
            names.append(f"{box.name} {name}")
            parts.append(_face(low, high, axis, top, outward=True))
            reflectance.append(linear_of_finish(box.finish))
            owner.append(b)
    origin, u, v, size, normal = (np.array([part[k] for part in parts]) for k in range(5))
    return Surfaces(tuple(names), origin, u, v, size, normal, np.array(reflectance), np.array(owner, dtype=np.int64))
