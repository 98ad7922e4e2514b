"""The dials of an effect, and makers of those that many effects have: the same name, unit and words everywhere."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

__all__ = [
    "Dial",
    "hue_dial",
    "kelvin_dial",
    "later_dial",
    "loop_dial",
    "loop_period",
    "part_dial",
    "purity_dial",
]


@dataclass(frozen=True)
class Dial:
    """A parameter of an effect: a number with a unit and a range.

    `unit` is written as on paper ("m", "s", "m/s", "K", "1/m", "deg", "" for a pure number); `low` and `high` are both
    allowed; `says` is one line of plain words.
    """

    name: str
    unit: str
    low: float
    high: float
    default: float
    says: str

    @property
    def range_text(self) -> str:
        """The range with its unit.

        >>> Dial("ripple_m", "m", 0.05, 2, 0.3, "length of a ripple").range_text
        '0.05 to 2 m'
        """
        return f"{self.low:g} to {self.high:g} {self.unit}".rstrip()


def part_dial(name: str, default: float, says: str, low: float = 0.0, high: float = 1.0) -> Dial:
    """A pure number, 0 to 1 unless said otherwise."""
    return Dial(name, "", low, high, default, says)


def kelvin_dial(name: str, default: float, of: str, low: float = 1000.0, high: float = 15000.0) -> Dial:
    """The colour temperature of something."""
    return Dial(name, "K", low, high, default, f"colour temperature of {of}")


def hue_dial(name: str, default: float, of: str) -> Dial:
    """The hue of something, as `tint` takes it."""
    return Dial(name, "deg", 0, 360, default, f"hue of {of}: 0 red, 90 yellow-green, 180 cyan, 260 blue, 330 pink")


def purity_dial(default: float, of: str) -> Dial:
    """How pure a hue is, as `tint` takes it."""
    return Dial("purity", "", 0, 1, default, f"how pure {of}: 0 white, 1 the purest the strip has")


def later_dial(default: float, does: str, high: float = 60.0) -> Dial:
    """How much later something happens on each further run."""
    return Dial("run_later_s", "s", 0, high, default, f"how much later {does} each further run")


def loop_dial() -> Dial:
    """Seconds after which an effect repeats that otherwise never does: what `seamless` takes."""
    return Dial("loop_s", "s", 0, 600, 0, "seconds after which it repeats; 0: never")


def loop_period(dials: Mapping[str, float]) -> float | None:
    """What `period_s` is for an effect with a `loop_dial`: it repeats only when asked to.

    >>> loop_period({"loop_s": 12.0}), loop_period({"loop_s": 0.0})
    (12.0, None)
    """
    return dials["loop_s"] or None
