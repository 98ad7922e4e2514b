"""Looks in sequence: what plays when, and what a cross-fade sends. Expected values by arithmetic on plain looks."""

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from preview.looks.drives import drive_blocks, find_look, look_drive, look_light, look_times, place_of
from preview.looks.library import looks_of, ready_look
from preview.looks.programme import join_times
from preview.scene.faults import SceneFaults
from preview.scene.layout import lay_out
from preview.scene.model import Scene

SceneWith = Callable[[str], Scene]

LOOKS = """
[[look]]
name = "full"
effect = "proof_full"
seconds = 4
level = 0.8
[[look]]
name = "low"
effect = "proof_full"
seconds = 5
level = 0.5
dials = { light = 0.4 }
[[look]]
name = "water"
effect = "millrace"
seconds = 3
"""
STEPS = """
[[programme]]
look = "full"
fade_s = 1
[[programme]]
look = "low"
seconds = 6
fade_s = 2
[[programme]]
look = "water"
"""


def test_a_scene_without_a_programme_has_its_looks_alone(scene_with: SceneWith) -> None:
    assert [look.name for look in looks_of(scene_with(LOOKS))] == ["full", "low", "water"]


def test_the_programme_is_one_more_look(scene_with: SceneWith) -> None:
    scene = scene_with(LOOKS + STEPS)
    look = looks_of(scene)[-1]
    assert find_look(scene, "programme") == look
    assert look.seconds == 4 + 6 + 3
    assert ready_look(scene, look).period_s == 13


def test_what_plays_when(scene_with: SceneWith) -> None:
    scene = scene_with(LOOKS + STEPS)
    place = place_of(scene, lay_out(scene))
    ready = ready_look(scene, looks_of(scene)[-1])
    # full: 0.8 · 1; low: 0.5 · 0.4. A fade of 2 s from 4 s on: eased share 3x² − 2x³, at x = ½ one half.
    for time, expected in ((1.0, 0.8), (3.9, 0.8), (4.0, 0.8), (5.0, 0.5), (6.0, 0.2), (9.9, 0.2)):
        assert look_light(ready, place, np.array([time])) == pytest.approx(np.full((1, place.groups, 3), expected))
    quarter = 3 * 0.25**2 - 2 * 0.25**3
    assert look_light(ready, place, np.array([4.5]))[0, 0, 0] == pytest.approx(0.8 + quarter * (0.2 - 0.8))
    # The last look starts at its own beginning, and cuts in where it has no fade.
    water = ready_look(scene, scene.look[2])
    assert look_light(ready, place, np.array([10.0, 11.5])) == pytest.approx(
        look_light(water, place, np.array([0.0, 1.5]))
    )
    # Before the first comes the last: half way through its fade of 1 s, half of each.
    last = look_light(water, place, np.array([3.5]), beyond=True)
    assert look_light(ready, place, np.array([0.5])) == pytest.approx(0.5 * 0.8 + 0.5 * last)


def test_frame_by_frame_is_all_at_once(scene_with: SceneWith) -> None:
    scene = scene_with(LOOKS + STEPS)
    layout = lay_out(scene)
    look = looks_of(scene)[-1]
    times = look_times(look, 10.0)
    whole = look_drive(scene, layout, look, times)
    alone = np.concatenate([look_drive(scene, layout, look, times[i : i + 1]) for i in range(times.size)])
    assert np.array_equal(whole, alone)
    at_30 = look_drive(scene, layout, look, look_times(look, 30.0))
    assert np.array_equal(np.concatenate(list(drive_blocks(scene, layout, look, None, 17))), at_30)


def test_outside_a_fade_the_codes_are_the_looks_own(scene_with: SceneWith) -> None:
    scene = scene_with(LOOKS + STEPS)
    layout = lay_out(scene)
    programme = looks_of(scene)[-1]
    for start, look in ((2.0, scene.look[0]), (7.0, scene.look[1])):
        assert np.array_equal(
            look_drive(scene, layout, programme, np.array([start])),
            look_drive(scene, layout, look, np.array([1.0])),
        )


def test_a_fade_longer_than_its_step_is_a_fault_of_the_scene(scene_with: SceneWith) -> None:
    with pytest.raises(SceneFaults, match="2 faults") as caught:
        scene_with(LOOKS + STEPS.replace("fade_s = 2", "fade_s = 7").replace("fade_s = 1", "fade_s = 4.5"))
    assert 'programme[0].fade_s ("full"): expected a fade of at most the 4 s that the step stays, found 4.5 s' in str(
        caught.value
    )
    assert 'programme[1].fade_s ("low"): expected a fade of at most the 6 s that the step stays, found 7 s' in str(
        caught.value
    )
    scene_with(LOOKS + STEPS.replace("fade_s = 2", "fade_s = 6"))


def test_no_look_goes_by_the_name_of_the_programme(scene_with: SceneWith) -> None:
    looks, steps = (text.replace('"water"', '"programme"') for text in (LOOKS, STEPS))
    with pytest.raises(SceneFaults, match=r"look\[2\].*expected another name"):
        scene_with(looks + steps)
    assert scene_with(looks).look[2].name == "programme"


def test_times_that_run_through_every_join(scene_with: SceneWith) -> None:
    # 4 s, 6 s and 3 s, with fades of 1 s, 2 s and none: 13 s in all.
    found = join_times(scene_with(LOOKS + STEPS), 10.0)
    assert [(times[0], times[-1]) for times in found] == [
        (pytest.approx(12.0), pytest.approx(1.9)),  # before the first step comes the last
        (pytest.approx(3.0), pytest.approx(6.9)),
        (pytest.approx(9.0), pytest.approx(10.9)),
    ]
    assert all(np.allclose(np.mod(np.diff(times), 13.0), 0.1) for times in found)


def test_a_programme_of_short_steps_is_looked_at_whole(scene_with: SceneWith) -> None:
    steps = "".join(f'[[programme]]\nlook = "{name}"\nseconds = 0.5\n' for name in ("full", "low", "full", "low"))
    found = join_times(scene_with(LOOKS + steps), 10.0)
    assert len(found) == 1
    assert found[0] == pytest.approx(np.arange(20) / 10)


def test_check_counts_the_flashes_of_a_programme_that_flickers(
    tmp_path: Path, one_shelf: str, covecast: Callable[..., tuple[int, str, str]]
) -> None:
    """Full light and none in turn, a tenth of a second each: five flashes a second, though neither look flashes."""
    dark = '[[look]]\nname = "dark"\neffect = "proof_full"\nlevel = 0\nseconds = 1\n'
    steps = "".join(f'[[programme]]\nlook = "{name}"\nseconds = 0.1\n' for name in ("all on", "dark") * 10)
    room = "[viewer]\neye_m = [0.5, 1.0, 1.0]\nlook_m = [0.5, 0.0, 1.0]\nfield_deg = 60\n"
    (tmp_path / "scene.toml").write_text(one_shelf + dark + steps + room, encoding="utf-8")
    _, out, _ = covecast("check", tmp_path / "scene.toml", "--json")
    told = {one["look"]: one["general_per_s"] for one in json.loads(out)["flashes"]}
    assert told["all on"] == told["dark"] == 0
    assert told["programme"] == pytest.approx(5, abs=0.5)  # tenths fall now on one frame of 1/30 s, now on the next
