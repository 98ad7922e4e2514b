"""A contact sheet: moments of a scene's looks side by side, as one picture to choose from.

All looks: a row each, four moments. One look: twelve moments. Every look under its own exposure, as in its clip.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from preview.handover.frames import Film
from preview.handover.video import Picture
from preview.looks.moments import twelve_moments

__all__ = ["ACROSS", "contact_sheet"]

ACROSS = 4
"""Pictures in a row."""

_PAPER, _INK = (20, 19, 18), (216, 210, 200)


def contact_sheet(
    films: Sequence[Film], title: str | None = None, done: Callable[[int, int], None] | None = None
) -> Picture:
    """One picture (h, w, 3) of the films, all of one size, each row under the name of its look; one film alone gets three rows."""
    width, height = films[0].stage.size
    gap, letter = max(4, width // 50), max(11, round(height * 0.075))
    head = round(1.7 * letter)
    rows = 3 if len(films) == 1 else 1
    top = gap + (round(1.6 * head) if title else 0)
    each = head + rows * (height + gap) + gap // 2
    sheet = Image.new("RGB", (gap + ACROSS * (width + gap), top + len(films) * each), _PAPER)
    draw, typeface = ImageDraw.Draw(sheet), ImageFont.load_default(letter)
    if title:
        draw.text((gap, gap), title, fill=_INK, font=ImageFont.load_default(round(1.3 * letter)))
    for number, film in enumerate(films):
        times = twelve_moments(film.ready)
        times = times if rows == 3 else times[1::3]
        y = top + number * each
        draw.text((gap, y + head * 0.2), film.ready.look.name, fill=_INK, font=typeface)
        for k, picture in enumerate(film.pictures_at(times)):
            place = (gap + k % ACROSS * (width + gap), y + head + k // ACROSS * (height + gap))
            sheet.paste(Image.fromarray(picture), place)
        if done is not None:
            done(number + 1, len(films))
    return np.asarray(sheet)
