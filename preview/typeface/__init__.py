"""The letters that ship: one open typeface in two weights, for the window and for what is written into pictures.

A subset that covers Latin, Greek and Cyrillic, with figures of one width (see LICENSE.txt). Leaves out: other scripts, which show as
empty boxes; `missing_letters` tells which.
"""

from __future__ import annotations

import functools
import io
from importlib import resources

from PIL import ImageFont

__all__ = ["font_bytes", "letters", "missing_letters"]


@functools.lru_cache(maxsize=2)
def font_bytes(medium: bool = False) -> bytes:
    """The font file of a weight."""
    return (resources.files("preview.typeface") / ("medium.ttf" if medium else "regular.ttf")).read_bytes()


def letters(size_px: float, medium: bool = False) -> ImageFont.FreeTypeFont:
    """The typeface for Pillow, its letters `size_px` high from ascender to descender, roughly."""
    return ImageFont.truetype(io.BytesIO(font_bytes(medium)), size_px, layout_engine=ImageFont.Layout.BASIC)


def missing_letters(text: str) -> str:
    """Those printable letters of a text, each once, that the typeface has no shape for.

    >>> missing_letters("Größe – 2 × Ω"), missing_letters("棚 and 棚板")
    ('', '棚板')
    """
    drawn = letters(20)
    none = bytes(drawn.getmask("\U0010ffff"))  # no typeface has a letter there
    printable = (letter for letter in dict.fromkeys(text) if letter.isprintable())
    return "".join(letter for letter in printable if bytes(drawn.getmask(letter)) == none)
