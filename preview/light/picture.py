"""The lit room as a picture: everything that a frame needs is laid out once, a frame is a few passes over arrays.

flux of the groups → light on the atlas (`transport`) → light at each pixel (one remap) → times reflectance/π → edge pixels and faces
put in → a little glare → exposure → bytes. In linear sRGB with absolute scale all the way (lumen, lux, cd/m²).
"""

from __future__ import annotations

from dataclasses import fields

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from preview.light import cache
from preview.light.atlas import grids_of, pack
from preview.light.camera import camera_of
from preview.light.colour import Y_OF_RGB, rgb_of_xyz, white_rgb, xyz_of_rgb
from preview.light.emission import Lines, lines_of
from preview.light.exposure import ADAPTED, Exposure, Printer, balance_for, expose
from preview.light.faces import faces_of
from preview.light.fill import bounce_rgb, mean_reflectance, openness
from preview.light.finish import pattern_at
from preview.light.room import Boxes, Surfaces, boxes_of, surfaces_of
from preview.light.transport import Progress, Transport, build_transport
from preview.light.view import Hits, look
from preview.scene.layout import Floats, Layout
from preview.scene.model import Scene

__all__ = ["Renderer"]

_GLARE = 0.05
"""Share of the light that the eye or lens scatters around bright things."""

_GLARE_STEP = 8
_COVER_REFLECTANCE = 0.45  # an unlit cover in the room's light; common practice, no source
_MOST_NODES = 60_000
_MOST_PAIRS = 40_000_000


class Renderer:
    """Draws a scene's room for a picture of `size` = (width, height).

    `progress` is called with the share done, 0 to 1, while the transport is worked out. Holds buffers: one thread at a time.
    """

    def __init__(
        self, scene: Scene, layout: Layout, size: tuple[int, int] = (1280, 720), progress: Progress | None = None
    ) -> None:
        self.size = size
        self._ambient_lux = float(scene.room.ambient_lux)
        self._white = white_rgb(scene.room.ambient_k)
        room = np.asarray(scene.room.size_m, dtype=float)
        boxes = boxes_of(scene)
        self._everything = surfaces_of(scene)
        _, self._rho, self._area_m2 = mean_reflectance(self._everything)
        lines = lines_of(scene, layout)
        self._share = np.repeat(lines.share, lines.count)
        camera = camera_of(scene.viewer, size)
        view = look(camera, self._everything)
        shown = np.unique(np.concatenate([view.pixels.surface.ravel(), view.edge_surface]))
        shown = shown[shown >= 0]
        renumber = np.full(len(self._everything) + 1, -1)
        renumber[shown] = np.arange(len(shown))
        surfaces = self._everything.pick(shown)
        most = int(np.clip(_MOST_PAIRS / layout.groups, 8000, _MOST_NODES))
        grids = grids_of(surfaces, lines, boxes, most)
        atlas = pack(grids)
        key = cache.key_of(_depends_on(surfaces, lines, boxes, room, most))
        kept = cache.load(key)
        if kept is None:
            self.transport = build_transport(surfaces, grids, lines, boxes, progress)
            self._shade = openness(surfaces, grids, boxes, room).astype(np.float32)
            cache.save(key, {**self.transport.arrays(), "shade": self._shade})
        else:
            self.transport, self._shade = Transport.of(kept), kept["shade"]
            if progress is not None:
                progress(1.0)
        self._cells = atlas.cells()
        self._atlas = np.zeros((atlas.height, atlas.width, 3), np.float32)

        pixels = Hits(renumber[view.pixels.surface], view.pixels.u_m, view.pixels.v_m, view.pixels.depth_m)
        x, y = atlas.place(pixels.surface, pixels.u_m, pixels.v_m)
        self._maps = (x.astype(np.float32), y.astype(np.float32))
        coarse = np.where(np.isfinite(pixels.depth_m), pixels.depth_m, 1.0) / camera.focal_px
        pattern = pattern_at(surfaces, pixels, coarse)
        finish = np.concatenate([surfaces.reflectance, np.zeros((1, 3))]) / np.pi
        self._reflectance = finish[pixels.surface].astype(np.float32) * pattern[..., None]

        edge = Hits(renumber[view.edge_surface], view.edge_u_m, view.edge_v_m, np.zeros(len(view.edge_u_m)))
        ex, ey = atlas.place(edge.surface, edge.u_m, edge.v_m)
        self._edge_maps = tuple(_in_rows(part.astype(np.float32)) for part in (ex, ey))
        self._edge_pixels, place = np.unique(view.edge_pixel, return_inverse=True)
        self._edge_finish = (finish[edge.surface] * view.edge_weight[:, None]).astype(np.float32)
        self._edge_sum = sparse.csr_array(
            (np.ones(len(place), np.float32), (place, np.arange(len(place)))),
            shape=(len(self._edge_pixels), len(place)),
        )

        self._faces = faces_of(scene, lines, boxes, camera)
        self._uncovered = (1 - self._faces.cover)[:, None]
        self._picture = np.empty((size[1], size[0], 3), np.float32)
        self._printer = Printer(size)

    def _rgb(self, group_xyz: Floats) -> Floats:
        return rgb_of_xyz(group_xyz)

    def _draw(self, flux_rgb: Floats, ambient_lux: float | None) -> NDArray[np.float32]:
        """Luminance (h, w, 3) in linear sRGB for flux (G, 3); the buffer is used again by the next call."""
        ambient = self._white * (self._ambient_lux if ambient_lux is None else ambient_lux)
        even = (bounce_rgb(self._share @ flux_rgb, self._everything) + ambient).astype(np.float32)
        flux = flux_rgb.astype(np.float32)
        light = self.transport.light(flux, self._shade[:, None] * even)
        self._atlas.reshape(-1, 3)[self._cells] = light
        picture = self._picture
        cv2.remap(self._atlas, *self._maps, cv2.INTER_LINEAR, dst=picture)
        np.multiply(picture, self._reflectance, out=picture)
        flat = picture.reshape(-1, 3)
        if len(self._edge_pixels):
            edge = np.asarray(cv2.remap(self._atlas, *self._edge_maps, cv2.INTER_LINEAR)).reshape(-1, 3)
            flat[self._edge_pixels] = self._edge_sum @ (edge[: len(self._edge_finish)] * self._edge_finish)
        faces = self._faces
        if len(faces.pixel):
            unlit = faces.cover[:, None] * (even * np.float32(_COVER_REFLECTANCE / np.pi))
            flat[faces.pixel] = flat[faces.pixel] * self._uncovered + faces.matrix @ flux + unlit
        self._add_glare(picture)
        return picture

    def _add_glare(self, picture: NDArray[np.float32]) -> None:
        width, height = self.size
        small = cv2.resize(
            picture, (max(1, width // _GLARE_STEP), max(1, height // _GLARE_STEP)), interpolation=cv2.INTER_AREA
        )
        near = cv2.GaussianBlur(small, (0, 0), max(0.5, small.shape[1] * 0.008))
        wide = cv2.GaussianBlur(small, (0, 0), max(0.5, small.shape[1] * 0.05))
        veil = cv2.resize(0.6 * near + 0.4 * wide, (width, height), interpolation=cv2.INTER_LINEAR)
        cv2.addWeighted(picture, 1 - _GLARE, veil, _GLARE, 0, dst=picture)

    def luminance(self, group_xyz: Floats, ambient_lux: float | None = None) -> Floats:
        """Picture (h, w, 3) as tristimulus values in cd/m² for groups (G, 3) in lumen, or (F, h, w, 3) for (F, G, 3)."""
        rgb = self._rgb(np.asarray(group_xyz, dtype=np.float64))
        if rgb.ndim == 2:
            return xyz_of_rgb(self._draw(rgb, ambient_lux))
        return np.stack([xyz_of_rgb(self._draw(frame, ambient_lux)) for frame in rgb])

    def exposure(self, group_xyz: Floats, ambient_lux: float | None = None) -> Exposure:
        """One exposure for all frames (F, G, 3) of a look, from luminances over up to 24 of them."""
        rgb = self._rgb(np.asarray(group_xyz, dtype=np.float64))
        frames = rgb[None] if rgb.ndim == 2 else rgb
        some = np.unique(np.linspace(0, len(frames) - 1, min(len(frames), 24)).round().astype(int))
        weights = Y_OF_RGB.astype(np.float32)
        found = [(self._draw(frames[k], ambient_lux)[2::5, 2::5] @ weights) for k in some]
        # The eye follows the room's own light as far as that, and not the strips, is what lights the room.
        own = self._ambient_lux if ambient_lux is None else ambient_lux
        strips = float((frames[some].mean(axis=0) @ Y_OF_RGB) @ self._share) / self._area_m2
        strips /= 1 - min(self._rho, 0.98)
        share = own / (own + strips) if own > 0 else 0.0
        return expose(np.stack(found), balance_for(self._white, ADAPTED * share))

    def picture(
        self,
        group_xyz: Floats,
        exposure: Exposure,
        ambient_lux: float | None = None,
        out: NDArray[np.uint8] | None = None,
    ) -> NDArray[np.uint8]:
        """sRGB picture (h, w, 3) for groups (G, 3) in lumen. With `out`, into that array."""
        if out is None:
            out = np.empty((self.size[1], self.size[0], 3), np.uint8)
        return self._printer.print(self._draw(self._rgb(group_xyz), ambient_lux), exposure, out)


def _in_rows(values: NDArray[np.float32]) -> NDArray[np.float32]:
    """A list as an array of rows, filled up with zeros: remap takes no side longer than 32766."""
    wide = 1024
    return np.pad(values, (0, -len(values) % wide)).reshape(-1, wide)


def _depends_on(surfaces: Surfaces, lines: Lines, boxes: Boxes, room_m: Floats, most: int) -> list[Floats | int]:
    """Everything that the transport and the shading depend on."""
    of_surfaces = [surfaces.origin_m, surfaces.u, surfaces.v, surfaces.size_m, surfaces.normal, surfaces.box]
    of_lines = [getattr(lines, field.name) for field in fields(lines)]
    return [*of_surfaces, *of_lines, boxes.low_m, boxes.high_m, room_m, most]
