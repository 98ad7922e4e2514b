"""Water running down a channel: long dark and bright streaks of teal with a little pale foam, carried along the run."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from effects import kit

MOOD = "calm"

DIALS = (
    kit.Dial("speed_m_per_s", "m/s", -3, 3, 0.30, "how fast the water runs; negative: towards the data end"),
    kit.Dial("ripple_m", "m", 0.1, 3, 0.42, "length of a ripple"),
    kit.part_dial("foam", 0.5, "how much of it is white"),
    kit.part_dial("deep", 0.9, "how dark the troughs are"),
    kit.hue_dial("hue_deg", 232, "the water"),
    kit.loop_dial(),
)

period_s = kit.loop_period


def light(place: kit.Place, time_s: kit.Floats, dials: Mapping[str, float], seed: int) -> kit.Floats:
    """Everything is carried at one speed and slowly changes shape while it is."""
    t = kit.columns(time_s)
    loop = kit.seamless(dials["loop_s"])
    speed, ripple = dials["speed_m_per_s"], dials["ripple_m"]
    x = place.along_m + 211.0 * place.run  # every run its own stretch of water
    # Streaks longer than a ripple under ripples; both change shape in about the time that they take to go by.
    body = kit.noise(seed, loop.travel(x, t, speed, 2.2 * ripple), loop.clock(t, 9.0))
    skin = kit.noise(seed + 1, loop.travel(x, t, speed, ripple), loop.clock(t, 4.0))
    body, skin = 0.75 * kit.gentle(speed / (2.2 * ripple)) * body, 0.55 * kit.gentle(speed / ripple) * skin
    swell = 0.5 + 0.5 * np.clip(body + skin, -1.0, 1.0)
    amount = kit.felt(1.0 - dials["deep"] * (1.0 - kit.ease(0.12 + swell)))
    foam = dials["foam"] * kit.ease((swell - 0.68) / 0.32)
    # The troughs are a little bluer than the crests.
    deep, crest = kit.tint(place, dials["hue_deg"] + 16.0, 0.8), kit.tint(place, dials["hue_deg"], 0.66)
    pale = kit.tint(place, dials["hue_deg"], 0.12)
    return kit.paint(
        (amount * (1.0 - foam) * (1.0 - swell), deep), (amount * (1.0 - foam) * swell, crest), (amount * foam, pale)
    )
