"""A strip's figures from readings on the bench: those that explain the readings best on the exact network.

Unknown are the strip's figures and, for every fed end, its true volts: the meter errs there as anywhere. Residuals are in units of the
meters' errors,

    (far_v read − worked out)/σ_V,   (amps read − worked out)/σ_A,   (fed volts read − true)/σ_V,

and the sum of their squares is made least from several starts, since a knee below every reading leaves no trace in the slopes. A weak pull
towards the figures that the scene has, a hundredth as strong as what would matter, keeps there what no reading tells. Readings
contradict each other where the least sum would come up once in a thousand sets of good readings at most (chi-squared). A regulated
strip is taken to reach its rated current at its rated volts at the latest.

Leaves out: heat on the bench, the exponential foot of an LED's curve.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares
from scipy.stats import chi2

from preview.power.bench import Reading
from preview.power.bench_network import Bench, Shown, positive_share
from preview.power.untold import Untold, untold
from preview.scene.colours import COLOURS
from preview.scene.layout import Floats
from preview.scene.model import Strip

__all__ = ["Figure", "Fitted", "MeterError", "fit", "odd_ones"]

ODDS = 1e-3
"""Readings whose misfit is rarer than this contradict each other."""

LIKELY = 0.05
"""Figures whose misfit is commoner than this explain the readings: no other start is tried."""

MOST_ODD_ONES = 40
"""Up to so many readings are left out in turn to see which one stands against the others."""

NARROWEST = 0.03
"""A knee is at least so wide, as a share of the rated volts."""

LEAST_MILLIOHM = 1e-3

AT_BOUND, FELT = 1e-2, 0.1
"""A figure this near to a bound, or a direction felt less than this, explains no misfit away."""

FAR_OFF = 5.0
"""No reading of good meters is so many times their error off."""

SURE = 0.1
"""Share of their own resistance to which rails must be known to count as told."""

PULL = 0.01
"""Pull towards the scene's figures, over what a residual of one meter's error weighs."""

KNEES = ((0.3, 0.6), (0.6, 0.2), (0.6, 0.4))
"""Starts of dark_v, and of the width from there to full_v, as shares of the rated volts: all in reach of some reading."""


@dataclass(frozen=True)
class MeterError:
    """Standard deviations: of a volt reading, and of an amp reading as a share of it and a floor."""

    volts: float = 0.01
    amps_share: float = 0.01
    amps_floor: float = 0.001


@dataclass(frozen=True)
class Figure:
    """One figure of the strip. `deviation` is one standard deviation."""

    key: str
    says: str  # in words, with its unit
    value: float
    deviation: float
    before: float  # in the scene until now
    told: bool  # whether the readings tell it
    ruled_out: bool  # whether they speak against the scene's value

    @property
    def is_news(self) -> bool:
        """Whether the scene should have it: it was told, or at least the value that the scene has cannot be."""
        return self.told or self.ruled_out


@dataclass(frozen=True)
class Fitted:
    """What readings say of a strip. R readings."""

    figures: tuple[Figure, ...]
    untold: tuple[Untold, ...]
    readings: tuple[Reading, ...]
    shown: Shown  # as worked out
    off: Floats  # (R,) largest residual of each reading, in units of the meter's error
    chi_squared: float
    freedom: int
    strip: Strip  # with the figures found

    @property
    def agree(self) -> bool:
        """Whether one strip can have given all readings, the meters being as good as said."""
        likely = self.freedom < 1 or float(chi2.sf(self.chi_squared, self.freedom)) > ODDS
        return likely and float(self.off.max()) < FAR_OFF


def fit(
    strip: Strip,
    readings: Sequence[Reading],
    error: MeterError | None = None,
    *,
    conductor_c: float = 20.0,
    progress: Callable[[float], None] | None = None,
) -> Fitted:
    """The figures that explain readings of a strip best. `strip` has its label; what the readings do not tell stays as it has it.

    `conductor_c` is the temperature of the strip on the bench; rails are given at 20 °C. Raises SolveError as `solve` does.
    """
    problem = _Problem(Bench(strip, readings, conductor_c), error or MeterError())
    starts = problem.starts()
    best: tuple[float, Floats] | None = None
    for number, start in enumerate(starts, start=1):
        cost, x = problem.least_from(start)
        if best is None or cost < best[0] * (1 - 1e-6):
            best = cost, x
        if progress is not None:
            progress(number / len(starts))
        if problem.explains(best[1]):
            break
    assert best is not None
    return problem.fitted(best[1])


def odd_ones(found: Fitted, error: MeterError | None = None, *, conductor_c: float = 20.0) -> list[Reading]:
    """Of readings that contradict each other, those without any one of which the others agree; none where no single one is to blame."""
    readings = found.readings
    odd = []
    for n in range(len(readings)) if 3 <= len(readings) <= MOST_ODD_ONES else ():
        problem = _Problem(Bench(found.strip, (*readings[:n], *readings[n + 1 :]), conductor_c), error or MeterError())
        if problem.fitted(problem.least_from(problem.starts()[0], steps=25)[1]).agree:
            odd.append(readings[n])
    return odd


@dataclass(frozen=True)
class _Unknown:
    """One figure to be found: its start, its bounds, and how far it may move before it matters. A dark_v is counted down from full_v."""

    key: str
    says: str
    start: float
    low: float
    high: float
    matters: float


def _unknowns(strip: Strip, readings: Sequence[Reading]) -> list[_Unknown]:
    """The figures that some reading may tell something of."""
    plus, minus = strip.rail_milliohm_per_m
    total = max(plus + minus, 1.0)
    found = [_Unknown("rails", "both rails together, mΩ/m", total, LEAST_MILLIOHM, 1e6, 0.1 * total)]
    if any(reading.plus_drop_v is not None for reading in readings):
        found.append(_Unknown("share", "positive rail's share of that", positive_share(strip), 0.0, 1.0, 0.05))
    idle = strip.idle_milliamp_per_group
    found.append(_Unknown("idle", "idle, mA a group", idle, 0.0, 1e4, max(0.1, 0.1 * idle)))
    for c, name in enumerate(COLOURS):
        colour = getattr(strip, name)
        if colour is None or not any(reading.codes[c] for reading in readings):
            continue
        rated = max(colour.milliamp, 0.1)
        found.append(_Unknown(f"{name}.milliamp", f"{name}, mA a group", rated, 0.0, 1e5, 0.05 * rated))
        width = colour.full_v - colour.dark_v
        narrowest = NARROWEST * strip.volts
        found.append(_Unknown(f"{name}.dark_v", f"{name} dark up to, V", width, narrowest, strip.volts, 0.3))
        if strip.regulated:  # else current goes on rising in one straight line, which two figures give
            full = min(colour.full_v, strip.volts)
            found.append(_Unknown(f"{name}.full_v", f"{name} full from, V", full, narrowest, strip.volts, 0.3))
    return found


class _Problem:
    """Residuals of a bench and their slopes, over the unknown figures and the errors at the fed ends: x (U + E,)."""

    def __init__(self, bench: Bench, error: MeterError) -> None:
        self.bench, self.error = bench, error
        self.unknown = _unknowns(bench.strip, bench.readings)
        read = bench.readings
        self.near = np.array([r.near_v for r in read])
        self.far = np.array([r.far_v for r in read])
        self.amps = np.array([r.amps for r in read])
        self.plus = np.array([np.nan if r.plus_drop_v is None else r.plus_drop_v for r in read])
        self.amps_error = np.hypot(error.amps_share * self.amps, error.amps_floor)
        self.fed_far = np.array([r.fed == "far" for r in read])
        self.has_plus = ~np.isnan(self.plus)
        self.matters = np.array([u.matters for u in self.unknown])
        ends = np.ones(len(bench.fed_v))
        self.bounds = (
            np.concatenate([[u.low for u in self.unknown], -ends]),
            np.concatenate([[u.high for u in self.unknown], ends]),
        )
        self.scale = np.concatenate([self.matters, error.volts * ends])
        pull = [np.flatnonzero(bench.alone), np.arange(len(read)), np.flatnonzero(self.has_plus)]
        self.row_of = np.concatenate(pull)  # the reading that each residual belongs to

    def starts(self) -> list[Floats]:
        """The scene's own figures, and the knees at other places."""
        starts = [np.array([u.start for u in self.unknown])]
        for dark, width in KNEES:
            start = starts[0].copy()
            for j, u in enumerate(self.unknown):
                if u.key.endswith("dark_v"):
                    start[j] = width * self.bench.strip.volts
                elif u.key.endswith("full_v"):
                    start[j] = (dark + width) * self.bench.strip.volts
            starts.append(start)
        return starts

    def least_from(self, start: Floats, steps: int = 60) -> tuple[float, Floats]:
        """The least half sum of squares that a start leads to, the pull included, and where it is."""
        count = len(self.unknown)
        home = np.array([u.start for u in self.unknown])
        pull = np.hstack([np.diag(PULL / self.matters), np.zeros((count, len(self.bench.fed_v)))])

        def residuals(x: Floats) -> Floats:
            return np.concatenate([self.residuals(x), PULL * (x[:count] - home) / self.matters])

        found = least_squares(
            residuals,
            np.concatenate([start, np.zeros(len(self.bench.fed_v))]),
            jac=lambda x: np.vstack([self.slopes(x), pull]),
            bounds=self.bounds,
            x_scale=self.scale,
            max_nfev=steps,
            ftol=1e-7,
            xtol=1e-8,
            gtol=1e-9,
        )
        return float(found.cost), np.asarray(found.x, dtype=float)

    def explains(self, x: Floats) -> bool:
        """Whether x leaves residuals as small as the meters' errors make them."""
        values = self.residuals(x)
        spare = len(self.row_of) - len(self.unknown)  # at the least
        if spare < 1:
            return float(np.abs(values).max()) < 1.0
        return float(chi2.sf(float(values @ values), spare)) > LIKELY

    def strip_of(self, x: Floats) -> Strip:
        """The strip with the figures of x."""
        strip = self.bench.strip
        values = {u.key: float(v) for u, v in zip(self.unknown, x, strict=False)}
        share = values.get("share", positive_share(strip))
        update: dict[str, object] = {
            "rail_milliohm_per_m": (values["rails"] * share, values["rails"] * (1 - share)),
            "idle_milliamp_per_group": values["idle"],
        }
        for name in COLOURS:
            if f"{name}.milliamp" in values:
                colour = getattr(strip, name)
                full = values.get(f"{name}.full_v", colour.full_v)
                dark = max(full - values[f"{name}.dark_v"], 0.0)
                new = {"milliamp": values[f"{name}.milliamp"], "dark_v": dark, "full_v": full}
                update[name] = colour.model_copy(update=new)
        return strip.model_copy(update=update)

    def residuals(self, x: Floats) -> Floats:
        """Residuals (N + E,) in units of the meters' errors, those of the fed ends last."""
        shift = x[len(self.unknown) :]
        shown = self.bench.read(self.strip_of(x), self.bench.fed_v + shift)
        open_ = np.where(self.fed_far, shown.near_v - self.near, shown.far_v - self.far)
        return np.concatenate(
            [
                open_[self.bench.alone] / self.error.volts,
                (shown.amps - self.amps) / self.amps_error,
                (shown.plus_drop_v - self.plus)[self.has_plus] / self.error.volts,
                shift / self.error.volts,
            ]
        )

    def slopes(self, x: Floats) -> Floats:
        """Their slopes (N + E, U + E): figure by figure; then all fed ends of one side at once, since no reading feels another's."""
        count, ends = len(self.unknown), len(self.bench.fed_v)
        here = self.residuals(x)
        out = np.zeros((len(self.row_of) + ends, count + ends))
        high = self.bounds[1]
        for j in range(count):
            step = 1e-3 * self.matters[j]
            there = x.copy()
            there[j] = x[j] + step if x[j] + step <= high[j] else x[j] - step
            out[:, j] = (self.residuals(there) - here) / (there[j] - x[j])
        step = 1e-3
        for side in (False, True):
            moved = np.flatnonzero(self.bench.at_far == side)
            if not len(moved):
                continue
            there = x.copy()
            there[count + moved] += step
            change = (self.residuals(there) - here) / step
            for end in moved:
                rows = np.flatnonzero(self.row_of == self.bench.of[end])
                out[rows, count + end] = change[rows]
        out[len(self.row_of) + np.arange(ends), count + np.arange(ends)] = 1 / self.error.volts
        return out

    def fitted(self, x: Floats) -> Fitted:
        """The figures of x with what can be said of them."""
        count = len(self.unknown)
        values = self.residuals(x)
        scaled = self.slopes(x) * self.scale
        # what the fed ends' own errors may explain is taken out first: what is left tells of the strip alone
        basis, _ = np.linalg.qr(scaled[:, count:])
        clear = scaled[:, :count] - basis @ (basis.T @ scaled[:, :count])
        _, found, directions = np.linalg.svd(clear, full_matrices=True)
        sizes = np.zeros(count)
        sizes[: len(found)] = found[:count]
        low, high = (bound[:count] for bound in self.bounds)
        inside = (x[:count] - low > AT_BOUND * self.matters) & (high - x[:count] > AT_BOUND * self.matters)
        felt = np.linalg.svd(clear[:, inside], compute_uv=False) > FELT
        freedom = len(self.row_of) - int(felt.sum())
        squares = float(values @ values)
        spread = max(1.0, squares / freedom) if freedom > 0 else 1.0
        covariance = (directions.T * (spread / (sizes**2 + PULL**2))) @ directions
        strip = self.strip_of(x)
        shown = self.bench.read(strip, self.bench.fed_v + x[count:])
        figures = self._figures(x, covariance, squares)
        told = {figure.key: figure.told for figure in figures}
        off = np.zeros(len(self.amps))
        np.maximum.at(off, self.row_of, np.abs(values[: len(self.row_of)]))
        np.maximum.at(off, self.bench.of, np.abs(values[len(self.row_of) :]))
        keys = [u.key for u in self.unknown]
        return Fitted(
            figures=figures,
            untold=untold(self.bench, keys, told, sizes, directions, shown.group_v),
            readings=self.bench.readings,
            shown=shown,
            off=off,
            chi_squared=squares,
            freedom=freedom,
            strip=strip,
        )

    def _figures(self, x: Floats, covariance: Floats, squares: float) -> tuple[Figure, ...]:
        """Each figure as it is shown: dark_v is full_v less the width that was fitted."""
        place = {u.key: j for j, u in enumerate(self.unknown)}
        found = []
        for j, u in enumerate(self.unknown):
            name, _, kind = u.key.partition(".")
            value, before, weights = float(x[j]), u.start, np.zeros(len(place))
            weights[j] = self.matters[j]
            back = x.copy()
            back[j] = before
            if kind == "dark_v":
                colour, f = getattr(self.bench.strip, name), place.get(f"{name}.full_v")
                full = colour.full_v if f is None else float(x[f])
                value, before = max(full - value, 0.0), colour.dark_v
                back[j] = full - before
                if f is not None:
                    weights[f] = -self.matters[f]
            elif kind == "full_v":  # dark_v stays where it is
                before = getattr(self.bench.strip, name).full_v
                d = place[f"{name}.dark_v"]
                back[j], back[d] = before, before - (value - float(x[d]))
            deviation = float(np.sqrt(weights @ covariance @ weights))
            there = self.residuals(np.clip(back, *self.bounds))
            ruled_out = float(there @ there) > squares + 4.0
            told = deviation <= max(float(self.matters[j]), SURE * value if u.key == "rails" else 0.0)
            found.append(Figure(u.key, u.says, value, deviation, before, told, ruled_out))
        return tuple(found)
