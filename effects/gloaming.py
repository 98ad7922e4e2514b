"""The last half hour of daylight: amber low in the room, rose above it, violet-blue overhead, all slowly drifting."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from effects import kit

MOOD = "calm"

DIALS = (
    kit.Dial("drift_m_per_s", "m/s", -1, 1, 0.10, "how fast the colours drift along the back wall"),
    kit.Dial("bank_m", "m", 0.2, 10, 1.3, "length of a bank of cloud"),
    kit.Dial("change_s", "s", 1, 300, 11, "how long a bank keeps its shape"),
    kit.part_dial("hour", 0.5, "0 the sun is just down: amber; 1 almost night: blue"),
    kit.part_dial("light", 0.9, "part of the strip's full light"),
    kit.loop_dial(),
)


period_s = kit.loop_period


def light(place: kit.Place, time_s: kit.Floats, dials: Mapping[str, float], seed: int) -> kit.Floats:
    """A field of cloud in the room, drifting, looked up in the colours of dusk by height."""
    t = kit.columns(time_s)
    loop = kit.seamless(dials["loop_s"])
    bank = dials["bank_m"]
    wide = place.room_m[:, 0] + place.room_m[:, 1]
    up = place.room_m[:, 2]
    wind = loop.travel(wide, t, dials["drift_m_per_s"], bank)
    clock = loop.clock(t, dials["change_s"])
    keeps = kit.gentle(abs(dials["drift_m_per_s"]) / bank + 1.43 / dials["change_s"])
    cloud = keeps * kit.noise(seed, up / (0.8 * bank), wind, clock)
    veil = keeps * kit.noise(seed + 1, up / bank, wind, loop.clock(t, 0.7 * dials["change_s"]))
    height = up / place.room_size_m[2] - 0.5
    sky = np.clip(0.12 + 0.76 * dials["hour"] + 0.55 * height + 0.42 * cloud, 0.0, 1.0)
    rose_part = kit.ease(sky / 0.45)
    blue_part = kit.ease((sky - 0.42) / 0.58)
    amber, rose, blue = (
        kit.white(place, 1800.0),
        0.75 * kit.tint(place, 2.0, 0.40, 3400.0),
        0.9 * kit.tint(place, 257.0, 0.58),
    )
    amount = dials["light"] * kit.felt(0.74 + 0.26 * veil - 0.14 * blue_part)
    return kit.paint(
        (amount * (1.0 - rose_part), amber),
        (amount * rose_part * (1.0 - blue_part), rose),
        (amount * blue_part, blue),
    )
