"""The wiring in words: where every feed comes in, what each cable is, which way the data goes, and where the negative is one.

Places are those that the network uses: a feed stands at its nearest cut point. Nothing is worked out here that the plan does not say.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from preview.power import conductors
from preview.power.conductor_sets import conductor_sets, root_supply, used_supplies
from preview.power.data_line import data_lines
from preview.scene.layout import group_count
from preview.scene.model import Cable, Join, Scene

__all__ = ["FeedPoint", "JoinWay", "Line", "SourceWay", "Wiring", "cable_words", "length_words", "wiring_of"]


@dataclass(frozen=True)
class SourceWay:
    """A supply, or a block with the cable that brings it power; blocks come after what feeds them."""

    kind: str  # "supply" or "block"
    name: str
    source: str | None
    supply: str
    cable: Cable | None
    volts: float
    amps: float | None  # a supply's rating


@dataclass(frozen=True)
class FeedPoint:
    """A feed: `at_m` is its cut point, which `falls` puts between groups; `asked_m` is where the scene has it."""

    index: int
    source: str
    supply: str
    run: str
    at_m: float
    asked_m: float
    share: float  # of the run's length
    falls: str
    cable: Cable
    fuse_a: float | None

    @property
    def name(self) -> str:
        """What it is called where its source and its run are beside it anyway: its number in the file, from 1."""
        return f"feed {self.index + 1}"

    @property
    def moved(self) -> bool:
        """Whether the cut point lies more than a millimetre from where the scene asks for power."""
        return abs(self.at_m - self.asked_m) > 1e-3


@dataclass(frozen=True)
class JoinWay:
    """The end of a run to the start of the next: what it carries, in words, and its cable."""

    start: str
    end: str
    carries: str
    words: str
    cable: Cable | None


@dataclass(frozen=True)
class Line:
    """One data line: its runs in the order of the data, its groups, and the cable from the controller where it is known."""

    number: int
    runs: tuple[str, ...]
    groups: int
    lead_m: float | None
    colour_orders: tuple[str, ...]


@dataclass(frozen=True)
class Wiring:
    """All of it, in the order in which it is drawn: sources, then runs along their data lines."""

    sources: tuple[SourceWay, ...]
    feeds: tuple[FeedPoint, ...]
    joins: tuple[JoinWay, ...]
    lines: tuple[Line, ...]
    negatives: tuple[tuple[str, ...], ...]  # parts whose negatives are one
    positives: tuple[tuple[str, ...], ...]


CARRIES = {
    "power": "positive, negative and data",
    "negative": "negative and data, positive cut",
    "data": "data only",
}


def cable_words(cable: Cable | None) -> str:
    """The size of a cable's conductors.

    >>> cable_words(Cable(mm2=1.5, length_m=2)), cable_words(Cable(awg=16, length_m=2)), cable_words(None)
    ('1.5 mm²', '16 AWG', 'soldered, no cable')
    """
    return "soldered, no cable" if cable is None else conductors.cable_words(cable)


def length_words(cable: Cable | None) -> str:
    """Size and length, as they are written on a drawing.

    >>> length_words(Cable(mm2=1.5, length_m=2.25))
    '1.5 mm², 2.25 m'
    """
    return cable_words(cable) if cable is None else f"{cable_words(cable)}, {cable.length_m:g} m"


def wiring_of(scene: Scene, read: Sequence[dict[str, Any]]) -> Wiring:
    """The wiring of a scene. `read` are the feeds of the probe's readings, which have each feed's cut point."""
    groups = {run.name: 0 for run in scene.run}
    lines = []
    runs = {run.name: run for run in scene.run}
    for number, line in enumerate(data_lines(scene), start=1):
        orders = tuple(dict.fromkeys(scene.strip[runs[name].strip].colour_order for name in line.runs))
        lines.append(Line(number, line.runs, line.groups, runs[line.runs[0]].data_m, orders))
    return Wiring(
        sources=tuple(_sources(scene)),
        feeds=tuple(_feed(scene, k, one) for k, one in enumerate(read)),
        joins=tuple(_join(join) for join in scene.join),
        lines=tuple(lines),
        negatives=_named(scene, "negative", groups),
        positives=_named(scene, "positive", groups),
    )


def _sources(scene: Scene) -> list[SourceWay]:
    """Every supply that feeds anything, followed by the blocks behind it, deeper ones after what feeds them."""
    found: list[SourceWay] = []

    def blocks_of(source: str) -> None:
        for name, block in scene.block.items():
            if block.from_ == source:
                supply = root_supply(scene, name)
                found.append(SourceWay("block", name, source, supply, block.cable, scene.supply[supply].volts, None))
                blocks_of(name)

    for name in used_supplies(scene):
        supply = scene.supply[name]
        found.append(SourceWay("supply", name, None, name, None, supply.volts, supply.amps))
        blocks_of(name)
    return found


def _feed(scene: Scene, index: int, read: dict[str, Any]) -> FeedPoint:
    feed = scene.feed[index]
    run = next(run for run in scene.run if run.name == feed.run)
    strip = scene.strip[run.strip]
    cut = round(read["at_m"] / strip.cut_m)
    count = group_count(run, strip)
    falls = f"between groups {cut - 1} and {cut}"
    if cut == 0:
        falls = "data end, before group 0"
    elif cut == count:
        falls = f"far end, after group {count - 1}"
    return FeedPoint(
        index,
        feed.from_,
        root_supply(scene, feed.from_),
        feed.run,
        read["at_m"],
        feed.at_m,
        cut / count,
        falls,
        feed.cable,
        feed.fuse_a,
    )


def _join(join: Join) -> JoinWay:
    return JoinWay(join.from_, join.to, join.carries, CARRIES[join.carries], join.cable)


def _named(scene: Scene, conductor: Any, groups: dict[str, int]) -> tuple[tuple[str, ...], ...]:
    """Sets of parts that hang together, sources first, by name."""
    sets = []
    for parts in conductor_sets(scene, conductor):
        names = [f"supply {name}" for name in used_supplies(scene) if ("source", name) in parts]
        names += [f"block {name}" for name in scene.block if ("source", name) in parts]
        names += [f"run {name}" for name in groups if ("run", name) in parts]
        if names:
            sets.append(tuple(names))
    return tuple(sets)
