"""What the runs emit: straight lines of groups, where their light leaves and how it is spread over directions.

A line is a straight piece of one run, cut into its groups. Light leaves at the cover (or at the LEDs of a bare strip) in a band of
the cover's width. Of one lumen of the strip's flux

- `front` leaves by the cover's face, Lambertian about the aim: intensity (front/π)·cos θ;
- `side` leaves by the cover's two sides, half by each, Lambertian about ± the direction across both strip and aim.

Each of the three integrates over its hemisphere to its share, so that the whole is lumen × transmission; a bare strip has
transmission 1 and no side share. A strip can only face across itself: the part of the aim that points along the strip is taken
out, and where nothing is left (a leg parallel to its aim) the leg faces the room's middle.

Leaves out: the mirror-like lobe of a clear cover, light lost at the channel's end caps.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from preview.light.room import TOUCH_M, boxes_of, inside_boxes
from preview.scene.layout import Floats, Ints, Layout
from preview.scene.model import Scene

__all__ = ["BARE_OUT_M", "BARE_WIDTH_M", "Lines", "lines_of"]

BARE_WIDTH_M = 0.004
"""Luminous width of a bare strip: one LED package. Common practice, no source."""

BARE_OUT_M = 0.0015
"""How far a bare strip's LEDs stand out from what it is glued to. Common practice, no source."""

_PUSH_MOST_M = 0.15  # a run drawn inside a box is moved out along its aim by no more than this


@dataclass(frozen=True)
class Lines:
    """L straight lines of groups. Group k of a line lies from k·group_m to (k+1)·group_m along it."""

    start_m: Floats  # (L, 3) where the band's middle begins
    tangent: Floats  # (L, 3) unit vector
    aim: Floats  # (L, 3) unit vector across the tangent
    across: Floats  # (L, 3) unit vector across both: the direction of the sides
    first: Ints  # (L,) number of the line's first group in the layout
    count: Ints  # (L,) groups
    group_m: Floats  # (L,) length of a group
    width_m: Floats  # (L,) luminous width
    front: Floats  # (L,) share of the strip's flux that leaves by the face
    side: Floats  # (L,) share that leaves by both sides together
    run: Ints  # (L,) run each line is a piece of

    def __len__(self) -> int:
        return len(self.first)

    @property
    def share(self) -> Floats:
        """(L,) flux that leaves over the strip's flux."""
        return self.front + self.side

    @property
    def length_m(self) -> Floats:
        """(L,) length of each line."""
        return self.count * self.group_m


def _across_aim(aim: Floats, tangent: Floats, place: Floats, middle: Floats) -> Floats:
    for wish in (aim, middle - place, np.array([0.0, 0.0, 1.0]), np.array([0.0, 1.0, 0.0]), np.array([1.0, 0.0, 0.0])):
        left = wish - (wish @ tangent) * tangent
        length = float(np.linalg.norm(left))
        if length > 0.05 * float(np.linalg.norm(wish)):
            return np.asarray(left / length)
    raise AssertionError("three axes cannot all lie along one tangent")


def lines_of(scene: Scene, layout: Layout) -> Lines:
    """The straight lines of every run, in group order. Runs in channels leave their light at the cover."""
    boxes = boxes_of(scene)
    room = np.asarray(scene.room.size_m, dtype=float)
    bends = (layout.run_of[1:] != layout.run_of[:-1]) | (
        np.abs(layout.tangent[1:] - layout.tangent[:-1]).max(axis=1) > 1e-9
    )
    first = np.concatenate([[0], np.nonzero(bends)[0] + 1]).astype(np.int64)
    count = np.diff(np.concatenate([first, [layout.groups]])).astype(np.int64)
    run = layout.run_of[first]
    group_m = layout.group_length_m[first]
    tangent = layout.tangent[first]
    width, front, side, out = (np.empty(len(first)) for _ in range(4))
    start = layout.centre_m[first] - 0.5 * group_m[:, None] * tangent
    aim = np.empty_like(tangent)
    for line, r in enumerate(run):
        name = scene.run[int(r)].channel
        if name is None:
            width[line], front[line], side[line], out[line] = BARE_WIDTH_M, 1.0, 0.0, BARE_OUT_M
        else:
            channel = scene.channel[name]
            width[line], out[line] = channel.width_mm / 1000, channel.depth_mm / 1000
            front[line] = channel.transmission * (1 - channel.side_fraction)
            side[line] = channel.transmission * channel.side_fraction
        aim[line] = _across_aim(layout.aim[first[line]], tangent[line], start[line], room / 2)
    start = start + out[:, None] * aim
    # A run drawn on or slightly inside the box that carries it shines from that box's surface, not from its inside.
    for line in range(len(first)):
        along = np.linspace(0.02, 0.98, 9)[:, None] * (count[line] * group_m[line]) * tangent[line]
        steps = np.arange(0.0, _PUSH_MOST_M, 0.002)
        for step in steps:
            if not inside_boxes(boxes, start[line] + along + step * aim[line]).any():
                start[line] += step * aim[line]
                break
    margin = 2 * TOUCH_M
    start = np.clip(start, margin, np.maximum(room - margin, margin))
    return Lines(start, tangent, aim, np.cross(tangent, aim), first, count, group_m, width, front, side, run)
