"""What the keys and the pointer ask for: events of the window turned into acts at the desk."""

from __future__ import annotations

import time

import pygame

from preview.window.desk import Desk
from preview.window.keys import act_of

__all__ = ["Hands"]

_DRAGGED = ("time", "level", "light")


class Hands:
    """Takes events, and says what they ask for."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.moved_s = time.monotonic()
        """When the pointer last moved."""
        self.dragged = ""
        """The control that is being dragged, or nothing."""
        self._hand = False

    def take(self, event: pygame.Event) -> None:
        """Do what an event of the keyboard or the pointer asks for."""
        if event.type == pygame.KEYDOWN:
            self._key(event.key, event.mod)
        elif event.type == pygame.MOUSEBUTTONDOWN and event.button == 1:
            self._press(event.pos)
        elif event.type == pygame.MOUSEBUTTONUP and event.button == 1:
            self.dragged = ""
        elif event.type == pygame.MOUSEMOTION:
            self._pointer(event.pos)
        elif event.type == pygame.MOUSEWHEEL:
            self._wheel(event.y)
        elif event.type == pygame.WINDOWLEAVE:
            self._hover(None)
        elif event.type == pygame.WINDOWFOCUSLOST:
            self.dragged = ""

    def _key(self, key: int, mod: int) -> None:
        if key in (pygame.K_RETURN, pygame.K_KP_ENTER):
            self.desk.key_act("enter")
            return
        act = act_of(key, mod)
        if act == "full":
            self.desk.session.full_screen = not self.desk.session.full_screen
        elif act is not None:
            self.desk.key_act(act)

    def _press(self, point: tuple[int, int]) -> None:
        desk = self.desk
        if desk.session.page and desk.panel.at.room.holds(point):
            desk.session.page = ""
            return
        name = desk.panel.target(point)
        if name is None:
            desk.focus = ""
            desk.session.pointed = desk.group_at(point)
        elif name in _DRAGGED:
            self.dragged = name
            desk.drag(name, point)
        else:
            desk.click_act(name)

    def _pointer(self, point: tuple[int, int]) -> None:
        self.moved_s = time.monotonic()
        if self.dragged:
            self.desk.drag(self.dragged, point)
            return
        hand = self.desk.panel.target(point) is not None
        if hand != self._hand:
            self._hand = hand
            pygame.mouse.set_cursor(pygame.SYSTEM_CURSOR_HAND if hand else pygame.SYSTEM_CURSOR_ARROW)
        self._hover(point)

    def _hover(self, point: tuple[int, int] | None) -> None:
        desk = self.desk
        group = None if point is None or desk.session.page else desk.group_at(point)
        if group != desk.hovered:
            desk.hovered = group

    def _wheel(self, way: int) -> None:
        desk = self.desk
        if desk.session.page:
            desk.scroll_page(-3 * way)
            return
        name = desk.panel.target(pygame.mouse.get_pos())
        if name in ("level", "light"):
            desk.act(f"level {3 * way:+d}" if name == "level" else f"light {'up' if way > 0 else 'down'}")
        elif name == "time":
            desk.act(f"frame {way:+d}")
