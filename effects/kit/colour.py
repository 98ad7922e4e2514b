"""Colours as drives of the strip's own red, green and blue, mixed in linear light.

Every colour is given as the brightest drive of its chromaticity: its largest component is 1. A chromaticity that
the strip cannot give is brought in by leaving out what would be negative.

Planckian locus: the rational approximation of M. Krystek, Color Research & Application 10 (1985) 38–40, within
about 1.2e-4 in CIE 1960 uv from 1000 to 15000 K.
"""

from __future__ import annotations

import numpy as np

from effects.kit.place import Floats, Number, Place

__all__ = ["from_uv", "locus_uv", "mix", "paint", "tint", "white"]


_KEPT = 64
"""Tints that a place keeps: a look asks for the same few in every frame, and working them out would be a third of its time."""


def locus_uv(kelvin: Number) -> tuple[Floats, Floats]:
    """CIE 1976 u', v' of a black body at 1000 to 15000 K (held at those ends); same shape as `kelvin`."""
    t = np.clip(np.asarray(kelvin, dtype=np.float64), 1000.0, 15000.0)
    u = (0.860117757 + t * (1.54118254e-4 + 1.28641212e-7 * t)) / (1.0 + t * (8.42420235e-4 + 7.08145163e-7 * t))
    v = (0.317398726 + t * (4.22806245e-5 + 4.20481691e-8 * t)) / (1.0 + t * (1.61456053e-7 * t - 2.89741816e-5))
    return u, np.asarray(1.5 * v, dtype=np.float64)


def _parts(place: Place, u: Floats, v: Floats) -> list[Floats]:
    """Drives of red, green and blue, each (..., G), up to a common factor, that give u', v' (..., G)."""
    back = place.drives_of_xyz
    x, y, z = 2.25 * u, v, 3.0 - 0.75 * u - 5.0 * v
    return [x * back[:, 0, c] + y * back[:, 1, c] + z * back[:, 2, c] for c in range(3)]


def from_uv(place: Place, u: Number, v: Number) -> Floats:
    """The brightest drive (..., G, 3) of the chromaticity u', v' (CIE 1976), which broadcast against (G,)."""
    parts = [np.maximum(part, 0.0) for part in _parts(place, np.asarray(u, dtype=float), np.asarray(v, dtype=float))]
    top = np.maximum(np.maximum(parts[0], parts[1]), parts[2])
    return np.stack([part / top for part in parts], axis=-1)


def white(place: Place, kelvin: Number) -> Floats:
    """The brightest drive (..., G, 3) of a black body's colour at `kelvin`: a number, (G,), (F, 1) or (F, G)."""
    return from_uv(place, *locus_uv(kelvin))


def tint(place: Place, hue_deg: float, purity: float, kelvin: float = 6500.0) -> Floats:
    """The brightest drive (G, 3) of a hue: the direction from the white of `kelvin` in the CIE 1976 u'v' diagram.

    0° is towards larger u' (red), 90° towards larger v' (yellow-green), 180° green to cyan, 270° blue, 330° pink.
    `purity` 0 is that white, 1 the edge of what the strip can give.
    """
    if not all(isinstance(number, int | float) for number in (hue_deg, purity, kelvin)):
        return _tint(place, hue_deg, purity, kelvin)
    asked = float(hue_deg), float(purity), float(kelvin)
    found = place.tints.get(asked)
    if found is None:
        if len(place.tints) >= _KEPT:
            place.tints.clear()
        found = place.tints[asked] = _tint(place, *asked)
    return found.copy()


def _tint(place: Place, hue_deg: float, purity: float, kelvin: float) -> Floats:
    u, v = locus_uv(kelvin)
    along_u, along_v = np.cos(np.deg2rad(hue_deg)), np.sin(np.deg2rad(hue_deg))
    at_white = _parts(place, u, v)
    beyond = _parts(place, np.asarray(u + along_u), np.asarray(v + along_v))
    reach = np.full(place.groups, np.inf)
    for here, there in zip(at_white, beyond, strict=True):
        slope = there - here  # exact: a part is a straight line along a straight line of the diagram
        falls = slope < 0
        reach = np.where(falls, np.minimum(reach, np.where(falls, -here / np.where(falls, slope, -1.0), np.inf)), reach)
    reach = np.maximum(reach, 0.0) * purity
    return from_uv(place, u + reach * along_u, v + reach * along_v)


def mix(a: Number, b: Number, part: Number) -> Floats:
    """Linear light between `a` and `b`: `part` 0 gives a, 1 gives b."""
    return np.asarray(np.asarray(a) + np.asarray(part) * (np.asarray(b) - np.asarray(a)), dtype=np.float64)


def paint(*layers: tuple[Floats, Floats]) -> Floats:
    """Sum of layers, each an amount (F, G) and a colour (G, 3) or (F, G, 3): light (F, G, 3). Not held to 0..1."""
    return sum(
        (np.stack([amount * colour[..., c] for c in range(3)], axis=-1) for amount, colour in layers[1:]),
        start=np.stack([layers[0][0] * layers[0][1][..., c] for c in range(3)], axis=-1),
    )
