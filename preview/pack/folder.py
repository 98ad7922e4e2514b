"""The pack's folder: what may be overwritten, and its manifest.

The manifest, `pack.json`, names every file with its digest. So a pack that is as it was written is known for one, and replaced by the
next; a folder that holds anything else, a filled-in list of readings perhaps, is left alone, or set aside whole when that is asked for.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from preview.handover.making import digest_of
from preview.scene.faults import CovecastError

__all__ = [
    "MANIFEST",
    "PackError",
    "aside",
    "check_target",
    "foreign_in",
    "manifest_of",
]

MANIFEST = "pack.json"
"""What the manifest is called."""

_KIND = "covecast pack"


class PackError(CovecastError):
    """What was asked for cannot be packed, or not there."""


def files_in(folder: Path) -> list[str]:
    """Every file of a folder, as its path from there with slashes."""
    return sorted(
        path.relative_to(folder).as_posix() for path in folder.rglob("*") if not path.is_dir() or path.is_symlink()
    )


def manifest_of(folder: Path, about: Mapping[str, Any]) -> str:
    """The manifest of a folder's files, as JSON text; `about` is what else it says."""
    files = [
        {"file": name, "bytes": (folder / name).stat().st_size, "sha256": digest_of(folder / name)}
        for name in files_in(folder)
        if name != MANIFEST
    ]
    data = {"format": 1, "kind": _KIND, **about, "files": files}
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def foreign_in(folder: Path) -> list[str]:
    """What is in a folder and not of a pack as it was written: files it does not name, and files changed since. [] of an empty folder."""
    names = files_in(folder)
    if not names:
        return []
    try:
        held = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
        if held["kind"] != _KIND:
            raise ValueError
        told = {str(entry["file"]): str(entry["sha256"]) for entry in held["files"]}
    except (OSError, ValueError, KeyError, TypeError):
        return [f"{name}, and no {MANIFEST} of ours" for name in names[:1]]
    found = [f"{name}, which is not the pack's" for name in names if name not in told and name != MANIFEST]
    return found + [
        f"{name}, changed since" for name in names if name in told and digest_of(folder / name) != told[name]
    ]


def check_target(target: Path, force: bool) -> bool:
    """Whether what is at `target` is to be set aside first. Raises PackError where it may not be replaced."""
    whole = target.resolve()
    if whole.exists() and not whole.is_dir():
        raise PackError(f"{target}: expected a folder, found a file")
    here = Path.cwd()
    if whole == here or whole in here.parents or whole == Path.home():
        raise PackError(f"{target}: expected a folder of the pack's own, found one that you work in")
    if not whole.is_dir():
        return False
    foreign = foreign_in(whole)
    if not foreign:
        return False
    if not force:
        more = f" and {len(foreign) - 1} more" if len(foreign) > 1 else ""
        raise PackError(
            f"{target}: expected a new folder, or a pack as it was written, found {foreign[0]}{more}. "
            f"--force packs there all the same, and keeps what is there as {aside(whole).name}"
        )
    return True


def aside(target: Path) -> Path:
    """A name beside `target` that nothing has yet."""
    number = 1
    while True:
        name = f"{target.name}.before" + (f"-{number}" if number > 1 else "")
        if not target.with_name(name).exists():
            return target.with_name(name)
        number += 1
