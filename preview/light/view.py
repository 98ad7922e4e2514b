"""Which surface each pixel shows, and where on it.

Most pixels show one surface and are looked up once. Pixels that an edge crosses are cut into 16 and hold a share of each surface they
show, so that edges are smooth and no light of one surface is spread over its neighbour.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from preview.light.camera import Camera
from preview.light.room import Surfaces
from preview.scene.layout import Floats, Ints

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

    `x_px` (w,) and `y_px` (h, 1) give hits (h, w); two lists (N,) give hits (N,).
    """
    regular = y_px.ndim == 2
    shape = (y_px.shape[0], x_px.shape[0]) if regular else x_px.shape
    found = np.full(shape, -1, dtype=np.int32)
    depth, where_u, where_v = np.full(shape, np.inf), np.zeros(shape), np.zeros(shape)
    right, down = camera.slopes(x_px, y_px)
    for s in np.nonzero(surfaces.faces_eye(camera.eye_m))[0]:
        corners = surfaces.origin_m[s] + np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * surfaces.size_m[s] @ np.stack(
            [surfaces.u[s], surfaces.v[s]]
        )
        x, y, ahead = camera.project(corners)
        if (ahead <= _NEAR_M).all():
            continue
        inside_x, inside_y = np.ones(x_px.shape, bool), np.ones(y_px.shape, bool)
        if (ahead > _NEAR_M).all():
            inside_x = (x_px >= x.min() - 1) & (x_px <= x.max() + 1)
            inside_y = (y_px >= y.min() - 1) & (y_px <= y.max() + 1)
        part: tuple[slice, ...] | NDArray[np.int64]
        if regular:
            columns, rows = np.nonzero(inside_x)[0], np.nonzero(inside_y[:, 0])[0]
            if not len(columns) or not len(rows):
                continue
            part = (slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1))
            a, b = right[part[1]], down[part[0]]
        else:
            part = np.nonzero(inside_x & inside_y)[0]
            a, b = right[part], down[part]
        normal, u, v = surfaces.normal[s], surfaces.u[s], surfaces.v[s]
        offset = surfaces.origin_m[s] - camera.eye_m
        against = (normal @ camera.forward + a * (normal @ camera.right)) + b * (normal @ camera.down)
        with np.errstate(divide="ignore", invalid="ignore"):
            t = (normal @ offset) / against
        pu = (u @ camera.forward + a * (u @ camera.right)) + b * (u @ camera.down)
        pu *= t
        pu -= u @ offset
        pv = (v @ camera.forward + a * (v @ camera.right)) + b * (v @ camera.down)
        pv *= t
        pv -= v @ offset
        width, height = surfaces.size_m[s]
        hit = (against < 0) & (t > _NEAR_M) & (t < depth[part])
        hit &= (pu >= 0) & (pu <= width) & (pv >= 0) & (pv <= height)
        for target, value in ((depth, t), (where_u, pu), (where_v, pv)):
            if isinstance(part, tuple):
                np.copyto(target[part], value, where=hit)
            else:
                target[part[hit]] = value[hit]
        if isinstance(part, tuple):
            np.copyto(found[part], np.int32(s), where=hit)
        else:
            found[part[hit]] = s
    return Hits(found, where_u, where_v, depth)


def look(camera: Camera, surfaces: Surfaces) -> View:
    """The view of a camera on surfaces."""
    width, height = camera.size
    pixels = trace(camera, surfaces, np.arange(width) + 0.5, np.arange(height)[:, None] + 0.5)
    middle = pixels.surface
    edge = np.zeros(middle.shape, dtype=bool)
    for one, other in ((np.s_[1:, :], np.s_[:-1, :]), (np.s_[:, 1:], np.s_[:, :-1])):
        differs = middle[one] != middle[other]
        edge[one] |= differs
        edge[other] |= differs
    flat = np.nonzero(edge.ravel())[0]
    sub = (np.arange(_CUT) + 0.5) / _CUT
    dx, dy = (part.ravel() for part in np.meshgrid(sub, sub))
    hits = trace(camera, surfaces, (flat[:, None] % width + dx).ravel(), (flat[:, None] // width + dy).ravel())
    # One entry for each surface in each edge pixel: the middle of its hits, and their share.
    key = np.repeat(flat, _CUT * _CUT) * (len(surfaces) + 1) + hits.surface + 1
    keys, entry = np.unique(key, return_inverse=True)
    number = np.bincount(entry)
    surface = keys % (len(surfaces) + 1) - 1
    u_m = np.bincount(entry, hits.u_m) / np.maximum(number, 1)
    v_m = np.bincount(entry, hits.v_m) / np.maximum(number, 1)
    weight = np.where(surface >= 0, number / (_CUT * _CUT), 0.0)
    pixel = keys // (len(surfaces) + 1)
    mixed = number < _CUT * _CUT
    return View(pixels, pixel[mixed], surface[mixed], u_m[mixed], v_m[mixed], weight[mixed])
