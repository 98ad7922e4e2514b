"""Where a light map's lines lie too far apart for the light between them, and finer cells there.

Between four nodes a map is bilinear. How far light is from that is judged from its second differences along the lines: cells that it
bends too much in are cut into two or four along either axis, the light is worked out at the new nodes, and where it is found to be
what it was without them the cut is dropped. What is left is looked at again, down to cells of a pixel or so.

The harmonic mean of the second differences at a cell's two ends counts, so that a bend on a line itself, where it does no harm, cuts
nothing. A kink between the two is told from a steady bend by what lies beyond them.
Each line of groups is judged by itself and the misses are added, so that a map holds for runs that are lit one by one; and of each line
every other group, so that it holds for light that changes along a run.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from preview.light.atlas import Grid
from preview.scene.layout import Floats, Ints

__all__ = ["ROUNDS", "Refinement"]

_ALLOWED = 0.01
"""Miss by which a cell is cut, relative to the light there."""

_KEPT = 0.01
"""Miss at a new node for which a cut is kept."""

ROUNDS = 3
"""Rounds of cutting: cells may be cut in two or four each time."""

_SHARED = 1.3  # nodes over cells of what is cut
_MUCH = 0.1  # misses beyond it count no more in what comes first
_FINEST_M = 0.002
_COPED = 4.0  # misses fall with the square of the spacing
_UNEVEN = 0.35  # part of the misses of every other group that counts where those of all groups are small

Matrix = NDArray[np.float32]


@dataclass(frozen=True)
class _Cells:
    """C cells: whose they are, where they lie, their corners' nodes, and by how much light may be missed in them along u and along v."""

    place: Ints  # (C, 3) number of the patch (−1: the lines), column and row in it
    box_m: Floats  # (C, 4) low and high u, low and high v
    corner: Ints  # (C, 4) nodes at low v: low u, high u; at high v: low u, high u
    miss: Floats  # (C, 2)

    def pick(self, which: Ints) -> _Cells:
        return _Cells(self.place[which], self.box_m[which], self.corner[which], self.miss[which])


def _together(miss: Floats) -> Floats:
    """Misses (...) of all groups together, of those (2L, ...) of every other group of each line."""
    half = len(miss) // 2
    size = np.abs(miss)
    return np.asarray(np.maximum(np.abs(miss[:half] + miss[half:]), _UNEVEN * (size[:half] + size[half:])).sum(axis=0))


def _halves(first: Ints, groups: int) -> Matrix:
    """(G, 2L) sums over every other group of each line: those it begins with, then the others."""
    line = np.searchsorted(first, np.arange(groups), side="right") - 1
    odd = (np.arange(groups) - first[line]) % 2
    found = np.zeros((groups, 2 * len(first)), np.float32)
    found[np.arange(groups), line + odd * len(first)] = 1.0
    return found


def _bends(light: Floats, places: Floats) -> Floats:
    """Misses (..., n − 1) between n places (..., n) with light (2L, ..., n), summed over lines: spacing² / 8 times second differences."""
    gaps = np.diff(places, axis=-1)
    if gaps.shape[-1] < 2:
        return np.zeros(np.broadcast_shapes(light.shape[1:-1], gaps.shape[:-1]) + gaps.shape[-1:])
    slope = np.diff(light, axis=-1) / gaps
    bend = _together(2 * np.diff(slope, axis=-1) / (gaps[..., 1:] + gaps[..., :-1]))
    ends = np.concatenate([bend[..., :1], bend, bend[..., -1:]], axis=-1)
    low, high = ends[..., :-1], ends[..., 1:]
    # A kink between two nodes shows at these two alone, with a quarter of the weight that as much of a steady bend has.
    before = np.concatenate([low[..., :1], low[..., :-1]], axis=-1)
    after = np.concatenate([high[..., 1:], high[..., -1:]], axis=-1)
    kink = _mean(np.maximum(low - before, 0.0), np.maximum(high - after, 0.0))
    return np.asarray((_mean(low, high) + 3 * kink) * (gaps**2 / 8))


def _mean(one: Floats, other: Floats) -> Floats:
    """Harmonic mean: nothing where either is nothing."""
    return np.asarray(2 * one * other / np.maximum(one + other, 1e-300))


def _cells(light: Floats, u: Floats, v: Floats, node: Ints, place: Ints, floor: float) -> _Cells:
    """The cells of P grids of one shape: light (2L, P, V, U), u (P, U), v (P, V), nodes (P, V, U), places of cells (P, V−1, U−1, 3)."""
    along_u = _bends(light, u[:, None, :])
    along_v = np.swapaxes(_bends(np.swapaxes(light, -1, -2), v[:, None, :]), -1, -2)
    miss_u = np.maximum(along_u[:, 1:], along_u[:, :-1])
    miss_v = np.maximum(along_v[:, :, 1:], along_v[:, :, :-1])
    total = light.sum(axis=0) + floor
    least = np.minimum(
        np.minimum(total[:, 1:, 1:], total[:, 1:, :-1]), np.minimum(total[:, :-1, 1:], total[:, :-1, :-1])
    )
    shape = least.shape
    box = [
        np.broadcast_to(part, shape).ravel()
        for part in (u[:, None, :-1], u[:, None, 1:], v[:, :-1, None], v[:, 1:, None])
    ]
    corner = [part.ravel() for part in (node[:, :-1, :-1], node[:, :-1, 1:], node[:, 1:, :-1], node[:, 1:, 1:])]
    miss = [(part / least).ravel() for part in (miss_u, miss_v)]
    return _Cells(place.reshape(-1, 3), np.stack(box, axis=1), np.stack(corner, axis=1), np.stack(miss, axis=1))


def _cuts(cells: _Cells) -> Ints:
    """(C, 2) into how many each cell should be cut along u and v."""
    size = np.stack([cells.box_m[:, 1] - cells.box_m[:, 0], cells.box_m[:, 3] - cells.box_m[:, 2]], axis=1)
    cut = np.where(cells.miss > _COPED * _ALLOWED, 4, np.where(cells.miss > _ALLOWED, 2, 1))
    return np.where(size >= 4 * _FINEST_M, cut, np.where(size >= 2 * _FINEST_M, np.minimum(cut, 2), 1))


def _blocks(column: Ints, row: Ints, whose: Ints) -> tuple[Ints, Ints]:
    """Cells (C,) at columns and rows of patches joined to blocks: (B, 5) patch, column, row, columns, rows; and each cell's block (C,)."""
    first = np.lexsort((column, row, whose))
    begins = np.ones(len(first), dtype=bool)
    begins[1:] = (np.diff(whose[first]) != 0) | (np.diff(row[first]) != 0) | (np.diff(column[first]) != 1)
    run = np.cumsum(begins) - 1
    at = first[begins]
    length = np.bincount(run)
    order = np.lexsort((row[at], length, column[at], whose[at]))
    joined = np.ones(len(order), dtype=bool)
    joined[1:] = (
        (np.diff(whose[at][order]) != 0)
        | (np.diff(column[at][order]) != 0)
        | (np.diff(length[order]) != 0)
        | (np.diff(row[at][order]) != 1)
    )
    block_of_run = np.empty(len(order), dtype=np.int64)
    block_of_run[order] = np.cumsum(joined) - 1
    top = at[order[joined]]
    blocks = np.stack([whose[top], column[top], row[top], length[order[joined]], np.bincount(block_of_run)], axis=1)
    block = np.empty(len(first), dtype=np.int64)
    block[first] = block_of_run[run]
    return blocks, block


def _joined(place: Ints, cut_u: int, cut_v: int) -> tuple[Ints, Ints]:
    """Patches (B, 7) that cut cells at `place` (C, 3), and each cell's patch (C,): joined along u or v first, to fewer nodes."""
    whose, column, row = place.T
    one, of_one = _blocks(column, row, whose)
    other, of_other = _blocks(row, column, whose)
    other = other[:, [0, 2, 1, 4, 3]]
    cut = np.array([cut_u, cut_v])
    nodes = [int((part[:, 3:5] * cut + 1).prod(axis=1).sum()) for part in (one, other)]
    blocks, of = (one, of_one) if nodes[0] <= nodes[1] else (other, of_other)
    return np.concatenate([blocks, np.broadcast_to(cut, (len(blocks), 2))], axis=1), of


def _cells_of_lines(grid: Grid, exact: Matrix, halves: Matrix, floor: float) -> _Cells:
    tall, wide = len(grid.v_m), len(grid.u_m)
    node = np.arange(grid.line_nodes).reshape(1, tall, wide)
    row, column = np.mgrid[: tall - 1, : wide - 1]
    place = np.stack([np.full(row.shape, -1), column, row], axis=-1)[None]
    light = (exact @ halves).astype(np.float64).T.reshape(-1, 1, tall, wide)
    return _cells(light, grid.u_m[None], grid.v_m[None], node, place, floor)


class Refinement:
    """A grid of lines that gets patches, round by round, and the light (nodes, G) of every group at its nodes.

    `exact` is the light at the nodes on lines, `first` (L,) the first group of each line, `floor` light in lux that there is everywhere.
    A round is a call of `ask`, which says where light must be known, and one of `take` with the light there.
    """

    def __init__(self, grid: Grid, exact: Matrix, first: Ints, floor: float) -> None:
        self._grid, self._floor = grid, floor
        self._trials: list[_Trial] = []
        self._halves = _halves(first, exact.shape[1])
        self._known, self._patches = exact, [grid.patches]
        self._look(_cells_of_lines(grid, exact, self._halves, floor))

    def _look(self, cells: _Cells) -> None:
        cut = _cuts(cells)
        some = np.nonzero(cut.max(axis=1) > 1)[0]
        self._cells, self._into = cells.pick(some), cut[some]

    @property
    def nodes(self) -> int:
        """Number of nodes so far."""
        return len(self._known)

    @property
    def wanted(self) -> int:
        """Number of nodes that a round would add, about: cells side by side share some."""
        return int(_SHARED * self._into.prod(axis=1).sum())

    def grid(self) -> Grid:
        """The grid with its patches."""
        return replace(self._grid, patches=np.concatenate(self._patches))

    @property
    def exact(self) -> Matrix:
        """Light (nodes, G) of every group."""
        return self._known

    def ask(self, most_nodes: int) -> tuple[Floats, Floats]:
        """Places u and v (N,) that cutting what is too coarse takes, adding `most_nodes` nodes or a few more."""
        cells, cut = self._cells, self._into
        # Where most is missed on most of the surface comes first, as far as there is room.
        reach = np.sqrt((cells.box_m[:, 1] - cells.box_m[:, 0]) * (cells.box_m[:, 3] - cells.box_m[:, 2]))
        some = np.argsort(-reach * np.minimum(cells.miss.max(axis=1), _MUCH), kind="stable")
        some = some[_SHARED * np.cumsum(cut[some].prod(axis=1)) <= most_nodes]
        self._trials = []
        for cut_u, cut_v in np.unique(cut[some], axis=0).tolist():
            these = cells.pick(some[(cut[some] == (cut_u, cut_v)).all(axis=1)])
            self._trials.append(_trial(these, cut_u, cut_v))
        none: list[Floats] = [np.empty(0)]
        return (
            np.concatenate([one.fresh_u for one in self._trials] or none),
            np.concatenate([one.fresh_v for one in self._trials] or none),
        )

    def take(self, light: Matrix, last: bool = False) -> None:
        """Cut with the light (N, G) at the places asked for; after the `last` round no more is wanted."""
        cells = self._cells
        found = [cells.pick(np.arange(0))]
        parts = [self._known]
        nodes = len(self._known)
        at = 0
        for trial in self._trials:
            these, cut_u, cut_v = trial.cells, trial.cut_u, trial.cut_v
            fresh = light[at : at + len(trial.fresh_u)]
            at += len(fresh)
            kept, values, u, v = _judged(trial, fresh, self._known, self._halves, self._floor)
            if not len(kept):
                continue
            blocks, block = _joined(these.place[kept], cut_u, cut_v)
            wide, tall = (blocks[:, 3:5] * (cut_u, cut_v) + 1).T
            begin = np.cumsum(wide * tall) - wide * tall
            # Columns and rows of the cells' own nodes in the patches they are joined to.
            offset = these.place[kept][:, 1:] - blocks[block, 1:3]
            columns = offset[:, :1] * cut_u + np.arange(cut_u + 1)
            rows = offset[:, 1:] * cut_v + np.arange(cut_v + 1)
            node = (begin[block][:, None] + rows * wide[block][:, None])[:, :, None] + columns[:, None, :]
            joined = np.empty((int((wide * tall).sum()), values.shape[-1]), np.float32)
            joined[node] = values
            place = np.empty((len(kept), cut_v, cut_u, 3), dtype=np.int64)
            place[..., 0] = (sum(map(len, self._patches)) + block)[:, None, None]
            place[..., 1], place[..., 2] = columns[:, None, :-1], rows[:, :-1, None]
            if not last:
                sums = np.moveaxis((values @ self._halves).astype(np.float64), 3, 0)
                found.append(_cells(sums, u, v, nodes + node, place, self._floor))
            nodes += len(joined)
            parts.append(joined)
            self._patches.append(blocks)
        self._known, self._trials = np.concatenate(parts), []
        self._look(_Cells(*(np.concatenate([getattr(one, f.name) for one in found]) for f in fields(_Cells))))


@dataclass(frozen=True)
class _Trial:
    """Cells that are cut into `cut_u` by `cut_v`, and the places at which light must be known to tell whether they needed it."""

    cells: _Cells
    cut_u: int
    cut_v: int
    u: Floats  # (C, U) of the nodes of each cell
    v: Floats  # (C, V)
    row: Ints  # (F,) of a cell's nodes that are new
    column: Ints
    fresh_u: Floats  # (N,)
    fresh_v: Floats
    of: Ints  # (C·F,) the place of each cell's new nodes


def _trial(cells: _Cells, cut_u: int, cut_v: int) -> _Trial:
    across, up = np.arange(cut_u + 1) / cut_u, np.arange(cut_v + 1) / cut_v
    u = cells.box_m[:, :1] + (cells.box_m[:, 1:2] - cells.box_m[:, :1]) * across
    v = cells.box_m[:, 2:3] + (cells.box_m[:, 3:] - cells.box_m[:, 2:3]) * up
    fresh = np.ones((cut_v + 1, cut_u + 1), dtype=bool)
    fresh[::cut_v, ::cut_u] = False
    row, column = np.nonzero(fresh)
    at_u, at_v = u[:, column].ravel(), v[:, row].ravel()
    # Cells side by side share nodes: their light is worked out once. Places are told apart to a tenth of a micrometre.
    key = np.rint(at_u * 1e7).astype(np.int64) * 4_000_000_000 + np.rint(at_v * 1e7).astype(np.int64)
    _, one, of = np.unique(key, return_index=True, return_inverse=True)
    return _Trial(cells, cut_u, cut_v, u, v, row, column, at_u[one], at_v[one], of)


def _judged(
    trial: _Trial, light: Matrix, known: Matrix, halves: Matrix, floor: float
) -> tuple[Ints, Matrix, Floats, Floats]:
    """Cells found to have needed their cut: their numbers (K,), light (K, V, U, G) at their nodes, and those' u (K, U) and v (K, V)."""
    u, v, cut_u, cut_v = trial.u, trial.v, trial.cut_u, trial.cut_v
    across, up = np.arange(cut_u + 1) / cut_u, np.arange(cut_v + 1) / cut_v
    values = np.empty((len(u), cut_v + 1, cut_u + 1, known.shape[1]), np.float32)
    values[:, ::cut_v, ::cut_u] = known[trial.cells.corner].reshape(len(u), 2, 2, -1)
    values[:, trial.row, trial.column] = light[trial.of].reshape(len(u), len(trial.row), -1)
    sums = np.moveaxis((values @ halves).astype(np.float64), 3, 0)
    edge = sums[:, :, ::cut_v, ::cut_u]
    plain = edge[:, :, :1] + (edge[:, :, 1:] - edge[:, :, :1]) * up[:, None]
    plain = plain[..., :1] + (plain[..., 1:] - plain[..., :1]) * across
    missed = _together(sums - plain) / (sums.sum(axis=0) + floor)
    kept = np.nonzero(missed.max(axis=(1, 2)) > _KEPT)[0]
    return kept, values[kept], u[kept], v[kept]
