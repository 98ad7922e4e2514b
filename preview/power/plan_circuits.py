"""Circuits that keep to a limited (Class 2) power source, where the scene asks for it.

A supply of at most 5 × U volt-amperes up to 20 V, of at most 100 VA above, is such a source by itself (IEC 60950-1 table 2B, kept by
IEC 62368-1 annex Q; NEC chapter 9 table 11(B)). One of up to 250 VA makes its circuits limited ones by a fuse of at most 5 A up to 20 V,
100/U above, in each (table 2C): then each set of joined runs may have one feed. Any other is split: as many supplies within the bound
as are needed stand in its place, and where one of them cannot carry all runs whose positives are joined, the
positive is cut at a join and only the negative goes on. Runs are never cut: one that needs more than such a source gives is an error.

Leaves out: whether a supply is listed as Class 2, which its label must say; local codes, which decide.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from preview.power.cautions.sources import FUSED_VA, limited_a, limited_va
from preview.power.conductor_sets import conductor_sets, root_supply
from preview.power.plan_chain import Rules
from preview.power.plan_chains import chains_of
from preview.power.plan_limits import NoPlanError
from preview.power.plan_moments import Moments
from preview.power.strip import volts_fit
from preview.scene.layout import Layout
from preview.scene.model import Scene, Supply

__all__ = ["Circuits", "circuits_of", "with_negatives"]


@dataclass(frozen=True)
class Circuits:
    """A scene whose supplies and joins keep each circuit limited, with the rules that its feeds must keep to."""

    scene: Scene
    rules: Rules
    added: int  # supplies that are not there yet


def circuits_of(scene: Scene, layout: Layout, moments: Moments, rules: Rules) -> Iterator[Circuits]:
    """Ways to keep the circuits limited, those without a new supply first; the scene as it is where it does not ask for that.

    Raises NoPlanError where a single run draws more than a limited source gives.
    """
    large = [name for name, s in scene.supply.items() if s.volts * s.amps > limited_va(s.volts) * (1 + 1e-9)]
    large = [name for name in large if limited_va(scene.supply[name].volts) > 0]
    if not scene.limits.class2 or not large:
        yield Circuits(scene, rules, 0)
        return
    blocked = {root_supply(scene, block) for block in scene.block}
    if all(s.volts * s.amps <= FUSED_VA and n not in blocked for n, s in scene.supply.items() if n in large):
        bounds = {name: limited_a(scene.supply[name].volts) for name in large}
        yield Circuits(scene, replace(rules, fuse_most_a=bounds, single=frozenset(large)), 0)
    smaller = {name: _limited(scene.supply[name]) for name in large}
    cut = _cut(scene, layout, moments, smaller)
    for more in range(len(chains_of(cut, layout)) + 1):
        yield _split(cut, rules, smaller, more)


def _limited(supply: Supply) -> Supply:
    """The same with the largest rating that a limited source of its volts may have, to a hundredth of an ampere."""
    return supply.model_copy(update={"amps": math.floor(100 * limited_a(supply.volts) + 1e-9) / 100})


def _split(scene: Scene, rules: Rules, smaller: Mapping[str, Supply], more: int) -> Circuits:
    """With the limited supplies in place of the large ones, and `more` like each of them beside it."""
    supplies: dict[str, Supply] = {}
    lengths = dict(rules.lengths_m)
    for name, supply in scene.supply.items():
        supplies[name] = smaller.get(name, supply)
        for number in range(2, 2 + more if name in smaller else 2):
            beside = f"{name} {number}"
            while beside in scene.supply or beside in scene.block:
                beside += "b"
            supplies[beside] = smaller[name]
            lengths[beside] = rules.lengths_m[name]
    found = scene.model_copy(update={"supply": supplies})
    return Circuits(found, replace(rules, lengths_m=lengths), len(supplies) - len(scene.supply))


def _cut(scene: Scene, layout: Layout, moments: Moments, smaller: Mapping[str, Supply]) -> Scene:
    """With the positive cut at joins so that each set of joined runs draws no more than one limited source gives for long."""
    fraction = scene.limits.supply_fraction
    cut: set[tuple[str, str]] = set()
    beyond = []
    for chain in chains_of(scene, layout):
        volts = scene.strip[scene.run[chain.runs[0]].strip].volts
        fits = [s for s in {**scene.supply, **smaller}.values() if volts_fit(s.volts, volts)]
        most = max((s.amps for s in fits), default=0.0) * fraction
        together: list[int] = []
        for place, r in enumerate(chain.runs):
            alone = _peak_a(layout, moments, [r])
            if alone > most * (1 + 1e-9):
                beyond.append(
                    f"  run {scene.run[r].name} draws {alone:.2f} A, such a source of {volts:g} V gives {most:.2f} A for long"
                )
            if together and _peak_a(layout, moments, [*together, r]) > most and chain.is_path:
                cut.add((scene.run[chain.runs[place - 1]].name, scene.run[r].name))
                together = []
            together.append(r)
    if beyond:
        head = f"{scene.title}: no circuit of a limited power source (limits.class2) can carry these runs whole"
        tail = "  make them shorter: two runs, each from a supply of its own, tied by a join that carries the negative"
        raise NoPlanError("\n".join([head, *beyond, tail]))
    joins = [
        join.model_copy(update={"carries": "negative"})
        if (join.from_, join.to) in cut and join.carries == "power"
        else join
        for join in scene.join
    ]
    return scene.model_copy(update={"join": tuple(joins)})


def _peak_a(layout: Layout, moments: Moments, runs: Sequence[int]) -> float:
    """Amps that runs draw at most at any moment, with nothing lost on the way."""
    groups = np.concatenate([np.arange(layout.first[r], layout.first[r + 1]) for r in runs])
    peaks = [np.einsum("fgc,gc->f", block[:, groups], layout.rated_a[groups]).max() / 255 for block in moments]
    return float(max(peaks) + layout.idle_a[groups].sum())


def with_negatives(scene: Scene) -> Scene:
    """With the negative carried along every data line between supplies whose negatives are not tied yet: the signal needs its return."""
    joins = list(scene.join)
    for j, join in enumerate(scene.join):
        if join.carries != "data":
            continue
        sets = conductor_sets(scene.model_copy(update={"join": tuple(joins)}), "negative")
        if not any(("run", join.from_) in parts and ("run", join.to) in parts for parts in sets):
            joins[j] = join.model_copy(update={"carries": "negative"})
    return scene.model_copy(update={"join": tuple(joins)})
