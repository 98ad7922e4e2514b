"""`covecast compare`: figures worked by hand for strips whose knees lie far below their volts, so that drop changes no current.

Three runs of 3 m, 10 mA a colour. Strip `a`: 12 V, cut every 50 mm: 180 groups of 30.5 mA, 5.49 A, 65.88 W less what cables lose.
Strip `b`: 24 V, cut every 100 mm, the same watts a metre with a group of 30.5 mA twice as long: half the amps in the same copper.
"""

import csv
import json
from pathlib import Path

import pytest

from preview.handover.comparing import Choice, choices_of, compare
from preview.scene.faults import CovecastError
from preview.scene.model import Scene
from preview.scene.read import scene_from_text

REFERENCE = Path(__file__).parents[1] / "reference"


def strip(name: str, volts: float, per_group: int, more: str = "") -> str:
    colour = "{{ milliamp = 10, dark_v = 3, full_v = 4, lumen = {}, xy = [{}] }}"
    return (
        f"[strip.{name}]\nvolts = {volts}\nleds_per_m = 60\nleds_per_group = {per_group}\nrail_milliohm_per_m = [40, 40]\n"
        f"idle_milliamp_per_group = 0.5\nreel_m = 5\n{more}\nred = {colour.format(2, '0.69, 0.308')}\n"
        f"green = {colour.format(4, '0.17, 0.72')}\nblue = {colour.format(1, '0.135, 0.055')}\n"
    )


RUN = (
    '[[run]]\nname = "{0}"\nstrip = "a"\nchannel = "deep"\npath_m = [[0, 1.9, {1}], [3, 1.9, {1}]]\naim = [0, -1, 0]\n'
)
FEED = '[[feed]]\nfrom = "psu"\nrun = "{0}"\ncable = {{ mm2 = 1.5, length_m = 2 }}\n'
CHANNEL = "[channel.{0}]\ndepth_mm = {1}\nwidth_mm = 12\ncover = 'opal'\ntransmission = 0.7\nspread_mm = {2}\nstock_m = 2\nprice = {3}\n"
SCENE = (
    'format = 1\ntitle = "Options"\n'
    + strip("a", 12, 3, "price = 30")
    + strip("b", 24, 6, "price = 40")
    + strip("c", 12, 150)
    + strip("w", 12, 3, 'colours = "rgbw"\nwhite = { milliamp = 10, dark_v = 3, full_v = 4, lumen = 5, kelvin = 3000 }')
    + CHANNEL.format("deep", 25, 5, 10)
    + CHANNEL.format("flat", 4, 0.5, 8)
    + "[supply.psu]\nvolts = 12\namps = 10\nprice = 50\n[supply.small]\nvolts = 12\namps = 4\n"
    + "".join(RUN.format(name, z) + FEED.format(name) for name, z in (("x", 0.5), ("y", 1.0), ("z", 1.5)))
    + "[room]\nsize_m = [3, 2, 2]\nambient_lux = 1\n[viewer]\neye_m = [1.5, 0.1, 1]\nlook_m = [1.5, 2, 1]\n"
    + '[[look]]\nname = "full"\neffect = "proof_full"\nseconds = 1\n[assume]\nconductor_c = 20\n'
)


def plan(text: str = SCENE) -> Scene:
    return scene_from_text(text, Path("scene.toml"))


def test_groups_reels_price_and_watts_by_hand() -> None:
    """Three runs of 3 m from reels of 5 m: three reels. Channels of 2 m: a whole one each, and a rest of 1 m, two to a length: 5."""
    (planned,) = compare(plan(), [Choice()])
    assert (planned.groups, planned.group_mm, planned.strip_m) == (180, (50.0,), 9.0)
    assert planned.reels == 3
    assert planned.price == 3 * 30 + 5 * 10 + 50
    assert planned.unpriced == ()  # the small supply, without a price, feeds nothing and is not bought
    (unpriced,) = compare(plan(SCENE.replace("price = 50", "")), [Choice()])
    assert (unpriced.price, unpriced.unpriced) == (3 * 30 + 5 * 10, ("supply psu",))
    # the supply gives 12 V whatever it is asked: 180 × 30.5 mA × 12 V
    assert planned.full_w == pytest.approx(65.88, rel=1e-6)
    assert planned.mean_w == pytest.approx(65.88, rel=1e-6)


def test_lowest_volts_by_the_ladder() -> None:
    """N = 60 equal loads i on segments R, the first of them half: drop = R i N²/2; and the cable's 2 × 2 m of 13.3 Ω/km (class 5)."""
    planned, other = compare(plan(), [Choice(), Choice(strip="b")])
    cable = 2 * 2 * 0.0133
    rails = 0.08 * 0.05 * 0.0305 * 60**2 / 2
    assert planned.lowest_v == pytest.approx(12 - 1.83 * cable - rails, abs=1e-5)
    # half the loads, twice as far apart: R i N²/2 is halved, as are the amps in the cable
    assert other.lowest_v == pytest.approx(24 - (1.83 * cable + rails) / 2, abs=1e-5)
    assert other.lowest_at[1] == 29


def test_another_voltage_takes_a_supply_of_the_same_watts() -> None:
    """10 A at 12 V are 5 A at 24 V; 90 groups of 30.5 mA are 2.745 A, 65.88 W."""
    (other,) = compare(plan(), [Choice(strip="b")])
    assert other.groups == 90
    assert other.full_w == pytest.approx(65.88, rel=1e-6)
    assert any("supply psu taken as 5 A at 24 V, the same watts as 10 A at 12 V" in note for note in other.notes)
    assert other.price == 3 * 40 + 5 * 10  # a supply that is not there has no price
    assert "supply psu" in other.unpriced


def test_caps_and_looks_over() -> None:
    """0.8 × 4 A = 3.2 A: 180 × (0.5 + 30·q/255) mA stay within it up to q = 146, level 0.573. 0.8 × 10 A hold all."""
    planned, small = compare(plan(), [Choice(), Choice(supply="small")])
    assert (planned.cap_any.code, planned.cap_looks.code, planned.over) == (255, 255, ())
    assert (small.cap_any.code, small.cap_any.limited_by) == (146, "supply")
    assert small.cap_looks.code == 146
    assert small.over == ("full",)


def test_frames_a_second_by_the_table_of_the_protocol() -> None:
    """60 groups on each of three data lines: the published 476.19 frames a second; with four colours 1/(60 · 40 µs + 300 µs)."""
    with (REFERENCE / "single_wire_800k.csv").open() as file:
        (row,) = [row for row in csv.DictReader(file) if row["N_groups_24bit"] == "60"]
    planned, four = compare(plan(), [Choice(), Choice(strip="w")])
    assert planned.frames_per_s == pytest.approx(float(row["fps_ceiling_300us_latch"]), abs=0.006)
    assert four.frames_per_s == pytest.approx(1 / (60 * 40e-6 + 300e-6))


def test_dots_show_in_a_shallow_channel_and_not_in_a_deep_one() -> None:
    """Pitch, 16.7 mm, no larger than depth hides them; 4 mm shows them: common practice, no source."""
    deep, flat, bare = compare(plan(), [Choice(), Choice(channel="flat"), Choice(channel="none")])
    assert (deep.dots_show, flat.dots_show, bare.dots_show) == (False, True, True)
    assert deep.dots_within_m < flat.dots_within_m
    assert deep.price is not None
    assert bare.price == deep.price - 5 * 10


def test_options_that_are_the_plan_itself_are_left_out() -> None:
    scene = plan()
    found = compare(scene, choices_of(scene, ["a", "b", "a"], ["deep"], []))
    assert [str(one.choice) for one in found] == ["as planned", "strip b, channel deep"]


def test_every_combination() -> None:
    names = [str(choice) for choice in choices_of(plan(), ["a", "b"], ["flat", "none"], [])]
    assert names == [
        "as planned", "strip a, channel flat", "strip a, channel none", "strip b, channel flat", "strip b, channel none",
    ]  # fmt: skip


def test_a_strip_of_another_voltage_on_a_supply_that_is_asked_for_is_said_not_to_fit() -> None:
    (found,) = compare(plan(), [Choice(strip="b", supply="small")])
    assert found.notes == ("12 V do not fit strip b of 24 V",)


def test_groups_longer_than_a_run_are_refused_with_every_run() -> None:
    """150 LEDs at 60 a metre are 2.5 m: a run of 2 m has no room for them."""
    text = SCENE.replace("[3, 1.9, 0.5]", "[2, 1.9, 0.5]").replace("[3, 1.9, 1.0]", "[1, 1.9, 1.0]")
    with pytest.raises(CovecastError) as caught:
        compare(plan(text), [Choice(strip="c")])
    assert "run x is 2 m, a group 2.5 m" in str(caught.value)
    assert "run y is 1 m, a group 2.5 m" in str(caught.value)


# as it is called ------------------------------------------------------------------------------------------------------


@pytest.fixture
def file(tmp_path: Path) -> Path:
    (tmp_path / "scene.toml").write_text(SCENE, encoding="utf-8")
    return tmp_path / "scene.toml"


def test_json(file: Path, covecast) -> None:
    code, out, err = covecast("compare", file, "--strip", "a", "--strip", "b", "--json")
    assert (code, err) == (0, "")
    found = json.loads(out)
    assert (found["format"], found["scene"]) == (1, "Options")
    assert [option["strip"] for option in found["options"]] == [None, "b"]
    for option in found["options"]:
        assert option["lowest_volts"]["volts"] > 10
        assert option["cap_any"]["content"] == "any"
        assert len(option["dots"]) == 3


def test_the_table(file: Path, covecast) -> None:
    code, out, err = covecast(
        "compare", file, "--strip", "b", "--channel", "deep", "--channel", "flat", "--channel", "none"
    )
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert max(map(len, lines)) <= 140
    assert any(line.split() == ["groups", "180", "90", "90", "90"] for line in lines)
    assert "strip b, channel none: supply psu taken as 5 A at 24 V" in out


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ([], "Nothing to compare"),
        (["--strip", "q", "--channel", "dep", "--supply", "psuu"], "did you mean deep?"),
        (["--strip", "A"], "expected one of a, b, c, w"),
    ],
)
def test_wrong_calls(words: list[str], expected: str, file: Path, covecast) -> None:
    code, out, err = covecast("compare", file, *words)
    assert (code, out) == (2, "")
    assert expected in err
    assert "Traceback" not in err


def test_every_wrong_name_at_once(file: Path, covecast) -> None:
    _, _, err = covecast("compare", file, "--strip", "q", "--channel", "dep", "--supply", "psuu")
    assert all(word in err for word in ("--strip", "--channel", "--supply", "psu?"))


def test_too_many_options() -> None:
    text = SCENE + "".join(CHANNEL.format(f"k{n}", 10 + n, 2, 1) for n in range(8))
    with pytest.raises(CovecastError, match="at most 24 options, found 33"):
        choices_of(plan(text), ["a", "b", "c", "w"], [f"k{n}" for n in range(8)], [])


@pytest.mark.parametrize("name", ["tea_bar", "reading_corner", "gallery_hall"])
def test_the_demo_scenes(name: str, covecast) -> None:
    code, out, err = covecast("compare", name, "--channel", "none", "--json")
    assert (code, err) == (0, "")
    planned, bare = json.loads(out)["options"]
    assert planned["groups"] == bare["groups"]
    assert planned["full_watts"] == bare["full_watts"]
