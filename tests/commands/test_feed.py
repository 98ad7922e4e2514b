"""feed as it is called: what it prints and writes, that the written plan is clean, and what it says to bad input."""

import json
import subprocess
import sys
import tomllib
from pathlib import Path

import click
import pytest

LONG = """# Kept: the head of the file.
format = 1
title = "Long shelf"

[room]
size_m = [6, 3, 2.6]

[strip.s]
volts = 12
leds_per_m = 60
leds_per_group = 3
watts_per_m = 14.4
rail_milliohm_per_m = [120, 120]

[supply.psu]            # in the cupboard
volts = 12
amps = 12.5
output_milliohm = 5
at_m = [0.2, 3.0, 0.4]

[[run]]
name = "shelf"
strip = "s"
path_m = [[0.5, 3.0, 2.0], [5.5, 3.0, 2.0]]

# --- where power enters ---
[[feed]]
from = "psu"            # the only one
run = "shelf"
at_m = 0.0
cable = { mm2 = 1.5, length_m = 2.5 }
contact_milliohm = 5

# --- what plays ---
[[look]]
name = "white"
effect = "steady"
seconds = 1
[[look]]
name = "stream"
effect = "millrace"
seconds = 2
level = 0.8
"""


@pytest.fixture
def long_shelf(tmp_path: Path) -> Path:
    file = tmp_path / "long.toml"
    file.write_text(LONG)
    return file


def clean(covecast, file: Path) -> None:
    """The meter passes no limit, the cap is no lower than the looks' levels, and check finds nothing that feeds can mend."""
    assert covecast("meter", file, "--strict")[0] == 0
    _, out, _ = covecast("cap", file, "--json")
    caps = {cap["content"]: cap["level"] for cap in json.loads(out)["caps"]}
    for look in tomllib.loads(file.read_text()).get("look", []):
        assert caps[f"look {look['name']}"] >= int(255 * look.get("level", 1.0)) / 255
    code, out, _ = covecast("check", file, "--no-eyes", "--json")
    assert [f for f in json.loads(out)["findings"] if f["weight"] in ("fault", "over")] == []
    assert code == 0


@pytest.mark.parametrize("name", ["gallery_hall", "reading_corner", "tea_bar"])
def test_demo_scenes_written_anew_are_clean(name: str, tmp_path: Path, covecast) -> None:
    file = tmp_path / "again.toml"
    code, out, err = covecast("feed", name, "--write", "--yes", "--to", file)
    assert (code, "written" in err) == (0, True)
    assert "+++" in out
    clean(covecast, file)


def test_nothing_to_improve_is_said(tmp_path: Path, covecast) -> None:
    file = tmp_path / "again.toml"
    assert covecast("feed", "reading_corner", "--write", "--yes", "--to", file)[0] == 0
    text = file.read_text()
    code, out, err = covecast("feed", file, "--write", "--yes")
    assert code == 0
    assert "does already, and none found is cheaper: nothing to improve" in out
    assert "Nothing was written" in err
    assert file.read_text() == text


@pytest.mark.parametrize(
    ("volts", "per_group", "length", "words"),
    [("5", "1", "4", []), ("12", "3", "8", []), ("24", "6", "20", ["--any"]), ("24", "6", "20", ["--cables", "awg"])],
)
def test_a_first_draft_is_mended(
    volts: str, per_group: str, length: str, words: list, tmp_path: Path, covecast
) -> None:
    file = tmp_path / "draft.toml"
    label = ["--volts", volts, "--leds-per-m", "60", "--leds-per-group", per_group, "--length", length]
    assert covecast("new", file, *label, "--amps", "20", "--watts-per-m", "14.4")[0] == 0
    assert covecast("meter", file, "--strict")[0] == 1
    assert covecast("feed", file, *words, "--write", "--yes")[0] == 0
    clean(covecast, file)
    if words == ["--any"]:
        _, out, _ = covecast("cap", file, "--json")
        assert next(cap["code"] for cap in json.loads(out)["caps"] if cap["content"] == "any") == 255
    text = file.read_text()
    assert "# terminals and solder, in each conductor" in text  # a comment of the draft
    assert text.index("[[run]]") < text.index("[[feed]]") < text.index("[[look]]")
    gauges = {"awg" in feed["cable"] for feed in tomllib.loads(text)["feed"]}
    assert gauges == {words == ["--cables", "awg"]}


def test_the_json_has_every_plan_and_says_what_holds(long_shelf: Path, covecast) -> None:
    code, out, err = covecast("feed", long_shelf, "--json")
    assert (code, err) == (0, "")
    found = json.loads(out)
    assert found["format"] == 1
    assert {"content": "look stream", "level": 0.8} in found["asked"]
    best = found["plans"][0]
    assert best["holds"]
    assert not found["present"]["holds"]
    assert best["cable_m"] == pytest.approx(sum(feed["cable"]["length_m"] for feed in best["feeds"]))
    for plan in found["plans"]:
        assert plan["cost"] >= best["cost"] - 1e-9
        assert plan["colour_steps"] <= 4
        assert plan["dimming"] <= 0.2
        for feed in plan["feeds"]:
            assert feed["peak_amps"] <= 0.8 * feed["fuse_a"]
        price = found["prices"]
        cost = sum(
            price["feed"] + price["fuse"] + f["cable"]["length_m"] * (price["metre"] + price["mm2"] * f["cable"]["mm2"])
            for f in plan["feeds"]
        )
        assert plan["cost"] == pytest.approx(cost)


def test_comments_and_order_stay(long_shelf: Path, covecast) -> None:
    assert covecast("feed", long_shelf, "--write", "--yes")[0] == 0
    text = long_shelf.read_text()
    for kept in ("# Kept: the head of the file.", "# in the cupboard", "# the only one", "# --- what plays ---"):
        assert kept in text
    assert text.index("# --- where power enters ---") < text.index("[[feed]]")
    assert text.rindex("[[feed]]") < text.index("# --- what plays ---") < text.index("[[look]]")
    clean(covecast, long_shelf)


def test_comments_beside_what_changed_are_named(long_shelf: Path, covecast) -> None:
    """A comment that told of a value is stale once the value has changed; others are not spoken of."""
    marked = LONG.replace("[[feed]]\n", "[[feed]]                # by the door\n").replace(
        "contact_milliohm = 5\n\n", "contact_milliohm = 5\nfuse_a = 20             # a yellow blade\n\n"
    )
    long_shelf.write_text(marked)
    code, _, err = covecast("feed", long_shelf, "--write", "--yes")
    assert code == 0
    rows = long_shelf.read_text().splitlines()
    told = {int(line.split(":")[0].split()[1]): line for line in err.splitlines() if line.startswith("  line ")}
    stale = [n for n, row in enumerate(rows, 1) if "# a yellow blade" in row or "# by the door" in row]
    assert len(stale) == 2
    assert set(stale) <= set(told)
    assert all(rows[n - 1].split() == line.split()[2:] for n, line in told.items())
    assert "in the cupboard" not in err
    assert "what plays" not in err


def test_nothing_is_written_without_a_yes(long_shelf: Path, covecast, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys.stdin, "isatty", lambda: True, raising=False)
    monkeypatch.setattr(click, "confirm", lambda *_, **__: False)
    code, out, err = covecast("feed", long_shelf, "--write")
    assert code == 0
    assert "+++" in out
    assert "Nothing was written" in err
    assert long_shelf.read_text() == LONG
    monkeypatch.setattr(click, "confirm", lambda *_, **__: True)
    assert covecast("feed", long_shelf, "--write")[0] == 0
    assert long_shelf.read_text() != LONG


def test_lengths_are_asked_for_or_told(long_shelf: Path, covecast, monkeypatch: pytest.MonkeyPatch) -> None:
    long_shelf.write_text(LONG.replace("at_m = [0.2, 3.0, 0.4]\n", ""))
    code, out, err = covecast("feed", long_shelf)
    assert (code, out) == (2, "")
    assert "supply.psu.at_m" in err
    assert "--cable-m psu=METRES" in err
    _, out, _ = covecast("feed", long_shelf, "--cable-m", "psu=3.5", "--json")
    assert {feed["cable"]["length_m"] for feed in json.loads(out)["plans"][0]["feeds"]} == {3.5}
    monkeypatch.setattr(sys.stdin, "isatty", lambda: True, raising=False)
    monkeypatch.setattr(click, "prompt", lambda *_, **__: 4.5)
    code, out, _ = covecast("feed", long_shelf)
    assert code == 0
    assert " 4.5 " in out


def test_a_level_that_no_feeds_hold_names_what_limits_it(long_shelf: Path, covecast) -> None:
    long_shelf.write_text(LONG.replace("amps = 12.5", "amps = 2"))
    code, out, err = covecast("feed", long_shelf, "--any")
    assert (code, out) == (2, "")
    assert "The supply limits it: psu" in err
    level = float(err.rstrip().rstrip(".").rsplit(" ", 1)[1])
    assert 0 < level < 1
    # at the level that it says feeds can hold, they do
    assert covecast("feed", long_shelf, "--any", "--level", str(level))[0] == 0
    code, _, err = covecast("feed", long_shelf, "--any", "--level", str(level + 0.02))
    assert code == 2
    assert "supply limits it" in err


def test_looks_that_were_not_asked_for_are_not_forgotten(long_shelf: Path, covecast) -> None:
    code, _, err = covecast("feed", long_shelf, "--level", "0.3")
    assert code == 0
    assert "caution: look white is planned at level 1" in err


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--level", "0"], "--level"),
        (["--level", "1.5"], "--level"),
        (["--level", "nan"], "--level"),
        (["--look", "wite"], "white"),
        (["--look", "white", "--any"], "--any"),
        (["--allowance", "-1"], "--allowance"),
        (["--cable-m", "psu=far"], "--cable-m"),
        (["--cable-m", "pzu=3"], "psu"),
        (["--cables", "inch"], "--cables"),
        (["--price", "fed=3"], "feed"),
        (["--price", "feed=-3"], "--price"),
        (["--most", "0"], "--most"),
        (["--write"], "--yes"),
        (["--to", "x.toml"], "--write"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else None,
)
def test_a_wrong_call(words: list, says: str, long_shelf: Path, covecast) -> None:
    code, out, err = covecast("feed", long_shelf, *words)
    assert (code, out) == (2, "")
    assert says in err
    assert "Traceback" not in err
    assert long_shelf.read_text() == LONG


def test_what_is_there_is_not_replaced(long_shelf: Path, tmp_path: Path, covecast) -> None:
    other = tmp_path / "other.toml"
    other.write_text("mine")
    code, out, err = covecast("feed", long_shelf, "--write", "--yes", "--to", other)
    assert (code, out, other.read_text()) == (2, "", "mine")
    assert "there already" in err
    code, _, err = covecast("feed", "tea_bar", "--write", "--yes")
    assert code == 2
    assert "--to FILE" in err


def test_a_scene_with_four_faults_names_them_all(long_shelf: Path, covecast) -> None:
    text = LONG.replace("volts = 12\nleds", "volts = -12\nleds").replace('from = "psu"', 'from = "psy"')
    long_shelf.write_text(text.replace('run = "shelf"', 'run = "shelv"').replace('"millrace"', '"milrace"'))
    code, out, err = covecast("feed", long_shelf)
    assert (code, out) == (2, "")
    assert "4 faults" in err
    for near in ("psu", "shelf", "millrace"):
        assert f"did you mean {near}?" in err


def test_a_plan_with_nothing_to_improve_is_left_as_it_is(one_shelf: str, tmp_path: Path, covecast) -> None:
    """One feed at an end without a fuse: the least there can be. Nothing may be put in its place, here or in another file."""
    file, other = tmp_path / "scene.toml", tmp_path / "other.toml"
    file.write_text(one_shelf.replace("amps = 5", "amps = 5\nat_m = [0, 0, 0.5]"))
    before = file.read_bytes()
    code, out, err = covecast("feed", file, "--write", "--yes")
    assert code == 0
    assert "nothing to improve" in out
    assert "Nothing was written" in err
    assert file.read_bytes() == before
    covecast("feed", file, "--write", "--to", other, "--yes")
    assert not other.exists()
    found = json.loads(covecast("feed", file, "--json")[1])
    assert found["kept"]
    assert found["present"]["cost"] <= min(plan["cost"] for plan in found["plans"])


def test_what_a_plan_leaves_for_any_content_is_what_cap_says_of_it(tmp_path: Path, covecast) -> None:
    """The shipped tea bar has more feeds than its looks need; with fewer, less is left for any content, and that is said."""
    file = tmp_path / "leaner.toml"
    code, out, _ = covecast("feed", "tea_bar", "--write", "--to", file, "--yes")
    assert code == 0
    caps = {}
    for scene in ("tea_bar", file):
        caps[str(scene)] = json.loads(covecast("cap", scene, "--json")[1])["caps"][-1]["level"]
    assert caps[str(file)] < caps["tea_bar"]
    assert f"level {caps[str(file)]:.3f} after {caps['tea_bar']:.3f}" in out


def test_the_file_is_written_though_nobody_reads_on(long_shelf: Path) -> None:
    before = long_shelf.read_text()
    program = [sys.executable, "-c", "from preview.cli import main; main()"]
    words = ["feed", str(long_shelf), "--write", "--yes"]
    with subprocess.Popen([*program, *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as running:
        assert running.stdout is not None
        assert running.stderr is not None
        running.stdout.close()  # as `| head -0` does
        told = running.stderr.read()
    assert "written" in told
    assert long_shelf.read_text() != before
