"""Whether single LEDs show through a cover, and from how far: what the fitter asks before the strip is bought.

The row's ripple (`preview.light.ripple`) is held against the eye's threshold (`preview.light.contrast`) at the luminance that the cover has
with every colour fully on, which is where dots show from farthest. Light of the room on the cover lies evenly over the pattern and hides a
part of it. Steps between neighbouring groups of other colours are judged in the same way, as a square wave of two groups.

Leaves out: a run seen at a slant, whose dots draw together and are lost sooner; dots mirrored in a glossy surface; scallops on a wall
close to the run.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from preview.light.contrast import chroma_transfer, cycles_per_degree, farthest_m, pattern_sensitivity
from preview.light.cover import COVER_REFLECTANCE
from preview.light.emission import BARE_WIDTH_M, Lines, lines_of
from preview.light.ripple import amplitude, ripple, transfer
from preview.light.room import boxes_of
from preview.light.shadow import hidden_points
from preview.scene.chromaticity import STEP_UV, uv_of
from preview.scene.layout import Bools, Floats, Layout
from preview.scene.model import Channel, Scene, Strip

__all__ = [
    "Dots",
    "Line",
    "Steps",
    "dots_of",
    "full_lumen_per_m",
    "line_of",
    "longest_piece",
    "steps_of",
]

_STATIONS = 33
_DARK = 0.01  # a group with less than this part of its neighbour's light has no colour worth comparing


@dataclass(frozen=True)
class Line:
    """A run as the eye judges it: a lit line with a row of LEDs behind. Lengths in metres."""

    pitch_m: float
    depth_m: float  # 0 where the LEDs are seen as they are
    spread_m: float
    width_m: float
    length_m: float
    group_m: float
    room_cd_m2: float  # what the room's own light adds
    sent: float  # share of the strip's flux that leaves by the face

    def luminance(self, lumen_per_m: ArrayLike) -> Floats:
        """Mean luminance (…,) of the face in cd/m², of the strip's flux."""
        return np.asarray(np.asarray(lumen_per_m, dtype=np.float64) * self.sent / (np.pi * self.width_m))

    @property
    def ripple(self) -> float:
        """Michelson contrast of the dots alone, 0 to 1."""
        return ripple(self.pitch_m, self.depth_m, self.spread_m)

    def over(self, distance_m: ArrayLike, cd_m2: float) -> Floats:
        """How many times their threshold the dots are, seen from distances (…,), at a mean luminance."""
        whole = cd_m2 + self.room_cd_m2
        part = amplitude(self.pitch_m, self.depth_m, self.spread_m) * cd_m2 / max(whole, 1e-12)
        return part * pattern_sensitivity(distance_m, self.pitch_m, max(whole, 1e-6), self.length_m, self.width_m)

    def visible_within_m(self, cd_m2: float) -> float:
        """The largest distance from which the dots show, 0 where they show from nowhere."""
        return farthest_m(lambda distance: self.over(distance, cd_m2)) if cd_m2 > 0 else 0.0


@dataclass(frozen=True)
class Dots:
    """One run's dots, every colour fully on."""

    run: str
    strip: str
    channel: str | None
    pitch_mm: float
    depth_mm: float  # 0 for a bare strip
    ripple: float  # Michelson contrast along the middle of the cover, 0 to 1
    visible_within_m: float  # 0 where they show from nowhere
    luminance_cd_m2: float  # mean of the cover, of its own light
    viewer_m: float  # from the viewer's eye to the nearest part of the run that it sees, or else to the nearest part
    in_view: bool  # whether the viewer sees the cover at all
    over_threshold: float  # how many times their threshold the dots are from `viewer_m`

    @property
    def shows(self) -> bool:
        """Whether the viewer, from where it stands, sees the dots."""
        return self.in_view and self.viewer_m < self.visible_within_m


@dataclass(frozen=True)
class Steps:
    """The step between two neighbouring groups of a run that shows from farthest, at one drive."""

    run: str
    group: int  # the first of the two, counted from 0 in its run
    contrast: float  # Michelson contrast of their light, 0 to 1, before the cover evens it
    colour_steps: float  # their distance in steps of 0.0011 in u'v', 0 where one of them is dark
    visible_within_m: float


def line_of(strip: Strip, channel: Channel | None, length_m: float, ambient_lux: float) -> Line:
    """A straight length of strip in a channel, or bare, in a room's light."""
    scatters = channel is not None and channel.cover != "clear"
    return Line(
        pitch_m=1 / strip.leds_per_m,
        depth_m=channel.depth_mm / 1000 if channel is not None and scatters else 0.0,
        spread_m=channel.spread_mm / 1000 if channel is not None and scatters else 0.0,
        # LEDs that are seen as they are make a line as wide as they are, whatever the width of the channel
        width_m=channel.width_mm / 1000 if channel is not None and scatters else BARE_WIDTH_M,
        length_m=length_m,
        group_m=strip.cut_m,
        room_cd_m2=COVER_REFLECTANCE * ambient_lux / np.pi if scatters else 0.0,
        sent=channel.transmission * (1 - channel.side_fraction) if channel is not None else 1.0,
    )


def longest_piece(scene: Scene, lines: Lines, run: int) -> tuple[Line, slice]:
    """The longest straight piece of a run, where its dots show best, and its groups in the layout."""
    plan = scene.run[run]
    channel = scene.channel[plan.channel] if plan.channel is not None else None
    pieces = np.nonzero(lines.run == run)[0]
    piece = int(pieces[lines.length_m[pieces].argmax()])
    line = line_of(scene.strip[plan.strip], channel, float(lines.length_m[piece]), float(scene.room.ambient_lux))
    return line, slice(int(lines.first[piece]), int(lines.first[piece] + lines.count[piece]))


def _seen_from(scene: Scene, lines: Lines) -> tuple[Floats, Bools]:
    """Distance (R,) in metres from the eye to each run, and whether (R,) it sees any of its face or sides."""
    eye = np.asarray(scene.viewer.eye_m, dtype=float)
    boxes = boxes_of(scene)
    distance, seen = np.full(len(scene.run), np.inf), np.zeros(len(scene.run), dtype=bool)
    for line in range(len(lines)):
        run = int(lines.run[line])
        places = lines.start_m[line] + np.linspace(0, lines.length_m[line], _STATIONS)[:, None] * lines.tangent[line]
        away = eye - places
        side = np.abs(away @ lines.across[line]) > 0 if lines.side[line] > 0 else np.zeros(_STATIONS, dtype=bool)
        clear = ((away @ lines.aim[line] > 0) | side) & ~hidden_points(boxes, eye, places)
        far = np.sqrt((away**2).sum(axis=1))
        if clear.any() and not seen[run]:
            seen[run], distance[run] = True, np.inf
        if seen[run]:
            far = far[clear]
        distance[run] = min(distance[run], float(far.min(initial=np.inf)))
    return distance, seen


def full_lumen_per_m(strip: Strip) -> float:
    """Flux of a metre with every colour fully on at rated current, in lumen."""
    colours = [strip.red, strip.green, strip.blue, *([strip.white] if strip.white is not None else [])]
    return sum(colour.lumen for colour in colours) / strip.cut_m


def dots_of(scene: Scene, layout: Layout) -> tuple[Dots, ...]:
    """The dots of every run, in the scene's order."""
    lines = lines_of(scene, layout)
    distance, seen = _seen_from(scene, lines)
    found = []
    for run, plan in enumerate(scene.run):
        line, _ = longest_piece(scene, lines, run)
        cd_m2 = float(line.luminance(full_lumen_per_m(scene.strip[plan.strip])))
        viewer_m = float(distance[run])
        found.append(
            Dots(
                run=plan.name,
                strip=plan.strip,
                channel=plan.channel,
                pitch_mm=1000 * line.pitch_m,
                depth_mm=float(scene.channel[plan.channel].depth_mm) if plan.channel is not None else 0.0,
                ripple=line.ripple,
                visible_within_m=line.visible_within_m(cd_m2),
                luminance_cd_m2=cd_m2,
                viewer_m=viewer_m,
                in_view=bool(seen[run]),
                over_threshold=float(line.over(max(viewer_m, 1e-3), cd_m2)) if cd_m2 > 0 else 0.0,
            )
        )
    return tuple(found)


def steps_of(scene: Scene, layout: Layout, group_xyz: Floats) -> tuple[Steps, ...]:
    """The worst step between neighbouring groups of every run of two groups or more, for the light (G, 3) of one drive, in lumen."""
    lines = lines_of(scene, layout)
    xyz = np.asarray(group_xyz, dtype=np.float64)
    uv = uv_of(xyz)
    found = []
    for run, plan in enumerate(scene.run):
        here = layout.run_slice(run)
        y, place = xyz[here, 1], uv[here]
        if len(y) < 2:
            continue
        line, _ = longest_piece(scene, lines, run)
        pair = y[1:] + y[:-1]
        contrast = np.abs(y[1:] - y[:-1]) / np.maximum(pair, 1e-12)
        both = np.minimum(y[1:], y[:-1]) > _DARK * np.maximum(y[1:], y[:-1])
        colour = np.where(both, np.sqrt(((place[1:] - place[:-1]) ** 2).sum(axis=1)) / STEP_UV, 0.0)
        cd_m2 = line.luminance(pair / 2 / line.group_m)
        share = cd_m2 / np.maximum(cd_m2 + line.room_cd_m2, 1e-12)
        best = Steps(plan.name, 0, 0.0, 0.0, 0.0)
        for k in {int((contrast * share).argmax()), int((colour * share).argmax())}:
            within = _step_within_m(line, float(contrast[k]), float(colour[k]), float(cd_m2[k]))
            if within >= best.visible_within_m:
                best = Steps(plan.name, k, float(contrast[k]), float(colour[k]), within)
        found.append(best)
    return tuple(found)


def _step_within_m(line: Line, contrast: float, colour_steps: float, cd_m2: float) -> float:
    whole, period_m = cd_m2 + line.room_cd_m2, 2 * line.group_m
    if cd_m2 <= 0:
        return 0.0
    left = 4 / np.pi * float(abs(transfer(1 / period_m, line.depth_m, line.spread_m))) * cd_m2 / whole

    def over(distance: Floats) -> Floats:
        light = contrast * pattern_sensitivity(distance, period_m, whole, line.length_m, line.width_m)
        return np.asarray(
            left * np.maximum(light, colour_steps * chroma_transfer(cycles_per_degree(period_m, distance)))
        )

    return farthest_m(over)
