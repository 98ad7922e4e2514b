"""Dots of whole scenes: the trade's facts, the eye's place, and steps between groups."""

import csv
from pathlib import Path

import numpy as np
import pytest

from preview.light.dots import Dots, dots_of, steps_of
from preview.scene.layout import lay_out
from preview.scene.model import Scene
from preview.scene.read import scene_from_text

SCENE = """format = 1
title = "One line"
[room]
size_m = [4, 3, 2.5]
ambient_lux = {lux}
[viewer]
eye_m = [2, 0.3, 1.5]
look_m = [2, 3, 1.5]
[[box]]
name = "board"
corner_m = [0, 2.0, 1.9]
size_m = [4, 0.02, 0.3]
[strip.s]
volts = 12
leds_per_m = {leds}
leds_per_group = 3
watts_per_m = 14.4
[channel.c]
depth_mm = {depth}
width_mm = 12
cover = "{cover}"
transmission = 0.6
spread_mm = {spread}
side_fraction = {side}
[supply.psu]
volts = 12
amps = 10
[[run]]
name = "line"
strip = "s"
{channel}
path_m = [[0.5, 2.9, {z}], [3.5, 2.9, {z}]]
aim = {aim}
[[feed]]
from = "psu"
run = "line"
cable = {{ mm2 = 1.5, length_m = 1 }}
"""


def scene_with(
    leds: float = 60,
    depth: float = 9,
    spread: float = 5,
    cover: str = "opal",
    lux: float = 2,
    aim: str = "[0, -1, 0]",
    z: float = 1.5,
    side: float = 0.0,
    bare: bool = False,
) -> Scene:
    channel = "" if bare else 'channel = "c"'
    text = SCENE.format(
        leds=leds, depth=depth, spread=spread, cover=cover, lux=lux, aim=aim, z=z, side=side, channel=channel
    )
    return scene_from_text(text, Path("line.toml"))


def dots_with(**changes: float | str | bool) -> Dots:
    scene = scene_with(**changes)  # type: ignore[arg-type]
    (found,) = dots_of(scene, lay_out(scene))
    return found


def test_sixty_shows_and_ninety_six_is_even_in_a_shallow_channel() -> None:
    # Common practice, no source: in a shallow channel 60 LEDs a metre still show as dots, about 96 give an even line.
    sixty, ninety_six = dots_with(leds=60), dots_with(leds=96)
    assert sixty.shows
    assert sixty.visible_within_m > 2.5
    assert sixty.ripple > 0.03
    assert not ninety_six.shows
    assert ninety_six.ripple < 0.005


def test_pitch_no_larger_than_depth_is_even_behind_opal() -> None:
    # Common practice, no source.
    assert not dots_with(leds=60, depth=17).shows
    assert dots_with(leds=60, depth=8).shows


def test_figures_of_the_plan() -> None:
    found = dots_with(leds=84, depth=9)
    assert found.pitch_mm == pytest.approx(1000 / 84)
    assert found.depth_mm == 9.0
    assert (found.run, found.strip, found.channel) == ("line", "s", "c")
    assert found.viewer_m == pytest.approx(2.9 - 0.3 - 0.009, abs=0.01)


def test_luminance_is_flux_over_pi_and_area() -> None:
    # A Lambertian face of M lumen/m² has the luminance M/π.
    scene = scene_with(leds=60)
    layout = lay_out(scene)
    (found,) = dots_of(scene, layout)
    flux = layout.lumen.sum()  # lumen, all groups, every colour fully on
    area = 0.012 * 3.0
    assert found.luminance_cd_m2 == pytest.approx(flux * 0.6 / area / np.pi)


def test_bare_and_clear_show_their_leds_from_across_a_street() -> None:
    for found in (dots_with(bare=True), dots_with(cover="clear")):
        assert found.ripple == 1.0
        # 16.7 mm at the eye's limit of 30 to 60 cycles a degree: 29 to 57 m (acuity from memory).
        assert 29 < found.visible_within_m < 60


def test_daylight_on_the_cover_hides_a_part() -> None:
    dim, bright = dots_with(lux=2), dots_with(lux=20_000)
    assert bright.ripple == dim.ripple
    assert bright.over_threshold < dim.over_threshold
    assert bright.visible_within_m < dim.visible_within_m


def test_what_the_viewer_cannot_see_does_not_show() -> None:
    away = dots_with(aim="[0, 1, 0]")
    assert not away.in_view
    assert not away.shows
    assert away.visible_within_m > 2.5  # it would, from the other side
    assert dots_with(aim="[0, 0, 1]", side=0.2).in_view  # its side faces the viewer
    behind_board = dots_with(z=2.18)
    assert not behind_board.in_view


def emitter(name: str) -> tuple[np.ndarray, np.ndarray]:
    with (Path(__file__).parents[1] / "reference" / "gaussian_emitters.csv").open() as file:
        row = next(line for line in csv.DictReader(file) if line["name"] == name)
    x, y = float(row["x"]), float(row["y"])
    return np.array([x / y, 1.0, (1 - x - y) / y]), np.array([float(row["u_prime"]), float(row["v_prime"])])


def test_steps_between_groups_of_other_colours() -> None:
    # Source: chromaticities and u'v' of tests/reference/gaussian_emitters.csv; a step is 0.0011 in u'v' (CIE TN 001).
    scene = scene_with(leds=60)
    layout = lay_out(scene)
    (red, red_uv), (green, green_uv) = emitter("red"), emitter("green")
    light = np.tile(red, (layout.groups, 1)) * 5.0
    light[20:] = green * 5.0  # as many lumen: nothing but colour tells them apart
    (found,) = steps_of(scene, layout, light)
    assert found.group == 19
    assert found.contrast == pytest.approx(0.0, abs=1e-12)
    assert found.colour_steps == pytest.approx(np.hypot(*(red_uv - green_uv)) / 0.0011, rel=1e-4)
    # Two groups are 100 mm; a degree at 12 cycles of them is 1.2 m, and 1.2 m fill a degree at 68.8 m (acuity: Mullen 1985, from memory).
    assert found.visible_within_m == pytest.approx(1.2 / np.radians(1), rel=1e-3)

    light[:] = red * 5.0
    light[10] *= 0.5
    (found,) = steps_of(scene, layout, light)
    assert found.contrast == pytest.approx(1 / 3)  # (1 − ½)/(1 + ½)
    assert found.group in (9, 10)
    assert found.colour_steps == pytest.approx(0.0, abs=1e-9)
    assert found.visible_within_m > 5


def test_no_step_where_all_is_alike_or_dark() -> None:
    scene = scene_with(leds=60)
    layout = lay_out(scene)
    for light in (np.zeros((layout.groups, 3)), np.ones((layout.groups, 3))):
        (found,) = steps_of(scene, layout, light)
        assert found.visible_within_m == 0.0


def test_smaller_steps_show_from_less_far() -> None:
    scene = scene_with(leds=60)
    layout = lay_out(scene)
    far = []
    for part in (0.5, 0.9, 0.99, 0.999):
        light = np.ones((layout.groups, 3)) * 4.0
        light[30:] *= part
        far.append(steps_of(scene, layout, light)[0].visible_within_m)
    assert far == sorted(far, reverse=True)
    assert far[-1] < far[0]
