"""Where the groups are."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

__all__ = ["Floats", "Ints", "Number", "Place", "columns"]

Floats = NDArray[np.floating[Any]]
Ints = NDArray[np.int64]
Number: TypeAlias = float | Floats


@dataclass(frozen=True)
class Place:
    """Where the G groups of a plan are, and the colours that their strip has. Metres and lumens."""

    along_m: Floats  # (G,) centre of the group along its run, from the data end
    run: Ints  # (G,) number of its run, from 0
    run_length_m: Floats  # (G,) length of its run
    room_m: Floats  # (G, 3) centre of the group in the room: x along the back wall, y into the room, z up
    room_size_m: Floats  # (3,) size of the room
    primaries: Floats  # (G, 3, 3) CIE 1931 XYZ, in lumens, of its red, green and blue fully on
    group_length_m: Floats  # (G,) length that one group covers

    @property
    def groups(self) -> int:
        """Number of groups."""
        return int(self.along_m.shape[0])

    @cached_property
    def drives_of_xyz(self) -> Floats:
        """Drives (3) of red, green and blue that an XYZ (3) in lumens takes, as rows times matrix: (G, 3, 3).

        Worked out once: where there is one moment to show it takes longer than all the rest of an effect.
        """
        return np.linalg.inv(self.primaries)

    @cached_property
    def tints(self) -> dict[tuple[float, float, float], Floats]:
        """Drives (G, 3) of hue, purity and kelvin that `tint` has worked out for this place."""
        return {}

    @property
    def half_m(self) -> Floats:
        """Half the length of each group (G,): a group reaches from along_m − half_m to along_m + half_m."""
        return 0.5 * self.group_length_m

    @property
    def course_m(self) -> Floats:
        """Place (G,) along all the runs laid end to end, in the order of their numbers."""
        runs, first = np.unique(self.run, return_index=True)
        lengths = self.run_length_m[first]
        starts = np.concatenate([[0.0], np.cumsum(lengths)[:-1]])
        return np.asarray(starts[np.searchsorted(runs, self.run)] + self.along_m, dtype=np.float64)

    @property
    def course_length_m(self) -> float:
        """Length of all the runs together."""
        return float(self.run_length_m[np.unique(self.run, return_index=True)[1]].sum())

    @classmethod
    def straight(
        cls,
        length_m: float = 3.0,
        group_length_m: float = 0.05,
        runs: int = 1,
        gap_m: float = 0.5,
        primaries: Floats | None = None,
    ) -> Place:
        """Straight runs along the back wall of a box room, one above the other: to try an effect on, and for tests.

        The primaries, where not given, are those of an ordinary three-colour strip (invented, rounded figures).
        """
        count = int(np.floor(length_m / group_length_m + 1e-6))
        along = np.tile((np.arange(count) + 0.5) * group_length_m, runs)
        run = np.repeat(np.arange(runs, dtype=np.int64), count)
        size = np.array([length_m + 1.0, 3.0, max(2.6, 0.8 + gap_m * runs)])
        room = np.stack([along + 0.5, np.full(along.shape, 2.95), 0.6 + gap_m * run], axis=1)
        if primaries is None:
            lumen = np.array([2.1, 4.6, 0.9])
            xy = np.array([[0.690, 0.308], [0.170, 0.700], [0.135, 0.050]])
            rest = 1.0 - xy.sum(axis=1)
            primaries = lumen[:, None] * np.stack([xy[:, 0] / xy[:, 1], np.ones(3), rest / xy[:, 1]], axis=1)
        return cls(
            along_m=along,
            run=run,
            run_length_m=np.full(along.shape, count * group_length_m),
            room_m=room,
            room_size_m=size,
            primaries=np.broadcast_to(primaries, (along.size, 3, 3)).copy(),
            group_length_m=np.full(along.shape, group_length_m),
        )


def columns(time_s: Floats) -> Floats:
    """Times (F,) as (F, 1), to broadcast against places (G,)."""
    return np.asarray(time_s, dtype=np.float64).reshape(-1, 1)
