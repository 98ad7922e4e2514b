"""Which effect scripts there are, and a look made ready to run: its effect found and its dials checked.

Scripts are code. Only three places are ever run: the scripts that ship, the user's own folder, and files named on the
command line (`add_script`). A scene can name an effect, never a file.
"""

from __future__ import annotations

import functools
import importlib.util
import math
import re
import traceback
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

import platformdirs

import effects
from effects import Effect
from effects.kit import Dial
from preview.scene.faults import CovecastError, Fault, SceneFaults, nearest, unknown
from preview.scene.model import Look, Scene

__all__ = [
    "PROGRAMME",
    "EffectError",
    "Ready",
    "add_script",
    "client_looks",
    "effect_names",
    "find_effect",
    "load_script",
    "look_faults",
    "looks_of",
    "own_folder",
    "programme_look",
    "ready_look",
    "script_stamp",
    "where_raised",
]

SEED = Dial("seed", "", 0, 2**31 - 1, 0, "another number gives another pattern of the same kind")
"""The one dial that every effect has."""


PROGRAMME = "programme"
"""What the looks of a scene in sequence go by: a look of this name that plays them all."""


class EffectError(CovecastError):
    """An effect script that cannot be used: the message starts with its file and line."""


_named: dict[str, Path] = {}


def own_folder() -> Path:
    """The user's own folder of effect scripts. It need not exist."""
    return platformdirs.user_data_path("covecast", appauthor=False) / "effects"


def add_script(path: Path) -> Effect:
    """Load a script that was named on the command line; looks may name it, by its file name, from now on."""
    effect = load_script(path)
    _named[path.stem] = path
    return effect


def _own() -> dict[str, Path]:
    folder = own_folder()
    found = sorted(folder.glob("*.py")) if folder.is_dir() else []
    return {path.stem: path for path in found if not path.stem.startswith(("_", "test_"))}


def effect_names() -> tuple[str, ...]:
    """Every effect that a look may name: those that ship first, then the user's own, then those of the command line."""
    return tuple(dict.fromkeys((*effects.names(), *_own(), *_named)))


def find_effect(name: str) -> Effect:
    """The effect of that name: first a file named on the command line, then one that ships, then the user's own."""
    if name in _named:
        return load_script(_named[name])
    if name in effects.names():
        return effects.load(name)
    own = _own()
    if name in own:
        return load_script(own[name])
    raise EffectError(f"effect: {unknown(name, effect_names())}")


def script_stamp(name: str) -> int:
    """A number that changes when the script of an effect is saved; 0 for one that ships, or is not there."""
    path = _named.get(name) or (None if name in effects.names() else _own().get(name))
    try:
        return path.stat().st_mtime_ns if path else 0
    except OSError:
        return 0


def where_raised(error: BaseException, file: str) -> int | None:
    """Line of `file` that an exception came through last, or None."""
    if isinstance(error, SyntaxError) and error.filename == file:
        return error.lineno
    lines = [frame.lineno for frame in traceback.extract_tb(error.__traceback__) if frame.filename == file]
    return lines[-1] if lines else None


def load_script(path: Path) -> Effect:
    """Run a script and check what it holds. EffectError names the file, and the line where there is one."""
    try:
        stamp = path.stat().st_mtime_ns
    except OSError as error:
        raise EffectError(f"{path}: cannot be read: {error.strerror}") from error
    return _load_script(path, stamp)


@functools.lru_cache(maxsize=64)
def _load_script(path: Path, stamp: int) -> Effect:
    name, file = path.stem, str(path)
    if not re.fullmatch(r"[a-z][a-z0-9_]*", name) or path.suffix != ".py":
        raise EffectError(f"{file}: expected a file name of small letters, digits and _ ending in .py")
    try:
        source = path.read_text(encoding="utf-8")
        code = compile(source, file, "exec")
    except OSError as error:
        raise EffectError(f"{file}: cannot be read: {error.strerror}") from error
    except UnicodeDecodeError as error:
        raise EffectError(f"{file}: expected UTF-8 text, found byte {error.object[error.start]:#04x}") from error
    except (SyntaxError, ValueError) as error:
        line = where_raised(error, file)
        raise EffectError(f"{file}:{line or 1}: not Python: {error.args[0]}") from error
    spec = importlib.util.spec_from_loader(f"own_effect_{name}", loader=None, origin=file)
    assert spec is not None
    module = importlib.util.module_from_spec(spec)
    module.__file__ = file
    try:
        exec(code, vars(module))
    except Exception as error:  # whatever a user's script may raise is the script's fault, not ours
        line = where_raised(error, file)
        raise EffectError(f"{file}:{line or 1}: {type(error).__name__}: {error}") from error
    wrong = _lacks(vars(module), module.__doc__)
    if wrong:
        raise EffectError("\n".join([f"{file}: not an effect yet:", *(f"  {fault}" for fault in wrong)]))
    return effects.from_module(module, name)


def _lacks(held: Mapping[str, object], says: str | None) -> list[Fault]:
    """What keeps a script from being an effect."""
    wrong = []
    if not (says or "").strip():
        wrong.append(Fault("docstring", "a sentence at the top that says what one sees", "none"))
    if held.get("MOOD") not in effects.MOODS:
        wrong.append(Fault("MOOD", f"one of {', '.join(effects.MOODS)}", repr(held.get("MOOD"))))
    if not callable(held.get("light")):
        wrong.append(Fault("light", "a function light(place, time_s, dials, seed)", "none"))
    if not callable(held.get("period_s", len)):
        wrong.append(Fault("period_s", "a function period_s(dials)", repr(held["period_s"])))
    dials = held.get("DIALS")
    if not isinstance(dials, tuple | list) or not all(isinstance(dial, Dial) for dial in dials):
        return [*wrong, Fault("DIALS", "a tuple of kit.Dial, () for none", "none" if dials is None else repr(dials))]
    seen: set[str] = set()
    for dial in dials:
        if dial.name in seen or dial.name == SEED.name:
            wrong.append(
                Fault(f"DIALS {dial.name}", "a name used once, and not seed, which every effect has", dial.name)
            )
        seen.add(dial.name)
        if not dial.low <= dial.default <= dial.high:
            wrong.append(Fault(f"DIALS {dial.name}", f"a default within {dial.range_text}", f"{dial.default:g}"))
    return wrong


@dataclass(frozen=True)
class Ready:
    """A look that can run: its effect, every dial set, its seed."""

    look: Look
    effect: Effect
    dials: Mapping[str, float]
    seed: int

    @property
    def period_s(self) -> float | None:
        """Seconds after which it repeats; 0.0 if it stands still, None if it never repeats."""
        return self.effect.period_s(self.dials)


def _checked(look: Look, key: str) -> tuple[Ready | None, list[Fault]]:
    """The look made ready, or what is wrong with it. A script that does not load raises."""
    if look.effect not in effect_names():
        near = nearest(look.effect, effect_names())
        return None, [Fault(f"{key}.effect", f"one of {', '.join(effect_names())}", repr(look.effect), nearest=near)]
    effect = find_effect(look.effect)
    known = {dial.name: dial for dial in (*effect.dials, SEED)}
    values: dict[str, float] = {dial.name: dial.default for dial in known.values()}
    wrong = []
    for name, value in look.dials.items():
        if name not in known:
            expected = f"a dial of {effect.name} ({', '.join(known)})"
            wrong.append(Fault(f"{key}.dials.{name}", expected, name, nearest=_nearest_dial(name, known)))
            continue
        dial = known[name]
        whole = dial is SEED
        expected = f"a {'whole ' if whole else ''}number, {dial.range_text}"
        if isinstance(value, bool) or not isinstance(value, int | float):
            wrong.append(Fault(f"{key}.dials.{name}", expected, _as_toml(value)))
        elif not math.isfinite(value) or not dial.low <= value <= dial.high or (whole and value != int(value)):
            wrong.append(Fault(f"{key}.dials.{name}", expected, f"{value:g}"))
        else:
            values[name] = float(value)
    if wrong:
        return None, wrong
    seed = int(values.pop(SEED.name))
    return Ready(look=look, effect=effect, dials=MappingProxyType(values), seed=seed), []


def _nearest_dial(name: str, known: Mapping[str, Dial]) -> str | None:
    """The dial that was meant: one that only lacks its unit, else the one spelt most like it."""
    longer = [dial for dial in known if dial.startswith(f"{name}_")]
    return longer[0] if longer else nearest(name, known)


def _as_toml(value: object) -> str:
    return str(value).lower() if isinstance(value, bool) else repr(value)


def look_faults(look: Look, key: str) -> list[Fault]:
    """Everything wrong with one look: unknown effect and dials, wrong types, values out of range.

    It goes by `key` in its file (`look[2]`).
    """
    return _checked(look, key)[1]


def programme_look(scene: Scene) -> Look | None:
    """The programme of a scene as one look, as long as its steps together; None where the scene has no programme."""
    if not scene.programme:
        return None
    own = {look.name: look.seconds for look in scene.look}
    seconds = sum(own[step.look] if step.seconds is None else step.seconds for step in scene.programme)
    # A look may last an hour and a programme an evening: the length is not checked again.
    return Look.model_construct(name=PROGRAMME, effect=PROGRAMME, seconds=seconds, level=1.0, dials={})


def looks_of(scene: Scene) -> tuple[Look, ...]:
    """Everything of a scene that can play: its looks, and its programme as one more look where it has one."""
    programme = programme_look(scene)
    return scene.look if programme is None else (*scene.look, programme)


def client_looks(scene: Scene) -> tuple[Look, ...]:
    """Those of `looks_of` that a client is shown: proofs are for the meter. All of them where there is nothing else."""
    looks = looks_of(scene)
    return tuple(look for look in looks if ready_look(scene, look).effect.mood != "proof") or looks


def ready_look(scene: Scene, look: Look) -> Ready:
    """A look with its effect found and every dial set. SceneFaults lists everything that is wrong with it."""
    if look.effect == PROGRAMME and scene.programme:
        from preview.looks.programme import ready_programme  # which makes its own looks ready here

        return ready_programme(scene)
    places = [i for i, other in enumerate(scene.look) if other is look or other == look]
    ready, wrong = _checked(look, f"look[{places[0]}]" if places else f"look {look.name!r}")
    if ready is None:
        raise SceneFaults(scene.title, wrong)
    return ready
