"""The cheapest feeds of one chain: every set of cut points, cables and sources, but for those that provably cannot be the cheapest.

The chain is walked from its data end. What lies behind a node, the groups passed and the feeds chosen so far, matters to what comes
only through one rising curve: the amps x that it hands on at this node while the node lies d volts below the supply, up to the largest
drop T at which every group, cable and fuse behind still keeps its limits. Loads rise with their volts, so from any point of the
curve the walk gives the next one group after the other, without any equation to solve:

    at a group, half a segment h on:   d ← d + h·x,   x ← x − i(E − d),   d ← d + h·x
    at a feed of ρ ohms:               x ← x + d/ρ,   T ← min(T, ρ · what cable and fuse may carry)

Only d ≥ 0 can be, and x up to what all groups ahead draw at most. At the end of the chain nothing is handed on: the plan holds where
the curve gets as far as x = 0. Three bounds keep the number of partial plans small:

- A partial plan that costs no less than another and nowhere hands on more, x_B(d) ≤ x_A(d) for every d ≤ T_B ≤ T_A, can be left out.
  Whatever completes B completes A: put in B's place, A is the stronger source, so no volts further on fall, nor does d rise.
- What it hands on at most, x(T), falls short of the least that the groups ahead draw. Every ampere missing costs at least what the best
  feed ahead costs an ampere, and at least one more feed.
- A plan that has been seen to hold bounds the cost of the cheapest.

A curve is kept at `POINTS` points and straight between them; where groups sag below their knees that bends it by about `CLOSE_V`. So the
walk runs with limits loosened by that much, and its plans are metered on the exact network, cheapest first, until one holds.

Leaves out: a bound on the current in a join against the chain's direction, which the meter checks.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from preview.power.plan_chains import Chain, Option
from preview.power.plan_needs import Needs
from preview.power.strip import IDLE_FROM_V, Loads
from preview.scene.layout import Bools, Floats, Ints

__all__ = ["CLOSE_V", "MOST_LABELS", "Found", "Grade", "search"]

POINTS = 25
"""Points at which a curve is kept."""

COMPARED = 24
"""Lines along which the curves of two partial plans are compared."""

CLOSE_V = 1e-3
"""What the walk's volts may be wrong by."""

MOST_LABELS = 6000
"""Partial plans carried on from one node. Of more, those that seem dearest to complete are let go, and the answer is not complete."""


CHUNK = 256
"""Labels that are compared together."""


@dataclass(frozen=True)
class Found:
    """A plan for a chain, by the walk's reckoning."""

    options: tuple[Option, ...]
    cost: float


@dataclass(frozen=True)
class Grade:
    """What the walk found: plans, cheapest first, and whether no cheaper one can have been missed."""

    plans: tuple[Found, ...]
    complete: bool


class _Loads:
    """Amps of the groups of a chain as functions of their volts, for labels × moments × drops."""

    def __init__(self, loads: Loads, needs: Needs, groups: Ints) -> None:
        self.current = needs.current_a[..., None]  # (C, S, n, 1)
        self.dark, self.per_v = loads.dark_v[:, groups], loads.per_v[:, groups]
        self.ceiling, self.idle = loads.ceiling[groups], loads.idle_a[groups]

    def amps(self, k: int, volts: Floats) -> Floats:
        """Of group number k at volts (L, S, D)."""
        drawn = np.clip(volts * (self.idle[k] / IDLE_FROM_V), 0.0, self.idle[k])
        for c in range(len(self.current)):
            g = volts - self.dark[c, k]
            g *= self.per_v[c, k]
            np.clip(g, 0.0, self.ceiling[k], out=g)
            g *= self.current[c, :, k]
            drawn += g
        return drawn


@dataclass
class _Labels:
    """L partial plans at one node, S moments, P points of their curves. `trail`: (trail of its parent, option)."""

    cost: Floats  # (L,)
    d: Floats  # (L, S, P) rising along the curve
    x: Floats  # (L, S, P) rising
    whole: Bools  # (L, S) the curve ends because nothing ahead could take more
    count: Ints  # (L,) feeds so far
    trail: list[tuple[object, Option | None]]

    def pick(self, rows: Ints | Bools) -> _Labels:
        index = np.flatnonzero(rows) if rows.dtype == np.bool_ else rows
        trail = [self.trail[i] for i in index.tolist()]
        return _Labels(self.cost[index], self.d[index], self.x[index], self.whole[index], self.count[index], trail)


def search(
    loads: Loads,
    chain: Chain,
    needs: Needs,
    options: Sequence[Sequence[Option]],
    *,
    emf_v: Floats,
    source_ohm: Mapping[str, float],
    most_cost: float = np.inf,
    most_feeds: int | None = None,
    most_labels: int = MOST_LABELS,
    most_work: float = np.inf,
    slack_v: float = CLOSE_V,
    check: Callable[[], None] | None = None,
) -> Grade:
    """The plans of a chain that the walk cannot rule out, at most `most_cost`, cheapest first.

    `needs` are those of the chain's groups; `options` of each node, empty where none may be; `emf_v` (S,) volts at the supply's
    terminals; to a source comes `source_ohm` of its own, shared with nobody. `slack_v` loosens every limit of a group's volts. No plan
    has more than `most_feeds` feeds. A walk that handles more than `most_work` partial plans and moments gives up. `check` is
    called at every node, and may raise to stop the search.
    """
    walk = _Walk(loads, chain, needs, options, emf_v, source_ohm, slack_v)
    walk.most_cost, walk.most_feeds, walk.most_labels, walk.most_work = most_cost, most_feeds, most_labels, most_work
    return walk.run(check or (lambda: None))


class _Walk:
    most_cost: float
    most_feeds: int | None
    most_labels: int
    most_work: float

    def __init__(
        self,
        loads: Loads,
        chain: Chain,
        needs: Needs,
        options: Sequence[Sequence[Option]],
        emf_v: Floats,
        source_ohm: Mapping[str, float],
        slack_v: float,
    ) -> None:
        self.chain, self.options, self.emf_v, self.source_ohm = chain, options, emf_v, source_ohm
        self.loads = _Loads(loads, needs, chain.groups)
        self.bears_v = emf_v[:, None] - needs.volts + slack_v  # (S, n) drop that each group bears
        self.deepest_v = self._deepest(needs)
        self.least_a, self.most_a = self._ahead(needs.least_a), self._ahead(needs.most_a)
        self.complete = True

    def _deepest(self, needs: Needs) -> Floats:
        """Largest drop (S,) that any lit group bears; deeper ones are of no use."""
        deepest = np.where(needs.lit, self.bears_v, -np.inf).max(axis=1)
        return np.asarray(np.maximum(np.where(np.isfinite(deepest), deepest, self.bears_v.max(axis=1)), 1e-3))

    def _ahead(self, amps: Floats) -> Floats:
        """Sums (M, S) over the groups ahead of each node."""
        ahead = np.zeros((len(self.chain.node_run), len(amps)))
        for step in range(len(self.chain.step_group) - 1, -1, -1):
            k = int(self.chain.step_group[step])
            ahead[step] = ahead[step + 1] + (amps[:, k] if k >= 0 else 0.0)
        return ahead

    def _bounds(self) -> tuple[Floats, Floats]:
        """Of the options ahead of each node: the lowest price, and the most amps for a unit of price, (M,) each."""
        nodes = len(self.options)
        cheapest, best = np.full(nodes + 1, np.inf), np.zeros(nodes + 1)
        deepest = float(self.deepest_v.max())
        for node in range(nodes - 1, -1, -1):
            cheapest[node], best[node] = cheapest[node + 1], best[node + 1]
            for option in self.options[node]:
                amps = min(option.most_a, deepest / self._ohm(option))
                cheapest[node] = min(cheapest[node], option.price)
                best[node] = max(best[node], amps / max(option.price, 1e-12))
        return cheapest[1:], best[1:]

    def _ohm(self, option: Option) -> float:
        return max(option.ohm + self.source_ohm[option.source], 1e-9)

    def run(self, check: Callable[[], None]) -> Grade:
        chain = self.chain
        cheapest, best = self._bounds()
        moments = len(self.emf_v)
        labels = _Labels(
            cost=np.zeros(1),
            d=self.deepest_v[None, :, None] * np.linspace(0, 1, POINTS),
            x=np.zeros((1, moments, POINTS)),
            whole=np.zeros((1, moments), dtype=np.bool_),
            count=np.zeros(1, dtype=np.int64),
            trail=[(None, None)],
        )
        at, work = 0, 0
        for mark in [node for node in range(len(chain.node_run)) if self.options[node]]:
            check()
            labels = self._feed(self._march(labels, at, mark), mark)
            work += len(labels.cost) * moments
            if work > self.most_work:
                return Grade((), False)
            labels = self._prune(labels, mark, float(cheapest[mark]), float(best[mark]))
            at = mark
            if not len(labels.cost):
                return Grade((), self.complete)
        labels = self._march(labels, at, len(chain.node_run) - 1)
        spare = labels.x[:, :, -1].min(axis=1)
        order = [i for i in np.argsort(labels.cost, kind="stable").tolist() if spare[i] >= -1e-9]
        return Grade(tuple(Found(_trail(labels.trail[i]), float(labels.cost[i])) for i in order), self.complete)

    def _march(self, labels: _Labels, start: int, end: int) -> _Labels:
        """The labels carried from one node to another without a feed between."""
        if start == end or not len(labels.cost):
            return labels
        chain, d, x = self.chain, labels.d.copy(), labels.x.copy()
        margin = np.full(d.shape, np.inf)
        for step in range(start, end):
            k, ohm = int(chain.step_group[step]), float(chain.step_ohm[step])
            if k < 0:
                np.minimum(margin, chain.step_a[step] - x, out=margin)
                d += ohm * x
                continue
            d += (0.5 * ohm) * x
            np.minimum(margin, self.bears_v[:, k, None] - d, out=margin)
            x -= self.loads.amps(k, self.emf_v[:, None] - d)
            d += (0.5 * ohm) * x
        np.minimum(margin, (self.deepest_v * 1.5)[:, None] - d, out=margin)
        return self._trimmed(labels, d, x, margin, end)

    def _trimmed(self, labels: _Labels, d: Floats, x: Floats, margin: Floats, node: int) -> _Labels:
        """The part of the curves on which `margin`, which falls along them, is not below 0, d neither, and x not above what is ahead."""
        alive = np.asarray((margin[:, :, 0] >= 0).all(axis=1))
        if not alive.all():
            labels, d, x, margin = labels.pick(alive), d[alive], x[alive], margin[alive]
        last = d.shape[2] - 1
        kept, taken = _falls(margin), _falls(self.most_a[node][:, None] + 1e-9 - x)
        high = np.minimum(kept, taken)
        low = np.minimum(np.where(d[:, :, 0] < 0, _falls(-d), 0.0), high)
        place = low[..., None] + (high - low)[..., None] * np.linspace(0, 1, last + 1)
        index = np.minimum(place.astype(np.int64), last - 1)
        part = place - index
        curves = []
        for curve in (d, x):
            before, after = np.take_along_axis(curve, index, 2), np.take_along_axis(curve, index + 1, 2)
            curves.append(before + part * (after - before))
        whole = (taken <= kept) & (taken < last) | labels.whole & (high >= last)
        return _Labels(labels.cost, np.maximum(curves[0], 0.0), curves[1], whole, labels.count, labels.trail)

    def _feed(self, labels: _Labels, node: int) -> _Labels:
        """The labels as they are, and each with each option of a node."""
        parts = [labels]
        for option in self.options[node]:
            ohm = self._ohm(option)
            cost = labels.cost + option.price
            free = cost <= self.most_cost * (1 + 1e-12)
            if self.most_feeds is not None:
                free &= labels.count < self.most_feeds
            some = np.flatnonzero(free)
            if not len(some):
                continue
            part = labels.pick(some)
            part = _Labels(
                cost[some], part.d, part.x, part.whole, part.count + 1, [(trail, option) for trail in part.trail]
            )
            parts.append(self._trimmed(part, part.d, part.x + part.d / ohm, option.most_a * ohm - part.d, node))
        return _Labels(
            cost=np.concatenate([p.cost for p in parts]),
            d=np.concatenate([p.d for p in parts]),
            x=np.concatenate([p.x for p in parts]),
            whole=np.concatenate([p.whole for p in parts]),
            count=np.concatenate([p.count for p in parts]),
            trail=[trail for p in parts for trail in p.trail],
        )

    def _prune(self, labels: _Labels, node: int, cheapest: float, best: float) -> _Labels:
        """Without the labels that cannot become the cheapest plan."""
        short = (self.least_a[node] - labels.x[:, :, -1]).max(axis=1)
        with np.errstate(divide="ignore", invalid="ignore"):
            more = np.where(short > 1e-9, np.maximum(cheapest, short / best if best > 0 else np.inf), 0.0)
        fits = labels.cost + more <= self.most_cost * (1 + 1e-12)
        labels, more = labels.pick(fits), more[fits]
        if len(labels.cost) > 4 * self.most_labels:
            likely = np.argsort(labels.cost + more, kind="stable")[: 4 * self.most_labels]
            labels, more, self.complete = labels.pick(likely), more[likely], False
        if not len(labels.cost):
            return labels
        order = np.lexsort((-labels.x[:, :, -1].sum(axis=1), labels.cost))
        labels, more = labels.pick(np.asarray(order, dtype=np.int64)), more[order]
        kept = self._unbeaten(labels)
        if len(kept) > self.most_labels:
            likely = np.argsort(labels.cost[kept] + more[kept], kind="stable")[: self.most_labels]
            kept, self.complete = np.sort(kept[likely]), False
        return labels.pick(kept)

    def _lines(self, labels: _Labels) -> tuple[Floats, Floats]:
        """What the curves ask of another that is to beat them, and what they give, (L, columns): no entry may be more than is given.

        Two rising curves are compared where they cross lines that fall: d/deepest + x/all = constant. Of two points on such a line the one
        with more x has less d. Past its end a curve asks for nothing; there it gives all, where it ended with all that is
        ahead taken, else nothing.
        """
        count, moments, points = labels.d.shape
        amps = np.maximum(self.most_a[0], 1e-9)[:, None]
        x = labels.x / amps
        lines = labels.d / self.deepest_v[:, None] + x
        ask, give = [], []
        for s in range(moments):
            at = np.linspace(lines[:, s, 0].min(), lines[:, s, -1].max(), COMPARED)
            span = 2 * float(at[-1] - at[0]) + 1
            base = (np.arange(count) * span)[:, None]
            flat = (lines[:, s] + base).ravel()
            index = (
                np.searchsorted(flat, (at + base).ravel()).reshape(count, COMPARED) - points * np.arange(count)[:, None]
            )
            index = np.clip(index, 1, points - 1)
            l0, l1 = np.take_along_axis(lines[:, s], index - 1, 1), np.take_along_axis(lines[:, s], index, 1)
            x0, x1 = np.take_along_axis(x[:, s], index - 1, 1), np.take_along_axis(x[:, s], index, 1)
            there = x0 + (x1 - x0) * np.clip((at - l0) / np.maximum(l1 - l0, 1e-12), 0.0, 1.0)
            there = np.where(at < lines[:, s, :1], at, there)  # d cannot be below 0
            past = at > lines[:, s, -1:]
            whole = labels.whole[:, s, None]
            end_d, end_x = labels.d[:, s, -1:] / self.deepest_v[s], x[:, s, -1:]
            ask += [np.where(past, -np.inf, there), np.where(whole, np.inf, end_d), end_x]
            give += [np.where(past, np.where(whole, np.inf, -np.inf), there), np.where(whole, np.inf, end_d), end_x]
        if self.most_feeds is not None:
            ask.append(-labels.count[:, None].astype(float))
            give.append(ask[-1])
        return np.concatenate(ask, axis=1).astype(np.float32), np.concatenate(give, axis=1).astype(np.float32)

    def _unbeaten(self, labels: _Labels) -> Ints:
        """Which labels, ordered by cost, no cheaper one beats."""
        count = len(labels.cost)
        ask, give = self._lines(labels)
        ask -= np.float32(1e-6)
        screen = np.linspace(0, ask.shape[1] - 1, min(ask.shape[1], 6)).astype(int)
        quick = np.ascontiguousarray(give[:, screen].T)  # (columns, L)
        kept = np.empty(0, dtype=np.int64)
        for start in range(0, count, CHUNK):
            rows = np.arange(start, min(start + CHUNK, count), dtype=np.int64)
            others = np.concatenate([kept, rows])
            beats = np.ones((len(rows), len(others)), dtype=np.bool_)
            for column, q in zip(screen.tolist(), quick[:, others], strict=True):
                beats &= q[None, :] >= ask[rows, column, None]
            row, other = np.nonzero(beats)
            before = others[other] < rows[row]  # only the cheaper, or the first of equals, can beat
            row, other = row[before], other[before]
            truly = (give[others[other]] >= ask[rows[row]]).all(axis=1)
            open_ = np.ones(len(rows), dtype=np.bool_)
            open_[row[truly]] = False
            kept = np.concatenate([kept, rows[open_]])
        return kept


def _falls(values: Floats) -> Floats:
    """Where along its last axis a falling row passes 0, as a place between its points; the last one where it does not."""
    last = values.shape[-1] - 1
    good = np.logical_and.accumulate(values >= 0, axis=-1).sum(axis=-1)
    index = np.clip(good - 1, 0, last - 1)[..., None]
    before, after = np.take_along_axis(values, index, -1)[..., 0], np.take_along_axis(values, index + 1, -1)[..., 0]
    with np.errstate(invalid="ignore", divide="ignore"):
        part = np.where(before > after, before / (before - after), 0.0)
    part = np.where(np.isfinite(part), np.clip(part, 0.0, 1.0), 1.0)
    return np.asarray(np.where(good > last, float(last), index[..., 0] + part))


def _trail(trail: object) -> tuple[Option, ...]:
    """The options of a label, from the data end on."""
    found: list[Option] = []
    while isinstance(trail, tuple):
        parent, option = trail
        if option is not None:
            found.append(option)
        trail = parent
    return tuple(reversed(found))
