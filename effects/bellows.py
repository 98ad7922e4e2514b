"""Slow breathing: warm light swells out from the middle of each run, rests, and draws back in."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from effects import kit

MOOD = "calm"

DIALS = (
    kit.Dial("breath_s", "s", 2, 60, 8, "one breath, in and out"),
    kit.part_dial("inhale_part", 0.42, "part of the breath that is breathing in", 0.2, 0.7),
    kit.kelvin_dial("in_k", 1700, "the light when breathed out"),
    kit.kelvin_dial("full_k", 2900, "the light at the full breath"),
    kit.part_dial("rest", 0.4, "how bright it is felt when breathed out"),
    kit.later_dial(0.25, "breathes", 10),
)


def period_s(dials: Mapping[str, float]) -> float | None:
    """One breath."""
    return dials["breath_s"]


def light(place: kit.Place, time_s: kit.Floats, dials: Mapping[str, float], seed: int) -> kit.Floats:
    """A soft dome of light about the middle of each run; the breath widens, lifts and whitens it."""
    t = kit.columns(time_s)
    phase = np.mod((t - dials["run_later_s"] * place.run) / dials["breath_s"], 1.0)
    part = dials["inhale_part"]
    breath = np.where(phase < part, kit.ease(phase / part), 1.0 - kit.ease((phase - part) / (0.94 - part)))
    middle = 0.5 * place.run_length_m
    reach = place.run_length_m * (0.34 + 0.44 * breath)
    dome = kit.mark(place.along_m, place.half_m, middle, reach)
    level = dials["rest"] * (0.45 + 0.55 * dome) + (1.0 - dials["rest"]) * breath * (0.25 + 0.75 * dome)
    warmth = 1.0 / kit.mix(1.0 / dials["in_k"], 1.0 / dials["full_k"], breath * (0.3 + 0.7 * dome))
    return kit.paint((kit.felt(level), kit.white(place, warmth)))
