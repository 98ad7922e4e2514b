"""Seconds to plan the feeds of 20 m of 24 V strip, against trying all pairs of cut points with one size of cable on the exact network.

The pairs are sampled and scaled up. Prints the seconds and the ratio; asserts nothing.
"""

import itertools
import time

import numpy as np

from preview.power.limits import keep_to, quantities
from preview.power.network import build
from preview.power.plan import plan_feeds
from preview.power.plan_chain import Rules
from preview.power.plan_costs import Prices, Size, sizes_of
from preview.power.plan_moments import Asked
from preview.power.plan_ways import feed_lengths_m
from preview.power.solve import solve
from preview.scene.layout import lay_out
from preview.scene.model import Feed, Scene

SAMPLE = 200


def scene() -> Scene:
    """20 m along a wall, 200 groups of 100 mm, the supply at its start."""
    knee = {"dark_v": 17.0, "full_v": 20.0, "milliamp": 20.0}
    strip = {
        "volts": 24.0, "leds_per_m": 60, "leds_per_group": 6, "rail_milliohm_per_m": (42.0, 42.0),
        "idle_milliamp_per_group": 0.8, "red": {"milliamp": 20.0, "dark_v": 11.0, "full_v": 14.0, "lumen": 4.0, "xy": (0.69, 0.308)},
        "green": {**knee, "lumen": 9.0, "xy": (0.17, 0.72)}, "blue": {**knee, "lumen": 2.0, "xy": (0.135, 0.055)},
    }  # fmt: skip
    return Scene.model_validate({
        "format": 1, "title": "t", "room": {"size_m": (21, 4, 3)}, "viewer": {"eye_m": (0, 0, 0), "look_m": (1, 1, 1)},
        "strip": {"s": strip}, "supply": {"u": {"volts": 24.0, "amps": 30.0, "output_milliohm": 5.0, "at_m": (0.2, 4, 0.4)}},
        "run": [{"name": "r", "strip": "s", "path_m": [(0.5, 4, 2), (20.5, 4, 2)]}],
        "feed": [{"from": "u", "run": "r", "cable": {"mm2": 1.5, "length_m": 2.5}, "contact_milliohm": 5.0}],
    })  # fmt: skip


def main() -> None:
    plan = scene()
    layout = lay_out(plan)
    codes = np.full((1, layout.groups, 3), 255, dtype=np.uint8)
    lengths = feed_lengths_m(plan, layout)
    rules = Rules(Prices(), sizes_of("mm2"), lengths)
    begin = time.perf_counter()
    best = plan_feeds(plan, layout, [Asked("any", 1.0, lambda: [codes])], rules, others=False).best
    planned_s = time.perf_counter() - begin
    begin = time.perf_counter()
    plan_feeds(plan, layout, [Asked("any", 1.0, lambda: [codes])], rules)
    shown_s = time.perf_counter() - begin

    pairs = list(itertools.combinations(range(layout.groups + 1), 2))
    row, size = lengths["u"][0], Size("mm2", 1.5)
    assert row is not None
    draw = np.random.default_rng(1)
    begin = time.perf_counter()
    for number in draw.integers(0, len(pairs), SAMPLE):
        feeds = tuple(
            Feed.model_validate({"from": "u", "run": "r", "at_m": cut * 0.1, "cable": size.cable(float(row[cut]))})
            for cut in pairs[number]
        )
        tried = plan.model_copy(update={"feed": feeds})
        network = build(tried, layout)
        quantities(tried, layout, network, keep_to(tried, layout, network), codes, solve(network, codes))
    all_pairs_s = (time.perf_counter() - begin) / SAMPLE * len(pairs)
    print(f"cheapest: {len(best.feeds)} feeds, cost {best.cost:.2f}, proved {best.proved}")
    print(f"the cheapest alone {planned_s:.2f} s, with the plans beside it {shown_s:.2f} s")
    print(f"all {len(pairs)} pairs of one size {all_pairs_s:.1f} s: {all_pairs_s / planned_s:.1f} times as long")


if __name__ == "__main__":
    main()
