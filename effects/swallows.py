"""A flock at dusk: warm bright marks that sweep along the runs together, scatter, turn and trail fading tails."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from effects import kit

MOOD = "festive"

DIALS = (
    kit.part_dial("birds", 5, "how many", 1, 12),
    kit.Dial("speed_m_per_s", "m/s", 0.05, 2, 0.8, "how fast the flock flies, half way between its turns"),
    kit.Dial("flock_m", "m", 0.1, 10, 2.9, "length that the flock spreads over"),
    kit.Dial("tail_m", "m", 0.02, 5, 0.6, "length of a tail at full speed"),
    kit.kelvin_dial("bird_k", 2500, "a bird"),
    kit.part_dial("sky", 0.24, "how bright the evening sky behind them is felt"),
    kit.loop_dial(),
)


period_s = kit.loop_period


def light(place: kit.Place, time_s: kit.Floats, dials: Mapping[str, float], seed: int) -> kit.Floats:
    """The flock sweeps from end to end of all the runs; each bird keeps a wandering place in it."""
    t = kit.columns(time_s)
    loop = kit.seamless(dials["loop_s"])
    x, half, length = place.course_m, place.half_m, place.course_length_m
    birds = round(dials["birds"])
    speed, spread = dials["speed_m_per_s"], dials["flock_m"]
    sweep = loop.rate(speed / (1.15 * np.pi * max(length, spread)))  # sweeps a second; at their fastest, `speed`

    def middle(at_s: kit.Floats, late: float = 0.5) -> kit.Floats:
        # A swing from end to end that lingers a little less there than a sine.
        way = np.sin(2.0 * np.pi * (sweep * at_s + 0.09 * (late - 0.5)) - 1.1)
        return np.asarray(length * (0.5 + 0.5 * way * (1.15 - 0.15 * way * way)), dtype=np.float64)

    def where(at_s: kit.Floats, bird: int) -> kit.Floats:
        late = (bird + 0.2 + 0.6 * kit.uniform(seed, bird, 0)) / birds  # its place in the flock, 0..1
        pace = 0.8 + 0.5 * kit.uniform(seed, bird, 1)
        own = kit.noise(seed + 17 * bird + 5, loop.clock(at_s, float(3.2 * pace)))
        return np.asarray(middle(at_s, float(late)) + spread * (0.2 * own + 0.75 * (late - 0.5)), dtype=np.float64)

    dark = np.ones((t.shape[0], place.groups))
    step_s = 0.05
    for bird in range(birds):
        here = where(t, bird)
        pace = (where(t + step_s, bird) - where(t - step_s, bird)) / (2.0 * step_s)
        trail = kit.tail(x, half, here, dials["tail_m"] * pace / speed)
        body = kit.mark(x, half, here, 0.17)
        dark *= 1.0 - np.clip(0.62 * trail * np.minimum(1.0, np.abs(pace) / (0.4 * speed)) + body, 0.0, 1.0)
    # Where birds would pass too often to be seen one by one, the flock is a soft cloud of light.
    keeps = kit.gentle(1.25 * (birds - 1) * speed / spread)
    cloud = 0.6 * kit.mark(x, half, middle(t), 0.6 * spread + 0.3)
    glow = kit.mix(cloud, 1.0 - dark, keeps)
    dusk = 0.8 + 0.2 * kit.noise(seed + 3, x / 1.9, loop.clock(t, 9.0))
    evening = kit.felt(dials["sky"] * dusk) * (1.0 - glow)
    return kit.paint((glow, kit.white(place, dials["bird_k"])), (evening, kit.tint(place, 222.0, 0.55)))
