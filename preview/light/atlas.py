"""The light maps of all surfaces in one picture.

Each surface has a grid of nodes: lines along u and v, as close as the light needs them (`preview.light.spacing`), and patches of finer
cells where it needs more (`preview.light.refine`). Nodes lie on the surface's very edges, so that a look-up between nodes never reads a
neighbour's light. A coarse subset of the lines carries what changes slowly.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from preview.light.room import Surfaces
from preview.scene.layout import Floats, Ints

__all__ = ["Atlas", "Grid", "pack"]

_PAD = 1


@dataclass(frozen=True)
class Grid:
    """Nodes of one surface: lines at `u_m` and `v_m`, and patches, blocks of cells that are cut into finer ones.

    A patch (a row of `patches`) is the number of the patch whose cells it cuts (−1: the cells between the lines), the first column and
    the first row that it cuts, how many columns and rows, and into how many each of their cells is cut along u and v. It has nodes along
    its border as well. A patch comes after the one that it cuts. `coarse_u` and `coarse_v` number the lines of the coarse subset.
    """

    u_m: Floats
    v_m: Floats
    coarse_u: Ints
    coarse_v: Ints
    patches: Ints  # (P, 7)

    @staticmethod
    def of_lines(u_m: Floats, v_m: Floats, coarse_u: Ints, coarse_v: Ints) -> Grid:
        """A grid without patches."""
        return Grid(u_m, v_m, coarse_u, coarse_v, np.empty((0, 7), dtype=np.int64))

    @property
    def line_nodes(self) -> int:
        """Number of nodes on the lines; node (j, i) at (u_m[i], v_m[j]) has number j·len(u_m) + i."""
        return len(self.u_m) * len(self.v_m)

    @property
    def patch_cells(self) -> Ints:
        """(P, 2) columns and rows of cells in each patch."""
        return np.asarray(self.patches[:, 3:5] * self.patches[:, 5:7])

    @property
    def nodes(self) -> int:
        """Number of nodes: those on the lines, then those of patch after patch, row by row."""
        return self.line_nodes + int((self.patch_cells + 1).prod(axis=1).sum())

    def patch_nodes(self) -> tuple[Ints, Ints, Ints]:
        """Of every patch's nodes: the number of the patch, column and row in it."""
        wide, tall = (self.patch_cells + 1).T
        patch = np.repeat(np.arange(len(wide)), wide * tall)
        begin = np.cumsum(wide * tall) - wide * tall
        row, column = np.divmod(np.arange(len(patch)) - begin[patch], wide[patch])
        return patch, column, row

    def places(self) -> tuple[Floats, Floats]:
        """u and v (nodes,) of the nodes in metres."""
        v, u = np.meshgrid(self.v_m, self.u_m, indexing="ij")
        begin, cut = np.zeros((len(self.patches) + 1, 2)), np.ones((len(self.patches) + 1, 2))
        for k, (parent, *rest) in enumerate(self.patches):
            cut[k] = cut[parent] * rest[4:6]
            begin[k] = begin[parent] + np.array(rest[:2]) / cut[parent]
        patch, column, row = self.patch_nodes()
        x, y = begin[patch, 0] + column / cut[patch, 0], begin[patch, 1] + row / cut[patch, 1]
        patch_u, patch_v = (
            np.interp(at, np.arange(len(places)), places) for at, places in ((x, self.u_m), (y, self.v_m))
        )
        return np.concatenate([u.ravel(), patch_u]), np.concatenate([v.ravel(), patch_v])

    def points(self, surfaces: Surfaces, surface: int) -> Floats:
        """Places (nodes, 3) of the nodes in the room."""
        return surfaces.points(surface, *self.places())

    @property
    def coarse_nodes(self) -> Ints:
        """Numbers of the nodes of the coarse subset, in its own order."""
        return np.asarray((self.coarse_v[:, None] * len(self.u_m) + self.coarse_u).ravel())

    def find(self, u_m: Floats, v_m: Floats) -> tuple[Ints, Floats, Floats]:
        """The patch (N,) that holds each place (−1: the lines), and how many of its columns and rows lie before the place."""
        x = np.interp(u_m, self.u_m, np.arange(len(self.u_m)))
        y = np.interp(v_m, self.v_m, np.arange(len(self.v_m)))
        patch = np.full(len(x), -1)
        if not len(self.patches):
            return patch, x, y
        # Cells are numbered row by row, those of patch after patch, those between the lines at the end: there −1 finds them.
        size = np.concatenate([self.patch_cells, [[len(self.u_m) - 1, len(self.v_m) - 1]]])
        begin = np.cumsum(size.prod(axis=1)) - size.prod(axis=1)
        cut_by = np.full(int(size.prod(axis=1).sum()), -1)
        parent, first_u, first_v, wide, tall = self.patches[:, :5].T
        each = np.repeat(np.arange(len(parent)), wide * tall)
        row, column = np.divmod(np.arange(len(each)) - (np.cumsum(wide * tall) - wide * tall)[each], wide[each])
        of = parent[each]
        cut_by[begin[of] + (first_v[each] + row) * size[of, 0] + first_u[each] + column] = each
        rows = np.arange(len(x))
        while len(rows):
            here = patch[rows]
            column = np.minimum(x[rows].astype(np.int64), size[here, 0] - 1)
            row = np.minimum(y[rows].astype(np.int64), size[here, 1] - 1)
            cutter = cut_by[begin[here] + row * size[here, 0] + column]
            some = np.nonzero(cutter >= 0)[0]
            rows, cutter = rows[some], cutter[some]
            patch[rows] = cutter
            x[rows] = (x[rows] - first_u[cutter]) * self.patches[cutter, 5]
            y[rows] = (y[rows] - first_v[cutter]) * self.patches[cutter, 6]
        return patch, x, y


@dataclass(frozen=True)
class Atlas:
    """Where each surface's grid lies in one picture of `width` × `height` cells."""

    grids: tuple[Grid, ...]
    corner: Ints  # (S, 2) cell x, y of each surface's node 0
    patch_corner: tuple[Ints, ...]  # (P, 2) of each surface's patches
    width: int
    height: int

    def cells(self) -> Ints:
        """(T,) flat number of the cell of every node, surface after surface."""
        parts = []
        for grid, (x, y), corner in zip(self.grids, self.corner, self.patch_corner, strict=True):
            rows = (y + np.arange(len(grid.v_m)))[:, None] * self.width
            parts.append((rows + x + np.arange(len(grid.u_m))).ravel())
            patch, column, row = grid.patch_nodes()
            parts.append((corner[patch, 1] + row) * self.width + corner[patch, 0] + column)
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
                patch, column, row = grid.find(u[here], v[here])
                corners = np.concatenate([self.patch_corner[s], self.corner[s : s + 1]])
                x[here], y[here] = corners[patch, 0] + column, corners[patch, 1] + row
        return x.reshape(surface.shape), y.reshape(surface.shape)


def pack(grids: tuple[Grid, ...]) -> Atlas:
    """Lay grids and patches out on shelves, tallest first, grids with a cell of padding, and a dark cell in the far corner."""
    lines = np.array([[len(grid.u_m), len(grid.v_m)] for grid in grids]) + _PAD
    size = np.concatenate([lines, *(grid.patch_cells + 1 for grid in grids)])
    width = max(int(lines[:, 0].max()) + _PAD, int(np.sqrt(size.prod(axis=1).sum()) * 1.2))
    place = np.zeros((len(size), 2), dtype=np.int64)
    order = np.lexsort((-size[:, 0], -size[:, 1]))
    free, height, level = (np.zeros(len(size), dtype=np.int64) for _ in range(3))
    shelves, top = 0, 0
    for k in order:
        wide, tall = int(size[k, 0]), int(size[k, 1])
        fits = (free[:shelves] >= wide) & (height[:shelves] <= tall + tall // 4 + 1)
        shelf = int(fits.argmax()) if fits.any() else shelves
        if shelf == shelves:
            free[shelf], height[shelf], level[shelf] = width, tall, top
            shelves, top = shelves + 1, top + tall
        place[k] = width - free[shelf], level[shelf]
        free[shelf] -= wide
    ends = len(grids) + np.cumsum([len(grid.patches) for grid in grids])[:-1]
    corner, *patch_corner = np.split(place, [len(grids), *ends])
    return Atlas(grids, corner, tuple(patch_corner), width, top + _PAD)
