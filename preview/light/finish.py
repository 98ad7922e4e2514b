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

__all__ = ["draw_tiles", "pattern_at"]

_TILE_PX = 512
_LEVELS = 7


def _noise(seed: int, along: float, across: float) -> Floats:
    """A tile of smooth periodic noise, mean 0, standard deviation 1, with grain `along` × `across` cells."""
    random = np.random.default_rng(seed).standard_normal((_TILE_PX, _TILE_PX)).astype(np.float32)
    fy, fx = np.fft.fftfreq(_TILE_PX)[:, None], np.fft.rfftfreq(_TILE_PX)[None]
    keep = (np.exp(-2 * np.pi**2 * (fy * across) ** 2) * np.exp(-2 * np.pi**2 * (fx * along) ** 2)).astype(np.float32)
    tile = np.fft.irfft2(np.fft.rfft2(random) * keep, s=random.shape)
    tile -= tile.mean()
    return np.asarray(tile / tile.std())


def _plaster() -> Floats:
    # A fine grain and no clouds: what varies on a wall from place to place is the light.
    return 0.006 * _noise(1, 1.2, 1.2) + 0.004 * _noise(2, 5, 5)


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
def _tile(name: str) -> NDArray[np.float32]:
    return np.asarray(np.clip(_TILES[name](), -0.6, 0.6), dtype=np.float32)


@cache
def _level(name: str, step: int) -> NDArray[np.float32]:
    """A tile as a factor of mean 1, blurred for pixels 2^step times its cell."""
    tile = _tile(name)
    spectrum = np.fft.rfft2(tile - tile.mean())
    fy, fx = np.fft.fftfreq(_TILE_PX)[:, None], np.fft.rfftfreq(_TILE_PX)[None]
    spectrum *= np.exp(-2 * np.pi**2 * (fx**2 + fy**2) * (0.45 * (2**step - 1)) ** 2).astype(np.float32)
    return np.ascontiguousarray(1 + np.fft.irfft2(spectrum, s=tile.shape), dtype=np.float32)


def _laid(surfaces: Surfaces, s: int) -> tuple[str, float, tuple[float, float]]:
    """A surface's tile, its side in metres, and by how much it is moved from one surface to the next."""
    wood = _is_wood(surfaces.reflectance[s])
    if surfaces.box[s] >= 0:
        return ("wood", 1.6, (0.37, 0.23)) if wood else ("matt", 0.9, (0.37, 0.23))
    if surfaces.names[s] == "floor":
        return ("boards", 1.12, (0.0, 0.0)) if wood else ("screed", 2.4, (0.0, 0.0))
    return "plaster", 1.5, (0.61, 0.17)


def draw_tiles(surfaces: Surfaces) -> None:
    """Make the tiles that these surfaces will need; worth doing while other work goes on."""
    for name in dict.fromkeys(_laid(surfaces, s)[0] for s in range(len(surfaces))):
        _tile(name)


def pattern_at(surfaces: Surfaces, hits: Hits, pixel_m: Floats) -> NDArray[np.float32]:
    """Factor on the reflectance at each hit, of the hits' shape. `pixel_m` is the size of a pixel on the surface there."""
    factor = np.ones(hits.surface.shape, dtype=np.float32)
    flat, all_u, all_v = factor.ravel(), hits.u_m.ravel(), hits.v_m.ravel()
    coarse = np.log2(np.maximum(pixel_m.ravel(), 1e-9), dtype=np.float32)
    order = np.argsort(hits.surface.ravel().astype(np.int16), kind="stable")
    ends = np.cumsum(np.bincount(hits.surface.ravel() + 1, minlength=len(surfaces) + 1))
    for s in range(len(surfaces)):
        here = order[ends[s] : ends[s + 1]]
        if not len(here):
            continue
        u, v = all_u[here].astype(np.float32), all_v[here].astype(np.float32)
        tile, metre, (off_u, off_v) = _laid(surfaces, s)
        if surfaces.box[s] >= 0 and surfaces.size_m[s, 1] > surfaces.size_m[s, 0]:
            u, v = v, u
        u, v = u + np.float32(off_u * s), v + np.float32(off_v * s)
        # The tile blurred once more for every doubling of the pixel over the tile's own cell.
        cell = metre / _TILE_PX
        level = np.clip(coarse[here] + np.float32(0.5 - np.log2(cell)), 0, _LEVELS - 1).astype(np.int8)
        value = np.empty(len(u), dtype=np.float32)
        for step in range(int(level.min()), int(level.max()) + 1):
            at = np.nonzero(level == step)[0]
            if len(at):
                value[at] = _lookup(_level(tile, step), u[at] / np.float32(cell), v[at] / np.float32(cell))
        flat[here] = value
    return factor


def _lookup(tile: NDArray[np.float32], x: NDArray[np.float32], y: NDArray[np.float32]) -> NDArray[np.float32]:
    count, wide = len(x), 4096
    pad = -count % wide
    mx, my = (np.pad(part % _TILE_PX, (0, pad)).reshape(-1, wide) for part in (x, y))
    out = np.asarray(cv2.remap(tile, mx, my, cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP))
    return out.ravel()[:count]
