"""What the groups of a plan need at a moment: the least volts at which each keeps every limit, and what it then draws.

Dimming falls and reset ends as the volts rise, so each has one voltage from which it is kept. The shift of a hue need not: the
lowest voltage above those two at which it is kept is looked for on a grid of `GRID` voltages and then by halving.
So every plan that holds gives each group at least these volts, and each group draws at least what it draws there.

Leaves out: groups of an unregulated strip that lose their hue because they get too *much*; the meter finds those.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from preview.power.strip import Loads
from preview.scene.chromaticity import STEP_UV, uv_of
from preview.scene.layout import Bools, Floats, Ints, Layout
from preview.scene.model import Scene

__all__ = ["Needs", "needs_of"]

GRID = 48
HALVINGS = 30


@dataclass(frozen=True)
class Needs:
    """Moments that a plan must hold. S moments, G groups, C colours that draw."""

    codes: NDArray[np.uint8]  # (S, G, all colours)
    current_a: Floats  # (C, S, G) of each colour at g = 1
    volts: Floats  # (S, G) least volts; infinite where no voltage keeps the limits
    least_a: Floats  # (S, G) amps at those volts
    most_a: Floats  # (S, G) amps at the highest voltage there is
    lit: Bools  # (S, G) driven at all

    def of(self, groups: Ints) -> Needs:
        """The same for some of the groups."""
        return Needs(
            self.codes[:, groups],
            self.current_a[:, :, groups],
            self.volts[:, groups],
            self.least_a[:, groups],
            self.most_a[:, groups],
            self.lit[:, groups],
        )


def needs_of(scene: Scene, layout: Layout, loads: Loads, highest_v: float, codes: NDArray[np.uint8]) -> Needs:
    """The needs of moments with codes (S, G, C); `loads` of every group, `highest_v` what no supply exceeds."""
    current = np.stack([codes[:, :, c] * (loads.rated_a[i] / 255) for i, c in enumerate(loads.colours)])
    volts = np.maximum(_light_volts(scene, layout, codes, highest_v), layout.reset_v)
    capped = np.minimum(volts, highest_v)
    return Needs(
        codes=codes,
        current_a=current,
        volts=volts,
        least_a=_amps(loads, current, capped),
        most_a=_amps(loads, current, np.full(volts.shape, highest_v)),
        lit=np.asarray(codes.any(axis=2)),
    )


def _amps(loads: Loads, current: Floats, volts: Floats) -> Floats:
    return loads.amps(current, volts)


def _light_volts(scene: Scene, layout: Layout, codes: NDArray[np.uint8], highest_v: float) -> Floats:
    """Least volts (S, G) that keep dimming and shift; 0 for groups driven dark."""
    moments, groups, colours = codes.shape
    strips = np.array([list(scene.strip).index(run.strip) for run in scene.run])[layout.run_of]
    rows = np.concatenate([np.broadcast_to(strips[None, :, None], (moments, groups, 1)), codes], axis=2)
    unique, index, back = np.unique(
        rows.reshape(-1, colours + 1).astype(np.int64), axis=0, return_index=True, return_inverse=True
    )
    group = (index % groups).astype(np.int64)
    values = _Light(layout, unique[:, 1:].astype(float), group, scene.limits.dimming, scene.limits.colour_steps)
    found = values.least_volts(highest_v)
    return found[back.reshape(-1)].reshape(moments, groups)


class _Light:
    """Light of N kinds of group, each under one drive, as a function of their volts."""

    def __init__(self, layout: Layout, codes: Floats, group: Ints, dimming: float, colour_steps: float) -> None:
        self.rated = codes * layout.lumen[group]  # (N, C)
        self.primaries = layout.xyz_per_lumen[group]
        self.dark, self.span = layout.dark_v[group], (layout.full_v - layout.dark_v)[group]
        self.ceiling = np.where(layout.regulated[group], 1.0, np.inf)[:, None]
        self.total = self.rated.sum(axis=1)
        self.aim = uv_of(np.einsum("nc,ncx->nx", self.rated, self.primaries))
        self.dimming, self.colour_steps = dimming, colour_steps

    def keeps_light(self, volts: Floats) -> Bools:
        """Whether dimming (N,) is kept at volts (N,)."""
        given = (self.rated * self._g(volts)).sum(axis=1)
        return np.asarray(given >= (1 - self.dimming) * self.total * (1 - 1e-12))

    def keeps_hue(self, volts: Floats) -> Bools:
        """Whether the shift (N,) is kept at volts (N,)."""
        given = np.einsum("nc,ncx->nx", self.rated * self._g(volts), self.primaries)
        moved = np.linalg.norm(uv_of(given) - self.aim, axis=1) / STEP_UV
        return np.asarray((moved <= self.colour_steps * (1 + 1e-9)) | (given[:, 1] <= 0))

    def least_volts(self, highest_v: float) -> Floats:
        """The lowest volts (N,) at which both are kept; infinite where none are up to `highest_v`."""
        top: Floats = np.full(len(self.total), highest_v)
        possible = self.keeps_light(top)
        _, start = self._halve(np.zeros(len(top)), top, self.keeps_light)
        step = (highest_v - start) / GRID
        first = np.full(len(start), -1)
        for k in range(GRID + 1):
            first = np.where((first < 0) & self.keeps_hue(start + k * step), k, first)
        possible &= first >= 0
        found = start + np.maximum(first, 0) * step
        _, found = self._halve(np.where(first > 0, found - step, found), found, self.keeps_hue)
        found = np.where(possible, found, np.inf)
        return np.asarray(np.where(self.total > 0, found, 0.0))

    def _halve(self, low: Floats, high: Floats, keeps: Callable[[Floats], Bools]) -> tuple[Floats, Floats]:
        for _ in range(HALVINGS):
            middle = (low + high) / 2
            good = keeps(middle)
            low, high = np.where(good, low, middle), np.where(good, middle, high)
        return low, high

    def _g(self, volts: Floats) -> Floats:
        g = np.maximum((volts[:, None] - self.dark) / self.span, 0.0)
        return np.asarray(np.minimum(g, self.ceiling))
