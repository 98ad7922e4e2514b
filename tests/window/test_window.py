"""The window as a client sees it: a real X window under Xvfb, driven by xdotool, seen through the server's own frame buffer.

One window serves most of the tests, each of which leaves it as it found it: playing its first look, at the planned level.
"""

import contextlib
import ctypes
import ctypes.util
import os
import shutil
import signal
import struct
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from preview.window.palette import ACCENT, AMBER

from ..conftest import until

NEEDED = ("Xvfb", "xdotool")
MISSING = [name for name in NEEDED if shutil.which(name) is None]
COVECAST = (sys.executable, "-c", "from preview.cli import main; main()")
Picture = NDArray[np.int_]

GREEN = '''"""Green all over."""
import numpy as np

MOOD = "calm"
DIALS = ()


def light(place, time_s, dials, seed):
    return np.broadcast_to([0.0, 1.0, 0.0], (len(time_s), place.groups, 3)).copy()
'''


@dataclass(frozen=True)
class Display:
    """An X server: its name, and the file that it draws into (XWD, as in the X Window System's XWDFile.h)."""

    name: str
    buffer: Path

    def photograph(self, wide: int, high: int) -> Picture:
        """The top left of the screen (high, wide, 3)."""
        raw = self.buffer.read_bytes()
        head = struct.unpack(">25I", raw[:100])
        size, width, height, line, colours = head[0], head[4], head[5], head[12], head[19]
        start = size + 12 * colours
        rows = np.frombuffer(raw, np.uint8, line * height, start).reshape(height, line)
        return rows[:, : 4 * width].reshape(height, width, 4)[:high, :wide, 2::-1].astype(int)


@pytest.fixture(scope="module")
def display(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Display]:
    """A screen of its own, on a number that the X server chooses."""
    if MISSING:
        if os.environ.get("CI"):
            pytest.fail(f"in CI nothing is skipped, and these are missing: {', '.join(MISSING)}")
        pytest.skip(f"system programs are missing: {', '.join(MISSING)}")
    read, write = os.pipe()
    folder = str(tmp_path_factory.mktemp("screen"))
    # Without -noreset the server starts anew whenever its last client has gone, and the window may come just then.
    server = subprocess.Popen(
        [
            "Xvfb",
            "-displayfd",
            str(write),
            "-screen",
            "0",
            "1300x900x24",
            "-noreset",
            "-nolisten",
            "tcp",
            "-fbdir",
            folder,
        ],
        pass_fds=[write],
        stderr=subprocess.DEVNULL,
    )
    os.close(write)
    with os.fdopen(read) as lines:
        number = lines.readline().strip()
    assert number, "Xvfb did not start"
    yield Display(f":{number}", Path(folder) / "Xvfb_screen0")
    server.terminate()
    server.wait(timeout=20)


class Screen:
    """The window of one `covecast show`, its keys and its photographs."""

    def __init__(self, display: Display, scene: Path, size: tuple[int, int] = (640, 480)) -> None:
        self.display = display
        self.size = size
        self.env = {**os.environ, "DISPLAY": display.name, "XDG_DATA_HOME": str(scene.parent)}
        self.env.pop("SDL_VIDEODRIVER", None)
        self.env.pop("WAYLAND_DISPLAY", None)
        self.process = subprocess.Popen(
            [*COVECAST, "show", str(scene), "--size", f"{size[0]}x{size[1]}"],
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
        if self.window:
            self.xdotool("windowmove", self.window, "0", "0")
        return bool(self.window)

    def key(self, *keys: str) -> None:
        self.xdotool("key", "--delay", "40", *keys)

    def photograph(self) -> Picture:
        """The window (h, w, 3), which is at the screen's top left."""
        return self.display.photograph(*self.size)

    def resized(self) -> tuple[int, int]:
        """The size that the X server gives the window."""
        lines = self.xdotool("getwindowgeometry", "--shell", self.window).split("\n")
        found = dict(line.partition("=")[::2] for line in lines)
        return int(found["WIDTH"]), int(found["HEIGHT"])

    def room(self) -> Picture:
        """The upper half of the window: nothing but room."""
        picture = self.photograph()
        return picture[: picture.shape[0] // 2]

    def mean(self) -> Picture:
        return self.room().mean(axis=(0, 1))

    def is_lit(self) -> bool:
        # Before the room is lit there are thin lines on a ground of sRGB 14: a mean of 40 cannot come from them.
        return bool(self.room().mean() > 40)

    def is_red(self) -> bool:
        red, _, blue = self.mean()
        return bool(red > 2 * blue and red > 40)

    def is_blue(self) -> bool:
        red, _, blue = self.mean()
        return bool(blue > 2 * red and blue > 40)

    def is_green(self) -> bool:
        red, green, blue = self.mean()
        return bool(green > 1.5 * red and green > 1.5 * blue and green > 40)

    def close_button(self) -> None:
        """What a window manager sends when its close button is pressed (ICCCM 4.2.8.1)."""
        xlib = ctypes.CDLL(ctypes.util.find_library("X11") or "libX11.so.6")
        xlib.XOpenDisplay.restype = ctypes.c_void_p
        xlib.XInternAtom.restype = ctypes.c_ulong
        opened = ctypes.c_void_p(xlib.XOpenDisplay(self.display.name.encode()))
        message = (
            ctypes.c_long * 24
        )()  # XClientMessageEvent: type, serial, send_event, display, window, type, format, data
        message[0] = 33
        message[4] = int(self.window)
        message[5] = xlib.XInternAtom(opened, b"WM_PROTOCOLS", 0)
        message[6] = 32
        message[7] = xlib.XInternAtom(opened, b"WM_DELETE_WINDOW", 0)
        xlib.XSendEvent(opened, ctypes.c_ulong(int(self.window)), 0, ctypes.c_long(0), ctypes.byref(message))
        xlib.XCloseDisplay(opened)

    def ended(self) -> tuple[int, str, str]:
        out, err = self.process.communicate(timeout=60)
        return self.process.returncode, out, err

    def dispose(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.communicate(timeout=20)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory, small_room_text: str, programme_text: str) -> Path:
    """The scene's folder, and the user's own folder of effects in it."""
    folder = tmp_path_factory.mktemp("client")
    own = folder / "covecast" / "effects"
    own.mkdir(parents=True)
    (own / "own_light.py").write_text(GREEN)
    (folder / "room.toml").write_text(
        small_room_text + '[[look]]\nname = "own"\neffect = "own_light"\nseconds = 4\n' + programme_text
    )
    return folder


@pytest.fixture(scope="module")
def shared(display: Display, folder: Path) -> Iterator[Screen]:
    screen = Screen(display, folder / "room.toml")
    until(screen.opened, "a window")
    until(screen.is_lit, "a lit room")
    yield screen
    screen.dispose()


@pytest.fixture
def screen(shared: Screen) -> Screen:
    assert shared.process.poll() is None, shared.process.communicate()[1]
    shared.key("1", "p")
    until(shared.is_red, "the first look, which is red")
    return shared


def test_looks_and_level(screen: Screen) -> None:
    screen.key("2")
    until(screen.is_blue, "the second look, which is blue")
    lit = screen.room().mean()
    screen.key("0")
    until(lambda: screen.room().mean() < 0.5 * lit, "a darker room at level nothing")
    screen.key("p")
    until(lambda: abs(screen.room().mean() - lit) < 0.1 * lit, "the light of the planned level again")


def test_playing_pausing_and_stepping(screen: Screen) -> None:
    screen.key("3")
    first = screen.room()
    until(lambda: np.abs(screen.room() - first).max() > 10, "movement while it plays")
    screen.key("space")
    time.sleep(0.6)
    stands = screen.room()
    time.sleep(0.3)
    assert np.array_equal(stands, screen.room()), "nothing moves while it pauses"
    screen.key("Right")
    until(lambda: not np.array_equal(stands, screen.room()), "another moment, a second on")
    screen.key("Left")
    until(lambda: np.abs(screen.room() - stands).max() <= 2, "the first moment again")
    screen.key("space")


def test_scrubbing_with_the_pointer(screen: Screen) -> None:
    screen.key("5", "space")  # the programme: red for two seconds, then blue
    until(screen.is_red, "the start of the programme")
    height, width, _ = screen.photograph().shape
    y = height - 70  # the curves, in the lower part of the ledge at this size: from the label's end to the right margin
    screen.xdotool("mousemove", "--window", screen.window, str(width // 3), str(y - 50), "mousedown", "1")
    screen.xdotool("mousemove", "--window", screen.window, str(width - 40), str(y - 50))
    until(screen.is_blue, "the end of the programme under the pointer")
    screen.xdotool("mouseup", "1")
    screen.key("Home")
    until(screen.is_red, "its start again")
    screen.key("space")


def test_the_programme_plays_with_its_fade(screen: Screen) -> None:
    screen.key("5", "space", "Home", "Right", "Right", "Right", "Right")  # 4 s: past the fade of 1 s from 2 s on
    until(screen.is_blue, "its second look, which is blue")
    screen.key("Home", "Right", "Right", *["shift+Right"] * 15)
    # 2.5 s: half way through the fade, as much red as blue by the eased share of one half
    until(lambda: 0.4 < screen.mean()[0] / screen.mean()[2] < 2.5, "both of them in the middle of the fade")
    screen.key("space")


def test_instruments_and_pages(screen: Screen) -> None:
    ledge = screen.photograph()[-60:]
    assert ledge.mean() < 60, "the ledge is dark"
    screen.key("i")
    until(lambda: np.abs(screen.photograph()[-60:] - ledge).mean() > 10, "the room without instruments")
    screen.key("i")
    until(lambda: np.abs(screen.photograph()[-60:] - ledge).mean() < 5, "the instruments again")
    before = screen.photograph()[40:200, 120:500].mean()
    for key in ("F1", "b", "e", "a"):
        screen.key(key)
        until(lambda: screen.photograph()[100:160, 160:460].mean() < 0.8 * before, f"the page of {key}, on dark paper")
    screen.key("Escape")
    until(lambda: screen.photograph()[40:200, 120:500].mean() > 0.9 * before, "the room again")


def test_without_drop_and_side_by_side(screen: Screen) -> None:
    resize(screen, (1280, 860))  # where there is room for the words
    screen.key("space", "Home")  # nothing moves, so that what is counted changes with the words alone

    def marked() -> int:
        return coloured(screen.photograph()[-170:], ACCENT)

    with_drop = at_rest(marked)
    screen.key("d")
    until(lambda: marked() > with_drop + 20, "the ledge says that it is without drop")
    assert screen.is_lit()
    without_drop = at_rest(marked)
    screen.key("d")
    until(lambda: marked() < without_drop - 20, "with drop again")
    screen.key("space")
    screen.key("s")
    middle = screen.room().shape[1] // 2
    until(lambda: screen.room()[:, middle].mean() < 30, "a dark line down the middle")
    screen.key("s")
    until(lambda: screen.room()[:, middle].mean() > 40, "no line")
    resize(screen, (640, 480))


def test_readings_of_a_group(screen: Screen) -> None:
    screen.key("space")
    time.sleep(0.3)
    before = screen.photograph()
    screen.key("g")
    until(lambda: not np.array_equal(screen.photograph()[: before.shape[0] // 2], screen_top(before)), "a label")
    screen.key("Escape", "space")


def at_rest(seen: Callable[[], int]) -> int:
    """What is seen, once it has stayed the same for a second: a slow machine draws a change in several steps."""
    last, since = seen(), time.monotonic()
    while time.monotonic() < since + 1.0:
        time.sleep(0.05)
        now = seen()
        if now != last:
            last, since = now, time.monotonic()
    return last


def screen_top(picture: Picture) -> Picture:
    return picture[: picture.shape[0] // 2]


def resize(screen: Screen, size: tuple[int, int]) -> None:
    screen.xdotool("windowsize", screen.window, str(size[0]), str(size[1]))
    until(lambda: screen.resized() == size, "another size")
    screen.size = size
    until(screen.is_red, "a lit room at that size")
    until(lambda: screen.photograph()[-6:, -6:].mean() < 60, "the ledge to the last corner")


@pytest.mark.parametrize("size", [(1280, 860), (560, 420), (1290, 430), (640, 480)])
def test_resizing(screen: Screen, size: tuple[int, int]) -> None:
    resize(screen, size)


def test_a_script_that_is_saved_is_shown_and_its_mistakes_are_said(screen: Screen, folder: Path) -> None:
    script = folder / "covecast" / "effects" / "own_light.py"
    screen.key("4")
    until(screen.is_green, "the user's own effect")
    script.write_text(GREEN.replace("0.0, 1.0, 0.0", "0.0, 0.0, 1.0"))
    until(screen.is_blue, "the effect as it was saved, while it plays")
    screen.key("space")
    script.write_text(GREEN.replace("0.0, 1.0, 0.0", "1.0, 0.0, 0.0"))
    until(screen.is_red, "the effect as it was saved, while it stands")
    foot = amber(screen)
    script.write_text(GREEN.replace("return", "retrun"))
    until(lambda: amber(screen) > foot + 20, "the mistake, beside an amber bar")
    assert screen.is_red(), "the last good picture stays"
    script.write_text(GREEN)
    until(screen.is_green, "the mended effect")
    until(lambda: amber(screen) <= foot, "no mistake any more")
    screen.key("space")


def amber(screen: Screen) -> int:
    """How many pixels of the room have the colour that is kept for what is wrong."""
    return coloured(screen.photograph(), AMBER)


def coloured(picture: Picture, rgb: tuple[int, int, int]) -> int:
    """How many pixels of a picture have a colour, within a few codes."""
    return int((np.abs(picture - rgb).max(axis=2) < 4).sum())


def test_a_scene_that_is_saved_is_shown_and_its_faults_are_said(screen: Screen, folder: Path) -> None:
    file = folder / "room.toml"
    good = file.read_text()
    file.write_text(good.replace("hue_deg = 0 }", "hue_deg = 250 }"))
    until(screen.is_blue, "the first look in the colour that was saved")
    foot = amber(screen)
    file.write_text(good.replace("effect = ", "efect = ", 1))
    until(lambda: amber(screen) > foot + 20, "the fault, beside an amber bar")
    file.write_text("")
    time.sleep(0.6)
    assert screen.process.poll() is None
    assert screen.is_blue(), "the last good scene stays"
    file.write_text(good)
    until(screen.is_red, "the mended scene")
    until(lambda: amber(screen) <= foot, "no fault any more")


def test_escape_closes_in_the_end(screen: Screen) -> None:
    screen.key("Escape")
    code, out, err = screen.ended()
    assert code == 0, err
    assert "Traceback" not in err
    assert out == ""


@pytest.fixture
def early(display: Display, small_room: Path) -> Iterator[Screen]:
    """A window that has only just come: its room is not yet lit, or its looks are still being worked out."""
    screen = Screen(display, small_room, (1200, 800))
    until(screen.opened, "a window")
    yield screen
    screen.dispose()


def test_the_close_button_closes(early: Screen) -> None:
    early.close_button()
    code, _, err = early.ended()
    assert code == 0, err
    assert "Traceback" not in err


def test_control_c_ends_it_calmly(early: Screen) -> None:
    early.process.send_signal(signal.SIGINT)
    code, _, err = early.ended()
    assert code in (0, 130)  # 128 + 2, as shells give for an interrupted program
    assert "Traceback" not in err


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
        (["--size", "big"], "640x360"),
        (["--look", "blu"], "blue"),
    ],
)
def test_a_wrong_call_is_said_plainly(
    words: list[str], said: str, small_room: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from preview.cli import main

    monkeypatch.setattr(sys, "argv", ["covecast", "show", str(small_room), *words])
    with contextlib.suppress(SystemExit):
        main()
        pytest.fail("it was taken as right")
    told = capsys.readouterr()
    assert said in told.err
    assert "Traceback" not in told.err
    assert told.out == ""
