"""How values and kinds of values are written in a message: short, in the file's own notation, in plain words."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

__all__ = ["dotted", "expected_of", "listed", "shown"]

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_MOST = 60


def shown(value: object) -> str:
    """A value as the scene file writes it, cut short where it is long.

    >>> shown([1, "a", True]), shown({"mm2": 1.5}), shown(None)
    ('[1, "a", true]', '{ mm2 = 1.5 }', 'nothing')
    """
    text = _shown(value, 4)
    return text if len(text) <= _MOST else text[: _MOST - 1] + "…"


def _shown(value: object, depth: int) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        clean = "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in value[:_MOST])
        return '"' + clean.replace('"', '\\"') + '"'
    if isinstance(value, float):
        return str(value) if not math.isfinite(value) else f"{value:.9g}"
    if isinstance(value, int):
        return str(value) if abs(value) < 10**18 else "a whole number beyond 10^18"
    if isinstance(value, Mapping):
        if not value or not depth:
            return "{ … }" if value else "{ }"
        return "{ " + ", ".join(f"{_quoted(k)} = {_shown(v, depth - 1)}" for k, v in list(value.items())[:8]) + " }"
    if isinstance(value, list | tuple):
        return "[" + (", ".join(_shown(v, depth - 1) for v in value[:16]) if depth else "…") + "]"
    return str(value)


def _quoted(key: str) -> str:
    return key if _BARE.fullmatch(key) else _shown(key, 1)


def dotted(path: Sequence[str | int]) -> str:
    """A place in the file as one dotted key.

    >>> dotted(("run", 2, "path_m", 0)), dotted(("strip", "warm white", "volts"))
    ('run[2].path_m[0]', 'strip."warm white".volts')
    """
    text = ""
    for part in path:
        text += f"[{part}]" if isinstance(part, int) else f"{'.' if text else ''}{_quoted(part)}"
    return text


def listed(names: Iterable[str], most: int = 12) -> str:
    """Names in a row, the last joined by "or".

    >>> listed(["clear", "frosted", "opal"])
    'clear, frosted or opal'
    """
    found = [_quoted(name) for name in names]
    if len(found) > most:
        return f"one of {len(found)} names such as " + ", ".join(found[:most])
    return " or ".join([", ".join(found[:-1]), found[-1]] if len(found) > 1 else found)


def expected_of(schema: Mapping[str, Any], definitions: Mapping[str, Any]) -> str:
    """What a node of the format's JSON Schema asks for, in words.

    >>> expected_of({"type": "number", "exclusiveMinimum": 0, "maximum": 120}, {})
    'a number above 0, at most 120'
    """
    if "$ref" in schema:
        name = schema["$ref"].rsplit("/", 1)[-1]
        return expected_of(definitions[name], definitions)
    if "anyOf" in schema:
        kinds = [kind for kind in schema["anyOf"] if kind.get("type") != "null"]
        return " or ".join(expected_of(kind, definitions) for kind in kinds)
    if "const" in schema:
        return shown(schema["const"])
    if "enum" in schema:
        return listed(schema["enum"])
    kind = schema.get("type")
    if kind in ("number", "integer"):
        return _number_words(schema)
    if kind == "string":
        return 'a colour as "#rrggbb"' if "pattern" in schema else "text in quotes"
    if kind == "boolean":
        return "true or false"
    if kind == "array":
        return _array_words(schema, definitions)
    if "additionalProperties" in schema and "properties" not in schema:
        return "a table of names"
    keys = [key for key in schema.get("properties", ()) if key != "assumed"]
    return f"a table with the keys {', '.join(keys[:6])}{' …' if len(keys) > 6 else ''}"


def _number_words(schema: Mapping[str, Any]) -> str:
    noun = "a whole number" if schema["type"] == "integer" else "a number"
    low, above = schema.get("minimum"), schema.get("exclusiveMinimum")
    high, below = schema.get("maximum"), schema.get("exclusiveMaximum")
    if low is not None and high is not None:
        return f"{noun} from {low:.9g} to {high:.9g}"
    if above is not None and high is not None:
        return f"{noun} above {above:.9g}, at most {high:.9g}"
    if above is not None and below is not None:
        return f"{noun} between {above:.9g} and {below:.9g}"
    return noun


def _array_words(schema: Mapping[str, Any], definitions: Mapping[str, Any]) -> str:
    items = schema.get("prefixItems")
    if items:
        inner = expected_of(items[0], definitions)
        if items[0].get("type") == "array":
            return f"{len(items)} points, each [x, y]"
        return f"{len(items)} numbers [{', '.join('xyz'[: len(items)]) if len(items) < 4 else '…'}], each {inner}"
    inner_schema = schema.get("items", {})
    if inner_schema.get("prefixItems"):
        return "at least two points [[x, y, z], [x, y, z], …]"
    return f"a list, each {expected_of(inner_schema, definitions)}"
