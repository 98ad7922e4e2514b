"""Where shadows of boxes have sharp edges on a surface: beside a run that is parallel to an edge of a box.

In the plane across such a run the band is a short line and the box a rectangle. The shadow's edge lies between the two rays from the
band's ends through the rectangle's corner: full light on one side, none of this run on the other, and in between the half-shadow, in
which light falls almost evenly.

On a surface along the run that is a strip parallel to the surface's own axes, and light maps that have lines on its two ends hold the
edge as it is. On a surface across the run, such as the side wall at the end of a cove, the edge is the ray itself and runs aslant;
there the lines must lie so close that an edge moves by less than the half-shadow, or some millimetres, from one to the next.

Leaves out: the shadows of a run's single groups past the ends of a box, which are soft where the run as a whole is lit.
"""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np

from preview.light.emission import Lines
from preview.light.illuminance import lux_per_lumen
from preview.light.room import TOUCH_M, Boxes, Surfaces
from preview.scene.layout import Bools, Floats

__all__ = ["aslant_edges", "shadow_edges"]

_MOST = 14
"""Edges kept on each axis of a surface: those at which light changes most."""

_PLAIN = 0.06  # share of the light there by which it must change
_BOUNCED = 0.2
_SAMPLES = 5
_NARROWEST_M = 0.002
_BESIDE_M = 0.001
_STEP_M = 0.01
"""How far an edge may move from one line of a map to the next."""

_PARTS = 6
_MOST_ASLANT = 8


def _one(lines: Lines, line: int) -> Lines:
    picked = {field.name: getattr(lines, field.name)[line : line + 1] for field in fields(lines)}
    return replace(lines, **{**picked, "first": np.zeros(1, dtype=np.int64)})


def _least(surfaces: Surfaces, lines: Lines) -> float:
    """Light in lux that there is everywhere when every group gives a lumen: a part of the mean, by bounces."""
    return float(_BOUNCED * (lines.share @ lines.count) / surfaces.area_m2.sum())


def _silhouette(low: Floats, high: Floats, eye: Floats) -> Bools:
    """(B, 2, 2) whether a corner of each rectangle, low or high along each of two axes, bounds it as seen from `eye` (2,)."""
    corner = np.stack([low, high], axis=1)  # (B, side, axis)
    x, y = corner[:, :, 0] - eye[0], corner[:, :, 1] - eye[1]
    px = np.broadcast_to(x[:, :, None], (len(low), 2, 2)).reshape(-1, 4)
    py = np.broadcast_to(y[:, None, :], (len(low), 2, 2)).reshape(-1, 4)
    turn = px[:, :, None] * py[:, None, :] - py[:, :, None] * px[:, None, :]
    return np.asarray(((turn >= -1e-12).all(axis=2) | (turn <= 1e-12).all(axis=2)).reshape(-1, 2, 2))


def _across(
    surfaces: Surfaces, surface: int, lines: Lines, line: int, boxes: Boxes, along: int, out: int
) -> tuple[Floats, Floats]:
    """Edges (K, 2) in metres along the surface's other axis, and the light (K,) by which each changes, of one run along `along`."""
    none = np.empty((0, 2)), np.empty(0)
    beside = 3 - along - out
    plane = surfaces.origin_m[surface, out]
    begin, size = surfaces.origin_m[surface], surfaces.origin_m[surface].copy()
    is_u = bool(surfaces.u[surface, along])
    size[along] += surfaces.size_m[surface, 0 if is_u else 1]
    size[beside] += surfaces.size_m[surface, 1 if is_u else 0]
    start = lines.start_m[line]
    if (plane - start[out]) * surfaces.normal[surface, out] > -1e-6:
        return none
    ends = np.sort([start[along], start[along] + lines.length_m[line] * lines.tangent[line, along]])
    half = 0.5 * lines.width_m[line] * lines.across[line]
    low, high = (bound[:, [beside, out]] for bound in boxes.opaque_m)
    corner = np.stack([low, high], axis=1)
    hits, nearer = [], []
    for sign in (-1.0, 1.0):
        eye = (start + sign * half)[[beside, out]]
        with np.errstate(divide="ignore", invalid="ignore"):
            reach = (plane - eye[1]) / (corner[:, :, 1] - eye[1])  # (B, out side)
            hit = eye[0] + reach[:, None, :] * (corner[:, :, 0] - eye[0])[:, :, None]  # (B, beside side, out side)
        beyond = (reach > 1.0) & (np.abs(corner[:, :, 1] - plane) > 2 * TOUCH_M)  # contacts have lines of their own
        good = _silhouette(low, high, eye) & beyond[:, None, :] & np.isfinite(hit)
        hits.append(np.where(good, hit, np.nan))
        nearer.append(np.broadcast_to(reach[:, None, :], hit.shape))
    edge = np.stack(hits, axis=-1).reshape(-1, 2)
    edge.sort(axis=1)
    reach = np.minimum(*nearer).reshape(-1)
    box = np.repeat(np.arange(len(boxes)), 4)
    inside = (edge[:, 0] > begin[beside] + 2 * TOUCH_M) & (edge[:, 1] < size[beside] - 2 * TOUCH_M)
    inside &= box != surfaces.box[surface]
    edge, reach, box = edge[inside], reach[inside], box[inside]
    if not len(edge):
        return none
    # Where along the run the box's shadow falls: from what the run's two ends see past the box's two ends.
    bounds = np.stack([b[box, along] for b in boxes.opaque_m], axis=1)
    thrown = ends[None, :, None] + reach[:, None, None] * (bounds[:, None, :] - ends[None, :, None])
    first = np.maximum(thrown.min(axis=(1, 2)), begin[along])
    last = np.minimum(thrown.max(axis=(1, 2)), size[along])
    some = last > first
    edge, first, last = edge[some], first[some], last[some]
    if not len(edge):
        return none
    points = np.empty((len(edge), 2, _SAMPLES, 3))
    points[..., out] = plane
    points[..., beside] = np.stack([edge[:, 0] - _BESIDE_M, edge[:, 1] + _BESIDE_M], axis=1)[:, :, None]
    points[..., along] = (
        first[:, None, None] + (last - first)[:, None, None] * ((np.arange(_SAMPLES) + 0.5) / _SAMPLES)[None, None]
    )
    own = int(surfaces.box[surface])
    light = lux_per_lumen(_one(lines, line), boxes, points.reshape(-1, 3), surfaces.normal[surface], skip=own)
    both = light.sum(axis=1).reshape(len(edge), 2, _SAMPLES)
    change = np.abs(both[:, 0] - both[:, 1])
    plain = change > _PLAIN * (both.max(axis=1) + _least(surfaces, lines))
    return edge - begin[beside], np.where(plain, change, 0.0).max(axis=1)


def shadow_edges(surfaces: Surfaces, surface: int, lines: Lines, boxes: Boxes) -> tuple[Floats, Floats]:
    """Edges (K, 2) across u and (M, 2) across v of a surface, in metres: the two ends of each half-shadow."""
    found: list[Floats] = []
    out = int(np.abs(surfaces.normal[surface]).argmax())
    for way in (surfaces.u, surfaces.v):
        across = int(way[surface].argmax())
        along = 3 - out - across
        edges: list[Floats] = [np.empty((0, 2))]
        changes: list[Floats] = [np.empty(0)]
        for line in range(len(lines)):
            if abs(lines.tangent[line, along]) > 1 - 1e-9:
                edge, change = _across(surfaces, surface, lines, line, boxes, along, out)
                edges.append(edge)
                changes.append(change)
        edge, change = np.concatenate(edges), np.concatenate(changes)
        order = np.argsort(-change, kind="stable")
        order = order[change[order] > 0]
        kept: list[Floats] = []
        for one in edge[order]:
            if len(kept) < _MOST and all(np.abs(one - other).max() > _NARROWEST_M for other in kept):
                kept.append(one)
        wide = np.array(kept).reshape(-1, 2)
        thin = 0.5 * np.maximum(0.0, _NARROWEST_M - np.diff(wide, axis=1))
        found.append(wide + thin * np.array([-1.0, 1.0]))
    return found[0], found[1]


def aslant_edges(surfaces: Surfaces, surface: int, lines: Lines, boxes: Boxes) -> tuple[Floats, Floats]:
    """Where edges run aslant over a surface: spans (K, 3) of u and of v as from, to, and the largest spacing of lines there; metres."""
    out = int(np.abs(surfaces.normal[surface]).argmax())
    u, v = int(surfaces.u[surface].argmax()), int(surfaces.v[surface].argmax())
    spans: list[Floats] = [np.empty((0, 2, 3))]
    changes: list[Floats] = [np.empty(0)]
    for line in range(len(lines)):
        if abs(lines.tangent[line, out]) > 1 - 1e-9:
            span, change = _aslant(surfaces, surface, lines, line, boxes, out, [u, v])
            spans.append(span)
            changes.append(change)
    span, change = np.concatenate(spans), np.concatenate(changes)
    order = np.argsort(-change, kind="stable")[: _MOST_ASLANT * _PARTS]
    span = span[order[change[order] > 0]]
    return span[:, 0], span[:, 1]


def _aslant(
    surfaces: Surfaces, surface: int, lines: Lines, line: int, boxes: Boxes, out: int, axes: list[int]
) -> tuple[Floats, Floats]:
    """Spans (K, 2, 3) on both axes and the light (K,) by which each edge changes, of one run across a surface."""
    none = np.empty((0, 2, 3)), np.empty(0)
    origin, size = surfaces.origin_m[surface], surfaces.size_m[surface]
    start, toward = lines.start_m[line], surfaces.normal[surface, out]
    ends = np.array([start[out], start[out] + lines.length_m[line] * lines.tangent[line, out]])
    if ((ends - origin[out]) * toward).max() < 1e-6:
        return none
    eye, half = (start - origin)[axes], 0.5 * (lines.width_m[line] * lines.across[line])[axes]
    low, high = (bound[:, axes] - origin[axes] for bound in boxes.opaque_m)
    corner = np.stack([low, high], axis=1)  # (B, side, axis)
    place = np.stack(
        np.broadcast_arrays(corner[:, :, None, 0], corner[:, None, :, 1]), axis=-1
    )  # (B, side u, side v, axis)
    # Boxes that lie, at least in part, between the surface and the run's far end.
    reach = ((np.stack([bound[:, out] for bound in boxes.opaque_m]) - origin[out]) * toward).min(axis=0)
    between = (reach < ((ends - origin[out]) * toward).max()) & (np.arange(len(boxes)) != surfaces.box[surface])
    good = _silhouette(low, high, eye) & between[:, None, None]
    good &= ((place >= 0) & (place <= size)).all(axis=-1)
    at = place[good]
    away = at - eye
    length = np.linalg.norm(away, axis=1)
    way = away / np.maximum(length, 1e-9)[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        ahead = np.where(way > 0, (size - at) / way, np.where(way < 0, -at / way, np.inf)).min(axis=1)
    long = (length > 1e-6) & (ahead > 2 * _STEP_M)
    at, way, length, ahead = at[long], way[long], length[long], ahead[long]
    if not len(at):
        return none
    marks = ahead[:, None] * (np.arange(_PARTS + 1) / _PARTS) ** 2  # (K, parts + 1): shorter near the box
    middle = 0.5 * (marks[:, 1:] + marks[:, :-1])
    across = np.stack([-way[:, 1], way[:, 0]], axis=1)
    wide = 2 * np.abs(across @ half)[:, None] * middle / length[:, None]  # of the half-shadow
    beside = np.stack([-0.5 * wide - 0.002, 0.5 * wide + 0.002], axis=-1)[..., None] * across[:, None, None]
    flat = at[:, None, None] + middle[:, :, None, None] * way[:, None, None] + beside
    flat = np.clip(flat, 0.0, size)
    points = np.empty((*flat.shape[:-1], 3))
    points[..., out] = origin[out]
    points[..., axes] = flat + origin[axes]
    own = int(surfaces.box[surface])
    light = lux_per_lumen(_one(lines, line), boxes, points.reshape(-1, 3), surfaces.normal[surface], skip=own)
    both = light.sum(axis=1).reshape(flat.shape[:-1])
    change = np.abs(both[..., 0] - both[..., 1])
    change = np.where(change > _PLAIN * (both.max(axis=-1) + _least(surfaces, lines)), change, 0.0)
    step = np.maximum(_STEP_M, 0.5 * wide)
    ends_at = at[:, None, None] + marks[..., None, None] * way[:, None, None]  # (K, parts + 1, 1, axis)
    bounds = np.sort(np.stack([ends_at[:, :-1, 0], ends_at[:, 1:, 0]], axis=-1), axis=-1)  # (K, parts, axis, 2)
    with np.errstate(divide="ignore"):
        spacing = step[..., None] / np.abs(way[:, None, ::-1])
    spans = np.concatenate([bounds, spacing[..., None]], axis=-1)
    return spans.reshape(-1, 2, 3), change.ravel()
