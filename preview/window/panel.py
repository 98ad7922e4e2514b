"""The ledge: which control stands where, what it shows, and what lies under the pointer.

It reads a `Reading` of everything and draws; what a click means is said by name, and the event loop acts on it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pygame

from preview.power.cap import Cap
from preview.scene.model import Scene
from preview.window.figures import Moment, Plan, Worst, strain
from preview.window.instruments import Mark, bar, curve_pixels, cutoff, dashes, focus_ring, play_sign, track
from preview.window.ledge import Arrangement, Gauge, Rect, SupplyRow
from preview.window.lettering import Lettering
from preview.window.model import LIGHT_STOPS, Session, light_place
from preview.window.palette import ACCENT, AMBER, FAINT, HAIRLINE, LEDGE, QUIET, RED, TEXT, Rgb
from preview.window.survey import Survey

__all__ = ["STOPS", "Panel", "Reading"]

STOPS = ("looks", "play", "time", "level", "light", "drop", "marks", "breaks", "assumed", "keys")
"""The controls that Tab goes through, in order."""

_ALARM = {"": TEXT, "over": AMBER, "far over": RED}


@dataclass(frozen=True)
class Reading:
    """Everything that the ledge shows at one instant."""

    session: Session
    moment: Moment | None
    survey: Survey | None
    cap: Cap | None
    cap_known: bool
    focus: str
    first_supply: int


class Panel:
    """Draws the ledge and knows its controls. Made anew for every size of the window."""

    def __init__(self, plan: Plan, lettering: Lettering, arrangement: Arrangement) -> None:
        self.plan = plan
        self.type = lettering
        self.at = arrangement
        self.targets: list[tuple[str, Rect]] = []
        """What can be clicked, by name, as last drawn."""
        self._curves: dict[tuple[int, int, float, int, int], pygame.Surface] = {}

    @property
    def scene(self) -> Scene:
        """The scene that is shown."""
        return self.plan.scene

    def target(self, point: tuple[int, int]) -> str | None:
        """Name of the control at a point, or None."""
        for name, rect in self.targets:
            if rect.holds(point):
                return name
        return None

    def supplies_from(self, first: int) -> range:
        """Numbers of the supplies that are shown when the first of them is `first`."""
        count = len(self.plan.supply_names)
        shown = max(len(self.at.rows), 1)
        first = first % count if count > shown else 0
        return range(first, min(first + shown, count))

    def draw(self, surface: pygame.Surface, now: Reading) -> None:
        """Draw the ledge, if there is one."""
        self.targets = []
        if self.at.ledge is None:
            return
        pygame.draw.rect(surface, LEDGE, self.at.ledge)
        self._words(surface, now)
        self._looks(surface, now)
        self._timeline(surface, now)
        self._level(surface, now)
        self._light(surface, now)
        self._readings(surface, now)

    def _target(self, surface: pygame.Surface, name: str, rect: Rect, focus: str, ring: Rect | None = None) -> None:
        self.targets.append((name, rect))
        if focus == name:
            focus_ring(surface, ring or rect)

    # Looks and words ------------------------------------------------------------------------------------------

    def _looks(self, surface: pygame.Surface, now: Reading) -> None:
        field, names = self.at.looks, [look.name for look in now.session.looks]
        gap, line = 22, 26
        lines = max(1, field.h // line)
        across = field.w
        if lines == 1 and sum(self.type.width(name, 16) + gap for name in names) > across + gap:
            across -= 44  # room for which part of the looks is shown
        names = [self.type.fit(name, across, 16) for name in names]
        widths = [self.type.width(name, 16) for name in names]
        places: list[tuple[int, int]] = []
        x = row = 0
        for width in widths:
            if x and x + width > across:
                x, row = 0, row + 1
            places.append((x, row))
            x += width + gap
        first = min(max(places[now.session.look][1] - lines + 1, 0), max(row - lines + 1, 0))
        if row + 1 > lines:  # more than fit: show the lines round the look that plays, and say so
            first = places[now.session.look][1] if lines == 1 else first
        for k, (name, (left, line_number)) in enumerate(zip(names, places, strict=True)):
            shown = line_number - first
            if not 0 <= shown < lines:
                continue
            chosen = k == now.session.look
            y = field.y + shown * line + line // 2
            rect = Rect(field.x + left, y - 13, widths[k], 26)
            self.type.draw(surface, name, rect.x, y, 16, TEXT if chosen else QUIET)
            if chosen:
                pygame.draw.rect(surface, ACCENT, (rect.x, y + 13, rect.w, 2))
                if now.focus == "looks":
                    focus_ring(surface, rect)
            self.targets.append((f"look {k}", rect.grown(4)))
        if row + 1 > lines and lines == 1:
            self.type.draw(surface, f"{first + 1}/{row + 1}", field.right, field.y + 13, 12, FAINT, "right")

    def _words(self, surface: pygame.Surface, now: Reading) -> None:
        session, field = now.session, self.at.words
        words: list[tuple[str, str, Rgb]] = [
            ("drop", "with drop" if session.sagging else "without drop", TEXT if session.sagging else ACCENT),
            ("marks", "marks", ACCENT if session.marks else QUIET),
        ]
        breaks = now.survey.breaks if now.survey else None
        if breaks:
            words.append(("breaks", f"{len(breaks)} over", AMBER))
        if self.scene.assumed:
            words.append(("assumed", f"{len(self.scene.assumed)} assumed", QUIET))
        words.append(("keys", "keys F1", QUIET))
        narrow = field.w < 200
        if narrow:
            words = [word for word in words if word[0] in ("breaks", "keys")]
        x, y = field.right, field.y + 13
        for name, text, colour in reversed(words):
            width = self.type.width(text, 14)
            if x - width < field.x:
                break
            rect = Rect(x - width, y - 13, width, 26)
            self.type.draw(surface, text, rect.x, y, 14, colour)
            self._target(surface, name, rect.grown(3), now.focus, rect)
            x -= width + 20

    # What the supplies draw, over time ------------------------------------------------------------------------

    def _timeline(self, surface: pygame.Surface, now: Reading) -> None:
        at, session = self.at, now.session
        shown = self.supplies_from(now.first_supply)
        for row, supply in zip(at.rows, shown, strict=False):
            self._supply(surface, row, supply, now)
        field = at.timeline
        seconds = session.seconds
        self._seconds(surface, seconds)
        x = field.x + round(field.w * min(session.time_s / seconds, 1.0))
        pygame.draw.line(surface, ACCENT, (x, field.y), (x, at.axis.y + 4))
        pygame.draw.polygon(surface, ACCENT, [(x - 5, at.axis.y + 9), (x + 5, at.axis.y + 9), (x, at.axis.y + 2)])
        self._target(surface, "time", field.grown(2), now.focus, field)
        play_sign(surface, at.play, session.playing)
        self._target(surface, "play", at.play, now.focus)
        clock = f"{session.time_s:.1f} of {seconds:g} s"
        self.type.draw(surface, clock, at.clock.x, at.clock.middle[1], 14, TEXT)
        if len(self.plan.supply_names) > len(shown):
            more = f"{shown[0] + 1}–{shown[-1] + 1} of {len(self.plan.supply_names)}  N"
            width = self.type.width(more, 12)
            right = at.rows[0].label.right
            if at.clock.x + self.type.width(clock, 14) + 12 < right - width:
                self.type.draw(surface, more, right, at.clock.middle[1], 12, FAINT, "right")
            self.targets.append(("supplies", Rect(right - width, at.clock.y, width, 20)))

    def _supply(self, surface: pygame.Surface, row: SupplyRow, supply: int, now: Reading) -> None:
        plan = self.plan
        limit, rating = float(plan.limit_a[supply]), float(plan.rated_a[supply])
        amps = float(now.moment.supply_a[supply]) if now.moment else 0.0
        colour = _ALARM[strain(amps, limit, rating)]
        value = f"{amps:.2f} A"
        of = f" of {rating:g}"
        width = self.type.width(value, 15) + self.type.width(of, 13)
        y = row.label.middle[1]
        alone = row.name != row.label
        name = self.type.fit(plan.supply_names[supply], row.name.w - (0 if alone else width + 8), 14)
        self.type.draw(surface, name, row.name.x, row.name.middle[1], 14, QUIET)
        if now.moment:
            self.type.draw(surface, value, row.label.right - self.type.width(of, 13), y, 15, colour, "right")
            self.type.draw(surface, of, row.label.right, y, 13, FAINT, "right")
        bar(surface, row.bar, amps, limit, rating)
        self._curve(surface, row.curve, row.limit, supply, now)

    def _curve(self, surface: pygame.Surface, rect: Rect, gutter: Rect, supply: int, now: Reading) -> None:
        limit, rating = float(self.plan.limit_a[supply]), float(self.plan.rated_a[supply])
        pygame.draw.line(surface, HAIRLINE, (rect.x, rect.bottom), (rect.right - 1, rect.bottom))
        survey = now.survey
        top = cutoff(survey.supply_a[:, supply] if survey else np.array([0.0]), limit)
        if survey is not None and survey.done:
            key = (survey.look, supply, survey.level, survey.done, rect.w * 10_000 + rect.h)
            found = self._curves.get(key)
            if found is None:
                pixels = curve_pixels(survey.supply_a[:, supply], limit, rating, top, (rect.w, rect.h))
                found = pygame.image.frombuffer(pixels.tobytes(), (rect.w, rect.h), "RGBA")
                if len(self._curves) > 64:
                    self._curves.clear()
                self._curves[key] = found
            found.set_alpha(255 if survey.level == now.session.level else 110)
            surface.blit(found, (rect.x, rect.y))
        y = rect.bottom - round(limit / top * rect.h)
        dashes(surface, rect.x, rect.right, y, FAINT)
        if gutter.w:
            self.type.draw(surface, f"limit {limit:.3g} A", gutter.right, y, 12, FAINT, "right")

    def _seconds(self, surface: pygame.Surface, seconds: float) -> None:
        axis = self.at.axis
        steps = (0.5, 1, 2, 5, 10, 20, 30, 60, 120, 300, 600)
        step = next((s for s in steps if axis.w * s / seconds >= 64), 900)
        for k in range(int(seconds / step + 1e-6) + 1):
            x = axis.x + round(axis.w * k * step / seconds)
            pygame.draw.line(surface, HAIRLINE, (x, axis.y + 2), (x, axis.y + 5))
            text = f"{k * step:g}" if k else "0 s"
            side = "left" if not k else "right" if x > axis.right - 8 else "middle"
            self.type.draw(surface, text, x, axis.y + 14, 12, FAINT, side)  # type: ignore[arg-type]

    # Level and light ------------------------------------------------------------------------------------------

    def _level(self, surface: pygame.Surface, now: Reading) -> None:
        gauge, session = self.at.level, now.session
        cap = now.cap
        over = cap is not None and session.level > cap.level + 1e-9
        marks = [Mark(session.playing_look.level, False, FAINT)]
        if cap is not None:
            marks.append(Mark(cap.level, True, AMBER if over else TEXT))
        self._gauge(surface, gauge, "level", f"{session.level:.2f}", session.level, marks, now, over, cap)
        track_x, w = gauge.track.x, gauge.track.w
        if cap is not None:
            text = f"cap {cap.level:.2f}" + (f", {cap.limited_by}" if cap.limited_by else "")
            colour: Rgb = AMBER if over else QUIET
        elif now.cap_known:
            text, colour = "no cap: the effect fails", FAINT
        else:
            text, colour = "cap: working it out", FAINT
        width = self.type.width(text, 13)
        at = track_x + round((cap.level if cap else 0.0) * w)
        left = min(max(at - width // 2, track_x), gauge.value.right - width)
        self.type.draw(surface, text, left, gauge.notes.middle[1] + 1, 13, colour)
        self.targets.append(("cap", Rect(left, gauge.notes.y, width, gauge.notes.h)))
        planned = "planned"
        at = track_x + round(session.playing_look.level * w) - self.type.width(planned, 12) // 2
        at = min(max(at, track_x), gauge.value.right - self.type.width(planned, 12))
        apart = at > left + width + 8 or at + self.type.width(planned, 12) < left - 8
        if apart and abs(session.level - session.playing_look.level) > 0.5 / 255:
            self.type.draw(surface, planned, at, gauge.notes.middle[1] + 1, 12, FAINT)

    def _gauge(
        self,
        surface: pygame.Surface,
        gauge: Gauge,
        name: str,
        value: str,
        place: float,
        marks: list[Mark],
        now: Reading,
        over: bool = False,
        cap: Cap | None = None,
    ) -> None:
        y = gauge.name.middle[1]
        self.type.draw(surface, name, gauge.name.x, y, 14, QUIET)
        track(surface, gauge.track, place, marks, cap.level if cap else None, AMBER if over else TEXT)
        self.type.draw(surface, value, gauge.value.right, y, 15, AMBER if over else TEXT, "right")
        rect = Rect(gauge.track.x - 8, gauge.track.y - 4, gauge.track.w + 16, gauge.track.h + 4)
        self._target(
            surface,
            name,
            rect,
            now.focus,
            Rect(gauge.track.x - 8, gauge.track.y + 1, gauge.track.w + 16, gauge.track.h - 2),
        )

    def _light(self, surface: pygame.Surface, now: Reading) -> None:
        gauge, session = self.at.light, now.session
        lux = session.ambient_lux
        value = f"{lux:.1f} lx" if lux < 10 else f"{lux:.0f} lx"
        marks = [Mark(light_place(stop), False, FAINT) for _, stop in LIGHT_STOPS]
        self._gauge(surface, gauge, "light", value, light_place(lux), marks, now)
        y = gauge.notes.middle[1] + 1
        last = gauge.notes.x - 100
        for k, (word, stop) in enumerate(LIGHT_STOPS):
            width = self.type.width(word, 12)
            left = gauge.track.x + round(light_place(stop) * gauge.track.w) - width // 2
            left = max(left, gauge.track.x - 4)
            if left < last + 3:
                continue
            chosen = abs(lux - stop) < 0.05
            self.type.draw(surface, word, left, y, 12, TEXT if chosen else FAINT)
            self.targets.append((f"stop {k}", Rect(left - 2, gauge.notes.y, width + 4, gauge.notes.h)))
            last = left + width

    # Readings -------------------------------------------------------------------------------------------------

    def _readings(self, surface: pygame.Surface, now: Reading) -> None:
        if not self.at.readings or now.moment is None:
            return
        limits, moment = self.scene.limits, now.moment
        dead = moment.dead > 0
        rows: list[tuple[str, str, Worst | None, Rgb]] = [
            (
                "lowest",
                f"{moment.lowest_v.value:.2f} V",
                moment.lowest_v,
                RED if dead else TEXT,
            ),
            (
                "dimming",
                f"{100 * moment.dimming.value:.0f} %",
                moment.dimming if moment.dimming.value > 0.005 else None,
                _ALARM[strain(moment.dimming.value, limits.dimming)],
            ),
            (
                "shift",
                f"{moment.shift.value:.1f} steps",
                moment.shift if moment.shift.value > 0.05 else None,
                _ALARM[strain(moment.shift.value, limits.colour_steps)],
            ),
        ]
        for rect, (name, value, worst, colour) in zip(self.at.readings, rows, strict=True):
            y = rect.middle[1]
            self.type.draw(surface, name, rect.x, y, 14, QUIET)
            if self.at.in_one_line:
                x = rect.x + 62
                x += self.type.draw(surface, value, x, y, 15, colour) + 10
            else:
                self.type.draw(surface, value, rect.x + 142, y, 15, colour, "right")
                x = rect.x + 156
            if worst is not None:
                where = self.type.fit(f"{worst.run}, group {worst.number}", rect.right - x, 13)
                self.type.draw(surface, where, x, y, 13, FAINT)
            self.targets.append((f"reading {name}", rect))
