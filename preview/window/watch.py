"""Whether the scene file or a script has been saved since it was read, found out by looking now and then.

A file is only read again when it has stood still for one look, so that a file that is just being written is left alone.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from preview.looks.library import script_stamp
from preview.scene.model import Look, Scene

__all__ = ["LOOK_S", "Watch", "photos_of", "scripts_of"]

LOOK_S = 0.25
"""Seconds between two looks."""

GONE = 8
"""A file that is missing for so many looks is gone; for fewer, an editor is putting a new one in its place."""

Stamp = tuple[int, int] | None
Stamps = tuple[Stamp, ...]


def scripts_of(scene: Scene, looks: Iterable[Look]) -> tuple[str, ...]:
    """Effects that the looks are made by, those of a programme among them."""
    return tuple(dict.fromkeys(look.effect for look in (*scene.look, *looks)))


def photos_of(scene: Scene) -> tuple[Path, ...]:
    """The photo that a scene is drawn on, if it has one."""
    return () if scene.photo is None else (Path(scene.folder) / scene.photo.file,)


class Watch:
    """Looks at one scene file, or none, with the photos that belong to it, and at the scripts of some effects."""

    def __init__(self, file: Path | None, scripts: tuple[str, ...], photos: tuple[Path, ...] = ()) -> None:
        self.file = file
        self.photos = photos
        self.scripts = scripts
        self._scene = self._seen = self._scene_stamps()
        self._script_stamps = self._scripts_seen = self._stamps()
        self._missing = 0

    def watch_instead(self, scripts: tuple[str, ...], photos: tuple[Path, ...] = ()) -> None:
        """From now on these scripts and photos: the scene has changed."""
        self.photos = photos
        self._scene = self._seen = self._scene_stamps()
        self.scripts = scripts
        self._script_stamps = self._scripts_seen = self._stamps()

    def scene_saved(self) -> bool:
        """Whether the scene file has been saved, or has gone for good, since the last time that this was true."""
        if self.file is None:
            return False
        now, before = self._scene_stamps(), self._seen
        self._seen = now
        self._missing = self._missing + 1 if now is None else 0
        settled = now == before if now is not None else self._missing == GONE
        if not settled or now == self._scene:
            return False
        self._scene = now
        return True

    def scripts_saved(self) -> bool:
        """Whether a script has been saved, or has come or gone, since the last time that this was true."""
        now, before = self._stamps(), self._scripts_seen
        self._scripts_seen = now
        if now != before or now == self._script_stamps:
            return False
        self._script_stamps = now
        return True

    def _scene_stamps(self) -> Stamps | None:
        """Stamps of the scene file and its photos; None where the scene file is missing."""
        scene = _stamp(self.file)
        return None if scene is None else (scene, *(_stamp(photo) for photo in self.photos))

    def _stamps(self) -> tuple[int, ...]:
        return tuple(script_stamp(name) for name in self.scripts)


def _stamp(file: Path | None) -> Stamp:
    try:
        found = file.stat() if file else None
    except OSError:
        return None
    return (found.st_mtime_ns, found.st_size) if found else None
