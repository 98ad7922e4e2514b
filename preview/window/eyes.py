"""The flashes of a look as the window shows it: at its level, in the light that is set, counted on small pictures in the background."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from preview.light.drawing import Drawing, renderer_of
from preview.light.room_light import ambient_kelvin
from preview.light.transport import Progress
from preview.looks.drives import look_times
from preview.looks.flashing import Flashes, flashes_of
from preview.scene.model import Look
from preview.window.figures import Moments, Plan, moment_of, read_moments, sample_xyz, shown_xyz
from preview.window.model import Request
from preview.window.painter import Pixels

__all__ = ["EYES_SIZE", "Eyes", "Glimpse"]

EYES_SIZE = (320, 180)
"""Pictures that flashes are counted on: finer than the directions that are looked at."""


@dataclass(frozen=True)
class Glimpse:
    """The flashes of a look at a level in a room light; None where its script fails."""

    level: float
    ambient_lux: float
    flashes: Flashes | None


class Eyes:
    """Counts flashes. One thread at a time; the room is laid out at the first call."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self._renderer: Drawing | None = None

    def count(
        self,
        look: Look,
        request: Request,
        moments: Moments | None,
        pause: Callable[[], None],
        progress: Progress | None = None,
    ) -> Flashes:
        """The flashes of a look with its level and room light as in `request`, of moments already worked out where there are any.

        `pause` is called after each picture and may raise to give up. Raises what a script raises.
        """
        plan = self.plan
        if self._renderer is None:
            self._renderer = renderer_of(plan.scene, plan.layout, EYES_SIZE, progress)
        renderer = self._renderer
        kelvin = ambient_kelvin(plan.scene.room, request.ambient_lux)
        exposure = renderer.exposure(sample_xyz(plan, look), request.ambient_lux, kelvin)
        times = look_times(look, plan.frames_per_s)
        if plan.ready(look).period_s == 0:
            times = times[:1]  # it stands still: one picture says all
        picture = np.empty((EYES_SIZE[1], EYES_SIZE[0], 3), np.uint8)

        def pictures() -> Iterator[Pixels]:
            for frame, time_s in enumerate(times):
                if moments is not None:
                    now = moment_of(plan, moments, frame, request)
                else:
                    one, _ = read_moments(plan, plan.codes(look, np.array([time_s]), request.level))
                    now = moment_of(plan, one, 0, request)
                yield renderer.picture(shown_xyz(plan, now), exposure, request.ambient_lux, picture, kelvin)
                pause()

        return flashes_of(pictures(), plan.frames_per_s, plan.scene.viewer.field_deg)
