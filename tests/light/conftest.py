"""Light worked out the long way: point sources laid on every run, each with its own ray past the boxes.

Nothing here uses the closed forms, the shadows or the light maps of `preview.light`. What a run emits is read from the scene as the
format describes it: light leaves at the cover, `depth_mm` out along the aim and `width_mm` wide, Lambertian to the front, and its
side share Lambertian to either side.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import cv2
import numpy as np
import pytest

from preview.light.mixing import Mixer
from preview.scene.layout import Layout, lay_out
from preview.scene.model import Scene
from preview.scene.read import read_scene

HEAD = """format = 1
title = "A room for tests"
[room]
size_m = [{x}, {y}, {z}]
ambient_lux = 0
[viewer]
eye_m = [{ex}, {ey}, {ez}]
look_m = [{lx}, {ly}, {lz}]
field_deg = {field}
[strip.s]
volts = 24
leds_per_m = {leds}
leds_per_group = {group}
reel_m = 5
rail_milliohm_per_m = [50, 50]
idle_milliamp_per_group = 0
regulated = true
red = {{ milliamp = 10, dark_v = 6, full_v = 12, lumen = 2.0, xy = [0.69, 0.308] }}
green = {{ milliamp = 10, dark_v = 6, full_v = 12, lumen = 5.0, xy = [0.17, 0.72] }}
blue = {{ milliamp = 10, dark_v = 6, full_v = 12, lumen = 1.0, xy = [0.135, 0.055] }}
[supply.psu]
volts = 24
amps = 20
"""


def _scene_text(runs, boxes, size, view, leds, group, extra) -> str:
    eye, look, field = view
    text = HEAD.format(
        x=size[0], y=size[1], z=size[2], ex=eye[0], ey=eye[1], ez=eye[2], lx=look[0], ly=look[1], lz=look[2],
        field=field, leds=leds, group=group,
    )  # fmt: skip
    for k, (path, aim, channel) in enumerate(runs):
        text += f'[[run]]\nname = "run {k}"\nstrip = "s"\npath_m = {[list(map(float, p)) for p in path]}\n'
        text += f"aim = {list(map(float, aim))}\n"
        if channel:
            text += f'channel = "c{k}"\n'
        text += f'[[feed]]\nfrom = "psu"\nrun = "run {k}"\ncable = {{ mm2 = 2.5, length_m = 1 }}\n'
    for k, (_, _, channel) in enumerate(runs):
        if channel:
            text += f"[channel.c{k}]\nstock_m = 2\n" + "".join(f"{key} = {value!r}\n" for key, value in channel.items())
    for k, (corner, box) in enumerate(boxes):
        text += f'[[box]]\nname = "box {k}"\ncorner_m = {list(map(float, corner))}\nsize_m = {list(map(float, box))}\n'
    return text.replace("'", '"') + extra


@pytest.fixture
def make_scene(tmp_path: Path) -> Callable[..., tuple[Scene, Layout]]:
    """Scene and layout of a bare room: runs as (path, aim, channel keys or None), boxes as (corner, size)."""
    count = iter(range(1000))

    def make(
        runs, boxes=(), size=(3.0, 2.0, 2.4), view=((1.5, 0.1, 1.5), (1.5, 2.0, 1.2), 75), leds=60, group=6, extra=""
    ) -> tuple[Scene, Layout]:
        text = _scene_text(runs, boxes, size, view, leds, group, extra)
        tomllib.loads(text)
        file = tmp_path / f"scene{next(count)}.toml"
        file.write_text(text)
        scene = read_scene(file)
        return scene, lay_out(scene)

    return make


def _even_grid(along: int, strands: int) -> tuple[np.ndarray, np.ndarray]:
    """Places along and across a group, each from −1/2 to 1/2, in rows and columns."""
    s, w = ((np.arange(count) + 0.5) / count - 0.5 for count in (along, strands))
    return np.repeat(s, strands), np.tile(w, along)


def _fibonacci_lattice(number: int, step: int) -> tuple[np.ndarray, np.ndarray]:
    """The same, spread evenly in every direction: shadows' edges fall between few of them, whichever way they run.

    Two neighbours of Fibonacci's series, e.g. 610 and 377; Niederreiter, Random Number Generation and Quasi-Monte Carlo Methods (1992).
    """
    k = np.arange(number)
    return (k * step % number + 0.5) / number - 0.5, (k + 0.5) / number - 0.5


def _sources(scene: Scene, layout: Layout, s: np.ndarray, w: np.ndarray):
    """Places (M, 3), the three directions of emission (M, 3, 3), their shares of the flux (M, 3), group of each (M,)."""
    places, ways, shares, groups = [], [], [], []
    for g in range(layout.groups):
        channel_name = scene.run[int(layout.run_of[g])].channel
        tangent = layout.tangent[g]
        aim = layout.aim[g] - (layout.aim[g] @ tangent) * tangent
        aim /= np.linalg.norm(aim)
        across = np.cross(tangent, aim)
        # A bare LED package: some 4 mm wide, 1.5 mm high. Common practice, no source.
        out, width, front, side = 0.0015, 0.004, 1.0, 0.0
        if channel_name is not None:
            channel = scene.channel[channel_name]
            out, width = channel.depth_mm / 1000, channel.width_mm / 1000
            front = channel.transmission * (1 - channel.side_fraction)
            side = channel.transmission * channel.side_fraction
        grid = (
            layout.centre_m[g] + out * aim
            + s[:, None] * layout.group_length_m[g] * tangent + w[:, None] * width * across
        )  # fmt: skip
        count = len(s)
        places.append(grid.reshape(-1, 3))
        ways.append(np.broadcast_to(np.stack([aim, across, -across]), (count, 3, 3)))
        shares.append(np.broadcast_to(np.array([front, side / 2, side / 2]) / count, (count, 3)))
        groups.append(np.full(count, g))
    return np.concatenate(places), np.concatenate(ways), np.concatenate(shares), np.concatenate(groups)


def _blocked(scene: Scene, point: np.ndarray, sources: np.ndarray) -> np.ndarray:
    """Whether a box lies between a point and each source, by the slab method with the boxes as they are."""
    ray = sources - point
    ray = np.where(np.abs(ray) < 1e-15, 1e-15, ray)
    hidden = np.zeros(len(sources), dtype=bool)
    for box in scene.box:
        low = np.array(box.corner_m)
        high = low + np.array(box.size_m)
        t1, t2 = (low - point) / ray, (high - point) / ray
        enter = np.maximum(np.minimum(t1, t2).max(axis=1), 0)
        leave = np.minimum(np.maximum(t1, t2).min(axis=1), 1)
        hidden |= leave - enter > 1e-6
    return hidden


def brute_lux(scene, layout, points, normals, flux, along=16, strands=8) -> np.ndarray:
    """Illuminance (N,) at points (N, 3) facing normals (N, 3) for group fluxes (G,) in lumen: E = Σ I·cos θ'/d²."""
    return _cast(scene, layout, points, normals, flux, *_even_grid(along, strands))


def lattice_lux(scene, layout, points, normals, flux, lattice=(610, 377)) -> np.ndarray:
    """`brute_lux` with 610 places on each group, or as many as the lattice has."""
    return _cast(scene, layout, points, normals, flux, *_fibonacci_lattice(*lattice))


def _cast(scene, layout, points, normals, flux, s, w) -> np.ndarray:
    places, ways, shares, groups = _sources(scene, layout, s, w)
    intensity = shares * np.asarray(flux)[groups][:, None] / np.pi
    normals = np.broadcast_to(normals, np.shape(points))
    found = np.zeros(len(points))
    for k, (point, normal) in enumerate(zip(points, normals, strict=True)):
        span = point - places
        square = (span**2).sum(axis=1)
        unit = span / np.sqrt(square)[:, None]
        sent = (np.maximum(np.einsum("mwk,mk->mw", ways, unit), 0) * intensity).sum(axis=1)
        light = sent * np.maximum(-unit @ normal, 0) / square
        some = np.nonzero(light > 0)[0]
        found[k] = light[some][~_blocked(scene, point, places[some])].sum()
    return found


@pytest.fixture
def brute() -> Callable[..., np.ndarray]:
    """`brute_lux`: see there."""
    return brute_lux


@pytest.fixture
def lattice() -> Callable[..., np.ndarray]:
    """`lattice_lux`: see there."""
    return lattice_lux


class Maps:
    """All light maps of a scene, every surface of it, looked up as a picture looks them up: `cv2.remap` between the cells of an atlas."""

    def __init__(self, scene: Scene, layout: Layout) -> None:
        from preview.light.atlas import pack
        from preview.light.emission import lines_of
        from preview.light.lightmaps import OF_LINES, most_nodes
        from preview.light.room import boxes_of, surfaces_of
        from preview.light.spacing import grids_of
        from preview.light.transport import build_transport

        self.scene, self.surfaces = scene, surfaces_of(scene)
        lines, boxes = lines_of(scene, layout), boxes_of(scene)
        most = most_nodes(layout.groups)
        grids = grids_of(self.surfaces, lines, boxes, int(OF_LINES * most))
        self.grids, self.transport = build_transport(self.surfaces, grids, lines, boxes, most)
        self.atlas = pack(self.grids)

    def lit(self, flux: np.ndarray) -> np.ndarray:
        """Illuminance of the atlas's cells (height, width), for group fluxes in lumen."""
        cells = np.zeros(self.atlas.height * self.atlas.width, np.float32)
        nodes = np.empty((self.transport.gather.shape[0], 1), np.float32)
        even = np.zeros((len(self.transport.coarse), 1), np.float32)
        with ThreadPoolExecutor(2) as pool:
            Mixer(self.transport, pool).mix(np.asarray(flux, np.float32)[:, None], even, nodes.__setitem__)
        cells[self.atlas.cells()] = nodes[:, 0]
        return cells.reshape(self.atlas.height, self.atlas.width)

    def at(self, light: np.ndarray, surface: np.ndarray, u_m: np.ndarray, v_m: np.ndarray) -> np.ndarray:
        """Illuminance at places on surfaces."""
        place = np.stack(self.atlas.place(np.asarray(surface), np.asarray(u_m), np.asarray(v_m))).astype(np.float32)
        x, y = np.pad(place, ((0, 0), (0, -place.shape[1] % 1024))).reshape(2, -1, 1024)
        return cv2.remap(light, x, y, cv2.INTER_LINEAR).ravel()[: place.shape[1]].astype(float)

    def flux(self, light: np.ndarray) -> float:
        """Lumen that all surfaces receive: the integral of what `at` gives, over what no box covers."""
        total = 0.0
        for s, grid in enumerate(self.grids):
            part = (np.arange(4) + 0.5) / 4
            u, v = ((line[:-1, None] + np.diff(line)[:, None] * part).ravel() for line in (grid.u_m, grid.v_m))
            area = np.repeat(np.diff(grid.v_m) / 4, 4)[:, None] * np.repeat(np.diff(grid.u_m) / 4, 4)
            v, u = (one.ravel() for one in np.meshgrid(v, u, indexing="ij"))
            number = np.full(u.size, s)
            free = ~self.covered(number, u, v)
            total += (self.at(light, number, u, v) * area.ravel())[free].sum()
        return float(total)

    def points(self, surface: np.ndarray, u: np.ndarray, v: np.ndarray) -> np.ndarray:
        """Places (N, 3) in the room."""
        surfaces = self.surfaces
        return surfaces.origin_m[surface] + u[:, None] * surfaces.u[surface] + v[:, None] * surfaces.v[surface]

    def covered(self, surface: np.ndarray, u: np.ndarray, v: np.ndarray) -> np.ndarray:
        """Whether a box lies on the surface there."""
        ahead = self.points(surface, u, v) + 0.001 * self.surfaces.normal[surface]
        inside = np.zeros(len(u), dtype=bool)
        for box in self.scene.box:
            low = np.array(box.corner_m)
            inside |= ((ahead > low) & (ahead < low + np.array(box.size_m))).all(axis=1)
        return inside

    def places(self, rng: np.random.Generator, count: int) -> tuple[np.ndarray, ...]:
        """Random places in the air: surface, u, v; small surfaces get more than their area."""
        weight = np.sqrt(self.surfaces.area_m2)
        surface = rng.choice(len(weight), count, p=weight / weight.sum())
        u, v = (rng.random((count, 2)) * self.surfaces.size_m[surface]).T
        free = ~self.covered(surface, u, v)
        return surface[free], u[free], v[free]


@pytest.fixture
def maps() -> Callable[[Scene, Layout], Maps]:
    """Light maps of a scene: see `Maps`."""
    return Maps


@pytest.fixture(autouse=True, scope="session")
def _own_cache(tmp_path_factory: pytest.TempPathFactory):
    """Light worked out in these tests is kept in a folder of their own."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("cache")))
        yield
