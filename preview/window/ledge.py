"""Where everything in the window stands: the room large, and a slim ledge of instruments beneath or beside it.

Plain arithmetic on whole pixels, so that it can be tried at every size without a screen. Three forms:

- beneath, wide: what the supplies draw over time, the two controls, and the readings stand next to one another;
- beneath, narrower: the readings become one line at the bottom;
- beside, where the window is much wider than high: one column to the right of the room.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

__all__ = ["SMALLEST", "Arrangement", "Gauge", "Rect", "SupplyRow", "arrange", "unit_for"]

SMALLEST = (560, 420)
"""The smallest window that has instruments, in pixels."""

BESIDE_FROM = 2.05  # width over height from which the ledge stands beside the room
MARGIN = 24


class Rect(NamedTuple):
    """Left, top, width and height in pixels."""

    x: int
    y: int
    w: int
    h: int

    @property
    def right(self) -> int:
        """First column beyond it."""
        return self.x + self.w

    @property
    def bottom(self) -> int:
        """First row beyond it."""
        return self.y + self.h

    @property
    def middle(self) -> tuple[int, int]:
        """Its centre."""
        return self.x + self.w // 2, self.y + self.h // 2

    def holds(self, point: tuple[int, int]) -> bool:
        """Whether a point is in it."""
        return self.x <= point[0] < self.right and self.y <= point[1] < self.bottom

    def grown(self, by: int) -> Rect:
        """Larger by so many pixels on every side."""
        return Rect(self.x - by, self.y - by, self.w + 2 * by, self.h + 2 * by)


class SupplyRow(NamedTuple):
    """One supply: its name and amps (on one line where there is no room for two), bar, curve, and where its limit is named."""

    name: Rect
    label: Rect
    bar: Rect
    curve: Rect
    limit: Rect


class Gauge(NamedTuple):
    """A control on a line: its name, the track, its value, and what is noted beneath the track."""

    name: Rect
    track: Rect
    value: Rect
    notes: Rect


@dataclass(frozen=True)
class Arrangement:
    """Everything's place in a window of one size. `room` is what the picture fills.

    `in_one_line`: the readings stand side by side; `two_lines`: each has a second line, for the whole look. `unit` is how many pixels
    what is one pixel on a plain screen takes.
    """

    room: Rect
    ledge: Rect | None
    looks: Rect
    words: Rect
    play: Rect
    clock: Rect
    rows: tuple[SupplyRow, ...]
    axis: Rect
    level: Gauge
    light: Gauge
    readings: tuple[Rect, ...]
    in_one_line: bool
    beside: bool
    two_lines: bool = False
    unit: float = 1.0

    @property
    def timeline(self) -> Rect:
        """The curves and the axis under them: where the time is set."""
        if not self.rows:
            return self.axis
        first = self.rows[0].curve
        return Rect(first.x, first.y, first.w, self.axis.bottom - first.y)


_NOWHERE = Rect(0, 0, 0, 0)
_NO_GAUGE = Gauge(_NOWHERE, _NOWHERE, _NOWHERE, _NOWHERE)


def unit_for(size: tuple[int, int], larger: int = 0) -> float:
    """How large the instruments are drawn: as they are up to 1920 × 1080, in proportion beyond, and so many quarters larger.

    Never so large that they would not fit.

    >>> unit_for((1280, 720)), unit_for((3840, 2160)), unit_for((1280, 720), 1), unit_for((700, 500), 9)
    (1.0, 2.0, 1.25, 1.0)
    """
    most = min(size[0] / SMALLEST[0], size[1] / SMALLEST[1])
    wanted = max(1.0, min(size[0] / 1920, size[1] / 1080)) + larger / 4
    return max(0.5, math.floor(4 * min(wanted, max(most, 1.0), 4.0)) / 4)


def arrange(size: tuple[int, int], supplies: int, instruments: bool = True, unit: float = 1.0) -> Arrangement:
    """The arrangement for a window of `size` pixels and a number of supplies.

    Without instruments, or in a window that is too small for them, the room is all.
    """
    if unit == 1.0:
        return _arrange(max(size[0], 1), max(size[1], 1), supplies, instruments)
    w, h = (math.floor(side / unit) for side in size)
    return _scaled(_arrange(max(w, 1), max(h, 1), supplies, instruments), size, unit)


def _scaled(at: Arrangement, size: tuple[int, int], unit: float) -> Arrangement:
    """The arrangement, `unit` times as large; the room takes what is over."""

    def rect(small: Rect) -> Rect:
        x, y = round(small.x * unit), round(small.y * unit)
        return Rect(x, y, round(small.right * unit) - x, round(small.bottom * unit) - y)

    if at.ledge is None:
        return replace(at, room=Rect(0, 0, *size), unit=unit)
    ledge = rect(at.ledge)
    if at.beside:
        ledge = Rect(ledge.x, 0, size[0] - ledge.x, size[1])
        room = Rect(0, 0, ledge.x, size[1])
    else:
        ledge = Rect(0, ledge.y, size[0], size[1] - ledge.y)
        room = Rect(0, 0, size[0], ledge.y)
    return Arrangement(
        room=room,
        ledge=ledge,
        looks=rect(at.looks),
        words=rect(at.words),
        play=rect(at.play),
        clock=rect(at.clock),
        rows=tuple(SupplyRow(*(rect(part) for part in row)) for row in at.rows),
        axis=rect(at.axis),
        level=Gauge(*(rect(part) for part in at.level)),
        light=Gauge(*(rect(part) for part in at.light)),
        readings=tuple(rect(part) for part in at.readings),
        in_one_line=at.in_one_line,
        beside=at.beside,
        two_lines=at.two_lines,
        unit=unit,
    )


def _arrange(w: int, h: int, supplies: int, instruments: bool) -> Arrangement:
    if not instruments or w < SMALLEST[0] or h < SMALLEST[1]:
        return Arrangement(
            room=Rect(0, 0, w, h),
            ledge=None,
            looks=_NOWHERE,
            words=_NOWHERE,
            play=_NOWHERE,
            clock=_NOWHERE,
            rows=(),
            axis=_NOWHERE,
            level=_NO_GAUGE,
            light=_NO_GAUGE,
            readings=(),
            in_one_line=False,
            beside=False,
        )
    if w / h >= BESIDE_FROM and w >= 1100 and h >= 480:
        return _beside(w, h, supplies)
    return _beneath(w, h, supplies)


def _gauge(x: int, y: int, w: int) -> Gauge:
    name, value = 50, 52
    track = Rect(x + name, y, max(w - name - value, 40), 20)
    return Gauge(Rect(x, y, name, 20), track, Rect(x + w - value, y, value, 20), Rect(x + name, y + 20, w - name, 18))


def _timeline(
    x: int, y: int, w: int, h: int, supplies: int, label: int, gutter: int
) -> tuple[Rect, Rect, tuple[SupplyRow, ...], Rect]:
    """Play, clock, supply rows and axis in a field of the ledge: names to the left, limits to the right of the curves."""
    axis_h = 22
    room = h - axis_h
    count = max(1, min(supplies, room // 28))
    pitch = room // count
    across = w - label - gutter
    rows = []
    for k in range(count):
        top = y + k * pitch
        high = pitch - (6 if count > 1 else 2)
        below = 20 if pitch >= 76 else 0
        rows.append(
            SupplyRow(
                Rect(x, top, label - 18, 20),
                Rect(x, top + below, label - 18, 20),
                Rect(x, top + below + 22, label - 18, 4),
                Rect(x + label, top, across, high),
                Rect(x + label + across, top, gutter, high),
            )
        )
    axis = Rect(x + label, y + room, across, axis_h)
    play = Rect(x - 4, y + room, 24, 22)
    return play, Rect(x + 28, y + room + 1, label - 40, 20), tuple(rows), axis


def _beneath(w: int, h: int, supplies: int) -> Arrangement:
    wide, narrow = w >= 1120, w < 760
    body = 106 if h >= 560 else 84
    if h >= 900:  # room for more supplies at once
        body += 28 * min(max(supplies - 3, 0), 3)
    two_lines = h >= 560
    line = 0 if wide else 42 if two_lines else 26
    if narrow:
        body = 70
        two_lines = False
        line = 24 if h >= 460 else 0
    head = 30
    gauges = 44 if narrow else 0
    high = 12 + head + 10 + body + gauges + line + 12
    ledge = Rect(0, h - high, w, high)
    x, right, top = MARGIN, w - MARGIN, ledge.y + 12
    words_w = w // 3 if narrow else min(430, w // 3 + 20)
    looks = Rect(x, top, right - x - words_w - 16, head)
    words = Rect(right - words_w, top, words_w, head)
    y = top + head + 10
    readings: tuple[Rect, ...]
    if wide:
        last, middle = min(296, w // 4), min(316, w // 4)
        first = right - x - last - middle - 2 * 32
        level, light = (_gauge(x + first + 32, y + 2 + k * 54, middle) for k in (0, 1))
        pitch = 36 if two_lines else 28
        readings = tuple(Rect(right - last, y + k * pitch, last, pitch - 2) for k in range(3))
    else:
        if narrow:
            first, each = right - x, (right - x - 20) // 2
            level, light = (_gauge(x + k * (each + 20), y + body + 8, each) for k in (0, 1))
        else:
            middle = 300
            first = right - x - middle - 28
            pitch = 50 if two_lines else 44
            level, light = (_gauge(x + first + 28, y + 1 + k * pitch, middle) for k in (0, 1))
        each = (right - x) // 3
        top = h - 12 - line + 4
        high = 36 if two_lines else 20
        readings = tuple(Rect(x + k * each, top, each - 12, high) for k in range(3)) if line else ()
    label = 150 if narrow else 172
    play, clock, rows, axis = _timeline(x, y, first, body, supplies, label, 0 if narrow else 68)
    return Arrangement(
        room=Rect(0, 0, w, ledge.y),
        ledge=ledge,
        looks=looks,
        words=words,
        play=play,
        clock=clock,
        rows=rows,
        axis=axis,
        level=level,
        light=light,
        readings=readings,
        in_one_line=not wide,
        beside=False,
        two_lines=two_lines,
    )


def _beside(w: int, h: int, supplies: int) -> Arrangement:
    across = 372
    ledge = Rect(w - across, 0, across, h)
    x, right = ledge.x + MARGIN, w - MARGIN
    inner = right - x
    looks_h = max(64, min(150, h // 5))
    looks = Rect(x, 18, inner, looks_h)
    foot = h - 18
    words = Rect(x, foot - 24, inner, 24)
    readings = tuple(Rect(x, foot - 24 - 16 - 108 + k * 36, inner, 34) for k in range(3))
    gauges = readings[0].y - 16 - 96
    level, light = (_gauge(x, gauges + k * 48, inner) for k in (0, 1))
    y = looks.bottom + 12
    play, clock, rows, axis = _timeline(x, y, inner, gauges - 20 - y, supplies, 132, 0)
    return Arrangement(
        room=Rect(0, 0, w - across, h),
        ledge=ledge,
        looks=looks,
        words=words,
        play=play,
        clock=clock,
        rows=rows,
        axis=axis,
        level=level,
        light=light,
        readings=readings,
        in_one_line=False,
        beside=True,
        two_lines=True,
    )
