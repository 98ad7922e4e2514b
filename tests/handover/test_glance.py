"""What is counted without drawing is what is drawn: samples against printed pictures, counts either way, and what is kept of them."""

from pathlib import Path

import numpy as np
import pytest

import preview.handover.glance as glance_module
import preview.handover.watching as watching
from preview.handover.frames import Film, Stage, film_of, stage_of
from preview.handover.glance import Glance, toned
from preview.light import cache
from preview.light.colour import Y_OF_RGB
from preview.light.printing import tone
from preview.looks.flashing import flashes_in, flashes_of
from preview.scene.model import Look, Scene
from preview.scene.read import read_scene, scene_from_text

SIZE = (160, 90)
ROOM = """
[room]
size_m = [3, 2, 2.4]
ambient_lux = 3
[viewer]
eye_m = [1.5, -1.5, 1.5]
look_m = [1.5, 2, 1.0]
field_deg = 60
"""


def plan(one_shelf: str, effect: str, dials: str = "") -> Scene:
    text = one_shelf.replace("[[0, 0, 1], [1, 0, 1]]", "[[0.5, 1.7, 1], [1.5, 1.7, 1]]\naim = [0, 1, 0.3]")
    text = text.replace('effect = "proof_full"\nseconds = 1', f'effect = "{effect}"\nseconds = 3\n{dials}')
    return scene_from_text(text + ROOM, Path("scene.toml"))


CORNER = Path(__file__).parents[2] / "scenes" / "reading_corner" / "scene.toml"


@pytest.fixture(scope="module", params=["bare strip on a wall", "covers, boxes and light that bounces"])
def water(request: pytest.FixtureRequest, one_shelf: str) -> tuple[Stage, Film]:
    scene = plan(one_shelf, "millrace") if "bare" in request.param else read_scene(CORNER)
    stage = stage_of(scene, SIZE)
    return stage, film_of(stage, Look(name="x", effect="millrace", seconds=3), frames_per_s=10)


def test_samples_are_what_the_printed_picture_shows(water: tuple[Stage, Film]) -> None:
    """sRGB codes by IEC 61966-2-1; rounding with dither is worth up to a code, and bright edges are held when they are printed."""
    stage, film = water
    glance = Glance(stage, 1000)
    assert film.frames == 30
    for sample, picture in zip(glance.samples(film), film.pictures(), strict=True):
        signal = np.where(sample <= 0.0031308, 12.92 * sample, 1.055 * np.maximum(sample, 0) ** (1 / 2.4) - 0.055)
        shown = picture.reshape(-1, 3)[glance.directions.pixel].T
        off = np.abs(255 * signal - shown)
        assert np.quantile(off, 0.97) <= 1.1
        assert shown.max() - shown.min() > 60  # there is something to see


def test_tone_and_gamut() -> None:
    """Luminance is that of the printing curve, and no colour leaves 0 to 1 nor changes its hue (the order of its components)."""
    light = np.random.default_rng(3).uniform(-0.05, 3, (3, 5000)).astype(np.float32)
    light = light[:, Y_OF_RGB @ light > 0.01]
    found = toned(light)
    assert Y_OF_RGB @ found == pytest.approx(tone(Y_OF_RGB @ light), abs=1e-5)
    assert found.min() >= -1e-5
    assert found.max() <= 1 + 1e-5
    apart = np.sort(light, axis=0)[1:] - np.sort(light, axis=0)[:-1] > 0.05
    order = np.argsort(light, axis=0)
    assert (np.diff(np.take_along_axis(found, order, axis=0), axis=0)[apart] > 0).all()


@pytest.mark.parametrize(("each_s", "least"), [(0.5, 1), (1.0, 0.5)])
def test_counts_are_the_same_drawn_or_not(
    one_shelf: str, each_s: float, least: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each half of the run goes on and off: 1/(2·each_s) times a second each, so at least that often together."""
    scene = plan(one_shelf, "proof_swing", f"dials = {{ each_s = {each_s}, dark_s = 0 }}")
    stage = stage_of(scene, SIZE)
    film = film_of(stage, scene.look[0], frames_per_s=20)
    drawn = flashes_of(film.pictures(), 20, 60)
    glance = Glance(stage, 1000)
    summed = flashes_in(glance.samples(film), glance.directions, 20)
    assert summed.general_per_s == drawn.general_per_s >= least
    monkeypatch.setattr(glance_module, "_MOST_BYTES", 0)
    glance = Glance(stage, 1000)
    assert flashes_in(glance.samples(film), glance.directions, 20) == drawn


@pytest.fixture
def alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    return cache.folder()


def never(*words: object) -> Stage:
    raise AssertionError("worked out again")


def test_what_was_counted_is_not_counted_again(one_shelf: str, alone: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    scene = plan(one_shelf, "proof_swing", "dials = { each_s = 0.5, dark_s = 0 }")
    first = watching.scene_flashes(scene, lambda share: None)
    (look,) = scene.look
    monkeypatch.setattr(watching, "stage_of", never)
    assert watching.scene_flashes(scene, lambda share: None) == first
    words = scene.model_copy(update={"title": "Another", "look": (look.model_copy(update={"name": "renamed"}),)})
    assert watching.scene_flashes(words, lambda share: None) == [("renamed", first[0][1])]
    for change in (
        {"look": (look.model_copy(update={"level": 0.9}),)},
        {"viewer": scene.viewer.model_copy(update={"field_deg": 61.0})},
        {"feed": (scene.feed[0].model_copy(update={"contact_milliohm": 50.0}),)},
        {"look": (Look(name="all on", effect="millrace", seconds=3),)},
    ):
        with pytest.raises(AssertionError, match="again"):
            watching.scene_flashes(scene.model_copy(update=change), lambda share: None)


def test_an_entry_that_is_no_count_is_worked_out_again(one_shelf: str, alone: Path) -> None:
    scene = plan(one_shelf, "proof_swing", "dials = { each_s = 0.5, dark_s = 0 }")
    first = watching.scene_flashes(scene, lambda share: None)
    (entry,) = alone.glob("flashes-*.npz")
    for wrong in (np.full(7, np.nan), np.ones(3)):
        cache.save(entry.stem, {"flashes": wrong})
        assert watching.scene_flashes(scene, lambda share: None) == first
