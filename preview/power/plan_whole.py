"""A plan for the whole scene, put together of plans for its chains: which supply each chain hangs on, and a fuse in every feed.

The chains of one supply cost each other volts inside it. So each is planned with what the others draw, the plan is metered as a whole, and
a chain that then passes a limit is planned again with fewer volts to lose.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from preview.power.conductor_sets import root_supply
from preview.power.conductors import ampacity_a
from preview.power.fusing import fuse_for
from preview.power.plan_chain import ChainPlanner, Planned, Rules
from preview.power.plan_chains import Chain, chains_of
from preview.power.plan_circuits import with_negatives
from preview.power.plan_costs import Size, plan_cost
from preview.power.plan_limits import NoPlanError
from preview.power.plan_moments import Failing, Figures, Moments, failing, figures_of
from preview.power.strip import volts_fit
from preview.scene.feed_names import feed_number
from preview.scene.layout import Floats, Layout
from preview.scene.model import Feed, Scene

__all__ = ["Plan", "WholePlanner"]

ASSIGNMENTS = 12
"""Ways to share the chains out over the supplies that are planned in full."""

MOST_WAYS = 4096
"""Ways that are compared by their sums; with more the chains stay on the supplies they have."""

TIGHTER_V = (0.0, 0.005, 0.02, 0.05, 0.1, 0.2, 0.4)
"""Volts taken off what chains may lose, one after the other, where a plan whose chains hold alone does not hold as a whole."""


@dataclass(frozen=True)
class Plan:
    """A plan for the whole scene that holds, or the one that is there."""

    name: str
    scene: Scene
    cost: float
    figures: Figures
    proved: bool = False
    broken: Failing | None = None
    fault: str | None = None  # what is wrong with it whatever plays

    @property
    def holds(self) -> bool:
        """Whether it keeps every limit and has no electrical fault."""
        return self.broken is None and self.fault is None

    @property
    def feeds(self) -> tuple[Feed, ...]:
        """Its feeds, in the order of the runs."""
        return self.scene.feed

    @property
    def cable_m(self) -> float:
        """Metres of two-core cable to its feeds."""
        return sum(feed.cable.length_m for feed in self.scene.feed)


class WholePlanner:
    """Plans for all chains of a scene together, by one set of rules."""

    def __init__(self, scene: Scene, layout: Layout, rules: Rules, moments: Moments, added: int) -> None:
        self.scene, self.layout, self.rules = scene, layout, rules
        self.moments, self.added = moments, added
        self.chains = chains_of(scene, layout)
        self.draw_a = self._draw()
        self.planners: dict[tuple[int, str, float], ChainPlanner] = {}
        self.like = self._alike()
        self.assignment: tuple[str, ...] = ()
        self.failed: Failing | None = None  # what the first way to share out the chains passes

    def _alike(self) -> dict[str, str]:
        """For each supply the first that is its like in every respect that counts."""
        keys: dict[object, str] = {}
        blocked = {root_supply(self.scene, block) for block in self.scene.block}
        found = {}
        for name, s in self.scene.supply.items():
            lengths = id(self.rules.lengths_m[name])
            key = name if name in blocked else (s.volts, s.amps, s.output_milliohm, lengths)
            found[name] = keys.setdefault(key, name)
        return found

    def _draw(self) -> Floats:
        """Amps (F, K) that the chains draw at most, moment by moment."""
        rows = []
        for block in self.moments:
            amps = [
                np.einsum("fgc,gc->f", block[:, c.groups], self.layout.rated_a[c.groups]) / 255
                + self.layout.idle_a[c.groups].sum()
                for c in self.chains
            ]
            rows.append(np.stack(amps, axis=1))
        return np.concatenate(rows)

    def suppliers(self, chain: Chain) -> list[str]:
        """The supplies that a chain could hang on: of the right volts, and with a length of cable to it."""
        strips = {self.scene.run[r].strip for r in chain.runs}
        found = []
        for name, supply in self.scene.supply.items():
            fits = all(volts_fit(supply.volts, self.scene.strip[s].volts) for s in strips)
            sources = [n for n in (*self.scene.supply, *self.scene.block) if root_supply(self.scene, n) == name]
            if fits and any(self.rules.lengths_m[n][r] is not None for n in sources for r in chain.runs):
                found.append(name)
        return found

    def planner(self, k: int, supply: str, others_a: float) -> ChainPlanner:
        """The planner of a chain on a supply whose other chains draw `others_a` at most."""
        key = (k, supply, round(others_a, 6) if self.scene.supply[supply].output_milliohm else 0.0)
        if key not in self.planners:
            self.planners[key] = ChainPlanner(
                self.scene, self.layout, self.rules, self.chains[k], supply, self.moments, key[2]
            )
        return self.planners[key]

    def best(self) -> Plan | None:
        """The cheapest plan that holds, or None."""
        for number, way in enumerate(self._ways()):
            plan = self._whole(way, "cheapest", lambda planner: planner.best())
            if isinstance(plan, Plan):
                self.assignment = way
                return replace(plan, proved=plan.proved and number == 0 and self._is_least(way, plan))
            self.failed = self.failed or plan
        return None

    def _is_least(self, way: Sequence[str], plan: Plan) -> bool:
        """Whether the plan costs no more than its chains would if none cost another any volts."""
        if len(way) == 1:
            return True
        if any(join.carries == "negative" for join in plan.scene.join):
            return False
        alone = [self.planner(k, self.like[name], 0.0).best() for k, name in enumerate(way)]
        least = sum(p.cost for p in alone if p is not None and p.proved)
        return plan.cost <= least + self.added * self.rules.prices.supply + 1e-6

    def _ways(self) -> Iterator[tuple[str, ...]]:
        """Supplies for the chains, from the cheapest sum upwards; sums that leave out what the chains cost each other."""
        choices = [self.suppliers(chain) for chain in self.chains]
        missing = [k for k, names in enumerate(choices) if not names]
        if missing:
            raise NoPlanError.without_supply(self.scene, [self.chains[k] for k in missing])
        if np.prod([float(len(names)) for names in choices]) > MOST_WAYS:
            yield tuple(self._own(k, names)[0] for k, names in enumerate(choices))
            packed = self._packed(choices)
            if packed is not None:
                yield packed
            return
        if all(len(names) == 1 for names in choices):
            yield tuple(names[0] for names in choices)
            return
        costs: list[dict[str, float]] = []
        for k, names in enumerate(choices):
            planned = {name: self.planner(k, self.like[name], 0.0).best() for name in names}
            costs.append({name: p.cost for name, p in planned.items() if p is not None})
        ways = {self._key(way): way for way in itertools.product(*(list(c) for c in costs)) if self._may_carry(way)}
        order = sorted(ways.values(), key=lambda way: sum(c[name] for c, name in zip(costs, way, strict=True)))
        yield from order[:ASSIGNMENTS]

    def _key(self, way: Sequence[str]) -> tuple[tuple[str, int], ...]:
        """The same for ways that differ only in which of several like supplies is which."""
        order: dict[str, list[str]] = {}
        found = []
        for name in way:
            names = order.setdefault(self.like[name], [])
            if name not in names:
                names.append(name)
            found.append((self.like[name], names.index(name)))
        return tuple(found)

    def _packed(self, choices: Sequence[Sequence[str]]) -> tuple[str, ...] | None:
        """The chains that draw most first, each on the first supply that still carries it; None where one is left over."""
        way: dict[int, str] = {}
        for k in sorted(range(len(choices)), key=lambda k: -float(self.draw_a[:, k].max())):
            for name in choices[k]:
                mine = [j for j, other in way.items() if other == name] + [k]
                supply = self.scene.supply[name]
                if self.draw_a[:, mine].sum(axis=1).max() <= supply.amps * self.scene.limits.supply_fraction:
                    way[k] = name
                    break
            else:
                return None
        return tuple(way[k] for k in range(len(choices)))

    def _own(self, k: int, names: list[str]) -> list[str]:
        """The supply that a chain hangs on now, if it is one of those named."""
        runs = {self.scene.run[r].name for r in self.chains[k].runs}
        now = [root_supply(self.scene, feed.from_) for feed in self.scene.feed if feed.run in runs]
        return [next((name for name in now if name in names), names[0])]

    def _may_carry(self, way: Sequence[str]) -> bool:
        """Whether the supplies could carry a share of the chains, if every group lost as much light as it may."""
        least = 1 - self.scene.limits.dimming
        for name, supply in self.scene.supply.items():
            mine = [k for k, other in enumerate(way) if other == name]
            if (
                mine
                and least * self.draw_a[:, mine].sum(axis=1).max() > supply.amps * self.scene.limits.supply_fraction
            ):
                return False
        return True

    def _others_a(self, way: Sequence[str], k: int) -> float:
        mine = [j for j, name in enumerate(way) if name == way[k] and j != k]
        return float(self.draw_a[:, mine].sum(axis=1).max()) if mine else 0.0

    def _whole(
        self, way: Sequence[str], name: str, plan: Callable[[ChainPlanner], Planned | None]
    ) -> Plan | Failing | None:
        """The chains' plans put together, fused and metered; what fails, or None, where that cannot be done."""
        planners = [self.planner(k, supply, self._others_a(way, k)) for k, supply in enumerate(way)]
        level = [0] * len(planners)
        found: list[Planned | None] = [plan(planner) for planner in planners]
        loosened = [planner.slack_v for planner in planners]
        try:
            while True:
                chosen = [p for p in found if p is not None]
                if len(chosen) < len(found):
                    return None
                scene = self._scene(planners, chosen)
                broken = failing(scene, self.layout, self.moments, self._most(planners, chosen))
                if broken is None:
                    figures = figures_of(scene, self.layout, self.moments)
                    fused = self._fused(scene, planners, chosen, figures)
                    if fused is not None:
                        proved = all(p.proved for p in chosen)
                        cost = plan_cost(self.rules.prices, fused.feed) + self.added * self.rules.prices.supply
                        return Plan(name, fused, cost, figures, proved)
                    return None
                k = self._chain_at(broken, planners, chosen)
                if k is None or level[k] + 1 >= len(TIGHTER_V):
                    return broken
                level[k] += 1
                planners[k].slack_v = loosened[k] - TIGHTER_V[level[k]]
                found[k] = plan(planners[k])
        finally:
            for planner, slack in zip(planners, loosened, strict=True):
                planner.slack_v = slack

    def _chain_at(self, broken: Failing, planners: list[ChainPlanner], chosen: list[Planned]) -> int | None:
        """The chain that a limit belongs to; None where it is the supply's, a block's or a join's."""
        if broken.group is not None:
            return next(k for k, chain in enumerate(self.chains) if broken.group in chain.groups)
        number = feed_number(broken.where)
        if number is not None:
            for k in self._order(planners):
                if number < len(chosen[k].options):
                    return k
                number -= len(chosen[k].options)
        return None

    def _order(self, planners: list[ChainPlanner]) -> list[int]:
        return sorted(range(len(planners)), key=lambda k: min(planners[k].chain.runs))

    def _scene(self, planners: list[ChainPlanner], chosen: list[Planned]) -> Scene:
        feeds = [feed for k in self._order(planners) for feed in planners[k].feeds(chosen[k].options)]
        return with_negatives(self.scene.model_copy(update={"feed": tuple(feeds)}))

    def _most(self, planners: list[ChainPlanner], chosen: list[Planned]) -> Floats:
        return np.array([o.most_a for k in self._order(planners) for o in chosen[k].options])

    def _fused(
        self, scene: Scene, planners: list[ChainPlanner], chosen: list[Planned], figures: Figures
    ) -> Scene | None:
        """With a fuse in every feed; None where one would have to be too large.

        It is the smallest that carries everything at full, should somebody try that; where the cable is too thin for it, the smallest
        that carries what is asked.
        """
        full = np.full((1, self.layout.groups, self.layout.colours), 255, dtype=np.uint8)
        at_full = figures_of(scene, self.layout, [full]).feed_peak_a
        bounds = [
            min(ampacity_a(o.size.cable(1.0)), planners[k].chain.fuse_most_a, planners[k].bound_a)
            for k in self._order(planners)
            for o in chosen[k].options
        ]
        feeds = []
        fraction = scene.limits.fuse_fraction
        for feed, peak, most, bound in zip(scene.feed, figures.feed_peak_a, at_full, bounds, strict=True):
            fuse = fuse_for(float(max(most, peak)), fraction, bound) or fuse_for(float(peak), fraction, bound)
            if fuse is None:
                return None
            feeds.append(feed.model_copy(update={"fuse_a": float(fuse)}))
        return scene.model_copy(update={"feed": tuple(feeds)})

    def others(self, best: Plan) -> tuple[Plan, ...]:
        """A few other plans that hold and that somebody may prefer."""
        prices = self.rules.prices
        found: list[Plan] = []
        seen = {_key(best)}

        def offer(name: str, plan: Callable[[ChainPlanner], Planned | None], keep: Callable[[Plan], bool]) -> None:
            self.rules.check()
            other = self._whole(self.assignment, name, plan)
            if isinstance(other, Plan) and _key(other) not in seen and keep(other):
                seen.add(_key(other))
                found.append(replace(other, proved=False))

        sparing = replace(prices, feed=prices.feed + max(10 * best.cost, 1.0))
        if len(best.feeds) > len(self.chains):
            offer(
                "fewer feeds", lambda p: p.best(sparing, prove=False), lambda other: len(other.feeds) < len(best.feeds)
            )
        if any(not self._at_end(feed) for feed in best.feeds) and not self.rules.ends_only:
            offer("run ends only", lambda p: p.best(ends_only=True, prove=False), lambda _: True)
        if len({(f.cable.mm2, f.cable.awg) for f in best.feeds}) > 1:
            for size in self._one_size(best):
                before = len(found)
                offer(f"{size} throughout", lambda p, size=size: p.best(sizes=(size,), prove=False), lambda _: True)  # type: ignore[misc]
                if len(found) > before:
                    break
        offer("half the drop", lambda p: p.best(strict=0.5, prove=False), lambda _: True)
        return tuple(found)

    def _one_size(self, best: Plan) -> list[Size]:
        """Sizes from the thickest that the best plan uses upwards, after the one below it."""
        thickest = max(f.cable.mm2 or 0.0 for f in best.feeds), min((f.cable.awg or 99) for f in best.feeds)
        sizes = sorted(self.rules.sizes, key=lambda s: s.section_mm2)
        at = next((i for i, s in enumerate(sizes) if s.number in thickest), 0)
        return sizes[max(at - 1, 0) :]

    def _at_end(self, feed: Feed) -> bool:
        r = self.layout.run_names.index(feed.run)
        return not 1e-6 < feed.at_m < float(self.layout.length_m[r]) - 0.5 * float(self.layout.cut_m[r])


def _key(plan: Plan) -> tuple[object, ...]:
    return tuple(sorted((f.from_, f.run, f.at_m, f.cable.mm2, f.cable.awg, f.cable.length_m) for f in plan.feeds))
