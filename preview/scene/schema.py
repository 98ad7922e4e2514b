"""The scene format as a JSON Schema, for editors: what keys there are, of what kind, and what they mean.

It comes from the models, so it cannot drift from what is read. The models hold a complete plan; here what a file may
leave out is made optional. Leaves out: names that must match and what cannot be built, which only reading can tell.
"""

from __future__ import annotations

from typing import Any

from preview.scene.colours import COLOURS
from preview.scene.model import Scene

__all__ = ["json_schema"]

_DIALECT = "https://json-schema.org/draft/2020-12/schema"


def json_schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of the tables of a scene file, format 1."""
    schema = Scene.model_json_schema()
    tables = schema["$defs"]
    for name in ("assumed", "folder"):
        schema["properties"].pop(name)
    schema["required"] = ["format", "title", "strip", "supply", "run", "feed"]
    tables["Strip"]["required"] = ["volts", "leds_per_m", "leds_per_group"]
    tables["Strip"]["anyOf"] = [
        {"required": ["watts_per_m"]},
        {"required": ["milliamp"]},
        *({"required": [colour], "properties": {colour: {"required": ["milliamp"]}}} for colour in COLOURS),
    ]
    for colour in ("Colour", "White"):
        tables[colour].pop("required")
    tables["White"]["not"] = {"required": ["xy", "kelvin"]}
    tables["Cable"]["oneOf"] = [{"required": ["mm2"]}, {"required": ["awg"]}]
    for table in (schema, *tables.values()):
        for node in table["properties"].values():
            _without_null(node)
            node.pop("title", None)
    return {"$schema": _DIALECT, **schema, "title": "covecast scene, format 1"}


def _without_null(node: dict[str, Any]) -> None:
    """TOML has no null: a key that may be left out is left out."""
    kinds = [kind for kind in node.get("anyOf", ()) if kind.get("type") != "null"]
    if len(kinds) == 1:
        del node["anyOf"]
        node.update({key: value for key, value in kinds[0].items() if key not in node})
    if node.get("default", ...) is None:
        del node["default"]
