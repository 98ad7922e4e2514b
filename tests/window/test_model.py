"""The state of the window, without a screen."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from preview.power.cap import Cap
from preview.scene.model import Look
from preview.scene.read import read_scene
from preview.window.acts import do, focused_act, set_place
from preview.window.figures import Worst
from preview.window.keys import KEYS, act_of
from preview.window.model import LIGHT_STOPS, MOST_LUX, Session, light_place, lux_at, snap_level
from preview.window.survey import Survey


def session(*seconds: float, lux: float = 4.0) -> Session:
    looks = tuple(
        Look(name=f"look {k}", effect="steady", seconds=s, level=0.8) for k, s in enumerate(seconds or (12.0,))
    )
    return Session(
        looks=looks, planned_lux=lux, frames_per_s=30.0, ambient_lux=lux, levels=[snap_level(k.level) for k in looks]
    )


def test_time_goes_round_when_playing_and_stands_when_not() -> None:
    now = session(10.0)
    now.advance(9.0)
    now.advance(2.5)
    assert now.time_s == pytest.approx(1.5)
    do(now, "play")
    now.advance(2.0)
    assert now.time_s == pytest.approx(1.5)


def test_a_step_of_a_frame_is_one_over_the_data_rate_and_pauses() -> None:
    now = session(10.0)
    do(now, "frame +1")
    assert not now.playing
    assert now.time_s == pytest.approx(1 / 30)
    do(now, "frame -1")
    do(now, "frame -1")
    assert now.time_s == pytest.approx(10.0 - 1 / 30)


@given(st.floats(-50, 50))
def test_scrubbing_stays_within_the_look(place: float) -> None:
    now = session(7.5)
    set_place(now, "time", place)
    assert 0.0 <= now.time_s < now.seconds


@given(st.floats(-3, 3))
def test_a_level_is_a_whole_code_within_nought_and_one(level: float) -> None:
    code = snap_level(level) * 255
    assert 0 <= code <= 255
    assert code == pytest.approx(round(code), abs=1e-9)
    assert abs(snap_level(level) - min(max(level, 0), 1)) <= 0.5 / 255 + 1e-12


def test_each_look_keeps_its_level_and_the_planned_one_comes_back() -> None:
    now = session(5.0, 6.0)
    do(now, "level 0")
    do(now, "look +1")
    assert now.level == pytest.approx(0.8)
    do(now, "look +1")
    assert now.look == 0
    assert now.level == 0.0
    do(now, "level planned")
    assert now.level == pytest.approx(0.8)


@given(st.floats(0, 1))
def test_room_light_and_its_place_agree(place: float) -> None:
    # 10^(3p) − 1, to a tenth of a lux below 10 and to a whole one above: by the rule of rounding half of that off at most. On the way back,
    # of slope 1/(3·ln 10·(1 + E)), that is 0.05/6.9 = 0.007 of the way in the dark and 0.5/(6.9·11) = 0.007 above 10 lux.
    exact = 10 ** (3 * place) - 1
    assert abs(lux_at(place) - exact) <= (0.05 if exact < 9.95 else 0.5) + 1e-9
    assert light_place(lux_at(place)) == pytest.approx(place, abs=0.008)


def test_named_lights_come_round_with_the_planned_one_among_them() -> None:
    now = session(lux=12.0)
    seen = []
    for _ in range(len(LIGHT_STOPS) + 1):
        do(now, "light +1")
        seen.append(now.ambient_lux)
    assert sorted(seen) == sorted([*(lux for _, lux in LIGHT_STOPS), 12.0])
    do(now, "light -1")
    assert now.ambient_lux == 5.0


def test_more_light_than_the_control_reaches_is_held() -> None:
    now = session(lux=2500.0)
    assert now.ambient_lux == 2500.0
    now.set_light(1e9)
    assert now.ambient_lux == 2500.0
    now = session(lux=5.0)
    now.set_light(1e9)
    assert now.ambient_lux == MOST_LUX


def test_no_key_has_two_meanings() -> None:
    acts = [(code, shift) for _, keys in KEYS for key in keys for code, shift, _ in key.acts]
    assert len(acts) == len(set(acts))


def test_every_key_does_something_that_is_known() -> None:
    for _, keys in KEYS:
        for key in keys:
            for code, shift, act in key.acts:
                assert act_of(code, 1 if shift else 0) == act
                what = act.split()[0]
                assert do(session(5, 6, 7), act) or what in {
                    "instruments",
                    "full",
                    "supplies",
                    "focus",
                    "back",
                    "quit",
                    "point",
                    "letters",
                }


def test_arrows_set_the_control_that_has_the_focus() -> None:
    assert focused_act("light", "level +13") == "light up"
    assert focused_act("level", "level +1") == "level +1"
    assert focused_act("time", "time +1") == "time +1"
    assert focused_act("looks", "level -13") == "look +1"
    assert focused_act("level", "play") == "play"


def test_a_request_is_for_a_whole_frame_at_the_data_rate() -> None:
    now = session(10.0)
    now.seek(3.349)
    assert now.request((640, 360)).frame == 100  # 3.349 s · 30 /s, cut down
    assert now.request((640, 360), ahead=1).frame == 101
    assert now.until_next_s == pytest.approx(101 / 30 - 3.349)
    now.seek(10.0)
    assert now.request((640, 360)).frame == 299
    assert now.request((640, 360), ahead=1).frame == 0


@given(st.floats(0.01, 50), st.floats(1, 60), st.floats(0, 200))
def test_every_time_of_a_look_has_a_frame_of_it(seconds: float, rate: float, time: float) -> None:
    look = Look(name="one", effect="steady", seconds=seconds)
    now = Session(looks=(look,), planned_lux=4, frames_per_s=rate, levels=[1.0])
    now.step(time)
    assert 0 <= now.frame < now.frames
    assert now.until_next_s >= 0


def test_a_scene_that_is_saved_anew_keeps_what_was_being_looked_at(small_room: Path) -> None:
    scene = read_scene(small_room)
    now = Session.of(scene)
    now.choose(1)
    now.set_level(0.4)
    now.seek(2.0)
    now.playing = False
    small_room.write_text(
        small_room.read_text().replace('name = "red"', 'name = "first"').replace("seconds = 4", "seconds = 3")
    )
    new = now.carried_to(read_scene(small_room))
    assert new.playing_look.name == "blue"
    assert new.level == snap_level(0.4)
    assert new.time_s == 2.0
    assert not new.playing
    assert new.edition == now.edition + 1
    assert new.levels[0] == snap_level(new.looks[0].level)
    # A look that has gone: the first one is shown.
    small_room.write_text(small_room.read_text().replace('name = "blue"', 'name = "other"'))
    assert new.carried_to(read_scene(small_room)).look == 0


def test_groups_are_pointed_at_round_the_ends() -> None:
    now = session(5.0)
    now.point(1, 10, start=4)
    assert now.pointed == 4
    now.point(-5, 10)
    assert now.pointed == 9
    now.point(1, 10)
    assert now.pointed == 0


def test_the_level_goes_to_the_cap_and_not_before_it_is_known() -> None:
    now = session(5.0)
    do(now, "level cap", None)
    assert now.level == snap_level(0.8)
    do(now, "level cap", Cap("look 0", 161, "colour"))
    assert now.level == 161 / 255


def test_a_jump_to_the_worst_stops_there() -> None:
    now = session(5.0)
    survey = Survey(
        0, 0.8, 30.0, 150, np.zeros((150, 1)), Worst(9.0, 1, "a", 1), 1.0, None, 0.0, Worst(3.0, 2, "a", 2), 4.0
    )
    do(now, "worst shift", None, survey)
    assert (now.playing, now.marks, now.frame) == (False, True, 120)
    do(now, "worst lowest", None, survey)
    assert now.frame == 30
