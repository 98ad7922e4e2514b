"""What the window is showing: which look, which moment, at which level, in what light. No drawing, no clock.

The event loop changes a `Session` and hands frozen `Request`s to whoever works the picture out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

from preview.looks.library import looks_of
from preview.scene.model import Look, Scene

__all__ = [
    "LIGHT_STOPS",
    "MOST_LUX",
    "Drop",
    "Request",
    "Session",
    "frame_count",
    "light_place",
    "lux_at",
    "plain_look",
    "snap_level",
]

MOST_LUX = 999.0
"""The end of the room light control: a bright room by day."""

Drop = Literal["with", "without", "both"]
"""The picture with the drop of the wires, as if there were none, or both side by side."""

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
    return Look(name="fully on", effect="proof_full", seconds=10.0, level=1.0)


def frame_count(seconds: float, frames_per_s: float) -> int:
    """Frames of a look: as many as fit its length, at least one.

    >>> frame_count(12.0, 30.0)
    360
    """
    return max(1, math.floor(seconds * frames_per_s + 0.5))


@dataclass(frozen=True)
class Request:
    """One moment to be worked out: everything that the picture and the figures depend on.

    Moments are whole frames, at the rate at which the strips get new data: between two of them nothing changes in the room. `edition`
    counts how often a script has been saved.
    """

    look: int
    frame: int
    level: float
    ambient_lux: float
    drop: Drop
    size: tuple[int, int]
    edition: int = 0


@dataclass
class Session:
    """The state of the window. `level` is remembered for each look; every change goes through a method.

    `pointed` is the group whose readings are shown beside it, counted over the whole plan, or None.
    """

    looks: tuple[Look, ...]
    planned_lux: float
    frames_per_s: float
    look: int = 0
    time_s: float = 0.0
    playing: bool = True
    ambient_lux: float = 0.0
    drop: Drop = "with"
    marks: bool = False
    pointed: int | None = None
    instruments: bool = True
    full_screen: bool = False
    page: str = ""
    edition: int = 0
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

    def carried_to(self, scene: Scene) -> Session:
        """The session for a new version of the scene: what was being looked at, as far as it is still there.

        A level or a room light that had been changed by hand stays; one that was as planned follows the plan.
        """
        new = Session.of(scene)
        old = {look.name: k for k, look in enumerate(self.looks)}
        for k, look in enumerate(new.looks):
            if look.name in old and not self._is_as_planned(old[look.name]):
                new.levels[k] = self.levels[old[look.name]]
            if look.name == self.playing_look.name:
                new.look = k
                new.time_s = min(self.time_s, new._last_s())
        if self.ambient_lux != self.planned_lux:
            new.set_light(self.ambient_lux)
        new.playing, new.drop, new.marks = self.playing, self.drop, self.marks
        new.instruments, new.full_screen, new.page = self.instruments, self.full_screen, self.page
        new.edition = self.edition + 1
        return new

    def _is_as_planned(self, look: int) -> bool:
        return self.levels[look] == snap_level(self.looks[look].level)

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

    @property
    def frames(self) -> int:
        """Frames of the look."""
        return frame_count(self.seconds, self.frames_per_s)

    @property
    def frame(self) -> int:
        """The frame that is shown, from 0."""
        return min(int(self.time_s * self.frames_per_s + 1e-6), self.frames - 1)

    @property
    def until_next_s(self) -> float:
        """Seconds until the next frame is due while it plays."""
        frame = self.frame
        due = self.seconds if frame + 1 >= self.frames else (frame + 1) / self.frames_per_s
        return max(due - self.time_s, 0.0)

    def request(self, size: tuple[int, int], ahead: int = 0) -> Request:
        """What must be worked out for a picture of this size: of now, or of so many frames ahead."""
        frame = (self.frame + ahead) % self.frames
        return Request(self.look, frame, self.level, self.ambient_lux, self.drop, size, self.edition)

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
        self.time_s = ((self.frame + frames) % self.frames) / self.frames_per_s

    def _last_s(self) -> float:
        return max(0.0, self.seconds - 1.0 / self.frames_per_s)

    def choose(self, look: int) -> None:
        """Show another look from its start; numbers beyond the ends come round."""
        self.look = look % len(self.looks)
        self.time_s = 0.0

    def turn_drop(self, drop: Drop) -> None:
        """Show the picture in another way, or with drop again when it is shown in that way already."""
        self.drop = "with" if self.drop == drop else drop

    def point(self, step: int, groups: int, start: int = 0) -> None:
        """Move to another group's readings, round the ends; the first time to `start`."""
        self.pointed = start % groups if self.pointed is None else (self.pointed + step) % groups

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
