"""The plan as arrays: every group in run order, where it is and what its strip says of it.

Worked out once per scene; everything downstream is a function of these arrays. SI units throughout.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from preview.scene.colours import colours_of
from preview.scene.model import Run, Scene, Strip

__all__ = [
    "MOST_GROUPS",
    "Bools",
    "Floats",
    "Ints",
    "Layout",
    "cut_point",
    "group_count",
    "lay_out",
    "path_length_m",
    "places_on_path",
]

Floats = NDArray[np.floating[Any]]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

MOST_GROUPS = 50_000
"""The most groups of one scene: beyond it a plan is a typing error or a façade, and neither is this tool's job."""


@dataclass(frozen=True)
class Layout:
    """Every group of a plan. R runs, G groups, C colours (3, or 4 where any strip has a white).

    Colours are in the order red, green, blue, white; a colour that a strip lacks has zero current and zero flux.
    """

    run_names: tuple[str, ...]
    first: Ints  # (R+1,) groups of run r are first[r] : first[r+1]
    cut_m: Floats  # (R,) cut length
    length_m: Floats  # (R,) length of the run, cut down to whole groups
    run_of: Ints  # (G,) run of each group
    along_m: Floats  # (G,) centre of the group, along its run from the data end
    centre_m: Floats  # (G, 3) the same in the room
    tangent: Floats  # (G, 3) unit vector along the strip
    aim: Floats  # (G, 3) unit vector in which the LEDs face
    group_length_m: Floats  # (G,)
    rated_a: Floats  # (G, C) current of a colour fully on at rated voltage
    dark_v: Floats  # (G, C) at or below it the colour is dark
    full_v: Floats  # (G, C) from here the rated current flows
    regulated: Bools  # (G,) current held at rated above full_v
    idle_a: Floats  # (G,) drawn with every colour dark
    lumen: Floats  # (G, C) flux at rated current
    xyz_per_lumen: Floats  # (G, C, 3) CIE 1931 tristimulus of one lumen of that colour (Y = 1)
    has_white: Bools  # (G,)
    reset_v: Floats  # (G,) below it the chip no longer holds its data; 0 where not given

    @property
    def groups(self) -> int:
        """Number of groups."""
        return int(self.first[-1])

    @property
    def colours(self) -> int:
        """Number of colours, 3 or 4."""
        return int(self.rated_a.shape[1])

    def run_slice(self, run: int) -> slice:
        """The groups of run number `run`."""
        return slice(int(self.first[run]), int(self.first[run + 1]))

    def name_of(self, group: int) -> tuple[str, int]:
        """Run name and number within the run, from 0, of group number `group` of the whole plan."""
        run = int(self.run_of[group])
        return self.run_names[run], int(group - self.first[run])


def path_length_m(run: Run) -> float:
    """Length of a run's path in metres, before it is cut down to whole groups."""
    return float(np.linalg.norm(np.diff(np.asarray(run.path_m, dtype=float), axis=0), axis=1).sum())


def group_count(run: Run, strip: Strip) -> int:
    """Whole groups that fit on a run's path: floor(length / cut + 1e-6)."""
    return int(np.floor(path_length_m(run) / strip.cut_m + 1e-6))


def cut_point(at_m: float, cut_m: float, groups: int) -> int:
    """Number of the cut point, 0 to `groups`, nearest to a place on a run of groups that are `cut_m` long; half way, the later one.

    >>> cut_point(1.02, 0.05, 40), cut_point(2.03, 0.05, 40), cut_point(0.125, 0.25, 8)
    (20, 40, 1)
    """
    return int(np.clip(np.floor(at_m / cut_m + 0.5), 0, groups))


def places_on_path(run: Run, along_m: Floats) -> tuple[Floats, Floats]:
    """Points (n, 3) and unit tangents (n, 3) at lengths `along_m` (n,) from the data end of a run's path.

    Lengths beyond the ends are carried on along the first and last leg.
    """
    path = np.asarray(run.path_m, dtype=float)
    legs = np.diff(path, axis=0)
    lengths = np.linalg.norm(legs, axis=1)
    real = lengths > 0
    path, legs, lengths = path[:-1][real], legs[real], lengths[real]
    ends = np.concatenate([[0.0], np.cumsum(lengths)])
    leg = np.clip(np.searchsorted(ends, along_m, side="right") - 1, 0, len(lengths) - 1)
    tangent = legs[leg] / lengths[leg, None]
    return path[leg] + (along_m - ends[leg])[:, None] * tangent, tangent


def lay_out(scene: Scene) -> Layout:
    """The arrays of a scene. The scene has been checked by `preview.scene.read`; nothing is checked again here."""
    colours = colours_of(any(s.white for s in scene.strip.values()))
    strips = [scene.strip[run.strip] for run in scene.run]
    counts = [group_count(run, strip) for run, strip in zip(scene.run, strips, strict=True)]
    first = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    cut_m = np.array([strip.cut_m for strip in strips])
    run_of = np.repeat(np.arange(len(counts), dtype=np.int64), counts)
    along_m = (np.arange(first[-1]) - first[run_of] + 0.5) * cut_m[run_of]
    places = [places_on_path(run, along_m[first[r] : first[r + 1]]) for r, run in enumerate(scene.run)]

    def by_colour(key: str, absent: float) -> Floats:
        rows = [
            [absent if (c := getattr(s, colour)) is None else getattr(c, key) for colour in colours] for s in strips
        ]
        return np.array(rows, dtype=float)[run_of]

    xy = np.array(
        [[(1 / 3, 1 / 3) if (c := getattr(s, colour)) is None else c.xy for colour in colours] for s in strips]
    )
    xyz = np.stack([xy[..., 0] / xy[..., 1], np.ones(xy.shape[:2]), (1 - xy.sum(-1)) / xy[..., 1]], axis=-1)
    aims = np.array([run.aim for run in scene.run], dtype=float)
    aims /= np.linalg.norm(aims, axis=1, keepdims=True)
    return Layout(
        run_names=tuple(run.name for run in scene.run),
        first=first,
        cut_m=cut_m,
        length_m=np.array(counts) * cut_m,
        run_of=run_of,
        along_m=along_m,
        centre_m=np.concatenate([place for place, _ in places]),
        tangent=np.concatenate([tangent for _, tangent in places]),
        aim=aims[run_of],
        group_length_m=cut_m[run_of],
        rated_a=by_colour("milliamp", 0.0) / 1000,
        dark_v=by_colour("dark_v", 0.0),
        full_v=by_colour("full_v", 1.0),
        regulated=np.array([s.regulated for s in strips])[run_of],
        idle_a=np.array([s.idle_milliamp_per_group for s in strips])[run_of] / 1000,
        lumen=by_colour("lumen", 0.0),
        xyz_per_lumen=xyz[run_of],
        has_white=np.array([s.white is not None for s in strips])[run_of],
        reset_v=np.array([s.reset_below_v or 0.0 for s in strips])[run_of],
    )
