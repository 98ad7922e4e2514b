"""A look over its whole length at one level: what its supplies draw, where and when it is worst, what it exceeds and what would mend that.

It comes in slices, so that a window can show it grow. Its moments are kept, so that one that is shown again costs nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from preview.looks.drives import Codes, look_times
from preview.power.mend import mends
from preview.power.meter import Break, Metered, meter_frames
from preview.power.network import build
from preview.scene.layout import Floats
from preview.scene.model import Look, Scene
from preview.window.figures import Moments, Plan, Worst, read_moments, worst_of
from preview.window.model import frame_count

__all__ = ["MOST_KEPT", "SLICE", "Survey", "survey_slices", "ways_to_mend", "whole_look"]

SLICE = 60
"""Frames that are worked on together: short enough to be dropped quickly."""

MOST_KEPT = 160_000_000
"""Bytes that the moments of all looks may take; those of a look that has not been shown for longest go first."""


@dataclass(frozen=True)
class Survey:
    """A look at one level. F frames, S supplies; `done` frames of it are known, the others are NaN."""

    look: int
    level: float
    frames_per_s: float
    done: int
    supply_a: Floats  # (F, S)
    lowest_v: Worst | None
    lowest_at_s: float
    dimming: Worst | None
    dimming_at_s: float
    shift: Worst | None
    shift_at_s: float
    moments: Moments | None = None  # of all frames, known up to `done`; None where they would take too much memory
    breaks: tuple[Break, ...] | None = None  # None until the whole look is known
    mends: tuple[tuple[str, ...], ...] | None = None  # what would mend each break; None until that is known
    trouble: str = ""

    @property
    def frames(self) -> int:
        """Number of frames of the look."""
        return len(self.supply_a)

    @property
    def is_whole(self) -> bool:
        """Whether every frame is known."""
        return self.done == self.frames

    @classmethod
    def failed(cls, plan: Plan, look: Look, number: int, level: float, why: str) -> Survey:
        """A look whose script fails."""
        empty = np.full((frame_count(look.seconds, plan.frames_per_s), len(plan.supply_names)), np.nan)
        return cls(
            number,
            level,
            plan.frames_per_s,
            0,
            empty,
            None,
            0.0,
            None,
            0.0,
            None,
            0.0,
            breaks=(),
            mends=(),
            trouble=why,
        )


def _room_for(plan: Plan, frames: int, supply_a: Floats) -> Moments | None:
    groups, colours = plan.layout.groups, plan.layout.colours
    if frames * groups * (colours + 4) > MOST_KEPT:
        return None

    def whole() -> np.ndarray[tuple[int, ...], np.dtype[np.int64]]:
        return np.zeros(frames, np.int64)

    return Moments(
        codes=np.zeros((frames, groups, colours), np.uint8),
        group_v=np.zeros((frames, groups), np.float32),
        supply_a=supply_a,
        lowest=whole(),
        dimmed=whole(),
        dimming=np.zeros(frames),
        shifted=whole(),
        shift=np.zeros(frames),
        dead=whole(),
    )


def _keep(kept: Moments, part: Moments, start: int) -> None:
    stop = start + len(part)
    for name in ("codes", "group_v", "lowest", "dimmed", "dimming", "shifted", "shift", "dead"):
        getattr(kept, name)[start:stop] = getattr(part, name)


def survey_slices(plan: Plan, looks: tuple[Look, ...], number: int, level: float) -> Iterator[Survey]:
    """The survey of a look, growing slice by slice; the last one is whole but for its breaks.

    All of them share their arrays: a frame, once known, never changes.
    """
    look, rate = looks[number], plan.frames_per_s
    times = look_times(look, rate)
    supply_a = np.full((len(times), len(plan.supply_names)), np.nan)
    kept = _room_for(plan, len(times), supply_a)
    lowest = loss = shift = None
    lowest_at = loss_at = shift_at = 0
    for start in range(0, len(times), SLICE):
        part, _ = read_moments(plan, plan.codes(look, times[start : start + SLICE], level))
        supply_a[start : start + len(part)] = part.supply_a
        if kept is not None:
            _keep(kept, part, start)
        volts = part.group_v[np.arange(len(part)), part.lowest]
        low, dim, moved = int(volts.argmin()), int(part.dimming.argmax()), int(part.shift.argmax())
        if lowest is None or volts[low] < lowest.value:
            lowest, lowest_at = worst_of(plan, volts[low], int(part.lowest[low])), start + low
        if loss is None or part.dimming[dim] > loss.value:
            loss, loss_at = worst_of(plan, part.dimming[dim], int(part.dimmed[dim])), start + dim
        if shift is None or part.shift[moved] > shift.value:
            shift, shift_at = worst_of(plan, part.shift[moved], int(part.shifted[moved])), start + moved
        yield Survey(
            look=number,
            level=level,
            frames_per_s=rate,
            done=start + len(part),
            supply_a=supply_a,
            lowest_v=lowest,
            lowest_at_s=lowest_at / rate,
            dimming=loss,
            dimming_at_s=loss_at / rate,
            shift=shift,
            shift_at_s=shift_at / rate,
            moments=kept,
        )


def whole_look(plan: Plan, look: Look, codes: Iterator[Codes], level: float) -> Metered:
    """The meter's account of a look, as the command of that name gives it."""
    return meter_frames(
        plan.scene, plan.layout, plan.network, codes, plan.frames_per_s, name=look.name, effect=look.effect, level=level
    )


def ways_to_mend(
    plan: Plan, look: Look, survey: Survey, codes: Callable[[], Iterator[Codes]]
) -> tuple[tuple[str, ...], ...]:
    """For each of the survey's breaks, in plain words, what would keep that limit. `codes` gives the whole look once more."""

    def again(changed: Scene) -> Metered:
        network = build(changed, plan.layout)
        return meter_frames(changed, plan.layout, network, codes(), plan.frames_per_s, name=look.name)

    return tuple(tuple(mends(plan.scene, plan.layout, found, again)) for found in survey.breaks or ())
