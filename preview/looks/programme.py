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

__all__ = ["Step", "join_times", "programme_steps", "ready_programme"]

MOST_FADE_S = 30.0
"""Of a longer fade its start is looked at: from then on it changes too slowly to flash by itself."""


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


def join_times(scene: Scene, frames_per_s: float) -> list[Floats]:
    """Times, in seconds into a scene's programme, that run on through each of its fades and cuts: arrays (F,), one for each stretch.

    A stretch begins a second before a step and ends a second after its fade. Stretches that touch are one; a programme that is nothing but
    fades is one from beginning to end. The last second before the start is the end of the programme, which goes round.
    """
    steps = programme_steps(scene)
    whole = round((steps[-1].start_s + steps[-1].seconds) * frames_per_s)
    second = round(frames_per_s)
    spans: list[list[int]] = []
    for step in steps:
        first = round(step.start_s * frames_per_s) - second
        last = round((step.start_s + min(step.fade_s, MOST_FADE_S)) * frames_per_s) + second
        if spans and first <= spans[-1][1]:
            spans[-1][1] = max(spans[-1][1], last)
        else:
            spans.append([first, last])
    if len(spans) == 1 and spans[0][1] - spans[0][0] >= whole:
        spans = [[0, whole]]
    return [np.asarray(np.mod(np.arange(first, last), whole) / frames_per_s, dtype=np.float64) for first, last in spans]


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
