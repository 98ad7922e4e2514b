"""What the supplies draw: now against their rating, and over the whole look with the limit drawn in, above the seconds."""

from __future__ import annotations

import math

import numpy as np
import pygame

from preview.looks.library import PROGRAMME
from preview.window.brush import Brush
from preview.window.figures import strain
from preview.window.instruments import bar, curve_pixels, cutoff, dashes, play_sign
from preview.window.ledge import Arrangement, Rect, SupplyRow
from preview.window.palette import ACCENT, AMBER, FAINT, HAIRLINE, QUIET, RED, TEXT, Rgb
from preview.window.reading import Reading

__all__ = ["ALARM", "clock", "cursor_x", "curves_key", "draw_cursor", "draw_curves", "draw_supplies", "supplies_key"]

ALARM: dict[str, Rgb] = {"": TEXT, "over": AMBER, "far over": RED}

_STEPS_S = (0.5, 1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200)


def clock(seconds: float, whole_s: float) -> str:
    """A time within a look of `whole_s`, with tenths of a second where that is short.

    >>> clock(3.21, 12.0), clock(75.0, 600.0), clock(3725.0, 7200.0)
    ('3.2', '1:15', '1:02:05')
    """
    if whole_s < 120:
        return f"{seconds:.1f}"
    minutes, rest = divmod(int(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"


def _amps(now: Reading, supply: int) -> float:
    return float(now.moment.supply_a[supply]) if now.moment else 0.0


def _strain(now: Reading, supply: int) -> str:
    plan = now.plan
    return strain(_amps(now, supply), float(plan.limit_a[supply]), float(plan.rated_a[supply]))


def _hidden(now: Reading, shown: range) -> str:
    """How far the supplies that are not shown are over their limit."""
    worst = {_strain(now, s) for s in range(len(now.plan.supply_names)) if s not in shown}
    return "far over" if "far over" in worst else "over" if "over" in worst else ""


def supplies_key(now: Reading, shown: range) -> tuple[object, ...]:
    """What the labels of the supplies show: drawn anew when it changes."""
    session = now.session
    amps = tuple((s, round(_amps(now, s), 2), _strain(now, s)) for s in shown)
    time = clock(now.time_s, session.seconds)
    playing = session.playing, session.look, session.edition
    return amps, playing, time, now.moment is None, now.focus == "play", _hidden(now, shown)


def draw_supplies(brush: Brush, at: Arrangement, now: Reading, shown: range) -> None:
    """Names, amps and bars of the supplies that are shown, the sign for playing, and the time."""
    session = now.session
    for row, supply in zip(at.rows, shown, strict=False):
        _supply(brush, row, supply, now)
    play_sign(brush.surface, at.play, session.playing, brush.unit)
    brush.target("play", at.play)
    y = at.clock.middle[1]
    whole = f"{clock(session.seconds, session.seconds)}" if session.seconds >= 120 else f"{session.seconds:g} s"
    brush.text(f"{clock(now.time_s, session.seconds)} of {whole}", at.clock.x, y, 14)
    if not at.rows[0].limit.w:  # no room beside the curves
        longest = brush.width(f"{clock(session.seconds, session.seconds)} of {whole}", 14)
        _more(brush, now, shown, at.clock.x + longest, at.rows[0].label.right, at.clock.y)


def _more(brush: Brush, now: Reading, shown: range, left: int, right: int, top: int) -> None:
    """Which of the supplies are shown, where they are not all; a click shows others."""
    count = len(now.plan.supply_names)
    if count <= len(shown):
        return
    hidden = _hidden(now, shown)
    room, high = right - left - brush.px(8), brush.px(20)
    for text in (f"{shown[0] + 1}–{shown[-1] + 1} of {count}", f"{shown[0] + 1}/{count}"):
        width = brush.width(text, 12)
        if width <= room:
            brush.text(text, right, top + high // 2, 12, ALARM[hidden] if hidden else FAINT, "right")
            brush.targets.append(("supplies", Rect(right - width, top, width, high)))
            return


def _supply(brush: Brush, row: SupplyRow, supply: int, now: Reading) -> None:
    plan = now.plan
    limit, rating = float(plan.limit_a[supply]), float(plan.rated_a[supply])
    value, of = f"{_amps(now, supply):.2f} A", f" of {rating:g}"
    behind = brush.width(of, 13)
    y = row.label.middle[1]
    room = row.name.w - (0 if row.name != row.label else brush.width(value, 15) + behind + brush.px(8))
    brush.text(brush.letters.fit(plan.supply_names[supply], room, 14), row.name.x, row.name.middle[1], 14, QUIET)
    if now.moment:
        brush.text(value, row.label.right - behind, y, 15, ALARM[_strain(now, supply)], "right")
        brush.text(of, row.label.right, y, 13, FAINT, "right")
    bar(brush.surface, row.bar, _amps(now, supply), limit, rating, brush.unit)


def curves_key(now: Reading, shown: range) -> tuple[object, ...]:
    """What the curves show: drawn anew when it changes."""
    survey, session = now.survey, now.session
    of = None if survey is None else (survey.level, survey.done, now.is_of_now)
    return session.look, session.edition, session.seconds, shown, of, now.focus == "time", _hidden(now, shown)


def draw_curves(brush: Brush, at: Arrangement, now: Reading, shown: range) -> None:
    """The curves of the supplies that are shown, their limits, and the seconds beneath; all of it sets the time."""
    for row, supply in zip(at.rows, shown, strict=False):
        _curve(brush, row.curve, row.limit, supply, now)
    _seconds(brush, at, now.session.seconds)
    _step_marks(brush, at, now)
    gutter = at.rows[0].limit
    if gutter.w:
        _more(brush, now, shown, gutter.x, gutter.right, at.axis.y + brush.px(4))
    brush.target("time", at.timeline.grown(brush.px(2)), at.timeline)


def _curve(brush: Brush, rect: Rect, gutter: Rect, supply: int, now: Reading) -> None:
    plan, surface = now.plan, brush.surface
    limit, rating = float(plan.limit_a[supply]), float(plan.rated_a[supply])
    pygame.draw.line(surface, HAIRLINE, (rect.x, rect.bottom), (rect.right - 1, rect.bottom))
    survey = now.survey
    values = survey.supply_a[:, supply] if survey else np.array([0.0])
    if survey is not None and survey.done < len(values):
        values = np.where(np.arange(len(values)) < survey.done, values, np.nan)
    top = cutoff(values, limit)
    if survey is not None and survey.done:
        pixels = curve_pixels(values, limit, rating, top, (rect.w, rect.h))
        drawn = pygame.image.frombuffer(pixels.tobytes(), (rect.w, rect.h), "RGBA")
        drawn.set_alpha(255 if now.is_of_now else 110)
        surface.blit(drawn, (rect.x, rect.y))
    y = rect.bottom - round(limit / top * rect.h)
    dashes(surface, rect.x, rect.right, y, FAINT, brush.unit)
    if gutter.w:
        brush.text(f"limit {limit:.3g} A", gutter.right, max(y, gutter.y + brush.px(7)), 12, FAINT, "right")


def _seconds(brush: Brush, at: Arrangement, seconds: float) -> None:
    axis, px = at.axis, brush.px
    step = next((s for s in _STEPS_S if axis.w * s / seconds >= px(64)), 14400)
    for k in range(math.floor(seconds / step + 1e-6) + 1):
        x = axis.x + round(axis.w * k * step / seconds)
        pygame.draw.line(brush.surface, HAIRLINE, (x, axis.y + px(2)), (x, axis.y + px(5)))
        text = (f"{k * step:g}" if step < 60 else clock(k * step, 3600)) if k else "0" if step >= 60 else "0 s"
        y = axis.y + px(14)
        if not k:
            brush.text(text, x, y, 12, FAINT)
        elif x > axis.right - px(8):
            brush.text(text, x, y, 12, FAINT, "right")
        else:
            brush.text(text, x, y, 12, FAINT, "middle")


def _step_marks(brush: Brush, at: Arrangement, now: Reading) -> None:
    """Where a new look of the programme begins."""
    if now.session.playing_look.effect != PROGRAMME:
        return
    field = at.timeline
    for start_s, _ in now.plan.steps[1:]:
        x = field.x + round(field.w * start_s / now.session.seconds)
        pygame.draw.line(brush.surface, HAIRLINE, (x, field.y), (x, at.axis.y))


def cursor_x(at: Arrangement, now: Reading) -> int:
    """Where the time is on the curves, in pixels."""
    field = at.timeline
    return field.x + round(field.w * min(now.time_s / now.session.seconds, 1.0))


def draw_cursor(brush: Brush, at: Arrangement, x: int) -> None:
    """The line at the time that is shown."""
    px, foot = brush.px, at.axis.y
    pygame.draw.rect(brush.surface, ACCENT, (x, at.timeline.y, max(1, px(1)), foot + px(4) - at.timeline.y))
    points = [(x - px(5), foot + px(9)), (x + px(5), foot + px(9)), (x, foot + px(2))]
    pygame.draw.polygon(brush.surface, ACCENT, points)
