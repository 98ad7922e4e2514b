"""The lists as CSV, read back by Python's own reader."""

import csv
import io

import pytest

from preview.pack.cuts import cut_list
from preview.pack.gauging import gauge
from preview.pack.lists import cuts_csv, parts_csv, readings_csv
from preview.pack.parts import parts_list
from preview.scene.model import Scene


def rows_of(data: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline="")))


def test_parts(two_walls: Scene) -> None:
    parts = parts_list(two_walls, cut_list(two_walls))
    rows = rows_of(parts_csv(parts))
    assert len(rows) == len(parts.parts)
    assert sum(float(row["cost"]) for row in rows if row["cost"]) == pytest.approx(parts.cost)
    assert {row["currency"] for row in rows if row["price"]} == {"EUR"}


def test_cuts(two_walls: Scene) -> None:
    rows = rows_of(cuts_csv(cut_list(two_walls)))
    strip = [row for row in rows if row["kind"] == "strip"]
    assert sum(float(row["length_mm"]) for row in strip) == pytest.approx(8000.0)
    assert [row["dark_at_end_mm"] for row in strip] == ["", "30.0", "0.0"]
    assert [(row["first_group"], row["last_group"]) for row in strip] == [("0", "79"), ("80", "139"), ("0", "19")]


def test_readings(two_walls: Scene) -> None:
    gauged = gauge(two_walls, 100)
    rows = rows_of(readings_csv(gauged))
    assert len(rows) == len(gauged.readings)
    for row, one in zip(rows, gauged.readings, strict=True):
        assert row["expected"] == f"{one.expected:.3f}"  # as `covecast probe` prints it
        assert float(row["to"]) - float(row["from"]) == pytest.approx(2 * one.tolerance, abs=0.002)
        assert row["read"] == ""


def test_a_name_that_a_spreadsheet_would_run(two_walls: Scene) -> None:
    run = two_walls.run[0].model_copy(update={"name": '=HYPERLINK("x";"y")'})
    feeds = tuple(feed.model_copy(update={"run": run.name}) for feed in two_walls.feed[:2])
    plan = two_walls.model_copy(update={"run": (run,), "feed": feeds, "join": ()})
    rows = rows_of(cuts_csv(cut_list(plan)))
    assert {row["run"] for row in rows} == {'\'=HYPERLINK("x";"y")'}
