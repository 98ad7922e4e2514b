"""The JSON Schema against a general validator: it takes what reading takes and refuses what an editor can refuse."""

import json
import tomllib
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from click.testing import CliRunner

from preview.cli import group
from preview.scene.read import find_scene
from preview.scene.schema import json_schema

DATA = Path(__file__).parent / "data"
VALIDATOR = jsonschema.Draft202012Validator(json_schema())
LABEL = {"volts": 12, "leds_per_m": 60, "leds_per_group": 3, "watts_per_m": 9.6}


def smallest() -> dict[str, Any]:
    """Only what must be there."""
    return {
        "format": 1,
        "title": "t",
        "strip": {"s": dict(LABEL)},
        "supply": {"p": {"volts": 12, "amps": 5}},
        "run": [{"name": "r", "strip": "s", "path_m": [[0, 0, 0], [1, 0, 0]]}],
        "feed": [{"from": "p", "run": "r", "cable": {"mm2": 1, "length_m": 1}}],
    }


def test_the_command_prints_the_schema() -> None:
    result = CliRunner().invoke(group, ["schema"])
    assert result.exit_code == 0
    schema = json.loads(result.stdout)
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema == json_schema()


@pytest.mark.parametrize("name", [str(DATA / "corner.toml"), str(DATA / "everything.toml"), "tea_bar", "gallery_hall"])
def test_good_scenes_pass(name: str) -> None:
    VALIDATOR.validate(tomllib.loads(find_scene(name).read_text(encoding="utf-8")))


def test_the_smallest_scene_passes_and_needs_each_of_its_keys() -> None:
    VALIDATOR.validate(smallest())
    for key in smallest():
        less = smallest()
        del less[key]
        assert not VALIDATOR.is_valid(less), key
    for key in LABEL:
        less = smallest()
        del less["strip"]["s"][key]
        assert not VALIDATOR.is_valid(less), key


@pytest.mark.parametrize(
    ("table", "key", "value"),
    [
        ("feed", "cable", {"length_m": 1}),
        ("feed", "cable", {"mm2": 1, "awg": 16, "length_m": 1}),
        ("feed", "cable", {"mm2": -1, "length_m": 1}),
        ("feed", "at", 1),
        ("run", "path_m", [[0, 0, 0]]),
        ("run", "path_m", [[0, 0, 0], [1, 0]]),
        ("run", "aim", "up"),
    ],
)
def test_wrong_values_do_not_pass(table: str, key: str, value: object) -> None:
    wrong = smallest()
    wrong[table][0][key] = value
    assert not VALIDATOR.is_valid(wrong)


def test_every_key_says_what_it_means() -> None:
    schema = json_schema()
    for name, table in [("scene", schema), *schema["$defs"].items()]:
        assert table["additionalProperties"] is False
        for key, node in table["properties"].items():
            if name != "Finish" and "$ref" not in node:  # a table says it at its own place
                assert node.get("description", "").endswith("."), f"{name}.{key}"
            assert node.get("default", "") is not None
    assert "assumed" not in schema["properties"]
