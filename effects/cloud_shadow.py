"""A bright day with small clouds: clear working light, and now and then a soft, cool shadow sliding across."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from effects import kit

MOOD = "working light"

DIALS = (
    kit.Dial(
        "wind_m_per_s", "m/s", -2, 2, 0.26, "how fast the clouds pass, along the back wall and slantwise into the room"
    ),
    kit.Dial("cloud_m", "m", 0.5, 20, 2.2, "length of a cloud"),
    kit.part_dial("cover", 0.46, "how much of the sky is cloud"),
    kit.part_dial("shade", 0.74, "how much darker a shadow is felt"),
    kit.kelvin_dial("sun_k", 3500, "the sunlight"),
    kit.kelvin_dial("sky_k", 7000, "the shadows"),
    kit.loop_dial(),
)

period_s = kit.loop_period


def light(place: kit.Place, time_s: kit.Floats, dials: Mapping[str, float], seed: int) -> kit.Floats:
    """Two sizes of cloud in the plan of the room, carried by the wind."""
    t = kit.columns(time_s)
    loop = kit.seamless(dials["loop_s"])
    wind, size = dials["wind_m_per_s"], dials["cloud_m"]
    # Slantwise, so that a shadow slides along runs into the room too, and is not at all heights at once.
    x = place.room_m[:, 0] - 0.6 * place.room_m[:, 1] + 0.4 * place.room_m[:, 2]
    y = place.room_m[:, 1] / size
    large = kit.noise(seed, y, loop.travel(x, t, wind, size), loop.clock(t, 12.0))
    small = kit.noise(seed + 1, y, loop.travel(x, t, wind, 0.45 * size), loop.clock(t, 8.0))
    small = 0.35 * kit.gentle(wind / (0.45 * size)) * small
    thick = 0.5 + 0.5 * np.clip(kit.gentle(wind / size) * large + small, -1.0, 1.0)
    cloud = kit.ease((thick - (0.92 - 0.92 * dials["cover"])) / 0.42)
    amount = kit.felt(1.0 - dials["shade"] * cloud)
    sun, sky = kit.white(place, dials["sun_k"]), kit.white(place, dials["sky_k"])
    return kit.paint((amount * (1.0 - cloud), sun), (amount * cloud, sky))
