"""From light maps to the bytes of a picture, band by band on two threads.

With x = luminance × scale the tone is x up to a shoulder at `KNEE`, then bends towards `WHITE` without reaching it. A pixel keeps its
hue: all three components are scaled alike, and where one leaves 0–1 the colour moves towards the grey of the same luminance just as
far as it must. Only pixels with a component outside 0–`KNEE` can need either: where they are few they are taken out, bent and put back.
Bytes come from a table of the sRGB transfer function, with a fixed pattern of sub-code noise against banding, the same in every frame so
that still parts stay still.

A band is small enough to stay in a core's own cache, and below the size from which OpenCV would start threads of its own. The two
threads share the interpreter, which each needs for a moment between two passes: there are as few passes, and as little between them, as
the work allows.
"""

from __future__ import annotations

from collections import deque
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from preview.light.colour import Y_OF_RGB, to_srgb
from preview.light.pixels import Pixels
from preview.scene.layout import Floats, Ints

__all__ = ["FULL", "KNEE", "WHITE", "WORKERS", "Printer", "tone"]

KNEE = 0.42
WHITE = 0.90
WORKERS = 2

FULL = 65535.0
"""Exposed light that is display white: what is printed comes in these units, so that it is its own index into the table."""

_BAND_PIXELS = 90_000
_LINE = 64  # bytes that a core's cache takes at a time
_TILE = 128
_FULL = np.float32(FULL)
_TINY = np.float32(1e-9 * FULL)
_Y = Y_OF_RGB.astype(np.float32)
_FEW = 0.4
"""Share of a band's pixels up to which they are bent by themselves."""

_KNEE, _ROOM, _BEND = (np.float32(value) for value in (KNEE * FULL, (WHITE - KNEE) * FULL, 1 / ((WHITE - KNEE) * FULL)))
_KNEE_BITS = _KNEE.view(np.uint32)

Matrix = NDArray[np.float32]


def tone(luminance: Floats) -> Floats:
    """Display luminance 0 to 0.9 of exposed luminance (…,), in double precision: the curve that pictures are printed with.

    >>> tone(np.array([0.2, 0.42, 1.0])).round(4).tolist()
    [0.2, 0.42, 0.7566]
    """
    over = np.maximum(luminance - KNEE, 0.0)
    return np.asarray(np.minimum(luminance, KNEE) + (WHITE - KNEE) * -np.expm1(-over / (WHITE - KNEE)))


def _dither() -> NDArray[np.uint16]:
    """A tile of evenly spread values 0–255 without low frequencies."""
    size = _TILE
    values = np.random.default_rng(5).random((size, size))
    f = np.fft.fftfreq(size)
    high = 1 - np.exp(-((f[:, None] ** 2 + f[None] ** 2) / (2 * 0.22**2)))
    for _ in range(12):
        values = np.fft.ifft2(np.fft.fft2(values) * high).real
        values = values.ravel().argsort().argsort().reshape(size, size) / size**2
    return np.asarray(values * 256, dtype=np.uint16)


class Printer:
    """Prints pictures of one set of pixels. Holds tables and buffers: one picture at a time.

    Without `looks_up` the cells are the pixels themselves, none of them crossed by anything.
    """

    def __init__(self, pixels: Pixels, veil_rows: int, looks_up: bool = True) -> None:
        self._pixels = pixels
        height, width = pixels.shape
        signal = to_srgb(np.arange(65536) / 65535)
        # 255 codes × 256 levels between them; the noise lifts to the next code with the right chance.
        self._table = np.minimum(np.rint(signal * 255 * 256), 255 * 256).astype(np.uint16)
        self._wide_lut = _has_wide_lut(self._table)
        band = min(height, max(4, _BAND_PIXELS // width))
        edges = [*range(0, height, band), height]
        # Tiles one below another, with as many rows more as a band has, so that every band finds its own in one piece.
        noise = _kept(np.tile(_dither(), (-(-band // _TILE) + 1, -(-width // _TILE)))[: _TILE + band, :width])
        within = np.searchsorted(pixels.crossed, np.asarray(edges) * width)
        rows = np.clip((np.arange(height) + 0.5) * veil_rows / height - 0.5, 0, veil_rows - 1)
        inside = pixels.crossed - np.repeat(np.asarray(edges[:-1]) * width, np.diff(within))
        pattern = _kept(pixels.pattern)
        pattern.ravel()[pixels.crossed] = 1  # their light has it already
        self._bands = []
        for top, end, low, high in zip(edges[:-1], edges[1:], within[:-1], within[1:], strict=True):
            own, part = rows[top:end], slice(top, end)
            first, last = int(own[0]), min(int(own[-1]) + 2, veil_rows)
            between = np.maximum(1 - np.abs(own[:, None] - np.arange(first, last)), 0).astype(np.float32)
            crossed = slice(int(low), int(high))
            self._bands.append(
                _Band(
                    part,
                    (pixels.x[part], pixels.y[part]) if looks_up else None,
                    pattern[part],
                    noise[top % _TILE :][: end - top],
                    crossed,
                    inside[crossed],
                    slice(first, last),
                    between,
                )
            )
        self._scratch = tuple(_Scratch(width) for _ in range(WORKERS))

    def print(
        self, cells: Matrix, crossing: Matrix, veil: Matrix, out: NDArray[np.uint8], pool: Executor
    ) -> NDArray[np.uint8]:
        """sRGB bytes (h, w, 3) into `out`: exposed light, in units of 1/FULL of display white,
        of the cells (height, width, 4), of the crossed pixels (P, 4) and of the veil.
        """
        across, put = self._across(veil), _words(crossing)
        waiting = deque(self._bands)  # each thread takes the next one as soon as it can

        def share(worker: int) -> None:
            while waiting:
                try:
                    band = waiting.popleft()
                except IndexError:  # the other thread was faster
                    return
                desk = self._scratch[worker].desk(len(band.between))
                _light(band, cells, put, across, desk)
                _tone(desk)
                self._bytes(band, desk, out[band.rows])

        list(pool.map(share, range(WORKERS)))
        return out

    def linear(self, cells: Matrix, crossing: Matrix, veil: Matrix) -> Matrix:
        """The same before tone and bytes: light (h, w, 4), the last its luminance."""
        across, put = self._across(veil), _words(crossing)
        out = np.empty((*self._pixels.shape, 4), np.float32)
        for band in self._bands:
            desk = self._scratch[0].desk(len(band.between))
            _light(band, cells, put, across, desk)
            out[band.rows, :, :3] = np.moveaxis(desk.colours, 0, 2)
        np.matmul(out[..., :3], _Y, out=out[..., 3])
        return out

    def _across(self, veil: Matrix) -> Matrix:
        """The veil's rows over the picture's full width, by colour: (3, veil rows, w)."""
        rows, columns, channels = veil.shape
        width = self._pixels.shape[1]
        planes = np.asarray(cv2.transpose(veil.reshape(-1, channels)))[:3].reshape(-1, columns)
        wide = np.asarray(cv2.resize(planes, (width, len(planes)), interpolation=cv2.INTER_LINEAR))
        return wide.reshape(3, rows, width)

    def _bytes(self, band: _Band, desk: _Desk, out: NDArray[np.uint8]) -> None:
        # What rounding leaves outside the table is less than a step of the index, and a cast to whole numbers cuts it off.
        np.copyto(desk.index, desk.colours, casting="unsafe")
        if self._wide_lut:
            cv2.LUT(desk.index_rows, self._table, dst=desk.code_rows)
        else:
            np.take(self._table, desk.index, out=desk.codes, mode="clip")
        np.add(desk.codes, band.noise, out=desk.codes)
        np.right_shift(desk.codes, 8, out=desk.small, casting="unsafe")
        cv2.merge(desk.small_planes, out)


@dataclass(frozen=True)
class _Band:
    """Some rows of the picture and all that belongs to them."""

    rows: slice
    maps: tuple[Matrix, Matrix] | None
    pattern: Matrix
    noise: NDArray[np.uint16]
    crossed: slice  # of the crossed pixels, those in the band
    inside: Ints  # where in the band they are
    veil: slice  # rows of the veil that the band lies between
    between: Matrix  # (rows, veil rows) their weights


class _Desk:
    """Working space for so many rows: four planes, and a buffer that serves one purpose after another.

    The less memory a band touches, the more of it stays in the core's cache.
    """

    def __init__(self, rows: int, width: int) -> None:
        count = rows * width
        self.planes = _room((4, rows, width), np.float32)
        self.flat = self.planes.reshape(4, -1)
        self.colours = self.planes[:3]
        words = self.planes.view(np.uint32)
        self.bits, self.most_bits = words[:3], words[3]
        self.outside = np.empty((rows, width), bool)
        buffer = _room((4 * count,), np.float32)
        self.looked = buffer.reshape(rows, width, 4)
        self.looked_flat = buffer.reshape(-1, 4)
        self.looked_words = buffer.view(np.complex128)
        self.more = buffer.reshape(4, rows, width)[:3]
        halves = buffer.view(np.uint16)
        self.index = halves[: 3 * count].reshape(3, rows, width)
        self.codes = halves[3 * count : 6 * count].reshape(3, rows, width)
        self.index_rows, self.code_rows = self.index.reshape(-1, width), self.codes.reshape(-1, width)
        self.small = buffer.view(np.uint8)[12 * count : 15 * count].reshape(3, rows, width)
        self.small_planes = list(self.small)


class _Scratch:
    """The desks of one thread."""

    def __init__(self, width: int) -> None:
        self._width = width
        self._desks: dict[int, _Desk] = {}

    def desk(self, rows: int) -> _Desk:
        """A desk for so many rows; there are two, as the last band has its own height."""
        if rows not in self._desks:
            self._desks[rows] = _Desk(rows, self._width)
        return self._desks[rows]


def _room(shape: tuple[int, ...], kind: type[np.generic]) -> NDArray[Any]:
    """Room for an array that begins where a line of the cache does: numpy's own begin wherever there is place, and are slower for it."""
    size = int(np.prod(shape)) * np.dtype(kind).itemsize
    raw = np.empty(size + _LINE, np.uint8)
    begin = -raw.ctypes.data % _LINE
    return raw[begin : begin + size].view(kind).reshape(shape)


def _kept(values: NDArray[Any]) -> NDArray[Any]:
    """A copy in such a room."""
    out = _room(values.shape, values.dtype.type)
    out[:] = values
    return out


def _words(pixels: Matrix) -> NDArray[np.complex128]:
    """Pixels (P, 4) as one word of 16 bytes each, which are moved at once."""
    return np.ascontiguousarray(pixels).view(np.complex128).ravel()


def _light(band: _Band, cells: Matrix, put: NDArray[np.complex128], across: Matrix, desk: _Desk) -> None:
    """Light of one band by colour, into the desk's planes; the fourth is left idle."""
    if band.maps is None:
        cv2.transpose(cells[band.rows].reshape(-1, 4), dst=desk.flat)
    else:
        cv2.remap(cells, *band.maps, cv2.INTER_LINEAR, dst=desk.looked)
        if len(band.inside):
            desk.looked_words[band.inside] = put[band.crossed]
        cv2.transpose(desk.looked_flat, dst=desk.flat)
        np.multiply(desk.colours, band.pattern, out=desk.colours)
    np.matmul(band.between, across[:, band.veil], out=desk.more)
    np.add(desk.colours, desk.more, out=desk.colours)


def _tone(desk: _Desk) -> None:
    """Bend the highlights and bring colours into gamut, in the desk's planes."""
    # The bits of a float, read as a whole number, are in the order of the floats, and those of negative ones above all others: one
    # comparison finds what is too bright and what is below 0.
    np.greater(np.maximum.reduce(desk.bits, axis=0, out=desk.most_bits), _KNEE_BITS, out=desk.outside)
    found = np.flatnonzero(desk.outside)
    colours = desk.flat[:3]
    if len(found) > _FEW * desk.outside.size:
        _bend(colours)
    elif len(found):
        some = colours.take(found, axis=1)
        _bend(some)
        for own, bent in zip(colours, some, strict=True):
            own[found] = bent


def _bend(colours: Matrix) -> None:
    """Tone and gamut of exposed colours (3, N), in place."""
    y = np.maximum(_Y @ colours, _TINY)
    most, least = np.maximum.reduce(colours), np.minimum.reduce(colours)
    factor = _KNEE - y
    np.minimum(factor, 0, out=factor)
    factor *= _BEND
    np.exp(factor, out=factor)
    np.subtract(1, factor, out=factor)
    factor *= _ROOM
    tone = np.minimum(y, _KNEE)
    tone += factor
    np.divide(tone, y, out=factor)
    # How many times too far from grey the colour is: above by its brightest component, below by its darkest one.
    most *= factor
    if most.max() <= _FULL and least.min() >= 0:
        colours *= factor
        return
    most -= tone
    most /= _FULL - tone
    least /= y
    np.subtract(1, least, out=least)
    np.maximum(most, least, out=most)
    np.maximum(most, 1, out=most)
    # Colour times `factor` is toned; towards grey it is (toned − tone)/most + tone.
    factor /= most
    colours *= factor
    tone -= np.divide(tone, most, out=least)
    colours += tone


def _has_wide_lut(table: NDArray[np.uint16]) -> bool:
    """Whether this OpenCV looks 16-bit values up (5.0 does, 4.x does not)."""
    try:
        return bool((np.asarray(cv2.LUT(np.array([[7, 40000]], np.uint16), table)) == table[[7, 40000]]).all())
    except cv2.error:
        return False
