"""The light maps of all surfaces in one picture, fine near the runs and coarse far from them.

Each surface has a grid of nodes: lines along u and v whose spacing grows with the distance to the nearest run, down to half a group
along a run and to a seventh of the distance across it. Nodes lie on the surface's very edges, so that a look-up between nodes never
reads a neighbour's light. Where a box touches a surface a pair of lines runs along the contact, just outside and just inside, and where
a shadow's edge runs along the surface a line lies at either end of the half-shadow; where one runs aslant the lines lie closer.
A coarse subset of the lines carries what changes slowly.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from preview.light.edges import aslant_edges, shadow_edges
from preview.light.emission import Lines
from preview.light.room import TOUCH_M, Boxes, Surfaces
from preview.scene.layout import Bools, Floats, Ints

__all__ = ["Atlas", "Grid", "grids_of", "pack"]

_FINEST_M = 0.002
_CONTACT_FINEST_M = 0.03
_CONTACT_GROWTH = 0.6  # spacing over the distance to a contact
_COARSEST_M = 0.06
_COARSE_STEP_M = 0.12
_ACROSS = 0.12  # spacing over distance, across a run
_ALONG = 0.4  # the same along it
_OF_GROUP = 0.15  # spacing along a run over the length of its groups, at the least
_PAD = 1


@dataclass(frozen=True)
class Grid:
    """Nodes of one surface: lines at `u_m` and `v_m`; `coarse_u` and `coarse_v` number the lines of the coarse subset."""

    u_m: Floats
    v_m: Floats
    coarse_u: Ints
    coarse_v: Ints

    @property
    def nodes(self) -> int:
        """Number of nodes; node (j, i) at (u_m[i], v_m[j]) has number j·len(u_m) + i."""
        return len(self.u_m) * len(self.v_m)

    def points(self, surfaces: Surfaces, surface: int) -> Floats:
        """Places (nodes, 3) of the nodes in the room."""
        v, u = np.meshgrid(self.v_m, self.u_m, indexing="ij")
        return np.asarray(
            surfaces.origin_m[surface] + u.reshape(-1, 1) * surfaces.u[surface] + v.reshape(-1, 1) * surfaces.v[surface]
        )

    @property
    def coarse_nodes(self) -> Ints:
        """Numbers of the nodes of the coarse subset, in its own order."""
        return np.asarray((self.coarse_v[:, None] * len(self.u_m) + self.coarse_u).ravel())


@dataclass(frozen=True)
class Atlas:
    """Where each surface's grid lies in one picture of `width` × `height` cells."""

    grids: tuple[Grid, ...]
    corner: Ints  # (S, 2) cell x, y of each surface's node 0
    width: int
    height: int

    def cells(self) -> Ints:
        """(T,) flat number of the cell of every node, surface after surface."""
        parts = []
        for grid, (x, y) in zip(self.grids, self.corner, strict=True):
            rows = (y + np.arange(len(grid.v_m)))[:, None] * self.width
            parts.append((rows + x + np.arange(len(grid.u_m))).ravel())
        return np.concatenate(parts)

    def place(self, surface: NDArray[np.integer[Any]], u_m: Floats, v_m: Floats) -> tuple[Floats, Floats]:
        """Cell coordinates x, y of places on surfaces; for `surface` −1 a cell that is always dark."""
        x, y = np.full(surface.size, float(self.width - 1)), np.full(surface.size, float(self.height - 1))
        order = np.argsort(surface.ravel().astype(np.int16), kind="stable")
        ends = np.cumsum(np.bincount(surface.ravel() + 1, minlength=len(self.grids) + 1))
        u, v = u_m.ravel(), v_m.ravel()
        for s, grid in enumerate(self.grids):
            here = order[ends[s] : ends[s + 1]]
            if len(here):
                x[here] = self.corner[s, 0] + np.interp(u[here], grid.u_m, np.arange(len(grid.u_m)))
                y[here] = self.corner[s, 1] + np.interp(v[here], grid.v_m, np.arange(len(grid.v_m)))
        return x.reshape(surface.shape), y.reshape(surface.shape)


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
    aslant: Floats,
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
    square = np.full(len(x), coarsest**2)
    for some, part, least in ((aligned, _ALONG, _OF_GROUP), (~aligned, _ACROSS, 0.0)):
        if some.any():
            off = (along[some] - x[:, None]) ** 2
            off += beside[some]
            off *= part**2
            np.maximum(off, (least * lines.group_m[samples.line[some]]) ** 2, out=off)
            np.minimum(square, off.min(axis=1), out=square)
    spacing = np.sqrt(square)
    if len(contacts):
        gap = np.abs(contacts[None, :] - x[:, None]).min(axis=1)
        np.minimum(spacing, np.maximum(_CONTACT_FINEST_M, _CONTACT_GROWTH * gap), out=spacing)
    for low, high, step in aslant:
        np.minimum(spacing, step, out=spacing, where=(x >= low - 0.008) & (x <= high + 0.008))
    return _Axis(x, spacing, np.unique(np.concatenate([contacts - TOUCH_M, contacts + TOUCH_M, edges.ravel()])))


def _coarse(places: Floats, step: float) -> Ints:
    keep = [0]
    for k, (here, after) in enumerate(pairwise(places[1:]), start=1):
        if after - places[keep[-1]] > step and here - places[keep[-1]] > 0.3 * step:
            keep.append(k)
    keep.append(len(places) - 1)
    return np.unique(np.array(keep, dtype=np.int64))


def grids_of(surfaces: Surfaces, lines: Lines, boxes: Boxes, most_nodes: int) -> tuple[Grid, ...]:
    """The grids of all surfaces, widened evenly until they have no more than `most_nodes` nodes together."""
    samples = _samples(lines)
    big = float(surfaces.size_m.max())
    coarsest = max(_COARSEST_M, big / 120)
    step = max(_COARSE_STEP_M, big / 60)
    axes = []
    for s in range(len(surfaces)):
        lighting = samples.lighting(surfaces, s, lines)
        found = zip(
            _contacts(surfaces, s, boxes),
            shadow_edges(surfaces, s, lines, boxes),
            aslant_edges(surfaces, s, lines, boxes),
            strict=True,
        )
        axes.append([_axis(surfaces, s, lines, lighting, way, *parts, coarsest) for way, parts in enumerate(found)])
    scale = 1.0
    while True:
        places = [(u.places(scale), v.places(scale)) for u, v in axes]
        total = sum(len(u) * len(v) for u, v in places)
        if total <= most_nodes or scale > 8:
            return tuple(Grid(u, v, _coarse(u, step * scale), _coarse(v, step * scale)) for u, v in places)
        scale *= max(1.02, float(np.sqrt(total / most_nodes)))


def pack(grids: tuple[Grid, ...]) -> Atlas:
    """Lay the grids out in rows, tallest first, with a cell of padding between them and a dark cell in the far corner."""
    order = sorted(range(len(grids)), key=lambda s: -len(grids[s].v_m))
    width = max(max(len(grid.u_m) for grid in grids) + 2 * _PAD, int(np.sqrt(sum(grid.nodes for grid in grids)) * 1.4))
    corner = np.zeros((len(grids), 2), dtype=np.int64)
    x, y, row = _PAD, _PAD, 0
    for s in order:
        wide, tall = len(grids[s].u_m), len(grids[s].v_m)
        if x + wide + _PAD > width:
            x, y, row = _PAD, y + row + _PAD, 0
        corner[s] = x, y
        x, row = x + wide + _PAD, max(row, tall)
    return Atlas(grids, corner, width, y + row + 2 * _PAD)
