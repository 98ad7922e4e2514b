"""The event loop on SDL's own stand-in for a screen: full screen, every key at once, many sizes, long and many names."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pygame
import pytest

from preview.looks import library
from preview.looks.flashing import Flashes
from preview.scene.read import read_scene
from preview.window import app
from preview.window.app import Window
from preview.window.figures import moment, open_plan
from preview.window.keys import KEYS
from preview.window.ledge import SMALLEST
from preview.window.model import Session
from preview.window.palette import ACCENT
from preview.window.panel import _words
from preview.window.reading import Reading


@pytest.fixture(scope="module")
def screen() -> Iterator[tuple[int, int]]:
    """SDL's dummy screen, and its size."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SDL_VIDEODRIVER", "dummy")
        pygame.display.init()
        yield pygame.display.get_desktop_sizes()[0]
        pygame.quit()


def window_on(scene: Path, size: tuple[int, int] = (640, 480)) -> Window:
    plan = open_plan(read_scene(scene))
    return Window(plan, Session.of(plan.scene), size, scene, lambda: read_scene(scene))


def press(key: int, mod: int = 0) -> None:
    pygame.event.post(pygame.event.Event(pygame.KEYDOWN, key=key, mod=mod, unicode="", scancode=0))


def test_full_screen(screen: tuple[int, int], small_room: Path) -> None:
    window = window_on(small_room)
    press(pygame.K_f)
    window.run(frames=1)
    assert window.desk.size == screen
    assert window.desk.panel.at.room.w == screen[0]
    window = window_on(small_room)
    press(pygame.K_F11)
    press(pygame.K_F11)
    window.run(frames=1)
    assert window.desk.size == (640, 480)


def test_every_key_at_once_while_the_room_is_being_lit(screen: tuple[int, int], small_room: Path) -> None:
    window = window_on(small_room)
    for _, keys in KEYS:
        for key in keys:
            for code, shift, act in key.acts:
                if act not in ("quit", "full", "back"):
                    press(code, pygame.KMOD_SHIFT if shift else 0)
    window.run(frames=2)
    assert window.canvas.pictures >= 2


def test_control_q_and_the_close_event_end_it(screen: tuple[int, int], small_room: Path) -> None:
    for post in (
        lambda: press(pygame.K_q, pygame.KMOD_CTRL),
        lambda: pygame.event.post(pygame.event.Event(pygame.QUIT)),
    ):
        window = window_on(small_room)
        post()
        window.run()
        assert window.desk.closing


LONG = "a very long name for something that is fixed to the wall behind the counter and goes on and on"


@pytest.fixture(scope="module")
def crowded(tmp_path_factory: pytest.TempPathFactory, small_room_text: str) -> Path:
    """Twenty looks, six supplies, long names."""
    file = tmp_path_factory.mktemp("crowded") / "scene.toml"
    head, _, _ = small_room_text.partition("[supply.psu]")
    parts = [head]
    for k in range(6):
        parts.append(
            f"[supply.supply_{'with_a_long_name_' * 2}{k}]\nvolts = 12\namps = 4\n"
            f'[[run]]\nname = "{LONG} {k}"\nstrip = "glow"\n'
            f"path_m = [[0.4, 1.9, {0.4 + 0.2 * k}], [2.0, 1.9, {0.4 + 0.2 * k}]]\naim = [0, 0, 1]\n"
            f'[[feed]]\nfrom = "supply_{"with_a_long_name_" * 2}{k}"\nrun = "{LONG} {k}"\n'
            "cable = { mm2 = 1.0, length_m = 2.0 }\n"
        )
    parts += [
        f'[[look]]\nname = "{LONG if k % 7 == 3 else "look"} {k}"\neffect = "steady"\nseconds = 4\n' for k in range(20)
    ]
    file.write_text("".join(parts))
    return file


def test_every_size(screen: tuple[int, int], crowded: Path) -> None:
    """Every size draws, has a lit room and a dark ledge to its last corner, whatever is open."""
    window = window_on(crowded)
    window.run(frames=1)
    desk = window.desk
    few = ("marks", "page keys")
    every = ("marks", "point +1", "beside", "page keys", "page breaks", "page flashes", "page assumed", "look +1")
    sizes = (SMALLEST, (760, 500), (960, 540), (1280, 720), (1300, 480), (800, 1600), (200, 100), (3840, 2160))
    for size in sizes:
        desk.resize(size)
        surface = pygame.Surface(size)
        for act in few if size[0] > 1300 else every:
            desk.act(act)
            window.canvas.forget()
            window.canvas.draw(surface, desk)
        desk.session.page = ""
        window.canvas.forget()
        window.canvas.draw(surface, desk)
        pixels = pygame.surfarray.array3d(surface).swapaxes(0, 1).astype(int)
        room = desk.panel.at.room
        assert (desk.panel.at.ledge is None) == (size == (200, 100))
        if desk.panel.at.ledge is not None:
            assert pixels[-2:, -2:].max() < 60
        assert pixels[room.y : room.y + room.h // 2, : room.w].mean() > 15
        assert np.abs(pixels - pixels[-1, -1]).max(axis=2).mean() > 1


def test_a_small_window_says_for_longest_that_the_drop_is_left_out(screen: tuple[int, int], small_room: Path) -> None:
    """What is read is the pixels: those words' own colour is in their place, and nothing else of that colour beside them."""
    window = window_on(small_room)
    desk = window.desk
    for size in (SMALLEST, (640, 480)):
        desk.resize(size)
        surface = pygame.Surface(size)
        for drop in ("with", "without", "both"):
            desk.session.drop = drop
            window.canvas.forget()
            window.canvas.draw(surface, desk)
            shown = {name: rect for name, rect in desk.panel.targets if name in ("drop", "marks", "keys", "assumed")}
            assert "drop" in shown, (size, drop)
            pixels = pygame.surfarray.array3d(surface).swapaxes(0, 1).astype(int)
            x, y, w, h = shown["drop"]
            alike = (np.abs(pixels[y : y + h, x : x + w] - ACCENT).max(axis=2) < 40).sum()
            assert (alike > 20) == (drop != "with"), (size, drop)
            assert x >= desk.panel.at.words.x - 6
        if size == (640, 480):
            assert {"marks", "keys"} <= set(shown)


def test_where_not_all_words_fit_the_drop_that_is_left_out_gives_way_after_the_others(small_room: Path) -> None:
    """By hand: with room for two words the amber one and this one stay; with the drop in the picture it gives way before the keys."""
    plan = open_plan(read_scene(small_room))
    session = Session.of(plan.scene)
    reading = Reading(plan, session, None, None, None, None, False, Flashes(5.0, 0.0, 0.0, (0.0, 0.0, 1.0, 1.0)), "", 0)
    kept = {}
    for session.drop in ("with", "without", "both"):
        kept[session.drop] = [name for name, _, _ in _words(reading, lambda words: len(words) <= 2)]
    assert kept == {"with": ["flashes", "keys"], "without": ["drop", "flashes"], "both": ["drop", "flashes"]}


def test_a_scene_without_looks_shows_everything_on(screen: tuple[int, int], small_room: Path) -> None:
    plan = open_plan(read_scene(small_room).model_copy(update={"look": ()}))
    window = Window(plan, Session.of(plan.scene), (640, 480))
    window.run(frames=1)
    assert window.desk.moment is not None
    # Every colour at full, 255, on each of the 32 groups: 1.6 m at 60 LEDs a metre, three to a group.
    assert window.desk.moment.codes.shape == (32, 3)
    assert (window.desk.moment.codes == 255).all()


BRIGHT = '''"""Brighter than bright."""
import numpy as np

MOOD = "calm"
DIALS = ()


def light(place, time_s, dials, seed):
    return np.full((len(time_s), place.groups, 3), 1.5)
'''


def test_light_beyond_full_is_said_of_its_own_look_alone(
    screen: tuple[int, int], small_room: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    script = tmp_path / "too_bright.py"
    script.write_text(BRIGHT)
    monkeypatch.setitem(library._named, script.stem, script)
    with small_room.open("a") as file:
        file.write('[[look]]\nname = "bright"\neffect = "too_bright"\nseconds = 4\n')
    window = window_on(small_room)
    window.desk.session.choose(3)
    with app._cautions(window):
        window.run(frames=1)
    assert "too_bright.py:8" in window.desk.trouble
    assert "held to that" in window.desk.trouble
    window.desk.session.choose(0)
    assert window.desk.trouble == ""


def test_the_next_frame_waits_until_it_is_due(screen: tuple[int, int], small_room: Path) -> None:
    window = window_on(small_room)
    window.run(frames=1)
    desk, size = window.desk, (320, 180)
    desk.session.choose(2)
    desk.session.playing = True
    next_one = desk.session.request(size, ahead=1)
    now, _ = moment(desk.plan, desk.session.playing_look, next_one)
    assert desk.is_early(now)
    desk.session.advance(1 / 30 + 1e-6)
    assert not desk.is_early(now)
    desk.session.time_s = 0.0
    desk.session.playing = False
    assert not desk.is_early(now), "what is stepped to is shown at once"
