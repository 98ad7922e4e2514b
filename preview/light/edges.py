"""Where shadows of boxes have sharp edges on a surface: beside a run that is parallel to an edge of a box.

In the plane across such a run the band is a short line and the box a rectangle. The shadow's edge lies between the two rays from the
band's ends through the rectangle's corner: full light on one side, none of this run on the other, and in between the half-shadow, in
which light falls almost evenly.

On a surface along the run that is a strip parallel to the surface's own axes, and light maps that have lines on its two ends hold the
edge as it is.

Leaves out: edges that run aslant over a surface, such as a lip's on the side wall at the end of a cove, and the shadows of a run's single
groups past the ends of a box; `preview.light.refine` finds these.
"""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np

from preview.light.emission import Lines
from preview.light.fill import least_lux
from preview.light.illuminance import lux_per_lumen
from preview.light.room import TOUCH_M, Boxes, Surfaces
from preview.scene.layout import Bools, Floats

__all__ = ["shadow_edges"]

_MOST = 14
"""Edges kept on each axis of a surface: those at which light changes most."""

_PLAIN = 0.06  # share of the light there by which it must change
_SAMPLES = 5
_NARROWEST_M = 0.002
_BESIDE_M = 0.001


def _one(lines: Lines, line: int) -> Lines:
    """One line as a single group."""
    picked = {field.name: getattr(lines, field.name)[line : line + 1] for field in fields(lines)}
    one = {
        "first": np.zeros(1, dtype=np.int64),
        "count": np.ones(1, dtype=np.int64),
        "group_m": lines.length_m[line : line + 1],
    }
    return replace(lines, **{**picked, **one})


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
    both = light.reshape(len(edge), 2, _SAMPLES) * float(lines.count[line])
    change = np.abs(both[:, 0] - both[:, 1])
    plain = change > _PLAIN * (both.max(axis=1) + least_lux(float(lines.share @ lines.count), surfaces))
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
