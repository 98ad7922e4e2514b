"""The window as a client sees it: a real X window under Xvfb, driven by xdotool, photographed with ImageMagick."""

import io
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

NEEDED = ("Xvfb", "xdotool", "import")
MISSING = [name for name in NEEDED if shutil.which(name) is None]
COVECAST = (sys.executable, "-c", "from preview.cli import main; main()")
Picture = NDArray[np.int_]


def until(true: Callable[[], bool], what: str, seconds: float = 90.0) -> None:
    """Wait until something holds; long, because a machine may be slow, and how long it takes is not what is tested."""
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, f"never: {what}"
        time.sleep(0.1)


@pytest.fixture(scope="module")
def display() -> Iterator[str]:
    """A screen of its own, on a number that the X server chooses."""
    if MISSING:
        if os.environ.get("CI"):
            pytest.fail(f"in CI nothing is skipped, and these are missing: {', '.join(MISSING)}")
        pytest.skip(f"system programs are missing: {', '.join(MISSING)}")
    read, write = os.pipe()
    server = subprocess.Popen(
        ["Xvfb", "-displayfd", str(write), "-screen", "0", "1300x900x24", "-noreset", "-nolisten", "tcp"],
        pass_fds=[write],
        stderr=subprocess.DEVNULL,
    )
    os.close(write)
    with os.fdopen(read) as lines:
        number = lines.readline().strip()
    assert number, "Xvfb did not start"
    yield f":{number}"
    server.terminate()
    server.wait(timeout=20)


class Screen:
    """The window of one `covecast show`, its keys and its photographs."""

    def __init__(self, display: str, scene: Path, size: str = "960x640") -> None:
        self.env = {**os.environ, "DISPLAY": display}
        self.env.pop("SDL_VIDEODRIVER", None)
        self.env.pop("WAYLAND_DISPLAY", None)
        self.process = subprocess.Popen(
            [*COVECAST, "show", str(scene), "--size", size],
            env=self.env,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        self.window = ""

    def xdotool(self, *words: str) -> str:
        done = subprocess.run(["xdotool", *words], env=self.env, capture_output=True, text=True, check=False)
        return done.stdout.strip()

    def opened(self) -> bool:
        assert self.process.poll() is None, self.process.communicate()[1]
        self.window = self.xdotool("search", "--onlyvisible", "--class", "covecast").split("\n")[0]
        return bool(self.window)

    def key(self, *keys: str) -> None:
        for key in keys:
            self.xdotool("key", key)
            time.sleep(0.05)

    def photograph(self) -> Picture:
        done = subprocess.run(
            ["import", "-silent", "-window", self.window, "ppm:-"], env=self.env, capture_output=True, check=True
        )
        return np.asarray(Image.open(io.BytesIO(done.stdout)).convert("RGB")).astype(int)

    def room(self) -> Picture:
        """The upper half of the window: nothing but room."""
        picture = self.photograph()
        return picture[: picture.shape[0] // 2]

    def is_lit(self) -> bool:
        # Before the room is lit there are thin lines on a ground of sRGB 14: a mean of 40 cannot come from them.
        return bool(self.room().mean() > 40)


@pytest.fixture
def screen(display: str, small_room: Path) -> Iterator[Screen]:
    screen = Screen(display, small_room)
    until(screen.opened, "a window")
    until(screen.is_lit, "a lit room")
    yield screen
    if screen.process.poll() is None:
        screen.process.terminate()
        screen.process.communicate(timeout=20)


def test_a_client_at_the_window(screen: Screen) -> None:
    room = screen.room()
    red, _, blue = room.mean(axis=(0, 1))
    assert red > 2 * blue, "the first look is red"

    screen.key("2")
    until(lambda: screen.room()[..., 2].mean() > 2 * screen.room()[..., 0].mean(), "the second look, which is blue")
    lit = screen.room().mean()

    screen.key("0")
    until(lambda: screen.room().mean() < 0.5 * lit, "a darker room at level nothing")
    screen.key("p")
    until(lambda: abs(screen.room().mean() - lit) < 0.1 * lit, "the light of the planned level again")

    screen.key("3")
    first = screen.room()
    until(lambda: np.abs(screen.room() - first).max() > 10, "movement while it plays")
    screen.key("space")
    time.sleep(1.0)
    stands = screen.room()
    time.sleep(0.5)
    assert np.array_equal(stands, screen.room()), "nothing moves while it pauses"
    screen.key("Right")
    until(lambda: not np.array_equal(stands, screen.room()), "another moment, a second on")
    screen.key("space")

    ledge = screen.photograph()[-60:]
    assert ledge.mean() < 60, "the ledge is dark"
    screen.key("i")
    until(lambda: np.abs(screen.photograph()[-60:] - ledge).mean() > 10, "the room without instruments")
    screen.key("i")
    until(lambda: np.abs(screen.photograph()[-60:] - ledge).mean() < 5, "the instruments again")

    before = screen.photograph()[40:300, 200:760]
    screen.key("F1")
    until(lambda: screen.photograph()[40:300, 200:760].mean() < 0.8 * before.mean(), "the list of keys, on dark paper")
    screen.key("Escape")
    until(lambda: screen.photograph()[40:300, 200:760].mean() > 0.8 * before.mean(), "the room again")

    screen.xdotool("windowsize", screen.window, "700", "520")
    until(lambda: screen.photograph().shape == (520, 700, 3), "another size")
    until(screen.is_lit, "a lit room at that size")

    screen.key("q")
    out, err = screen.process.communicate(timeout=60)
    assert screen.process.returncode == 0, err
    assert "Traceback" not in err
    assert out == ""


def test_escape_closes_and_a_click_on_a_look_shows_it(screen: Screen) -> None:
    # The looks' names stand at the top left of the ledge, in the order of the file.
    height = screen.photograph().shape[0]
    for y in range(height - 190, height - 120, 6):
        screen.xdotool("mousemove", "--window", screen.window, "78", str(y), "click", "1")
        time.sleep(0.3)
        if screen.room()[..., 2].mean() > 2 * screen.room()[..., 0].mean():
            break
    until(lambda: screen.room()[..., 2].mean() > 2 * screen.room()[..., 0].mean(), "the look that was clicked on")
    screen.key("Escape")
    _, err = screen.process.communicate(timeout=60)
    assert screen.process.returncode == 0, err


@pytest.mark.parametrize("variable", [{}, {"DISPLAY": ":987"}])
def test_no_display_names_the_commands_that_write_files(variable: dict[str, str], small_room: Path) -> None:
    env = {k: v for k, v in os.environ.items() if k not in ("DISPLAY", "WAYLAND_DISPLAY", "SDL_VIDEODRIVER")}
    done = subprocess.run(
        [*COVECAST, "show", str(small_room)],
        env={**env, **variable},
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert done.returncode == 2
    assert "no display" in done.stderr
    assert f"covecast clip {small_room} OUT.gif" in done.stderr
    assert "covecast demo --to FOLDER" in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--size", "0x0"], "560x420"),
        (["--size", "big"], "1280x720"),
        (["--look", "blu"], "blue"),
    ],
)
def test_a_wrong_call_is_said_plainly(words: list[str], said: str, small_room: Path) -> None:
    done = subprocess.run(
        [*COVECAST, "show", str(small_room), *words],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert done.returncode == 2
    assert said in done.stderr
    assert "Traceback" not in done.stderr
