"""The chains of groups: their voltages from given currents, and one Newton step of all of them at once.

Everything is per frame and for many frames together: places (F, M), chains (F, K), ports (F, P). Nothing here knows of LEDs.

With the currents given, the voltages along a chain are two running sums. What a group draws comes from the two ends of its chain in
the inverse ratio of the rails' lengths to them; the chain's own resistance from end to end is part of the linear network. So all that the
ports need to know of a chain is a weighted sum of its groups' amps, which loses nothing to rounding however small the rails' resistance.

With currents that depend on the voltage as a straight line, a chain is one symmetric tridiagonal system; all chains of all frames laid
end to end are one long one for LAPACK (dpttrf, dpttrs), with the response to the ports at a chain's two ends as further right-hand
sides. What is left is a small dense system in the ports.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import lapack

from preview.scene.layout import Floats, Ints

__all__ = ["Chains", "Flow", "Wiring", "tridiagonal", "wire"]


@dataclass(frozen=True)
class Chains:
    """Stretches of groups between attached places, in run order. K chains cover the M places without a gap."""

    first: Ints  # (K,) first place of the chain
    count: Ints  # (K,) places in it
    segment_ohm: Floats  # (K,) both rails over one cut length
    left: Ints  # (K,) port at its start, -1 where it ends openly
    right: Ints  # (K,) port at its end, -1 where it ends openly

    @property
    def places(self) -> int:
        """Number of places along the strips that draw current."""
        return int(self.count.sum())


@dataclass(frozen=True)
class Flow:
    """The linear network under given currents. F frames, M places, P ports, K chains."""

    volts: Floats  # (F, M) at the places
    port_v: Floats  # (F, P)
    left_a: Floats  # (F, K) what the places draw by way of their chain's left end
    right_a: Floats  # (F, K)
    rails_w: Floats | None  # (F,) lost in the rails to currents across the groups, where it was asked for


@dataclass(frozen=True)
class Wiring:
    """The chains with the linear network between them, laid out for stepping. M places, K chains, P ports; index P stands for no port."""

    chains: Chains
    open_v: Floats  # (P,) volts across the ports with nothing drawn
    port_ohm: Floats  # (P, P) volts lost at each per ampere drawn at each, the chains' own rails among what conducts; symmetric
    chain_of: Ints  # (M,)
    number: Floats  # (M,) of the place within its chain, from 0
    place_ohm: Floats  # (M,) segment of its chain
    from_left: Floats  # (M,) share of a place's amps that comes from its chain's left end
    first: Ints  # (K,)
    last: Ints  # (K,)
    left: Ints  # (K,) port or P
    right: Ints  # (K,) port or P
    starting: Ints  # (P,) chain that starts at the port, or K
    ending: Ints  # (P,) chain that ends at the port, or K
    paired: Ints  # chains with a port at both ends
    diagonal: Floats  # (M,) siemens
    beside: Floats  # (M,) siemens to the next place, negated; 0 at a chain's end
    to_left: Floats  # (M,) siemens to the port at the left, at the first places alone
    to_right: Floats  # (M,)

    @property
    def ports(self) -> int:
        """Number of ports."""
        return len(self.starting)

    def from_currents(self, amps: Floats, losses: bool = False) -> Flow:
        """The linear network where `amps` (F, M) are drawn at the places; with the rails' losses where they are asked for."""
        ohm, count = self.chains.segment_ohm, self.chains.count
        sums = np.cumsum(amps, axis=1)
        twice = np.cumsum(sums, axis=1)
        before = np.where(self.first > 0, sums[:, self.first - 1], 0.0)  # (F, K)
        before_twice = np.where(self.first > 0, twice[:, self.first - 1], 0.0)
        total = sums[:, self.last] - before
        # volts that the groups' currents cost along the whole chain, over its segment's ohms
        cost = twice[:, self.last] - sums[:, self.last] / 2 - before_twice - before * (count - 0.5)
        has_left, has_right = self.left < self.ports, self.right < self.ports
        own = np.where(has_left & has_right, cost / count, np.where(has_left, total, 0.0))
        port_v = self.open_v - self.at_ports(own, total - own) @ self.port_ohm
        left_v, right_v = self.chain_ends(port_v)
        through = np.where(has_left & has_right, (left_v - right_v) / (ohm * count), 0.0)
        entering = own + through  # amps into the chain at its left end
        start_v = np.where(has_left, left_v, right_v - ohm * (cost - entering * count))
        # volts at place k of a chain: start − ohm·(k + ½)·entering + ohm·Σ_{j<k} S_j, S the running sum within the chain
        constant = start_v - ohm * (0.5 * entering + before_twice)
        per_number = -ohm * (entering + before)
        volts = twice - sums
        volts *= self.place_ohm
        volts += self._spread(constant)
        volts += self._spread(per_number) * self.number
        if not losses:
            return Flow(volts, port_v, own, total - own, None)
        onward = sums
        onward -= self._spread(before + entering)  # minus the amps that go on to the right of each place
        lost = np.einsum("fm,fm,m->f", onward, onward, self.place_ohm)
        lost += ((entering**2 - (entering - total) ** 2) / 2) @ ohm
        return Flow(volts, port_v, own, total - own, lost)

    def step(self, amps: Floats, slope: Floats) -> Floats:
        """Volts at the places (F, M) where they draw `amps` + `slope` · volts."""
        own, from_left, from_right = self._answers(amps, slope)
        ends = self._by_ends(own, slope, amps)
        volts = self.end_volts(self.open_v, *ends, *self._ends_per_volt(from_left, from_right, slope))
        for answer, end_v in zip((from_left, from_right), volts, strict=True):
            if answer is not None:
                answer *= self._spread(end_v)
                own += answer
        return own

    def end_volts(
        self,
        open_v: Floats | float,
        left_a: Floats,
        right_a: Floats,
        left_by_left: Floats,
        right_by_left: Floats,
        left_by_right: Floats,
        right_by_right: Floats,
    ) -> tuple[Floats, Floats]:
        """Volts at the chains' left and right ends, (F, K) each, 0 where no port is, of chains that answer in straight lines.

        `open_v` (P,) is there with nothing drawn. The rest (F, K): amps drawn by way of either end with 0 V at the ports, and those that
        come on top per volt at the left, and at the right.
        """
        admittance = self._admittance(left_by_left, right_by_left, left_by_right, right_by_right)
        right = open_v - self.at_ports(left_a, right_a) @ self.port_ohm
        matrix = self.port_ohm @ admittance
        index = np.arange(self.ports)
        matrix[:, index, index] += 1.0
        port_v = right / matrix[:, 0] if self.ports == 1 else np.linalg.solve(matrix, right[..., None])[..., 0]
        return self.chain_ends(port_v)

    def chain_ends(self, port_v: Floats) -> tuple[Floats, Floats]:
        """Port values (F, P) at the chains' left and right ends, (F, K) each, 0 where no port is."""
        padded = np.concatenate([port_v, np.zeros((len(port_v), 1))], axis=1)
        return padded[:, self.left], padded[:, self.right]

    def sinking(self, slope: Floats) -> tuple[Floats, Floats]:
        """How the network answers an ampere drawn at each port, (P, P) each, where each place draws `slope` (M,) siemens.

        The volts that each port loses, and the amps that then still come by way of each port, what the places draw less included.
        """
        flat = slope[None]
        _, from_left, from_right = self._answers(np.zeros_like(flat), flat)
        admittance = self._admittance(*self._ends_per_volt(from_left, from_right, flat))[0]
        unit = np.eye(self.ports)
        sunk: Floats = np.linalg.solve(unit + self.port_ohm @ admittance, self.port_ohm)
        return sunk, unit - admittance @ sunk

    def draw_per_ampere(self) -> Floats:
        """Share of each place's amps that it draws by way of each port, (P, M)."""
        share = np.zeros((self.ports + 1, self.chains.places))
        index = np.arange(self.chains.places)
        share[self.left[self.chain_of], index] += self.from_left
        share[self.right[self.chain_of], index] += 1 - self.from_left
        return share[:-1]

    def _answers(self, amps: Floats, slope: Floats) -> tuple[Floats, Floats | None, Floats | None]:
        """Volts at the places (F, M) for the loads with 0 V at every port; for 1 V at every left port alone; at every right port."""
        frames, places = amps.shape
        has_left, has_right = bool(self.to_left.any()), bool(self.to_right.any())
        columns = 1 + has_left + has_right
        right = np.empty((columns, frames, places))
        np.negative(amps, out=right[0])
        if has_left:
            right[1] = self.to_left
        if has_right:
            right[-1] = self.to_right
        beside = np.empty((frames, places))
        beside[:] = self.beside
        # the chains of all frames, end to end, with nothing between them
        flat = tridiagonal((slope + self.diagonal).reshape(-1), beside.reshape(-1), right.reshape(columns, -1))
        answer: Floats = flat.reshape(columns, frames, places)
        return answer[0], answer[1] if has_left else None, answer[-1] if has_right else None

    def _ends_per_volt(self, from_left: Floats | None, from_right: Floats | None, slope: Floats) -> tuple[Floats, ...]:
        """What the places draw by way of their chain's left and right end, (F, K) each, per volt at the left port; then at the right."""
        none = np.zeros((len(slope), len(self.first)))
        by_left = (none, none) if from_left is None else self._by_ends(from_left, slope)
        by_right = (none, none) if from_right is None else self._by_ends(from_right, slope)
        return *by_left, *by_right

    def _admittance(self, left_left: Floats, right_left: Floats, left_right: Floats, right_right: Floats) -> Floats:
        """Amps that the places draw by way of each port per volt at each, (F, P, P)."""
        admittance = np.zeros((len(left_left), self.ports, self.ports))
        index = np.arange(self.ports)
        admittance[:, index, index] = self.at_ports(left_left, right_right)
        if len(self.paired):
            left, right = self.left[self.paired], self.right[self.paired]
            admittance[:, left, right] = left_right[:, self.paired]
            admittance[:, right, left] = right_left[:, self.paired]
        return admittance

    def _by_ends(self, volts: Floats, slope: Floats, amps: Floats | None = None) -> tuple[Floats, Floats]:
        """What the places draw by way of their chain's left and right end, (F, K) each, at `volts`."""
        drawn = slope * volts
        if amps is not None:
            drawn += amps
        total = np.add.reduceat(drawn, self.first, axis=1)
        drawn *= self.from_left
        left = np.add.reduceat(drawn, self.first, axis=1)
        return left, total - left

    def at_ports(self, at_left: Floats, at_right: Floats) -> Floats:
        """Sums at the ports (F, P) of values at the chains' left and right ends (F, K)."""
        none = np.zeros((len(at_left), 1))
        sums: Floats = np.concatenate([at_left, none], axis=1)[:, self.starting]
        sums += np.concatenate([at_right, none], axis=1)[:, self.ending]
        return sums

    def _spread(self, chain: Floats) -> Floats:
        """Chain values (F, K) at the places: (F, M), or (F, 1) where there is one chain."""
        return chain if chain.shape[1] == 1 else np.repeat(chain, self.chains.count, axis=1)


def tridiagonal(diagonal: Floats, beside: Floats, right: Floats) -> Floats:
    """Answers (columns, N) of one symmetric positive definite tridiagonal system; `beside` (N,) with its last value unused."""
    d, e, info = lapack.dpttrf(diagonal, beside[: max(1, len(beside) - 1)], 1, 1)
    if info == 0:
        answer, info = lapack.dpttrs(d, e, right.T, 1)
    if info != 0:
        raise ArithmeticError("the chains' matrix is not positive definite")
    solved: Floats = answer.T
    return solved


def wire(chains: Chains, open_v: Floats, port_ohm: Floats) -> Wiring:
    """Lay chains out for stepping, between ports whose volts are open_v − port_ohm · (amps that the places draw by way of them)."""
    ports, count = len(open_v), chains.count
    chain_of = np.repeat(np.arange(len(count), dtype=np.int64), count)
    first, last = chains.first, chains.first + count - 1
    left = np.where(chains.left >= 0, chains.left, ports)
    right = np.where(chains.right >= 0, chains.right, ports)
    starting = np.full(ports + 1, len(count), dtype=np.int64)
    ending = starting.copy()
    starting[left] = np.arange(len(count))
    ending[right] = np.arange(len(count))
    number = (np.arange(chains.places) - first[chain_of]).astype(float)
    paired = (left < ports) & (right < ports)
    length = count[chain_of].astype(float)
    from_left = np.where(paired[chain_of], (length - number - 0.5) / length, (left < ports)[chain_of])
    siemens = 1 / chains.segment_ohm
    beside = -siemens[chain_of]
    beside[last] = 0.0
    diagonal = -beside
    diagonal[1:] -= beside[:-1]
    to_left, to_right = np.zeros(chains.places), np.zeros(chains.places)
    to_left[first] = np.where(left < ports, 2 * siemens, 0.0)
    to_right[last] = np.where(right < ports, 2 * siemens, 0.0)
    diagonal += to_left + to_right
    return Wiring(
        chains=chains,
        open_v=open_v,
        port_ohm=port_ohm,
        chain_of=chain_of,
        number=number,
        place_ohm=chains.segment_ohm[chain_of],
        from_left=from_left,
        first=first,
        last=last,
        left=left,
        right=right,
        starting=starting[:ports],
        ending=ending[:ports],
        paired=np.flatnonzero(paired).astype(np.int64),
        diagonal=diagonal,
        beside=beside,
        to_left=to_left,
        to_right=to_right,
    )
