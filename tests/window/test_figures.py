"""The figures of the window: against Ohm's law by hand, and against what the meter says of the same look."""

from pathlib import Path

import numpy as np
import pytest

from preview.looks import library
from preview.looks.drives import drive_blocks
from preview.power.meter import meter_frames
from preview.scene.model import Scene
from preview.scene.read import read_scene
from preview.window.eyes import Eyes
from preview.window.figures import Plan, group_reading, moment, moment_of, open_plan, sample_xyz, shown_xyz
from preview.window.model import Request, Session
from preview.window.survey import Survey, survey_slices

ONE_GROUP = """
format = 1
title = "One group"
[room]
size_m = [3.0, 3.0, 2.5]
[viewer]
eye_m = [1.5, -1.0, 1.5]
look_m = [1.5, 3.0, 1.2]
[strip.s]
volts = 12
leds_per_m = 10
leds_per_group = 1
rail_milliohm_per_m = [0, 0]
idle_milliamp_per_group = 0
regulated = true
[strip.s.red]
milliamp = 1000
dark_v = 5.0
full_v = 11.0
lumen = 100
xy = [0.69, 0.308]
[strip.s.green]
milliamp = 1000
dark_v = 6.0
full_v = 8.0
lumen = 200
xy = [0.17, 0.70]
[strip.s.blue]
milliamp = 0
dark_v = 6.0
full_v = 8.0
lumen = 0
xy = [0.14, 0.05]
[supply.psu]
volts = 12
amps = 2
output_milliohm = 1500
[[run]]
name = "one"
strip = "s"
path_m = [[1.0, 2.9, 1.0], [1.1, 2.9, 1.0]]
aim = [0, -1, 0]
[[feed]]
from = "psu"
run = "one"
cable = { mm2 = 1.0, length_m = 0 }
[[look]]
name = "on"
effect = "red_and_green"
seconds = 2
level = 1.0
"""

SCRIPT = '''"""Red and green fully on."""
import numpy as np

MOOD = "calm"
DIALS = ()


def light(place, time_s, dials, seed):
    return np.broadcast_to([1.0, 1.0, 0.0], (len(time_s), place.groups, 3)).copy()
'''


@pytest.fixture
def one_group(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Plan:
    script = tmp_path / "red_and_green.py"
    script.write_text(SCRIPT)
    monkeypatch.setitem(library._named, script.stem, script)
    file = tmp_path / "scene.toml"
    file.write_text(ONE_GROUP)
    return open_plan(read_scene(file))


def request(frame: int = 0, level: float = 1.0) -> Request:
    return Request(0, frame, level, 5.0, "with", (320, 180))


def test_one_group_by_hand(one_group: Plan) -> None:
    plan = one_group
    found, _ = moment(plan, plan.scene.look[0], request())
    # By hand: green holds 1 A above 8 V; red draws (v − 5)/6 A. v = 12 − 1.5·(1 + (v − 5)/6) → 1.25·v = 11.75 → v = 9.4 V,
    # red at g = 4.4/6, total 1.7333 A.
    assert found.lowest_v.value == pytest.approx(9.4, abs=1e-6)
    assert found.supply_a[0] == pytest.approx(1 + 4.4 / 6, abs=1e-6)
    # Light: 100 lm · 4.4/6 + 200 lm of 300 lm
    assert found.dimming.value == pytest.approx(1 - (100 * 4.4 / 6 + 200) / 300, abs=1e-6)
    # Shift: distance in CIE 1976 u'v' of the two mixes, in steps of 0.0011
    assert found.shift.value == pytest.approx(shift_by_hand(4.4 / 6), abs=1e-3)
    assert found.shift.run == "one"
    assert found.shift.number == 0
    assert shown_xyz(plan, found)[0, 1] == pytest.approx(100 * 4.4 / 6 + 200, rel=1e-6)
    assert shown_xyz(plan, found, sagging=False)[0, 1] == pytest.approx(300.0, rel=1e-9)
    group = group_reading(plan, found, 0)
    assert (group.run, group.number, group.along_m) == ("one", 0, pytest.approx(0.05))
    assert group.volts == pytest.approx(9.4, abs=1e-6)
    assert group.amps == pytest.approx(1 + 4.4 / 6, abs=1e-6)
    assert group.light == pytest.approx((100 * 4.4 / 6 + 200) / 300, abs=1e-6)
    assert group.steps == pytest.approx(shift_by_hand(4.4 / 6), abs=1e-3)


def shift_by_hand(red_left: float) -> float:
    def xyz(xy: tuple[float, float], lumen: float) -> np.ndarray:
        x, y = xy
        return lumen * np.array([x / y, 1.0, (1 - x - y) / y])

    def uv(v: np.ndarray) -> np.ndarray:
        return np.array([4 * v[0], 9 * v[1]]) / (v[0] + 15 * v[1] + 3 * v[2])

    red, green = xyz((0.69, 0.308), 100), xyz((0.17, 0.70), 200)
    return float(np.linalg.norm(uv(red + green) - uv(red_left * red + green)) / 0.0011)


def test_exposure_is_not_set_by_the_level_that_is_tried(one_group: Plan) -> None:
    plan = one_group
    session = Session.of(plan.scene)
    before = sample_xyz(plan, session.playing_look)
    session.set_level(0.0)
    assert np.array_equal(before, sample_xyz(plan, session.playing_look))


def last_survey(plan: Plan, number: int, level: float) -> Survey:
    done = 0
    for part in survey_slices(plan, plan.scene.look, number, level):  # which share their arrays: looked at as they come
        assert part.done > done
        assert np.isnan(part.supply_a[part.done :]).all()
        assert np.isfinite(part.supply_a[: part.done]).all()
        done = part.done
    return part


@pytest.fixture(scope="module")
def gallery() -> Scene:
    from preview.scene.read import find_scene

    return read_scene(find_scene("gallery_hall"))


def test_the_curve_is_what_the_meter_reads(gallery: Scene) -> None:
    plan = open_plan(gallery)
    look = plan.scene.look[0]
    survey = last_survey(plan, 0, 0.7)
    rate = plan.scene.assume.data_frames_per_s
    metered = meter_frames(
        plan.scene, plan.layout, plan.network, drive_blocks(plan.scene, plan.layout, look, 0.7), rate, name=look.name
    )
    assert survey.is_whole
    # Two ways of cutting a look into blocks: volts agree to the solver's own 1 µV, amps to as many µA.
    np.testing.assert_allclose(survey.supply_a, metered.supply_a, atol=5e-6)
    assert survey.shift is not None
    assert survey.lowest_v is not None
    assert survey.shift.value == pytest.approx(metered.colour_steps.max(), abs=1e-3)
    assert survey.lowest_v.value == pytest.approx(metered.lowest_v.min(), abs=2e-6)


def test_a_moment_is_a_point_of_the_curve(gallery: Scene) -> None:
    plan = open_plan(gallery)
    survey = last_survey(plan, 1, 0.9)
    for frame in (0, 17, 100):
        request = Request(1, frame, 0.9, 5.0, "with", (320, 180))
        found, _ = moment(plan, plan.scene.look[1], request)
        np.testing.assert_allclose(found.supply_a, survey.supply_a[frame], atol=5e-6)
        # The moment that was kept is the one that is worked out anew; its volts are kept with seven figures.
        assert survey.moments is not None
        kept = moment_of(plan, survey.moments, frame, request)
        np.testing.assert_array_equal(kept.codes, found.codes)
        np.testing.assert_allclose(kept.group_v, found.group_v, atol=4e-6)
        assert kept.shift.value == pytest.approx(found.shift.value, abs=1e-3)
        assert kept.dimming.group == found.dimming.group
        assert kept.lowest_v.value == pytest.approx(found.lowest_v.value, abs=4e-6)


def test_the_programme_is_metered_over_its_whole_length(small_room: Path, programme_text: str) -> None:
    small_room.write_text(small_room.read_text() + programme_text)
    plan = open_plan(read_scene(small_room))
    looks = Session.of(plan.scene).looks
    assert [look.name for look in looks] == ["red", "blue", "moving", "programme"]
    assert plan.steps == ((0.0, "red"), (2.0, "blue"))
    for survey in survey_slices(plan, looks, 3, 1.0):
        whole = survey
    assert whole.is_whole
    assert whole.frames == 150  # 2 s and 3 s at 30 a second
    # By hand: 32 groups of one steady colour each; what the supply gives while it is red, and while it is blue.
    for frame, number in ((20, 0), (59, 0), (95, 1), (140, 1)):
        alone, _ = moment(plan, looks[number], Request(number, 0, looks[number].level, 1.0, "with", (64, 64)))
        assert whole.supply_a[frame, 0] == pytest.approx(alone.supply_a[0], abs=1e-5)
    # In the middle of the fade, at 2.5 s, an eased share of one half of each: within a code of half of both.
    assert whole.moments is not None
    mixed = whole.moments.codes[75].astype(float)
    both = sum(whole.moments.codes[frame].astype(float) for frame in (20, 140))
    np.testing.assert_allclose(mixed, both / 2, atol=1.0)


FLASHING = '''"""White and dark, five times a second."""
import numpy as np

MOOD = "festive"
DIALS = ()


def light(place, time_s, dials, seed):
    on = np.floor(time_s * 10 + 1e-6) % 2 == 0
    return np.ones((len(time_s), place.groups, 3)) * on[:, None, None]
'''


def test_flashes_are_counted_as_the_standard_defines_them(
    small_room: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    script = tmp_path / "on_and_off.py"
    script.write_text(FLASHING)
    monkeypatch.setitem(library._named, script.stem, script)
    with small_room.open("a") as file:
        file.write('[[look]]\nname = "flashing"\neffect = "on_and_off"\nseconds = 2\n')
    plan = open_plan(read_scene(small_room))
    eyes, looks = Eyes(plan), plan.scene.look
    # WCAG 2.2, glossary: a flash is a pair of opposing changes; white and dark by turns, ten changes a second, are five of them.
    found = eyes.count(looks[3], Request(3, 0, 1.0, 1.0, "with", (0, 0)), None, lambda: None)
    assert found.general_per_s == 5
    assert not found.within(3)
    # The same from moments that were kept; none at all where nothing moves, or where daylight drowns it.
    for survey in survey_slices(plan, looks, 3, 1.0):
        whole = survey
    kept = eyes.count(looks[3], Request(3, 0, 1.0, 1.0, "with", (0, 0)), whole.moments, lambda: None)
    assert kept == found
    assert eyes.count(looks[0], Request(0, 0, 1.0, 1.0, "with", (0, 0)), None, lambda: None).per_s == 0
    assert eyes.count(looks[3], Request(3, 0, 1.0, 20_000.0, "with", (0, 0)), None, lambda: None).per_s == 0
