"""Luminance along a cover from the LEDs behind it.

An LED `depth` behind the cover lights it along its middle as 1/(1 + (x/h)²)² (a Lambertian source on a parallel plane, cos⁴); the
cover blurs that with a Gaussian of `spread`. A clear cover scatters nothing and a bare strip has no cover: there the LEDs themselves
are seen, as bright as their size makes them.

Leaves out: light that the channel's white walls send back, which evens a deep channel further.
"""

from __future__ import annotations

import numpy as np
from scipy import sparse

from preview.light.emission import BARE_WIDTH_M
from preview.scene.layout import Floats

__all__ = ["COVER_REFLECTANCE", "face_pattern", "led_profile", "settled"]

COVER_REFLECTANCE = 0.45
"""Reflectance of an unlit cover. Common practice, no source."""

_STEP_M = 0.0001
_LOST_PX, _KEPT_PX = 2.0, 3.5  # pitches in pixels at which dots are an even line, and at which they are all there


def led_profile(depth_m: float, spread_m: float) -> tuple[Floats, Floats]:
    """Places x in metres and the running integral from −∞ to x of one LED's light along the cover, from 0 to 1.

    `depth_m` 0 gives an LED seen as it is: even over the width of a package.
    """
    if depth_m <= 0:
        half = BARE_WIDTH_M / 2
        return np.array([-half, half]), np.array([0.0, 1.0])
    blurs = spread_m > _STEP_M
    step = max(_STEP_M, min(depth_m, spread_m if blurs else depth_m) / 100)
    steps = int(np.ceil((8 * depth_m + 4 * spread_m) / step))
    x = np.arange(-steps, steps + 1) * step
    light = 1 / (1 + (x / depth_m) ** 2) ** 2
    if blurs:
        half = int(np.ceil(4 * spread_m / step))
        kernel = np.exp(-0.5 * (np.arange(-half, half + 1) * step / spread_m) ** 2)
        # A convolution by way of its spectrum: numpy's, as scipy.signal takes a quarter of a second to import.
        size = 1 << (len(light) + len(kernel) - 1).bit_length()
        whole = np.fft.irfft(np.fft.rfft(light, size) * np.fft.rfft(kernel / kernel.sum(), size), size)
        light = np.maximum(whole[half : half + len(light)], 0.0)
    total = np.concatenate([[0.0], np.cumsum(0.5 * (light[1:] + light[:-1]))])
    return x, total / total[-1]


def face_pattern(
    bins: int, bin_m: float, groups: int, leds_per_group: int, pitch_m: float, depth_m: float, spread_m: float
) -> sparse.csr_array:
    """(bins, groups) share per metre of each group's flux that leaves in each bin of a straight line's cover.

    The line is `bins`·`bin_m` long from the start of its first group. Each group's column adds up to 1/bin_m: light that the
    profile would send past the ends of the line leaves by the rest of it.
    """
    x, running = led_profile(depth_m, spread_m)
    reach = float(x[-1])
    leds = groups * leds_per_group
    place = (np.arange(leds) + 0.5) * pitch_m
    low = np.clip(np.floor((place - reach) / bin_m).astype(np.int64), 0, bins - 1)
    most = int(np.ceil(2 * reach / bin_m)) + 2
    bin_number = low[:, None] + np.arange(most)
    edge = bin_number * bin_m - place[:, None]
    part = np.interp(edge + bin_m, x, running, 0.0, 1.0) - np.interp(edge, x, running, 0.0, 1.0)
    good = (bin_number < bins) & (part > 1e-6)
    led, column = np.nonzero(good)
    matrix = sparse.csr_array(
        (part[led, column], (bin_number[led, column], led // leds_per_group)), shape=(bins, groups)
    )
    matrix.sum_duplicates()
    return _whole(matrix, bin_m)


def settled(pattern: sparse.csr_array, bin_m: float, pitch_px: Floats) -> sparse.csr_array:
    """A face's pattern (bins, groups) as pixels can show it; `pitch_px` (bins,) is the dots' pitch in pixels at each bin.

    Dots finer than two pixels would beat with them in a false pattern: there each group's light lies evenly over its length.
    """
    kept = np.clip((pitch_px - _LOST_PX) / (_KEPT_PX - _LOST_PX), 0.0, 1.0)
    if kept.min(initial=1.0) >= 1:
        return pattern
    bins, groups = pattern.shape
    edge = np.arange(bins + 1) * groups / bins  # in groups
    first = np.minimum(edge[:-1].astype(np.int64), groups - 1)
    last = np.minimum(np.ceil(edge[1:] - 1e-9).astype(np.int64) - 1, groups - 1)
    most = int((last - first).max()) + 1
    group = first[:, None] + np.arange(most)
    part = np.minimum(edge[1:, None], group + 1) - np.maximum(edge[:-1, None], group)
    row, column = np.nonzero((group <= last[:, None]) & (part > 0))
    even = sparse.csr_array((part[row, column], (row, group[row, column])), shape=pattern.shape)
    mixed = sparse.diags_array(kept) @ pattern + sparse.diags_array(1 - kept) @ _whole(even, bin_m)
    return _whole(sparse.csr_array(mixed), bin_m)


def _whole(matrix: sparse.csr_array, bin_m: float) -> sparse.csr_array:
    """The same with columns that add up to 1/bin_m: no light is lost or made."""
    total = np.asarray(matrix.sum(axis=0)).ravel()
    scale = np.divide(1.0, total * bin_m, out=np.zeros_like(total), where=total > 0)
    return sparse.csr_array(matrix @ sparse.diags_array(scale))
