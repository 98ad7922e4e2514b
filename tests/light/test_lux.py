"""`covecast lux`: the reading by hand, its JSON, and what it says to bad input."""

import json
import math
from pathlib import Path

import numpy as np
import pytest

from preview.light.colour import group_xyz
from preview.light.lux import place_faults, reading_at
from preview.scene.layout import lay_out
from preview.scene.read import find_scene, read_scene

SCENES = ("tea_bar", "reading_corner", "gallery_hall")


def read(covecast, *words: str) -> dict:
    code, out, err = covecast(*words, "--json")
    assert (code, err) == (0, "")
    return json.loads(out)


# Places in the open, in front of each scene's runs: the sensor, and where it faces.
OPEN = {
    "tea_bar": ("2.4,3.4,1.3", "0,-1,0"),  # on the back wall, under the lower shelf
    "reading_corner": ("1.5,2.5,1.95", "0,-1,0.2"),  # in the niche, near its back
    "gallery_hall": ("1.8,4.3,3.55", "0,0,-1"),  # under the ceiling beside a beam
}


@pytest.mark.parametrize("name", SCENES)
def test_a_reading_by_hand(covecast, name) -> None:
    """Σ Φ·(cos θ/π)·cos θ'/d², one term a piece of a group, from the drops that `probe` prints and the label's lumens."""
    point, facing = OPEN[name]
    found = read(covecast, "lux", name, "--point", point, "--facing", facing, "--drive", "0,255,0")
    probe = read(covecast, "probe", name, "--drive", "0,255,0")
    scene = read_scene(find_scene(name))
    at, way = (np.array([float(part) for part in text.split(",")]) for text in (point, facing))
    way = way / math.sqrt(way @ way)
    for run, entry, got in zip(scene.run, probe["runs"], found["runs"], strict=True):
        strip, channel = scene.strip[run.strip], scene.channel[run.channel]
        path = [np.array(corner) for corner in run.path_m]
        if len(path) > 2:
            continue
        along = (path[1] - path[0]) / np.linalg.norm(path[1] - path[0])
        aim = np.array(run.aim) - (np.array(run.aim) @ along) * along
        aim /= math.sqrt(aim @ aim)
        side = np.cross(along, aim)
        total = 0.0
        for group, share in enumerate(entry["light"]):  # Y over Y at rated current
            lumen = share * strip.green.lumen * channel.transmission
            for piece in range(8):
                place = path[0] + (group + (piece + 0.5) / 8) * strip.cut_m * along + channel.depth_mm / 1000 * aim
                step = at - place
                d = math.sqrt(step @ step)
                onto = max(-(step @ way) / d, 0)
                front = (1 - channel.side_fraction) * max(step @ aim / d, 0)
                sides = channel.side_fraction / 2 * abs(step @ side / d)
                total += lumen / 8 * (front + sides) / math.pi * onto / d**2
        if got["direct_lux"] > 0.05 * found["direct_lux"]:  # the runs that see the sensor, none of it behind a box
            assert got["direct_lux"] == pytest.approx(total, rel=0.01)
            break
    else:
        pytest.fail("no run lights the sensor")


def test_json_is_whole(covecast) -> None:
    found = read(covecast, "lux", "tea_bar", "--point", "2.4,1.6,1.06")
    assert {"format", "lux", "direct_lux"} <= set(found)
    assert found["format"] == 1
    assert found["lux"] == pytest.approx(found["direct_lux"] + found["bounced_lux"])
    assert found["direct_lux"] == pytest.approx(sum(run["direct_lux"] for run in found["runs"]))
    assert found["ambient_lux"] == 0


def test_ambient_light_is_added_only_when_asked_for(covecast) -> None:
    place = ("lux", "tea_bar", "--point", "2.4,1.6,1.06")
    without, with_it = read(covecast, *place), read(covecast, *place, "--ambient")
    assert with_it["lux"] - without["lux"] == pytest.approx(4.0)  # the scene's ambient_lux
    assert with_it["direct_lux"] == without["direct_lux"]


def test_codes_add_up_and_level_scales(make_scene) -> None:
    """Light is linear in the codes: red and green together are red alone plus green alone."""
    scene, layout = make_scene([([[0.5, 1.9, 1.5], [2.5, 1.9, 1.5]], (0, -1, 0), None)], leds=60, group=6)
    point, up = np.array([1.5, 1.0, 0.8]), np.array([0.0, 0.0, 1.0])

    def lux(red: float, green: float) -> float:
        return reading_at(scene, layout, group_xyz(layout, np.full((20, 3), [red, green, 0.0])), point, up).lux

    assert lux(255, 255) == pytest.approx(lux(255, 0) + lux(0, 255))
    assert lux(51, 51) == pytest.approx(lux(255, 255) / 5)
    assert lux(255, 0) / lux(0, 255) == pytest.approx(2 / 5)  # the label's lumens


def test_a_dark_drive_reads_nothing(covecast) -> None:
    found = read(covecast, "lux", "tea_bar", "--point", "2.4,1.6,1.06", "--drive", "0,0,0")
    assert found["lux"] == 0
    assert found["xy"] is None


def test_a_moment_of_a_look_and_the_facing_that_is_left_out(covecast) -> None:
    one = read(covecast, "lux", "tea_bar", "--point", "2.4,1.6,1.06", "--look", "evening", "--at", "2")
    two = read(
        covecast, "lux", "tea_bar", "--point", "2.4,1.6,1.06", "--facing", "0,0,5", "--look", "evening", "--at", "2"
    )  # fmt: skip
    assert one["lux"] == pytest.approx(two["lux"])
    assert one["lux"] > 0


def test_a_point_on_a_surface_reads_what_a_hair_in_front_of_it_does(covecast) -> None:
    on = read(covecast, "lux", "tea_bar", "--point", "2.4,3.4,1.3", "--facing", "0,-1,0")
    off = read(covecast, "lux", "tea_bar", "--point", "2.4,3.399,1.3", "--facing", "0,-1,0")
    beyond = read(covecast, "lux", "tea_bar", "--point", "2.4,3.4004,1.3", "--facing", "0,-1,0")
    assert on["direct_lux"] == pytest.approx(off["direct_lux"], rel=0.02)
    assert on["direct_lux"] == pytest.approx(beyond["direct_lux"], rel=1e-9)


def test_the_table_says_it_in_lux(covecast) -> None:
    code, out, err = covecast("lux", "tea_bar", "--point", "2.4,3.4,1.3", "--facing", "0,-1,0", "--ambient")
    assert (code, err) == (0, "")
    lines = {" ".join(line.split()[:-1]): float(line.split()[-1]) for line in out.splitlines()[3:10]}
    parts = sum(value for name, value in lines.items() if name != "together")
    assert lines["together"] == pytest.approx(parts, abs=0.04)
    assert lines["already in the room"] == 4


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--point", "9,1,1"], ["--point", "0,0,0 to 4.8,3.4,2.6", "9,1,1"]),
        (["--point", "2.4,1.6,0.5"], ["--point", "inside the box 'counter'"]),
        (["--point", "2.4,1.6,0"], ["inside the box 'counter plinth'"]),
        (["--point", "1,1,1", "--facing", "0,0,0"], ["--facing", "a direction"]),
        (["--point", "1,1,0", "--facing", "0,0,-1"], ["--facing", "into the floor"]),
        (["--point", "2.8,1.5,1.06", "--facing", "0,0,-1"], ["--facing", "into the box 'counter top'"]),
        (["--point", "1,1"], ["--point", "three numbers", "'1,1'"]),
        (["--point", "1,nan,1"], ["--point", "three numbers"]),
        (["--point", "1,inf,1"], ["--point", "three numbers"]),
        (["--point", "a,b,c", "--facing", "0,0,0"], ["2 faults", "--point", "--facing"]),
        (["--point", "9,9,9", "--facing", "x"], ["2 faults", "--point", "--facing", "'x'"]),
        (["--point", "-1,0,0", "--facing", "0,0,0"], ["2 faults", "--point", "--facing"]),
        ([], ["--point"]),
        (["--point", "1,1,1", "--drive", "1,2"], ["3 codes"]),
        (["--point", "1,1,1", "--level", "2"], ["--level"]),
    ],
)
def test_bad_input_in_one_message(covecast, words, says) -> None:
    code, out, err = covecast("lux", "tea_bar", *words)
    assert (code, out) == (2, "")
    assert "Traceback" not in err
    for part in says:
        assert part in err


def test_every_demo_scene_has_a_place_without_faults() -> None:
    for name in SCENES:
        scene = read_scene(Path(find_scene(name)))
        assert lay_out(scene).groups
        point, facing = (np.array([float(part) for part in text.split(",")]) for text in OPEN[name])
        assert place_faults(scene, point, facing) == []
