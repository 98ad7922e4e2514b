"""Readings of a lux meter at places that are named: what `covecast lux` gives there, under each drive of the readings.

The tolerance puts together, as independent (JCGM 100:2008, 5.1.2), how far a strip's light may lie from its figures and how far a meter
may; both are common practice without a source. Leaves out: what `preview.light.lux` leaves out, the evenness of bounced light above all.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from preview.light.colour import group_xyz
from preview.light.lux import place_faults, reading_at
from preview.pack.gauging import Gauged, Reading
from preview.power.network import build
from preview.power.solve import solve
from preview.power.strip import light_fraction
from preview.scene.faults import Fault
from preview.scene.layout import lay_out
from preview.scene.model import Scene

__all__ = ["LUX_WORDS", "LuxPoint", "point_faults", "with_lux"]

STRIP_SHARE, METER_SHARE, METER_LUX = 0.20, 0.10, 0.1

LUX_WORDS = (
    "Lux is of the strips alone, every other light off and curtains drawn: subtract what the meter shows with the strips off. "
    f"The tolerance puts together strips that give {STRIP_SHARE:.0%} more or less light and a meter {METER_SHARE:.0%} and "
    f"{METER_LUX:g} lux off (common practice, no source)."
)
"""Where the tolerance of lux comes from, for the sheet."""


@dataclass(frozen=True)
class LuxPoint:
    """A place in the room, in metres, and the direction in which the sensor faces there."""

    at_m: tuple[float, float, float]
    facing: tuple[float, float, float] = (0.0, 0.0, 1.0)

    @property
    def words(self) -> str:
        """The place, as `covecast lux` takes it, and where the sensor faces."""
        way = "up" if self.facing == (0.0, 0.0, 1.0) else ",".join(f"{part:g}" for part in self.facing)
        return f"at {','.join(f'{part:g}' for part in self.at_m)} m, facing {way}"


def point_faults(scene: Scene, points: Sequence[LuxPoint]) -> list[Fault]:
    """What is wrong with places to read at, each under the option --lux."""
    found = []
    for point in points:
        for fault in place_faults(scene, np.array(point.at_m), np.array(point.facing)):
            found.append(replace(fault, key="--lux"))
    return found


def with_lux(scene: Scene, gauged: Gauged, points: Sequence[LuxPoint]) -> Gauged:
    """The readings with those of a lux meter after them. The places must have no `point_faults`."""
    if not points:
        return gauged
    layout = lay_out(scene)
    network = build(scene, layout)
    rows = []
    for drive in gauged.drives:
        codes = np.array([[drive.codes] * layout.groups], dtype=np.uint8)
        state = solve(network, codes)
        light = group_xyz(layout, codes, light_fraction(layout, state.group_v))[0]
        for point in points:
            lux = reading_at(scene, layout, light, np.array(point.at_m), np.array(point.facing)).lux
            tolerance = float(np.hypot(STRIP_SHARE * lux, METER_SHARE * lux + METER_LUX))
            rows.append(Reading(drive, point.words, "lux", lux, tolerance, ("lux",)))
    return replace(gauged, readings=(*gauged.readings, *rows))
