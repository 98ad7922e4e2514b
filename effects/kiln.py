"""Embers breathing: patches of coal that glow from dull red to orange and sink again, each in its own time."""

from __future__ import annotations

from collections.abc import Mapping

from effects import kit

MOOD = "warm"

DIALS = (
    kit.Dial("ember_m", "m", 0.05, 2, 0.17, "length of one ember"),
    kit.Dial("breath_s", "s", 1, 60, 4.5, "how long an ember takes to glow up and sink"),
    kit.kelvin_dial("cool_k", 1050, "the coolest", high=3000),
    kit.kelvin_dial("hot_k", 2150, "the hottest", high=4000),
    kit.part_dial("draught", 0.5, "how much air it gets: more of it is hot"),
    kit.loop_dial(),
)


period_s = kit.loop_period


def light(place: kit.Place, time_s: kit.Floats, dials: Mapping[str, float], seed: int) -> kit.Floats:
    """Heat is small embers within slow, broad beds; its colour and light follow from it."""
    t = kit.columns(time_s)
    loop = kit.seamless(dials["loop_s"])
    x = place.course_m
    ember, breath = dials["ember_m"], dials["breath_s"]
    bed = kit.noise(seed, x / (7.0 * ember), loop.clock(t, 2.6 * breath))
    coal = kit.noise(seed + 1, x / ember, loop.clock(t, breath))
    grain = kit.noise(seed + 2, x / (0.45 * ember), loop.clock(t, 0.6 * breath))
    heat = kit.ease(0.14 + 0.5 * dials["draught"] + 0.34 * bed + 0.36 * coal + 0.08 * grain)
    kelvin = 1.0 / kit.mix(1.0 / dials["cool_k"], 1.0 / dials["hot_k"], heat)
    return kit.paint((kit.felt(0.2 + 0.78 * heat), kit.white(place, kelvin)))
