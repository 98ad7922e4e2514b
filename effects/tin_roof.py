"""Rain on a tin roof: drops fall here and there in the room, and from each a ring of light spreads and dies away."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from effects import kit

MOOD = "calm"

DIALS = (
    kit.Dial("every_s", "s", 0.2, 60, 0.8, "from one drop to the next, on average"),
    kit.Dial("ring_m_per_s", "m/s", 0.05, 5, 0.55, "how fast a ring spreads"),
    kit.Dial("ripple_m", "m", 0.1, 3, 0.34, "from crest to crest of a ring"),
    kit.Dial("die_s", "s", 0.2, 20, 1.5, "how long a ring takes to fall to about a third"),
    kit.Dial("sky", "", 0, 1, 0.28, "how bright the wet grey between the drops is felt"),
    kit.Dial("loop_s", "s", 0, 600, 0, "seconds after which it repeats; 0: never"),
)


def period_s(dials: Mapping[str, float]) -> float | None:
    """It repeats only when asked to."""
    return dials["loop_s"] or None


def light(place: kit.Place, time_s: kit.Floats, dials: Mapping[str, float], seed: int) -> kit.Floats:
    """The sum of the damped waves of the last few drops, each spreading through the room from where it fell."""
    t = kit.columns(time_s)
    loop = kit.seamless(dials["loop_s"])
    per_s, turns = loop.rate(1.0 / dials["every_s"]), loop.turns(1.0 / dials["every_s"])
    slot = np.floor(t * per_s).astype(np.int64)
    width = np.maximum(0.75 * dials["ripple_m"], 1.5 * place.group_length_m)
    wave = np.zeros((t.shape[0], place.groups))
    hit = np.zeros((t.shape[0], place.groups))
    for back in range(int(np.ceil(3.5 * dials["die_s"] * per_s)) + 1):
        number = slot - back
        drop = np.mod(number, turns) if turns else number
        fell_s = (number + 0.9 * kit.uniform(seed, drop, 1)) / per_s
        age = np.maximum(t - fell_s, 0.0)
        where = place.room_m[(kit.uniform(seed, drop, 2) * place.groups).astype(np.int64)[:, 0]]  # (F, 3)
        away = np.sqrt(sum((place.room_m[:, axis] - where[:, axis, None]) ** 2 for axis in range(3)))
        ring = (away - dials["ring_m_per_s"] * age) / width
        live = kit.ease(age / 0.15) * np.exp(-age / dials["die_s"]) * (0.6 + 0.4 * kit.uniform(seed, drop, 3))
        live *= 1.0 - kit.ease((age / dials["die_s"] - 2.5) / 1.0)
        bell = np.exp(-0.5 * ring * ring)
        wave += live * bell * np.cos(2.0 * np.pi * ring * width / dials["ripple_m"])
        hit += np.exp(-age / 0.35) * kit.ease(age / 0.1) * np.exp(-0.5 * (away / (0.6 * width)) ** 2)
    mist = kit.noise(seed + 9, place.course_m / 1.7, loop.clock(t, 7.0))
    level = kit.felt(np.clip(dials["sky"] * (1.0 + 0.18 * mist) + 0.55 * wave, 0.02, 1.0))
    silver = np.clip(0.85 * np.maximum(wave, 0.0) + hit, 0.0, 1.0)
    slate, pale = kit.tint(place, 242.0, 0.36), kit.white(place, 5200.0)
    shine = np.clip(level + 0.5 * hit, 0.0, 1.0)
    return kit.paint((shine * (1.0 - silver), slate), (shine * silver, pale))
