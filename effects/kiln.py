"""Embers breathing: patches of coal that glow from dull red to orange and sink again, each in its own time."""

from __future__ import annotations

from collections.abc import Mapping

from effects import kit

MOOD = "warm"

DIALS = (
    kit.Dial("ember_m", "m", 0.05, 2, 0.17, "length of one ember"),
    kit.Dial("breath_s", "s", 1, 60, 4.5, "how long an ember takes to glow up and sink"),
    kit.Dial("cool_k", "K", 1000, 3000, 1050, "colour temperature of the coolest"),
    kit.Dial("hot_k", "K", 1000, 4000, 2150, "colour temperature of the hottest"),
    kit.Dial("draught", "", 0, 1, 0.5, "how much air it gets: more of it is hot"),
    kit.Dial("loop_s", "s", 0, 600, 0, "seconds after which it repeats; 0: never"),
)


def period_s(dials: Mapping[str, float]) -> float | None:
    """It repeats only when asked to."""
    return dials["loop_s"] or None


def light(place: kit.Place, time_s: kit.Floats, dials: Mapping[str, float], seed: int) -> kit.Floats:
    """Heat is small embers within slow, broad beds; its colour and light follow from it."""
    t = kit.columns(time_s)
    loop = kit.seamless(dials["loop_s"])
    x = place.course_m
    ember, breath = dials["ember_m"], dials["breath_s"]
    bed = kit.noise(seed, x / (7.0 * ember), loop.clock(t, 2.6 * breath))
    coal = kit.noise(seed + 1, x / ember, loop.clock(t, breath))
    grain = kit.noise(seed + 2, x / (0.45 * ember), loop.clock(t, 0.6 * breath))
    heat = kit.ease(0.20 + 0.5 * dials["draught"] + 0.34 * bed + 0.30 * coal + 0.07 * grain)
    kelvin = 1.0 / kit.mix(1.0 / dials["cool_k"], 1.0 / dials["hot_k"], heat)
    return kit.paint((kit.felt(0.20 + 0.78 * heat), kit.white(place, kelvin)))
