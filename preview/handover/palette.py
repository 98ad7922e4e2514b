"""256 colours for a whole clip, and a dither that stands still.

One palette serves every frame, so still parts stay still. A colour between palette colours is shown as a fixed mosaic: for each colour
a list of `STEPS` palette entries is worked out whose mean tracks it, each entry chosen to make up for part of what the ones before
it missed (pattern dither), ordered by lightness; which of them a pixel takes depends on its place alone. A glow
that does not move has the same mosaic in every frame.

Colours are looked up in cells of 4 codes a side; before that, two bits of another fixed pattern are added, so that the
cells themselves leave no edges. Cells are worked out when a clip first uses them.

Source: ordered dither, B. E. Bayer 1973, here with blue-noise thresholds (R. A. Ulichney 1987); the palette starts from an octree
(M. Gervautz, W. Purgathofer 1988) and is refined by weighted k-means. Leaves out: mixing in linear light (neighbouring palette
colours are too close for it to matter).
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from preview.handover.video import Picture
from preview.scene.layout import Floats

__all__ = ["COLOURS", "STEPS", "Mosaic", "palette_of"]

COLOURS = 255
"""Palette entries in use; the last of 256 is kept for "as before"."""

STEPS = 8
"""Entries of the list behind each colour."""

_STRENGTH = 0.5  # part of the miss that the next entry makes up for: less grain than 1, and still no edges
_CELLS = 1 << 18
_LIGHTNESS = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)

Bytes = NDArray[np.uint8]


def palette_of(samples: Bytes) -> Bytes:
    """A palette (COLOURS, 3) for pictures whose pixels `samples` (..., 3) are taken from."""
    pixels = np.ascontiguousarray(samples.reshape(-1, 3))
    keys, counts = np.unique(_cell(pixels), return_counts=True)
    points = _cell_colour(keys) + 1.5  # the middle of the cell
    octree = Image.fromarray(pixels[None]).quantize(COLOURS, method=Image.Quantize.FASTOCTREE).getpalette() or []
    start = np.array(octree[: 3 * COLOURS], dtype=np.float32).reshape(-1, 3)
    palette = _refine(points, np.sqrt(counts), start)
    full = np.repeat(palette[-1:], COLOURS, axis=0)
    full[: len(palette)] = palette
    return np.clip(np.rint(full), 0, 255).astype(np.uint8)


def _refine(points: Floats, weights: Floats, palette: Floats, rounds: int = 8) -> Floats:
    """Weighted k-means: every entry moves to the middle of the points nearest to it."""
    for _ in range(rounds):
        owner = _nearest(points, palette)
        weight = np.bincount(owner, weights, len(palette))
        used = weight > 0
        for channel in range(3):
            total = np.bincount(owner, weights * points[:, channel], len(palette))
            palette[used, channel] = total[used] / weight[used]
    return palette


def _nearest(points: Floats, palette: Floats) -> NDArray[np.intp]:
    distance = points @ (-2.0 * palette.T)
    distance += (palette * palette).sum(axis=1)
    return np.asarray(distance.argmin(axis=1))


def _cell(pixels: Bytes) -> NDArray[np.uint32]:
    """Number of the cell, 0 to 2¹⁸ − 1, of pixels (..., 3)."""
    four = np.zeros((*pixels.shape[:-1], 4), dtype=np.uint8)
    four[..., :3] = pixels
    word = four.view("<u4")[..., 0] >> 2
    return np.asarray((word & 63) | ((word >> 2) & 0xFC0) | ((word >> 4) & 0x3F000), dtype=np.uint32)


def _cell_colour(cells: NDArray[np.uint32]) -> Floats:
    """Lowest corner of cells as colours (n, 3): also what pixels in it mean once the fixed pattern, 1.5 in the mean, was added."""
    parts = np.stack([cells & 63, (cells >> 6) & 63, cells >> 12], axis=-1)
    return np.asarray(parts * 4.0, dtype=np.float32)


def _spread(side: int = 128) -> Floats:
    """A tile of values 0 to 1, evenly spread and without low frequencies: noise that the eye passes over."""
    values = np.random.default_rng(7).random((side, side))
    f = np.fft.fftfreq(side)
    high = 1 - np.exp(-((f[:, None] ** 2 + f[None] ** 2) / (2 * 0.22**2)))
    for _ in range(12):
        values = np.fft.ifft2(np.fft.fft2(values) * high).real
        values = values.ravel().argsort().argsort().reshape(side, side) / side**2
    return values


class Mosaic:
    """Turns pictures of one size into palette entries. Holds buffers: one thread at a time."""

    def __init__(self, palette: Bytes, size: tuple[int, int], samples: Bytes) -> None:
        """`samples` (..., 3): pixels as the pictures will have them; their cells are worked out at once."""
        width, height = size
        self._palette = palette.astype(np.float32)
        self._table = np.zeros(STEPS * _CELLS, dtype=np.uint8)
        self._known = np.zeros(_CELLS, dtype=bool)
        tile = _spread()
        rows, columns = -(-height // len(tile)), -(-width // len(tile))
        place = (tile * STEPS).astype(np.uint32) * _CELLS
        self._place = np.tile(place, (rows, columns))[:height, :width].copy()
        # Two bits a channel, each channel's pattern shifted against the others'; the fourth channel is none.
        bits = [np.roll(tile, shift, axis=(0, 1)) * 4 for shift in ((41, 67), (89, 23), (17, 101))]
        bits.append(np.zeros_like(tile))
        four = np.stack(bits, axis=-1).astype(np.uint8)
        self._bits = np.tile(four, (rows, columns, 1))[:height, :width].copy()
        self._four = np.empty((height, width, 4), dtype=np.uint8)
        self._cells = np.empty((height, width), dtype=np.uint32)
        self._spare = np.empty_like(self._cells)
        self._seen = np.empty((height, width), dtype=bool)
        flat = samples.reshape(-1, 3)
        self._learn(np.concatenate([_cell(cv2.add(flat, np.full_like(flat, bit))) for bit in (0, 3)]))

    def entries(self, picture: Picture) -> Bytes:
        """Palette entries (height, width) of a picture (height, width, 3)."""
        cells, spare = self._cells, self._spare
        cv2.cvtColor(picture, cv2.COLOR_RGB2RGBA, dst=self._four)
        cv2.add(self._four, self._bits, dst=self._four)
        word = self._four.view("<u4")[..., 0]
        np.right_shift(word, 2, out=cells)
        cells &= 0x3F
        for shift, mask in ((4, 0xFC0), (6, 0x3F000)):
            np.right_shift(word, shift, out=spare)
            spare &= mask
            cells |= spare
        np.take(self._known, cells, out=self._seen)
        if not self._seen.all():
            self._learn(cells[~self._seen])
        cells += self._place
        return np.take(self._table, cells)

    def _learn(self, cells: NDArray[np.uint32]) -> None:
        """Work out the lists of cells that have not been met before."""
        met = np.zeros(_CELLS, dtype=bool)
        met[cells] = True
        new = np.flatnonzero(met & ~self._known).astype(np.uint32)
        colour = _cell_colour(new)
        missed = np.zeros_like(colour)
        chosen = np.empty((STEPS, len(new)), dtype=np.int64)
        for step in range(STEPS):
            chosen[step] = _nearest(colour + _STRENGTH * missed, self._palette)
            missed += colour - self._palette[chosen[step]]
        order = np.argsort((self._palette @ _LIGHTNESS)[chosen], axis=0, kind="stable")
        lists = np.take_along_axis(chosen, order, axis=0)
        for step in range(STEPS):
            self._table[step * _CELLS + new] = lists[step]
        self._known[new] = True
