"""Shadows of boxes against rays cast one by one."""

import numpy as np
import pytest

from preview.light.emission import lines_of
from preview.light.illuminance import lux_per_lumen
from preview.light.room import Boxes, boxes_of
from preview.light.shadow import hidden_points

WIDE = {"depth_mm": 8.0, "width_mm": 20.0, "cover": "opal", "transmission": 0.8, "spread_mm": 3.0, "side_fraction": 0.1}


def lux(scene, layout, points, normals) -> np.ndarray:
    return lux_per_lumen(lines_of(scene, layout), boxes_of(scene), np.asarray(points), np.asarray(normals)).sum(axis=1)


def room_points(rng, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Places on the floor, the back wall and the left wall of a 3 × 2 × 2.4 m room."""
    points = rng.uniform(0.02, 0.98, (count, 3)) * [3.0, 2.0, 2.4]
    normals = np.zeros((count, 3))
    for k in range(count):
        axis, place, way = ((2, 0.0, 1.0), (1, 2.0, -1.0), (0, 0.0, 1.0))[k % 3]
        points[k, axis], normals[k, axis] = place, way
    return points, normals


@pytest.mark.parametrize(
    ("name", "run"),
    [
        ("along x", ([[0.6, 1.0, 1.8], [2.4, 1.0, 1.8]], (0, 0.2, -1), WIDE)),
        ("upwards", ([[1.1, 1.1, 0.4], [1.1, 1.1, 2.2]], (-1, 0.3, 0), WIDE)),
        ("aslant", ([[0.5, 0.4, 1.9], [2.3, 1.5, 1.5]], (0, 0, -1), WIDE)),
        ("bare", ([[0.6, 1.0, 1.8], [2.4, 1.0, 1.8]], (0, 0.2, -1), None)),
    ],
)
def test_light_past_boxes_is_what_rays_find(make_scene, lattice, name, run) -> None:
    boxes = [
        ((0.9, 0.7, 0.9), (0.5, 0.5, 0.1)),
        ((1.6, 1.3, 0.3), (0.3, 0.3, 1.0)),
        ((0.2, 0.8, 1.2), (0.25, 0.6, 0.05)),
    ]
    scene, layout = make_scene([run], boxes, leds=30, group=6)
    points, normals = room_points(np.random.default_rng(2), 150)
    found = lux(scene, layout, points, normals)
    open_room = lux(*make_scene([run], leds=30, group=6), points, normals)
    cast = lattice(scene, layout, points, normals, np.ones(layout.groups))
    assert (found < 0.98 * open_room).sum() > 25  # a good part of the places lie in some shadow
    # A run along an axis is integrated from one end of a half-shadow to the other, one aslant in strands, rays between places of a lattice.
    strand = 0.01 if name == "aslant" else 0.006
    assert (np.abs(found - cast) <= 0.003 * cast + strand * open_room).all()
    deep = cast == 0
    assert found[deep] == pytest.approx(0, abs=0.005 * open_room.max())


def test_a_grille_finer_than_the_band_is_wide(make_scene, lattice) -> None:
    """Eight slats of 3 mm with 3 mm between them under a cover 20 mm wide: from the floor several edges cut the band at once."""
    run = ([[0.6, 1.0, 1.8], [2.4, 1.0, 1.8]], (0, 0, -1), {**WIDE, "side_fraction": 0.0})
    slats = [((0.4, 0.979 + 0.006 * k, 1.6), (2.2, 0.003, 0.003)) for k in range(8)]
    scene, layout = make_scene([run], slats, leds=30, group=6)
    rng = np.random.default_rng(3)
    points = np.stack([rng.uniform(0.8, 2.2, 60), rng.uniform(0.7, 1.3, 60), np.full(60, 0.8)], axis=1)
    up = np.tile([0.0, 0.0, 1.0], (60, 1))
    found = lux(scene, layout, points, up)
    open_room = lux(*make_scene([run], leds=30, group=6), points, up)
    cast = lattice(scene, layout, points, up, np.ones(layout.groups))
    assert (found < 0.8 * open_room).sum() > 25
    assert (np.abs(found - cast) <= 0.003 * cast + 0.01 * open_room).all()


def test_two_boxes_that_touch_hide_what_one_would(make_scene) -> None:
    """No light through the seam: a wall of one box, and the same wall cut in two along the run."""
    run = ([[0.6, 0.3, 1.2], [2.4, 0.3, 1.2]], (0, 1, 0), WIDE)
    whole = make_scene([run], [((0.0, 1.0, 0.9), (3.0, 0.05, 0.8))])
    cut = make_scene([run], [((0.0, 1.0, 0.9), (3.0, 0.05, 0.3)), ((0.0, 1.0, 1.2), (3.0, 0.05, 0.5))])
    z = np.linspace(0.01, 2.39, 200)
    points = np.stack([np.full(200, 1.5), np.full(200, 2.0), z], axis=1)
    one, two = (lux(*scene, points, [0.0, -1.0, 0.0]) for scene in (whole, cut))
    assert (one == 0).sum() > 100
    assert two == pytest.approx(one, abs=1e-9)


def test_boxes_side_by_side_have_no_gap_and_others_keep_theirs() -> None:
    boxes = Boxes(np.array([[0, 0, 0], [1, 0, 0], [2.01, 0, 0.0]]), np.array([[1, 1, 1], [2, 1, 1], [3, 1, 1.0]]))
    eyes = np.array([[1.000001, -1, 0.5], [2.005, -1, 0.5], [0.5, -1, 0.5], [0.5, -1, 1.0005]])
    hidden = hidden_points(boxes, eyes, eyes + np.array([0.0, 3.0, 0.0]))
    assert hidden.tolist() == [True, False, True, False]


def test_a_run_alone_leaves_no_light_where_it_cannot_be_seen(make_scene, maps) -> None:
    """Dark is dark, in the light maps too: under a table top, deep inside the shadow, a run over it gives nothing."""
    over = ([[0.8, 1.0, 2.3], [2.2, 1.0, 2.3]], (0, 0, -1), None)
    other = ([[0.3, 1.95, 1.0], [2.7, 1.95, 1.0]], (0, -1, 0), WIDE)
    scene, layout = make_scene([over, other], [((0.6, 0.6, 0.7), (1.8, 0.8, 0.05))])
    light = maps(scene, layout)
    found = light.lit((layout.run_of == 0).astype(float))
    floor = light.surfaces.names.index("floor")
    u, v = (part.ravel() for part in np.meshgrid(np.linspace(0.9, 2.1, 25), np.linspace(0.7, 1.3, 13)))
    dark = light.at(found, np.full(len(u), floor), u, v)
    beside = light.at(found, np.array([floor]), np.array([1.5]), np.array([0.2]))
    assert beside[0] > 0
    assert dark == pytest.approx(0, abs=0.002 * beside[0])


def test_half_shadow_is_as_wide_as_the_band_makes_it(make_scene) -> None:
    """Similar triangles: a band 20 mm wide, an edge half way down, a floor: the half-shadow is 20 mm wide and even in between."""
    run = ([[0.3, 1.0, 2.0 + 0.008], [2.7, 1.0, 2.0 + 0.008]], (0, 0, -1), WIDE)
    scene, layout = make_scene([run], [((0.0, 1.0, 0.99), (3.0, 0.5, 0.01))])
    # The edge at y = 1, z = 1 is 1 m below the face and 1 m above the floor: the floor is lit up to y = 1 ± 0.010.
    y = 1.0 + np.array([-0.012, -0.005, 0.0, 0.005, 0.012])
    found = lux(scene, layout, np.stack([np.full(5, 1.5), y, np.zeros(5)], axis=1), [0.0, 0.0, 1.0])
    assert found / found[0] == pytest.approx([1, 0.75, 0.5, 0.25, 0], abs=0.01)
