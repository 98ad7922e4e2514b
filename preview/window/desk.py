"""Where what is asked of the window is done: the session, the threads that work for it, the panel and what has the keys.

It knows nothing of events and draws nothing. A key and a click that mean the same thing end in the same `act`.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from preview.light.camera import Camera
from preview.light.drawing import camera_of_scene
from preview.light.framing import framed
from preview.looks.flashing import Flashes
from preview.looks.library import PROGRAMME
from preview.power.cap import Cap
from preview.scene.faults import CovecastError
from preview.scene.layout import Floats
from preview.scene.model import Scene
from preview.window.acts import do, focused_act, set_place
from preview.window.figures import Moment, Plan, open_plan
from preview.window.ledge import arrange, unit_for
from preview.window.lettering import Lettering
from preview.window.model import Session
from preview.window.overlay import NOWHERE
from preview.window.painter import Painter
from preview.window.panel import STOPS, Panel
from preview.window.reading import Reading
from preview.window.survey import Survey
from preview.window.surveyor import Surveyor

__all__ = ["Desk"]

REACH = 14
"""Pixels of a plain screen within which the pointer is at a group."""


class Desk:
    """One scene being looked at. `tell` is called, on any thread, when there is something new to show."""

    def __init__(self, plan: Plan, session: Session, size: tuple[int, int], tell: Callable[[], None]) -> None:
        self.plan = plan
        self.session = session
        self.size = size
        self.larger = 0
        self.focus = ""
        self.first_supply = 0
        self.scroll = 0
        self.beyond = 0
        """How far the page that is open can be scrolled."""
        self.hovered: int | None = None
        self.closing = False
        self.cautions: dict[str, str] = {}
        """What scripts gave out of range, in words, by the name of the look."""
        self.scene_fault = ""
        """What is wrong with the scene file as it was last saved, in words."""
        self.moment: Moment | None = None
        """The moment whose figures are shown: held for a while, so that they can be read."""
        self._tell = tell
        self._places: tuple[tuple[int, int], Floats] | None = None
        self._camera: tuple[tuple[int, int], Camera | None] | None = None
        self._threads()
        self.letters = Lettering()
        self.arrange()

    def _threads(self) -> None:
        self.surveyor = Surveyor(self.plan, self.session.looks, self._tell)
        self.painter = Painter(self.plan, self.session.looks, self.surveyor.recall, self._tell)

    def start(self) -> None:
        """Let the threads begin."""
        self.painter.start()
        self.surveyor.start()

    def stop(self) -> None:
        """End the threads: both are told before either is waited for."""
        self.painter.stop(wait=False)
        self.surveyor.stop(wait=False)
        self.painter.stop()
        self.surveyor.stop()

    def check(self) -> None:
        """Raise what has ended one of the threads, if anything has."""
        failure = self.painter.failure or self.surveyor.failure
        if failure is not None:
            raise failure

    # What is known ----------------------------------------------------------------------------------------------

    @property
    def cap(self) -> Cap | None:
        """The cap of the look that is shown, once it is known."""
        return self.surveyor.caps.get(self.session.look)

    @property
    def survey(self) -> Survey | None:
        """The survey of the look that is shown, whatever its level."""
        return self.surveyor.surveys.get(self.session.look)

    @property
    def flashes(self) -> Flashes | None:
        """Flashes of the look that is shown, once they are counted for its level and the light in the room."""
        found = self.surveyor.glimpses.get(self.session.look)
        now = self.session.level, self.session.ambient_lux
        return found.flashes if found is not None and (found.level, found.ambient_lux) == now else None

    @property
    def trouble(self) -> str:
        """What is wrong, in words, or nothing: with the scene file, with a script, with what a script gives."""
        found = self.scene_fault or self.painter.shown.trouble
        if not found and self.survey is not None:
            found = self.survey.trouble
        if found:
            return found
        names = {self.session.playing_look.name, *(name for _, name in self._steps())}
        return next((says for name, says in self.cautions.items() if name in names), "")

    def _steps(self) -> tuple[tuple[float, str], ...]:
        return self.plan.steps if self.session.playing_look.effect == PROGRAMME else ()

    def caution(self, says: str) -> None:
        """Keep what a script gave out of range: the first such words of each look. Called on any thread."""
        for look in self.session.looks:
            if f"in look {look.name!r}" in says:
                self.cautions.setdefault(look.name, says)

    @property
    def ahead(self) -> int:
        """How many frames ahead a picture is asked for: one while the look plays, so that it is there when it is due."""
        return 1 if self.session.playing and self.painter.laid_out >= 1 else 0

    def is_early(self, moment: Moment | None) -> bool:
        """Whether a moment is the next one of what is being played, and not yet due."""
        if moment is None or not self.ahead or self.session.frames < 3:
            return False
        request = moment.request
        return request == self.session.request(request.size, 1)

    @property
    def pointed(self) -> int | None:
        """The group whose readings are shown: under the pointer, else the one chosen by keys."""
        return self.hovered if self.hovered is not None else self.session.pointed

    def reading(self) -> Reading:
        """Everything that the panel shows now."""
        return Reading(
            plan=self.plan,
            session=self.session,
            moment=self.moment,
            survey=self.survey,
            cap=self.cap,
            cap_any=self.surveyor.cap_any,
            cap_known=self.session.look in self.surveyor.caps,
            flashes=self.flashes,
            focus=self.focus,
            first_supply=self.first_supply,
        )

    def camera(self) -> Camera | None:
        """The eye that the room is seen from in the window; None where a photo does not tell it."""
        size = self.panel.at.room[2:]
        if self._camera is None or self._camera[0] != size:
            try:
                found = camera_of_scene(framed(self.plan.scene, size), size)
            except CovecastError:  # a photo that is gone: the picture says so
                found = None
            self._camera = (size, found)
        return self._camera[1]

    def group_places(self) -> Floats:
        """Where every group is in the window (G, 2), in pixels; `NOWHERE` where it is behind the eye, or that is not known."""
        room = self.panel.at.room
        if self._places is None or self._places[0] != room[2:]:
            places = np.full((self.plan.layout.groups, 2), NOWHERE)
            camera = self.camera()
            if camera is not None:
                x, y, depth = camera.project(self.plan.layout.centre_m)
                places = np.where((depth > 0)[:, None], np.stack([x + room.x, y + room.y], axis=1), places)
            self._places = (room[2:], places)
        return self._places[1]

    def group_at(self, point: tuple[int, int]) -> int | None:
        """The group nearest to a point of the room, if one is near."""
        if not self.panel.at.room.holds(point) or self.painter.shown.picture is None:
            return None
        away = np.hypot(*(self.group_places() - np.array(point)).T)
        nearest = int(away.argmin())
        return nearest if away[nearest] <= self.letters.px(REACH) else None

    # What is asked ----------------------------------------------------------------------------------------------

    def arrange(self) -> None:
        """Lay everything out anew, for the window's size."""
        unit = unit_for(self.size, self.larger)
        if self.letters.unit != unit:
            self.letters = Lettering(unit)
        at = arrange(self.size, len(self.plan.supply_names), self.session.instruments, unit)
        self.panel = Panel(self.plan, self.letters, at)
        self._places = self._camera = None
        self.hovered = None

    def resize(self, size: tuple[int, int]) -> bool:
        """The window has another size; whether it really has."""
        if size == self.size:
            return False
        self.size = size
        self.arrange()
        return True

    def scripts_saved(self) -> None:
        """A script has been saved: everything that comes from it is worked out anew."""
        self.plan.forget()
        self.surveyor.forget()
        self.session.edition += 1
        self.cautions = {}

    def scene_saved(self, read: Callable[[], Scene]) -> bool:
        """The scene has been saved: read it and go on with it, or say what is wrong and go on with the last one."""
        try:
            plan = open_plan(read())
        except CovecastError as error:
            self.scene_fault = str(error)
            return False
        self.scene_fault, self.cautions = "", {}
        self.painter.stop(wait=False)
        self.surveyor.stop(wait=False)
        self.plan, self.session = plan, self.session.carried_to(plan.scene)
        self._threads()
        # The old picture stays until there is a new one; its figures may be of groups that are gone.
        self.moment, self.first_supply = None, 0
        self.arrange()
        self.start()
        return True

    def key_act(self, act: str) -> None:
        """Do what a key means, given what has the keys."""
        if self.session.page and act in ("level +13", "level -13"):
            self.scroll_page(3 if act == "level -13" else -3)
        elif act == "enter":
            if self.focus in ("breaks", "flashes", "assumed", "keys"):
                self.act(f"page {self.focus}")
            elif self.focus in ("play", "drop", "marks"):
                self.act(self.focus)
        else:
            self.act(focused_act(self.focus, act))

    def click_act(self, name: str) -> None:
        """Do what a click on a control means."""
        if name in ("keys", "assumed", "breaks", "flashes"):
            self.act(f"page {name}")
        elif name == "cap":
            self.act("level cap")
        else:
            self.act(name)

    def act(self, act: str) -> None:
        """Carry out an act by its name. `full` is about the window and is left to the caller."""
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
        elif what == "instruments":
            self.session.instruments = not self.session.instruments
            self.arrange()
        elif what == "letters":
            self.larger = min(max(self.larger + int(how), 0), 8)
            self.arrange()
        elif what == "supplies":
            shown = self.panel.supplies_from(self.first_supply)
            self.first_supply = (self.first_supply + len(shown)) % len(self.plan.supply_names)
        elif what == "focus":
            self._next_focus(int(how))
        elif what == "point":
            self._point(how)

    def drag(self, control: str, point: tuple[int, int]) -> None:
        """Set a control by the pointer."""
        at = self.panel.at
        rect = {"time": at.timeline, "level": at.level.track, "light": at.light.track}[control]
        set_place(self.session, control, (point[0] - rect.x) / max(rect.w, 1))

    def scroll_page(self, lines: int) -> None:
        """Move the page that is open."""
        self.scroll = min(max(self.scroll + lines, 0), self.beyond)

    def _back(self) -> None:
        session = self.session
        if session.page:
            session.page = ""
        elif session.pointed is not None:
            session.pointed = None
        elif self.focus:
            self.focus = ""
        elif session.full_screen:
            session.full_screen = False
        elif not session.instruments:
            self.act("instruments")
        else:
            self.closing = True

    def _point(self, how: str) -> None:
        """The next group along the runs, or the first of the next run."""
        layout, session = self.plan.layout, self.session
        if how.startswith("run"):
            run = int(layout.run_of[session.pointed]) if session.pointed is not None else -1
            session.pointed = int(layout.first[(run + int(how.split()[1])) % len(layout.run_names)])
        else:
            start = self.moment.shift.group if self.moment else 0
            session.point(int(how), layout.groups, start)

    def _next_focus(self, way: int) -> None:
        there = {name for name, _ in self.panel.targets} | {"looks"}
        stops = ["", *(stop for stop in STOPS if stop in there)] if self.session.instruments else [""]
        here = stops.index(self.focus) if self.focus in stops else 0
        self.focus = stops[(here + way) % len(stops)]
