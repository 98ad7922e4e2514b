"""The window: the event loop that ties session, painter, surveyor and ledge together."""

from __future__ import annotations

import time
import warnings
from collections.abc import Iterator
from contextlib import contextmanager

import cv2
import numpy as np
import pygame
from numpy.typing import NDArray

from preview.light.camera import Camera, camera_of
from preview.looks.drives import LightCaution
from preview.power.cap import Cap
from preview.scene.model import Scene
from preview.window.acts import do, focused_act, set_place
from preview.window.display import open_display
from preview.window.figures import Moment, Plan, open_plan
from preview.window.framing import framed_viewer, picture_size
from preview.window.keys import act_of
from preview.window.ledge import SMALLEST, Rect, arrange
from preview.window.lettering import Lettering
from preview.window.model import Session
from preview.window.overlay import draw_marks, draw_opening, draw_page, draw_trouble
from preview.window.painter import Painter
from preview.window.panel import STOPS, Panel, Reading
from preview.window.survey import Survey, Surveyor

__all__ = ["Timing", "Window", "show"]

FRAMES_PER_S = 60
HOLD_S = 0.12  # readings change no oftener than this, so that they can be read
SETTLE_S = 0.25  # a window that is being resized gets its new picture when it has stood still this long
HIDE_POINTER_S = 2.0


class Timing:
    """Where the time of a frame goes, for the benchmark: seconds by part, and when pictures came."""

    def __init__(self) -> None:
        self.parts: dict[str, list[float]] = {"ledge": [], "flip": []}
        self.pictures_s: list[float] = []

    def report(self, painter: Painter) -> dict[str, float]:
        """Mean milliseconds by part, and pictures a second."""
        parts = {**painter.spent_s, **self.parts}
        found = {f"{name}_ms": 1000 * float(np.mean(spent)) for name, spent in parts.items() if spent}
        if len(self.pictures_s) > 1:
            found["pictures_per_s"] = (len(self.pictures_s) - 1) / (self.pictures_s[-1] - self.pictures_s[0])
        return found


class Window:
    """One window on one scene. `run` returns when it is closed."""

    def __init__(self, plan: Plan, session: Session, size: tuple[int, int]) -> None:
        self.plan = plan
        self.session = session
        self.painter = Painter(plan, session.looks)
        self.surveyor = Surveyor(plan, session.looks)
        self.timing = Timing()
        self.letters = Lettering()
        self.window = pygame.Window(f"{plan.scene.title} – covecast", size, resizable=True)
        self.window.minimum_size = SMALLEST
        self.size = size
        self.panel = self._panel()
        self.focus = ""
        self.first_supply = 0
        self.scroll = 0
        self.closing = False
        self.caution = ""
        self._beyond = 0
        self._dragged = ""
        self._moved_s = self._resized_s = self._held_s = 0.0
        self._held: Moment | None = None
        self._picture_size = picture_size(self.panel.at.room[2:])
        self._shown_number = -1
        self._surface: pygame.Surface | None = None
        self._pixels: NDArray[np.uint8] | None = None
        self._dirty = True

    @property
    def cap(self) -> Cap | None:
        """The cap of the look that is shown, once it is known."""
        return self.surveyor.caps.get(self.session.look)

    @property
    def survey(self) -> Survey | None:
        """The survey of the look that is shown, whatever its level."""
        return self.surveyor.surveys.get(self.session.look)

    def run(self, frames: int | None = None) -> None:
        """Show the window until it is closed, or until so many pictures have been shown."""
        clock = pygame.time.Clock()
        self.painter.start()
        self.surveyor.start()
        seen = (-1, -1, -1.0)
        try:
            while not self.closing:
                step_s = min(clock.tick(FRAMES_PER_S) / 1000, 0.1)
                for event in pygame.event.get():
                    self._event(event)
                if self.painter.laid_out >= 1:
                    self.session.advance(step_s)
                self._ask()
                now = (self.painter.shown.number, self.surveyor.changes, self.painter.laid_out)
                if self._dirty or now != seen or self.session.playing:
                    seen = now
                    self._dirty = False
                    self._draw()
                if frames is not None and len(self.timing.pictures_s) >= frames:
                    self.closing = True
        finally:
            self.painter.stop()
            self.surveyor.stop()
            self.window.destroy()

    # What is wanted -------------------------------------------------------------------------------------------

    def _panel(self) -> Panel:
        at = arrange(self.size, len(self.plan.supply_names), self.session.instruments)
        return Panel(self.plan, self.letters, at)

    def _ask(self) -> None:
        wanted = picture_size(self.panel.at.room[2:])
        if wanted != self._picture_size and time.monotonic() - self._resized_s >= SETTLE_S:
            self._picture_size = wanted
        self.painter.ask(self.session.request(self._picture_size))
        if self.painter.laid_out >= 1 and not self._dragged:
            self.surveyor.ask(self.session.look, self.session.level)

    # Events ---------------------------------------------------------------------------------------------------

    def _event(self, event: pygame.Event) -> None:
        if event.type in (pygame.QUIT, pygame.WINDOWCLOSE):
            self.closing = True
        elif event.type in (pygame.WINDOWSIZECHANGED, pygame.WINDOWRESIZED):
            self._resize((event.x, event.y))
        elif event.type in (pygame.WINDOWEXPOSED, pygame.WINDOWSHOWN, pygame.WINDOWFOCUSGAINED):
            self._dirty = True
        elif event.type == pygame.KEYDOWN:
            self._key(event.key, event.mod)
        elif event.type == pygame.MOUSEBUTTONDOWN and event.button == 1:
            self._press(event.pos)
        elif event.type == pygame.MOUSEBUTTONUP and event.button == 1:
            self._dragged = ""
        elif event.type == pygame.MOUSEMOTION:
            self._pointer(event.pos)
        elif event.type == pygame.MOUSEWHEEL:
            self._wheel(event.y)

    def _resize(self, size: tuple[int, int]) -> None:
        if size != self.size:
            self.size = size
            self._resized_s = time.monotonic()
            self._rearrange()

    def _rearrange(self) -> None:
        self.panel = self._panel()
        self._dirty = True

    def _key(self, key: int, mod: int) -> None:
        self._dirty = True
        if key in (pygame.K_RETURN, pygame.K_KP_ENTER):
            self._enter()
            return
        act = act_of(key, mod)
        if act is None:
            return
        if self.session.page and act in ("level +13", "level -13"):
            self.scroll = min(max(self.scroll + (3 if act == "level -13" else -3), 0), self._beyond)
            return
        self.act(focused_act(self.focus, act))

    def _enter(self) -> None:
        if self.focus in ("breaks", "assumed", "keys"):
            self.act(f"page {self.focus}")
        elif self.focus in ("play", "drop", "marks"):
            self.act(self.focus)

    def act(self, act: str) -> None:
        """Carry out an act by its name, whether a key or a click asked for it."""
        self._dirty = True
        self._held_s = 0.0
        page = self.session.page
        if do(self.session, act, self.cap, self.survey):
            if self.session.page != page:
                self.scroll = 0
            return
        what, _, how = act.partition(" ")
        if what == "quit":
            self.closing = True
        elif what == "back":
            self._back()
        elif what == "full":
            self._full(not self.session.full_screen)
        elif what == "instruments":
            self.session.instruments = not self.session.instruments
            self._resized_s = 0.0
            self._rearrange()
        elif what == "supplies":
            shown = self.panel.supplies_from(self.first_supply)
            self.first_supply = (self.first_supply + len(shown)) % len(self.plan.supply_names)
        elif what == "focus":
            self._next_focus(int(how))

    def _back(self) -> None:
        if self.session.page:
            self.session.page = ""
        elif self.focus:
            self.focus = ""
        elif self.session.full_screen:
            self._full(False)
        elif not self.session.instruments:
            self.act("instruments")
        else:
            self.closing = True

    def _full(self, full: bool) -> None:
        self.session.full_screen = full
        if full:
            self.window.set_fullscreen(desktop=True)
        else:
            self.window.set_windowed()
        self._resize(self.window.size)

    def _next_focus(self, way: int) -> None:
        there = {name for name, _ in self.panel.targets} | {"looks"}
        stops = ["", *(stop for stop in STOPS if stop in there)] if self.session.instruments else [""]
        here = stops.index(self.focus) if self.focus in stops else 0
        self.focus = stops[(here + way) % len(stops)]

    def _press(self, point: tuple[int, int]) -> None:
        self._dirty = True
        if self.session.page and self.panel.at.room.holds(point):
            self.session.page = ""
            return
        name = self.panel.target(point)
        if name is None:
            self.focus = ""
            return
        if name in ("time", "level", "light"):
            self._dragged = name
            self._drag(point)
        elif name in ("keys", "assumed", "breaks"):
            self.act(f"page {name}")
        elif name == "cap":
            self.act("level cap")
        elif name.startswith("reading"):
            self.act("marks")
        else:
            self.act(name)

    def _drag(self, point: tuple[int, int]) -> None:
        at = self.panel.at
        rect = {"time": at.timeline, "level": at.level.track, "light": at.light.track}[self._dragged]
        set_place(self.session, self._dragged, (point[0] - rect.x) / max(rect.w, 1))
        self._held_s = 0.0

    def _pointer(self, point: tuple[int, int]) -> None:
        self._moved_s = time.monotonic()
        if self._dragged:
            self._dirty = True
            self._drag(point)
            return
        hand = self.panel.target(point) is not None
        pygame.mouse.set_cursor(pygame.SYSTEM_CURSOR_HAND if hand else pygame.SYSTEM_CURSOR_ARROW)

    def _wheel(self, way: int) -> None:
        self._dirty = True
        if self.session.page:
            self.scroll = min(max(self.scroll - 3 * way, 0), self._beyond)
            return
        name = self.panel.target(pygame.mouse.get_pos())
        if name in ("level", "light"):
            self.act(f"level {3 * way:+d}" if name == "level" else f"light {'up' if way > 0 else 'down'}")
        elif name == "time":
            self.act(f"frame {way:+d}")

    # Drawing --------------------------------------------------------------------------------------------------

    def _draw(self) -> None:
        began = time.perf_counter()
        surface = self.window.get_surface()
        shown = self.painter.shown
        room = self.panel.at.room
        if shown.number != self._shown_number:
            self._shown_number = shown.number
            self._take(shown.picture)
        if self._surface is None:
            draw_opening(surface, room, self.plan.scene, self._camera(room[2:]), self.letters, self.painter.laid_out)
        else:
            self._room(surface, room)
        self._hold(shown.moment)
        session = self.session
        if session.marks and self._held is not None and self._surface is not None:
            draw_marks(surface, room, self.plan, self._camera(room[2:]), self.letters, self._held)
        trouble = shown.trouble or (self.survey.trouble if self.survey else "") or self.caution
        if trouble:
            draw_trouble(surface, room, self.letters, trouble)
        self.panel.draw(surface, self._reading())
        if session.page:
            breaks = self.survey.breaks if self.survey and self.survey.level == session.level else None
            texts = None if breaks is None else [str(found) for found in breaks]
            self._beyond = draw_page(surface, room, self.letters, session.page, self.plan.scene, texts, self.scroll)
        idle = not session.instruments and time.monotonic() - self._moved_s > HIDE_POINTER_S
        pygame.mouse.set_visible(not idle)
        drawn = time.perf_counter()
        self.window.flip()
        self.timing.parts["ledge"].append(drawn - began)
        self.timing.parts["flip"].append(time.perf_counter() - drawn)

    def _take(self, picture: NDArray[np.uint8] | None) -> None:
        if picture is None:
            return
        self._pixels = picture
        self._surface = pygame.image.frombuffer(picture.data, (picture.shape[1], picture.shape[0]), "RGB")
        self.timing.pictures_s.append(time.perf_counter())

    def _room(self, surface: pygame.Surface, room: Rect) -> None:
        assert self._surface is not None
        assert self._pixels is not None
        w, h = self._surface.get_size()
        if (w, h) == room[2:]:
            surface.blit(self._surface, room[:2])
            return
        # A picture of another size: scaled to fill the room, its middle in the middle, until the right one comes.
        scale = max(room.w / w, room.h / h)
        cut_w, cut_h = min(w, round(room.w / scale)), min(h, round(room.h / scale))
        x, y = (w - cut_w) // 2, (h - cut_h) // 2
        part = self._pixels[y : y + cut_h, x : x + cut_w]
        scaled = cv2.resize(part, room[2:], interpolation=cv2.INTER_LINEAR)
        surface.blit(pygame.image.frombuffer(np.ascontiguousarray(scaled).data, room[2:], "RGB"), room[:2])

    def _hold(self, moment: Moment | None) -> None:
        now = time.monotonic()
        if moment is not None and (not self.session.playing or now - self._held_s >= HOLD_S):
            self._held, self._held_s = moment, now

    def _reading(self) -> Reading:
        return Reading(
            session=self.session,
            moment=self._held,
            survey=self.survey,
            cap=self.cap,
            cap_known=self.session.look in self.surveyor.caps,
            focus=self.focus,
            first_supply=self.first_supply,
        )

    def _camera(self, size: tuple[int, int]) -> Camera:
        return camera_of(framed_viewer(self.plan.scene.viewer, size), size)


@contextmanager
def _cautions(window: Window) -> Iterator[None]:
    """What an effect gives out of range is said in the window, once, and not printed frame by frame."""

    def keep(message: Warning | str, category: type[Warning], *rest: object, **more: object) -> None:
        if issubclass(category, LightCaution):
            window.caution = str(message)

    with warnings.catch_warnings():
        warnings.simplefilter("always", LightCaution)
        warnings.showwarning = keep
        yield


def show(
    scene: Scene, asked_as: str, look: int = 0, size: tuple[int, int] = (1280, 720), frames: int | None = None
) -> dict[str, float]:
    """Open the window on a scene and stay until it is closed. Returns where the time went.

    `asked_as` is what the user called the scene, for the message when there is no display (NoDisplay).
    """
    open_display(asked_as)
    try:
        pygame.key.set_repeat(350, 45)
        window = Window(open_plan(scene), Session.of(scene, look), size)
        with _cautions(window):
            window.run(frames)
        return window.timing.report(window.painter)
    finally:
        pygame.quit()
