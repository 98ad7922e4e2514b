"""How close the lines of a light map lie.

A first set grows with the distance to the nearest run, down to a group along a run and to a quarter of the distance across it. On it
the light of whole runs is worked out, and its second differences say how close lines must be for light to be straight between them;
along a run the first set's rule holds still, for groups that are lit one by one. Where light bends on a small part of a line only, lines
are no closer for it: patches are cheaper there (`preview.light.refine`).

Where a box touches a surface a pair of lines runs along the contact, just outside and just inside, and where a shadow's edge runs along the
surface a line lies at either end of the half-shadow.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from preview.light.atlas import Grid
from preview.light.edges import shadow_edges
from preview.light.emission import Lines
from preview.light.fill import least_lux
from preview.light.illuminance import in_pieces, lux_per_lumen
from preview.light.room import TOUCH_M, Boxes, Surfaces
from preview.scene.layout import Bools, Floats, Ints

__all__ = ["grids_of"]

_FINEST_M = 0.002
_CONTACT_FINEST_M = 0.05
_CONTACT_GROWTH = 1.0  # spacing over the distance to a contact
_COARSEST_M = 0.1
_COARSE_STEP_M = 0.2
_ACROSS = 0.25  # spacing over distance, across a run, to begin with
_ALONG = 0.6  # the same along it
_FIRST_ALONG = 4.0  # spacing along a run, and beside contacts, to begin with, over what it must be in the end
_OF_GROUP = 0.25  # spacing along a run over the length of its groups, at the least
_ALLOWED = 0.005  # miss between lines, relative to the light there
_OF_ROWS = 0.75  # share of a line on which light must be straight enough
_TOGETHER = 12_000  # points whose light is worked out at once


def _contacts(surfaces: Surfaces, surface: int, boxes: Boxes) -> tuple[Floats, Floats]:
    """u and v of the edges along which boxes touch a surface, in metres."""
    normal, origin = surfaces.normal[surface], surfaces.origin_m[surface]
    u_all: list[float] = []
    v_all: list[float] = []
    axis = int(np.abs(normal).argmax())
    u_axis, v_axis = int(surfaces.u[surface].argmax()), int(surfaces.v[surface].argmax())
    for b in range(len(boxes)):
        if b == surfaces.box[surface]:
            continue
        low, high = boxes.low_m[b] - origin, boxes.high_m[b] - origin
        if low[axis] > TOUCH_M or high[axis] < -TOUCH_M:
            continue
        u_all += [low[u_axis], high[u_axis]]
        v_all += [low[v_axis], high[v_axis]]
    width, height = surfaces.size_m[surface]
    u, v = np.array(u_all), np.array(v_all)
    return u[(u > 2 * TOUCH_M) & (u < width - 2 * TOUCH_M)], v[(v > 2 * TOUCH_M) & (v < height - 2 * TOUCH_M)]


@dataclass(frozen=True)
class _Samples:
    """M points along all lines."""

    place_m: Floats  # (M, 3)
    line: Ints  # (M,) number of the line
    is_end: Bools  # (M,)

    def lighting(self, surfaces: Surfaces, surface: int, lines: Lines) -> _Samples:
        """Those in front of a surface whose light leaves towards some of it."""
        corners = surfaces.origin_m[surface] + np.array([[0, 0], [1, 0], [0, 1], [1, 1]]) * surfaces.size_m[
            surface
        ] @ np.stack([surfaces.u[surface], surfaces.v[surface]])
        ahead = (corners[None] - self.place_m[:, None]) @ lines.aim.T  # (M, 4, L)
        ahead = np.take_along_axis(ahead, self.line[:, None, None], axis=2)[..., 0].max(axis=1)
        lit = (ahead > 0) | (lines.side[self.line] > 0)
        lit &= (self.place_m - surfaces.origin_m[surface]) @ surfaces.normal[surface] > 0
        return _Samples(self.place_m[lit], self.line[lit], self.is_end[lit])


def _samples(lines: Lines) -> _Samples:
    step = max(0.025, float(lines.length_m.sum()) / 2000)
    places, numbers, ends = [], [], []
    for k in range(len(lines)):
        count = max(2, int(np.ceil(lines.length_m[k] / step)) + 1)
        along = np.linspace(0, lines.length_m[k], count)
        places.append(lines.start_m[k] + along[:, None] * lines.tangent[k])
        numbers.append(np.full(count, k))
        ends.append(np.isin(np.arange(count), (0, count - 1)))
    return _Samples(np.concatenate(places), np.concatenate(numbers), np.concatenate(ends))


@dataclass(frozen=True)
class _Axis:
    """How close the lines across one axis of a surface should be, and where lines must be."""

    x_m: Floats  # (X,)
    spacing_m: Floats  # (X,)
    held_m: Floats  # (X,) the most, for other reasons than how light bends
    set_m: Floats  # places of lines that stay where they are

    def places(self, scale: float) -> Floats:
        """Places of the lines, with `scale` times the spacing."""
        spacing = np.maximum(self.spacing_m * scale, _FINEST_M)
        # The rule lets spacing grow by no more than a part of the way walked, so that cells stay well shaped.
        passed = np.concatenate([[0.0], np.cumsum(0.5 * (1 / spacing[1:] + 1 / spacing[:-1]) * np.diff(self.x_m))])
        count = max(2, int(np.ceil(passed[-1])))
        places = np.interp(np.arange(count + 1) * (passed[-1] / count), passed, self.x_m)
        if len(self.set_m):
            clear = np.abs(places[:, None] - self.set_m[None, :]).min(axis=1) > 4 * TOUCH_M
            clear[[0, -1]] = True
            places = np.unique(np.concatenate([places[clear], self.set_m]))
        return places


def _axis(
    surfaces: Surfaces,
    surface: int,
    lines: Lines,
    samples: _Samples,
    way: int,
    contacts: Floats,
    edges: Floats,
    coarsest: float,
) -> _Axis:
    """The axis u (`way` 0) or v (1) of a surface."""
    axis, other = (surfaces.u[surface], surfaces.v[surface])[:: 1 if way == 0 else -1]
    length, depth = (float(value) for value in surfaces.size_m[surface][:: 1 if way == 0 else -1])
    span = samples.place_m - surfaces.origin_m[surface]
    along, past = span @ axis, span @ other
    past = np.maximum(0, np.maximum(-past, past - depth))
    beside = (span @ surfaces.normal[surface]) ** 2 + past**2
    aligned = (np.abs(lines.tangent @ axis)[samples.line] > 0.7) & ~samples.is_end
    x = np.linspace(0, length, max(9, min(600, int(length / 0.008))))
    held = np.full(len(x), coarsest**2)
    first = np.full(len(x), coarsest**2)
    for some, part, least, out in ((aligned, _ALONG, _OF_GROUP, held), (~aligned, _ACROSS, 0.0, first)):
        if some.any():
            off = (along[some] - x[:, None]) ** 2
            off += beside[some]
            off *= part**2
            np.maximum(off, (least * lines.group_m[samples.line[some]]) ** 2, out=off)
            np.minimum(out, off.min(axis=1), out=out)
    held = np.sqrt(held)
    if len(contacts):
        gap = np.abs(contacts[None, :] - x[:, None]).min(axis=1)
        np.minimum(held, np.maximum(_CONTACT_FINEST_M, _CONTACT_GROWTH * gap), out=held)
    return _Axis(
        x,
        # Whole runs change slowly along themselves.
        np.minimum(np.minimum(np.sqrt(first), _FIRST_ALONG * held), coarsest),
        held,
        np.unique(np.concatenate([contacts - TOUCH_M, contacts + TOUCH_M, edges.ravel()])),
    )


def _coarse(places: Floats, step: float) -> Ints:
    keep = [0]
    for k, (here, after) in enumerate(pairwise(places[1:]), start=1):
        if after - places[keep[-1]] > step and here - places[keep[-1]] > 0.3 * step:
            keep.append(k)
    keep.append(len(places) - 1)
    return np.unique(np.array(keep, dtype=np.int64))


def _whole(lines: Lines) -> Lines:
    """The lines as if each were one group."""
    one = np.ones(len(lines), dtype=np.int64)
    return replace(lines, first=np.arange(len(lines)), count=one, group_m=lines.length_m)


def _needed(light: Floats, total: Floats, places: Floats, weights: Floats) -> Floats:
    """Spacing (n − 1,) that light (L, m, n) needs between n places, on most of the m rows of so much weight (m,)."""
    gaps = np.diff(places)
    slope = np.diff(light, axis=-1) / gaps
    bend = np.abs(2 * np.diff(slope, axis=-1) / (gaps[1:] + gaps[:-1])).sum(axis=0) / total[:, 1:-1]
    ends = np.concatenate([bend[:, :1], bend, bend[:, -1:]], axis=1)
    # A bend on a line itself does no harm: it is the lesser of both ends that counts.
    each = np.minimum(ends[:, 1:], ends[:, :-1])
    order = np.argsort(each, axis=0)
    passed = np.cumsum(weights[order], axis=0)
    row = (passed < _OF_ROWS * passed[-1]).sum(axis=0)
    bend_there = each[order[row, np.arange(len(gaps))], np.arange(len(gaps))]
    return np.asarray(np.sqrt(8 * _ALLOWED / np.maximum(bend_there, 1e-9)))


def _measured(axis: _Axis, places: Floats, needed: Floats, coarsest: float) -> _Axis:
    """The axis with the spacing that light needs between `places`; what was set for other reasons still holds."""
    inner = np.searchsorted(places, axis.x_m, side="right").clip(1, len(places) - 1) - 1
    spacing = np.minimum(needed[inner], coarsest)
    return replace(axis, spacing_m=np.minimum(spacing, axis.held_m))


def grids_of(surfaces: Surfaces, lines: Lines, boxes: Boxes, most_nodes: int) -> tuple[Grid, ...]:
    """The grids of all surfaces, widened evenly until they have no more than `most_nodes` nodes together."""
    samples = _samples(lines)
    big = float(surfaces.size_m.max())
    coarsest = max(_COARSEST_M, big / 60)
    step = max(_COARSE_STEP_M, big / 60)
    whole = _whole(lines)
    floor = least_lux(float(lines.share @ lines.length_m), surfaces)

    def begun(s: int) -> tuple[_Axis, _Axis]:
        lighting = samples.lighting(surfaces, s, lines)
        found = zip(_contacts(surfaces, s, boxes), shadow_edges(surfaces, s, lines, boxes), strict=True)
        u_axis, v_axis = (_axis(surfaces, s, lines, lighting, way, *parts, coarsest) for way, parts in enumerate(found))
        return u_axis, v_axis

    def lit(part: slice) -> Floats:
        found = lux_per_lumen(
            whole, boxes, points[part], surfaces.normal[surface[part]], skip=surfaces.box[surface[part]]
        )
        return np.asarray(found * lines.length_m)

    def measured(axes: tuple[_Axis, _Axis], places: tuple[Floats, Floats], light: Floats) -> tuple[_Axis, _Axis]:
        (u_axis, v_axis), (u_m, v_m) = axes, places
        light = light.T.reshape(len(lines), len(v_m), len(u_m))
        total = light.sum(axis=0) + floor
        along_u = _needed(light, total, u_m, _shares(v_m))
        along_v = _needed(np.swapaxes(light, 1, 2), total.T, v_m, _shares(u_m))
        return _measured(u_axis, u_m, along_u, coarsest), _measured(v_axis, v_m, along_v, coarsest)

    with ThreadPoolExecutor(2) as pool:
        first = list(pool.map(begun, range(len(surfaces))))
        trial = [(u.places(1.0), v.places(1.0)) for u, v in first]
        counts = [len(u) * len(v) for u, v in trial]
        surface = np.repeat(np.arange(len(surfaces)), counts)
        points = surfaces.points(
            surface,
            np.concatenate([np.tile(u, len(v)) for u, v in trial]),
            np.concatenate([np.repeat(v, len(u)) for u, v in trial]),
        )
        found = list(pool.map(lit, in_pieces(len(points), _TOGETHER)))
        light = np.split(np.concatenate(found), np.cumsum(counts)[:-1])
        axes = list(map(measured, first, trial, light))
    scale = 1.0
    while True:
        places = [(u.places(scale), v.places(scale)) for u, v in axes]
        total = sum(len(u) * len(v) for u, v in places)
        if total <= most_nodes or scale > 8:
            return tuple(Grid.of_lines(u, v, _coarse(u, step * scale), _coarse(v, step * scale)) for u, v in places)
        scale *= max(1.02, float(np.sqrt(total / most_nodes)))


def _shares(places: Floats) -> Floats:
    gaps = np.diff(places)
    return np.concatenate([[0.0], gaps]) / 2 + np.concatenate([gaps, [0.0]]) / 2
