"""`covecast photo`: what it says of a photo, and where it draws the plan; places worked out with cv2.projectPoints."""

import json
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

SIZE = (800, 600)
FOCAL = 700.0
EYE, AIM = np.array([0.7, 0.3, 1.5]), np.array([2.6, 3.0, 1.1])
SCENE = """format = 1
title = "A corner"
[room]
size_m = [3.6, 3.0, 2.5]
[[box]]
name = "chest"
corner_m = [2.0, 2.4, 0.0]
size_m = [0.8, 0.5, 0.7]
[strip.s]
volts = 12
leds_per_m = 60
leds_per_group = 3
watts_per_m = 14.4
[supply.psu]
volts = 12
amps = 10
[[run]]
name = "line"
strip = "s"
path_m = [[0.5, 2.95, 1.8], [3.0, 2.95, 1.8]]
aim = [0, -1, 0]
[[feed]]
from = "psu"
run = "line"
cable = { mm2 = 1.5, length_m = 1 }
"""
RECT = np.array([[0.8, 0.6], [3.0, 0.6], [3.0, 2.1], [0.8, 2.1]])


def seen(places: np.ndarray) -> np.ndarray:
    forward = (AIM - EYE) / np.linalg.norm(AIM - EYE)
    right = np.cross(forward, [0, 0, 1.0])
    right /= np.linalg.norm(right)
    turn = np.stack([right, np.cross(forward, right), forward])
    camera = np.array([[FOCAL, 0, SIZE[0] / 2], [0, FOCAL, SIZE[1] / 2], [0, 0, 1]])
    return cv2.projectPoints(places, cv2.Rodrigues(turn)[0], -turn @ EYE, camera, None)[0].reshape(-1, 2)


@pytest.fixture
def scene(tmp_path: Path) -> Path:
    Image.new("RGB", SIZE, (90, 90, 90)).save(tmp_path / "room.png")
    corners = seen(np.stack([RECT[:, 0], np.full(4, 3.0), RECT[:, 1]], axis=1)).tolist()
    photo = f'\n[photo]\nfile = "room.png"\nsurface = "back"\nrect_m = [0.8, 0.6, 3.0, 2.1]\ncorners_px = {corners}\n'
    file = tmp_path / "scene.toml"
    file.write_text(SCENE + photo + "taken_lux = 100\n")
    return file


def coloured(picture: np.ndarray, place: np.ndarray, over: int, under: int) -> bool:
    """Whether a pixel within two of a place has one channel well over another."""
    x, y = np.rint(place).astype(int)
    part = picture[y - 2 : y + 3, x - 2 : x + 3].astype(int)
    return bool((part[..., over] - part[..., under] > 90).any())


def test_lines_lie_on_what_they_stand_for(scene: Path, covecast, tmp_path: Path) -> None:
    out = tmp_path / "lines.png"
    assert covecast("photo", str(scene), str(out))[0] == 0
    picture = np.asarray(Image.open(out))
    assert picture.shape == (600, 800, 3)
    on_run = seen(np.array([[x, 2.95, 1.8] for x in np.linspace(1.0, 2.6, 9)]))
    assert all(coloured(picture, place, 0, 2) for place in on_run)  # amber
    on_rect = seen(np.array([[x, 3.0, 2.1] for x in np.linspace(1.3, 2.9, 9)]))
    assert all(coloured(picture, place, 1, 0) for place in on_rect)  # green
    on_grid = seen(np.array([[1.5, 3.0, z] for z in (0.75, 1.2, 1.6)]))
    assert all(coloured(picture, place, 2, 0) for place in on_grid)  # blue
    on_edge = seen(np.array([[3.6, 3.0, z] for z in np.linspace(0.8, 1.7, 5)]))
    for x, y in np.rint(on_edge).astype(int):
        assert picture[y - 2 : y + 3, x - 2 : x + 3].min(axis=2).max() > 150  # white: the room's corner
    top = seen(np.array([[x, 2.4, 0.7] for x in (2.1, 2.4, 2.7)]))
    for x, y in np.rint(top).astype(int):
        assert picture[y - 2 : y + 3, x - 2 : x + 3].min(axis=2).max() > 110  # grey: the chest's front edge
    assert picture[20, 20].max() < 90  # and nothing where there is nothing


def test_json(scene: Path, covecast) -> None:
    code, out, _ = covecast("photo", str(scene), "--json")
    assert code == 0
    found = json.loads(out)
    assert found["camera"]["eye_m"] == pytest.approx(EYE, abs=1e-3)
    assert found["camera"]["focal_px"] == pytest.approx(FOCAL, rel=1e-3)
    assert found["size_px"] == [800, 600]
    assert found["misfit_px"] < 0.01


def test_bad_calls(scene: Path, covecast) -> None:
    bare = scene.with_name("bare.toml")
    bare.write_text(SCENE)
    for arguments, words in (
        (["photo", str(bare)], "[photo]"),
        (["photo", str(scene), "lines.jpg"], ".png"),
        (["photo", str(scene), "nowhere/lines.png"], "nowhere"),
    ):
        code, out, err = covecast(*arguments)
        assert code == 2
        assert out == ""
        assert words in err
        assert "Traceback" not in err


def test_a_clip_is_drawn_on_the_photo(scene: Path, covecast, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    photo = np.full((600, 800, 3), 90, np.uint8)
    photo[:200, :250] = (20, 60, 160)  # something blue in the photo's corner that the plan does not know of
    Image.fromarray(photo).save(scene.with_name("room.png"))
    out = tmp_path / "lit.png"
    code, _, told = covecast("clip", str(scene), str(out), "--at", "0", "--size", "400x300")
    assert code == 0
    assert "camera from the corners" in told
    picture = np.asarray(Image.open(out)).astype(int)
    assert picture.shape == (300, 400, 3)
    blue = picture[10:80, 10:100].mean(axis=(0, 1))
    plain = picture[10:80, 250:390].mean(axis=(0, 1))
    assert blue[2] / blue[0] > 1.3 * plain[2] / plain[0]
    x, y = np.rint(seen(np.array([[1.8, 3.0, 1.83]]))[0] / 2).astype(int)
    assert picture[y, x].sum() > 2 * picture[290, 10].sum()  # the wall just above the run is what is lit


def test_a_photo_that_is_none_ends_in_one_line(scene: Path, covecast, tmp_path: Path) -> None:
    scene.with_name("room.png").write_bytes(b"not a photo")
    for arguments in (["photo", str(scene)], ["clip", str(scene), str(tmp_path / "lit.png"), "--at", "0"]):
        code, out, err = covecast(*arguments)
        assert code == 2
        assert out == ""
        assert "photo.file 'room.png': expected a JPEG or PNG" in err
        assert "Traceback" not in err
    assert not (tmp_path / "lit.png").exists()


def test_check_tells_corners_that_miss_their_rectangle(scene: Path, covecast) -> None:
    """A rectangle given 0.3 m too wide: no camera sees it in these four corners."""

    def says() -> list[str]:
        _, out, err = covecast("check", scene, "--no-eyes", "--json")
        assert err == ""
        found = [one for one in json.loads(out)["findings"] if one["about"] == "photo"]
        remedies[:] = [one["do"] for one in found]
        return [one["says"] for one in found]

    remedies: list[str] = []

    assert says() == []
    given = scene.read_text(encoding="utf-8")
    scene.write_text(given.replace("rect_m = [0.8, 0.6, 3.0, 2.1]", "rect_m = [0.8, 0.6, 3.3, 2.1]"), encoding="utf-8")
    (found,) = says()
    assert found.startswith("the corners miss a rectangle of 2.5 × 1.5 m by ")
    square = [[200, 100], [600, 100], [600, 300], [200, 300]]
    at = given.index("corners_px")
    end = given.index("taken_lux")
    scene.write_text(f"{given[:at]}corners_px = {square[::-1]}\n{given[end:]}", encoding="utf-8")
    (found,) = says()
    assert found.startswith("only the back is lit: the corners are seen too squarely")
    assert remedies[0].startswith("mark a rectangle seen more from the side")
    first = given.index("[[", at)
    moved = (
        given[:first] + "[[" + repr(float(given[first + 2 :].split(",")[0]) - 100) + given[given.index(",", first) :]
    )
    scene.write_text(moved, encoding="utf-8")
    (found,) = says()
    assert "the corners miss a rectangle" in found
    assert remedies[0].startswith("mark the corners anew")
