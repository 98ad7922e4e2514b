"""What may be overwritten, and what the manifest knows."""

import hashlib
import json
from pathlib import Path

import pytest

from preview.pack.folder import MANIFEST, PackError, aside, check_target, foreign_in, manifest_of


def pack_in(folder: Path) -> Path:
    (folder / "clips").mkdir(parents=True)
    (folder / "readings.csv").write_text("place,read\n")
    (folder / "clips" / "a.mp4").write_bytes(b"clip")
    (folder / MANIFEST).write_text(manifest_of(folder, {"scene": "x"}))
    return folder


def test_manifest(tmp_path: Path) -> None:
    folder = pack_in(tmp_path / "pack")
    held = json.loads((folder / MANIFEST).read_text())
    assert {entry["file"]: (entry["bytes"], entry["sha256"]) for entry in held["files"]} == {
        "clips/a.mp4": (4, hashlib.sha256(b"clip").hexdigest()),
        "readings.csv": (11, hashlib.sha256(b"place,read\n").hexdigest()),
    }
    assert foreign_in(folder) == []


def test_what_is_new_or_empty_or_ours_may_be_replaced(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    for folder in (tmp_path / "new", tmp_path / "empty", pack_in(tmp_path / "pack")):
        assert check_target(folder, force=False) is False


@pytest.mark.parametrize("change", ["filled in", "added", "no manifest", "another manifest", "broken manifest"])
def test_what_is_not_as_it_was_written_is_left(change: str, tmp_path: Path) -> None:
    folder = pack_in(tmp_path / "pack")
    if change == "filled in":
        (folder / "readings.csv").write_text("place,read\nfeed 0,11.9\n")
    elif change == "added":
        (folder / "clips" / "notes.txt").write_text("mine")
    elif change == "no manifest":
        (folder / MANIFEST).unlink()
    else:
        (folder / MANIFEST).write_text("[]" if change == "another manifest" else "{")
    with pytest.raises(PackError, match=r"pack\.before"):
        check_target(folder, force=False)
    assert check_target(folder, force=True) is True


def test_a_folder_that_one_works_in(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "in").mkdir()
    monkeypatch.chdir(tmp_path / "in")
    for folder in (Path(), tmp_path, Path.home()):
        with pytest.raises(PackError, match="work in"):
            check_target(folder, force=True)


def test_a_file(tmp_path: Path) -> None:
    (tmp_path / "pack").write_text("")
    with pytest.raises(PackError, match="found a file"):
        check_target(tmp_path / "pack", force=True)


def test_names_to_set_aside(tmp_path: Path) -> None:
    assert aside(tmp_path / "pack").name == "pack.before"
    (tmp_path / "pack.before").mkdir()
    assert aside(tmp_path / "pack").name == "pack.before-2"
