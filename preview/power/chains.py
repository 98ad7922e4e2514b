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

__all__ = ["Chains", "Wiring", "wire"]


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

    def from_currents(self, amps: Floats, losses: bool = False) -> tuple[Floats, Floats, Floats, Floats | None]:
        """The linear network under given currents.

        `amps` (F, M) drawn at the places. Returns volts at the places (F, M), volts at the ports (F, P), amps that the places draw by
        way of each port (F, P), and, where asked for, watts lost in the rails to currents across the groups (F,).
        """
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
        draw = self._at_ports(own, total - own)
        port_v = self.open_v - draw @ self.port_ohm
        padded = self._padded(port_v)
        left_v, right_v = padded[:, self.left], padded[:, self.right]
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
            return volts, port_v, draw, None
        onward = sums
        onward -= self._spread(before + entering)  # minus the amps that go on to the right of each place
        lost = np.einsum("fm,fm,m->f", onward, onward, self.place_ohm)
        lost += ((entering**2 - (entering - total) ** 2) / 2) @ ohm
        return volts, port_v, draw, lost

    def step(self, amps: Floats, slope: Floats) -> Floats:
        """Volts at the places (F, M) where they draw `amps` + `slope` · volts."""
        own, from_left, from_right = self._answers(amps, slope)
        draw = self._by_ports(own, slope, amps)
        matrix = self.port_ohm @ self._admittance(from_left, from_right, slope)
        index = np.arange(self.ports)
        matrix[:, index, index] += 1.0
        right = self.open_v - draw @ self.port_ohm
        port_v = right / matrix[:, 0] if self.ports == 1 else np.linalg.solve(matrix, right[..., None])[..., 0]
        padded = self._padded(port_v)
        for answer, port in ((from_left, self.left), (from_right, self.right)):
            if answer is not None:
                answer *= self._spread(padded[:, port])
                own += answer
        return own

    def sinking(self, slope: Floats) -> tuple[Floats, Floats]:
        """How the network answers an ampere drawn at each port, (P, P) each, where each place draws `slope` (M,) siemens.

        The volts that each port loses, and the amps that then still come by way of each port, what the places draw less included.
        """
        flat = slope[None]
        _, from_left, from_right = self._answers(np.zeros_like(flat), flat)
        admittance = self._admittance(from_left, from_right, flat)[0]
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
        diagonal = slope + self.diagonal
        beside = np.empty((frames, places))
        beside[:] = self.beside
        # dpttrf's arguments are flat: the chains of all frames, end to end, with nothing between them
        d, e, info = lapack.dpttrf(diagonal.reshape(-1), beside.reshape(-1)[: max(1, beside.size - 1)], 1, 1)
        if info == 0:
            answer, info = lapack.dpttrs(d, e, right.reshape(columns, -1).T, 1)
        if info != 0:
            raise ArithmeticError("the chains' matrix is not positive definite")
        right = answer.T.reshape(columns, frames, places)
        return right[0], right[1] if has_left else None, right[-1] if has_right else None

    def _admittance(self, from_left: Floats | None, from_right: Floats | None, slope: Floats) -> Floats:
        """Amps that the places draw by way of each port per volt at each, (F, P, P), from their answers to 1 V at either end."""
        frames = len(slope)
        admittance = np.zeros((frames, self.ports, self.ports))
        none = np.zeros((frames, len(self.first)))
        left_left, right_left = (none, none) if from_left is None else self._by_ends(from_left, slope)
        left_right, right_right = (none, none) if from_right is None else self._by_ends(from_right, slope)
        index = np.arange(self.ports)
        admittance[:, index, index] = self._at_ports(left_left, right_right)
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

    def _by_ports(self, volts: Floats, slope: Floats, amps: Floats) -> Floats:
        """The same summed at the ports, (F, P)."""
        return self._at_ports(*self._by_ends(volts, slope, amps))

    def _padded(self, ports: Floats) -> Floats:
        """Port values (F, P) with a zero for 'no port'."""
        return np.concatenate([ports, np.zeros((len(ports), 1))], axis=1)

    def _at_ports(self, at_left: Floats, at_right: Floats) -> Floats:
        """Sums at the ports (F, P) of values at the chains' left and right ends (F, K)."""
        none = np.zeros((len(at_left), 1))
        sums: Floats = np.concatenate([at_left, none], axis=1)[:, self.starting]
        sums += np.concatenate([at_right, none], axis=1)[:, self.ending]
        return sums

    def _spread(self, chain: Floats) -> Floats:
        """Chain values (F, K) at the places: (F, M), or (F, 1) where there is one chain."""
        return chain if chain.shape[1] == 1 else chain[:, self.chain_of]


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
