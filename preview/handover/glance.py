"""What a viewer sees of a look in the directions that flashes are counted in, without drawing whole pictures.

Light adds up: what a pixel of the picture gets is a sum over the groups, and a part of the light that is everywhere. So one picture is
drawn for each group, and what it gives at the pixels that are looked at is one row of a matrix; from then on a frame is a product with that
matrix, toned as pictures are (`preview.light.printing`). Where that would take more pictures than the looks have frames, or a large
matrix, the frames are drawn.

Leaves out, against the printed picture: the 8 bits with their dither, and that what is far brighter than white is held at edges.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray

from preview.handover.ahead import ahead
from preview.handover.frames import Film, Stage
from preview.light.colour import Y_OF_RGB, rgb_of_xyz, white_rgb, xyz_of_rgb
from preview.light.emission import lines_of
from preview.light.fill import bounce_rgb
from preview.light.printing import KNEE, WHITE
from preview.light.room import surfaces_of
from preview.looks.flashing import Directions, directions_of
from preview.scene.layout import Floats

__all__ = ["Glance", "toned"]

_MOST_BYTES = 250_000_000
"""Most that the matrix may take."""

_GROUPS_TOGETHER = 16
_FRAMES_TOGETHER = 64
_TIMES_FEWER = 1.5
"""How many times more frames than groups there must be for the matrix to be worth it."""

_WHITE_K = 6500.0
"""Of the light that the room's share is found with: none of its components is small."""

Single = NDArray[np.float32]
Progress = Callable[[float], None]


class Glance:
    """The directions of a stage, and what each group gives in them."""

    def __init__(self, stage: Stage, frames: int, progress: Progress | None = None) -> None:
        """`frames`: how many will be asked for, about. `progress` is called with the share of the preparation that is done."""
        self.stage = stage
        width, height = stage.size
        self.directions: Directions = directions_of((height, width, 3), stage.scene.viewer.field_deg)
        groups = stage.layout.groups
        lines = lines_of(stage.scene, stage.layout)
        self._share = np.repeat(lines.share, lines.count)
        self._surfaces = surfaces_of(stage.scene)
        self._evenly: Floats = np.zeros((3, 0))  # (3, N) linear sRGB in cd/m² for 1 lux of the light that is everywhere
        self._per_group: Single | None = None  # (3, G, N) the same for a lumen of one group, straight from it
        if frames > _TIMES_FEWER * groups and 12 * groups * self.directions.pixel.size <= _MOST_BYTES:
            dark = np.zeros((1, groups, 3))
            self._evenly = self._looked_at(dark, 1.0)[0] / white_rgb(_WHITE_K)[:, None]
            self._per_group = self._rows(progress or (lambda share: None))

    def _rows(self, progress: Progress) -> Single:
        groups = self.stage.layout.groups
        found = np.empty((3, groups, self.directions.pixel.size), np.float32)
        white = xyz_of_rgb(np.ones(3))
        for first in range(0, groups, _GROUPS_TOGETHER):
            some = np.arange(first, min(first + _GROUPS_TOGETHER, groups))
            alone = np.zeros((some.size, groups, 3))
            alone[np.arange(some.size), some] = white
            bounced = bounce_rgb(self._share[some, None] * np.ones(3), self._surfaces)
            straight = self._looked_at(alone, 0.0) - bounced[:, :, None] * self._evenly
            found[:, some] = np.moveaxis(straight, 0, 1)
            progress((some[-1] + 1) / groups)
        return found

    def _looked_at(self, group_xyz: Floats, ambient_lux: float) -> Floats:
        """Linear sRGB (F, 3, N) in cd/m² in the directions, for groups (F, G, 3) in lumen."""
        luminance = self.stage.renderer.luminance(group_xyz, ambient_lux, _WHITE_K)
        rows = luminance.reshape(len(luminance), -1, 3)[:, self.directions.pixel]
        return np.moveaxis(rgb_of_xyz(rows), 2, 1)

    def samples(self, film: Film, times_s: Floats | None = None) -> Iterator[Single]:
        """Linear light (3, N) of each frame of a film on the stage, or at some times; for `preview.looks.flashing.flashes_in`."""
        times_s = film.times if times_s is None else times_s
        if self._per_group is None:
            return (self.directions.sample(picture) for picture in film.pictures_at(times_s))
        return ahead(self._products(film, times_s, self._per_group))

    def _products(self, film: Film, times_s: Floats, per_group: Single) -> Iterator[Single]:
        gain = np.asarray(film.exposure.balance) * film.exposure.scale
        ambient = white_rgb(film.ambient_k) * film.ambient_lux
        evenly = self._evenly.astype(np.float32)
        for first in range(0, times_s.size, _FRAMES_TOGETHER):
            flux = rgb_of_xyz(film.group_xyz(times_s[first : first + _FRAMES_TOGETHER]))  # (F, G, 3)
            even = ((bounce_rgb(self._share @ flux, self._surfaces) + ambient) * gain).astype(np.float32)
            light = np.matmul(np.moveaxis(flux * gain, 2, 0).astype(np.float32), per_group)  # (3, F, N)
            for k, own in enumerate(even):
                yield toned(light[:, k] + own[:, None] * evenly)


def toned(light: Single) -> Single:
    """Linear light 0 to 1 (3, N) that a picture shows for exposed light (3, N), both linear sRGB.

    >>> [round(float(part), 4) for part in toned(np.full((3, 1), 0.3, np.float32))[:, 0]]
    [0.3, 0.3, 0.3]
    """
    y = np.maximum(Y_OF_RGB.astype(np.float32) @ light, np.float32(1e-9))
    over = np.maximum(y - np.float32(KNEE), 0)
    tone = np.minimum(y, np.float32(KNEE)) - np.float32(WHITE - KNEE) * np.expm1(over / np.float32(KNEE - WHITE))
    colours = light * (tone / y)
    most, least = colours.max(axis=0), colours.min(axis=0)
    if least.min() < 0 or most.max() > 1:  # towards the grey of the same luminance, as far as a colour must
        times = np.maximum(np.maximum((most - tone) / (1 - tone), (tone - least) / tone), 1)
        colours = tone + (colours - tone) / times
    return np.asarray(colours, dtype=np.float32)
