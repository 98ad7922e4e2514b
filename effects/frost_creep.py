"""Frost on a window: from a few seeds white fronts creep outwards and branch, fill in with ice of many blues, and melt away."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from effects import kit

MOOD = "calm"

DIALS = (
    kit.Dial("creep_m_per_s", "m/s", 0.005, 2, 0.13, "how fast a front creeps"),
    kit.Dial("seed_m", "m", 0.3, 20, 1.5, "from one seed of frost to the next"),
    kit.Dial("branch_m", "m", 0.05, 2, 0.22, "length between branchings"),
    kit.Dial("hold_s", "s", 0, 600, 3, "how long the finished frost stays"),
    kit.Dial("melt_s", "s", 0.5, 600, 5, "how long it takes to melt"),
    kit.kelvin_dial("ice_k", 8500, "the ice", 4000),
)


def _grow_s(dials: Mapping[str, float]) -> float:
    return 0.5 * dials["seed_m"] / dials["creep_m_per_s"] * 1.25 + 3.0


def period_s(dials: Mapping[str, float]) -> float | None:
    """One frost, from the first seed to the last drop."""
    return _grow_s(dials) + dials["hold_s"] + dials["melt_s"] + 1.0


def light(place: kit.Place, time_s: kit.Floats, dials: Mapping[str, float], seed: int) -> kit.Floats:
    """Every place freezes at its own time, set by its way from the nearest seed; light follows from the time since then."""
    period = _grow_s(dials) + dials["hold_s"] + dials["melt_s"] + 1.0
    t = np.mod(kit.columns(time_s), period)
    x, apart = place.course_m, dials["seed_m"]
    nearest = np.floor(x / apart).astype(np.int64)
    way = np.full(place.groups, np.inf)
    for step in (-1, 0, 1):
        spot = nearest + step
        at = (spot + 0.3 + 0.4 * kit.uniform(seed, spot, 0)) * apart
        way = np.minimum(way, np.abs(x - at) + 0.25 * apart * kit.uniform(seed, spot, 1))
    way = way - way.min()
    # A front that branches gets ahead here and lags there.
    branch = dials["branch_m"]
    lag = 0.5 * kit.noise(seed + 1, x / branch) + 0.25 * kit.noise(seed + 2, 2.3 * x / branch)
    freezes_s = np.maximum(way + 0.7 * branch * lag, 0.0) / dials["creep_m_per_s"]
    age = t - freezes_s
    crystal = 0.5 + 0.5 * kit.noise(seed + 3, x / (0.45 * branch))
    front = kit.arch((age + 0.35) / 1.9)
    fill = kit.ease(age / 3.2)
    melts_s = _grow_s(dials) + dials["hold_s"] + 0.55 * dials["melt_s"] * (1.0 - crystal)
    left = 1.0 - kit.ease((t - melts_s) / (0.45 * dials["melt_s"]))
    glitter = 0.93 + 0.07 * kit.noise(seed + 4, x / 0.12, kit.Wrapped(t * 6.0 / period, 6))
    ice = np.clip(fill * (0.16 + 0.56 * crystal) * glitter + 0.72 * front, 0.0, 1.0) * left
    night = 0.24 + 0.09 * kit.noise(seed + 5, x / 1.1)
    # Thin ice is blue and green as in a glacier; fronts and thick crystals are white.
    thick = kit.ease(np.maximum(front, fill * (1.6 * crystal - 0.5)))[:, :, None]
    glacier = kit.mix(
        kit.tint(place, 212.0, 0.75),
        kit.tint(place, 178.0, 0.6),
        kit.ease(0.5 + 0.5 * kit.noise(seed + 6, x / 0.9))[:, None],
    )
    colour = kit.mix(glacier[None], kit.white(place, dials["ice_k"])[None], thick)
    return kit.paint(
        (kit.felt(ice), colour),
        (kit.felt(night) * (1.0 - kit.ease(ice)), kit.tint(place, 252.0, 0.85)),
    )
