"""Feeds are called by the number that a person counts in the file, and by the cut point they stand at. Expected by hand."""

from preview.scene.feed_names import feed_names, feed_number
from preview.scene.read import scene_from_text

PLAN = """format = 1
title = "Called"
[strip.s]
volts = 12
leds_per_m = 60
leds_per_group = 3
watts_per_m = 10
[supply.psu]
volts = 12
amps = 5
[[run]]
name = "top shelf"
strip = "s"
path_m = [[0, 0, 1], [2.03, 0, 1]]
[[feed]]
from = "psu"
run = "top shelf"
cable = { mm2 = 1, length_m = 1 }
[[feed]]
from = "psu"
run = "top shelf"
at_m = 1.02
cable = { mm2 = 1, length_m = 1 }
[[feed]]
from = "psu"
run = "top shelf"
at_m = 2.03
cable = { mm2 = 1, length_m = 1 }
"""


def test_by_hand(tmp_path) -> None:
    # 60 LEDs a metre in threes: 50 mm a group, 40 groups on 2.03 m; 1.02 m is nearest to cut point 20, 2.03 m to the last one.
    scene = scene_from_text(PLAN, tmp_path / "called.toml")
    assert feed_names(scene) == (
        "feed 1 (psu to top shelf at 0 m)",
        "feed 2 (psu to top shelf at 1 m)",
        "feed 3 (psu to top shelf at 2 m)",
    )
    assert [feed_number(name) for name in feed_names(scene)] == [0, 1, 2]
    assert feed_number("supply psu") is None
