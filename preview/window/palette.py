"""The colours of the window: warm and dark, so that the room is the brightest thing in it.

One accent says "this is chosen". Amber and red are kept for what breaks a limit, and stand for nothing else.
"""

from __future__ import annotations

__all__ = [
    "ACCENT",
    "AMBER",
    "FAINT",
    "GROUND",
    "HAIRLINE",
    "LEDGE",
    "PAPER",
    "QUIET",
    "RED",
    "TEXT",
    "TROUGH",
    "Rgb",
]

Rgb = tuple[int, int, int]

GROUND: Rgb = (14, 12, 10)  # behind the room, before it is lit
LEDGE: Rgb = (28, 25, 22)  # what the instruments stand on
PAPER: Rgb = (36, 32, 28)  # a page laid over the room
HAIRLINE: Rgb = (52, 47, 41)
TROUGH: Rgb = (60, 54, 47)  # the empty part of a control
FAINT: Rgb = (128, 118, 106)
QUIET: Rgb = (172, 161, 146)
TEXT: Rgb = (238, 230, 217)
ACCENT: Rgb = (150, 205, 186)
AMBER: Rgb = (240, 172, 74)
RED: Rgb = (240, 102, 84)
