"""The fixed matrix from the groups' flux to the light maps: lux at every node of the atlas for a lumen of every group.

It is kept as two parts. A coarse part holds every group's light on the coarse nodes, dense; between those it is interpolated. A near
part holds, sparse, what the interpolation misses: close to the runs and along the edges of shadows. An entry of the near part is
dropped where it is under 1 % of that group's own light there, or under 1/20000 of the light of all groups together.

Memory: coarse nodes × groups × 4 bytes (about 6000 × 300: 7 MB; × 1000: 24 MB; × 5000: 120 MB) and 8 bytes for each near entry.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from preview.light.atlas import Grid
from preview.light.emission import Lines
from preview.light.illuminance import lux_per_lumen
from preview.light.room import TOUCH_M, Boxes, Surfaces, inside_boxes
from preview.scene.layout import Bools, Floats

__all__ = ["Progress", "Transport", "build_transport", "interpolation"]

Progress = Callable[[float], None]
"""Called with the share of the work that is done, 0 to 1."""

_OWN_SHARE = 0.01
_ALL_SHARE = 5e-5
_CHUNK_PAIRS = 600_000


@dataclass(frozen=True)
class Transport:
    """`light(flux)` = spread · (coarse · flux) + near · flux. T nodes, K coarse nodes, G groups; lux per lumen, float32."""

    coarse: NDArray[np.float32]  # (K, G)
    near: sparse.csr_array  # (T, G)
    spread: sparse.csr_array  # (T, K) interpolation from the coarse nodes

    def light(self, flux: NDArray[np.float32], even: NDArray[np.float32] | None = None) -> NDArray[np.float32]:
        """Light (T, n) on the nodes for flux (G, n); `even` (K, n) is added on the coarse nodes."""
        slow = self.coarse @ flux
        if even is not None:
            slow += even
        result: NDArray[np.float32] = self.spread @ slow
        result += self.near @ flux
        return result


def interpolation(grid: Grid) -> sparse.csr_array:
    """(nodes, coarse nodes) bilinear interpolation from a grid's coarse subset to all its nodes."""

    def one_axis(places: Floats, keep: NDArray[np.int64]) -> sparse.csr_array:
        at = np.interp(places, places[keep], np.arange(len(keep)))
        low = np.minimum(at.astype(np.int64), max(len(keep) - 2, 0))
        part = at - low
        rows = np.arange(len(places))
        return sparse.csr_array(
            (np.concatenate([1 - part, part]), (np.concatenate([rows, rows]), np.concatenate([low, low + 1]))),
            shape=(len(places), len(keep)),
        )

    both = sparse.csr_array(sparse.kron(one_axis(grid.v_m, grid.coarse_v), one_axis(grid.u_m, grid.coarse_u)))
    both.eliminate_zeros()
    return both.astype(np.float32)


def _filled_from(grid: Grid, buried: Bools) -> NDArray[np.int64]:
    """For each node the nearest node of the same surface that no box covers; itself where it is free or nothing is."""
    shape = (len(grid.v_m), len(grid.u_m))
    source = np.arange(grid.nodes)
    if not buried.any() or buried.all():
        return source
    from scipy.ndimage import distance_transform_edt

    nearest = distance_transform_edt(buried.reshape(shape), return_distances=False, return_indices=True)
    return np.asarray((nearest[0] * shape[1] + nearest[1]).ravel())


def _surface_part(
    surfaces: Surfaces, surface: int, grid: Grid, lines: Lines, boxes: Boxes
) -> tuple[NDArray[np.float32], sparse.csr_array, sparse.csr_array]:
    points = grid.points(surfaces, surface)
    normal = surfaces.normal[surface]
    buried = inside_boxes(boxes, points + 2 * TOUCH_M * normal)
    groups = int(lines.count.sum())
    exact = np.empty((len(points), groups), dtype=np.float32)
    chunk = max(64, _CHUNK_PAIRS // groups)
    for low in range(0, len(points), chunk):
        part = slice(low, low + chunk)
        exact[part] = lux_per_lumen(lines, boxes, points[part], normal, skip=int(surfaces.box[surface]))
    source = _filled_from(grid, buried)
    if (source != np.arange(len(points))).any():
        exact = exact[source]
    coarse = np.ascontiguousarray(exact[grid.coarse_nodes])
    spread = interpolation(grid)
    floor = (_ALL_SHARE * exact.sum(axis=1))[:, None]
    rest = exact - spread @ coarse
    size = np.abs(rest)
    kept = (size > floor) & (size > _OWN_SHARE * exact)
    rows, columns = np.nonzero(kept)
    near = sparse.csr_array(
        (
            rest[rows, columns],
            columns.astype(np.int32),
            np.concatenate([[0], np.cumsum(kept.sum(axis=1))]).astype(np.int32),
        ),
        shape=rest.shape,
    )
    return coarse, near, spread


def build_transport(
    surfaces: Surfaces, grids: tuple[Grid, ...], lines: Lines, boxes: Boxes, progress: Progress | None = None
) -> Transport:
    """Work the transport of all surfaces out. Two surfaces are worked on at a time."""
    order = sorted(range(len(surfaces)), key=lambda s: -grids[s].nodes)
    total = sum(grid.nodes for grid in grids)
    done = 0
    parts: dict[int, tuple[NDArray[np.float32], sparse.csr_array, sparse.csr_array]] = {}
    with ThreadPoolExecutor(2) as pool:
        waiting = {s: pool.submit(_surface_part, surfaces, s, grids[s], lines, boxes) for s in order}
        for s in order:
            parts[s] = waiting[s].result()
            done += grids[s].nodes
            if progress is not None:
                progress(done / total)
    coarse = np.concatenate([parts[s][0] for s in range(len(surfaces))])
    near = sparse.csr_array(sparse.vstack([parts[s][1] for s in range(len(surfaces))], format="csr"))
    spread = sparse.csr_array(sparse.block_diag([parts[s][2] for s in range(len(surfaces))], format="csr"))
    return Transport(coarse, near, spread)
