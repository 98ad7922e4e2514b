"""Files are there whole or not at all. Checked against the file system itself, in processes that are really ended."""

import contextlib
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from preview.handover import placing
from preview.handover.ahead import ahead
from preview.handover.placing import PlacingError, ending_cleanly, placing_file, placing_folder


def test_file_appears_only_when_the_block_ends_well(tmp_path: Path) -> None:
    target = tmp_path / "a.bin"
    with placing_file(target) as part:
        part.write_bytes(b"whole")
        assert not target.exists()
    assert target.read_bytes() == b"whole"
    assert [p.name for p in tmp_path.iterdir()] == ["a.bin"]


@pytest.mark.parametrize("named", [False, True])
def test_an_error_leaves_the_old_file_and_nothing_else(
    tmp_path: Path, named: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    if named:  # as on a system without unnamed files
        monkeypatch.setattr(placing, "_unnamed_file", lambda folder, target: None)
    target = tmp_path / "a.bin"
    target.write_bytes(b"old")

    def interrupted() -> None:
        with placing_file(target) as part:
            part.write_bytes(b"half")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        interrupted()
    assert target.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.bin"]
    with placing_file(target) as part:
        part.write_bytes(b"new")
    assert target.read_bytes() == b"new"
    assert [p.name for p in tmp_path.iterdir()] == ["a.bin"]


def test_new_files_get_the_usual_permissions(tmp_path: Path) -> None:
    plain = tmp_path / "plain"
    plain.write_bytes(b"")
    with placing_file(tmp_path / "placed") as part:
        part.write_bytes(b"")
    assert (tmp_path / "placed").stat().st_mode == plain.stat().st_mode


FILE = "placing_file(target) as part: part.write_bytes(b'half'); "
FOLDER = "placing_folder(target, '.*') as part: (part / '1.png').write_bytes(b'half'); "


@pytest.mark.skipif(sys.platform == "win32", reason="signals as on POSIX systems")
@pytest.mark.parametrize("block", [FILE, FOLDER], ids=["file", "folder"])
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT, signal.SIGKILL])
def test_a_process_that_is_ended_leaves_nothing(tmp_path: Path, number: signal.Signals, block: str) -> None:
    if number is signal.SIGKILL and block == FILE and not hasattr(os, "O_TMPFILE"):
        pytest.skip("only Linux has files without a name")
    code = (
        "import sys, time\nfrom pathlib import Path\n"
        "from preview.handover.placing import ending_cleanly, placing_file, placing_folder\n"
        f"target = Path(sys.argv[1])\nwith ending_cleanly(), {block}print('writing', flush=True); time.sleep(60)\n"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", code, str(tmp_path / "target")], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    )
    assert process.stdout is not None
    assert process.stdout.readline() == b"writing\n"
    assert block == FILE or list(tmp_path.iterdir())
    process.send_signal(number)
    assert process.wait(timeout=20) != 0
    process.stdout.close()
    for _ in range(600):  # what clears up after a process that was killed outright takes a moment
        if not list(tmp_path.iterdir()):
            break
        time.sleep(0.1)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(sys.platform == "win32", reason="signals as on POSIX systems")
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_an_interrupt_that_was_dropped_is_raised_at_the_next_picture(number: signal.Signals) -> None:
    """As Python drops one that comes inside a weak reference's callback: it prints it and goes on."""

    def pictures() -> Iterator[int]:
        for k, one in enumerate(ahead(range(100))):
            if k == 2:
                with contextlib.suppress(KeyboardInterrupt):
                    signal.raise_signal(number)
            yield one

    seen: list[int] = []

    def take() -> None:
        with ending_cleanly():
            for one in pictures():
                seen.append(one)  # what was taken before the interrupt counts

    with pytest.raises(KeyboardInterrupt):
        take()
    assert seen == [0, 1, 2]


def test_a_folder_is_replaced_whole_and_foreign_files_are_kept(tmp_path: Path) -> None:
    target = tmp_path / "frames"
    for text in ("one", "two"):
        with placing_folder(target, r"\w+\.txt") as part:
            (part / f"{text}.txt").write_text(text)
    assert [p.name for p in target.iterdir()] == ["two.txt"]
    (target / "letter.doc").write_text("mine")
    with pytest.raises(PlacingError, match=r"letter\.doc"), placing_folder(target, r"\w+\.txt"):
        pass
    assert (target / "letter.doc").read_text() == "mine"
    assert [p.name for p in tmp_path.iterdir()] == ["frames"]


def test_what_a_dead_process_left_is_cleared(tmp_path: Path) -> None:
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    (tmp_path / f".frames.part-{gone.pid}").mkdir()
    (tmp_path / f".frames.part-{os.getppid()}").mkdir()  # still at work
    with placing_folder(tmp_path / "frames", r"\w+"):
        pass
    assert sorted(p.name for p in tmp_path.iterdir()) == [f".frames.part-{os.getppid()}", "frames"]


def test_names_with_brackets_are_cleared_too(tmp_path: Path) -> None:
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    (tmp_path / f".frames[1].part-{gone.pid}").mkdir()
    with placing_folder(tmp_path / "frames[1]", r"\w+"):
        pass
    assert [p.name for p in tmp_path.iterdir()] == ["frames[1]"]


def test_a_folder_that_cannot_be_replaced_stays_and_one_put_aside_comes_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "frames"
    with placing_folder(target, r"\w+") as part:
        (part / "old").write_text("")

    real = os.replace

    def refuse(source: Path, to: Path) -> None:
        if to == target and not source.name.endswith("-old"):
            raise OSError(5, "no")
        real(source, to)

    def fill() -> None:
        with placing_folder(target, r"\w+") as part:
            (part / "new").write_text("")

    monkeypatch.setattr(os, "replace", refuse)
    with pytest.raises(PlacingError, match="cannot be written"):
        fill()
    assert [p.name for p in target.iterdir()] == ["old"]
    assert [p.name for p in tmp_path.iterdir()] == ["frames"]
    monkeypatch.undo()
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    target.rename(tmp_path / f".frames.part-{gone.pid}-old")  # as if killed between the two steps

    def stop() -> None:
        with placing_folder(target, r"\w+"):
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        stop()
    assert [p.name for p in target.iterdir()] == ["old"]
    assert [p.name for p in tmp_path.iterdir()] == ["frames"]


def test_missing_folder_and_folder_as_file_are_named(tmp_path: Path) -> None:
    with pytest.raises(PlacingError, match="expected an existing folder"), placing_file(tmp_path / "no" / "a.gif"):
        pass
    (tmp_path / "dir").mkdir()
    with pytest.raises(PlacingError, match="expected a file name"), placing_file(tmp_path / "dir"):
        pass


def test_a_folder_that_takes_no_files_is_named(tmp_path: Path) -> None:
    folder = tmp_path
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        folder = Path("/proc/self")  # root may write anywhere but here
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(PlacingError, match=r"read-only|cannot be written"), placing_file(folder / "a.gif") as part:
            part.write_bytes(b"")
    finally:
        tmp_path.chmod(0o700)
