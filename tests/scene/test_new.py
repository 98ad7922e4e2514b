"""The first scene: ready for reading as it is, and the everyday question answered in one command."""

import json
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

from preview.cli import group
from preview.commands import new
from preview.handover.checking import check_scene
from preview.scene.draft import Draft, draft_text
from preview.scene.faults import CovecastError
from preview.scene.layout import lay_out
from preview.scene.read import read_scene, scene_from_text

LABEL = {"--volts": "12", "--leds-per-m": "96", "--leds-per-group": "3", "--length": "5", "--amps": "5"}


def run(file: Path, *more: str, without: tuple[str, ...] = (), answers: str = "", **changes: str) -> Result:
    label = {**LABEL, **{f"--{key.replace('_', '-')}": value for key, value in changes.items()}}
    options = [part for key, value in label.items() if key not in without for part in (key, value)]
    return CliRunner().invoke(group, ["new", str(file), *options, *more], input=answers)


def answer(file: Path, **changes: str) -> dict[str, object]:
    result = run(file, "--json", **changes)
    assert result.exit_code == 0, result.output
    found: dict[str, object] = json.loads(result.stdout)
    return found


def test_a_reel_has_its_addresses(tmp_path: Path) -> None:
    """Common practice, no source: 5 m with 96 LEDs a metre in groups of three have 160 addresses."""
    found = answer(tmp_path / "a.toml", watts_per_m="14.4")
    assert found["groups"] == 160
    assert found["length_m"] == pytest.approx(5)
    # 5 m of 14.4 W/m at 12 V are 6 A by W = V·A
    assert found["rated_amps"] == pytest.approx(6.0)
    assert found["limit_amps"] == pytest.approx(4.0)
    layout = lay_out(read_scene(tmp_path / "a.toml"))
    assert layout.groups == 160


def test_a_supply_large_enough_holds_and_a_small_one_sets_the_level(tmp_path: Path) -> None:
    large = answer(tmp_path / "a.toml", length="0.5", amps="20", watts_per_m="9.6")
    assert large["cap"] == {**dict(large["cap"]), "limited_by": "nothing", "code": 255}  # type: ignore[call-overload]
    # half a metre of 9.6 W/m is 0.4 A; 0.25 A times 0.8 is half of that, so is the level, but for the idle current
    small = answer(tmp_path / "b.toml", length="0.5", amps="0.25", watts_per_m="9.6")
    assert small["cap"]["limited_by"] == "supply"  # type: ignore[index]
    idle_a = 0.8e-3 * 16
    assert small["cap"]["level"] == pytest.approx((0.2 - idle_a) / (0.4 - idle_a), abs=2 / 255)  # type: ignore[index]


def test_the_answer_is_said_in_words(tmp_path: Path) -> None:
    result = run(tmp_path / "a.toml")
    assert result.exit_code == 0, result.output
    for words in (
        "160 groups of 31.2 mm on 5.00 m",
        "The supply does not hold that",
        "up to level",
        "typical of such a strip",
    ):
        assert words in result.output
    assert "typical of such" not in run(tmp_path / "b.toml", watts_per_m="10").output


@pytest.mark.parametrize(
    ("more", "changes"),
    [
        ((), {}),
        (("--rgbw", "--channel-depth", "9"), {}),
        (("--title", 'A "quoted" \\ name # 3'), {"volts": "5", "leds_per_m": "60", "leds_per_group": "1"}),
        ((), {"volts": "24", "leds_per_m": "83.3", "leds_per_group": "7", "length": "0.3", "amps": "0.5"}),
        ((), {"length": "300", "amps": "200"}),
    ],
)
def test_a_draft_is_a_scene_as_it_is(tmp_path: Path, more: tuple[str, ...], changes: dict[str, str]) -> None:
    result = run(tmp_path / "a.toml", *more, **changes)
    assert result.exit_code == 0, result.output
    text = (tmp_path / "a.toml").read_text(encoding="utf-8")
    scene = read_scene(tmp_path / "a.toml")
    assert scene.title == (more[1] if "--title" in more else "a")
    assert (scene.strip["main"].colours == "rgbw") == ("--rgbw" in more)
    assert (scene.run[0].channel is not None) == ("--channel-depth" in more)
    assert [key for key in scene.assumed if not key.startswith("strip.")] == []
    assert text.count("measure") >= 5


@pytest.mark.parametrize(
    ("changes", "fuse_a", "mm2"),
    [
        ({"watts_per_m": "10", "length": "2"}, 3, 1.5),  # 20 W at 12 V are 1.67 A, over 0.8 2.08 A
        ({"watts_per_m": "14.4", "amps": "10"}, 7.5, 1.5),  # 6 A, over 0.8 7.5 A
        ({"watts_per_m": "14.4", "length": "10", "amps": "20"}, 15, 1.5),  # 12 A, over 0.8 15 A; 1.5 mm² may carry 15 A
        (
            {"watts_per_m": "14.4", "length": "12", "amps": "20"},
            20,
            2.5,
        ),  # 14.4 A, over 0.8 18 A; 2.5 mm² may carry 20 A
        (
            {"watts_per_m": "14.4", "length": "40", "amps": "60"},
            None,
            1.5,
        ),  # 48 A: no blade fuse of ISO 8820-3 for one feed
    ],
)
def test_a_fuse_that_carries_the_run_and_protects_the_cable(
    tmp_path: Path, changes: dict[str, str], fuse_a: float | None, mm2: float
) -> None:
    """Ratings of ISO 8820-3; flexible cords by mm² as in tests/reference/check_sources.md; a fifth in reserve, common practice."""
    answer(tmp_path / "a.toml", **changes)
    (feed,) = read_scene(tmp_path / "a.toml").feed
    assert (feed.fuse_a, feed.cable.mm2) == (fuse_a, mm2)


@pytest.mark.parametrize(
    "changes",
    [
        {"watts_per_m": "7", "length": "2"},
        {"volts": "24", "leds_per_m": "70", "leds_per_group": "7", "length": "4", "amps": "6", "watts_per_m": "9"},
        {"volts": "5", "leds_per_m": "60", "leds_per_group": "1", "length": "1", "amps": "6", "watts_per_m": "9"},
        {"volts": "24", "leds_per_m": "120", "leds_per_group": "8", "length": "3.2", "amps": "4", "watts_per_m": "9"},
    ],
)
def test_a_sane_draft_is_checked_without_a_caution(tmp_path: Path, changes: dict[str, str]) -> None:
    answer(tmp_path / "a.toml", **changes)
    found = check_scene(read_scene(tmp_path / "a.toml"), eyes=False)
    assert [f for f in found.findings if f.weight != "note"] == []


def test_an_odd_label_is_cautioned_at_once(tmp_path: Path) -> None:
    """Seven LEDs in a row take about 21 V: common practice, no source."""
    result = run(tmp_path / "a.toml", volts="9", leds_per_group="7", leds_per_m="60")
    assert result.exit_code == 0
    assert "caution: strip main: 7 LEDs a group on 9 V" in result.stderr
    assert "caution: strip main: 60 LEDs a metre do not divide by 7" in result.stderr
    assert "caution:" not in result.stdout
    assert run(tmp_path / "b.toml").stderr == ""
    told = answer(tmp_path / "c.toml", volts="9", leds_per_group="7", leds_per_m="60")["findings"]
    assert [finding["weight"] for finding in told if "7 LEDs" in finding["says"]] == ["caution"]  # type: ignore[attr-defined]


@pytest.mark.parametrize("count", [1, 7, 61, 333])
def test_a_length_of_whole_groups_keeps_them_all(count: int) -> None:
    draft = Draft("t", 12, 84, 3, count * 3 / 84, 5)
    assert lay_out(scene_from_text(draft_text(draft), Path("x.toml"))).groups == count


def test_what_is_there_is_not_replaced_unless_asked(tmp_path: Path) -> None:
    file = tmp_path / "a.toml"
    file.write_text("mine", encoding="utf-8")
    assert isinstance(run(file).exception, CovecastError)
    assert file.read_text(encoding="utf-8") == "mine"
    assert run(file, "--force").exit_code == 0
    assert "format = 1" in file.read_text(encoding="utf-8")


def test_off_a_terminal_what_is_missing_is_named(tmp_path: Path) -> None:
    result = run(tmp_path / "a.toml", without=("--volts", "--amps"))
    assert result.exit_code == 2
    assert "--volts, --amps must be given" in result.output
    assert not (tmp_path / "a.toml").exists()


def test_on_a_terminal_what_is_missing_is_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []

    def prompt(text: str, **_: object) -> float:
        asked.append(text)
        return 7.0

    monkeypatch.setattr(click, "prompt", prompt)
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    label = {"volts": 12.0, "leds_per_m": 60.0, "leds_per_group": None, "length": 5.0, "amps": None}
    assert new._complete(label) == {**label, "leds_per_group": 7.0, "amps": 7.0}
    assert asked == ["LEDs that one address drives together", "Rated amps of the supply"]


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"volts": "nan"}, "expected a number above 0, at most 120 (volts), found 'nan'"),
        ({"volts": "230"}, "at most 120 (volts), found '230'"),
        ({"amps": "-1"}, "expected a number above 0, at most 10000 (amps), found '-1'"),
        ({"leds_per_group": "2.5"}, "expected a whole number above 0"),
        ({"length": "five"}, "(metres), found 'five'"),
    ],
)
def test_wrong_figures_are_refused_with_their_unit(tmp_path: Path, changes: dict[str, str], says: str) -> None:
    result = run(tmp_path / "a.toml", **changes)
    assert result.exit_code == 2
    assert says in " ".join(result.output.split())
    assert not (tmp_path / "a.toml").exists()


def test_a_length_shorter_than_a_group_is_refused(tmp_path: Path) -> None:
    result = run(tmp_path / "a.toml", length="0.01")
    assert isinstance(result.exception, CovecastError)
    assert "a path as long as one group" in str(result.exception)
    assert not (tmp_path / "a.toml").exists()
