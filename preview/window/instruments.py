"""The instruments, drawn by us: a track with its marks, a bar against a rating, a curve with its limit, small signs.

Each is a function of a surface, a place and values; nothing is remembered, nothing is asked.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import pygame
from numpy.typing import NDArray

from preview.scene.layout import Floats
from preview.window.ledge import Rect
from preview.window.palette import ACCENT, AMBER, LEDGE, QUIET, RED, TEXT, TROUGH, Rgb

__all__ = ["Mark", "bar", "curve_pixels", "cutoff", "dashes", "focus_ring", "mix", "play_sign", "ring", "track"]


class Mark(NamedTuple):
    """A mark on a track: its place 0..1, whether it is the one that matters, and its colour."""

    place: float
    strong: bool
    colour: Rgb


def mix(one: Rgb, other: Rgb, share: float) -> Rgb:
    """A colour between two."""
    return tuple(round(a + (b - a) * share) for a, b in zip(one, other, strict=True))  # type: ignore[return-value]


def _disc(surface: pygame.Surface, centre: tuple[float, float], radius: float, colour: Rgb) -> None:
    pygame.draw.aacircle(surface, colour, centre, radius)


def ring(surface: pygame.Surface, centre: tuple[int, int], radius: int, colour: Rgb, width: int = 2) -> None:
    """An open circle."""
    pygame.draw.aacircle(surface, colour, centre, radius, width)


def focus_ring(surface: pygame.Surface, rect: Rect, unit: float = 1.0) -> None:
    """The outline round the control that the keys go to."""
    pygame.draw.rect(surface, ACCENT, rect.grown(round(4 * unit)), max(1, round(unit)), border_radius=round(5 * unit))


def track(
    surface: pygame.Surface,
    rect: Rect,
    place: float,
    marks: Sequence[Mark] = (),
    over_from: float | None = None,
    colour: Rgb = TEXT,
    unit: float = 1.0,
) -> None:
    """A track with its knob at `place` 0..1. Beyond `over_from` the track warns; marks stand under the track."""

    def px(size: float) -> int:
        return max(1, round(size * unit))

    y, thick = rect.y + rect.h // 2, px(3)
    top = y - thick // 2
    pygame.draw.rect(surface, TROUGH, (rect.x, top, rect.w, thick), border_radius=px(1))
    if over_from is not None and over_from < 1:
        start = rect.x + round(over_from * rect.w)
        pygame.draw.rect(
            surface, mix(TROUGH, AMBER, 0.35), (start, top, rect.right - start, thick), border_radius=px(1)
        )
    x = rect.x + round(place * rect.w)
    pygame.draw.rect(surface, mix(TROUGH, colour, 0.7), (rect.x, top, x - rect.x, thick), border_radius=px(1))
    for mark in marks:
        at = rect.x + round(mark.place * rect.w)
        if mark.strong:
            pygame.draw.rect(surface, mark.colour, (at - px(1), y - px(8), px(2), px(17)))
        else:
            pygame.draw.rect(surface, mark.colour, (at, y + px(4), px(1), px(4)))
    _disc(surface, (x, y), 8 * unit, LEDGE)
    _disc(surface, (x, y), 6 * unit, colour)


def bar(surface: pygame.Surface, rect: Rect, value: float, limit: float, full: float, unit: float = 1.0) -> None:
    """A load against its rating: the bar's end is `full`, a notch stands at `limit`."""
    colour = RED if value > full else AMBER if value > limit else QUIET
    radius = max(1, round(2 * unit))
    pygame.draw.rect(surface, TROUGH, rect, border_radius=radius)
    width = round(rect.w * min(max(value, 0.0) / full, 1.0))
    if width > 0:
        pygame.draw.rect(surface, colour, (rect.x, rect.y, width, rect.h), border_radius=radius)
    at, thin = rect.x + round(rect.w * min(limit / full, 1.0)), max(1, round(unit))
    pygame.draw.rect(surface, LEDGE, (at - thin, rect.y - 2 * thin, 3 * thin, rect.h + 4 * thin))
    pygame.draw.rect(surface, TEXT, (at, rect.y - 2 * thin, thin, rect.h + 4 * thin))


def dashes(surface: pygame.Surface, x: int, right: int, y: int, colour: Rgb, unit: float = 1.0) -> None:
    """A dashed level line."""
    on = max(2, round(4 * unit))
    for start in range(x, right, 2 * on):
        end = min(start + on, right)
        pygame.draw.rect(surface, colour, (start, y, end - start, max(1, round(unit))))


def cutoff(values: Floats, limit: float) -> float:
    """The top of a curve's scale: a little above the limit, or above the largest value where that is more."""
    most = float(np.nanmax(values)) if np.isfinite(values).any() else 0.0
    return 1.12 * max(most, limit, 1e-9)


def curve_pixels(values: Floats, limit: float, rating: float, top: float, size: tuple[int, int]) -> NDArray[np.uint8]:
    """A curve with the area under it as RGBA (h, w, 4), smooth at the edges.

    `values` (F,) over the whole width, NaN where not yet known; each column shows the largest of its frames. What lies
    over the limit is amber, over the rating red.
    """
    w, h = size
    edges = np.linspace(0, len(values), w + 1)
    column = np.full(w, np.nan)
    if len(values) >= w:
        known = np.where(np.isfinite(values), values, -np.inf)
        column = np.maximum.reduceat(known, edges[:-1].astype(int))
        column[~np.isfinite(column)] = np.nan
    else:
        centres = (edges[:-1] + edges[1:]) / 2 - 0.5
        column = np.interp(centres, np.arange(len(values)), values)
    known_column = np.isfinite(column)
    y = h - np.where(known_column, column, 0.0) / top * h
    rows = np.arange(h, dtype=float)[:, None]
    halves = (y[:-1] + y[1:]) / 2
    left, right = np.concatenate([y[:1], halves]), np.concatenate([halves, y[-1:]])
    high = np.minimum(np.minimum(left, right), y) - 0.7
    low = np.maximum(np.maximum(left, right), y) + 0.7
    line = np.clip(np.minimum(rows + 1, low) - np.maximum(rows, high), 0, 1) * known_column
    area = np.clip(rows + 1 - y, 0, 1) * known_column
    limit_y = h - limit / top * h
    above = np.clip(limit_y - rows, 0, 1)  # how much of each row is over the limit
    warn = np.where(column > rating, 1.0, 0.0)[None, :]
    alarm = np.array(AMBER, float) * (1 - warn[..., None]) + np.array(RED, float) * warn[..., None]
    calm = np.array(QUIET, float)
    over = (above * np.ones((1, w)))[..., None]
    area_colour = calm * (1 - over) + alarm * over
    area_alpha = area * (0.16 + 0.34 * over[..., 0])
    beyond = np.where(column > limit, 1.0, 0.0)[None, :, None]
    line_colour = np.array(TEXT, float) * 0.85 * (1 - beyond) + alarm * beyond
    line_colour = np.broadcast_to(line_colour, (h, w, 3))
    alpha = line + area_alpha * (1 - line)
    safe = np.where(alpha > 0, alpha, 1)[..., None]
    colour = (line_colour * line[..., None] + area_colour * (area_alpha * (1 - line))[..., None]) / safe
    return np.ascontiguousarray(np.dstack([colour, 255 * alpha]).clip(0, 255).astype(np.uint8))


def play_sign(surface: pygame.Surface, rect: Rect, playing: bool, unit: float = 1.0, colour: Rgb = TEXT) -> None:
    """Two bars while it plays, a triangle while it stands."""

    def px(size: float) -> int:
        return round(size * unit)

    cx, cy = rect.middle
    if playing:
        for x in (cx - px(5), cx + px(2)):
            pygame.draw.rect(surface, colour, (x, cy - px(6), px(3), px(13)), border_radius=px(1))
        return
    points = [(cx - px(4), cy - px(7)), (cx + px(7), cy), (cx - px(4), cy + px(7))]
    pygame.draw.polygon(surface, colour, points)
    pygame.draw.aalines(surface, colour, True, points)
