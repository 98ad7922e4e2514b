"""A contact sheet: moments of a scene's looks side by side, as one picture to choose from.

All looks: a row each, four moments; looks that stand still are shown once each, side by side at the end. One look: twelve moments, or one
if it stands still. Every look under its own exposure, as in its clip.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from preview.handover.frames import Film
from preview.handover.video import Picture
from preview.looks.moments import twelve_moments
from preview.scene.layout import Floats
from preview.typeface import letters

__all__ = ["ACROSS", "contact_sheet"]

ACROSS = 4
"""Pictures in a row."""

_PAPER, _INK = (20, 19, 18), (216, 210, 200)


@dataclass(frozen=True)
class _Strip:
    """Tiles under a line of names: (name, film, times) of each part, from left to right."""

    parts: tuple[tuple[str, Film, Floats], ...]

    @property
    def rows(self) -> int:
        return -(-sum(times.size for _, _, times in self.parts) // ACROSS)


def _strips(films: Sequence[Film]) -> list[_Strip]:
    """The films in their order: a strip for each that moves, those that stand still together where the first of them comes."""
    moving: list[_Strip] = []
    still: list[tuple[str, Film, Floats]] = []
    for film in films:
        name, times = film.ready.look.name, twelve_moments(film.ready)
        if film.ready.period_s == 0.0:
            still.append((f"{name}, still", film, times[:1]))
        else:
            moving.append(_Strip(((name, film, times if len(films) == 1 else times[1::3]),)))
    return [_Strip(tuple(still[k : k + ACROSS])) for k in range(0, len(still), ACROSS)] + moving


def contact_sheet(
    films: Sequence[Film], title: str | None = None, done: Callable[[int, int], None] | None = None
) -> Picture:
    """One picture (h, w, 3) of the films, all of one size, each under the name of its look; one film alone gets three rows."""
    width, height = films[0].stage.size
    strips = _strips(films)
    across = max(min(ACROSS, sum(times.size for _, _, times in strip.parts)) for strip in strips)
    gap, letter = max(4, width // 50), max(11, round(height * 0.075))
    head = round(1.7 * letter)
    tops, top = [], gap + (round(1.6 * head) if title else 0)
    for strip in strips:
        tops.append(top)
        top += head + strip.rows * (height + gap) + gap // 2
    sheet = Image.new("RGB", (gap + across * (width + gap), top), _PAPER)
    draw, typeface = ImageDraw.Draw(sheet), letters(letter)
    if title:
        large = letters(round(1.3 * letter))
        draw.text((gap, gap), _fitted(title, sheet.width - 2 * gap, large), fill=_INK, font=large)
    shown = 0
    for strip, y in zip(strips, tops, strict=True):
        tile = 0
        for name, film, times in strip.parts:
            left = gap + tile * (width + gap)
            wide = width if len(strip.parts) > 1 else sheet.width - 2 * gap
            draw.text((left, y + head * 0.2), _fitted(name, wide, typeface), fill=_INK, font=typeface)
            for picture in film.pictures_at(times):
                place = gap + tile % ACROSS * (width + gap), y + head + tile // ACROSS * (height + gap)
                sheet.paste(Image.fromarray(picture), place)
                tile += 1
            shown += 1
            if done is not None:
                done(shown, len(films))
    return np.asarray(sheet)


def _fitted(text: str, width: int, typeface: ImageFont.FreeTypeFont) -> str:
    """The text, cut off with dots where it is wider than `width` pixels."""
    if typeface.getlength(text) <= width:
        return text
    while text and typeface.getlength(f"{text}…") > width:
        text = text[:-1]
    return f"{text.rstrip()}…"
