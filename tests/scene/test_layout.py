"""Groups in their places: how many, how long, where, against counting and plane geometry."""

from pathlib import Path

import numpy as np
import pytest

from preview.scene.layout import group_count, lay_out, path_length_m, places_on_path
from preview.scene.model import Run, Strip
from preview.scene.read import read_scene

DATA = Path(__file__).parent / "data"


def straight(length_m: float) -> Run:
    return Run.model_validate({"name": "r", "strip": "s", "path_m": [[0, 0, 0], [length_m, 0, 0]]})


def strip(leds_per_m: float, leds_per_group: int) -> Strip:
    colour = {"milliamp": 10, "dark_v": 5, "full_v": 7, "lumen": 1, "xy": [0.3, 0.3]}
    return Strip.model_validate(
        {
            "volts": 12,
            "leds_per_m": leds_per_m,
            "leds_per_group": leds_per_group,
            "rail_milliohm_per_m": [70, 70],
            "idle_milliamp_per_group": 1,
            **dict.fromkeys(("red", "green", "blue"), colour),
        }
    )


@pytest.mark.parametrize(
    ("length_m", "leds_per_m", "leds_per_group", "groups"),
    [
        (5.0, 96, 3, 160),  # common practice, no source: a 5 m reel with 96 LEDs a metre in groups of three
        (10.0, 96, 3, 320),  # and two such reels
        (5.0, 60, 3, 100),
        (5.0, 84, 3, 140),
        (1.5, 60, 1, 90),
        (0.999, 60, 6, 9),  # cut down to whole groups of 100 mm
    ],
)
def test_addresses_of_a_length(length_m: float, leds_per_m: float, leds_per_group: int, groups: int) -> None:
    assert group_count(straight(length_m), strip(leds_per_m, leds_per_group)) == groups


def test_places_go_round_a_corner() -> None:
    run = Run.model_validate({"name": "r", "strip": "s", "path_m": [[0, 0, 1], [3, 0, 1], [3, 0, 1], [3, 4, 1]]})
    assert path_length_m(run) == pytest.approx(7)
    points, tangents = places_on_path(run, np.array([0.0, 2.0, 3.0, 5.0, 7.0]))
    assert points == pytest.approx(np.array([[0, 0, 1], [2, 0, 1], [3, 0, 1], [3, 2, 1], [3, 4, 1]]))
    assert tangents == pytest.approx(np.array([[1, 0, 0], [1, 0, 0], [0, 1, 0], [0, 1, 0], [0, 1, 0]]))


def test_arrays_of_a_scene() -> None:
    scene = read_scene(DATA / "corner.toml")
    layout = lay_out(scene)
    # 2.4, 2.4 and 3.2 m at 84 LEDs a metre in threes: 67.2, 67.2 and 89.6 groups
    assert np.diff(layout.first).tolist() == [67, 67, 89]
    assert (layout.groups, layout.colours) == (223, 3)
    assert layout.along_m[:2] == pytest.approx([3 / 84 / 2, 3 / 84 * 1.5])
    assert layout.name_of(67) == ("plinth", 0)
    assert layout.centre_m[67] == pytest.approx([3.0 - 3 / 84 / 2, 2.6, 0.1])
    assert layout.aim[67] == pytest.approx([0, -np.sqrt(0.5), -np.sqrt(0.5)])
    assert layout.rated_a[0] == pytest.approx([0.012, 0.012, 0.012])
    assert layout.xyz_per_lumen[0, 0] == pytest.approx([0.690 / 0.308, 1, 0.002 / 0.308])  # X = x/y, Z = (1 − x − y)/y
    assert layout.reset_v[0] == 6.5


def test_a_fourth_colour_comes_last() -> None:
    layout = lay_out(read_scene(DATA / "everything.toml"))
    assert layout.colours == 4
    assert layout.has_white.all()
    assert layout.lumen[0].tolist() == [6.2, 15, 3, 38]
    assert layout.groups == 27 + 50 + 17
