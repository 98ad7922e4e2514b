"""The window's surface: the room's picture and what is laid over it, above the ledge; only what has changed is drawn again."""

from __future__ import annotations

import time

import cv2
import numpy as np
import pygame

from preview.window.desk import Desk
from preview.window.figures import Moment, group_reading
from preview.window.opening import draw_opening
from preview.window.overlay import draw_beside, draw_group, draw_marks, draw_renewal, draw_trouble
from preview.window.pages import draw_page
from preview.window.painter import Pixels

__all__ = ["Canvas"]

HOLD_S = 0.12
"""Readings change no oftener than this while the look plays, so that they can be read."""


class Canvas:
    """Draws a desk on a window's surface."""

    def __init__(self) -> None:
        self.pictures = 0
        """How many pictures of the room have been shown."""
        self.parts_s: dict[str, list[float]] = {"room": [], "ledge": []}
        """Seconds that the last drawings took, by part."""
        self._pixels: Pixels | None = None
        self._surfaces: dict[int, pygame.Surface] = {}
        self._scaled: Pixels | None = None
        self._room_key: object = None
        self._held_s = 0.0
        self._number = self._painted = (0, -1)

    def forget(self) -> None:
        """What was drawn is gone."""
        self._room_key = None

    def draw(self, surface: pygame.Surface, desk: Desk) -> bool:
        """Bring the surface up to date; whether anything was drawn."""
        began = time.perf_counter()
        number = (id(desk.painter), desk.painter.shown.number)
        if number != self._number and not desk.is_early(desk.painter.shown.moment):
            shown = desk.painter.take()
            self._number = number
            self._painted = number[0], shown.painted
            if shown.picture is not None:
                self._pixels = shown.picture
                self.pictures += 1
            self._hold(desk, shown.moment)
        drawn = self._room(surface, desk)
        middle = time.perf_counter()
        drawn |= desk.panel.draw(surface, desk.reading())
        self._note("room", middle - began)
        self._note("ledge", time.perf_counter() - middle)
        return drawn

    def _note(self, part: str, seconds: float) -> None:
        self.parts_s[part].append(seconds)
        del self.parts_s[part][:-600]

    def _hold(self, desk: Desk, moment: Moment | None) -> None:
        now = time.monotonic()
        if moment is not None and (not desk.session.playing or now - self._held_s >= HOLD_S):
            desk.moment, self._held_s = moment, now

    def _room(self, surface: pygame.Surface, desk: Desk) -> bool:
        """The room and everything over it, if anything of it has changed."""
        session, painter = desk.session, desk.painter
        page = session.page, desk.scroll, session.page and (id(desk.survey), id(desk.flashes))
        figures = id(desk.moment) if session.marks or desk.pointed is not None else 0
        over = session.marks, session.drop, desk.pointed, desk.trouble, painter.laid_out, figures
        key = (self._painted, page, over, desk.panel.at.room, id(desk.panel))
        if key == self._room_key:
            return False
        self._room_key = key
        at, letters, scene = desk.panel.at.room, desk.letters, desk.plan.scene
        if self._pixels is None:
            draw_opening(surface, at, scene, desk.camera(), letters, painter.laid_out)
        else:
            self._picture(surface, desk, self._pixels)
        surface.set_clip(pygame.Rect(at))
        if self._pixels is not None:
            self._over(surface, desk)
        if desk.trouble and session.page != "trouble":
            draw_trouble(surface, at, letters, desk.trouble)
        if session.page:
            desk.beyond = draw_page(surface, desk)
        surface.set_clip(None)
        return True

    def _over(self, surface: pygame.Surface, desk: Desk) -> None:
        at, letters = desk.panel.at.room, desk.letters
        if desk.session.drop == "both":
            draw_beside(surface, at, letters)
        if desk.painter.laid_out < 1:
            draw_renewal(surface, at, letters, desk.painter.laid_out)
            return
        moment, group = desk.moment, desk.pointed
        if moment is None:
            return
        places = desk.group_places()
        if desk.session.marks:
            draw_marks(surface, at, desk.plan, places, letters, moment)
        if group is not None:
            point = float(places[group, 0]), float(places[group, 1])
            draw_group(surface, at, point, letters, group_reading(desk.plan, moment, group))

    def _picture(self, surface: pygame.Surface, desk: Desk, pixels: Pixels) -> None:
        room = desk.panel.at.room
        h, w = pixels.shape[:2]
        if (w, h) == room[2:]:
            surface.blit(self._surface_of(pixels), room[:2])
            return
        # A picture of another size: scaled to fill the room, its middle in the middle, until the right one comes.
        scale = max(room.w / w, room.h / h)
        cut_w, cut_h = max(1, min(w, round(room.w / scale))), max(1, min(h, round(room.h / scale)))
        x, y = (w - cut_w) // 2, (h - cut_h) // 2
        if self._scaled is None or self._scaled.shape != (room.h, room.w, 3):
            self._scaled = np.empty((room.h, room.w, 3), np.uint8)
        part = np.ascontiguousarray(pixels[y : y + cut_h, x : x + cut_w])
        cv2.resize(part, room[2:], dst=self._scaled, interpolation=cv2.INTER_LINEAR)
        surface.blit(pygame.image.frombuffer(self._scaled.data, room[2:], "RGB"), room[:2])

    def _surface_of(self, pixels: Pixels) -> pygame.Surface:
        """The surface that looks at these pixels: the painter uses few buffers, again and again."""
        found = self._surfaces.get(id(pixels))
        if found is None or found.get_size() != pixels.shape[1::-1]:
            if len(self._surfaces) > 8:
                self._surfaces.clear()
            found = pygame.image.frombuffer(pixels.data, (pixels.shape[1], pixels.shape[0]), "RGB")
            self._surfaces[id(pixels)] = found
        return found
