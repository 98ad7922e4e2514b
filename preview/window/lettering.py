"""Words on the screen: the shipped letters at the sizes that are asked for, kept once drawn.

The letters are a subset of an open font (see `preview.typeface`), with figures of one width, so that a reading does not
jump when it changes. They cover Latin, Greek and Cyrillic. Leaves out: other scripts, which show as empty boxes.
"""

from __future__ import annotations

import io
from collections import OrderedDict
from typing import Literal

import pygame

from preview.typeface import font_bytes
from preview.window.palette import TEXT, Rgb

__all__ = ["Lettering"]

Align = Literal["left", "middle", "right"]
MOST_KEPT = 800


class Lettering:
    """Draws words. Sizes are as on a plain screen; on a large one everything is `unit` times as large."""

    def __init__(self, unit: float = 1.0) -> None:
        pygame.font.init()
        self.unit = unit
        self._fonts: dict[tuple[int, bool], pygame.font.Font] = {}
        self._kept: OrderedDict[tuple[str, int, Rgb, bool], pygame.Surface] = OrderedDict()
        self._widths: OrderedDict[tuple[str, int, bool], int] = OrderedDict()

    def px(self, size: float) -> int:
        """Pixels of a size."""
        return round(size * self.unit)

    def _font(self, size: int, medium: bool) -> pygame.font.Font:
        font = self._fonts.get((size, medium))
        if font is None:
            font = pygame.font.Font(io.BytesIO(font_bytes(medium)), self.px(size))
            self._fonts[size, medium] = font
        return font

    def _drawn(self, text: str, size: int, colour: Rgb, medium: bool) -> pygame.Surface:
        key = (text, size, colour, medium)
        found = self._kept.get(key)
        if found is None:
            found = self._font(size, medium).render(text, True, colour)
            self._kept[key] = found
            if len(self._kept) > MOST_KEPT:
                self._kept.popitem(last=False)
        else:
            self._kept.move_to_end(key)
        return found

    def width(self, text: str, size: int = 15, medium: bool = False) -> int:
        """Width of words in pixels."""
        key = (text, size, medium)
        found = self._widths.get(key)
        if found is None:
            found = self._widths[key] = self._font(size, medium).size(text)[0]
            if len(self._widths) > 4 * MOST_KEPT:
                self._widths.popitem(last=False)
        return found

    def fit(self, text: str, width: int, size: int = 15, medium: bool = False) -> str:
        """The words, cut short with an ellipsis where they are wider than `width` pixels."""
        if self.width(text, size, medium) <= width:
            return text
        low, high = 0, len(text)
        while low < high:
            middle = (low + high + 1) // 2
            if self.width(text[:middle].rstrip() + "…", size, medium) <= width:
                low = middle
            else:
                high = middle - 1
        return text[:low].rstrip() + "…" if low else ""

    def wrap(self, text: str, width: int, size: int = 15) -> list[str]:
        """The words on as many lines as they need; a word that is wider than a line is cut into pieces."""
        lines: list[str] = []
        for paragraph in text.split("\n"):
            line = ""
            for word in paragraph.split(" "):
                trial = f"{line} {word}" if line else word
                if self.width(trial, size) <= width:
                    line = trial
                    continue
                if line:
                    lines.append(line)
                while len(word) > 1 and self.width(word, size) > width:
                    cut = max(1, len(self.fit(word, width, size)) - 1)
                    lines.append(word[:cut])
                    word = word[cut:]
                line = word
            lines.append(line)
        return lines

    def draw(
        self,
        surface: pygame.Surface,
        text: str,
        x: int,
        middle_y: int,
        size: int = 15,
        colour: Rgb = TEXT,
        align: Align = "left",
        medium: bool = False,
    ) -> int:
        """Draw words with their middle at `middle_y`; `x` is their left, middle or right. Returns their width."""
        if not text:
            return 0
        drawn = self._drawn(text, size, colour, medium)
        left = x - {"left": 0, "middle": drawn.get_width() // 2, "right": drawn.get_width()}[align]
        baseline = middle_y + round(
            0.36 * size * self.unit
        )  # half a capital's height under the middle, so that sizes share a line
        surface.blit(drawn, (left, baseline - self._font(size, medium).get_ascent()))
        return drawn.get_width()
