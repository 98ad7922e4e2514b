"""The threads beside the window: pictures of the latest wish, trouble kept as words, nothing left running."""

import threading
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from preview.looks import library
from preview.scene.read import read_scene
from preview.window.figures import Plan, open_plan
from preview.window.model import Session
from preview.window.painter import Painter
from preview.window.surveyor import Surveyor

from ..conftest import until

# An effect that fails in the middle of its look, as one that somebody is still writing does.
BREAKS_DOWN = '''"""White until two seconds, then a mistake."""
import numpy as np

MOOD = "calm"
DIALS = ()


def light(place, time_s, dials, seed):
    if (time_s > 2).any():
        return 1 / 0
    return np.ones((len(time_s), place.groups, 3))
'''


@pytest.fixture
def plan(small_room: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Plan:
    script = tmp_path / "breaks_down.py"
    script.write_text(BREAKS_DOWN)
    monkeypatch.setitem(library._named, script.stem, script)
    with small_room.open("a") as file:
        file.write('[[look]]\nname = "broken"\neffect = "breaks_down"\nseconds = 4\n')
    return open_plan(read_scene(small_room))


def test_pictures_come_and_trouble_leaves_the_last_one(plan: Plan) -> None:
    session = Session.of(plan.scene)
    painter = Painter(plan, session.looks)
    painter.start()
    try:
        painter.ask(session.request((160, 90)))
        until(lambda: painter.shown.picture is not None)
        lit = painter.shown.picture
        assert lit is not None
        assert lit.shape == (90, 160, 3)
        # Light that is fully red is red on the screen, and one that is fully blue is blue.
        assert lit[..., 0].mean() > 2 * lit[..., 2].mean()
        session.choose(1)
        painter.ask(session.request((160, 90)))
        until(lambda: painter.shown.moment is not None and painter.shown.moment.request.look == 1)
        blue = painter.shown.picture
        assert blue is not None
        assert blue[..., 2].mean() > 2 * blue[..., 0].mean()
        session.choose(3)
        session.seek(3.0)
        painter.ask(session.request((160, 90)))
        until(lambda: bool(painter.shown.trouble))
        assert "breaks_down.py:10" in painter.shown.trouble
        assert "ZeroDivisionError" in painter.shown.trouble
        assert painter.shown.picture is not None
        session.choose(0)
        painter.ask(session.request((160, 90)))
        until(lambda: not painter.shown.trouble)
        assert painter.shown.picture is not None
        assert np.abs(painter.shown.picture.astype(int) - lit).mean() < 3
    finally:
        painter.stop()
    assert "painter" not in {thread.name for thread in threading.enumerate()}


def test_level_nothing_leaves_only_the_rooms_own_light(plan: Plan) -> None:
    session = Session.of(plan.scene)
    painter = Painter(plan, session.looks)
    painter.start()
    try:
        brightness = []
        for level in (1.0, 0.4, 0.0):
            session.set_level(level)
            before = painter.shown.number
            wanted = session.level
            painter.ask(session.request((160, 90)))
            until(lambda b=before, w=wanted: painter.shown.number > b and painter.shown.moment.request.level == w)
            assert painter.shown.picture is not None
            brightness.append(float(painter.shown.picture.mean()))
        assert brightness[0] > brightness[1] > brightness[2] > 0
    finally:
        painter.stop()


def test_the_surveyor_brings_curve_breaks_and_every_cap(plan: Plan) -> None:
    session = Session.of(plan.scene)
    surveyor = Surveyor(plan, session.looks)
    surveyor.start()
    try:
        surveyor.ask(0, 1.0, 1.0)
        until(lambda: len(surveyor.caps) == 4 and surveyor.surveys[0].mends is not None)
        assert surveyor.surveys[0].is_whole
        assert surveyor.caps[3] is None  # the broken one
        for look in range(3):
            assert surveyor.caps[look] is not None
        surveyor.ask(3, 1.0, 1.0)
        until(lambda: 3 in surveyor.surveys and bool(surveyor.surveys[3].trouble))
        assert "breaks_down.py" in surveyor.surveys[3].trouble
        surveyor.ask(0, 0.5, 1.0)
        until(lambda: surveyor.surveys[0].level == 0.5 and surveyor.surveys[0].is_whole)
    finally:
        surveyor.stop()
    assert "surveyor" not in {thread.name for thread in threading.enumerate()}


def test_closing_while_the_room_is_being_laid_out(plan: Plan) -> None:
    session = Session.of(plan.scene)
    painter = Painter(plan, session.looks)
    painter.start()
    painter.ask(replace(session.request((640, 360))))
    painter.stop()
    assert "painter" not in {thread.name for thread in threading.enumerate()}


def test_a_room_in_which_nothing_moves_is_not_painted_again(plan: Plan) -> None:
    session = Session.of(plan.scene)
    painter = Painter(plan, session.looks)
    painter.start()
    try:
        painter.ask(session.request((160, 90)))
        until(lambda: painter.shown.picture is not None)
        for change, paints in (
            (lambda: session.step_frame(1), 0),
            (lambda: session.set_level(0.5), 1),
            (lambda: session.choose(2), 1),
        ):
            change()
            before = painter.take()
            painter.ask(session.request((160, 90)))
            until(lambda b=before: painter.shown.number > b.number)
            assert painter.shown.painted == before.painted + paints
            assert painter.shown.moment is not None
            assert painter.shown.moment.request == session.request((160, 90))
    finally:
        painter.stop()


def test_what_nobody_expected_ends_the_thread_and_is_handed_over(plan: Plan, monkeypatch: pytest.MonkeyPatch) -> None:
    told = threading.Event()
    session = Session.of(plan.scene)
    painter = Painter(plan, session.looks, tell=told.set)
    monkeypatch.setattr(painter, "_paint", lambda request: 1 / 0)
    painter.start()
    painter.ask(session.request((160, 90)))
    assert told.wait(60)
    until(lambda: painter.failure is not None)
    assert isinstance(painter.failure, ZeroDivisionError)
