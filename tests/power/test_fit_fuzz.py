"""Files of readings that nobody meant to write: an answer or a clear error, never anything else."""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from preview.power.bench import COLUMNS, read_bench
from preview.scene.faults import CovecastError
from preview.scene.fill import fill
from preview.scene.model import Strip

STRIP = Strip.model_validate(
    fill({"strip": {"s": {"volts": 12, "leds_per_m": 72, "leds_per_group": 3, "milliamp": 12.0}}})[0]["strip"]["s"]
)
MANY = settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])

cells = st.one_of(
    st.sampled_from(
        ["", "0", "255", "12", "1e999", "-1", "nan", "near", "both", "0x10", "1_000", "٣", "12,0", '"', "'", "#", " "]
    ),
    st.floats().map(repr),
    st.integers().map(str),
    st.text(max_size=8),
)
rows = st.lists(st.lists(cells, min_size=0, max_size=10).map(",".join), max_size=6)


def read_or_refuse(file: Path) -> None:
    try:
        found = read_bench(file, STRIP)
    except CovecastError:
        return
    assert len(found) >= 2
    for reading in found:
        assert 0 < reading.length_m <= 100
        assert reading.groups >= 1
        assert all(0 <= code <= 255 for code in reading.codes)
        assert max(reading.near_v, reading.far_v) <= 18


@MANY
@given(st.binary(max_size=400))
def test_any_bytes(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "b.csv").write_bytes(data)
    read_or_refuse(tmp_path / "b.csv")


@MANY
@given(st.permutations(COLUMNS), rows)
def test_any_cells_under_a_good_header(tmp_path: Path, head: list[str], body: list[str]) -> None:
    text = "\n".join([",".join(head), *body])
    (tmp_path / "b.csv").write_bytes(text.encode("utf-8", "surrogatepass"))
    read_or_refuse(tmp_path / "b.csv")


@MANY
@given(st.data())
def test_one_cell_of_a_good_file_changed(tmp_path: Path, data: st.DataObject) -> None:
    good = [
        ["2.5", "near", "255", "255", "255", "12.01", "11.20", "2.1"],
        ["2.5", "near", "0", "0", "0", "12.02", "12.01", "0.05"],
    ]
    row, column = data.draw(st.integers(0, 1)), data.draw(st.integers(0, 7))
    good[row][column] = data.draw(cells)
    text = "\n".join([",".join(COLUMNS), *(",".join(line) for line in good)])
    (tmp_path / "b.csv").write_bytes(text.encode("utf-8", "surrogatepass"))
    read_or_refuse(tmp_path / "b.csv")


def test_the_strategies_do_reach_good_files(tmp_path: Path) -> None:
    """Else the tests above would hold for a reader that refuses everything."""
    text = "\n".join([",".join(COLUMNS), "2.5,near,255,255,255,12.01,11.20,2.1", "2.5,near,0,0,0,12.02,12.01,0.05"])
    (tmp_path / "b.csv").write_text(text, encoding="utf-8")
    assert len(read_bench(tmp_path / "b.csv", STRIP)) == 2
    with pytest.raises(CovecastError):
        read_bench(tmp_path / "b.csv", STRIP.model_copy(update={"volts": 48.0}))
