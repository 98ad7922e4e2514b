"""The client's own room, lit: the photo dimmed to the room's light, and the groups' light added on it.

The camera of `preview.light.sighting` says which place of which surface each pixel shows. A pixel's value over the light that was there
when the photo was taken (`preview.light.photo_light`) is a reflectance ρ, and the groups' light is added on it as in the drawn room: L =
ρ·E/π. Without the groups the room is the photo dimmed: by a gain that brings the surface of the corners to the finish that the scene
gives for it, in every colour, in the room's own light. That settles the photo's exposure and white balance at once; where the scene gives
no finish the exposure that the camera wrote into the file is held against `taken_lux`, and where there is none the photo is taken to be
well exposed, display white being a white wall. Boxes mark what stands in front: they hide, cast shadows and catch light, and are not
drawn.

Where the camera is not known the surface of the corners alone is lit in detail, where no box stands against it; everything else in the
photo is lit by even light, and the runs' own faces are not drawn.

Leaves out: gloss, lamps and windows that are in the photo themselves, the camera's tone curve.
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from preview.light.atlas import Atlas, pack
from preview.light.camera import Camera
from preview.light.colour import Y_OF_RGB, linear_of_finish, rgb_of_xyz, white_rgb, xyz_of_rgb
from preview.light.cover import COVER_REFLECTANCE
from preview.light.emission import lines_of
from preview.light.exposure import Exposure, balance_in, expose
from preview.light.faces import Faces, faces_of
from preview.light.fill import bounce_rgb, mean_reflectance
from preview.light.glare import SPREAD, Glare
from preview.light.lightmaps import light_maps
from preview.light.mixing import Mixer
from preview.light.photo import Photograph, load_photo
from preview.light.photo_light import given_finishes, light_in_photo
from preview.light.pixels import Pixels
from preview.light.printing import FULL, WORKERS, Printer
from preview.light.room import FACES, TOUCH_M, Boxes, Surfaces, boxes_of, surfaces_of
from preview.light.sighting import FILE, Sighting, sight
from preview.light.transport import Progress
from preview.light.view import Hits, View, look
from preview.scene.layout import Bools, Floats, Ints, Layout
from preview.scene.model import Scene

__all__ = ["PhotoRenderer", "sighting_of"]

_DARKEST_ANCHOR = 0.004  # a surface darker than this in the photo says nothing of its exposure
_LIKELY = (0.04, 0.97)  # reflectances that a wall can have
_CROWDED, _CUT = 0.6, 4  # cells a pixel from which it is cut into 4 × 4
_JUMP = 0.03  # what a single look-up may be off
_SMALL = 4  # the veil is worked out on means of so many pixels by so many
_ROW = 1024

Matrix = NDArray[np.float32]


def sighting_of(scene: Scene, photo: Photograph | None = None) -> Sighting:
    """What the corners of the scene's photo say of its camera. Raises CovecastError where the photo or its corners are no good."""
    given = scene.photo
    assert given is not None
    if photo is None:
        photo = load_photo(given.file, Path(scene.folder))
    focal = photo.focal_px
    if given.field_deg is not None:
        focal = photo.size[0] / 2 / float(np.tan(np.radians(given.field_deg) / 2))
    corners = np.array(given.corners_px, dtype=float)
    by = FILE if given.field_deg is None else "photo.field_deg"
    return sight(surfaces_of(scene), FACES.index(given.surface), given.rect_m, corners, photo.size, focal, by)


class PhotoRenderer:
    """Draws a scene on its photo for a picture of `size` = (width, height); the photo is shown whole, in the middle.

    As `preview.light.picture.Renderer`. `camera` is None where it could not be told, and `notes` says what could.
    """

    def __init__(
        self, scene: Scene, layout: Layout, size: tuple[int, int] = (1280, 720), progress: Progress | None = None
    ) -> None:
        assert scene.photo is not None
        photo = load_photo(scene.photo.file, Path(scene.folder))
        sighting = sighting_of(scene, photo)
        self.size = size
        self.notes: tuple[str, ...] = (f"photo: {sighting.says}",)
        self._ambient_lux = float(scene.room.ambient_lux)
        self._white = white_rgb(scene.room.ambient_k)
        self._everything = surfaces_of(scene)
        _, self._rho, self._area_m2 = mean_reflectance(self._everything)
        boxes, lines = boxes_of(scene), lines_of(scene, layout)
        self._share = np.repeat(lines.share, lines.count)

        picture, inside, scale, corner = photo.fitted(size)
        number = FACES.index(scene.photo.surface)
        self.camera: Camera | None = None
        if sighting.camera is not None:
            self.camera = replace(sighting.camera, focal_px=sighting.camera.focal_px * scale, size=size)
            view = look(self.camera, self._everything)
        else:
            view = _on_plane(self._everything, boxes, number, sighting.plane, size, scale, corner)
        hits = replace(view.pixels, surface=np.where(inside, view.pixels.surface, -1).astype(np.int32))
        shown = np.unique(np.concatenate([hits.surface.ravel(), view.edge_surface, [number]]))
        shown = shown[shown >= 0]
        renumber = np.full(len(self._everything) + 1, -1)
        renumber[shown] = np.arange(len(shown))
        surfaces = self._everything.pick(shown)
        room = np.asarray(scene.room.size_m, dtype=float)
        maps = light_maps(surfaces, lines, boxes, room, layout.groups, progress)
        atlas = pack(maps.grids)
        self._shade = maps.shade
        self._cells = atlas.height, atlas.width
        self._pool = ThreadPoolExecutor(WORKERS)
        self._mixer = Mixer(maps.transport.in_cells(atlas.cells(), atlas.height * atlas.width), self._pool)
        self._lit_cells = np.zeros((*self._cells, 4), np.float32)
        x, y = atlas.place(renumber[hits.surface], hits.u_m, hits.v_m)
        self._maps = x.astype(np.float32), y.astype(np.float32)
        edge_x, edge_y = atlas.place(renumber[view.edge_surface], view.edge_u_m, view.edge_v_m)
        unit, dark = np.ones(3, np.float32), np.zeros((layout.groups, 3), np.float32)
        whole = self._lit(dark + 1, 0 * unit)[..., 0].copy()
        drawn = replace(hits, surface=renumber[hits.surface])
        fine, fine_x, fine_y = _finely(atlas, surfaces, drawn, x, y, np.unique(view.edge_pixel), whole)
        self._edge_maps = _in_rows(np.concatenate([edge_x, fine_x])), _in_rows(np.concatenate([edge_y, fine_y]))
        entry = np.concatenate([view.edge_pixel, fine])
        self._edge_pixel, self._edge_mix = _mixed(entry, np.concatenate([view.edge_weight, np.ones(len(fine))]))
        beyond = inside & (hits.surface < 0)  # in the photo, and no surface known
        self._beyond = beyond[..., None].astype(np.float32) if beyond.any() else None

        even = self._looked_up(self._lit(dark, unit))[..., 0]
        shade = np.where(hits.surface >= 0, np.maximum(even, 0.2), np.float32(1))
        picture = np.where(inside[..., None], picture, 0.0).astype(np.float32)
        gain, says = _gain(scene, picture, shade, _in_rect(hits, number, scene.photo.rect_m), photo.cd_m2)
        self.notes += says
        # What one lux of the room's own light makes of the photo, and what one lux of the groups' light does.
        known = given_finishes(scene, self._everything)
        light = light_in_photo(picture, shade, hits, self._everything, known, gain)
        self._unlit = _with_idle(picture * (gain / np.float32(np.pi)))
        self._reflectance = _with_idle(np.clip(picture / light, 0.0, 1.0) / np.float32(np.pi))
        self._outside = np.nonzero(~inside.ravel())[0]
        thin = np.zeros(inside.shape, dtype=bool)
        thin[2::5, 2::5] = True
        self._sampled = thin & inside

        faces = self._faces_of(scene, layout, size)
        keep = inside.ravel()[faces.pixel]
        self._faces = Faces(faces.pixel[keep], faces.cover[keep], faces.matrix[keep])
        self._kept: tuple[tuple[float, ...], Matrix] | None = None
        self._small = max(1, size[0] // _SMALL), max(1, size[1] // _SMALL)
        self._glare = Glare(_as_they_are(size, self._small, layout.groups))
        self._printer = Printer(_as_they_are(size, size, layout.groups), self._glare.size[1], looks_up=False)
        self._crossing = np.empty((0, 4), np.float32)
        self._no_flux, self._no_cover = np.zeros((layout.groups, 4), np.float32), np.zeros(4, np.float32)

    def _faces_of(self, scene: Scene, layout: Layout, size: tuple[int, int]) -> Faces:
        if self.camera is not None:
            return faces_of(scene, lines_of(scene, layout), boxes_of(scene), self.camera)
        empty = sparse.csr_array((0, layout.groups), dtype=np.float32)
        return Faces(np.empty(0, np.int64), np.empty(0, np.float32), empty)

    def _lit(self, flux: Matrix, bounce: Matrix) -> Matrix:
        """Light of the cells (height, width, 4), the last channel idle, for flux (G, 3) and even light (3,); used again for the next."""
        cells = self._lit_cells.reshape(-1, 4)
        four = np.zeros((len(flux), 4), np.float32)
        four[:, :3] = flux
        even = np.zeros((len(self._shade), 4), np.float32)
        np.multiply(self._shade[:, None], bounce, out=even[:, :3])

        def keep(rows: slice, light: Matrix) -> None:
            cells[rows] = light

        self._mixer.mix(four, even, keep)
        return self._lit_cells

    def _looked_up(self, cells: Matrix) -> Matrix:
        """Light (h, w, 4) at every pixel, for light (height, width, 4) of the cells."""
        found = np.asarray(cv2.remap(cells, *self._maps, cv2.INTER_LINEAR))
        if len(self._edge_pixel):
            entries = np.asarray(cv2.remap(cells, *self._edge_maps, cv2.INTER_LINEAR)).reshape(-1, 4)
            found.reshape(-1, 4)[self._edge_pixel] = self._edge_mix @ entries[: self._edge_mix.shape[1]]
        return found

    def _room(self, ambient_lux: float | None, ambient_k: float | None) -> tuple[Floats, Floats]:
        """The room's own light (3,) in lux, and the colour (3,) of one lux of it; linear sRGB."""
        white = self._white if ambient_k is None else white_rgb(ambient_k)
        return white * (self._ambient_lux if ambient_lux is None else ambient_lux), white

    def _draw(self, flux_rgb: Floats, ambient: Floats, gain: Floats) -> tuple[Matrix, Matrix]:
        """Light (h, w, 4) of the picture and the veil over it (rows, columns, 4), for flux (G, 3), each colour times `gain` (3,).

        The last channel is idle: look-ups of four take less time than of three.
        """
        bounce = (bounce_rgb(self._share @ flux_rgb, self._everything) * gain).astype(np.float32)
        flux = np.ascontiguousarray(flux_rgb * gain, dtype=np.float32)
        strips = self._looked_up(self._lit(flux, bounce))
        if self._beyond is not None:
            strips[..., :3] += self._beyond * bounce
        strips *= self._reflectance
        faces = self._faces
        if len(faces.pixel):
            flat, cover = strips.reshape(-1, 4)[:, :3], faces.cover[:, None]
            seen = cover * (bounce * np.float32(COVER_REFLECTANCE / np.pi))
            flat[faces.pixel] = flat[faces.pixel] * (1 - cover) + faces.matrix @ flux + seen
        # The photo has its own camera's glare in it; only the light that is added is spread here.
        small = np.asarray(cv2.resize(strips, self._small, interpolation=cv2.INTER_AREA))
        veil = self._glare.veil(small, self._no_flux, self._no_cover)
        veil *= np.float32(1 - SPREAD)
        whole = np.asarray(cv2.addWeighted(strips, 1 - SPREAD, self._room_light(ambient * gain), 1.0, 0, dst=strips))
        return whole, veil

    def _room_light(self, ambient: Floats) -> Matrix:
        """The photo (h, w, 4) in the room's own light (3,), covers put in; kept from one picture to the next."""
        key = tuple(float(value) for value in ambient)
        if self._kept is None or self._kept[0] != key:
            light = self._unlit * np.append(ambient, 0).astype(np.float32)
            faces, flat = self._faces, light.reshape(-1, 4)[:, :3]
            if len(faces.pixel):
                cover = faces.cover[:, None]
                own = (np.asarray(ambient) * (COVER_REFLECTANCE / np.pi)).astype(np.float32)
                flat[faces.pixel] = flat[faces.pixel] * (1 - cover) + cover * own
            self._kept = key, light
        return self._kept[1]

    def luminance(self, group_xyz: Floats, ambient_lux: float | None = None, ambient_k: float | None = None) -> Floats:
        """Picture (h, w, 3) as tristimulus values in cd/m² for groups (G, 3) in lumen, or (F, h, w, 3) for (F, G, 3)."""
        rgb = rgb_of_xyz(group_xyz)
        ambient, _ = self._room(ambient_lux, ambient_k)
        found = []
        for frame in rgb if rgb.ndim == 3 else rgb[None]:
            light, veil = self._draw(frame, ambient, np.ones(3))
            drawn = self._printer.linear(light, self._crossing, veil)
            drawn.reshape(-1, 4)[self._outside] = 0
            found.append(xyz_of_rgb(drawn[..., :3]))
        return np.stack(found) if rgb.ndim == 3 else found[0]

    def exposure(
        self,
        group_xyz: Floats,
        ambient_lux: float | None = None,
        ambient_k: float | None = None,
        grey_cd_m2: float | None = None,
    ) -> Exposure:
        """One exposure for all frames (F, G, 3) of a look, from luminances over up to 24 of them; see `Renderer.exposure`."""
        rgb = rgb_of_xyz(group_xyz)
        frames = rgb[None] if rgb.ndim == 2 else rgb
        frames = frames[np.unique(np.linspace(0, len(frames) - 1, min(len(frames), 24)).round().astype(int))]
        ambient, _ = self._room(ambient_lux, ambient_k)
        strips = (self._share @ frames.mean(axis=0)) / (self._area_m2 * (1 - min(self._rho, 0.98)))
        balance = balance_in(ambient + strips)
        if grey_cd_m2 is not None:
            return Exposure.of_grey(grey_cd_m2, balance)
        found = []
        for frame in frames:
            light, veil = self._draw(frame, ambient, np.ones(3))
            drawn = self._printer.linear(light, self._crossing, veil)[..., 3]
            found.append(drawn[self._sampled])
        return expose(np.stack(found), balance)

    def pictures(
        self, group_xyz: Floats, exposure: Exposure, ambient_lux: float | None = None, ambient_k: float | None = None
    ) -> Iterator[NDArray[np.uint8]]:
        """sRGB pictures (h, w, 3) for frames (F, G, 3) in lumen, one after another, each an array of its own."""
        for frame in np.asarray(group_xyz):
            yield self.picture(frame, exposure, ambient_lux, None, ambient_k)

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
            out = np.empty((self.size[1], self.size[0], 3), np.uint8)
        light, veil = self._draw(rgb_of_xyz(group_xyz), ambient, np.asarray(exposure.balance) * exposure.scale * FULL)
        self._printer.print(light, self._crossing, veil, out, self._pool)
        out.reshape(-1, 3)[self._outside] = 0
        return out


def _on_plane(
    surfaces: Surfaces,
    boxes: Boxes,
    number: int,
    plane: Floats,
    size: tuple[int, int],
    scale: float,
    corner: tuple[float, float],
) -> View:
    """The view of a camera that is not known: one surface, by its homography, without the places where boxes stand against it."""
    x = (np.arange(size[0]) + 0.5 - corner[0]) / scale
    y = (np.arange(size[1]) + 0.5 - corner[1]) / scale
    u, v, w = (plane[k, 0] * x[None] + plane[k, 1] * y[:, None] + plane[k, 2] for k in range(3))
    good = np.abs(w) > 1e-12
    u, v = (np.divide(part, w, out=np.full(w.shape, -1.0), where=good) for part in (u, v))
    wide, tall = surfaces.size_m[number]
    on = (
        good
        & (w * np.sign(w[good].mean() if good.any() else 1.0) > 0)
        & (u >= 0)
        & (u <= wide)
        & (v >= 0)
        & (v <= tall)
    )
    axis = int(np.abs(surfaces.normal[number]).argmax())
    across, up = int(surfaces.u[number].argmax()), int(surfaces.v[number].argmax())
    level = surfaces.origin_m[number, axis]
    for low, high in zip(boxes.low_m, boxes.high_m, strict=True):
        if low[axis] - TOUCH_M <= level <= high[axis] + TOUCH_M:
            on &= ~((u >= low[across]) & (u <= high[across]) & (v >= low[up]) & (v <= high[up]))
    surface = np.where(on, number, -1).astype(np.int32)
    none = np.empty(0)
    hits = Hits(surface, np.where(on, u, 0.0), np.where(on, v, 0.0), np.ones(surface.shape))
    return View(hits, np.empty(0, np.int64), np.empty(0, np.int64), none, none, none)


def _steps(values: Floats, surface: Ints | NDArray[np.int32]) -> tuple[Floats, Floats]:
    """By how much values (h, w) change from one pixel of a surface to the next: (h, w) to the right, (h, w) downwards."""
    found = []
    for axis in (1, 0):
        before, after = np.roll(values, 1, axis), np.roll(values, -1, axis)
        same_before, same_after = np.roll(surface, 1, axis) == surface, np.roll(surface, -1, axis) == surface
        found.append(
            np.where(
                same_before & same_after, (after - before) / 2,
                np.where(same_after, after - values, np.where(same_before, values - before, 0.0)),
            )
        )  # fmt: skip
    return found[0], found[1]


def _finely(
    atlas: Atlas, surfaces: Surfaces, hits: Hits, x: Floats, y: Floats, edge: Ints, whole: Matrix
) -> tuple[Ints, Floats, Floats]:
    """More look-ups where the light maps are finer than the pixels, as close to a run: pixel (N,) and cell (N,), (N,) of each.

    Without them the edge of light beside a run, which is as sharp as an edge of a box, would be a staircase. `x` and `y` are the cells of
    `hits`, whose surfaces are the atlas's; `edge` are pixels that are looked up at several places already; `whole` is the light of all
    groups on the cells: where one look-up says as much it is enough.
    """
    # From one patch of a light map to the next cells are far apart, so that pixels there are looked at more closely too.
    steps = [*_steps(x, hits.surface), *_steps(y, hits.surface)]
    crowded = (hits.surface >= 0) & (np.maximum.reduce([np.abs(step) for step in steps]) > _CROWDED)
    crowded.ravel()[edge] = False
    pixel = np.nonzero(crowded.ravel())[0]
    number = hits.surface.ravel()[pixel]
    places = (np.arange(_CUT) + 0.5) / _CUT - 0.5
    right, down = (part.ravel() for part in np.meshgrid(places, places))
    u, v = (
        np.clip(
            own.ravel()[pixel, None] + along.ravel()[pixel, None] * right + up.ravel()[pixel, None] * down,
            0.0,
            surfaces.size_m[number, axis, None],
        )
        for axis, own in enumerate((hits.u_m, hits.v_m))
        for along, up in (_steps(own, hits.surface),)
    )
    cells_x, cells_y = atlas.place(np.broadcast_to(number[:, None], u.shape), u, v)
    if not len(pixel):
        return pixel, np.empty(0), np.empty(0)
    each = np.asarray(cv2.remap(whole, _in_rows(cells_x.ravel()), _in_rows(cells_y.ravel()), cv2.INTER_LINEAR))
    mean = each.ravel()[: cells_x.size].reshape(cells_x.shape).mean(axis=1)
    once = np.asarray(cv2.remap(whole, _in_rows(x.ravel()[pixel]), _in_rows(y.ravel()[pixel]), cv2.INTER_LINEAR))
    off = np.abs(once.ravel()[: len(pixel)] - mean) > _JUMP * np.maximum(mean, np.median(whole[whole > 0]))
    return np.repeat(pixel[off], _CUT * _CUT), cells_x[off].ravel(), cells_y[off].ravel()


def _mixed(pixel_of: Ints, weight: Floats) -> tuple[Ints, sparse.csr_array]:
    """The pixels (P,) that are looked up at several places, and how their light is mixed of the N entries; each row adds up to 1."""
    pixel, place = np.unique(pixel_of, return_inverse=True)
    whole = np.bincount(place, weight, minlength=len(pixel))
    share = weight / np.maximum(whole[place], 1e-9)
    mix = sparse.csr_array((share, (place, np.arange(len(place)))), shape=(len(pixel), len(place)))
    known = np.nonzero(whole > 0)[0]
    return pixel[known].astype(np.int64), sparse.csr_array(mix[known]).astype(np.float32)


def _in_rect(hits: Hits, number: int, rect_m: tuple[float, float, float, float]) -> Bools:
    """(h, w) where a pixel shows the rectangle of the corners, and nothing in front of it."""
    u0, v0, u1, v1 = rect_m
    inside = (hits.u_m >= u0) & (hits.u_m <= u1) & (hits.v_m >= v0) & (hits.v_m <= v1)
    return np.asarray((hits.surface == number) & inside)


def _gain(
    scene: Scene, picture: Matrix, shade: Matrix, rect: Bools, cd_m2: float | None
) -> tuple[Matrix, tuple[str, ...]]:
    """What brings a pixel's value to a reflectance (3,), and what there is to say of it."""
    given = scene.photo
    assert given is not None
    plain = np.ones(3, np.float32)
    seen = np.median(picture[rect] / shade[rect][:, None], axis=0) if rect.any() else np.zeros(3)
    if "room" in scene.assumed or given.surface not in scene.room.finish.model_fields_set:
        if cd_m2 is not None:
            each = np.pi * cd_m2 / given.taken_lux
            if _LIKELY[0] < each * float(seen @ Y_OF_RGB) < _LIKELY[1]:
                return np.full(3, each, np.float32), ("photo: its brightness taken from the exposure in the file",)
        says = f"photo: taken to be well exposed; room.finish.{given.surface} would tell how light that surface is"
        return plain, (says,)
    if float(seen @ Y_OF_RGB) < _DARKEST_ANCHOR or seen.min() <= 0:
        return plain, (f"photo: the {given.surface} is too dark in it to tell its exposure; taken to be well exposed",)
    wanted = np.maximum(linear_of_finish(getattr(scene.room.finish, given.surface)), 0.002)
    return (wanted / seen).astype(np.float32), ()


def _as_they_are(size: tuple[int, int], cells: tuple[int, int], groups: int) -> Pixels:
    """Pixels that look at themselves, for light that has been worked out for each of them, or at themselves in a smaller picture."""
    columns = ((np.arange(size[0]) + 0.5) * cells[0] / size[0] - 0.5).astype(np.float32)
    rows = ((np.arange(size[1]) + 0.5) * cells[1] / size[1] - 0.5).astype(np.float32)
    x, y = np.meshgrid(np.clip(columns, 0, cells[0] - 1), np.clip(rows, 0, cells[1] - 1))
    return Pixels(
        x,
        y,
        np.ones((size[1], size[0]), np.float32),
        np.empty(0, np.int64),
        np.empty((0, _ROW), np.float32),
        np.empty((0, _ROW), np.float32),
        sparse.csr_array((0, 0), dtype=np.float32),
        sparse.csr_array((0, groups), dtype=np.float32),
        np.empty((0, 1), np.float32),
    )


def _in_rows(values: Floats) -> Matrix:
    """A list as an array of rows, filled up with zeros: remap takes no side longer than 32766."""
    return np.pad(values, (0, -len(values) % _ROW)).astype(np.float32).reshape(-1, _ROW)


def _with_idle(rgb: Floats) -> Matrix:
    """The same (h, w, 3) with an idle fourth channel."""
    out = np.zeros((*rgb.shape[:2], 4), np.float32)
    out[..., :3] = rgb
    return out
