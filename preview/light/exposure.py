"""One exposure for a whole look: how bright a picture makes a luminance, and which light it takes for white.

The white balance follows what lights the room two thirds of the way, as far as that is white at all. What becomes of exposed light is
told in `preview.light.printing`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from preview.light.colour import Y_OF_RGB, nearest_white, white_rgb, xyz_of_rgb
from preview.scene.layout import Floats

__all__ = ["ADAPTED", "MIDDLE_GREY", "Exposure", "balance_for", "balance_in", "expose"]

ADAPTED = 0.68
"""How far the picture's white follows the colour of white light in the room.

CIECAM02 (CIE 159:2004) gives an eye in dark surroundings 0.66 at 1 cd/m² and 0.69 at 20: a third of the lamps' warmth is left.
"""

_WARMEST_K = 2700.0
"""Light warmer than any lamp sold as white is balanced as that lamp is: an ember stays an ember. Common practice, no source."""

_DAYLIGHT_K, _FULLY_MIRED = 6504.0, 96.0
"""The display's own white, and how far from it light is balanced in full: from 4000 K down. Common practice of photography, no source."""

_WHITE_WITHIN = 0.012
"""Distance from the Planckian locus, in CIE 1960 uv, at which light counts as white to a third; lamps sold as white keep within 0.006."""

MIDDLE_GREY = 0.18
"""Share of display white that a middle grey gives. Common practice of photography: the grey card of 18 %."""

_DIM, _LIT = 0.125, 0.27
"""Share of display white that the picture's geometric mean gives at 0.5 and at 30 cd/m². Common practice of photography, no source."""

_BRIGHT = 0.75
"""Exposed luminance that a twentieth of the picture may pass: the shoulder prints it at two thirds of white, where loss still shows."""

_BRIGHTEST, _GIVES_WAY = 1.1, 5 / 6
"""Exposed luminance that a fiftieth of it had better not pass, beyond which the shoulder leaves little of a colour; and what is done for
that at most. A strip that is seen itself is brighter by far and does not darken its room."""


@dataclass(frozen=True)
class Exposure:
    """`scale` in 1/(cd/m²): the luminance 1/scale would be display white if there were no shoulder.

    `balance` is a gain on each linear sRGB component that leaves the luminance of the balanced white alone.
    """

    scale: float
    balance: tuple[float, float, float] = (1.0, 1.0, 1.0)

    @staticmethod
    def of_grey(cd_m2: float, balance: tuple[float, float, float] = (1.0, 1.0, 1.0)) -> Exposure:
        """The exposure under which a luminance of `cd_m2`, more than 0, becomes middle grey (sRGB code 118).

        A candle-lit room asks for about 1 cd/m², a lit one for 10 to 30. Raises ValueError where it is not a positive number.

        >>> Exposure.of_grey(3.0).scale
        0.06
        """
        if not (cd_m2 > 0 and math.isfinite(cd_m2)):
            raise ValueError(f"expected a luminance of more than 0 cd/m², found {cd_m2:g}")
        return Exposure(MIDDLE_GREY / cd_m2, balance)

    @property
    def grey_cd_m2(self) -> float:
        """The luminance in cd/m² that becomes middle grey."""
        return MIDDLE_GREY / self.scale

    def brighter(self, stops: float) -> Exposure:
        """The same, so many stops brighter (negative: darker)."""
        return Exposure(self.scale * 2.0**stops, self.balance)


def balance_for(white: Floats, adapted: float = ADAPTED) -> tuple[float, float, float]:
    """Gains that bring a light `white` (3,), linear sRGB with Y = 1, the share `adapted` of the way to display white.

    The form is that of CIECAM02's adaptation, D/w + 1 − D, on the display's primaries in place of its sharpened cone responses.
    """
    gain = adapted / np.maximum(white, 0.05) + 1 - adapted
    gain /= float(Y_OF_RGB @ (gain * white))
    return float(gain[0]), float(gain[1]), float(gain[2])


def balance_in(light: Floats) -> tuple[float, float, float]:
    """Gains for a room that on average is lit by `light` (3,), linear sRGB of any scale: its own light and the strips' together.

    Eyes take the light of a room for white as far as it looks like the light of some lamp. So the gains are those of the Planckian white
    nearest to it, weakened by exp(−(Duv/0.012)²): coloured light is shown as it is, and so is what turns a sagging white pink. Light near
    the display's own white is shown as it is too: by day a few lamps do not turn the picture blue.
    """
    kelvin, off = nearest_white(xyz_of_rgb(light))
    far = min(abs(1e6 / kelvin - 1e6 / _DAYLIGHT_K) / _FULLY_MIRED, 1.0)
    share = ADAPTED * far * far * (3 - 2 * far) * math.exp(-((off / _WHITE_WITHIN) ** 2))
    return balance_for(white_rgb(max(kelvin, _WARMEST_K)), share)


def expose(luminance: Floats, balance: tuple[float, float, float] = (1.0, 1.0, 1.0)) -> Exposure:
    """One exposure for luminances (…,) in cd/m², sampled over all frames of a look.

    The geometric mean of the picture comes to an eighth of display white in a dim room and to a quarter in a lit one, as the eye and a
    photographer would have it; but never so high that more than a twentieth of the picture goes far up the shoulder; and it gives way
    by up to a sixth where more than a fiftieth would go where colours pale. Places without any light, such as those beside a photo, do not
    count.
    """
    values = np.asarray(luminance, dtype=np.float64).ravel()
    values = values[values > 0]
    if not len(values):
        return Exposure(1.0, balance)
    bright, brightest = (float(value) for value in np.percentile(values, [95, 98]))
    middle = float(np.exp(np.mean(np.log(values + 1e-4 * values.max()))))
    wanted = float(np.interp(np.log10(middle), [-0.3, 1.5], [_DIM, _LIT]))
    scale = min(_BRIGHT / max(bright, 1e-9), wanted / max(middle, 1e-9))
    scale *= float(np.clip(_BRIGHTEST / max(brightest * scale, 1e-9), _GIVES_WAY, 1.0))
    return Exposure(scale, balance)
