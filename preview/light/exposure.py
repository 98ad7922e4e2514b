"""From luminance to the picture: one exposure for a whole look, soft highlights, colours brought into gamut, sRGB bytes.

With x = luminance × scale the tone is x up to a shoulder at `KNEE`, then bends towards `WHITE` without reaching it. A pixel keeps its
hue: all three components are scaled alike (after a white balance that follows the room's own light half way), and where one leaves
0–1 the colour moves towards the grey of the same luminance just as far as it must. Bytes come from a table of the sRGB transfer
function, with a fixed pattern of sub-code noise against banding, the same in every frame so that still parts stay still.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from preview.light.colour import Y_OF_RGB, to_srgb
from preview.scene.layout import Floats

__all__ = ["ADAPTED", "Exposure", "Printer", "balance_for", "expose"]

ADAPTED = 0.5
"""How far the picture's white follows the colour of the room's own light: half way, as eyes and cameras in warm light do."""

KNEE = 0.42
WHITE = 0.90

_BAND_PIXELS = 40_000
"""Pixels worked on at a time, so that a band stays in the processor's cache."""

_WORKERS = 2
_WEIGHTS = Y_OF_RGB.astype(np.float32)
_TINY = np.float32(1e-9)
_KNEE, _WHITE, _ROOM, _BEND = (np.float32(value) for value in (KNEE, WHITE, WHITE - KNEE, 1 / (WHITE - KNEE)))

Pixels = NDArray[np.float32]


@dataclass(frozen=True)
class Exposure:
    """`scale` in 1/(cd/m²): the luminance 1/scale would be display white if there were no shoulder.

    `balance` is a gain on each linear sRGB component that leaves the luminance of the balanced white alone.
    """

    scale: float
    balance: tuple[float, float, float] = (1.0, 1.0, 1.0)

    def brighter(self, stops: float) -> Exposure:
        """The same, so many stops brighter (negative: darker)."""
        return Exposure(self.scale * 2.0**stops, self.balance)


def balance_for(white: Floats, adapted: float = ADAPTED) -> tuple[float, float, float]:
    """Gains that bring a light `white` (3,), linear sRGB with Y = 1, the share `adapted` of the way to display white."""
    gain = np.maximum(white, 0.05) ** -adapted
    gain /= float(Y_OF_RGB @ (gain * white))
    return float(gain[0]), float(gain[1]), float(gain[2])


def expose(luminance: Floats, balance: tuple[float, float, float] = (1.0, 1.0, 1.0)) -> Exposure:
    """One exposure for luminances (…,) in cd/m², sampled over all frames of a look.

    The geometric mean of the picture comes to a tenth of display white in a dim room and to a quarter in a lit one, as the eye and a
    photographer would have it; but never so high that more than a twentieth of the picture goes past the shoulder's middle.
    """
    values = np.maximum(np.asarray(luminance, dtype=np.float64).ravel(), 0.0)
    if not len(values) or values.max() <= 0:
        return Exposure(1.0, balance)
    bright = float(np.percentile(values, 95))
    middle = float(np.exp(np.mean(np.log(values + 1e-4 * values.max()))))
    wanted = float(np.interp(np.log10(middle), [-0.3, 1.5], [0.085, 0.25]))
    return Exposure(float(min(0.60 / max(bright, 1e-9), wanted / max(middle, 1e-9))), balance)


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
    """Turns luminance of one picture size into bytes. Holds tables and buffers; not to be shared between threads."""

    def __init__(self, size: tuple[int, int]) -> None:
        width, height = size
        tile = _dither()
        self._noise = np.tile(tile, (-(-height // 128), -(-width // 128)))[:height, :width].copy()
        signal = to_srgb(np.arange(65536) / 65535)
        # 255 codes × 256 levels between them; the noise lifts to the next code with the right chance.
        self._table = np.minimum(np.rint(signal * 255 * 256), 255 * 256).astype(np.uint16)
        self._wide_lut = _has_wide_lut(self._table)
        band = max(8, min(height, _BAND_PIXELS // width))
        self._bands = tuple(slice(top, min(top + band, height)) for top in range(0, height, band))
        self._scratch = tuple(_Scratch(band, width) for _ in range(_WORKERS))
        self._pool = ThreadPoolExecutor(_WORKERS) if len(self._bands) > 1 else None

    def print(self, rgb: Pixels, exposure: Exposure, out: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """sRGB bytes (h, w, 3) of luminance `rgb` (h, w, 3), linear sRGB in cd/m², into `out`."""
        gain = (np.asarray(exposure.balance) * exposure.scale).astype(np.float32)

        def share(worker: int) -> None:
            for rows in self._bands[worker::_WORKERS]:
                self._band(rgb[rows], gain, self._noise[rows], out[rows], self._scratch[worker])

        if self._pool is None:
            share(0)
        else:
            list(self._pool.map(share, range(_WORKERS)))
        return out

    def _band(
        self, rgb: Pixels, gain: Pixels, noise: NDArray[np.uint16], out: NDArray[np.uint8], scratch: _Scratch
    ) -> None:
        rows = rgb.shape[0]
        red, green, blue = planes = scratch.planes[:, :rows]
        y, tone, one, two = scratch.single[:, :rows]
        cv2.split(rgb, [red, green, blue])
        for plane, factor in zip(planes, gain, strict=True):
            np.multiply(plane, factor, out=plane)
        np.multiply(red, _WEIGHTS[0], out=y)
        y += np.multiply(green, _WEIGHTS[1], out=one)
        y += np.multiply(blue, _WEIGHTS[2], out=one)
        np.maximum(y, _TINY, out=y)
        if y.max() > KNEE:
            np.subtract(_KNEE, y, out=one)
            np.minimum(one, 0, out=one)
            one *= _BEND
            np.exp(one, out=tone)
            tone *= -_ROOM
            tone += _WHITE
            np.minimum(y, _KNEE, out=one)
            tone += one
            tone -= _KNEE
            np.divide(tone, y, out=one)
            for plane in planes:
                plane *= one
        else:
            tone = y
        np.maximum(np.maximum(red, green, out=one), blue, out=one)
        np.minimum(np.minimum(red, green, out=two), blue, out=two)
        if one.max() > 1 or two.min() < 0:
            one -= tone
            np.maximum(one, _TINY, out=one)
            np.subtract(tone, two, out=two)
            np.maximum(two, _TINY, out=two)
            np.divide(tone, two, out=two)
            room = np.subtract(1, tone, out=y) if tone is not y else np.subtract(1, tone)
            np.divide(room, one, out=one)
            np.minimum(one, two, out=one)
            np.minimum(one, 1, out=one)
            for plane in planes:
                plane -= tone
                plane *= one
                plane += tone
            np.clip(planes, 0, 1, out=planes)
        np.multiply(planes, np.float32(65535), out=scratch.index[:, :rows], casting="unsafe")
        codes = self._encode(scratch.index[:, :rows])
        codes += noise
        codes >>= 8
        np.copyto(scratch.bytes[:, :rows], codes, casting="unsafe")
        cv2.merge(list(scratch.bytes[:, :rows]), out)

    def _encode(self, index: NDArray[np.uint16]) -> NDArray[np.uint16]:
        if self._wide_lut:
            flat = index.reshape(-1, index.shape[-1])
            return np.asarray(cv2.LUT(flat, self._table), dtype=np.uint16).reshape(index.shape)
        return np.asarray(self._table[index], dtype=np.uint16)


class _Scratch:
    """Working space of one thread for one band."""

    def __init__(self, rows: int, width: int) -> None:
        self.planes = np.empty((3, rows, width), np.float32)
        self.single = np.empty((4, rows, width), np.float32)
        self.index = np.empty((3, rows, width), np.uint16)
        self.bytes = np.empty((3, rows, width), np.uint8)


def _has_wide_lut(table: NDArray[np.uint16]) -> bool:
    """Whether this OpenCV looks 16-bit values up (5.0 does, 4.x does not)."""
    try:
        return bool((np.asarray(cv2.LUT(np.array([[7, 40000]], np.uint16), table)) == table[[7, 40000]]).all())
    except cv2.error:
        return False
