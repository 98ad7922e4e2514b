"""What is laid over the lit room: rings and arrows where it is worst, the readings of a group, and what went wrong."""

from __future__ import annotations

import functools

import pygame

from preview.scene.layout import Floats
from preview.window.figures import GroupReading, Moment, Plan
from preview.window.instruments import ring
from preview.window.ledge import Rect
from preview.window.lettering import Lettering
from preview.window.palette import ACCENT, AMBER, FAINT, GROUND, HAIRLINE, PAPER, QUIET, TEXT, Rgb

__all__ = ["NOWHERE", "draw_beside", "draw_group", "draw_marks", "draw_renewal", "draw_trouble", "sheet", "veil"]

MOST_LINES = 6

NOWHERE = 1e9
"""Where a group is, in pixels, that is behind the eye or whose place in the picture is not known."""


@functools.lru_cache(maxsize=32)
def _sheet(size: tuple[int, int], alpha: int, radius: int) -> pygame.Surface:
    paper = pygame.Surface(size, pygame.SRCALPHA)
    pygame.draw.rect(paper, (*PAPER, alpha), paper.get_rect(), border_radius=radius)
    return paper


def veil(surface: pygame.Surface, rect: pygame.Rect, alpha: int, unit: float = 1.0) -> None:
    """Dark paper that lets some of the room through."""
    surface.blit(_sheet(rect.size, alpha, round(6 * unit)), rect.topleft)


def sheet(surface: pygame.Surface, at: Rect, width: int, height: int, unit: float) -> Rect:
    """Paper in the middle of the room, at most as large as the room. Returns its place."""
    edge = round(12 * unit)
    w, h = min(width, at.w - 2 * edge), min(height, at.h - 2 * edge)
    rect = Rect(at.x + (at.w - w) // 2, at.y + max(edge, (at.h - h) // 2), w, h)
    veil(surface, pygame.Rect(rect), 246, unit)
    pygame.draw.rect(surface, HAIRLINE, rect, max(1, round(unit)), border_radius=round(6 * unit))
    return rect


class _Labels:
    """Labels over the room that keep clear of one another."""

    def __init__(self, surface: pygame.Surface, at: Rect, letters: Lettering) -> None:
        self.surface, self.at, self.letters = surface, at, letters
        self.taken: list[pygame.Rect] = []

    def put(self, point: tuple[float, float], first: str, second: str, colour: Rgb = TEXT) -> None:
        """Two lines beside a group, with a ring round it; an arrow at the edge where the group is beyond the picture."""
        at, letters, px = self.at, self.letters, self.letters.px
        edge = px(14)
        if point[0] >= NOWHERE:  # in a corner: marks at the top, a group's readings at the foot
            top = at.y + px(6) if colour == TEXT else at.bottom - px(50)
            self._label(pygame.Rect(at.x + px(6), top, 0, 0), first, letters.fit(second, px(360), 12))
            return
        x = round(min(max(point[0], at.x + edge), at.right - edge))
        y = round(min(max(point[1], at.y + edge), at.bottom - edge))
        seen = at.x <= point[0] < at.right and at.y <= point[1] < at.bottom
        second = letters.fit(second, px(360), 12)
        if not seen:
            second += ", out of view"
        wide = max(letters.width(first, 14), letters.width(second, 12)) + px(20)
        left = x + px(22) if x + px(22) + wide < at.right - px(8) else x - px(22) - wide
        left = min(max(left, at.x + px(6)), at.right - px(6) - wide)
        top = min(max(y - px(22), at.y + px(6)), at.bottom - px(50))
        label = pygame.Rect(left, top, wide, px(44))
        if label.collidepoint(x, y):
            label.y = y + px(18) if y + px(68) < at.bottom else y - px(62)
        label = self._label(label, first, second)
        near = label.left if label.left > x else label.right if label.right < x else label.centerx
        start = x + (px(9) if near > x else -px(9) if near < x else 0)
        pygame.draw.aaline(self.surface, QUIET, (start, y), (near, min(max(y, label.top), label.bottom)))
        if seen:
            ring(self.surface, (x, y), px(9), GROUND, px(3))
            ring(self.surface, (x, y), px(8), colour, max(1, px(1.5)))
        else:
            self._arrow((x, y), point, colour)

    def _label(self, rect: pygame.Rect, first: str, second: str) -> pygame.Rect:
        """Two lines at a place, or under what is there already. Returns where they are."""
        letters, px = self.letters, self.letters.px
        wide = max(letters.width(first, 14), letters.width(second, 12)) + px(20)
        label = pygame.Rect(rect.x, rect.y, wide, px(44))
        while any(label.colliderect(other) for other in self.taken) and label.bottom + px(48) < self.at.bottom:
            label.y += px(48)
        self.taken.append(label)
        veil(self.surface, label, 190, letters.unit)
        letters.draw(self.surface, first, label.x + px(10), label.y + px(14), 14, TEXT)
        letters.draw(self.surface, second, label.x + px(10), label.y + px(31), 12, QUIET)
        return label

    def _arrow(self, here: tuple[int, int], beyond: tuple[float, float], colour: Rgb) -> None:
        way = pygame.Vector2(min(max(beyond[0], -1e6), 1e6) - here[0], min(max(beyond[1], -1e6), 1e6) - here[1])
        way = way.normalize() if way.length() > 0 else pygame.Vector2(0, -1)
        side, tip, px = pygame.Vector2(-way.y, way.x), pygame.Vector2(here), self.letters.px
        points = [tip + way * px(9), tip - way * px(5) + side * px(7), tip - way * px(5) - side * px(7)]
        pygame.draw.polygon(self.surface, GROUND, [p + (p - tip) * 0.35 for p in points])
        pygame.draw.polygon(self.surface, colour, points)


def draw_marks(
    surface: pygame.Surface, at: Rect, plan: Plan, places: Floats, letters: Lettering, moment: Moment
) -> None:
    """Rings round the groups where it is worst now, each with its reading. `places` (G, 2) as the desk gives them."""
    found: dict[int, list[str]] = {}
    low, loss, shift = moment.lowest_v, moment.dimming, moment.shift
    found.setdefault(low.group, []).append(f"lowest {low.value:.2f} V")
    if loss.value > 0.005:
        found.setdefault(loss.group, []).append(f"dimming {100 * loss.value:.0f} %")
    if shift.value > 0.05:
        found.setdefault(shift.group, []).append(f"shift {shift.value:.1f} steps")
    labels = _Labels(surface, at, letters)
    for group, says in found.items():
        run, number = plan.layout.name_of(group)
        labels.put((float(places[group, 0]), float(places[group, 1])), ", ".join(says), f"{run}, group {number}")


def draw_group(
    surface: pygame.Surface, at: Rect, point: tuple[float, float], letters: Lettering, reading: GroupReading
) -> None:
    """What a meter would read at one group, beside it."""
    says = [f"{reading.volts:.2f} V", f"{1000 * reading.amps:.1f} mA"]
    if reading.light < 0.995:
        says.append(f"light {100 * reading.light:.0f} %")
    if reading.steps > 0.05:
        says.append(f"shift {reading.steps:.1f} steps")
    where = f"{reading.run}, group {reading.number}, at {reading.along_m:.2f} m"
    _Labels(surface, at, letters).put(point, "   ".join(says), where, ACCENT)


def draw_beside(surface: pygame.Surface, at: Rect, letters: Lettering) -> None:
    """The line between the picture with drop and the one without, and what is what."""
    px, middle = letters.px, at.x + at.w // 2
    pygame.draw.rect(surface, GROUND, (middle - px(1), at.y, max(2, px(2)), at.h))
    for text, side in (("with drop", -1), ("without drop", 1)):
        wide = letters.width(text, 13) + px(18)
        rect = pygame.Rect(middle + px(8) if side > 0 else middle - px(8) - wide, at.bottom - px(34), wide, px(24))
        veil(surface, rect, 190, letters.unit)
        letters.draw(surface, text, rect.centerx, rect.centery, 13, QUIET, "middle")


def draw_renewal(surface: pygame.Surface, at: Rect, letters: Lettering, done: float) -> None:
    """How far the light of a room that has been saved anew is worked out."""
    px = letters.px
    rect = pygame.Rect(at.right - px(232), at.y + px(10), px(222), px(34))
    veil(surface, rect, 215, letters.unit)
    letters.draw(surface, "working out the light again", rect.x + px(12), rect.y + px(13), 13, QUIET)
    line = (rect.x + px(12), rect.bottom - px(8), rect.w - px(24), max(2, px(2)))
    pygame.draw.rect(surface, HAIRLINE, line)
    pygame.draw.rect(surface, ACCENT, (line[0], line[1], round(line[2] * done), line[3]))


def draw_trouble(surface: pygame.Surface, at: Rect, letters: Lettering, text: str) -> None:
    """What went wrong, in words over the foot of the room; the room stays."""
    px = letters.px
    lines = letters.wrap(text, min(at.w - px(80), px(900)), 14)
    most = max(1, min(MOST_LINES, (at.h // 2 - px(40)) // px(20)))
    if len(lines) > most:
        lines = [*lines[: most - 1], f"and {len(lines) - most + 1} more lines: T"]
    wide = max(letters.width(line, 14) for line in lines) + px(40)
    high = px(20) * len(lines) + px(20)
    rect = pygame.Rect(at.x + (at.w - wide) // 2, at.bottom - high - px(16), wide, high)
    veil(surface, rect, 240, letters.unit)
    pygame.draw.rect(surface, AMBER, (rect.x, rect.y + px(8), px(3), rect.h - px(16)))
    for k, line in enumerate(lines):
        colour = FAINT if k == most - 1 and line.endswith(": T") else TEXT
        letters.draw(surface, line, rect.x + px(20), rect.y + px(20) + px(20) * k, 14, colour)
