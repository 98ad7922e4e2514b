"""What every command says to a scene that is none: exit code 2, one message on standard error, nothing on standard output, no file."""

from pathlib import Path

import pytest

from preview.looks.library import own_folder

from ..conftest import TRIAL

COMMANDS = {
    "probe": ["--drive", "255,255,255"],
    "lux": ["--point", "0.5,0.5,0.5"],
    "meter": [],
    "cap": [],
    "feed": [],
    "check": [],
    "compare": ["--channel", "none"],
    "dots": [],
    "fit": ["--strip", "s", "--readings", "OUT.csv"],
    "clip": ["OUT.gif", "--size", "64x36"],
    "pack": ["OUT-pack", "--clip-size", "64x36"],
    "photo": ["OUT.png"],
    "show": [],
}
"""Words after the scene; OUT becomes a file in a folder of its own, which must stay empty."""

BAD = {
    "wrong TOML": ("[supply.psu]", "[supply.psu", "line 8"),
    "an unknown key": ("leds_per_m ", "led_per_m ", "leds_per_m"),
    "a wrong type": ("amps = 5", 'amps = "five"', "five"),
    "not a number": ("amps = 5", "amps = nan", "supply.psu.amps"),
    "infinity": ("amps = 5", "amps = inf", "supply.psu.amps"),
    "a negative length": ("length_m = 2", "length_m = -2", "-2"),
    "a million groups": ("[1, 0, 1]", ", ".join(["[1000, 0, 1], [0, 0, 1]"] * 18), "50000"),
    "zero groups": ("[1, 0, 1]", "[0.01, 0, 1]", "group"),
    "an effect there is none of": ("proof_full", "proof_ful", "proof_full"),
    "a feed of a run there is none of": ('run = "shelf"', 'run = "shelv"', "shelf"),
}
"""What is written in place of what, and what the message must then say."""


def words_for(command: str, scene: Path, folder: Path) -> list[str]:
    return [command, str(scene), *(word.replace("OUT", str(folder / "out")) for word in COMMANDS[command])]


@pytest.fixture
def out(tmp_path: Path) -> Path:
    folder = tmp_path / "out"
    folder.mkdir()
    return folder


@pytest.mark.parametrize("fault", BAD)
@pytest.mark.parametrize("command", COMMANDS)
def test_a_bad_scene(command: str, fault: str, one_shelf: str, tmp_path: Path, out: Path, covecast) -> None:
    old, new, says = BAD[fault]
    assert old in one_shelf
    file = tmp_path / "scene.toml"
    file.write_text(one_shelf.replace(old, new))
    code, printed, told = covecast(*words_for(command, file, out))
    assert (code, printed) == (2, "")
    assert "scene.toml" in told
    assert says in told.replace(",", "").replace("50 000", "50000")
    assert "Traceback" not in told
    assert not list(out.iterdir())


@pytest.mark.parametrize("data", [b"", b"\x89PNG\r\n\x1a\n\x00\x00\x00"], ids=["empty", "binary"])
@pytest.mark.parametrize("command", COMMANDS)
def test_what_is_no_scene(command: str, data: bytes, tmp_path: Path, out: Path, covecast) -> None:
    file = tmp_path / "scene.toml"
    file.write_bytes(data)
    code, printed, told = covecast(*words_for(command, file, out))
    assert (code, printed) == (2, "")
    assert "scene.toml" in told
    assert "Traceback" not in told
    assert not list(out.iterdir())


@pytest.mark.parametrize("command", COMMANDS)
def test_a_scene_that_is_not_there(command: str, tmp_path: Path, out: Path, covecast) -> None:
    code, printed, told = covecast(*words_for(command, tmp_path / "none.toml", out))
    assert (code, printed) == (2, "")
    assert "none.toml" in told


@pytest.mark.parametrize(
    ("body", "says"),
    [
        ("1 / len(time_s[:0])", ":10:"),
        ("np.zeros((len(time_s), place.groups, 2))", "shape"),
        ("np.full((len(time_s), place.groups, 3), np.nan)", "nan"),
    ],
)
@pytest.mark.parametrize("command", ["meter", "cap", "clip"])
def test_an_effect_that_goes_wrong(
    command: str, body: str, says: str, one_shelf: str, tmp_path: Path, out: Path, monkeypatch, covecast
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    folder = own_folder()
    folder.mkdir(parents=True)
    (folder / "trial.py").write_text(TRIAL.format(body=body))
    scene = tmp_path / "scene.toml"
    scene.write_text(one_shelf.replace("proof_full", "trial"))
    code, printed, told = covecast(*words_for(command, scene, out))
    assert (code, printed) == (2, "")
    assert "trial.py" in told
    assert says in told.lower()
    assert "Traceback" not in told
    assert not list(out.iterdir())


@pytest.mark.filterwarnings("default")
def test_light_beyond_its_range_is_cut_off_with_a_caution(
    one_shelf: str, tmp_path: Path, monkeypatch, covecast
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    own_folder().mkdir(parents=True)
    (own_folder() / "trial.py").write_text(TRIAL.format(body="np.full((len(time_s), place.groups, 3), 1.5)"))
    (tmp_path / "scene.toml").write_text(one_shelf.replace("proof_full", "trial"))
    (tmp_path / "full.toml").write_text(one_shelf)
    code, printed, told = covecast("meter", tmp_path / "scene.toml", "--json")
    assert code == 0
    assert told.count("\n") == 1  # once, however often the effect is asked
    assert "trial.py:8: in look 'all on': light() gave 1.5 to 1.5, expected 0 to 1" in told
    assert printed.replace("trial", "proof_full") == covecast("meter", tmp_path / "full.toml", "--json")[1]


@pytest.mark.parametrize("command", ["meter", "cap", "probe", "clip"])
def test_an_unknown_look_is_answered_with_the_nearest(
    command: str, one_shelf: str, tmp_path: Path, out: Path, covecast
) -> None:
    scene = tmp_path / "scene.toml"
    scene.write_text(one_shelf)
    words = [word for word in words_for(command, scene, out) if word not in COMMANDS["probe"]]
    code, printed, told = covecast(*words, "--look", "all one", *(["--at", "0"] if command == "probe" else []))
    assert (code, printed) == (2, "")
    assert "all on" in told.replace("all one", "")
    assert not list(out.iterdir())
