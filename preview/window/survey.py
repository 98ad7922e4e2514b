"""A look over its whole length, and its cap, worked out in slices on a thread beside the picture.

The window opens at once; the curve grows as its slices come in, the cap follows. When the look or the level changes, what is
being worked on is dropped at the next slice.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from preview.looks.drives import Codes, channels_from_light, look_light, look_times
from preview.power.cap import Cap, cap_of
from preview.power.meter import Break, Metered, meter_frames
from preview.scene.faults import CovecastError
from preview.scene.layout import Floats, Ints
from preview.scene.model import Look
from preview.window.figures import Plan, Worst

__all__ = ["Survey", "Surveyor", "survey_slices", "whole_look"]

SLICE = 60
"""Frames that are worked on together: short enough to be dropped quickly."""


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
    breaks: tuple[Break, ...] | None = None  # None until the whole look is known
    trouble: str = ""

    @property
    def frames(self) -> int:
        """Number of frames of the look."""
        return len(self.supply_a)

    @property
    def is_whole(self) -> bool:
        """Whether every frame is known."""
        return self.done == self.frames


class _Dropped(Exception):
    """Something else is wanted, or the window was closed."""


def survey_slices(plan: Plan, looks: tuple[Look, ...], number: int, level: float) -> Iterator[Survey]:
    """The survey of a look, growing slice by slice; the last one is whole but for its breaks."""
    look, rate = looks[number], plan.scene.assume.data_frames_per_s
    times = look_times(look, rate)
    supply_a = np.full((len(times), len(plan.supply_names)), np.nan)
    rows: list[tuple[Floats, Floats, Floats]] = []
    groups: list[tuple[Ints, Ints, Ints]] = []
    for start in range(0, len(times), SLICE):
        codes = plan.codes(look, times[start : start + SLICE], level)
        part = meter_frames(plan.scene, plan.layout, plan.network, [codes], rate)
        stop = start + len(codes)
        supply_a = supply_a.copy()
        supply_a[start:stop] = part.supply_a
        rows.append((part.lowest_v, part.dimming, part.colour_steps))
        groups.append((part.lowest_group, part.dimming_group, part.colour_group))
        volts, loss, shift = (np.concatenate([row[k] for row in rows]) for k in range(3))
        at = (int(volts.argmin()), int(loss.argmax()), int(shift.argmax()))
        worst = []
        for k, values in enumerate((volts, loss, shift)):
            group = int(np.concatenate([row[k] for row in groups])[at[k]])
            run, within = plan.layout.name_of(group)
            worst.append(Worst(float(values[at[k]]), group, run, within))
        yield Survey(
            look=number,
            level=level,
            frames_per_s=rate,
            done=stop,
            supply_a=supply_a,
            lowest_v=worst[0],
            lowest_at_s=at[0] / rate,
            dimming=worst[1],
            dimming_at_s=at[1] / rate,
            shift=worst[2],
            shift_at_s=at[2] / rate,
        )


def whole_look(plan: Plan, look: Look, codes: Iterator[Codes], level: float) -> Metered:
    """The meter's account of a look, as the command of that name gives it."""
    rate = plan.scene.assume.data_frames_per_s
    return meter_frames(
        plan.scene, plan.layout, plan.network, codes, rate, name=look.name, effect=look.effect, level=level
    )


class Surveyor:
    """Works on what is wanted: first the look that is shown, then its cap, then the caps of the other looks."""

    def __init__(self, plan: Plan, looks: tuple[Look, ...]) -> None:
        self.plan = plan
        self.looks = looks
        self.surveys: dict[int, Survey] = {}
        """Latest survey of each look, whatever its level; it may still be growing."""
        self.caps: dict[int, Cap | None] = {}
        """Cap of each look; None where its script fails."""
        self.changes = 0
        """Counts every result, so that a reader sees that there is something new."""
        self._wanted: tuple[int, float] | None = None
        self._wake = threading.Condition()
        self._stopping = False
        self._thread = threading.Thread(target=self._work, name="surveyor", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def ask(self, look: int, level: float) -> None:
        """The look that is shown, and its level."""
        with self._wake:
            if self._wanted != (look, level):
                self._wanted = (look, level)
                self._wake.notify()

    def stop(self) -> None:
        """End the thread at the next slice."""
        with self._wake:
            self._stopping = True
            self._wake.notify()
        if self._thread.is_alive():
            self._thread.join(timeout=10)

    def _next(self) -> tuple[str, int, float] | None:
        """What to work on now."""
        if self._wanted is None:
            return None
        look, level = self._wanted
        found = self.surveys.get(look)
        if found is None or found.level != level or not (found.is_whole or found.trouble):
            return "survey", look, level
        if look not in self.caps:
            return "cap", look, level
        if found.breaks is None and not found.trouble:
            return "breaks", look, level
        for other in range(len(self.looks)):
            if other not in self.caps:
                return "cap", other, level
        return None

    def _work(self) -> None:
        while True:
            with self._wake:
                while not self._stopping and self._next() is None:
                    self._wake.wait()
                if self._stopping:
                    return
                task = self._next()
            assert task is not None
            what, look, level = task
            try:
                {"survey": self._survey, "cap": self._cap, "breaks": self._breaks}[what](look, level)
            except _Dropped:
                continue
            except CovecastError as error:
                self._failed(what, look, level, str(error))

    def _pause(self, look: int, worked_s: float) -> None:
        """Let the picture have its turn; drop the work if another look is wanted."""
        time.sleep(min(worked_s, 0.05))
        if self._stopping or (self._wanted is not None and self._wanted[0] != look):
            raise _Dropped

    def _survey(self, look: int, level: float) -> None:
        began = time.perf_counter()
        for survey in survey_slices(self.plan, self.looks, look, level):
            self.surveys[look] = survey
            self.changes += 1
            self._pause(look, time.perf_counter() - began)
            if self._wanted != (look, level):
                raise _Dropped
            began = time.perf_counter()

    def _slices(self, wanted: int, look: int, level: float) -> Iterator[Codes]:
        times = look_times(self.looks[look], self.plan.scene.assume.data_frames_per_s)
        began = time.perf_counter()
        for start in range(0, len(times), SLICE):
            self._pause(wanted, time.perf_counter() - began)
            began = time.perf_counter()
            yield self.plan.codes(self.looks[look], times[start : start + SLICE], level)

    def _breaks(self, look: int, level: float) -> None:
        metered = whole_look(self.plan, self.looks[look], self._slices(look, look, level), level)
        found = self.surveys[look]
        if found.level == level:
            self.surveys[look] = replace(found, breaks=metered.breaks)
            self.changes += 1

    def _cap(self, look: int, level: float) -> None:
        assert self._wanted is not None
        plan, one = self.plan, self.looks[look]
        blocks = self._channels(self._wanted[0], one)
        self.caps[look] = cap_of(plan.scene, plan.layout, plan.network, blocks, f"look {one.name}")
        self.changes += 1

    def _channels(self, wanted: int, look: Look) -> Iterator[tuple[Floats, Floats]]:
        """Times and channels of a look in slices, 0..1 before any level."""
        plan = self.plan
        times = look_times(look, plan.scene.assume.data_frames_per_s)
        began = time.perf_counter()
        for start in range(0, len(times), SLICE):
            part = times[start : start + SLICE]
            yield part, channels_from_light(plan.layout, look_light(plan.ready(look), plan.place, part))
            self._pause(wanted, time.perf_counter() - began)
            began = time.perf_counter()

    def _failed(self, what: str, look: int, level: float, why: str) -> None:
        if what == "cap":
            self.caps[look] = None
        else:
            size = len(look_times(self.looks[look], self.plan.scene.assume.data_frames_per_s))
            empty = np.full((size, len(self.plan.supply_names)), np.nan)
            rate = self.plan.scene.assume.data_frames_per_s
            self.surveys[look] = Survey(look, level, rate, 0, empty, None, 0.0, None, 0.0, None, 0.0, (), why)
        self.changes += 1
