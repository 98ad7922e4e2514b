"""The veil of light that an eye or a lens scatters around bright things.

A twentieth of all light is spread: six tenths of it near by, as a Gaussian of 0.8 % of the picture's width, the rest as one of 5 %. It
is worked out on a picture of 160 columns, from four look-ups in each of its pixels and the whole light of the faces in it, and
interpolated; what these steps blur is taken off the Gaussians.

Common practice of photography, no source: the share and the widths are chosen by eye. Leaves out: the streaks and ghosts of a real lens.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from preview.light.pixels import Pixels

__all__ = ["SPREAD", "Glare"]

SPREAD = 0.05
"""Share of the light that is spread around."""

_COLUMNS = 160
_CHANNELS = 4
_STEPS_BLUR = 1 / 12 + 1 / 6
"""Variance in pixels that averaging over pixels (a box) and interpolating between them (a triangle) add."""

_NEAR, _WIDE, _NEAR_SHARE = 0.008, 0.05, 0.6  # of the picture's width
_WIDE_STEP = 4  # the wide part is blurred on a picture that is smaller again by this

Matrix = NDArray[np.float32]


class Glare:
    """The veil over pictures of one size."""

    def __init__(self, pixels: Pixels) -> None:
        height, width = pixels.shape
        columns = min(_COLUMNS, width)
        rows = max(1, round(columns * height / width))
        self.size = columns, rows
        at_y = ((np.arange(2 * rows) + 0.5) * height / (2 * rows)).astype(np.int64)
        at_x = ((np.arange(2 * columns) + 0.5) * width / (2 * columns)).astype(np.int64)
        self._maps = pixels.x[np.ix_(at_y, at_x)], pixels.y[np.ix_(at_y, at_x)]
        pattern = cv2.resize(pixels.pattern, (2 * columns, 2 * rows), interpolation=cv2.INTER_AREA)
        self._pattern = np.repeat(pattern[..., None], _CHANNELS, axis=2)
        row, column = np.divmod(pixels.crossed, width)
        small = row * rows // height * columns + column * columns // width
        share = np.full(len(small), columns * rows / (width * height), np.float32)
        lit = np.diff(pixels.faces.indptr) > 0
        gather = sparse.csr_array((share, (small, np.arange(len(small)))), shape=(columns * rows, len(small)))
        self._cover = np.asarray(gather @ pixels.cover, dtype=np.float32)
        used = np.unique(small[lit | (pixels.cover[:, 0] > 0)])
        self._used = used
        self._faces = sparse.csr_array(gather[used] @ pixels.faces).astype(np.float32)

    def veil(self, cells: Matrix, flux: Matrix, unlit: Matrix) -> Matrix:
        """Light (rows, columns, C) that is spread over the small picture, for what `Pixels.crossing` takes.

        Those are what is left where it fell, 1 − SPREAD of all light; the veil is the rest.
        """
        found = np.asarray(cv2.remap(cells, *self._maps, cv2.INTER_LINEAR))
        found *= self._pattern[..., : found.shape[2]]
        small = np.asarray(cv2.resize(found, self.size, interpolation=cv2.INTER_AREA))
        if len(self._used):
            flat, cover = small.reshape(-1, small.shape[-1]), self._cover[self._used]
            flat[self._used] = flat[self._used] * (1 - cover) + self._faces @ flux + cover * unlit
        return self._spread(small)

    def _spread(self, small: Matrix) -> Matrix:
        columns, rows = self.size
        near = cv2.GaussianBlur(small, (0, 0), _left(columns * _NEAR))
        tiny = cv2.resize(
            small, (max(1, columns // _WIDE_STEP), max(1, rows // _WIDE_STEP)), interpolation=cv2.INTER_AREA
        )
        wide = cv2.resize(cv2.GaussianBlur(tiny, (0, 0), _left(tiny.shape[1] * _WIDE)), self.size)
        share = SPREAD / (1 - SPREAD)
        return np.asarray(cv2.addWeighted(near, share * _NEAR_SHARE, wide, share * (1 - _NEAR_SHARE), 0))


def _left(deviation: float) -> float:
    """Standard deviation in pixels that is left to do once the steps have blurred."""
    return float(np.sqrt(max(deviation**2 - _STEPS_BLUR, 0.04)))
