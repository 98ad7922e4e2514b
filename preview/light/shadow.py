"""Which part of a line of light a solid box hides from a point.

Seen from a point P, a convex box hides one unbroken interval of a straight line. On the triangle between P and the line
X = P + λ(A − P) + λ t T, with λ from 0 at P to 1 on the line and t along it, the box's six planes bound λ and t; for a line parallel
to a room axis two slabs bound λ alone and the third bounds t as a function of 1/λ, so the interval's ends lie at the ends of λ.
Exact for those; a line that runs askew is tested at single points instead.

A band of light is hidden bit by bit: it is cut into parallel lines, which gives the half-shadow its width.
"""

from __future__ import annotations

import numpy as np

from preview.light.emission import Lines
from preview.light.room import Boxes
from preview.scene.layout import Bools, Floats

__all__ = ["hidden_points", "visible_share"]

_STRANDS = 4
"""Parallel lines that a band is cut into."""

_SHRINK_M = 0.0002  # a box does not shade what merely touches it


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
    for low, high in zip(boxes.low_m + _SHRINK_M, boxes.high_m - _SHRINK_M, strict=True):
        if (low >= high).any() or (reach_low >= high).any() or (reach_high <= low).any():
            continue
        enter, leave = np.zeros(len(points_m)), np.ones(len(points_m))
        for k in range(3):
            near, far = (low[k] - begin[k]) * inverse[k], (high[k] - begin[k]) * inverse[k]
            np.maximum(enter, np.minimum(near, far), out=enter)
            np.minimum(leave, np.maximum(near, far), out=leave)
        hidden |= enter < leave
    return hidden


def _interval(
    low: Floats, high: Floats, points: Floats, start: Floats, axis: int, sign: float
) -> tuple[Floats, Floats]:
    """Ends (N,), (N,) of the part of a line along ±`axis` that one box hides from points (N, 3); empty where low ≥ high."""
    enter = np.full(len(points), 1e-9)
    leave = np.ones(len(points))
    step = start - points
    with np.errstate(divide="ignore", invalid="ignore"):
        for k in range(3):
            if k == axis:
                continue
            inverse = 1.0 / step[:, k]
            near, far = (low[k] - points[:, k]) * inverse, (high[k] - points[:, k]) * inverse
            still = step[:, k] == 0
            if still.any():
                outside = (points[:, k] <= low[k]) | (points[:, k] >= high[k])
                near = np.where(still, np.where(outside, 2.0, -np.inf), near)
                far = np.where(still, np.where(outside, 2.0, np.inf), far)
            np.maximum(enter, np.minimum(near, far), out=enter)
            np.minimum(leave, np.maximum(near, far), out=leave)
    empty = enter >= leave
    enter = np.where(empty, 1.0, enter)
    leave = np.where(empty, 1.0, leave)
    # Along the line, X = P + λ(step + sign·t) on the axis lies in the slab for t between these, at each λ.
    edges = [
        ((bound - points[:, axis]) / lam - step[:, axis]) * sign
        for bound in (low[axis], high[axis])
        for lam in (enter, leave)
    ]
    first = np.minimum(np.minimum(edges[0], edges[1]), np.minimum(edges[2], edges[3]))
    last = np.maximum(np.maximum(edges[0], edges[1]), np.maximum(edges[2], edges[3]))
    return np.where(empty, 1.0, first), np.where(empty, 0.0, last)


def visible_share(lines: Lines, line: int, boxes: Boxes, points_m: Floats, skip: int = -1) -> Floats | None:
    """Share (N, count) of each group of one line that points (N, 3) see past the boxes; None where nothing is hidden.

    `skip` is the number of a box that is not tested: the one whose own face the points lie on.
    """
    start, tangent, across = lines.start_m[line], lines.tangent[line], lines.across[line]
    count, step, width = int(lines.count[line]), float(lines.group_m[line]), float(lines.width_m[line])
    length = count * step
    reach_low = np.minimum(start, start + length * tangent) - width
    reach_high = np.maximum(start, start + length * tangent) + width
    reach_low, reach_high = np.minimum(reach_low, points_m.min(axis=0)), np.maximum(reach_high, points_m.max(axis=0))
    axis = int(np.abs(tangent).argmax())
    straight = abs(tangent[axis]) > 1 - 1e-9
    share: Floats | None = None
    for b in range(len(boxes)):
        low, high = boxes.low_m[b] + _SHRINK_M, boxes.high_m[b] - _SHRINK_M
        if b == skip or (low >= high).any() or (reach_low >= high).any() or (reach_high <= low).any():
            continue
        rows = np.arange(len(points_m))
        if straight:
            # Only points for which a box thicker by the band's width hides something are looked at closely.
            sign = float(np.sign(tangent[axis]))
            first, last = _interval(low - width, high + width, points_m, start, axis, sign)
            rows = np.nonzero((last > first) & (last > 0) & (first < length))[0]
            if not len(rows):
                continue
            part = _hidden_straight(low, high, points_m[rows], start, across * width, axis, sign, count, step)
        else:
            part = _hidden_askew(Boxes(low[None], high[None]), points_m, start, tangent, across * width, count, step)
        if share is None:
            share = np.ones((len(points_m), count))
        share[rows] *= 1.0 - part
    return share


_OFFSETS = (np.arange(_STRANDS) + 0.5) / _STRANDS - 0.5


def _hidden_straight(
    low: Floats,
    high: Floats,
    points: Floats,
    start: Floats,
    band: Floats,
    axis: int,
    sign: float,
    count: int,
    step: float,
) -> Floats:
    """(N, count) share of each group of a line along ±`axis` that one box hides from points (N, 3)."""
    hidden = np.zeros((len(points), count))
    begins = np.arange(count) * step
    for offset in _OFFSETS:
        first, last = _interval(low, high, points, start + offset * band, axis, sign)
        overlap = np.minimum(last[:, None], begins + step)
        overlap -= np.maximum(first[:, None], begins)
        np.maximum(overlap, 0.0, out=overlap)
        hidden += overlap
    hidden *= 1 / (step * _STRANDS)
    return hidden


def _hidden_askew(
    box: Boxes, points: Floats, start: Floats, tangent: Floats, band: Floats, count: int, step: float
) -> Floats:
    """The same for a line in any direction, from the middle of each group."""
    places = start + ((np.arange(count) + 0.5) * step)[:, None] * tangent
    hidden = np.zeros((len(points), count))
    eyes = np.repeat(points, count, axis=0)
    for offset in _OFFSETS:
        ends = np.tile(places + offset * band, (len(points), 1))
        hidden += hidden_points(box, eyes, ends).reshape(len(points), count) * (1 / _STRANDS)
    return hidden
