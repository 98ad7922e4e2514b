"""What a label leaves out is filled so that the whole is sound: its power adds up, and its light comes on below its volts."""

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings

from preview.scene.fill import assumed_words, fill, leds_in_series, typical_watts_per_m
from preview.scene.model import Colour, Scene, Strip
from preview.scene.tables import shape_faults


def plan(strip: dict[str, object], **more: object) -> dict[str, object]:
    return {
        "format": 1,
        "title": "t",
        "strip": {"s": strip},
        "supply": {"p": {"volts": 12, "amps": 5}},
        "run": [{"name": "r", "strip": "s", "path_m": [[0.4, 2.5, 1.0], [2.4, 2.5, 1.0]]}],
        "feed": [{"from": "p", "run": "r", "cable": {"mm2": 1, "length_m": 1}}],
        **more,
    }


def filled(strip: dict[str, object], **more: object) -> Scene:
    tables, assumed = fill(plan(strip, **more))
    return Scene.model_validate({**tables, "assumed": assumed})


def colours(strip: Strip) -> list[Colour]:
    return [colour for colour in (strip.red, strip.green, strip.blue, strip.white) if colour is not None]


LABELS = st.fixed_dictionaries(
    {
        "volts": st.floats(3, 60),
        "leds_per_m": st.floats(10, 500),
        "leds_per_group": st.integers(1, 24),
        "watts_per_m": st.floats(0.5, 60),
        "colours": st.sampled_from(["rgb", "rgbw"]),
    }
)


@settings(max_examples=60, deadline=None)
@given(LABELS)
def test_any_label_makes_a_sound_strip(label: dict[str, object]) -> None:
    strip = filled(label).strip["s"]
    # electric power is voltage times current: what the groups of a metre draw is what the label says
    drawn_a = sum(colour.milliamp for colour in colours(strip)) + strip.idle_milliamp_per_group
    assert drawn_a / 1000 * strip.volts / strip.cut_m == pytest.approx(strip.watts_per_m, rel=1e-9)
    for colour in colours(strip):
        assert 0 < colour.dark_v < colour.full_v <= 0.95 * strip.volts
        assert colour.lumen > 0
    assert strip.red.full_v <= strip.blue.full_v  # red LEDs need less voltage: common practice, no source
    assert (strip.white is not None) == (strip.colours == "rgbw")


def test_a_current_on_the_label_is_that_of_each_colour() -> None:
    strip = filled({"volts": 24, "leds_per_m": 60, "leds_per_group": 6, "milliamp": 15}).strip["s"]
    assert [colour.milliamp for colour in colours(strip)] == [15, 15, 15]


def test_what_is_given_is_kept_and_not_listed() -> None:
    scene = filled(
        {
            "volts": 12,
            "leds_per_m": 60,
            "leds_per_group": 3,
            "watts_per_m": 9.6,
            "rail_milliohm_per_m": [50, 55],
            "red": {"milliamp": 20, "full_v": 7.0},
            "blue": {"xy": [0.14, 0.05]},
        }
    )
    strip = scene.strip["s"]
    assert strip.rail_milliohm_per_m == (50, 55)
    assert (strip.red.milliamp, strip.red.full_v) == (20, 7)
    assert strip.blue.xy == (0.14, 0.05)
    # 9.6 W/m · 0.05 m / 12 V = 40 mA a group; 20 are red's and 0.8 idle, the rest is shared by green and blue
    assert strip.green.milliamp == pytest.approx((40 - 20 - 0.8) / 2)
    given_keys = {"rail_milliohm_per_m", "red.milliamp", "red.full_v", "blue.xy"}
    assert not {f"strip.s.{key}" for key in given_keys} & set(scene.assumed)
    assert {"strip.s.regulated", "strip.s.red.dark_v", "strip.s.green.xy", "strip.s.blue.lumen"} <= set(scene.assumed)


def test_an_odd_knee_still_gets_its_other_end() -> None:
    label = {"volts": 12, "leds_per_m": 60, "leds_per_group": 3, "watts_per_m": 9.6}
    low = filled({**label, "red": {"full_v": 2.0}, "blue": {"dark_v": 11.9}}).strip["s"]
    assert low.red.dark_v < 2.0
    assert low.blue.full_v > 11.9


def test_a_white_may_be_given_by_its_temperature() -> None:
    label = {"volts": 24, "leds_per_m": 60, "leds_per_group": 6, "watts_per_m": 18, "colours": "rgbw"}
    warm = filled({**label, "white": {"kelvin": 2700}})
    white = warm.strip["s"].white
    assert white is not None
    assert white.xy == pytest.approx(
        (0.459859, 0.410599), abs=3e-5
    )  # Planckian locus, 1 nm sums of the CIE 1931 functions
    assert "strip.s.white.xy" not in warm.assumed
    assert "strip.s.white.xy" in filled(label).assumed


def test_facts_of_the_trade() -> None:
    """Common practice, no source."""
    assert leds_in_series(5, 1) == 1
    assert leds_in_series(12, 3) == 3
    assert leds_in_series(24, 6) == 6
    assert leds_in_series(24, 8) == 7  # eight blue LEDs at 3.3 V are more than 24 V
    # strips of 60 LEDs a metre are sold with 7 to 18 W/m
    assert 7 < typical_watts_per_m(12, 60, 3) < 18
    assert 7 < typical_watts_per_m(5, 60, 1) < 18


def test_a_plan_without_a_room_gets_one_it_fits_in() -> None:
    label = {"volts": 12, "leds_per_m": 60, "leds_per_group": 3, "watts_per_m": 9.6}
    scene = filled(label)
    assert {"room", "viewer", "look"} <= set(scene.assumed)
    for point in scene.run[0].path_m:
        assert all(0 <= at <= side for at, side in zip(point, scene.room.size_m, strict=True))
    assert scene.viewer.eye_m[1] < scene.run[0].path_m[0][1]
    assert (scene.look[0].effect, scene.look[0].level) == ("steady", 1.0)
    given_room = filled(label, room={"size_m": [3, 3, 3]}, look=[{"name": "x", "effect": "y"}])
    assert not {"room", "look"} & set(given_room.assumed)
    assert given_room.room.finish.floor.startswith("#")


def test_a_wrong_label_makes_no_echo() -> None:
    tables, _ = fill(plan({"volts": "12", "leds_per_m": 60, "leds_per_group": 3, "watts_per_m": [], "red": 3}))
    assert set(shape_faults(tables)) == {("strip", "s", "volts"), ("strip", "s", "watts_per_m"), ("strip", "s", "red")}


def test_what_was_filled_in_words() -> None:
    scene = filled({"volts": 12, "leds_per_m": 60, "leds_per_group": 3, "watts_per_m": 9.6})
    words = assumed_words(scene.assumed)
    assert words[0].startswith("typical values for strip s (")
    assert "rails" in words[0]
    assert words[-2:] == ["a viewer of our own", "a look of our own"]
    assert assumed_words(()) == []
