"""The line of every key, against the parser of the standard library and against a plain search in the text."""

import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import hypothesis.strategies as st
import pytest
import tomlkit
from hypothesis import given, settings

from preview.scene.lines import line_of, lines_of

DATA = Path(__file__).parent / "data"


def leaves(value: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[tuple[str | int, ...], Any]]:
    """Every place in the tables, with what is there."""
    if path:
        yield path, value
    parts = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, part in parts:
        yield from leaves(part, (*path, key))


@pytest.mark.parametrize("file", sorted(DATA.glob("*.toml")), ids=lambda file: file.name)
def test_every_place_of_a_scene_has_a_line(file: Path) -> None:
    text = file.read_text(encoding="utf-8")
    lines = lines_of(text)
    assert set(lines) == {path for path, _ in leaves(tomllib.loads(text))}


MARKED = """\
a."b.c".d = 1001 # [not] = "a table"
"quo\\u0074ed" = 1002
'single' = [ # a comment with ] and "
  1003, [1004,
  1005], { x = 1006, y.z = [
    1007] }, [], {}, "]1", ']', 1008,
]
text = \"\"\"
[[not]]
a = 9
\\\"\"\" ] \"\"\"\"
after = 1009
raw = '''
[no]
'''''
also = 1010
[[run]]
n = 1011
[[run.leg]]
n = 1012
[[run.leg]]
n = 1013
[run.more.deep]
n = 1014
[[run]]
[[run.leg]]
n = 1015
[ spaced . "out" ]
n = 1016
empty = ""
last = 1017"""


def test_lines_of_marked_values_are_where_a_search_finds_them() -> None:
    lines = lines_of(MARKED)
    marks = {path: value for path, value in leaves(tomllib.loads(MARKED)) if isinstance(value, int) and value > 1000}
    assert len(marks) == 17
    for path, value in marks.items():
        assert lines[path] == MARKED[: MARKED.index(str(value))].count("\n") + 1, path


KEYS = st.text(min_size=1, max_size=5) | st.sampled_from(["a", "b", "run", "a.b", "[x]", "#", '"'])
VALUES = st.recursive(
    st.integers(0, 9) | st.text(max_size=12) | st.booleans() | st.floats(allow_nan=False),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=3),
    max_leaves=15,
)


@settings(max_examples=80, deadline=None)
@given(st.dictionaries(KEYS, VALUES, max_size=5))
def test_any_toml_is_followed(tables: dict[str, Any]) -> None:
    text = tomlkit.dumps(tables)
    lines = lines_of(text)
    for path, _ in leaves(tomllib.loads(text)):
        assert path in lines


def test_a_place_without_a_line_takes_that_of_the_table_around_it() -> None:
    lines = lines_of("[a]\n\n[a.b]\nx = 1")
    assert line_of(lines, ("a", "b", "missing")) == 3
    assert line_of(lines, ("none",)) is None
