"""Every field of the meter's JSON against figures worked out by hand, and every proposed mend put into the plan and metered again.

The plan is one group behind one cable, so that Ohm's law and the straight line of the load give its volts in closed form. Copper:
IEC 60228 class 5, 0.75 mm² 26.0 Ω/km, 1 mm² 19.5 Ω/km at 20 °C; temperature factor of IEC 60228 annex, 0.00393 a kelvin.
u'v': CIE 15, 4X/(X + 15Y + 3Z) and 9Y/(X + 15Y + 3Z); a step is 0.0011 in it.
"""

import json
import re

import numpy as np
import pytest

from preview.power.mend import mends
from preview.power.meter import Metered, meter_frames
from preview.power.network import build
from preview.scene.layout import lay_out
from preview.scene.model import Scene

RED, GREEN, BLUE = (0.69, 0.308), (0.17, 0.72), (0.135, 0.055)
AMPS, IDLE_A = np.array([0.5, 0.4, 0.3]), 0.01
LUMEN = np.array([20.0, 45.0, 9.0])
DARK_V, FULL_V = np.array([4.0, 5.0, 5.0]), np.array([6.0, 12.0, 13.0])
EMF_V, WARM = 12.0, 1 + 0.00393 * 20  # conductors at 40 °C
RUN_OHM = 2 * 0.070 * 0.05 / 2 * WARM  # from the cut point to the tap, both rails
LOOP_OHM = 0.02 + 2 * (19.5e-3 * 3 * WARM + 0.005) + 0.004 + RUN_OHM
RATE = 30.0


def plan(**changes: dict) -> Scene:
    strip = {
        "volts": 12, "leds_per_m": 20, "leds_per_group": 1, "rail_milliohm_per_m": (70, 70), "idle_milliamp_per_group": IDLE_A * 1000,
        "reset_below_v": 8.0,
    }  # fmt: skip
    for i, (name, xy) in enumerate({"red": RED, "green": GREEN, "blue": BLUE}.items()):
        strip[name] = {
            "milliamp": AMPS[i] * 1000, "dark_v": DARK_V[i], "full_v": FULL_V[i], "lumen": LUMEN[i], "xy": xy,
        }  # fmt: skip
    feed = {
        "from": "psu", "run": "shelf", "at_m": 0.0, "cable": {"mm2": 1.0, "length_m": 3.0}, "contact_milliohm": 5.0,
        "fuse_a": 1.0, "fuse_milliohm": 4.0,
    }  # fmt: skip
    return Scene.model_validate(
        {
            "format": 1, "title": "one group", "room": {"size_m": (9, 9, 9)}, "viewer": {"eye_m": (0, 0, 0), "look_m": (1, 1, 1)},
            "strip": {"s": strip | changes.get("strip", {})},
            "supply": {"psu": {"volts": EMF_V, "amps": 1.0, "output_milliohm": 20.0} | changes.get("supply", {})},
            "run": [{"name": "shelf", "strip": "s", "path_m": [(0, 0, 1), (changes.get("length_m", 0.05), 0, 1)]}],
            "feed": [feed | changes.get("feed", {})],
            "limits": {"colour_steps": 4.0, "dimming": 0.2} | changes.get("limits", {}),
        }
    )  # fmt: skip


def by_hand(codes: np.ndarray) -> tuple[float, float, float, float, float]:
    """Amps, volts at the group and at the terminals, dimming and steps of one drive: v = (E − R(a − Σ s d)) / (1 + R Σ s)."""
    wanted = codes / 255 * AMPS
    sagging = np.ones(3, dtype=bool)
    for _ in range(4):  # which colours lie between their knees is settled by trying
        slope = np.where(sagging, wanted / (FULL_V - DARK_V), 0.0)
        fixed = IDLE_A + wanted[~sagging].sum()
        volts = (EMF_V - LOOP_OHM * (fixed - (slope * DARK_V).sum())) / (1 + LOOP_OHM * slope.sum())
        sagging = volts < FULL_V
    g = np.clip((volts - DARK_V) / (FULL_V - DARK_V), 0, 1)
    amps = IDLE_A + (wanted * g).sum()
    xyz = np.array([[x / y, 1, (1 - x - y) / y] for x, y in (RED, GREEN, BLUE)])
    rated, given = (codes * LUMEN) @ xyz, (codes * LUMEN * g) @ xyz

    def uv(t: np.ndarray) -> np.ndarray:
        return np.array([4 * t[0], 9 * t[1]]) / (t[0] + 15 * t[1] + 3 * t[2])

    steps = np.linalg.norm(uv(given) - uv(rated)) / 0.0011 if codes.any() else 0.0
    loss = 1 - given[1] / rated[1] if codes.any() else 0.0
    return amps, volts, EMF_V - 0.02 * amps, loss, steps


def metered(scene: Scene, codes: np.ndarray, cut_at: int = 5) -> Metered:
    layout = lay_out(scene)
    blocks = [codes[:cut_at], codes[cut_at:]]
    return meter_frames(scene, layout, build(scene, layout), blocks, RATE, name="n", effect="e", level=0.6)


@pytest.fixture(scope="module")
def codes() -> np.ndarray:
    """Twelve frames: dark, half, full for four frames, red alone, dark, full again for two, dark."""
    shown = np.zeros((12, 1, 3), dtype=np.uint8)
    shown[1] = 128
    shown[2:6] = 255
    shown[6, 0] = (255, 0, 0)
    shown[8:10] = 255
    return shown


def test_every_field_of_the_json_is_what_ohms_law_gives(codes) -> None:
    scene = plan()
    entry = metered(scene, codes).as_json(scene, lay_out(scene))
    amps, volts, terminals, loss, steps = np.array([by_hand(frame[0].astype(float)) for frame in codes]).T
    assert set(entry) == {
        "name", "effect", "frames", "frames_per_s", "level", "supplies", "feeds", "lowest_volts", "worst_dimming",
        "worst_colour_steps", "mean_watts", "breaks",
    }  # fmt: skip
    assert (entry["name"], entry["effect"], entry["level"]) == ("n", "e", 0.6)
    assert (entry["frames"], entry["frames_per_s"]) == (12, RATE)
    close = {"rel": 1e-9, "abs": 1e-9}  # the solver promises 1 µV on 12 V; one group is exact
    (supply,) = entry["supplies"]
    assert supply["name"] == "psu"
    assert supply["peak_amps"] == pytest.approx(amps.max(), **close)
    assert supply["peak_at_s"] == pytest.approx(2 / RATE)  # the first of the frames that draw most
    assert supply["mean_amps"] == pytest.approx(amps.mean(), **close)
    assert supply["limit_amps"] == pytest.approx(0.8)
    assert supply["seconds_over"] == pytest.approx((amps > 0.8).sum() / RATE)
    assert (amps > 0.8).sum() == 6
    assert entry["feeds"] == [{"index": 0, "peak_amps": pytest.approx(amps.max(), **close), "limit_amps": 0.8}]
    here = {"run": "shelf", "group": 0, "at_s": pytest.approx(2 / RATE)}
    assert entry["lowest_volts"] == {"volts": pytest.approx(volts.min(), **close), **here}
    assert entry["worst_dimming"] == {"fraction": pytest.approx(loss.max(), rel=1e-8), **here}
    assert entry["worst_colour_steps"]["steps"] == pytest.approx(steps.max(), rel=1e-8)
    assert entry["mean_watts"] == pytest.approx((terminals * amps).mean(), **close)
    assert steps[6] == 0  # red alone, above its knee: dimmer it cannot get, and its hue stays


def test_a_break_says_what_by_how_much_for_how_long_and_since_when(codes) -> None:
    scene = plan(
        feed={"fuse_a": None, "cable": {"mm2": 1.0, "length_m": 3.0}}, limits={"colour_steps": 500, "dimming": 1}
    )
    found = metered(scene, codes)
    peak = max(by_hand(frame[0].astype(float))[0] for frame in codes)
    (broken,) = found.breaks
    assert (broken.kind, broken.where, broken.spells) == ("supply", "psu", 2)
    assert (broken.first_s, broken.worst_s, broken.seconds) == pytest.approx((2 / RATE, 2 / RATE, 6 / RATE))
    assert broken.worst == pytest.approx(peak, rel=1e-9)
    assert str(broken) == f"supply psu: {peak:.1f} A over 0.8 A for 0.2 s in 2 spells, the first from 0.07 s"


def test_a_look_cut_into_other_blocks_is_metered_alike(codes) -> None:
    scene = plan()
    layout = lay_out(scene)
    texts = [json.dumps(metered(scene, codes, cut_at).as_json(scene, layout)) for cut_at in (1, 11)]
    one, other = (json.loads(text, parse_float=lambda number: f"{float(number):.12g}") for text in texts)
    assert one == other


def test_all_that_is_limited_is_reported_at_once(codes) -> None:
    """A fuse of 0.5 A, a limit of 3 % dimming, and a chip that resets above what is left."""
    scene = plan(feed={"fuse_a": 0.5}, limits={"dimming": 0.03}, strip={"reset_below_v": 11.95})
    kinds = [broken.kind for broken in metered(scene, codes).breaks]
    assert kinds == ["supply", "fuse", "colour", "dimming", "reset"]


@pytest.mark.parametrize(
    ("changes", "kind", "words"),
    [
        ({"supply": {"amps": 1.0}}, "supply", r"a ([\d.]+) A supply would hold"),
        ({"feed": {"fuse_a": 0.5}}, "fuse", r"a ([\d.]+) A fuse would hold"),
    ],
)
def test_a_proposed_part_holds_and_is_the_smallest_that_does(changes, kind, words, codes) -> None:
    scene = plan(**changes, limits={"colour_steps": 500, "dimming": 1})
    layout = lay_out(scene)
    broken = next(b for b in metered(scene, codes).breaks if b.kind == kind)
    (says,) = mends(scene, layout, broken, lambda changed: metered(changed, codes))
    size = float(re.fullmatch(words, says)[1])
    sizes = [1, 1.5, 2, 3] if kind == "supply" else [1, 2, 3]
    assert size in sizes

    def holds(rating: float) -> bool:
        part = {"supply": {"amps": rating}} if kind == "supply" else {"feed": {"fuse_a": rating}}
        again = plan(**part, limits={"colour_steps": 500, "dimming": 1})
        return kind not in [b.kind for b in metered(again, codes).breaks]

    assert next(rating for rating in sizes if holds(rating)) == size


def test_a_proposed_feed_is_one_that_holds_when_it_is_built() -> None:
    """Five metres that sag at the far end: what is said is read back, put in as a feed, and metered."""
    base = plan(
        length_m=5.0,
        strip={"rail_milliohm_per_m": (150, 150), "leds_per_m": 28,
               "red": {"milliamp": 12, "dark_v": 5.4, "full_v": 9, "lumen": 2, "xy": RED},
               "green": {"milliamp": 12, "dark_v": 8, "full_v": 10.4, "lumen": 4, "xy": GREEN},
               "blue": {"milliamp": 12, "dark_v": 8, "full_v": 10.6, "lumen": 1, "xy": BLUE}},
        supply={"amps": 20}, feed={"fuse_a": None},
    )  # fmt: skip
    layout = lay_out(base)
    full = np.full((2, layout.groups, 3), 255, dtype=np.uint8)
    broken = next(b for b in metered(base, full, 1).breaks if b.kind == "colour")
    (says,) = mends(base, layout, broken, lambda changed: metered(changed, full, 1))
    proposed = re.findall(r"into shelf at (its far end|([\d.]+) m) from psu, ([\d.]+) m of 1.5 mm²", says)
    assert proposed
    assert says.startswith(
        f"{len(proposed)} more feeds would hold" if len(proposed) > 1 else "one more feed would hold"
    )
    first = base.feed[0]
    more = [
        first.model_copy(
            update={
                "at_m": float(at_m or 5.0),
                "cable": first.cable.model_copy(update={"mm2": 1.5, "length_m": float(length_m)}),
            }
        )
        for _, at_m, length_m in proposed
    ]

    def kinds(feeds: list) -> list[str]:
        return [b.kind for b in metered(base.model_copy(update={"feed": (first, *feeds)}), full, 1).breaks]

    assert "colour" not in kinds(more)
    assert "colour" in kinds(more[:-1])  # and not one of them is too many
