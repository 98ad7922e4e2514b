"""Pages that are read over the room: the keys, what a look exceeds, what was assumed, what went wrong."""

from __future__ import annotations

from collections.abc import Sequence

import pygame

from preview.handover.eyes import caution, flash_limit
from preview.window.desk import Desk
from preview.window.keys import KEYS
from preview.window.ledge import Rect
from preview.window.lettering import Lettering
from preview.window.overlay import sheet
from preview.window.palette import ACCENT, FAINT, QUIET, TEXT

__all__ = ["draw_page"]

_Line = tuple[str, str]  # key and what it does; a heading has no second part


def _blocks() -> list[list[_Line]]:
    """The keys, group by group."""
    return [[(heading, ""), *((key.written, key.says) for key in keys)] for heading, keys in KEYS]


def _columns(count: int) -> list[list[_Line]]:
    """The keys in so many columns of about equal length; a group stays together."""
    blocks = _blocks()
    best: list[list[_Line]] = []
    for most in range(max(len(block) for block in blocks), 200):
        columns: list[list[_Line]] = [[]]
        for block in blocks:
            gap = 1 if columns[-1] else 0
            if columns[-1] and len(columns[-1]) + gap + len(block) > most:
                columns.append(list(block))
            else:
                columns[-1] += [("", "")] * gap + block
        best = columns
        if len(columns) <= count:
            break
    return best


def _keys(surface: pygame.Surface, at: Rect, letters: Lettering, scroll: int) -> int:
    """The list of all keys, in as many columns as it takes. Returns how far it can be scrolled, in lines."""
    px = letters.px
    chosen = None
    for columns_wanted, size, line in ((1, 14, 22), (2, 14, 22), (2, 13, 19), (3, 13, 19), (3, 12, 17), (2, 12, 17)):
        columns, pad = _columns(columns_wanted), px({14: 28, 13: 18, 12: 9}[size])
        keys_w = max(letters.width(key, size) for c in columns for key, says in c if says) + px(22)
        column = keys_w + max(letters.width(says, size) for c in columns for _, says in c)
        wide = len(columns) * column + (len(columns) + 1) * pad
        high = max(len(c) for c in columns) * px(line) + 2 * pad
        chosen = columns, size, px(line), pad, keys_w, column, wide, high
        if wide <= at.w - px(24) and high <= at.h - px(24):
            break
    assert chosen is not None
    columns, size, step, pad, keys_w, column, wide, high = chosen
    if wide > at.w - px(24):  # too narrow for two: one, to be scrolled
        columns = _columns(1)
        wide, high = column + 2 * pad, len(columns[0]) * step + 2 * pad
    rect = sheet(surface, at, wide, high, letters.unit)
    most = max(len(part) for part in columns)
    fits = max(1, (rect.h - 2 * pad + px(8)) // step)
    beyond = max(0, most - fits)
    first = min(scroll, beyond)
    for c, part in enumerate(columns):
        x = rect.x + pad + c * (column + pad)
        for k, (key, says) in enumerate(part[first : first + fits]):
            y = rect.y + pad + k * step + step // 2
            letters.draw(surface, key, x, y, size, TEXT if says else ACCENT)
            room = rect.right - px(4) - x - keys_w
            letters.draw(surface, letters.fit(says, room, size), x + keys_w, y, size, QUIET)
    _more(surface, rect, letters, first, beyond)
    return beyond


def _lines(
    surface: pygame.Surface, at: Rect, letters: Lettering, heading: str, lines: Sequence[str], scroll: int
) -> int:
    """A page of plain lines under a heading. Returns how far it can be scrolled, in lines."""
    px = letters.px
    step, pad = px(22), px(28)
    width = min(at.w - px(24), px(760))
    wrapped = [
        (text[:1] == " ", part)
        for text in lines
        for part in letters.wrap(text.strip(" "), width - 2 * pad - (px(18) if text[:1] == " " else 0), 14)
    ]
    rect = sheet(surface, at, width, (len(wrapped) + 2) * step + 2 * pad - px(10), letters.unit)
    fits = max(1, (rect.h - 2 * pad - 2 * step + px(14)) // step)
    beyond = max(0, len(wrapped) - fits)
    first = min(scroll, beyond)
    letters.draw(surface, heading, rect.x + pad, rect.y + pad + px(2), 16, TEXT)
    for k, (further_in, text) in enumerate(wrapped[first : first + fits]):
        x, y = rect.x + pad + (px(18) if further_in else 0), rect.y + pad + px(2) + 2 * step + k * step - px(6)
        letters.draw(surface, text, x, y, 14, TEXT if further_in else QUIET)
    _more(surface, rect, letters, first, beyond)
    return beyond


def _more(surface: pygame.Surface, rect: Rect, letters: Lettering, first: int, beyond: int) -> None:
    if beyond:
        text = "Up and Down: more" if first < beyond else "Up: back"
        letters.draw(surface, text, rect.right - letters.px(16), rect.bottom - letters.px(13), 12, FAINT, "right")


def _breaks(desk: Desk) -> tuple[str, list[str]]:
    survey = desk.survey
    if survey is None or survey.level != desk.session.level or survey.breaks is None:
        return "What this look exceeds at this level", ["Not known yet: the look is still being worked out."]
    if not survey.breaks:
        return "What this look exceeds at this level", ["Nothing: the look keeps every limit at this level."]
    cap = desk.cap
    lines = []
    if cap is not None:
        lines = [f"Level {cap.level:.2f} keeps every limit." if cap.holds else "No level keeps every limit.", ""]
    for k, found in enumerate(survey.breaks):
        lines.append(str(found))
        lines += [f"    {way}" for way in (survey.mends[k] if survey.mends else ())]
    return "What this look exceeds at this level, and what would mend it", lines


def _flashes(desk: Desk) -> list[str]:
    found, limit = desk.flashes, flash_limit(desk.plan.scene)
    if found is None:
        return ["Not known yet: they are counted when the look has been worked out."]
    if found.within(limit):
        says = f"At most {found.per_s:g} in any one second at this level and in this light; {limit:g} are allowed."
        return [says, "", _FLASHES_OF]
    says = caution(found, limit)
    return [
        says[:1].upper() + says[1:] + " in people with photosensitive epilepsy.",
        "Slow the effect, lower its level or its contrast, or keep it out of view.",
        "",
        _FLASHES_OF,
    ]


_FLASHES_OF = (
    "Counted on the picture as it loops, from the viewer's eye, by the definitions of WCAG 2.2, criterion 2.3.1. A measure for "
    "planning, no medical advice and no certificate."
)


def draw_page(surface: pygame.Surface, desk: Desk) -> int:
    """The page that is open, over the room; returns how far it can be scrolled."""
    at, letters, scroll = desk.panel.at.room, desk.letters, desk.scroll
    if desk.session.page == "keys":
        return _keys(surface, at, letters, scroll)
    if desk.session.page == "assumed":
        lines = list(desk.plan.scene.assumed) or ["Nothing: every value is in the scene file."]
        return _lines(surface, at, letters, "Assumed: typical values, not in the scene file", lines, scroll)
    if desk.session.page == "flashes":
        return _lines(surface, at, letters, "Flashes of this look", _flashes(desk), scroll)
    if desk.session.page == "trouble":
        return _lines(surface, at, letters, "What went wrong", [desk.trouble or "Nothing."], scroll)
    heading, lines = _breaks(desk)
    return _lines(surface, at, letters, heading, lines, scroll)
