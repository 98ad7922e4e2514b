"""The groups that sag below their knees, settled alone: Newton's steps on what is not known beforehand.

A plan is as large as its room, and at any moment most of it holds: a group that keeps above its knees with all the others at their
most draws a known current. So the linear network is solved once with every group at its most, and only the groups below their knees
there are stepped, as what they draw *less* than that. Between two of them on a chain stands nothing but rail, so they are a chain of
their own, with longer segments; all chains of all frames, end to end, are one symmetric tridiagonal system.

A chain whose loads agree with the straight lines of its last step is done: from then on it answers its two ports in straight lines, at no
cost. So the work grows with what sags, and one stubborn group does not keep all others busy.

What comes out is offered, not warranted: a chain that was done may be thrown by what its neighbours do later. Whoever asks must hold the
answer against the network, and solve again where it fails.

Leaves out: loads that never level off, for which no most is known.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from preview.power.chains import Flow, tridiagonal
from preview.power.network import Network
from preview.power.strip import Loads
from preview.scene.layout import Bools, Floats, Ints

__all__ = ["settle_low"]

MOST_ROUNDS = 12
"""Steps after which a chain is given back as it is."""

DROPPED = 0.3
"""Share of the chains that must be done for it to pay to sort them out."""

CLOSE_SHARE = 1e-12
"""Largest mismatch of a chain's amps, as a share of what it draws, at which its pieces count as right: rounding alone."""


def settle_low(
    network: Network, current: Floats, most_a: Floats, most: Flow, low: Bools, frames: Ints, start: Floats | None
) -> tuple[Ints, Floats, Floats]:
    """The groups that are `low` (F, M) in `frames` (N,): where they are in (F, M) laid flat, their amps and their volts.

    `current` (C, F, M) amps of each colour at g = 1; `most_a` (F, M) all of them drawn, and `most` the linear network then; `start`
    (N, M) volts to begin from, where any are known.
    """
    groups = _low_groups(network, current, most_a, most, low[frames], frames)
    spot = groups.spot
    if start is None:  # as the resistors that draw as much at the highest voltage
        line, slope = np.zeros_like(groups.full_a), groups.full_a / max(network.highest_v, 1e-9)
    else:
        shift = np.repeat((np.arange(len(frames)) - frames)[groups.frame] * low.shape[1], groups.count)
        line, slope = groups.lines(np.take(start, spot + shift))
    left_a, right_a, *per_volt = np.zeros((6, len(frames), len(network.wiring.first)))
    here: Ints = np.arange(len(spot))
    settled: list[tuple[_Groups, Ints, Floats]] = []
    for left in reversed(range(MOST_ROUNDS)):
        ends = groups.frame, groups.chain
        spare = groups.full_a - line - slope * groups.full_v  # what the lines draw less, at the volts of the most
        answers = groups.answers(spare, slope)
        left_a[ends], right_a[ends] = groups.ends(slope * answers[0] - spare)
        per_volt[0][ends], per_volt[1][ends] = groups.ends(slope * answers[1])
        per_volt[2][ends], per_volt[3][ends] = groups.ends(slope * answers[2])
        gains = network.wiring.end_volts(0.0, left_a, right_a, *per_volt)
        volts = groups.volts(answers, *gains)
        drawn = line + slope * volts
        new_line, new_slope = groups.lines(volts)
        off = np.add.reduceat(np.abs(new_line + new_slope * volts - drawn), groups.edge)
        done = off <= CLOSE_SHARE * np.add.reduceat(drawn, groups.edge)
        if not left or done.all():
            settled.append((groups, here, np.vstack([line, slope, answers])))
            break
        if done.mean() >= DROPPED:
            out = np.repeat(done, groups.count)
            settled.append((groups.only(done, out), here[out], np.vstack([line, slope, answers])[:, out]))
            rest = ~out
            groups, here = groups.only(~done, rest), here[rest]
            new_line, new_slope = new_line[rest], new_slope[rest]
        line, slope = new_line, new_slope
    now_a, now_v = np.empty((2, len(spot)))
    for chosen, where, found in settled:
        now_v[where] = volts = chosen.volts(found[2:], *gains)
        now_a[where] = found[0] + found[1] * volts
    return spot, now_a, now_v


@dataclass(frozen=True)
class _Groups:
    """The low groups of N chains, each chain in one frame, end to end: n of them in all."""

    frame: Ints  # (N,)
    chain: Ints  # (N,)
    count: Ints  # (N,) of the groups that are low
    loads: Loads  # of the network's M places
    place: Ints  # (n,)
    spot: Ints  # (n,) in frames and places laid flat
    amps: Floats  # (C, n) of each colour at g = 1
    full_a: Floats  # (n,) with every group at its most
    full_v: Floats  # (n,)
    from_left: Floats  # (n,) share of its amps that comes from its chain's left end
    onward: Floats  # (n,) siemens to the next low group, 0 at the last of a chain
    to_left: Floats  # (n,) siemens to the port at the chain's left, at its first low group alone
    to_right: Floats  # (n,)

    @cached_property
    def edge(self) -> Ints:
        """First of each chain's groups, (N,)."""
        begin: Ints = np.cumsum(self.count) - self.count
        return begin

    @cached_property
    def _own_loads(self) -> Loads:
        return self.loads.at(self.place)

    @cached_property
    def _rails(self) -> Floats:
        """Siemens of all rails that meet at a group, (n,)."""
        all_ = self.onward + self.to_left + self.to_right
        all_[1:] += self.onward[:-1]
        return all_

    def only(self, chosen: Bools, each: Bools) -> _Groups:
        """Some of the chains: `chosen` (N,), which have `each` (n,) of the groups."""
        chains = (self.frame[chosen], self.chain[chosen], self.count[chosen])
        own = (self.full_a, self.full_v, self.from_left, self.onward, self.to_left, self.to_right)
        return _Groups(
            *chains,
            self.loads,
            self.place[each],
            self.spot[each],
            self.amps[:, each],
            *(values[each] for values in own),
        )

    def lines(self, volts: Floats) -> tuple[Floats, Floats]:
        """The straight lines on which the loads lie at `volts` (n,): amps at 0 V and siemens."""
        amps, slope = self._own_loads.draw(self.amps[:, None], volts[None])
        line = slope[0] * volts
        np.subtract(amps[0], line, out=line)
        return line, slope[0]

    def answers(self, spare: Floats, slope: Floats) -> Floats:
        """Volts that the groups gain, (3, n), where they draw `slope` · gain − `spare`: with 0 V at the ports, and where 1 V comes to
        the port at the chain's left, and at its right, alone."""
        return tridiagonal(slope + self._rails, -self.onward, np.stack([spare, self.to_left, self.to_right]))

    def ends(self, amps: Floats) -> tuple[Floats, Floats]:
        """What comes by way of each chain's left and right end, (N,) each, of `amps` (n,)."""
        total = np.add.reduceat(amps, self.edge)
        left = np.add.reduceat(amps * self.from_left, self.edge)
        return left, total - left

    def volts(self, answers: Floats, left_v: Floats, right_v: Floats) -> Floats:
        """Volts of the groups, (n,), where their chains' ends gain `left_v` and `right_v`, (frames, chains) each."""
        volts = answers[1] * np.repeat(left_v[self.frame, self.chain], self.count)
        volts += answers[2] * np.repeat(right_v[self.frame, self.chain], self.count)
        volts += answers[0]
        volts += self.full_v
        return volts


def _low_groups(network: Network, current: Floats, most_a: Floats, most: Flow, low: Bools, frames: Ints) -> _Groups:
    """The groups that are `low` (N, M) in `frames` (N,)."""
    wiring = network.wiring
    counts = np.add.reduceat(low.view(np.uint8), wiring.first, axis=1, dtype=np.int64)
    frame, chain = np.nonzero(counts)
    count = counts[frame, chain]
    row, place = np.nonzero(low)
    spot = frames[row] * low.shape[1] + place
    last = np.cumsum(count) - 1
    first = last - count + 1
    ohm, number = wiring.chains.segment_ohm[chain], wiring.number[place]
    onward, to_left, to_right = np.zeros((3, len(place)))
    onward[:-1] = number[1:] - number[:-1]
    onward[last] = np.inf
    onward *= wiring.place_ohm[place]
    np.divide(1.0, onward, out=onward)
    to_left[first] = (wiring.left[chain] < wiring.ports) / (ohm * (number[first] + 0.5))
    to_right[last] = (wiring.right[chain] < wiring.ports) / (ohm * (wiring.chains.count[chain] - number[last] - 0.5))
    return _Groups(
        frame,
        chain,
        count,
        network.loads,
        place,
        spot,
        np.take(current.reshape(len(current), -1), spot, axis=1),
        np.take(most_a, spot),
        np.take(most.volts, spot),
        wiring.from_left[place],
        onward,
        to_left,
        to_right,
    )
