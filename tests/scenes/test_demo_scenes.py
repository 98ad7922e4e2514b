"""The scenes that ship: what they promise, and that the first commands of a new user answer on each of them."""

import itertools
import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from preview.looks.library import effect_names
from preview.power.network import build
from preview.scene.layout import lay_out
from preview.scene.model import Scene
from preview.scene.read import demo_names, find_scene, read_scene
from preview.window.model import Session

NAMES = ("tea_bar", "reading_corner", "gallery_hall", "sitting_room")


def scene_of(name: str) -> Scene:
    return read_scene(find_scene(name), effect_names())


@pytest.fixture
def answer(covecast):
    """The JSON that a command prints."""

    def ask(*words: object) -> dict:
        code, out, err = covecast(*words, "--json")
        assert code == 0, err
        return json.loads(out)

    return ask


def test_what_ships() -> None:
    assert set(demo_names()) == set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_each_is_marked_as_invented(name: str) -> None:
    assert "invented" in scene_of(name).note.lower()


def test_the_tea_bar() -> None:
    """12 V in groups of three, about 300 of them on two shelves, a plinth and a ceiling cove, from one supply."""
    scene = scene_of("tea_bar")
    (strip,) = {run.strip for run in scene.run}
    assert (scene.strip[strip].volts, scene.strip[strip].leds_per_group) == (12, 3)
    assert len(scene.supply) == 1
    assert 280 <= lay_out(scene).groups <= 320
    words = " ".join(run.name for run in scene.run)
    assert words.count("shelf") == 2
    assert "counter foot" in words  # the plinth
    assert "cove" in words


def test_the_reading_corner() -> None:
    """5 V, one LED an address, one short run."""
    scene = scene_of("reading_corner")
    (run,) = scene.run
    strip = scene.strip[run.strip]
    assert (strip.volts, strip.leds_per_group) == (5, 1)
    assert lay_out(scene).length_m[0] < 2


def test_the_gallery_hall(answer) -> None:
    """Four coves of 8 m on 24 V, two supplies whose positives meet nowhere while their negatives do, and too tight on purpose."""
    scene = scene_of("gallery_hall")
    layout = lay_out(scene)
    assert {scene.strip[run.strip].volts for run in scene.run} == {24}
    assert layout.length_m == pytest.approx(np.full(4, 8.0), abs=float(layout.cut_m.max()))  # cut down to whole groups
    assert len(scene.supply) == 2
    fed: dict[str, set[str]] = {run.name: set() for run in scene.run}
    for feed in scene.feed:
        source = feed.from_
        while source in scene.block:
            source = scene.block[source].from_
        fed[feed.run].add(source)
    carries = {(join.from_, join.to): join.carries for join in scene.join}
    for _ in scene.run:  # what a join of both conductors links is fed together
        for (a, b), kind in carries.items():
            if kind == "power":
                fed[a] = fed[b] = fed[a] | fed[b]
    assert all(len(sources) == 1 for sources in fed.values())
    assert set().union(*fed.values()) == set(scene.supply)
    assert "negative" in carries.values()
    build(scene, layout)
    metered = answer("meter", "gallery_hall")
    assert any(look["breaks"] for look in metered["looks"])


def test_the_sitting_room(answer) -> None:
    """On a photo, whose corners tell its camera to a few centimetres; three runs, and every limit kept."""
    scene = scene_of("sitting_room")
    assert scene.photo is not None
    found = answer("photo", "sitting_room")
    assert found["camera"]["eye_m"] == pytest.approx(scene.viewer.eye_m, abs=0.05)
    assert found["misfit_px"] < 1.0
    assert not any(look["breaks"] for look in answer("meter", "sitting_room")["looks"])


@pytest.mark.parametrize("name", NAMES)
def test_probe_meter_and_cap_answer(name: str, answer) -> None:
    scene = scene_of(name)
    probed = answer("probe", name, "--drive", "255,255,255")
    assert [run["groups"] for run in probed["runs"]] == list(np.diff(lay_out(scene).first))
    looks = answer("meter", name)["looks"]
    assert [look["name"] for look in looks][: len(scene.look)] == [look.name for look in scene.look]
    caps = answer("cap", name)["caps"]
    assert caps[-1]["content"] == "any"
    # any content holds at the cap for any content, so every look holds there too; the meter agrees
    kept = answer("meter", name, "--level", str(caps[-1]["level"]))["looks"]
    assert not list(itertools.chain.from_iterable(look["breaks"] for look in kept))


def test_the_tea_bars_evening(answer, covecast, tmp_path: Path) -> None:
    """Its programme is one more look everywhere: in the window's list, in meter, cap and check, as a clip's moment and on the sheet."""
    scene = scene_of("tea_bar")
    assert len(scene.programme) >= 4
    assert all(step.fade_s > 0 for step in scene.programme)
    whole_s = sum(step.seconds for step in scene.programme)
    names = [look.name for look in Session.of(scene).looks]
    assert names == [*(look.name for look in scene.look), "programme"]
    metered = answer("meter", "tea_bar")["looks"][-1]
    assert metered["name"] == "programme"
    assert metered["frames"] == round(whole_s * scene.assume.data_frames_per_s)
    assert not metered["breaks"]
    assert "look programme" in [cap["content"] for cap in answer("cap", "tea_bar")["caps"]]
    assert covecast("check", "tea_bar", "--no-eyes")[0] == 0
    # In the middle of a fade it is not what it is after it.
    step = scene.programme[0].seconds
    stills = {}
    for after in (1.5, 8.0):
        words = ("clip", "tea_bar", tmp_path / "m.png", "--look", "programme", "--at", step + after, "--size", "64x36")
        code, _, err = covecast(*words)
        assert code == 0, err
        with Image.open(tmp_path / "m.png") as picture:
            stills[after] = np.asarray(picture).astype(float)
    assert np.abs(stills[1.5] - stills[8.0]).mean() > 1
    code, said, _ = covecast("clip", "tea_bar", tmp_path / "s.png", "--sheet", "--size", "64x36")
    assert code == 0
    assert f"{len(names)} looks" in said
