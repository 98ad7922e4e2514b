"""The cheapest feeds of one chain of runs on one supply that hold every moment on the exact network.

The walk of `plan_search` lists the sets of feeds that may be cheapest, with a few moments only: those that draw most. They are put into the
plan and solved, cheapest first. A moment that such a plan does not hold joins those that are walked with, and the walk starts again:
fewer moments can only make the cheapest plan cheaper, so the one that holds them all in the end is the cheapest for all.

A plan that is known to hold keeps the walk short. It is found first with few cut points and one size of cable throughout, then with few cut
points and every size. Where a chain has more than `NODES` cut points, as many are searched together, and those around what was
found afterwards; at last all are, which proves the answer if it ends within `WORK`.

Where the first plans fail for the supply's rating, no others are tried: feeds hardly change what is drawn.

Sets of runs that branch or close a ring are planned from the ends of all runs downwards, leaving out, thinning and moving one feed at a
time while the plan holds; a ring also as the chains that it opens to. That is good, not proved.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from preview.power.conductor_sets import root_supply
from preview.power.network import build
from preview.power.plan_chains import Chain, Option, options_of, way_ohm
from preview.power.plan_costs import Prices, Size
from preview.power.plan_moments import Codes, Moments, failing, figures_of
from preview.power.plan_needs import needs_of
from preview.power.plan_search import CLOSE_V, MOST_LABELS, Found, Grade, search
from preview.power.strip import loads_of
from preview.scene.layout import Floats, Layout, lay_out
from preview.scene.model import Feed, Scene

__all__ = ["ChainPlanner", "Planned", "Rules"]

NODES = 48
"""Cut points of one chain that are searched together."""

TRIES = 60
"""Plans of one walk that are put on the exact network."""

BEAM = 300
"""Partial plans carried on from one cut point where the answer cannot be proved anyway."""

WORK = 60_000
"""Partial plans times moments after which a long chain's answer is left unproved."""

ROUNDS, SHIFT = 4, 2
"""Times that the feeds of runs which are no chain are gone through, and cut points by which one is moved."""

COARSE = 9
"""Cut points of the first walks, besides the ends of runs."""


@dataclass(frozen=True)
class Rules:
    """How to plan: prices, sizes, lengths (`plan_ways.feed_lengths_m`), contacts and fuses in milliohm, and bounds.

    `fuse_most_a` bounds every fuse, by supply, as where circuits must be limited; `single` supplies may enter a chain only once.
    """

    prices: Prices
    sizes: tuple[Size, ...]
    lengths_m: Mapping[str, Sequence[Floats | None]]
    contact_milliohm: float = 5.0
    fuse_milliohm: float = 0.0
    ends_only: bool = False
    most_feeds: int | None = None
    fuse_most_a: Mapping[str, float] = field(default_factory=dict)
    single: frozenset[str] = frozenset()
    check: Callable[[], None] = field(default=lambda: None)


@dataclass(frozen=True)
class Planned:
    """Feeds for a chain that hold alone. `proved`: no cheaper ones were missed."""

    options: tuple[Option, ...]
    cost: float
    proved: bool


class _Unwalked(Exception):
    """A plan failed only at a moment that was not walked with."""

    def __init__(self, codes: Codes) -> None:
        super().__init__()
        self.codes = codes


class ChainPlanner:
    """Plans one chain on one supply. What is learnt of hard moments is kept from call to call."""

    def __init__(
        self,
        scene: Scene,
        layout: Layout,
        rules: Rules,
        chain: Chain,
        supply: str,
        moments: Moments,
        others_a: float = 0.0,
    ) -> None:
        self.layout, self.rules, self.chain, self.supply, self.moments = layout, rules, chain, supply, moments
        self.loads = loads_of(layout)
        self.sources = [name for name in (*scene.supply, *scene.block) if root_supply(scene, name) == supply]
        self.bound_a = rules.fuse_most_a.get(supply, np.inf)
        self.most_feeds = 1 if supply in rules.single else rules.most_feeds
        self.slack_v = CLOSE_V
        self.overloaded = False  # the last plan tried failed for the supply's rating, which feeds hardly change
        self.known: dict[float, Planned | None] = {}  # what was found with each slack
        self.part = np.sort(chain.groups)
        runs = tuple(scene.run[r] for r in sorted(chain.runs))
        names = {run.name for run in runs}
        joins = tuple(join for join in scene.join if join.from_ in names and join.to in names)
        # what the other chains on the supply draw costs volts inside it
        own = scene.supply[supply]
        lowered = own.model_copy(update={"volts": own.volts - own.output_milliohm / 1000 * others_a})
        self.scene = scene.model_copy(update={"run": runs, "join": joins, "supply": {**scene.supply, supply: lowered}})
        self.whole = scene
        self.own_layout = lay_out(self.scene)
        sets = [chain.groups, *(np.arange(layout.first[r], layout.first[r + 1]) for r in chain.runs)]
        self.walked = moments.hardest(layout, sets)

    def options(self, prices: Prices, sizes: Sequence[Size], ends_only: bool = False) -> list[list[Option]]:
        """The options of every node at some prices."""
        rules, ends = self.rules, set(self.chain.ends.tolist())
        ends_only |= rules.ends_only
        rows = options_of(
            self.whole, self.chain, self.sources, rules.lengths_m, sizes, prices,
            contact_milliohm=rules.contact_milliohm, fuse_milliohm=rules.fuse_milliohm, fuse_most_a=self.bound_a,
        )  # fmt: skip
        return [row if not ends_only or node in ends else [] for node, row in enumerate(rows)]

    def feeds(self, options: Sequence[Option]) -> tuple[Feed, ...]:
        """Options as feeds of the scene, their fuses still to be chosen."""
        return tuple(
            Feed.model_validate(
                {
                    "from": option.source,
                    "run": self.whole.run[int(self.chain.node_run[option.node])].name,
                    "at_m": self._at_m(option.node),
                    "cable": option.size.cable(option.length_m),
                    "contact_milliohm": self.rules.contact_milliohm,
                    "fuse_milliohm": self.rules.fuse_milliohm,
                }
            )
            for option in options
        )

    def _at_m(self, node: int) -> float:
        """Metres along its run of a node, to a tenth of a millimetre, or finer where cut points lie closer."""
        cut_m = float(self.layout.cut_m[self.chain.node_run[node]])
        return round(float(self.chain.node_cut[node]) * cut_m, 4 if cut_m > 0.002 else 7)

    def _holds(self, options: Sequence[Option]) -> bool:
        """Whether feeds hold every moment; raises _Unwalked where the moments walked with are all held and another is not."""
        plan = self.scene.model_copy(update={"feed": self.feeds(options)})
        most = np.array([option.most_a for option in options])
        network = build(plan, self.own_layout)
        walked = np.stack(self.walked)[:, self.part]
        found = failing(plan, self.own_layout, [walked], most, network)
        if found is not None:
            self.overloaded = found.kind == "supply"
            return False
        found = failing(plan, self.own_layout, (block[:, self.part] for block in self.moments), most, network)
        if found is None:
            return True
        codes = np.zeros((self.layout.groups, self.layout.colours), dtype=np.uint8)
        codes[self.part] = found.codes
        raise _Unwalked(codes)

    def best(
        self,
        prices: Prices | None = None,
        sizes: Sequence[Size] | None = None,
        *,
        ends_only: bool = False,
        strict: float = 1.0,
        prove: bool = True,
    ) -> Planned | None:
        """The cheapest feeds that hold, or None.

        `prices`, `sizes` and `ends_only` differ from the rules' where given; `strict` is the share of the scene's shift and dimming that
        may be used. `prove` False spares the last walk over all cut points of a long chain.
        """
        plain = prices is None and sizes is None and not ends_only and strict == 1.0 and prove
        if plain and self.slack_v in self.known:
            return self.known[self.slack_v]
        prices, sizes = prices or self.rules.prices, tuple(sizes or self.rules.sizes)
        options = self.options(prices, sizes, ends_only)
        if not any(options):
            return None
        if strict != 1.0:
            limits = self.scene.limits
            tight = limits.model_copy(
                update={"colour_steps": limits.colour_steps * strict, "dimming": limits.dimming * strict}
            )
            kept = self.scene
            self.scene = kept.model_copy(update={"limits": tight})
            try:
                return self.best(prices, sizes, ends_only=ends_only, prove=prove)
            finally:
                self.scene = kept
        while True:
            try:
                path = self.chain.is_path
                found = (
                    self._best(options, sizes, prove) if path else self._unchained(options, prices, sizes, ends_only)
                )
                found = found and self._settled(found, options)
            except _Unwalked as missed:
                self.walked.append(missed.codes)
                continue
            if plain:
                self.known[self.slack_v] = found
            return found

    def _search(
        self, options: Sequence[Sequence[Option]], most_cost: float, most_labels: int, slack_v: float, most_work: float
    ) -> Grade:
        supply = self.scene.supply[self.supply]
        codes = np.stack(self.walked)
        needs = needs_of(
            self.whole.model_copy(update={"limits": self.scene.limits}), self.layout, self.loads, supply.volts, codes
        ).of(self.chain.groups)
        emf = supply.volts - supply.output_milliohm / 1000 * needs.least_a.sum(axis=1)
        return search(
            self.loads,
            self.chain,
            needs,
            options,
            emf_v=emf,
            source_ohm={name: way_ohm(self.whole, name) for name in self.sources},
            most_cost=most_cost,
            most_feeds=self.most_feeds,
            most_labels=most_labels,
            most_work=most_work,
            slack_v=slack_v,
            check=self.rules.check,
        )

    def _first(self, grade: Grade, tries: int) -> tuple[Found | None, bool, int]:
        """The cheapest plan that holds, whether none was passed over untried, and how many did not hold."""
        for number, plan in enumerate(grade.plans):
            if number == tries:
                return None, False, number
            if self._holds(plan.options):
                return plan, grade.complete, number
        return None, grade.complete, len(grade.plans)

    def _best(self, options: list[list[Option]], sizes: Sequence[Size], prove: bool) -> Planned | None:
        nodes = len(options)
        ends = self.chain.ends.tolist()
        coarse = {*ends, *_spread(nodes, COARSE)}
        best: Found | None = None

        def better(rows: list[list[Option]], tries: int, most_labels: int = BEAM, work: float = np.inf) -> bool:
            nonlocal best
            sure = True
            for slack_v in (self.slack_v, self.slack_v - 2 * CLOSE_V):
                bound = np.inf if best is None else best.cost
                found, all_tried, failed = self._first(self._search(rows, bound, most_labels, slack_v, work), tries)
                sure &= all_tried
                if found is not None and (best is None or found.cost < best.cost - 1e-9):
                    best = found
                # plans that fail by a hair have beaten others in the walk: they are kept out of a second one
                if not failed or tries < TRIES:
                    break
            return sure

        for size in sizes:
            better(_only(options, coarse, size), 3)
        better(_only(options, coarse), 12)
        if best is None and self.overloaded:
            return None
        if nodes <= NODES:
            proved = better(_only(options, range(nodes)), TRIES, MOST_LABELS)
            return None if best is None else Planned(best.options, best.cost, proved)
        step = -(-nodes // (NODES - len(ends)))
        better(_only(options, {*ends, *range(0, nodes, step)}), TRIES)
        while best is not None:
            before = best.cost
            near = {n for o in best.options for n in range(o.node - step, o.node + step + 1) if 0 <= n < nodes}
            better(_only(options, {*ends, *_thinned(sorted(near), NODES)}), TRIES)
            if best.cost >= before - 1e-9 and step <= 1:
                break
            step = step if best.cost < before - 1e-9 else step // 2
        proved = prove and best is not None and better(options, TRIES, MOST_LABELS, WORK)
        return None if best is None else Planned(best.options, best.cost, proved)

    def _unchained(
        self, options: list[list[Option]], prices: Prices, sizes: Sequence[Size], ends_only: bool
    ) -> Planned | None:
        """For sets of runs that are no chain: a ring as the chains that it opens to; and from every end fed thickly downwards."""
        starts = []
        for chain in self.chain.opened:
            planner = ChainPlanner(self.whole, self.layout, self.rules, chain, self.supply, self.moments)
            planner.scene, planner.walked = self.scene, self.walked  # the ring stays closed where plans are tried
            found = planner.best(prices, sizes, ends_only=ends_only, prove=False)
            if found is not None:
                starts.append([self._here(chain, option) for option in found.options])
        if self.most_feeds is None:
            ends = [options[node] for node in self.chain.ends.tolist() if options[node]]
            starts.append([min(row, key=lambda o: (o.ohm, o.price)) for row in ends])
        plans = [plan for start in starts if (plan := self._descend(start, options)) is not None]
        return min(plans, key=lambda plan: plan.cost, default=None)

    def _here(self, chain: Chain, option: Option) -> Option:
        """An option of an opened ring at this chain's own node."""
        same = (self.chain.node_run == chain.node_run[option.node]) & (
            self.chain.node_cut == chain.node_cut[option.node]
        )
        return replace(option, node=int(np.flatnonzero(same)[0]))

    def _descend(self, start: list[Option], options: list[list[Option]]) -> Planned | None:
        """From feeds that hold downwards, leaving out, thinning and moving one at a time."""
        if not start or not self._holds(start):
            return None
        best = start
        for _ in range(ROUNDS):
            before = _cost(best)
            for option in sorted(best, key=lambda o: -o.price):
                fewer = [o for o in best if o is not option]
                if fewer and self._holds(fewer):
                    best = fewer
            for near in (0, SHIFT):
                for option in list(best):
                    best = self._cheaper(best, option, options, near)
            if _cost(best) > before - 1e-9:
                break
        return Planned(tuple(sorted(best, key=lambda o: o.node)), _cost(best), False)

    def _cheaper(self, best: list[Option], option: Option, options: list[list[Option]], near: int) -> list[Option]:
        """With one feed in the cheapest way that holds, up to `near` cut points away."""
        self.rules.check()
        taken = {o.node for o in best} - {option.node}
        places = range(max(option.node - near, 0), min(option.node + near + 1, len(options)))
        ways = [o for n in places if n not in taken for o in options[n] if o.price < option.price - 1e-9]
        for way in sorted(ways, key=lambda o: o.price):
            trial = [way if o is option else o for o in best]
            if self._holds(trial):
                return trial
        return best

    def _settled(self, found: Planned, options: list[list[Option]]) -> Planned:
        """Of plans that cost the same, one feed moved at a time, the one that shifts and dims least and then loses least."""
        best, strain = list(found.options), self._strain(found.options)
        moved = True
        while moved:
            moved = False
            for i, option in enumerate(best):
                taken = {o.node for o in best} - {option.node}
                for step in (-1, 1):
                    node = option.node + step
                    while 0 <= node < len(options) and node not in taken:
                        alike = [
                            o for o in options[node] if abs(o.price - option.price) < 1e-9 and o.source == option.source
                        ]
                        other = next((o for o in alike if o.size == option.size), None)
                        if other is None:
                            break
                        trial = [*best[:i], other, *best[i + 1 :]]
                        better = self._strain(trial)
                        if better < strain and self._holds(trial):
                            best, strain, moved = trial, better, True
                        node += step
        return Planned(tuple(best), found.cost, found.proved)

    def _strain(self, options: Sequence[Option]) -> tuple[float, float]:
        """How near the moments walked with come to the limits of light, to a thousandth, and what is lost in conductors."""
        plan = self.scene.model_copy(update={"feed": self.feeds(options)})
        figures = figures_of(plan, self.own_layout, [np.stack(self.walked)[:, self.part]])
        limits = plan.limits
        return round(
            max(figures.colour_steps / limits.colour_steps, figures.dimming / limits.dimming), 3
        ), figures.conductor_w


def _cost(options: Sequence[Option]) -> float:
    return sum(option.price for option in options)


def _spread(nodes: int, count: int) -> list[int]:
    return np.linspace(0, nodes - 1, min(count, nodes)).astype(int).tolist()


def _thinned(nodes: list[int], count: int) -> list[int]:
    return [nodes[i] for i in _spread(len(nodes), count)] if len(nodes) > count else nodes


def _only(options: list[list[Option]], nodes: Iterable[int], size: Size | None = None) -> list[list[Option]]:
    """The options at some nodes alone, of one size alone where given."""
    allowed = set(nodes)
    return [
        [option for option in row if size is None or option.size == size] if node in allowed else []
        for node, row in enumerate(options)
    ]
