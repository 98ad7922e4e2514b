"""`covecast check` as it is called: its JSON, its exit codes, its text, and the demo scenes."""

import json
from pathlib import Path

import pytest


@pytest.fixture
def good(one_shelf: str) -> str:
    """One shelf that needs no channel to lead its heat away."""
    return one_shelf.replace("watts_per_m = 14.4", "watts_per_m = 9")


@pytest.fixture
def scene(good: str, tmp_path: Path) -> Path:
    file = tmp_path / "scene.toml"
    file.write_text(good, encoding="utf-8")
    return file


def test_json_has_the_promised_shape(scene: Path, covecast) -> None:
    code, out, err = covecast("check", scene, "--json", "--no-eyes")
    assert (code, err) == (0, "")
    found = json.loads(out)
    assert (found["format"], found["scene"]) == (1, "One shelf")
    assert {"findings", "dots", "flashes"} <= set(found)
    for finding in found["findings"]:
        assert set(finding) == {"weight", "about", "says", "do", "source"}
        assert finding["weight"] in ("fault", "over", "caution", "note")


def test_a_broken_limit_is_exit_code_1(scene: Path, covecast) -> None:
    """1 m at 9 W/m draws 0.75 A: 0.8 of 0.8 A is passed, 0.8 of 5 A is not."""
    assert covecast("check", scene, "--no-eyes")[0] == 0
    scene.write_text(scene.read_text(encoding="utf-8").replace("amps = 5", "amps = 0.8"), encoding="utf-8")
    code, out, err = covecast("check", scene, "--no-eyes")
    assert (code, err) == (1, "")
    assert out.startswith("One shelf: 1 limit passed")
    assert "supply psu: 0.8 A over 0.6 A" in out  # 0.75 A over 0.64 A


def test_the_text_gives_rule_remedy_and_source_and_what_was_assumed(scene: Path, covecast) -> None:
    _, out, _ = covecast("check", scene, "--no-eyes")
    lines = out.splitlines()
    assert max(len(line) for line in lines) <= 112
    assert sum(line.strip().startswith("do: ") for line in lines) == sum(
        line.strip().startswith("source: ") for line in lines
    )
    assert "Assumed, typical values: strip.s" in out


def test_the_price_of_a_kilowatt_hour(scene: Path, covecast) -> None:
    """28 groups, idle 0.8 mA each at 12 V: 0.269 W, 2.35 kWh a year, at 1.00 the same in money."""
    _, out, _ = covecast("check", scene, "--no-eyes", "--kwh-price", "1", "--json")
    says = " ".join(finding["says"] for finding in json.loads(out)["findings"])
    assert "2.35 EUR at 1.00 EUR a kWh," in says
    for wrong in ("-1", "nan", "cheap"):
        code, out, err = covecast("check", scene, "--kwh-price", wrong)
        assert (code, out) == (2, "")
        assert "kwh-price" in err


@pytest.mark.parametrize(
    ("name", "code"), [("reading_corner", 0), ("tea_bar", 0), ("gallery_hall", 1)]
)  # the hall is planned too tight on purpose
def test_the_demo_scenes(name: str, code: int, covecast) -> None:
    found, out, err = covecast("check", name, "--no-eyes")
    assert (found, err) == (code, "")
    assert "licensed person" in out
