"""`covecast dots` as it is called: its table, its JSON, its close-up, and what it says to bad input."""

import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from preview.light.alternatives import alternatives_of
from preview.light.contrast import NEAREST_M
from preview.scene.read import scene_from_text

SCENE = """format = 1
title = "Two lines"
[room]
size_m = [4, 3, 2.5]
[viewer]
eye_m = [2, 0.3, 1.5]
look_m = [2, 3, 1.5]
[strip.sparse]
volts = 12
leds_per_m = 60
leds_per_group = 3
watts_per_m = 14.4
[strip.dense]
volts = 12
leds_per_m = 120
leds_per_group = 3
watts_per_m = 14.4
[strip.other]
volts = 24
leds_per_m = 240
leds_per_group = 6
watts_per_m = 14.4
[channel.shallow]
depth_mm = 9
width_mm = 12
cover = "opal"
transmission = 0.6
spread_mm = 5
[channel.deep]
depth_mm = 20
width_mm = 12
cover = "opal"
transmission = 0.6
spread_mm = 5
[supply.psu]
volts = 12
amps = 10
[[run]]
name = "wall"
strip = "sparse"
channel = "shallow"
path_m = [[0.5, 2.9, 1.5], [3.5, 2.9, 1.5]]
aim = [0, -1, 0]
[[run]]
name = "ledge"
strip = "dense"
channel = "deep"
path_m = [[0.5, 2.9, 1.0], [3.5, 2.9, 1.0]]
aim = [0, -1, 0]
[[feed]]
from = "psu"
run = "wall"
cable = { mm2 = 1.5, length_m = 1 }
[[feed]]
from = "psu"
run = "ledge"
cable = { mm2 = 1.5, length_m = 1 }
[[look]]
name = "all on"
effect = "proof_full"
seconds = 1
"""


@pytest.fixture
def scene(tmp_path: Path) -> str:
    file = tmp_path / "scene.toml"
    file.write_text(SCENE)
    return str(file)


def test_json(scene: str, covecast) -> None:
    code, out, err = covecast("dots", scene, "--json")
    assert code == 0
    assert err == ""
    data = json.loads(out)
    assert data["format"] == 1
    wall, ledge = data["dots"]
    assert {"run", "pitch_mm", "depth_mm", "ripple", "visible_within_m"} <= set(wall)
    assert wall["pitch_mm"] == pytest.approx(1000 / 60)
    assert wall["says"] == "dots show"
    assert ledge["says"] == "even"
    assert ledge["alternatives"] == []
    names = [(way["strip"], way["channel"]) for way in wall["alternatives"]]
    assert ("sparse", "deep") in names
    assert ("dense", "shallow") in names
    assert not any(strip == "other" for strip, _ in names)  # another voltage needs another supply
    for way in wall["alternatives"]:
        assert way["visible_within_m"] <= wall["viewer_m"]
    assert "steps" not in data


def test_table_and_steps(scene: str, covecast) -> None:
    code, out, err = covecast("dots", scene, "--look", "all on", "--at", "0.5")
    assert code == 0
    assert err == ""
    assert "What would hide them from there:" in out
    assert "channel deep" in out
    assert "Steps between neighbouring groups" in out
    assert max(len(line) for line in out.splitlines() if not line.startswith("  ")) < 130


def test_nothing_is_proposed_that_shows(scene: str) -> None:
    plan = scene_from_text(SCENE, Path(scene))
    for from_m in (NEAREST_M, 0.5, 2.6):
        found = alternatives_of(plan, 0, 3.0, from_m)
        assert found
        assert all(way.visible_within_m <= from_m for way in found)
    assert alternatives_of(plan, 0, 3.0, 90.0) == ()  # they do not show from there as it is


def test_bare_strip_is_given_a_cover() -> None:
    # Common practice, no source: a bare strip of 60 LEDs a metre needs a cover a pitch away or more before it is even.
    text = SCENE.replace('channel = "shallow"\n', "").replace('channel = "deep"\n', "")
    plan = scene_from_text(text, Path("scene.toml"))
    found = alternatives_of(plan, 0, 3.0, 1.0)
    depths = [way.depth_mm for way in found if way.says.startswith("an opal cover")]
    assert len(depths) == 1
    assert 10 <= depths[0] <= 25


def test_closeup(scene: str, tmp_path: Path, covecast) -> None:
    out = tmp_path / "cover.png"
    arguments = ["dots", scene, "--run", "ledge", "--closeup", str(out), "--drive", "255,80,0", "--pixel-mm", "0.2"]
    code, said, _ = covecast(*arguments)
    assert code == 0
    assert "cover.png" in said
    with Image.open(out) as picture:
        assert picture.format == "PNG"
        assert picture.width == 500 + 2 * 16


@pytest.mark.parametrize(("has_look", "words"), [(True, "look all on at 0.5 s"), (False, "look steady at")])
def test_closeup_without_a_drive_shows_the_first_look(has_look: bool, words: str, tmp_path: Path, covecast) -> None:
    file, out = tmp_path / "scene.toml", tmp_path / "cover.png"
    file.write_text(SCENE if has_look else SCENE[: SCENE.index("[[look]]")])
    code, said, _ = covecast("dots", str(file), "--closeup", str(out))
    assert code == 0
    assert words in said
    assert "with every colour fully on" in said  # what is judged stays the same
    assert "Steps between" not in said
    if not has_look:
        with Image.open(out) as picture:
            red, green, blue = np.asarray(picture)[80:88, 100:300].reshape(-1, 3).mean(axis=0)
        assert red > green > blue > 100  # warm white: a Planckian light below the display's white


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--run", "wal"], ["--run", "wall, ledge", "did you mean wall"]),
        (["--closeup", "out.jpg"], ["--closeup", ".png", "out.jpg"]),
        (["--closeup", "nowhere/out.png"], ["nowhere"]),
        (["--from", "0"], ["--from", "0.1 to 100"]),
        (["--from", "nan"], ["--from", "0.1 to 100"]),
        (["--pixel-mm", "9"], ["--pixel-mm", "0.02 to 2"]),
        (["--drive", "1,2"], ["--drive"]),
    ],
)
def test_bad_calls(
    scene: str,
    arguments: list[str],
    words: list[str],
    covecast,
) -> None:
    code, out, err = covecast("dots", scene, *arguments)
    assert code == 2
    assert out == ""
    assert "Traceback" not in err
    for word in words:
        assert word in err
