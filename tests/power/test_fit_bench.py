"""A file of readings: what it may look like, and what is said of values that no meter shows."""

from pathlib import Path

import pytest

from preview.power.bench import MOST, read_bench
from preview.scene.faults import CovecastError, SceneFaults
from preview.scene.fill import fill
from preview.scene.model import Strip

HEAD = "length_m,fed,red,green,blue,near_v,far_v,amps"
GOOD = "2.5,near,255,255,255,12.01,11.20,2.1"
DARK = "2.5,near,0,0,0,12.02,12.01,0.05"


def strip(**more: object) -> Strip:
    """12 V, groups of three, 72 LEDs a metre, 12 mA a colour: 60 groups on 2.5 m, 2.2 A at full."""
    raw = {"volts": 12, "leds_per_m": 72, "leds_per_group": 3, "milliamp": 12.0, **more}
    return Strip.model_validate(fill({"strip": {"s": raw}})[0]["strip"]["s"])


def read(folder: Path, *lines: str, **more: object):
    file = folder / "bench.csv"
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return read_bench(file, strip(**more))


def said(folder: Path, *lines: str) -> str:
    with pytest.raises(SceneFaults) as caught:
        read(folder, *lines)
    return str(caught.value)


def test_a_plain_file(tmp_path: Path) -> None:
    one, two = read(tmp_path, "# a bench, invented", "", HEAD, GOOD, DARK)
    assert (one.line, one.length_m, one.groups, one.fed) == (4, 2.5, 60, "near")
    assert (one.codes, one.near_v, one.far_v, one.amps, one.plus_drop_v) == ((255, 255, 255, 0), 12.01, 11.2, 2.1, None)
    assert two.line == 5


def test_columns_in_any_order_with_blanks_and_a_byte_order_mark(tmp_path: Path) -> None:
    head = "\ufeffamps, far_v, near_v, plus_drop_v, blue, green, red, fed, length_m"
    one, _ = read(tmp_path, head, " 2.1 , 11.2, 12.01, 0.4, 255, 255, 255, near, 2.5", "0.05,12,12.02,,0,0,0,near,2.5")
    assert (one.amps, one.near_v, one.plus_drop_v) == (2.1, 12.01, 0.4)


def test_a_white_is_read_where_the_strip_has_one(tmp_path: Path) -> None:
    head = HEAD.replace("blue,", "blue,white,")
    one, _ = read(tmp_path, head, "2.5,near,0,0,0,128,12,11.8,0.4", "2.5,near,0,0,0,0,12,12,0.05", colours="rgbw")
    assert one.codes == (0, 0, 0, 128)
    with pytest.raises(SceneFaults, match="white"):
        read(tmp_path, HEAD, GOOD, DARK, colours="rgbw")
    assert "the strip has no white" in said(
        tmp_path, head, "2.5,near,0,0,0,128,12,11.8,0.4", "2.5,near,0,0,0,0,12,12,0.05"
    )


@pytest.mark.parametrize("line_end", ["\r\n", "\r"])
def test_line_ends(line_end: str, tmp_path: Path) -> None:
    (tmp_path / "b.csv").write_bytes(line_end.join([HEAD, GOOD, DARK]).encode())
    assert len(read_bench(tmp_path / "b.csv", strip())) == 2


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("2.5,near,255,255,255,12010,11200,2.1", ["near_v", "far_v", "millivolts", "12010"]),
        ("2.5,near,255,255,255,12.01,11.2,2100", ["amps", "milliamps", "2100"]),
        ("2.5,near,255,255,255,11.2,12.01,2.1", ["far_v", "swapped", "0.81 V more"]),
        ("2.5,far,255,255,255,12.01,11.2,2.1", ["near_v", "swapped", "far"]),
        ("2.5,near,255,255,255,2.1,11.2,12.01", ["far_v", "9.1 V more"]),
        ("2.5,near,255,255,255,0.8,0.7,12.01", ["near_v", "it looks like amps, and amps like volts"]),
        ("2500,near,255,255,255,12.01,11.2,2.1", ["length_m", "millimetres", "2500"]),
        ("0.01,near,255,255,255,12.01,11.2,2.1", ["length_m", "one group at least, 0.0417 m"]),
        ("-1,near,255,255,255,12.01,11.2,2.1", ["length_m", "above 0"]),
        ("2.5,near,1.0,0.5,0,12.01,11.2,2.1", ["green", "it looks like a fraction"]),
        ("2.5,near,256,0,0,12.01,11.2,2.1", ["red", "0 to 255", "256"]),
        ("2.5,left,255,0,0,12.01,11.2,2.1", ["fed", "near, far or both", "left"]),
        ("2.5,neer,255,0,0,12.01,11.2,2.1", ["fed", "did you mean near"]),
        ("2.5,near,255,0,0,nan,11.2,2.1", ["near_v", "a number", "nan"]),
        ("2.5,near,255,0,0,inf,11.2,2.1", ["near_v", "a number", "inf"]),
        ("2.5,near,255,0,0,12.01,11.2,two", ["amps", "a number", "two"]),
        ("2.5,near,255,0,0,12.01,11.2,-2.1", ["amps", "-2.1"]),
        ("2.5,near,255,0,0,12.01,-11.2,2.1", ["far_v", "-11.2"]),
        ("2.5,near,255,0,0,12.01,11.2", ["row", "8 values", "7"]),
        ("2,5,near,255,0,0,12,01,11,2,0,8", ["row", "8 values", "12"]),
        ("2.5,near,255,255,255,24.1,23.2,2.1", ["near_v", "12 V strip", "24.1"]),
    ],
)
def test_values_that_cannot_be_are_named_with_what_they_look_like(row: str, words: list[str], tmp_path: Path) -> None:
    message = said(tmp_path, HEAD, DARK, row)
    assert "line 3" in message
    assert all(word in message for word in words), message


def test_every_fault_comes_at_once(tmp_path: Path) -> None:
    message = said(tmp_path, HEAD, GOOD, "2.5,near,255,x,255,12.01,11.2,2.1", "2500,near,255,255,255,12.01,11.2,2.1")
    assert "2 faults" in message
    assert "line 3" in message
    assert "line 4" in message


def test_the_drop_along_the_positive(tmp_path: Path) -> None:
    head = HEAD + ",plus_drop_v"
    assert "millivolts" in said(tmp_path, head, GOOD + ",400", DARK + ",")
    assert "both ends" in said(tmp_path, head, GOOD.replace("near", "both") + ",0.4", DARK + ",")


@pytest.mark.parametrize(
    ("head", "words"),
    [
        (GOOD, ["header", "a row of numbers"]),
        (HEAD.replace(",", ";"), ["commas", "semicolons"]),
        (HEAD.replace("near_v", "near_volt"), ["near_volt", "did you mean near_v"]),
        (HEAD.replace(",amps", ""), ["amps", "a column of that name"]),
        (HEAD + ",amps", ["amps", "each column once"]),
        (HEAD + ",colour", ["colour", "an unknown column"]),
    ],
)
def test_headers(head: str, words: list[str], tmp_path: Path) -> None:
    message = said(tmp_path, head, GOOD, DARK)
    assert all(word in message for word in words), message


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"", "empty"), (b"   \n\n", "empty"), (b"\x89PNG\r\n\x1a\n\x00\x00", "binary"), (b"length_m,\xff\xfe", "UTF-8"),
        (b"# only a remark\n", "neither"), (f"{HEAD}\n".encode(), "found none"), (f"{HEAD}\n{GOOD}\n".encode(), "found 1"),
        (f'{HEAD}\n2.5,"near,255\n'.encode(), "comma-separated"), (b"x" * 1_000_002, "1 MB"),
        ("\n".join([HEAD, *[GOOD] * (MOST + 1)]).encode(), f"{MOST + 1}"),
    ],
)  # fmt: skip
def test_files_that_are_none(data: bytes, word: str, tmp_path: Path) -> None:
    (tmp_path / "b.csv").write_bytes(data)
    with pytest.raises(CovecastError, match=word):
        read_bench(tmp_path / "b.csv", strip())


def test_no_file_and_a_folder(tmp_path: Path) -> None:
    with pytest.raises(CovecastError, match="no such file"):
        read_bench(tmp_path / "none.csv", strip())
    with pytest.raises(CovecastError, match="a folder"):
        read_bench(tmp_path, strip())
