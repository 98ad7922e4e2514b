"""Where the runs' light leaves, worked out by hand from the format's own words."""

import numpy as np
import pytest

from preview.light.emission import lines_of

FLAT = {
    "depth_mm": 9.0,
    "width_mm": 12.0,
    "cover": "frosted",
    "transmission": 0.8,
    "spread_mm": 2.0,
    "side_fraction": 0.25,
}


def test_light_leaves_at_the_cover(make_scene) -> None:
    scene, layout = make_scene([([[0.5, 1.0, 2.0], [2.5, 1.0, 2.0]], (0, 0, -1), FLAT)], leds=60, group=6)
    lines = lines_of(scene, layout)
    assert len(lines) == 1
    assert lines.start_m[0] == pytest.approx([0.5, 1.0, 2.0 - 0.009])
    assert lines.length_m[0] == pytest.approx(2.0)
    assert (lines.front[0], lines.side[0], lines.share[0]) == pytest.approx((0.6, 0.2, 0.8))
    assert lines.width_m[0] == pytest.approx(0.012)


def test_a_run_that_bends_is_several_lines_in_group_order(make_scene) -> None:
    path = [[0.5, 1.5, 1.0], [1.5, 1.5, 1.0], [1.5, 1.5, 2.0], [2.5, 1.5, 2.0]]
    scene, layout = make_scene([(path, (0, -1, 0), None)], leds=60, group=6)
    lines = lines_of(scene, layout)
    assert lines.count.tolist() == [10, 10, 10]
    assert lines.first.tolist() == [0, 10, 20]
    assert lines.tangent == pytest.approx(np.array([[1, 0, 0], [0, 0, 1], [1, 0, 0]], dtype=float))
    assert lines.aim == pytest.approx(np.tile([0.0, -1.0, 0.0], (3, 1)))


def test_a_strip_faces_across_itself(make_scene) -> None:
    """An aim with a part along the strip loses that part; a leg that runs along its aim faces the room's middle."""
    path = [[0.5, 0.5, 0.5], [1.5, 0.5, 0.5], [1.5, 0.5, 1.5]]
    scene, layout = make_scene([(path, (1, 0, 1), None)], leds=60, group=6)
    lines = lines_of(scene, layout)
    assert lines.aim[0] == pytest.approx([0, 0, 1])
    assert lines.aim[1] == pytest.approx([1, 0, 0])
    scene, layout = make_scene([([[0.5, 0.5, 0.5], [0.5, 0.5, 1.5]], (0, 0, 1), None)], leds=60, group=6)
    (aim,) = lines_of(scene, layout).aim
    assert aim[2] == pytest.approx(0)
    assert aim @ [1.0, 0.5, 0.7] > 0  # towards the middle of 3 × 2 × 2.4 m


@pytest.mark.parametrize("sunk", [0.0, 0.01, 0.06])
def test_a_run_on_or_in_its_box_shines_from_the_boxs_face(make_scene, sunk) -> None:
    """Under a shelf: drawn on its underside or a little inside the board, the strip lights the floor all the same."""
    shelf = ((0.4, 0.8, 1.5), (2.2, 0.4, 0.08))
    scene, layout = make_scene(
        [([[0.5, 1.0, 1.5 + sunk], [2.5, 1.0, 1.5 + sunk]], (0, 0, -1), None)], [shelf], leds=60, group=6
    )
    assert lines_of(scene, layout).start_m[0, 2] == pytest.approx(1.5, abs=0.003)
    assert lines_of(scene, layout).start_m[0, 2] <= 1.5
