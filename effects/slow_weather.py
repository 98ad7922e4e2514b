"""A whole day in a few minutes: dawn, a clear morning, clouds, a shower, a long evening, and blue night."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from effects import kit

MOOD = "calm"

DIALS = (
    kit.Dial("day_s", "s", 20, 7200, 90, "how long a day of 24 hours takes"),
    kit.Dial("from_h", "h", 0, 24, 5, "hour of the day at which it starts"),
    kit.part_dial("weather", 0.5, "how cloudy the day is"),
    kit.Dial("wind_m_per_s", "m/s", 0, 2, 0.14, "how fast the clouds drift"),
    kit.kelvin_dial("noon_k", 5200, "the sun at noon", 2500),
)


_HOUR = np.linspace(0.0, 24.0, 289)
_SPENT = _HOUR - 12.0 / np.pi * (0.4 * np.sin(np.pi * _HOUR / 12.0) + 0.2 * np.sin(np.pi * _HOUR / 6.0))
"""Of 24 parts of the day's time those spent up to an hour: the clock lingers at dawn and in the evening and hurries through the night."""


def period_s(dials: Mapping[str, float]) -> float | None:
    """One day."""
    return dials["day_s"]


def light(place: kit.Place, time_s: kit.Floats, dials: Mapping[str, float], seed: int) -> kit.Floats:
    """The height of the sun sets the light low in the room, the sky the light above; clouds and a shower lie over both."""
    t = kit.columns(time_s)
    loop = kit.seamless(dials["day_s"])
    start = np.interp(dials["from_h"], _HOUR, _SPENT)
    hour = np.interp(np.mod(start + 24.0 * t / dials["day_s"], 24.0), _SPENT, _HOUR)  # (F, 1)
    sun = np.sin(2.0 * np.pi * (hour - 6.0) / 24.0)  # sine of the sun's height at an equinox on the equator
    x, up = place.room_m[:, 0] + place.room_m[:, 1], place.room_m[:, 2]
    height = np.clip(up / place.room_size_m[2], 0.0, 1.0)
    # Low light comes from the east in the morning and from the west in the evening.
    side = (place.room_m[:, 0] / place.room_size_m[0] - 0.5) * np.cos(2.0 * np.pi * (hour - 6.0) / 24.0)
    raised = np.clip(sun + 0.10 - 0.22 * side * (1.0 - np.abs(sun)), -1.0, 1.0)
    day = kit.ease((raised + 0.1) / 0.7)
    kelvin = 1.0 / kit.mix(1.0 / 1650.0, 1.0 / dials["noon_k"], kit.ease(raised / 0.7))
    wind = loop.travel(x, t, dials["wind_m_per_s"], 1.7)
    cloud = kit.noise(seed, up / 1.5, wind, loop.clock(t, 0.12 * dials["day_s"]))
    cloud = kit.ease((cloud + 1.5 * dials["weather"] - 0.75) / 0.9 + 0.1) * kit.ease(sun / 0.3)
    shower = kit.arch((hour - 13.4) / 3.0) * dials["weather"]
    sunlight = kit.felt(0.98 * day * (1.0 - 0.38 * cloud - 0.45 * shower))
    grey = kit.white(place, 7500.0)
    dusk = kit.arch((raised + 0.45) / 0.75)  # the blue and rose hour about sunset and dawn
    rose = kit.felt(0.5 * dusk * (0.35 + 0.65 * height))
    night = kit.felt((0.26 + 0.12 * height) * (1.0 - kit.ease((sun + 0.25) / 0.35)))
    veil = 0.75 * np.clip(cloud + shower, 0.0, 1.0)
    layers = kit.paint(
        (sunlight * (1.0 - veil), kit.white(place, kelvin)),
        (sunlight * veil, grey),
        (rose * (1.0 - sunlight), 0.8 * kit.tint(place, 340.0, 0.45, 4500.0)),
        (night * (1.0 - rose) * (1.0 - sunlight), kit.tint(place, 258.0, 0.7)),
    )
    return np.asarray(np.clip(layers, 0.0, 1.0), dtype=np.float64)
