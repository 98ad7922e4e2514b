"""Whatever is in a file, reading it ends in a scene or in a clear error: never in a traceback."""

from pathlib import Path
from typing import Any

import hypothesis.strategies as st
import pytest
import tomlkit
from hypothesis import HealthCheck, given, settings

from preview.scene import model
from preview.scene.faults import CovecastError, SceneFaults
from preview.scene.layout import lay_out
from preview.scene.model import Scene
from preview.scene.read import read_scene, scene_from_text
from preview.scene.tables import LISTED, NAMED, SINGLE

DATA = Path(__file__).parent / "data"
GOOD = (DATA / "everything.toml").read_text(encoding="utf-8")
ROWS = GOOD.splitlines()

KEYS = sorted(
    {
        *SINGLE,
        *NAMED,
        *LISTED,
        *(field.alias or name for kind in (*SINGLE.values(), *NAMED.values(), *LISTED.values(), model.Cable, model.White)
          for name, field in kind.model_fields.items()),
    }
)  # fmt: skip
WORDS = st.sampled_from([*KEYS, "west", "east", "left", "four", "rgbw", "steady", "power", "#102030", "\x1b", "é", ""])
NUMBERS = st.one_of(
    st.integers(-(10**30), 10**30),
    st.floats(),
    st.sampled_from([0, 1, -1, 12, 1e-300, 1e300, 5e-324, float("nan"), float("inf")]),
)
LEAVES = st.one_of(WORDS, NUMBERS, st.booleans(), st.datetimes(), st.text(max_size=8))
VALUES = st.recursive(
    LEAVES,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(WORDS, inner, max_size=4),
    max_leaves=12,
)


def problem_of(text: str) -> CovecastError | None:
    """What reading a text ends in, where it is not a scene; a scene that comes out can be laid out."""
    try:
        scene = scene_from_text(text, DATA / "scene.toml", ["steady", "millrace"])
    except CovecastError as error:
        return error
    assert lay_out(scene).groups > 0
    return None


def read(text: str) -> None:
    """Read a text: an error has faults that are whole, on lines that are there, and nothing unprintable."""
    problem = problem_of(text)
    if problem is None:
        return
    assert all(c.isprintable() or c == "\n" for c in str(problem))
    if isinstance(problem, SceneFaults):
        assert problem.faults
        lines = text.count("\n") + 1
        for fault in problem.faults:
            assert fault.key
            assert fault.expected
            assert fault.found
            assert fault.line is None or 1 <= fault.line <= lines


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(st.dictionaries(st.sampled_from([*Scene.model_fields, "x"]), VALUES, max_size=8))
def test_any_toml(tables: dict[str, Any]) -> None:
    read(tomlkit.dumps(tables))


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_a_good_scene_with_any_values_in_place_of_some(data: st.DataObject) -> None:
    document = tomlkit.parse(GOOD).unwrap()
    for _ in range(data.draw(st.integers(1, 3))):
        table: Any = document
        while True:
            keys = list(table) if isinstance(table, dict) else list(range(len(table)))
            key = data.draw(st.sampled_from(keys))
            deeper = isinstance(table[key], dict | list) and len(table[key]) > 0
            if not deeper or data.draw(st.integers(0, 3)) == 0:
                break
            table = table[key]
        table[key] = data.draw(VALUES)
    read(tomlkit.dumps(document))


@settings(max_examples=120, deadline=None)
@given(
    st.lists(
        st.tuples(st.sampled_from(["drop", "double", "swap"]), st.integers(0, len(ROWS) - 2)), min_size=1, max_size=4
    )
)
def test_a_good_scene_with_lines_lost_doubled_or_swapped(changes: list[tuple[str, int]]) -> None:
    rows = list(ROWS)
    for change, at in changes:
        at = min(at, len(rows) - 2)
        if change == "drop":
            del rows[at]
        elif change == "double":
            rows.insert(at, rows[at])
        else:
            rows[at], rows[at + 1] = rows[at + 1], rows[at]
    read("\n".join(rows))


@settings(max_examples=120, deadline=None)
@given(st.integers(0, len(GOOD) - 1), st.integers(0, 12), st.text(max_size=6))
def test_a_good_scene_with_some_text_replaced(at: int, length: int, text: str) -> None:
    read(GOOD[:at] + text + GOOD[at + length :])


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.one_of(st.binary(max_size=200), st.text(max_size=200).map(lambda text: text.encode("utf-8", "replace"))))
def test_any_bytes(tmp_path: Path, data: bytes) -> None:
    file = tmp_path / "scene.toml"
    file.write_bytes(data)
    with pytest.raises(CovecastError) as caught:
        read_scene(file)
    assert str(caught.value).startswith(str(file))
