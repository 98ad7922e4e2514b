"""The meter: a whole look's amps, drop, dimming and shift, and every limit that it passes.

Frames come in blocks and are let go again, so that memory does not grow with the look; what is kept of each frame is a few numbers.

Leaves out: a supply's sagging or tripping above its rating. The meter says what the plan would draw.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from preview.power.limits import Kind, Quantity, is_over, keep_to, quantities
from preview.power.network import Network
from preview.power.solve import Drive, solve
from preview.scene.layout import Bools, Floats, Ints, Layout
from preview.scene.model import Scene

__all__ = ["Break", "Metered", "meter_frames"]


@dataclass(frozen=True)
class Break:
    """One limit passed: by what, how far, for how long, since when."""

    kind: Kind
    where: str  # as in `Quantity`; for groups "RUN group 139"
    worst: float  # in the unit of the limit
    limit: float
    seconds: float
    first_s: float
    worst_s: float
    spells: int
    run: str | None = None  # of the group, where the limit is a group's
    group: int | None = None  # its number in the run

    @property
    def excess(self) -> float:
        """What tells two breaks of one kind apart: the larger, the worse; volts are the worse the lower."""
        return self.limit - self.worst if self.kind == "reset" else self.worst

    def __str__(self) -> str:
        """The break in plain words, such as 'supply psu: 4.4 A over 4.0 A for 0.7 s from 3.0 s'."""
        worst, limit = _two_figures(self)
        about = {
            "supply": f"supply {self.where}: {worst} A over {limit} A",
            "fuse": f"fuse of {self.where}: {worst} A over {limit} A",
            "cable": f"cable of {self.where}: {worst} A over {limit} A",
            "colour": f"colour at {self.where}: {worst} steps over {limit}",
            "dimming": f"dimming at {self.where}: {worst} % over {limit} %",
            "reset": f"reset at {self.where}: {worst} V under {limit} V",
        }[self.kind]
        spell = "" if self.spells == 1 else f" in {self.spells} spells"
        since = "from" if self.spells == 1 else "the first from"
        return f"{about} for {self.seconds:.3g} s{spell}, {since} {self.first_s:.2f} s".replace(" s, from", " s from")


def _two_figures(found: Break) -> tuple[str, str]:
    """Both numbers with as many decimals as it takes to tell them apart."""
    scale = 100.0 if found.kind == "dimming" else 1.0
    for decimals in range(1, 7):
        texts = f"{found.worst * scale:.{decimals}f}", f"{found.limit * scale:.{decimals}f}"
        if texts[0] != texts[1]:
            break
    return texts


@dataclass(frozen=True)
class Metered:
    """A look, metered. F frames, S supplies. What belongs to groups names the worst of all frames."""

    name: str
    effect: str
    level: float
    frames: int
    frames_per_s: float
    supply_a: Floats  # (F, S)
    supply_limit_a: Floats  # (S,)
    feed_peak_a: Floats  # (K,)
    feed_limit_a: Floats  # (K,) the lower of fuse and cable
    supply_w: Floats  # (F,)
    lowest_v: Floats  # (F,)
    dimming: Floats  # (F,)
    colour_steps: Floats  # (F,)
    lowest_group: Ints  # (F,)
    dimming_group: Ints  # (F,)
    colour_group: Ints  # (F,)
    breaks: tuple[Break, ...]

    def at_s(self, frame: int) -> float:
        """Seconds into the look of a frame."""
        return frame / self.frames_per_s

    def as_json(self, scene: Scene, layout: Layout) -> dict[str, Any]:
        """One entry of "looks" in the meter's JSON, format 1."""

        def worst(values: Floats, groups: Ints, key: str, best: int) -> dict[str, Any]:
            run, group = layout.name_of(int(groups[best]))
            return {key: float(values[best]), "run": run, "group": group, "at_s": self.at_s(best)}

        supplies = []
        for s, name in enumerate(scene.supply):
            amps, limit = self.supply_a[:, s], float(self.supply_limit_a[s])
            peak = _first_worst(amps)
            supplies.append(
                {
                    "name": name,
                    "peak_amps": float(amps[peak]),
                    "peak_at_s": self.at_s(peak),
                    "mean_amps": float(amps.mean()),
                    "limit_amps": limit,
                    "seconds_over": float(is_over(amps, limit).sum() / self.frames_per_s),
                }
            )
        feeds = [
            {"index": k, "peak_amps": float(peak), "limit_amps": float(self.feed_limit_a[k])}
            for k, peak in enumerate(self.feed_peak_a)
        ]
        return {
            "name": self.name,
            "effect": self.effect,
            "frames": self.frames,
            "frames_per_s": self.frames_per_s,
            "level": self.level,
            "supplies": supplies,
            "feeds": feeds,
            "lowest_volts": worst(self.lowest_v, self.lowest_group, "volts", _first_worst(-self.lowest_v)),
            "worst_dimming": worst(self.dimming, self.dimming_group, "fraction", _first_worst(self.dimming)),
            "worst_colour_steps": worst(self.colour_steps, self.colour_group, "steps", _first_worst(self.colour_steps)),
            "mean_watts": float(self.supply_w.mean()),
            "breaks": [str(found) for found in self.breaks],
        }


def meter_frames(
    scene: Scene,
    layout: Layout,
    network: Network,
    blocks: Iterable[Drive],
    frames_per_s: float,
    *,
    name: str = "",
    effect: str = "",
    level: float = 1.0,
) -> Metered:
    """Meter a look whose drives come in blocks (F, G, C) of consecutive frames. Raises SolveError as `solve` does."""
    kept = keep_to(scene, layout, network)
    seen: list[list[Quantity]] = []
    rows: list[tuple[Floats, Floats, Floats, Ints]] = []
    feed_peak = np.zeros(len(scene.feed))
    for codes in blocks:
        state = solve(network, codes)
        seen.append(quantities(scene, layout, network, kept, codes, state))
        lowest = state.group_v.argmin(axis=1)
        volts = state.group_v[np.arange(len(lowest)), lowest]
        rows.append((state.supply_a, state.supply_w, volts, lowest))
        both = np.maximum(np.abs(state.feed_a), np.abs(state.feed_negative_a))
        np.maximum(feed_peak, both.max(axis=0, initial=0.0), out=feed_peak)
    if not rows:
        raise ValueError("a look has at least one frame")
    whole = [_joined([block[i] for block in seen]) for i in range(len(seen[0]))]
    colour = next(q for q in whole if q.kind == "colour")
    loss = next(q for q in whole if q.kind == "dimming")
    assert colour.group is not None  # both are about groups
    assert loss.group is not None
    supply_a = np.concatenate([row[0] for row in rows])
    return Metered(
        name=name,
        effect=effect,
        level=level,
        frames=len(supply_a),
        frames_per_s=frames_per_s,
        supply_a=supply_a,
        supply_limit_a=kept.supply_a,
        feed_peak_a=feed_peak,
        feed_limit_a=np.minimum(kept.fuse_a, kept.feed_a),
        supply_w=np.concatenate([row[1] for row in rows]),
        lowest_v=np.concatenate([row[2] for row in rows]),
        dimming=loss.value,
        colour_steps=colour.value,
        lowest_group=np.concatenate([row[3] for row in rows]),
        dimming_group=loss.group,
        colour_group=colour.group,
        breaks=tuple(b for q in whole if (b := _break(layout, q, frames_per_s)) is not None),
    )


def _first_worst(values: Floats) -> int:
    """The first frame that has the largest value: where a look repeats itself, rounding must not choose among its rounds."""
    largest = values.max()
    return int((values >= largest - 1e-9 * abs(largest)).argmax())


def _joined(parts: list[Quantity]) -> Quantity:
    """One quantity over consecutive blocks of frames."""
    groups = [part.group for part in parts if part.group is not None]
    one = parts[0]
    value = np.concatenate([part.value for part in parts])
    return Quantity(one.kind, one.where, one.limit, value, np.concatenate(groups) if groups else None)


def _break(layout: Layout, quantity: Quantity, frames_per_s: float) -> Break | None:
    over: Bools = quantity.over()
    if not over.any():
        return None
    worst = _first_worst(quantity.value)
    where, value, limit = quantity.where, float(quantity.value[worst]), quantity.limit
    run, number = None, None
    if quantity.group is not None:
        group = int(quantity.group[worst])
        run, number = layout.name_of(group)
        where = f"{run} group {number}"
        if quantity.kind == "reset":
            limit = float(layout.reset_v[group])
            value = limit - value
    starts = over & ~np.concatenate([[False], over[:-1]])
    return Break(
        kind=quantity.kind,
        where=where,
        worst=value,
        limit=limit,
        seconds=float(over.sum() / frames_per_s),
        first_s=float(over.argmax() / frames_per_s),
        worst_s=worst / frames_per_s,
        spells=int(starts.sum()),
        run=run,
        group=number,
    )
