"""`covecast effect`: what it prints, what it writes, and what it says when something is wrong."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

import effects
from preview.commands.effect import command
from preview.looks import library
from preview.looks.trial import trial_scene
from preview.scene.faults import CovecastError
from preview.scene.model import Look


@pytest.fixture(autouse=True)
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "own"
    monkeypatch.setattr(library, "own_folder", lambda: folder)
    monkeypatch.setattr(library, "_named", {})
    return folder


def run(*words: str, code: int = 0) -> str:
    done = CliRunner().invoke(command, [str(word) for word in words])
    assert done.exit_code == code, done.output
    return done.output


def test_list_names_every_effect() -> None:
    told = run("list")
    for name in effects.names():
        assert f"\n{name} " in f"\n{told}"


def test_list_one_shows_its_dials_with_units() -> None:
    told = run("list", "millrace")
    assert "speed_m_per_s  0.3 m/s" in told
    assert "(0.1 to 3 m)" in told
    assert "kiln" not in told


def test_list_as_json() -> None:
    told = json.loads(run("list", "--json"))
    assert told["format"] == 1
    assert [effect["name"] for effect in told["effects"]] == list(effects.names())
    dial = told["effects"][0]["dials"][0]
    assert set(dial) == {"name", "unit", "low", "high", "default", "says"}


def test_a_script_that_does_not_load_hides_no_other(own: Path) -> None:
    own.mkdir()
    (own / "broken.py").write_text("x = 1 / 0", encoding="utf-8")
    done = CliRunner().invoke(command, ["list"])
    assert done.exit_code == 0
    assert "broken.py:1: ZeroDivisionError" in done.stderr
    assert "millrace" in done.stdout


def test_list_sheet_is_a_picture(tmp_path: Path) -> None:
    run("list", "kiln", "steady", "--sheet", tmp_path / "two.png")
    with Image.open(tmp_path / "two.png") as picture:
        assert picture.format == "PNG"
        pixels = np.asarray(picture.convert("RGB"), dtype=float)
    assert pixels.shape[1] > 600
    # Embers are red before they are green, and green before they are blue.
    red, green, blue = pixels[60:150, 20:130].mean(axis=(0, 1))
    assert red > 1.5 * green > 1.5 * blue


def test_list_sheet_in_a_scene_shows_moments_of_it(tmp_path: Path, one_shelf: str) -> None:
    scene = tmp_path / "shelf.toml"
    scene.write_text(one_shelf, encoding="utf-8")
    run("list", "kiln", "proof_full", "--scene", scene, "--sheet", tmp_path / "two.png")
    with Image.open(tmp_path / "two.png") as picture:
        assert picture.width >= 4 * 240
        assert picture.height >= 2 * 135
    with pytest.raises(CovecastError, match="expected --sheet"):
        CliRunner().invoke(command, ["list", "--scene", str(scene)], catch_exceptions=False, standalone_mode=False)


def test_new_writes_a_script_that_runs_and_its_test(own: Path) -> None:
    told = run("new", "slow_snow")
    assert str(own / "slow_snow.py") in told
    effect = library.find_effect("slow_snow")
    assert effect.defaults()["speed_m_per_s"] == 0.25
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", str(own)],
        capture_output=True,
        text=True,
        check=False,
        cwd=own,
    )
    assert done.returncode == 0, done.stdout
    assert "4 passed" in done.stdout


def test_new_overwrites_nothing(own: Path) -> None:
    run("new", "slow_snow")
    (own / "slow_snow.py").write_text("mine", encoding="utf-8")
    with pytest.raises(CovecastError, match="is there already; it was left as it is"):
        CliRunner().invoke(command, ["new", "slow_snow"], catch_exceptions=False, standalone_mode=False)
    assert (own / "slow_snow.py").read_text(encoding="utf-8") == "mine"
    assert sorted(path.name for path in own.iterdir() if path.is_file()) == ["slow_snow.py", "test_slow_snow.py"]


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("Slow Snow", "expected a name of small letters"),
        ("../out", "expected a name of small letters"),
        ("test_it", "expected a name of small letters"),
        ("kiln", "ships with covecast"),
    ],
)
def test_new_refuses_a_bad_name(own: Path, name: str, says: str) -> None:
    with pytest.raises(CovecastError, match=says):
        CliRunner().invoke(command, ["new", name], catch_exceptions=False, standalone_mode=False)
    assert not own.exists()


def test_new_into_a_place_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(CovecastError, match="cannot be written"):
        CliRunner().invoke(command, ["new", "slow_snow", "--to", str(tmp_path / "file" / "in")], catch_exceptions=False)


def test_try_writes_twelve_moments(own: Path, tmp_path: Path) -> None:
    run("new", "slow_snow", "--to", tmp_path)
    run("try", tmp_path / "slow_snow.py", "--dial", "kelvin=1500", "--to", tmp_path / "out.png")
    with Image.open(tmp_path / "out.png") as picture:
        assert picture.width >= 4 * 400
        assert picture.height >= 3 * 225
        red, _, blue = np.asarray(picture.convert("RGB"), dtype=float).mean(axis=(0, 1))
    assert red > 1.5 * blue  # 1500 K


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["no_such.py"], r"no_such\.py: cannot be read"),
        (["kilm"], "did you mean kiln"),
        (["kiln", "--dial", "ember_m"], "expected NAME=VALUE"),
        (["kiln", "--dial", "ember_m=nan"], "expected NAME=VALUE"),
        (["kiln", "--dial", "ember=0.3"], "did you mean ember_m"),
        (["kiln", "--dial", "ember_m=30"], r"expected a number, 0\.05 to 2 m, found 30"),
        (["kiln", "--to", "out.jpg"], r"ending in \.png"),
    ],
)
def test_try_says_what_is_wrong(words: list[str], says: str) -> None:
    with pytest.raises(CovecastError, match=says):
        CliRunner().invoke(command, ["try", *words], catch_exceptions=False, standalone_mode=False)


def test_the_trial_room_keeps_its_limits() -> None:
    """The plain room itself must not be what a caution is about: full white draws less than its supplies' limits."""
    from preview.looks.drives import drive_from_light
    from preview.power.network import build
    from preview.power.solve import solve
    from preview.scene.layout import lay_out

    scene = trial_scene(Look(name="x", effect="proof_full"))
    layout = lay_out(scene)
    codes = drive_from_light(layout, np.ones((1, layout.groups, 3)), 1.0)
    state = solve(build(scene, layout), codes)
    limits = [supply.amps * scene.limits.supply_fraction for supply in scene.supply.values()]
    assert (state.supply_a[0] < limits).all()


def test_try_in_a_scene_reads_that_scene_again_when_it_is_saved(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, one_shelf: str
) -> None:
    import preview.window.app as app

    asked: list[tuple[Any, dict[str, Any]]] = []
    monkeypatch.setattr(app, "show", lambda room, *_, **named: asked.append((room, named)))
    file = tmp_path / "shelf.toml"
    file.write_text(one_shelf, encoding="utf-8")
    run("try", "kiln", "--scene", file, "--dial", "ember_m=0.3")
    room, named = asked[0]
    assert [look.effect for look in room.look] == ["kiln", "proof_full"]
    assert named["file"] == file
    file.write_text(one_shelf.replace("One shelf", "Another shelf"), encoding="utf-8")
    again = named["read"]()
    assert again.title == "Another shelf"
    assert again.look[0].dials == {"ember_m": 0.3}
