"""Where a run turns in the strip's own plane, which a flat strip does not: it is cut there and linked with wires.

A strip bends over its flat, towards its face or away from it, and lies round such corners whole. Where a turn is a bit of both, the larger
part counts. Leaves out: the least radius of such a bend, strips made to bend sideways, paths that go straight back.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from preview.scene.layout import cut_point, group_count
from preview.scene.model import Run, Strip

__all__ = ["Corner", "corners_of"]

_STRAIGHT_DEG = 5.0
"""A turn of less is taken up along the way (common practice, no source)."""

_EXACT_M = 1e-6


@dataclass(frozen=True)
class Corner:
    """One corner: metres along the run's path from its data end, how far it turns, and the nearest cut point between two groups."""

    at_m: float
    turn_deg: float
    cut: int  # groups before the cut point
    cut_at_m: float

    @property
    def off_m(self) -> float:
        """How far past the corner the cut point lies, in metres; below 0 before it."""
        return self.cut_at_m - self.at_m


def corners_of(run: Run, strip: Strip) -> tuple[Corner, ...]:
    """The corners of a run at which its strip must be cut, in their order."""
    path = np.asarray(run.path_m, dtype=float)
    legs = np.diff(path, axis=0)
    lengths = np.linalg.norm(legs, axis=1)
    legs, lengths = legs[lengths > 0], lengths[lengths > 0]
    ways = legs / lengths[:, None]
    face = np.asarray(run.aim, dtype=float)
    face = face / np.linalg.norm(face)
    groups = group_count(run, strip)
    found = []
    for before, after, at in zip(ways[:-1], ways[1:], np.cumsum(lengths)[:-1], strict=True):
        axis = np.cross(before, after)
        size = float(np.linalg.norm(axis))
        turn_deg = float(np.degrees(np.arctan2(size, float(before @ after))))
        # Turning about the face is turning sideways, about an axis across the strip bending over its flat.
        sideways = abs(float(axis @ face)) > np.sqrt(0.5) * size
        if sideways and turn_deg > _STRAIGHT_DEG and groups > 1 and at < groups * strip.cut_m - _EXACT_M:
            cut = min(max(cut_point(float(at), strip.cut_m, groups), 1), groups - 1)
            found.append(Corner(float(at), turn_deg, cut, cut * strip.cut_m))
    return tuple(found)
