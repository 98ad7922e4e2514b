"""One script an effect, and the small kit they share. Imports numpy alone; knows nothing of `preview`.

A script has a docstring (what one sees), `MOOD`, `DIALS`, `light(place, time_s, dials, seed)` and, where it has one,
`period_s(dials)`. See README.md in this folder.
"""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from effects.kit import Dial, Floats, Place

__all__ = ["MOODS", "Effect", "from_module", "load", "names"]

MOODS = ("calm", "warm", "festive", "working light", "proof")
"""What an effect is for; `proof` is a worst case for the meter, not for a client."""


@dataclass(frozen=True)
class Effect:
    """An effect as it was loaded: its script's names, ready to be called."""

    name: str
    file: str
    says: str  # the script's docstring: what one sees
    mood: str
    dials: tuple[Dial, ...]
    light: Callable[[Place, Floats, Mapping[str, float], int], Floats]
    line: int  # where `light` is defined in the file
    period: Callable[[Mapping[str, float]], float | None] | None

    def defaults(self) -> dict[str, float]:
        """Every dial at its default."""
        return {dial.name: dial.default for dial in self.dials}

    def period_s(self, dials: Mapping[str, float]) -> float | None:
        """Seconds after which it repeats with these dials: 0.0 if it stands still, None if it never repeats."""
        return None if self.period is None else self.period(dials)


def names() -> tuple[str, ...]:
    """Names of the effects that ship, in alphabetical order."""
    return tuple(sorted(module.name for module in pkgutil.iter_modules(__path__) if not module.ispkg))


def from_module(module: ModuleType, name: str) -> Effect:
    """The effect that a loaded script holds. KeyError or TypeError says what the script lacks."""
    held: dict[str, Any] = vars(module)
    light = held["light"]
    return Effect(
        name=name,
        file=str(held["__file__"]),
        says=(module.__doc__ or "").strip(),
        mood=held["MOOD"],
        dials=tuple(held["DIALS"]),
        light=light,
        line=light.__code__.co_firstlineno,
        period=held.get("period_s"),
    )


def load(name: str) -> Effect:
    """The effect of that name among those that ship; its script is imported now. KeyError if there is none."""
    if name not in names():
        raise KeyError(name)
    return from_module(importlib.import_module(f"effects.{name}"), name)
