"""A sheet to draw lines and words on: a thin layer over an XML tree, which keeps every word of a scene escaped.

Lengths are in units of the view box; a word is taken to be as wide as in the widest of the usual plain typefaces.
"""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree import ElementTree

__all__ = ["BLUE", "FAINT", "INK", "RED", "TYPEFACE", "Sheet", "rows_of", "short", "width_of"]

TYPEFACE = "Helvetica, Arial, 'Liberation Sans', 'DejaVu Sans', sans-serif"
INK, FAINT, BLUE, RED = "#22282c", "#8b9297", "#1f5f8b", "#a3261b"

_NAMESPACE = "http://www.w3.org/2000/svg"


_NARROW, _BROAD = " !'(),-./:;I[]`fijlrt|·²", "%@MWmw—…"


def width_of(text: str, size: float, bold: bool = False) -> float:
    """How wide a text is at most, at a size, by four classes of letter: an upper bound for Helvetica and its like.

    >>> width_of("cove", 10) < width_of("cove", 10, bold=True) < width_of("WWWW", 10)
    True
    """
    parts = 0.0
    for letter in text:
        if letter in _NARROW:
            parts += 0.36
        elif letter in _BROAD or ord(letter) > 0x2E7F:  # from there on come scripts whose letters fill a square
            parts += 1.0
        else:
            parts += 0.78 if letter.isupper() or ord(letter) > 0x7E else 0.58
    return parts * size * (1.07 if bold else 1.0)


def short(text: str, room: float, size: float, bold: bool = False) -> str:
    """The text, or as much of it as there is room for, with an ellipsis.

    >>> short("counter foot", 90, 12), short("counter foot", 50, 12)
    ('counter foot', 'count…')
    """
    if width_of(text, size, bold) <= room:
        return text
    while text and width_of(text + "…", size, bold) > room:
        text = text[:-1]
    return text.rstrip() + "…"


def rows_of(names: Sequence[str], room: float, size: float) -> list[str]:
    """Names one after another with commas between, in rows that have room.

    >>> rows_of(["upper shelf", "lower shelf", "cove"], 120, 11)
    ['upper shelf,', 'lower shelf, cove']
    """
    rows: list[str] = []
    for k, name in enumerate(names):
        word = short(name, room - size, size) + ("," if k < len(names) - 1 else "")
        if rows and width_of(f"{rows[-1]} {word}", size) <= room:
            rows[-1] += f" {word}"
        else:
            rows.append(word)
    return rows


def _number(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")


class Sheet:
    """A drawing that grows; `text` gives it as XML. Numbers have at most two decimals, so that like drawings are alike to the byte."""

    def __init__(self, title: str) -> None:
        self.root = ElementTree.Element("svg", {"xmlns": _NAMESPACE, "role": "img", "font-family": TYPEFACE})
        ElementTree.SubElement(self.root, "title").text = title

    def line(
        self,
        points: Sequence[tuple[float, float]],
        colour: str = INK,
        width: float = 1.6,
        dash: str | None = None,
        arrow: bool = False,
    ) -> None:
        """A line through points, with a small arrow head at its end if asked for."""
        path = "M" + " L".join(f"{_number(x)} {_number(y)}" for x, y in points)
        style = {
            "d": path,
            "fill": "none",
            "stroke": colour,
            "stroke-width": _number(width),
            "stroke-linejoin": "round",
        }
        if dash:
            style["stroke-dasharray"] = dash
        ElementTree.SubElement(self.root, "path", style)
        if arrow:
            (x, y), (before_x, _) = points[-1], points[-2]
            back = -6 if x >= before_x else 6
            head = f"M{_number(x)} {_number(y)} l{back} -3.5 v7 z"
            ElementTree.SubElement(self.root, "path", {"d": head, "fill": colour})

    def dot(self, x: float, y: float, colour: str = INK) -> None:
        """Where lines meet."""
        ElementTree.SubElement(self.root, "circle", {"cx": _number(x), "cy": _number(y), "r": "3.2", "fill": colour})

    def box(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        fill: str = "#ffffff",
        colour: str = INK,
        stroke: float = 1.4,
        round_: float = 0,
    ) -> None:
        """A rectangle by its upper left corner."""
        style = {
            "x": _number(x), "y": _number(y), "width": _number(width), "height": _number(height), "rx": _number(round_),
            "fill": fill, "stroke": colour, "stroke-width": _number(stroke),
        }  # fmt: skip
        ElementTree.SubElement(self.root, "rect", style)

    def word(
        self,
        x: float,
        y: float,
        text: str,
        size: float = 12,
        colour: str = INK,
        bold: bool = False,
        middle: bool = False,
        room: float = 1e6,
    ) -> None:
        """Words with their base line at y; what is cut off is said when a pointer rests on them."""
        style = {"x": _number(x), "y": _number(y), "font-size": _number(size), "fill": colour}
        if bold:
            style["font-weight"] = "bold"
        if middle:
            style["text-anchor"] = "middle"
        element = ElementTree.SubElement(self.root, "text", style)
        element.text = short(text, room, size, bold)
        if element.text != text:
            ElementTree.SubElement(element, "title").text = text

    def text(self, width: float, height: float) -> str:
        """The drawing, that wide and high."""
        for key, value in (
            ("viewBox", f"0 0 {_number(width)} {_number(height)}"),
            ("width", _number(width)),
            ("height", _number(height)),
        ):
            self.root.set(key, value)
        ElementTree.indent(self.root)
        return ElementTree.tostring(self.root, encoding="unicode") + "\n"
