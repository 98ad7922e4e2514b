"""`covecast fit` as it is called: the table, the JSON, what it writes into a scene, and what it says to bad readings.

The readings are Ohm's law by hand: 1 m of 12 V strip, 20 groups, with rails of next to nothing in the first scene; every group draws 0.5 mA
idle and 10, 11, 12 mA for red, green, blue: 10 mA dark, 210, 230, 250 mA for one colour alone, 670 mA for all.
"""

import json
import tomllib
from pathlib import Path

import pytest

import scenes

SCENE = """# a bench, invented
format = 1
title = "Bench"
[strip.s]
volts = 12
leds_per_m = 60
leds_per_group = 3
milliamp = 15.0                      # what the label says
idle_milliamp_per_group = 1.0        # a guess
rail_milliohm_per_m = [60, 40]       # guesses, too
[strip.t]
volts = 12
leds_per_m = 60
leds_per_group = 3
milliamp = 15.0
[supply.psu]
volts = 12
amps = 5
[[run]]
name = "a"
strip = "s"
path_m = [[0, 0, 1], [1, 0, 1]]
[[feed]]
from = "psu"
run = "a"
cable = { mm2 = 1.0, length_m = 1 }
"""
HEAD = "length_m,fed,red,green,blue,near_v,far_v,amps"
ROWS = ["1,both,0,0,0,12,12,0.010", "1,both,255,0,0,12,12,0.210", "1,both,0,255,0,12,12,0.230",
        "1,both,0,0,255,12,12,0.250", "1,both,255,255,255,12,12,0.670"]  # fmt: skip
DROP = "1,near,255,255,255,12,11.9645,0.670"
"""20 groups of 33.5 mA on rails of r a metre, 50 mm apart: drop r · 0.05 · 0.0335 · (20·20/2) = 0.0355 V at r = 106 mΩ/m
(the first half segment carries all, then one group less with each: N²/2 segments)."""


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    (tmp_path / "scene.toml").write_text(SCENE, encoding="utf-8")
    (tmp_path / "bench.csv").write_text("\n".join([HEAD, *ROWS, DROP]), encoding="utf-8")
    return tmp_path


def words(bench: Path, *more: str) -> list[str]:
    return ["fit", str(bench / "scene.toml"), "--strip", "s", "--readings", str(bench / "bench.csv"), *more]


def test_json(bench: Path, covecast) -> None:
    code, out, err = covecast(*words(bench, "--json"))
    assert (code, err) == (0, "")
    found = json.loads(out)
    assert (found["format"], found["scene"], found["strip"], found["written"]) == (1, "Bench", "s", None)
    figures = {figure["key"]: figure for figure in found["figures"]}
    for key, milliamps in (("idle", 0.5), ("red.milliamp", 10), ("green.milliamp", 11), ("blue.milliamp", 12)):
        assert figures[key]["value"] == pytest.approx(milliamps, rel=0.01)
        assert figures[key]["told"]
    assert figures["idle"]["before"] == 1.0
    assert figures["rails"]["value"] == pytest.approx(106, rel=0.01)
    assert len(found["readings"]) == 6
    assert all(abs(reading["times_error"]) < 1 for reading in found["readings"])


def test_the_table_says_what_was_fitted_and_what_cannot_be_told(bench: Path, covecast) -> None:
    code, out, err = covecast(*words(bench))
    assert (code, err) == (0, "")
    assert "Strip s, 6 readings" in out
    assert "What the readings do not tell:" in out
    assert "would tell it: turn the supply down until red dims" in out
    assert (bench / "scene.toml").read_text(encoding="utf-8") == SCENE


def test_write_stores_what_was_told_and_keeps_everything_else(bench: Path, covecast) -> None:
    code, out, err = covecast(*words(bench, "--write"))
    assert (code, err) == (0, "")
    text = (bench / "scene.toml").read_text(encoding="utf-8")
    assert "-idle_milliamp_per_group = 1.0        # a guess" in out
    for kept in ("# a bench, invented", "# what the label says", "# a guess", "# guesses, too"):
        assert kept in text
    table = tomllib.loads(text)["strip"]
    assert table["t"] == tomllib.loads(SCENE)["strip"]["t"]
    assert table["s"]["idle_milliamp_per_group"] == pytest.approx(0.5, rel=0.02)
    assert table["s"]["red"]["milliamp"] == pytest.approx(10, rel=0.01)
    assert set(table["s"]["red"]) == {"milliamp"}  # no reading went near a knee: none is stored
    plus, minus = table["s"]["rail_milliohm_per_m"]
    if sum((plus, minus)) != 100:  # shared as the scene had it: 60 to 40
        assert plus / minus == pytest.approx(1.5, rel=0.01)
    assert covecast("probe", bench / "scene.toml")[0] == 0
    assert [path.name for path in sorted(bench.iterdir())] == ["bench.csv", "scene.toml"]
    code, out, _ = covecast(*words(bench, "--write"))
    assert code == 0
    assert "The scene has these figures already." in out


OWN = """[strip.s]
volts = 12
leds_per_m = 60
leds_per_group = 3
milliamp = 15.0
"""
LABEL = "volts = 12, leds_per_m = 60, leds_per_group = 3, milliamp = 15.0"


@pytest.mark.parametrize(
    "table",
    [
        OWN + "\n# the end\n", OWN + "[strip.s.red]\nmilliamp = 14\n", OWN + "red = { milliamp = 14 }  # a colour\n",
        f"[strip]\ns = {{ {LABEL} }}  # on a line\n", f"strip = {{ s = {{ {LABEL}, red = {{ milliamp = 14 }} }} }}\n",
        "[strip.s.red]\nmilliamp = 14\n" + OWN,
    ],
)  # fmt: skip
def test_a_strip_may_be_written_in_any_way(table: str, bench: Path, covecast) -> None:
    head, rest = SCENE[: SCENE.index("[strip.s]")], SCENE[SCENE.index("[supply.psu]") :]
    (bench / "scene.toml").write_text(head + table + rest, encoding="utf-8")
    code, _, err = covecast(*words(bench, "--write"))
    assert (code, err) == (0, "")
    found = tomllib.loads((bench / "scene.toml").read_text(encoding="utf-8"))["strip"]["s"]
    for colour, milliamps in (("red", 10), ("green", 11), ("blue", 12)):
        assert found[colour]["milliamp"] == pytest.approx(milliamps, rel=0.01)
    assert covecast("probe", bench / "scene.toml")[0] == 0
    text = (bench / "scene.toml").read_text(encoding="utf-8")
    assert all(mark in text for mark in ("# the end", "# a colour", "# on a line") if mark in table)


DOTTED = "".join(f"strip.s.{line}\n" for line in OWN.splitlines()[1:])


@pytest.mark.parametrize(
    "table",
    [
        DOTTED, DOTTED + "strip.s.red.milliamp = 14  # a colour\n", DOTTED + "[strip.s.red]\nmilliamp = 14  # a colour\n",
        "[strip]\n" + DOTTED.replace("strip.", "") + "s.red.milliamp = 14  # a colour\n",
        OWN + "red.milliamp = 14  # a colour\n", "[strip.s.red]\nmilliamp = 14  # a colour\n[strip]\n" + DOTTED.replace("strip.", ""),
    ],
)  # fmt: skip
def test_a_strip_may_be_written_with_dotted_keys(table: str, bench: Path, covecast) -> None:
    head, rest = SCENE[: SCENE.index("[strip.s]")], SCENE[SCENE.index("[supply.psu]") :]
    (bench / "scene.toml").write_text(head + table + rest, encoding="utf-8")
    code, _, err = covecast(*words(bench, "--write"))
    assert (code, err) == (0, "")
    text = (bench / "scene.toml").read_text(encoding="utf-8")
    found = tomllib.loads(text)["strip"]["s"]
    for colour, milliamps in (("red", 10), ("green", 11), ("blue", 12)):
        assert found[colour]["milliamp"] == pytest.approx(milliamps, rel=0.01)
    assert covecast("probe", bench / "scene.toml")[0] == 0
    assert text.count("# a colour") == table.count("# a colour")
    assert text.startswith(head)
    assert text.endswith(rest)


def test_contradictions_are_said_and_nothing_is_written(bench: Path, covecast) -> None:
    (bench / "bench.csv").write_text("\n".join([HEAD, *ROWS, "1,both,255,255,255,12,12,0.9"]), encoding="utf-8")
    code, out, err = covecast(*words(bench, "--write"))
    assert (code, out) == (2, "")
    assert "contradict each other" in err
    assert "line 7" in err
    assert "without it the others agree" in err
    assert (bench / "scene.toml").read_text(encoding="utf-8") == SCENE


def test_worse_meters_may_be_declared(bench: Path, covecast) -> None:
    (bench / "bench.csv").write_text("\n".join([HEAD, *ROWS, "1,both,255,255,255,12,12,0.72"]), encoding="utf-8")
    assert covecast(*words(bench))[0] == 2
    assert covecast(*words(bench, "--amps-error", "8"))[0] == 0


@pytest.mark.parametrize(
    ("change", "word"),
    [
        (["--strip", "q"], "expected one of s, t"),
        (["--readings", "nowhere.csv"], "no such file"),
        (["--volts-error", "0"], "volts-error"),
        (["--volts-error", "nan"], "volts-error"),
        (["--amps-error", "99"], "amps-error"),
        (["--bench-c", "400"], "bench-c"),
    ],
)
def test_wrong_calls(change: list[str], word: str, bench: Path, covecast) -> None:
    code, out, err = covecast(*words(bench), *change)
    assert (code, out) == (2, "")
    assert word in err


def test_a_demo_scene_is_not_written_to(bench: Path, covecast) -> None:
    (bench / "b.csv").write_text("\n".join([HEAD, *ROWS]), encoding="utf-8")
    code, _, err = covecast("fit", "tea_bar", "--strip", "glow", "--readings", bench / "b.csv", "--write")
    assert code == 2
    assert "a scene file of your own" in err


@pytest.mark.parametrize(
    ("old", "new", "word"),
    [
        ("12,12,0.210", "12000,12000,0.210", "millivolts"),
        ("0.250", "250", "milliamps"),
        (HEAD, "a,b,c", "an unknown column"),
    ],
)
def test_readings_that_cannot_be(old: str, new: str, word: str, bench: Path, covecast) -> None:
    text = (bench / "bench.csv").read_text(encoding="utf-8")
    (bench / "bench.csv").write_text(text.replace(old, new), encoding="utf-8")
    code, out, err = covecast(*words(bench))
    assert (code, out) == (2, "")
    assert word in err
    assert "Traceback" not in err


def test_one_strip_two_scenes_of_the_demo(covecast, tmp_path: Path) -> None:
    """Invented readings on the strip of the reading corner, 60 groups a metre of 36.8 mA by its label: 2.2 A."""
    (tmp_path / "b.csv").write_text(
        f"{HEAD}\n1,near,255,255,255,5.0,4.9,2.1\n1,near,0,0,0,5,5,0.048\n", encoding="utf-8"
    )
    code, out, err = covecast("fit", "reading_corner", "--strip", "fine", "--readings", tmp_path / "b.csv", "--json")
    assert (code, err) == (0, "")
    figures = {figure["key"]: figure["value"] for figure in json.loads(out)["figures"]}
    assert figures["idle"] == pytest.approx(0.8, rel=0.02)


def test_the_demo_readings_bear_out_the_demo_strip(covecast) -> None:
    """The invented readings beside the tea bar were drawn around its strip's figures: within four deviations of them."""
    file = Path(scenes.__file__).parent / "tea_bar" / "bench.csv"
    code, out, err = covecast("fit", "tea_bar", "--strip", "glow", "--readings", file, "--json")
    assert (code, err) == (0, "")
    found = json.loads(out)
    assert found["untold"] == []
    for figure in found["figures"]:
        assert abs(figure["value"] - figure["before"]) < 4 * figure["deviation"], figure["key"]
