"""Reading a scene file: text to a complete, checked plan, or every fault of it in one message."""

from __future__ import annotations

import tomllib
from collections.abc import Collection
from importlib import resources
from pathlib import Path

from pydantic import ValidationError

from preview.scene.faults import CovecastError, Fault, SceneFaults, nearest
from preview.scene.fill import fill
from preview.scene.model import Scene

__all__ = ["demo_names", "find_scene", "read_scene"]


def demo_names() -> tuple[str, ...]:
    """Names of the scenes that ship with the package."""
    folder = Path(str(resources.files("scenes")))
    return tuple(sorted(path.parent.name for path in folder.glob("*/scene.toml")))


def find_scene(text: str) -> Path:
    """The scene file that `text` means: a path, else the name of a demo scene. Raises `CovecastError` where neither is."""
    path = Path(text)
    if path.exists():
        return path
    names = demo_names()
    if text in names:
        return Path(str(resources.files("scenes"))) / text / "scene.toml"
    near = nearest(text, names)
    hint = f" Did you mean {near}?" if near else ""
    demos = f" (the demo scenes are {', '.join(names)})" if names else ""
    raise CovecastError(f"{text}: expected a scene file or the name of a demo scene, found neither{demos}.{hint}")


def read_scene(path: Path, effects: Collection[str] | None = None) -> Scene:
    """The complete plan in a scene file. `effects` are the known effect names; None leaves a look's effect unchecked.

    Raises `SceneFaults` with every fault of the file.
    """
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise CovecastError(f"{path}: expected a scene file, found {error.strerror}") from error
    except ValueError as error:
        raise CovecastError(f"{path}: expected TOML, found {error}") from error
    filled, assumed = fill(raw)
    try:
        return Scene.model_validate({**filled, "assumed": assumed})
    except ValidationError as error:
        faults = [Fault(".".join(str(p) for p in e["loc"]), e["msg"], repr(e["input"])[:60]) for e in error.errors()]
        raise SceneFaults(str(path), faults) from error
