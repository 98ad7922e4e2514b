"""What each act does to the session: the same for a key, a click and a drag. No drawing and no clock."""

from __future__ import annotations

from preview.power.cap import Cap
from preview.window.model import LIGHT_STOPS, Session, lux_at
from preview.window.survey import Survey

__all__ = ["do", "focused_act", "set_place"]


def do(session: Session, act: str, cap: Cap | None = None, survey: Survey | None = None) -> bool:
    """Carry out an act by its name; false where it is not about the session (closing, focus, scrolling)."""
    what, _, how = act.partition(" ")
    if what == "play":
        session.playing = not session.playing
    elif what == "time":
        if how in ("start", "end"):
            session.seek(0.0 if how == "start" else session.seconds)
            session.playing = session.playing and how == "start"
        else:
            session.step(float(how))
    elif what == "frame":
        session.step_frame(int(how))
    elif what == "worst":
        _worst(session, how or "shift", survey)
    elif what == "look":
        session.choose(session.look + int(how) if how[0] in "+-" else min(int(how), len(session.looks) - 1))
    elif what == "level":
        _level(session, how, cap)
    elif what == "light":
        if how in ("up", "down"):
            session.step_light(3 if how == "up" else -3)
        else:
            session.next_light(int(how))
    elif what == "stop":
        session.set_light(LIGHT_STOPS[int(how)][1])
    elif what == "drop":
        session.turn_drop("without")
    elif what == "beside":
        session.turn_drop("both")
    elif what == "marks":
        session.marks = not session.marks
    elif what == "page":
        session.turn(how)
    else:
        return False
    return True


def _level(session: Session, how: str, cap: Cap | None) -> None:
    if how == "cap":
        if cap is not None:
            session.set_level(cap.level)
    elif how == "planned":
        session.level_as_planned()
    elif how[0] in "+-":
        session.step_level(int(how))
    else:
        session.set_level(float(how))


def _worst(session: Session, reading: str, survey: Survey | None) -> None:
    """Stop at the moment at which a reading is worst, with marks in the room."""
    if survey is None or survey.shift is None:
        return
    at_s = {"shift": survey.shift_at_s, "dimming": survey.dimming_at_s, "lowest": survey.lowest_at_s}[reading]
    session.playing = False
    session.marks = True
    session.seek(at_s)


def set_place(session: Session, control: str, place: float) -> None:
    """A control set to a place 0..1 along it, by pointer."""
    if control == "time":
        session.seek(place * session.seconds)
    elif control == "level":
        session.set_level(place)
    elif control == "light":
        session.set_light(lux_at(place))


def focused_act(focus: str, act: str) -> str:
    """What an arrow key means while the keys go to a control: it sets that control.

    >>> focused_act("level", "time +1"), focused_act("", "time +1"), focused_act("looks", "time -1")
    ('level +3', 'time +1', 'look -1')
    """
    sideways = {"time +1": 1, "time -1": -1, "frame +1": 1, "frame -1": -1}
    upward = {"level +13": 1, "level -13": -1, "level +1": 1, "level -1": -1}
    way = sideways.get(act, 0) or upward.get(act, 0)
    if not way:
        return act
    if focus == "level":
        return act if act in upward else f"level {way * (1 if act.startswith('frame') else 3):+d}"
    if focus == "light":
        return f"light {'up' if way > 0 else 'down'}"
    if focus == "looks":
        return f"look {way if act in sideways else -way:+d}"
    return act
