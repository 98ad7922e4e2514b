"""A plain room to try an effect in: one strip that is seen, one cove that washes the ceiling, two lengths of group."""

from __future__ import annotations

from pathlib import Path

from preview.looks.library import effect_names, look_faults
from preview.scene.model import Look, Scene
from preview.scene.read import scene_from_text

__all__ = ["trial_scene"]

ROOM = """
format = 1
title = "Trying {name}"
note = "Invented: a plain room with a strip that is seen and a cove."
[room]
size_m = [5.0, 3.2, 2.6]
ambient_lux = 4
[viewer]
eye_m = [2.5, -1.3, 1.5]
look_m = [2.5, 3.2, 1.35]
field_deg = 62
[[box]]
name = "cove lip"
corner_m = [0.0, 2.9, 2.25]
size_m = [5.0, 0.02, 0.1]
finish = "#d8d0c4"
[[box]]
name = "cove shelf"
corner_m = [0.0, 2.92, 2.25]
size_m = [5.0, 0.28, 0.02]
finish = "#d8d0c4"
[[box]]
name = "ledge"
corner_m = [0.6, 2.95, 0.0]
size_m = [3.8, 0.25, 0.8]
finish = "#7a5c44"
[strip.fine]
volts = 12
leds_per_m = 84
leds_per_group = 3
watts_per_m = 14
[strip.coarse]
volts = 24
leds_per_m = 60
leds_per_group = 6
watts_per_m = 14
[channel.opal]
depth_mm = 12
width_mm = 24
cover = "opal"
transmission = 0.62
spread_mm = 5
side_fraction = 0.15
[supply.small]
volts = 12
amps = 8
[supply.large]
volts = 24
amps = 5
[[run]]
name = "seen"
strip = "fine"
channel = "opal"
path_m = [[0.8, 3.17, 1.3], [4.2, 3.17, 1.3]]
aim = [0, -1, 0]
[[run]]
name = "cove"
strip = "coarse"
path_m = [[0.1, 3.1, 2.29], [4.9, 3.1, 2.29]]
aim = [0, -0.3, 1]
[[feed]]
from = "small"
run = "seen"
at_m = 1.7
cable = {{ mm2 = 2.5, length_m = 2 }}
[[feed]]
from = "large"
run = "cove"
at_m = 2.4
cable = {{ mm2 = 2.5, length_m = 2 }}
"""


def trial_scene(look: Look, scene: Scene | None = None) -> Scene:
    """The plain room with one look in it, or a scene of the caller's with the look before its own."""
    if scene is not None:
        return scene.model_copy(update={"look": (look, *scene.look)})
    plain = scene_from_text(ROOM.format(name=look.effect), Path("trial room"), effect_names(), look_faults)
    return plain.model_copy(update={"look": (look,)})
