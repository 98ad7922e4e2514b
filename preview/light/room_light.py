"""The colour of the room's own light when it is not as bright as the plan says: lamps as far as lamps go, daylight beyond.

A plan gives its own light as lux and kelvin. Where a picture is asked for in another light, so many lux come from something: up to what
lamps give in a home it is the plan's lamps turned up or down; what people call daylight comes through windows. From
the one to the other, over a threefold rise, the reciprocal of the colour temperature goes evenly with the logarithm of the lux.

Leaves out: direction. The room's own light is even, whether of lamps or windows.
"""

from __future__ import annotations

import math

from preview.scene.model import Room

__all__ = ["DAYLIGHT_K", "DAYLIGHT_LUX", "LAMPS_LUX", "ambient_kelvin"]

LAMPS_LUX = 100.0
"""As much as lamps give in a home; common practice, no source."""

DAYLIGHT_LUX = 300.0
"""A room by a window by day; common practice, no source."""

DAYLIGHT_K = 6500.0
"""Daylight as the display's own white has it: CIE standard illuminant D65, at 6504 K."""


def ambient_kelvin(room: Room, lux: float) -> float:
    """Colour temperature in kelvin of the room's own light at `lux`.

    The plan's own up to the lux that the plan says, and wherever the plan's is cooler than daylight.

    >>> shop = Room(size_m=(4, 3, 2.5), ambient_lux=4, ambient_k=2700)
    >>> [round(ambient_kelvin(shop, lux)) for lux in (0.5, 4, 60, 173.2, 300, 900)]
    [2700, 2700, 2700, 3815, 6500, 6500]
    """
    planned = float(room.ambient_k)
    lamps = max(LAMPS_LUX, float(room.ambient_lux))
    if lux <= lamps or planned >= DAYLIGHT_K:
        return planned
    share = min(math.log(lux / lamps) / math.log(DAYLIGHT_LUX / LAMPS_LUX), 1.0)
    return 1.0 / ((1.0 - share) / planned + share / DAYLIGHT_K)
