"""Drive codes: rounding, four colours, blocks, times. XYZ by colour-science."""

import math
from pathlib import Path

import colour
import numpy as np
import pytest

from effects import kit
from preview.looks.drives import (
    drive_blocks,
    drive_from_light,
    find_look,
    look_drive,
    look_times,
    place_of,
)
from preview.scene.faults import CovecastError
from preview.scene.layout import Layout, lay_out
from preview.scene.model import Look, Scene
from preview.scene.read import read_scene

PLAN = """
format = 1
title = "two strips (invented)"
[room]
size_m = [5, 3, 2.6]
[strip.four]
volts = 24
leds_per_m = 60
leds_per_group = 6
colours = "rgbw"
milliamp = 20
[strip.three]
volts = 12
leds_per_m = 60
leds_per_group = 3
milliamp = 20
[supply.a]
volts = 24
amps = 5
[supply.b]
volts = 12
amps = 5
[[run]]
name = "upper"
strip = "four"
path_m = [[0.5, 2.9, 2], [3.5, 2.9, 2]]
[[run]]
name = "lower"
strip = "three"
path_m = [[0.5, 2.9, 1], [3.5, 2.9, 1]]
[[feed]]
from = "a"
run = "upper"
cable = { mm2 = 1, length_m = 2 }
[[feed]]
from = "b"
run = "lower"
cable = { mm2 = 1, length_m = 2 }
[[look]]
name = "water"
effect = "millrace"
seconds = 2.5
level = 0.7
[[look]]
name = "plain"
effect = "steady"
seconds = 4
"""


@pytest.fixture(scope="module")
def scene(tmp_path_factory: pytest.TempPathFactory) -> Scene:
    file = tmp_path_factory.mktemp("plan") / "scene.toml"
    file.write_text(PLAN, encoding="utf-8")
    return read_scene(Path(file))


@pytest.fixture(scope="module")
def layout(scene: Scene) -> Layout:
    return lay_out(scene)


def three_colours(layout: Layout) -> Layout:
    from dataclasses import replace

    keep = layout.run_of == 1
    cut = {
        name: getattr(layout, name)[keep][:, :3] for name in ("rated_a", "dark_v", "full_v", "lumen", "xyz_per_lumen")
    } | {name: getattr(layout, name)[keep] for name in ("run_of", "along_m", "has_white", "group_length_m")}
    return replace(layout, first=np.array([0, keep.sum()]), **cut)


def test_codes_round_half_up(layout: Layout) -> None:
    small = three_colours(layout)
    # Exact binary fractions, so that 255·x is exactly a half: 0.5 → 127.5 → 128 (half up), 0.25·2/255 and so on.
    for x, level, expected in ((0.5, 1.0, 128), (1.0, 0.5, 128), (1.0, 1.0, 255), (0.0, 1.0, 0), (1 / 510, 1.0, 1)):
        light = np.full((1, small.groups, 3), x)
        assert (drive_from_light(small, light, level) == expected).all()


def test_codes_are_the_nearest_whole_number(layout: Layout) -> None:
    small = three_colours(layout)
    x = np.linspace(0, 1, small.groups)
    codes = drive_from_light(small, np.repeat(x[None, :, None], 3, axis=2), 0.83)[0, :, 0]
    assert [int(q) for q in codes] == [math.floor(255 * 0.83 * value + 0.5) for value in x]


def xyz_of(layout: Layout, drive: kit.Floats) -> kit.Floats:
    """XYZ (F, G, 3) of drives (F, G, C) at rated current, each colour's xyY by colour-science."""
    total = np.zeros((*drive.shape[:2], 3))
    for c in range(drive.shape[2]):
        xyz = layout.xyz_per_lumen[:, c]
        xy = xyz[:, :2] / xyz.sum(axis=1, keepdims=True)
        flux = drive[:, :, c] * layout.lumen[:, c]
        total += colour.xyY_to_XYZ(np.concatenate([np.broadcast_to(xy, (*flux.shape, 2)), flux[..., None]], axis=-1))
    return total


@pytest.mark.parametrize("level", [1.0, 0.4])
def test_white_taken_out_keeps_xyz(layout: Layout, level: float) -> None:
    rng = np.random.default_rng(4)
    light = rng.uniform(0, 1, (200, layout.groups, 3)) ** 1.5
    codes = drive_from_light(layout, light, level)
    asked = xyz_of(layout, level * light)
    given = xyz_of(layout, codes / 255.0)
    # A code is within half a step of 1/255 of each of the four: at most the sum of half a step of every colour.
    step = 0.5 / 255 * (layout.lumen[:, :, None] * np.abs(layout.xyz_per_lumen)).sum(axis=1)
    assert (np.abs(given - asked) <= step + 1e-9).all()


def test_white_takes_over_what_it_can(layout: Layout) -> None:
    light = np.full((1, layout.groups, 3), 0.5)
    codes = drive_from_light(layout, light, 1.0)[0]
    four, three = layout.run_of == 0, layout.run_of == 1
    assert (codes[four, 3] > 0).all()
    assert (codes[four, :3] < 128).all(axis=1).any()
    assert (codes[three, 3] == 0).all()
    assert (codes[three, :3] == 128).all()
    # Nothing more can be taken out: the white is full, or one of the three is dark, or one is full.
    full_or_dark = (codes[four, 3] == 255) | (codes[four, :3] <= 1).any(axis=1) | (codes[four, :3] >= 254).any(axis=1)
    assert full_or_dark.all()


def test_a_pure_colour_leaves_the_white_dark(layout: Layout) -> None:
    light = np.zeros((1, layout.groups, 3))
    light[:, :, 0] = 1.0
    assert (drive_from_light(layout, light, 1.0)[..., 3] == 0).all()


def test_times_fill_the_look(scene: Scene) -> None:
    times = look_times(scene.look[0], 30)
    assert times.size == 75
    assert times[0] == 0
    assert times[-1] == pytest.approx(74 / 30)
    assert look_times(Look(name="x", effect="steady", seconds=0.001), 30).tolist() == [0.0]


def test_blocks_are_the_look_at_once(scene: Scene, layout: Layout) -> None:
    look = scene.look[0]
    times = look_times(look, scene.assume.data_frames_per_s)
    whole = look_drive(scene, layout, look, times)
    assert whole.dtype == np.uint8
    assert whole.shape == (times.size, layout.groups, 4)
    for size in (1, 7, 1000):
        assert np.array_equal(np.concatenate(list(drive_blocks(scene, layout, look, None, size))), whole)
    assert np.array_equal(look_drive(scene, layout, look, times[13:14]), whole[13:14])


def test_level_is_the_looks_own_unless_given(scene: Scene, layout: Layout) -> None:
    look = scene.look[0]
    own = look_drive(scene, layout, look, np.array([1.0]))
    assert np.array_equal(own, look_drive(scene, layout, look, np.array([1.0]), level=0.7))
    assert not np.array_equal(own, look_drive(scene, layout, look, np.array([1.0]), level=1.0))
    assert not look_drive(scene, layout, look, np.array([1.0]), level=0.0).any()
    with pytest.raises(CovecastError, match=r"level from 0 to 1, found 1\.5"):
        look_drive(scene, layout, look, np.array([1.0]), level=1.5)


@pytest.mark.parametrize("time", [-0.1, 2.6, math.nan, math.inf])
def test_a_time_beyond_the_look_is_an_error(scene: Scene, layout: Layout, time: float) -> None:
    with pytest.raises(CovecastError, match=r"look 'water': expected a time from 0 to 2\.5 s"):
        look_drive(scene, layout, scene.look[0], np.array([time]))


def test_unknown_look_names_the_nearest(scene: Scene) -> None:
    assert find_look(scene, "plain") is scene.look[1]
    assert find_look(scene, None) is scene.look[0]
    with pytest.raises(CovecastError, match="did you mean water"):
        find_look(scene, "watr")
    with pytest.raises(CovecastError, match="has no"):
        find_look(scene.model_copy(update={"look": ()}), None)


def test_place_is_what_the_layout_says(scene: Scene, layout: Layout) -> None:
    place = place_of(scene, layout)
    assert place.room_m == pytest.approx(layout.centre_m)
    assert place.run_length_m[0] == pytest.approx(3.0)
    assert place.primaries[:, :, 1] == pytest.approx(layout.lumen[:, :3])


def test_a_strip_without_light_of_its_own_still_runs(scene: Scene, layout: Layout) -> None:
    from dataclasses import replace

    dark = replace(layout, lumen=np.where([True, True, False, True], layout.lumen, 0.0))
    for name in ("steady", "first_light", "gloaming"):
        codes = look_drive(scene, dark, Look(name="x", effect=name), np.array([3.0]))
        assert codes.shape == (1, layout.groups, 4)
