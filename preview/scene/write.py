"""Writing a scene file and changing one: comments and order stay, and nothing is ever half-written.

A file is written under another name in the same folder and moved into place. What would not read back as a scene is
refused before anything is written.
"""

from __future__ import annotations

import contextlib
import difflib
import os
import tempfile
from collections.abc import Callable, Collection
from pathlib import Path

import tomlkit

from preview.scene.faults import CovecastError
from preview.scene.read import read_text, scene_from_text

__all__ = ["edit_scene", "new_scene"]


def new_scene(path: Path, text: str, *, force: bool = False, effects: Collection[str] | None = None) -> None:
    """Write the text of a scene to a file that is not there yet, or that `force` allows to be replaced.

    Raises `CovecastError` where the file is there, where its folder cannot be written, or where the text is no scene.
    """
    if path.is_dir():
        raise CovecastError(f"{path}: expected the name of a scene file to write, found a folder")
    if path.exists() and not force:
        raise CovecastError(f"{path}: expected a new file, found one that is there already; --force replaces it")
    scene_from_text(text, path, effects)
    _put(path, text)


def edit_scene(
    path: Path,
    change: Callable[[tomlkit.TOMLDocument], None],
    *,
    dry_run: bool = False,
    effects: Collection[str] | None = None,
) -> str:
    """Change a scene file and return what changed as a unified diff, "" where nothing did.

    `change` alters the document in place. `dry_run` returns the diff and writes nothing. Raises `SceneFaults` where the
    scene has faults before or after the change; the file is then as it was.
    """
    before = read_text(path)
    scene_from_text(before, path, effects)
    document = tomlkit.parse(before)
    change(document)
    after = document.as_string()
    scene_from_text(after, path, effects)
    if after != before and not dry_run:
        _put(path, after)
    lines = difflib.unified_diff(
        before.splitlines(keepends=True), after.splitlines(keepends=True), str(path), f"{path}, changed"
    )
    return "".join(line if line.endswith("\n") else f"{line}\n" for line in lines)


def _put(path: Path, text: str) -> None:
    """Write under a temporary name beside the file, then move into place. A link keeps pointing at what it points at."""
    target = path.resolve()
    temporary: str | None = None
    try:
        handle, temporary = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent)
        with os.fdopen(handle, "wb") as file:
            file.write(text.encode())
            file.flush()
            os.fsync(file.fileno())
        os.chmod(temporary, target.stat().st_mode & 0o777 if target.exists() else 0o666 & ~_mask())
        os.replace(temporary, target)
        temporary = None
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise CovecastError(f"{path}: expected a folder that can be written to, found: {reason}") from error
    finally:
        if temporary is not None:
            with contextlib.suppress(OSError):
                os.unlink(temporary)


def _mask() -> int:
    """The permissions that new files of this process do not get."""
    mask = os.umask(0)
    os.umask(mask)
    return mask
