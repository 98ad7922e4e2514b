"""Looks in sequence with cross-fades: the programme of a scene, played as one look.

Step k starts when the steps before it have had their time. While it fades in, over its first `fade_s`, the look before it plays on beneath
it, and what is sent is the linear light of both, each at its own level, mixed by an eased share. The programme goes round: before the first
step comes the last. Power, pictures and clips see one look like any other, fades included.

Leaves out: different fades for different runs.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from effects import Effect
from effects.kit import Place, ease
from preview.looks.drives import look_light
from preview.looks.library import PROGRAMME, Ready, programme_look, ready_look
from preview.scene.layout import Floats
from preview.scene.model import Scene

__all__ = ["Step", "programme_steps", "ready_programme"]


@dataclass(frozen=True)
class Step:
    """One look of a programme: when it starts, how long it stays, and how long it takes to fade in."""

    ready: Ready
    start_s: float
    seconds: float
    fade_s: float


def programme_steps(scene: Scene) -> tuple[Step, ...]:
    """The steps of a scene's programme in their order, looks made ready. SceneFaults lists what is wrong with a look.

    That a fade is no longer than its step was looked at when the scene was read.
    """
    ready = {
        look.name: ready_look(scene, look) for look in scene.look if look.name in {s.look for s in scene.programme}
    }
    steps: list[Step] = []
    start_s = 0.0
    for step in scene.programme:
        seconds = ready[step.look].look.seconds if step.seconds is None else step.seconds
        steps.append(Step(ready[step.look], start_s, seconds, step.fade_s))
        start_s += seconds
    return tuple(steps)


def ready_programme(scene: Scene) -> Ready:
    """The programme as a look that can run: `look_light` of it gives the mixed light (F, G, 3) at any times."""
    look = programme_look(scene)
    assert look is not None
    steps = programme_steps(scene)
    whole_s = steps[-1].start_s + steps[-1].seconds
    starts = np.array([step.start_s for step in steps])

    def light(place: Place, time_s: Floats, dials: Mapping[str, float], seed: int) -> Floats:
        round_s = np.mod(time_s, whole_s)
        playing = np.searchsorted(starts, round_s, side="right") - 1
        mixed = np.empty((time_s.size, place.groups, 3))
        for number, step in enumerate(steps):
            frames = np.flatnonzero(playing == number)
            if not frames.size:
                continue
            into_s = round_s[frames] - step.start_s
            mixed[frames] = _at_level(step, place, into_s)
            fading = np.flatnonzero(into_s < step.fade_s)
            if fading.size:
                before = steps[number - 1]
                under = _at_level(before, place, into_s[fading] + before.seconds)
                share = ease(into_s[fading] / step.fade_s)[:, None, None]
                mixed[frames[fading]] = under + share * (mixed[frames[fading]] - under)
        return mixed

    names = ", ".join(step.ready.look.name for step in steps)
    effect = Effect(
        name=PROGRAMME,
        file=scene.title,
        says=f"The looks of the scene in sequence: {names}.",
        mood="calm",
        dials=(),
        light=light,
        line=1,
        period=lambda dials: whole_s,
    )
    return Ready(look=look, effect=effect, dials=MappingProxyType({}), seed=0)


def _at_level(step: Step, place: Place, times_s: Floats) -> Floats:
    """Light (F, G, 3) of a step's look at its level, at times counted from where the step starts."""
    return step.ready.look.level * look_light(step.ready, place, times_s, beyond=True)
