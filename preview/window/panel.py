"""The ledge: panes that are drawn anew only when what they show has changed, and what lies under the pointer.

It reads a `Reading` of everything and draws; what a click means is said by name, and the event loop acts on it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pygame

from preview.window.brush import Brush
from preview.window.figures import Plan, Worst, strain
from preview.window.gauges import draw_gauges, gauges_key
from preview.window.instruments import focus_ring, mix
from preview.window.ledge import Arrangement, Rect
from preview.window.lettering import Lettering
from preview.window.palette import ACCENT, AMBER, FAINT, LEDGE, QUIET, RED, TEXT, Rgb
from preview.window.reading import Reading
from preview.window.timeline import (
    ALARM,
    clock,
    cursor_x,
    curves_key,
    draw_cursor,
    draw_curves,
    draw_supplies,
    supplies_key,
)

__all__ = ["STOPS", "Panel"]

STOPS = ("looks", "play", "time", "level", "light", "drop", "marks", "breaks", "flashes", "assumed", "keys")
"""The controls that Tab goes through, in order."""

_Words = list[tuple[str, str, Rgb]]

_WORDS = ("drop", "marks", "breaks", "flashes", "assumed", "keys")


@dataclass
class _Pane:
    """A part of the ledge, and what was last drawn there."""

    rect: Rect
    key: object = None
    targets: tuple[tuple[str, Rect], ...] = ()


class Panel:
    """Draws the ledge and knows its controls. Made anew for every size of the window."""

    def __init__(self, plan: Plan, letters: Lettering, arrangement: Arrangement) -> None:
        self.plan = plan
        self.letters = letters
        self.at = arrangement
        self._panes: dict[str, _Pane] = {}
        self._is_bare = True
        self._curves: pygame.Surface | None = None
        self._cursor = -1
        if self.at.ledge is not None:
            self._panes = {name: _Pane(rect) for name, rect in _pane_rects(self.at, letters.px(6)).items()}

    @property
    def targets(self) -> list[tuple[str, Rect]]:
        """What can be clicked, by name, as last drawn."""
        return [target for pane in self._panes.values() for target in pane.targets]

    def target(self, point: tuple[int, int]) -> str | None:
        """Name of the control at a point, or None."""
        for name, rect in self.targets:
            if rect.holds(point):
                return name
        return None

    def forget(self) -> None:
        """What was drawn is gone: everything is drawn the next time."""
        self._is_bare = True
        for pane in self._panes.values():
            pane.key = None

    def supplies_from(self, first: int) -> range:
        """Numbers of the supplies that are shown when the first of them is `first`."""
        count = len(self.plan.supply_names)
        shown = max(len(self.at.rows), 1)
        first = first % count if count > shown else 0
        return range(first, min(first + shown, count))

    def draw(self, surface: pygame.Surface, now: Reading) -> bool:
        """Bring the ledge, if there is one, up to date on a surface that still holds what was drawn last. Whether anything was drawn."""
        if self.at.ledge is None:
            return False
        if self._is_bare:
            pygame.draw.rect(surface, LEDGE, self.at.ledge)
            self._is_bare = False
        at, shown = self.at, self.supplies_from(now.first_supply)
        words, rows = _words(now, self._fit), _readings(now)
        panes: list[tuple[str, object, Callable[[Brush], None]]] = [
            ("looks", _looks_key(now), lambda brush: _draw_looks(brush, at, now)),
            ("words", (words, now.focus), lambda brush: _draw_words(brush, at, words)),
            ("supplies", supplies_key(now, shown), lambda brush: draw_supplies(brush, at, now, shown)),
            ("gauges", gauges_key(now), lambda brush: draw_gauges(brush, at, now)),
        ]
        if at.readings:
            panes.append(("readings", rows, lambda brush: _draw_readings(brush, at, rows)))
        drawn = [self._pane(surface, now, *pane) for pane in panes]
        return self._time(surface, now, shown) or any(drawn)

    def _fit(self, words: _Words) -> bool:
        """Whether the words have room side by side."""
        wide = sum(self.letters.width(text, 14) + self.letters.px(20) for _, text, _ in words)
        return wide - self.letters.px(20) <= self.at.words.w

    def _pane(
        self, surface: pygame.Surface, now: Reading, name: str, key: object, draw: Callable[[Brush], None]
    ) -> bool:
        """Draw a pane if what it shows has changed; whether it was drawn."""
        pane = self._panes[name]
        if pane.key is not None and pane.key == key:
            return False
        pane.key = key
        brush = Brush(surface, self.letters, now.focus)
        surface.set_clip(pygame.Rect(pane.rect))
        pygame.draw.rect(surface, LEDGE, pane.rect)
        draw(brush)
        surface.set_clip(None)
        pane.targets = tuple(brush.targets)
        return True

    def _time(self, surface: pygame.Surface, now: Reading, shown: range) -> bool:
        """The curves, kept as a picture of their own, with the line that moves over them; whether anything was drawn."""
        at, rect = self.at, pygame.Rect(self._panes["time"].rect).clip(surface.get_rect())
        x = cursor_x(at, now)
        if self._pane(surface, now, "time", curves_key(now, shown), lambda brush: draw_curves(brush, at, now, shown)):
            self._curves = surface.subsurface(rect).copy()
        elif x == self._cursor or self._curves is None:
            return False
        else:
            surface.blit(self._curves, rect.topleft)
        self._cursor = x
        draw_cursor(Brush(surface, self.letters), at, x)
        return True


def _pane_rects(at: Arrangement, edge: int) -> dict[str, Rect]:
    """Where each pane lies: what it shows, with room for the ring round a control that has the keys."""

    def around(*rects: Rect, edge: int = edge) -> Rect:
        x, y = min(r.x for r in rects) - edge, min(r.y for r in rects) - edge
        return Rect(x, y, max(r.right for r in rects) + edge - x, max(r.bottom for r in rects) + edge - y)

    labels = [part for row in at.rows for part in (row.name, row.label, row.bar)]
    curves = [part for row in at.rows for part in (row.curve, row.limit) if part.w]
    gauges = [part for gauge in (at.level, at.light) for part in gauge]
    panes = {
        "looks": around(at.looks),
        "words": around(at.words),
        "supplies": around(*labels, at.play, at.clock),
        "time": around(*curves, at.axis),
        "gauges": around(*gauges),
    }
    if at.readings:
        panes["readings"] = around(*at.readings, edge=0)
    return panes


def _looks_key(now: Reading) -> tuple[object, ...]:
    return tuple(look.name for look in now.session.looks), now.session.look, now.focus == "looks", now.step


def _draw_looks(brush: Brush, at: Arrangement, now: Reading) -> None:
    """The names of the looks; where they are too many, the lines round the one that plays."""
    field, names, px = at.looks, [look.name for look in now.session.looks], brush.px
    gap, line, across = px(22), px(26), at.looks.w
    lines = max(1, field.h // line)
    if sum(brush.width(name, 16) + gap for name in names) > lines * (across + gap):
        across -= px(44)  # room for which part of the looks is shown
    names_in_full = names
    names = [brush.letters.fit(name, across, 16) for name in names]
    widths = [brush.width(name, 16) for name in names]
    places: list[tuple[int, int]] = []
    x = row = 0
    for width in widths:
        if x and x + width > across:
            x, row = 0, row + 1
        places.append((x, row))
        x += width + gap
    first = min(max(places[now.session.look][1] - lines // 2, 0), max(row + 1 - lines, 0))
    for k, (name, (left, line_number)) in enumerate(zip(names, places, strict=True)):
        shown = line_number - first
        if not 0 <= shown < lines:
            continue
        chosen = k == now.session.look
        y = field.y + shown * line + line // 2
        rect = Rect(field.x + left, y - px(13), widths[k], px(26))
        brush.text(name, rect.x, y, 16, TEXT if chosen else QUIET)
        if names_in_full[k] == now.step:  # the part of the programme that is being played
            pygame.draw.rect(brush.surface, mix(LEDGE, ACCENT, 0.6), (rect.x, y + px(13), rect.w, max(1, px(1))))
        if chosen:
            pygame.draw.rect(brush.surface, ACCENT, (rect.x, y + px(13), rect.w, px(2)))
            if now.focus == "looks":
                focus_ring(brush.surface, rect, brush.unit)
        brush.targets.append((f"look {k}", rect.grown(px(4))))
    if row + 1 > lines:
        here, of = first + lines, row + 1
        brush.text(f"{here}/{of}", field.right, field.y + line // 2, 12, FAINT, "right")


def _words(now: Reading, fits: Callable[[_Words], bool]) -> tuple[tuple[str, str, Rgb], ...]:
    """The words at the top right: name of what they do, text, colour; those that matter most, where not all fit."""
    session = now.session
    drop = {"with": "with drop", "without": "without drop", "both": "side by side"}[session.drop]
    words: _Words = [
        ("drop", drop, TEXT if session.drop == "with" else ACCENT),
        ("marks", "marks", ACCENT if session.marks else QUIET),
    ]
    if now.breaks:
        words.append(("breaks", f"{now.breaks} over", AMBER))
    if now.flashes_too_often:
        words.append(("flashes", f"{now.flashes_too_often:g} flashes/s", AMBER))
    assumed = now.plan.scene.assumed
    if assumed:
        words.append(("assumed", f"{len(assumed)} assumed", QUIET))
    words.append(("keys", "keys F1", QUIET))
    # A picture without the drop looks better than the room will, so that this is said for as long as there is room for it at all.
    for least in (
        ("assumed", "marks", "drop", "keys") if session.drop == "with" else ("assumed", "keys", "marks", "drop")
    ):
        if fits(words):
            break
        words = [word for word in words if word[0] != least]
    return tuple(words)


def _draw_words(brush: Brush, at: Arrangement, words: tuple[tuple[str, str, Rgb], ...]) -> None:
    field, px = at.words, brush.px
    x, y = field.right, field.y + px(13)
    for name, text, colour in reversed(words):
        width = brush.width(text, 14)
        rect = Rect(x - width, y - px(13), width, px(26))
        brush.text(text, rect.x, y, 14, colour)
        brush.target(name, rect.grown(px(3)), rect)
        x -= width + px(20)


@dataclass(frozen=True)
class _Row:
    """One reading: now, where, and the worst of the whole look with when that is."""

    name: str
    value: str
    where: str
    colour: Rgb
    worst: str
    when: str


def _readings(now: Reading) -> tuple[_Row, ...]:
    """The readings now and over the whole look: name, value, where, colour, and a line on the whole look."""
    moment, survey = now.moment, now.survey
    if moment is None:
        return ()
    limits = now.plan.scene.limits
    whole_s = now.session.seconds
    whole: tuple[tuple[Worst | None, float], ...] = ((None, 0.0),) * 3
    if survey is not None:
        whole = (
            (survey.lowest_v, survey.lowest_at_s),
            (survey.dimming, survey.dimming_at_s),
            (survey.shift, survey.shift_at_s),
        )
    entries = (
        ("lowest", moment.lowest_v, 0.0, RED if moment.dead else TEXT),
        ("dimming", moment.dimming, 0.005, ALARM[strain(moment.dimming.value, limits.dimming)]),
        ("shift", moment.shift, 0.05, ALARM[strain(moment.shift.value, limits.colour_steps)]),
    )
    rows = []
    for (name, here, least, colour), (most, at_s) in zip(entries, whole, strict=True):
        where = f"{here.run}, group {here.number}" if here.value > least else ""
        worst = when = ""
        if survey is not None and most is not None and most.value > least:
            worst = _said(name, most)
            when = f"in the look, at {clock(at_s, whole_s)}" + (" s" if whole_s < 120 else "")
            if not survey.is_whole:
                when = "in the look, so far"
        rows.append(_Row(name, _said(name, here), where, colour, worst, when))
    return tuple(rows)


def _said(name: str, worst: Worst) -> str:
    if name == "lowest":
        return f"{worst.value:.2f} V"
    return f"{100 * worst.value:.0f} %" if name == "dimming" else f"{worst.value:.1f} steps"


def _fit_place(letters: Lettering, where: str, width: int) -> str:
    """A run and its group within so many pixels: where there is too little room the run's name is cut and the group kept."""
    run, comma, group = where.rpartition(", group ")
    if letters.width(where, 13) <= width or not comma:
        return letters.fit(where, width, 13)
    for end in (f", group {group}", f", {group}"):
        left = letters.fit(run, width - letters.width(end, 13), 13)
        if len(left) > 3:
            return left + end
    return letters.fit(where, width, 13)


def _draw_readings(brush: Brush, at: Arrangement, rows: tuple[_Row, ...]) -> None:
    px = brush.px
    names = max((brush.width(row.name, 14) for row in rows), default=0) + px(10)
    for rect, row in zip(at.readings, rows, strict=False):
        y = rect.y + (px(11) if at.two_lines else rect.h // 2)
        brush.text(row.name, rect.x, y, 14, QUIET)
        if at.in_one_line:
            left = rect.x + names
            x = left + max(brush.width(row.value, 15), brush.width(row.worst, 12)) + px(10)
            brush.text(row.value, left, y, 15, row.colour)
        else:
            left, x = rect.x + px(142), rect.x + px(156)
            brush.text(row.value, left, y, 15, row.colour, "right")
        brush.text(_fit_place(brush.letters, row.where, rect.right - x), x, y, 13, FAINT)
        if at.two_lines:
            y += px(16)
            brush.text(row.worst, left, y, 12, FAINT, "left" if at.in_one_line else "right")
            brush.text(brush.letters.fit(row.when, rect.right - x, 12), x, y, 12, FAINT)
        brush.targets.append((f"worst {row.name}", rect))
