"""Random plans, deep sag and all: the laws that hold for every network, and an independent dense solution to 10 µV.

The dense solution is ordinary modified nodal analysis of both conductors, every tap a node and every resistance a branch, without any of
the reductions in `preview.power`. References: Kirchhoff's laws; for uniqueness, a network of resistors and rising loads.
"""

import itertools
import math

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from preview.power.network import NetworkError, build
from preview.power.solve import solve
from preview.scene.layout import lay_out
from preview.scene.model import Scene

FACTOR_40C = 1 + 0.00393 * 20
CLASS_5 = {0.75: 26.0, 1.5: 13.3}  # Ω/km at 20 °C, IEC 60228


def thin() -> st.SearchStrategy[float]:
    """Rails from none at all to very thin, in mΩ/m."""
    return st.one_of(st.just(0.0), st.floats(-2, 4).map(lambda e: 10**e))


@st.composite
def strips(draw: st.DrawFn, volts: float) -> dict:
    def colour() -> dict:
        dark = draw(st.floats(0.2, 0.7)) * volts
        full = dark + draw(st.floats(0.03, 0.25)) * volts
        return {"milliamp": draw(st.floats(1, 60)), "dark_v": dark, "full_v": full, "lumen": 2.0, "xy": (0.3, 0.3)}

    strip = {
        "volts": volts, "leds_per_m": 60, "leds_per_group": draw(st.sampled_from([1, 3, 6])),
        "rail_milliohm_per_m": (draw(thin()), draw(thin())), "regulated": draw(st.booleans()),
        "idle_milliamp_per_group": draw(st.sampled_from([0.0, 0.8, 5.0])),
        "red": colour(), "green": colour(), "blue": colour(),
    }  # fmt: skip
    if draw(st.booleans()):
        strip |= {"colours": "rgbw", "white": colour()}
    return strip


def cables(draw: st.DrawFn) -> dict:
    return {"mm2": draw(st.sampled_from([0.75, 1.5])), "length_m": draw(st.sampled_from([0.0, 0.05, 2.0, 30.0]))}


@st.composite
def plans(draw: st.DrawFn, supplies: int = 3, negatives: bool = True) -> Scene:
    """A plan: up to four runs of up to nine groups, in a chain or a ring, with feeds anywhere."""
    volts = draw(st.sampled_from([5.0, 12.0, 24.0]))
    counts = draw(st.lists(st.integers(1, 9), min_size=1, max_size=4))
    kinds = [draw(strips(volts)) for _ in range(draw(st.integers(1, 2)))]
    names = [f"r{k}" for k in range(len(counts))]
    which = [draw(st.integers(0, len(kinds) - 1)) for _ in counts]
    lengths = [n * kinds[w]["leds_per_group"] / 60 for n, w in zip(counts, which, strict=True)]
    number = draw(st.integers(1, supplies))
    plan = {
        "format": 1, "title": "random", "room": {"size_m": (9, 9, 9)}, "viewer": {"eye_m": (0, 0, 0), "look_m": (1, 1, 1)},
        "strip": {f"s{k}": strip for k, strip in enumerate(kinds)},
        "supply": {
            f"u{k}": {"volts": volts * draw(st.sampled_from([1.0, 1.0, 1.03])), "amps": 5.0,
                      "output_milliohm": draw(st.sampled_from([0.0, 5.0, 50.0]) if number == 1 else st.sampled_from([5.0, 50.0]))}
            for k in range(number)
        },
        "run": [
            {"name": n, "strip": f"s{w}", "path_m": [(0, 0, 0), (length, 0, 0)]}
            for n, w, length in zip(names, which, lengths, strict=True)
        ],
    }  # fmt: skip
    sources = list(plan["supply"])
    plan["block"] = {}
    for b in range(draw(st.integers(0, 2))):
        plan["block"][f"b{b}"] = {
            "from": draw(st.sampled_from(sources)), "cable": cables(draw), "contact_milliohm": draw(st.sampled_from([0.0, 5.0])),
        }  # fmt: skip
        sources.append(f"b{b}")
    plan["feed"] = [
        {
            "from": draw(st.sampled_from(sources)), "run": names[r], "at_m": draw(st.floats(0, 1)) * lengths[r],
            "cable": cables(draw), "contact_milliohm": draw(st.sampled_from([0.0, 5.0])),
            "fuse_milliohm": draw(st.sampled_from([0.0, 20.0])),
        }
        for r in draw(st.lists(st.integers(0, len(counts) - 1), min_size=1, max_size=5))
    ]  # fmt: skip
    ends = list(itertools.pairwise(names)) + ([(names[-1], names[0])] if len(names) > 1 and draw(st.booleans()) else [])
    carried = ["power", "power", "data"] + (["negative"] if negatives else [])
    plan["join"] = [
        {"from": a, "to": b, "carries": draw(st.sampled_from(carried)), "cable": cables(draw),
         "contact_milliohm": draw(st.sampled_from([0.0, 10.0]))}
        for a, b in ends
    ]  # fmt: skip
    return Scene.model_validate(plan)


def drives(scene: Scene, seed: int) -> np.ndarray:
    layout = lay_out(scene)
    draw = np.random.default_rng(seed)
    mixed = draw.integers(0, 256, (2, layout.groups, layout.colours))
    mixed[1] *= draw.integers(0, 2, (layout.groups, 1))
    return np.concatenate([np.full((1, *mixed.shape[1:]), 255), mixed]).astype(np.uint8)


def built(scene: Scene):
    try:
        return build(scene, lay_out(scene))
    except NetworkError:
        assume(False)


def loads(strip, codes: np.ndarray, v: float) -> tuple[float, float]:
    """Amps and slope of one group at v, in plain Python from the rules of the scene file. Idle is drawn in full above 0.1 V."""
    idle = strip.idle_milliamp_per_group / 1000
    amps, slope = (idle, 0.0) if v >= 0.1 else (idle * max(v, 0) / 0.1, idle / 0.1 if v > 0 else 0.0)
    for colour, code in zip((strip.red, strip.green, strip.blue, strip.white), (*codes, 0), strict=False):
        if colour is None:
            continue
        per_v = code / 255 * colour.milliamp / 1000 / (colour.full_v - colour.dark_v)
        top = colour.full_v if strip.regulated else math.inf
        amps += per_v * (min(max(v, colour.dark_v), top) - colour.dark_v)
        slope += per_v if colour.dark_v < v < top else 0.0
    return amps, slope


def dense(scene: Scene, drive: np.ndarray) -> np.ndarray:
    """Group volts of one frame by nodal analysis of everything: node volts and branch amps as unknowns, damped Newton."""
    nodes: dict = {}
    branches: list[tuple[int, int, float, float]] = []
    taps, strips_of = [], []

    def node(*key) -> int:
        return nodes.setdefault(key, len(nodes))

    def ohm(cable) -> float:
        return 0.0 if cable is None else CLASS_5[cable.mm2] / 1000 * cable.length_m * FACTOR_40C

    def pair(a, b, each: float, positive_more: float = 0.0, conductors: str = "+-") -> None:
        for c in conductors:
            branches.append((node(c, *a), node(c, *b), each + (positive_more if c == "+" else 0.0), 0.0))

    for name, supply in scene.supply.items():
        branches.append((node("-", name), node("+", name), supply.output_milliohm / 1000, supply.volts))
    for name, block in scene.block.items():
        pair((block.from_,), (name,), ohm(block.cable) + block.contact_milliohm / 1000)
    size = {}
    for run in scene.run:
        strip = scene.strip[run.strip]
        cut = strip.leds_per_group / strip.leds_per_m
        size[run.name] = (round(math.dist(*run.path_m) / cut), cut)
        for k in range(size[run.name][0]):
            for c, rail in zip("+-", strip.rail_milliohm_per_m, strict=True):
                half = rail / 1000 * cut / 2 * FACTOR_40C
                branches.append((node(c, run.name, k), node(c, run.name, k, "tap"), half, 0.0))
                branches.append((node(c, run.name, k, "tap"), node(c, run.name, k + 1), half, 0.0))
            taps.append((node("+", run.name, k, "tap"), node("-", run.name, k, "tap")))
            strips_of.append(strip)
    for feed in scene.feed:
        count, cut = size[feed.run]
        at = min(max(math.floor(feed.at_m / cut + 0.5), 0), count)
        each = ohm(feed.cable) + feed.contact_milliohm / 1000
        pair((feed.from_,), (feed.run, at), each, feed.fuse_milliohm / 1000)
    for join in scene.join:
        if join.carries != "data":
            each = ohm(join.cable) + join.contact_milliohm / 1000
            pair((join.from_, size[join.from_][0]), (join.to, 0), each, 0.0, "+-" if join.carries == "power" else "-")

    n, b = len(nodes), len(branches)
    parent = list(range(n))

    def root(i: int) -> int:
        while parent[i] != i:
            i = parent[i]
        return i

    for i, j, _, _ in branches:
        parent[root(i)] = root(j)
    matrix, right = np.zeros((n + b, n + b)), np.zeros(n + b)
    for k, (i, j, r, emf) in enumerate(branches):
        matrix[i, n + k] += 1
        matrix[j, n + k] -= 1
        matrix[n + k, i], matrix[n + k, j], matrix[n + k, n + k] = 1, -1, -max(r, 1e-9)
        right[n + k] = -emf
    plus, minus = np.array(taps).T
    first = {}
    for name in scene.supply:
        first.setdefault(root(node("-", name)), node("-", name))
    free = np.ones(n + b, dtype=bool)
    for i in range(n):  # an island without supply floats: hold one node of each, it carries nothing
        first.setdefault(root(i), i)
    free[list(first.values())] = False

    def draw(v: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return tuple(np.array(x) for x in zip(*map(loads, strips_of, drive, v), strict=True))

    # damped Newton; the first step starts from loads that are plain resistors
    v = np.full(len(taps), max(s.volts for s in scene.supply.values()))
    amps, slope = draw(v)
    slope, amps = amps / v, amps.copy()
    error = math.inf
    for _ in range(300):
        stepped, rest = matrix.copy(), right.copy()
        for p, m, i, s, at in zip(plus, minus, amps, slope, v, strict=True):
            for row, sign in ((p, 1), (m, -1)):
                stepped[row, p] += sign * s
                stepped[row, m] -= sign * s
                rest[row] -= sign * (i - s * at)
        x = np.zeros(n + b)
        x[free] = np.linalg.solve(stepped[np.ix_(free, free)], rest[free])
        step = x[plus] - x[minus] - v
        if np.abs(step).max() < 1e-10:
            return v + step
        fraction = 1.0
        for _ in range(40):  # towards smaller residual, measured as the next full step would be, until it falls at all
            amps_there, slope_there = draw(v + fraction * step)
            bend = amps_there - amps - fraction * slope * step
            uphill = (1 - fraction) * -(slope * step * step).sum() + (bend * step).sum()
            if uphill <= 0 or np.abs(bend).sum() < 0.5 * error:
                break
            fraction /= 2
        error = min(error, np.abs(bend).sum())
        v, amps, slope = v + fraction * step, amps_there, slope_there
    pytest.fail("the reference itself did not converge")


MANY = settings(
    max_examples=120, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much]
)
SOME = settings(MANY, max_examples=60)


@MANY
@given(plans(), st.integers(0, 2**31))
def test_power_balances_and_every_frame_converges(scene: Scene, seed: int) -> None:
    network = built(scene)
    state = solve(network, drives(scene, seed))
    assert state.imbalance.max() < 1e-6
    moved = state.group_w + state.conductor_w
    np.testing.assert_allclose(state.supply_w, moved, rtol=1e-6, atol=1e-9)
    assert np.isfinite(state.group_v).all()


@SOME
@given(plans(), st.integers(0, 2**31))
def test_agrees_with_a_dense_solution(scene: Scene, seed: int) -> None:
    network = built(scene)
    codes = drives(scene, seed)
    state = solve(network, codes)
    for frame in range(2):
        np.testing.assert_allclose(state.group_v[frame], dense(scene, codes[frame]), rtol=0, atol=10e-6)


@MANY
@given(plans(negatives=False), st.integers(0, 2**31))
def test_no_group_gets_less_than_nothing_or_more_than_the_highest_supply(scene: Scene, seed: int) -> None:
    state = solve(built(scene), drives(scene, seed))
    highest = max(supply.volts for supply in scene.supply.values())
    assert state.group_v.min() >= -1e-6
    assert state.group_v.max() <= highest + 1e-6


@MANY
@given(plans(supplies=1, negatives=False), st.integers(0, 2**31))
def test_with_one_supply_more_drive_never_raises_a_voltage(scene: Scene, seed: int) -> None:
    network = built(scene)
    codes = drives(scene, seed)[1:2]
    draw = np.random.default_rng(seed)
    more = np.maximum(codes, draw.integers(0, 256, codes.shape) * draw.integers(0, 2, codes.shape)).astype(np.uint8)
    before, after = solve(network, codes), solve(network, more)
    assert (after.group_v - before.group_v).max() <= 2e-6
    assert (after.supply_a - before.supply_a).min() >= -2e-6


@SOME
@given(plans(), st.integers(0, 2**31))
def test_frames_together_are_frames_alone_whatever_they_start_from(scene: Scene, seed: int) -> None:
    network = built(scene)
    codes = drives(scene, seed)
    together = solve(network, codes)
    for frame in range(len(codes)):
        alone = solve(network, codes[frame], start_v=np.random.default_rng(seed).uniform(0, 30, codes.shape[1]))
        np.testing.assert_allclose(alone.group_v[0], together.group_v[frame], rtol=0, atol=2e-6)


@SOME
@given(st.data())
def test_a_run_in_two_parts_is_the_whole_run(data: st.DataObject) -> None:
    strip = data.draw(strips(12.0))
    count = data.draw(st.integers(2, 30))
    at = data.draw(st.integers(1, count - 1))
    cut = strip["leds_per_group"] / 60
    feeds = data.draw(st.lists(st.integers(0, count), min_size=1, max_size=3))
    cable = {"mm2": 1.5, "length_m": 2.0}
    plan = {
        "format": 1, "title": "t", "room": {"size_m": (9, 9, 9)}, "viewer": {"eye_m": (0, 0, 0), "look_m": (1, 1, 1)},
        "strip": {"s": strip}, "supply": {"u": {"volts": 12.0, "amps": 5.0, "output_milliohm": 5.0}},
    }  # fmt: skip
    path = [(0, 0, 0), (count * cut, 0, 0)]
    whole = plan | {
        "run": [{"name": "r", "strip": "s", "path_m": path}],
        "feed": [{"from": "u", "run": "r", "at_m": k * cut, "cable": cable} for k in feeds],
    }
    parts = plan | {
        "run": [
            {"name": "a", "strip": "s", "path_m": [(0, 0, 0), (at * cut, 0, 0)]},
            {"name": "b", "strip": "s", "path_m": [(at * cut, 0, 0), (count * cut, 0, 0)]},
        ],
        "feed": [
            {"from": "u", "run": "a" if k <= at else "b", "at_m": (k if k <= at else k - at) * cut, "cable": cable}
            for k in feeds
        ],
        "join": [{"from": "a", "to": "b", "carries": "power", "cable": {"mm2": 0.75, "length_m": 0.0}}],
    }
    one, two = Scene.model_validate(whole), Scene.model_validate(parts)
    codes = drives(one, data.draw(st.integers(0, 2**31)))
    first, second = solve(built(one), codes), solve(built(two), codes)
    np.testing.assert_allclose(second.group_v, first.group_v, rtol=0, atol=2e-6)
    np.testing.assert_allclose(second.supply_a, first.supply_a, rtol=0, atol=2e-6)
