"""Light at a point against the laws of photometry and worked examples of textbooks."""

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import dblquad

from preview.light.emission import lines_of
from preview.light.illuminance import lux_per_lumen
from preview.light.room import boxes_of

REFERENCE = Path(__file__).parents[1] / "reference"
OUT_M = 0.0015  # a bare LED's height: common practice, no source


def lux(scene, layout, points, normals, lumen: float = 1.0) -> np.ndarray:
    found = lux_per_lumen(lines_of(scene, layout), boxes_of(scene), np.atleast_2d(points), np.asarray(normals, float))
    return found.sum(axis=1) * lumen


@pytest.fixture
def spot(make_scene):
    """A single group of one LED, 17 mm long, 2.4 m over the floor of a large room, facing down."""
    middle = np.array([4.0, 4.0, 2.4 + OUT_M])
    half = np.array([0.5 / 60, 0, 0])
    return make_scene([([middle - half, middle + half], (0, 0, -1), None)], size=(8, 8, 5), leds=60, group=1)


def test_one_lumen_at_one_metre(spot) -> None:
    # I0 = Φ/π for a Lambertian source, E = I0/d².
    assert lux(*spot, [4, 4, 1.4], [0, 0, 1])[0] == pytest.approx(1 / np.pi, rel=3e-4)
    assert lux(*spot, [4, 4, 0.4], [0, 0, 1])[0] == pytest.approx(1 / np.pi / 4, rel=3e-4)


def test_cosine_law_of_the_receiver(spot) -> None:
    # Textbook problem: 628 lm isotropic, so 49.97 cd, at 1 m on a surface turned by 37°: 40 lx with cos 37° ≈ 0.8, 39.91 exact.
    turned = [np.sin(np.radians(37)), 0, np.cos(np.radians(37))]
    assert lux(*spot, [4, 4, 1.4], turned, lumen=628 / 4)[0] == pytest.approx(39.91, rel=4e-4)


def test_small_diffuse_source_beside_its_foot(spot) -> None:
    # Textbook problem: a small diffuse source 2.4 m up gives 25 lx below it; 1.8 m aside it gives 25·0.8⁴ = 10.24 lx.
    lumen = 25 * np.pi * 2.4**2
    below, aside = lux(*spot, [[4, 4, 0], [4, 5.8, 0]], [0, 0, 1], lumen)
    assert below == pytest.approx(25, rel=3e-4)
    assert aside == pytest.approx(10.24, rel=3e-4)


@pytest.mark.parametrize(("angle", "share"), [(15, 0.870513), (30, 0.5625), (45, 0.25), (60, 0.0625)])
def test_cos_to_the_fourth(spot, angle: float, share: float) -> None:
    # A Lambertian source over a parallel plane: cos⁴ θ.
    below, there = lux(*spot, [[4, 4, 1.0], [4, 4 + 1.4 * np.tan(np.radians(angle)), 1.0]], [0, 0, 1])
    assert there / below == pytest.approx(share, rel=4e-4)


def test_source_turned_to_the_point(make_scene) -> None:
    # Textbook problem: an isotropic source 0.6 m above a table gives 15 lx below it and 15·0.6³ = 3.24 lx 0.8 m aside. Turned so
    # that it faces the point, a Lambertian source has the same intensity there.
    middle = np.array([4.0, 4.0, 0.6])
    half = np.array([0.5 / 60, 0, 0])
    lumen = 15 * 0.6**2 * np.pi
    for aside, expected in ((0.0, 15.0), (0.8, 3.24)):
        aim = np.array([0, aside, -0.6]) / np.hypot(aside, 0.6)
        path = [middle - half - OUT_M * aim, middle + half - OUT_M * aim]
        scene = make_scene([(path, aim, None)], size=(8, 8, 5), leds=60, group=1)
        assert lux(*scene, [4, 4 + aside, 0], [0, 0, 1], lumen)[0] == pytest.approx(expected, rel=5e-4)


def _rows() -> list[dict[str, float]]:
    with (REFERENCE / "line_source.csv").open() as file:
        return [{key: float(value) for key, value in row.items()} for row in csv.DictReader(file)]


@pytest.mark.parametrize("row", _rows(), ids=lambda row: f"h{row['height_h_m']:g}y{row['lateral_offset_y_m']:g}")
def test_finite_line_of_light(make_scene, row) -> None:
    h, y = row["height_h_m"], row["lateral_offset_y_m"]
    foot, z = 2.0, 2.5
    path = [[foot + row["x1_m"], 2, z + OUT_M], [foot + row["x2_m"], 2, z + OUT_M]]
    scene, layout = make_scene([(path, (0, 0, -1), None)], size=(5, 5, 3), leds=100, group=10)
    # I' = 1 cd/m along the normal: π lumen a metre.
    lumen = np.pi * 0.1
    found = lux(scene, layout, [foot, 2 + y, z - h], [0, 0, 1], lumen)[0]
    # The band is 4 mm wide, the reference has no width: 1 in 1000 at 50 mm.
    assert found == pytest.approx(row["E_over_Iprime_flat_strip_quadrature"], rel=1.5e-3)


@pytest.mark.parametrize("row", _rows()[3:6], ids=lambda row: f"h{row['height_h_m']:g}y{row['lateral_offset_y_m']:g}")
def test_tube_of_light(make_scene, row) -> None:
    # Strips glued all round one axis send light evenly round it: N strips of π/N cd/m each make a tube of 1 cd/m.
    h, y, foot, z, count = row["height_h_m"], row["lateral_offset_y_m"], 2.0, 2.5, 24
    path = [[foot + row["x1_m"], 2, z], [foot + row["x2_m"], 2, z]]
    turns = (np.arange(count) + 0.5) * 2 * np.pi / count
    runs = [(path, (0, np.cos(turn), np.sin(turn)), None) for turn in turns]
    scene, layout = make_scene(runs, size=(5, 5, 3), leds=100, group=10)
    lumen = np.pi * 0.1 * np.pi / count
    found = lux(scene, layout, [foot, 2 + y, z - h], [0, 0, 1], lumen)[0]
    # 24 strips stand for a round tube to 0.6 %; each is 1.5 mm off the axis, 1 % of the least distance.
    assert found == pytest.approx(row["E_over_Iprime_tube_quadrature"], rel=0.015)


CHANNEL = {
    "depth_mm": 10.0,
    "width_mm": 16.0,
    "cover": "opal",
    "transmission": 0.7,
    "spread_mm": 3.0,
    "side_fraction": 0.2,
}


def test_channel_with_sides_against_quadrature(make_scene) -> None:
    """Every share of a channel, at places and directions at random: the double integral over its face, by scipy."""
    start, length, aim = np.array([0.8, 1.2, 1.0]), 1.0, np.array([0.0, -0.6, 0.8])
    tangent, across = np.array([1.0, 0, 0]), np.cross([1.0, 0, 0], [0.0, -0.6, 0.8])
    scene, layout = make_scene([([start, start + length * tangent], aim, CHANNEL)], leds=60, group=6)
    rng = np.random.default_rng(3)
    points = start + np.array([0.5, 0, 0]) + rng.uniform(-1, 1, (24, 3)) * [0.8, 0.7, 0.7]
    points = points[np.linalg.norm((points - start)[:, 1:], axis=1) > 0.06]
    normals = rng.normal(size=points.shape)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    found = lux(scene, layout, points, normals, lumen=0.1)
    for point, normal, value in zip(points, normals, found, strict=True):

        def light(w: float, x: float, point=point, normal=normal) -> float:
            step = point - (start + x * tangent + 0.010 * aim + w * across)
            d = np.linalg.norm(step)
            front, side = 0.7 * 0.8 * max(step @ aim, 0) / d, 0.7 * 0.1 * abs(step @ across) / d
            return (front + side) / np.pi * max(-step @ normal, 0) / d**3

        total = dblquad(light, 0, length, -0.008, 0.008, epsabs=1e-7, epsrel=1e-4)[0] / 0.016
        assert value == pytest.approx(total, rel=4e-3, abs=2e-4)


def test_flux_of_each_share_integrates_to_its_lumens(make_scene) -> None:
    """Round a short channel, on a sphere of evenly spread points: what passes through it is lumen × transmission."""
    middle = np.array([4.0, 4.0, 2.5])
    half = np.array([0.05, 0, 0])
    scene, layout = make_scene(
        [([middle - half, middle + half], (0, 0, -1), CHANNEL)], size=(8, 8, 5), leds=60, group=6
    )
    k = np.arange(6000) + 0.5
    polar, turn = np.arccos(1 - 2 * k / 6000), np.pi * (1 + np.sqrt(5)) * k
    way = np.stack([np.cos(turn) * np.sin(polar), np.sin(turn) * np.sin(polar), np.cos(polar)], axis=1)
    radius = 2.0
    through = lux(scene, layout, middle + radius * way, -way).mean() * 4 * np.pi * radius**2
    assert through == pytest.approx(0.7, rel=2e-3)
