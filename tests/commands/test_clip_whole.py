"""Clips whole or not at all: scripts that go wrong, flashing, Ctrl-C, every look at once and again, memory that stays flat."""

import contextlib
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from preview.handover.batch import stamp_of
from preview.handover.clips import Wish
from preview.looks.library import own_folder
from preview.scene.read import read_scene

from ..conftest import TRIAL, until
from .conftest import pictures_in

# All on and off, five times a second: each second has five pairs of opposing changes, which WCAG 2.2 calls five flashes.
FIVE_A_SECOND = "np.repeat((np.floor(10 * time_s) % 2 == 0)[:, None, None], place.groups, 1).repeat(3, 2).astype(float)"
SMALL = ["--size", "64x36", "--fps", "20"]


def script(body: str) -> Path:
    own_folder().mkdir(parents=True, exist_ok=True)
    (own_folder() / "trial.py").write_text(TRIAL.format(body=body))
    return own_folder() / "trial.py"


@pytest.fixture
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, plan: Path) -> Path:
    """The plan with one more look by a script in the user's own folder; the light that was worked out is kept elsewhere."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    script("np.zeros((len(time_s), place.groups, 3))")
    plan.write_text(plan.read_text() + '[[look]]\nname = "trial"\neffect = "trial"\nseconds = 2\n')
    return plan


@pytest.mark.parametrize(
    ("body", "says"),
    [
        ("np.where(time_s > 1, np.nan, 0)[:, None, None] + np.zeros((1, place.groups, 3))", r"trial\.py:8: .*nan.* at 1\."),
        ("time_s.no_such", r"trial\.py:10: .*AttributeError"),
        ("np.zeros((2, 2))", r"trial\.py:8: .*\(2, 2\), expected numbers of shape"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("name", ["a.gif", "a.mp4", "a.webp", "frames/"])
def test_a_script_that_goes_wrong_midway(body: str, says: str, name: str, own: Path, out: Path, covecast) -> None:
    script(body)
    code, said, told = covecast("clip", own, f"{out}/{name}", "--look", "trial", *SMALL)
    assert (code, said) == (2, "")
    assert re.search(says, told)
    assert "Traceback" not in told
    assert not list(out.iterdir())


@pytest.mark.parametrize("name", ["a.gif", "a.mp4", "a.webp", "frames/"])
def test_a_clip_that_flashes_is_refused(name: str, own: Path, out: Path, covecast) -> None:
    script(FIVE_A_SECOND)
    code, said, told = covecast("clip", own, f"{out}/{name}", "--look", "trial", "--exposure", 2, *SMALL)
    assert (code, said) == (2, "")
    assert re.search(
        r"look 'trial': at least [3-5](\.5)? general flashes in the second from 0\.\d\d s, 3 are allowed", told
    )
    assert "--allow-flashing" in told
    assert not list(out.iterdir())


def comment_in(path: Path) -> str:
    if path.suffix == ".mp4":
        asked = ["-show_entries", "format_tags=comment", "-of", "csv=p=0", str(path)]
        return subprocess.run(["ffprobe", "-v", "error", *asked], capture_output=True, check=True, text=True).stdout
    with Image.open(path) as image:
        return str(image.info.get("comment", image.info.get("xmp", b"")))


@pytest.mark.skipif(shutil.which("ffprobe") is None, reason="ffprobe is not installed")
@pytest.mark.parametrize("ending", ["gif", "mp4", "webp"])
def test_flashing_that_is_allowed_marks_the_file(ending: str, own: Path, out: Path, covecast) -> None:
    script(FIVE_A_SECOND)
    words = [*SMALL, "--exposure", 2, "--allow-flashing"]
    code, _, told = covecast("clip", own, out / f"a.{ending}", "--look", "trial", *words)
    assert code == 0, told
    # A second that begins with a change has one more change at its end.
    mark = r"Caution: 5(\.5)? general flashes in the second from "
    assert re.search(mark, told)
    assert re.search(mark, comment_in(out / f"a.{ending}"))
    # What does not flash is not marked, allowed or not.
    covecast("clip", own, out / f"b.{ending}", "--look", "water", *words)
    assert "Caution" not in comment_in(out / f"b.{ending}")


@pytest.mark.skipif(shutil.which("ffmpeg") is None, reason="ffmpeg is not installed")
@pytest.mark.parametrize("name", ["a.gif", "a.mp4", "a.webp", "frames/"])
def test_flashing_that_is_allowed_shows_in_the_pictures(name: str, own: Path, out: Path, covecast) -> None:
    """Against the picture of the same moment without it: a line at the foot differs and nothing else does."""
    script(FIVE_A_SECOND)
    size = ["--size", "160x90", "--exposure", 2]
    for look, marked in (("trial", True), ("water", False)):
        there = f"{out}/{look}-{name}"
        words = ["--look", look, "--fps", "20", "--seconds", "1", "--once", "--allow-flashing", *size]
        assert covecast("clip", own, there, *words)[0] == 0
        assert covecast("clip", own, out / f"{look}.png", "--look", look, "--at", "0", *size)[0] == 0
        first, plain = pictures_in(Path(there))[0], pictures_in(out / f"{look}.png")[0]
        differs = np.abs(first.astype(float) - plain).mean(axis=2) > 60  # more than any of the formats loses
        foot = differs[70:, :120]
        assert (foot.mean() > 0.03) == marked
        assert differs.sum() == foot.sum()


def test_the_plan_may_allow_fewer_flashes_and_not_more(own: Path, out: Path, covecast) -> None:
    script(FIVE_A_SECOND.replace("10 * time_s", "4 * time_s"))  # two a second
    words = ["--look", "trial", "--exposure", 2, *SMALL]
    assert covecast("clip", own, out / "a.gif", *words)[0] == 0
    plan = own.read_text()
    own.write_text(plan + "[limits]\nflashes_per_s = 1\n")
    code, _, told = covecast("clip", own, out / "b.gif", *words)
    assert code == 2
    assert "1 are allowed" in told
    script(FIVE_A_SECOND)
    own.write_text(plan + "[limits]\nflashes_per_s = 50\n")
    assert covecast("clip", own, out / "c.gif", *words)[0] == 2
    assert [file.name for file in out.iterdir()] == ["a.gif"]


def started(*words: object) -> subprocess.Popen[str]:
    code = "import sys; from preview.cli import main; main()"
    return subprocess.Popen(
        [sys.executable, "-c", code, *map(str, words)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        env={**os.environ, "OMP_NUM_THREADS": "1"},
    )


def children(pid: int) -> list[int]:
    found = []
    for task in Path(f"/proc/{pid}/task").glob("*/children"):
        for child in task.read_text().split():
            found += [int(child), *children(int(child))]
    return found


def encoders(pid: int) -> list[int]:
    return [child for child in children(pid) if "ffmpeg" in Path(f"/proc/{child}/cmdline").read_text()]


def written_so_far(pid: int, folder: Path) -> int:
    """Bytes in the files below a folder that a process and its children hold open, those without a name included."""
    total = 0
    for process in (pid, *children(pid)):
        with contextlib.suppress(FileNotFoundError):  # a process or a file that has gone in the meantime
            for held in Path(f"/proc/{process}/fd").iterdir():
                with contextlib.suppress(FileNotFoundError):
                    if os.readlink(held).startswith(f"{folder}/"):
                        total += held.stat().st_size
    return total


@pytest.mark.skipif(not Path("/proc/self/task").is_dir(), reason="processes are looked up as on Linux")
@pytest.mark.parametrize(
    ("name", "number"),
    [
        ("a.gif", signal.SIGINT),
        ("a.mp4", signal.SIGTERM),
        ("frames/", signal.SIGINT),
        ("clips/ --all", signal.SIGINT),
        ("clips/ --all", signal.SIGTERM),
    ],
)
def test_ctrl_c_leaves_nothing(name: str, number: signal.Signals, moving: str, tmp_path: Path, out: Path) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text(moving.replace("seconds = 4", "seconds = 3000").replace("seconds = 2", "seconds = 3000"))
    first, *words = name.split()
    process = started("clip", plan, f"{out}/{first}", "--size", "320x180", *words)
    try:
        if name == "frames/":
            until(lambda: len(list(out.glob(".frames.part-*/*"))) > 1, "pictures in the folder that is not placed yet")
        elif name == "a.mp4":
            until(lambda: encoders(process.pid), "an encoder")
            time.sleep(0.3)
        else:  # a GIF is compressed in the process itself: its file has pictures in it and no name yet
            until(lambda: process.poll() is not None or written_so_far(process.pid, out) > 20_000, "pictures in a file")
        assert process.poll() is None, process.communicate()
        others = children(process.pid)
        os.killpg(process.pid, number) if number is signal.SIGINT else process.send_signal(number)
        said, told = process.communicate(timeout=60)
    finally:
        if process.poll() is None:
            process.kill()
    assert process.returncode == 130
    assert said == ""
    assert told.splitlines()[-1] == "Stopped. Nothing half-written was left behind."
    assert "Traceback" not in told
    assert list(out.iterdir()) == []  # not even the folder that was to hold every look
    until(lambda: not any(Path(f"/proc/{child}").exists() for child in others), "the end of every worker", 20)


@pytest.mark.skipif(not Path("/proc/self/task").is_dir(), reason="processes are looked up as on Linux")
def test_workers_leave_when_their_caller_is_killed(moving: str, tmp_path: Path, out: Path) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text(moving.replace("seconds = 4", "seconds = 3000").replace("seconds = 2", "seconds = 3000"))
    process = started("clip", plan, f"{out}/clips/", "--size", "320x180", "--all", "--as", "mp4")
    try:
        until(lambda: encoders(process.pid), "an encoder")
        others = children(process.pid)
    finally:
        process.kill()
        process.communicate(timeout=60)
    until(lambda: not any(Path(f"/proc/{child}").exists() for child in others), "the end of every worker", 20)
    assert [file for file in out.rglob("*") if file.name not in ("clips",)] == []


def test_workers_leave_quietly(plan: Path, out: Path) -> None:
    words = [plan, f"{out}/c", "--all", "--seconds", 0.2, "--jobs", 2, *SMALL]  # a folder, though no slash says so
    process = started("clip", *words)
    said, told = process.communicate(timeout=120)
    assert process.returncode == 0
    assert said.count("pictures") == 3
    assert told == ""
    assert len(list((out / "c").glob("*.gif"))) == 3


def test_every_look_at_once_and_again_only_where_it_changed(own: Path, out: Path, covecast) -> None:
    own.write_text(own.read_text() + '[[programme]]\nlook = "water"\n[[programme]]\nlook = "full"\nfade_s = 1\n')
    words = ["clip", own, f"{out}/c/", "--all", "--seconds", 0.4, "--jobs", 2, *SMALL]
    names = ["full.gif", "programme.gif", "soft-dusk.gif", "trial.gif", "water.gif"]
    code, said, told = covecast(*words)
    assert code == 0, told
    assert sorted(re.findall(r"c/([\w.-]+): ", said)) == names
    assert sorted(file.name for file in (out / "c").iterdir()) == ["clips.json", *names]
    assert [len(pictures_in(out / "c" / name)) for name in names] == [8] * 5
    # The same as one by one.
    covecast("clip", own, out / "one.gif", "--look", "water", "--seconds", 0.4, *SMALL)
    assert (out / "one.gif").read_bytes() == (out / "c/water.gif").read_bytes()

    def written() -> set[str]:
        code, said, told = covecast(*words)
        assert code == 0, told
        kept = set(re.findall(r"c/([\w.-]+): [^\n]*, kept", said))
        assert kept | set(re.findall(r"c/([\w.-]+): ", said)) == set(names)
        return set(names) - kept

    assert written() == set()
    script("np.ones((len(time_s), place.groups, 3))")  # the script of one look: that look
    own.write_text(
        own.read_text().replace("level = 0.8", "level = 0.7")
    )  # one look: that, and the programme that plays it
    (out / "c/full.gif").write_bytes(b"not a clip")  # one that is not what was written
    (out / "c/soft-dusk.gif").unlink()  # one that is gone
    assert written() == set(names)
    (out / "c/soft-dusk.gif").unlink()
    assert written() == {"soft-dusk.gif"}
    assert set(json.loads((out / "c/clips.json").read_text())["clips"]) == set(names)


def test_a_stamp_changes_with_everything_that_a_clip_is_made_of(own: Path) -> None:
    def stamp(look: int = 0, **options: object) -> str:
        scene = read_scene(own)
        return stamp_of(scene, scene.look[look], replace(Wish(), **options))

    first = stamp()
    assert stamp() == first
    others = [
        stamp(1),
        stamp(size=(64, 36)),
        stamp(level=0.5),
        stamp(caption="x"),
        stamp(wipe="unlit"),
        stamp(mail_mb=2.0),
    ]
    own.write_text(own.read_text().replace("leds_per_m = 84", "leds_per_m = 60"))
    others.append(stamp())
    assert len({first, *others}) == 1 + len(others)


def test_of_every_look_one_that_fails_keeps_no_other_back(own: Path, out: Path, covecast) -> None:
    script("np.zeros((2, 2))")
    code, said, told = covecast("clip", own, f"{out}/c/", "--all", "--as", "webp", "--seconds", 0.5, *SMALL)
    assert code == 2
    assert "trial.py:8" in told
    assert "Traceback" not in told
    assert sorted(file.name for file in (out / "c").iterdir()) == [
        "clips.json",
        "full.webp",
        "soft-dusk.webp",
        "water.webp",
    ]
    script("np.zeros((len(time_s), place.groups, 3))")  # mended: the rest is kept
    code, said, _ = covecast("clip", own, f"{out}/c/", "--all", "--as", "webp", "--seconds", 0.5, *SMALL)
    assert code == 0
    assert said.count("kept") == 3
    assert "trial.webp: trial, 10 pictures" in said


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="peak memory is read as on Linux")
def test_memory_does_not_grow_with_the_clip(moving: str, tmp_path: Path, out: Path) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text(moving.replace("seconds = 4", "seconds = 60"))
    # The peak of this program alone; what getrusage says is also that of the process that started it.
    code = (
        "import sys\nfrom pathlib import Path\nfrom preview.cli import main\ntry:\n    main()\n"
        "finally:\n    print(Path('/proc/self/status').read_text().split('VmHWM:')[1].split()[0])\n"
    )
    peaks = []
    for seconds in (2, 24):
        words = ["clip", plan, out / "a.gif", "--size", "320x180", "--seconds", seconds]
        done = subprocess.run(
            [sys.executable, "-c", code, *map(str, words)], capture_output=True, text=True, check=True
        )
        peaks.append(int(done.stdout.split()[-1]) / 1024)
    # 550 more pictures are 95 MB as bytes, 32 MB as palette entries; what grows is a few buffers. A GIF is compressed in this process.
    assert peaks[1] - peaks[0] < 20
