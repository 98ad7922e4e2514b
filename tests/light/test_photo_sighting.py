"""The camera got back from four corners, for cameras made with OpenCV's own projection."""

import re

import cv2
import numpy as np
import pytest

from preview.light.room import FACES, Surfaces, surfaces_of
from preview.light.sighting import corners_m, plane_of_photo, sight
from preview.scene.faults import CovecastError
from preview.scene.model import Finish, Room, Scene

SIZE = (1600, 1200)
FOCAL = 1300.0
RECTS = {
    "back": (0.9, 0.4, 3.9, 2.2),
    "front": (0.9, 0.4, 3.9, 2.2),
    "left": (0.8, 0.3, 2.9, 2.2),
    "right": (0.8, 0.3, 2.9, 2.2),
    "floor": (0.6, 0.9, 4.2, 2.9),
    "ceiling": (0.6, 0.9, 4.2, 2.9),
}
OBLIQUE = {  # eye and aim of cameras that see each surface at a slant
    "back": ((0.6, 0.3, 1.6), (3.4, 3.4, 1.1)),
    "front": ((0.6, 3.0, 1.6), (3.4, 0.0, 1.1)),
    "left": ((3.9, 0.2, 1.6), (0.0, 2.4, 1.2)),
    "right": ((0.9, 0.2, 1.6), (4.8, 2.4, 1.2)),
    "floor": ((2.2, -1.5, 1.6), (2.6, 2.4, 0.0)),
    "ceiling": ((2.2, -1.5, 1.0), (2.6, 2.4, 2.6)),
}


@pytest.fixture(scope="module")
def surfaces() -> Surfaces:
    room = Room(size_m=(4.8, 3.4, 2.6), finish=Finish())
    scene = Scene.model_construct(room=room, box=())
    return surfaces_of(scene)


def photographed(
    places: np.ndarray, eye: tuple[float, float, float], aim: tuple[float, float, float], focal: float = FOCAL
) -> np.ndarray:
    """Pixels (N, 2) of places, by cv2.projectPoints with a pose worked out here."""
    forward = np.array(aim) - np.array(eye)
    forward /= np.linalg.norm(forward)
    right = np.cross(forward, [0, 0, 1.0])
    right /= np.linalg.norm(right)
    turn = np.stack([right, np.cross(forward, right), forward])
    camera = np.array([[focal, 0, SIZE[0] / 2], [0, focal, SIZE[1] / 2], [0, 0, 1]])
    pixels, _ = cv2.projectPoints(places, cv2.Rodrigues(turn)[0], -turn @ np.array(eye), camera, None)
    return pixels.reshape(-1, 2)


@pytest.mark.parametrize("name", FACES)
def test_exact_corners_give_the_camera_back(surfaces: Surfaces, name: str) -> None:
    eye, aim = OBLIQUE[name]
    number = FACES.index(name)
    pixels = photographed(corners_m(surfaces, number, RECTS[name]), eye, aim)
    found = sight(surfaces, number, RECTS[name], pixels, SIZE)
    assert found.camera is not None, found.says
    assert found.camera.eye_m == pytest.approx(eye, abs=1e-4)
    assert found.camera.focal_px == pytest.approx(FOCAL, rel=1e-4)
    assert found.misfit_px < 0.01
    # And so every place of the room is found where that camera saw it.
    places = np.array([[0, 3.4, 0], [4.8, 3.4, 2.6], [2.0, 2.5, 0.0], [0.3, 1.9, 1.1], [4.1, 2.2, 1.4]])
    x, y, depth = found.camera.project(places)
    ahead = depth > 0.1
    assert np.stack([x, y], axis=1)[ahead] == pytest.approx(photographed(places, eye, aim)[ahead], abs=0.2)


@pytest.mark.parametrize("name", ["back", "left", "floor"])
def test_corners_marked_by_hand_give_it_nearly(surfaces: Surfaces, name: str) -> None:
    # Stated bound: corners marked to 1.5 px (standard deviation) of 1600 put the eye within 0.25 m and the field within 8 %.
    random = np.random.default_rng(7)
    eye, aim = OBLIQUE[name]
    number = FACES.index(name)
    exact = photographed(corners_m(surfaces, number, RECTS[name]), eye, aim)
    for _ in range(12):
        found = sight(surfaces, number, RECTS[name], exact + random.normal(0, 1.5, (4, 2)), SIZE)
        assert found.camera is not None, found.says
        assert np.linalg.norm(found.camera.eye_m - np.array(eye)) < 0.25
        assert found.camera.focal_px == pytest.approx(FOCAL, rel=0.08)


def test_square_on_the_corners_say_too_little_and_the_file_helps(surfaces: Surfaces) -> None:
    number = FACES.index("back")
    eye, aim = (2.4, -1.0, 1.3), (2.4, 3.4, 1.3)
    pixels = photographed(corners_m(surfaces, number, RECTS["back"]), eye, aim)
    alone = sight(surfaces, number, RECTS["back"], pixels, SIZE)
    assert alone.camera is None
    assert "only the back is lit" in alone.says
    assert "photo.field_deg" in alone.says
    told = sight(surfaces, number, RECTS["back"], pixels, SIZE, focal_px=FOCAL)
    assert told.camera is not None
    assert told.camera.eye_m == pytest.approx(eye, abs=1e-3)
    # Either way the surface itself is known.
    for found in (alone, told):
        middle = found.plane @ np.append(photographed(np.array([[3.0, 3.4, 1.0]]), eye, aim)[0], 1.0)
        assert middle[:2] / middle[2] == pytest.approx([3.0, 1.0], abs=1e-4)


@pytest.mark.parametrize("top", [114.6, 115.0, 116.0])
def test_all_but_square_on_no_camera_is_made_up(surfaces: Surfaces, top: float) -> None:
    """900 px for 2.6 m, 865 px for 2.5 m: the same scale to a pixel. With 65° across 1200 px the focal length is 942 px, so 2.72 m away."""
    corners = np.array([[150, 980], [1050, 980], [1050, top], [150, top]], dtype=float)
    number, rect, size = FACES.index("back"), (0.0, 0.0, 2.6, 2.5), (1200, 1100)
    alone = sight(surfaces, number, rect, corners, size)
    assert alone.camera is None
    assert alone.squarely
    focal = 600 / np.tan(np.radians(32.5))
    told = sight(surfaces, number, rect, corners, size, focal, "the maker's word")
    assert told.camera is not None
    assert told.says.startswith("camera from the corners and the maker's word: at 1.30, 0.6")
    assert 3.4 - told.camera.eye_m[1] == pytest.approx(focal * 2.6 / 900, rel=0.01)


def test_square_on_a_wrong_shape_is_still_seen(surfaces: Surfaces) -> None:
    """346 px a metre across and 216 px a metre up."""
    corners = np.array([[150, 700], [1050, 700], [1050, 160], [150, 160]], dtype=float)
    found = sight(surfaces, FACES.index("back"), (0.0, 0.0, 2.6, 2.5), corners, (1200, 800))
    assert found.camera is None
    assert not found.squarely
    assert "the corners miss a rectangle of that size" in found.says


def test_the_plane_alone(surfaces: Surfaces) -> None:
    # Fronto-parallel by hand: 100 px a metre, v up.
    plane = plane_of_photo(np.array([[100.0, 900], [500, 900], [500, 700], [100, 700]]), (1, 0, 5, 2))
    for (x, y), (u, v) in (((100, 900), (1, 0)), ((300, 800), (3, 1)), ((600, 600), (6, 3))):
        found = plane @ np.array([x, y, 1.0])
        assert found[:2] / found[2] == pytest.approx([u, v], abs=1e-5)


def test_a_rectangle_of_another_shape_is_refused_or_seen_to_miss(surfaces: Surfaces) -> None:
    """Heights measured wrongly: refused, or, where another lens from another place nearly fits, met to no better than some pixels."""
    refused = 0
    for number, name in enumerate(FACES):
        eye, aim = OBLIQUE[name]
        u0, v0, u1, v1 = RECTS[name]
        pixels = photographed(corners_m(surfaces, number, RECTS[name]), eye, aim)
        for share in (0.5, 0.75, 1.5):
            found = sight(surfaces, number, (u0, v0, u1, v0 + share * (v1 - v0)), pixels, SIZE)
            missed = re.search(r"miss a rectangle of that size by (\d+) px|corners met to (\d+\.\d) px", found.says)
            assert missed is not None, found.says
            assert float(missed[1] or missed[2]) == pytest.approx(found.misfit_px, abs=0.5)
            assert found.misfit_px > 3  # the right rectangle is met to a hundredth of a pixel, see above
            assert (found.camera is None) == (missed[1] is not None)
            if found.camera is None:
                refused += 1
            else:  # it stood elsewhere
                assert np.linalg.norm(found.camera.eye_m - np.array(eye)) > 0.3
    assert 4 <= refused <= 14  # of eighteen: both happen


def test_corners_of_no_rectangle_are_refused(surfaces: Surfaces) -> None:
    number = FACES.index("left")
    eye, aim = OBLIQUE["left"]
    pixels = photographed(corners_m(surfaces, number, RECTS["left"]), eye, aim)
    bent = pixels + np.array([[0, 0], [0, 0], [160, -120], [0, 0]])
    assert sight(surfaces, number, RECTS["left"], bent, SIZE, focal_px=FOCAL).camera is None


@pytest.mark.parametrize("name", FACES)
def test_corners_the_wrong_way_round(surfaces: Surfaces, name: str) -> None:
    eye, aim = OBLIQUE[name]
    number = FACES.index(name)
    pixels = photographed(corners_m(surfaces, number, RECTS[name]), eye, aim)
    with pytest.raises(CovecastError, match=r"corners_px.*other way round"):
        sight(surfaces, number, RECTS[name], pixels[[1, 0, 3, 2]], SIZE)


def test_corners_of_another_picture(surfaces: Surfaces) -> None:
    eye, aim = OBLIQUE["back"]
    pixels = photographed(corners_m(surfaces, FACES.index("back"), RECTS["back"]), eye, aim)
    with pytest.raises(CovecastError, match="400 × 300 px"):
        sight(surfaces, FACES.index("back"), RECTS["back"], pixels, (400, 300))
