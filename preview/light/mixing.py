"""The light of many groups, mixed: the transport's products, laid out for frames and worked out on two threads.

    light of the cells = gather · [coarse · flux + even · shade; block · flux of the block; …]

One frame alone is bound by reading the matrices; for sixteen together BLAS reads them once, and takes a fourth of the time a frame.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from concurrent.futures import Executor

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from preview.light.transport import Transport

__all__ = ["Mixer"]

_PIECE = 450_000
"""Multiplications in a product for which BLAS starts no threads of its own: those would wait for one another at every piece."""

_WIDE = 16
"""Columns from which BLAS does better with large pieces."""

Matrix = NDArray[np.float32]


class Mixer:
    """Mixes the light of a transport (T, G). Holds buffers: one thread at a time."""

    def __init__(self, transport: Transport, pool: Executor) -> None:
        self._transport = transport
        self._pool = pool
        gather = transport.gather
        self.cells, self.parts = gather.shape
        middle = int(np.searchsorted(gather.indptr, gather.nnz // 2))
        self._halves = [
            (rows, _rows_of(gather, rows))
            for rows in (slice(0, middle), slice(middle, self.cells))
            if rows.stop > rows.start
        ]
        self._buffer = np.empty(0, np.float32)

    def mix(self, flux: Matrix, even: Matrix, use: Callable[[slice, Matrix], None]) -> None:
        """Calls `use` with rows and light (rows, n) of one half of the cells after the other, each in a thread of its own.

        Flux (G, n) in lumen, `even` (K, n) in lux on the coarse nodes. The light is the caller's to keep.
        """
        columns = flux.shape[1]
        if self._buffer.size < self.parts * columns:
            self._buffer = np.empty(self.parts * columns, np.float32)
        parts = self._buffer[: self.parts * columns].reshape(self.parts, columns)
        jobs = deque(self._jobs(flux, parts))
        coarse = len(self._transport.coarse)

        def multiply(_: int) -> None:
            while jobs:
                try:
                    matrix, own, out = jobs.popleft()
                except IndexError:  # the other thread was faster
                    return
                np.matmul(matrix, own, out=out)

        def gather(half: tuple[slice, sparse.csr_array]) -> None:
            rows, matrix = half
            use(rows, np.asarray(matrix @ parts))

        list(self._pool.map(multiply, range(2)))
        parts[:coarse] += even
        list(self._pool.map(gather, self._halves))

    def _jobs(self, flux: Matrix, parts: Matrix) -> list[tuple[Matrix, Matrix, Matrix]]:
        transport = self._transport
        jobs, row = [], 0
        for first, matrix in [(0, transport.coarse), *((block.first, block.matrix) for block in transport.blocks)]:
            rows, groups = matrix.shape
            jobs += _pieces(matrix, flux[first : first + groups], parts[row : row + rows])
            row += rows
        return jobs


def _rows_of(matrix: sparse.csr_array, rows: slice) -> sparse.csr_array:
    """Some rows of a matrix, on its own memory."""
    ends = matrix.indptr[rows.start : rows.stop + 1]
    part = slice(ends[0], ends[-1])
    shape = (rows.stop - rows.start, matrix.shape[1])
    return sparse.csr_array((matrix.data[part], matrix.indices[part], ends - ends[0]), shape=shape)


def _pieces(matrix: Matrix, flux: Matrix, out: Matrix) -> list[tuple[Matrix, Matrix, Matrix]]:
    """A product cut by rows into pieces of a size that BLAS does well."""
    step = max(16, _PIECE // max(1, flux.size)) if flux.shape[1] <= _WIDE else max(1, -(-len(matrix) // 2))
    return [(matrix[k : k + step], flux, out[k : k + step]) for k in range(0, len(matrix), step)]
