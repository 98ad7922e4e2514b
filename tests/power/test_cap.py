"""The cap against its definition: every frame solved at every one of the 256 levels, in plain loops.

What is asked at each level (amps, u'v', dimming) is worked out here again from the rules of the scene file; only the volts come from the
solver, which is held against ngspice elsewhere. u'v': CIE 15, 4X/(X+15Y+3Z) and 9Y/(X+15Y+3Z).
"""

import itertools

import numpy as np
import pytest

from preview.power.cap import cap_any, cap_of, codes_at
from preview.power.network import build
from preview.power.solve import solve
from preview.scene.layout import lay_out
from preview.scene.model import Scene

CORDS = {0.5: 3.0, 0.75: 6.0, 1.0: 10.0, 1.5: 15.0}  # A, UK flexible cords


def plan(seed: int) -> Scene:
    draw = np.random.default_rng(seed)
    volts = float(draw.choice([5.0, 12.0, 24.0]))
    count = int(draw.integers(1, 4))

    alike = draw.random() < 0.4  # one knee for all colours: then light is lost, but no hue
    knee = volts * draw.uniform(0.6, 0.75), volts * draw.uniform(0.05, 0.2)

    def colour(xy: tuple[float, float]) -> dict:
        dark, span = knee if alike else (volts * draw.uniform(0.4, 0.75), volts * draw.uniform(0.05, 0.2))
        return {
            "milliamp": draw.uniform(5, 40), "dark_v": dark, "full_v": dark + span,
            "lumen": draw.uniform(0.5, 5), "xy": xy,
        }  # fmt: skip

    strip = {
        "volts": volts, "leds_per_m": 60, "leds_per_group": 3, "idle_milliamp_per_group": 0.8,
        "rail_milliohm_per_m": tuple(10 ** draw.uniform(1.7, 3.3, 2)), "regulated": bool(draw.random() < 0.8),
        "reset_below_v": volts * 0.45 if draw.random() < 0.3 else None,
        "red": colour((0.69, 0.308)), "green": colour((0.17, 0.72)), "blue": colour((0.135, 0.055)),
    }  # fmt: skip
    if draw.random() < 0.3:
        strip |= {"colours": "rgbw", "white": colour((0.38, 0.377))}

    def cable() -> dict:
        return {"mm2": float(draw.choice([0.5, 0.75, 1.0, 1.5])), "length_m": draw.uniform(0.2, 4)}

    runs = [
        {"name": f"r{r}", "strip": "s", "path_m": [(0, r, 0), (int(draw.integers(4, 30)) * 0.05, r, 0)]}
        for r in range(count)
    ]
    feeds = [
        {
            "from": "u" if draw.random() < 0.7 else "w", "run": run["name"], "at_m": draw.uniform(0, 1.5), "cable": cable(),
            "contact_milliohm": 5.0, "fuse_a": float(draw.choice([1, 2, 3, 5])) if draw.random() < 0.5 else None,
        }
        for run in runs for _ in range(int(draw.integers(1, 3)))
    ]  # fmt: skip
    joins = [
        {
            "from": a["name"],
            "to": b["name"],
            "carries": str(draw.choice(["power", "negative", "data"])),
            "cable": cable(),
        }
        for a, b in itertools.pairwise(runs)
    ]
    supply = {"volts": volts, "amps": draw.uniform(1, 6), "output_milliohm": 20.0}
    return Scene.model_validate({
        "format": 1, "title": "t", "room": {"size_m": (9, 9, 9)}, "viewer": {"eye_m": (0, 0, 0), "look_m": (1, 1, 1)},
        "strip": {"s": strip}, "supply": {"u": supply, "w": supply | {"volts": volts * 1.01}}, "run": runs, "feed": feeds,
        "join": joins, "limits": {"colour_steps": float(draw.choice([3.0, 8.0, 80.0])), "dimming": draw.uniform(0.05, 0.4)},
    })  # fmt: skip


def fails(scene: Scene, layout, network, codes: np.ndarray) -> set[str]:
    """The kinds of limit that some frame passes."""
    state = solve(network, codes)
    found = set()
    for s, supply in enumerate(scene.supply.values()):
        if (state.supply_a[:, s] > 0.8 * supply.amps + 1e-8).any():
            found.add("supply")
    for k, feed in enumerate(scene.feed):
        if feed.fuse_a is not None and (np.abs(state.feed_a[:, k]) > 0.8 * feed.fuse_a + 1e-8).any():
            found.add("fuse")
        for amps in (state.feed_a, state.feed_negative_a):
            if (np.abs(amps[:, k]) > CORDS[feed.cable.mm2] + 1e-8).any():
                found.add("cable")
    for j, join in enumerate(join for join in scene.join if join.carries != "data"):
        for amps in (state.join_a, state.join_negative_a):
            if (np.abs(amps[:, j]) > CORDS[join.cable.mm2] + 1e-8).any():
                found.add("cable")
    strip = scene.strip["s"]
    if strip.reset_below_v is not None and state.group_v.min() < strip.reset_below_v - 1e-8:
        found.add("reset")
    ideal, given = np.zeros((*codes.shape[:2], 3)), np.zeros((*codes.shape[:2], 3))
    for c, colour in enumerate((strip.red, strip.green, strip.blue, strip.white)):
        if colour is None:
            continue
        g = np.maximum((state.group_v - colour.dark_v) / (colour.full_v - colour.dark_v), 0)
        g = np.minimum(g, 1) if strip.regulated else g
        x, y = colour.xy
        xyz = colour.lumen * np.array([x / y, 1, (1 - x - y) / y])
        ideal += codes[:, :, c, None] * xyz
        given += (codes[:, :, c] * g)[:, :, None] * xyz
    lit = ideal[..., 1] > 0
    loss = 1 - given[lit][:, 1] / ideal[lit][:, 1]
    if (loss > scene.limits.dimming + 1e-8).any():
        found.add("dimming")
    both = [v[lit & (given[..., 1] > 0)] for v in (ideal, given)]
    weights = np.array([1.0, 15.0, 3.0])
    uv = [np.stack([4 * v[:, 0], 9 * v[:, 1]], axis=1) / (v @ weights)[:, None] for v in both]
    if (np.linalg.norm(uv[0] - uv[1], axis=1) / 0.0011 > scene.limits.colour_steps + 1e-8).any():
        found.add("colour")
    return found


def brute(scene: Scene, layout, network, channels: np.ndarray) -> tuple[int, set[str]]:
    for level in range(256):
        found = fails(scene, layout, network, np.floor(255 * (level / 255) * channels + 0.5).astype(np.uint8))
        if found:
            return level, found
    return 256, set()


@pytest.mark.parametrize("seed", range(40))
def test_cap_is_what_every_level_tried_gives(seed: int) -> None:
    scene = plan(seed)
    layout = lay_out(scene)
    network = build(scene, layout)
    draw = np.random.default_rng(1000 + seed)
    # a few frames, from dim and coloured to bright and nearly white, with the same frame twice
    channels = draw.random((5, layout.groups, layout.colours)) ** draw.choice([0.2, 1.0, 4.0], (5, 1, 1))
    channels *= draw.integers(0, 2, (5, 1, layout.colours)) | (draw.random((5, 1, layout.colours)) < 0.6)
    channels[3] = channels[1]
    times = np.arange(5) / 30
    blocks = [(times[:2], channels[:2]), (times[2:], channels[2:])]
    everything = np.ones((1, layout.groups, layout.colours))
    for cap, asked in (
        (cap_of(scene, layout, network, blocks, "look"), channels),
        (cap_any(scene, layout, network), everything),
    ):
        first, kinds = brute(scene, layout, network, asked)
        assert cap.code == min(max(first - 1, 0), 255)
        assert cap.holds == (first > 0)
        assert cap.limited_by in (kinds or {None})


def test_the_plans_try_every_kind_of_limit() -> None:
    kinds = set()
    for seed in range(40):
        scene = plan(seed)
        layout = lay_out(scene)
        kinds.add(cap_any(scene, layout, build(scene, layout)).limited_by)
    assert kinds >= {"supply", "fuse", "colour", "dimming"}


def test_codes_round_half_up() -> None:
    assert codes_at(np.array([[[0.5, 0.1, 1.0]]]), 255).tolist() == [[[128, 26, 255]]]  # 127.5, 25.5, 255
    assert codes_at(np.array([[[0.5, 0.0, 1.0]]]), 1).tolist() == [[[1, 0, 1]]]
