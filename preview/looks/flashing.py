"""Flashing of a moving picture, by the definitions of WCAG 2.2, success criterion 2.3.1 and its glossary.

    general flash   two opposing changes of relative luminance of 0.1 or more of full white, the darker state below 0.80
    red flash       two opposing changes to or from a state with R/(R + G + B) ≥ 0.8, more than 0.2 apart in u'v'
    area            they count where, together, they take more than 0.006 sr (a quarter of a cone of 10°) of any field of 10°

What is counted is changes, over the fullest second: two changes are one flash, so that seven changes are 3.5 flashes. R, G and B are
linear; L = 0.2126 R + 0.7152 G + 0.0722 B. A clip is played round and round, so its end is followed by its start.

Black has no chromaticity. Over states darker than R + G + B = 1/16 lies a veil of white, 2 % over black and none at 1/16. So red against
black counts from about where the definition's older form, (R − G − B)·320 > 20, begins to count it, and dither in the dark does not.

The picture is looked at in directions 10°/24 apart, each at one pixel, so that what alternates within a cell does not average out. A field
is a square of 11.25°, moved in steps of 1.25°: every field of 10° lies within one of them. Two counts are made, and the larger stands. The
first is the definition: of places, more than the area of which change that often. The second goes beyond it: of the field as a whole, where
within a sixth of a second more than that area has gone up than down, or down than up, and the light of the field with it. So lights that
take turns in one field are one flashing field, and a pattern that only moves through it is not.

Leaves out: the allowance for fine balanced patterns (squares under 0.1°), regular patterns that stand still, sound, a viewer who goes
closer, and how sensitive a person is. It is a measure for planning, no medical advice and no certificate.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import chain
from typing import Any

import numpy as np
from numpy.typing import NDArray

from effects.kit import uniform
from preview.light.colour import RGB_TO_XYZ, from_srgb
from preview.scene.chromaticity import UV_PARTS
from preview.scene.faults import CovecastError

__all__ = ["FLASHES_PER_S", "Directions", "Flashes", "directions_of", "flashes_in", "flashes_of"]

FLASHES_PER_S = 3.0
"""The most that the success criterion allows in any one second, general and red alike."""

_CELL_DEG = 10.0 / 24.0
_CELLS_PER_BLOCK = 3
_BLOCKS_PER_FIELD = 9
_AREA_SR = 0.006
_TOGETHER_S = 1.0 / 6.0  # half a period of the slowest flashing that is too much
_STEP, _DARK = 0.1 - 1e-6, 0.80
_VEIL, _VEIL_BELOW = 0.02, 1.0 / 16.0
_RED_PART, _RED_STEP = 0.8, 0.2

Single = NDArray[np.float32]
Mask = NDArray[np.bool_]
Pixels = NDArray[np.uint8]


_LINEAR: Single = from_srgb(np.arange(256) / 255).astype(np.float32)
"""Linear light 0..1 of the 256 sRGB codes."""

_XYZ: Single = RGB_TO_XYZ.astype(np.float32)
# The numerators of u' and v' and what both are divided by, straight from red, green and blue.
_UVD: Single = (UV_PARTS @ RGB_TO_XYZ).astype(np.float32)


@dataclass(frozen=True)
class Flashes:
    """The fullest second of a picture: flashes in it, when it starts, and where they are.

    `box` is left, top, right, bottom of the field that flashes most, as parts 0..1 of the picture's width and height.
    """

    general_per_s: float
    red_per_s: float
    at_s: float
    box: tuple[float, float, float, float]

    @property
    def per_s(self) -> float:
        """The more of the two kinds."""
        return max(self.general_per_s, self.red_per_s)

    def within(self, flashes_per_s: float = FLASHES_PER_S) -> bool:
        """Whether neither kind is more than `flashes_per_s`."""
        return self.per_s <= flashes_per_s


def flashes_of(
    frames: Iterable[Pixels], frames_per_s: float, field_deg: float = 60.0, *, loops: bool = True, fullest: float = 1e9
) -> Flashes:
    """The flashes of frames (h, w, 3) uint8 sRGB that a viewer sees across `field_deg` horizontally.

    `frames` is read once, one frame at a time; memory does not grow with it. `loops`: after the last comes the first. With `fullest` the
    frames are left as soon as more flashes than that are found in a second, when all that is asked is whether there are.
    """
    if not frames_per_s > 0:
        raise CovecastError(f"flashes: expected more than 0 frames a second, found {frames_per_s:g}")
    if not 0 < field_deg < 180:
        raise CovecastError(f"flashes: expected a field of more than 0 and less than 180 degrees, found {field_deg:g}")
    grid: Directions | None = None

    def samples() -> Iterator[Single]:
        nonlocal grid
        for frame in frames:
            if grid is None:
                grid = directions_of(frame.shape, field_deg)
            yield grid.sample(frame)

    waiting = samples()
    first = next(waiting, None)
    if first is None or grid is None:
        raise CovecastError("flashes: expected at least one frame, found none")
    return flashes_in(chain([first], waiting), grid, frames_per_s, loops=loops, fullest=fullest)


def flashes_in(
    samples: Iterable[Single], directions: Directions, frames_per_s: float, *, loops: bool = True, fullest: float = 1e9
) -> Flashes:
    """The flashes of what is seen in some directions: linear light (3, N) of each frame, 1 for full white, at least one frame."""
    second = max(1, int(np.floor(frames_per_s + 1e-6)))
    luminance, red = _Luminance(directions, second, frames_per_s), _Red(directions, second, frames_per_s)
    start: list[Single] = []
    count = 0
    for sample in samples:
        if len(start) < second:
            start.append(sample)
        luminance.see(sample)
        red.see(sample)
        count += 1
        if max(luminance.tally.most, red.tally.most) > 2 * fullest:
            break
    if loops and count > 1:
        for sample in _again(start, count, second):
            luminance.see(sample)
            red.see(sample)
    worst = max((luminance.tally, red.tally), key=lambda tally: tally.most)
    at = (worst.at - second + 1) % count if worst.most else 0
    return Flashes(
        general_per_s=luminance.tally.most / 2,
        red_per_s=red.tally.most / 2,
        at_s=at / frames_per_s,
        box=directions.box(worst.field) if worst.most else (0.0, 0.0, 1.0, 1.0),
    )


def _again(start: list[Single], count: int, second: int) -> Iterator[Single]:
    """The start once more, so that every second over the seam is seen; a clip shorter than a second as often as it takes."""
    if count >= second:
        yield from start
        return
    for n in range(2 * second):
        yield start[n % count]


@dataclass(frozen=True)
class Directions:
    """Directions that are looked at, row by row of equal height: a pixel each, and the blocks that they make up."""

    pixel: NDArray[np.intp]  # (N,) which pixel of the picture, counted along its rows
    block: NDArray[np.intp]  # (N,) which block the direction lies in
    solid_sr: NDArray[np.float64]  # (N,)
    shape: tuple[int, int]  # blocks: rows, columns
    corner_deg: tuple[float, float]  # azimuth, elevation of the first block's outer corner
    edge: tuple[float, float]  # tangents of half the picture's width and height

    def sample(self, frame: Pixels) -> Single:
        """Linear red, green and blue (3, N) of a frame (h, w, 3)."""
        return _LINEAR[frame.reshape(-1, 3)[self.pixel].T]

    def fields(self, weight: NDArray[np.float64]) -> NDArray[np.float64]:
        """Sum of weights (N,) over each field, (fields,)."""
        rows, columns = self.shape
        blocks = np.bincount(self.block, weight, rows * columns).reshape(rows, columns)
        total = np.zeros((rows + 1, columns + 1))
        np.cumsum(blocks.cumsum(axis=0), axis=1, out=total[1:, 1:])
        high, wide = min(rows, _BLOCKS_PER_FIELD), min(columns, _BLOCKS_PER_FIELD)
        across = total[:, wide:] - total[:, : columns + 1 - wide]
        return np.asarray(across[high:] - across[: rows + 1 - high], dtype=np.float64).ravel()

    def box(self, field: int) -> tuple[float, float, float, float]:
        """Left, top, right, bottom of a field in the picture, parts 0..1."""
        rows, columns = self.shape
        high, wide = min(rows, _BLOCKS_PER_FIELD), min(columns, _BLOCKS_PER_FIELD)
        row, column = divmod(field, columns + 1 - wide)
        step = _CELL_DEG * _CELLS_PER_BLOCK
        azimuth = np.radians(self.corner_deg[0] + step * np.array([column, column + wide]))
        down = np.radians(self.corner_deg[1] + step * np.array([row, row + high]))
        x = np.tan(np.clip(azimuth, -1.55, 1.55)) / self.edge[0]
        y = np.tan(np.clip(down, -1.55, 1.55)) / self.edge[1]
        left, right = (float(v) for v in np.clip(0.5 + 0.5 * x, 0.0, 1.0))
        top, bottom = (float(v) for v in np.clip(0.5 + 0.5 * y, 0.0, 1.0))
        return left, top, right, bottom


def directions_of(shape: tuple[int, ...], field_deg: float) -> Directions:
    """Directions for a picture of this shape, drawn on a plane before the eye."""
    if len(shape) != 3 or shape[2] != 3 or 0 in shape:
        raise CovecastError(f"flashes: expected frames of shape (height, width, 3), found {shape}")
    height, width = shape[:2]
    half_width = float(np.tan(np.radians(field_deg / 2)))
    half_height = half_width * height / width
    across_deg, up_deg = field_deg / 2, float(np.degrees(np.arctan(half_height)))
    step = _CELL_DEG * _CELLS_PER_BLOCK
    columns, rows = (max(1, int(np.ceil(2 * half / step - 1e-9))) for half in (across_deg, up_deg))
    corner = (-0.5 * columns * step, -0.5 * rows * step)
    row, column = np.indices((rows * _CELLS_PER_BLOCK, columns * _CELLS_PER_BLOCK)).reshape(2, -1)
    # A pixel at a random place in each cell: a regular pattern in the picture cannot fall in step with the grid.
    azimuth = np.radians(corner[0] + _CELL_DEG * (column + 0.1 + 0.8 * uniform(1, row, column)))
    down = np.radians(corner[1] + _CELL_DEG * (row + 0.1 + 0.8 * uniform(2, row, column)))
    x = np.tan(azimuth) / half_width
    y = np.tan(down) / np.cos(azimuth) / half_height
    seen = (np.abs(x) < 1) & (np.abs(y) < 1) & (np.abs(azimuth) < 1.57)
    pixel_x = np.minimum((0.5 * (1 + x[seen]) * width).astype(np.intp), width - 1)
    pixel_y = np.minimum((0.5 * (1 + y[seen]) * height).astype(np.intp), height - 1)
    block = row[seen] // _CELLS_PER_BLOCK * columns + column[seen] // _CELLS_PER_BLOCK
    solid = np.radians(_CELL_DEG) ** 2 * np.cos(down[seen])
    return Directions(pixel_y * width + pixel_x, block, solid, (rows, columns), corner, (half_width, half_height))


class _Tally:
    """Counts changes: of each place, and of each field as a whole, over the last second."""

    def __init__(self, grid: Directions, second: int, frames_per_s: float) -> None:
        places, fields = grid.pixel.size, grid.fields(grid.solid_sr).size
        self.grid, self.second = grid, second
        self.together = max(1, min(second, round(_TOGETHER_S * frames_per_s)))
        self.frame = -1
        self.most, self.at, self.field = 0, 0, 0
        self.recent = np.zeros((second, places), dtype=np.bool_)
        self.changes = np.zeros(places, dtype=np.int16)
        self.area = np.zeros((2, second + 1, fields))  # all that has gone up, and down, so far: the last frames of it
        self.event = np.zeros((second, fields), dtype=np.int16)
        self.events = np.zeros(fields, dtype=np.int16)
        self.last_event = np.full(fields, -1)
        self.next_way = np.full(fields, -1)  # 0 up, 1 down, −1 either
        self.low: NDArray[np.float64] | None = None  # of the field's light since its last change
        self.high: NDArray[np.float64] | None = None
        self.quiet = True  # no place has changed yet

    def add(self, up: Mask, down: Mask, light: NDArray[np.floating[Any]]) -> None:
        """Changes of this frame: places (N,) that went up, and down, and their light now."""
        self.frame += 1
        slot = self.frame % self.second
        changed = up | down
        whole = self.grid.fields(light * self.grid.solid_sr)
        self.quiet = self.quiet and not changed.any()
        if self.quiet:  # nothing to count, and nothing to forget
            self._follow(whole)
            return
        self.changes += changed
        self.changes -= self.recent[slot]
        self.recent[slot] = changed
        if changed.any():
            self._places()
        self._fields(up, down, whole, slot)

    def wait(self) -> None:
        """A frame in which nothing changes and no place has any light, where none has changed yet."""
        if self.low is None:
            self._follow(np.zeros(self.events.size))
        self.frame += 1

    def _follow(self, light: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """The least and the most of each field's light since its last change, this frame's among it."""
        if self.low is None or self.high is None:
            self.low, self.high = light.copy(), light.copy()
        return np.minimum(self.low, light, out=self.low), np.maximum(self.high, light, out=self.high)

    def _keep(self, changes: int, field: int) -> None:
        if changes > self.most:
            self.most, self.at, self.field = changes, self.frame, field

    def _places(self) -> None:
        """The most changes that more than the area of a field has had, each place for itself."""
        for changes in range(self.most + 1, int(self.changes.max()) + 1):
            areas = self.grid.fields(np.where(self.changes >= changes, self.grid.solid_sr, 0.0))
            field = int(areas.argmax())
            if areas[field] <= _AREA_SR:
                break
            self._keep(changes, field)

    def _fields(self, up: Mask, down: Mask, light: NDArray[np.float64], slot: int) -> None:
        """Changes of the field as a whole: more of it up than down, or down than up. What has made one change makes no other."""
        ring = self.second + 1
        now = self.frame % ring
        before = (self.frame - 1) % ring
        for side, mask in enumerate((up, down)):
            self.area[side, now] = self.area[side, before]
            if mask.any():
                self.area[side, now] += self.grid.fields(np.where(mask, self.grid.solid_sr, 0.0))
        since = np.maximum(np.maximum(self.frame - self.together, self.last_event), self.frame - self.second)
        every = np.arange(since.size)
        gone = self.area[:, now] - self.area[:, since % ring, every]
        more_up = gone[0] - gone[1]
        way = np.where(self.next_way >= 0, self.next_way, np.where(more_up < 0, 1, 0))
        low, high = self._follow(light)
        happens = np.where(way == 0, more_up, -more_up) > _AREA_SR
        happens &= np.where(way == 0, light - low, high - light) >= _STEP * _AREA_SR
        np.copyto(low, light, where=happens)
        np.copyto(high, light, where=happens)
        self.next_way = np.where(happens, 1 - way, self.next_way)
        self.last_event = np.where(happens, self.frame, self.last_event)
        self.events += happens
        self.events -= self.event[slot]
        self.event[slot] = happens
        field = int(self.events.argmax())
        self._keep(int(self.events[field]), field)


class _Luminance:
    """General flashes: each place's luminance, followed from turn to turn."""

    def __init__(self, grid: Directions, second: int, frames_per_s: float) -> None:
        self.tally = _Tally(grid, second, frames_per_s)
        self.low: Single | None = None
        self.high: Single | None = None
        self.rising: Mask = np.ones(grid.pixel.size, dtype=np.bool_)  # whether the next change can be upwards
        self.falling: Mask = np.ones(grid.pixel.size, dtype=np.bool_)

    def see(self, rgb: Single) -> None:
        """The next frame, linear (3, N)."""
        now = _XYZ[1] @ rgb
        if self.low is None or self.high is None:
            self.low, self.high = now.copy(), now.copy()
        np.maximum(self.high, now, out=self.high)
        np.minimum(self.low, now, out=self.low)
        down = self.falling & (self.high - now >= _STEP) & (now < _DARK)
        up = self.rising & (now - self.low >= _STEP) & (self.low < _DARK) & ~down
        turned = up | down
        self.rising = np.where(turned, down, self.rising)
        self.falling = np.where(turned, up, self.falling)
        np.copyto(self.low, now, where=turned)
        np.copyto(self.high, now, where=turned)
        self.tally.add(up, down, now)


class _Red:
    """Red flashes: each place's chromaticity, to a saturated red and away from it."""

    def __init__(self, grid: Directions, second: int, frames_per_s: float) -> None:
        self.tally = _Tally(grid, second, frames_per_s)
        self.is_red: Mask | None = None
        self.uv = np.zeros(
            (2, grid.pixel.size), dtype=np.float32
        )  # the reddest since it came, the least red since it left

    def see(self, rgb: Single) -> None:
        """The next frame, linear (3, N)."""
        total = rgb.sum(axis=0)
        saturated = (rgb[0] >= _RED_PART * total) & (rgb[0] > 0)
        veil = np.float32(_VEIL) * np.square(np.maximum(1.0 - total / np.float32(_VEIL_BELOW), 0.0))
        u, v, whole = _UVD @ (rgb + veil)
        uv = np.stack([u / whole, v / whole])
        if self.is_red is None:
            self.is_red, self.uv = saturated, uv
        if not (saturated.any() or self.is_red.any()) and self.tally.quiet:
            np.copyto(self.uv, uv, where=uv[0] < self.uv[0])
            self.tally.wait()
            return
        further = np.where(self.is_red, uv[0] > self.uv[0], uv[0] < self.uv[0])
        np.copyto(self.uv, uv, where=further)
        apart = np.hypot(uv[0] - self.uv[0], uv[1] - self.uv[1]) > _RED_STEP
        leaves = self.is_red & apart
        comes = ~self.is_red & apart & saturated
        self.is_red = (self.is_red & ~leaves) | comes
        np.copyto(self.uv, uv, where=leaves | comes)
        self.tally.add(comes, leaves, 0.1 * self.is_red)  # as much as the least change of luminance that counts
