"""What can be wrong, said so that the reader can mend it: file, line, key, expected, found, nearest spelling."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

__all__ = ["MOST_PRINTED", "CovecastError", "Fault", "SceneFaults", "hint", "meant", "nearest", "unknown"]


class CovecastError(Exception):
    """Base of every error that is the input's or the call's fault. `preview.cli` catches it once; exit code 2."""


@dataclass(frozen=True)
class Fault:
    """One thing wrong with one key of a file. `line` counts from 1, or is None where it cannot be had.

    `key` is dotted, with numbers from 0 in lists of tables (`run[2].path_m`); `named` is what the file calls that table.
    """

    key: str
    expected: str
    found: str
    line: int | None = None
    nearest: str | None = None
    named: str | None = None

    def __str__(self) -> str:
        place = f"line {self.line}: " if self.line else ""
        name = f' ("{self.named}")' if self.named else ""
        return f"{place}{self.key}{name}: expected {self.expected}, found {self.found}{meant(self.nearest)}"


MOST_PRINTED = 100
"""Faults of one file that are printed; a file with more is of another kind altogether."""


class SceneFaults(CovecastError):
    """Every fault of one file at once: `faults` has them all, the message the first hundred."""

    def __init__(self, file: str, faults: Sequence[Fault]) -> None:
        self.file = file
        self.faults = tuple(faults)
        count = "1 fault" if len(self.faults) == 1 else f"{len(self.faults)} faults"
        lines = [f"{file}: {count}", *(f"  {fault}" for fault in self.faults[:MOST_PRINTED])]
        if len(self.faults) > MOST_PRINTED:
            lines.append(f"  and {len(self.faults) - MOST_PRINTED} more")
        super().__init__("\n".join(lines))


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word closest to `word`, or None where nothing is close.

    >>> nearest("leds_per_meter", ["leds_per_m", "leds_per_group", "volts"])
    'leds_per_m'
    >>> nearest("zzz", ["volts"]) is None
    True
    """
    found = difflib.get_close_matches(word, list(known), n=1, cutoff=0.6)
    return found[0] if found else None


def hint(word: str, known: Iterable[str]) -> str:
    """The end of a sentence that names the known word closest to `word`; "" where nothing is close.

    >>> hint("volt", ["volts", "amps"])
    ' (did you mean volts?)'
    """
    return meant(nearest(word, known))


def unknown(word: str, known: Iterable[str]) -> str:
    """What is said of a word that is none of those known.

    >>> unknown("tea", ["teal", "rust"])
    "expected one of teal, rust, found 'tea' (did you mean teal?)"
    """
    names = list(known)
    return f"expected one of {', '.join(names)}, found {word!r}{hint(word, names)}"


def meant(word: str | None) -> str:
    """The end of a sentence that names the word that may have been meant; "" where there is none."""
    return f" (did you mean {word}?)" if word else ""
