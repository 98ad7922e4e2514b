"""The lit room as a picture: everything that a frame needs is laid out once, a frame is a few passes over arrays.

flux of the groups → light on the atlas (`transport`) → exposed luminance there → at each pixel (one look-up, times the texture) → edge
pixels and faces put in (`pixels`) → a little glare (`glare`) → tone and bytes (`printing`). In linear sRGB with absolute scale all the
way (lumen, lux, cd/m²); exposure only multiplies it.
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor

import cv2
import numpy as np
from numpy.typing import NDArray

from preview.light.atlas import pack
from preview.light.camera import camera_of
from preview.light.colour import Y_OF_RGB, rgb_of_xyz, white_rgb, xyz_of_rgb
from preview.light.cover import COVER_REFLECTANCE
from preview.light.emission import lines_of
from preview.light.exposure import Exposure, balance_in, expose
from preview.light.faces import faces_of
from preview.light.fill import bounce_rgb, mean_reflectance
from preview.light.finish import draw_tiles, pattern_at
from preview.light.glare import SPREAD, Glare
from preview.light.lightmaps import light_maps
from preview.light.mixing import Mixer
from preview.light.pixels import pixels_of
from preview.light.printing import FULL, WORKERS, Printer
from preview.light.room import boxes_of, surfaces_of
from preview.light.transport import Progress
from preview.light.view import Hits, look
from preview.scene.layout import Floats, Layout
from preview.scene.model import Scene

__all__ = ["Renderer"]

_BLOCK_BYTES = 64_000_000
"""Working space for frames that are worked out together."""

_BLOCK = 16
"""Frames that are worked out together, or a multiple of it: three columns each, and BLAS takes sixteen columns at a time."""

_WHITEST = 2.0
"""Exposed luminance that is printed all but white, at 0.88 of a tone that ends at 0.9: brighter surfaces end at edges as if they had it."""

_Y = Y_OF_RGB.astype(np.float32)

Matrix = NDArray[np.float32]


class Renderer:
    """Draws a scene's room for a picture of `size` = (width, height).

    `progress` is called with the share done, 0 to 1, while the transport is worked out. Holds buffers: one thread at a time.
    """

    def __init__(
        self, scene: Scene, layout: Layout, size: tuple[int, int] = (1280, 720), progress: Progress | None = None
    ) -> None:
        self.size = size
        self.camera = camera_of(scene.viewer, size)
        self.notes: tuple[str, ...] = ()
        self._ambient_lux = float(scene.room.ambient_lux)
        self._white = white_rgb(scene.room.ambient_k)
        room = np.asarray(scene.room.size_m, dtype=float)
        boxes = boxes_of(scene)
        self._everything = surfaces_of(scene)
        _, self._rho, self._area_m2 = mean_reflectance(self._everything)
        lines = lines_of(scene, layout)
        self._share = np.repeat(lines.share, lines.count)
        self._pool = ThreadPoolExecutor(WORKERS)
        # What does not need the light maps is worked out beside them: their own two threads leave a core idle now and then.
        tiles = self._pool.submit(draw_tiles, self._everything)
        faces = self._pool.submit(faces_of, scene, lines, boxes, self.camera)
        view = look(self.camera, self._everything)
        shown = np.unique(np.concatenate([view.pixels.surface.ravel(), view.edge_surface]))
        shown = shown[shown >= 0]
        renumber = np.full(len(self._everything) + 1, -1)
        renumber[shown] = np.arange(len(shown))
        surfaces = self._everything.pick(shown)
        pixels = Hits(renumber[view.pixels.surface], view.pixels.u_m, view.pixels.v_m, view.pixels.depth_m)
        coarse = np.where(np.isfinite(pixels.depth_m), pixels.depth_m, 1.0) / self.camera.focal_px
        tiles.result()
        pattern = self._pool.submit(pattern_at, surfaces, pixels, coarse)
        self.maps = light_maps(surfaces, lines, boxes, room, layout.groups, progress)
        atlas = pack(self.maps.grids)
        self._cells = (atlas.height, atlas.width)
        count = atlas.height * atlas.width
        self._mixer = Mixer(self.maps.transport.in_cells(atlas.cells(), count), self._pool)
        self._finish, self._lit_cells = np.zeros((count, 4), np.float32), np.zeros((count, 4), np.float32)
        of_node = np.repeat(np.arange(len(surfaces)), [grid.nodes for grid in self.maps.grids])
        self._finish[atlas.cells(), :3] = surfaces.reflectance[of_node] * ((1 - SPREAD) / np.pi)
        self._pixels = pixels_of(
            view,
            pixels.surface,
            renumber[view.edge_surface],
            atlas,
            pattern.result(),
            faces.result(),
        )
        self._some = self._pixels.thinned(2, 5)
        self._glare = Glare(self._pixels)
        self._printer = Printer(self._pixels, self._glare.size[1])

    @property
    def _together(self) -> int:
        """How many frames are worked out together."""
        many = int(_BLOCK_BYTES // (12 * (self._mixer.parts + self._mixer.cells)))
        return max(_BLOCK * (many // _BLOCK), min(many, _BLOCK), 1)

    def _room(self, ambient_lux: float | None, ambient_k: float | None) -> tuple[Floats, Floats]:
        """The room's own light (3,) in lux, and the colour (3,) of one lux of it; linear sRGB."""
        white = self._white if ambient_k is None else white_rgb(ambient_k)
        return white * (self._ambient_lux if ambient_lux is None else ambient_lux), white

    def _frames(self, flux_rgb: Floats, ambient: Floats, gain: Floats) -> Iterator[tuple[Matrix, Matrix, Matrix]]:
        """Light of the cells (height, width, 4), flux (G, 4) and light of an unlit cover (4,), for each frame of flux (F, G, 3).

        Red, green, blue, each times its `gain` (3,), and an idle fourth, with which products and look-ups take less time than without.
        Frames are worked out together as far as memory allows; the first array is used again for the next one.
        """
        even = (bounce_rgb(self._share @ flux_rgb, self._everything) + ambient) * gain
        flux_rgb = flux_rgb * gain
        frames, groups = flux_rgb.shape[:2]
        flux, unlit = np.zeros((frames, groups, 4), np.float32), np.zeros((frames, 4), np.float32)
        np.multiply(flux_rgb, 1 - SPREAD, out=flux[..., :3], casting="same_kind")
        np.multiply(even, COVER_REFLECTANCE / np.pi * (1 - SPREAD), out=unlit[..., :3], casting="same_kind")
        for first in range(0, frames, self._together):
            part = slice(first, min(first + self._together, frames))
            for k, _ in zip(range(first, part.stop), self._lit(flux_rgb[part], even[part]), strict=False):
                yield self._lit_cells.reshape(*self._cells, 4), flux[k], unlit[k]

    def _lit(self, flux_rgb: Floats, even: Floats) -> Iterator[None]:
        """Puts the light that the surfaces throw back into the cells, one frame after another, all worked out at once."""
        cells = self._lit_cells
        frames, groups = flux_rgb.shape[:2]
        colours = 3 if frames > 1 else 4
        flux = np.zeros((groups, frames, colours), np.float32)
        flux[..., :3] = np.moveaxis(flux_rgb, 0, 1)
        evenly = np.zeros((frames, colours), np.float32)
        evenly[:, :3] = even
        shade = self.maps.shade[:, None] * evenly.ravel()
        if frames == 1:

            def finish(rows: slice, light: Matrix) -> None:
                np.multiply(light, self._finish[rows], out=cells[rows])

            self._mixer.mix(flux.reshape(groups, -1), shade, finish)
            yield
            return
        found: list[tuple[slice, Matrix]] = []
        self._mixer.mix(flux.reshape(groups, -1), shade, lambda rows, light: found.append((rows, light)))
        for frame in range(frames):
            for rows, light in found:
                for colour in range(3):
                    own = light[:, 3 * frame + colour]
                    np.multiply(own, self._finish[rows, colour], out=cells[rows, colour])
            yield

    def luminance(self, group_xyz: Floats, ambient_lux: float | None = None, ambient_k: float | None = None) -> Floats:
        """Picture (h, w, 3) as tristimulus values in cd/m² for groups (G, 3) in lumen, or (F, h, w, 3) for (F, G, 3)."""
        rgb = rgb_of_xyz(group_xyz)
        ambient, _ = self._room(ambient_lux, ambient_k)
        found = []
        for frame in self._frames(rgb if rgb.ndim == 3 else rgb[None], ambient, np.ones(3)):
            crossing, veil = self._pixels.crossing(*frame), self._glare.veil(*frame)
            found.append(xyz_of_rgb(self._printer.linear(frame[0], crossing, veil)[..., :3]))
        return np.stack(found) if rgb.ndim == 3 else found[0]

    def exposure(
        self,
        group_xyz: Floats,
        ambient_lux: float | None = None,
        ambient_k: float | None = None,
        grey_cd_m2: float | None = None,
    ) -> Exposure:
        """One exposure for all frames (F, G, 3) of a look, from luminances over up to 24 of them.

        With `grey_cd_m2` that luminance becomes middle grey, and the frames only say what the room's light takes for white.
        """
        rgb = rgb_of_xyz(group_xyz)
        frames = rgb[None] if rgb.ndim == 2 else rgb
        frames = frames[np.unique(np.linspace(0, len(frames) - 1, min(len(frames), 24)).round().astype(int))]
        ambient, _ = self._room(ambient_lux, ambient_k)
        strips = (self._share @ frames.mean(axis=0)) / (self._area_m2 * (1 - min(self._rho, 0.98)))
        balance = balance_in(ambient + strips)
        if grey_cd_m2 is not None:
            return Exposure.of_grey(grey_cd_m2, balance)
        some = self._some
        height, width = self._pixels.shape
        columns, rows = self._glare.size
        at_x = ((2 + 5 * np.arange(some.shape[1]) + 0.5) * columns / width - 0.5).astype(np.float32)
        at_y = ((2 + 5 * np.arange(some.shape[0]) + 0.5) * rows / height - 0.5).astype(np.float32)
        maps = np.tile(at_x, (len(at_y), 1)), np.tile(at_y[:, None], (1, len(at_x)))
        found = []
        for frame in self._frames(frames, ambient, np.ones(3)):
            light = some.plain(frame[0])[..., :3] @ _Y
            light.ravel()[some.crossed] = some.crossing(*frame)[:, :3] @ _Y
            veil = self._glare.veil(*frame)[..., :3] @ _Y
            light += cv2.remap(veil, *maps, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
            found.append(light)
        return expose(np.stack(found), balance)

    def pictures(
        self,
        group_xyz: Floats,
        exposure: Exposure,
        ambient_lux: float | None = None,
        ambient_k: float | None = None,
    ) -> Iterator[NDArray[np.uint8]]:
        """sRGB pictures (h, w, 3) for frames (F, G, 3) in lumen, one after another, each an array of its own.

        The matrix is read once for many frames, which is what most of the time goes into where there are many groups.
        """
        ambient, _ = self._room(ambient_lux, ambient_k)
        for frame in self._frames(rgb_of_xyz(group_xyz), ambient, _printed(exposure)):
            yield self._print(frame, np.empty((*self._pixels.shape, 3), np.uint8))

    def picture(
        self,
        group_xyz: Floats,
        exposure: Exposure,
        ambient_lux: float | None = None,
        out: NDArray[np.uint8] | None = None,
        ambient_k: float | None = None,
    ) -> NDArray[np.uint8]:
        """sRGB picture (h, w, 3) for groups (G, 3) in lumen. With `out`, into that array."""
        ambient, _ = self._room(ambient_lux, ambient_k)
        if out is None:
            out = np.empty((*self._pixels.shape, 3), np.uint8)
        frame = next(self._frames(rgb_of_xyz(group_xyz)[None], ambient, _printed(exposure)))
        return self._print(frame, out)

    def _print(self, frame: tuple[Matrix, Matrix, Matrix], out: NDArray[np.uint8]) -> NDArray[np.uint8]:
        crossing = self._pool.submit(self._pixels.crossing, *frame, _WHITEST * FULL)
        veil = self._glare.veil(*frame)
        return self._printer.print(frame[0], crossing.result(), veil, out, self._pool)


def _printed(exposure: Exposure) -> Floats:
    """Gains (3,) from linear sRGB in cd/m² to exposed and balanced linear sRGB, as it is printed."""
    return np.asarray(exposure.balance) * (exposure.scale * FULL)
