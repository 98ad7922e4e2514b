"""Illuminance at points from lines of groups: closed form, shadows included.

A band with intensity I' per metre along its normal lights a point with normal n, seen from the line at distance d, with

    E = I' ∫ (a/d)(β(x)/d)/d² dx,   d² = D² + x²,

x measured along the line from the foot of the perpendicular of length D, a the height of the point over the emitting plane,
β(x) = β0 + β1·x = n·(Q − P) the height of the line's point over the receiving plane. The integral is elementary:

    ∫ dx/d⁴ = x/(2D²d²) + atan(x/D)/(2D³),   ∫ x dx/d⁴ = −1/(2d²).

Parts of the line below the receiving plane are cut off at β = 0. Close to a wide cover (D under six widths) the band is three
lines, at the nodes of Gauss's rule. Shadows: `preview.light.shadow`.

Source: the finite Lambertian line of illuminating engineering (the "aspect factor"); inverse square and cosine laws (CIE).
Leaves out: the room's faces stop no light inside the room, which is convex.
"""

from __future__ import annotations

import numpy as np

from preview.light.emission import Lines
from preview.light.room import Boxes
from preview.light.shadow import Along, Heft, Light, shade
from preview.scene.layout import Floats, Ints

__all__ = ["add_lux", "in_pieces", "lux_per_lumen"]

_NEAREST_M = 0.001  # a point on the line itself is taken to be this far off it
_WIDE = 6.0  # widths of the band within which it is more than a line
_FAR = 6.0  # groups' lengths beyond which light is even over a group
_GAUSS = ((-0.5 * np.sqrt(0.6), 5 / 18), (0.0, 8 / 18), (0.5 * np.sqrt(0.6), 5 / 18))


def lux_per_lumen(
    lines: Lines, boxes: Boxes, points_m: Floats, normals: Floats, skip: int | Ints = -1, shadows: bool = True
) -> Floats:
    """Illuminance (N, G) in lux at points (N, 3) facing `normals` (N, 3) or (3,), for one lumen of each group's strip flux.

    Transmission and sides of the channels are in it. `skip`: see `preview.light.shadow.shade`.
    """
    groups = int((lines.first + lines.count).max())
    result = np.zeros((len(points_m), groups))
    add_lux(result, lines, boxes, points_m, normals, skip, shadows)
    return result


def add_lux(
    result: Light,
    lines: Lines,
    boxes: Boxes,
    points_m: Floats,
    normals: Floats,
    skip: int | Ints = -1,
    shadows: bool = True,
) -> None:
    """The same into the dark array `result` (N, G). With one of 32 bits it takes less time, and is off by up to a millionth of the
    brightest light.
    """
    normals = np.broadcast_to(normals, points_m.shape)
    skips = np.broadcast_to(skip, len(points_m))
    for line in range(len(lines)):
        _add_line(result, lines, line, boxes, points_m, normals, skips, shadows)


def in_pieces(points: int, most: int) -> list[slice]:
    """Equal slices of so many points for two threads, an even number, none of more than `most`: over small ones they wait for each other.

    >>> in_pieces(10, 4)
    [slice(0, 2, None), slice(2, 5, None), slice(5, 7, None), slice(7, 10, None)]
    """
    pieces = 2 * max(1, -(-points // (2 * most)))
    return [slice(k * points // pieces, (k + 1) * points // pieces) for k in range(pieces)]


def _add_line(
    result: Light, lines: Lines, line: int, boxes: Boxes, points: Floats, normals: Floats, skip: Ints, shadows: bool
) -> None:
    length = float(lines.count[line] * lines.group_m[line])
    span = lines.start_m[line] - points
    height = np.maximum((normals * span).sum(axis=1), (normals * (span + length * lines.tangent[line])).sum(axis=1))
    rise = -(span @ lines.aim[line])
    lit = height > 1e-9
    if lines.side[line] == 0:
        lit &= rise > 0
    rows = np.nonzero(lit)[0]
    if not len(rows):
        return
    inner = points[rows]
    part = np.empty((len(rows), int(lines.count[line])), result.dtype)
    _unshaded(lines, line, inner, normals[rows], 0.0, part)
    off = span[rows] - (span[rows] @ lines.tangent[line])[:, None] * lines.tangent[line]
    near = np.nonzero((off**2).sum(axis=1) < (_WIDE * lines.width_m[line]) ** 2)[0]
    if len(near):
        strand, whole = np.empty((2, len(near), part.shape[1]), part.dtype)
        whole[:] = 0
        for offset, weight in _GAUSS:
            _unshaded(lines, line, inner[near], normals[rows[near]], offset, strand)
            strand *= weight
            whole += strand
        part[near] = whole
    if shadows:
        along, heft = _along(lines, line, inner, normals[rows]), _heft(lines, line, inner, normals[rows])
        shade(part, lines, line, boxes, inner, skip[rows], along, heft)
    first = int(lines.first[line])
    result[rows, first : first + int(lines.count[line])] = part


def _along(lines: Lines, line: int, points: Floats, normals: Floats) -> Along:
    """Where on the line, counted in groups, a place lies by the light that reaches a point from the group's two parts."""
    tangent, step, last = lines.tangent[line], float(lines.group_m[line]), int(lines.count[line]) - 1
    span = lines.start_m[line] - points
    foot = span @ tangent
    square = np.maximum((span**2).sum(axis=1) - foot**2, _NEAREST_M**2)
    slope = normals @ tangent
    level = (normals * span).sum(axis=1) - foot * slope
    distance = np.sqrt(square)

    def along(rows: Ints, place_m: Floats) -> Floats:
        result = np.asarray(place_m / step)
        near = np.nonzero(distance[rows] < _FAR * step)[0]
        if not len(near):
            return result
        rows, place_m = rows[near], place_m[near]
        group = np.clip(np.floor(place_m / step), 0, last)
        x, s, d, sq, lv = foot[rows], slope[rows], distance[rows], square[rows], level[rows]
        with np.errstate(divide="ignore", invalid="ignore"):
            zero = np.where(s != 0, -lv / s, 0.0)
        below, above = np.where(s > 0, zero, -np.inf), np.where(s < 0, zero, np.inf)

        def up_to(t: Floats) -> Floats:
            place = np.clip(x + t, below, above)
            return (lv * place / (2 * sq) - 0.5 * s) / (sq + place**2) + lv / (2 * sq * d) * np.arctan(place / d)

        begin, end = up_to(group * step), up_to((group + 1) * step)
        whole = end - begin
        part = place_m / step - group
        np.divide(up_to(place_m) - begin, whole, out=part, where=whole > 1e-9 * np.abs(end) + 1e-300)
        result[near] = group + np.clip(part, 0.0, 1.0)
        return result

    return along


def _heft(lines: Lines, line: int, points: Floats, normals: Floats) -> Heft:
    """How much of the light that reaches a point comes from each strand of the band, as if the line were endless."""
    tangent, band = lines.tangent[line], lines.across[line] * lines.width_m[line]
    span = lines.start_m[line] - points
    off = span - (span @ tangent)[:, None] * tangent
    rise, aside = off @ lines.aim[line], off @ lines.across[line]
    facing = normals - (normals @ tangent)[:, None] * tangent
    level, tilt = (facing * off).sum(axis=1), facing @ band
    front, side, width = lines.front[line], 0.5 * lines.side[line], lines.width_m[line]
    near = rise**2 + aside**2 < (2 * _WIDE * width) ** 2

    def heft(rows: Ints, offsets: Floats) -> Floats:
        result = np.ones(offsets.shape)
        some = np.nonzero(near[rows])[0]
        rows, offsets = rows[some], offsets[:, some]
        beside = aside[rows] + offsets * width
        sent = np.maximum(-front * rise[rows], 0.0) + side * np.abs(beside)
        square = np.maximum(rise[rows] ** 2 + beside**2, _NEAREST_M**2)
        result[:, some] = sent * np.maximum(level[rows] + offsets * tilt[rows], 0.0) / square**1.5 + 1e-12
        return result

    return heft


def _unshaded(lines: Lines, line: int, points: Floats, normals: Floats, offset: float, out: Light) -> None:
    """Puts lux per lumen of one line at `offset` widths from the band's middle, shadows left out, into `out` (N, count)."""
    tangent, step = lines.tangent[line], float(lines.group_m[line])
    span = lines.start_m[line] + offset * lines.width_m[line] * lines.across[line] - points
    foot = span @ tangent
    square = np.maximum((span**2).sum(axis=1) - foot**2, _NEAREST_M**2)
    slope = normals @ tangent
    level = (normals * span).sum(axis=1) - foot * slope
    sent = lines.front[line] * np.maximum(-(span @ lines.aim[line]), 0.0)
    if lines.side[line] > 0:
        sent = sent + 0.5 * lines.side[line] * np.abs(span @ lines.across[line])
    x = foot[:, None] + np.arange(int(lines.count[line]) + 1) * step
    with np.errstate(divide="ignore", invalid="ignore"):
        zero = np.where(slope != 0, -level / slope, 0.0)
    below = np.where(slope > 0, zero, np.where((slope == 0) & (level <= 0), np.inf, -np.inf))
    above = np.where(slope < 0, zero, np.inf)
    np.clip(x, below[:, None], above[:, None], out=x)
    dark = np.isinf(x[:, 0]) & (below > 0)
    x[dark] = 0.0
    distance = np.sqrt(square)
    x = x.astype(out.dtype, copy=False)

    def row(values: Floats) -> Light:
        return values[:, None].astype(out.dtype)

    total = x * x
    total += row(square)
    np.reciprocal(total, out=total)
    arc = x * row(1 / distance)
    np.arctan(arc, out=arc)
    arc *= row(level / (2 * square * distance))
    x *= row(level / (2 * square))
    x -= row(0.5 * slope)
    x *= total
    x += arc
    np.subtract(x[:, 1:], x[:, :-1], out=out)
    out *= row(sent / (np.pi * step))
    np.maximum(out, 0, out=out)
