"""Light that comes from everywhere: what was in the room already, and what has bounced.

The bounced light is one even term, E = Φ·ρ/(A·(1 − ρ)), with Φ the flux that the groups send into the room, A the area of all
surfaces and ρ their area-weighted mean reflectance; its colour is tinted by the finishes as each bounce tints it. Both it and the
ambient light are even on average and shaded gently where surfaces close in, in corners and under boxes, as 96 rays from each coarse
node find it; the shading keeps the mean.

Leaves out: that bounced light is stronger near the surface it came from.
"""

from __future__ import annotations

import numpy as np

from preview.light.atlas import Grid
from preview.light.colour import Y_OF_RGB
from preview.light.room import Boxes, Surfaces
from preview.scene.layout import Floats

__all__ = ["bounce_rgb", "mean_reflectance", "openness"]

_RAYS = 96
_REACH_M = 0.45
_CLOSED = 0.62


def mean_reflectance(surfaces: Surfaces) -> tuple[Floats, float, float]:
    """Area-weighted mean reflectance (3,) in linear sRGB, the same as luminance, and the area in m², of all surfaces given."""
    area = surfaces.area_m2
    mean = area @ surfaces.reflectance / area.sum()
    return mean, float(mean @ Y_OF_RGB), float(area.sum())


def bounce_rgb(flux_rgb: Floats, surfaces: Surfaces) -> Floats:
    """Illuminance (..., 3) in linear sRGB by bounced light, for flux (..., 3) into the room. Its Y is Φ·ρ/(A·(1 − ρ)) exactly."""
    rho_rgb, rho, area = mean_reflectance(surfaces)
    rho_rgb, rho = np.minimum(rho_rgb, 0.98), min(rho, 0.98)
    tinted = flux_rgb * (rho_rgb / (1 - rho_rgb))
    wanted = flux_rgb @ Y_OF_RGB * (rho / (1 - rho))
    found = tinted @ Y_OF_RGB
    safe = np.where(np.abs(found) > 1e-12, found, 1.0)
    return np.asarray(tinted * (wanted / safe / area)[..., None])


def _directions() -> Floats:
    """(rays, 3) directions spread over the hemisphere about z by the cosine law."""
    k = np.arange(_RAYS)
    radius = np.sqrt((k + 0.5) / _RAYS)
    turn = k * np.pi * (3 - np.sqrt(5))
    return np.stack([radius * np.cos(turn), radius * np.sin(turn), np.sqrt(1 - radius**2)], axis=1)


def openness(surfaces: Surfaces, grids: tuple[Grid, ...], boxes: Boxes, room_m: Floats) -> Floats:
    """(K,) shading of even light on every coarse node; its mean over the surfaces' area is 1."""
    parts, weights = [], []
    rays = _directions()
    for s, grid in enumerate(grids):
        points = grid.points(surfaces, s)[grid.coarse_nodes]
        normal = surfaces.normal[s]
        ways = rays[:, :1] * surfaces.u[s] + rays[:, 1:2] * surfaces.v[s] + rays[:, 2:] * normal
        start = np.clip(points + 0.004 * normal, 0.001, room_m - 0.001)
        ways = np.where(np.abs(ways) < 1e-9, 1e-9, ways)
        inverse = 1.0 / ways
        far = np.where(ways > 0, room_m, 0.0)
        reach = ((far[None] - start[:, None]) * inverse[None]).min(axis=2)
        for low, high in zip(boxes.low_m, boxes.high_m, strict=True):
            a = (low - start[:, None]) * inverse
            b = (high - start[:, None]) * inverse
            enter, leave = np.minimum(a, b).max(axis=2), np.maximum(a, b).min(axis=2)
            reach = np.where((enter < leave) & (leave > 0), np.minimum(reach, np.maximum(enter, 0.0)), reach)
        parts.append((1 - _CLOSED * np.exp(-reach / _REACH_M)).mean(axis=1))
        u, v = grid.u_m[grid.coarse_u], grid.v_m[grid.coarse_v]
        weights.append(np.outer(_shares(v), _shares(u)).ravel())
    shade, weight = np.concatenate(parts), np.concatenate(weights)
    return np.asarray(shade / (shade @ weight / weight.sum()))


def _shares(places: Floats) -> Floats:
    gaps = np.diff(places)
    return np.concatenate([[0.0], gaps]) / 2 + np.concatenate([gaps, [0.0]]) / 2
