"""The parts list: what is bought, in the lengths it is sold in, with prices where the scene has them.

Cable is summed by size over feeds, blocks and joins, with an allowance for ends and detours, and rounded up to the next half metre. A join
that carries power takes a two-core cable and a data lead beside it; one that carries the negative a single core and a data lead; one
that carries data the lead alone.

Leaves out: what a scene does not know of: the controller, end caps, clips, glue, glands, boxes, ferrules, everything on the mains side.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from preview.pack.cuts import CutList
from preview.pack.wiring import cable_words
from preview.power.conductor_sets import used_supplies
from preview.scene.corners import corners_of
from preview.scene.model import Cable, Scene

__all__ = ["ALLOWANCE", "NOT_LISTED", "Part", "Parts", "parts_list"]

ALLOWANCE = 0.10
"""Cable bought beyond what the plan has (common practice, no source)."""

NOT_LISTED = (
    "the controller and its case",
    "end caps, mounting clips and glue for the channels",
    "boxes, glands, ferrules and cable ties",
    "everything on the mains side of the supplies",
)
"""What a scene does not know of and a job needs."""

_TO_THE_M = 2.0
"""Cable is rounded up to so many parts of a metre."""


@dataclass(frozen=True)
class Part:
    """One line: how many of what, how many metres of it the plan takes, and what it costs. Prices are None where none is known."""

    kind: str  # strip, channel, supply, protection, cable, connection
    item: str
    count: float
    unit: str
    net_m: float | None = None
    price: float | None = None
    note: str = ""

    @property
    def cost(self) -> float | None:
        """Price times count."""
        return None if self.price is None else self.price * self.count


@dataclass(frozen=True)
class Parts:
    """The list, the currency of its prices, and what was assumed in it."""

    parts: tuple[Part, ...]
    currency: str
    assumed: tuple[str, ...]

    @property
    def cost(self) -> float:
        """Of everything that has a price."""
        return sum(part.cost or 0.0 for part in self.parts)

    @property
    def unpriced(self) -> tuple[str, ...]:
        """What has no price."""
        return tuple(part.item for part in self.parts if part.price is None)


def parts_list(scene: Scene, cuts: CutList, allowance: float = ALLOWANCE) -> Parts:
    """The parts of a scene and its cut list. `allowance` 0.1 buys a tenth more cable than the plan has."""
    parts = [
        *_sold(scene, cuts),
        *_supplies(scene),
        *_protection(scene),
        *_cables(scene, allowance),
        *_connections(scene, cuts),
    ]
    assumed = (
        f"{allowance:.0%} more cable than the plan has, rounded up to the next half metre (common practice, no source)",
    )
    return Parts(tuple(parts), scene.money.currency, assumed)


def _sold(scene: Scene, cuts: CutList) -> Iterator[Part]:
    """Reels of strip and lengths of channel."""
    for material in cuts.materials:
        proven = "" if material.proven else "; fewer may do, this was not proven"
        if material.kind == "strip":
            strip = scene.strip[material.name]
            colours = "red, green, blue" + (", white" if strip.white else "")
            item = f"strip {material.name}: {strip.volts:g} V, {strip.leds_per_m:g} LEDs a metre, {colours}"
            yield Part(
                "strip", item, material.sold, f"reel of {material.sold_m:g} m", material.net_m, strip.price,
                f"cut every {1000 * strip.cut_m:.1f} mm{proven}",
            )  # fmt: skip
        else:
            channel = scene.channel[material.name]
            item = f"channel {material.name} with its {channel.cover} cover: {channel.width_mm:g} mm wide, {channel.depth_mm:g} mm deep"
            yield Part(
                "channel",
                item,
                material.sold,
                f"length of {material.sold_m:g} m",
                material.net_m,
                channel.price,
                proven[2:],
            )


def _supplies(scene: Scene) -> Iterator[Part]:
    alike: dict[tuple[float, float, float | None], list[str]] = {}
    for name in used_supplies(scene):
        supply = scene.supply[name]
        alike.setdefault((supply.volts, supply.amps, supply.price), []).append(name)
    for (volts, amps, price), names in alike.items():
        item = f"supply {', '.join(names)}: {volts:g} V d.c., {amps:g} A ({volts * amps:.0f} W) or more"
        yield Part("supply", item, len(names), "piece", None, price)


def _protection(scene: Scene) -> Iterator[Part]:
    for amps, count in sorted(Counter(feed.fuse_a for feed in scene.feed if feed.fuse_a is not None).items()):
        where = ", ".join(str(k) for k, feed in enumerate(scene.feed, start=1) if feed.fuse_a == amps)
        plural = "feeds" if count > 1 else "feed"
        yield Part(
            "protection",
            f"fuse {amps:g} A with its holder",
            count,
            "piece",
            note=f"{plural} {where}, at the source's end",
        )


def _cables(scene: Scene, allowance: float) -> Iterator[Part]:
    metres: dict[tuple[str, str], float] = {}

    def add(what: str, size: str, length_m: float) -> None:
        if length_m > 0:
            metres[what, size] = metres.get((what, size), 0.0) + length_m

    def power(what: str, cable: Cable | None) -> None:
        if cable is not None:
            add(what, cable_words(cable), cable.length_m)

    for feed in scene.feed:
        power("two-core cable", feed.cable)
    for block in scene.block.values():
        power("two-core cable", block.cable)
    for join in scene.join:
        if join.carries == "power":
            power("two-core cable", join.cable)
        elif join.carries == "negative":
            power("single core, negative", join.cable)
        if join.cable is not None:
            add("data lead", cable_words(join.cable) if join.carries == "data" else "", join.cable.length_m)
    for run in scene.run:
        add("data lead", "", run.data_m or 0.0)
    for (what, size), net_m in sorted(metres.items(), key=lambda item: (item[0][0] != "two-core cable", item[0])):
        order_m = math.ceil(net_m * (1 + allowance) * _TO_THE_M - 1e-9) / _TO_THE_M
        note = "" if size else "beside a power cable, or from the controller: its size is not in the plan"
        yield Part("cable", f"{what} {size}".rstrip(), order_m, "m", net_m, note=note)


def _connections(scene: Scene, cuts: CutList) -> Iterator[Part]:
    if scene.block:
        yield Part(
            "connection",
            "terminal block, positive and negative",
            len(scene.block),
            "piece",
            note=", ".join(scene.block),
        )
    yield Part("connection", "feed to solder or plug: positive and negative", len(scene.feed), "place")
    wires = {"power": "positive, negative, data", "negative": "negative, data", "data": "data"}
    for carries, words in wires.items():
        count = sum(join.carries == carries for join in scene.join)
        if count:
            yield Part("connection", f"join between two runs: {words}", count, "place")
    spliced = sum(len(strip.pieces) - 1 for strip in cuts.strips)
    if spliced:
        yield Part("connection", "splice within a run: positive, negative, data", spliced, "place")
    begun = {(piece.run, piece.groups[0]) for strip in cuts.strips for piece in strip.pieces if piece.groups}
    corners = sum((run.name, c.cut) not in begun for run in scene.run for c in corners_of(run, scene.strip[run.strip]))
    if corners:
        yield Part("connection", "corner within a run, cut and linked: positive, negative, data", corners, "place")
    joints = sum(len(material.pieces) for material in cuts.materials if material.kind == "channel")
    joints -= sum(
        1
        for material in cuts.materials
        for piece in material.pieces
        if material.kind == "channel" and "joint" not in piece.note
    )
    if joints:
        yield Part("connection", "straight joint between two pieces of channel", joints, "place")
