"""A train goes by in the dark: rows of warm lit windows, a gap between carriages, then the quiet blue of the night."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from effects import kit

MOOD = "calm"

DIALS = (
    kit.Dial("speed_m_per_s", "m/s", 0.05, 4, 0.95, "how fast the train goes, away from the data end"),
    kit.Dial("window_m", "m", 0.3, 5, 0.75, "from one window to the next"),
    kit.part_dial("lit_part", 0.58, "part of it that is glass", 0.1, 0.95),
    kit.part_dial("windows", 3, "windows of a carriage", 1, 12),
    kit.part_dial("carriages", 4, "carriages of a train", 1, 20),
    kit.Dial("every_s", "s", 1, 600, 12, "from one train to the next, where they do not overlap"),
    kit.kelvin_dial("window_k", 2450, "the windows"),
    kit.later_dial(0.35, "it passes"),
)


def _cycle_m(dials: Mapping[str, float]) -> tuple[float, float, float]:
    """Length of a carriage with its gap, of a train, and from head to head of two trains."""
    carriage = (round(dials["windows"]) + 0.9) * dials["window_m"]
    train = carriage * round(dials["carriages"])
    return carriage, train, max(dials["every_s"] * dials["speed_m_per_s"], train + carriage)


def period_s(dials: Mapping[str, float]) -> float | None:
    """From one train to the next."""
    return _cycle_m(dials)[2] / dials["speed_m_per_s"]


def light(place: kit.Place, time_s: kit.Floats, dials: Mapping[str, float], seed: int) -> kit.Floats:
    """Everything is a function of how far a place lies behind the head of the train."""
    t = kit.columns(time_s)
    speed, pitch = dials["speed_m_per_s"], dials["window_m"]
    carriage, train, cycle = _cycle_m(dials)
    behind = speed * (t - dials["run_later_s"] * place.run) - place.along_m
    behind = np.mod(behind, cycle)
    half = place.half_m + 0.07  # glass has no hard edge when it moves
    glass: kit.Floats = np.zeros((t.shape[0], place.groups))
    for window in range(round(dials["windows"])):
        start = (window + 0.45) * pitch
        glass += kit.pulses(behind - start, half, carriage, dials["lit_part"] * pitch / carriage)
    inside = kit.edge(behind, half, 0.0, 0.1) * (1.0 - kit.edge(behind, half, train, 0.1))
    # More than half as often again where two runs are seen together.
    glass = kit.mix(dials["lit_part"], glass, kit.gentle(1.6 * speed / pitch)) * inside
    number = np.clip(np.floor(behind / carriage), 0, round(dials["carriages"]) - 1).astype(np.int64)
    lit = 0.80 + kit.gentle(speed / carriage) * (0.60 * kit.uniform(seed, number) ** 0.5 - 0.40)
    kelvin = dials["window_k"] * (0.9 + 0.25 * kit.uniform(seed + 1, number))
    spill = np.exp(-np.maximum(behind - train, 0.0) / 0.5) + np.exp(-(cycle - behind) / 0.9)
    near = np.where(behind < train, 1.0, np.clip(spill, 0.0, 1.0))
    night = kit.felt(0.16 + 0.10 * near) * (1.0 - glass)
    body = (lit * glass, kit.white(place, kelvin))
    return kit.paint(body, (night, kit.tint(place, 256.0, 0.58)))
