"""The cut list as a drawing: every reel and every length as a bar, its pieces to scale under their marks. Bars that are alike are one."""

from __future__ import annotations

from preview.pack.cuts import Material, Piece
from preview.pack.drawing import FAINT, INK, Sheet, width_of

__all__ = ["material_svg"]

_PAD, _WORDS, _BAR, _REST, _ROW = 6.0, 118.0, 470.0, 92.0, 30.0
_FILL = {"strip": "#fbf3df", "channel": "#e6ebee"}


def material_svg(material: Material) -> str:
    """What is cut from each reel or length of one material, as SVG text."""
    sheet = Sheet(f"{material.kind} {material.name}: cuts")
    what = "reel" if material.kind == "strip" else "length"
    y = _PAD
    for numbers, pieces in _alike(material):
        label = f"{what} {numbers[0]}" if len(numbers) == 1 else f"{len(numbers)} × ({what} {numbers[0]} …)"
        sheet.word(_PAD, y + 16, label, 11, room=_WORDS)
        scale = _BAR / material.sold_m
        x = _PAD + _WORDS
        sheet.box(x, y, _BAR, 22, "#ffffff", FAINT, 1)
        for piece in pieces:
            width = piece.length_m * scale
            sheet.box(x, y, width, 22, _FILL[material.kind], INK, 1)
            words = piece.mark if len(numbers) == 1 else ""
            for text in (f"{words}  {1000 * piece.length_m:.1f}".strip(), words):
                if text and width_of(text, 11) + 2 <= width:
                    sheet.word(x + width / 2, y + 15, text, 11, middle=True)
                    break
            x += width + material.kerf_m * scale
        sheet.word(_PAD + _WORDS + _BAR + 10, y + 15, f"{1000 * material.left_m(numbers[0]):.0f} mm left", 11)
        y += _ROW
    return sheet.text(_PAD + _WORDS + _BAR + _REST, y)


def _alike(material: Material) -> list[tuple[list[int], tuple[Piece, ...]]]:
    """Lengths with the same cuts, in their order."""
    found: dict[tuple[int, ...], tuple[list[int], tuple[Piece, ...]]] = {}
    for number in range(1, material.sold + 1):
        pieces = material.of_length(number)
        key = tuple(round(1e4 * piece.length_m) for piece in pieces)
        found.setdefault(key, ([], pieces))[0].append(number)
    return list(found.values())
