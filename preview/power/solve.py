"""Volts and amps everywhere for given drives: the steady state of the network, many frames at once.

Kirchhoff's current law at every node, with loads that rise with their voltage in straight pieces. The state is the minimum of a convex
function, so there is one. Where every group levels off, only those that sag are settled, as `sagging` has it.

What that does not settle, Newton's method does for all places together. It is exact once it has the right pieces; it could cycle between
their kinks on a heavily sagging run, so a step is taken in full only while it halves the mismatch, or while the function still falls
at its end; else a point on the step is taken where the function has nearly stopped falling. Such steps cannot cycle.

Every answer is checked along another way before it is given out: currents are put into the linear network by running sums, and at the
volts that come of them the loads must draw those currents. Otherwise SolveError: never a wrong figure.

Leaves out: what happens between two frames (cables' inductance, supplies' capacitors).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from preview.power.chains import Flow
from preview.power.network import Network
from preview.power.sagging import settle_low
from preview.scene.faults import CovecastError
from preview.scene.layout import Bools, Floats, Ints

__all__ = ["Drive", "SolveError", "State", "solve", "solve_volts"]

Drive = NDArray[np.uint8] | Floats
"""Codes 0 to 255 as uint8, or fractions 0 to 1 as floats: (F, G, C)."""

CLOSE_V = 1e-8
"""Bound on the voltage error at which the steps stop."""

CLOSE_SHARE = 1e-8
"""Largest mismatch of the amps at which they stop, as a share of all amps drawn."""

ROUNDING = 1e-11
"""Mismatch of the amps, as a share of all amps drawn, that the running sums of a long plan bring by rounding alone."""

CHECK_V = 1e-6
"""Largest difference between an answer and the volts that its currents bring."""

MOST_STEPS = 200
"""Steps after which a frame counts as not solved. None has been seen to need a tenth of it."""

BLOCK = 1 << 15
"""Places times frames that are worked on together: few enough that the arrays stay near the processor."""

STRIDE = 8
"""Of the frames that sag, every eighth is solved from scratch, the others from what lies between those."""


class SolveError(CovecastError):
    """The network could not be solved to the promised accuracy. No figure is given in its place."""


@dataclass(frozen=True)
class State:
    """What meters would read. F frames, G groups, S supplies, K feeds, B blocks, J joins that carry anything."""

    group_v: Floats  # (F, G) across each group
    group_a: Floats  # (F, G)
    supply_v: Floats  # (F, S) at the terminals
    supply_a: Floats  # (F, S) leaving the positive terminal
    feed_v: Floats  # (F, K) across the strip's pads
    feed_a: Floats  # (F, K) into the run's positive
    feed_negative_a: Floats  # (F, K) out of the run's negative
    block_v: Floats  # (F, B)
    block_a: Floats  # (F, B) through the block's own cable
    block_negative_a: Floats  # (F, B)
    join_a: Floats  # (F, J) positive, towards the run that the join goes to; 0 where it carries the negative alone
    join_negative_a: Floats  # (F, J) negative, back from that run
    conductor_w: Floats  # (F,) lost in rails, cables, contacts and fuses
    group_w: Floats  # (F,)
    supply_w: Floats  # (F,) given out at the terminals

    @property
    def imbalance(self) -> Floats:
        """|supplies − groups − conductors| over the power that moves or 1 mW, whichever is more, (F,). Below 1e-6 in every answer."""
        moved = np.maximum((np.abs(self.supply_v * self.supply_a)).sum(axis=1), 1e-3)
        off: Floats = np.abs(self.supply_w - self.group_w - self.conductor_w) / moved
        return off


def solve(network: Network, drive: Drive, start_v: Floats | None = None) -> State:
    """The state of every frame.

    `drive` (F, G, C), or (G, C) for one frame: codes as uint8, or fractions of full drive as floats. `start_v`: group volts to begin
    from, (G,) or (F, G), such as those of a neighbouring frame; they change the time taken, never the answer.

    Raises SolveError where a drive is not finite, not within 0..1, or of the wrong shape, and where a frame does not converge.
    """
    drive = _checked(network, drive)
    whole: State | None = None
    for part, amps, flow in _blocks(network, drive, start_v, True):
        state = _state(network, drive[part], amps, flow)
        if len(state.group_w) == len(drive):
            return state
        if whole is None:
            whole = State(*(np.empty((len(drive), *getattr(state, f.name).shape[1:])) for f in fields(State)))
        for f in fields(State):
            getattr(whole, f.name)[part] = getattr(state, f.name)
    if whole is None:
        raise SolveError("a drive of at least one frame is needed, found none")
    return whole


def solve_volts(network: Network, drive: Drive, start_v: Floats | None = None) -> Floats:
    """The volts across the groups alone, (F, G); arguments and errors as in `solve`."""
    drive = _checked(network, drive)
    group_v = np.empty((len(drive), network.groups))
    for part, _, flow in _blocks(network, drive, start_v, False):
        group_v[part] = flow.volts if network.place_of is None else flow.volts[:, network.place_of]
    return group_v


def _checked(network: Network, drive: Drive) -> Drive:
    if drive.ndim == 2:
        drive = drive[None]
    needed = 1 + max(network.loads.colours, default=0)
    if drive.ndim != 3 or drive.shape[1] != network.groups or drive.shape[2] < needed:
        raise SolveError(f"a drive of shape frames × {network.groups} groups × colours is needed, found {drive.shape}")
    if drive.dtype != np.uint8:
        drive = np.asarray(drive, dtype=float)
        if drive.size and not (drive.min() >= 0 and drive.max() <= 1):  # also false for NaN
            raise SolveError("a drive given as fractions must lie within 0 to 1")
    return drive


def _blocks(
    network: Network, drive: Drive, start_v: Floats | None, losses: bool
) -> Iterator[tuple[slice, Floats, Flow]]:
    """Slices of frames with the amps at their places (F, M) and the linear network under them."""
    size = max(1, BLOCK // max(1, network.wiring.chains.places))
    start = None
    if start_v is not None:
        start = np.broadcast_to(start_v, (len(drive), network.groups))
        if network.first_of is not None:
            start = start[:, network.first_of]
    before: Floats | None = None
    for begin in range(0, len(drive), size):
        part = slice(begin, min(begin + size, len(drive)))
        amps, flow = _settle(network, _currents(network, drive[part]), before if start is None else start[part], losses)
        before = flow.volts[-1] if size <= STRIDE else None
        yield part, amps, flow


def _currents(network: Network, drive: Drive) -> Floats:
    """Amps of each colour at g = 1, (C, F, M), of codes or fractions (F, G, C)."""
    loads = network.group_loads
    current = np.empty((len(loads.colours), *drive.shape[:2]))
    scale = 1 / 255 if drive.dtype == np.uint8 else 1.0
    for c, colour in enumerate(loads.colours):
        np.multiply(drive[:, :, colour], loads.rated_a[c] * scale, out=current[c])
    if network.first_of is not None:
        current = np.add.reduceat(current, network.first_of, axis=2)
    return current


def _settle(network: Network, current: Floats, known: Floats | None, losses: bool) -> tuple[Floats, Flow]:
    """Amps at the places (F, M), and the linear network under them.

    `known` volts to begin from: (F, M) near those of each frame, or (M,) those of the frame before.
    """
    loads, wiring = network.loads, network.wiring
    if not np.all(np.isfinite(loads.steady_v)):

        def solved(frames: Ints, start: Floats | None) -> Floats:
            drawn = current[:, frames]
            return _newton(network, drawn, _first_guess(network, drawn) if start is None else start)

        return _confirmed(network, current, _in_strides(np.arange(current.shape[1]), known, solved), losses)
    most_a = loads.most(current)
    most = wiring.from_currents(most_a, losses)
    low = most.volts < loads.steady_v
    sagging = np.flatnonzero(low.any(axis=1))
    if not len(sagging):
        return most_a, most
    amps = most_a.copy()

    def settled(frames: Ints, start: Floats | None) -> Floats:
        spot, now_a, now_v = settle_low(network, current, most_a, most, low, frames, start)
        amps.reshape(-1)[spot] = now_a
        near = most.volts.copy()
        near.reshape(-1)[spot] = now_v
        return near[frames]

    _in_strides(sagging, known if known is None or known.ndim == 1 else known[sagging], settled)
    _replace(amps, most, sagging, *_held(network, current[:, sagging], amps[sagging], losses))
    return amps, most


def _in_strides(frames: Ints, known: Floats | None, solved: Callable[[Ints, Floats | None], Floats]) -> Floats:
    """Volts of the `frames` (N,), (N, M), by `solved(some of them, volts to begin from)`.

    Every eighth from scratch, or from the frame before them all where it is `known` (M,); those between from a line between these two.
    """
    if known is not None and known.ndim == 2:
        return solved(frames, known)
    position = np.arange(len(frames))
    anchor = position % STRIDE == 0
    anchor[-1] = True
    if known is not None and len(frames) > 1:
        anchor[0] = False
    where, between = np.flatnonzero(anchor), np.flatnonzero(~anchor)
    ends = solved(frames[where], None if known is None else np.broadcast_to(known, (len(where), len(known))))
    if not len(between):
        return ends
    volts = np.empty((len(frames), ends.shape[1]))
    volts[where] = ends
    if known is not None:
        where, ends = np.concatenate([[-1], where]), np.concatenate([known[None], ends])
    after = np.searchsorted(where, between)
    share = ((between - where[after - 1]) / (where[after] - where[after - 1]))[:, None]
    volts[between] = solved(frames[between], ends[after - 1] + share * (ends[after] - ends[after - 1]))
    return volts


def _first_guess(network: Network, current: Floats) -> Floats:
    """Volts (F, M) of a network in which every load is the resistor that draws as much as it does at the highest voltage."""
    loads = network.loads
    high = network.highest_v
    full = np.full(current.shape[1:], high)
    amps, _ = loads.draw(current, full)
    return network.wiring.step(np.zeros_like(amps), amps / max(high, 1e-9))


def _newton(network: Network, current: Floats, start: Floats) -> Floats:
    """Volts (F, M) by Newton's steps from `start`, each frame until its error is provably below CLOSE_V."""
    loads, reach = network.loads, network.reach_ohm
    answer = np.array(start, dtype=float)
    frames = np.arange(len(answer))  # those not yet done
    amps, slope = loads.draw(current, answer)
    # the first step is only a place to begin: from then on Kirchhoff's law holds everywhere but at the loads
    volts, mismatch, amps, slope = _step(network, current, answer, amps, slope)
    error = np.abs(mismatch).sum(axis=1) * reach
    best = error.copy()
    for _ in range(MOST_STEPS):
        done = error <= CLOSE_V
        if done.any():  # where hardly anything is drawn, the amps decide
            done &= error <= reach * CLOSE_SHARE * amps.sum(axis=1)
        if done.any():
            answer[frames[done]] = volts[done]
            if done.all():
                return answer
            keep = ~done
            frames, volts, mismatch, amps, slope, best = (
                frames[keep],
                volts[keep],
                mismatch[keep],
                amps[keep],
                slope[keep],
                best[keep],
            )
            current = current[:, keep]
        new, new_mismatch, new_amps, new_slope = _step(network, current, volts, amps, slope)
        move = new - volts
        falling = np.einsum("fm,fm->f", mismatch, move)  # slope of the convex function along the step, at its start
        ahead = np.einsum("fm,fm->f", new_mismatch, move)  # and at its end
        error = np.abs(new_mismatch).sum(axis=1) * reach
        short = (error > 0.5 * best) & (ahead > 0) & (error > CLOSE_V)
        if short.any():
            fraction = _line_search(
                network, current[:, short], volts[short], move[short], amps[short], slope[short], falling[short]
            )
            new[short] = volts[short] + fraction[:, None] * move[short]
            drawn, new_slope[short] = loads.draw(current[:, short], new[short])
            bent = drawn - amps[short] - fraction[:, None] * slope[short] * move[short]
            new_mismatch[short] = (1 - fraction)[:, None] * mismatch[short] + bent
            new_amps[short] = drawn
            error[short] = np.abs(new_mismatch[short]).sum(axis=1) * reach
        volts, mismatch, amps, slope = new, new_mismatch, new_amps, new_slope
        best = np.minimum(best, error)
    raise SolveError(
        f"the network did not converge in {MOST_STEPS} steps ({len(frames)} frames, error bound {error.max():.2g} V)"
    )


def _step(
    network: Network, current: Floats, volts: Floats, amps: Floats, slope: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """One full step: new volts, amps that the loads there draw beyond the straight lines that led there, their amps and slopes."""
    line = slope * volts
    np.subtract(amps, line, out=line)
    new = network.wiring.step(line, slope)
    new_amps, new_slope = network.loads.draw(current, new)
    mismatch = slope * new
    mismatch += line
    np.subtract(new_amps, mismatch, out=mismatch)
    return new, mismatch, new_amps, new_slope


def _line_search(
    network: Network, current: Floats, volts: Floats, move: Floats, amps: Floats, slope: Floats, falling: Floats
) -> Floats:
    """How far along each step to go, (F,) in 0..1: to where the convex function falls, less than half as steeply as at the start.

    Its slope along the step is (1 − t)·falling + Σ (bend of the loads at t)·move, and only ever grows with t.
    """
    loads = network.loads
    low, high = np.zeros(len(volts)), np.ones(len(volts))
    chosen = np.zeros(len(volts))
    straight = np.einsum("fm,fm,fm->f", slope, move, move)
    drawn_there = np.einsum("fm,fm->f", amps, move)
    open_: Ints = np.arange(len(volts))
    for _ in range(60):
        t = (low[open_] + high[open_]) / 2
        drawn = loads.amps(current[:, open_], volts[open_] + t[:, None] * move[open_])
        bend = np.einsum("fm,fm->f", drawn, move[open_]) - drawn_there[open_] - t * straight[open_]
        there = (1 - t) * falling[open_] + bend
        rising: Bools = there > 0
        high[open_[rising]] = t[rising]
        low[open_[~rising]] = t[~rising]
        chosen[open_[~rising]] = t[~rising]
        open_ = open_[rising | (there < 0.5 * falling[open_])]
        if not len(open_):
            break
    return chosen


def _held(network: Network, current: Floats, amps: Floats, losses: bool) -> tuple[Floats, Flow]:
    """The same amps (F, M) and the linear network under them, where the loads draw as much at the volts that come of them.

    Frames where they do not are solved again, all places together.
    """
    flow = network.wiring.from_currents(amps, losses)
    off = np.abs(network.loads.amps(current, flow.volts) - amps).sum(axis=1)
    missed = np.flatnonzero(~(off <= np.maximum(CLOSE_V / network.reach_ohm, ROUNDING * amps.sum(axis=1))))
    if len(missed):
        volts = _newton(network, current[:, missed], flow.volts[missed])
        _replace(amps, flow, missed, *_confirmed(network, current[:, missed], volts, losses))
    return amps, flow


def _confirmed(network: Network, current: Floats, volts: Floats, losses: bool) -> tuple[Floats, Flow]:
    """Amps at the places (F, M) at `volts`, and the linear network under them, which must bring the same volts: else SolveError."""
    amps = network.loads.amps(current, volts)
    flow = network.wiring.from_currents(amps, losses)
    off = float(np.abs(flow.volts - volts).max(initial=0.0))
    if not off <= CHECK_V:
        raise SolveError(f"the network's answer fails its own check by {off:.2g} V")
    return amps, flow


def _replace(amps: Floats, flow: Flow, frames: Ints, new_amps: Floats, new_flow: Flow) -> None:
    """Put other amps and another flow in the place of some frames'."""
    amps[frames] = new_amps
    for name in ("volts", "port_v", "left_a", "right_a", "rails_w"):
        if (old := getattr(flow, name)) is not None:
            old[frames] = getattr(new_flow, name)


def _state(network: Network, drive: Drive, amps: Floats, flow: Flow) -> State:
    assert flow.rails_w is not None
    port_v, rails_w, draw = flow.port_v, flow.rails_w, network.wiring.at_ports(flow.left_a, flow.right_a)
    leads = network.leads
    lead_a = leads.still_a + draw @ leads.per_a.T
    conductor_w = rails_w + (lead_a[:, leads.supply.stop :] ** 2) @ leads.ohm[leads.supply.stop :]
    supply_a = lead_a[:, leads.supply]
    supply_v = network.supply_volts - supply_a * network.supply_ohm
    group_v, group_a = flow.volts, amps
    if network.place_of is not None:
        group_v = np.ascontiguousarray(flow.volts[:, network.place_of])
        loads = network.group_loads
        scale = 1 / 255 if drive.dtype == np.uint8 else 1.0
        own = np.stack([drive[:, :, colour] * (loads.rated_a[c] * scale) for c, colour in enumerate(loads.colours)])
        group_a = loads.amps(own, group_v)
    state = State(
        group_v=group_v,
        group_a=group_a,
        supply_v=supply_v,
        supply_a=supply_a,
        feed_v=port_v[:, network.feed_port],
        feed_a=lead_a[:, leads.feed],
        feed_negative_a=lead_a[:, leads.feed_negative],
        block_v=network.block_still_v + draw @ network.block_per_v.T,
        block_a=lead_a[:, leads.block],
        block_negative_a=lead_a[:, leads.block_negative],
        join_a=lead_a[:, leads.join],
        join_negative_a=lead_a[:, leads.join_negative],
        conductor_w=conductor_w,
        group_w=np.einsum("fm,fm->f", flow.volts, amps),
        supply_w=np.einsum("fs,fs->f", supply_v, supply_a),
    )
    off = float(state.imbalance.max(initial=0.0))
    if not off <= 1e-6:
        raise SolveError(f"the power that supplies give and the power that is used differ by {off:.2g} of it")
    return state
