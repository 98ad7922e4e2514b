"""Corners at which a flat strip is cut: worked by hand. Groups are 50 mm; that a flat strip bends over its flat alone is common practice,
no source.
"""

from pathlib import Path

import pytest

from preview.scene.corners import corners_of
from preview.scene.read import scene_from_text


def corners(one_shelf: str, path: str, aim: str):
    text = one_shelf.replace("leds_per_m = 84", "leds_per_m = 60").replace(
        "path_m = [[0, 0, 1], [1, 0, 1]]", f"path_m = {path}\naim = {aim}"
    )
    scene = scene_from_text(text, Path("a.toml"))
    return corners_of(scene.run[0], scene.strip["s"])


def test_a_cove_that_shines_up_turns_sideways_in_its_corners(one_shelf: str) -> None:
    """1.23 m along the back, 1 m along the side: the cut points beside 1.23 m are 1.20 and 1.25 m."""
    (corner,) = corners(one_shelf, "[[0, 2, 1], [1.23, 2, 1], [1.23, 1, 1]]", "[0, 0, 1]")
    assert (corner.at_m, corner.turn_deg) == pytest.approx((1.23, 90))
    assert corner.cut == 25
    assert corner.off_m == pytest.approx(0.02)


def test_a_strip_on_the_walls_bends_over_its_flat(one_shelf: str) -> None:
    """Up a wall and along the ceiling's edge facing the room: the turn is about the face in the first, across the strip in the second."""
    around = "[[0, 2, 1], [1.2, 2, 1], [1.2, 1, 1]]"
    assert len(corners(one_shelf, around, "[0, 0, -1]")) == 1
    assert corners(one_shelf, around, "[-0.7, -0.7, 0]") == ()  # faces the room's middle from both walls


def test_points_on_a_straight_line_and_what_lies_past_the_last_group_are_no_corners(one_shelf: str) -> None:
    assert corners(one_shelf, "[[0, 2, 1], [0.5, 2, 1], [1.2, 2, 1]]", "[0, 0, 1]") == ()
    assert (
        corners(one_shelf, "[[0, 2, 1], [1.2, 2, 1], [1.2, 1.97, 1]]", "[0, 0, 1]") == ()
    )  # 30 mm: no group lies there


def test_a_sharp_bend_over_the_flat_is_none_and_one_at_either_end_has_a_cut_point_within(one_shelf: str) -> None:
    """120° between two walls, faces outwards: over the flat. 20 mm from the start: cut 50 mm in, the first cut point there is."""
    assert corners(one_shelf, "[[0.5, 2, 1], [1.7, 2, 1], [1.1, 0.96, 1]]", "[-0.5, -0.87, 0]") == ()
    (corner,) = corners(one_shelf, "[[0, 2, 1], [0.02, 2, 1], [0.02, 1, 1]]", "[0, 0, 1]")
    assert (corner.cut, corner.off_m) == (1, pytest.approx(0.03))
