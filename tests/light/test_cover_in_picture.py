"""The covers as the drawn room shows them: dots where pixels are fine enough, an even line from afar, and the same light either way."""

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy import integrate

from preview.light.camera import camera_of
from preview.light.cover import face_pattern, led_profile, settled
from preview.light.picture import Renderer
from preview.scene.layout import lay_out
from preview.scene.read import scene_from_text

SCENE = """format = 1
title = "One line"
[room]
size_m = [2, 4, 2]
ambient_lux = 0
[viewer]
eye_m = [1.0, {eye_y}, 1.0]
look_m = [1.0, 4.0, 1.0]
field_deg = {field}
[strip.s]
volts = 12
leds_per_m = 60
leds_per_group = 3
watts_per_m = 14.4
{channel}
[supply.psu]
volts = 12
amps = 10
[[run]]
name = "line"
strip = "s"
{in_channel}
path_m = [[0.2, 3.9, 1.0], [1.8, 3.9, 1.0]]
aim = [0, -1, 0]
[[feed]]
from = "psu"
run = "line"
cable = {{ mm2 = 1.5, length_m = 1 }}
"""
CHANNEL = """[channel.c]
depth_mm = 9
width_mm = 20
cover = "{cover}"
transmission = 0.7
spread_mm = {spread}
"""


@pytest.fixture(autouse=True)
def own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))


def along_the_line(away_m: float, field: float, cover: str | None, spread: float = 0.0) -> tuple[np.ndarray, float]:
    """Luminance (pixels,) along the middle of the line, and pixels a pitch."""
    text = SCENE.format(
        eye_y=3.9 - away_m,
        field=field,
        channel="" if cover is None else CHANNEL.format(cover=cover, spread=spread),
        in_channel="" if cover is None else 'channel = "c"',
    )
    scene = scene_from_text(text, Path("scene.toml"))
    layout = lay_out(scene)
    size = (640, 200)
    picture = Renderer(scene, layout, size).luminance(np.ones((layout.groups, 3)))[..., 1]
    camera = camera_of(scene.viewer, size)
    out = 0.0015 if cover is None else 0.009
    x, _, _ = camera.project(np.array([[0.9, 3.9 - out, 1.0], [0.9 + 1 / 60, 3.9 - out, 1.0]]))
    return picture[100], float(x[1] - x[0])


def published_ripple(pitch_over_depth: float) -> float:
    """Michelson contrast without scatter, between the two rows of tests/reference/row_ripple.csv that are nearest."""
    with (Path(__file__).parents[1] / "reference" / "row_ripple.csv").open() as file:
        rows = [(float(row["pitch_over_height"]), float(row["michelson_numeric"])) for row in csv.DictReader(file)]
    return float(np.interp(pitch_over_depth, *np.transpose(rows)))


def summed_ripple(pitch: float, depth: float, spread: float) -> float:
    """The same with scatter, LED by LED: the cosine law's 1/(1 + (x/h)²)² blurred with a Gaussian, by scipy's quadrature."""

    def light(place: float) -> float:
        def part(t: float) -> float:
            at = (place - spread * t + pitch * np.arange(-60, 61)) / depth
            return float(np.exp(-t * t / 2) * (1 / (1 + at * at) ** 2).sum())

        return float(integrate.quad(part, -7, 7, limit=200)[0])

    most, least = light(0.0), light(pitch / 2)
    return (most - least) / (most + least)


# The lens spreads a twentieth of the light, which takes as much off the contrast: 5 % of it, and a bound of 10 %.
@pytest.mark.parametrize("spread", [0.0, 2.0, 4.0])
def test_near_by_the_picture_has_the_ripple_of_the_row(spread: float) -> None:
    pitch, depth = 1 / 60, 0.009
    line, pitch_px = along_the_line(0.35, 30, "frosted", spread)
    assert pitch_px > 40
    middle = line[200:440]
    found = (middle.max() - middle.min()) / (middle.max() + middle.min())
    expected = summed_ripple(pitch, depth, spread / 1000) if spread else published_ripple(pitch / depth)
    assert found == pytest.approx(expected, rel=0.10)


def test_bare_leds_are_apart_near_by_and_a_line_from_afar() -> None:
    near, pitch_px = along_the_line(0.35, 30, None)
    middle = near[200:440]
    assert middle.min() < 0.05 * middle.max()
    spectrum = np.abs(np.fft.rfft(middle - middle.mean()))
    assert len(middle) / spectrum.argmax() == pytest.approx(pitch_px, rel=0.1)
    far, pitch_px = along_the_line(3.5, 80, None)
    assert pitch_px < 2
    middle = far[270:370]
    assert middle.std() < 0.12 * middle.mean()


def test_a_clear_cover_hides_nothing() -> None:
    clear, _ = along_the_line(0.35, 30, "clear", spread=5.0)
    assert clear[200:440].min() < 0.05 * clear[200:440].max()


@pytest.mark.parametrize(("depth", "spread"), [(0.0, 0.0), (0.004, 0.0), (0.02, 0.006)])
@pytest.mark.parametrize("bin_m", [0.0007, 0.004, 0.03])
def test_light_is_neither_lost_nor_made(depth: float, spread: float, bin_m: float) -> None:
    bins = int(np.ceil(1.2 / bin_m))
    pattern = face_pattern(bins, 1.2 / bins, 24, 3, 1 / 60, depth, spread)
    assert np.asarray(pattern.sum(axis=0)).ravel() * (1.2 / bins) == pytest.approx(1.0, rel=1e-9)


@pytest.mark.parametrize(("depth", "spread"), [(0.0001, 0.0), (0.001, 1.0), (1.0, 1.0), (1.0, 0.0002), (0.008, 0.0025)])
def test_profiles_of_any_size(depth: float, spread: float) -> None:
    # A Gaussian of deviation s convolved with 1/(1 + (x/h)²)²: symmetric, half of the light on either side, 0 to 1.
    x, running = led_profile(depth, spread)
    assert running[0] == 0
    assert running[-1] == 1
    assert (np.diff(running) >= 0).all()
    assert np.interp(0.0, x, running) == pytest.approx(0.5, abs=1e-6)
    assert len(x) < 2_000_000


def test_profile_of_one_led_is_the_cosine_law() -> None:
    # Lambertian on a parallel plane: cos⁴ = 0.5625 at 30°, 0.25 at 45° (published.md of photometry; any handbook).
    x, running = led_profile(0.010, 0.0)
    slope = np.interp(0.010 * np.tan(np.radians([0, 30, 45])), x[:-1] + np.diff(x) / 2, np.diff(running) / np.diff(x))
    assert slope[1:] / slope[0] == pytest.approx([0.5625, 0.25], rel=2e-3)


@pytest.mark.parametrize("bins", [60, 61, 97, 1000])
def test_what_pixels_cannot_show_settles_evenly(bins: int) -> None:
    pattern = face_pattern(bins, 1.2 / bins, 24, 3, 1 / 60, 0.0, 0.0)
    fine = settled(pattern, 1.2 / bins, np.full(bins, 9.0))
    coarse = settled(pattern, 1.2 / bins, np.full(bins, 0.9))
    half = settled(pattern, 1.2 / bins, np.linspace(0.5, 6.0, bins))
    assert abs(fine - pattern).max() == 0
    assert coarse @ np.ones(24) == pytest.approx(24 / 1.2)  # a lumen a group, evenly over all of its length
    for found in (coarse, half):
        assert np.asarray(found.sum(axis=0)).ravel() * (1.2 / bins) == pytest.approx(1.0, rel=1e-9)
    alone = coarse @ np.eye(24)[7]
    place = (np.arange(bins) + 0.5) * 1.2 / bins
    assert (
        alone[(place < 0.35 - 1.2 / bins) | (place > 0.40 + 1.2 / bins)] == 0
    ).all()  # the eighth group: 0.35 to 0.40 m
