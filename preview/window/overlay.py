"""What is laid over the room: the plan's lines while the light is worked out, marks, pages to read, and what went wrong."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import pygame

from preview.light.camera import Camera
from preview.scene.layout import Floats
from preview.scene.model import Scene
from preview.window.figures import Moment, Plan
from preview.window.instruments import mix, ring
from preview.window.keys import KEYS
from preview.window.ledge import Rect
from preview.window.lettering import Lettering
from preview.window.palette import ACCENT, AMBER, FAINT, GROUND, HAIRLINE, PAPER, QUIET, TEXT, Rgb

__all__ = ["draw_marks", "draw_opening", "draw_page", "draw_trouble", "page_keys", "page_lines"]


def _corners(low: Floats, high: Floats) -> list[tuple[Floats, Floats]]:
    """The twelve edges of a box."""
    points = np.array(
        [[(low, high)[i][0], (low, high)[j][1], (low, high)[k][2]] for i in (0, 1) for j in (0, 1) for k in (0, 1)]
    )
    return [(points[a], points[b]) for a in range(8) for b in range(a + 1, 8) if bin(a ^ b).count("1") == 1]


def _line(surface: pygame.Surface, camera: Camera, at: Rect, ends: tuple[Floats, Floats], colour: Rgb) -> None:
    """A line of the room in the picture, cut off before it passes the eye."""
    start, end = ends
    depth = (np.array([start, end]) - camera.eye_m) @ camera.forward
    near = 0.05
    if (depth < near).all():
        return
    if (depth < near).any():
        share = (near - depth[0]) / (depth[1] - depth[0])
        cut = start + share * (end - start)
        start, end = (cut, end) if depth[0] < near else (start, cut)
    x, y, _ = camera.project(np.array([start, end]))
    limit = 20_000
    if np.abs(x).max() > limit or np.abs(y).max() > limit:
        return
    pygame.draw.aaline(surface, colour, (at.x + x[0], at.y + y[0]), (at.x + x[1], at.y + y[1]))


def draw_opening(
    surface: pygame.Surface, at: Rect, scene: Scene, camera: Camera, letters: Lettering, done: float
) -> None:
    """The room and its runs as lines, with how far its light has been worked out."""
    surface.set_clip(pygame.Rect(at))
    pygame.draw.rect(surface, GROUND, at)
    size = np.array(scene.room.size_m)
    for ends in _corners(np.zeros(3), size):
        _line(surface, camera, at, ends, HAIRLINE)
    for box in scene.box:
        low = np.array(box.corner_m)
        for ends in _corners(low, low + np.array(box.size_m)):
            _line(surface, camera, at, ends, mix(GROUND, HAIRLINE, 0.7))
    for run in scene.run:
        path = np.array(run.path_m, dtype=float)
        for ends in pairwise(path):
            _line(surface, camera, at, ends, ACCENT)
    x, y = at.middle[0], at.bottom - 56
    letters.draw(surface, scene.title, x, y - 30, 22, TEXT, "middle")
    letters.draw(surface, "working out how light falls in the room", x, y, 14, QUIET, "middle")
    bar = Rect(x - 120, y + 18, 240, 3)
    pygame.draw.rect(surface, HAIRLINE, bar)
    pygame.draw.rect(surface, ACCENT, (bar.x, bar.y, round(bar.w * done), bar.h))
    surface.set_clip(None)


def draw_marks(
    surface: pygame.Surface, at: Rect, plan: Plan, camera: Camera, letters: Lettering, moment: Moment
) -> None:
    """Rings round the groups where it is worst now, each with its reading."""
    found: dict[int, list[str]] = {}
    low, loss, shift = moment.lowest_v, moment.dimming, moment.shift
    found.setdefault(low.group, []).append(f"lowest {low.value:.2f} V")
    if loss.value > 0.005:
        found.setdefault(loss.group, []).append(f"dimming {100 * loss.value:.0f} %")
    if shift.value > 0.05:
        found.setdefault(shift.group, []).append(f"shift {shift.value:.1f} steps")
    taken: list[pygame.Rect] = []
    for group, says in found.items():
        x, y, depth = (float(v[0]) for v in camera.project(plan.layout.centre_m[group : group + 1]))
        run, number = plan.layout.name_of(group)
        if depth <= 0:
            continue
        seen = 0 <= x < camera.size[0] and 0 <= y < camera.size[1]
        px = at.x + round(min(max(x, 12), camera.size[0] - 12) * at.w / camera.size[0])
        py = at.y + round(min(max(y, 12), camera.size[1] - 12) * at.h / camera.size[1])
        lines = [", ".join(says), f"{run}, group {number}" + ("" if seen else ", beyond the picture")]
        wide = max(letters.width(lines[0], 14), letters.width(lines[1], 12)) + 20
        left = px + 22 if px + 22 + wide < at.right - 8 else px - 22 - wide
        label = pygame.Rect(left, min(max(py - 22, at.y + 6), at.bottom - 50), wide, 44)
        while any(label.colliderect(other) for other in taken) and label.bottom + 48 < at.bottom:
            label.y += 48
        taken.append(label)
        _veil(surface, label, 200)
        for ink, width in ((GROUND, 4), (TEXT, 2)):
            ring(surface, (px, py), 10 if ink == TEXT else 11, ink, width)
        edge = label.left if label.left > px else label.right
        pygame.draw.aaline(surface, TEXT, (px + (11 if label.left > px else -11), py), (edge, label.centery))
        letters.draw(surface, lines[0], label.x + 10, label.y + 14, 14, TEXT)
        letters.draw(surface, lines[1], label.x + 10, label.y + 31, 12, QUIET)


def _veil(surface: pygame.Surface, rect: pygame.Rect, alpha: int) -> None:
    paper = pygame.Surface(rect.size, pygame.SRCALPHA)
    pygame.draw.rect(paper, (*PAPER, alpha), paper.get_rect(), border_radius=6)
    surface.blit(paper, rect.topleft)


def draw_trouble(surface: pygame.Surface, at: Rect, letters: Lettering, text: str) -> None:
    """What went wrong, in words over the foot of the room; the room stays."""
    lines = letters.wrap(text, min(at.w - 80, 900), 14)[:6]
    wide = max(letters.width(line, 14) for line in lines) + 40
    high = 20 * len(lines) + 20
    rect = pygame.Rect(at.x + (at.w - wide) // 2, at.bottom - high - 20, wide, high)
    _veil(surface, rect, 235)
    pygame.draw.rect(surface, AMBER, (rect.x, rect.y + 8, 3, rect.h - 16))
    for k, line in enumerate(lines):
        letters.draw(surface, line, rect.x + 20, rect.y + 20 + 20 * k, 14, TEXT)


def _page(surface: pygame.Surface, at: Rect, width: int, height: int) -> Rect:
    w, h = min(width, at.w - 24), min(height, at.h - 24)
    rect = Rect(at.x + (at.w - w) // 2, at.y + max(12, (at.h - h) // 2), w, h)
    _veil(surface, pygame.Rect(rect), 244)
    pygame.draw.rect(surface, HAIRLINE, rect, 1, border_radius=6)
    return rect


def page_keys(surface: pygame.Surface, at: Rect, letters: Lettering, scroll: int) -> int:
    """The list of all keys. Returns how far it can be scrolled, in lines."""
    rows: list[tuple[str, str, bool]] = []
    for heading, keys in KEYS:
        if rows:
            rows.append(("", "", False))
        rows.append((heading, "", True))
        rows.extend((key.written, key.says, False) for key in keys)
    keys_w = max(letters.width(key, 14) for key, says, _ in rows if says) + 26
    column = keys_w + max(letters.width(says, 14) for _, says, _ in rows)
    line, pad = 22, 28
    two = at.w - 24 >= 2 * column + 3 * pad and len(rows) * line + 2 * pad > at.h - 24
    if two:
        half = next(k for k in range(len(rows) // 2, len(rows)) if not rows[k][0])
        columns = [rows[:half], rows[half + 1 :]]
    else:
        columns = [rows]
    most = max(len(part) for part in columns)
    rect = _page(surface, at, len(columns) * column + (len(columns) + 1) * pad, most * line + 2 * pad)
    fits = max(1, (rect.h - 2 * pad + 8) // line)
    beyond = max(0, most - fits)
    first = min(scroll, beyond)
    for c, part in enumerate(columns):
        x = rect.x + pad + c * (column + pad)
        for k, (key, says, is_titled) in enumerate(part[first : first + fits]):
            y = rect.y + pad + k * line + 4
            if is_titled:
                letters.draw(surface, key, x, y, 14, ACCENT)
            else:
                letters.draw(surface, key, x, y, 14, TEXT)
                letters.draw(surface, letters.fit(says, rect.right - 10 - x - keys_w, 14), x + keys_w, y, 14, QUIET)
    _more(surface, rect, letters, first, beyond)
    return beyond


def page_lines(
    surface: pygame.Surface, at: Rect, letters: Lettering, heading: str, lines: Sequence[str], scroll: int
) -> int:
    """A page of plain lines under a heading. Returns how far it can be scrolled, in lines."""
    line, pad = 22, 28
    width = min(at.w - 24, 760)
    wrapped = [part for text in lines for part in letters.wrap(text, width - 2 * pad, 14)]
    rect = _page(surface, at, width, (len(wrapped) + 2) * line + 2 * pad)
    fits = max(1, (rect.h - 2 * pad - 2 * line + 8) // line)
    beyond = max(0, len(wrapped) - fits)
    first = min(scroll, beyond)
    letters.draw(surface, heading, rect.x + pad, rect.y + pad + 2, 16, TEXT)
    for k, text in enumerate(wrapped[first : first + fits]):
        letters.draw(surface, text, rect.x + pad, rect.y + pad + 2 * line + k * line, 14, QUIET)
    _more(surface, rect, letters, first, beyond)
    return beyond


def _more(surface: pygame.Surface, rect: Rect, letters: Lettering, first: int, beyond: int) -> None:
    if beyond:
        text = "Up and Down: more" if first < beyond else "Up: back"
        letters.draw(surface, text, rect.right - 16, rect.bottom - 13, 12, FAINT, "right")


def draw_page(
    surface: pygame.Surface,
    at: Rect,
    letters: Lettering,
    page: str,
    scene: Scene,
    breaks: Sequence[str] | None,
    scroll: int,
) -> int:
    """The page of that name over the room; returns how far it can be scrolled."""
    if page == "keys":
        return page_keys(surface, at, letters, scroll)
    if page == "assumed":
        lines = list(scene.assumed) or ["Nothing: every value is in the scene file."]
        return page_lines(surface, at, letters, "Assumed: typical values, not in the scene file", lines, scroll)
    if breaks is None:
        lines = ["Not known yet: the look is still being worked out."]
    else:
        lines = list(breaks) or ["Nothing: the look keeps every limit at this level."]
    return page_lines(surface, at, letters, "What this look exceeds at this level", lines, scroll)
