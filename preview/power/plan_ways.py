"""How long a cable is from a supply or block to a place on a run: along the room's surfaces, and always a little more.

A cable runs at right angles along walls, floor and ceiling, never through the air. So both ends are carried to the nearest surface, and
between the two the shortest way in right angles over the surface of the box is taken: between neighbouring surfaces that is the sum of
the differences along the axes; between opposite ones a detour round one of the four others comes on top. To that comes an allowance, a
share for bends and slack, and `END_M` at both ends to strip and to hold. The sum is rounded up to whole decimetres.

Where the plan has a feed from there to that very cut point already, its own length is taken: it was measured, or thought over.

Leaves out: doors, furniture that bars the way or shortens it, pipes and ducts, which a length of one's own (`--cable-m`) can tell.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from preview.scene.layout import Floats, Layout, cut_point, places_on_path
from preview.scene.model import Scene

__all__ = ["ALLOWANCE", "END_M", "cable_length_m", "feed_lengths_m", "surface_way_m"]

ALLOWANCE = 0.15
"""Share added to the way (common practice, no source)."""

END_M = 0.1
"""Metres added at each end (common practice, no source)."""


def surface_way_m(start_m: Sequence[float] | Floats, end_m: Sequence[float] | Floats, room_m: Sequence[float]) -> float:
    """Length in metres of the shortest way in right angles between two places, along the surfaces of a box room.

    Across a room 4 m wide, at half its depth of 3 m and half its height of 2.5 m, the way over the ceiling is 2 · 1.25 m more:

    >>> surface_way_m([0, 1.5, 1.25], [4, 1.5, 1.25], [4, 3, 2.5])
    6.5
    >>> surface_way_m([0, 1.5, 0.4], [1, 3, 2.5], [4, 3, 2.5])  # left wall to back wall: 1 + 1.5 + 2.1
    4.6
    """
    room = np.asarray(room_m, dtype=float)
    (a, face_a, to_a), (b, face_b, to_b) = (_on_surface(np.asarray(p, dtype=float), room) for p in (start_m, end_m))
    way = float(np.abs(a - b).sum())
    (axis_a, side_a), (axis_b, side_b) = face_a, face_b
    if axis_a == axis_b and side_a != side_b:
        detours = []
        for axis in range(3):
            if axis != axis_a:
                there = abs(a[axis] - b[axis])
                detours += [a[axis] + b[axis] - there, 2 * room[axis] - a[axis] - b[axis] - there]
        way += float(min(detours))
    return way + to_a + to_b


def _on_surface(point: Floats, room: Floats) -> tuple[Floats, tuple[int, int], float]:
    """The nearest point on the box, its face as (axis, 0 or 1), and how far it is."""
    inside = np.clip(point, 0.0, room)
    off = float(np.abs(point - inside).sum())
    gaps = np.concatenate([inside, room - inside])
    face = int(gaps.argmin())
    axis, side = face % 3, face // 3
    on = inside.copy()
    on[axis] = room[axis] * side
    return on, (axis, side), off + float(gaps[face])


def cable_length_m(way_m: float, allowance: float = ALLOWANCE) -> float:
    """Metres of cable to cut for a way: with the allowance and both ends, rounded up to whole decimetres.

    >>> cable_length_m(2.0, 0.15)
    2.5
    """
    return math.ceil((way_m * (1 + allowance) + 2 * END_M) * 10 - 1e-6) / 10


def feed_lengths_m(
    scene: Scene, layout: Layout, allowance: float = ALLOWANCE, given_m: Mapping[str, float] | None = None
) -> dict[str, list[Floats | None]]:
    """Metres of cable from every source to every cut point, by source and run: (groups + 1,), or None where nobody can tell.

    `given_m` names sources whose cables have one length whatever they go to.
    """
    places = {name: supply.at_m for name, supply in scene.supply.items()}
    places |= {name: block.at_m for name, block in scene.block.items()}
    lengths: dict[str, list[Floats | None]] = {}
    cuts = [
        places_on_path(run, np.arange(np.diff(layout.first)[r] + 1) * layout.cut_m[r])[0]
        for r, run in enumerate(scene.run)
    ]
    for name, at_m in places.items():
        found: list[Floats | None] = []
        for points in cuts:
            if given_m is not None and name in given_m:
                found.append(np.full(len(points), given_m[name]))
            elif at_m is None:
                found.append(None)
            else:
                ways = [surface_way_m(at_m, point, scene.room.size_m) for point in points]
                found.append(np.array([cable_length_m(way, allowance) for way in ways]))
        lengths[name] = found
    if given_m is None:
        given_m = {}
    numbers = {run.name: r for r, run in enumerate(scene.run)}
    for feed in scene.feed:
        row = lengths[feed.from_][numbers[feed.run]]
        if row is not None and feed.from_ not in given_m:
            r = numbers[feed.run]
            cut = cut_point(feed.at_m, layout.cut_m[r], len(row) - 1)
            row[cut] = feed.cable.length_m
    return lengths
