"""The cap: the largest level at which a look, or any content at all, keeps every limit, and so at every lower level.

Levels go in steps of 1/255, and codes are rounded, so a lower level is not always the easier one: what is looked for is the *first* level
that fails. Every frame at every level below it must be known to pass. Solving them all is seldom needed, because drive only ever
lowers voltages. From a frame solved at one level follows for every lower level, rigorously:

- each group gets at least the same volts, each supply gives at most the same amps;
- a group's dimming is at most that at these volts, and its shift, along the curve that voltage draws in u'v', is worst at these volts or at
  one of the knees above them, since between two knees the curve is straight;
- a cable's amps are a weighted sum of the groups' amps, which lie between two bounds.

Frames that these do not settle are solved at a level half-way down, and so on until every level is settled. In a plan where the
first premise does not hold (`Network.orderly`), every frame is solved at every level.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from preview.power.limits import Kept, Kind, Quantity, is_over, keep_to, quantities
from preview.power.network import Network
from preview.power.solve import State, solve
from preview.scene.chromaticity import STEP_UV, UV_PARTS
from preview.scene.layout import Bools, Floats, Ints, Layout
from preview.scene.model import Scene

__all__ = ["Cap", "cap_any", "cap_of", "codes_at"]

HIGHEST = 255
SLACK_V = 2e-6
"""Taken off the volts that a group gets at a lower level at least: what solving and the first premise may be wrong by."""

EXPLICIT = 12
"""Stretches of at most so many levels are bounded level by level before anything more is solved."""


@dataclass(frozen=True)
class Cap:
    """A cap and what set it. `code` is the level times 255. `holds` is false where not even darkness keeps the limits."""

    content: str
    code: int
    limited_by: Kind | None
    where: str | None = None
    at_s: float | None = None
    holds: bool = True

    @property
    def level(self) -> float:
        """The level, 0 to 1."""
        return self.code / HIGHEST

    def as_json(self) -> dict[str, Any]:
        """One entry of "caps" in the cap's JSON, format 1."""
        return {
            "content": self.content,
            "level": self.level,
            "code": self.code,
            "limited_by": self.limited_by or "nothing",
            "where": self.where,
            "at_s": self.at_s,
            "holds": self.holds,
        }


def codes_at(channels: Floats, level: int) -> NDArray[np.uint8]:
    """Codes (F, G, C) at level `level`/255 of channels (F, G, C) in 0..1: 255 · level · x, rounded half up."""
    codes: NDArray[np.uint8] = np.floor(255.0 * (level / HIGHEST) * channels + 0.5).astype(np.uint8)
    return codes


def cap_any(scene: Scene, layout: Layout, network: Network) -> Cap:
    """The cap for any content: every colour of every group at full."""
    everything = np.ones((1, layout.groups, layout.colours))
    cap = cap_of(scene, layout, network, [(np.zeros(1), everything)], "any")
    return Cap(cap.content, cap.code, cap.limited_by, cap.where, None, cap.holds)


def cap_of(
    scene: Scene, layout: Layout, network: Network, blocks: Iterable[tuple[Floats, Floats]], content: str
) -> Cap:
    """The cap of a look that comes in blocks: times (F,) in seconds, and channels (F, G, C), 0..1 at level 1.

    Raises SolveError as `solve` does.
    """
    first: int | None = None
    set_by: tuple[Kind, str, float] | None = None
    for times, channels in blocks:
        alike = _first_of_each(channels)
        search = _Search(scene, layout, network, channels[alike])
        highest = HIGHEST if first is None else first - 1
        found = search.first_failing(search.every, 0, highest)
        if found is None:
            continue
        first = found
        kind, where, frame = search.worst(found)
        set_by = kind, where, float(times[alike[frame]])
        if first == 0:
            break
    if first is None or set_by is None:
        return Cap(content, HIGHEST, None)
    kind, where, at_s = set_by
    return Cap(content, max(first - 1, 0), kind, where, at_s, first > 0)


def _first_of_each(channels: Floats) -> Ints:
    """Frames that differ from every earlier one."""
    seen: dict[bytes, int] = {}
    for f, frame in enumerate(channels):
        seen.setdefault(frame.tobytes(), f)
    return np.array(sorted(seen.values()), dtype=np.int64)


class _Search:
    """The search over levels for some frames. A frame is named by its place in `channels`."""

    def __init__(self, scene: Scene, layout: Layout, network: Network, channels: Floats) -> None:
        self.scene, self.layout, self.network, self.channels = scene, layout, network, channels
        self.kept = keep_to(scene, layout, network)
        self.every: Ints = np.arange(len(channels))
        self.cables = _Cables(network, self.kept)
        self.hues = _Hues(layout, self.kept, network.highest_v)

    def at(self, frames: Ints, level: int) -> tuple[State, list[Quantity]]:
        """Frames solved at a level, and how they stand."""
        codes = codes_at(self.channels[frames], level)
        state = solve(self.network, codes)
        return state, quantities(self.scene, self.layout, self.network, self.kept, codes, state)

    def worst(self, level: int) -> tuple[Kind, str, int]:
        """What fails most, relative to its limit, at a level that fails: kind, where, frame."""
        _, found = self.at(self.every, level)
        failing = [q for q in found if q.over().any()]

        def excess(q: Quantity) -> float:
            return float(q.value.max() / q.limit) if q.limit > 0 else 1.0 + float(q.value.max())

        q = max(failing, key=excess)
        frame = int(q.value.argmax())
        where = q.where
        if q.group is not None:
            run, group = self.layout.name_of(int(q.group[frame]))
            where = f"{run} group {group}"
        return q.kind, where, frame

    def first_failing(self, frames: Ints, low: int, high: int) -> int | None:
        """The first of the levels low..high at which any of the frames fails, or None."""
        if low > high or not len(frames):
            return None
        state, found = self.at(frames, high)
        failing = [q for q in found if q.over().any()]
        if not failing:
            return self._first_below(frames, low, high, state.group_v)
        if low == high:
            return high
        hardest = np.unique([frames[int(q.value.argmax())] for q in failing])
        level = self._descend(hardest, low, high)
        lower = self.first_failing(frames, low, level - 1)
        return level if lower is None else lower

    def _descend(self, frames: Ints, low: int, high: int) -> int:
        """A level at which a few frames fail and whose predecessor they pass, or low; they fail at high."""
        passes = low - 1
        while high - passes > 1:
            middle = (passes + high) // 2
            if any(q.over().any() for q in self.at(frames, middle)[1]):
                high = middle
            else:
                passes = middle
        return high

    def _first_below(self, frames: Ints, low: int, high: int, volts: Floats) -> int | None:
        """As `first_failing` over low..high − 1, for frames that pass at high, where their groups get `volts`."""
        top = high - 1
        if low > top:
            return None
        if self.network.orderly:
            open_ = self._unsettled(frames, low, top, volts - SLACK_V)
            frames, volts = frames[open_], volts[open_]
            if not len(frames):
                return None
        middle = (low + top) // 2
        lower = self.first_failing(frames, low, middle)
        if lower is not None:
            return lower
        return self._first_below(frames, middle + 1, high, volts)

    def _unsettled(self, frames: Ints, low: int, top: int, volts: Floats) -> Ints:
        """Which of the frames (indices into `frames`) may fail somewhere in low..top, given their volts at a higher level."""
        open_: Bools = self.cables.may_fail(
            codes_at(self.channels[frames], low), codes_at(self.channels[frames], top), volts
        )
        doubtful = self.hues.doubtful(volts)
        doubtful[open_] = False  # these are solved anyway
        frame, group = np.nonzero(doubtful)
        if len(frame):
            if top - low >= EXPLICIT:
                open_[frame] = True
            else:
                channels, given_v = self.channels[frames[frame], group], volts[frame, group]
                for level in range(low, top + 1):
                    fails = self.hues.may_fail(codes_at(channels, level), given_v, group)
                    open_[frame[fails]] = True
        return np.flatnonzero(open_)


class _Cables:
    """Bounds on the amps in fuses and cables over a range of drives."""

    def __init__(self, network: Network, kept: Kept) -> None:
        leads, self.network = network.leads, network
        limits = [
            np.minimum(kept.fuse_a, kept.feed_a),
            kept.feed_a,
            kept.block_a,
            kept.block_a,
            kept.join_a,
            kept.join_a,
        ]
        rows = np.arange(leads.feed.start, leads.join_negative.stop)
        limit = np.concatenate(limits)
        rows, self.limit = rows[np.isfinite(limit)], limit[np.isfinite(limit)]
        weight = leads.per_a[rows] @ network.wiring.draw_per_ampere()  # amps in the cable per ampere at the place
        self.still_a = leads.still_a[rows]
        self.up, self.down = np.maximum(weight, 0.0), np.minimum(weight, 0.0)
        idle = network.group_loads.idle_a
        self.idle_a = idle if network.first_of is None else np.add.reduceat(idle, network.first_of)

    def may_fail(self, low: NDArray[np.uint8], high: NDArray[np.uint8], volts: Floats) -> Bools:
        """Frames (F,) in which a cable may pass its limit for some drive between two (F, G, C), at `volts` (F, G) or more."""
        loads = self.network.group_loads
        most = np.full(volts.shape, self.network.highest_v)

        def amps(codes: NDArray[np.uint8], at_v: Floats) -> Floats:
            current = np.stack([codes[:, :, c] * (loads.rated_a[i] / 255) for i, c in enumerate(loads.colours)])
            drawn = loads.amps(current, at_v)
            return drawn if self.network.first_of is None else np.add.reduceat(drawn, self.network.first_of, axis=1)

        least, greatest = amps(low, volts), amps(high, most)
        upper = self.still_a + greatest @ self.up.T + least @ self.down.T
        lower = self.still_a + least @ self.up.T + greatest @ self.down.T
        fails: Bools = np.any(is_over(np.maximum(upper, -lower) - self.limit, 0.0), axis=1)
        return fails


class _Hues:
    """Bounds on dimming and shift of groups that get at least some volts, whatever they get above that."""

    def __init__(self, layout: Layout, kept: Kept, highest_v: float) -> None:
        self.layout, self.kept = layout, kept
        # (G, C, 3): what u'v' are the quotients of
        self.weight = layout.xyz_per_lumen @ UV_PARTS.T * layout.lumen[..., None]
        lit = layout.lumen.max(axis=0) > 0
        uv = self.weight[:, lit, :2] / np.maximum(self.weight[:, lit, 2:], 1e-300)
        apart = np.linalg.norm(uv[:, :, None] - uv[:, None], axis=-1)
        self.widest_uv = float(apart.max(initial=0.0))
        self.ceiling = np.where(layout.regulated, 1.0, np.inf)
        # shift of a mix of two hues d apart, one of them weakened to k, is at most d·(1 − √k)/(1 + √k)
        share = min(kept.colour_steps * STEP_UV / self.widest_uv, 1.0) if self.widest_uv > 0 else 1.0
        self.safe_g = max(((1 - share) / (1 + share)) ** 2, 1 - kept.dimming)
        drawn = (layout.rated_a > 0) & (layout.lumen > 0)
        at_v = layout.dark_v + self.safe_g * (layout.full_v - layout.dark_v)
        # (G,) from here no mix can fail; on an unregulated strip colours part again above
        self.safe_v = np.where(layout.regulated, np.where(drawn, at_v, 0.0).max(axis=1), np.inf)
        top = np.full((layout.groups, 1), highest_v)
        self.knees = np.minimum(np.concatenate([layout.dark_v, layout.full_v, top], axis=1), highest_v)  # (G, 2C + 1)

    def doubtful(self, volts: Floats) -> Bools:
        """Groups (F, G) that some drive could make fail at these volts or above."""
        return np.asarray(volts < self.safe_v)

    def may_fail(self, codes: NDArray[np.uint8], volts: Floats, group: Ints) -> Bools:
        """Which of N groups, driven with codes (N, C), fail at their volts (N,) or somewhere above."""
        layout = self.layout
        rated = codes[:, :, None] * self.weight[group]  # (N, C, 3)
        ideal = rated.sum(axis=1)
        driven = ideal[:, 2] > 0
        dark, span = layout.dark_v[group], (layout.full_v - layout.dark_v)[group]
        ceiling = self.ceiling[group][:, None]
        ideal[~driven] = 1.0
        aim = ideal[:, :2] / ideal[:, 2:]
        fails = np.zeros(len(codes), dtype=np.bool_)
        for k in range(-1, self.knees.shape[1]):
            if k < 0:
                at_v, some = volts, np.arange(len(codes))
            else:
                knee = self.knees[group, k]
                some = np.flatnonzero((knee > volts) & (knee < self.safe_v[group]) & ~fails)
                at_v = knee[some]
            if not len(some):
                continue
            g = np.clip((at_v[:, None] - dark[some]) / span[some], 0.0, ceiling[some])
            given = np.einsum("nc,ncx->nx", g, rated[some])
            lit = given[:, 2] > 0
            given[~lit, 2] = 1.0
            moved = np.linalg.norm(given[:, :2] / given[:, 2:] - aim[some], axis=1) / STEP_UV
            lost = 1 - given[:, 1] / ideal[some, 1]
            over = (moved > self.kept.colour_steps * (1 - 1e-9)) & lit | (lost > self.kept.dimming * (1 - 1e-9))
            fails[some[over & driven[some]]] = True
        return fails
