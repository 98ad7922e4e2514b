"""The check over random plans: it always answers, and what it says of breaks is what the meter says, worked out here again."""

import itertools
import random

import numpy as np
import pytest

from preview.handover.checking import check_scene
from preview.power.network import build
from preview.power.solve import solve
from preview.scene.layout import lay_out
from preview.scene.model import Scene

CORDS = {0.5: 3.0, 0.75: 6.0, 1.0: 10.0, 1.5: 15.0}  # A, UK flexible cords


def plan(seed: int) -> Scene:
    draw = random.Random(seed)
    volts = draw.choice([5.0, 12.0, 24.0])
    knee = {"dark_v": 0.6 * volts, "full_v": 0.8 * volts, "lumen": 2.0}
    strip = {
        "volts": volts, "leds_per_m": 60, "leds_per_group": 3, "idle_milliamp_per_group": 0.8,
        "rail_milliohm_per_m": (60.0, 60.0), "reset_below_v": 0.55 * volts,
        "red": {"milliamp": draw.uniform(5, 40), **knee, "xy": (0.69, 0.308)},
        "green": {"milliamp": draw.uniform(5, 40), **knee, "xy": (0.17, 0.72)},
        "blue": {"milliamp": draw.uniform(5, 40), **knee, "xy": (0.135, 0.055)},
    }  # fmt: skip
    names = [f"r{n}" for n in range(draw.randint(1, 4))]
    runs = [
        {"name": name, "strip": "s", "path_m": [(0.0, 0.5 * n, 1.0), (draw.uniform(0.3, 4), 0.5 * n, 1.0)]}
        for n, name in enumerate(names)
    ]
    feeds = [
        {
            "from": draw.choice(["u", "v"]), "run": name, "at_m": 0.0,
            "cable": {"mm2": draw.choice([*CORDS]), "length_m": draw.uniform(0, 8)},
            "fuse_a": draw.choice([None, 2.0, 5.0, 10.0, 20.0]),
        }
        for name in names
    ]  # fmt: skip
    joins = [
        {
            "from": a,
            "to": b,
            "carries": draw.choice(["power", "negative", "data"]),
            "cable": {"mm2": 0.75, "length_m": 0.5},
        }
        for a, b in itertools.pairwise(names)
    ]
    supply = {"volts": volts, "amps": draw.uniform(1, 12), "output_milliohm": 10.0}
    return Scene.model_validate({
        "format": 1, "title": "random", "room": {"size_m": (5, 5, 3)},
        "viewer": {"eye_m": (2, 4, 1.5), "look_m": (2, 0, 1)}, "strip": {"s": strip}, "supply": {"u": supply, "v": supply},
        "run": runs, "feed": feeds, "join": joins, "limits": {"class2": draw.random() < 0.3},
        "look": [{"name": "full", "effect": "proof_full", "seconds": 0.1, "level": 1.0}],
    })  # fmt: skip


@pytest.mark.parametrize("seed", range(40))
def test_what_is_said_to_be_over_is_over_and_nothing_else(seed: int) -> None:
    scene = plan(seed)
    found = check_scene(scene, eyes=False)
    layout = lay_out(scene)
    state = solve(build(scene, layout), np.full((1, layout.groups, 3), 255, dtype=np.uint8))
    over = {about for f in found.findings if f.weight == "over" for about in f.about.split(", ")}
    for s, (name, supply) in enumerate(scene.supply.items()):
        assert (f"supply {name}" in over) == (state.supply_a[0, s] > 0.8 * supply.amps)
    faults = {f.about for f in found.findings if f.weight == "fault" and "its fuse" in f.says}
    numbers = {about.partition(" (")[0] for about in over}
    for k, feed in enumerate(scene.feed):
        assert feed.cable.mm2 is not None
        holds = CORDS[feed.cable.mm2]
        amps = max(abs(state.feed_a[0, k]), abs(state.feed_negative_a[0, k]))
        fuse = np.inf if feed.fuse_a is None else 0.8 * feed.fuse_a
        passed = amps > holds or abs(state.feed_a[0, k]) > fuse
        assert (f"feed {k + 1}" in numbers) == bool(passed)
        large = feed.fuse_a is not None and feed.fuse_a > holds
        assert any(one.startswith(f"feed {k + 1} (") for about in faults for one in about.split(", ")) == large
    low = (state.group_v[0] < layout.reset_v).any()
    said = [f for f in found.findings if f.weight == "over" and "down to" in f.says]
    assert bool(said) == bool(low)
