"""What the tests of the pack share: a plan with everything in it, small enough to reckon by hand."""

from collections.abc import Callable
from pathlib import Path

import pytest

from preview.looks.library import effect_names, look_faults
from preview.scene.model import Scene
from preview.scene.read import find_scene, read_scene, scene_from_text

PLAN = """format = 1
title = "Two walls"
note = "Invented for a test."
[strip.s]
volts = 12
leds_per_m = 60
leds_per_group = 3
watts_per_m = 12
reel_m = 5.0
price = 20.0
[channel.c]
depth_mm = 9
width_mm = 12
cover = "opal"
transmission = 0.7
spread_mm = 3
stock_m = 2.0
price = 9.5
[supply.one]
volts = 12
amps = 15
price = 40.0
[supply.two]
volts = 12
amps = 8
[block.b]
from = "one"
cable = { mm2 = 2.5, length_m = 3.0 }
[[run]]
name = "long"
strip = "s"
channel = "c"
path_m = [[0, 3, 1], [7.03, 3, 1]]
[[run]]
name = "short"
strip = "s"
path_m = [[0, 3, 2], [1.0, 3, 2]]
data_m = 1.5
[[feed]]
from = "b"
run = "long"
at_m = 0.0
cable = { mm2 = 1.5, length_m = 2.0 }
fuse_a = 5
[[feed]]
from = "b"
run = "long"
at_m = 4.02
cable = { mm2 = 1.5, length_m = 4.0 }
fuse_a = 7.5
[[feed]]
from = "two"
run = "short"
at_m = 1.0
cable = { awg = 18, length_m = 1.0 }
[[join]]
from = "long"
to = "short"
carries = "negative"
cable = { mm2 = 0.75, length_m = 1.2 }
[[look]]
name = "white"
effect = "steady"
seconds = 2
level = 0.5
[money]
currency = "EUR"
"""

Demo = Callable[[str], Scene]


@pytest.fixture(scope="session")
def two_walls() -> Scene:
    """Two runs: one of 7.03 m on reels of 5 m, fed at its start and at 4 m, and one of 1 m on another supply."""
    return scene_from_text(PLAN, Path("two_walls.toml"), effect_names(), look_faults)


@pytest.fixture(scope="session")
def plan_text() -> str:
    """The text of that plan."""
    return PLAN


@pytest.fixture(scope="session")
def demo() -> Demo:
    """A demo scene by its name."""
    return lambda name: read_scene(find_scene(name), effect_names(), look_faults)
