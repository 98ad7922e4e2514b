"""Which surface each pixel shows, and where on it.

Most pixels show one surface and are looked up once. Pixels that an edge crosses are cut into 16 and hold a share of each surface they
show, so that edges are smooth and no light of one surface is spread over its neighbour.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from preview.light.camera import Camera
from preview.light.room import Surfaces
from preview.scene.layout import Floats, Ints

__all__ = ["Hits", "View", "look", "trace"]

_CUT = 4  # an edge pixel is cut into 4 × 4
_NEAR_M = 0.02


@dataclass(frozen=True)
class Hits:
    """What rays meet first: the number of the surface (−1: nothing), where on it in metres, and how far away along the view."""

    surface: Ints  # any shape
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
    """First surface met by the rays through picture coordinates (h, w) each, or (N,) each."""
    shape = x_px.shape
    regular = x_px.ndim == 2
    found = np.full(shape, -1, dtype=np.int64)
    depth, where_u, where_v = np.full(shape, np.inf), np.zeros(shape), np.zeros(shape)
    right, down = camera.slopes(x_px, y_px)
    seen = surfaces.faces_eye(camera.eye_m)
    for s in np.nonzero(seen)[0]:
        corners = surfaces.origin_m[s] + np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * surfaces.size_m[s] @ np.stack(
            [surfaces.u[s], surfaces.v[s]]
        )
        x, y, ahead = camera.project(corners)
        if (ahead <= _NEAR_M).all():
            continue
        part: tuple[slice, ...] | Ints
        if (ahead > _NEAR_M).all():
            inside_x = (x_px >= x.min() - 1) & (x_px <= x.max() + 1)
            inside_y = (y_px >= y.min() - 1) & (y_px <= y.max() + 1)
            if regular:
                columns, rows = np.nonzero(inside_x[0])[0], np.nonzero(inside_y[:, 0])[0]
                if not len(columns) or not len(rows):
                    continue
                part = (slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1))
            else:
                part = np.nonzero(inside_x & inside_y)[0]
        else:
            part = (slice(None),) * len(shape)
        a, b = right[part], down[part]
        normal, u, v = surfaces.normal[s], surfaces.u[s], surfaces.v[s]
        offset = surfaces.origin_m[s] - camera.eye_m
        against = normal @ camera.forward + a * (normal @ camera.right) + b * (normal @ camera.down)
        with np.errstate(divide="ignore", invalid="ignore"):
            t = (normal @ offset) / against
        pu = t * (u @ camera.forward + a * (u @ camera.right) + b * (u @ camera.down)) - u @ offset
        pv = t * (v @ camera.forward + a * (v @ camera.right) + b * (v @ camera.down)) - v @ offset
        width, height = surfaces.size_m[s]
        hit = (against < 0) & (t > _NEAR_M) & (t < depth[part]) & (pu >= 0) & (pu <= width) & (pv >= 0) & (pv <= height)
        depth[part] = np.where(hit, t, depth[part])
        found[part] = np.where(hit, s, found[part])
        where_u[part] = np.where(hit, pu, where_u[part])
        where_v[part] = np.where(hit, pv, where_v[part])
    return Hits(found, where_u, where_v, depth)


def look(camera: Camera, surfaces: Surfaces) -> View:
    """The view of a camera on surfaces."""
    width, height = camera.size
    x, y = np.meshgrid(np.arange(width) + 0.5, np.arange(height) + 0.5)
    pixels = trace(camera, surfaces, x, y)
    xc, yc = np.meshgrid(np.arange(width + 1.0), np.arange(height + 1.0))
    corner = trace(camera, surfaces, xc, yc).surface
    middle = pixels.surface
    edge = np.zeros(middle.shape, dtype=bool)
    for other in (corner[:-1, :-1], corner[:-1, 1:], corner[1:, :-1], corner[1:, 1:]):
        edge |= other != middle
    flat = np.nonzero(edge.ravel())[0]
    sub = (np.arange(_CUT) + 0.5) / _CUT - 0.5
    dx, dy = (part.ravel() for part in np.meshgrid(sub, sub))
    hits = trace(
        camera,
        surfaces,
        (x.ravel()[flat][:, None] + dx).ravel(),
        (y.ravel()[flat][:, None] + dy).ravel(),
    )
    # One entry for each surface in each edge pixel: the middle of its hits, and their share.
    key = np.repeat(flat, _CUT * _CUT) * (len(surfaces) + 1) + hits.surface + 1
    keys, entry = np.unique(key, return_inverse=True)
    number = np.bincount(entry)
    surface = keys % (len(surfaces) + 1) - 1
    u_m = np.bincount(entry, hits.u_m) / number
    v_m = np.bincount(entry, hits.v_m) / number
    real = surface >= 0
    return View(
        pixels,
        (keys // (len(surfaces) + 1))[real],
        surface[real],
        u_m[real],
        v_m[real],
        (number / (_CUT * _CUT))[real],
    )
