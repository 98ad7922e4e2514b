"""From luminance to the picture: one exposure for a whole look, soft highlights, colours brought into gamut, sRGB bytes.

With x = luminance × scale the tone is x up to a shoulder at `KNEE`, then bends towards `WHITE` without reaching it. A pixel keeps its
hue: all three components are scaled alike, and where one leaves 0–1 the colour moves towards the grey of the same luminance just as
far as it must. Bytes come from a table of the sRGB transfer function, with a fixed pattern of sub-code noise against banding, the
same in every frame so that still parts stay still.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from preview.light.colour import Y_OF_RGB, to_srgb
from preview.scene.layout import Floats

__all__ = ["Exposure", "Printer", "expose"]

KNEE = 0.42
WHITE = 0.90

_BAND = 24
"""Rows worked on at a time, so that a band stays in the processor's cache."""


@dataclass(frozen=True)
class Exposure:
    """`scale` in 1/(cd/m²): the luminance 1/scale would be display white if there were no shoulder."""

    scale: float

    def brighter(self, stops: float) -> Exposure:
        """The same, so many stops brighter (negative: darker)."""
        return Exposure(self.scale * 2.0**stops)


def expose(luminance: Floats) -> Exposure:
    """One exposure for luminances (…,) in cd/m², sampled over all frames of a look.

    The brightest twentieth of the picture begins at half of display white, as in a photograph that is exposed for the glow; a
    picture that is nearly even is not lifted above a middle grey.
    """
    values = np.maximum(np.asarray(luminance, dtype=np.float64).ravel(), 0.0)
    if not len(values) or values.max() <= 0:
        return Exposure(1.0)
    bright = float(np.percentile(values, 95))
    middle = float(np.exp(np.mean(np.log(values + 1e-4 * values.max()))))
    return Exposure(float(min(0.62 / max(bright, 1e-9), 0.24 / max(middle, 1e-9))))


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
        self._weights = Y_OF_RGB.astype(np.float32)

    def print(self, rgb: NDArray[np.float32], exposure: Exposure, out: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """sRGB bytes (h, w, 3) of luminance `rgb` (h, w, 3), linear sRGB in cd/m², into `out`."""
        height = rgb.shape[0]
        for top in range(0, height, _BAND):
            rows = slice(top, min(top + _BAND, height))
            self._band(rgb[rows], np.float32(exposure.scale), self._noise[rows], out[rows])
        return out

    def _band(
        self, rgb: NDArray[np.float32], scale: np.float32, noise: NDArray[np.uint16], out: NDArray[np.uint8]
    ) -> None:
        planes = np.stack(cv2.split(rgb))
        planes *= scale
        y = np.tensordot(self._weights, planes, axes=1)
        np.maximum(y, np.float32(1e-9), out=y)
        bent = (np.float32(KNEE) - y) * np.float32(1 / (WHITE - KNEE))
        np.minimum(bent, np.float32(0), out=bent)
        tone = np.float32(WHITE) - np.float32(WHITE - KNEE) * np.exp(bent)
        np.minimum(y, tone, out=tone)
        tone[y < KNEE] = y[y < KNEE]
        planes *= tone / y
        most = np.maximum(np.maximum(planes[0], planes[1]), planes[2])
        least = np.minimum(np.minimum(planes[0], planes[1]), planes[2])
        tiny = np.float32(1e-6)
        keep = np.minimum((1 - tone) / np.maximum(most - tone, tiny), tone / np.maximum(tone - least, tiny))
        np.minimum(keep, np.float32(1), out=keep)
        planes -= tone
        planes *= keep
        planes += tone
        np.clip(planes, 0, 1, out=planes)
        planes *= np.float32(65535)
        codes = self._encode(planes.astype(np.uint16))
        codes += noise
        codes >>= 8
        cv2.merge(list(codes.astype(np.uint8)), dst=out)

    def _encode(self, index: NDArray[np.uint16]) -> NDArray[np.uint16]:
        if self._wide_lut:
            return np.asarray(cv2.LUT(index.reshape(-1, index.shape[-1]), self._table)).reshape(index.shape)
        return self._table[index]


def _has_wide_lut(table: NDArray[np.uint16]) -> bool:
    """Whether this OpenCV looks 16-bit values up (5.0 does, 4.x does not)."""
    try:
        return bool((np.asarray(cv2.LUT(np.array([[7, 40000]], np.uint16), table)) == table[[7, 40000]]).all())
    except cv2.error:
        return False
