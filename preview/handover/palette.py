"""256 colours for a whole clip, and a dither that stands still.

One palette serves every frame, so still parts stay still. A colour between palette colours is shown as a fixed mosaic: for each colour
a list of `STEPS` palette entries is worked out whose mean tracks it, each entry chosen to make up for part of what the ones before
it missed (pattern dither), ordered by lightness; which of them a pixel takes depends on its place alone. A glow
that does not move has the same mosaic in every frame. Distances count green most, as the eye does.

Colours are looked up in cells: 32 shades of red and blue and 64 of green, closest where the clip has most of its
pixels. A second fixed pattern, added before, lets neighbouring cells run into each other, so that they leave no edges; where a clip has
few shades every one of them has its own cell and nothing is added. Lists are worked out when a clip first uses a cell.

Source: ordered dither, B. E. Bayer 1973, here with blue-noise thresholds (R. A. Ulichney 1987) from voids and clusters (the same,
1993); the palette starts from an octree (M. Gervautz, W. Purgathofer 1988) and is refined by weighted k-means. Leaves out: mixing in
linear light (neighbouring palette colours are too close for it to matter), and more than 8191 cells in one clip (further ones take
the nearest cell's list).
"""

from __future__ import annotations

import functools

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from preview.handover.video import Picture
from preview.light.colour import Y_OF_RGB
from preview.scene.layout import Floats

__all__ = ["COLOURS", "STEPS", "Mosaic", "Shades", "blue_noise", "palette_of"]

COLOURS = 255
"""Palette entries in use; the last of 256 is kept for "as before"."""

STEPS = 8
"""Entries of the list behind each colour."""

_STRENGTH = 0.4  # part of the miss that the next entry makes up for: less grain than 1, and still no edges
_REACH = 10.0  # codes by which that may move the next entry's aim at most: further ones are seen as specks
_BLUR = 0.45  # how far neighbouring cells run into each other: all the way, 1, costs bytes and grain and takes no more edges away
_EVEN = 0.08  # share of the shades that is spread evenly over all codes, whatever the clip has
_MOST_CELLS = (1 << 16) // STEPS
_LIGHTNESS = Y_OF_RGB.astype(np.float32)
_WEIGHTS = np.array([0.7, 1.0, 0.7], dtype=np.float32)
"""What red, green and blue count in a distance: near what the eye tells apart. Common practice, no source."""

_COUNTS = (32, 64, 32)
_TILE = 32
_SHIFTS = ((9, 3), (25, 23), (17, 5))

Bytes = NDArray[np.uint8]
Words = NDArray[np.uint16]


class Shades:
    """Which shades of red, green and blue are told apart, closest where `samples` (..., 3) have most pixels.

    A pixel's cell is one 16-bit word: five bits of red, six of green, five of blue.
    """

    def __init__(self, samples: Bytes) -> None:
        held = np.bincount(samples.ravel(), minlength=256).astype(np.float64)
        # One scale serves all three channels, in 32 shades; green has one more between each two.
        place = np.concatenate([[0.0], np.cumsum(_steps_at(np.cbrt(held), min(_COUNTS) - 1))])[:256]
        codes = np.rint(place * 8).astype(np.uint16)
        self._pairs = (codes[:, None] << 8 | codes[None, :]).ravel()  # for two bytes at once, high and low
        self._shade = [np.interp(np.arange(n) * 32 / n, place, np.arange(256.0)).astype(np.float32) for n in _COUNTS]
        self.room = np.array([256 // n for n in _COUNTS], dtype=np.uint8)
        """What may be added to each channel of `spread` without leaving a cell's reach, plus one."""

    def spread(self, picture: Bytes, out: Bytes | None = None) -> Bytes:
        """Pictures (h, w, 3), of an even number of bytes a row, with shades as far apart as their cells."""
        out = np.empty_like(picture) if out is None else out
        rows = len(picture)
        look_up(picture.reshape(rows, -1).view(np.uint16), self._pairs, out.reshape(rows, -1).view(np.uint16))
        return out

    def colours(self, words: Words) -> Floats:
        """Colours (n, 3) of cells."""
        red, green, blue = self._shade
        return np.stack([red[words >> 11], green[(words >> 5) & 63], blue[words & 31]], axis=-1)


def _steps_at(weight: Floats, total: int) -> Floats:
    """How much of a shade lies between each code and the next, (255,): as `weight` (256,), at most one, `total` together."""
    wanted = (weight[:-1] + weight[1:]) / max(float(weight.sum()), 1e-9) * (1 - _EVEN) / 2 + _EVEN / 255
    low, high = 0.0, 1e6
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if np.minimum(middle * wanted, 1.0).sum() < total else (low, middle)
    return np.minimum(low * wanted, 1.0)


def _words(pixels: Bytes, out: Bytes | None = None) -> Words:
    """Cells (h, w) of spread pixels (h, w, 3)."""
    return np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2BGR565, dst=out)).view(np.uint16)[..., 0]


def _has_wide_lut() -> bool:
    """Whether this OpenCV looks 16-bit values up (5.0 does, 4.x does not)."""
    try:
        return bool(np.asarray(cv2.LUT(np.array([[9]], np.uint16), np.arange(1 << 16, dtype=np.uint16)))[0, 0] == 9)
    except cv2.error:
        return False


_WIDE_LUT = _has_wide_lut()


def look_up(words: Words, table: NDArray[np.generic], out: NDArray[np.generic]) -> None:
    """Put `table` (65536,) at each word (h, w) into `out`."""
    if _WIDE_LUT:
        cv2.LUT(words, table, dst=out)  # three times as fast
    else:
        np.take(table, words, out=out, mode="clip")


def _even_rows(samples: Bytes) -> Bytes:
    """Pixels (..., 3) as one row with an even number of them."""
    flat = samples.reshape(1, -1, 3)
    return np.ascontiguousarray(np.concatenate([flat, flat[:, :1]], axis=1) if flat.shape[1] % 2 else flat)


def palette_of(samples: Bytes) -> Bytes:
    """A palette (COLOURS, 3) for pictures whose pixels `samples` (..., 3) are taken from."""
    pixels = _even_rows(samples)
    shades = Shades(pixels)
    middle = cv2.add(shades.spread(pixels), np.full_like(pixels, shades.room // 2))
    words = _words(middle).ravel()
    counts = np.bincount(words, minlength=1 << 16)
    keys = np.flatnonzero(counts)
    sums = [np.bincount(words, pixels[0, :, channel], 1 << 16)[keys] for channel in range(3)]
    means = np.stack(sums, axis=1) / counts[keys, None]
    octree = Image.fromarray(pixels).quantize(COLOURS, method=Image.Quantize.FASTOCTREE).getpalette() or []
    start = np.array(octree[: 3 * COLOURS], dtype=np.float32).reshape(-1, 3)
    palette = _refine(means.astype(np.float32), counts[keys] ** 0.8, start)
    full = np.repeat(palette[-1:], COLOURS, axis=0)
    full[: len(palette)] = palette
    return np.clip(np.rint(full), 0, 255).astype(np.uint8)


def _refine(points: Floats, weights: Floats, palette: Floats, rounds: int = 8) -> Floats:
    """Weighted k-means: every entry moves to the middle of the points nearest to it, one without any to the worst served point."""
    for turn in range(rounds):
        owner = _nearest(points, palette)
        weight = np.bincount(owner, weights, len(palette))
        used = weight > 0
        missed = weights * (((points - palette[owner]) * _WEIGHTS) ** 2).sum(axis=1)
        for channel in range(3):
            total = np.bincount(owner, weights * points[:, channel], len(palette))
            palette[used, channel] = total[used] / weight[used]
        idle = np.flatnonzero(~used)
        if len(idle) and turn < rounds - 1:
            worst = np.argsort(-missed)[: len(idle)]
            palette[idle[: len(worst)]] = points[worst]
    return palette


def _nearest(points: Floats, palette: Floats) -> NDArray[np.intp]:
    """Which palette entry (n, 3) is nearest to each point (m, 3), as the eye counts."""
    seen = (palette * _WEIGHTS).astype(np.float32)
    aim = (points * _WEIGHTS).astype(np.float32) @ (-2.0 * seen.T)
    aim += (seen * seen).sum(axis=1)
    return np.asarray(aim.argmin(axis=1))


@functools.lru_cache(maxsize=4)
def blue_noise(side: int = _TILE, sigma: float = 1.9) -> Floats:
    """A tile of thresholds 0 to 1 without low frequencies, by voids and clusters: noise that the eye passes over.

    Whatever the threshold, the places below it lie as evenly as they can, over the tile's edges too. `sigma`: reach of the
    Gaussian in pixels that says how crowded a place is.
    """
    cells = side * side
    f = np.fft.fftfreq(side)
    reach = np.exp(-2 * (np.pi * sigma) ** 2 * (f[:, None] ** 2 + f**2))
    kernel = np.fft.ifft2(reach).real

    def around(place: int) -> Floats:
        return np.roll(kernel, (place // side, place % side), axis=(0, 1))

    chosen = np.zeros((side, side), dtype=bool)
    chosen.flat[np.random.default_rng(1).permutation(cells)[: cells // 10]] = True
    crowd = np.fft.ifft2(np.fft.fft2(chosen) * reach).real
    while True:  # move the most crowded place to the emptiest until that changes nothing
        cluster = int(np.where(chosen, crowd, -np.inf).argmax())
        chosen.flat[cluster] = False
        crowd -= around(cluster)
        void = int(np.where(chosen, np.inf, crowd).argmin())
        chosen.flat[void] = True
        crowd += around(void)
        if void == cluster:
            break
    rank = np.zeros(cells)
    left, thinned = chosen.copy(), crowd.copy()
    for number in range(int(chosen.sum()) - 1, -1, -1):
        cluster = int(np.where(left, thinned, -np.inf).argmax())
        left.flat[cluster] = False
        thinned -= around(cluster)
        rank[cluster] = number
    for number in range(int(chosen.sum()), cells):
        void = int(np.where(chosen, np.inf, crowd).argmin())
        chosen.flat[void] = True
        crowd += around(void)
        rank[void] = number
    return np.asarray(rank.reshape(side, side) / cells)


class Mosaic:
    """Turns pictures of one size into palette entries. Holds buffers: one thread at a time."""

    def __init__(self, palette: Bytes, size: tuple[int, int], samples: Bytes) -> None:
        """`samples` (..., 3): pixels as the pictures will have them; their cells are worked out at once."""
        self._width, height = size
        width = self._width + self._width % 2  # rows are looked up two bytes at a time
        self._palette = palette.astype(np.float32)
        flat = _even_rows(samples)
        self._shades = Shades(flat)
        self._first = np.zeros(1 << 16, dtype=np.uint16)  # where the list of a cell begins; 0: not worked out yet
        self._lists = np.zeros(1 << 16, dtype=np.uint8)
        self._known = np.zeros(0, dtype=np.uint16)
        tile = blue_noise()
        tiles = (-(-height // _TILE), -(-width // _TILE))
        self._step = np.tile((tile * STEPS).astype(np.uint16), tiles)[:height, :width].copy()
        parts = [np.roll(tile, shift, axis=(0, 1)) for shift in _SHIFTS]  # each channel's against the others'
        low, room = (1 - _BLUR) / 2 * self._shades.room, _BLUR * self._shades.room
        noise = np.floor(low + np.stack(parts, axis=-1) * room).astype(np.uint8)
        self._noise = np.tile(noise, (*tiles, 1))[:height, :width].copy()
        self._spread = np.empty((height, width, 3), dtype=np.uint8)
        self._packed = np.empty((height, width, 2), dtype=np.uint8)
        self._begin = np.empty((height, width), dtype=np.uint16)
        spread = self._shades.spread(flat)
        ends = noise.min(axis=(0, 1)), noise.max(axis=(0, 1))
        met = np.zeros(1 << 16, dtype=np.bool_)
        for k in range(8):
            corner = np.array([ends[k >> c & 1][c] for c in range(3)], dtype=np.uint8)
            met[_words(spread + corner)] = True
        self._learn(np.flatnonzero(met).astype(np.uint16))

    def entries(self, picture: Picture, out: Bytes | None = None) -> Bytes:
        """Palette entries (height, width) of a picture (height, width, 3); into `out` where that is given."""
        if self._width % 2:
            picture = cv2.copyMakeBorder(picture, 0, 0, 0, 1, cv2.BORDER_REPLICATE)
        self._shades.spread(np.ascontiguousarray(picture), self._spread)
        cv2.add(self._spread, self._noise, dst=self._spread)
        words = _words(self._spread, self._packed)
        look_up(words, self._first, self._begin)
        if not self._begin.min():
            self._learn(words[self._begin == 0])
            look_up(words, self._first, self._begin)
        cv2.add(self._begin, self._step, dst=self._begin)
        out = np.empty((len(picture), self._width), dtype=np.uint8) if out is None else out
        if self._width % 2:
            found = np.empty(self._begin.shape, dtype=np.uint8)
            look_up(self._begin, self._lists, found)
            np.copyto(out, found[:, : self._width])
        else:
            look_up(self._begin, self._lists, out)
        return out

    def _learn(self, words: Words) -> None:
        """Work out the lists of cells that have not been met before."""
        new = np.unique(words)
        new = new[self._first[new] == 0]
        room = _MOST_CELLS - 1 - len(self._known)
        new, further = new[:room], new[room:]
        places = ((np.arange(len(new)) + len(self._known) + 1) * STEPS).astype(np.uint16)
        colour = self._shades.colours(new)
        missed = np.zeros_like(colour)
        chosen = np.empty((STEPS, len(new)), dtype=np.int64)
        for step in range(STEPS):
            pull = _STRENGTH * missed
            far = np.sqrt(((pull * _WEIGHTS) ** 2) @ np.ones((3, 1), dtype=np.float32))
            chosen[step] = _nearest(colour + pull * np.minimum(1, _REACH / np.maximum(far, _REACH)), self._palette)
            missed += colour - self._palette[chosen[step]]
        order = np.argsort((self._palette @ _LIGHTNESS)[chosen], axis=0, kind="stable")
        lists = np.take_along_axis(chosen, order, axis=0)
        for step in range(STEPS):
            self._lists[places + step] = lists[step]
        self._first[new] = places
        self._known = np.concatenate([self._known, new])
        self._neighbours()
        if len(further):
            from scipy.spatial import KDTree

            known = KDTree(self._shades.colours(self._known) * _WEIGHTS)
            near = known.query(self._shades.colours(further) * _WEIGHTS)[1]
            self._first[further] = self._first[self._known[near]]

    def _neighbours(self) -> None:
        """Give cells beside one that is known its list: what is met there later is rare, and off by a shade at most."""
        cells = self._first.reshape(_COUNTS)
        near = np.zeros_like(cells)
        for axis in range(3):
            cells_along, near_along = np.moveaxis(cells, axis, 0), np.moveaxis(near, axis, 0)
            np.maximum(near_along[1:], cells_along[:-1], out=near_along[1:])
            np.maximum(near_along[:-1], cells_along[1:], out=near_along[:-1])
        np.copyto(cells, near, where=cells == 0)
