"""The shape of a scene file: every key known and of the right kind, and what is wrong in words.

The models of `preview.scene.model` do the checking. Here their findings become faults, and the tables that are right
are built one by one, so that a fault in one table does not keep the others from being checked further.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator, Mapping
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from preview.scene import model
from preview.scene.faults import Fault, nearest
from preview.scene.lines import Path
from preview.scene.wording import dotted, expected_of, listed, shown

__all__ = ["LISTED", "NAMED", "SINGLE", "build_tables", "name_of", "shape_faults"]

SINGLE: dict[str, type[BaseModel]] = {
    "room": model.Room,
    "viewer": model.Viewer,
    "photo": model.Photo,
    "limits": model.Limits,
    "assume": model.Assume,
    "money": model.Money,
}
"""Tables there is one of."""

NAMED: dict[str, type[BaseModel]] = {
    "strip": model.Strip,
    "channel": model.Channel,
    "supply": model.Supply,
    "block": model.Block,
}
"""Tables that the file names: [strip.NAME]."""

LISTED: dict[str, type[BaseModel]] = {
    "box": model.Box,
    "run": model.Run,
    "feed": model.Feed,
    "join": model.Join,
    "look": model.Look,
    "programme": model.Programme,
}
"""Lists of tables: [[run]]."""


_NOT_KEYS = ("assumed", "folder")
"""Fields of a scene that reading adds; a file has no such keys."""


def name_of(raw: Mapping[str, Any], path: Path) -> str | None:
    """What the file calls the listed table that a path lies in: its name, or what it goes from and to."""
    if len(path) < 2 or path[0] not in LISTED or not isinstance(path[1], int):
        return None
    tables = raw.get(str(path[0]))
    if not isinstance(tables, list) or path[1] >= len(tables) or not isinstance(tables[path[1]], dict):
        return None
    table: dict[str, Any] = tables[path[1]]
    for keys in (("name",), ("from", "to"), ("from", "run"), ("look",)):
        words = [table.get(key) for key in keys]
        if all(isinstance(word, str) and word.isprintable() and len(word) <= 60 for word in words):
            return " to ".join(str(word) for word in words)
    return None


def shape_faults(filled: Mapping[str, Any]) -> dict[Path, Fault]:
    """Every unknown key, missing key and value of the wrong kind or size, by its place. One fault a place."""
    faults: dict[Path, Fault] = {(key,): _unknown_key((key,), None) for key in _NOT_KEYS if key in filled}
    try:
        model.Scene.model_validate({key: value for key, value in filled.items() if key not in _NOT_KEYS})
    except ValidationError as error:
        for detail in error.errors(include_url=False):
            path, fault = _fault_of(detail, filled)
            faults.setdefault(path, fault)
        # a list with a wrong element counts as too short for the models as well: one fault is enough
        around = {path[:length] for path in faults for length in range(1, len(path))}
        faults = {path: fault for path, fault in faults.items() if path not in around}
    return faults


def build_tables(filled: Mapping[str, Any], wrong: Mapping[Path, Fault]) -> dict[Path, BaseModel]:
    """The models of all tables without a fault, by their place: ("room",), ("strip", "NAME"), ("run", 0)."""
    spoilt = {path[:1] if path[0] in SINGLE else path[:2] for path in wrong} | {p for p in wrong if len(p) == 1}
    built: dict[Path, BaseModel] = {}
    for path, kind, table in _tables(filled):
        if path not in spoilt and path[:1] not in spoilt:
            built[path] = kind.model_validate(table)
    return built


def _tables(filled: Mapping[str, Any]) -> Iterator[tuple[Path, type[BaseModel], Any]]:
    for key, kind in SINGLE.items():
        if key in filled:
            yield (key,), kind, filled[key]
    for key, kind in NAMED.items():
        named = filled.get(key)
        for name, table in named.items() if isinstance(named, dict) else ():
            yield (key, name), kind, table
    for key, kind in LISTED.items():
        tables = filled.get(key)
        for number, table in enumerate(tables) if isinstance(tables, list) else ():
            yield (key, number), kind, table


@functools.cache
def _schema() -> dict[str, Any]:
    return model.Scene.model_json_schema()


def _node(path: Path) -> Mapping[str, Any]:
    """The node of the JSON Schema that describes a place, without a description where it is inside an array."""
    definitions = _schema()["$defs"]
    node: Mapping[str, Any] = _schema()
    for part in path:
        node = _resolved(node, definitions)
        if isinstance(part, int):
            items = node.get("prefixItems", ())
            node = items[part] if part < len(items) else node.get("items", {})
        else:
            node = node.get("properties", {}).get(part) or node.get("additionalProperties") or {}
            node = node if isinstance(node, dict) else {}
    return node


def _resolved(node: Mapping[str, Any], definitions: Mapping[str, Any]) -> Mapping[str, Any]:
    if "anyOf" in node:
        node = next(kind for kind in node["anyOf"] if kind.get("type") != "null")
    return definitions[node["$ref"].rsplit("/", 1)[-1]] if "$ref" in node else node


def _fault_of(detail: ErrorDetails, filled: Mapping[str, Any]) -> tuple[Path, Fault]:
    """One finding of the models as a fault."""
    path: Path = detail["loc"]
    kind, found = detail["type"], shown(detail["input"])
    named = name_of(filled, path)
    if kind == "missing" and isinstance(path[-1], int):  # a list that is too short: the list is what is wrong
        path, kind = path[:-1], "too_short"
    if kind == "extra_forbidden":
        return path, _unknown_key(path, named)
    if kind == "value_error":
        expected = str(detail.get("ctx", {}).get("error", detail["msg"]))
        key, colon, rest = expected.partition(": ")
        if colon and key.isidentifier():  # a check of the whole table names the key it is about
            path, expected, found = (*path, key), rest, shown(detail["input"].get(key))
        return path, Fault(dotted(path), expected, found, named=named)
    expected = _expected(path)
    if kind == "finite_number":
        expected = expected.replace("a number", "a finite number", 1)
    close = None
    if kind == "missing":
        found = "nothing"
    elif kind == "literal_error" and isinstance(detail["input"], str):
        close = nearest(detail["input"], [str(value) for value in _resolved(_node(path), {}).get("enum", ())])
    return path, Fault(dotted(path), expected, found, nearest=close, named=named)


def _expected(path: Path) -> str:
    """What belongs at a place, with what it means."""
    if len(path) == 1 and path[0] in LISTED:
        return f"at least one [[{path[0]}]]" if path[0] in ("run", "feed") else f"[[{path[0]}]] tables"
    if len(path) == 1 and path[0] in NAMED:
        return f"at least one [{path[0]}.NAME]" if path[0] in ("strip", "supply") else f"[{path[0]}.NAME] tables"
    node = _node(path)
    if len(path) == 2 and path[0] in NAMED:
        return f"a table [{path[0]}.NAME]"
    words = expected_of(node, _schema()["$defs"])
    says = str(node.get("description", "")).split(";")[0].strip().rstrip(".")
    if not says or "prefixItems" in node:
        return words
    return f"{words} ({says[0].lower() + says[1:] if says[1:2].islower() else says})"


def _unknown_key(path: Path, named: str | None) -> Fault:
    around = _resolved(_node(path[:-1]), _schema()["$defs"])
    keys = [key for key in around.get("properties", ()) if key not in _NOT_KEYS]
    word = str(path[-1])
    close = nearest(word, keys) or _elsewhere(word)
    expected = "a known key" if close else f"a known key ({listed(keys, most=20)})"
    return Fault(dotted(path), expected, "an unknown key", nearest=close, named=named)


def _elsewhere(word: str) -> str | None:
    """A right key in a wrong table: where it belongs, where that is one place."""
    places = [f"{table}.{word}" for table, kind in SINGLE.items() if word in kind.model_fields]
    places += [f"{table}.NAME.{word}" for table, kind in NAMED.items() if word in kind.model_fields]
    places += [f"[[{table}]] {word}" for table, kind in LISTED.items() if word in kind.model_fields]
    return places[0] if len(places) == 1 else None
