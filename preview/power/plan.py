"""The cheapest set of feeds that lets what is asked hold every limit, with a few others to weigh it against.

Chains of runs (`plan_chains`) meet only at their supply: its rating, and what its own resistance and the blocks' cables lose. Each chain
is planned on each supply that fits it (`plan_chain`), with what the others draw at most taken off the supply's volts. Which chain hangs on
which supply is tried from the cheapest sum upwards, until the whole plan, with its fuses, holds every moment on the exact network. Where
chains share a block's cable and the whole plan does not hold, the chain that fails is planned again with a little less drop allowed.

Nothing is given out that the meter rejects: every plan here has been solved whole, at every moment asked.

Leaves out: moving supplies and blocks, larger supplies, thicker blocks' cables and joins, cutting runs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from preview.power.cautions import source_findings, wire_findings
from preview.power.network import NetworkError
from preview.power.plan_chain import Rules
from preview.power.plan_circuits import circuits_of
from preview.power.plan_costs import plan_cost
from preview.power.plan_limits import why_none
from preview.power.plan_moments import Asked, Moments, failing, figures_of
from preview.power.plan_whole import Plan, WholePlanner
from preview.scene.layout import Layout
from preview.scene.model import Scene

__all__ = ["Advice", "Plan", "plan_feeds"]


@dataclass(frozen=True)
class Advice:
    """What is best, what else there is, and what is there now (None where it is no network at all).

    `kept`: what is there now holds and costs no more than the best, so that there is nothing to change.
    """

    best: Plan
    others: tuple[Plan, ...]
    present: Plan | None
    moments: Moments
    kept: bool = False


def plan_feeds(scene: Scene, layout: Layout, asked: Sequence[Asked], rules: Rules, *, others: bool = True) -> Advice:
    """The cheapest feeds for a scene, replacing those it has.

    `others` False leaves out the plans to weigh it against. Raises NoPlanError where no set of feeds holds, with what limits it.
    """
    moments = Moments(asked)
    planner, best = _cheapest(scene, layout, asked, rules, moments)
    found = planner.others(best) if others else ()
    least = min(found, key=lambda plan: plan.cost, default=best)
    if (
        least.cost < best.cost - 1e-9
    ):  # where nothing is proved, a plan made with another end in view may turn out cheaper
        best, found = replace(least, name=best.name), tuple(plan for plan in found if plan is not least)
    return Advice(best, found, _present(scene, layout, moments, rules), moments)


def _cheapest(
    scene: Scene, layout: Layout, asked: Sequence[Asked], rules: Rules, moments: Moments
) -> tuple[WholePlanner, Plan]:
    """The cheapest plan of all ways to keep the circuits limited; of those that add supplies, the fewest that do."""
    found: list[tuple[WholePlanner, Plan]] = []
    planner: WholePlanner | None = None
    for circuits in circuits_of(scene, layout, moments, rules):
        planner = WholePlanner(circuits.scene, layout, circuits.rules, moments, circuits.added)
        plan = planner.best()
        if plan is None:
            continue
        found.append((planner, plan))
        if scene.limits.class2 and circuits.rules.single:
            continue  # supplies split in two may still be cheaper than one feed a circuit
        break
    if not found:
        assert planner is not None  # there is always one way at least
        raise why_none(planner.scene, layout, planner.chains, asked, moments, planner.rules, planner.failed)
    return min(found, key=lambda pair: pair[1].cost)


def _present(scene: Scene, layout: Layout, moments: Moments, rules: Rules) -> Plan | None:
    """The plan that is there, metered; None where it is no network."""
    try:
        broken = failing(scene, layout, moments)
        figures = figures_of(scene, layout, moments)
    except NetworkError:
        return None
    faults = [f for f in (*source_findings(scene), *wire_findings(scene)) if f.weight == "fault"]
    fault = f"{faults[0].about}: {faults[0].says}" if faults else None
    cost = plan_cost(rules.prices, scene.feed)
    return Plan("as it is", scene, cost, figures, broken=broken, fault=fault)
