"""One ginger light with a mind of its own: it strolls, darts, stops to sit and purr, and turns back for no reason."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from effects import kit

MOOD = "festive"

DIALS = (
    kit.Dial("whim_s", "s", 1.5, 60, 3.4, "how long it keeps to one idea"),
    kit.Dial("roam_m", "m", 0.2, 20, 2.0, "how far it goes at a time, at most about twice this"),
    kit.Dial(
        "cat_m", "m", 0.05, 2, 0.26, "reach of its glow to either side; on long runs at least a twelfth of the run"
    ),
    kit.kelvin_dial("cat_k", 1750, "the cat", high=6000),
    kit.part_dial("moon", 0.15, "how bright the moonlit wall is felt"),
    kit.loop_dial(),
)


_DART_M_PER_S = 2.5

period_s = kit.loop_period


def light(place: kit.Place, time_s: kit.Floats, dials: Mapping[str, float], seed: int) -> kit.Floats:
    """Each idea is a walk from one spot to the next, begun and ended where it likes; between them the cat sits."""
    t = kit.columns(time_s)
    loop = kit.seamless(dials["loop_s"])
    per_s, turns = loop.rate(1.0 / dials["whim_s"]), loop.turns(1.0 / dials["whim_s"])
    x, half, length = place.course_m, place.half_m, place.course_length_m
    idea = np.floor(t * per_s).astype(np.int64)
    phase = t * per_s - idea

    def key(which: kit.Ints) -> kit.Ints:
        return np.asarray(np.mod(which, turns) if turns else which, dtype=np.int64)

    # Spots are read off smooth noise, so that the next is never far; wide noise is folded back at the ends of the course.
    stretch = max(1.0, length / (2.0 * dials["roam_m"]))
    steps = 0.8 / stretch

    def spot(which: kit.Ints) -> kit.Floats:
        cells = max(1, round(turns * steps)) if turns else 0
        at = kit.Wrapped(key(which) * (cells / turns if turns else steps), cells)
        wide = 0.5 + 0.72 * kit.noise(seed, at) + 0.5 * (kit.uniform(seed, key(which), 7) - 0.5) / stretch
        return np.asarray(length * (0.04 + 0.92 * np.abs(1.0 - np.abs(1.0 - wide))), dtype=np.float64)

    sets_off = 0.45 * kit.uniform(seed, key(idea), 1)
    takes = 0.34 + 0.5 * kit.uniform(seed, key(idea), 2) * (1.0 - sets_off)
    here, there = spot(idea), spot(idea + 1)
    # Far walks take as long as is left of the idea, so that it darts, but does not fly.
    takes = np.clip(1.5 * np.abs(there - here) / _DART_M_PER_S * per_s, takes, 1.0 - sets_off)
    at_m = kit.mix(here, there, kit.ease((phase - sets_off) / takes))
    walking = kit.arch((phase - sets_off) / takes)
    purr = 0.5 + 0.5 * np.sin(2.0 * np.pi * t * loop.rate(1.0 / 1.9))
    way = np.where(there < here, -1.0, 1.0)
    cat_m = np.maximum(dials["cat_m"], place.run_length_m / 12.0)  # long runs are seen from farther off
    reach = cat_m * (0.8 + 0.5 * walking)
    body = kit.mark(x, half, at_m, reach)
    train = kit.tail(x, half, at_m, way * cat_m * (0.05 + 1.5 * walking * np.clip(np.abs(there - here), 0.0, 1.0)))
    amount = np.clip(body * (0.62 + 0.38 * np.maximum(walking, 0.8 * purr)) + 0.35 * walking * train, 0.0, 1.0)
    halo = 0.16 * kit.mark(x, half, at_m, 4.5 * cat_m)
    blink = kit.ease((0.13 - np.abs(phase - 0.5 * sets_off)) / 0.05)
    eyes = (1.0 - walking) * (1.0 - 0.9 * blink) * kit.mark(x, half, at_m, np.maximum(0.06, place.group_length_m))
    moon = kit.felt(dials["moon"] * (0.78 + 0.22 * kit.noise(seed + 3, x / 1.6, loop.clock(t, 14.0))))
    glow = np.clip(amount + halo, 0.0, 1.0)
    light_now = kit.paint(
        (glow * (1.0 - 0.8 * eyes), kit.white(place, dials["cat_k"])),
        (0.8 * eyes * glow, kit.tint(place, 100.0, 0.7)),
        (moon * (1.0 - glow), kit.tint(place, 228.0, 0.62)),
    )
    return np.asarray(np.clip(light_now, 0.0, 1.0), dtype=np.float64)
