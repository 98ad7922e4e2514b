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
        x, y = np.full(surface.shape, float(self.width - 1)), np.full(surface.shape, float(self.height - 1))
        for s, grid in enumerate(self.grids):
            here = surface == s
            if here.any():
                x[here] = self.corner[s, 0] + np.interp(u_m[here], grid.u_m, np.arange(len(grid.u_m)))
                y[here] = self.corner[s, 1] + np.interp(v_m[here], grid.v_m, np.arange(len(grid.v_m)))
        return x, y


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


def _samples(lines: Lines) -> tuple[Floats, Floats, Bools, Floats]:
    """Points along all lines: places (M, 3), tangents (M, 3), whether an end (M,), length of a group (M,)."""
    step = max(0.025, float(lines.length_m.sum()) / 2000)
    places, tangents, ends, group = [], [], [], []
    for k in range(len(lines)):
        count = max(2, int(np.ceil(lines.length_m[k] / step)) + 1)
        along = np.linspace(0, lines.length_m[k], count)
        places.append(lines.start_m[k] + along[:, None] * lines.tangent[k])
        tangents.append(np.repeat(lines.tangent[k][None], count, axis=0))
        ends.append(np.isin(np.arange(count), (0, count - 1)))
        group.append(np.full(count, lines.group_m[k]))
    return np.concatenate(places), np.concatenate(tangents), np.concatenate(ends), np.concatenate(group)


def _axis_lines(
    length: float,
    along: Floats,
    beside: Floats,
    aligned: Floats,
    ends: Bools,
    group_m: Floats,
    contacts: Floats,
    edges: Floats,
    aslant: Floats,
    coarsest: float,
    scale: float,
) -> Floats:
    """Places of the grid lines across one axis of a surface.

    `along` (M,) is each run sample's place on the axis, `beside` (M,) its distance from the surface's strip across the axis.
    """
    x = np.linspace(0, length, max(9, min(600, int(length / 0.008))))
    distance = np.sqrt((along[None, :] - x[:, None]) ** 2 + beside[None, :] ** 2)
    fine = np.where((aligned > 0.7) & ~ends, np.maximum(_OF_GROUP * group_m, _ALONG * distance), _ACROSS * distance)
    spacing = np.minimum(fine.min(axis=1), coarsest)
    if len(contacts):
        gap = np.abs(contacts[None, :] - x[:, None]).min(axis=1)
        spacing = np.minimum(spacing, np.maximum(_CONTACT_FINEST_M, _CONTACT_GROWTH * gap))
    for low, high, step in aslant:
        np.minimum(spacing, step, out=spacing, where=(x >= low - 0.008) & (x <= high + 0.008))
    spacing = np.maximum(spacing * scale, _FINEST_M)
    # The rule lets spacing grow by no more than a part of the way walked, so that cells stay well shaped.
    passed = np.concatenate([[0.0], np.cumsum(0.5 * (1 / spacing[1:] + 1 / spacing[:-1]) * np.diff(x))])
    count = max(2, int(np.ceil(passed[-1])))
    places = np.interp(np.arange(count + 1) * (passed[-1] / count), passed, x)
    if len(contacts) or len(edges):
        pairs = np.unique(np.concatenate([contacts - TOUCH_M, contacts + TOUCH_M, edges]))
        clear = np.abs(places[:, None] - pairs[None, :]).min(axis=1) > 4 * TOUCH_M
        clear[[0, -1]] = True
        places = np.unique(np.concatenate([places[clear], pairs]))
    return places


def _coarse(places: Floats, step: float) -> Ints:
    keep = [0]
    for k, (here, after) in enumerate(pairwise(places[1:]), start=1):
        if after - places[keep[-1]] > step and here - places[keep[-1]] > 0.3 * step:
            keep.append(k)
    keep.append(len(places) - 1)
    return np.unique(np.array(keep, dtype=np.int64))


def grids_of(surfaces: Surfaces, lines: Lines, boxes: Boxes, most_nodes: int) -> tuple[Grid, ...]:
    """The grids of all surfaces, widened evenly until they have no more than `most_nodes` nodes together."""
    places, tangents, ends, group_m = _samples(lines)
    big = float(surfaces.size_m.max())
    coarsest = max(_COARSEST_M, big / 120)
    step = max(_COARSE_STEP_M, big / 60)
    edges = [shadow_edges(surfaces, s, lines, boxes) for s in range(len(surfaces))]
    aslant = [aslant_edges(surfaces, s, lines, boxes) for s in range(len(surfaces))]
    scale = 1.0
    while True:
        grids = []
        for s in range(len(surfaces)):
            span = places - surfaces.origin_m[s]
            on_u, on_v, off = span @ surfaces.u[s], span @ surfaces.v[s], span @ surfaces.normal[s]
            width, height = (float(value) for value in surfaces.size_m[s])
            past_u = np.maximum(0, np.maximum(-on_u, on_u - width))
            past_v = np.maximum(0, np.maximum(-on_v, on_v - height))
            contact_u, contact_v = _contacts(surfaces, s, boxes)
            u = _axis_lines(
                width,
                on_u,
                np.hypot(off, past_v),
                np.abs(tangents @ surfaces.u[s]),
                ends,
                group_m,
                contact_u,
                edges[s][0].ravel(),
                aslant[s][0],
                coarsest,
                scale,
            )
            v = _axis_lines(
                height,
                on_v,
                np.hypot(off, past_u),
                np.abs(tangents @ surfaces.v[s]),
                ends,
                group_m,
                contact_v,
                edges[s][1].ravel(),
                aslant[s][1],
                coarsest,
                scale,
            )
            grids.append(Grid(u, v, _coarse(u, step * scale), _coarse(v, step * scale)))
        total = sum(grid.nodes for grid in grids)
        if total <= most_nodes or scale > 8:
            return tuple(grids)
        scale *= max(1.05, float(np.sqrt(total / most_nodes)))


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
