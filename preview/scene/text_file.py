"""The text of a file that a person wrote: read whole, of bounded size, in UTF-8, or an error that says what was found instead."""

from __future__ import annotations

import stat
from pathlib import Path

from preview.scene.faults import CovecastError, meant

__all__ = ["text_of"]


def text_of(path: Path, kind: str, most_bytes: int, *, text: str = "text", pipes: bool = True, inside: str = "") -> str:
    """The text of a file, its line ends as they are and without a byte order mark.

    `kind` is what is expected, such as "a scene file", of `text` in UTF-8; `pipes`: whether it may be one, or a device; `inside` names
    a file that may have been meant where a folder was found. Raises CovecastError.
    """

    def wrong(found: str, expected: str = kind) -> CovecastError:
        return CovecastError(f"{path}: expected {expected}, found {found}")

    try:
        mode = path.stat().st_mode
        if stat.S_ISDIR(mode):
            raise wrong(f"a folder{meant(str(path / inside) if inside and (path / inside).is_file() else None)}")
        if not (pipes or stat.S_ISREG(mode)):
            raise wrong("a device or a pipe")
        with path.open("rb") as file:
            data = file.read(most_bytes + 1)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise wrong(reason[:1].lower() + reason[1:]) from error
    if len(data) > most_bytes:
        raise wrong("a larger one", f"{kind} of at most {most_bytes // 1_000_000} MB")
    if not data.strip():
        raise wrong("an empty file")
    if b"\0" in data:
        raise wrong("a binary file", f"{kind} ({text} in UTF-8)")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        found = f"a byte 0x{data[error.start]:02x} on line {line} that is not UTF-8"
        raise wrong(found, f"{kind} ({text} in UTF-8)") from error
