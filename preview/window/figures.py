"""The figures of one moment: from a look, a time and a level to what meters would read, and where it is worst.

The same functions as `meter` and `probe` use, asked for one frame. Nothing here knows of a screen.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from effects.kit import Place
from preview.light.colour import group_xyz
from preview.looks.drives import Codes, drive_from_light, look_light, look_times, place_of
from preview.looks.library import Ready, ready_look
from preview.power.network import Network, build
from preview.power.shift import dimming, light, steps
from preview.power.solve import State, solve
from preview.power.strip import IDLE_FROM_V, light_fraction
from preview.scene.layout import Floats, Ints, Layout, lay_out
from preview.scene.model import Look, Scene
from preview.window.model import Request

__all__ = [
    "GroupReading",
    "Moment",
    "Moments",
    "Plan",
    "Worst",
    "group_reading",
    "moment",
    "moment_of",
    "open_plan",
    "read_moments",
    "sample_xyz",
    "shown_xyz",
    "strain",
    "worst_of",
]


@dataclass(frozen=True)
class Plan:
    """A scene laid out once: what every moment is worked out from."""

    scene: Scene
    layout: Layout
    network: Network
    place: Place
    supply_names: tuple[str, ...]
    rated_a: Floats  # (S,)
    limit_a: Floats  # (S,) continuous load that the plan allows
    steps: tuple[tuple[float, str], ...]  # when each look of the programme begins, in seconds, and its name
    _ready: dict[tuple[str, str], Ready] = field(default_factory=dict, repr=False, compare=False)

    @property
    def frames_per_s(self) -> float:
        """Rate at which the strips get new data."""
        return self.scene.assume.data_frames_per_s

    def ready(self, look: Look) -> Ready:
        """The look with its effect found and its dials checked, kept until `forget`. Raises what `ready_look` raises."""
        key = look.name, look.effect
        found = self._ready.get(key)
        if found is None:
            found = self._ready[key] = ready_look(self.scene, look)
        return found

    def forget(self) -> None:
        """Find every effect anew the next time: a script has been saved."""
        self._ready.clear()

    def light(self, look: Look, times_s: Floats) -> Floats:
        """Linear light (F, G, 3) of a look at times (F,). Raises EffectError where its script fails."""
        return look_light(self.ready(look), self.place, times_s)

    def codes(self, look: Look, times_s: Floats, level: float) -> Codes:
        """Codes (F, G, C) of a look at times (F,). Raises EffectError where its script fails."""
        return drive_from_light(self.layout, self.light(look, times_s), level)


@dataclass(frozen=True)
class Worst:
    """A reading where it is worst: its value, the group, counted over the whole plan, and its run and number there."""

    value: float
    group: int
    run: str
    number: int


@dataclass(frozen=True)
class Moments:
    """What meters would read in F consecutive frames. G groups, C colours, S supplies."""

    codes: Codes  # (F, G, C)
    group_v: NDArray[np.floating[Any]]  # (F, G)
    supply_a: Floats  # (F, S)
    lowest: Ints  # (F,) group with the lowest volts
    dimmed: Ints  # (F,) group that loses most light
    dimming: Floats  # (F,) the share that it loses
    shifted: Ints  # (F,) group whose colour shifts most
    shift: Floats  # (F,) by so many steps
    dead: Ints  # (F,) groups below the voltage at which their chip holds its data

    def __len__(self) -> int:
        return len(self.codes)


@dataclass(frozen=True)
class Moment:
    """What meters would read at one moment. G groups, C colours, S supplies."""

    request: Request
    codes: Codes  # (G, C)
    group_v: NDArray[np.floating[Any]]  # (G,)
    supply_a: Floats  # (S,)
    lowest_v: Worst
    dimming: Worst  # share of the light lost, 0..1
    shift: Worst  # steps
    dead: int


@dataclass(frozen=True)
class GroupReading:
    """What a meter would read at one group, and what is left of its light."""

    run: str
    number: int
    along_m: float
    volts: float
    amps: float
    light: float  # over its light at rated current; 1 for a group driven dark
    steps: float


def open_plan(scene: Scene) -> Plan:
    """Lay a scene out and build its network. Raises the network's errors."""
    layout = lay_out(scene)
    rated = np.array([supply.amps for supply in scene.supply.values()])
    return Plan(
        scene=scene,
        layout=layout,
        network=build(scene, layout),
        place=place_of(scene, layout),
        supply_names=tuple(scene.supply),
        rated_a=rated,
        limit_a=rated * scene.limits.supply_fraction,
        steps=_steps(scene),
    )


def _steps(scene: Scene) -> tuple[tuple[float, str], ...]:
    own = {look.name: look.seconds for look in scene.look}
    steps, start_s = [], 0.0
    for step in scene.programme:
        steps.append((start_s, step.look))
        start_s += own[step.look] if step.seconds is None else step.seconds
    return tuple(steps)


def worst_of(plan: Plan, value: float, group: int) -> Worst:
    """A reading of a group, with the group's name."""
    run, number = plan.layout.name_of(group)
    return Worst(float(value), int(group), run, number)


def read_moments(plan: Plan, codes: Codes, start_v: Floats | None = None) -> tuple[Moments, State]:
    """The figures of frames under codes (F, G, C), and the network's state."""
    layout = plan.layout
    state = solve(plan.network, codes, start_v)
    g = light_fraction(layout, state.group_v)
    loss = np.maximum(dimming(layout, codes, g), 0.0)
    moved = steps(layout, codes, g)
    frames = np.arange(len(codes))
    dimmed, shifted = loss.argmax(axis=1), moved.argmax(axis=1)
    return (
        Moments(
            codes=codes,
            group_v=state.group_v,
            supply_a=state.supply_a,
            lowest=state.group_v.argmin(axis=1),
            dimmed=dimmed,
            dimming=loss[frames, dimmed],
            shifted=shifted,
            shift=moved[frames, shifted],
            dead=(state.group_v < layout.reset_v).sum(axis=1),
        ),
        state,
    )


def moment_of(plan: Plan, moments: Moments, frame: int, request: Request) -> Moment:
    """One of several moments, as the answer to a request."""
    lowest = int(moments.lowest[frame])
    return Moment(
        request=request,
        codes=moments.codes[frame],
        group_v=moments.group_v[frame],
        supply_a=moments.supply_a[frame],
        lowest_v=worst_of(plan, moments.group_v[frame, lowest], lowest),
        dimming=worst_of(plan, moments.dimming[frame], int(moments.dimmed[frame])),
        shift=worst_of(plan, moments.shift[frame], int(moments.shifted[frame])),
        dead=int(moments.dead[frame]),
    )


def moment(plan: Plan, look: Look, request: Request, start_v: Floats | None = None) -> tuple[Moment, State]:
    """The figures of one moment, and the network's state, whose group volts can start the next one."""
    codes = plan.codes(look, np.array([request.frame / plan.frames_per_s]), request.level)
    moments, state = read_moments(plan, codes, start_v)
    return moment_of(plan, moments, 0, request), state


def shown_xyz(plan: Plan, now: Moment, sagging: bool = True) -> Floats:
    """Light (G, 3) of every group in lumen as tristimulus values: with drop, or as if there were none."""
    if not sagging:
        return group_xyz(plan.layout, now.codes)
    volts = np.asarray(now.group_v, dtype=np.float64)
    return group_xyz(plan.layout, now.codes, light_fraction(plan.layout, volts))


def group_reading(plan: Plan, now: Moment, group: int) -> GroupReading:
    """The readings of one group, counted over the whole plan. Its amps are what its load draws at its volts."""
    layout = plan.layout
    volts = np.asarray(now.group_v, dtype=np.float64)[None]
    codes = now.codes[None]
    g = light_fraction(layout, volts)
    run, number = layout.name_of(group)
    at_v = float(volts[0, group])
    drawn = float((codes[0, group] / 255 * layout.rated_a[group] * g[0, group]).sum())
    return GroupReading(
        run=run,
        number=number,
        along_m=float(layout.along_m[group]),
        volts=at_v,
        amps=drawn + float(layout.idle_a[group]) * min(max(at_v / IDLE_FROM_V, 0.0), 1.0),
        light=float(light(layout, codes, g)[0, group]),
        steps=float(steps(layout, codes, g)[0, group]),
    )


def sample_xyz(plan: Plan, look: Look, frames: int = 24) -> Floats:
    """Light (F, G, 3) of some frames spread over a look at the level it is planned with: what one exposure is set by.

    The level that is being tried out does not enter, so that turning it down makes the picture darker.
    """
    times = look_times(look, plan.frames_per_s)
    picked = times[np.unique(np.linspace(0, len(times) - 1, frames).astype(int))]
    codes = plan.codes(look, picked, look.level)
    g = light_fraction(plan.layout, solve(plan.network, codes).group_v)
    return group_xyz(plan.layout, codes, g)


def strain(value: float, limit: float, beyond: float = np.inf) -> Literal["", "over", "far over"]:
    """Whether a value keeps its limit: empty, over it, or beyond a second one.

    >>> strain(3.0, 4.0, 5.0), strain(4.4, 4.0, 5.0), strain(5.5, 4.0, 5.0)
    ('', 'over', 'far over')
    """
    if value > beyond * (1 + 1e-9):
        return "far over"
    return "over" if value > limit * (1 + 1e-9) else ""
