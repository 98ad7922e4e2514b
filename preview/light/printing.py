"""From light maps to the bytes of a picture, band by band on two threads.

With x = luminance × scale the tone is x up to a shoulder at `KNEE`, then bends towards `WHITE` without reaching it. A pixel keeps its
hue: all three components are scaled alike, and where one leaves 0–1 the colour moves towards the grey of the same luminance just as
far as it must. Bytes come from a table of the sRGB transfer function, with a fixed pattern of sub-code noise against banding, the same
in every frame so that still parts stay still.

A band is small enough to stay in a core's own cache, and below the size from which OpenCV would start threads of its own.
"""

from __future__ import annotations

from concurrent.futures import Executor

import cv2
import numpy as np
from numpy.typing import NDArray

from preview.light.colour import to_srgb
from preview.light.pixels import Pixels
from preview.scene.layout import Floats

__all__ = ["FULL", "KNEE", "WHITE", "WORKERS", "Printer", "tone"]

KNEE = 0.42
WHITE = 0.90
WORKERS = 2

FULL = 65535.0
"""Exposed light that is display white: what is printed comes in these units, so that it is its own index into the table."""

_BAND_PIXELS = 26_000
_FULL = np.float32(FULL)
_TINY = np.float32(1e-9 * FULL)
_KNEE, _ROOM, _BEND = (np.float32(value) for value in (KNEE * FULL, (WHITE - KNEE) * FULL, 1 / ((WHITE - KNEE) * FULL)))

Matrix = NDArray[np.float32]


def tone(luminance: Floats) -> Floats:
    """Display luminance 0 to 0.9 of exposed luminance (…,), in double precision: the curve that pictures are printed with.

    >>> tone(np.array([0.2, 0.42, 1.0])).round(4).tolist()
    [0.2, 0.42, 0.7566]
    """
    over = np.maximum(luminance - KNEE, 0.0)
    return np.asarray(np.minimum(luminance, KNEE) + (WHITE - KNEE) * -np.expm1(-over / (WHITE - KNEE)))


def _dither() -> NDArray[np.uint16]:
    """A 128 × 128 tile of evenly spread values 0–255 without low frequencies."""
    size = 128
    values = np.random.default_rng(5).random((size, size))
    f = np.fft.fftfreq(size)
    high = 1 - np.exp(-((f[:, None] ** 2 + f[None] ** 2) / (2 * 0.22**2)))
    for _ in range(12):
        values = np.fft.ifft2(np.fft.fft2(values) * high).real
        values = values.ravel().argsort().argsort().reshape(size, size) / size**2
    return np.asarray(values * 256, dtype=np.uint16)


class Printer:
    """Prints pictures of one set of pixels. Holds tables and buffers: one picture at a time."""

    def __init__(self, pixels: Pixels, veil_rows: int) -> None:
        self._pixels = pixels
        height, width = pixels.shape
        tile = _dither()
        self._noise = np.tile(tile, (-(-height // 128), -(-width // 128)))[:height, :width].copy()
        signal = to_srgb(np.arange(65536) / 65535)
        # 255 codes × 256 levels between them; the noise lifts to the next code with the right chance.
        self._table = np.minimum(np.rint(signal * 255 * 256), 255 * 256).astype(np.uint16)
        self._wide_lut = _has_wide_lut(self._table)
        band = min(height, max(4, _BAND_PIXELS // width))
        edges = [*range(0, height, band), height]
        within = np.searchsorted(pixels.crossed, np.asarray(edges) * width)
        rows = np.clip((np.arange(height) + 0.5) * veil_rows / height - 0.5, 0, veil_rows - 1)
        self._bands = []
        for top, end, low, high in zip(edges[:-1], edges[1:], within[:-1], within[1:], strict=True):
            own = rows[top:end]
            first, last = int(own[0]), min(int(own[-1]) + 2, veil_rows)
            between = np.maximum(1 - np.abs(own[:, None] - np.arange(first, last)), 0).astype(np.float32)
            self._bands.append(_Band(slice(top, end), slice(int(low), int(high)), slice(first, last), between))
        self._inside = pixels.crossed - np.repeat(np.asarray(edges[:-1]) * width, np.diff(within))
        self._scratch = tuple(_Scratch(band, width) for _ in range(WORKERS))

    def print(
        self, cells: Matrix, crossing: Matrix, veil: Matrix, out: NDArray[np.uint8], pool: Executor
    ) -> NDArray[np.uint8]:
        """sRGB bytes (h, w, 3) into `out`: exposed light, in units of 1/FULL of display white,
        of the cells (height, width, 4), of the crossed pixels (P, 4) and of the veil.
        """
        across, put = self._laid_out(crossing, veil)

        def share(worker: int) -> None:
            scratch = self._scratch[worker]
            for band in self._bands[worker::WORKERS]:
                planes = self._light(band, cells, put, across, scratch)
                self._tone(planes, scratch)
                self._bytes(planes[:3], self._noise[band.rows], out[band.rows], scratch)

        list(pool.map(share, range(WORKERS)))
        return out

    def linear(self, cells: Matrix, crossing: Matrix, veil: Matrix) -> Matrix:
        """The same before tone and bytes: light (h, w, 4)."""
        across, put = self._laid_out(crossing, veil)
        out = np.empty((*self._pixels.shape, 4), np.float32)
        for band in self._bands:
            out[band.rows] = np.moveaxis(self._light(band, cells, put, across, self._scratch[0]), 0, 2)
        return out

    def _laid_out(self, crossing: Matrix, veil: Matrix) -> tuple[Matrix, Matrix]:
        """The veil's rows over the picture's full width (4, veil rows, w), and the crossed pixels' light by channel (4, P)."""
        width = self._pixels.shape[1]
        wide = np.asarray(cv2.resize(veil, (width, veil.shape[0]), interpolation=cv2.INTER_LINEAR))
        across = cv2.transpose(wide.reshape(-1, 4)).reshape(4, veil.shape[0], width)
        return across, np.ascontiguousarray(crossing.T)

    def _light(self, band: _Band, cells: Matrix, put: Matrix, across: Matrix, scratch: _Scratch) -> Matrix:
        """Light of one band by channel, (4, rows, w)."""
        pixels, rows = self._pixels, band.rows
        planes = scratch.planes(rows.stop - rows.start)
        looked = scratch.looked(planes.shape[1])
        cv2.remap(cells, pixels.x[rows], pixels.y[rows], cv2.INTER_LINEAR, dst=looked)
        cv2.transpose(looked.reshape(-1, 4), dst=planes.reshape(4, -1))
        np.multiply(planes, pixels.pattern[rows], out=planes)
        if band.crossed.start < band.crossed.stop:
            planes.reshape(4, -1)[:, self._inside[band.crossed]] = put[:, band.crossed]
        planes += np.matmul(band.between, across[:, band.veil], out=scratch.more(planes.shape[1]))
        return planes

    def _tone(self, planes: Matrix, scratch: _Scratch) -> None:
        """Bend the highlights and bring colours into gamut, in place."""
        y = planes[3]
        rows = len(y)
        colours = planes[:3]
        most, least, tone, factor = scratch.more(rows)
        np.maximum(y, _TINY, out=y)
        bends = bool(y.max() > _KNEE)
        if bends:
            np.subtract(_KNEE, y, out=factor)
            np.minimum(factor, 0, out=factor)
            factor *= _BEND
            np.exp(factor, out=factor)
            np.subtract(1, factor, out=factor)
            factor *= _ROOM
            np.minimum(y, _KNEE, out=tone)
            tone += factor
            np.divide(tone, y, out=factor)
        else:
            np.copyto(tone, y)
        np.maximum(np.maximum(colours[0], colours[1], out=most), colours[2], out=most)
        np.minimum(np.minimum(colours[0], colours[1], out=least), colours[2], out=least)
        if bends:
            most *= factor
        if not (least.min() < 0 or most.max() > _FULL):
            if bends:
                colours *= factor
            return
        # How many times too far from grey the colour is: above by its brightest component, below by its darkest one.
        np.divide(least, y, out=least)
        np.subtract(1, least, out=least)
        most -= tone
        np.divide(most, np.subtract(_FULL, tone, out=y), out=most)
        np.maximum(most, least, out=most)
        np.maximum(most, 1, out=most)
        # Colour times `factor` is toned; towards grey it is (toned − tone)/most + tone.
        if bends:
            factor /= most
        else:
            np.divide(1, most, out=factor)
        np.subtract(tone, np.divide(tone, most, out=least), out=tone)
        colours *= factor
        colours += tone

    def _bytes(self, colours: Matrix, noise: NDArray[np.uint16], out: NDArray[np.uint8], scratch: _Scratch) -> None:
        rows, width = colours.shape[1:]
        index, codes, small = scratch.whole_numbers(rows)
        # What rounding leaves outside the table is less than a step of the index, and a cast to whole numbers cuts it off.
        np.copyto(index, colours, casting="unsafe")
        if self._wide_lut:
            cv2.LUT(index.reshape(-1, width), self._table, dst=codes.reshape(-1, width))
        else:
            np.take(self._table, index, out=codes, mode="clip")
        codes += noise
        codes >>= 8
        np.copyto(small, codes, casting="unsafe")
        cv2.merge(list(small), out)


class _Band:
    """Rows of the picture, the crossed pixels in them, and the rows of the veil that they lie between, with their weights."""

    def __init__(self, rows: slice, crossed: slice, veil: slice, between: Matrix) -> None:
        self.rows, self.crossed, self.veil, self.between = rows, crossed, veil, between


class _Scratch:
    """Working space of one thread for one band: four planes, and a buffer that serves one purpose after another.

    The less memory a band touches, the more of it stays in the core's cache.
    """

    def __init__(self, rows: int, width: int) -> None:
        self._width = width
        self._planes = np.empty(4 * rows * width, np.float32)
        self._buffer = np.empty(4 * rows * width, np.float32)

    def looked(self, rows: int) -> Matrix:
        """(rows, w, 4), in the buffer."""
        return self._buffer[: 4 * rows * self._width].reshape(rows, self._width, 4)

    def planes(self, rows: int) -> Matrix:
        """Four planes (4, rows, w)."""
        return self._planes[: 4 * rows * self._width].reshape(4, rows, self._width)

    def more(self, rows: int) -> Matrix:
        """Four other planes (4, rows, w), in the buffer."""
        return self._buffer[: 4 * rows * self._width].reshape(4, rows, self._width)

    def whole_numbers(self, rows: int) -> tuple[NDArray[np.uint16], NDArray[np.uint16], NDArray[np.uint8]]:
        """Two arrays of 16 bits and one of 8, each (3, rows, w), in the buffer."""
        count, shape = 3 * rows * self._width, (3, rows, self._width)
        words = self._buffer.view(np.uint16)
        last = self._buffer.view(np.uint8)[4 * count : 5 * count]
        return words[:count].reshape(shape), words[count : 2 * count].reshape(shape), last.reshape(shape)


def _has_wide_lut(table: NDArray[np.uint16]) -> bool:
    """Whether this OpenCV looks 16-bit values up (5.0 does, 4.x does not)."""
    try:
        return bool((np.asarray(cv2.LUT(np.array([[7, 40000]], np.uint16), table)) == table[[7, 40000]]).all())
    except cv2.error:
        return False
