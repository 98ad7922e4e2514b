"""One even light everywhere, standing still: a white from candle to daylight, or a colour."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from effects import kit

MOOD = "working light"

DIALS = (
    kit.kelvin_dial("kelvin", 2700, "the white"),
    kit.Dial("hue_deg", "deg", 0, 360, 30, "direction from that white: 0 red, 90 yellow-green, 180 cyan, 270 blue"),
    kit.part_dial("purity", 0, "how far towards that hue: 0 white, 1 the purest the strip has"),
    kit.part_dial("light", 1, "part of the strip's full light"),
)


def period_s(dials: Mapping[str, float]) -> float | None:
    """It stands still."""
    return 0.0


def light(place: kit.Place, time_s: kit.Floats, dials: Mapping[str, float], seed: int) -> kit.Floats:
    """The same colour at every place and time."""
    colour = kit.tint(place, dials["hue_deg"], dials["purity"], dials["kelvin"])
    return np.broadcast_to(dials["light"] * colour, (time_s.shape[0], place.groups, 3)).copy()
