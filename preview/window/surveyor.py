"""What takes longer than a picture may: surveys, caps, breaks and flashes, worked out on a thread beside it.

The window opens at once; the curve grows as its slices come in, the cap follows. When the look or the level changes, what is
being worked on is dropped at the next slice.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import NamedTuple

from preview.looks.drives import Codes, channels_from_light, look_times
from preview.power.cap import Cap, cap_any, cap_of
from preview.scene.faults import CovecastError
from preview.scene.layout import Floats
from preview.scene.model import Look
from preview.window.eyes import Eyes, Glimpse
from preview.window.figures import Moment, Plan, moment_of
from preview.window.model import Request
from preview.window.survey import MOST_KEPT, SLICE, Survey, survey_slices, ways_to_mend, whole_look
from preview.window.worker import Worker

__all__ = ["Surveyor"]

STALE_S = 0.4
"""A look at a new level replaces the one at the old level when it is whole, or after so long."""


class Wanted(NamedTuple):
    """What is shown: a look, its level, and the light in the room."""

    look: int
    level: float
    ambient_lux: float


class _Dropped(Exception):
    """Something else is wanted, or the window was closed."""


class Surveyor(Worker):
    """Works on what is wanted: first the look that is shown, then its cap, then the caps of the other looks.

    `tell` is called, on the surveyor's thread, whenever there is something new.
    """

    def __init__(self, plan: Plan, looks: tuple[Look, ...], tell: Callable[[], None] = lambda: None) -> None:
        super().__init__("surveyor", tell)
        self.plan = plan
        self.looks = looks
        self.surveys: dict[int, Survey] = {}
        """Latest survey of each look, whatever its level; it may still be growing."""
        self.caps: dict[int, Cap | None] = {}
        """Cap of each look; None where its script fails."""
        self.cap_any: Cap | None = None
        """Cap of any content at all, once it is known."""
        self.changes = 0
        """Counts every result, so that a reader sees that there is something new."""
        self.glimpses: dict[int, Glimpse] = {}
        """Flashes of each look that has been shown for a while, at the level and in the light that it was shown."""
        self._eyes = Eyes(plan)
        self._growing: Survey | None = None
        self._wanted: Wanted | None = None
        self._edition = 0

    def ask(self, look: int, level: float, ambient_lux: float) -> None:
        """The look that is shown, its level, and the light in the room."""
        wanted = Wanted(look, level, ambient_lux)
        with self._wake:
            if self._wanted != wanted:
                self._wanted = wanted
                self._wake.notify()

    def forget(self) -> None:
        """A script has been saved: everything that depends on scripts is worked out anew."""
        with self._wake:
            self._edition += 1
            self.surveys = {}
            self.caps = {}
            self.glimpses = {}
            self._growing = None
            self.changes += 1
            self._wake.notify()

    def recall(self, request: Request) -> Moment | None:
        """The moment that is asked for, if it has been worked out already."""
        for survey in (self._growing, self.surveys.get(request.look)):
            if (
                survey is not None
                and survey.moments is not None
                and request.edition == self._edition
                and (survey.look, survey.level) == (request.look, request.level)
                and request.frame < survey.done
            ):
                return moment_of(self.plan, survey.moments, request.frame, request)
        return None

    def _next(self) -> tuple[str, int, float] | None:
        """What to work on now."""
        if self._wanted is None:
            return None
        look, level, lux = self._wanted
        found = self.surveys.get(look)
        if found is None or found.level != level or not (found.is_whole or found.trouble):
            return "survey", look, level
        if look not in self.caps:
            return "cap", look, level
        if found.breaks is None and not found.trouble:
            return "breaks", look, level
        if found.mends is None:
            return "mends", look, level
        if self.cap_any is None:
            return "any", look, level
        glimpse = self.glimpses.get(look)
        if glimpse is None or (glimpse.level, glimpse.ambient_lux) != (level, lux):
            return "eyes", look, level
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
                edition = self._edition
            assert task is not None
            what, look, level = task
            try:
                if what == "any":
                    self._any()
                else:
                    does = {
                        "survey": self._survey,
                        "cap": self._cap,
                        "breaks": self._breaks,
                        "mends": self._mends,
                        "eyes": self._look_at,
                    }
                    does[what](look, level, edition)
            except _Dropped:
                continue
            except CovecastError as error:
                self._failed(what, look, level, edition, str(error))

    def _pause(self, look: int, worked_s: float, edition: int) -> None:
        """Let the picture have its turn; drop the work if another look is wanted."""
        time.sleep(min(worked_s, 0.05))
        if self._stopping or edition != self._edition or (self._wanted is not None and self._wanted.look != look):
            raise _Dropped

    def _found(self, edition: int) -> bool:
        """Whether a result is still wanted; then it is told."""
        if edition != self._edition:
            return False
        self.changes += 1
        return True

    def _survey(self, look: int, level: float, edition: int) -> None:
        first = began = time.perf_counter()
        for survey in survey_slices(self.plan, self.looks, look, level):
            with self._wake:
                if edition != self._edition:
                    raise _Dropped
                self._growing = survey
                late = time.perf_counter() - first > STALE_S
                if survey.is_whole or late or self._is_worse(self.surveys.get(look), level):
                    self.surveys[look] = survey
                    self.changes += 1
            self._tell()
            self._pause(look, time.perf_counter() - began, edition)
            if self._wanted is not None and self._wanted[:2] != (look, level):
                raise _Dropped
            began = time.perf_counter()
        self._thin_out(look)

    @staticmethod
    def _is_worse(old: Survey | None, level: float) -> bool:
        return old is None or old.level == level or not old.is_whole

    def _thin_out(self, look: int) -> None:
        """Let moments go when they take too much memory: those of other looks."""
        with self._wake:
            kept = {k: s.moments.codes.nbytes + s.moments.group_v.nbytes for k, s in self.surveys.items() if s.moments}
            for other in list(kept):
                if sum(kept.values()) <= MOST_KEPT:
                    break
                if other != look:
                    self.surveys[other] = replace(self.surveys[other], moments=None)
                    del kept[other]

    def _slices(self, wanted: int, look: int, level: float, edition: int) -> Iterator[Codes]:
        times = look_times(self.looks[look], self.plan.frames_per_s)
        began = time.perf_counter()
        for start in range(0, len(times), SLICE):
            self._pause(wanted, time.perf_counter() - began, edition)
            began = time.perf_counter()
            yield self.plan.codes(self.looks[look], times[start : start + SLICE], level)

    def _breaks(self, look: int, level: float, edition: int) -> None:
        metered = whole_look(self.plan, self.looks[look], self._slices(look, look, level, edition), level)
        with self._wake:
            found = self.surveys.get(look)
            if found is not None and found.level == level and self._found(edition):
                self.surveys[look] = replace(found, breaks=metered.breaks)
        self._tell()

    def _mends(self, look: int, level: float, edition: int) -> None:
        survey = self.surveys[look]
        ways = ways_to_mend(self.plan, self.looks[look], survey, lambda: self._slices(look, look, level, edition))
        with self._wake:
            found = self.surveys.get(look)
            if found is not None and found.level == level and self._found(edition):
                self.surveys[look] = replace(found, mends=ways)
        self._tell()

    def _cap(self, look: int, level: float, edition: int) -> None:
        wanted = self._wanted
        assert wanted is not None
        plan, one = self.plan, self.looks[look]
        blocks = self._channels(wanted[0], one, edition)
        cap = cap_of(plan.scene, plan.layout, plan.network, blocks, f"look {one.name}")
        with self._wake:
            if self._found(edition):
                self.caps[look] = cap
        self._tell()

    def _look_at(self, look: int, level: float, edition: int) -> None:
        wanted = self._wanted
        assert wanted is not None
        survey = self.surveys.get(look)
        moments = survey.moments if survey and survey.is_whole and survey.level == level else None
        request = Request(look, 0, level, wanted.ambient_lux, "with", (0, 0), edition)
        began = time.perf_counter()

        def pause() -> None:
            nonlocal began
            self._pause(look, 2 * (time.perf_counter() - began), edition)
            if self._wanted != wanted:
                raise _Dropped
            began = time.perf_counter()

        def laying_out(_: float) -> None:
            if self._stopping:
                raise _Dropped

        flashes = self._eyes.count(self.looks[look], request, moments, pause, laying_out)
        self._glimpsed(look, Glimpse(level, wanted.ambient_lux, flashes), edition)

    def _glimpsed(self, look: int, glimpse: Glimpse, edition: int) -> None:
        with self._wake:
            if self._found(edition):
                self.glimpses[look] = glimpse
        self._tell()

    def _any(self) -> None:
        plan = self.plan
        self.cap_any = cap_any(plan.scene, plan.layout, plan.network)
        self.changes += 1
        self._tell()

    def _channels(self, wanted: int, look: Look, edition: int) -> Iterator[tuple[Floats, Floats]]:
        """Times and channels of a look in slices, 0..1 before any level."""
        plan = self.plan
        times = look_times(look, plan.frames_per_s)
        began = time.perf_counter()
        for start in range(0, len(times), SLICE):
            part = times[start : start + SLICE]
            yield part, channels_from_light(plan.layout, plan.light(look, part))
            self._pause(wanted, time.perf_counter() - began, edition)
            began = time.perf_counter()

    def _failed(self, what: str, look: int, level: float, edition: int, why: str) -> None:
        with self._wake:
            if not self._found(edition):
                return
            if what == "cap":
                self.caps[look] = None
            elif what == "any":
                self.cap_any = Cap("any", 0, None, holds=False)
            elif what == "eyes":
                lux = self._wanted.ambient_lux if self._wanted else 0.0
                self.glimpses[look] = Glimpse(level, lux, None)
            else:
                self.surveys[look] = Survey.failed(self.plan, self.looks[look], look, level, why)
        self._tell()
