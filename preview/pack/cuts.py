"""What is cut from what: every run's strip to whole groups, every channel to its legs, from the fewest reels and lengths.

Strip is cut only at its cut points, without loss. A run longer than a reel is made of the fewest pieces that reach; they are spliced where
a feed comes in if that can be, since the feed's solder joints are there anyway and no current need pass the splice, else after a
whole reel. Where a run turns sideways its piece says at which cut point it is cut and linked.

Channel is cut to the straight legs of a run's path, and a leg that is longer than a sold length is jointed: between two groups where that
takes no further length, else after whole lengths. Every cut costs the saw's kerf.

Leaves out: mitres (a leg is its path's length, corner to corner), end caps, channel round bends, squaring a length's ends.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np

from preview.pack.cutting import Cutting, cut_from_stock
from preview.scene.corners import corners_of
from preview.scene.layout import group_count, path_length_m
from preview.scene.model import Run, Scene

__all__ = ["KERF_MM", "REEL_M", "STOCK_M", "CutList", "Material", "Piece", "Sold", "StripCut", "cut_list", "splices"]

STOCK_M = 2.0
"""Length that channel is sold in where the scene does not say (common practice, no source)."""

REEL_M = 5.0
"""Length of a reel where the scene does not say (common practice, no source)."""

KERF_MM = 3.0
"""What a saw blade for aluminium takes (common practice, no source)."""

_UNIT_M = 1e-4
"""Channel is reckoned in tenths of a millimetre."""

_SLIVER = 10
"""A leg that is by no more than this longer than whole lengths is made of those: nobody cuts a millimetre."""


@dataclass(frozen=True)
class Sold:
    """Lengths and kerf that stand in where the scene does not give them."""

    reel_m: float = REEL_M
    stock_m: float = STOCK_M
    kerf_mm: float = KERF_MM


@dataclass(frozen=True)
class Piece:
    """One piece: what to write on it, where it goes, and which reel or length (from 1) it comes from.

    `groups`: first and last group of a piece of strip, from 0 in its run. `start_m` is along the run's path from its data end.
    """

    mark: str
    run: str
    start_m: float
    length_m: float
    groups: tuple[int, int] | None = None
    note: str = ""
    sold: int = 0


@dataclass(frozen=True)
class Material:
    """One strip or channel: how it is sold, how many lengths are bought, and what is cut from each."""

    kind: Literal["strip", "channel"]
    name: str
    sold_m: float
    given: bool  # whether the scene says how it is sold
    usable_m: float  # of a reel, whole groups
    kerf_m: float
    pieces: tuple[Piece, ...]
    sold: int
    proven: bool

    @property
    def net_m(self) -> float:
        """Metres of all pieces together."""
        return sum(piece.length_m for piece in self.pieces)

    def of_length(self, number: int) -> tuple[Piece, ...]:
        """The pieces of one reel or length, numbered from 1, the longest first."""
        here = [piece for piece in self.pieces if piece.sold == number]
        return tuple(sorted(here, key=lambda piece: -piece.length_m))

    def left_m(self, number: int) -> float:
        """What is left of it once its pieces are off, kerfs taken."""
        here = self.of_length(number)
        return max(0.0, self.sold_m - sum(piece.length_m + self.kerf_m for piece in here))


@dataclass(frozen=True)
class StripCut:
    """One run's strip: its path, whole groups, the length they have, and what stays dark at the path's end."""

    run: str
    strip: str
    path_m: float
    groups: int
    cut_m: float
    length_m: float
    pieces: tuple[Piece, ...]

    @property
    def dark_m(self) -> float:
        """Path beyond the last group."""
        return max(0.0, self.path_m - self.length_m)


@dataclass(frozen=True)
class CutList:
    """Everything that is cut: by run for the strips, and by material."""

    strips: tuple[StripCut, ...]
    materials: tuple[Material, ...]
    assumed: tuple[str, ...]


def cut_list(scene: Scene, sold: Sold | None = None) -> CutList:
    """The cut list of a scene. `sold` stands in for what the scene does not give.

    A strip whose group is longer than a reel is taken to be sold by the group.
    """
    sold = sold or Sold()
    materials: list[Material] = []
    assumed: list[str] = []
    by_run: dict[str, list[Piece]] = {run.name: [] for run in scene.run}
    for name in dict.fromkeys(run.strip for run in scene.run):
        found = _strip(scene, name, sold, _letter(len(materials)))
        materials.append(found)
        if not found.given:
            assumed.append(f"strip {name} comes on reels of {found.sold_m:g} m (common practice, no source)")
        for piece in found.pieces:
            by_run[piece.run].append(piece)
    for name in dict.fromkeys(run.channel for run in scene.run if run.channel is not None):
        materials.append(_channel(scene, name, sold, _letter(len(materials))))
        if not materials[-1].given:
            assumed.append(f"channel {name} is sold in {materials[-1].sold_m:g} m (common practice, no source)")
    if any(material.kind == "channel" for material in materials):
        assumed.append(f"a saw cut takes {sold.kerf_mm:g} mm (common practice, no source)")
    strips = []
    for run in scene.run:
        strip = scene.strip[run.strip]
        count = group_count(run, strip)
        strips.append(
            StripCut(
                run.name,
                run.strip,
                path_length_m(run),
                count,
                strip.cut_m,
                count * strip.cut_m,
                tuple(by_run[run.name]),
            )
        )
    return CutList(tuple(strips), tuple(materials), tuple(assumed))


def _letter(number: int) -> str:
    """A, B, … Z, AA, AB, …: each material's marks begin with its own."""
    text = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, 26)
        text = chr(65 + rest) + text
    return text


# Strip -------------------------------------------------------------------------------------------------------------------


def _strip(scene: Scene, name: str, sold: Sold, letter: str) -> Material:
    strip = scene.strip[name]
    given = f"strip.{name}.reel_m" not in scene.assumed
    reel_m = strip.reel_m if given else sold.reel_m
    usable = math.floor(reel_m / strip.cut_m + 1e-6)
    if usable < 1:  # a cut length longer than a reel: sold by the group
        usable, reel_m = 1, strip.cut_m
    pieces: list[Piece] = []
    groups: list[int] = []
    for run in scene.run:
        if run.strip != name:
            continue
        fed: dict[int, int] = {}
        for k, feed in enumerate(scene.feed):
            if feed.run == run.name:
                fed.setdefault(round(feed.at_m / strip.cut_m), k)
        ends = [0, *splices(group_count(run, strip), usable, sorted(fed)), group_count(run, strip)]
        corners = corners_of(run, strip)
        for first, last in pairwise(ends):
            notes = []
            if first:
                at = f"spliced to the piece before it at {first * strip.cut_m:.3f} m"
                notes.append(
                    f"{at}, where feed {fed[first] + 1} comes in"
                    if first in fed
                    else f"{at}, between groups {first - 1} and {first}"
                )
            if any(corner.cut == first for corner in corners):
                notes.append("for the corner there linked with wires")
            linked = [f"{corner.cut_at_m:.3f} m" for corner in corners if first < corner.cut < last]
            if linked:
                notes.append(f"cut at {', '.join(linked)} for the corner and linked with wires")
            mark = f"{letter}{len(pieces) + 1}"
            own = (first, last - 1)
            length_m = (last - first) * strip.cut_m
            pieces.append(Piece(mark, run.name, first * strip.cut_m, length_m, own, "; ".join(notes)))
            groups.append(last - first)
    cutting = cut_from_stock(groups, usable)
    return Material(
        "strip",
        name,
        reel_m,
        given,
        usable * strip.cut_m,
        0.0,
        _placed(pieces, cutting),
        len(cutting.lengths),
        cutting.proven,
    )


def _placed(pieces: Sequence[Piece], cutting: Cutting) -> tuple[Piece, ...]:
    number = {k: n for n, length in enumerate(cutting.lengths, start=1) for k in length}
    return tuple(replace(piece, sold=number[k]) for k, piece in enumerate(pieces))


def splices(groups: int, usable: int, fed: Sequence[int]) -> list[int]:
    """Cut points at which a run is spliced: as few as its length allows, as many of them at feeds as can be, else late.

    >>> splices(80, 50, [0, 40, 80]), splices(80, 50, [0, 80]), splices(40, 50, [0])
    ([40], [50], [])
    """
    count = math.ceil(groups / usable)
    best: dict[int, tuple[int, list[int]]] = {0: (0, [])}  # by where the last piece ends: splices at feeds, splices
    for number in range(1, count):
        least, most = groups - (count - number) * usable, number * usable
        after: dict[int, tuple[int, list[int]]] = {}
        for start, (score, so_far) in best.items():
            reach = min(start + usable, most)
            for place in {p for p in fed if max(least, start + 1) <= p <= reach} | (
                {reach} if reach >= least else set()
            ):
                found = (score + (place in fed), [*so_far, place])
                if place not in after or found > after[place]:
                    after[place] = found
        best = after
    reached = [found for start, found in best.items() if groups - start <= usable]
    return max(reached)[1]


# Channel -----------------------------------------------------------------------------------------------------------------


def _channel(scene: Scene, name: str, sold: Sold, letter: str) -> Material:
    channel = scene.channel[name]
    given = "stock_m" in channel.model_fields_set
    stock_m = channel.stock_m if given else sold.stock_m
    stock, kerf = _units(stock_m), _units(sold.kerf_mm / 1000)
    runs = [run for run in scene.run if run.channel == name]
    between = [piece for run in runs for piece in _legs(scene, run, stock, True)]
    plain = [piece for run in runs for piece in _legs(scene, run, stock, False)]
    kept, cutting = between, cut_from_stock([_units(piece.length_m) for piece in between], stock, kerf)
    if between != plain:
        other = cut_from_stock([_units(piece.length_m) for piece in plain], stock, kerf)
        if len(other.lengths) < len(cutting.lengths):
            kept, cutting = plain, other
    marked = [replace(piece, mark=f"{letter}{k}") for k, piece in enumerate(kept, start=1)]
    return Material(
        "channel",
        name,
        stock_m,
        given,
        stock_m,
        sold.kerf_mm / 1000,
        _placed(marked, cutting),
        len(cutting.lengths),
        cutting.proven,
    )


def _units(length_m: float) -> int:
    return round(length_m / _UNIT_M)


def _straight_legs(run: Run) -> list[tuple[float, float]]:
    """Start along the path and length of each straight leg; points on a straight line between two others do not part it."""
    path = np.asarray(run.path_m, dtype=float)
    steps = np.diff(path, axis=0)
    lengths = np.linalg.norm(steps, axis=1)
    legs: list[tuple[float, float]] = []
    before = np.zeros(3)
    along = 0.0
    for step, length in zip(steps[lengths > 0], lengths[lengths > 0], strict=True):
        way = step / length
        if legs and float(way @ before) > 1 - 1e-9:
            legs[-1] = (legs[-1][0], legs[-1][1] + float(length))
        else:
            legs.append((along, float(length)))
        along, before = along + float(length), way
    return legs


def _legs(scene: Scene, run: Run, stock: int, between_groups: bool) -> list[Piece]:
    """The channel pieces of one run, unmarked. `between_groups`: joints go to cut points where the number of pieces allows."""
    strip = scene.strip[run.strip]
    last_m = group_count(run, strip) * strip.cut_m
    legs = _straight_legs(run)
    pieces = []
    for number, (start_m, length_m) in enumerate(legs, start=1):
        whole = _units(length_m)
        if 0 < whole % stock <= _SLIVER and whole > stock:
            whole -= whole % stock
        if whole == 0:
            continue
        count = math.ceil(whole / stock)
        ends = [0]
        notes = [f"leg {number} of {len(legs)}" if len(legs) > 1 else ""]
        for k in range(1, count):
            reach, least = min(ends[-1] + stock, whole - 1), whole - (count - k) * stock
            at_m = start_m + reach * _UNIT_M
            cut = math.floor(at_m / strip.cut_m + 1e-6)
            back = _units(cut * strip.cut_m - start_m)
            fits = between_groups and max(least, ends[-1] + 1) <= back <= reach and cut * strip.cut_m <= last_m + 1e-9
            ends.append(back if fits else reach)
            clean = abs(at_m / strip.cut_m - round(at_m / strip.cut_m)) * strip.cut_m < _UNIT_M or fits
            where = f"between groups {cut - 1} and {cut}" if clean else f"within group {cut}"
            notes.append(f"joint at {start_m + ends[-1] * _UNIT_M:.3f} m, {where}")
        ends.append(whole)
        for first, last, note in zip(ends, ends[1:], notes, strict=False):
            pieces.append(Piece("", run.name, start_m + first * _UNIT_M, (last - first) * _UNIT_M, None, note))
    return pieces
