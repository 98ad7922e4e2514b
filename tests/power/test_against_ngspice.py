"""The network against ngspice, a general circuit simulator (Debian package `ngspice`), to 20 µV and 20 µA.

The netlist shares nothing with `preview.power`: taps, cables and temperature are worked out again here, in plain Python, from
the rules of the scene file. Every cut point is a node of its own, every colour of every group a current source of its own.
"""

import itertools
import math
import os
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from preview.power.network import build
from preview.power.solve import solve
from preview.scene.layout import lay_out
from preview.scene.model import Cable, Scene
from preview.scene.read import read_scene

# IEC 60228 class 5, plain copper, maximum at 20 °C in Ω/km (four public copies of the table agree)
CLASS_5 = {0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30, 10.0: 1.91, 16.0: 1.21}


def copper(scene: Scene) -> float:
    return 1 + 0.00393 * (scene.assume.conductor_c - 20)  # IEC 60287 table 1


def cable_ohm(cable: Cable | None, factor: float) -> float:
    if cable is None:
        return 0.0
    if cable.awg is not None:
        diameter_mm = 0.127 * 92 ** ((36 - cable.awg) / 39)  # ASTM B258
        per_km = 1000 / 58 / (math.pi / 4 * diameter_mm**2)  # solid, annealed copper
    else:
        assert cable.mm2 is not None
        per_km = CLASS_5.get(cable.mm2, 1000 / 58 / cable.mm2)
    return per_km / 1000 * cable.length_m * factor


def netlist(scene: Scene, drive: np.ndarray) -> tuple[str, list[tuple[str, str]]]:
    """The netlist, and the (positive, negative) nodes of every group in run order. `drive` (groups, colours): codes."""
    lines, factor, number = ["a scene"], copper(scene), itertools.count()
    taps: list[tuple[str, str]] = []

    def resistor(a: str, b: str, ohm: float) -> None:
        lines.append(f"R{next(number)} {a} {b} {max(ohm, 1e-9):.15g}")

    def pair(a: str, b: str, ohm: float, extra_positive_ohm: float = 0.0) -> None:
        resistor(f"{a}p", f"{b}p", ohm + extra_positive_ohm)
        resistor(f"{a}n", f"{b}n", ohm)

    source = {}
    for s, (name, supply) in enumerate(scene.supply.items()):
        source[name] = f"s{s}"
        lines.append(f"V{s} emf{s} s{s}n {supply.volts}")
        resistor(f"emf{s}", f"s{s}p", supply.output_milliohm / 1000)
        resistor(f"s{s}n", "0", 1e9 if s else 1e-9)  # one is the reference; the others float but for a whisker
    source |= {name: f"b{b}" for b, name in enumerate(scene.block)}
    for name, block in scene.block.items():
        pair(source[block.from_], source[name], cable_ohm(block.cable, factor) + block.contact_milliohm / 1000)
    counts, cuts = {}, {}
    for r, run in enumerate(scene.run):
        strip = scene.strip[run.strip]
        cut = strip.leds_per_group / strip.leds_per_m
        length = sum(math.dist(a, b) for a, b in itertools.pairwise(run.path_m))
        counts[run.name], cuts[run.name] = math.floor(length / cut + 1e-6), cut
        half_p, half_n = (milliohm / 1000 * factor * cut / 2 for milliohm in strip.rail_milliohm_per_m)
        for k in range(counts[run.name]):
            for end in (k, k + 1):
                resistor(f"r{r}c{end}p", f"r{r}g{k}p", half_p)
                resistor(f"r{r}c{end}n", f"r{r}g{k}n", half_n)
            tap = (f"r{r}g{k}p", f"r{r}g{k}n")
            lines.append(f"I{next(number)} {tap[0]} {tap[1]} {strip.idle_milliamp_per_group / 1000:.15g}")
            for c, colour in enumerate((strip.red, strip.green, strip.blue, strip.white)):
                code = 0 if colour is None else drive[len(taps), c]
                if colour is not None and code:
                    rise = f"(v({tap[0]},{tap[1]})-{colour.dark_v})/({colour.full_v}-{colour.dark_v})"
                    held = f"min(1,max(0,{rise}))" if strip.regulated else f"max(0,{rise})"
                    lines.append(
                        f"B{next(number)} {tap[0]} {tap[1]} I={code / 255 * colour.milliamp / 1000:.15g}*{held}"
                    )
            taps.append(tap)
    numbers = {run.name: r for r, run in enumerate(scene.run)}
    for feed in scene.feed:
        cut_point = min(max(math.floor(feed.at_m / cuts[feed.run] + 0.5), 0), counts[feed.run])
        ohm = cable_ohm(feed.cable, factor) + feed.contact_milliohm / 1000
        pair(source[feed.from_], f"r{numbers[feed.run]}c{cut_point}", ohm, feed.fuse_milliohm / 1000)
    for join in scene.join:
        if join.carries == "data":
            continue
        ohm = cable_ohm(join.cable, factor) + join.contact_milliohm / 1000
        a, b = f"r{numbers[join.from_]}c{counts[join.from_]}", f"r{numbers[join.to]}c0"
        resistor(f"{a}n", f"{b}n", ohm)
        if join.carries == "power":
            resistor(f"{a}p", f"{b}p", ohm)
    return "\n".join(lines), taps


def spice(scene: Scene, drive: np.ndarray, folder: Path) -> tuple[np.ndarray, np.ndarray]:
    """Group volts (groups,) and supply amps (supplies,) by ngspice's operating point."""
    if shutil.which("ngspice") is None:
        if os.environ.get("CI"):
            pytest.fail("ngspice must be installed in CI")
        pytest.skip("ngspice is not installed")
    text, taps = netlist(scene, drive)
    supplies = [f"i(V{s})" for s in range(len(scene.supply))]
    prints = "\n".join(f"print v({p},{n})" for p, n in taps) + "\n" + "\n".join(f"print {i}" for i in supplies)
    control = f".options reltol=1e-9 abstol=1e-12 vntol=1e-9 gmin=1e-15 itl1=1000\n.control\nset numdgt=12\nop\n{prints}\n.endc\n.end\n"
    file = folder / "scene.cir"
    file.write_text(f"{text}\n{control}")
    done = subprocess.run(["ngspice", "-b", str(file)], capture_output=True, text=True, check=False, timeout=120)
    values = [float(line.split("=")[1]) for line in done.stdout.splitlines() if line.startswith(("v(r", "i(v"))]
    assert len(values) == len(taps) + len(supplies), done.stdout[-500:] + done.stderr[-500:]
    return np.array(values[: len(taps)]), -np.array(values[len(taps) :])


def strip(
    volts: float, per_m: float, per_group: int, rails: str, dark: float, full: float, more: str = "", white: str = ""
) -> str:
    colour = f"milliamp = 11.5\ndark_v = {dark}\nfull_v = {full}\nlumen = 2.0\n"
    return (
        f"[strip.s]\nvolts = {volts}\nleds_per_m = {per_m}\nleds_per_group = {per_group}\nrail_milliohm_per_m = {rails}\n"
        f"idle_milliamp_per_group = 0.8\n{more}\n[strip.s.red]\n{colour.replace(str(dark), str(round(dark * 0.7, 3)))}xy = [0.69, 0.308]\n"
        f"[strip.s.green]\n{colour}xy = [0.17, 0.72]\n[strip.s.blue]\n{colour}xy = [0.135, 0.055]\n{white}"
    )


def supply(name: str, volts: float, milliohm: float = 5) -> str:
    return f"[supply.{name}]\nvolts = {volts}\namps = 10\noutput_milliohm = {milliohm}\n"


def run(name: str, length: float, y: float) -> str:
    return f'[[run]]\nname = "{name}"\nstrip = "s"\npath_m = [[0, {y}, 1], [{length}, {y}, 1]]\n'


def feed(
    source: str, of: str, at: float, cable: str = "{ mm2 = 1.5, length_m = 2 }", more: str = "contact_milliohm = 5"
) -> str:
    return f'[[feed]]\nfrom = "{source}"\nrun = "{of}"\nat_m = {at}\ncable = {cable}\n{more}\n'


def join(a: str, b: str, carries: str = "power") -> str:
    return f'[[join]]\nfrom = "{a}"\nto = "{b}"\ncarries = "{carries}"\ncable = {{ mm2 = 0.75, length_m = 0.3 }}\ncontact_milliohm = 10\n'


FIVE = strip(5, 60, 1, "[60, 60]", 2.9, 3.6)
TWELVE = strip(12, 84, 3, "[70, 70]", 8.0, 10.0)
UNEQUAL = strip(12, 84, 3, "[55, 95]", 8.0, 10.0)
LOOSE = strip(12, 84, 3, "[70, 70]", 8.0, 10.0, "regulated = false")
TWENTY_FOUR = strip(24, 96, 6, "[45, 50]", 16.0, 20.0)
FOUR = strip(
    24, 96, 6, "[45, 45]", 16.0, 20.0, 'colours = "rgbw"\ncolour_order = "grbw"',
    "[strip.s.white]\nmilliamp = 14.0\ndark_v = 16.2\nfull_v = 19.8\nlumen = 9.0\nkelvin = 4000\n",
)  # fmt: skip
BLOCK = '[block.b]\nfrom = "a"\ncable = { mm2 = 2.5, length_m = 4 }\ncontact_milliohm = 5\n'

NETWORKS = {
    "5 V, one end, deep sag": [FIVE, supply("a", 5), run("r", 3, 1), feed("a", "r", 0)],
    "5 V, both ends": [FIVE, supply("a", 5), run("r", 2, 1), feed("a", "r", 0), feed("a", "r", 2)],
    "12 V, one end": [TWELVE, supply("a", 12), run("r", 5, 1), feed("a", "r", 0)],
    "a block and a feed in mid-run": [
        TWELVE, supply("a", 12), BLOCK, run("r", 5, 1), feed("b", "r", 0), feed("b", "r", 2.7, "{ awg = 16, length_m = 3 }"),
    ],
    "unequal rails, fuse in the positive": [
        UNEQUAL, supply("a", 12), run("r", 5, 1), feed("a", "r", 0, more="fuse_milliohm = 12"), feed("a", "r", 5),
    ],
    "a ring": [
        UNEQUAL, supply("a", 12), run("p", 3, 1), run("q", 3, 2), feed("a", "p", 1.2), join("p", "q"), join("q", "p"),
    ],
    "two runs joined, fed at their far ends": [
        TWELVE, supply("a", 12), run("p", 2.5, 1), run("q", 2.5, 2), feed("a", "p", 0), feed("a", "q", 2.5), join("p", "q"),
    ],
    "two supplies joined by the negative": [
        UNEQUAL, supply("a", 12), supply("b", 12.3, 8), run("p", 3, 1), run("q", 4, 2),
        feed("a", "p", 0), feed("b", "q", 4), join("p", "q", "negative"),
    ],
    "positive cut far from either feed, four runs": [
        TWENTY_FOUR, supply("a", 24, 10), supply("b", 24, 10), *(run(n, 4, y) for y, n in enumerate("pqrs")),
        feed("a", "p", 0), feed("b", "s", 4), join("p", "q"), join("q", "r", "negative"), join("r", "s"),
    ],
    "unregulated": [LOOSE, supply("a", 12.6), run("r", 5, 1), feed("a", "r", 0)],
    "24 V, ten metres, one end": [TWENTY_FOUR, supply("a", 24), run("r", 10, 1), feed("a", "r", 0)],
    "four colours": [FOUR, supply("a", 24), run("r", 8, 1), feed("a", "r", 8)],
}  # fmt: skip


@pytest.mark.parametrize("name", NETWORKS)
def test_volts_and_amps_agree(name: str, tmp_path: Path) -> None:
    file = tmp_path / "scene.toml"
    file.write_text("format = 1\ntitle = 'a network'\n" + "\n".join(NETWORKS[name]))
    scene = read_scene(file)
    layout = lay_out(scene)
    draw = np.random.default_rng(7)
    full = np.full((layout.groups, layout.colours), 255)
    mixed = draw.integers(0, 256, full.shape)
    for drive in (full, mixed):
        state = solve(build(scene, layout), drive[None].astype(np.uint8))
        volts, amps = spice(scene, drive, tmp_path)
        np.testing.assert_allclose(state.group_v[0], volts, rtol=0, atol=20e-6)
        np.testing.assert_allclose(state.supply_a[0], amps, rtol=0, atol=20e-6)
