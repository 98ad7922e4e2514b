"""What each pixel of a picture looks at: a place in the light maps, a texture, and what edges and faces put in its way.

Light maps here are laid out in cells with four channels: linear red, green, blue, and an idle one, with which a look-up takes less than
half the time.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from preview.light.atlas import Atlas
from preview.light.colour import Y_OF_RGB
from preview.light.faces import Faces
from preview.light.view import View
from preview.scene.layout import Floats, Ints

__all__ = ["Pixels", "pixels_of"]

Matrix = NDArray[np.float32]

_Y4 = np.append(Y_OF_RGB, 0).astype(np.float32)
_ROW = 1024  # lists are looked up in rows of so many: remap takes no side longer than 32766


@dataclass(frozen=True)
class Pixels:
    """The pixels of a picture (h, w). P of them are crossed by an edge or a face, and are put together from several look-ups."""

    x: Matrix  # (h, w) cell of the light maps at the pixel's middle
    y: Matrix  # (h, w)
    pattern: Matrix  # (h, w) texture, a factor of mean 1
    crossed: Ints  # (P,) flat numbers, sorted
    entry_x: Matrix  # (rows, 1024) cells of the E look-ups, filled up with zeros
    entry_y: Matrix  # (rows, 1024)
    mix: sparse.csr_array  # (P, E) share of each look-up in its pixel
    faces: sparse.csr_array  # (P, G) luminance per lumen of each group
    cover: Matrix  # (P, 1) share of the pixel that a cover hides

    @property
    def shape(self) -> tuple[int, int]:
        """Height and width."""
        return self.x.shape[0], self.x.shape[1]

    def plain(self, cells: Matrix) -> Matrix:
        """Luminance (h, w, C) of every pixel as if nothing crossed it, for luminance (height, width, C) of the cells."""
        found = np.asarray(cv2.remap(cells, self.x, self.y, cv2.INTER_LINEAR))
        found *= self.pattern[..., None]
        return found

    def crossing(self, cells: Matrix, flux: Matrix, unlit: Matrix, most: float = np.inf) -> Matrix:
        """Luminance (P, C) of the crossed pixels, for flux (G, C) and the luminance (C,) of a cover that gives no light itself.

        A surface counts with no more than the luminance `most`: where a tenth of a pixel is far brighter than white the whole pixel would
        be printed white, and the edge in steps.
        """
        if not len(self.crossed):
            return np.empty((0, cells.shape[-1]), np.float32)
        # One list of all that is mixed, for one product: what is looked up, what the groups give, and an unlit cover.
        shape, channels = self.entry_x.shape, cells.shape[-1]
        parts = np.empty((shape[0] * shape[1] + len(flux) + 1, channels), np.float32)
        entries, parts[-1] = parts[: shape[0] * shape[1]], unlit
        parts[len(entries) : -1] = flux
        dst = entries.reshape(*shape, channels)
        cv2.remap(cells, self.entry_x, self.entry_y, cv2.INTER_LINEAR, dst=dst)
        if np.isfinite(most):
            luminance = entries @ _Y4[:channels]
            bright = np.flatnonzero(luminance > most)
            if len(bright):
                entries[bright] *= (most / luminance[bright])[:, None]
        return np.asarray(self._whole @ parts, dtype=np.float32)

    @cached_property
    def _whole(self) -> sparse.csr_array:
        """(P, filled-up E + G + 1) shares of the look-ups, the faces, and what a cover that gives no light itself adds."""
        idle = self.entry_x.size - self.mix.shape[1]
        parts = [self.mix, sparse.csr_array((len(self.crossed), idle)), self.faces, sparse.csr_array(self.cover)]
        return sparse.csr_array(sparse.hstack(parts, format="csr")).astype(np.float32)

    def thinned(self, first: int, step: int) -> Pixels:
        """Every `step`-th pixel of every `step`-th row, from `first` on."""
        keep = np.s_[first::step, first::step]
        row, column = np.divmod(self.crossed, self.shape[1])
        stay = np.nonzero((row % step == first) & (column % step == first))[0]
        x = np.ascontiguousarray(self.x[keep])
        return Pixels(
            x,
            np.ascontiguousarray(self.y[keep]),
            np.ascontiguousarray(self.pattern[keep]),
            row[stay] // step * x.shape[1] + column[stay] // step,
            self.entry_x,
            self.entry_y,
            self.mix[stay],
            self.faces[stay],
            self.cover[stay],
        )


def pixels_of(
    view: View, surface: NDArray[np.int32] | Ints, edge_surface: Ints, atlas: Atlas, pattern: Matrix, faces: Faces
) -> Pixels:
    """The pixels of a view. `surface` (h, w) and `edge_surface` (E,) number the view's surfaces as the atlas does, −1 for none."""
    x, y = (part.astype(np.float32) for part in atlas.place(surface, view.pixels.u_m, view.pixels.v_m))
    crossed = np.union1d(view.edge_pixel, faces.pixel)
    in_edges, in_faces = np.isin(crossed, view.edge_pixel), np.searchsorted(crossed, faces.pixel)
    cover = np.zeros(len(crossed))
    cover[in_faces] = faces.cover
    # Where no edge runs behind a face the pixel's own look-up is its only entry.
    lone = np.nonzero(~in_edges)[0]
    edge_x, edge_y = atlas.place(edge_surface, view.edge_u_m, view.edge_v_m)
    of = np.concatenate([np.searchsorted(crossed, view.edge_pixel), lone])
    share = np.concatenate([view.edge_weight, pattern.ravel()[crossed[lone]]]) * (1 - cover[of])
    entries = len(of)
    mix = sparse.csr_array((share, (of, np.arange(entries))), shape=(len(crossed), entries)).astype(np.float32)
    groups = faces.matrix.shape[1]
    lit = faces.matrix.tocoo()
    matrix = sparse.csr_array((lit.data, (in_faces[lit.coords[0]], lit.coords[1])), shape=(len(crossed), groups))
    return Pixels(
        x,
        y,
        pattern,
        crossed,
        _in_rows(np.concatenate([edge_x, x.ravel()[crossed[lone]]])),
        _in_rows(np.concatenate([edge_y, y.ravel()[crossed[lone]]])),
        mix,
        matrix.astype(np.float32),
        cover.astype(np.float32)[:, None],
    )


def _in_rows(values: Floats) -> Matrix:
    return np.pad(values, (0, -len(values) % _ROW)).astype(np.float32).reshape(-1, _ROW)
