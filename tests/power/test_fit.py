"""Figures of invented strips got back from readings that ngspice made, with meters that err; and readings that cannot be.

The readings come from a netlist written here: every group two taps on two rails, every colour a current source of its own. So the
network and its solver are not asked to agree with themselves. Errors of the meters are drawn at random from a seed.
"""

import itertools
import math
import os
import shutil
import subprocess
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pytest

from preview.power.bench import Reading
from preview.power.fit import Fitted, MeterError, fit, odd_ones
from preview.scene.fill import fill
from preview.scene.model import Strip

Codes = tuple[int, int, int, int]
ALL: Codes = (255, 255, 255, 0)
DARK: Codes = (0, 0, 0, 0)


@dataclass(frozen=True)
class Truth:
    """An invented strip: mΩ/m at 20 °C, mA a group, volts."""

    volts: float
    leds_per_m: float
    leds_per_group: int
    plus: float
    minus: float
    idle: float
    colours: dict[str, tuple[float, float, float]] = field(hash=False)  # mA, dark V, full V
    regulated: bool = True

    def figure(self, key: str) -> float:
        plain = {"rails": self.plus + self.minus, "share": self.plus / (self.plus + self.minus), "idle": self.idle}
        if key in plain:
            return plain[key]
        colour, kind = key.split(".")
        return self.colours[colour][("milliamp", "dark_v", "full_v").index(kind)]


TWELVE = Truth(12, 72, 3, 66, 78, 0.9, {"red": (11.2, 5.6, 7.4), "green": (12.7, 8.3, 10.1), "blue": (11.8, 8.1, 9.9)})
FIVE = Truth(5, 60, 1, 52, 61, 0.6, {"red": (13.1, 2.0, 2.7), "green": (12.2, 2.9, 3.5), "blue": (11.5, 2.8, 3.6)})
TWENTY_FOUR = Truth(24, 60, 6, 40, 47, 1.1, {"red": (14, 11, 14.6), "green": (15, 16.2, 20), "blue": (13, 16.5, 20.3)})


@dataclass(frozen=True)
class Setup:
    length_m: float
    fed: str
    codes: Codes
    volts: float


def label(truth: Truth) -> Strip:
    """What the strip's label would say, everything else typical."""
    raw = {
        "volts": truth.volts, "leds_per_m": truth.leds_per_m, "leds_per_group": truth.leds_per_group,
        "milliamp": 10.0, "regulated": truth.regulated,
    }  # fmt: skip
    if "white" in truth.colours:
        raw["colours"] = "rgbw"
    return Strip.model_validate(fill({"strip": {"s": raw}})[0]["strip"]["s"])


def spice(truth: Truth, setups: list[Setup], folder: Path, bench_c: float = 20.0) -> list[Reading]:
    """Readings without error. Group k of N taps both rails at (k + ½) cut lengths; every reading has a ground of its own."""
    if shutil.which("ngspice") is None:
        if os.environ.get("CI"):
            pytest.fail("ngspice must be installed in CI")
        pytest.skip("ngspice is not installed")
    warm = 1 + 0.00393 * (bench_c - 20)  # IEC 60287 table 1
    cut = truth.leds_per_group / truth.leds_per_m
    lines, prints, counts = ["a bench"], [], []
    for n, setup in enumerate(setups):
        groups = math.floor(setup.length_m / cut + 1e-6)
        counts.append(groups)
        for rail, ohm in (("p", truth.plus), ("n", truth.minus)):
            places = [f"s{n}{rail}", *(f"g{n}_{k}{rail}" for k in range(groups)), f"e{n}{rail}"]
            for k, (a, b) in enumerate(itertools.pairwise(places)):
                share = 0.5 if k in (0, groups) else 1.0
                lines.append(f"R{n}{rail}{k} {a} {b} {ohm / 1000 * cut * share * warm:.12g}")
        for k in range(groups):
            a, b = f"g{n}_{k}p", f"g{n}_{k}n"
            lines.append(f"I{n}_{k} {a} {b} {truth.idle / 1000:.12g}")
            for c, (milliamp, dark, full) in enumerate(truth.colours.values()):
                if setup.codes[c]:
                    rise = f"(v({a},{b})-{dark})/({full}-{dark})"
                    held = f"min(1,max(0,{rise}))" if truth.regulated else f"max(0,{rise})"
                    lines.append(f"B{n}_{k}_{c} {a} {b} I={setup.codes[c] / 255 * milliamp / 1000:.12g}*{held}")
        ends = {"near": "s", "far": "e"}
        for end in ("near", "far") if setup.fed == "both" else (setup.fed,):
            lines.append(f"V{n}{end} {ends[end]}{n}p {ends[end]}{n}n {setup.volts}")
        lines.append(f"Rg{n} {'e' if setup.fed == 'far' else 's'}{n}n 0 1e-3")
        amps = "+".join(f"i(V{n}{end})" for end in (("near", "far") if setup.fed == "both" else (setup.fed,)))
        prints += [f"print v(s{n}p,s{n}n)", f"print v(e{n}p,e{n}n)", f"print {amps}", f"print v(s{n}p,e{n}p)"]
    control = ".options reltol=1e-9 abstol=1e-12 vntol=1e-9 gmin=1e-15 itl1=1000\n.control\nset numdgt=12\nop\n"
    text = "\n".join([*lines, control + "\n".join(prints), ".endc", ".end", ""])
    (folder / "bench.cir").write_text(text)
    done = subprocess.run(
        ["ngspice", "-b", str(folder / "bench.cir")], capture_output=True, text=True, check=False, timeout=120
    )
    values = [float(line.split("=")[-1]) for line in done.stdout.splitlines() if line.startswith(("v(", "i(", "(i("))]
    assert len(values) == 4 * len(setups), done.stdout[-600:] + done.stderr[-600:]
    return [
        Reading(n + 2, s.length_m, counts[n], s.fed, s.codes, near, far, -amps, plus)
        for n, (s, (near, far, amps, plus)) in enumerate(zip(setups, np.reshape(values, (-1, 4)).tolist(), strict=True))
    ]


def misread(readings: list[Reading], seed: int) -> list[Reading]:
    """The same as meters show them that err."""
    error = MeterError()
    draw = np.random.default_rng(seed)
    found = []
    for reading in readings:
        near, far, amps, plus = draw.normal(size=4)
        drop = (
            None if reading.plus_drop_v is None or reading.fed == "both" else reading.plus_drop_v + error.volts * plus
        )
        off_a = math.hypot(error.amps_share * reading.amps, error.amps_floor) * amps
        found.append(
            replace(
                reading,
                near_v=reading.near_v + error.volts * near,
                far_v=reading.far_v + error.volts * far,
                amps=reading.amps + off_a,
                plus_drop_v=drop,
            )
        )
    return found


def thorough(truth: Truth) -> list[Setup]:
    """A bench that tells everything: long pieces for the rails, a dark one, each colour alone at full and within its knee."""
    long_m = {5: 1.5, 12: 2.5, 24: 5.0}[int(truth.volts)]
    setups = [Setup(long_m, "near", DARK, truth.volts), Setup(long_m, "near", ALL, truth.volts)]
    setups += [Setup(long_m, "both", ALL, truth.volts), Setup(long_m, "far", ALL, truth.volts)]
    for c, (_, dark, full) in enumerate(truth.colours.values()):
        codes: Codes = tuple(255 if k == c else 0 for k in range(4))  # type: ignore[assignment]
        short_m = 6 * truth.leds_per_group / truth.leds_per_m
        setups += [
            Setup(short_m, "near", codes, v)
            for v in (truth.volts, dark + 0.3 * (full - dark), dark + 0.8 * (full - dark))
        ]
    return setups


def values(found: Fitted) -> dict[str, float]:
    return {figure.key: figure.value for figure in found.figures}


@pytest.mark.parametrize("truth", [TWELVE, FIVE, TWENTY_FOUR], ids=["12 V", "5 V", "24 V"])
def test_exact_readings_give_the_figures_back(truth: Truth, tmp_path: Path) -> None:
    found = fit(label(truth), spice(truth, thorough(truth), tmp_path))
    for figure in found.figures:
        assert figure.value == pytest.approx(truth.figure(figure.key), rel=2e-3, abs=2e-3), figure.key
        assert figure.told, figure.key
    assert found.agree
    assert found.chi_squared < 1e-3
    assert found.untold == ()


@pytest.mark.parametrize(("truth", "seed"), [(TWELVE, 1), (FIVE, 2), (TWENTY_FOUR, 3)], ids=["12 V", "5 V", "24 V"])
def test_readings_with_errors_give_them_within_their_deviation(truth: Truth, seed: int, tmp_path: Path) -> None:
    """Four standard deviations are passed once in 16 000 times by chance."""
    found = fit(label(truth), misread(spice(truth, thorough(truth), tmp_path), seed))
    for figure in found.figures:
        assert abs(figure.value - truth.figure(figure.key)) < 4 * figure.deviation + 1e-6, figure.key
    assert found.agree


def test_deviations_are_as_large_as_the_scatter(tmp_path: Path) -> None:
    """Twelve benches of the same strip: the spread of each figure over its deviation lies within 0.5 and 1.7.

    For 12 normal draws s/σ leaves 0.52 to 1.55 once in a thousand times (chi-squared, 11 degrees of freedom).
    """
    exact = spice(TWELVE, thorough(TWELVE), tmp_path)
    near = fit(label(TWELVE), exact).strip  # from here it is quicker
    fits = [fit(near, misread(exact, seed)) for seed in range(12)]
    for key in ("rails", "share", "idle", "red.milliamp"):
        spread = float(np.std([values(found)[key] for found in fits], ddof=1))
        deviation = float(np.mean([f.deviation for found in fits for f in found.figures if f.key == key]))
        assert 0.5 < spread / deviation < 1.7, key


def test_a_warm_strip_is_brought_back_to_20_degrees(tmp_path: Path) -> None:
    """At 45 °C copper has 1.09825 times its resistance at 20 °C (0.00393 /K)."""
    warm = spice(TWELVE, thorough(TWELVE), tmp_path, bench_c=45)
    assert values(fit(label(TWELVE), warm, conductor_c=45))["rails"] == pytest.approx(144, rel=2e-3)
    assert values(fit(label(TWELVE), warm))["rails"] == pytest.approx(144 * 1.09825, rel=2e-3)


def test_an_unregulated_strip(tmp_path: Path) -> None:
    """Its current is a straight line above dark_v: 10 mA at full_v = 9 V or 6 mA at 7.8 V are the same line."""
    truth = replace(TWELVE, regulated=False, colours=dict.fromkeys(("red", "green", "blue"), (10.0, 6.0, 9.0)))
    strip = label(truth)
    found = fit(strip, spice(truth, [s for s in thorough(truth) if s.volts > 8], tmp_path))
    got = values(found)
    for name in ("red", "green", "blue"):
        assert f"{name}.full_v" not in got
        assert got[f"{name}.dark_v"] == pytest.approx(6.0, abs=0.01)
        full = getattr(found.strip, name).full_v
        assert got[f"{name}.milliamp"] * (9 - 6) / (full - 6) == pytest.approx(10.0, rel=2e-3)


def test_four_colours(tmp_path: Path) -> None:
    truth = replace(TWELVE, colours={**TWELVE.colours, "white": (15.5, 8.0, 9.8)})
    got = values(fit(label(truth), spice(truth, thorough(truth), tmp_path)))
    assert got["white.milliamp"] == pytest.approx(15.5, rel=2e-3)
    assert got["white.full_v"] == pytest.approx(9.8, abs=5e-3)


# what cannot be told --------------------------------------------------------------------------------------------------


def test_two_readings_tell_rails_idle_and_the_sum_of_the_currents(tmp_path: Path) -> None:
    """Full and dark at the rated volts: 0.9 mA idle, 144 mΩ/m, 35.7 mA in all; nothing of single colours or knees."""
    setups = [Setup(2.5, "near", ALL, 12), Setup(2.5, "near", DARK, 12)]
    readings = [replace(reading, plus_drop_v=None) for reading in spice(TWELVE, setups, tmp_path)]
    strip = label(TWELVE)
    found = fit(strip, readings)
    got, told = values(found), {f.key for f in found.figures if f.told}
    assert told == {"rails", "idle"}
    assert got["rails"] == pytest.approx(144, rel=0.01)
    assert got["idle"] == pytest.approx(0.9, rel=0.01)
    assert sum(got[f"{c}.milliamp"] for c in ("red", "green", "blue")) == pytest.approx(35.7, rel=0.01)
    assert got["red.dark_v"] == pytest.approx(strip.red.dark_v, abs=0.02)  # nothing read speaks of it: it stays
    keys = {key for one in found.untold for key in one.keys}
    assert keys >= {
        "red.milliamp",
        "green.milliamp",
        "blue.milliamp",
        "red.full_v",
        "green.full_v",
        "blue.full_v",
        "share",
    }
    (together,) = [one for one in found.untold if "red.milliamp" in one.keys]
    assert "only in combination" in together.says
    assert "each colour alone" in together.do


def test_a_colour_that_nobody_lit_is_said_so(tmp_path: Path) -> None:
    setups = [Setup(2.5, "near", (255, 0, 0, 0), 12), Setup(2.5, "near", DARK, 12)]
    found = fit(label(TWELVE), spice(TWELVE, setups, tmp_path))
    assert not any(figure.key.startswith(("green", "blue")) for figure in found.figures)
    assert {"green: no reading lit it", "blue: no reading lit it"} <= {one.says for one in found.untold}


def test_short_pieces_do_not_tell_the_rails(tmp_path: Path) -> None:
    """4 groups on 0.17 m drop 12 mV or so: no more than the meter errs by."""
    setups = [Setup(0.17, "near", ALL, 12), Setup(0.17, "near", DARK, 12)]
    found = fit(label(TWELVE), spice(TWELVE, setups, tmp_path))
    (rails,) = [f for f in found.figures if f.key == "rails"]
    assert not rails.told
    assert any("rails" in one.keys and "longer piece" in one.do for one in found.untold)


def test_a_value_of_the_scene_that_readings_rule_out_is_news(tmp_path: Path) -> None:
    """The scene has green full from 11.5 V; at 10 V green draws all it ever does, so that cannot be, though 10.1 V is not told."""
    strip = label(TWELVE)
    strip = strip.model_copy(update={"green": strip.green.model_copy(update={"full_v": 11.5, "dark_v": 9.5})})
    green: Codes = (0, 255, 0, 0)
    setups = [Setup(0.25, "near", green, v) for v in (12, 11, 10.4)] + [Setup(0.25, "near", DARK, 12)]
    found = fit(strip, spice(TWELVE, setups, tmp_path))
    (full,) = [f for f in found.figures if f.key == "green.full_v"]
    assert full.ruled_out
    assert full.is_news
    assert full.value <= 10.41


# contradictions -------------------------------------------------------------------------------------------------------


def test_one_wrong_reading_is_found_not_averaged_away(tmp_path: Path) -> None:
    readings = misread(spice(TWELVE, thorough(TWELVE), tmp_path), 5)
    readings[1] = replace(readings[1], amps=readings[1].amps * 1.15)
    found = fit(label(TWELVE), readings)
    assert not found.agree
    assert [reading.line for reading in odd_ones(found)] == [readings[1].line]
    assert int(found.off.argmax()) == 1


def test_the_same_bench_read_twice_and_differently(tmp_path: Path) -> None:
    """Nothing but a wrong meter or another strip draws 2.0 and 2.3 A in the same place: either may be wrong."""
    one, dark = spice(TWELVE, [Setup(2.5, "near", ALL, 12), Setup(2.5, "near", DARK, 12)], tmp_path)
    found = fit(label(TWELVE), [one, replace(one, line=9, amps=one.amps * 1.15), dark])
    assert not found.agree
    assert {reading.line for reading in odd_ones(found)} >= {one.line, 9}


def test_meters_that_are_said_to_be_worse_bring_them_together(tmp_path: Path) -> None:
    one, dark = spice(TWELVE, [Setup(2.5, "near", ALL, 12), Setup(2.5, "near", DARK, 12)], tmp_path)
    found = fit(label(TWELVE), [one, replace(one, line=9, amps=one.amps * 1.1), dark], MeterError(0.05, 0.1))
    assert found.agree


def test_more_readings_than_one_network_holds(tmp_path: Path) -> None:
    exact = spice(TWELVE, thorough(TWELVE), tmp_path)
    assert len(exact) == 13
    found = fit(label(TWELVE), [replace(r, line=n) for n, r in enumerate([*exact, *exact])])
    assert values(found)["rails"] == pytest.approx(144, rel=2e-3)
    assert len(found.off) == 26
