"""Opening a window, or saying plainly that there is no display to open one on."""

from __future__ import annotations

import os
import sys

import pygame

from preview.scene.faults import CovecastError

__all__ = ["NoDisplay", "open_display"]

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
