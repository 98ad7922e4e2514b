"""Worked-out light kept on disk between two openings of the same room.

One file an entry, named by a hash of everything the entry depends on, the text of the modules that work it out included. A file is
written under a temporary name and moved into place, so two programs may work at once; a file that cannot be read whole is deleted and
worked out again; the oldest go when all together pass `MOST_BYTES`, and what a killed program left half-written goes after an hour.
Where the folder cannot be written nothing is kept, and nothing else changes.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import tempfile
import time
import zipfile
import zlib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import platformdirs
from numpy.typing import NDArray

__all__ = ["MOST_BYTES", "folder", "key_of", "load", "save"]

MOST_BYTES = 600_000_000
"""What all entries may take together."""

_LEFT_BEHIND_S = 3600.0
"""Nobody takes longer than this to write an entry."""

_FORMAT = b"covecast light 2"
_MADE_BY = (
    "atlas",
    "cache",
    "edges",
    "emission",
    "fill",
    "illuminance",
    "lightmaps",
    "refine",
    "room",
    "shadow",
    "spacing",
    "transport",
)

Array = NDArray[Any]


def folder() -> Path:
    """The folder of the entries: `light` in the user's cache folder for covecast."""
    return platformdirs.user_cache_path("covecast", appauthor=False) / "light"


def key_of(arrays: Iterable[Array | float | int | str]) -> str:
    """A name for what depends on these values and on nothing else but this package's own text."""
    digest = hashlib.sha256(_FORMAT)
    for module in _MADE_BY:
        digest.update(Path(__file__).with_name(f"{module}.py").read_bytes())
    for value in arrays:
        array = np.asarray(value)
        digest.update(f"{array.dtype.str}{array.shape}".encode())
        digest.update(np.ascontiguousarray(array).tobytes())
    return digest.hexdigest()[:40]


def load(key: str) -> dict[str, Array] | None:
    """The arrays kept under that name, or None. A damaged file is deleted."""
    path = folder() / f"{key}.npz"
    try:
        with path.open("rb") as file, np.load(file, allow_pickle=False) as kept:
            arrays = {name: kept[name] for name in kept.files}
    except FileNotFoundError:
        return None
    except (OSError, ValueError, EOFError, KeyError, zipfile.BadZipFile, zlib.error, NotImplementedError, MemoryError):
        with contextlib.suppress(OSError):
            path.unlink(missing_ok=True)
        return None
    with contextlib.suppress(OSError):  # the time of last use decides which entries go first
        os.utime(path)
    return arrays


def save(key: str, arrays: Mapping[str, Array]) -> None:
    """Keep arrays under that name, if the folder lets us."""
    target = folder() / f"{key}.npz"
    temporary: str | None = None
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(prefix=".", suffix=".part", dir=target.parent)
        with os.fdopen(handle, "wb") as file:
            np.savez(file, allow_pickle=False, **arrays)
        os.replace(temporary, target)
        temporary = None
        _forget_oldest(target.parent)
    except OSError:
        return  # no room or no right to write: the light is worked out again next time
    finally:
        if temporary is not None:
            with contextlib.suppress(OSError):
                os.unlink(temporary)


def _forget_oldest(place: Path) -> None:
    for path in place.glob(".*.part"):
        with contextlib.suppress(OSError):
            if path.stat().st_mtime < time.time() - _LEFT_BEHIND_S:
                path.unlink(missing_ok=True)
    found: list[tuple[float, int, Path]] = []
    for path in place.glob("*.npz"):
        with contextlib.suppress(OSError):
            state = path.stat()
            found.append((state.st_mtime, state.st_size, path))
    total = sum(size for _, size, _ in found)
    for _, size, path in sorted(found)[:-1]:
        if total <= MOST_BYTES:
            return
        with contextlib.suppress(OSError):
            path.unlink(missing_ok=True)
        total -= size
