"""What a part of the ledge is drawn with: a surface, letters, and the list of what can be clicked there."""

from __future__ import annotations

from dataclasses import dataclass, field

import pygame

from preview.window.instruments import focus_ring
from preview.window.ledge import Rect
from preview.window.lettering import Align, Lettering
from preview.window.palette import TEXT, Rgb

__all__ = ["Brush"]


@dataclass
class Brush:
    """Draws on one surface; `targets` gathers what can be clicked, by name, as drawn."""

    surface: pygame.Surface
    letters: Lettering
    focus: str = ""
    targets: list[tuple[str, Rect]] = field(default_factory=list)

    @property
    def unit(self) -> float:
        """How many pixels a pixel of a plain screen is."""
        return self.letters.unit

    def px(self, size: float) -> int:
        """Pixels of a size on a plain screen."""
        return self.letters.px(size)

    def text(self, text: str, x: int, y: int, size: int = 14, colour: Rgb = TEXT, align: Align = "left") -> int:
        """Words with their middle at `y`; returns their width."""
        return self.letters.draw(self.surface, text, x, y, size, colour, align)

    def width(self, text: str, size: int = 14) -> int:
        """Width of words."""
        return self.letters.width(text, size)

    def target(self, name: str, rect: Rect, ring: Rect | None = None) -> None:
        """Something that can be clicked, and has a ring round it while the keys go to it."""
        self.targets.append((name, rect))
        if name == self.focus:
            focus_ring(self.surface, ring or rect, self.unit)
