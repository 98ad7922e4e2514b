"""Names that a plan mentions: whether each one is there, is there once, and leads somewhere.

Works on the tables as they were read, so that a table with a fault of another kind is still checked for its names.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from typing import Any

from preview.scene.faults import Fault, nearest
from preview.scene.lines import Path
from preview.scene.tables import NAMED, name_of
from preview.scene.wording import dotted, listed, shown

__all__ = ["named_tables", "reference_faults", "tables_in"]

_MOST_GUESSES = 100  # spellings looked up for one file: enough for a person, and quick on a file that is all faults


def tables_in(raw: Mapping[str, Any], key: str) -> Iterator[tuple[int, dict[str, Any]]]:
    """The well-formed tables of a list, with their numbers."""
    tables = raw.get(key)
    for number, table in enumerate(tables) if isinstance(tables, list) else ():
        if isinstance(table, dict):
            yield number, table


def named_tables(raw: Mapping[str, Any], key: str) -> dict[str, dict[str, Any]]:
    """The well-formed tables that go by a name."""
    tables = raw.get(key)
    if not isinstance(tables, dict):
        return {}
    return {str(name): table for name, table in tables.items() if isinstance(table, dict)}


def names_in(raw: Mapping[str, Any], key: str) -> list[str]:
    """The names given in a list of tables or a table of names, in order."""
    if key in NAMED:
        return list(named_tables(raw, key))
    return [table["name"] for _, table in tables_in(raw, key) if isinstance(table.get("name"), str)]


def reference_faults(raw: Mapping[str, Any], effects: Collection[str] | None = None) -> dict[Path, Fault]:
    """Every name that is missing, doubled, unprintable or goes round in a circle, by its place."""
    faults: dict[Path, Fault] = {}
    strips, channels = names_in(raw, "strip"), names_in(raw, "channel")
    sources = names_in(raw, "supply") + names_in(raw, "block")
    runs, looks = names_in(raw, "run"), names_in(raw, "look")

    def check(path: Path, value: object, known: Collection[str], what: str) -> None:
        if isinstance(value, str) and value not in known:
            there = f" ({listed(dict.fromkeys(known))})" if known else ", and there is none"
            close = nearest(value, known) if len(faults) < _MOST_GUESSES else None
            faults[path] = Fault(dotted(path), what + there, shown(value), nearest=close, named=name_of(raw, path))

    for number, table in tables_in(raw, "run"):
        check(("run", number, "strip"), table.get("strip"), strips, "the name of a [strip.NAME]")
        check(("run", number, "channel"), table.get("channel"), channels, "the name of a [channel.NAME]")
    for number, table in tables_in(raw, "feed"):
        check(("feed", number, "from"), table.get("from"), sources, "the name of a supply or a block")
        check(("feed", number, "run"), table.get("run"), runs, "the name of a run")
    for number, table in tables_in(raw, "join"):
        check(("join", number, "from"), table.get("from"), runs, "the name of a run")
        check(("join", number, "to"), table.get("to"), runs, "the name of a run")
    for name, table in named_tables(raw, "block").items():
        check(("block", name, "from"), table.get("from"), sources, "the name of a supply or another block")
    for number, table in tables_in(raw, "programme"):
        check(("programme", number, "look"), table.get("look"), looks, "the name of a look")
    if effects is not None:
        for number, table in tables_in(raw, "look"):
            check(("look", number, "effect"), table.get("effect"), effects, "the name of an effect")
    return {**_circles(raw), **_doubled(raw), **_names(raw), **faults}


def _doubled(raw: Mapping[str, Any]) -> dict[Path, Fault]:
    """Names given twice where a name must tell one thing from another."""
    faults: dict[Path, Fault] = {}
    for key in ("box", "run", "look"):
        first: dict[str, int] = {}
        for number, table in tables_in(raw, key):
            name = table.get("name")
            if isinstance(name, str) and first.setdefault(name, number) != number:
                path: Path = (key, number, "name")
                expected = f"a name that no other {key} has"
                faults[path] = Fault(dotted(path), expected, f"{shown(name)}, as in {key}[{first[name]}]")
    for name in set(names_in(raw, "block")) & set(names_in(raw, "supply")):
        path = ("block", name)
        faults[path] = Fault(dotted(path), "a name that no supply has", f"{shown(name)}, as in supply.{name}")
    return faults


def _names(raw: Mapping[str, Any]) -> dict[Path, Fault]:
    """Names of tables go into file names and pages like any other name."""
    faults: dict[Path, Fault] = {}
    for key in NAMED:
        for name in names_in(raw, key):
            if not name.strip() or len(name) > 120 or not name.isprintable():
                path: Path = (key, name)
                faults[path] = Fault(dotted(path), "a name of 1 to 120 printable characters", shown(name))
    return faults


def _circles(raw: Mapping[str, Any]) -> dict[Path, Fault]:
    """Blocks that feed one another in a circle: no supply is behind them."""
    source = {name: table.get("from") for name, table in named_tables(raw, "block").items()}
    faults: dict[Path, Fault] = {}
    seen: set[str] = set()
    for start in source:
        trail: dict[str, None] = {}
        name: object = start
        while isinstance(name, str) and name in source and name not in seen:
            seen.add(name)
            trail[name] = None
            name = source[name]
        if isinstance(name, str) and name in trail:
            circle = list(trail)[list(trail).index(name) :]
            found = f"a circle: {' from '.join(dotted((part,)) for part in [*circle[:8], name])}"
            for part in circle:
                path: Path = ("block", part, "from")
                faults[path] = Fault(dotted(path), "a way back to a supply", found)
    return faults
