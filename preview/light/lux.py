"""What a lux meter would read at a place in the room: light straight from the groups, light that has bounced, light already there.

A reading is E = direct + bounced [+ ambient]. Direct light is the sum over groups of I(θ)·cos θ'/d² with the shadows of boxes, exact
at the point (`preview.light.illuminance`), not looked up in the picture's light maps. Bounced light is the even term
Φ·ρ/(A·(1 − ρ)) (`preview.light.fill`), ambient light the scene's own `ambient_lux`; both fall alike on every place and direction.

Leaves out: that corners and niches get less of the even light than the middle of a wall; the shadow of the meter and of whoever
holds it; that a real meter's sensor stands some 20 mm over what it lies on.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from preview.light.colour import rgb_of_xyz, white_rgb, xyz_of_rgb
from preview.light.emission import lines_of
from preview.light.fill import bounce_rgb
from preview.light.illuminance import lux_per_lumen
from preview.light.room import FACES, TOUCH_M, Boxes, boxes_of, surfaces_of
from preview.scene.faults import Fault
from preview.scene.layout import Floats, Layout
from preview.scene.model import Scene

__all__ = ["Reading", "place_faults", "reading_at"]

_FACE_WORDS = [f"the {name} wall" if face < 4 else f"the {name}" for face, name in enumerate(FACES)]
_GRAZE_M = 1e-6  # a sensor that faces along a surface does not face into it


@dataclass(frozen=True)
class Reading:
    """Light at one place: tristimulus values whose Y is in lux."""

    direct_xyz: Floats  # (R, 3) straight from the groups of each run
    bounced_xyz: Floats  # (3,)
    ambient_xyz: Floats  # (3,) already in the room; no part of `lux`

    @property
    def direct_lux(self) -> float:
        """Straight from all groups, lux."""
        return float(self.direct_xyz[:, 1].sum())

    @property
    def lux(self) -> float:
        """Direct and bounced light of the strips, lux; without the ambient light."""
        return self.direct_lux + float(self.bounced_xyz[1])


def reading_at(scene: Scene, layout: Layout, group_xyz: Floats, point_m: Floats, facing: Floats) -> Reading:
    """The reading at `point_m` (3,) of a sensor that faces `facing` (3,), of any length, for groups `group_xyz` (G, 3) in lumen.

    The place must have no `place_faults`. A point on a surface, or by less than 0.5 mm beyond it, is read on that surface.
    """
    boxes, lines = boxes_of(scene), lines_of(scene, layout)
    normal = facing / np.linalg.norm(facing)
    point = _on_surface(np.clip(point_m, 0.0, np.asarray(scene.room.size_m, dtype=float)), boxes)
    per_lumen = lux_per_lumen(lines, boxes, point[None], normal)[0]
    direct = np.zeros((len(layout.run_names), 3))
    np.add.at(direct, layout.run_of, per_lumen[:, None] * group_xyz)
    sent = np.repeat(lines.share, lines.count) @ group_xyz
    bounced = bounce_rgb(rgb_of_xyz(sent), surfaces_of(scene))
    ambient = white_rgb(scene.room.ambient_k) * float(scene.room.ambient_lux)
    return Reading(direct, xyz_of_rgb(bounced), xyz_of_rgb(ambient))


def _depths(boxes: Boxes, point: Floats) -> Floats:
    """(B, 6) how far the point lies behind each face of each box: x, y, z low, then high; all positive where it is inside."""
    return np.concatenate([point - boxes.low_m, boxes.high_m - point], axis=1)


def _on_surface(point: Floats, boxes: Boxes) -> Floats:
    """The point, moved to the nearest face of a box that it lies in by a hair."""
    point = point.copy()
    for box in np.nonzero((_depths(boxes, point) > 0).all(axis=1))[0]:
        face = int(_depths(boxes, point)[box].argmin())
        point[face % 3] = (boxes.low_m, boxes.high_m)[face // 3][box, face % 3]
    return point


def place_faults(scene: Scene, point_m: Floats, facing: Floats) -> list[Fault]:
    """What is wrong with a place to read at: outside the room, inside a box, pressed face down on something, no direction."""
    faults = []
    room, boxes = np.asarray(scene.room.size_m, dtype=float), boxes_of(scene)
    length = float(np.linalg.norm(facing))
    if length == 0:
        faults.append(Fault("--facing", "a direction, such as 0,0,1 for upwards", _words(facing)))
    if (point_m < -TOUCH_M).any() or (point_m > room + TOUCH_M).any():
        faults.append(Fault("--point", f"a place in the room, 0,0,0 to {_words(room)}", _words(point_m)))
        return faults
    # A box that stands against the room's faces has no air behind it: a place on the floor under it is inside it.
    solid = Boxes(
        np.where(boxes.low_m <= TOUCH_M, -np.inf, boxes.low_m),
        np.where(boxes.high_m >= room - TOUCH_M, np.inf, boxes.high_m),
    )
    inside = np.nonzero((_depths(solid, point_m) > TOUCH_M).all(axis=1))[0]
    for box in inside:
        faults.append(
            Fault("--point", "a place in the air", f"{_words(point_m)}, inside the box {scene.box[box].name!r}")
        )
    if faults:
        return faults
    ahead = _on_surface(np.clip(point_m, 0.0, room), boxes) + 0.001 * facing / length
    outside = np.stack([-ahead, ahead - room], axis=1).ravel() > _GRAZE_M
    behind = [_FACE_WORDS[face] for face in np.nonzero(outside)[0]]
    inside = np.nonzero((_depths(boxes, ahead) > _GRAZE_M).all(axis=1))[0]
    behind += [f"the box {scene.box[box].name!r}" for box in inside]
    if behind:
        wanted = "a direction into the air, away from what the sensor lies on"
        faults.append(Fault("--facing", wanted, f"{_words(facing)}, into {' and '.join(behind)}"))
    return faults


def _words(values: Floats) -> str:
    return ",".join(f"{value:g}" for value in values)
