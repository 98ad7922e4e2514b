"""Copper: what a cable or a strip's rail has in ohms, and what a cable may carry in amps.

Resistance at 20 °C is 1/58 Ω·mm²/m for annealed copper (IEC 60028). It grows as R(T) = R20·(1 + 0.00393·(T − 20)).
A flexible cable of a standard size has the class 5 maximum of IEC 60228, which lies 11 to 16 % above area alone, for the lay of
its strands; any other size in mm² is taken from its area. AWG sizes are solid wire with the diameter of ASTM B258.

Leaves out: the tinned strands' few per cent, skin effect, the warming of a cable by its own current.
"""

from __future__ import annotations

import math

from preview.scene.model import Cable

__all__ = [
    "CLASS_5_OHM_PER_KM",
    "COPPER_OHM_MM2_PER_M",
    "ampacity_a",
    "awg_area_mm2",
    "cable_ohm_20c",
    "cable_words",
    "temperature_factor",
]

COPPER_OHM_MM2_PER_M = 1 / 58
"""Annealed copper at 20 °C, IEC 60028."""

CLASS_5_OHM_PER_KM = {
    0.5: 39.0,
    0.75: 26.0,
    1.0: 19.5,
    1.5: 13.3,
    2.5: 7.98,
    4.0: 4.95,
    6.0: 3.30,
    10.0: 1.91,
    16.0: 1.21,
}
"""Maximum resistance at 20 °C of plain flexible copper conductors, IEC 60228 class 5."""

_FLEX_A = {0.5: 3.0, 0.75: 6.0, 1.0: 10.0, 1.25: 13.0, 1.5: 15.0, 2.5: 20.0}
"""Current of small flexible cords by mm²: UK ratings for portable appliances, from secondary copies that name no standard.

BS 7671 table 4F3A allows more from 1.5 mm² up, 16 and 25 A (from memory)."""

_CORD_A = {18: 10.0, 17: 12.0, 16: 13.0, 14: 18.0, 12: 25.0}
"""Current of flexible cords with two loaded cores by AWG, NEC table 400.5(A)."""


def temperature_factor(conductor_c: float) -> float:
    """Resistance of copper at `conductor_c` °C over that at 20 °C (α20 = 0.00393 /K, IEC 60287 table 1).

    >>> round(temperature_factor(75.0), 5)
    1.21615
    """
    return 1 + 0.00393 * (conductor_c - 20)


def awg_area_mm2(awg: int) -> float:
    """Area in mm² of a solid wire of size `awg`: diameter 0.005 in · 92^((36 − n)/39), ASTM B258.

    >>> round(awg_area_mm2(12), 4)
    3.3088
    """
    diameter_mm = 0.127 * math.pow(92, (36 - awg) / 39)
    return math.pi / 4 * diameter_mm**2


def cable_ohm_20c(cable: Cable | None) -> float:
    """Resistance in ohms of one conductor of a cable over its whole length, at 20 °C. No cable has none.

    Raises ValueError where a cable has neither size; the scene's reader does not let one through.
    """
    if cable is None or cable.length_m == 0:
        return 0.0
    if cable.awg is not None:
        return COPPER_OHM_MM2_PER_M / awg_area_mm2(cable.awg) * cable.length_m
    if cable.mm2 is None:
        raise ValueError("a cable needs mm2 or awg")
    if cable.mm2 in CLASS_5_OHM_PER_KM:
        return CLASS_5_OHM_PER_KM[cable.mm2] / 1000 * cable.length_m
    return COPPER_OHM_MM2_PER_M / cable.mm2 * cable.length_m


def cable_words(cable: Cable) -> str:
    """The size of a cable as it is asked for.

    >>> cable_words(Cable(mm2=1.5, length_m=1)), cable_words(Cable(awg=16, length_m=1))
    ('1.5 mm²', '16 AWG')
    """
    return f"{cable.mm2:g} mm²" if cable.awg is None else f"{cable.awg} AWG"


def ampacity_a(cable: Cable | None) -> float:
    """Amps that a two-core flexible cable may carry for long; infinite where there is no cable.

    Sizes in the two published tables as they stand. A size between two entries has the smaller one's current. Below the smallest
    the current density of the smallest is kept; above the largest the heat per metre of the largest (I ∝ √area). Both are on
    the safe side, since a thinner cable sheds more heat for its area and a thicker one has more skin.

    Leaves out: bundling, warm surroundings, cables in insulation, all of which ask for less.

    >>> ampacity_a(Cable(mm2=1.0, length_m=1)), ampacity_a(Cable(mm2=2.0, length_m=1)), ampacity_a(Cable(awg=16, length_m=1))
    (10.0, 15.0, 13.0)
    """
    if cable is None:
        return math.inf
    if cable.awg in _CORD_A:
        return _CORD_A[cable.awg]
    area = awg_area_mm2(cable.awg) if cable.awg is not None else cable.mm2
    if area is None:
        raise ValueError("a cable needs mm2 or awg")
    smallest = min(_FLEX_A)
    if area < smallest:
        return _FLEX_A[smallest] * area / smallest
    largest = awg_area_mm2(12)
    if area >= largest:
        return _CORD_A[12] * math.sqrt(area / largest)
    return max(amps for size, amps in _FLEX_A.items() if size <= area)
