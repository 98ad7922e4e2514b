"""Files that are saved while the window is open."""

import os
from pathlib import Path

import pytest

from preview.looks import library
from preview.window.watch import GONE, Watch


def save(file: Path, text: str, second: int) -> None:
    """Save with a time of its own, whatever the clock of the file system can tell apart."""
    file.write_text(text)
    os.utime(file, (second, second))


def test_a_scene_is_read_again_once_when_it_has_stood_still(tmp_path: Path) -> None:
    file = tmp_path / "scene.toml"
    save(file, "one", 1000)
    watch = Watch(file, ())
    assert not watch.scene_saved()
    save(file, "tw", 1001)
    assert not watch.scene_saved(), "it may still be being written"
    save(file, "two", 1002)
    assert not watch.scene_saved(), "it was"
    assert watch.scene_saved()
    assert not watch.scene_saved()


def test_a_scene_that_is_replaced_is_not_gone_and_one_that_is_gone_is(tmp_path: Path) -> None:
    file = tmp_path / "scene.toml"
    save(file, "one", 1000)
    watch = Watch(file, ())
    file.unlink()
    assert not any(watch.scene_saved() for _ in range(3))
    save(file, "one", 1000)
    assert not any(watch.scene_saved() for _ in range(3)), "the same again"
    file.unlink()
    assert [watch.scene_saved() for _ in range(GONE + 3)].count(True) == 1
    save(file, "two", 1001)
    assert [watch.scene_saved() for _ in range(3)].count(True) == 1


def test_scripts_are_watched_and_those_that_ship_are_not(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    script = tmp_path / "own_glow.py"
    save(script, "one", 1000)
    monkeypatch.setitem(library._named, "own_glow", script)
    watch = Watch(None, ("steady", "own_glow"))
    assert not watch.scripts_saved()
    save(script, "two", 1001)
    assert [watch.scripts_saved() for _ in range(4)] == [False, True, False, False]
    script.unlink()
    assert [watch.scripts_saved() for _ in range(4)].count(True) == 1
    assert not watch.scene_saved()


def test_a_photo_that_is_saved_is_seen_like_its_scene(tmp_path: Path) -> None:
    file, photo = tmp_path / "scene.toml", tmp_path / "room.jpg"
    save(file, "one", 1000)
    save(photo, "one", 1000)
    watch = Watch(file, (), (photo,))
    assert not watch.scene_saved()
    save(photo, "two", 1001)
    assert [watch.scene_saved() for _ in range(4)] == [False, True, False, False]
    watch.watch_instead(())
    save(photo, "three", 1002)
    assert not any(watch.scene_saved() for _ in range(3))
