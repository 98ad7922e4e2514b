"""Reading a scene file: text to a complete, checked plan, or every fault of it in one message.

Reading runs no code from the file, opens no file outside the scene's own folder and never reaches the network.
"""

from __future__ import annotations

import dataclasses
import re
import tomllib
from collections.abc import Callable, Collection, Iterable, Mapping
from importlib import resources
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from preview.scene import lines
from preview.scene.faults import CovecastError, Fault, SceneFaults, meant, nearest
from preview.scene.fill import fill
from preview.scene.model import Look, Scene
from preview.scene.possible import possible_faults
from preview.scene.references import reference_faults
from preview.scene.tables import build_tables, shape_faults
from preview.scene.text_file import text_of
from preview.scene.wording import dotted

__all__ = ["MOST_BYTES", "CheckLook", "demo_names", "find_scene", "read_scene", "read_text", "scene_from_text"]

CheckLook = Callable[[Look, str], Iterable[Fault]]
"""What is wrong with a look that goes by a key such as `look[2]`."""

MOST_BYTES = 4_000_000
"""The largest scene file that is read: 5000 groups take a few thousand."""


def demo_names() -> tuple[str, ...]:
    """Names of the scenes that ship with the package."""
    folder = Path(str(resources.files("scenes")))
    return tuple(sorted(path.parent.name for path in folder.glob("*/scene.toml")))


def find_scene(text: str) -> Path:
    """The scene file that `text` means: a path, else the name of a demo scene.

    Raises `CovecastError` where it is neither.
    """
    path = Path(text)
    if text and "\0" not in text and len(text) < 4096 and path.exists():
        return path
    names = demo_names()
    if text in names:
        return Path(str(resources.files("scenes"))) / text / "scene.toml"
    near = nearest(text, names) or (_beside(path) if "\0" not in text else None)
    demos = f" ({', '.join(names)})" if names else ""
    raise CovecastError(
        f"{text!r}: expected a scene file or the name of a demo scene{demos}, found neither{meant(near)}"
    )


def _beside(path: Path) -> str | None:
    """The file in the same folder that is spelt most like the one asked for."""
    try:
        found = nearest(path.name, [other.name for other in path.parent.iterdir() if other.suffix == ".toml"])
    except OSError:
        return None
    return str(path.parent / found) if found else None


def read_scene(path: Path, effects: Collection[str] | None = None, check_look: CheckLook | None = None) -> Scene:
    """The complete plan in a scene file.

    `effects` are the known effect names, and `check_look` finds what is wrong with the dials of a look that goes by a key
    in the file: scenes know nothing of effects, so their caller brings both. None leaves that unchecked.

    Raises `CovecastError` where the file cannot be read as text, and `SceneFaults` with every fault of its text.
    """
    return scene_from_text(read_text(path), path, effects, check_look)


def read_text(path: Path) -> str:
    """The text of a scene file, its line ends as they are. Raises `CovecastError` that says what was found instead."""
    return text_of(path, "a scene file", MOST_BYTES, text="TOML text", pipes=False, inside="scene.toml")


def scene_from_text(
    text: str, path: Path, effects: Collection[str] | None = None, check_look: CheckLook | None = None
) -> Scene:
    """The complete plan in the text of a scene file that is, or will be, at `path`. Raises `SceneFaults`."""
    raw = _parsed(text, path)
    filled, assumed = fill(raw)
    found = shape_faults(filled)
    built = build_tables(filled, found)
    misnamed = reference_faults(raw, effects)
    dials = _dial_faults(built, check_look) if check_look else {}
    impossible = possible_faults(raw, built, misnamed, path.parent)
    everything = _without_echoes({**dials, **impossible, **misnamed, **found})
    if everything:
        places = lines.lines_of(text)
        faults = [
            dataclasses.replace(fault, line=lines.line_of(places, key) if _in_file(key, raw) else None)
            for key, fault in everything.items()
        ]
        raise SceneFaults(str(path), sorted(faults, key=lambda fault: fault.line or 0))
    return Scene.model_validate({**filled, "assumed": assumed, "folder": str(path.parent)})


def _dial_faults(built: Mapping[lines.Path, BaseModel], check_look: CheckLook) -> dict[lines.Path, Fault]:
    """What a checker of looks finds, by its place."""
    faults: dict[lines.Path, Fault] = {}
    for path, look in built.items():
        if isinstance(look, Look) and path[0] == "look":
            for fault in check_look(look, dotted(path)):
                keys = fault.key.removeprefix(f"{dotted(path)}.").split(".", 1)
                faults[(*path, *keys)] = dataclasses.replace(fault, named=look.name)
    return faults


def _without_echoes(faults: dict[lines.Path, Fault]) -> dict[lines.Path, Fault]:
    """Without the keys that are missing because they were misspelt: the misspelling is the fault."""
    misspelt = {(*path[:-1], fault.nearest) for path, fault in faults.items() if fault.found == "an unknown key"}
    absent = ("nothing", "none of them")
    return {path: fault for path, fault in faults.items() if not (path in misspelt and fault.found in absent)}


def _in_file(key: lines.Path, raw: dict[str, Any]) -> bool:
    return key[0] in raw


def _parsed(text: str, path: Path) -> dict[str, Any]:
    """The tables of a TOML text."""
    try:
        return tomllib.loads(text)
    except RecursionError as error:
        raise CovecastError(f"{path}: expected a scene file, found lists nested too deep to be one") from error
    except ValueError as error:
        raise SceneFaults(str(path), [_toml_fault(str(error), text)]) from error


_PLACE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
_TWICE = ("Cannot overwrite", "Cannot declare", "Duplicate", "Cannot mutate", "Cannot redefine")


def _toml_fault(message: str, text: str) -> Fault:
    """The parser's complaint, with the line it is about."""
    rows = text.split("\n")
    place = _PLACE.search(message)
    line = int(place[1]) if place and place[1] else len(text.rstrip().split("\n")) if place else None
    reason = message[: place.start()] if place else message
    row = rows[line - 1].strip() if line and line <= len(rows) else ""
    key = row.partition("=")[0].strip() if "=" in row else row.strip("[] ") if row.startswith("[") else ""
    if not key or len(key) > 60 or not key.isprintable():
        key = "TOML"
    row = "".join(c if c.isprintable() else " " for c in row[:60]) + ("…" if len(row) > 60 else "")
    if reason.startswith(_TWICE):
        return Fault(key, "each key and each table once", f"{row} a second time", line=line)
    if "digits" in reason:  # from the conversion of a number, not from the parser: it has no line
        return Fault(key, "valid TOML", "a whole number with thousands of digits")
    return Fault(key, "valid TOML", f"{row or 'the end of the file'} ({reason[:1].lower() + reason[1:]})", line=line)
