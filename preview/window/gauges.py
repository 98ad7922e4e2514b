"""The two controls: the level with its caps, and the light that is already in the room."""

from __future__ import annotations

from preview.power.cap import Cap
from preview.window.brush import Brush
from preview.window.instruments import Mark, track
from preview.window.ledge import Arrangement, Gauge, Rect
from preview.window.model import LIGHT_STOPS, light_place
from preview.window.palette import AMBER, FAINT, QUIET, TEXT, Rgb
from preview.window.reading import Reading

__all__ = ["draw_gauges", "gauges_key"]


def gauges_key(now: Reading) -> tuple[object, ...]:
    """What the controls show: drawn anew when it changes."""
    session = now.session
    planned = session.playing_look.level
    focus = now.focus if now.focus in ("level", "light") else ""
    return session.level, planned, now.cap, now.cap_any, now.cap_known, session.ambient_lux, focus


def draw_gauges(brush: Brush, at: Arrangement, now: Reading) -> None:
    """Level and room light."""
    _level(brush, at.level, now)
    _light(brush, at.light, now)


def _level(brush: Brush, gauge: Gauge, now: Reading) -> None:
    session, cap, most = now.session, now.cap, now.cap_any
    planned = session.playing_look.level
    over = cap is not None and session.level > cap.level + 1e-9
    marks = [Mark(planned, False, FAINT)]
    if most is not None:
        marks.append(Mark(most.level, False, QUIET))
    if cap is not None:
        marks.append(Mark(cap.level, True, AMBER if over else TEXT))
    _gauge(brush, gauge, "level", f"{session.level:.2f}", session.level, marks, over, cap)
    left, right = _cap_note(brush, gauge, now, over)
    notes = [(most.level, f"any content {most.level:.2f}")] if most is not None and cap is not None else []
    if abs(session.level - planned) > 0.5 / 255:
        notes.append((planned, "planned"))
    taken = [(left, right)]
    for place, text in notes:
        width = brush.width(text, 12)
        x = gauge.track.x + round(place * gauge.track.w) - width // 2
        x = min(max(x, gauge.name.x), gauge.value.right - width)
        if all(x + width + brush.px(8) < a or x > b + brush.px(8) for a, b in taken):
            brush.text(text, x, gauge.notes.middle[1] + brush.px(1), 12, FAINT)
            taken.append((x, x + width))


def _cap_note(brush: Brush, gauge: Gauge, now: Reading, over: bool) -> tuple[int, int]:
    """The cap in words under its mark; a click there sets the level to it. Returns its left and right."""
    cap = now.cap
    colour: Rgb
    if cap is not None:
        by = f", {cap.limited_by}" if cap.limited_by else ""
        text, colour = f"cap {cap.level:.2f}{by}", AMBER if over else QUIET
    else:
        text = "no cap: the effect fails" if now.cap_known else "cap: working it out"
        colour = FAINT
    width = brush.width(text, 13)
    x = gauge.track.x + round((cap.level if cap else 0.0) * gauge.track.w) - width // 2
    x = min(max(x, gauge.track.x), gauge.value.right - width)
    brush.text(text, x, gauge.notes.middle[1] + brush.px(1), 13, colour)
    brush.targets.append(("cap", Rect(x, gauge.notes.y, width, gauge.notes.h)))
    return x, x + width


def _gauge(
    brush: Brush,
    gauge: Gauge,
    name: str,
    value: str,
    place: float,
    marks: list[Mark],
    over: bool = False,
    cap: Cap | None = None,
) -> None:
    y, px = gauge.name.middle[1], brush.px
    colour = AMBER if over else TEXT
    brush.text(name, gauge.name.x, y, 14, QUIET)
    track(brush.surface, gauge.track, place, marks, cap.level if cap else None, colour, brush.unit)
    brush.text(value, gauge.value.right, y, 15, colour, "right")
    across = gauge.track.x - px(8), gauge.track.w + px(16)
    brush.target(
        name,
        Rect(across[0], gauge.track.y - px(4), across[1], gauge.track.h + px(4)),
        Rect(across[0], gauge.track.y + px(1), across[1], gauge.track.h - px(2)),
    )


def _light(brush: Brush, gauge: Gauge, now: Reading) -> None:
    lux = now.session.ambient_lux
    value = f"{lux:.1f} lx" if lux < 10 else f"{lux:.0f} lx"
    marks = [Mark(light_place(stop), False, FAINT) for _, stop in LIGHT_STOPS]
    _gauge(brush, gauge, "light", value, light_place(lux), marks)
    y, px = gauge.notes.middle[1] + brush.px(1), brush.px
    last = gauge.notes.x - px(100)
    for k, (word, stop) in enumerate(LIGHT_STOPS):
        width = brush.width(word, 12)
        x = gauge.track.x + round(light_place(stop) * gauge.track.w) - width // 2
        x = max(x, gauge.track.x - px(4))
        if x < last + px(4):
            continue
        chosen = abs(lux - stop) < 0.05
        brush.text(word, x, y, 12, TEXT if chosen else FAINT)
        brush.targets.append((f"stop {k}", Rect(x - px(2), gauge.notes.y, width + px(4), gauge.notes.h)))
        last = x + width
