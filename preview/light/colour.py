"""Colour of light: tristimulus values of groups, linear sRGB, and the sRGB transfer function.

All light inside this package is kept in linear sRGB primaries with absolute scale: a light of Y lumen (lux, cd/m²) has
0.2126 R + 0.7152 G + 0.0722 B = Y. LED colours lie outside these primaries, so single components may be negative; nothing is
clipped before the picture is exposed.

Source: IEC 61966-2-1 (matrix to four decimals, transfer function), CIE 1931 2° observer.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from preview.scene.layout import Floats, Layout
from preview.scene.white import planckian_xy

__all__ = [
    "RGB_TO_XYZ",
    "XYZ_TO_RGB",
    "Y_OF_RGB",
    "from_srgb",
    "group_xyz",
    "linear_of_finish",
    "nearest_white",
    "rgb_of_xyz",
    "to_srgb",
    "white_rgb",
    "xyz_of_rgb",
]

RGB_TO_XYZ: Floats = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
"""Linear sRGB to CIE 1931 XYZ, as IEC 61966-2-1 prints it."""

XYZ_TO_RGB: Floats = np.linalg.inv(RGB_TO_XYZ)
"""Its inverse, unrounded, so that there and back is the identity."""

Y_OF_RGB: Floats = RGB_TO_XYZ[1]
"""Weights of linear sRGB in luminance."""


def group_xyz(layout: Layout, codes: NDArray[np.uint8] | Floats, g: Floats | float = 1.0) -> Floats:
    """Tristimulus values of each group's light, in lumen: (..., G, 3) from codes 0–255 and `g`, both (..., G, C).

    `g` is the light of each colour over its light at rated current (`preview.power.strip.light_fraction`); 1 is the plan with
    no drop at all. Y is the group's flux in lumen.
    """
    flux = np.asarray(codes, dtype=np.float64) * (1 / 255) * layout.lumen * g
    return np.asarray(np.einsum("...gc,gcx->...gx", flux, layout.xyz_per_lumen))


def rgb_of_xyz(xyz: ArrayLike) -> Floats:
    """Linear sRGB (..., 3), unclipped, of tristimulus values (..., 3) whose white has Y = 1."""
    return np.asarray(np.asarray(xyz, dtype=np.float64) @ XYZ_TO_RGB.T)


def xyz_of_rgb(rgb: ArrayLike) -> Floats:
    """Tristimulus values (..., 3) of linear sRGB (..., 3)."""
    return np.asarray(np.asarray(rgb, dtype=np.float64) @ RGB_TO_XYZ.T)


def to_srgb(linear: ArrayLike) -> Floats:
    """sRGB signal 0–1 of linear light; light outside 0–1 is clipped. IEC 61966-2-1.

    >>> round(float(to_srgb(0.18)), 6)
    0.461356
    """
    light = np.clip(np.asarray(linear, dtype=np.float64), 0.0, 1.0)
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


def from_srgb(signal: ArrayLike) -> Floats:
    """Linear light 0–1 of an sRGB signal 0–1. IEC 61966-2-1.

    >>> round(float(from_srgb(0.5)), 6)
    0.214041
    """
    value = np.asarray(signal, dtype=np.float64)
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def linear_of_finish(finish: str) -> Floats:
    """Diffuse reflectance (3,) in linear sRGB of a finish such as "#8a6f58".

    >>> linear_of_finish("#ffffff").tolist()
    [1.0, 1.0, 1.0]
    """
    return from_srgb(np.array([int(finish[k : k + 2], 16) for k in (1, 3, 5)]) / 255)


def white_rgb(kelvin: float) -> Floats:
    """Linear sRGB (3,) of one lumen of Planckian light of that colour temperature."""
    x, y = planckian_xy(kelvin)
    return rgb_of_xyz([x / y, 1.0, (1 - x - y) / y])


def nearest_white(xyz: ArrayLike) -> tuple[float, float]:
    """Colour temperature in kelvin of the Planckian white nearest to a light (3,), and how far off it is: (1667 to 25000, Duv).

    Distance is that of the CIE 1960 uv diagram, without its sign, to 2 mired. (25000.0, 1.0) for no light at all.

    >>> kelvin, off = nearest_white([1.0985, 1.0, 0.3558])
    >>> round(kelvin, -1), round(off, 3)
    (2860.0, 0.0)
    """
    light = np.asarray(xyz, dtype=np.float64)
    total = float(light @ [1.0, 15.0, 3.0])
    if total <= 0:
        return 25000.0, 1.0
    kelvin = 1e6 / np.arange(40.0, 602.0, 2.0)
    x, y = np.moveaxis(planckian_xy(kelvin), -1, 0)
    under = -2 * x + 12 * y + 3
    off = np.hypot(4 * x / under - 4 * light[0] / total, 6 * y / under - 6 * light[1] / total)
    nearest = int(off.argmin())
    return float(kelvin[nearest]), float(off[nearest])
