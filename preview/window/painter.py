"""The picture, made on a thread of its own, so that the window answers at once however large the plan is.

The event loop asks for a moment as often as it likes; the painter always takes the latest wish. Its pictures lie in three buffers
that are used in turn: one is shown, one is the latest, one is being painted. What goes wrong in an effect is kept as words beside
the last good picture.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from preview.light.drawing import Drawing, renderer_of
from preview.light.exposure import Exposure
from preview.light.framing import framed
from preview.light.room_light import ambient_kelvin
from preview.scene.faults import CovecastError
from preview.scene.layout import Floats
from preview.scene.model import Look
from preview.window.figures import Moment, Plan, moment, sample_xyz, shown_xyz
from preview.window.model import Request
from preview.window.worker import Worker

__all__ = ["Painter", "Shown"]

SAMPLES = 24
"""Frames of a look that its exposure is set by, as for a clip."""

FEW = 5
"""As many of them while the room light is being changed."""

REFINE_S = 0.3
"""A room light that has stayed for so long gets the exposure from all samples."""

GAUGE_WIDTH = 320
"""Width in pixels of the small pictures that the exposure is read off."""

Pixels = NDArray[np.uint8]


class _Stopped(Exception):
    """The window was closed while the room was being laid out."""


@dataclass(frozen=True)
class Shown:
    """A picture and its figures, or what kept them from being made. `number` counts every result, `painted` every new picture.

    The picture stays as it is until another result is taken.
    """

    number: int
    picture: Pixels | None  # (h, w, 3)
    moment: Moment | None
    trouble: str = ""
    painted: int = 0


def _nothing_kept(_: Request) -> Moment | None:
    return None


class Painter(Worker):
    """Makes pictures of the latest request until it is stopped. `shown` and `laid_out` may be read at any time.

    `recall` gives moments that have been worked out before; `tell` is called, on the painter's thread, whenever there is a new result.
    """

    def __init__(
        self,
        plan: Plan,
        looks: tuple[Look, ...],
        recall: Callable[[Request], Moment | None] = _nothing_kept,
        tell: Callable[[], None] = lambda: None,
    ) -> None:
        super().__init__("painter", tell)
        self.plan = plan
        self.looks = looks
        self.shown = Shown(0, None, None)
        self.laid_out = 0.0
        """How far the room's light has been worked out, 0..1; 1 when pictures can be made."""
        self.spent_s: dict[str, list[float]] = {"figures": [], "picture": []}
        """Seconds that the last pictures took, by part."""
        self._recall = recall
        self._wanted: Request | None = None
        self._made: Request | None = None
        self._renderer: Drawing | None = None
        self._gauge: Drawing | None = None
        self._buffers: list[Pixels] = []
        self._beside: Pixels | None = None
        self._held: Pixels | None = None
        self._samples: dict[tuple[int, int], Floats] = {}
        self._exposure: Exposure | None = None
        self._exposed_for: tuple[int, float, int] | None = None
        self._exposed_s = 0.0
        self._is_rough = False
        self._volts: Floats | None = None
        self._painted = 0
        self._light: Floats | None = None
        self._lit_by: object = None

    def ask(self, request: Request) -> None:
        """The moment that is wanted now; whatever was wanted before and not begun is dropped."""
        with self._wake:
            if request != self._wanted:
                self._wanted = request
                self._wake.notify()

    def take(self) -> Shown:
        """The latest result; its picture stays as it is until another is taken."""
        with self._wake:
            self._held = self.shown.picture
            return self.shown

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
                self._show(picture, figures, "")
            except CovecastError as error:
                self._show(self.shown.picture, self.shown.moment, self._words(error, request))
            except _Stopped:
                return
            self._made = request
            self._tell()

    def _words(self, error: CovecastError, request: Request) -> str:
        """What is wrong; a mistake that is met again in the next frame keeps its first words, so that they can be read."""
        made, before = self._made, self.shown.trouble
        same = made is not None and (made.look, made.edition) == (request.look, request.edition)
        return before if same and before else str(error)

    def _show(self, picture: Pixels | None, figures: Moment | None, trouble: str) -> None:
        with self._wake:
            self.shown = Shown(self.shown.number + 1, picture, figures, trouble, self._painted)

    def _paint(self, request: Request) -> tuple[Pixels, Moment]:
        look = self.looks[request.look]
        began = time.perf_counter()
        figures = self._recall(request)
        if figures is None:
            figures, state = moment(self.plan, look, request, self._volts)
            self._volts = state.group_v
        reached = time.perf_counter()
        renderer = self._renderer_for(request.size)
        exposure = self._exposure_for(request)
        exposed = time.perf_counter()
        light = shown_xyz(self.plan, figures, request.drop != "without")
        lit = time.perf_counter()
        self._note("figures", reached - began + lit - exposed)
        lit_by = (request.drop, exposure, request.ambient_lux, request.size)
        last = self.shown.picture
        if last is not None and lit_by == self._lit_by and self._is_same(light):
            return last, figures  # nothing moves
        picture = renderer.picture(light, exposure, request.ambient_lux, self._free(), self._kelvin(request))
        if request.drop == "both":
            self._put_beside(renderer, figures, exposure, request, picture)
        self._light, self._lit_by = light, lit_by
        self._painted += 1
        self._note("picture", time.perf_counter() - lit)
        return picture, figures

    def _kelvin(self, request: Request) -> float:
        """Colour temperature of the room's own light: daylight where it is as bright as day."""
        return ambient_kelvin(self.plan.scene.room, request.ambient_lux)

    def _is_same(self, light: Floats) -> bool:
        return self._light is not None and np.array_equal(light, self._light)

    def _put_beside(
        self, renderer: Drawing, figures: Moment, exposure: Exposure, request: Request, picture: Pixels
    ) -> None:
        """The right half of a picture as if there were no drop."""
        if self._beside is None or self._beside.shape != picture.shape:
            self._beside = np.empty_like(picture)
        light, kelvin = shown_xyz(self.plan, figures, False), self._kelvin(request)
        renderer.picture(light, exposure, request.ambient_lux, self._beside, kelvin)
        half = picture.shape[1] // 2
        picture[:, half:] = self._beside[:, half:]

    def _note(self, part: str, seconds: float) -> None:
        self.spent_s[part].append(seconds)
        del self.spent_s[part][:-600]

    def _free(self) -> Pixels:
        """A buffer that is neither shown nor the latest."""
        with self._wake:
            return next(b for b in self._buffers if b is not self.shown.picture and b is not self._held)

    def _renderer_for(self, size: tuple[int, int]) -> Drawing:
        if self._renderer is None or self._renderer.size != size:
            first = self._renderer is None
            scene = framed(self.plan.scene, size)
            self._renderer = renderer_of(scene, self.plan.layout, size, self._progress(first))
            self._buffers = [np.empty((size[1], size[0], 3), np.uint8) for _ in range(3)]
            if self._gauge is None:
                small = (GAUGE_WIDTH, max(64, round(GAUGE_WIDTH * size[1] / size[0])))
                tiny = framed(self.plan.scene, small)
                self._gauge = renderer_of(tiny, self.plan.layout, small, self._progress(False))
            self.laid_out = 1.0
            self._tell()
        return self._renderer

    def _progress(self, first: bool) -> Callable[[float], None]:
        def progress(done: float) -> None:
            if self._stopping:
                raise _Stopped
            if first and int(done * 50) > int(self.laid_out * 50):
                self.laid_out = min(done, 0.99)
                self._tell()

        return progress

    def _exposure_for(self, request: Request) -> Exposure:
        """The exposure of a look in a light: at once from a few of its frames, and from all samples when that light has stayed."""
        assert self._gauge is not None
        now = time.monotonic()
        sampled = request.look, request.edition
        key = (request.look, request.ambient_lux, request.edition)
        if sampled not in self._samples:
            if self._samples and next(iter(self._samples))[1] != request.edition:
                self._samples.clear()
            self._samples[sampled] = sample_xyz(self.plan, self.looks[request.look], SAMPLES)
        samples = self._samples[sampled]
        if self._exposure is None or self._exposed_for != key:
            same_look = self._exposed_for is not None and self._exposed_for[::2] == key[::2]
            few = samples[:: max(1, len(samples) // FEW)] if same_look else samples
            self._is_rough = len(few) < len(samples)
            self._exposure = self._gauge.exposure(few, request.ambient_lux, self._kelvin(request))
            self._exposed_for, self._exposed_s = key, now
        elif self._is_rough and now - self._exposed_s >= REFINE_S:
            self._is_rough = False
            self._exposure = self._gauge.exposure(samples, request.ambient_lux, self._kelvin(request))
        return self._exposure
