"""What a set of feeds costs, and the standard cables and fuses it is made of.

cost = Σ over feeds ( feed + fuse + length_m · (metre + mm2 · section) )

that is: a fixed sum for every place where power enters a strip (solder or connector, the way through the cover, the time), one for the fuse
and its holder, and for every metre of two-core cable a part for laying it and a part for the copper, in proportion to the section of one
conductor in mm². A supply that has to be added costs `supply`. The figures are an assumption, not a price list: they are in no
particular currency, and only their proportions decide which plan is cheapest.

Cables: the sizes of IEC 60228 class 5, or even AWG sizes (ASTM B258). Fuses: blade fuses, ISO 8820-3. Every feed gets one.

Leaves out: terminals that take only thin cables, reels and cut-off, discounts, what a cable looks like.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from preview.power.conductors import CLASS_5_OHM_PER_KM, ampacity_a, awg_area_mm2, cable_ohm_20c
from preview.scene.model import Cable, Feed, Scene

__all__ = ["AWG_SIZES", "Prices", "Size", "System", "plan_cost", "sizes_of", "system_of"]

System = Literal["mm2", "awg"]

AWG_SIZES = (20, 18, 16, 14, 12, 10, 8, 6)
"""AWG sizes that are sold as two-core flexible cable for low voltage (common practice, no source)."""


@dataclass(frozen=True)
class Prices:
    """What things cost, in any unit. Every value is a finite number from 0 up."""

    feed: float = 8.0
    """Each place where power enters a strip."""
    fuse: float = 3.0
    """Each fuse with its holder."""
    metre: float = 0.5
    """Each metre of cable, whatever its section."""
    mm2: float = 0.4
    """Each metre of cable and mm² of one of its conductors."""
    supply: float = 40.0
    """Each supply that is not there yet."""

    def of_cable(self, section_mm2: float, length_m: float) -> float:
        """The cost of one feed: its cable, its fuse and the place where it enters."""
        return self.feed + self.fuse + length_m * (self.metre + self.mm2 * section_mm2)


@dataclass(frozen=True)
class Size:
    """A standard cable size, in one of the two systems."""

    system: System
    number: float  # mm², or the AWG

    def cable(self, length_m: float) -> Cable:
        """A cable of this size as the scene has it."""
        if self.system == "awg":
            return Cable(awg=int(self.number), length_m=length_m)
        return Cable(mm2=self.number, length_m=length_m)

    @property
    def section_mm2(self) -> float:
        """Section of one conductor, in mm²."""
        return awg_area_mm2(int(self.number)) if self.system == "awg" else self.number

    @property
    def ohm_per_m(self) -> float:
        """Resistance of one conductor at 20 °C, in ohms a metre."""
        return cable_ohm_20c(self.cable(1.0))

    @property
    def ampacity_a(self) -> float:
        """Amps it may carry for long."""
        return ampacity_a(self.cable(1.0))

    def __str__(self) -> str:
        return f"{int(self.number)} AWG" if self.system == "awg" else f"{self.number:g} mm²"


def sizes_of(system: System) -> tuple[Size, ...]:
    """The standard sizes of a system, thinnest first.

    >>> [str(size) for size in sizes_of("mm2")][:3]
    ['0.5 mm²', '0.75 mm²', '1 mm²']
    """
    numbers = AWG_SIZES if system == "awg" else tuple(CLASS_5_OHM_PER_KM)
    return tuple(Size(system, number) for number in numbers)


def system_of(scene: Scene) -> System:
    """The system in which a scene gives most of its cables; mm² where it is even."""
    cables = [feed.cable for feed in scene.feed] + [block.cable for block in scene.block.values()]
    gauges = sum(cable.awg is not None for cable in cables)
    return "awg" if 2 * gauges > len(cables) else "mm2"


def plan_cost(prices: Prices, feeds: tuple[Feed, ...]) -> float:
    """The cost of feeds as the scene has them; one without a fuse saves it."""
    total = 0.0
    for feed in feeds:
        cable = feed.cable
        section = awg_area_mm2(cable.awg) if cable.awg is not None else (cable.mm2 or 0.0)
        total += prices.of_cable(section, cable.length_m) - (prices.fuse if feed.fuse_a is None else 0.0)
    return total
