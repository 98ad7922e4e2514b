"""Wagons in a yard: blocks of muted colour roll together one after another, couple with a small glint, and part again."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from effects import kit

MOOD = "festive"

DIALS = (
    kit.Dial("yard_m", "m", 0.8, 50, 3.4, "length of one yard; longer runs hold several"),
    kit.part_dial("wagons", 4, "wagons of a yard; a short one takes fewer, so that there is room to roll", 2, 8),
    kit.Dial("wagon_m", "m", 0.1, 5, 0.44, "length of a wagon, where the yard has room for two"),
    kit.Dial("shunt_s", "s", 2, 60, 3.2, "how long one wagon rolls"),
    kit.Dial("rest_s", "s", 0, 60, 1.2, "how long all stand still before and after"),
    kit.part_dial("lamp", 0.14, "how bright the ground between them is felt"),
)

# Hue and purity as old paint: brick, petrol, ochre, slate, rust, cream, plum, straw. Neighbours differ, for two may be all.
_HUES = (
    (6.0, 0.88),
    (228.0, 0.82),
    (40.0, 0.88),
    (250.0, 0.66),
    (20.0, 0.90),
    (50.0, 0.34),
    (350.0, 0.70),
    (58.0, 0.66),
)

_STANDS = 0.55  # part of a yard that its wagons may take up; the rest is room to roll


def _half_s(dials: Mapping[str, float]) -> float:
    """Time of all coming together, or of all parting: each starts when the one before is half way."""
    return dials["rest_s"] + dials["shunt_s"] * 0.5 * (round(dials["wagons"]) + 1)


def period_s(dials: Mapping[str, float]) -> float | None:
    """Together, apart, together elsewhere, apart."""
    return 4.0 * _half_s(dials)


def light(place: kit.Place, time_s: kit.Floats, dials: Mapping[str, float], seed: int) -> kit.Floats:
    """Four stations of the yard in turn; each wagon rolls from where it stood to where it will stand."""
    t = kit.columns(time_s)
    most = round(dials["wagons"])
    yards = np.maximum(1, np.round(place.run_length_m / dials["yard_m"]))
    yard = place.run_length_m / yards
    number = np.minimum(np.floor(place.along_m / yard), yards - 1)
    x, half = place.along_m - number * yard, place.half_m
    key = (number + 100 * place.run).astype(np.int64)
    wagons = np.clip(np.round(_STANDS * yard / dials["wagon_m"]), 2, most)  # (G,)
    size = np.minimum(dials["wagon_m"], _STANDS * yard / wagons)
    free = yard - wagons * size
    half_s = _half_s(dials)
    station = np.floor(t / half_s).astype(np.int64)  # (F, 1)
    local_s = t - station * half_s

    def stands(which: kit.Ints, wagon: int) -> kit.Floats:
        """Left end of a wagon at station 0 apart, 1 together at the left, 2 apart, 3 together at the right."""
        kind = np.mod(which, 4)
        slack = kit.uniform(seed, key, np.where(kind == 0, 0, 2), wagon)
        apart = wagon * (size + free / wagons) + slack * free / wagons
        where = np.where(kind == 1, 0.14 * kit.uniform(seed, key, 1), 1.0 - 0.14 * kit.uniform(seed, key, 3))
        return np.asarray(np.where(kind % 2 == 0, apart, where * free + wagon * size), dtype=np.float64)

    ground = kit.felt(dials["lamp"]) * kit.white(place, 2000.0)
    light_now = np.broadcast_to(ground, (t.shape[0], place.groups, 3)).copy()
    glint = np.zeros((t.shape[0], place.groups))
    ends = []
    for wagon in range(most):
        here = wagon < wagons
        starts_s = dials["rest_s"] + 0.5 * dials["shunt_s"] * wagon * (most - 1) / (wagons - 1)
        rolled = kit.ease((local_s - starts_s) / dials["shunt_s"])
        left = kit.mix(stands(station, wagon), stands(station + 1, wagon), rolled)
        ends.append(left)
        hue, purity = _HUES[wagon % len(_HUES)]
        wagon_light = 0.72 * kit.tint(place, hue, purity, 3200.0)
        soft = np.maximum(0.10, place.group_length_m)
        inset = 0.025
        there = kit.edge(x, half, left + inset, soft) * (1.0 - kit.edge(x, half, left + size - inset, soft))
        light_now += (there * here)[:, :, None] * (wagon_light - light_now)
    for wagon in range(1, most):
        meet = ends[wagon]
        touch = kit.ease(1.0 - (meet - ends[wagon - 1] - size) / 0.10)
        glint += (wagon < wagons) * touch * kit.mark(x, half, meet, 0.09)
    glint = 0.55 * np.clip(glint, 0.0, 1.0)
    return np.asarray(light_now * (1.0 - glint[:, :, None]) + glint[:, :, None] * kit.white(place, 3000.0))
