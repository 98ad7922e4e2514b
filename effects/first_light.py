"""Dawn: an ember red glow begins at the far end of the room, creeps outward from there, and behind it turns orange, gold and white."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from effects import kit

MOOD = "warm"

DIALS = (
    kit.Dial("rise_s", "s", 2, 3600, 7, "how long one place takes from dark to day"),
    kit.Dial("spread_m_per_s", "m/s", 0.001, 20, 0.5, "how fast the dawn spreads through the room"),
    kit.kelvin_dial("from_k", 1000, "the first glow"),
    kit.kelvin_dial("to_k", 4000, "the day"),
    kit.part_dial("start_part", 0.2, "where along the back it begins: 0 the left wall of the room, 1 the right"),
    kit.Dial("hold_s", "s", 0, 3600, 4, "how long the day lasts, where it ends"),
    kit.Dial("fall_s", "s", 0, 3600, 0, "how long dusk takes, after which dawn comes again; 0: the day stays"),
)


def period_s(dials: Mapping[str, float]) -> float | None:
    """One day, where it ends."""
    return dials["rise_s"] + dials["hold_s"] + dials["fall_s"] if dials["fall_s"] > 0 else None


def light(place: kit.Place, time_s: kit.Floats, dials: Mapping[str, float], seed: int) -> kit.Floats:
    """Each place runs through the same day, later the farther it lies from where dawn begins."""
    x, y, z = place.room_m.T
    away_m = np.hypot(np.hypot(x - dials["start_part"] * place.room_size_m[0], y.max() - y), z - z.min())
    local_s = kit.columns(time_s) - (away_m - away_m.min()) / dials["spread_m_per_s"]
    rise_s, hold_s, fall_s = dials["rise_s"], dials["hold_s"], dials["fall_s"]
    if fall_s > 0:
        local_s = np.mod(local_s, rise_s + hold_s + fall_s)
        day = kit.ease(local_s / rise_s) * (1.0 - kit.ease((local_s - rise_s - hold_s) / fall_s))
    else:
        day = kit.ease(local_s / rise_s)
    # Equal steps of 1/T are about equal steps of colour to the eye. The square: it stays red while it brightens, and whitens late.
    kelvin = 1.0 / kit.mix(1.0 / dials["from_k"], 1.0 / dials["to_k"], day * day)
    return kit.paint((kit.felt(day), kit.white(place, kelvin)))
