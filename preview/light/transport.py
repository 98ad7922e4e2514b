"""The fixed matrix from the groups' flux to the light maps: lux at every node of the atlas for a lumen of every group.

It is kept as two parts. A coarse part holds every group's light on the coarse nodes, dense; between those it is interpolated. A near
part holds what the interpolation misses, close to the runs and along the edges of shadows: for every block of some fifty
neighbouring groups the nodes at which the block's light would be off by more than 1.5 %, as one dense matrix. Nodes are left out where
the miss is under 1/500 of the run's light there or under 1/50000 of all light there. One sparse matrix, `gather`, interpolates the
coarse light and adds the blocks' light at their nodes.

Memory: (coarse nodes + about a quarter of all nodes) × groups × 4 bytes; stated in full by `Transport.bytes`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from preview.light.atlas import Grid
from preview.light.emission import Lines
from preview.light.fill import least_lux
from preview.light.illuminance import add_lux, in_pieces
from preview.light.refine import ROUNDS, Refinement
from preview.light.room import TOUCH_M, Boxes, Surfaces, inside_boxes
from preview.scene.layout import Bools, Floats, Ints

__all__ = ["Block", "Progress", "Transport", "build_transport", "interpolation"]

Progress = Callable[[float], None]
"""Called with the share of the work that is done, 0 to 1."""

_OWN_SHARE = 0.015
_LINE_SHARE = 2e-3
_ALL_SHARE = 2e-5
_BLOCK = 64
_BEGUN = 0.6  # of the work, about, is done when the nodes on lines are
_CHUNK_PAIRS = 3_600_000

Matrix = NDArray[np.float32]


@dataclass(frozen=True)
class Block:
    """The near part of neighbouring groups: `matrix` (R, n) for the groups `first` to `first` + n."""

    first: int
    matrix: Matrix


@dataclass(frozen=True)
class Transport:
    """Light = gather · [coarse · flux; block · flux of the block; …]. T nodes, K coarse nodes, G groups; lux per lumen."""

    coarse: Matrix  # (K, G)
    blocks: tuple[Block, ...]
    gather: sparse.csr_array  # (T, K + ΣR)

    @property
    def bytes(self) -> int:
        """Memory that the matrices take."""
        gather = self.gather.data.nbytes + self.gather.indices.nbytes
        return int(self.coarse.nbytes + sum(block.matrix.nbytes for block in self.blocks) + gather)

    def arrays(self) -> dict[str, NDArray[Any]]:
        """Everything as plain arrays, for keeping; `Transport.of` is the way back."""
        return {
            "coarse": self.coarse,
            "near": np.concatenate([np.empty(0, np.float32), *(block.matrix.ravel() for block in self.blocks)]),
            "near_shape": np.array([(block.first, *block.matrix.shape) for block in self.blocks]).reshape(-1, 3),
            "gather_data": self.gather.data,
            "gather_indices": self.gather.indices,
            "gather_indptr": self.gather.indptr,
        }

    @staticmethod
    def of(arrays: Mapping[str, NDArray[Any]]) -> Transport:
        """The transport of `arrays`. KeyError or ValueError where they do not fit together."""
        shape = arrays["near_shape"]
        ends = np.concatenate([[0], np.cumsum(shape[:, 1] * shape[:, 2])])
        near = arrays["near"]
        blocks = tuple(
            Block(int(first), near[low:high].reshape(int(rows), int(groups)))
            for (first, rows, groups), (low, high) in zip(shape, pairwise(ends), strict=True)
        )
        columns = len(arrays["coarse"]) + int(shape[:, 1].sum())
        gather = sparse.csr_array(
            (arrays["gather_data"], arrays["gather_indices"], arrays["gather_indptr"]),
            shape=(len(arrays["gather_indptr"]) - 1, columns),
        )
        return Transport(arrays["coarse"], blocks, gather)

    def in_cells(self, cells: NDArray[np.integer[Any]], count: int) -> Transport:
        """The same with its nodes in other places: node t becomes row `cells`[t] of `count`, the rows between are dark."""
        rows = np.diff(self.gather.indptr)
        order = np.argsort(cells, kind="stable")
        filled = np.zeros(count, dtype=rows.dtype)
        filled[cells] = rows
        gather = self.gather[order]
        indptr = np.concatenate([[0], np.cumsum(filled)])
        shape = (count, gather.shape[1])
        return Transport(
            self.coarse, self.blocks, _narrow(sparse.csr_array((gather.data, gather.indices, indptr), shape=shape))
        )


def _narrow(matrix: sparse.csr_array) -> sparse.csr_array:
    """The same with indices of 32 bits: half as much to read."""
    parts = matrix.data, matrix.indices.astype(np.int32), matrix.indptr.astype(np.int32)
    return sparse.csr_array(parts, shape=matrix.shape)


def interpolation(grid: Grid) -> sparse.csr_array:
    """(nodes, coarse nodes + line nodes) bilinear: nodes on lines from the coarse subset, nodes of patches from the lines about them."""
    across, up = len(grid.u_m), len(grid.v_m)
    u, v = grid.places()
    lines = grid.line_nodes
    on_coarse = _bilinear(u[:lines], v[:lines], grid.u_m[grid.coarse_u], grid.v_m[grid.coarse_v])
    if lines == len(u):
        return sparse.csr_array(sparse.hstack([on_coarse, sparse.csr_array((lines, lines), dtype=np.float32)]))
    on_lines = _bilinear(u[lines:], v[lines:], grid.u_m, grid.v_m)
    none = sparse.csr_array((lines, across * up), dtype=np.float32)
    return sparse.csr_array(sparse.block_array([[on_coarse, none], [None, on_lines]], format="csr"))


def _bilinear(u: Floats, v: Floats, u_m: Floats, v_m: Floats) -> sparse.csr_array:
    """(N, nodes) from the nodes at lines `u_m`, `v_m`, row by row, to places (N,)."""

    def one_axis(places: Floats, lines_m: Floats) -> tuple[NDArray[np.int64], Floats]:
        at = np.interp(places, lines_m, np.arange(len(lines_m)))
        low = np.minimum(at.astype(np.int64), max(len(lines_m) - 2, 0))
        return low, at - low

    column, x = one_axis(u, u_m)
    row, y = one_axis(v, v_m)
    wide = len(u_m)
    data = np.stack([(1 - x) * (1 - y), x * (1 - y), (1 - x) * y, x * y], axis=1)
    at = (row * wide + column)[:, None] + np.array([0, 1, wide, wide + 1])
    keep = data > 1e-9
    ends = np.concatenate([[0], np.cumsum(keep.sum(axis=1))])
    return sparse.csr_array((data[keep].astype(np.float32), at[keep], ends), shape=(len(u), wide * len(v_m)))


def _filled_from(grid: Grid, buried: Bools) -> NDArray[np.int64]:
    """For each node the nearest node of the same surface that no box covers; itself where it is free or nothing is."""
    shape = (len(grid.v_m), len(grid.u_m))
    source = np.arange(grid.line_nodes)
    if not buried.any() or buried.all():
        return source
    # OpenCV numbers the free nodes and says for every node which of them is nearest, or nearly.
    _, nearest = cv2.distanceTransformWithLabels(
        buried.reshape(shape).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL
    )
    number = np.asarray(nearest).ravel()
    free = np.empty(number.max() + 1, dtype=np.int64)
    free[number[~buried]] = source[~buried]
    return np.asarray(free[number])


@dataclass(frozen=True)
class _Part:
    """One surface's share of the transport."""

    grid: Grid
    coarse: Matrix
    spread: sparse.csr_array  # from the coarse nodes to those on lines
    between: sparse.csr_array  # from the nodes on lines to those of patches
    near: tuple[Matrix, ...]  # of each block
    nodes: tuple[NDArray[np.int64], ...]  # of each block: the surface's nodes that its rows belong to


def _block_ranges(lines: Lines) -> list[tuple[int, int, int]]:
    """Line, first and last + 1 group of every block: no block spans two lines."""
    ranges = []
    for line in range(len(lines)):
        first, count = int(lines.first[line]), int(lines.count[line])
        edges = np.linspace(first, first + count, -(-count // _BLOCK) + 1).round().astype(int)
        ranges += [(line, int(low), int(high)) for low, high in pairwise(edges)]
    return ranges


def _light(
    surfaces: Surfaces, surface: Ints, u_m: Floats, v_m: Floats, lines: Lines, boxes: Boxes, pool: Executor
) -> Matrix:
    """(N, G) at places of surfaces."""
    groups = int(lines.count.sum())
    found = np.zeros((len(surface), groups), dtype=np.float32)

    def fill(part: slice) -> None:
        points = surfaces.points(surface[part], u_m[part], v_m[part])
        own = surface[part]
        add_lux(found[part], lines, boxes, points, surfaces.normal[own], skip=surfaces.box[own])

    for _ in pool.map(fill, in_pieces(len(surface), max(64, _CHUNK_PAIRS // groups))):
        pass
    return found


def _of_air(surfaces: Surfaces, surface: int, grid: Grid, boxes: Boxes, light: Matrix) -> Matrix:
    """The light of nodes on lines, where a box covers them that of the nearest that is free."""
    # Nodes right on the edge of a box that stands there are in the air.
    solid = Boxes(boxes.low_m + 0.2 * TOUCH_M, boxes.high_m - 0.2 * TOUCH_M)
    buried = inside_boxes(solid, grid.points(surfaces, surface) + 2 * TOUCH_M * surfaces.normal[surface])
    source = _filled_from(grid, buried)
    return light[source] if (source != np.arange(len(source))).any() else light


def _surface_part(work: Refinement, lines: Lines) -> _Part:
    grid, exact = work.grid(), work.exact
    coarse = np.ascontiguousarray(exact[grid.coarse_nodes])
    lines_at = grid.line_nodes
    spread = interpolation(grid)
    first, rest_of = spread[:lines_at, : len(coarse)], spread[lines_at:, len(coarse) :]
    from_lines = np.add.reduceat(exact, lines.first, axis=1)
    everything = from_lines.sum(axis=1)
    near, nodes = [], []
    for line, low, high in _block_ranges(lines):
        own = np.ascontiguousarray(exact[:, low:high])
        rest = np.concatenate([own[:lines_at] - first @ coarse[:, low:high], own[lines_at:] - rest_of @ own[:lines_at]])
        missed = np.abs(rest).sum(axis=1)
        kept = missed > np.maximum(_OWN_SHARE * own.sum(axis=1), _LINE_SHARE * from_lines[:, line])
        kept &= missed > _ALL_SHARE * everything
        rows = np.nonzero(kept)[0]
        near.append(rest[rows])
        nodes.append(rows)
    # What is near a node on a line is near the nodes of patches that are worked out from it.
    return _Part(grid, coarse, first, rest_of, tuple(near), tuple(nodes))


def build_transport(
    surfaces: Surfaces,
    grids: tuple[Grid, ...],
    lines: Lines,
    boxes: Boxes,
    most_nodes: int,
    progress: Progress | None = None,
) -> tuple[tuple[Grid, ...], Transport]:
    """Work the transport of all surfaces out; the grids with patches where light needs them, up to `most_nodes` altogether.

    Two surfaces are worked on at a time.
    """
    order = sorted(range(len(surfaces)), key=lambda s: -grids[s].nodes)
    floor = least_lux(float(lines.share @ lines.count), surfaces)

    def tell(done: float) -> None:
        if progress is not None:
            progress(done)

    with ThreadPoolExecutor(2) as pool:

        def light(places: list[tuple[Floats, Floats]]) -> list[Matrix]:
            counts = [len(u) for u, _ in places]
            u_m, v_m = (np.concatenate(part) for part in zip(*places, strict=True))
            found = _light(surfaces, np.repeat(order, counts), u_m, v_m, lines, boxes, pool)
            return np.split(found, np.cumsum(counts)[:-1])

        def begin_with(s: int, found: Matrix) -> Refinement:
            return Refinement(grids[s], _of_air(surfaces, s, grids[s], boxes, found), lines.first, floor)

        work = list(pool.map(begin_with, order, light([grids[s].places() for s in order])))
        tell(_BEGUN)
        for k in range(ROUNDS):
            room = max(0, most_nodes - sum(one.nodes for one in work))
            if not room:
                break
            share = min(1.0, room / max(1, sum(one.wanted for one in work)))
            fresh = light([one.ask(int(share * one.wanted)) for one in work])
            last = [k == ROUNDS - 1] * len(work)
            for _ in pool.map(Refinement.take, work, fresh, last):
                pass
            tell(_BEGUN + (1 - _BEGUN) * (k + 1) / (ROUNDS + 1))
        found = dict(zip(order, pool.map(lambda one: _surface_part(one, lines), work), strict=True))
    tell(1.0)
    parts = [found[s] for s in range(len(surfaces))]
    begin = np.concatenate([[0], np.cumsum([part.grid.nodes for part in parts])])
    coarse_nodes = sum(len(part.coarse) for part in parts)
    blocks, rows = [], []
    for k, (_, low, _) in enumerate(_block_ranges(lines)):
        blocks.append(Block(low, np.concatenate([part.near[k] for part in parts])))
        rows += [part.nodes[k] + begin[s] for s, part in enumerate(parts)]
    row = np.concatenate(rows)
    pick = sparse.csr_array((np.ones(len(row), np.float32), (row, np.arange(len(row)))), shape=(begin[-1], len(row)))
    gathers = []
    at = 0
    for s, part in enumerate(parts):
        own = pick[begin[s] : begin[s + 1]]
        count = part.spread.shape[0]
        before = sparse.csr_array((count, at), dtype=np.float32)
        after = sparse.csr_array((count, coarse_nodes - at - part.spread.shape[1]), dtype=np.float32)
        on_lines = sparse.csr_array(sparse.hstack([before, part.spread, after, own[:count]], format="csr"))
        none = sparse.csr_array((own.shape[0] - count, coarse_nodes), dtype=np.float32)
        of_patches = part.between @ on_lines + sparse.csr_array(sparse.hstack([none, own[count:]], format="csr"))
        gathers += [on_lines, of_patches]
        at += part.spread.shape[1]
    gather = _narrow(sparse.csr_array(sparse.vstack(gathers, format="csr")))
    transport = Transport(np.concatenate([part.coarse for part in parts]), tuple(blocks), gather)
    return tuple(part.grid for part in parts), transport
