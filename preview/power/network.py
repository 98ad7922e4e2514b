"""The plan as an electrical network of two conductors, worked out once per scene.

Both conductors are kept: a run's positive and negative rail have their own resistances, every cable has two cores, a join may carry
the negative alone. What makes it quick is exact. Between two places where something is attached, the currents in a run's
two rails add up to a constant s, and with α = r₊/(r₊ + r₋) the chain of groups falls apart into

- a chain in the voltage u *across* the groups, with segments of r₊ + r₋, that knows nothing of s, and
- one resistor r₊r₋/(r₊ + r₋) that carries s between the places w = (1 − α)·positive + α·negative at its two ends.

The second is linear, as are cables, fuses, contacts and supplies, and so is the first's own resistance from end to end. All of that is
reduced once to what the attached places (the *ports*) feel: u = open_v − port_ohm · d, where d are the amps that the groups draw by
way of each port. Resistances of zero are no trouble in this form. Every cable's current is likewise a constant plus a matrix times d.

Leaves out: everything that is not steady state; the mains side; a supply's own current limit.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from preview.power.chains import Chains, Wiring, wire
from preview.power.conductors import cable_ohm_20c, temperature_factor
from preview.power.strip import IDLE_FROM_V, Loads, loads_of
from preview.scene.faults import CovecastError
from preview.scene.layout import Bools, Floats, Ints, Layout, cut_point
from preview.scene.model import Join, Scene

__all__ = ["Leads", "Network", "NetworkError", "build"]

SMALLEST_OHM = 1e-9
"""Lowest resistance of a lead, so that the currents round a loop of ideal conductors are defined (5 nV at 5 A)."""

SMALLEST_SEGMENT_OHM = 1e-9
"""A strip whose rails have less than this between two groups has none: its groups are solved as one place."""

PLACE_OHM = 1e-9
"""Segment of a run that is one place: what stands between the place and its port, twice over."""

UNRULY = 1e-7
"""Ohms, and amps per ampere, by which a plan may break the rule that more drive lowers volts: a fuse in one of two feeds does, by less."""

IDEAL_A = 1e6
"""More than this with every group dark means supplies tied together without resistance."""


class NetworkError(CovecastError):
    """A plan that is no electrical network: a run without supply, or supplies that short each other."""


@dataclass(frozen=True)
class Leads:
    """Every current of the linear part, (L,): amps = still_a + per_a · d, with d the amps drawn at the ports.

    Rows: supplies, feeds' positives, feeds' negatives, blocks' positives, blocks' negatives, joins' positives, joins' negatives,
    and the sums s of the rails of the chains that have two ports. `ohm` of a supply is inside it.
    """

    still_a: Floats  # (L,)
    per_a: Floats  # (L, P)
    ohm: Floats  # (L,)
    supply: slice
    feed: slice
    feed_negative: slice
    block: slice
    block_negative: slice
    join: slice
    join_negative: slice
    rails: slice


@dataclass(frozen=True)
class Network:
    """A scene's network, ready to be solved for any drive. G groups, M places (groups, but for strips without rail
    resistance, whose runs are one place each), P ports."""

    groups: int
    place_of: Ints | None  # (G,) place of each group; None where each group is its own
    first_of: Ints | None  # (M,) first group of each place; None likewise
    loads: Loads  # of the M places
    group_loads: Loads  # of the G groups
    wiring: Wiring  # the chains between the ports
    port_run: Ints  # (P,)
    port_cut: Ints  # (P,) cut point, 0 at the data end
    leads: Leads
    feed_port: Ints  # (feeds,) port of each feed
    join_names: tuple[str, ...]  # of the joins that carry anything, in the order of the leads
    join_index: tuple[int, ...]  # which of the scene's joins they are
    block_still_v: Floats  # (blocks,) volts at the blocks with nothing drawn
    block_per_v: Floats  # (blocks, P)
    supply_volts: Floats  # (S,) electromotive force
    supply_ohm: Floats  # (S,)
    orderly: bool  # more drive anywhere lowers every group's volts and raises every supply's amps
    highest_v: float  # no group gets more than this with nothing drawn
    reach_ohm: float  # volts that one ampere drawn at any one place can cost, at most


class _Circuit:
    """Nodes and branches of the linear part, solved once. A branch goes from one node to another through `ohm`."""

    def __init__(self) -> None:
        self.nodes: dict[tuple[str, str, int], int] = {}
        self.rows: list[tuple[list[tuple[int, float]], float, float]] = []  # (weights at nodes, ohm, volts)

    def node(self, conductor: str, kind: str, index: int) -> int:
        return self.nodes.setdefault((conductor, kind, index), len(self.nodes))

    def branch(self, start: int, end: int, ohm: float, volts: float = 0.0) -> int:
        """A resistance from `start` to `end`, with an electromotive force that drives current that way."""
        return self.element([(start, 1.0), (end, -1.0)], ohm, volts)

    def element(self, weights: list[tuple[int, float]], ohm: float, volts: float = 0.0) -> int:
        self.rows.append((weights, max(ohm, SMALLEST_OHM), volts))
        return len(self.rows) - 1

    def solve(self, pairs: list[tuple[int, int]], grounds: Iterable[int]) -> tuple[Floats, Floats]:
        """Node volts and branch amps (nodes + branches, 1 + pairs): alone, and per ampere drawn across each pair of nodes.

        Kirchhoff's two laws: currents at the nodes, then volts along the branches.
        """
        n, b = len(self.nodes), len(self.rows)
        matrix = np.zeros((n + b, n + b))
        right = np.zeros((n + b, 1 + len(pairs)))
        for k, (weights, ohm, volts) in enumerate(self.rows):
            for node, weight in weights:
                matrix[node, n + k] += weight
                matrix[n + k, node] += weight
            matrix[n + k, n + k] = -ohm
            right[n + k, 0] = -volts
        for k, (positive, negative) in enumerate(pairs):
            right[positive, 1 + k] -= 1.0
            right[negative, 1 + k] += 1.0
        for node in grounds:
            matrix[node] = 0.0
            matrix[node, node] = 1.0
            right[node] = 0.0
        solved = np.linalg.solve(matrix, right)
        return solved[:n], solved[n:]

    def components(self) -> Ints:
        """Component number of each node."""
        parent = list(range(len(self.nodes)))

        def root(node: int) -> int:
            while parent[node] != node:
                parent[node] = parent[parent[node]]
                node = parent[node]
            return node

        for weights, _, _ in self.rows:
            for node, _ in weights[1:]:
                parent[root(node)] = root(weights[0][0])
        return np.array([root(node) for node in range(len(parent))], dtype=np.int64)


def build(scene: Scene, layout: Layout) -> Network:
    """The network of a scene that has been read and checked.

    Raises NetworkError where a run has no supply on either of its conductors (all such runs at once), or where supplies of
    different volts are tied together through nothing that resists.
    """
    factor = temperature_factor(scene.assume.conductor_c)
    run_number = {run.name: r for r, run in enumerate(scene.run)}
    counts = np.diff(layout.first)
    rails = np.array([scene.strip[run.strip].rail_milliohm_per_m for run in scene.run]) * (factor / 1000)
    rails *= layout.cut_m[:, None]  # (R, 2) positive and negative, over one cut length
    whole = rails.sum(axis=1) < SMALLEST_SEGMENT_OHM
    joins = [(j, join) for j, join in enumerate(scene.join) if join.carries != "data"]

    def place(run: str, at: str | float) -> tuple[int, int]:
        r = run_number[run]
        if whole[r] or at == "start":
            return r, 0
        if at == "end":
            return r, int(counts[r])
        return r, cut_point(float(at), layout.cut_m[r], counts[r])

    fed = [place(feed.run, feed.at_m) for feed in scene.feed]
    ends = [(place(join.from_, "end"), place(join.to, "start")) for _, join in joins]
    ports = sorted({*fed, *(end for pair in ends for end in pair)})
    number = {port: p for p, port in enumerate(ports)}
    chains, rail_pairs = _chains(ports, counts, rails, whole)

    circuit = _Circuit()
    source = {name: ("supply", s) for s, name in enumerate(scene.supply)}
    source |= {name: ("block", b) for b, name in enumerate(scene.block)}
    grounds = [circuit.node("-", "supply", s) for s in range(len(scene.supply))]
    rows: dict[str, list[int]] = {}

    def lead(kind: str, start: tuple[str, int], end: tuple[str, int], ohm: float, fuse_ohm: float, both: bool) -> None:
        if both:
            up = circuit.branch(circuit.node("+", *start), circuit.node("+", *end), ohm + fuse_ohm)
            rows.setdefault(kind, []).append(up)
        rows.setdefault(f"{kind}-", []).append(circuit.branch(circuit.node("-", *end), circuit.node("-", *start), ohm))

    for s, supply in enumerate(scene.supply.values()):
        plus, minus = circuit.node("+", "supply", s), circuit.node("-", "supply", s)
        rows.setdefault("supply", []).append(circuit.branch(minus, plus, supply.output_milliohm / 1000, supply.volts))
    for feed, port in zip(scene.feed, fed, strict=True):
        ohm = cable_ohm_20c(feed.cable) * factor + feed.contact_milliohm / 1000
        lead("feed", source[feed.from_], ("port", number[port]), ohm, feed.fuse_milliohm / 1000, True)
    for b, block in enumerate(scene.block.values()):
        ohm = cable_ohm_20c(block.cable) * factor + block.contact_milliohm / 1000
        lead("block", source[block.from_], ("block", b), ohm, 0.0, True)
    for (_, join), (end, start) in zip(joins, ends, strict=True):
        ohm = cable_ohm_20c(join.cable) * factor + join.contact_milliohm / 1000
        lead("join", ("port", number[end]), ("port", number[start]), ohm, 0.0, join.carries == "power")
    pairs = [(circuit.node("+", "port", p), circuit.node("-", "port", p)) for p in range(len(ports))]
    for k, (left, right) in rail_pairs:
        plus, minus = rails[ports[left][0]]
        alpha = plus / (plus + minus)
        (a_plus, a_minus), (b_plus, b_minus) = pairs[left], pairs[right]
        weights = [(a_plus, 1 - alpha), (a_minus, alpha), (b_plus, alpha - 1), (b_minus, -alpha)]
        shared = float(plus * minus / (plus + minus) * chains.count[k])
        rows.setdefault("rails", []).append(circuit.element(weights, shared))
        weights = [(a_plus, 1.0), (a_minus, -1.0), (b_plus, -1.0), (b_minus, 1.0)]
        circuit.element(weights, float(chains.segment_ohm[k] * chains.count[k]))

    _check_supplied(scene, ports, rail_pairs, circuit, run_number)
    component = circuit.components()
    seen: dict[int, int] = {}
    for ground in grounds:
        seen.setdefault(int(component[ground]), ground)
    node_v, branch_a = circuit.solve(pairs, seen.values())
    largest = np.abs(branch_a[:, 0]).max(initial=0.0)
    if largest > IDEAL_A:
        short = np.abs(branch_a[rows["supply"], 0]) > 1e-3 * largest
        tied = [f"{name} ({s.volts:g} V)" for (name, s), over in zip(scene.supply.items(), short, strict=True) if over]
        raise NetworkError(
            f"supplies of different volts are tied together with no resistance between them: {', '.join(tied)}; "
            "give their cables a length, or their outputs output_milliohm"
        )
    return _assemble(scene, layout, whole, ports, number, fed, joins, chains, circuit, rows, node_v, branch_a, pairs)


def _chains(
    ports: list[tuple[int, int]], counts: Ints, rails: Floats, whole: Bools
) -> tuple[Chains, list[tuple[int, tuple[int, int]]]]:
    """The stretches between ports, and those of them that have a port at both ends with their ports."""
    first: list[int] = []
    count: list[int] = []
    ohm: list[float] = []
    left: list[int] = []
    right: list[int] = []
    place = 0
    by_run: dict[int, list[tuple[int, int]]] = {}
    for p, (run, cut) in enumerate(ports):
        by_run.setdefault(run, []).append((cut, p))
    for r, groups in enumerate(counts):
        marks = by_run.get(r, [])
        if whole[r]:
            stretches = [(1, marks[0][1] if marks else -1, -1)]
        else:
            inner = [(0, -1), *marks, (int(groups), -1)]
            stretches = [(b - a, p, q) for (a, p), (b, q) in itertools.pairwise(inner) if b > a]
        for places, p, q in stretches:
            first.append(place)
            count.append(places)
            ohm.append(PLACE_OHM if whole[r] else float(rails[r].sum()))
            left.append(p)
            right.append(q)
            place += places
    chains = Chains(
        np.array(first, dtype=np.int64),
        np.array(count, dtype=np.int64),
        np.array(ohm),
        np.array(left, dtype=np.int64),
        np.array(right, dtype=np.int64),
    )
    pairs = [(k, (p, q)) for k, (p, q) in enumerate(zip(left, right, strict=True)) if p >= 0 and q >= 0]
    return chains, pairs


def _check_supplied(
    scene: Scene,
    ports: list[tuple[int, int]],
    rail_pairs: list[tuple[int, tuple[int, int]]],
    circuit: _Circuit,
    run_number: dict[str, int],
) -> None:
    """Raise NetworkError naming every run whose positive or negative conductor leads to no supply."""
    missing = []
    reached: dict[str, set[int]] = {}
    for conductor in "+-":
        walk = _Circuit()
        walk.nodes = circuit.nodes
        names = {node: name for name, node in circuit.nodes.items()}
        walk.rows = [row for row in circuit.rows if all(names[node][0] == conductor for node, _ in row[0])]
        for _, (p, q) in rail_pairs:
            walk.branch(circuit.node(conductor, "port", p), circuit.node(conductor, "port", q), 0.0)
        component = walk.components()
        live = {int(component[circuit.node(conductor, "supply", s)]) for s in range(len(scene.supply))}
        reached[conductor] = {
            run for p, (run, _) in enumerate(ports) if int(component[circuit.node(conductor, "port", p)]) in live
        }
    for name, r in run_number.items():
        lacks = [word for conductor, word in (("+", "positive"), ("-", "negative")) if r not in reached[conductor]]
        if lacks:
            missing.append(f"  run {name}: its {' and its '.join(lacks)} conductor leads to no supply")
    if missing:
        raise NetworkError(
            "\n".join(["runs without power; give each a [[feed]] or a [[join]] that carries power", *missing])
        )


def _assemble(
    scene: Scene,
    layout: Layout,
    whole: Bools,
    ports: list[tuple[int, int]],
    number: dict[tuple[int, int], int],
    fed: list[tuple[int, int]],
    joins: list[tuple[int, Join]],
    chains: Chains,
    circuit: _Circuit,
    rows: dict[str, list[int]],
    node_v: Floats,
    branch_a: Floats,
    pairs: list[tuple[int, int]],
) -> Network:
    plus = np.array([p for p, _ in pairs], dtype=np.int64)
    minus = np.array([m for _, m in pairs], dtype=np.int64)
    across = node_v[plus] - node_v[minus]  # (P, 1 + P)
    port_ohm = -across[:, 1:]
    port_ohm = (port_ohm + port_ohm.T) / 2

    order: list[int] = []
    slices: dict[str, slice] = {}
    # a join that carries the negative alone has no positive row: it is given a row of zeros, so that the two slices match
    power = iter(rows.get("join", []))
    join_rows = [next(power) if join.carries == "power" else -1 for _, join in joins]
    kinds = {**rows, "join": join_rows}
    for kind in ("supply", "feed", "feed-", "block", "block-", "join", "join-", "rails"):
        start = len(order)
        order += kinds.get(kind, [])
        slices[kind] = slice(start, len(order))
    padded = np.vstack([branch_a, np.zeros((1, branch_a.shape[1]))])
    ohms = np.array([ohm for _, ohm, _ in circuit.rows] + [0.0])
    leads = Leads(
        still_a=padded[order, 0],
        per_a=padded[order, 1:],
        ohm=ohms[order],
        supply=slices["supply"],
        feed=slices["feed"],
        feed_negative=slices["feed-"],
        block=slices["block"],
        block_negative=slices["block-"],
        join=slices["join"],
        join_negative=slices["join-"],
        rails=slices["rails"],
    )
    blocks = [(circuit.node("+", "block", b), circuit.node("-", "block", b)) for b in range(len(scene.block))]
    block_v = np.array([node_v[p] - node_v[m] for p, m in blocks]).reshape(len(blocks), 1 + len(ports))

    place_of = first_of = None
    if whole.any():
        is_first = ~whole[layout.run_of] | np.isin(np.arange(layout.groups), layout.first[:-1])
        first_of = np.flatnonzero(is_first).astype(np.int64)
        place_of = (np.cumsum(is_first) - 1).astype(np.int64)
    group_loads = loads_of(layout)
    open_v = across[:, 0]
    emf = np.array([supply.volts for supply in scene.supply.values()])
    loads = group_loads if first_of is None else loads_of(layout, first_of)
    wiring = wire(chains, open_v, port_ohm)
    return Network(
        groups=layout.groups,
        place_of=place_of,
        first_of=first_of,
        loads=loads,
        group_loads=group_loads,
        wiring=wiring,
        port_run=np.array([run for run, _ in ports], dtype=np.int64),
        port_cut=np.array([cut for _, cut in ports], dtype=np.int64),
        leads=leads,
        feed_port=np.array([number[port] for port in fed], dtype=np.int64),
        join_names=tuple(f"{scene.join[j].from_} to {scene.join[j].to}" for j, _ in joins),
        join_index=tuple(j for j, _ in joins),
        block_still_v=block_v[:, 0],
        block_per_v=block_v[:, 1:],
        supply_volts=emf,
        supply_ohm=np.array([supply.output_milliohm / 1000 for supply in scene.supply.values()]),
        orderly=_is_orderly(wiring, loads, leads),
        highest_v=float(open_v.max()),
        reach_ohm=float(port_ohm.max() + (chains.count * chains.segment_ohm).sum()),
    )


def _is_orderly(wiring: Wiring, loads: Loads, leads: Leads) -> bool:
    """Whether more drive anywhere lowers every group's volts and raises every supply's amps, whatever the drives.

    It does where neither what a port loses, nor what a supply gives, per ampere drawn at a port is ever negative. Both are entries of the
    inverse of a matrix that grows, entry by entry, with the slopes of the loads; where that inverse has no negative entry with no load and
    with the steepest (all colours on and between their knees), it has none anywhere between (Kuttler 1971). Several negatives joined
    in a ring can break it: their currents lift one run's negative and lower another's.
    """
    steepest = (loads.rated_a * loads.per_v).sum(axis=0) * loads.share + loads.idle_a / IDLE_FROM_V
    given = leads.per_a[leads.supply]
    for slope in (np.zeros_like(steepest), steepest):
        sunk, kept = wiring.sinking(slope)
        if sunk.min(initial=0.0) < -UNRULY or (given @ kept).min(initial=0.0) < -UNRULY:
            return False
    return True
