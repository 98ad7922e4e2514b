"""Paper lanterns on long cords, honey and coral by turns, swaying in a light wind: pools of candle light that swing along the run."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from effects import kit

MOOD = "warm"

DIALS = (
    kit.Dial("apart_m", "m", 0.3, 10, 1.2, "from one lantern to the next"),
    kit.Dial("cord_m", "m", 0.3, 20, 3.2, "length of the cords, which sets the time of a swing"),
    kit.Dial("swing_m", "m", 0, 2, 0.6, "how far a lantern swings to either side in a gust"),
    kit.Dial("above_m", "m", 0.05, 3, 0.2, "height of a lantern above the run: how wide its pool is"),
    kit.kelvin_dial("lantern_k", 2050, "a lantern", high=6000),
    kit.loop_dial(),
)


period_s = kit.loop_period


def light(place: kit.Place, time_s: kit.Floats, dials: Mapping[str, float], seed: int) -> kit.Floats:
    """A pendulum swings in 2π √(cord / g); a small lamp lights what is below it as 1/(1 + (d/h)²)²."""
    t = kit.columns(time_s)
    loop = kit.seamless(dials["loop_s"])
    apart, above = dials["apart_m"], dials["above_m"]
    x = place.course_m
    nearest = np.floor(x / apart).astype(np.int64)
    swing_per_s = kit.pendulum_per_s(dials["cord_m"])
    # A lantern passes a place twice in a swing; where it swings far, its neighbours do too; and several runs are seen together.
    passes_per_s = 2.0 * swing_per_s * max(2.0, 2.0 * np.pi * dials["swing_m"] / apart)
    sways_m = dials["swing_m"] * kit.gentle(passes_per_s)
    # Cords that are not quite equal drift apart; in a loop they must come back together, so there they are equal.
    unequal = 0.0 if dials["loop_s"] > 0 else 0.14
    total = np.zeros((t.shape[0], place.groups))
    coral = np.zeros((t.shape[0], place.groups))
    for step in (-1, 0, 1):
        lantern = nearest + step
        rate = loop.rate(swing_per_s) * (1.0 + unequal * (kit.uniform(seed, lantern, 0) - 0.5))
        phase = 0.35 * kit.uniform(seed, lantern, 1) - 0.06 * lantern
        gust = 0.8 + 0.2 * kit.noise(seed + 1, 0.35 * lantern, loop.clock(t, 6.0))
        sway = np.sin(2.0 * np.pi * (rate * t + phase))
        hangs = (lantern + 0.5) * apart + sways_m * gust * sway
        away = (x - hangs) / above
        # The pool ends softly before the lantern after the next one, so that only three need to be added.
        pool = (1.0 / (1.0 + away * away)) ** 2 * kit.ease((1.5 * apart - np.abs(x - hangs)) / (0.5 * apart))
        breath = 0.8 + 0.2 * kit.noise(seed + 2, 3.7 * lantern, loop.clock(t, 1.7))
        total += pool * breath
        coral += pool * breath * np.mod(lantern, 2)
    amount = np.clip(0.015 + 0.9 * total, 0.0, 1.0)
    share = coral / np.maximum(total, 1e-9)
    honey = kit.white(place, dials["lantern_k"] * 1.1)
    paper = kit.tint(place, 10.0, 0.42, 1.6 * dials["lantern_k"])
    return kit.paint((amount * (1.0 - share), honey), (0.9 * amount * share, paper))
