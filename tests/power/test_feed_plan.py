"""The parts of the feed planner: lengths along the walls, costs and fuses, limited circuits, and what it says where nothing holds."""

import csv
from pathlib import Path

import numpy as np
import pytest

from preview.power.conductors import CLASS_5_OHM_PER_KM
from preview.power.fusing import fuse_for, largest_fuse
from preview.power.limits import keep_to, quantities
from preview.power.network import build
from preview.power.plan import plan_feeds
from preview.power.plan_chain import Rules
from preview.power.plan_chains import chains_of
from preview.power.plan_costs import Prices, Size, plan_cost, sizes_of
from preview.power.plan_limits import NoPlanError
from preview.power.plan_moments import Asked
from preview.power.plan_needs import needs_of
from preview.power.plan_ways import cable_length_m, feed_lengths_m, surface_way_m
from preview.power.solve import solve
from preview.power.strip import loads_of
from preview.scene.layout import lay_out
from preview.scene.model import Scene

REFERENCE = Path(__file__).parent.parent / "reference"


def scene(volts: float = 12.0, amps: float = 20.0, runs: int = 1, **more: object) -> Scene:
    """Runs of 2 m on the back wall, one above the other, 40 groups each; a supply low on that wall."""
    knee = {"dark_v": 0.68 * volts, "full_v": 0.85 * volts}
    red = {"dark_v": 0.48 * volts, "full_v": 0.61 * volts}
    strip = {
        "volts": volts, "leds_per_m": 60, "leds_per_group": 3, "idle_milliamp_per_group": 0.8,
        "rail_milliohm_per_m": (400.0, 400.0),
        "red": {"milliamp": 20.0, **red, "lumen": 2.1, "xy": (0.69, 0.308)},
        "green": {"milliamp": 20.0, **knee, "lumen": 4.6, "xy": (0.17, 0.72)},
        "blue": {"milliamp": 20.0, **knee, "lumen": 0.9, "xy": (0.135, 0.055)},
    }  # fmt: skip
    return Scene.model_validate({
        "format": 1, "title": "t", "room": {"size_m": (4, 3, 3)}, "viewer": {"eye_m": (0, 0, 0), "look_m": (1, 1, 1)},
        "strip": {"s": strip}, "supply": {"u": {"volts": volts, "amps": amps, "output_milliohm": 5.0, "at_m": (1.0, 3.0, 0.3)}},
        "run": [
            {"name": f"r{r}", "strip": "s", "path_m": [(1.0, 3.0, 1.0 + 0.4 * r), (3.0, 3.0, 1.0 + 0.4 * r)]}
            for r in range(runs)
        ],
        "feed": [
            {"from": "u", "run": f"r{r}", "at_m": 0.0, "cable": {"mm2": 1.5, "length_m": 1.2}, "contact_milliohm": 5.0}
            for r in range(runs)
        ],
        **more,
    })  # fmt: skip


def planned(plan: Scene, level: float = 1.0, **changes: object):
    layout = lay_out(plan)
    codes = np.full((1, layout.groups, 3), int(255 * level), dtype=np.uint8)
    rules = Rules(Prices(), sizes_of("mm2"), feed_lengths_m(plan, layout), **changes)
    return plan_feeds(plan, layout, [Asked("everything", level, lambda: [codes])], rules)


def breaks(plan: Scene, codes: np.ndarray) -> list[str]:
    layout = lay_out(plan)
    network = build(plan, layout)
    found = quantities(plan, layout, network, keep_to(plan, layout, network), codes, solve(network, codes))
    return [f"{q.kind} {q.where}" for q in found if q.over().any()]


@pytest.mark.parametrize(
    ("start", "end", "way"),
    [
        # a room 4 × 3 × 2.5 m unfolded by hand
        ((1, 3, 0.5), (3, 3, 2.0), 3.5),  # one wall
        ((0, 1, 0.5), (2, 3, 0.5), 4.0),  # round the corner of two
        ((0, 2, 1.0), (4, 2, 1.0), 6.0),  # from left to right, over the back wall: 1 + 4 + 1
        ((0, 0.5, 1.0), (4, 0.5, 1.0), 5.0),  # over the front wall
        ((2, 1.5, 0.0), (2, 1.5, 2.5), 5.5),  # floor to ceiling: over a long wall, 1.5 + 2.5 + 1.5
        ((2, 2.8, 1.0), (2, 3, 2.0), 1.2),  # 0.2 m off the wall
    ],
)
def test_ways_along_the_surfaces(start: tuple, end: tuple, way: float) -> None:
    assert surface_way_m(start, end, (4, 3, 2.5)) == pytest.approx(way)
    assert surface_way_m(end, start, (4, 3, 2.5)) == pytest.approx(way)


def test_no_way_is_shorter_than_at_right_angles_through_the_air() -> None:
    draw = np.random.default_rng(1)
    room = np.array([5.0, 4.0, 2.6])
    for _ in range(300):
        start, end = draw.random(3) * room, draw.random(3) * room
        assert surface_way_m(start, end, room) >= np.abs(start - end).max() - 1e-9
        assert surface_way_m(start, end, room) == pytest.approx(surface_way_m(end, start, room))


def test_allowance_and_ends() -> None:
    assert cable_length_m(2.0, 0.5) == pytest.approx(3.2)
    assert cable_length_m(2.01, 0.0) == pytest.approx(2.3)  # 2.21 m, cut to whole decimetres


def test_a_cable_that_is_there_keeps_its_length() -> None:
    plan = scene()
    found = feed_lengths_m(plan, lay_out(plan))["u"][0]
    assert found is not None
    assert found[0] == 1.2
    assert found[1] == pytest.approx(cable_length_m(0.7 + 0.05))
    given = feed_lengths_m(plan, lay_out(plan), given_m={"u": 4.0})["u"][0]
    assert given is not None
    assert set(given) == {4.0}


def test_standard_sizes_and_fuses() -> None:
    """IEC 60228 class 5 from 0.5 mm²; ISO 8820-3 ratings up to 30 A (tests/reference/blade_fuses.csv)."""
    with (REFERENCE / "iec60228_copper.csv").open() as file:
        class_5 = {float(row["area_mm2"]): float(row["class5_plain_ohm_per_km_20C"]) for row in csv.DictReader(file)}
    assert {size.number for size in sizes_of("mm2")} <= set(class_5)
    for size in sizes_of("mm2"):
        assert size.ohm_per_m * 1000 == pytest.approx(class_5[size.number])
    with (REFERENCE / "blade_fuses.csv").open() as file:
        rows = list(csv.DictReader(file))
    ratings = [float(row["rating_A"]) for row in rows if row["confirmed_c_or_memory_m"] == "c"]
    for amps in np.linspace(0.1, 30, 60):
        assert largest_fuse(amps) == max((a for a in ratings if a <= amps), default=None)
        assert fuse_for(amps, 0.8, 100) == min((a for a in ratings if 0.8 * a >= amps - 1e-9), default=None)
    assert fuse_for(5.0, 0.8, 6.0) is None


def test_cost_is_what_its_docstring_says() -> None:
    plan = scene()
    feed = plan.feed[0].model_copy(update={"fuse_a": 5.0})
    prices = Prices(feed=10, fuse=2, metre=1, mm2=0.5)
    assert plan_cost(prices, (feed, feed)) == pytest.approx(2 * (10 + 2 + 1.2 * (1 + 0.5 * 1.5)))
    assert plan_cost(prices, plan.feed) == pytest.approx(10 + 1.2 * (1 + 0.5 * 1.5))
    assert len(CLASS_5_OHM_PER_KM) == len(sizes_of("mm2"))
    assert str(Size("awg", 16)) == "16 AWG"


def test_needs_are_where_the_limits_are_met() -> None:
    """At the volts found dimming and shift are kept, a millivolt below one of them is not; by the meter's own words."""
    plan = scene()
    layout = lay_out(plan)
    draw = np.random.default_rng(3)
    codes = draw.integers(0, 256, (3, layout.groups, 3)).astype(np.uint8)
    codes[0] = 255
    codes[:, :3] = 0
    needs = needs_of(plan, layout, loads_of(layout), 12.0, codes)
    assert (needs.volts[:, :3] == 0).all()
    assert not needs.lit[:, :3].any()
    strip = plan.strip["s"]
    for f, g in ((0, 20), (1, 7), (2, 30)):
        kept = []
        for volts in (needs.volts[f, g] + 1e-4, needs.volts[f, g] - 1e-3):
            ideal, given = np.zeros(3), np.zeros(3)
            for c, colour in enumerate((strip.red, strip.green, strip.blue)):
                x, y = colour.xy
                xyz = codes[f, g, c] * colour.lumen * np.array([x / y, 1, (1 - x - y) / y])
                ideal += xyz
                given += xyz * np.clip((volts - colour.dark_v) / (colour.full_v - colour.dark_v), 0, 1)
            uv = [np.array([4 * v[0], 9 * v[1]]) / (v @ np.array([1, 15, 3])) for v in (ideal, given)]  # CIE 15
            kept.append(np.linalg.norm(uv[0] - uv[1]) <= 4 * 0.0011 and 1 - given[1] / ideal[1] <= 0.2)
        assert kept == [True, False]


def test_every_plan_shown_holds_and_none_is_cheaper_than_the_first() -> None:
    advice = planned(scene(amps=30))
    codes = np.full((1, 40, 3), 255, dtype=np.uint8)
    assert advice.present is not None
    assert not advice.present.holds
    assert advice.others
    for plan in (advice.best, *advice.others):
        assert plan.holds
        assert breaks(plan.scene, codes) == []
        assert plan.cost >= advice.best.cost - 1e-9
        assert all(feed.fuse_a is not None for feed in plan.feeds)


def test_two_supplies_never_meet_at_a_positive() -> None:
    """Common practice, no source: each set of joined runs hangs on one supply."""
    supply = {"volts": 12.0, "amps": 4.0, "output_milliohm": 5.0}
    plan = scene(
        runs=3,
        supply={"u": {**supply, "at_m": (1.0, 3.0, 0.3)}, "w": {**supply, "at_m": (3.0, 3.0, 0.3)}},
        join=[{"from": "r0", "to": "r1", "carries": "power", "cable": {"mm2": 1.5, "length_m": 2.5}},
              {"from": "r1", "to": "r2", "carries": "data"}],
    )  # fmt: skip
    best = planned(plan, 0.6).best
    by_run = {feed.run: set() for feed in best.feeds}
    for feed in best.feeds:
        by_run[feed.run].add(feed.from_)
    joined = by_run.get("r0", set()) | by_run.get("r1", set())
    assert len(joined) == 1
    # 40 groups · 60.8 mA · 0.6 are 1.5 A: three runs draw 4.5 A, and one supply gives 3.2 A for long
    assert by_run["r2"].isdisjoint(joined)
    # then the data line needs the negative between the two
    assert best.scene.join[1].carries == "negative"
    assert breaks(best.scene, np.full((1, 120, 3), 153, dtype=np.uint8)) == []


def test_a_fuse_never_lets_more_through_than_a_join_bears() -> None:
    join = {"from": "r0", "to": "r1", "carries": "power", "cable": {"mm2": 0.5, "length_m": 0.5}}
    best = planned(scene(runs=2, join=[join]), 0.8).best
    assert all(feed.fuse_a <= 3 for feed in best.feeds)  # 0.5 mm² bears 3 A (UK flexible cords)


def test_runs_in_a_ring_are_planned_too() -> None:
    joins = [{"from": "r0", "to": "r1", "carries": "power"}, {"from": "r1", "to": "r0", "carries": "power"}]
    plan = scene(runs=2, join=joins)
    assert not chains_of(plan, lay_out(plan))[0].is_path
    best = planned(plan, 0.8).best
    assert not best.proved
    assert breaks(best.scene, np.full((1, 80, 3), 204, dtype=np.uint8)) == []


def test_circuits_keep_to_a_limited_source() -> None:
    """IEC 60950-1 tables 2B and 2C: 5 × U VA up to 20 V, with a fuse of at most 5 A up to 250 VA."""
    fused = planned(scene(amps=20.0, runs=2, limits={"class2": True}), 0.9).best  # 240 VA: a fuse each will do
    assert len(fused.feeds) == 2
    assert all(feed.fuse_a <= 5 for feed in fused.feeds)
    assert set(fused.scene.supply) == {"u"}
    split = planned(scene(amps=50.0, runs=3, limits={"class2": True}), 0.9).best  # 600 VA: never limited by fuses
    assert len(split.scene.supply) > 1
    for supply in split.scene.supply.values():
        assert supply.volts * supply.amps <= 60
    codes = np.full((1, 120, 3), 229, dtype=np.uint8)
    assert breaks(split.scene, codes) == []


def test_a_positive_is_cut_where_one_limited_source_cannot_carry_joined_runs() -> None:
    join = {"from": "r0", "to": "r1", "carries": "power", "cable": {"mm2": 1.5, "length_m": 2.5}}
    plan = scene(amps=50.0, runs=2, join=[join], limits={"class2": True})
    # 2 · 40 · 60.8 mA are 4.9 A, and a source of 60 VA gives 4 A for long
    best = planned(plan).best
    assert best.scene.join[0].carries == "negative"
    assert len({feed.from_ for feed in best.feeds}) == 2


@pytest.mark.parametrize(
    ("plan", "changes", "says"),
    [
        (scene(amps=2.0), {}, "supply limits it: u would have to give"),
        (scene(amps=30.0), {"most_feeds": 1, "ends_only": True}, "the strip's own copper"),
        (scene(amps=50.0, supply={"u": {"volts": 10.9, "amps": 50.0, "output_milliohm": 900.0, "at_m": (1, 3, 0.3)}}), {},
         "volts are too few: with 9"),
        (scene(volts=12.0, supply={"u": {"volts": 24.0, "amps": 9.0, "at_m": (1, 3, 0.3)}}), {}, "expected a supply of 12 V"),
        (scene(amps=50.0, limits={"class2": True, "supply_fraction": 0.3}), {}, "run r0 draws 2.43 A"),
        (scene(supply={"u": {"volts": 24.0, "amps": 9.0, "at_m": (1, 3, 0.3)}, "w": {"volts": 12.0, "amps": 2.0, "at_m": (1, 3, 0.3)}}), {},
         r"supply limits it: w would have to give 2\.4.* No strip here \(12 V\) goes with supply u of 24 V"),
    ],
    ids=["supply", "copper", "volts", "no supply", "limited", "one supply of two"],
)  # fmt: skip
def test_what_limits_it_is_said(plan: Scene, changes: dict, says: str) -> None:
    with pytest.raises(NoPlanError, match=says):
        planned(plan, **changes)


def test_a_moment_that_was_not_walked_with_is_found() -> None:
    """A look whose hardest moment is not the one that draws most: only the far half at full, the whole at half."""
    plan = scene(amps=30)
    layout = lay_out(plan)
    codes = np.zeros((2, 40, 3), dtype=np.uint8)
    codes[0] = 150  # draws most
    codes[1, 22:] = 255
    rules = Rules(Prices(), sizes_of("mm2"), feed_lengths_m(plan, layout))
    best = plan_feeds(plan, layout, [Asked("two", 1.0, lambda: [codes[:1], codes[1:]])], rules, others=False).best
    assert breaks(best.scene, codes) == []
    alone = plan_feeds(plan, layout, [Asked("one", 1.0, lambda: [codes[:1]])], rules, others=False).best
    assert alone.cost <= best.cost
