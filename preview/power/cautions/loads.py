"""Limits that the planned looks pass, and what any content would do: the meter's breaks as findings, one for each thing limited."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from preview.power.cap import Cap
from preview.power.cautions.wires import AMPACITY
from preview.power.finding import PRACTICE, Finding
from preview.power.limits import Kind
from preview.power.mend import mends
from preview.power.meter import Break, Metered
from preview.scene.layout import Layout
from preview.scene.model import Scene

__all__ = ["any_findings", "look_findings"]

RESERVE = 0.8
"""Share of a supply's rating that is used for hours on end (common practice, no source)."""

SOURCES: dict[Kind, str] = {
    "supply": "limits.supply_fraction; a fifth in reserve is " + PRACTICE,
    "fuse": "limits.fuse_fraction; a fifth in reserve is " + PRACTICE,
    "cable": AMPACITY,
    "colour": "limits.colour_steps; a step is 0.0011 in CIE 1976 u'v'",
    "dimming": "limits.dimming",
    "reset": "strip.reset_below_v",
}
LIMITS = "the plan's [limits]; for cables, UK and NEC ratings of flexible cords"


def look_findings(scene: Scene, layout: Layout, metered: Sequence[Metered], caps: Mapping[str, Cap]) -> list[Finding]:
    """Every limit that a look passes, once for each thing that is limited, with the looks that pass it.

    `caps` are those of the looks that pass a limit, by name.
    """
    groups: dict[tuple[str, str], list[tuple[Metered, Break]]] = {}
    for look in metered:
        for found in look.breaks:
            where = "" if found.kind in ("colour", "dimming", "reset") else found.where
            groups.setdefault((found.kind, where), []).append((look, found))
    findings = [_passed(scene, layout, found, caps) for found in groups.values()]
    return findings + _without_reserve(scene, metered)


def _passed(scene: Scene, layout: Layout, found: list[tuple[Metered, Break]], caps: Mapping[str, Cap]) -> Finding:
    look, worst = max(found, key=lambda pair: pair[1].excess)
    says = f"{_figures(worst)} in look {look.name}"
    if worst.kind == "supply" and worst.worst > scene.supply[worst.where].amps:
        says += f"; above its rating of {scene.supply[worst.where].amps:g} A it will sag or switch off"
    others = sorted({other.name for other, _ in found} - {look.name})
    if others:
        says += f"; also in {', '.join(others)}" if len(others) <= 3 else f"; also in {len(others)} other looks"
    ways = _ways(scene, layout, worst)
    levels = [caps[one.name].level for one, _ in found if one.name in caps and caps[one.name].holds]
    if levels:
        which = f"look {look.name}" if not others else "these looks"
        ways.append(f"level {min(levels):.3f} keeps {which} within every limit")
    return Finding("over", _about(worst), says, "; or ".join(ways) or "less load", SOURCES[worst.kind])


def _figures(found: Break) -> str:
    """The break without what it is about: what, how far, for how long, since when."""
    figures = str(found).rpartition(": ")[2]
    words = {"colour": "colour shift of", "dimming": "loss of light of", "reset": "down to"}
    if found.group is not None:
        return f"{words[found.kind]} {figures} at group {found.group}"
    return figures if found.kind == "supply" else f"its {found.kind} carries {figures}"


def _about(found: Break) -> str:
    if found.kind == "supply":
        return f"supply {found.where}"
    if found.kind in ("fuse", "cable"):
        return found.where
    return f"run {found.run}"


def _ways(scene: Scene, layout: Layout, found: Break) -> list[str]:
    if found.kind in ("colour", "dimming", "reset"):
        return ["bring in power at more places (`covecast feed` finds them)"]

    def never(_: Scene) -> Metered:
        raise AssertionError("supplies, fuses and cables are mended without metering again")

    return mends(scene, layout, found, never)


def _without_reserve(scene: Scene, metered: Sequence[Metered]) -> list[Finding]:
    """Supplies within the limit that the scene sets and yet beyond four fifths of their rating."""
    findings = []
    for s, (name, supply) in enumerate(scene.supply.items()):
        peaks = [(float(look.supply_a[:, s].max()), look.name) for look in metered]
        peak, look_name = max(peaks, default=(0.0, ""))
        limit = supply.amps * scene.limits.supply_fraction
        if supply.amps * RESERVE * (1 + 1e-9) < peak <= limit * (1 + 1e-9):
            says = f"{peak:.2f} A of {supply.amps:g} A in look {look_name}: the usual fifth in reserve is not kept"
            do = f"a supply of {peak / RESERVE:.1f} A or more, or limits.supply_fraction = 0.8"
            findings.append(Finding("caution", f"supply {name}", says, do, PRACTICE))
    return findings


def any_findings(scene: Scene, full: Metered, cap: Cap) -> list[Finding]:
    """What any content at all may pass. `full` is every colour of every group at full, metered; `cap` that of any content."""
    if cap.code == 255:
        return []
    passed = [str(found).rpartition(" for ")[0] for found in full.breaks]
    shown = "; ".join(passed[:3]) + (f"; and {len(passed) - 3} more" if len(passed) > 3 else "")
    says = f"everything at full would pass a limit ({shown})" if passed else "some level below full passes a limit"
    if not cap.holds:
        do = "mend the plan: not even darkness keeps its limits"
        return [Finding("over", "any content", says, do, LIMITS)]
    do = (
        f"hold the controller to level {cap.level:.3f} (code {cap.code} of 255), at which any content keeps every limit"
    )
    return [Finding("caution", "any content", says, do, LIMITS)]
