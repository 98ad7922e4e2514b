"""The figures of one moment: from a look, a time and a level to what meters would read, and where it is worst.

The same functions as `meter` and `probe` use, asked for one frame. Nothing here knows of a screen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from effects.kit import Place
from preview.light.colour import group_xyz
from preview.looks.drives import Codes, drive_from_light, look_light, look_times, place_of
from preview.looks.library import Ready, ready_look
from preview.power.network import Network, build
from preview.power.shift import dimming, steps
from preview.power.solve import State, solve
from preview.power.strip import light_fraction
from preview.scene.layout import Floats, Layout, lay_out
from preview.scene.model import Look, Scene
from preview.window.model import Request

__all__ = ["Moment", "Plan", "Worst", "moment", "open_plan", "sample_xyz", "strain"]


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

    def ready(self, look: Look) -> Ready:
        """The look with its effect found and its dials checked. Raises what `ready_look` raises."""
        return ready_look(self.scene, look)

    def codes(self, look: Look, times_s: Floats, level: float) -> Codes:
        """Codes (F, G, C) of a look at times (F,). Raises EffectError where its script fails."""
        return drive_from_light(self.layout, look_light(self.ready(look), self.place, times_s), level)


@dataclass(frozen=True)
class Worst:
    """A reading where it is worst: its value, the group, counted over the whole plan, and its run and number there."""

    value: float
    group: int
    run: str
    number: int


@dataclass(frozen=True)
class Moment:
    """What meters would read at one moment, and the light of every group. G groups, S supplies."""

    request: Request
    supply_a: Floats  # (S,)
    lowest_v: Worst
    dimming: Worst  # share of the light lost, 0..1
    shift: Worst  # steps
    dead: int  # groups below the voltage at which their chip holds its data
    group_xyz: Floats  # (G, 3) light as shown: with drop, or as if there were none


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
    )


def _worst(layout: Layout, values: Floats, least: bool = False) -> Worst:
    group = int(values.argmin() if least else values.argmax())
    run, number = layout.name_of(group)
    return Worst(float(values[group]), group, run, number)


def moment(plan: Plan, look: Look, request: Request, start_v: Floats | None = None) -> tuple[Moment, State]:
    """The figures of one moment, and the network's state, whose group volts can start the next one."""
    layout = plan.layout
    time = min(max(request.time_s, 0.0), look.seconds)
    codes = plan.codes(look, np.array([time]), request.level)
    state = solve(plan.network, codes, start_v)
    g = light_fraction(layout, state.group_v)
    shown = group_xyz(layout, codes, g if request.sagging else np.ones_like(g))
    return (
        Moment(
            request=request,
            supply_a=state.supply_a[0],
            lowest_v=_worst(layout, state.group_v[0], least=True),
            dimming=_worst(layout, np.maximum(dimming(layout, codes, g)[0], 0.0)),
            shift=_worst(layout, steps(layout, codes, g)[0]),
            dead=int((state.group_v[0] < layout.reset_v).sum()),
            group_xyz=shown[0],
        ),
        state,
    )


def sample_xyz(plan: Plan, look: Look, frames: int = 24) -> Floats:
    """Light (F, G, 3) of some frames spread over a look at the level it is planned with: what one exposure is set by.

    The level that is being tried out does not enter, so that turning it down makes the picture darker.
    """
    times = look_times(look, plan.scene.assume.data_frames_per_s)
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
