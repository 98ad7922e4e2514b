"""How fast the power figures are, against ngspice and against scipy.sparse in the same run: `python tests/bench/bench_power.py`.

Networks: 12 V in groups of three, a feed in the middle of every 160 groups or so, a supply that grows with the plan and 12 s of the same
light, so that a network of any size sags alike and growth compares like with like; with rails on which nothing falls below its knees,
with rails on which some groups do, and with rails so thin that most do. Process time where seconds are given; the best of a few runs,
since the machine may be busy with other things.
"""

import resource
import shutil
import subprocess
import tempfile
import time
from pathlib import Path

import numpy as np
from scipy.sparse import csc_matrix
from scipy.sparse.linalg import spsolve

from preview.power.cap import cap_of
from preview.power.meter import meter_frames
from preview.power.network import build
from preview.power.solve import solve
from preview.scene.layout import lay_out
from preview.scene.model import Scene

COLOURS = {"red": (5.4, 7.0, (0.69, 0.308)), "green": (8.1, 9.4, (0.17, 0.72)), "blue": (8.1, 9.6, (0.135, 0.055))}
MILLIAMP, IDLE_MA, CUT = 12.0, 0.8, 3 / 84
FRAMES = 360
CABLE = {"mm2": 1.5, "length_m": 3.0}
FACTOR = 1 + 0.00393 * 20


def plan(groups: int, shares: np.ndarray, rail: float = 70.0) -> Scene:
    """One run with a feed at each of these shares of its length."""
    strip = {
        "volts": 12, "leds_per_m": 84, "leds_per_group": 3, "rail_milliohm_per_m": (rail, rail),
        "idle_milliamp_per_group": IDLE_MA,
    }  # fmt: skip
    for name, (dark, full, xy) in COLOURS.items():
        strip[name] = {"milliamp": MILLIAMP, "dark_v": dark, "full_v": full, "lumen": 2.0, "xy": xy}
    length = groups * CUT
    return Scene.model_validate({
        "format": 1, "title": "bench", "room": {"size_m": (999, 9, 9)}, "viewer": {"eye_m": (0, 0, 0), "look_m": (1, 1, 1)},
        "strip": {"s": strip}, "supply": {"u": {"volts": 12.0, "amps": 400.0, "output_milliohm": 160 / groups}},
        "run": [{"name": "r", "strip": "s", "path_m": [(0, 0, 0), (length, 0, 0)]}],
        "feed": [
            {"from": "u", "run": "r", "at_m": at, "cable": CABLE, "contact_milliohm": 5.0}
            for at in shares * length
        ],
    })  # fmt: skip


def light(groups: int, frames: int, seed: int = 0) -> np.ndarray:
    """Moving, coloured, bright in places: (F, G, 3)."""
    phase = np.random.default_rng(seed).uniform(0, 6, 3)
    along, time_s = np.arange(groups)[None, :, None] / 28, np.arange(frames)[:, None, None] / 30
    return np.clip(0.55 + 0.5 * np.sin(1.3 * along + 2 * time_s + np.array([0, 1, 2]) + phase), 0, 1)


def ngspice(scene: Scene, codes: np.ndarray) -> tuple[float, np.ndarray]:
    """Seconds of its whole run, and group volts."""
    groups = len(codes)
    half = scene.strip["s"].rail_milliohm_per_m[0] / 1000 * FACTOR * CUT / 2
    lead = 13.3 / 1000 * CABLE["length_m"] * FACTOR + 0.005
    lines = ["bench", "V0 emf 0 12", f"Rs emf sp {0.16 / groups}"]
    for k in range(groups):
        for side in "pn":
            lines += [f"R{side}a{k} {side}c{k} {side}g{k} {half}", f"R{side}b{k} {side}g{k} {side}c{k + 1} {half}"]
        terms = [
            f"{code / 255 * MILLIAMP / 1000:.12g}*min(1,max(0,(v(pg{k},ng{k})-{d})/({f}-{d})))"
            for code, (d, f, _) in zip(codes[k], COLOURS.values(), strict=True)
        ]
        lines.append(f"B{k} pg{k} ng{k} I={IDLE_MA / 1000}+{'+'.join(terms)}")
    for i, feed in enumerate(scene.feed):
        at = round(feed.at_m / CUT)
        lines += [f"Rfp{i} sp pc{at} {lead}", f"Rfn{i} nc{at} 0 {lead}"]
    prints = "\n".join(f"print v(pg{k},ng{k})" for k in range(groups))
    text = (
        "\n".join(lines)
        + f"\n.options reltol=1e-9 abstol=1e-12 vntol=1e-9 itl1=1000\n.control\nset numdgt=12\nop\n{prints}\n.endc\n.end\n"
    )
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "n.cir"
        file.write_text(text)
        began = time.perf_counter()
        done = subprocess.run(["ngspice", "-b", str(file)], capture_output=True, text=True, check=False)
        took = time.perf_counter() - began
    return took, np.array([float(line.split("=")[1]) for line in done.stdout.splitlines() if line.startswith("v(pg")])


def sparse(scene: Scene, codes: np.ndarray) -> tuple[float, np.ndarray] | None:
    """Seconds of Newton's method on the same network, both conductors, scipy.sparse, and group volts. The structure is laid out before."""
    groups = len(codes)
    half = scene.strip["s"].rail_milliohm_per_m[0] / 1000 * FACTOR * CUT / 2
    lead = 13.3 / 1000 * CABLE["length_m"] * FACTOR + 0.005
    # per rail: cut points and taps in turn; the supply's positive terminal last but one, its negative is the ground
    span = 2 * groups + 1
    source, size = 2 * span, 2 * span + 1
    row, col, val = [], [], []

    def stamp(i: int, j: int, g: float) -> None:
        for a, b, s in ((i, i, g), (j, j, g), (i, j, -g), (j, i, -g)):
            if a >= 0 and b >= 0:
                row.append(a), col.append(b), val.append(s)

    for rail in (0, span):
        for k in range(2 * groups):
            stamp(rail + k, rail + k + 1, 1 / half)
    for feed in scene.feed:
        at = 2 * round(feed.at_m / CUT)
        stamp(source, at, 1 / lead)
        stamp(span + at, -1, 1 / lead)
    stamp(source, -1, groups / 0.16)
    linear = csc_matrix((val, (row, col)), shape=(size, size))
    fixed = np.zeros(size)
    fixed[source] = 12 * groups / 0.16
    plus = 2 * np.arange(groups) + 1
    minus = plus + span
    dark, full = (np.array([c[i] for c in COLOURS.values()]) for i in (0, 1))
    amps = codes / 255 * MILLIAMP / 1000
    rows = np.concatenate([plus, minus, plus, minus])
    cols = np.concatenate([plus, minus, minus, plus])
    began = time.perf_counter()
    v = np.full(groups, 11.0)
    for _ in range(60):
        x = (v[:, None] - dark) / (full - dark)
        current = (amps * np.clip(x, 0, 1)).sum(1) + IDLE_MA / 1000
        slope = (amps / (full - dark) * ((x > 0) & (x < 1))).sum(1)
        loads = csc_matrix((np.concatenate([slope, slope, -slope, -slope]), (rows, cols)), shape=(size, size))
        right = fixed.copy()
        right[plus] -= current - slope * v
        right[minus] += current - slope * v
        u = spsolve(linear + loads, right)
        new = u[plus] - u[minus]
        if np.abs(new - v).max() < 1e-9:
            return time.perf_counter() - began, new
        v = new
    return None  # plain Newton has no line search: on heavily sagging runs it may cycle between two knees


def best(work, times: int = 3, clock=time.process_time) -> float:
    took = []
    for _ in range(times):
        began = clock()
        work()
        took.append(clock() - began)
    return min(took)


def networks(rail: float) -> None:
    heads = ("groups", "feeds", "lowest V", "frames", "alone", "ngspice", "sparse", "1/ngspice", "x sparse", "off µV")
    print(f"\nrails of {rail:g} mΩ/m; one frame, ms: 'frames' in a clip of many, 'alone' by itself")
    print("".join(f"{head:>10}" for head in heads))
    sizes, per_frame, alone_ms, cycled = [], [], [], 0
    for groups in (160, 500, 2000, 5000):
        feeds = max(1, round(groups / 160))
        scene = plan(groups, (np.arange(feeds) + 0.5) / feeds, rail)
        network = build(scene, lay_out(scene))
        codes = np.floor(255 * light(groups, FRAMES) + 0.5).astype(np.uint8)
        state = solve(network, codes)
        many = best(lambda n=network, c=codes: solve(n, c), 5) / FRAMES * 1000
        alone = best(lambda n=network, c=codes: solve(n, c[:1]), 9, time.perf_counter) * 1000
        tried = [(f, sparse(scene, codes[f])) for f in range(6)]
        ended = [(f, *answer) for f, answer in tried if answer is not None]
        cycled += len(tried) - len(ended)
        slow = min((seconds for _, seconds, _ in ended), default=np.nan)
        off = max((np.abs(state.group_v[f] - volts).max() * 1e6 for f, _, volts in ended), default=np.nan)
        line = f"{groups:>10}{feeds:>10}{state.group_v.min():>10.2f}{many:>10.4f}{alone:>10.2f}"
        if shutil.which("ngspice") and groups <= 2000:
            spice, answer = ngspice(scene, codes[0])
            if len(answer) == groups:
                off = np.nanmax([off, np.abs(answer - state.group_v[0]).max() * 1e6])
            else:
                print("  (ngspice did not converge on the next one)")
            line += f"{spice * 1000:>10.0f}{slow * 1000:>10.1f}{spice * 1000 / many:>10.0f}"
        else:
            line += f"{'-':>10}{slow * 1000:>10.1f}{'-':>10}"
        print(line + f"{slow * 1000 / many:>10.0f}{off:>10.3f}", flush=True)
        sizes.append(groups), per_frame.append(many), alone_ms.append(alone)
    if cycled:
        print(f"plain sparse Newton cycled and gave no answer on {cycled} of 24 frames; its times are of the others")
    for name, values in (("frames", per_frame), ("alone", alone_ms)):
        print(f"growth with groups, {name}: exponent {np.polyfit(np.log(sizes), np.log(values), 1)[0]:.2f}")


def long_jobs() -> None:
    scene = plan(500, np.linspace(0, 1, 4))
    network, spans = build(scene, lay_out(scene)), [30, 120, 480, 1800]
    codes = np.floor(255 * light(500, spans[-1]) + 0.5).astype(np.uint8)
    took = [best(lambda n=n: solve(network, codes[:n])) for n in spans]
    print(f"growth with frames (500 groups, 4 feeds): exponent {np.polyfit(np.log(spans), np.log(took), 1)[0]:.2f}")
    layout = lay_out(scene)
    codes = np.floor(255 * light(500, 1800) + 0.5).astype(np.uint8)
    blocks = [codes[i : i + 120] for i in range(0, 1800, 120)]
    took = best(lambda: meter_frames(scene, layout, network, blocks, 30))
    print(f"meter, 60 s at 30 a second, 500 groups, 4 feeds: {took:.2f} s of process time")
    sagging = plan(500, np.linspace(0, 1, 2))
    weak = build(sagging, layout)
    took = best(lambda: meter_frames(sagging, layout, weak, blocks, 30))
    print(f"the same with 2 feeds, {solve(weak, codes[:120]).group_v.min():.2f} V at the lowest: {took:.2f} s")
    for feeds, which, net in ((4, scene, network), (2, sagging, weak)):
        looks = [light(500, 360, seed) for seed in range(10)]
        times = np.arange(360) / 30
        began = time.process_time()
        caps = [cap_of(which, layout, net, [(times, x)], "look") for x in looks]
        took = time.process_time() - began
        codes_found = sorted({(cap.code, cap.limited_by) for cap in caps}, key=str)
        print(f"cap of 10 looks of 12 s, 500 groups, {feeds} feeds: {took:.2f} s; caps {codes_found}")
    print(f"peak memory of this whole run: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")


if __name__ == "__main__":
    for rail in (70.0, 400.0, 1500.0):
        networks(rail)
    long_jobs()
