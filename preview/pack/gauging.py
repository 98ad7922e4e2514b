"""The readings that a fitter takes: what a meter should show at every place, for each colour, for all of them and for darkness.

Expected values are the probe's, for the same codes, to the last digit. The tolerance puts together, as independent (JCGM 100:2008, 5.1.2),
what each of these would change, worked out by solving the same plan once more with it changed:

- the supplies' volts, as they were trimmed;
- the strips' currents, from one reel to another;
- the temperature of every conductor, against the plan's;

and what the meter itself may be off. The four sizes are common practice without a source (`SPREAD`).

Leaves out: contacts worse than planned, cables of another length, a supply that sags: those are what the readings are to find.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from preview.pack.wiring import Wiring, wiring_of
from preview.power.conductor_sets import used_supplies
from preview.power.network import build
from preview.power.probe import readings
from preview.power.solve import solve
from preview.scene.colours import COLOURS
from preview.scene.feed_names import feed_names
from preview.scene.layout import Layout, lay_out
from preview.scene.model import Colour, Scene, Strip, White

__all__ = ["SPREAD", "Drive", "Gauged", "Reading", "Spread", "drives_of", "gauge"]


@dataclass(frozen=True)
class Spread:
    """Half-widths of what is uncertain. Common practice, no source."""

    supply: float = 0.01
    """Share of a supply's volts: how near it is trimmed."""
    strip: float = 0.10
    """Share of every current of a strip: one reel to another."""
    conductor_k: float = 20.0
    """Kelvin by which conductors may be colder, or, in a plan for cold ones, warmer than planned."""
    meter_v: tuple[float, float] = (0.005, 0.02)
    """Share of the reading, and volts on top: two counts of a meter that shows hundredths."""
    clamp_a: tuple[float, float] = (0.02, 0.03)
    """Share of the reading, and amps on top: three counts of a direct-current clamp that shows hundredths."""

    def words(self) -> str:
        """Where the tolerance comes from, for the sheet."""
        return (
            f"Each tolerance puts together, as the root of the sum of squares (JCGM 100:2008), what a supply {self.supply:.0%} off, "
            f"strips that draw {self.strip:.0%} more or less, conductors {self.conductor_k:g} K colder or warmer than planned, and a meter "
            f"would change: {self.meter_v[0]:.1%} and {self.meter_v[1]:g} V on volts, {self.clamp_a[0]:.0%} and {self.clamp_a[1]:g} A on a "
            "direct-current clamp. The first three are worked out by solving the plan again; their sizes are common practice, no source."
        )


SPREAD = Spread()


@dataclass(frozen=True)
class Drive:
    """One drive for the readings: its name, its codes for every group, and the call that gives its figures."""

    name: str
    codes: tuple[int, ...]

    @property
    def words(self) -> str:
        """The codes as `covecast probe --drive` takes them."""
        return ",".join(map(str, self.codes))


@dataclass(frozen=True)
class Reading:
    """One value to read: volts or amps at a place, under one drive. `probe` says where the probe's JSON has the same figure."""

    drive: Drive
    place: str
    unit: str  # "V", "A" or "lux"
    expected: float
    tolerance: float
    probe: tuple[str | int, ...]


@dataclass(frozen=True)
class Gauged:
    """The readings at a level that any content keeps the limits at, and the wiring whose places they are."""

    code: int
    drives: tuple[Drive, ...]
    readings: tuple[Reading, ...]
    wiring: Wiring

    @property
    def level(self) -> float:
        """The level of the readings, 0 to 1."""
        return self.code / 255


def drives_of(layout: Layout, code: int) -> tuple[Drive, ...]:
    """Darkness, each colour alone, and all of them, at a code. At code 0 darkness alone.

    Each is named as on the sheet, and has one code for each colour of the layout.
    """
    names = COLOURS[: layout.colours]
    dark = Drive("dark", (0,) * layout.colours)
    if code == 0:
        return (dark,)
    alone = [Drive(name, tuple(code if k == c else 0 for k in range(layout.colours))) for c, name in enumerate(names)]
    return (dark, *alone, Drive("every colour", (code,) * layout.colours))


def gauge(scene: Scene, code: int, spread: Spread = SPREAD) -> Gauged:
    """The readings of a scene at a code, 0 to 255. Raises CovecastError where the plan is no network, as the probe does."""
    layout = lay_out(scene)
    drives = drives_of(layout, code)
    codes = np.array([[drive.codes] * layout.groups for drive in drives], dtype=np.uint8)
    found = _read(scene, codes)
    changed = [_read(other, codes) for other in _changed(scene, spread)]
    rows: list[Reading] = []
    for d, drive in enumerate(drives):
        for place, unit, way in _places(scene, found[d]):
            value = _at(found[d], way)
            shares = [_at(other[d], way) - value for other in changed]
            share, count = spread.meter_v if unit == "V" else spread.clamp_a
            shares.append(share * abs(value) + count)
            rows.append(Reading(drive, place, unit, value, float(np.sqrt(np.sum(np.square(shares)))), way))
    return Gauged(code, drives, tuple(rows), wiring_of(scene, found[0]["feeds"]))


def _read(scene: Scene, codes: NDArray[np.uint8]) -> list[dict[str, Any]]:
    """The probe's readings under each drive, each solved alone as the probe does, so that the last digits are its too."""
    layout = lay_out(scene)
    network = build(scene, layout)
    alone = [codes[frame : frame + 1] for frame in range(len(codes))]
    return [readings(scene, layout, drive, solve(network, drive)) for drive in alone]


def _at(found: Any, way: tuple[str | int, ...]) -> float:
    for key in way:
        found = found[key]
    return float(found)


def _places(scene: Scene, found: dict[str, Any]) -> list[tuple[str, str, tuple[str | int, ...]]]:
    """Every place to read at, its unit, and where the readings have it."""
    places: list[tuple[str, str, tuple[str | int, ...]]] = []
    used = used_supplies(scene)
    for s, supply in enumerate(found["supplies"]):
        if supply["name"] not in used:
            continue
        places.append((f"supply {supply['name']}, at its terminals", "V", ("supplies", s, "volts")))
        places.append((f"supply {supply['name']}, in its positive", "A", ("supplies", s, "amps")))
    for b, block in enumerate(found["blocks"]):
        places.append((f"block {block['name']}", "V", ("blocks", b, "volts")))
        places.append((f"block {block['name']}, in its cable's positive", "A", ("blocks", b, "amps")))
    for k, where in enumerate(feed_names(scene)):
        places.append((f"{where}, at the strip's pads", "V", ("feeds", k, "volts")))
        places.append((f"{where}, in its positive", "A", ("feeds", k, "amps")))
    for r, run in enumerate(found["runs"]):
        last = run["groups"] - 1
        places.append((f"run {run['name']}, start: group 0", "V", ("runs", r, "volts", 0)))
        if last:
            places.append((f"run {run['name']}, end: group {last}", "V", ("runs", r, "volts", last)))
    return places


def _changed(scene: Scene, spread: Spread) -> list[Scene]:
    """The plan with one thing changed at a time: its supplies' volts, its strips' currents, its conductors' temperature."""
    supplies = {
        name: supply.model_copy(update={"volts": supply.volts * (1 + spread.supply)})
        for name, supply in scene.supply.items()
    }
    strips = {name: _drawing(strip, 1 + spread.strip) for name, strip in scene.strip.items()}
    warm = scene.assume.conductor_c
    other = warm - spread.conductor_k if warm - spread.conductor_k >= 0 else warm + spread.conductor_k
    assume = scene.assume.model_copy(update={"conductor_c": other})
    return [
        scene.model_copy(update={"supply": supplies}),
        scene.model_copy(update={"strip": strips}),
        scene.model_copy(update={"assume": assume}),
    ]


def _drawing(strip: Strip, times: float) -> Strip:
    def colour(one: Colour | White | None) -> Colour | White | None:
        return None if one is None else one.model_copy(update={"milliamp": one.milliamp * times})

    changed = {name: colour(getattr(strip, name)) for name in COLOURS}
    return strip.model_copy(update={**changed, "idle_milliamp_per_group": strip.idle_milliamp_per_group * times})
