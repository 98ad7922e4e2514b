"""The chains of groups: their voltages from given currents, and one Newton step of all of them at once.

Everything is per frame and for many frames together: places (F, M), chains (F, K), ports (F, P). Nothing here knows of LEDs.

With the currents given, the voltages along a chain are two running sums. With currents that depend on the voltage as a straight line,
a chain is one symmetric tridiagonal system; all chains of all frames laid end to end are one long one for LAPACK (dpttrf, dpttrs), with
the response to the ports at a chain's two ends as further right-hand sides. What is left is a small dense system in the ports.
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
    port_ohm: Floats  # (P, P) volts lost at each per ampere drawn at each, symmetric
    shunt: Floats  # (P,) siemens that the linear network has across a port and the chains give back
    chain_of: Ints  # (M,)
    number: Floats  # (M,) of the place within its chain, from 0
    place_ohm: Floats  # (M,) segment of its chain
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
    rail_siemens: Floats  # (P, P) what the chains' rails alone put between the ports, less the shunts
    port_from_draw: Floats  # (P, P) with the chains' rails alone: port volts = port_still_v − port_from_draw · draw
    port_still_v: Floats  # (P,)

    @property
    def ports(self) -> int:
        """Number of ports."""
        return len(self.starting)

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

    def from_currents(self, amps: Floats, losses: bool = False) -> tuple[Floats, Floats, Floats, Floats | None]:
        """The linear network under given currents.

        `amps` (F, M) drawn at the places. Returns volts at the places (F, M), volts at the ports (F, P), amps that the chains draw
        at the ports less what the shunts take (F, P), and, where asked for, watts lost in the rails to currents across the groups (F,).
        """
        chains = self.chains
        ohm, count = chains.segment_ohm, chains.count
        sums = np.cumsum(amps, axis=1)
        twice = np.cumsum(sums, axis=1)
        before = np.where(self.first > 0, sums[:, self.first - 1], 0.0)  # (F, K)
        before_twice = np.where(self.first > 0, twice[:, self.first - 1], 0.0)
        total = sums[:, self.last] - before
        # volts that the groups' currents cost along the whole chain, over its segment's ohms
        cost = twice[:, self.last] - sums[:, self.last] / 2 - before_twice - before * (count - 0.5)
        has_left, has_right = self.left < self.ports, self.right < self.ports
        own = np.where(
            has_left & has_right, cost / count, np.where(has_left, total, 0.0)
        )  # drawn at the left, ports level
        draw = self._at_ports(own, total - own)
        port_v = self.port_still_v - draw @ self.port_from_draw.T
        padded = self._padded(port_v)
        left_v, right_v = padded[:, self.left], padded[:, self.right]
        through = np.where(has_left & has_right, (left_v - right_v) / (ohm * count), 0.0)
        draw = self._at_ports(own + through, total - own - through) - self.shunt * port_v
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

    def draw_per_ampere(self) -> Floats:
        """Amps that appear at each port per ampere drawn at each place, in the linear network, (P, M)."""
        has_left, has_right = self.left < self.ports, self.right < self.ports
        count = self.chains.count.astype(float)[self.chain_of]
        both = (has_left & has_right)[self.chain_of]
        at_left = np.where(both, (count - self.number - 0.5) / count, has_left[self.chain_of])
        own = np.zeros((self.ports + 1, self.chains.places))
        index = np.arange(self.chains.places)
        own[self.left[self.chain_of], index] += at_left
        own[self.right[self.chain_of], index] += 1 - at_left
        own = own[:-1]
        return own - self.rail_siemens @ (self.port_from_draw @ own)

    def step(self, amps: Floats, slope: Floats) -> tuple[Floats, Floats]:
        """Volts at places (F, M) and ports (F, P) where the places draw `amps` + `slope` · volts."""
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
        d, e, info = lapack.dpttrf(diagonal.reshape(-1), beside.reshape(-1)[:-1], 1, 1)
        if info == 0:
            answer, info = lapack.dpttrs(d, e, right.reshape(columns, -1).T, 1)
        if info != 0:
            raise ArithmeticError("the chains' matrix is not positive definite")
        right = answer.T.reshape(columns, frames, places)
        own = right[0]
        from_left = right[1] if has_left else None
        from_right = right[-1] if has_right else None
        port_v = self._solve_ports(own, from_left, from_right)
        padded = self._padded(port_v)
        for response, port in ((from_left, self.left), (from_right, self.right)):
            if response is not None:
                response *= self._spread(padded[:, port])
                own += response
        return own, port_v

    def _ends(self, answer: Floats | None, frames: int) -> tuple[Floats, Floats]:
        """An answer's values at the chains' first and last places, (F, K) each."""
        if answer is None:
            none = np.zeros((frames, len(self.first)))
            return none, none
        return answer[:, self.first], answer[:, self.last]

    def _solve_ports(self, own: Floats, from_left: Floats | None, from_right: Floats | None) -> Floats:
        """Port volts (F, P) from the chains' answers to their currents and to one volt at either end."""
        siemens = 2 / self.chains.segment_ohm
        own_first, own_last = self._ends(own, len(own))
        draw = self._at_ports(-siemens * own_first, -siemens * own_last)
        admittance = self._admittance(from_left, from_right, len(own))
        if self.ports == 1:
            ohm = self.port_ohm[0, 0]
            alone: Floats = (self.open_v - draw * ohm) / (1 + admittance[:, :, 0] * ohm)
            return alone
        matrix = self.port_ohm @ admittance
        index = np.arange(self.ports)
        matrix[:, index, index] += 1.0
        right = self.open_v - draw @ self.port_ohm
        solved: Floats = np.linalg.solve(matrix, right[..., None])[..., 0]
        return solved

    def _admittance(self, from_left: Floats | None, from_right: Floats | None, frames: int) -> Floats:
        """Amps drawn at each port per volt at each, less the shunts, (F, P, P), from the answers to one volt at either end."""
        siemens = 2 / self.chains.segment_ohm
        left_first, _ = self._ends(from_left, frames)
        right_first, right_last = self._ends(from_right, frames)
        admittance = np.zeros((frames, self.ports, self.ports))
        index = np.arange(self.ports)
        own = self._at_ports(siemens * (1 - left_first), siemens * (1 - right_last)) - self.shunt
        admittance[:, index, index] = own
        if len(self.paired):
            across = -(siemens * right_first)[:, self.paired]
            left, right = self.left[self.paired], self.right[self.paired]
            admittance[:, left, right] = across
            admittance[:, right, left] = across
        return admittance

    def port_admittance(self, slope: Floats) -> Floats:
        """Amps drawn at each port per volt at each, (P, P), where each place draws `slope` (M,) siemens."""
        _, _, answer, info = lapack.dptsv(
            self.diagonal + slope, self.beside[:-1], np.stack([self.to_left, self.to_right], axis=1)
        )
        if info != 0:
            raise ArithmeticError("the chains' matrix is not positive definite")
        admittance: Floats = self._admittance(answer.T[:1], answer.T[1:], 1)[0]
        return admittance + np.diag(self.shunt)


def wire(chains: Chains, open_v: Floats, port_ohm: Floats, shunt: Floats) -> Wiring:
    """Lay chains out for stepping, between ports whose volts are open_v − port_ohm · (amps drawn there − shunt · volts there)."""
    ports, count = len(open_v), chains.count
    chain_of = np.repeat(np.arange(len(count), dtype=np.int64), count)
    first, last = chains.first, chains.first + count - 1
    left = np.where(chains.left >= 0, chains.left, ports)
    right = np.where(chains.right >= 0, chains.right, ports)
    starting = np.full(ports + 1, len(count), dtype=np.int64)
    ending = starting.copy()
    starting[left] = np.arange(len(count))
    ending[right] = np.arange(len(count))
    siemens = 1 / chains.segment_ohm
    beside = -siemens[chain_of]
    beside[last] = 0.0
    diagonal = -beside
    diagonal[1:] -= beside[:-1]
    to_left, to_right = np.zeros(chains.places), np.zeros(chains.places)
    to_left[first] = np.where(left < ports, 2 * siemens, 0.0)
    to_right[last] = np.where(right < ports, 2 * siemens, 0.0)
    diagonal += to_left + to_right

    paired = np.flatnonzero((left < ports) & (right < ports)).astype(np.int64)
    rails = np.zeros((ports, ports))
    through = siemens[paired] / count[paired]
    for p, q, sign in ((left, left, 1), (right, right, 1), (left, right, -1), (right, left, -1)):
        np.add.at(rails, (p[paired], q[paired]), sign * through)
    matrix = np.eye(ports) + port_ohm @ (rails - np.diag(shunt))
    return Wiring(
        chains=chains,
        open_v=open_v,
        port_ohm=port_ohm,
        shunt=shunt,
        chain_of=chain_of,
        number=(np.arange(chains.places) - first[chain_of]).astype(float),
        place_ohm=chains.segment_ohm[chain_of],
        first=first,
        last=last,
        left=left,
        right=right,
        starting=starting[:ports],
        ending=ending[:ports],
        paired=paired,
        diagonal=diagonal,
        beside=beside,
        to_left=to_left,
        to_right=to_right,
        rail_siemens=rails - np.diag(shunt),
        port_from_draw=np.linalg.solve(matrix, port_ohm),
        port_still_v=np.linalg.solve(matrix, open_v),
    )
