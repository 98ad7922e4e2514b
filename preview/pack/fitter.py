"""What the fitter's sheet says: the plan's faults first, then wiring, caps, readings, parts and cuts, and what was assumed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from preview.handover.checking import Checked
from preview.pack.cut_drawing import material_svg
from preview.pack.cuts import CutList
from preview.pack.diagram import wiring_sheets
from preview.pack.gauging import SPREAD, Drive, Gauged
from preview.pack.lux_points import LUX_WORDS
from preview.pack.parts import NOT_LISTED, Parts
from preview.pack.wiring import cable_words
from preview.power.cap import Cap
from preview.scene.fill import assumed_words
from preview.scene.layout import Layout
from preview.scene.model import Scene

__all__ = ["GaugedPlace", "fitter_page"]


@dataclass(frozen=True)
class GaugedPlace:
    """One row of the readings: a place, and its volts and amps with their tolerances; None where there is nothing to read."""

    place: str
    volts: tuple[float, float]
    amps: tuple[float, float] | None


def fitter_page(
    scene: Scene, layout: Layout, gauged: Gauged, parts: Parts, cuts: CutList, caps: Sequence[Cap], checked: Checked
) -> dict[str, Any]:
    """What the template `fitter.html` needs, beyond what both pages share."""
    heavy = [finding for finding in checked.findings if finding.weight in ("fault", "over")]
    full = [one for one in gauged.readings if one.drive == gauged.drives[-1]]
    feed_amps = [one.expected for one in full if one.probe[0] == "feeds" and one.unit == "A"]
    return {
        "heavy": heavy,
        "light": [finding for finding in checked.findings if finding not in heavy],
        "wiring": gauged.wiring,
        "wiring_svgs": wiring_sheets(scene, layout, gauged.wiring),
        "cable_words": cable_words,
        "feed_amps": feed_amps,
        "caps": caps,
        "any_cap": caps[-1],
        "cap_words": _cap_words,
        "gauged": gauged,
        "gauged_places": [(drive, _by_place(gauged, drive)) for drive in gauged.drives],
        "tolerance_words": SPREAD.words(),
        "lux_places": _lux_places(gauged),
        "lux_words": LUX_WORDS,
        "parts": parts,
        "part_kinds": [(kind, list(some)) for kind, some in groupby(parts.parts, lambda part: part.kind)],
        "not_listed": NOT_LISTED,
        "cuts": cuts,
        "cut_svgs": [(material, material_svg(material)) for material in cuts.materials],
        "assumed": _assumed(scene, parts, cuts),
        "reel_watts": [
            finding for finding in checked.findings if finding.about.startswith("strip ") and "coiled" in finding.do
        ],
    }


def _cap_words(cap: Cap) -> str:
    """What sets a cap, in words."""
    words = {
        None: "nothing",
        "supply": f"supply {cap.where}",
        "fuse": f"the fuse of {cap.where}",
        "cable": f"the cable of {cap.where}",
        "colour": f"the colour of {cap.where}",
        "dimming": f"the light of {cap.where}",
        "reset": f"the chip of {cap.where}, which loses its data",
    }
    return words[cap.limited_by]


def _by_place(gauged: Gauged, drive: Drive) -> list[GaugedPlace]:
    """The readings of one drive, volts and amps of a place in one row."""
    here = [one for one in gauged.readings if one.drive == drive and one.unit != "lux"]
    rows: list[GaugedPlace] = []
    waiting = list(here)
    while waiting:
        volts = waiting.pop(0)
        amps = None
        if waiting and waiting[0].unit == "A" and waiting[0].probe[:2] == volts.probe[:2]:
            found = waiting.pop(0)
            amps = found.expected, found.tolerance
        rows.append(
            GaugedPlace(
                volts.place.removesuffix(", at its terminals").removesuffix(", at the strip's pads"),
                (volts.expected, volts.tolerance),
                amps,
            )
        )
    return rows


def _lux_places(gauged: Gauged) -> list[tuple[str, list[tuple[float, float]]]]:
    """Every place of a lux meter, with what it should show under each drive but darkness, and its tolerance."""
    rows: dict[str, list[tuple[float, float]]] = {}
    for one in gauged.readings:
        if one.unit == "lux" and one.drive != gauged.drives[0]:
            rows.setdefault(one.place, []).append((one.expected, one.tolerance))
    return list(rows.items())


def _assumed(scene: Scene, parts: Parts, cuts: CutList) -> list[str]:
    """Everything that was taken as given without being told."""
    found = [*assumed_words(scene.assumed), *cuts.assumed, *parts.assumed]
    found.append(
        f"every conductor at {scene.assume.conductor_c:g} °C when it carries its load (the scene's assume.conductor_c)"
    )
    return found
