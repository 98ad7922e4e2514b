"""The runs of a plan as chains of groups that one supply must power, and the feeds that each could have.

Runs whose positives are joined form one set, and it must have one supply: two that meet at a positive would push against each other. Where
every run of a set has at most one join that carries power at either end and none closes a ring, the set is a chain: a row of
groups with two rails, `nodes` between them where power can enter. Both rails are taken together as one resistance, which is exact where
they have the same or where power enters once, and close elsewhere; what is planned with it is metered on the exact network.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from preview.power.conductor_sets import conductor_sets
from preview.power.conductors import ampacity_a, cable_ohm_20c, temperature_factor
from preview.power.fusing import largest_fuse
from preview.power.plan_costs import Prices, Size
from preview.scene.layout import Floats, Ints, Layout
from preview.scene.model import Block, Join, Scene

__all__ = ["Chain", "Option", "chains_of", "options_of", "way_ohm"]


@dataclass(frozen=True)
class Chain:
    """Runs whose positives are one. M nodes, M − 1 steps between them: one for every group, one for every join.

    `is_path` False: the set branches or closes a ring, and only its runs, groups and nodes are of use. A ring has in `opened` the
    chains that are left when one of its joins is taken out.
    """

    runs: tuple[int, ...]
    groups: Ints  # (n,) of the whole plan, in order
    step_group: Ints  # (M-1,) place in `groups`, or -1 for a join
    step_ohm: Floats  # (M-1,) both rails from node to node, or both conductors of a join
    step_a: Floats  # (M-1,) what a join may carry; infinite for groups
    node_run: Ints  # (M,)
    node_cut: Ints  # (M,)
    fuse_most_a: float  # largest fuse that the joins between the runs bear
    is_path: bool
    opened: tuple[Chain, ...] = ()

    @property
    def ends(self) -> Ints:
        """Nodes at the ends of runs."""
        last = np.append(self.node_run[1:] != self.node_run[:-1], True)
        return np.flatnonzero((self.node_cut == 0) | last).astype(np.int64)


@dataclass(frozen=True)
class Option:
    """One way to feed one node: from where, through which cable, at what price."""

    node: int
    source: str
    size: Size
    length_m: float
    ohm: float  # both conductors, contacts and fuse, warm
    most_a: float  # what cable and fuse may carry for long
    price: float
    inside: bool  # not at the end of a run


def way_ohm(scene: Scene, source: str) -> float:
    """Ohms of both conductors from the supply's terminals to a source, warm: the cables of the blocks on the way."""
    factor, total = temperature_factor(scene.assume.conductor_c), 0.0
    while source in scene.block:
        block: Block = scene.block[source]
        total += 2 * (cable_ohm_20c(block.cable) * factor + block.contact_milliohm / 1000)
        source = block.from_
    return total


def chains_of(scene: Scene, layout: Layout) -> list[Chain]:
    """The sets of runs whose positives are joined, in the order of the scene. Feeds do not count: they are what is planned."""
    bare = scene.model_copy(update={"feed": ()})
    number = {run.name: r for r, run in enumerate(scene.run)}
    sets = [sorted(number[name] for kind, name in parts if kind == "run") for parts in conductor_sets(bare, "positive")]
    joins = [join for join in scene.join if join.carries == "power"]
    return [_chain(scene, layout, runs, joins, number) for runs in sets if runs]


def _chain(scene: Scene, layout: Layout, runs: list[int], joins: list[Join], number: dict[str, int]) -> Chain:
    onward: dict[int, Join] = {}
    entered: set[int] = set()
    inside = [join for join in joins if number[join.from_] in runs]
    is_path = len(inside) == len(runs) - 1
    for join in inside:
        start, end = number[join.from_], number[join.to]
        is_path &= start not in onward and end not in entered
        onward.setdefault(start, join)
        entered.add(end)
    opened: list[Chain] = []
    if len(inside) == len(runs) == len(onward) == len(entered) and len(runs) > 1:
        opened = [_chain(scene, layout, runs, [j for j in inside if j is not join], number) for join in inside]
    order = list(runs)
    if is_path:
        order = [next(run for run in runs if run not in entered)]
        while order[-1] in onward:
            order.append(number[onward[order[-1]].to])
    factor = temperature_factor(scene.assume.conductor_c)
    groups: list[int] = []
    step_group: list[int] = []
    step_ohm: list[float] = []
    step_a: list[float] = []
    node_run: list[int] = []
    node_cut: list[int] = []
    for place, r in enumerate(order):
        if place:
            join = onward.get(order[place - 1], scene.join[0])
            step_group.append(-1)
            step_ohm.append(2 * (cable_ohm_20c(join.cable) * factor + join.contact_milliohm / 1000))
            step_a.append(ampacity_a(join.cable))
        part = layout.run_slice(r)
        count = part.stop - part.start
        rails = sum(scene.strip[scene.run[r].strip].rail_milliohm_per_m) / 1000 * factor * float(layout.cut_m[r])
        step_group += range(len(groups), len(groups) + count)
        step_ohm += [rails] * count
        step_a += [np.inf] * count
        groups += range(part.start, part.stop)
        node_run += [r] * (count + 1)
        node_cut += range(count + 1)
    return Chain(
        runs=tuple(order),
        groups=np.array(groups, dtype=np.int64),
        step_group=np.array(step_group, dtype=np.int64),
        step_ohm=np.array(step_ohm),
        step_a=np.array(step_a),
        node_run=np.array(node_run, dtype=np.int64),
        node_cut=np.array(node_cut, dtype=np.int64),
        fuse_most_a=min((ampacity_a(join.cable) for join in inside), default=np.inf),
        is_path=is_path,
        opened=tuple(chain for chain in opened if chain.is_path),
    )


def options_of(
    scene: Scene,
    chain: Chain,
    sources: Sequence[str],
    lengths_m: Mapping[str, Sequence[Floats | None]],
    sizes: Sequence[Size],
    prices: Prices,
    *,
    contact_milliohm: float,
    fuse_milliohm: float,
    fuse_most_a: float = np.inf,
) -> list[list[Option]]:
    """What each node of a chain could be fed by, from each of `sources`, cheapest first, without what another beats in all respects.

    `lengths_m` as of `feed_lengths_m`; a source without lengths to a run is left out there.
    """
    factor = temperature_factor(scene.assume.conductor_c)
    ends = set(chain.ends.tolist())
    usable = []
    for size in sizes:
        fuse = largest_fuse(min(size.ampacity_a, chain.fuse_most_a, fuse_most_a))
        if fuse is not None:
            most_a = min(size.ampacity_a, fuse * scene.limits.fuse_fraction)
            usable.append((size, size.ohm_per_m * factor, size.section_mm2, most_a))
    found: list[list[Option]] = []
    for node, (run, cut) in enumerate(zip(chain.node_run.tolist(), chain.node_cut.tolist(), strict=True)):
        here: list[Option] = []
        for source in sources:
            row = lengths_m[source][run]
            if row is None:
                continue
            length = float(row[cut])
            for size, ohm_per_m, section, most_a in usable:
                ohm = 2 * (ohm_per_m * length + contact_milliohm / 1000) + fuse_milliohm / 1000
                price = prices.of_cable(section, length)
                here.append(Option(node, source, size, length, ohm, most_a, price, node not in ends))
        found.append(_unbeaten(scene, here))
    return found


def _unbeaten(scene: Scene, options: list[Option]) -> list[Option]:
    """Cheapest first; an option that another of the same source beats in ohms and amps at no higher price is left out."""
    kept: list[Option] = []
    for option in sorted(options, key=lambda o: (o.price, o.ohm)):
        if not any(o.source == option.source and o.ohm <= option.ohm and o.most_a >= option.most_a for o in kept):
            kept.append(option)
    return kept
