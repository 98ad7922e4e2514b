"""The demo with no display: what it writes is what the other commands say, and pictures that others can read."""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from .conftest import delays_ms, linear, pictures_in

FILES = ["caps.txt", "meter.txt", "room.png", "swallows.gif"]


def called(*words: object, cwd: Path) -> subprocess.CompletedProcess[str]:
    without = {key: value for key, value in os.environ.items() if key not in ("DISPLAY", "WAYLAND_DISPLAY")}
    code = "from preview.cli import main; main()"
    return subprocess.run(
        [sys.executable, "-c", code, *map(str, words)],
        cwd=cwd,
        env=without,
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, subprocess.CompletedProcess[str]]:
    cwd = tmp_path_factory.mktemp("demo")
    return cwd / "covecast-demo", called("demo", cwd=cwd)


def test_it_says_where_and_leaves_nothing_else(demo: tuple[Path, subprocess.CompletedProcess[str]]) -> None:
    folder, done = demo
    assert done.returncode == 0, done.stderr
    assert "No display found" in done.stderr
    assert str(folder) in done.stdout
    for name in FILES:
        assert name in done.stdout
    assert sorted(file.name for file in folder.iterdir()) == FILES
    assert [file.name for file in folder.parent.iterdir()] == [folder.name]


@pytest.mark.parametrize(("name", "command"), [("meter.txt", "meter"), ("caps.txt", "cap")])
def test_its_figures_are_those_of_the_commands(name: str, command: str, demo, covecast) -> None:
    folder, done = demo
    said = covecast(command, "tea_bar")[1]
    assert (folder / name).read_text() == said
    assert "psu" in said
    if command == "cap":
        assert said.strip() in done.stdout


def test_its_pictures(demo) -> None:
    folder, _ = demo
    still = pictures_in(folder / "room.png")
    assert still.shape == (1, 720, 1280, 3)
    clip = pictures_in(folder / "swallows.gif")
    assert clip.shape == (100, 360, 640, 3)
    assert delays_ms(folder / "swallows.gif") == [40] * 100  # 4 s
    for pictures in (still, clip[::20]):
        light = linear(pictures)
        assert light.max() > 0.6  # the strips are in it
        assert 0.02 < light.mean() < 0.4  # and neither night nor white is all there is
    assert np.ptp(clip[::20], axis=0).max() > 60  # it moves


def test_it_is_written_over_and_other_files_are_kept(demo, tmp_path: Path, covecast) -> None:
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "letter.txt").write_text("mine")
    code, _, told = covecast("demo", "--to", tmp_path / "mine")
    assert code == 2
    assert "letter.txt" in told
    assert [file.name for file in (tmp_path / "mine").iterdir()] == ["letter.txt"]
    code, _, told = covecast("demo", "--to", tmp_path / "none" / "deep")
    assert code == 2
    assert "expected an existing folder" in told
    assert sorted(file.name for file in tmp_path.iterdir()) == ["mine"]
