"""The picture, made on a thread of its own, so that the window answers at once however large the plan is.

The event loop asks for a moment as often as it likes; the painter always takes the latest wish and shows its last picture.
What goes wrong in an effect is kept as words beside the last good picture.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from preview.light.exposure import Exposure
from preview.light.picture import Renderer
from preview.scene.faults import CovecastError
from preview.scene.layout import Floats
from preview.scene.model import Look
from preview.window.figures import Moment, Plan, moment, sample_xyz
from preview.window.framing import framed
from preview.window.model import Request

__all__ = ["Painter", "Shown"]

SAMPLES = 24
"""Frames of a look that its exposure is set by, as for a clip."""

REFINE_S = 0.3
"""A room light that has stayed for so long gets the exposure from all samples."""


class _Stopped(Exception):
    """The window was closed while the room was being laid out."""


@dataclass(frozen=True)
class Shown:
    """A picture and its figures, or what kept them from being made. `number` counts every result."""

    number: int
    picture: NDArray[np.uint8] | None  # (h, w, 3)
    moment: Moment | None
    trouble: str = ""


class Painter:
    """Makes pictures of the latest request until it is stopped. `shown` and `laid_out` may be read at any time."""

    def __init__(self, plan: Plan, looks: tuple[Look, ...]) -> None:
        self.plan = plan
        self.looks = looks
        self.shown = Shown(0, None, None)
        self.laid_out = 0.0
        """How far the room's light has been worked out, 0..1; 1 when pictures can be made."""
        self.spent_s: dict[str, list[float]] = {"figures": [], "picture": []}
        """Seconds that the last pictures took, by part."""
        self._wanted: Request | None = None
        self._made: Request | None = None
        self._wake = threading.Condition()
        self._stopping = False
        self._renderer: Renderer | None = None
        self._renderer_size = (0, 0)
        self._samples: dict[int, Floats] = {}
        self._exposure: Exposure | None = None
        self._exposed_for: tuple[int, float, tuple[int, int]] | None = None
        self._exposed_s = 0.0
        self._is_rough = False
        self._volts: Floats | None = None
        self._thread = threading.Thread(target=self._work, name="painter", daemon=True)

    def start(self) -> None:
        """Begin; pictures come as soon as a request is there."""
        self._thread.start()

    def ask(self, request: Request) -> None:
        """The moment that is wanted now; whatever was wanted before and not begun is dropped."""
        with self._wake:
            if request != self._wanted:
                self._wanted = request
                self._wake.notify()

    def stop(self) -> None:
        """End the thread, also in the midst of laying out the room."""
        with self._wake:
            self._stopping = True
            self._wake.notify()
        if self._thread.is_alive():
            self._thread.join(timeout=10)

    @property
    def is_up_to_date(self) -> bool:
        """Whether what is shown is what was last asked for."""
        return self._wanted == self._made

    def _work(self) -> None:
        while True:
            with self._wake:
                while not self._stopping and self._wanted == self._made:
                    if not self._wake.wait(REFINE_S if self._is_rough else None) and self._is_rough:
                        break
                if self._stopping:
                    return
                request = self._wanted
            assert request is not None
            try:
                picture, figures = self._paint(request)
                self.shown = Shown(self.shown.number + 1, picture, figures)
            except CovecastError as error:
                last = self.shown
                self.shown = Shown(last.number + 1, last.picture, last.moment, str(error))
            except _Stopped:
                return
            self._made = request

    def _paint(self, request: Request) -> tuple[NDArray[np.uint8], Moment]:
        look = self.looks[request.look]
        began = time.perf_counter()
        figures, state = moment(self.plan, look, request, self._volts)
        self._volts = state.group_v
        reached = time.perf_counter()
        renderer = self._renderer_for(request.size)
        laid = time.perf_counter()
        exposure = self._exposure_for(renderer, request)
        picture = renderer.picture(figures.group_xyz, exposure, request.ambient_lux)
        self._note("figures", reached - began)
        self._note("picture", time.perf_counter() - laid)
        return picture, figures

    def _note(self, part: str, seconds: float) -> None:
        self.spent_s[part].append(seconds)
        del self.spent_s[part][:-600]

    def _renderer_for(self, size: tuple[int, int]) -> Renderer:
        if self._renderer is None or self._renderer_size != size:
            first = self._renderer is None
            self._renderer = Renderer(framed(self.plan.scene, size), self.plan.layout, size, self._progress(first))
            self._renderer_size = size
            self.laid_out = 1.0
        return self._renderer

    def _progress(self, first: bool) -> Callable[[float], None]:
        def progress(done: float) -> None:
            if self._stopping:
                raise _Stopped
            if first:
                self.laid_out = min(done, 0.99)

        return progress

    def _exposure_for(self, renderer: Renderer, request: Request) -> Exposure:
        """The exposure of a look in a light: at once from a few of its frames, and from all samples when that light has stayed."""
        key = (request.look, request.ambient_lux, request.size)
        now = time.monotonic()
        if self._exposure is None or self._exposed_for != key:
            if request.look not in self._samples:
                self._samples[request.look] = sample_xyz(self.plan, self.looks[request.look], SAMPLES)
            samples = self._samples[request.look]
            few = samples[:: max(1, len(samples) // 4)]
            self._is_rough = len(few) < len(samples)
            self._exposure = renderer.exposure(few, request.ambient_lux)
            self._exposed_for, self._exposed_s = key, now
        elif self._is_rough and now - self._exposed_s >= REFINE_S:
            self._is_rough = False
            self._exposure = renderer.exposure(self._samples[request.look], request.ambient_lux)
        return self._exposure
