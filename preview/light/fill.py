"""Light that comes from everywhere: what was in the room already, and what has bounced.

The bounced light is one even term, E = Φ·ρ/(A·(1 − ρ)), with Φ the flux that the groups send into the room, A the area of all
surfaces and ρ their area-weighted mean reflectance; its colour is tinted by the finishes as each bounce tints it. Both it and the
ambient light are even on average and shaded gently where surfaces close in, in corners and under boxes, as 96 rays from each coarse
node find it; the shading keeps the mean.

Leaves out: that bounced light is stronger near the surface it came from.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np

from preview.light.atlas import Grid
from preview.light.colour import Y_OF_RGB
from preview.light.room import Boxes, Surfaces
from preview.scene.layout import Floats

__all__ = ["bounce_rgb", "least_lux", "mean_reflectance", "openness"]

_RAYS = 96
_REACH_M = 0.45
_CLOSED = 0.62
_BOUNCED = 0.2


def least_lux(flux: float, surfaces: Surfaces) -> float:
    """Light in lux that bounces leave everywhere at the least, for a flux in lumen: a fifth of what it would be evenly spread."""
    return _BOUNCED * flux / float(surfaces.area_m2.sum())


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
    rays = _directions()

    def one(s: int) -> Floats:
        grid, normal = grids[s], surfaces.normal[s]
        points = np.clip(grid.points(surfaces, s)[grid.coarse_nodes] + 0.004 * normal, 0.001, room_m - 0.001)
        ways = rays[:, :1] * surfaces.u[s] + rays[:, 1:2] * surfaces.v[s] + rays[:, 2:] * normal
        ways = np.where(np.abs(ways) < 1e-9, 1e-9, ways)
        inverse = (1.0 / ways).astype(np.float32)
        begin = [points[:, k : k + 1].astype(np.float32) for k in range(3)]
        shape = (len(points), _RAYS)
        reach = np.full(shape, np.inf, np.float32)
        for k in range(3):
            np.minimum(
                reach,
                (np.where(ways[:, k] > 0, room_m[k], 0.0).astype(np.float32) - begin[k]) * inverse[:, k],
                out=reach,
            )
        far = 4 * _REACH_M
        close = (boxes.low_m < points.max(axis=0) + far).all(axis=1) & (boxes.high_m > points.min(axis=0) - far).all(
            axis=1
        )
        for low, high in zip(boxes.low_m[close], boxes.high_m[close], strict=True):
            enter, leave = np.zeros(shape, np.float32), np.full(shape, np.inf, np.float32)
            for k in range(3):
                a = (np.float32(low[k]) - begin[k]) * inverse[:, k]
                b = (np.float32(high[k]) - begin[k]) * inverse[:, k]
                np.maximum(enter, np.minimum(a, b), out=enter)
                np.minimum(leave, np.maximum(a, b, out=a), out=leave)
            np.copyto(reach, np.minimum(reach, enter), where=enter < leave)
        return np.asarray((1 - _CLOSED * np.exp(reach * np.float32(-1 / _REACH_M))).mean(axis=1), dtype=np.float64)

    with ThreadPoolExecutor(2) as pool:
        shade = np.concatenate(list(pool.map(one, range(len(surfaces)))))
    weight = np.concatenate([np.outer(_shares(g.v_m[g.coarse_v]), _shares(g.u_m[g.coarse_u])).ravel() for g in grids])
    return np.asarray(shade / (shade @ weight / weight.sum()))


def _shares(places: Floats) -> Floats:
    gaps = np.diff(places)
    return np.concatenate([[0.0], gaps]) / 2 + np.concatenate([gaps, [0.0]]) / 2
