"""The edge of the sea on warm sand: each wave runs up, leaves a line of foam, slides back and lets the sand dry."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from effects import kit

MOOD = "calm"

DIALS = (
    kit.Dial("wave_s", "s", 3, 60, 6.5, "from one wave to the next"),
    kit.Dial("beach_m", "m", 0.2, 12, 2.2, "how far up the sand a large wave reaches"),
    kit.Dial("sea_m", "m", 0, 50, 0.7, "how much of a bay is always sea"),
    kit.Dial("bay_m", "m", 0.5, 100, 4.0, "from the sea to the highest sand; beyond it the next bay begins"),
    kit.Dial("foam_m", "m", 0.03, 2, 0.16, "length of the foam"),
    kit.kelvin_dial("sand_k", 2500, "the sand", high=6000),
    kit.later_dial(0.7, "a wave reaches"),
    kit.loop_dial(),
)

_TURN = 0.36  # part of a wave's time after which it slides back


period_s = kit.loop_period


def _up(phase: kit.Floats) -> kit.Floats:
    """How far up the wave is, 0..1: quick to come, slow to go."""
    gone = kit.ease((phase - _TURN) / (1.0 - _TURN))
    return np.asarray(np.where(phase < _TURN, kit.ease(phase / _TURN), 1.0 - gone), dtype=np.float64)


def _wet(phase: kit.Floats) -> kit.Floats:
    """How far up the sand is still wet, 0..1, from the turn of the wave on into the next one."""
    return np.asarray(np.where(phase < _TURN, 0.0, 1.0 - kit.ease((phase - _TURN) / 1.2)), dtype=np.float64)


def light(place: kit.Place, time_s: kit.Floats, dials: Mapping[str, float], seed: int) -> kit.Floats:
    """The shore is one place on each run; sea, foam and wet sand lie about it."""
    loop = kit.seamless(dials["loop_s"])
    per_s = loop.rate(1.0 / dials["wave_s"])
    turns = loop.turns(1.0 / dials["wave_s"])
    t = kit.columns(time_s)
    at = t * per_s - dials["run_later_s"] * per_s * place.run
    wave = np.floor(at)
    number, phase = wave.astype(np.int64), np.asarray(at - wave, dtype=np.float64)

    def reach_m(which: kit.Ints) -> kit.Floats:
        one = np.mod(which, turns) if turns else which
        return np.asarray(dials["beach_m"] * (0.55 + 0.45 * kit.uniform(seed, one, place.run)), dtype=np.float64)

    sea, reach, before = dials["sea_m"], reach_m(number), reach_m(number - 1)
    shore = sea + reach * _up(phase)
    wet = np.maximum(np.maximum(shore, sea + reach * _wet(phase)), sea + before * _wet(phase + 1.0))
    bay = dials["bay_m"]
    x, half = bay - np.abs(np.mod(place.along_m, 2.0 * bay) - bay), place.half_m
    water = 1.0 - kit.edge(x, half, shore, 0.10)
    damp = (1.0 - kit.edge(x, half, wet, 0.30)) * (1.0 - water)
    coming = kit.ease((_TURN + 0.12 - phase) / 0.3) * kit.ease(phase / 0.08)
    lace = 0.75 + 0.25 * kit.noise(seed + 1, x / 0.2, loop.clock(t, 1.5))
    foam = kit.tail(x, half + 0.07, shore + 0.4 * dials["foam_m"], dials["foam_m"]) * (0.3 + 0.7 * coming) * lace
    swell = 0.72 + 0.28 * kit.noise(seed + 2, (0.4 * shore - x) / 0.7, loop.clock(t, 3.0))
    swell = kit.mix(0.72, swell, kit.gentle(3.0 * dials["beach_m"] / dials["wave_s"]))
    deep = np.clip((shore - x) / 2.5, 0.0, 1.0)
    sea_colour = kit.mix(kit.tint(place, 196.0, 0.45)[None], kit.tint(place, 238.0, 0.7)[None], deep[:, :, None])
    rest = np.clip(1.0 - foam, 0.0, 1.0)
    return kit.paint(
        (np.clip(foam, 0.0, 1.0), kit.white(place, 5600.0)),
        (rest * water * kit.felt(0.78 * swell), sea_colour),
        (rest * (1.0 - water) * kit.felt(0.58 - 0.24 * damp), kit.white(place, dials["sand_k"])),
    )
