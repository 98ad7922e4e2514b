"""What readings cannot tell of a strip, in words, and which further reading would.

A direction in which all figures may move by what would matter without moving any residual by 1 is one that the readings do not tell. A
figure that such directions carry almost whole is free by itself; figures that they carry in part are told only in combination.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from preview.power.bench_network import Bench
from preview.scene.colours import COLOURS
from preview.scene.layout import Floats

__all__ = ["Untold", "untold"]

WHOLE, PART = 0.99, 0.2
"""A figure's share in the untold directions from which it is free by itself, and from which it takes part."""


@dataclass(frozen=True)
class Untold:
    """Figures that the readings do not tell, in words, and what would tell them."""

    keys: tuple[str, ...]
    says: str
    do: str


def untold(
    bench: Bench, keys: Sequence[str], told: Mapping[str, bool], sizes: Floats, directions: Floats, group_v: Floats
) -> tuple[Untold, ...]:
    """What the readings leave free. `sizes` (U,) and `directions` (U, U): singular values and right singular vectors for figures in
    units of what would matter; `group_v` (G,) the volts worked out."""
    blind = directions[sizes < 1.0]
    reach = np.linalg.norm(blind, axis=0) if len(blind) else np.zeros(len(keys))
    free = [key for key, part in zip(keys, reach, strict=True) if part > WHOLE and not told[key]]
    mixed = [key for key, part in zip(keys, reach, strict=True) if PART < part <= WHOLE and not told[key]]
    found = [_free(bench, key, group_v) for key in free if not (key.endswith("dark_v") and f"{key[:-6]}full_v" in free)]
    if len(mixed) == 1:
        found.append(_free(bench, mixed[0], group_v))
    elif mixed:
        says = f"{_listed(mixed)}: only in combination, one may be more and another less"
        found.append(Untold(tuple(mixed), says, _ways(mixed)))
    for c, name in enumerate(COLOURS):
        if getattr(bench.strip, name) is not None and not bench.codes[:, c : c + 1].any():
            found.append(Untold((f"{name}.milliamp",), f"{name}: no reading lit it", f"light {name} alone"))
    if "share" not in keys:
        says = "how the rails' resistance is shared between positive and negative: volts across the pads feel only their sum"
        found.append(Untold(("share",), says, "read plus_drop_v, from the near positive pad to the far one"))
    return tuple(found)


def _free(bench: Bench, key: str, group_v: Floats) -> Untold:
    name, _, kind = key.partition(".")
    if kind not in ("full_v", "dark_v"):
        return Untold((key,), f"{key}: the readings hardly feel it", _ways([key]))
    lit = bench.codes[:, COLOURS.index(name)] > 0
    lowest = float(group_v[lit].min())
    do = f"turn the supply down until {name} dims, and read again"
    if kind == "dark_v":
        return Untold((key,), f"{key}: no group that was sent {name} came near it ({lowest:.2f} V at the lowest)", do)
    says = f"{name}'s voltage curve: no group that was sent {name} got less than {lowest:.2f} V, too much or too little to see it"
    return Untold((f"{name}.dark_v", key), says, do)


def _ways(keys: Sequence[str]) -> str:
    currents = [key for key in keys if key.endswith("milliamp")]
    knees = [key for key in keys if key.endswith("_v")]
    ways = []
    if "rails" in keys or "share" in keys:
        ways.append("a longer piece with more current")
    if "idle" in keys:
        ways.append("a reading with every colour dark")
    if currents:
        ways.append("each colour alone on a short piece, at the rated volts")
    if knees:
        ways.append("each colour alone with the supply turned down until it dims")
    return "; ".join(ways)


def _listed(keys: Sequence[str]) -> str:
    return f"{', '.join(keys[:-1])} and {keys[-1]}"
