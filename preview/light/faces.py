"""The faces of the channels as the eye sees them: a fixed sparse matrix from the groups' flux to the pixels' luminance.

A face is cut into small patches, finer than a pixel. A patch of area A whose normal makes the angle θ with the line of sight fills the
solid angle A·cos θ/r² and adds its luminance times its share of a pixel's solid angle, split over the four nearest pixels. A line
thinner than a pixel so keeps its light. Luminance is flux over π and area: the front share over the cover's face, the side share over
its two sides, which stand a quarter of the width proud (common practice, no source). Along the face the light is spread as
`preview.light.cover` says, as far as pixels are fine enough to show it. Boxes hide patches; a face turned away is not seen.

Leaves out: the aluminium of the channel, the strip's own white board.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from preview.light.camera import Camera
from preview.light.cover import face_pattern, settled
from preview.light.emission import Lines
from preview.light.room import Boxes
from preview.light.shadow import hidden_points
from preview.scene.layout import Floats, Ints
from preview.scene.model import Scene

__all__ = ["Faces", "faces_of"]

_SIDE_HEIGHT = 0.25  # of the width
_PATCH_PX = 0.4
_MOST_PATCHES = 1_500_000


@dataclass(frozen=True)
class Faces:
    """The pixels that show a face: their flat numbers, how much of each is covered, and their luminance per lumen."""

    pixel: Ints  # (P,) sorted
    cover: NDArray[np.float32]  # (P,) share of the pixel that a cover hides, 0 to 1
    matrix: sparse.csr_array  # (P, G) cd/m² per lumen of a group's strip flux


def _splat(camera: Camera, points: Floats, area_m2: float, normal: Floats) -> tuple[Ints, Ints, Floats]:
    """Patch, pixel and share of the pixel's solid angle, for patches that face the eye."""
    step = camera.eye_m - points
    distance2 = (step**2).sum(axis=1)
    cosine = step @ normal / np.sqrt(distance2)
    x, y, depth = camera.project(points)
    seen = (cosine > 0) & (depth > 0.02)
    seen &= (x > -1) & (x < camera.size[0] + 1) & (y > -1) & (y < camera.size[1] + 1)
    patch = np.nonzero(seen)[0]
    x, y = x[patch], y[patch]
    right, down = camera.slopes(x, y)
    pixel_sr = (1 + right**2 + down**2) ** -1.5 / camera.focal_px**2
    share = area_m2 * cosine[patch] / distance2[patch] / pixel_sr
    column, row = np.floor(x - 0.5).astype(np.int64), np.floor(y - 0.5).astype(np.int64)
    fx, fy = x - 0.5 - column, y - 0.5 - row
    patches, pixels, shares = [], [], []
    for dx, dy in ((0, 0), (1, 0), (0, 1), (1, 1)):
        c, r = column + dx, row + dy
        inside = (c >= 0) & (c < camera.size[0]) & (r >= 0) & (r < camera.size[1])
        weight = (fx if dx else 1 - fx) * (fy if dy else 1 - fy) * share
        patches.append(patch[inside])
        pixels.append((r * camera.size[0] + c)[inside])
        shares.append(weight[inside])
    return np.concatenate(patches), np.concatenate(pixels), np.concatenate(shares)


def _pitch_px(camera: Camera, along_m: Floats, bin_m: float, pitch_m: float) -> Floats:
    """Pixels (bins,) that a pitch fills in the picture at each place along a face, endless behind the eye."""
    x, y, depth = camera.project(along_m)
    step = np.hypot(np.gradient(x), np.gradient(y)) / bin_m
    return np.asarray(np.where(depth > 0.02, step * pitch_m, np.inf))


def faces_of(scene: Scene, lines: Lines, boxes: Boxes, camera: Camera) -> Faces:
    """The faces of every run, seen by a camera."""
    groups = int(lines.count.sum())
    pixels: list[Ints] = [np.empty(0, np.int64)]
    numbers: list[Ints] = [np.empty(0, np.int64)]
    covered: list[Ints] = [np.empty(0, np.int64)]
    values: list[Floats] = [np.empty(0)]
    shares: list[Floats] = [np.empty(0)]
    for line in range(len(lines)):
        run = scene.run[int(lines.run[line])]
        strip = scene.strip[run.strip]
        channel = scene.channel[run.channel] if run.channel is not None else None
        length, width = float(lines.length_m[line]), float(lines.width_m[line])
        ends = lines.start_m[line] + np.linspace(0, length, 33)[:, None] * lines.tangent[line]
        nearest = float(np.linalg.norm(ends - camera.eye_m, axis=1).min())
        patch_m = _PATCH_PX * max(nearest, 0.05) / camera.focal_px
        bins = int(np.clip(np.ceil(length / patch_m), 2 * lines.count[line], 40_000))
        bin_m = length / bins
        scattered = channel is not None and channel.cover != "clear"
        pattern = face_pattern(
            bins,
            bin_m,
            int(lines.count[line]),
            strip.leds_per_group,
            1 / strip.leds_per_m,
            channel.depth_mm / 1000 if channel is not None and scattered else 0.0,
            channel.spread_mm / 1000 if channel is not None else 0.0,
        )
        along = ((np.arange(bins) + 0.5) * bin_m)[:, None] * lines.tangent[line]
        pattern = settled(pattern, bin_m, _pitch_px(camera, lines.start_m[line] + along, bin_m, 1 / strip.leds_per_m))
        side_m = _SIDE_HEIGHT * width
        sides = [(lines.aim[line], lines.front[line], width, lines.across[line], 0.0, 0.0)]
        if lines.side[line] > 0:
            for sign in (1.0, -1.0):
                sides.append(
                    (
                        sign * lines.across[line],
                        lines.side[line] / 2,
                        side_m,
                        lines.aim[line],
                        sign * width / 2,
                        -side_m / 2,
                    )
                )
        for normal, share, tall, way, out_across, out_aim in sides:
            strands = int(np.clip(np.ceil(tall / patch_m), 1, max(1, _MOST_PATCHES // bins)))
            middle = lines.start_m[line] + out_across * lines.across[line] + out_aim * lines.aim[line]
            offsets = (((np.arange(strands) + 0.5) / strands - 0.5) * tall)[:, None] * way
            points = (middle + along[:, None, :] + offsets[None, :, :]).reshape(-1, 3)
            patch, pixel, weight = _splat(camera, points, bin_m * tall / strands, normal)
            if not len(patch):
                continue
            shaded = np.zeros(len(points), dtype=bool)
            some = np.unique(patch)
            shaded[some] = hidden_points(boxes, camera.eye_m, points[some])
            clear = ~shaded[patch]
            patch, pixel, weight = patch[clear], pixel[clear], weight[clear]
            if not len(patch):
                continue
            used, place = np.unique(pixel, return_inverse=True)
            seen = sparse.csr_array((weight, (place, patch // strands)), shape=(len(used), bins))
            small = sparse.coo_array(seen @ pattern * (share / (np.pi * tall)))
            pixels.append(used[small.coords[0]])
            numbers.append(small.coords[1] + int(lines.first[line]))
            values.append(small.data)
            if channel is not None:
                covered.append(used)
                shares.append(np.asarray(np.bincount(place, weight), dtype=np.float64))
    lit = np.unique(np.concatenate([*pixels, *covered]))
    hidden = np.bincount(np.searchsorted(lit, np.concatenate(covered)), np.concatenate(shares), minlength=len(lit))
    row = np.searchsorted(lit, np.concatenate(pixels))
    value = np.concatenate(values) / np.maximum(hidden, 1.0)[row]
    matrix = sparse.csr_array((value, (row, np.concatenate(numbers))), shape=(len(lit), groups)).astype(np.float32)
    return Faces(lit, np.minimum(hidden, 1.0).astype(np.float32), matrix)
