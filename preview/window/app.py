"""The window: the event loop, which sleeps until something is asked for, has been worked out, or is due to be shown."""

from __future__ import annotations

import contextlib
import sys
import time
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pygame

from preview.looks.drives import LightCaution
from preview.scene.model import Scene
from preview.window.canvas import Canvas
from preview.window.desk import Desk
from preview.window.display import first_window, open_display
from preview.window.figures import Plan, open_plan
from preview.window.framing import picture_size
from preview.window.hands import Hands
from preview.window.interrupts import Interrupts
from preview.window.ledge import SMALLEST
from preview.window.model import Session
from preview.window.watch import LOOK_S, Watch, photos_of, scripts_of

__all__ = ["Timing", "Window", "show"]

SETTLE_S = 0.25
"""A window that is being resized gets its new picture when it has stood still so long."""

HIDE_POINTER_S = 2.0
MOST_STEP_S = 0.2  # a loop that was held up longer goes on from there, and does not jump
TICK_S = 0.1  # the longest sleep
SWITCH_S = 0.0005  # how long one of Python's threads may keep the others waiting: a picture must not come late for that

_WAKE = pygame.event.custom_type()


@dataclass
class Timing:
    """Where the time goes: seconds of each flip, and when pictures were shown."""

    flip_s: list[float] = field(default_factory=list)
    pictures_s: list[float] = field(default_factory=list)


def _wake() -> None:
    """Let the loop look at what is new; called by the threads."""
    with contextlib.suppress(pygame.error):  # the window is being closed, or has more to do than it can
        pygame.event.post(pygame.event.Event(_WAKE))


class Window:
    """One window on one scene. `run` returns when it is closed.

    `file` is what the scene was read from and `read` reads it again: both or neither. `window` is one that is open already.
    """

    def __init__(
        self,
        plan: Plan,
        session: Session,
        size: tuple[int, int],
        file: Path | None = None,
        read: Callable[[], Scene] | None = None,
        window: pygame.Window | None = None,
        interrupts: Interrupts | None = None,
    ) -> None:
        self.desk = Desk(plan, session, size, _wake)
        self.hands = Hands(self.desk)
        self.canvas = Canvas()
        self.timing = Timing()
        self.window = window or first_window(plan.scene.title, size)
        self.window.minimum_size = SMALLEST
        self._interrupts = interrupts or Interrupts()
        self._read = read
        self._watch = Watch(file if read else None, scripts_of(plan.scene, session.looks), photos_of(plan.scene))
        self._watched_s = self._stepped_s = time.monotonic()
        self._resized_s = 0.0
        self._picture_size = picture_size(self.desk.panel.at.room[2:])
        self._panel = self.desk.panel
        self._is_full = False
        self._is_hidden = False
        self._pointer_shown = True
        self._hurry = False

    def run(self, frames: int | None = None) -> None:
        """Show the window until it is closed, or until so many pictures have been shown as quickly as they can be made."""
        self._hurry = frames is not None
        interval_s = sys.getswitchinterval()
        sys.setswitchinterval(SWITCH_S)
        self.desk.start()
        try:
            while not self.desk.closing:
                self._interrupts.heed()
                self._take_events()
                self.desk.check()
                self._pass_time()
                self._look_at_files()
                if not self._is_hidden:
                    self._ask()
                    self._draw()
                if frames is not None and self.canvas.pictures >= frames:
                    self.desk.closing = True
        finally:
            sys.setswitchinterval(interval_s)
            self.window.destroy()
            self.desk.stop()

    # What comes in ----------------------------------------------------------------------------------------------

    def _take_events(self) -> None:
        first = pygame.event.wait(max(1, round(1000 * self._sleep_s())))
        for event in (first, *pygame.event.get()):
            if event.type in (pygame.QUIT, pygame.WINDOWCLOSE):
                self.desk.closing = True
            elif event.type in (pygame.WINDOWSIZECHANGED, pygame.WINDOWRESIZED):
                if self.desk.resize((event.x, event.y)):
                    self._resized_s = time.monotonic()
            elif event.type in (pygame.WINDOWMINIMIZED, pygame.WINDOWHIDDEN):
                self._is_hidden = True
            elif event.type in (pygame.WINDOWEXPOSED, pygame.WINDOWSHOWN, pygame.WINDOWRESTORED):
                self._is_hidden = False
                self.canvas.forget()
                self.desk.panel.forget()
            elif event.type not in (_WAKE, pygame.NOEVENT):
                self.hands.take(event)
        if self.desk.session.full_screen != self._is_full:
            self._is_full = self.desk.session.full_screen
            if self._is_full:
                self.window.set_fullscreen(desktop=True)
            else:
                self.window.set_windowed()
            self.desk.resize(self.window.size)

    def _sleep_s(self) -> float:
        """How long nothing is due."""
        session = self.desk.session
        if not session.playing or self.desk.painter.laid_out < 1:
            return TICK_S
        return min(session.until_next_s, TICK_S)

    def _pass_time(self) -> None:
        now = time.monotonic()
        step_s, self._stepped_s = min(now - self._stepped_s, MOST_STEP_S), now
        session, painter = self.desk.session, self.desk.painter
        if self._hurry:  # the next frame as soon as the last one is there: for the benchmark
            if painter.is_up_to_date and painter.shown.picture is not None:
                session.step(1 / session.frames_per_s)
        elif painter.laid_out >= 1:
            session.advance(step_s)

    def _look_at_files(self) -> None:
        now = time.monotonic()
        if now - self._watched_s < LOOK_S:
            return
        self._watched_s = now
        if self._watch.scripts_saved():
            self.desk.scripts_saved()
        if self._read is not None and self._watch.scene_saved() and self.desk.scene_saved(self._read):
            self.window.title = f"{self.desk.plan.scene.title} – covecast"
            scene = self.desk.plan.scene
            self._watch.watch_instead(scripts_of(scene, self.desk.session.looks), photos_of(scene))

    def _ask(self) -> None:
        desk = self.desk
        wanted = picture_size(desk.panel.at.room[2:])
        if wanted != self._picture_size and time.monotonic() - self._resized_s >= SETTLE_S:
            self._picture_size = wanted
        ahead = 0 if self._hurry else desk.ahead
        desk.painter.ask(desk.session.request(self._picture_size, ahead))
        if desk.painter.laid_out >= 1 and not self.hands.dragged:
            desk.surveyor.ask(desk.session.look, desk.session.level, desk.session.ambient_lux)

    # What goes out ----------------------------------------------------------------------------------------------

    def _draw(self) -> None:
        desk = self.desk
        if desk.panel is not self._panel:
            self._panel = desk.panel
            self.canvas.forget()
        surface = self.window.get_surface()
        pictures = self.canvas.pictures
        if self.canvas.draw(surface, desk):
            began = time.perf_counter()
            self.window.flip()
            self.timing.flip_s.append(time.perf_counter() - began)
            del self.timing.flip_s[:-600]
        if self.canvas.pictures > pictures:
            self.timing.pictures_s.append(time.perf_counter())
            del self.timing.pictures_s[:-2000]
        idle = not desk.session.instruments and time.monotonic() - self.hands.moved_s > HIDE_POINTER_S
        if idle == self._pointer_shown:
            self._pointer_shown = not idle
            pygame.mouse.set_visible(not idle)

    def report(self) -> dict[str, float]:
        """Mean milliseconds by part, and pictures a second."""
        parts = {**self.desk.painter.spent_s, **self.canvas.parts_s, "flip": self.timing.flip_s}
        found = {f"{name}_ms": 1000 * float(np.mean(spent)) for name, spent in parts.items() if spent}
        shown = self.timing.pictures_s
        if len(shown) > 1:
            found["pictures_per_s"] = (len(shown) - 1) / (shown[-1] - shown[0])
        return found


@contextmanager
def _cautions(window: Window) -> Iterator[None]:
    """What an effect gives out of range is said in the window, once, and not printed frame by frame."""

    def keep(message: Warning | str, category: type[Warning], *rest: object, **more: object) -> None:
        if issubclass(category, LightCaution):
            window.desk.caution(str(message))

    with warnings.catch_warnings():
        warnings.simplefilter("always", LightCaution)
        warnings.showwarning = keep
        yield


def show(
    scene: Scene,
    asked_as: str,
    look: int = 0,
    size: tuple[int, int] = (1280, 720),
    frames: int | None = None,
    *,
    file: Path | None = None,
    read: Callable[[], Scene] | None = None,
    window: pygame.Window | None = None,
    interrupts: Interrupts | None = None,
) -> dict[str, float]:
    """Open the window on a scene and stay until it is closed. Returns where the time went.

    `asked_as` is what the user called the scene, for the message when there is no display (NoDisplay). With `file` and `read` the
    scene is read again whenever its file is saved. `window`: one that is open already, and `interrupts` what has
    listened for Ctrl-C since. Raises KeyboardInterrupt when that was pressed.
    """
    if window is None:
        open_display(asked_as)
    try:
        with contextlib.nullcontext(interrupts) if interrupts else Interrupts() as heard:
            pygame.key.set_repeat(350, 45)
            shown = Window(open_plan(scene), Session.of(scene, look), size, file, read, window, heard)
            with _cautions(shown):
                shown.run(frames)
            return shown.report()
    finally:
        pygame.quit()
