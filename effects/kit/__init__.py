"""What every effect script may use: where the groups are, noise, shapes, colour, loops. Imports numpy alone.

A script writes `from effects import kit` and nothing else. Everything here is a function of arrays to arrays: no
clock, no state, no global random numbers. Time arrays are (F,) and places (G,); `kit.columns(time_s)` gives (F, 1),
so that the two broadcast to (F, G).
"""

from __future__ import annotations

from effects.kit.colour import from_uv, locus_uv, mix, paint, tint, white
from effects.kit.dials import (
    Dial,
    hue_dial,
    kelvin_dial,
    later_dial,
    loop_dial,
    loop_period,
    part_dial,
    purity_dial,
)
from effects.kit.motion import arrivals, gentle, pendulum_per_s, ripple
from effects.kit.noise import Loop, Wrapped, noise, seamless, uniform
from effects.kit.place import Floats, Ints, Number, Place, columns
from effects.kit.shapes import arch, ease, edge, felt, mark, pulses, span, tail, wave

__all__ = [
    "Dial",
    "Floats",
    "Ints",
    "Loop",
    "Number",
    "Place",
    "Wrapped",
    "arch",
    "arrivals",
    "columns",
    "ease",
    "edge",
    "felt",
    "from_uv",
    "gentle",
    "hue_dial",
    "kelvin_dial",
    "later_dial",
    "locus_uv",
    "loop_dial",
    "loop_period",
    "mark",
    "mix",
    "noise",
    "paint",
    "part_dial",
    "pendulum_per_s",
    "pulses",
    "purity_dial",
    "ripple",
    "seamless",
    "span",
    "tail",
    "tint",
    "uniform",
    "wave",
    "white",
]
