"""What a value of the scene file may be: names, numbers within wide bounds, points.

The bounds stop typing errors and figures that no plan has, not unusual plans. A number is a number: text and true or false are never
turned into one.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, BeforeValidator, Field

__all__ = [
    "Amps",
    "Chromaticity",
    "Dial",
    "Finish8Bit",
    "Fraction",
    "Kelvin",
    "LengthM",
    "Lumens",
    "Metres",
    "Milliamps",
    "Millimetres",
    "Milliohms",
    "Name",
    "Number",
    "Part",
    "Pixel",
    "Pixels",
    "Point",
    "Price",
    "SideM",
    "Size",
    "Surface",
    "Volts",
    "VoltsOrNone",
    "Whole",
    "YesNo",
]


def _plain(text: str) -> str:
    """A name goes into tables, file names and pages: one line of printable characters."""
    if not text.strip() or len(text) > 120 or not text.isprintable():
        raise ValueError("one line of 1 to 120 printable characters")
    return text


def _dial(value: object) -> object:
    """A dial is one plain value or a list of numbers; NaN and infinities are not numbers."""
    parts = value if isinstance(value, list) else [value]
    kinds = (int, float) if isinstance(value, list) else (int, float, str, bool)
    if not all(isinstance(part, kinds) and (isinstance(part, str) or abs(part) < 1e12) for part in parts):
        raise ValueError("a finite number, text, true or false, or a list of numbers")
    return value


Number = Annotated[float, Field(strict=True)]
Whole = Annotated[int, Field(strict=True)]
YesNo = Annotated[bool, Field(strict=True)]
Name = Annotated[str, AfterValidator(_plain)]
Metres = Annotated[Number, Field(ge=-1000, le=1000)]
LengthM = Annotated[Number, Field(ge=0, le=1000)]
SideM = Annotated[Number, Field(gt=0, le=1000)]
Millimetres = Annotated[Number, Field(gt=0, le=1000)]
Volts = Annotated[Number, Field(gt=0, le=120)]
VoltsOrNone = Annotated[Number, Field(ge=0, le=120)]
Amps = Annotated[Number, Field(gt=0, le=10_000)]
Milliamps = Annotated[Number, Field(ge=0, le=100_000)]
Milliohms = Annotated[Number, Field(ge=0, le=1_000_000)]
Lumens = Annotated[Number, Field(ge=0, le=100_000)]
Price = Annotated[Number, Field(ge=0, le=1e9)]
Part = Annotated[Number, Field(gt=0, le=1)]
Fraction = Annotated[Number, Field(ge=0, le=1)]
Kelvin = Annotated[Number, Field(ge=1000, le=25000)]
Chromaticity = Annotated[Number, Field(gt=0, lt=1)]
Pixels = Annotated[Number, Field(ge=-100_000, le=100_000)]
Point = tuple[Metres, Metres, Metres]
Size = tuple[SideM, SideM, SideM]
Pixel = tuple[Pixels, Pixels]
Finish8Bit = Annotated[str, Field(pattern=r"^#[0-9a-fA-F]{6}$")]
Surface = Literal["floor", "ceiling", "back", "left", "right", "front"]
Dial = Annotated[YesNo | Whole | Number | str | list[Number], BeforeValidator(_dial)]
