"""What must hold whatever the room: mirrored, turned, scaled, cut up or joined, light stays the same."""

import numpy as np
import pytest

from preview.light.emission import lines_of
from preview.light.illuminance import add_lux, lux_per_lumen
from preview.light.room import boxes_of

SOFT = {
    "depth_mm": 10.0,
    "width_mm": 14.0,
    "cover": "opal",
    "transmission": 0.7,
    "spread_mm": 4.0,
    "side_fraction": 0.2,
}
SIZE = np.array([3.0, 2.0, 2.4])
RUNS = [
    ([[0.5, 1.6, 1.9], [2.3, 1.6, 1.9]], (0, 0.3, -0.9), SOFT),
    ([[0.4, 0.4, 0.3], [0.4, 0.4, 1.5]], (0.6, 0.8, 0), None),
    ([[0.8, 0.3, 2.1], [2.2, 1.1, 2.0]], (0, 0, -1), SOFT),
]
BOXES = [((1.0, 1.2, 1.0), (0.9, 0.5, 0.1)), ((0.6, 0.7, 0.0), (0.4, 0.5, 0.9)), ((1.9, 0.5, 0.6), (0.2, 0.2, 0.8))]


def lux(scene, layout, points, normals, flux=None) -> np.ndarray:
    found = lux_per_lumen(lines_of(scene, layout), boxes_of(scene), np.asarray(points), np.asarray(normals))
    return found.sum(axis=1) if flux is None else found @ flux


@pytest.fixture
def places() -> tuple[np.ndarray, np.ndarray]:
    """Places in the air, away from boxes and runs, facing anywhere."""
    rng = np.random.default_rng(21)
    points = rng.uniform(0.02, 0.98, (400, 3)) * SIZE
    free = np.ones(400, dtype=bool)
    for corner, size in BOXES:
        free &= ((points < np.array(corner) - 0.03) | (points > np.array(corner) + size + 0.03)).any(axis=1)
    normals = rng.normal(size=(400, 3))
    return points[free], (normals / np.linalg.norm(normals, axis=1, keepdims=True))[free]


def moved(change, runs=RUNS, boxes=BOXES):
    """Runs and boxes with every place p put at change(p), a linear map with an offset that keeps axes along axes."""
    turn = change(np.eye(3)) - change(np.zeros((3, 3)))
    new_runs = [
        (change(np.array(path)).tolist(), (np.array(aim) @ turn).tolist(), channel) for path, aim, channel in runs
    ]
    corners = [change(np.array([corner, np.add(corner, size)])) for corner, size in boxes]
    return new_runs, [(both.min(axis=0), np.ptp(both, axis=0)) for both in corners], turn


@pytest.mark.parametrize(
    ("name", "size", "change"),
    [
        ("mirrored left to right", (3.0, 2.0, 2.4), lambda p: p * [-1, 1, 1] + [3.0, 0, 0]),
        ("upside down", (3.0, 2.0, 2.4), lambda p: p * [1, 1, -1] + [0, 0, 2.4]),
        ("x for y", (2.0, 3.0, 2.4), lambda p: p[:, [1, 0, 2]]),
        ("turned on its side", (2.4, 3.0, 2.0), lambda p: p[:, [2, 0, 1]]),
    ],
)
def test_a_room_turned_or_mirrored(make_scene, places, name, size, change) -> None:
    points, normals = places
    as_it_is = lux(*make_scene(RUNS, BOXES, size=tuple(SIZE)), points, normals)
    runs, boxes, turn = moved(change)
    eye = ((size[0] / 2, 0.1, 1.5), (size[0] / 2, size[1], 1.2), 75)
    turned = lux(*make_scene(runs, boxes, size=size, view=eye), change(points), normals @ turn)
    # Half-shadows are cut into strands, the same ones either way.
    assert turned == pytest.approx(as_it_is, rel=1e-6, abs=1e-6 * as_it_is.max())


def test_twice_the_size_a_quarter_of_the_light(make_scene, places) -> None:
    """Inverse square law for everything at once: room, runs, channels and boxes, with the same lumens."""
    points, normals = places
    wide = {**SOFT, "depth_mm": 20.0, "width_mm": 28.0}
    runs = [run for run in RUNS if run[2]]
    runs_2 = [(np.multiply(path, 2).tolist(), aim, wide) for path, aim, _ in runs]
    boxes_2 = [(np.multiply(corner, 2), np.multiply(size, 2)) for corner, size in BOXES]
    one = make_scene(runs, BOXES, size=(3.0, 2.0, 2.4), leds=60, group=6)
    two = make_scene(runs_2, boxes_2, size=(6.0, 4.0, 4.8), leds=30, group=6)
    assert one[1].groups == two[1].groups
    small, large = lux(*one, points, normals), lux(*two, 2 * points, normals)
    # Light is stopped 10 µm inside a box, at any scale: a hair's difference on the edges of shadows.
    assert 4 * large == pytest.approx(small, rel=2e-3, abs=2e-3 * small.max())


def test_smaller_groups_give_the_same_light(make_scene, places) -> None:
    points, normals = places
    coarse, fine = (make_scene(RUNS, BOXES, leds=60, group=group) for group in (6, 1))
    one = lux(*coarse, points, normals, np.full(coarse[1].groups, 6.0))
    six = lux(*fine, points, normals, np.full(fine[1].groups, 1.0))
    # Within a group light past a box's edge is weighed by where it comes from, exactly so along the middle of the band.
    assert one == pytest.approx(six, rel=5e-3, abs=2e-3 * six.max())


def test_a_run_in_two_lengths_gives_the_same_light(make_scene, places) -> None:
    points, normals = places
    (start, end), aim, channel = np.array(RUNS[0][0]), RUNS[0][1], RUNS[0][2]
    middle = start + (end - start) / 3
    one = make_scene([RUNS[0]], BOXES)
    two = make_scene([([start, middle], aim, channel), ([middle, end], aim, channel)], BOXES)
    assert one[1].groups == two[1].groups
    assert lux(*two, points, normals) == pytest.approx(lux(*one, points, normals), rel=1e-6, abs=1e-9)


def test_a_box_in_eight_parts_throws_the_same_shadow(make_scene, places) -> None:
    points, normals = places
    corner, size = np.array(BOXES[1][0]), np.array(BOXES[1][1])
    parts = [
        (corner + size / 2 * [i, j, k], size / 2) for i in (0, 1) for j in (0, 1) for k in (0, 1)
    ]  # fmt: skip
    whole, cut = make_scene(RUNS, [BOXES[1]]), make_scene(RUNS, parts)
    reference = lux(*whole, points, normals)
    assert lux(*cut, points, normals) == pytest.approx(reference, rel=1e-4, abs=1e-4 * reference.max())


def test_a_further_box_never_adds_light(make_scene, places) -> None:
    points, normals = places
    fewer, more = lux(*make_scene(RUNS, BOXES[:2]), points, normals), lux(*make_scene(RUNS, BOXES), points, normals)
    assert (more <= fewer + 1e-9 * fewer.max()).all()
    assert (more < 0.9 * fewer).sum() > 3


def test_light_is_never_negative_nor_endless(make_scene) -> None:
    """Anywhere at all: on runs, in corners, on the edges of boxes, along a strip's own plane."""
    scene, layout = make_scene(RUNS, BOXES)
    lines = lines_of(scene, layout)
    awkward = [
        lines.start_m,
        lines.start_m + 0.5 * lines.length_m[:, None] * lines.tangent,
        lines.start_m - 0.3 * lines.tangent,
        np.array([[x, y, z] for x in (0, SIZE[0]) for y in (0, SIZE[1]) for z in (0, SIZE[2])], dtype=float),
        np.array([np.array(corner) + np.array(size) * [i, j, k] for corner, size in BOXES for i in (0, 1) for j in (0, 1) for k in (0, 1)]),
    ]  # fmt: skip
    points = np.concatenate(awkward)
    for normal in [*np.eye(3), *-np.eye(3), *lines.tangent, *lines.aim, *lines.across]:
        found = lux_per_lumen(lines, boxes_of(scene), points, normal)
        assert np.isfinite(found).all()
        assert (found >= 0).all()


def test_half_the_digits_do_where_the_picture_is_made(make_scene, places) -> None:
    scene, layout = make_scene(RUNS, BOXES)
    lines, boxes = lines_of(scene, layout), boxes_of(scene)
    exact = lux_per_lumen(lines, boxes, *places)
    short = np.zeros(exact.shape, dtype=np.float32)
    add_lux(short, lines, boxes, *places)
    assert (exact > 0).any()
    assert np.abs(short - exact).max() < 1e-6 * exact.max()
