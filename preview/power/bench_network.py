"""All readings of a bench as networks: every reading a run of its own on a supply of its own, a few to a network.

Leaves out: contacts between meter and pad, and what the meters themselves draw.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from preview.power.bench import Reading
from preview.power.network import Network, build
from preview.power.solve import solve
from preview.power.strip import loads_of
from preview.scene.colours import COLOURS
from preview.scene.layout import Bools, Floats, Ints, Layout, lay_out
from preview.scene.model import Scene, Strip

__all__ = ["Bench", "Shown", "positive_share"]

TOGETHER = 12
"""Readings in one network: its work grows with their number cubed."""


def positive_share(strip: Strip) -> float:
    """The positive rail's share of the resistance of both; a half where neither has any."""
    plus, minus = strip.rail_milliohm_per_m
    return plus / (plus + minus) if plus + minus > 0 else 0.5


@dataclass(frozen=True)
class Shown:
    """What the meters would show. R readings, G groups of all of them."""

    near_v: Floats  # (R,)
    far_v: Floats  # (R,)
    amps: Floats  # (R,)
    plus_drop_v: Floats  # (R,) along the positive, from the near pad to the far one
    group_v: Floats  # (G,)


class Bench:
    """Readings of one type of strip, to be worked out for any figures of it.

    E fed ends: `fed_v` (E,) as read, `of` (E,) the reading of each, `at_far` (E,) whether it is the far end. `codes` (G, C) of the groups,
    `alone` (R,) whether one end is fed.
    """

    def __init__(self, strip: Strip, readings: Sequence[Reading], conductor_c: float) -> None:
        self.strip, self.readings = strip, tuple(readings)
        starts = range(0, len(readings), TOGETHER)
        self._parts = [_Part(strip, readings[n : n + TOGETHER], conductor_c) for n in starts]
        self.of: Ints = np.concatenate([part.of + n for n, part in zip(starts, self._parts, strict=True)])
        self.at_far: Bools = np.concatenate([part.at_far for part in self._parts])
        read = [(readings[n].far_v if far else readings[n].near_v) for n, far in zip(self.of, self.at_far, strict=True)]
        self.fed_v: Floats = np.array(read)
        self.codes = np.concatenate([part.codes[0] for part in self._parts])
        self.alone: Bools = np.array([reading.fed != "both" for reading in readings])

    def read(self, strip: Strip, fed_v: Floats) -> Shown:
        """What a strip of these figures would show with true volts `fed_v` (E,) at the fed ends. Raises SolveError as `solve` does."""
        shown, at = [], 0
        for part in self._parts:
            shown.append(part.read(strip, fed_v[at : at + len(part.of)]))
            at += len(part.of)
        return Shown(*(np.concatenate(columns) for columns in zip(*shown, strict=True)))


class _Part:
    """A few readings as one scene."""

    def __init__(self, strip: Strip, readings: Sequence[Reading], conductor_c: float) -> None:
        runs, feeds, supply = [], [], {}
        of, at_far = [], []
        for n, reading in enumerate(readings):
            length_m = reading.groups * strip.cut_m
            runs.append({"name": f"r{n}", "strip": "s", "path_m": [(0.0, 0.0, 0.0), (length_m, 0.0, 0.0)]})
            for end in ("near", "far") if reading.fed == "both" else (reading.fed,):
                supply[f"{end} {n}"] = {"volts": 1.0, "amps": 1.0}
                cable = {"mm2": 1.0, "length_m": 0.0}
                at_m = 0.0 if end == "near" else length_m
                feeds.append({"from": f"{end} {n}", "run": f"r{n}", "at_m": at_m, "cable": cable})
                of.append(n)
                at_far.append(end == "far")
        self.scene = Scene.model_validate(
            {
                "format": 1,
                "title": "bench",
                "room": {"size_m": (1, 1, 1)},
                "viewer": {"eye_m": (0, 0, 0), "look_m": (0, 1, 0)},
                "strip": {"s": strip.model_dump()},
                "supply": supply,
                "run": runs,
                "feed": feeds,
                "assume": {"conductor_c": conductor_c},
            }
        )
        self.layout: Layout = lay_out(self.scene)
        self.of: Ints = np.array(of, dtype=np.int64)
        self.at_far: Bools = np.array(at_far)
        codes = np.array([reading.codes for reading in readings], dtype=np.uint8)[:, : self.layout.colours]
        self.codes = codes[self.layout.run_of][None]
        self._built: tuple[tuple[float, ...], Network] | None = None

    def _network(self, strip: Strip, fed_v: Floats, layout: Layout) -> Network:
        """The network of these rails and volts; the last one again where neither has changed."""
        key = (*strip.rail_milliohm_per_m, *(float(volts) for volts in fed_v))
        if self._built is None or self._built[0] != key:
            supplies = {
                name: supply.model_copy(update={"volts": volts})
                for (name, supply), volts in zip(self.scene.supply.items(), key[2:], strict=True)
            }
            scene = self.scene.model_copy(update={"strip": {"s": strip}, "supply": supplies})
            self._built = key, build(scene, layout)
        return self._built[1]

    def read(self, strip: Strip, fed_v: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats]:
        """The fields of `Shown`."""
        colours = [getattr(strip, colour) for colour in COLOURS[: self.layout.colours]]
        every = np.ones((self.layout.groups, 1))
        layout = replace(
            self.layout,
            rated_a=every * np.array([0.0 if c is None else c.milliamp / 1000 for c in colours]),
            dark_v=every * np.array([0.0 if c is None else c.dark_v for c in colours]),
            full_v=every * np.array([1.0 if c is None else c.full_v for c in colours]),
            idle_a=np.full(self.layout.groups, strip.idle_milliamp_per_group / 1000),
        )
        loads = loads_of(layout)
        network = replace(self._network(strip, fed_v, layout), loads=loads, group_loads=loads)
        state = solve(network, self.codes)
        group_v = state.group_v[0]
        near, far = group_v[layout.first[:-1]], group_v[layout.first[1:] - 1]  # an open end carries no current
        near[self.of[~self.at_far]] = fed_v[~self.at_far]
        far[self.of[self.at_far]] = fed_v[self.at_far]
        amps = np.bincount(self.of, state.supply_a[0], minlength=len(near))
        return near, far, np.asarray(amps, dtype=float), positive_share(strip) * (near - far), group_v
