"""The colours of a strip's LEDs, in the order in which codes, columns and figures have them."""

from __future__ import annotations

__all__ = ["COLOURS", "colours_of"]

COLOURS = ("red", "green", "blue", "white")
"""Every colour that a strip may have, under the name that the scene file gives it."""


def colours_of(white: bool) -> tuple[str, ...]:
    """The colours with or without a white.

    >>> colours_of(False)
    ('red', 'green', 'blue')
    """
    return COLOURS if white else COLOURS[:3]
