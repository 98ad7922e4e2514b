"""The feed planner against brute force: every cut point, every cable, every number of feeds up to what it costs.

What is compared with is worked out here again, without the planner and without the solver: drops by superposition on each rail (the
resistance that two taps share on their way to a feed; each further feed by the formula of Sherman and Morrison), loads by the rules of the
scene file, u'v' by CIE 15. Resistances: IEC 60228 class 5 (tests/reference/iec60228_copper.csv), copper at 40 °C by 0.00393 /K (IEC 60287).
Currents of cables: UK ratings of flexible cords. Fuses: ISO 8820-3 (tests/reference/blade_fuses.csv).
"""

import csv
import itertools
import math
from pathlib import Path

import numpy as np
import pytest

from preview.power.plan import plan_feeds
from preview.power.plan_chain import Rules
from preview.power.plan_costs import Prices, sizes_of
from preview.power.plan_moments import Asked
from preview.scene.layout import lay_out
from preview.scene.model import Scene

REFERENCE = Path(__file__).parent.parent / "reference"
with (REFERENCE / "iec60228_copper.csv").open() as file:
    ROWS = list(csv.DictReader(file))
with (REFERENCE / "blade_fuses.csv").open() as file:
    FUSES = [float(row["rating_A"]) for row in csv.DictReader(file) if float(row["rating_A"]) <= 30]
CORDS = {0.5: 3.0, 0.75: 6.0, 1.0: 10.0, 1.5: 15.0, 2.5: 20.0}  # A, UK flexible cords
WARM = 1 + 0.00393 * 20  # 40 °C over 20 °C
PRICES = Prices(feed=9.0, fuse=2.0, metre=0.6, mm2=2.0)


def ohm_per_m(mm2: float) -> float:
    key = next(k for k in ROWS[0] if "5" in k and "plain" in k.lower())
    row = next(row for row in ROWS if math.isclose(float(next(iter(row.values()))), mm2))
    return float(row[key]) / 1000 * WARM


def fused_a(mm2: float) -> float:
    """Four fifths of the largest fuse that the cable bears."""
    return 0.8 * max(a for a in FUSES if a <= CORDS[mm2])


class Case:
    """One run and one supply, drawn at random; a few moments to hold."""

    def __init__(
        self, seed: int, groups: int, sizes: tuple[float, ...], moments: int = 0, hard: float = 1.0, far_m: float = 0.0
    ) -> None:
        draw = np.random.default_rng(seed)
        self.groups, self.sizes = groups, sizes
        volts = float(draw.choice([5.0, 12.0, 24.0]))
        cut = {5.0: 1 / 60, 12.0: 0.05, 24.0: 0.1}[volts]
        red, rest = draw.uniform(0.45, 0.6), draw.uniform(0.6, 0.78)

        def colour(at: float, lumen: float, xy: tuple[float, float]) -> dict:
            return {
                "milliamp": draw.uniform(10, 40) * (1 if far_m == 0 else 2),
                "dark_v": volts * at,
                "full_v": volts * (at + draw.uniform(0.08, 0.18)),
                "lumen": lumen,
                "xy": xy,
            }

        strip = {
            "volts": volts, "leds_per_m": 1 / cut, "leds_per_group": 1, "idle_milliamp_per_group": 0.9,
            "rail_milliohm_per_m": (1.0, 1.0), "red": colour(red, 2.0, (0.69, 0.308)),
            "green": colour(rest, 4.6, (0.17, 0.72)), "blue": colour(rest, 0.9, (0.135, 0.055)),
        }  # fmt: skip
        total = groups * (sum(strip[c]["milliamp"] for c in ("red", "green", "blue")) + 0.9) / 1000
        # rails such that a run fed at one end would lose a third to twice the volts that there are
        rail = hard * volts * draw.uniform(0.35, 2.2) / (total * groups * cut) * 1000
        share = draw.uniform(0.4, 0.6) if draw.random() < 0.5 else 0.5
        strip["rail_milliohm_per_m"] = (rail * share, rail * (1 - share))
        self.at = np.array([far_m + draw.uniform(0, 1) * groups * cut, 2.0, draw.uniform(0.2, 2.0)])
        self.output_ohm = float(draw.choice([0.0, 0.004, 0.02]))
        self.contact_ohm = 0.005
        self.scene = Scene.model_validate({
            "format": 1, "title": "t", "room": {"size_m": (20, 2, 3)}, "viewer": {"eye_m": (0, 0, 0), "look_m": (1, 1, 1)},
            "strip": {"s": strip},
            "supply": {"u": {"volts": volts, "amps": 1000.0, "output_milliohm": 1000 * self.output_ohm, "at_m": tuple(self.at)}},
            "run": [{"name": "r", "strip": "s", "path_m": [(0, 2, 2.5), (groups * cut, 2, 2.5)]}],
            "feed": [{"from": "u", "run": "r", "at_m": 0, "cable": {"mm2": 1.0, "length_m": 1.0}, "contact_milliohm": 5.0}],
        })  # fmt: skip
        self.layout = lay_out(self.scene)
        self.cut, self.volts, self.rails = cut, volts, np.array(strip["rail_milliohm_per_m"]) / 1000 * WARM
        if moments:
            codes = draw.integers(0, 256, (moments, groups, 3))
            for f in range(moments):  # a stretch of full white on a dim ground
                start = int(draw.integers(0, groups // 2))
                codes[f] //= 6
                codes[f, start : start + groups // 2] = 255
            self.codes = codes.astype(np.uint8)
        else:
            self.codes = np.full((1, groups, 3), int(draw.integers(180, 256)), dtype=np.uint8)
        # along the back wall, at right angles; 15 % and 0.1 m at each end, in whole decimetres
        ways = np.abs(np.arange(groups + 1) * cut - self.at[0]) + abs(2.5 - self.at[2])
        self.lengths = np.ceil((ways * 1.15 + 0.2) * 10 - 1e-6) / 10
        if far_m == 0:
            self.lengths[0] = 1.0  # a cable that is there already
        self.prices = np.array([[9 + 2 + m * (0.6 + 2.0 * mm2) for mm2 in sizes] for m in self.lengths])

    def rules(self) -> Rules:
        sizes = tuple(size for size in sizes_of("mm2") if size.number in self.sizes)
        return Rules(PRICES, sizes, {"u": [self.lengths]}, contact_milliohm=5.0)

    def holds(self, cuts: np.ndarray, sizes: np.ndarray) -> np.ndarray:
        """Whether plans hold every moment: cut points (B, m) and sizes (B, m) by number."""
        plans, feeds = cuts.shape
        mm2 = np.array(self.sizes)
        ohm = np.array([ohm_per_m(m) for m in self.sizes])[sizes] * self.lengths[cuts] + self.contact_ohm
        taps = np.arange(self.groups) + 0.5
        places = np.concatenate([np.broadcast_to(taps, (plans, self.groups)), cuts], axis=1)  # in cut lengths
        shared = np.zeros((plans, self.groups, self.groups))
        carried = []  # amps in each feed per ampere at each tap, of both rails
        for rail in self.rails * self.cut:
            x = places - cuts[:, :1]
            common = np.minimum(np.abs(x[:, :, None]), np.abs(x[:, None])) * (x[:, :, None] * x[:, None] > 0)
            drop = rail * common + ohm[:, 0, None, None]
            for q in range(1, feeds):
                k = self.groups + q
                column = drop[:, :, k].copy()
                drop -= column[:, :, None] * column[:, None] / (column[:, k] + ohm[:, q])[:, None, None]
            shared += drop[:, : self.groups, : self.groups]
            carried.append(drop[:, self.groups :, : self.groups] / ohm[:, :, None])
        shared += self.output_ohm
        good = np.ones(plans, dtype=bool)
        strip = self.scene.strip["s"]
        colours = (strip.red, strip.green, strip.blue)
        for codes in self.codes:

            def amps(u: np.ndarray, codes: np.ndarray = codes) -> tuple[np.ndarray, np.ndarray]:
                total, slope = np.full(u.shape, 0.0009), np.zeros(u.shape)
                for c, colour in enumerate(colours):
                    at = colour.milliamp / 1000 * codes[:, c] / 255
                    g = (u - colour.dark_v) / (colour.full_v - colour.dark_v)
                    total = total + at * np.clip(g, 0, 1)
                    slope = slope + np.where((g > 0) & (g < 1), at / (colour.full_v - colour.dark_v), 0)
                return total, slope

            u = np.full((plans, self.groups), self.volts)
            for _ in range(60):
                drawn, slope = amps(u)
                off = u - self.volts + np.einsum("bij,bj->bi", shared, drawn)
                if np.abs(off).max() < 1e-7:
                    break
                matrix = np.eye(self.groups) + shared * slope[:, None]
                u = u - 0.9 * np.linalg.solve(matrix, off[..., None])[..., 0]
            good &= np.abs(off).max(axis=1) < 1e-5  # else it sags so far that it cannot hold
            drawn, _ = amps(u)
            most = np.array([fused_a(m) for m in mm2])[sizes] * (1 + 1e-9)
            for share in carried:
                good &= (np.abs(np.einsum("bqj,bj->bq", share, drawn)) <= most).all(axis=1)
            good &= self._light(u, codes)
        return good

    def _light(self, u: np.ndarray, codes: np.ndarray) -> np.ndarray:
        strip = self.scene.strip["s"]
        ideal, given = np.zeros((*u.shape, 3)), np.zeros((*u.shape, 3))
        for c, colour in enumerate((strip.red, strip.green, strip.blue)):
            x, y = colour.xy
            xyz = colour.lumen * np.array([x / y, 1, (1 - x - y) / y])
            g = np.clip((u - colour.dark_v) / (colour.full_v - colour.dark_v), 0, 1)
            ideal += codes[:, c, None] * xyz
            given += (codes[:, c] * g)[..., None] * xyz
        lit = ideal[..., 1] > 0
        loss = np.where(lit, 1 - given[..., 1] / np.where(lit, ideal[..., 1], 1), 0)
        uv = [
            np.stack([4 * v[..., 0], 9 * v[..., 1]], -1) / np.maximum(v @ np.array([1.0, 15, 3]), 1e-12)[..., None]
            for v in (ideal, given)
        ]
        shift = np.linalg.norm(uv[0] - uv[1], axis=-1) / 0.0011
        shift = np.where(lit & (given[..., 1] > 0), shift, 0)
        return (loss <= 0.2 + 1e-9).all(axis=1) & (shift <= 4 + 1e-8).all(axis=1)

    def cheaper_that_hold(self, than: float) -> list[tuple]:
        """Every plan that costs less than `than` by a hair and holds: (cost, cuts, sizes), found by trying them all."""
        found = []
        for feeds in range(1, math.ceil(than / self.prices.min())):
            cuts = np.array(list(itertools.combinations(range(self.groups + 1), feeds)))
            for sizes in itertools.product(range(len(self.sizes)), repeat=feeds):
                cost = sum(self.prices[cuts[:, q], sizes[q]] for q in range(feeds))
                some = cuts[cost < than - 1e-9]
                for start in range(0, len(some), 400):
                    part = some[start : start + 400]
                    good = self.holds(part, np.broadcast_to(np.array(sizes), part.shape))
                    found += [
                        (float(cost[cost < than - 1e-9][start + i]), *part[i], *sizes) for i in np.flatnonzero(good)
                    ]
        return found


def planned(case: Case):
    asked = [Asked("moments", 1.0, lambda: [case.codes])]
    return plan_feeds(case.scene, case.layout, asked, case.rules(), others=False).best


def check_optimum(case: Case) -> int:
    """The plan holds and costs what it should; nothing cheaper holds. Returns its number of feeds."""
    best = planned(case)
    cuts = np.array([[round(feed.at_m / case.cut) for feed in best.feeds]])
    sizes = np.array([[case.sizes.index(feed.cable.mm2) for feed in best.feeds]])
    assert best.cost == pytest.approx(case.prices[cuts[0], sizes[0]].sum(), abs=1e-9)
    assert case.holds(cuts, sizes)[0]
    assert best.proved
    # The plan itself is among those that are tried, and none that holds costs less.
    assert min(case.cheaper_that_hold(best.cost + 1e-6))[0] == pytest.approx(best.cost, abs=1e-9)
    for feed, peak in zip(best.feeds, best.figures.feed_peak_a, strict=True):
        assert feed.fuse_a in FUSES
        assert peak <= 0.8 * feed.fuse_a + 1e-9
        assert feed.fuse_a <= CORDS[feed.cable.mm2]
    return len(best.feeds)


CASES = [
    *((seed, 40, (0.75, 1.5, 2.5), 0, 1.0, 0.0) for seed in (100, 101, 103, 107, 115)),
    *((seed, 24, (0.5, 0.75, 1.5), 4, 1.0, 0.0) for seed in (200, 203, 209, 235)),
    *((seed, 13, (0.75, 1.5), 0, 4.0, 0.0) for seed in (303, 305, 313)),
    *((seed, 20, (0.75, 1.5, 2.5), 0, 0.35, 4.0) for seed in (507, 515, 529, 530, 533)),
]
"""Seed, groups, sizes, moments (0: any content), how many times the rails are what they might be, how far off the supply is."""


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case[1]} groups, {case[0]}")
def test_nothing_cheaper_holds(case: tuple) -> None:
    check_optimum(Case(*case))


def test_the_cases_try_ends_and_inside_and_every_voltage() -> None:
    """A comparison proves little where every answer is one feed at one end."""
    seen: set[object] = set()
    for drawn in CASES:
        case = Case(*drawn)
        best = planned(case)
        seen |= {case.volts, f"{len(best.feeds)} feeds"}
        for feed in best.feeds:
            cut = round(feed.at_m / case.cut)
            seen.add("start" if cut == 0 else "end" if cut == case.groups else "inside")
        seen |= {"mixed"} if len({feed.cable.mm2 for feed in best.feeds}) > 1 else set()
    assert seen >= {5.0, 12.0, 24.0, "1 feeds", "2 feeds", "3 feeds", "start", "end", "inside", "mixed"}
