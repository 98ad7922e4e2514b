"""What a strip's group draws and gives at the voltage it gets.

A colour with code q draws, as a mean over its switching, I = (q/255)·I_rated·g(v), with
g(v) = max(0, (v − dark_v)/(full_v − dark_v)), held at 1 above full_v on a regulated strip. Its light is (q/255)·lumen·g(v).
The idle current of a group's chip is drawn at any voltage from `IDLE_FROM_V` up; between there and 0 V it falls to nothing in a
straight line, so that no group can be dragged below 0 V by a chip that would long have stopped.

Leaves out: the ripple of the switching, the exponential foot of an LED's curve, heat.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from preview.scene.layout import Floats, Ints, Layout

__all__ = ["IDLE_FROM_V", "OFF_SHARE", "Loads", "light_fraction", "loads_of", "volts_fit"]

OFF_SHARE = 0.10
"""A supply's voltage may be this far from the strip's rated one (common practice, no source)."""

IDLE_FROM_V = 0.1
"""Volts across a group from which its idle current is drawn in full."""


def volts_fit(supply_v: float, rated_v: float) -> bool:
    """Whether a supply of that voltage lights a strip of that rated voltage as it should, and leaves it whole.

    >>> volts_fit(13.2, 12), volts_fit(13.3, 12), volts_fit(10.8, 12), volts_fit(10.7, 12)
    (True, False, True, False)
    """
    return abs(supply_v / rated_v - 1) <= OFF_SHARE + 1e-9


def light_fraction(layout: Layout, group_v: Floats) -> Floats:
    """Light of each colour over its light at rated current, g (F, G, C), at voltages `group_v` (F, G).

    0 where dark, 1 at rated; above 1 only on an unregulated strip over its full voltage.
    """
    g = (group_v[..., None] - layout.dark_v) / (layout.full_v - layout.dark_v)
    np.maximum(g, 0.0, out=g)
    ceiling = np.where(layout.regulated, 1.0, np.inf)[:, None]
    return np.minimum(g, ceiling, out=g)


@dataclass(frozen=True)
class Loads:
    """The loads of M places along the strips as functions of voltage. C colours that draw anything at all."""

    colours: tuple[int, ...]  # (C,) which of the layout's colours these are
    rated_a: Floats  # (C, M)
    dark_v: Floats  # (C, M)
    per_v: Floats  # (C, M) 1/(full_v − dark_v)
    ceiling: Floats  # (M,) largest g: 1 regulated, infinite otherwise
    idle_a: Floats  # (M,)
    share: Floats  # (M,) how many groups the place stands for
    steady_v: Floats  # (M,) from here the current no longer changes; infinite where it always does

    def draw(self, drive: Floats, volts: Floats) -> tuple[Floats, Floats]:
        """Amps and their slope dI/dv in siemens, both (F, M).

        `drive` (C, F, M) is the current of each colour at g = 1 in amps; `volts` (F, M). At a knee either neighbouring slope is
        returned. Colours that are past every knee everywhere cost one addition.
        """
        lowest = float(volts.min()) if volts.size else 0.0
        slope = np.zeros_like(volts)
        if lowest >= IDLE_FROM_V:
            amps = np.empty_like(volts)
            amps[:] = self.idle_a
        else:
            amps = np.clip(volts * (1 / IDLE_FROM_V), 0.0, 1.0)
            np.multiply((amps > 0) & (amps < 1), self.idle_a / IDLE_FROM_V, out=slope)
            amps *= self.idle_a
        open_ended = not np.all(self.ceiling == 1.0)
        g = np.empty_like(volts)
        work = np.empty_like(volts)
        for c in range(len(self.colours)):
            if not open_ended and lowest >= float((self.dark_v[c] + 1 / self.per_v[c]).max()):
                amps += drive[c]
                continue
            np.subtract(volts, self.dark_v[c], out=work)
            work *= self.per_v[c]
            np.maximum(work, 0.0, out=g)
            np.minimum(g, self.ceiling, out=g)
            inside = (g == work) & (g > 0)
            g *= drive[c]
            amps += g
            np.multiply(drive[c], self.per_v[c], out=work)
            work *= inside
            slope += work
        return amps, slope

    def amps(self, drive: Floats, volts: Floats) -> Floats:
        """Amps alone, (F, M)."""
        return self.draw(drive, volts)[0]

    def at(self, places: Ints) -> Loads:
        """The loads of the places `places` (N,) alone; a figure that is the same everywhere is kept once, and spreads as it is used."""

        def pick(values: Floats) -> Floats:
            alike = bool((values == values[..., :1]).all())
            return values[..., :1] if alike else values[..., places]

        return Loads(self.colours, *(pick(getattr(self, name)) for name in _PER_PLACE))

    def most(self, drive: Floats) -> Floats:
        """Amps (F, M) with every colour at g = 1 and the chips awake: what a regulated strip draws at full voltage."""
        amps = np.empty(drive.shape[1:])
        amps[:] = self.idle_a
        for c in range(len(self.colours)):
            amps += drive[c]
        return amps


_PER_PLACE = ("rated_a", "dark_v", "per_v", "ceiling", "idle_a", "share", "steady_v")


def loads_of(layout: Layout, first: Ints | None = None) -> Loads:
    """The loads of every group, or of the groups `first` (M,) alone: one for each place that stands for several groups.

    A place that stands for several groups has their idle currents added up; its drive is their sum likewise.
    """
    colours = tuple(int(c) for c in np.flatnonzero(layout.rated_a.max(axis=0) > 0))
    pick = np.arange(layout.groups) if first is None else np.asarray(first, dtype=np.int64)
    rated = layout.rated_a[pick][:, colours].T
    dark, full = layout.dark_v[pick][:, colours].T, layout.full_v[pick][:, colours].T
    regulated = layout.regulated[pick]
    highest = np.where(rated > 0, full, 0.0).max(axis=0, initial=IDLE_FROM_V)
    idle = layout.idle_a if first is None else np.add.reduceat(layout.idle_a, pick)
    share = np.diff(np.append(pick, layout.groups)).astype(float)
    return Loads(
        colours=colours,
        rated_a=np.ascontiguousarray(rated),
        dark_v=np.ascontiguousarray(dark),
        per_v=np.ascontiguousarray(1 / (full - dark)),
        ceiling=np.where(regulated, 1.0, np.inf),
        idle_a=np.asarray(idle, dtype=float),
        share=share,
        steady_v=np.where(regulated, highest, np.inf),
    )
