"""Opening a window, or saying plainly that there is no display to open one on."""

from __future__ import annotations

import os
import sys

import numpy as np
import pygame

from preview.scene.faults import CovecastError
from preview.window.lettering import Lettering
from preview.window.palette import FAINT, GROUND

__all__ = ["NoDisplay", "first_window", "icon", "open_display"]

_NO_SCREEN = ("dummy", "offscreen", "evdev")


class NoDisplay(CovecastError):
    """There is no screen to open a window on."""

    def __init__(self, scene: str, why: str) -> None:
        super().__init__(
            f"there is no display to open a window on ({why}).\n"
            "These write files instead:\n"
            f"  covecast clip {scene} OUT.gif       a look, moving\n"
            "  covecast demo --to FOLDER       the whole job on the demo scene"
        )


def icon() -> pygame.Surface:
    """The window's sign: light that comes up from behind a lip, on a dark wall."""
    side = 64
    y, x = np.mgrid[0:side, 0:side] / (side - 1)
    lip = 0.72
    glow = np.exp(-(((lip - y) / 0.3) ** 1.0) * (y < lip)) * np.exp(-(((x - 0.5) / 0.42) ** 4))
    wall = np.array(GROUND, float) + glow[..., None] * (np.array([255.0, 206.0, 140.0]) - GROUND)
    wall[y >= lip] = (58, 50, 43)
    wall[(y >= lip) & (y < lip + 0.05)] = (255, 238, 210)
    inside = (np.abs(x - 0.5) < 0.47) & (np.abs(y - 0.5) < 0.47)
    pixels = np.dstack([wall, np.where(inside, 255, 0)]).clip(0, 255).astype(np.uint8)
    return pygame.image.frombuffer(pixels.tobytes(), (side, side), "RGBA")


def first_window(title: str, size: tuple[int, int]) -> pygame.Window:
    """The window as it first appears, with the scene's title on its ground, before anything that takes time has begun."""
    window = pygame.Window(f"{title} – covecast", size, resizable=True)
    window.set_icon(icon())
    surface = window.get_surface()
    surface.fill(GROUND)
    letters = Lettering()
    text = letters.fit(title, size[0] - 48, 22)
    letters.draw(surface, text, size[0] // 2, size[1] // 2, 22, FAINT, "middle")
    window.flip()
    pygame.event.pump()
    return window


def open_display(scene: str) -> None:
    """Start the screen. `scene` is what the user called the scene, for the message. Raises NoDisplay."""
    asked = os.environ.get("SDL_VIDEODRIVER", "")
    if sys.platform.startswith("linux") and not asked and not _has("DISPLAY") and not _has("WAYLAND_DISPLAY"):
        raise NoDisplay(scene, "neither DISPLAY nor WAYLAND_DISPLAY is set")
    try:
        pygame.display.init()
    except pygame.error as error:
        raise NoDisplay(scene, str(error)) from error
    driver = pygame.display.get_driver()
    if driver in _NO_SCREEN and driver != asked:
        pygame.display.quit()
        raise NoDisplay(scene, f"only the {driver} driver is there")


def _has(name: str) -> bool:
    return bool(os.environ.get(name))
