"""What a plan must keep to, and how near each moment comes to it.

One `Quantity` for every supply, fuse, cable, and for colour, dimming and reset over all groups: its value in every frame, and the limit.
The meter, the cap and the window all read the same ones. Sources: the scene's [limits]; cables from `preview.power.conductors`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from preview.power.conductors import ampacity_a
from preview.power.network import Network
from preview.power.shift import dimming, steps
from preview.power.solve import Drive, State
from preview.power.strip import light_fraction
from preview.scene.feed_names import feed_names
from preview.scene.layout import Bools, Floats, Ints, Layout
from preview.scene.model import Scene

__all__ = ["KINDS", "Kept", "Kind", "Quantity", "is_over", "keep_to", "quantities"]

Kind = Literal["supply", "fuse", "cable", "colour", "dimming", "reset"]
KINDS: tuple[Kind, ...] = ("supply", "fuse", "cable", "colour", "dimming", "reset")


@dataclass(frozen=True)
class Kept:
    """The limits of a plan, in amps (infinite where there is none), steps, a share of light, and volts."""

    supply_a: Floats  # (S,) rating times supply_fraction
    fuse_a: Floats  # (K,) rating times fuse_fraction
    feed_a: Floats  # (K,) ampacity of the feed's cable
    block_a: Floats  # (B,)
    join_a: Floats  # (J,) of the joins that carry anything
    colour_steps: float
    dimming: float
    reset_v: Floats  # (G,) 0 where the strip has none
    feed_names: tuple[str, ...]  # (K,)


@dataclass(frozen=True)
class Quantity:
    """One thing that is limited, over F frames. Reset's value is how far the worst group lies below its limit."""

    kind: Kind
    where: str  # name of the supply, as in `feed_names`, "block NAME", "join A to B"; empty where it is about groups
    limit: float
    value: Floats  # (F,)
    group: Ints | None = None  # (F,) worst group, where it is about groups

    def over(self) -> Bools:
        """Frames (F,) in which the limit is passed."""
        return is_over(self.value, self.limit)


def is_over(value: Floats, limit: float) -> Bools:
    """Whether a value passes its limit, by more than the last digits of a calculation."""
    return np.asarray(value > limit + 1e-9 * max(abs(limit), 1.0))


def keep_to(scene: Scene, layout: Layout, network: Network) -> Kept:
    """The limits of a scene."""
    limits = scene.limits
    return Kept(
        supply_a=np.array([supply.amps * limits.supply_fraction for supply in scene.supply.values()]),
        fuse_a=np.array([np.inf if f.fuse_a is None else f.fuse_a * limits.fuse_fraction for f in scene.feed]),
        feed_a=np.array([ampacity_a(feed.cable) for feed in scene.feed]),
        block_a=np.array([ampacity_a(block.cable) for block in scene.block.values()]),
        join_a=np.array([ampacity_a(scene.join[j].cable) for j in network.join_index]),
        colour_steps=limits.colour_steps,
        dimming=limits.dimming,
        reset_v=layout.reset_v,
        feed_names=feed_names(scene),
    )


def quantities(
    scene: Scene, layout: Layout, network: Network, kept: Kept, codes: Drive, state: State
) -> list[Quantity]:
    """Everything that is limited, for the frames of `state` under `codes` (F, G, C). Currents count in either direction."""
    found = [
        Quantity("supply", name, float(kept.supply_a[s]), state.supply_a[:, s]) for s, name in enumerate(scene.supply)
    ]
    positive = np.abs(state.feed_a)
    found += [
        Quantity("fuse", kept.feed_names[k], float(kept.fuse_a[k]), positive[:, k])
        for k in range(len(scene.feed))
        if np.isfinite(kept.fuse_a[k])
    ]
    cables = (
        (kept.feed_names, kept.feed_a, state.feed_a, state.feed_negative_a),
        ([f"block {name}" for name in scene.block], kept.block_a, state.block_a, state.block_negative_a),
        ([f"join {name}" for name in network.join_names], kept.join_a, state.join_a, state.join_negative_a),
    )
    for names, limit, plus, minus in cables:
        most = np.maximum(np.abs(plus), np.abs(minus))
        found += [
            Quantity("cable", name, float(limit[k]), most[:, k])
            for k, name in enumerate(names)
            if np.isfinite(limit[k])
        ]
    return found + _of_groups(layout, network, kept, codes, state.group_v)


def _of_groups(layout: Layout, network: Network, kept: Kept, codes: Drive, group_v: Floats) -> list[Quantity]:
    """Colour, dimming and reset: the worst group of each frame."""
    frames = len(group_v)
    rows = np.arange(frames)
    shift, loss = np.zeros(frames), np.zeros(frames)
    shift_group, loss_group = np.zeros(frames, dtype=np.int64), np.zeros(frames, dtype=np.int64)
    sagging = np.flatnonzero((group_v < network.group_loads.steady_v).any(axis=1))
    if len(sagging):
        g = light_fraction(layout, group_v[sagging])
        for values, out, group in (
            (steps(layout, codes[sagging], g), shift, shift_group),
            (dimming(layout, codes[sagging], g), loss, loss_group),
        ):
            worst = values.argmax(axis=1)
            group[sagging] = worst
            out[sagging] = values[np.arange(len(sagging)), worst]
    found = [
        Quantity("colour", "", kept.colour_steps, shift, shift_group),
        Quantity("dimming", "", kept.dimming, loss, loss_group),
    ]
    if kept.reset_v.any():
        short = np.where(kept.reset_v > 0, kept.reset_v - group_v, -np.inf)
        worst = short.argmax(axis=1)
        found.append(Quantity("reset", "", 0.0, short[rows, worst], worst))
    return found
