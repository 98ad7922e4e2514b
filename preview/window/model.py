"""What the window is showing: which look, which moment, at which level, in what light. No drawing, no clock.

The event loop changes a `Session` and hands frozen `Request`s to whoever works the picture out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from preview.looks.library import looks_of
from preview.scene.model import Look, Scene

__all__ = ["LIGHT_STOPS", "MOST_LUX", "Request", "Session", "light_place", "lux_at", "plain_look", "snap_level"]

MOST_LUX = 999.0
"""The end of the room light control: a bright room by day."""

LIGHT_STOPS = (("night", 0.5), ("evening", 5.0), ("lamp", 60.0), ("daylight", 300.0))
"""Room light at named times, in lux on the surfaces (common practice, no source)."""


def lux_at(place: float) -> float:
    """Room light in lux at a place 0..1 along its control: 10^(3p) − 1, so that dark rooms get half the way.

    >>> lux_at(0.0), round(lux_at(1.0))
    (0.0, 999)
    """
    lux = 10.0 ** (3.0 * min(max(place, 0.0), 1.0)) - 1.0
    return round(lux, 1) if lux < 10 else float(round(lux))


def light_place(lux: float) -> float:
    """Place 0..1 along the control of a room light in lux; light beyond the end of the control is at its end.

    >>> abs(light_place(lux_at(0.4)) - 0.4) < 0.01
    True
    """
    return min(max(math.log10(1.0 + max(lux, 0.0)) / 3.0, 0.0), 1.0)


def snap_level(level: float) -> float:
    """A level held to 0..1 and to the nearest code, in 1/255: what a controller can be set to.

    >>> snap_level(0.5) * 255
    128.0
    """
    return math.floor(min(max(level, 0.0), 1.0) * 255 + 0.5) / 255


def plain_look() -> Look:
    """What plays in a scene that has no look: every group fully on."""
    return Look(name="fully on", effect="steady", seconds=10.0, level=1.0)


@dataclass(frozen=True)
class Request:
    """One moment to be worked out: everything that the picture and the figures depend on."""

    look: int
    time_s: float
    level: float
    ambient_lux: float
    sagging: bool
    size: tuple[int, int]


@dataclass
class Session:
    """The state of the window. `level` is remembered for each look; every change goes through a method."""

    looks: tuple[Look, ...]
    planned_lux: float
    frames_per_s: float
    look: int = 0
    time_s: float = 0.0
    playing: bool = True
    ambient_lux: float = 0.0
    sagging: bool = True
    marks: bool = False
    instruments: bool = True
    full_screen: bool = False
    page: str = ""
    levels: list[float] = field(default_factory=list)

    @classmethod
    def of(cls, scene: Scene, look: int = 0) -> Session:
        """The session that a scene opens with: its own light, the look's own level, playing from the start."""
        looks = looks_of(scene) or (plain_look(),)
        return cls(
            looks=looks,
            planned_lux=scene.room.ambient_lux,
            frames_per_s=scene.assume.data_frames_per_s,
            look=look,
            ambient_lux=scene.room.ambient_lux,
            levels=[snap_level(one.level) for one in looks],
        )

    @property
    def playing_look(self) -> Look:
        """The look that is shown."""
        return self.looks[self.look]

    @property
    def seconds(self) -> float:
        """Length of the look."""
        return self.playing_look.seconds

    @property
    def level(self) -> float:
        """Level of the look that is shown, 0..1."""
        return self.levels[self.look]

    def request(self, size: tuple[int, int]) -> Request:
        """What must be worked out for a picture of this size now."""
        return Request(self.look, self.time_s, self.level, self.ambient_lux, self.sagging, size)

    def advance(self, step_s: float) -> None:
        """Let time go by, round and round, when playing."""
        if self.playing:
            self.time_s = (self.time_s + step_s) % self.seconds

    def seek(self, time_s: float) -> None:
        """Go to a time of the look, held to its length."""
        self.time_s = min(max(time_s, 0.0), self._last_s())

    def step(self, step_s: float) -> None:
        """Move by so many seconds, round the ends."""
        self.time_s = (self.time_s + step_s) % self.seconds

    def step_frame(self, frames: int) -> None:
        """Stop, and move by whole frames at the rate at which looks are worked out."""
        self.playing = False
        here = round(self.time_s * self.frames_per_s)
        count = max(1, round(self.seconds * self.frames_per_s))
        self.time_s = ((here + frames) % count) / self.frames_per_s

    def _last_s(self) -> float:
        return max(0.0, self.seconds - 1.0 / self.frames_per_s)

    def choose(self, look: int) -> None:
        """Show another look from its start; numbers beyond the ends come round."""
        self.look = look % len(self.looks)
        self.time_s = 0.0

    def set_level(self, level: float) -> None:
        """Set the level of the look that is shown; held to 0..1 and to whole codes."""
        self.levels[self.look] = snap_level(level)

    def step_level(self, codes: int) -> None:
        """Move the level by so many codes of 255."""
        self.set_level((round(self.level * 255) + codes) / 255)

    def level_as_planned(self) -> None:
        """Back to the level that the scene gives the look."""
        self.set_level(self.playing_look.level)

    def set_light(self, lux: float) -> None:
        """Set the light already in the room, in lux."""
        self.ambient_lux = min(max(lux, 0.0), max(MOST_LUX, self.planned_lux))

    def step_light(self, steps: float) -> None:
        """Move the room light along its control by so many hundredths of it."""
        self.set_light(lux_at(light_place(self.ambient_lux) + steps / 100))

    def next_light(self, way: int) -> None:
        """To the next named room light, up (+1) or down (−1), round the ends; the scene's own light is one of them."""
        stops = sorted({lux for _, lux in LIGHT_STOPS} | {self.planned_lux})
        beyond = [s for s in (stops if way > 0 else reversed(stops)) if (s - self.ambient_lux) * way > 1e-6]
        self.set_light(beyond[0] if beyond else stops[0 if way > 0 else -1])

    def turn(self, page: str) -> None:
        """Open a page over the room, or close it when it is open."""
        self.page = "" if self.page == page else page
