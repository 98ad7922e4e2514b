"""The room fills a picture of any shape: fields of view by the pinhole's arithmetic, rays by plain geometry, and pixels of pictures."""

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from preview.handover.frames import film_of, stage_of
from preview.light.framing import framed, shaped
from preview.looks.library import effect_names
from preview.scene.model import Scene
from preview.scene.read import find_scene, read_scene


def scene_of(name: str) -> Scene:
    return read_scene(find_scene(name), effect_names())


BAR = scene_of("tea_bar")


def inside(scene: Scene, eye: tuple[float, float, float]) -> Scene:
    return scene.model_copy(update={"viewer": scene.viewer.model_copy(update={"eye_m": eye})})


def test_inside_a_room_a_wider_picture_shows_more_to_the_sides_and_cuts_nothing_off() -> None:
    """Pinhole camera: half the vertical field has the tangent tan(field/2) · height/width."""
    scene = inside(BAR, (2.4, 0.3, 1.5))
    own = math.tan(math.radians(scene.viewer.field_deg / 2))
    for size in ((1600, 900), (900, 900), (540, 960)):
        assert framed(scene, size).viewer.field_deg == pytest.approx(scene.viewer.field_deg)
    wide = framed(scene, (2400, 900)).viewer.field_deg
    assert math.tan(math.radians(wide / 2)) * 900 / 2400 == pytest.approx(own * 9 / 16)


def test_outside_it_no_corner_looks_past_the_opening() -> None:
    """Rays of the picture's corners, by hand, at the front opening y = 0; or the field is as narrow as it may become."""
    checked = narrowest = 0

    @given(st.floats(0.5, 4.0), st.floats(-3.0, -0.5), st.floats(1.0, 4.0))
    def each(shape: float, y: float, x: float) -> None:
        nonlocal checked, narrowest
        scene = inside(BAR, (x, y, 1.5))
        own = math.tan(math.radians(scene.viewer.field_deg / 2))
        view = framed(scene, (round(900 * shape), 900)).viewer
        half = math.tan(math.radians(view.field_deg / 2))
        assert half <= own * max(shape * 9 / 16, 1) * 1.01
        if math.isclose(half, own * (1.0 if shape > 16 / 9 else 0.75), rel_tol=0.02):
            narrowest += 1
            return
        checked += 1
        eye, to = np.array(view.eye_m), np.array(view.look_m)
        forward = (to - eye) / np.linalg.norm(to - eye)
        right = np.cross(forward, [0, 0, 1.0]) / np.linalg.norm(np.cross(forward, [0, 0, 1.0]))
        up = np.cross(right, forward)
        for a in (-half, half):
            for b in (-half / shape, half / shape):
                ray = forward + 0.99 * (a * right + b * up)
                at = eye - ray * eye[1] / ray[1]
                assert -0.02 <= at[0] <= 4.82
                assert -0.02 <= at[2] <= 2.62

    each()
    assert checked >= 20  # of a hundred
    assert narrowest >= 5


@pytest.mark.parametrize("size", [(192, 70), (192, 108), (150, 108)])
def test_nothing_of_a_picture_of_the_tea_bar_is_dark(size: tuple[int, int]) -> None:
    picture = film_of(stage_of(BAR, size), BAR.look[0], ambient_lux=300.0).picture(0.0)
    assert (
        picture.min(axis=(0, 1)).max() > 8
    )  # where nothing is met a picture is black, and by daylight nothing else is


def test_a_photo_keeps_its_shape() -> None:
    """1200 × 900 pixels are 4:3: inside 640 × 360 that is 480 × 360."""
    scene = scene_of("sitting_room")
    assert framed(scene, (640, 240)) is scene
    assert shaped(scene, (640, 360)) == (480, 360)
    assert shaped(scene, (400, 400)) == (400, 300)
    assert shaped(BAR, (641, 359)) == (641, 359)
    picture = film_of(stage_of(scene, (240, 180)), scene.look[0]).picture(0.0)
    assert picture[:, [0, -1]].max(axis=2).min() > 0
    assert picture[[0, -1]].max(axis=2).min() > 0


def test_a_clip_of_a_photo_has_no_bars(tmp_path: Path, covecast) -> None:
    code, said, err = covecast("clip", "sitting_room", tmp_path / "s.png", "--at", "1")
    assert code == 0, err
    assert "960x720" in said
    code, said, _ = covecast("clip", "sitting_room", tmp_path / "s.png", "--at", "1", "--size", "320x180")
    assert "320x180" in said  # as asked for
