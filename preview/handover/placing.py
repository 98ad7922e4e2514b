"""Files that are there whole or not at all: written out of sight, then moved into place.

On Linux a file has no name while it is written, so nothing is left behind even when the process is killed outright. Where
the file system cannot do that it has a temporary name beside its target, which goes away with any error, an interrupt or a
termination signal. A folder always has such a name: a small process waits beside the one that fills it, and clears it
away if that is killed.

Leaves out: power cuts (nothing is forced to the disk).
"""

from __future__ import annotations

import contextlib
import errno
import glob
import os
import re
import shutil
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from types import FrameType

from preview.scene.faults import CovecastError

__all__ = ["PlacingError", "check_place", "ending_cleanly", "heed", "placing_file", "placing_folder"]

_OLD = "-old"
_asked_to_end = threading.Event()


class PlacingError(CovecastError):
    """The target cannot be written."""


@contextlib.contextmanager
def ending_cleanly() -> Iterator[None]:
    """Within it, a termination signal ends the work as Ctrl-C does, so that everything begun is cleared away.

    Python drops an interrupt that comes while it tidies up (after an import, say), so it is kept as well, for `heed`.
    """

    def end(number: int, frame: FrameType | None) -> None:
        _asked_to_end.set()
        raise KeyboardInterrupt

    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = {signal.SIGTERM: signal.signal(signal.SIGTERM, end)}
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:  # who starts a program deaf to it keeps that
        before[signal.SIGINT] = signal.signal(signal.SIGINT, end)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
        _asked_to_end.clear()


def heed() -> None:
    """Raise the KeyboardInterrupt that was dropped, if one was: long work within `ending_cleanly` calls it now and then."""
    if _asked_to_end.is_set():
        raise KeyboardInterrupt


def check_place(target: Path) -> None:
    """Raise PlacingError where a target could not be written, before the work that would fill it."""
    _checked_folder(target)
    if target.is_dir() and not os.access(target, os.W_OK | os.X_OK):
        raise PlacingError(f"{target}: expected a folder that can be written to, found it read-only")


def _checked_folder(target: Path) -> Path:
    folder = target.parent
    if not folder.is_dir():
        found = "a file" if folder.exists() else "nothing there"
        raise PlacingError(f"{target}: expected an existing folder {folder}, found {found}")
    if not os.access(folder, os.W_OK | os.X_OK):
        raise PlacingError(f"{target}: expected a folder that can be written to, found {folder} read-only")
    return folder


def _refused(target: Path, error: OSError) -> PlacingError:
    return PlacingError(f"{target}: cannot be written: {error.strerror or error}")


def _part_name(target: Path) -> Path:
    return target.with_name(f".{target.name}.part-{os.getpid()}")


@contextlib.contextmanager
def placing_file(target: Path) -> Iterator[Path]:
    """A path to write a file at; it becomes `target` when the block ends well, and vanishes when it does not.

    Raises PlacingError where the folder is missing or read-only, where the target is a folder, and where the disk refuses.
    """
    folder = _checked_folder(target)
    if target.is_dir():
        raise PlacingError(f"{target}: expected a file name, found a folder")
    unnamed = _unnamed_file(folder, target)
    if unnamed is None:
        part = _part_name(target)
        try:
            yield part
            os.replace(part, target)
        except OSError as error:
            raise _refused(target, error) from error
        finally:
            part.unlink(missing_ok=True)
        return
    try:
        yield Path(f"/proc/{os.getpid()}/fd/{unnamed}")
        _name(unnamed, target)
    except OSError as error:
        raise _refused(target, error) from error
    finally:
        os.close(unnamed)


def _unnamed_file(folder: Path, target: Path) -> int | None:
    """A descriptor of a new file without a name in a folder; None where the system has no such thing."""
    if not hasattr(os, "O_TMPFILE") or not Path("/proc/self/fd").is_dir():
        return None
    try:
        return os.open(folder, os.O_TMPFILE | os.O_RDWR, 0o666)
    except OSError as error:
        if error.errno in (errno.EOPNOTSUPP, errno.EISDIR, errno.EINVAL, errno.ENOENT):
            return None
        raise _refused(target, error) from error


def _name(unnamed: int, target: Path) -> None:
    """Give an unnamed file its name, over one that may be there."""
    folder = os.open(target.parent, os.O_RDONLY)  # with it Python calls linkat(), which follows the link in /proc
    part = _part_name(target)
    try:
        os.link(f"/proc/self/fd/{unnamed}", part.name, dst_dir_fd=folder, follow_symlinks=True)
        os.replace(part, target)
    finally:
        os.close(folder)
        part.unlink(missing_ok=True)


@contextlib.contextmanager
def placing_folder(target: Path, ours: str) -> Iterator[Path]:
    """A folder to fill; it becomes `target` when the block ends well, and vanishes when it does not.

    A target that is there already is replaced if it is empty or holds only files whose names match `ours`, a regular expression.
    """
    _checked_folder(target)
    held: list[str] = []
    if target.is_dir():
        held = sorted(entry.name for entry in target.iterdir() if not re.fullmatch(ours, entry.name))
    elif target.exists():
        raise PlacingError(f"{target}: expected a folder, found a file")
    if held:
        raise PlacingError(f"{target}: expected a new folder, or one with frames alone, found {held[0]} in it")
    _clear_left_behind(target)
    part = _part_name(target)
    try:
        part.mkdir()
        with _cleared_if_killed(part):
            yield part
            old = target.with_name(part.name + _OLD)
            if target.is_dir():
                os.replace(target, old)
            try:
                os.replace(part, target)
            except BaseException:
                if old.is_dir():
                    os.replace(old, target)
                raise
            shutil.rmtree(old, ignore_errors=True)
    except OSError as error:
        raise _refused(target, error) from error
    finally:
        shutil.rmtree(part, ignore_errors=True)


_CLEARER = "import shutil, sys; sys.stdin.read() or shutil.rmtree(sys.argv[1], ignore_errors=True)"


@contextlib.contextmanager
def _cleared_if_killed(part: Path) -> Iterator[None]:
    """A process that clears `part` away if this one ends without a word: its end of a pipe is closed by the system, whatever happens."""
    clearer = subprocess.Popen(
        [sys.executable, "-I", "-S", "-c", _CLEARER, str(part.absolute())],
        stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True,
    )  # fmt: skip
    try:
        yield
    finally:
        clearer.communicate(b"done")


def _clear_left_behind(target: Path) -> None:
    """Remove parts of this target whose process is no more; what it had put aside and not replaced yet is put back."""
    for part in target.parent.glob(f".{glob.escape(target.name)}.part-*"):
        number = part.name.removesuffix(_OLD).rpartition("-")[2]
        if number.isdigit() and not _runs(int(number)):
            if part.name.endswith(_OLD) and not target.exists():
                os.replace(part, target)
            shutil.rmtree(part, ignore_errors=True)


def _runs(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True
