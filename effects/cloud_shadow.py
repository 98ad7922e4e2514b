"""A bright day with small clouds: clear working light, and now and then a soft, slightly cooler shadow passing through."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from effects import kit

MOOD = "working light"

DIALS = (
    kit.Dial("wind_m_per_s", "m/s", -3, 3, 0.22, "how fast the clouds pass, along the back wall"),
    kit.Dial("cloud_m", "m", 0.3, 20, 1.8, "length of a cloud"),
    kit.Dial("cover", "", 0, 1, 0.45, "how much of the sky is cloud"),
    kit.Dial("shade", "", 0, 1, 0.55, "how much darker a shadow is felt"),
    kit.Dial("sun_k", "K", 1000, 15000, 4000, "colour temperature of the sunlight"),
    kit.Dial("sky_k", "K", 1000, 15000, 7000, "colour temperature of the shadows"),
    kit.Dial("loop_s", "s", 0, 600, 0, "seconds after which it repeats; 0: never"),
)


def period_s(dials: Mapping[str, float]) -> float | None:
    """It repeats only when asked to."""
    return dials["loop_s"] or None


def light(place: kit.Place, time_s: kit.Floats, dials: Mapping[str, float], seed: int) -> kit.Floats:
    """Two sizes of cloud in the plan of the room, carried by the wind."""
    t = kit.columns(time_s)
    loop = kit.seamless(dials["loop_s"])
    wind, size = dials["wind_m_per_s"], dials["cloud_m"]
    x = place.room_m[:, 0] + 0.4 * place.room_m[:, 2]
    y = place.room_m[:, 1] / size
    large = kit.noise(seed, y, loop.travel(x, t, wind, size), loop.clock(t, 12.0))
    small = kit.noise(seed + 1, y, loop.travel(x, t, wind, 0.45 * size), loop.clock(t, 8.0))
    thick = 0.5 + 0.5 * np.clip(large + 0.35 * small, -1.0, 1.0)
    cloud = kit.ease((thick - (0.96 - 0.95 * dials["cover"])) / 0.6)
    amount = kit.felt(1.0 - dials["shade"] * cloud)
    sun, sky = kit.white(place, dials["sun_k"]), kit.white(place, dials["sky_k"])
    return kit.paint((amount * (1.0 - cloud), sun), (amount * cloud, sky))
