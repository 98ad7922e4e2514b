"""Which part of a line of light solid boxes hide from a point.

Seen from a point P, a convex box hides one unbroken interval of a straight line. On the triangle between P and the line
X = P + λ(A − P) + λ t T, with λ from 0 at P to 1 on the line and t along it, the box's six planes are straight lines in λ and μ = λ t,
so what is hidden is a convex polygon there and the interval's ends are the least and the greatest μ/λ of its corners. For a line
parallel to a room axis two slabs bound λ alone and the third bounds t as a function of 1/λ: the ends lie at the ends of λ.

A band of light is hidden bit by bit, which gives the half-shadow its width: it is cut into parallel strands. What a box hides of a
strand changes smoothly from one to the next save where the ray through a corner of the box's cross-section meets the band. The band
is cut there, and each piece is integrated by Gauss's rule of two nodes, so that a half-shadow is no staircase. (A run aslant to the
room's axes, on whose strands the corners come one after another, has many even strands instead.) On each strand the boxes' intervals
are joined before they are measured, so that two boxes that touch hide what one box of their shape would.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from preview.light.emission import Lines
from preview.light.room import Boxes
from preview.scene.layout import Bools, Floats, Ints

__all__ = ["Along", "Heft", "Light", "hidden_points", "shade"]

Light = NDArray[np.float32] | Floats

Along = Callable[[Ints, Floats], Floats]
"""Of rows (M,) of the points and places t (M,) on the line in metres: the place in groups, 2.5 half the light of group 2 on."""

Heft = Callable[[Ints, Floats], Floats]
"""Of rows (M,) of the points and offsets (S, M) from the band's middle in widths: the light of the strands there, to any scale."""

_STRANDS = 4  # of a run aslant
_STRANDS_EDGE = 24  # of one that has the end of a shadow on it
_MOST_CUTS = 12  # beyond it, behind a grille of slats finer than the band is wide, some of its half-shadow is lost
_GAUSS = 0.5 / np.sqrt(3.0)
_NEAREST = 1e-9  # λ from which a box counts: the point itself may lie on it


def hidden_points(boxes: Boxes, eyes_m: Floats, points_m: Floats) -> Bools:
    """(N,) true where a box lies between eyes (N, 3) or (3,) and points (N, 3)."""
    hidden = np.zeros(len(points_m), dtype=bool)
    eyes = np.broadcast_to(eyes_m, points_m.shape)
    ray = points_m - eyes
    ray = np.where(np.abs(ray) < 1e-12, 1e-12, ray)
    begin = [np.ascontiguousarray(eyes[:, k]) for k in range(3)]
    inverse = [1.0 / ray[:, k] for k in range(3)]
    reach_low = np.minimum(eyes, points_m).min(axis=0) if len(points_m) else np.zeros(3)
    reach_high = np.maximum(eyes, points_m).max(axis=0) if len(points_m) else np.zeros(3)
    for low, high in zip(*boxes.opaque_m, strict=True):
        if (low >= high).any() or (reach_low >= high).any() or (reach_high <= low).any():
            continue
        enter, leave = np.zeros(len(points_m)), np.ones(len(points_m))
        for k in range(3):
            near, far = (low[k] - begin[k]) * inverse[k], (high[k] - begin[k]) * inverse[k]
            np.maximum(enter, np.minimum(near, far), out=enter)
            np.minimum(leave, np.maximum(near, far), out=leave)
        hidden |= enter < leave
    return hidden


def _interval(low: Floats, high: Floats, points: Floats, start: Floats, tangent: Floats) -> tuple[Floats, Floats]:
    """Ends of the part of a line that boxes (N, 3), each of its own point, hide from points (N, 3); empty where first ≥ last.

    `start` (3,) is the line's, or (S, 1 or N, 3) those of S parallel strands; the ends are (N,) or (S, N).
    """
    axis = _axis_of(tangent)
    if axis is not None:
        sign = float(np.sign(tangent[axis]))
        return _interval_along_axis(_by_axis(low), _by_axis(high), _by_axis(points), _by_axis(start), axis, sign)
    return _interval_askew(low, high, points, start, tangent)


def _by_axis(places: Floats) -> list[Floats]:
    """x, y and z of places (..., 3)."""
    return [np.ascontiguousarray(places[..., k]) for k in range(3)]


def _axis_of(tangent: Floats) -> int | None:
    """The room's axis along which a line lies, if it does."""
    axis = int(np.abs(tangent).argmax())
    return axis if abs(tangent[axis]) > 1 - 1e-9 else None


def _interval_along_axis(
    low: list[Floats], high: list[Floats], points: list[Floats], starts: list[Floats], axis: int, sign: float
) -> tuple[Floats, Floats]:
    """As `_interval`, with x, y and z of everything by themselves."""
    enter, leave = np.asarray(_NEAREST), np.asarray(1.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        for k in range(3):
            if k == axis:
                continue
            step = starts[k] - points[k]
            inverse = 1.0 / step
            near, far = (low[k] - points[k]) * inverse, (high[k] - points[k]) * inverse
            if np.count_nonzero(step) < step.size:
                still, outside = step == 0, (points[k] <= low[k]) | (points[k] >= high[k])
                near = np.where(still, np.where(outside, 2.0, -np.inf), near)
                far = np.where(still, np.where(outside, 2.0, np.inf), far)
            enter = np.maximum(enter, np.minimum(near, far))
            leave = np.minimum(leave, np.maximum(near, far))
        # Along the line, X = P + λ(step + sign·t) on the axis lies in the slab for t between these, at each λ.
        bounds = (low[axis] - points[axis], high[axis] - points[axis])
        begin, end = bounds if sign > 0 else (-bounds[1], -bounds[0])
        beside = (starts[axis] - points[axis]) * sign
        one, other = 1.0 / enter, 1.0 / leave
        first, last = np.minimum(begin * one, begin * other), np.maximum(end * one, end * other)
    first -= beside
    last -= beside
    np.copyto(last, -np.inf, where=~(enter < leave))
    return first, last


def _interval_askew(low: Floats, high: Floats, points: Floats, start: Floats, tangent: Floats) -> tuple[Floats, Floats]:
    # Half planes a·λ + b·μ ≤ c: six of the box, and λ between a hair and 1.
    step = start - points
    shape = step.shape[:-1]
    planes: list[tuple[Floats, float, Floats]] = [
        (np.ones(shape), 0.0, np.ones(shape)),
        (-np.ones(shape), 0.0, np.full(shape, -_NEAREST)),
    ]
    for k in range(3):
        planes.append((step[..., k], float(tangent[k]), high[..., k] - points[..., k]))
        planes.append((-step[..., k], -float(tangent[k]), points[..., k] - low[..., k]))
    first, last = np.full(shape, np.inf), np.full(shape, -np.inf)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        for (a1, b1, c1), (a2, b2, c2) in combinations(planes, 2):
            inverse = 1.0 / (a1 * b2 - a2 * b1)
            lam, mu = (c1 * b2 - c2 * b1) * inverse, (a1 * c2 - a2 * c1) * inverse
            inside = np.isfinite(lam) & np.isfinite(mu) & (lam > 0)
            for a, b, c in planes:
                inside &= a * lam + b * mu <= c + 1e-9
            t = mu / lam
            np.minimum(first, t, out=first, where=inside)
            np.maximum(last, t, out=last, where=inside)
    return first, last


def shade(
    light: Light, lines: Lines, line: int, boxes: Boxes, points_m: Floats, skip: int | Ints, along: Along, heft: Heft
) -> None:
    """Takes from `light` (N, count) of each group of one line at points (N, 3) what the boxes hide.

    `skip`, one for all points or (N,), is the number of a box that is not tested: the one whose own face a point lies on.
    """
    start, tangent = lines.start_m[line], lines.tangent[line]
    step, width = float(lines.group_m[line]), float(lines.width_m[line])
    length = float(lines.count[line]) * step
    reach_low = np.minimum(start, start + length * tangent) - width
    reach_high = np.maximum(start, start + length * tangent) + width
    reach_low, reach_high = np.minimum(reach_low, points_m.min(axis=0)), np.maximum(reach_high, points_m.max(axis=0))
    rays = _Rays(points_m, start, tangent)
    skip = np.broadcast_to(skip, len(points_m))
    skipped = set(np.unique(skip).tolist())
    corners_low, corners_high = boxes.opaque_m
    between = (corners_low < corners_high) & (reach_low < corners_high) & (reach_high > corners_low)
    rows_of: list[Ints] = []
    some = np.nonzero(between.all(axis=1))[0]
    for b in some:
        # Only points for which a box thicker by the band's width hides something are looked at closely.
        rows = rays.may_meet(corners_low[b] - width, corners_high[b] + width)
        rows_of.append(rows[skip[rows] != b] if b in skipped else rows)
    if not sum(map(len, rows_of)):
        return
    rows, box = np.concatenate(rows_of), np.repeat(some, [len(rows) for rows in rows_of])
    low, high = corners_low[box], corners_high[box]
    first, last = _interval(low - width, high + width, points_m[rows], start, tangent)
    kept = np.nonzero((last > first) & (last > 0) & (first < length))[0]
    near = _Near(rows[kept], low[kept], high[kept], points_m[rows[kept]], len(some) > 1)
    touched = np.zeros(len(points_m), dtype=bool)
    touched[near.row] = True
    for rows, offsets, weights in _strands(lines, line, near, len(points_m), np.nonzero(touched)[0]):
        weights = weights * heft(rows, offsets)
        weights /= np.maximum(weights.sum(axis=0), 1e-300)
        light[rows] *= _seen(lines, line, near, len(points_m), rows, offsets, weights, along).astype(
            light.dtype, copy=False
        )


@dataclass(frozen=True)
class _Near:
    """Points and the boxes that may shade them, a row for each two."""

    row: Ints  # (M,) number of the point
    low_m: Floats  # (M, 3) corners of the box
    high_m: Floats  # (M, 3)
    place_m: Floats  # (M, 3) of the point
    several: bool  # whether a point may have more than one box


class _Rays:
    """Rays from points (N, 3) to a line, in the two axes across it: what most boxes miss is left out by these alone."""

    def __init__(self, points: Floats, start: Floats, tangent: Floats) -> None:
        self._all = np.arange(len(points))
        self._axes = [k for k in range(3) if abs(tangent[k]) <= 1e-9]
        self._begin = [np.ascontiguousarray(points[:, k]) for k in self._axes]
        self._inverse = [
            1.0 / np.where(np.abs(step := start[k] - begin) < 1e-12, 1e-12, step)
            for k, begin in zip(self._axes, self._begin, strict=True)
        ]

    def may_meet(self, low: Floats, high: Floats) -> Ints:
        """Numbers of the points whose rays may pass a box."""
        if len(self._axes) < 2:
            return self._all
        enter, leave = np.zeros(len(self._all)), np.ones(len(self._all))
        for k, begin, inverse in zip(self._axes, self._begin, self._inverse, strict=True):
            near, far = (low[k] - begin) * inverse, (high[k] - begin) * inverse
            enter, leave = np.maximum(enter, np.minimum(near, far)), np.minimum(leave, np.maximum(near, far))
        return np.asarray(np.nonzero(enter < leave)[0])


def _strands(lines: Lines, line: int, near: _Near, points: int, shaded: Ints) -> Iterator[tuple[Ints, Floats, Floats]]:
    """Rows (M,) of points, offsets of their strands from the band's middle in widths (S, M), and their weights (S, M)."""
    tangent = lines.tangent[line]
    axis = _axis_of(tangent)
    if axis is None:
        edge = _on_an_edge(lines, line, near, points)[shaded]
        for rows, strands in ((shaded[~edge], _STRANDS), (shaded[edge], _STRANDS_EDGE)):
            even = np.broadcast_to(((np.arange(strands) + 0.5) / strands - 0.5)[:, None], (strands, len(rows)))
            if len(rows):
                yield rows, even, np.full(even.shape, 1 / strands)
        return
    cuts = _cuts(lines, line, near, points, axis)[:, shaded]
    number = np.minimum((cuts < 0.5).sum(axis=0), _MOST_CUTS)
    for some in np.unique(number):
        these = np.nonzero(number == some)[0]
        ends = np.empty((int(some) + 2, len(these)))
        ends[0], ends[-1] = -0.5, 0.5
        ends[1:-1] = cuts[:some, these]
        middle, half = 0.5 * (ends[1:] + ends[:-1]), np.diff(ends, axis=0)
        offsets = np.concatenate([middle - _GAUSS * half, middle + _GAUSS * half])
        yield shaded[these], offsets, np.concatenate([half, half]) / 2


def _cuts(lines: Lines, line: int, near: _Near, points: int, axis: int) -> Floats:
    """(C, N) where on the band, in widths from its middle, shadows of corners fall; in rising order, 0.5 where there is none."""
    one, other = (k for k in range(3) if k != axis)
    start, across = lines.start_m[line], lines.across[line] * lines.width_m[line]
    x, y = (np.ascontiguousarray(near.place_m[:, k]) for k in (one, other))
    ahead_x, ahead_y = start[one] - x, start[other] - y
    rows, places = [], []
    for bound_one in (near.low_m[:, one], near.high_m[:, one]):
        to_x = bound_one - x
        for bound_other in (near.low_m[:, other], near.high_m[:, other]):
            to_y = bound_other - y
            with np.errstate(divide="ignore", invalid="ignore"):
                place = (to_y * ahead_x - to_x * ahead_y) / (to_x * across[other] - to_y * across[one])
                hit_x, hit_y = ahead_x + place * across[one], ahead_y + place * across[other]
                reach = (to_x * hit_x + to_y * hit_y) / (hit_x * hit_x + hit_y * hit_y)
                cut = np.nonzero((np.abs(place) < 0.5) & (reach > _NEAREST) & (reach < 1.0))[0]
            rows.append(near.row[cut])
            places.append(place[cut])
    row, place = np.concatenate(rows), np.concatenate(places)
    order = np.lexsort((place, row))
    row, place = row[order], place[order]
    count = np.bincount(row, minlength=points)
    found = np.full((int(count.max(initial=0)), points), 0.5)
    found[np.arange(len(row)) - (np.cumsum(count) - count)[row], row] = place
    return found


def _on_an_edge(lines: Lines, line: int, near: _Near, points: int) -> Bools:
    """(N,) true where some box hides nothing of one edge of the band or of both."""
    edge = np.zeros(points, dtype=bool)
    length = float(lines.count[line] * lines.group_m[line])
    starts = lines.start_m[line] + np.array([-0.5, 0.5])[:, None, None] * lines.width_m[line] * lines.across[line]
    first, last = _interval(near.low_m, near.high_m, near.place_m, starts, lines.tangent[line])
    edge[near.row[~(np.minimum(last, length) > np.maximum(first, 0.0)).all(axis=0)]] = True
    return edge


def _seen(
    lines: Lines,
    line: int,
    near: _Near,
    points: int,
    rows: Ints,
    offsets: Floats,
    weights: Floats,
    along: Along,
) -> Floats:
    """(M, count) share of each group's light that gets past the boxes to points `rows` from strands at `offsets` with `weights` (S, M)."""
    count, step = int(lines.count[line]), float(lines.group_m[line])
    length = count * step
    place = np.full(points, -1)
    place[rows] = np.arange(len(rows))
    these = place[near.row]
    some = np.nonzero(these >= 0)[0]
    these, off = these[some], offsets[:, these[some]]
    low, high, own = near.low_m[some], near.high_m[some], near.place_m[some]
    band, tangent, start = lines.across[line] * lines.width_m[line], lines.tangent[line], lines.start_m[line]
    axis = _axis_of(tangent)
    if axis is None:
        first, last = _interval(low, high, own, start + off[..., None] * band, tangent)
    else:
        starts = [np.asarray(start[k] + off * band[k] if k != axis else start[k]) for k in range(3)]
        sign = float(np.sign(tangent[axis]))
        first, last = _interval_along_axis(_by_axis(low), _by_axis(high), _by_axis(own), starts, axis, sign)
    np.maximum(first, 0.0, out=first)
    np.minimum(last, length, out=last)
    hit = np.nonzero(first < last)
    cell = (np.arange(len(offsets))[:, None] * len(rows) + these)[hit]
    low_m, high_m = first[hit], last[hit]
    if not len(cell):
        return np.ones((len(rows), count))
    if near.several:
        # What an earlier box hides is not hidden twice: each strand's intervals in order, strand after strand on one long axis.
        begin = cell * (2.0 * length)
        order = np.argsort(begin + low_m)
        cell, begin, low_m, high_m = cell[order], begin[order], low_m[order], high_m[order]
        passed = np.maximum.accumulate(begin + high_m)[:-1] - begin[1:]
        np.maximum(low_m[1:], passed, out=low_m[1:])
        some = np.nonzero(low_m < high_m)[0]
        cell, low_m, high_m = cell[some], low_m[some], high_m[some]
    row, weight = cell % len(rows), weights.ravel()[cell]
    # Hidden from a to b in groups: a sum of ramps that fall by one over the group they end in, kept as their differences.
    row, end_m = np.concatenate([row, row]), np.concatenate([low_m, high_m])
    places = end_m / step
    inner = np.nonzero((end_m > 0) & (end_m < length))[0]
    places[inner] = along(rows[row[inner]], end_m[inner])
    group = np.minimum(places.astype(np.int64), count)
    at = row * (count + 2) + group
    weight = np.concatenate([-weight, weight])
    after = weight * (places - group)
    ramps = np.concatenate([weight - after, after])
    change: Floats = np.asarray(np.bincount(np.concatenate([at, at + 1]), ramps, len(rows) * (count + 2)), dtype=float)
    change[:: count + 2] += 1.0
    seen = np.cumsum(change.reshape(len(rows), count + 2)[:, :count], axis=1)
    return np.asarray(np.clip(seen, 0.0, 1.0, out=seen))
