"""probe, meter and cap as they are called: the shapes of their JSON, their exit codes, and what they say to bad input."""

import json
from pathlib import Path

import pytest


@pytest.fixture
def scene(one_shelf: str, tmp_path: Path) -> str:
    """Two shelves on a supply too small for them."""
    run, feed = one_shelf.index("[[run]]"), one_shelf.index("[[feed]]")
    both = one_shelf.index("[[look]]")
    second = one_shelf[run:feed].replace("shelf", "lower").replace("1]", "0.5]")
    more = one_shelf[feed:both].replace("shelf", "lower")
    text = one_shelf[:feed] + second + one_shelf[feed:both] + more + one_shelf[both:]
    file = tmp_path / "scene.toml"
    file.write_text(text.replace("shelf", "upper").replace("amps = 5", "amps = 2"))
    return str(file)


def test_probe_gives_every_reading(scene, covecast) -> None:
    code, out, err = covecast("probe", scene, "--drive", "255,128,0", "--level", "0.5", "--json")
    assert (code, err) == (0, "")
    found = json.loads(out)
    (supply,) = found["supplies"]
    assert supply["watts"] == pytest.approx(supply["volts"] * supply["amps"])
    assert supply["watts"] == pytest.approx(found["conductor_watts"] + found["group_watts"], rel=1e-6)
    assert supply["amps"] == pytest.approx(sum(feed["amps"] for feed in found["feeds"]))
    for run in found["runs"]:
        assert (
            run["groups"]
            == 28
            == len(run["volts"])
            == len(run["amps"])
            == len(run["light"])
            == len(run["colour_steps"])
        )
        assert sum(run["amps"]) == pytest.approx(found["feeds"][0]["amps"])


def test_a_look_is_probed_at_the_level_it_is_metered_at(scene, covecast) -> None:
    _, out, _ = covecast("meter", scene, "--json")
    (look,) = json.loads(out)["looks"]
    peak = look["supplies"][0]
    _, out, _ = covecast("probe", scene, "--look", "all on", "--at", str(peak["peak_at_s"]), "--json")
    assert json.loads(out)["supplies"][0]["amps"] == pytest.approx(peak["peak_amps"], rel=1e-9)


def test_a_look_that_stands_still_needs_no_moment(scene, covecast) -> None:
    with_one, without = (covecast("probe", scene, "--look", "all on", *at, "--json") for at in (("--at", "0"), ()))
    assert without == with_one
    assert without[0] == 0
    moving = Path(scene).read_text(encoding="utf-8").replace('effect = "proof_full"', 'effect = "proof_swing"')
    Path(scene).write_text(moving, encoding="utf-8")
    code, out, err = covecast("probe", scene, "--look", "all on")
    assert (code, out) == (2, "")
    assert "Look 'all on' moves; --at SECONDS must say which moment of it." in err


def test_meter_says_what_breaks_and_strict_exits_with_1(scene, covecast) -> None:
    code, out, _ = covecast("meter", scene, "--json", "--strict")
    (look,) = json.loads(out)["looks"]
    (supply,) = look["supplies"]
    assert code == 1
    assert look["frames"] == 30  # one second at the rate of the format
    assert supply["limit_amps"] == pytest.approx(1.6)  # 2 A, 0.8 of it
    assert supply["peak_amps"] > 1.6
    assert supply["seconds_over"] == pytest.approx(1.0)
    assert any(line.startswith("supply psu: ") and "over 1.6 A for 1 s from 0.00 s" in line for line in look["breaks"])
    assert covecast("meter", scene)[0] == 0
    assert covecast("meter", scene, "--strict", "--level", "0.1")[0] == 0


def test_the_cap_is_where_the_meter_turns(scene, covecast) -> None:
    _, out, _ = covecast("cap", scene, "--json")
    look, anything = json.loads(out)["caps"]
    assert (look["content"], anything["content"]) == ("look all on", "any")
    assert (look["limited_by"], look["where"]) == ("supply", "psu")
    assert covecast("meter", scene, "--strict", "--level", str(look["code"] / 255))[0] == 0
    assert covecast("meter", scene, "--strict", "--level", str((look["code"] + 1) / 255))[0] == 1


def test_every_fault_of_a_csv_at_once(scene, tmp_path, covecast) -> None:
    file = tmp_path / "codes.csv"
    file.write_text(
        "run,group,red,green,blue\nuper,0,1,2,3\nlower,28,1,2,3\nlower,0,256,2,x\nlower,1,1,2\nlower,2,1,2,3\nlower,2,1,2,3\n"
    )
    code, out, err = covecast("probe", scene, "--drive-csv", str(file))
    assert (code, out) == (2, "")
    for words in (
        "line 2: run",
        "did you mean upper?",
        "line 3: group",
        "line 4: red",
        "line 4: blue",
        "line 5: row",
        "line 7: group",
    ):
        assert words in err


def test_groups_that_a_csv_does_not_name_are_dark(scene, tmp_path, covecast) -> None:
    file = tmp_path / "codes.csv"
    file.write_text("run,group,red,green,blue\nlower,3,255,255,255\n")
    _, out, _ = covecast("probe", scene, "--drive-csv", str(file), "--json")
    upper, lower = json.loads(out)["runs"]
    assert max(upper["amps"]) < lower["amps"][3] / 5
    assert lower["amps"].index(max(lower["amps"])) == 3


@pytest.mark.parametrize(
    "words",
    [
        ("--drive", "1,2"), ("--drive", "1,2,256"), ("--drive", "1,2,3,4"), ("--drive", "a,b,c"), ("--drive-csv", "missing.csv"),
        ("--drive", "1,2,3", "--look", "all on", "--at", "0"), ("--look", "all of", "--at", "0"), ("--look", "all of"),
        ("--look", "all on", "--at", "9"), ("--level", "2"), ("--level", "nan"),
    ],
)  # fmt: skip
def test_a_wrong_call_ends_in_2_and_prints_nothing_else(words, scene, covecast) -> None:
    code, out, err = covecast("probe", scene, *words)
    assert (code, out) == (2, "")
    assert err
    assert "Traceback" not in err
