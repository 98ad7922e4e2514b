"""What the finishes look like close to: grain of plaster, boards of a floor, the figure of wood.

Reflectance of a surface is its finish times a pattern whose mean over a tile is exactly 1, so that every figure that is worked out with
the finish alone stays right. Patterns fade where a pixel is coarser than their grain.
"""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from preview.light.room import Surfaces
from preview.light.view import Hits
from preview.scene.layout import Floats

__all__ = ["pattern_at"]

_TILE_PX = 512
_LEVELS = 7


def _noise(seed: int, along: float, across: float) -> Floats:
    """A tile of smooth periodic noise, mean 0, standard deviation 1, with grain `along` × `across` cells."""
    random = np.random.default_rng(seed).standard_normal((_TILE_PX, _TILE_PX))
    fy, fx = np.fft.fftfreq(_TILE_PX)[:, None], np.fft.rfftfreq(_TILE_PX)[None]
    keep = np.exp(-2 * np.pi**2 * ((fx * along) ** 2 + (fy * across) ** 2))
    tile = np.fft.irfft2(np.fft.rfft2(random) * keep, s=random.shape)
    tile -= tile.mean()
    return np.asarray(tile / tile.std())


def _plaster() -> Floats:
    return 0.008 * _noise(1, 1.2, 1.2) + 0.010 * _noise(2, 6, 6) + 0.014 * _noise(3, 40, 40)


def _wood(seed: int) -> Floats:
    return 0.030 * _noise(seed, 40, 1.2) + 0.040 * _noise(seed + 1, 90, 5) + 0.03 * _noise(seed + 2, 120, 30)


def _matt() -> Floats:
    return 0.006 * _noise(31, 1.0, 1.0) + 0.006 * _noise(32, 60, 60)


def _screed() -> Floats:
    return 0.015 * _noise(41, 1.0, 1.0) + 0.02 * _noise(42, 5, 5) + 0.035 * _noise(43, 50, 50)


def _is_wood(reflectance: Floats) -> bool:
    """Whether a finish is a brown or tan that people know from wood: red over green over blue, plainly coloured, not bright."""
    red, green, blue = (float(value) for value in reflectance)
    ordered = red > green > blue
    return ordered and 0.45 < (green - blue) / max(red - blue, 1e-6) + 0.12 < 0.75 and blue < 0.55 * red and red < 0.6


def _boards() -> Floats:
    """Eight boards across the tile, each with its own tone and grain, a thin dark joint between them."""
    random = np.random.default_rng(11)
    tile = _wood(12)
    wide = _TILE_PX // 8
    for board in range(8):
        rows = slice(board * wide, (board + 1) * wide)
        tile[rows] = np.roll(tile[rows], int(random.integers(_TILE_PX)), axis=1)
        # Each board is two lengths of wood, butted at a place of its own.
        butt = int(random.integers(_TILE_PX))
        tone = np.repeat(random.normal(0, 0.06, 2), _TILE_PX // 2)
        tile[rows] += np.roll(tone, butt)[None]
        tile[rows.start : rows.start + 1] -= 0.22
        tile[rows, [butt, (butt + _TILE_PX // 2) % _TILE_PX]] -= 0.15
    return tile


_TILES = {"plaster": _plaster, "boards": _boards, "wood": lambda: _wood(21), "matt": _matt, "screed": _screed}


@cache
def _levels(name: str) -> list[NDArray[np.float32]]:
    """A tile as a factor of mean 1, and the same for pixels 2, 4, … times its cell."""
    tile = np.clip(_TILES[name](), -0.6, 0.6)
    spectrum = np.fft.rfft2(tile - tile.mean())
    fy, fx = np.fft.fftfreq(_TILE_PX)[:, None], np.fft.rfftfreq(_TILE_PX)[None]
    levels = []
    for step in range(_LEVELS):
        blur = np.exp(-2 * np.pi**2 * (fx**2 + fy**2) * (0.45 * (2**step - 1)) ** 2)
        levels.append(np.ascontiguousarray(1 + np.fft.irfft2(spectrum * blur, s=tile.shape), dtype=np.float32))
    return levels


def pattern_at(surfaces: Surfaces, hits: Hits, pixel_m: Floats) -> NDArray[np.float32]:
    """Factor on the reflectance at each hit, of the hits' shape. `pixel_m` is the size of a pixel on the surface there."""
    factor = np.ones(hits.surface.shape, dtype=np.float32)
    for s in range(len(surfaces)):
        here = hits.surface == s
        if not here.any():
            continue
        u, v, coarse = hits.u_m[here], hits.v_m[here], pixel_m[here]
        if surfaces.box[s] >= 0:
            size = surfaces.size_m[s]
            tile, metre = ("wood", 1.6) if _is_wood(surfaces.reflectance[s]) else ("matt", 0.9)
            if size[1] > size[0]:
                u, v = v, u
            u, v = u + 0.37 * s, v + 0.23 * s
        elif surfaces.names[s] == "floor":
            tile, metre = ("boards", 1.12) if _is_wood(surfaces.reflectance[s]) else ("screed", 2.4)
        else:
            tile, metre = "plaster", 1.5
            u, v = u + 0.61 * s, v + 0.17 * s
        # The tile blurred once more for every doubling of the pixel over the tile's own cell.
        cell = metre / _TILE_PX
        level = np.clip(np.log2(np.maximum(coarse / cell, 1e-3)) + 0.5, 0, _LEVELS - 1).astype(np.int64)
        value = np.empty(len(u), dtype=np.float32)
        for step in range(_LEVELS):
            at = np.nonzero(level == step)[0]
            if len(at):
                value[at] = _lookup(_levels(tile)[step], u[at] / cell, v[at] / cell)
        factor[here] = value
    return factor


def _lookup(tile: NDArray[np.float32], x: Floats, y: Floats) -> NDArray[np.float32]:
    count = len(x)
    wide = 4096
    pad = -count % wide
    mx = np.pad(x % _TILE_PX, (0, pad)).reshape(-1, wide).astype(np.float32)
    my = np.pad(y % _TILE_PX, (0, pad)).reshape(-1, wide).astype(np.float32)
    out = np.asarray(cv2.remap(tile, mx, my, cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP))
    return out.ravel()[:count]
