"""A small room that is lit quickly, for the tests that need pictures."""

from pathlib import Path

import pytest

SMALL_ROOM = """
format = 1
title = "Small room, invented"
[room]
size_m = [2.4, 2.0, 2.2]
ambient_lux = 1
[viewer]
eye_m = [1.2, -1.6, 1.2]
look_m = [1.2, 2.0, 1.1]
[strip.glow]
volts = 12
leds_per_m = 60
leds_per_group = 3
watts_per_m = 14
[supply.psu]
volts = 12
amps = 4
[[run]]
name = "back"
strip = "glow"
path_m = [[0.4, 1.9, 1.1], [2.0, 1.9, 1.1]]
aim = [0, 0, 1]
[[feed]]
from = "psu"
run = "back"
cable = { mm2 = 1.0, length_m = 2.0 }
[[look]]
name = "red"
effect = "steady"
seconds = 4
dials = { purity = 1.0, hue_deg = 0 }
[[look]]
name = "blue"
effect = "steady"
seconds = 4
dials = { purity = 1.0, hue_deg = 250 }
[[look]]
name = "moving"
effect = "millrace"
seconds = 6
"""

PROGRAMME = """
[[programme]]
look = "red"
seconds = 2
[[programme]]
look = "blue"
seconds = 3
fade_s = 1
"""


@pytest.fixture(scope="session")
def small_room_text() -> str:
    """The small room's scene file."""
    return SMALL_ROOM


@pytest.fixture(scope="session")
def programme_text() -> str:
    """A programme of its looks: red for two seconds, then blue for three."""
    return PROGRAMME


@pytest.fixture
def small_room(tmp_path: Path) -> Path:
    file = tmp_path / "small_room.toml"
    file.write_text(SMALL_ROOM)
    return file
