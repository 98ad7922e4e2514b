"""Rain at night on a tin roof: drops fall here and there in the room, and from each a ring of lamplight spreads and dies away."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from effects import kit

MOOD = "calm"

DIALS = (
    kit.Dial(
        "every_s",
        "s",
        0.7,
        60,
        1.2,
        "from one drop to the next on ten metres of run, on average; on a short run no rarer than on three",
    ),
    kit.Dial("ring_m_per_s", "m/s", 0.05, 2, 0.5, "how fast a ring spreads"),
    kit.Dial("ripple_m", "m", 0.1, 3, 0.66, "from trough to trough of a ring"),
    kit.Dial("die_s", "s", 0.2, 20, 2.6, "how long a ring takes to fall to about a third"),
    kit.part_dial("sky", 0.26, "how bright the wet dark between the drops is felt"),
    kit.kelvin_dial("lamp_k", 2300, "the rings"),
    kit.loop_dial(),
)

period_s = kit.loop_period

_LEAST_M = 3.0
"""A shorter course gets as many drops as one of this length."""


def light(place: kit.Place, time_s: kit.Floats, dials: Mapping[str, float], seed: int) -> kit.Floats:
    """The sum of the damped waves of the last few drops, each spreading through the room from where it fell."""
    t = kit.columns(time_s)
    loop = kit.seamless(dials["loop_s"])
    die_s, speed = dials["die_s"], dials["ring_m_per_s"]
    long_m = np.maximum(dials["ripple_m"], 3.0 * place.group_length_m)
    keeps = kit.gentle(2.0 * speed / dials["ripple_m"])
    per_s = max(place.course_length_m, _LEAST_M) / (10.0 * dials["every_s"])
    wave = np.zeros((t.shape[0], place.groups))
    hit = np.zeros((t.shape[0], place.groups))
    for drop, since in kit.arrivals(seed, loop, t, per_s, 2.7 * die_s):
        where = place.room_m[(kit.uniform(seed, drop, 2) * place.groups).astype(np.int64)[:, 0]]  # (F, 3)
        away = np.sqrt(sum((place.room_m[:, axis] - where[:, axis, None]) ** 2 for axis in range(3)))
        size = (0.65 + 0.35 * kit.uniform(seed, drop, 3)) * (1.0 - kit.ease((since / die_s - 1.7) / 1.0))
        wave += size * kit.ripple(away, since, speed, long_m, die_s)
        hit += size * kit.arch(since / 1.3) * kit.mark(away, place.half_m, 0.0, 0.6 * long_m)
    mist = kit.noise(seed + 9, place.course_m / 1.7, loop.clock(t, 7.0))
    crest = np.clip(keeps * wave + 0.8 * hit, 0.0, 1.0)
    night = kit.felt(dials["sky"] * (1.0 + 0.2 * mist) * (1.0 + 0.7 * np.clip(keeps * wave, -1.0, 0.0)))
    # The wet dark is deep blue low in the room and greener where the sky is.
    up = np.clip(place.room_m[:, 2] / place.room_size_m[2], 0.0, 1.0)
    wet = kit.mix(kit.tint(place, 244.0, 0.92), kit.tint(place, 214.0, 0.8), up[:, None])
    return kit.paint((night * (1.0 - crest), wet), (crest * (0.4 + 0.6 * crest), kit.white(place, dials["lamp_k"])))
