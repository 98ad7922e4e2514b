"""The moments that a plan must hold, and whether it does: every frame of the asked looks at their level, on the exact network.

Drives come in as callables, since this package knows nothing of looks. Codes are kept while there are few, else they are worked out again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from preview.power.cap import Cap
from preview.power.limits import KINDS, Kind, keep_to, quantities
from preview.power.network import Network, build
from preview.power.solve import State, solve
from preview.scene.layout import Floats, Ints, Layout
from preview.scene.model import Scene

__all__ = ["Asked", "Codes", "Failing", "Figures", "Moments", "failing", "figures_of"]

Codes = NDArray[np.uint8]

KEPT_BYTES = 200_000_000
"""Codes of all moments are kept up to so many bytes."""


@dataclass(frozen=True)
class Asked:
    """What a plan must hold: a look, or any content, at a level.

    `codes` gives its moments (F, G, C) in blocks, whenever it is called; `cap` the largest level up to which a plan holds it.
    """

    name: str
    level: float
    codes: Callable[[], Iterable[Codes]]
    cap: Callable[[Scene], Cap] | None = None


class Moments:
    """Every different moment of what is asked, in blocks of codes (F, G, C); can be gone through again and again."""

    def __init__(self, asked: Sequence[Asked]) -> None:
        self._asked = asked
        self._kept: list[Codes] | None = None
        kept, size = [], 0
        for block in self._again():
            size += block.nbytes
            if size > KEPT_BYTES:
                return
            kept.append(block)
        self._kept = kept

    def _again(self) -> Iterator[Codes]:
        for one in self._asked:
            for block in one.codes():
                _, first = np.unique(block.reshape(len(block), -1), axis=0, return_index=True)
                yield block[np.sort(first)]

    def __iter__(self) -> Iterator[Codes]:
        return iter(self._kept) if self._kept is not None else self._again()

    def hardest(self, layout: Layout, sets: Sequence[Ints]) -> list[Codes]:
        """For each set of groups the moment (G, C) at which they draw most; each moment once."""
        best: list[tuple[float, Codes | None]] = [(-1.0, None) for _ in sets]
        for block in self:
            for i, groups in enumerate(sets):
                amps = np.einsum("fgc,gc->f", block[:, groups], layout.rated_a[groups])
                f = int(amps.argmax())
                if amps[f] > best[i][0]:
                    best[i] = (float(amps[f]), block[f])
        found = {codes.tobytes(): codes for _, codes in best if codes is not None}
        return list(found.values())


@dataclass(frozen=True)
class Failing:
    """A moment (G, C) that a plan does not hold: the limit that is passed, where, and the groups' number or None."""

    codes: Codes
    kind: Kind
    where: str
    group: int | None
    worst: float
    limit: float


def failing(
    scene: Scene,
    layout: Layout,
    moments: Iterable[Codes],
    feed_most_a: Floats | None = None,
    network: Network | None = None,
) -> Failing | None:
    """The first moment of a block at which a plan passes a limit, with the one passed most, or None.

    `feed_most_a` (K,): what each feed may carry besides, as where its fuse is still to be chosen.
    """
    network = network or build(scene, layout)
    kept = keep_to(scene, layout, network)
    for codes in moments:
        state = solve(network, codes)
        found = quantities(scene, layout, network, kept, codes, state)
        over = np.stack([q.over() for q in found])
        if feed_most_a is not None:
            beyond = np.abs(state.feed_a) - feed_most_a
            hot = np.flatnonzero((beyond > 1e-9 * feed_most_a).any(axis=1))
            if len(hot) and not over.any():
                f = int(hot[0])
                k = int(beyond[f].argmax())
                return Failing(
                    codes[f], "fuse", kept.feed_names[k], None, float(abs(state.feed_a[f, k])), float(feed_most_a[k])
                )
        if over.any():
            f = int(over.any(axis=0).argmax())
            q = min((q for q, o in zip(found, over, strict=True) if o[f]), key=lambda q: KINDS.index(q.kind))
            group = None if q.group is None else int(q.group[f])
            return Failing(codes[f], q.kind, q.where, group, float(q.value[f]), q.limit)
    return None


@dataclass(frozen=True)
class Figures:
    """What a plan does over all its moments."""

    feed_peak_a: Floats  # (K,)
    supply_peak_a: Floats  # (S,)
    lowest_v: float
    colour_steps: float
    dimming: float
    conductor_w: float  # most that rails, cables and contacts lose at any moment


def figures_of(scene: Scene, layout: Layout, moments: Iterable[Codes]) -> Figures:
    """The figures of a plan; what belongs to groups is the worst of all."""
    network = build(scene, layout)
    kept = keep_to(scene, layout, network)
    peak, supply = np.zeros(len(scene.feed)), np.zeros(len(scene.supply))
    lowest, steps, loss, lost = np.inf, 0.0, 0.0, 0.0
    for codes in moments:
        state: State = solve(network, codes)
        found = {q.kind: q for q in quantities(scene, layout, network, kept, codes, state)}
        peak = np.maximum(peak, np.maximum(np.abs(state.feed_a), np.abs(state.feed_negative_a)).max(axis=0))
        supply = np.maximum(supply, state.supply_a.max(axis=0))
        lowest = min(lowest, float(state.group_v.min()))
        steps = max(steps, float(found["colour"].value.max()))
        loss = max(loss, float(found["dimming"].value.max()))
        lost = max(lost, float(state.conductor_w.max()))
    return Figures(peak, supply, lowest, steps, loss, lost)
