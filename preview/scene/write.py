"""Writing a scene file and changing one: comments and order stay, and nothing is ever half-written.

A file is written under another name in the same folder and moved into place. What would not read back as a scene is
refused before anything is written.
"""

from __future__ import annotations

import contextlib
import difflib
import os
import re
import tempfile
from collections.abc import Callable, Collection
from pathlib import Path

import tomlkit

from preview.scene.faults import CovecastError
from preview.scene.read import read_text, scene_from_text

__all__ = ["comments_beside_changes", "edit_scene", "new_scene"]


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


_STRING = re.compile(r'"(?:[^"\\]|\\.)*"|' + r"'[^']*'")


def _comment(line: str) -> str:
    """The comment of a line, "" where it has none. Leaves out: texts that go over several lines."""
    return _STRING.sub("", line).partition("#")[2].strip()


def comments_beside_changes(before: str, after: str) -> list[tuple[int, str]]:
    """Lines of a changed scene file, from 1, whose comments were written for what has changed beside or under them.

    Those are a changed value's own comment, and that of its table's header or right above it.

    >>> old = "[[feed]]    # the far end\\nat_m = 3\\nfuse_a = 5  # a 5 A blade\\nrun = 'a'  # '#1'\\n"
    >>> comments_beside_changes(old, old.replace("= 5", "= 3"))
    [(1, '[[feed]]    # the far end'), (3, 'fuse_a = 3  # a 5 A blade')]
    """
    old, new = before.splitlines(), after.splitlines()
    known = {_comment(line) for line in old} - {""}
    kept: set[int] = set()
    found: set[int] = set()
    for kind, _, _, first, last in difflib.SequenceMatcher(None, old, new, autojunk=False).get_opcodes():
        kept |= set(range(first, last)) if kind == "equal" else set()
    for row in sorted(set(range(len(new))) - kept):
        if not new[row].strip():
            continue
        found.add(row)
        header = next((above for above in range(row, -1, -1) if new[above].lstrip().startswith("[")), None)
        while header is not None and header >= 0 and header in kept:
            found.add(header)
            header -= 1
            if not new[header].lstrip().startswith("#"):
                break
    return [(row + 1, new[row]) for row in sorted(found) if _comment(new[row]) in known]


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
