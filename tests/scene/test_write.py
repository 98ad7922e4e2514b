"""A scene file is changed whole or not at all, and keeps its comments."""

import os
import shutil
from pathlib import Path

import pytest
import tomlkit

from preview.scene.faults import CovecastError, SceneFaults
from preview.scene.read import read_scene
from preview.scene.write import edit_scene, new_scene

DATA = Path(__file__).parent / "data"
TEXT = (DATA / "corner.toml").read_text(encoding="utf-8")


@pytest.fixture
def file(tmp_path: Path) -> Path:
    shutil.copy(DATA / "corner.toml", tmp_path / "corner.toml")
    return tmp_path / "corner.toml"


def more_amps(document: tomlkit.TOMLDocument) -> None:
    document["supply"]["psu"]["amps"] = 10.0  # type: ignore[index]


def test_one_value_changes_and_nothing_else(file: Path) -> None:
    diff = edit_scene(file, more_amps)
    assert read_scene(file).supply["psu"].amps == 10
    assert file.read_text(encoding="utf-8") == TEXT.replace("amps = 5.0", "amps = 10.0")
    changed = [row for row in diff.splitlines() if row[:1] in "+-" and row[:3] not in ("+++", "---")]
    assert changed == ["-amps = 5.0", "+amps = 10.0"]
    assert [path.name for path in file.parent.iterdir()] == ["corner.toml"]


def test_a_feed_can_be_added(file: Path) -> None:
    def another_feed(document: tomlkit.TOMLDocument) -> None:
        feed = tomlkit.table()
        feed.update({"from": "psu", "run": "plinth", "at_m": 2.0, "cable": {"awg": 18, "length_m": 1.0}})
        document["feed"].append(feed)  # type: ignore[union-attr]

    diff = edit_scene(file, another_feed)
    scene = read_scene(file)
    assert (len(scene.feed), scene.feed[2].run) == (3, "plinth")
    assert not [row for row in diff.splitlines() if row.startswith("-") and not row.startswith("---")]


def test_a_dry_run_writes_nothing(file: Path) -> None:
    assert "+amps = 10.0" in edit_scene(file, more_amps, dry_run=True)
    assert file.read_text(encoding="utf-8") == TEXT


def test_nothing_changed_is_an_empty_diff(file: Path) -> None:
    before = file.stat().st_mtime_ns
    assert edit_scene(file, lambda document: None) == ""
    assert file.stat().st_mtime_ns == before


def test_a_change_that_makes_no_scene_is_refused(file: Path) -> None:
    def wrong(document: tomlkit.TOMLDocument) -> None:
        document["feed"][0]["run"] = "shelv"  # type: ignore[index]

    with pytest.raises(SceneFaults, match="did you mean shelf"):
        edit_scene(file, wrong)
    assert file.read_text(encoding="utf-8") == TEXT


def test_links_permissions_and_line_ends_stay(file: Path) -> None:
    file.write_bytes(TEXT.replace("\n", "\r\n").encode())
    file.chmod(0o640)
    link = file.parent / "link.toml"
    link.symlink_to(file)
    edit_scene(link, more_amps)
    assert link.is_symlink()
    assert file.stat().st_mode & 0o777 == 0o640
    assert file.read_bytes() == TEXT.replace("amps = 5.0", "amps = 10.0").replace("\n", "\r\n").encode()


def test_a_failure_while_writing_leaves_the_file_and_no_other(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(source: str, target: str) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", fail)
    with pytest.raises(CovecastError, match="no space left on device"):
        edit_scene(file, more_amps)
    assert file.read_text(encoding="utf-8") == TEXT
    assert [path.name for path in file.parent.iterdir()] == ["corner.toml"]


def test_a_new_file_is_not_put_over_an_old_one(file: Path) -> None:
    with pytest.raises(CovecastError, match="one that is there already; --force replaces it"):
        new_scene(file, TEXT)
    new_scene(file, TEXT.replace("amps = 5.0", "amps = 6.0"), force=True)
    assert read_scene(file).supply["psu"].amps == 6
    with pytest.raises(CovecastError, match="found a folder"):
        new_scene(file.parent, TEXT, force=True)
    with pytest.raises(CovecastError, match="a folder that can be written to"):
        new_scene(file.parent / "none" / "new.toml", TEXT)
    with pytest.raises(SceneFaults):
        new_scene(file.parent / "bad.toml", "format = 1")
    assert not (file.parent / "bad.toml").exists()
