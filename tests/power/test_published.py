"""Conductors and ladders against published tables and worked examples; sources in tests/reference/power_sources.md."""

import csv
from pathlib import Path

import numpy as np
import pytest

from preview.power.conductors import ampacity_a, awg_area_mm2, cable_ohm_20c, temperature_factor
from preview.power.network import build
from preview.power.solve import solve
from preview.scene.layout import lay_out
from preview.scene.model import Cable, Scene

NANO = 1e-7  # V, A, W: a lead without resistance is given 1 nΩ, which is some 10 nV here; the promise is 1 µV
REFERENCE = Path(__file__).parents[1] / "reference"


def rows(name: str) -> list[dict[str, str]]:
    with (REFERENCE / name).open(newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", [r for r in rows("iec60228_copper.csv") if float(r["area_mm2"]) <= 16])
def test_flexible_cables_have_the_class_5_resistance(row: dict[str, str]) -> None:
    found = cable_ohm_20c(Cable(mm2=float(row["area_mm2"]), length_m=1000))
    assert found == pytest.approx(float(row["class5_plain_ohm_per_km_20C"]), rel=1e-12)


@pytest.mark.parametrize("row", rows("awg_b258.csv"))
def test_awg_sizes(row: dict[str, str]) -> None:
    awg = int(row["awg"])
    assert awg_area_mm2(awg) == pytest.approx(float(row["area_mm2"]), abs=5.1e-5)  # the table's last digit
    assert cable_ohm_20c(Cable(awg=awg, length_m=1000)) == pytest.approx(
        float(row["r20_ohm_per_km_solid_IACS"]), abs=6e-4
    )


@pytest.mark.parametrize("row", [r for r in rows("nec_ch9_table8.csv") if r["stranding"] == "solid"])
def test_warm_wire(row: dict[str, str]) -> None:
    warm = cable_ohm_20c(Cable(awg=int(row["awg"]), length_m=1000)) * temperature_factor(75)
    assert warm == pytest.approx(float(row["cu_uncoated_ohm_per_km_75C"]), rel=4e-3)  # three digits are printed


@pytest.mark.parametrize(
    ("cable", "amps"),
    [
        ({"mm2": 0.5}, 3),
        ({"mm2": 0.75}, 6),
        ({"mm2": 1.0}, 10),
        ({"mm2": 2.5}, 20),
        ({"awg": 18}, 10),
        ({"awg": 14}, 18),
    ],
)
def test_published_cord_ratings(cable: dict, amps: float) -> None:
    assert ampacity_a(Cable(length_m=1, **cable)) == amps


def ladder(volts: float, loads: int, length_m: float, loop_ohm_per_m: float, colour: dict, regulated: bool, both: bool):
    """A run on ideal cables at 20 °C, first load a segment from the feed: half of it is in the run, half in the feed's contacts."""
    cut = length_m / (loads + 1 if both else loads)
    half = loop_ohm_per_m * cut / 2 / 2 * 1000  # milliohm in each conductor
    dark = {"milliamp": 0.0, "dark_v": 0.0, "full_v": 0.1, "lumen": 1.0, "xy": (0.3, 0.3)}
    plan = {
        "format": 1, "title": "ladder", "room": {"size_m": (9, 9, 9)}, "viewer": {"eye_m": (0, 0, 0), "look_m": (1, 1, 1)},
        "assume": {"conductor_c": 20.0}, "supply": {"u": {"volts": volts, "amps": 100.0}},
        "strip": {"s": {
            "volts": volts, "leds_per_m": 1 / cut, "leds_per_group": 1, "idle_milliamp_per_group": 0.0, "regulated": regulated,
            "rail_milliohm_per_m": (loop_ohm_per_m * 500,) * 2, "red": dark | colour, "green": dark, "blue": dark,
        }},
        "run": [{"name": "r", "strip": "s", "path_m": [(0, 0, 0), (cut * loads, 0, 0)]}],
        "feed": [
            {"from": "u", "run": "r", "at_m": at, "cable": {"mm2": 1.0, "length_m": 0.0}, "contact_milliohm": half}
            for at in ([0.0, cut * loads] if both else [0.0])
        ],
    }  # fmt: skip
    scene = Scene.model_validate(plan)
    layout = lay_out(scene)
    assert layout.groups == loads
    return solve(build(scene, layout), np.full((1, loads, 3), 255, dtype=np.uint8))


@pytest.mark.parametrize("row", rows("ladder_constant_current.csv"), ids=lambda r: f"{r['case']} {r['feed'][-9:]}")
def test_constant_current_ladders(row: dict[str, str]) -> None:
    loads, volts = int(row["N_loads"]), float(row["V0"])
    colour = {"milliamp": float(row["I_total_A"]) / loads * 1000}
    both = "both" in row["feed"]
    state = ladder(volts, loads, float(row["L_m"]), float(row["r_loop_ohm_per_m"]), colour, True, both)
    assert state.group_v.min() == pytest.approx(float(row["V_min"]), abs=NANO)
    assert state.conductor_w[0] == pytest.approx(float(row["loss_discrete_W"]), abs=10 * NANO)


@pytest.mark.parametrize("row", rows("ladder_conductance.csv"), ids=lambda r: r["case"])
def test_conductance_ladders(row: dict[str, str]) -> None:
    loads, volts, length = int(row["N_loads"]), float(row["V0"]), float(row["L_m"])
    siemens = float(row["g_S_per_m"]) * length / loads
    colour = {"milliamp": siemens * volts * 1000, "full_v": volts}
    state = ladder(volts, loads, length, float(row["r_loop_ohm_per_m"]), colour, False, False)
    assert state.group_v[0, -1] == pytest.approx(float(row["Vend_discrete_closed"]), abs=NANO)
    assert state.supply_a[0, 0] == pytest.approx(float(row["Iin_discrete_A"]), abs=NANO)


def reel(
    volts: float,
    length_m: float,
    ends: int,
    per_group: int,
    dark: float,
    full: float,
    milliamp: float,
    per_m: float = 96,
):
    def colour(lower: float) -> dict:
        return {"milliamp": milliamp, "dark_v": dark * lower, "full_v": full * lower, "lumen": 2.0, "xy": (0.3, 0.3)}

    plan = {
        "format": 1, "title": "reel", "room": {"size_m": (99, 9, 9)}, "viewer": {"eye_m": (0, 0, 0), "look_m": (1, 1, 1)},
        "supply": {"u": {"volts": volts, "amps": 40.0, "output_milliohm": 5.0}},
        "strip": {"s": {
            "volts": volts, "leds_per_m": per_m, "leds_per_group": per_group, "idle_milliamp_per_group": 0.8,
            "rail_milliohm_per_m": (70.0, 70.0), "red": colour(0.7), "green": colour(1.0), "blue": colour(1.0),
        }},
        "run": [{"name": "r", "strip": "s", "path_m": [(0, 0, 0), (length_m, 0, 0)]}],
        "feed": [
            {"from": "u", "run": "r", "at_m": at, "cable": {"mm2": 1.5, "length_m": 1.0}, "contact_milliohm": 5.0}
            for at in np.linspace(0, length_m, ends)
        ],
    }  # fmt: skip
    scene = Scene.model_validate(plan)
    return scene, lay_out(scene)


def test_addresses_of_a_reel() -> None:  # common practice, no source
    assert reel(12, 5, 1, 3, 8.0, 10.0, 12.0)[1].groups == 160
    assert reel(12, 10, 1, 3, 8.0, 10.0, 12.0)[1].groups == 320


def feeds_needed(volts: float, per_group: int, knee: tuple[float, float]) -> int:
    """Feeds, evenly spread, until every group of ten metres at full white, 14 W/m, keeps its rated current."""
    amps_per_m = 14 / volts
    milliamp = amps_per_m / (60 / per_group) / 3 * 1000
    for ends in range(1, 40):
        scene, layout = reel(volts, 10, ends, per_group, *knee, milliamp, per_m=60)
        state = solve(build(scene, layout), np.full((1, layout.groups, 3), 255, dtype=np.uint8))
        if (state.group_v >= knee[1]).all():
            return ends
    raise AssertionError


def test_the_higher_the_voltage_the_fewer_feeds() -> None:  # common practice, no source
    five = feeds_needed(5, 1, (2.9, 3.8))
    twelve = feeds_needed(12, 3, (8.0, 10.0))
    twenty_four = feeds_needed(24, 6, (16.0, 20.0))
    assert five > twelve > twenty_four


def test_ten_metres_from_one_end() -> None:  # common practice, no source
    """They look right on coloured moving content at half level, and sag plainly on full white."""
    from preview.power.shift import dimming
    from preview.power.strip import light_fraction

    scene, layout = reel(12, 10, 1, 3, 8.0, 10.0, 12.0)
    network = build(scene, layout)
    along = np.arange(layout.groups)[None, :, None] / layout.groups
    moving = 0.5 * np.clip(np.sin(2 * np.pi * (3 * along + np.array([0, 1, 2]) / 3)), 0, 1) ** 2
    for light, low, high in ((moving, 0.0, 0.05), (np.ones((1, layout.groups, 3)), 0.2, 1.0)):
        codes = np.floor(255 * light + 0.5).astype(np.uint8)
        g = light_fraction(layout, solve(network, codes).group_v)
        assert low <= dimming(layout, codes, g).max() <= high
