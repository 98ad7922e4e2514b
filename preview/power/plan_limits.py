"""Why no set of feeds holds: what would still be passed if power came in at every cut point through the thickest cable.

Such a plan loses the least that feeds can lose. What it passes is then the supply's rating or volts, a block's cable, the length of the
cables or the strip's own copper; where it holds, the bound on feeds, fuses or ends is what stands in the way.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from preview.power.conductor_sets import root_supply
from preview.power.mend import SUPPLY_A
from preview.power.network import build
from preview.power.plan_chain import ChainPlanner, Rules
from preview.power.plan_chains import Chain
from preview.power.plan_moments import Asked, Failing, Moments, failing, figures_of
from preview.power.plan_needs import needs_of
from preview.power.solve import solve
from preview.power.strip import loads_of, volts_fit
from preview.scene.faults import CovecastError
from preview.scene.layout import Layout
from preview.scene.model import Feed, Scene

__all__ = ["NoPlanError", "why_none"]

MOST_POINTS = 64
"""Cut points of a chain that are fed at once."""


class NoPlanError(CovecastError):
    """No set of feeds holds what is asked; the message says what limits it."""

    @classmethod
    def without_supply(cls, scene: Scene, chains: Sequence[Chain]) -> NoPlanError:
        """Chains that no supply fits."""
        lines = [f"{scene.title}: no supply there is can feed"]
        for chain in chains:
            for r in chain.runs:
                run = scene.run[r]
                volts = scene.strip[run.strip].volts
                known = [f"{name} {s.volts:g} V" for name, s in scene.supply.items()]
                lines.append(
                    f"  run {run.name}: expected a supply of {volts:g} V with at_m, or --cable-m, found {', '.join(known)}"
                )
        return cls("\n".join(lines))


def why_none(
    scene: Scene,
    layout: Layout,
    chains: Sequence[Chain],
    asked: Sequence[Asked],
    moments: Moments,
    rules: Rules,
    failed: Failing | None,
) -> NoPlanError:
    """The error that says what limits a level that no set of feeds holds."""
    what = ", ".join(f"{one.name} at level {one.level:.3g}" for one in asked[:3])
    what += f" and {len(asked) - 3} more" if len(asked) > 3 else ""
    head = f"{scene.title}: no set of feeds holds {what}."
    own = _present_supplies(scene, layout, chains)
    full = _everywhere(scene, layout, chains, own, rules, moments, 1.0)
    found = None if full is None else failing(full, layout, moments)
    level = _level(full, asked) if found is not None and full is not None else ""
    if full is None:
        return NoPlanError(f"{head} No cable there is bears a fuse that the joins between the runs allow.")
    if found is None:
        return NoPlanError(f"{head} {_bounded(scene, chains, rules, failed)}")
    if found.kind == "supply":
        amps = figures_of(full, layout, moments).supply_peak_a[list(scene.supply).index(found.where)]
        return NoPlanError(f"{head} {_supply(scene, found.where, float(amps))}{level}{_unfit(scene)}")
    if found.kind == "cable":
        return NoPlanError(
            f"{head} The cable of {found.where} would carry {found.worst:.2f} A and may carry {found.limit:.3g} A;"
            f" feeds cannot change that.{level}"
        )
    name, number = layout.name_of(found.group) if found.group is not None else ("", 0)
    near = _everywhere(scene, layout, chains, own, rules, moments, 0.0)
    there = None if near is None else failing(near, layout, moments)
    where = f"group {number} of run {name}"
    terminals = None if near is None or there is None else _starved(near, layout, there)
    if there is None:
        says = f"The way is too long: even through the thickest cable to every cut point {where} falls short"
    elif terminals is not None:
        says = f"The supply's volts are too few: with {terminals:.2f} V at its very terminals {where} falls short"
    else:
        says = f"The strip's own copper limits it: with no loss in any cable {where} still falls short"
    return NoPlanError(f"{head} {says} ({_figures(found)}).{level}")


def _figures(found: Failing) -> str:
    if found.kind == "dimming":
        return f"{100 * found.worst:.1f} % of its light lost, {100 * found.limit:g} % allowed"
    if found.kind == "colour":
        return f"{found.worst:.1f} steps of shift, {found.limit:g} allowed"
    return f"{found.worst:.2f} V below what its chip needs"


def _supply(scene: Scene, name: str, amps: float) -> str:
    supply, fraction = scene.supply[name], scene.limits.supply_fraction
    rating = next((a for a in SUPPLY_A if a * fraction >= amps), None)
    do = f"a supply of {rating:g} A would" if rating is not None else "more supplies would, each for some of the runs,"
    return (
        f"The supply limits it: {name} would have to give {amps:.2f} A, and its {supply.amps:g} A allow"
        f" {supply.amps * fraction:.2f} A for hours on end; {do} do."
    )


def _unfit(scene: Scene) -> str:
    """Supplies that light no strip of the scene as it should be lit, whatever they could give."""
    rated = sorted({scene.strip[run.strip].volts for run in scene.run})
    unfit = [name for name, s in scene.supply.items() if not any(volts_fit(s.volts, volts) for volts in rated)]
    if not unfit:
        return ""
    listed = ", ".join(f"supply {name} of {scene.supply[name].volts:g} V" for name in unfit)
    return f" No strip here ({', '.join(f'{volts:g} V' for volts in rated)}) goes with {listed}."


def _level(full: Scene, asked: Sequence[Asked]) -> str:
    """Up to which level feeds could hold what is asked."""
    caps = [(one.cap(full), one) for one in asked if one.cap is not None]
    short = [(cap, one) for cap, one in caps if cap.level < one.level - 1e-9]
    if not short:
        return ""
    if any(not cap.holds for cap, _ in short):
        return " No level holds, not even darkness."
    cap, one = min(short, key=lambda pair: pair[0].level / pair[1].level)
    return f" Feeds alone can hold {one.name} up to level {int(1000 * cap.level) / 1000:.3f}."


def _bounded(scene: Scene, chains: Sequence[Chain], rules: Rules, failed: Failing | None) -> str:
    """What stands in the way where feeding every cut point would hold."""
    bounds = []
    if rules.single:
        bounds.append("one fused circuit for each set of joined runs, as a limited source allows")
    if rules.most_feeds is not None:
        bounds.append(f"at most {rules.most_feeds} feed{'s' * (rules.most_feeds > 1)} for each set of joined runs")
    if rules.ends_only:
        bounds.append("feeds at the ends of runs alone")
    if failed is not None and failed.kind in ("supply", "fuse", "cable"):
        name = {"supply": f"supply {failed.where}", "fuse": f"the fuse of {failed.where}", "cable": failed.where}
        return f"{name[failed.kind]} would carry {failed.worst:.2f} A, {failed.limit:.2f} A are allowed."
    if bounds:
        return (
            f"With {' and '.join(bounds)} the strip's own copper, or the largest fuse that a cable bears, limits it:"
            " allow more places where power enters."
        )
    return "No plan was found, though feeding every cut point would hold: shorten the cables, or plan by hand."


def _present_supplies(scene: Scene, layout: Layout, chains: Sequence[Chain]) -> list[str]:
    """The supply of each chain now where its volts fit, else the one that fits best."""
    own = []
    for chain in chains:
        runs = {scene.run[r].name for r in chain.runs}
        volts = scene.strip[scene.run[chain.runs[0]].strip].volts
        now = [root_supply(scene, feed.from_) for feed in scene.feed if feed.run in runs]
        now = [name for name in now if volts_fit(scene.supply[name].volts, volts)]
        nearest = min(scene.supply, key=lambda name: abs(scene.supply[name].volts - volts))
        own.append(now[0] if now else nearest)
    return own


def _everywhere(
    scene: Scene, layout: Layout, chains: Sequence[Chain], own: list[str], rules: Rules, moments: Moments, length: float
) -> Scene | None:
    """The scene with every permitted cut point fed through the thickest cable, its length times `length`."""
    feeds: list[Feed] = []
    for chain, supply in zip(chains, own, strict=True):
        planner = ChainPlanner(scene, layout, rules, chain, supply, moments)
        rows = [row for row in planner.options(rules.prices, rules.sizes) if row]
        if not rows:
            return None
        points = sorted({*np.linspace(0, len(rows) - 1, min(MOST_POINTS, len(rows))).astype(int).tolist()})
        for feed in planner.feeds([min(rows[i], key=lambda o: (o.ohm, o.price)) for i in points]):
            cable = feed.cable.model_copy(update={"length_m": feed.cable.length_m * length})
            contact = feed.contact_milliohm if length else 0.0
            feeds.append(feed.model_copy(update={"cable": cable, "contact_milliohm": contact}))
    return scene.model_copy(update={"feed": tuple(feeds)})


def _starved(near: Scene, layout: Layout, found: Failing) -> float | None:
    """The volts at the terminals of a supply, with no loss in any cable, where even they are too few for a group; else None."""
    if found.group is None:
        return None
    run, _ = layout.name_of(found.group)
    supply = root_supply(near, next(feed.from_ for feed in near.feed if feed.run == run))
    number = list(near.supply).index(supply)
    volts = float(solve(build(near, layout), found.codes[None]).supply_v[0, number])
    highest = max(s.volts for s in near.supply.values())
    needs = needs_of(near, layout, loads_of(layout), highest, found.codes[None])
    return volts if needs.volts[0, found.group] > volts - 0.01 else None
