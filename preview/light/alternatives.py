"""What would make a run even for an eye at some distance: other strips and channels of the scene, a denser strip, a deeper channel.

Each proposal changes as little as it can. A strip of the scene is proposed only at the run's own voltage; a denser strip is taken to give
as much light a metre as the one in the plan. Densities, depths and the scatter of an opal cover beyond the scene's own are what is commonly
sold (common practice, no source).

Leaves out: whether the channel's width takes the strip, and what either costs.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from preview.light.dots import Line, full_lumen_per_m, line_of
from preview.scene.model import Channel, Scene

__all__ = ["DENSITIES_PER_M", "Alternative", "alternatives_of"]

DENSITIES_PER_M = (30, 48, 60, 72, 84, 96, 108, 120, 144, 160, 180, 240, 300)
"""LED densities that are commonly sold. Common practice, no source."""

_DEEPEST_MM = 60
_OPAL_SPREAD_MM = 5.0  # common practice, no source


@dataclass(frozen=True)
class Alternative:
    """One proposal, and what the dots would then be. `strip` and `channel` are names of the scene where it is one of them."""

    says: str
    strip: str | None
    channel: str | None
    leds_per_m: float
    depth_mm: float
    cover: str
    ripple: float
    visible_within_m: float


def alternatives_of(scene: Scene, run: int, length_m: float, from_m: float) -> tuple[Alternative, ...]:
    """Proposals for run number `run` whose dots do not show from `from_m`; none where they do not show as it is."""
    plan = scene.run[run]
    strip = scene.strip[plan.strip]
    channel = scene.channel[plan.channel] if plan.channel is not None else None
    lux = float(scene.room.ambient_lux)

    def within(line: Line, lumen_per_m: float) -> float:
        return line.visible_within_m(float(line.luminance(lumen_per_m)))

    lumen_per_m = full_lumen_per_m(strip)
    own = line_of(strip, channel, length_m, lux)
    if within(own, lumen_per_m) <= from_m:
        return ()
    found: list[Alternative] = []

    def propose(says: str, line: Line, lumen: float, names: tuple[str | None, str | None], to: Channel | None) -> bool:
        far = within(line, lumen)
        if far > from_m:
            return False
        cover = "none" if to is None else to.cover
        depth_mm = 0.0 if to is None else to.depth_mm
        found.append(Alternative(says, *names, 1 / line.pitch_m, depth_mm, cover, line.ripple, far))
        return True

    for name, other in scene.channel.items():
        if name != plan.channel:
            line = line_of(strip, other, length_m, lux)
            propose(f"channel {name}", line, lumen_per_m, (plan.strip, name), other)
    for name, kind in scene.strip.items():
        if name == plan.strip or kind.volts != strip.volts:
            continue
        line = line_of(kind, channel, length_m, lux)
        if propose(f"strip {name}", line, full_lumen_per_m(kind), (name, plan.channel), channel):
            continue
        for other_name, other in scene.channel.items():
            line = line_of(kind, other, length_m, lux)
            names = (name, other_name)
            propose(f"strip {name} in channel {other_name}", line, full_lumen_per_m(kind), names, other)

    where = "behind this cover" if channel is not None else "bare"
    for density in DENSITIES_PER_M:
        if density > strip.leds_per_m and propose(
            f"{density} LEDs a metre {where}",
            replace(own, pitch_m=1 / density),
            lumen_per_m,
            (None, plan.channel),
            channel,
        ):
            break
    if channel is None:
        covers = [("an opal cover", Channel(
            depth_mm=10.0, width_mm=12.0, cover="opal", transmission=0.62, spread_mm=_OPAL_SPREAD_MM
        ))]  # fmt: skip
    else:
        covers = [(f"this {channel.cover} cover", channel)] if channel.cover != "clear" else []
        if channel.spread_mm < _OPAL_SPREAD_MM or channel.cover == "clear":
            covers.append(("an opal cover", channel.model_copy(update={"cover": "opal", "spread_mm": _OPAL_SPREAD_MM})))
    for says, cover in covers:
        least = 1 if channel is None else int(-(-channel.depth_mm // 1))
        for depth_mm in range(least, _DEEPEST_MM + 1):
            deep = cover.model_copy(
                update={"depth_mm": max(float(depth_mm), 0.0 if channel is None else channel.depth_mm)}
            )
            text = f"{says} {deep.depth_mm:g} mm over this strip"
            if propose(text, line_of(strip, deep, length_m, lux), lumen_per_m, (plan.strip, None), deep):
                break
    return tuple(found)
