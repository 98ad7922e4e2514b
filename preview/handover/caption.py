"""A line or two of text in the lower left of the pictures, only where it was asked for.

White letters on a soft dark plate, sized by the picture's height. Leaves out: scripts that the typeface lacks.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFilter

from preview.handover.video import Picture
from preview.typeface import letters

__all__ = ["captioned"]


def _plate(lines: Sequence[str], size: tuple[int, int]) -> Image.Image:
    """A transparent picture of the whole size with the text in it."""
    width, height = size
    plate = Image.new("RGBA", size, (0, 0, 0, 0))
    letter = max(9, round(height * 0.036))
    margin = round(letter * 0.9)
    text = "\n".join(lines)
    while True:
        typeface = letters(letter)
        left, top, right, bottom = ImageDraw.Draw(plate).multiline_textbbox(
            (0, 0), text, font=typeface, spacing=letter // 3
        )
        if right - left <= width - 2 * margin or letter <= 6:
            break
        letter -= 1
    at = (margin - left, height - margin - bottom)
    shade = Image.new("L", size, 0)
    pad = letter // 2
    box = (margin - pad, at[1] + top - pad, margin + right - left + pad, at[1] + bottom + pad)
    ImageDraw.Draw(shade).rounded_rectangle(box, radius=pad, fill=120)
    plate.putalpha(shade.filter(ImageFilter.GaussianBlur(letter * 0.35)))
    ImageDraw.Draw(plate).multiline_text(at, text, font=typeface, spacing=letter // 3, fill=(255, 255, 255, 235))
    return plate


def captioned(pictures: Iterable[Picture], lines: Sequence[str], size: tuple[int, int]) -> Iterator[Picture]:
    """The pictures (height, width, 3) with `lines` written into each; unchanged where there are no lines."""
    if not lines:
        yield from pictures
        return
    plate = np.asarray(_plate(lines, size), dtype=np.uint16)
    rows = np.flatnonzero(plate[..., 3].any(axis=1))
    columns = np.flatnonzero(plate[..., 3].any(axis=0))
    part = (slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1))
    alpha: NDArray[np.uint16] = plate[part][..., 3:]
    ink = plate[part][..., :3] * alpha + 127
    for picture in pictures:
        picture = picture.copy()
        picture[part] = (picture[part] * (255 - alpha) + ink) // 255
        yield picture
