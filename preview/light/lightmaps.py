"""The light maps of a room: where their nodes lie, how the groups light them, and how open each place is to light from everywhere.

Worked out once for a geometry, and taken from the cache where that has been done before.
"""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from preview.light import cache
from preview.light.atlas import Grid
from preview.light.emission import Lines
from preview.light.fill import openness
from preview.light.room import Boxes, Surfaces
from preview.light.spacing import grids_of
from preview.light.transport import Progress, Transport, build_transport
from preview.scene.layout import Floats

__all__ = ["OF_LINES", "LightMaps", "light_maps", "most_nodes"]

_NODES = 58_000
"""Nodes for 300 groups; for fewer there may be more, for the same work a frame."""

_MOST_NODES = 70_000
_MOST_PAIRS = 40_000_000
OF_LINES = 0.55
"""The most of the nodes that may lie on lines; patches have the rest."""


@dataclass(frozen=True)
class LightMaps:
    """One grid a surface, the transport to their nodes, and the shading (K,) of even light on the coarse ones, of mean 1."""

    grids: tuple[Grid, ...]
    transport: Transport
    shade: NDArray[np.float32]

    def arrays(self) -> dict[str, NDArray[Any]]:
        """Everything as plain arrays, for keeping; `LightMaps.of` is the way back."""
        parts = [[getattr(grid, field.name) for grid in self.grids] for field in fields(Grid)]
        kept: dict[str, NDArray[Any]] = {f"grid_{k}": np.concatenate(part) for k, part in enumerate(parts)}
        kept["grid_sizes"] = np.array([[len(places) for places in part] for part in parts])
        return {**kept, **self.transport.arrays(), "shade": self.shade}

    @staticmethod
    def of(arrays: Mapping[str, NDArray[Any]]) -> LightMaps:
        """The light maps of `arrays`. KeyError, IndexError or ValueError where they do not fit together."""
        parts = []
        for k, sizes in enumerate(arrays["grid_sizes"]):
            ends = np.concatenate([[0], np.cumsum(sizes)])
            parts.append([arrays[f"grid_{k}"][low:high] for low, high in pairwise(ends)])
        grids = tuple(Grid(*places) for places in zip(*parts, strict=True))
        maps = LightMaps(grids, Transport.of(arrays), arrays["shade"])
        nodes, coarse = sum(grid.nodes for grid in grids), sum(len(grid.coarse_nodes) for grid in grids)
        if maps.transport.gather.shape[0] != nodes or not len(maps.transport.coarse) == len(maps.shade) == coarse:
            raise ValueError("the parts belong to different rooms")
        return maps


def most_nodes(groups: int) -> int:
    """Nodes that the light maps for so many groups may have, for much the same work a frame."""
    return int(min(max(_NODES * np.sqrt(300 / groups), min(_MOST_PAIRS / groups, _NODES)), _MOST_NODES))


def light_maps(
    surfaces: Surfaces, lines: Lines, boxes: Boxes, room_m: Floats, groups: int, progress: Progress | None = None
) -> LightMaps:
    """The light maps of surfaces in a room of size `room_m` (3,), lit by lines of `groups` groups."""
    most = most_nodes(groups)
    key = cache.key_of(_depends_on(surfaces, lines, boxes, room_m, most))
    kept = cache.load(key)
    if kept is not None:
        try:
            found = LightMaps.of(kept)
        except (KeyError, IndexError, ValueError):
            found = None
        if found is not None and len(found.grids) == len(surfaces) and found.transport.coarse.shape[1] == groups:
            if progress is not None:
                progress(1.0)
            return found
    grids = grids_of(surfaces, lines, boxes, int(OF_LINES * most))
    with ThreadPoolExecutor(1) as beside:
        shade = beside.submit(openness, surfaces, grids, boxes, room_m)
        grids, transport = build_transport(surfaces, grids, lines, boxes, most, progress)
        maps = LightMaps(grids, transport, shade.result().astype(np.float32))
    cache.save(key, maps.arrays())
    return maps


def _depends_on(surfaces: Surfaces, lines: Lines, boxes: Boxes, room_m: Floats, most: int) -> list[Floats | int]:
    """Everything that the light maps depend on."""
    of_surfaces = [surfaces.origin_m, surfaces.u, surfaces.v, surfaces.size_m, surfaces.normal, surfaces.box]
    of_lines = [getattr(lines, field.name) for field in fields(lines)]
    return [*of_surfaces, *of_lines, boxes.low_m, boxes.high_m, room_m, most]
