"""Which surface each pixel shows, and where on it.

Most pixels show one surface and are looked up once. Pixels that an edge crosses are cut into 16 and hold a share of each surface they
show, so that edges are smooth and no light of one surface is spread over its neighbour.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from preview.light.camera import Camera
from preview.light.room import Surfaces
from preview.scene.layout import Bools, Floats, Ints

__all__ = ["Hits", "View", "look", "trace"]

_CUT = 4  # an edge pixel is cut into 4 × 4
_NEAR_M = 0.02


@dataclass(frozen=True)
class Hits:
    """What rays meet first: the number of the surface (−1: nothing), where on it in metres, and how far away along the view."""

    surface: NDArray[np.int32] | Ints  # any shape
    u_m: Floats
    v_m: Floats
    depth_m: Floats


@dataclass(frozen=True)
class View:
    """The picture's pixels on the surfaces. Entries of edge pixels are sorted by pixel; each pixel's weights add up to its share."""

    pixels: Hits  # (h, w) at the pixels' middles
    edge_pixel: Ints  # (E,) flat number of the pixel an entry belongs to
    edge_surface: Ints  # (E,)
    edge_u_m: Floats  # (E,)
    edge_v_m: Floats  # (E,)
    edge_weight: Floats  # (E,) share of the pixel


def trace(camera: Camera, surfaces: Surfaces, x_px: Floats, y_px: Floats) -> Hits:
    """First surface met by the rays through picture coordinates.

    `x_px` (w,) and `y_px` (h, 1) give hits (h, w). Two arrays (N,) or (N, K) give hits of that shape; K rays that lie close together
    are looked at together.

    Along a ray of slopes a, b the nearness 1/t of a surface's plane is affine in a and b, and so are u/t and v/t: whether the ray meets
    the rectangle are a few linear conditions, which on a row of pixels leave one unbroken stretch.
    """
    right, down = camera.slopes(x_px, y_px)
    is_grid = x_px.shape != y_px.shape
    shape = (len(y_px), len(x_px)) if is_grid else x_px.shape
    if not x_px.size:  # a picture without an edge has nothing to look at twice
        return Hits(np.full(shape, -1, dtype=np.int32), *(np.zeros(shape) for _ in range(3)))
    if not is_grid:
        right, down = right.reshape(len(right), -1), down.reshape(len(down), -1)
        bundles = _Bundles(right, down)
    found = np.full(right.shape if not is_grid else shape, -1, dtype=np.int32)
    nearest = np.zeros(found.shape)
    on_u, on_v = np.zeros((len(surfaces) + 1, 3)), np.zeros((len(surfaces) + 1, 3))
    basis = np.stack([camera.forward, camera.right, camera.down], axis=1)
    for s in np.nonzero(surfaces.faces_eye(camera.eye_m))[0]:
        offset = surfaces.origin_m[s] - camera.eye_m
        near = surfaces.normal[s] @ basis / (surfaces.normal[s] @ offset)
        on_u[s] = surfaces.u[s] @ basis - (surfaces.u[s] @ offset) * near
        on_v[s] = surfaces.v[s] @ basis - (surfaces.v[s] @ offset) * near
        width, height = surfaces.size_m[s]
        inside = np.stack([on_u[s], width * near - on_u[s], on_v[s], height * near - on_v[s]])
        conditions = np.concatenate([inside, [near, np.array([1 / _NEAR_M, 0, 0]) - near]])
        if is_grid:
            part, met = _met(conditions, right, down[:, 0])
            nearness = (near[0] + near[1] * right[part[1]]) + near[2] * down[part[0]]
            met &= nearness > nearest[part]
            np.copyto(nearest[part], nearness, where=met)
            np.copyto(found[part], np.int32(s), where=met)
        else:
            rows = bundles.may_meet(conditions)
            a, b = right[rows], down[rows]
            nearness = (near[0] + near[1] * a) + near[2] * b
            met = nearness > nearest[rows]
            for one, of_a, of_b in conditions:
                met &= one + of_a * a + of_b * b >= 0
            nearest[rows] = np.where(met, nearness, nearest[rows])
            found[rows] = np.where(met, np.int32(s), found[rows])
    with np.errstate(divide="ignore"):
        depth = 1 / nearest
    where = []
    for of_one, of_a, of_b in (on_u.T, on_v.T):
        place = of_a[found] * right
        place += of_b[found] * down
        place += of_one[found]
        np.copyto(place, 0.0, where=found < 0)
        where.append(np.multiply(place, depth, out=place, where=found >= 0).reshape(shape))
    return Hits(found.reshape(shape), where[0], where[1], depth.reshape(shape))


class _Bundles:
    """Rays (N, K) by row: their middle and reach, so that whole rows that cannot meet a surface are left out."""

    def __init__(self, right: Floats, down: Floats) -> None:
        low = np.stack([right.min(axis=1), down.min(axis=1)])
        high = np.stack([right.max(axis=1), down.max(axis=1)])
        self._middle = np.concatenate([np.ones((1, len(right))), 0.5 * (high + low)])
        self._reach = 0.5 * (high - low)

    def may_meet(self, conditions: Floats) -> Ints:
        """Numbers of the rows on which all conditions (6, 3) may be ≥ 0."""
        level = conditions @ self._middle
        level += np.abs(conditions[:, 1:]) @ self._reach
        return np.asarray(np.nonzero(level.min(axis=0) >= -1e-12)[0])


def _met(conditions: Floats, right: Floats, down: Floats) -> tuple[tuple[slice, slice], Bools]:
    """The part of a picture of slopes (w,) and (h,) that may meet a rectangle, and which of it does: all conditions (6, 3) are ≥ 0."""
    low, high = np.full(len(down), -np.inf), np.full(len(down), np.inf)
    for one, of_a, of_b in conditions:
        level = one + of_b * down
        if of_a > 0:
            np.maximum(low, -level / of_a, out=low)
        elif of_a < 0:
            np.minimum(high, -level / of_a, out=high)
        else:
            high[level < 0] = -np.inf
    first, last = np.searchsorted(right, low, side="left"), np.searchsorted(right, high, side="right")
    rows = np.nonzero(last > first)[0]
    if not len(rows):
        return np.s_[:0, :0], np.empty((0, 0), dtype=bool)
    part = slice(rows[0], rows[-1] + 1), slice(first[rows].min(), last[rows].max())
    column = np.arange(part[1].start, part[1].stop, dtype=np.int32)
    begin, end = first[part[0], None].astype(np.int32), last[part[0], None].astype(np.int32)
    return part, np.asarray((column >= begin) & (column < end))


def look(camera: Camera, surfaces: Surfaces) -> View:
    """The view of a camera on surfaces."""
    width, height = camera.size
    middle_x, middle_y = np.arange(width) + 0.5, np.arange(height)[:, None] + 0.5
    pixels = _in_two(lambda part: trace(camera, surfaces, middle_x, middle_y[part]), height)
    middle = pixels.surface
    edge = np.zeros(middle.shape, dtype=bool)
    for one, other in ((np.s_[1:, :], np.s_[:-1, :]), (np.s_[:, 1:], np.s_[:, :-1])):
        differs = middle[one] != middle[other]
        edge[one] |= differs
        edge[other] |= differs
    flat = np.nonzero(edge.ravel())[0]
    sub = (np.arange(_CUT) + 0.5) / _CUT
    dx, dy = (part.ravel() for part in np.meshgrid(sub, sub))
    cut_x, cut_y = flat[:, None] % width + dx, flat[:, None] // width + dy
    hits = _in_two(lambda part: trace(camera, surfaces, cut_x[part], cut_y[part]), len(flat))
    # One entry for each surface in each edge pixel: the middle of its hits, and their share.
    key = (flat[:, None] * (len(surfaces) + 1) + hits.surface + 1).ravel()
    keys, entry = np.unique(key, return_inverse=True)
    number = np.bincount(entry)
    surface = keys % (len(surfaces) + 1) - 1
    u_m = np.bincount(entry, hits.u_m.ravel()) / np.maximum(number, 1)
    v_m = np.bincount(entry, hits.v_m.ravel()) / np.maximum(number, 1)
    weight = np.where(surface >= 0, number / (_CUT * _CUT), 0.0)
    pixel = keys // (len(surfaces) + 1)
    mixed = number < _CUT * _CUT
    return View(pixels, pixel[mixed], surface[mixed], u_m[mixed], v_m[mixed], weight[mixed])


def _in_two(work: Callable[[slice], Hits], count: int) -> Hits:
    """Hits of two halves of so many rows, found at the same time."""
    halves = (slice(0, count // 2), slice(count // 2, count))
    with ThreadPoolExecutor(2) as pool:
        first, last = pool.map(work, halves)
    return Hits(*(np.concatenate([getattr(first, f.name), getattr(last, f.name)]) for f in fields(Hits)))
