"""The kit against general-purpose references: quadrature, colour-science, and the same arithmetic in whole numbers."""

import colour
import numpy as np
import pytest
from scipy.integrate import quad

from effects import kit

PLACE = kit.Place.straight(2.0, 0.05)


# Shapes: the mean over a group by scipy's adaptive quadrature of the plain shape, as its docstring gives it.
def _mark(x: float) -> float:
    return max(0.0, 1 - ((x - 0.3) / 0.11) ** 2) ** 2


def _edge(x: float) -> float:
    u = min(max((x - 0.3) / 0.2 + 0.5, 0.0), 1.0)
    return 3 * u**2 - 2 * u**3


def _tail(x: float) -> float:
    return float(np.exp(-(0.3 - x) / 0.15)) if x <= 0.3 else 0.0


def _tail_back(x: float) -> float:
    return float(np.exp(-(x - 0.3) / 0.15)) if x >= 0.3 else 0.0


def _wave(x: float) -> float:
    return float(np.sin(2 * np.pi * (x / 0.4 - 0.1)))


def _pulses(x: float) -> float:
    return 1.0 if (x / 0.35) % 1.0 < 0.6 else 0.0


def _span(x: float) -> float:
    return 1.0 if 0.12 < x < 0.41 else 0.0


SHAPES = {
    "mark": (_mark, lambda x, h: kit.mark(x, h, 0.3, 0.11), (0.19, 0.3, 0.41)),
    "edge": (_edge, lambda x, h: kit.edge(x, h, 0.3, 0.2), (0.2, 0.4)),
    "tail": (_tail, lambda x, h: kit.tail(x, h, 0.3, 0.15), (0.3,)),
    "tail the other way": (_tail_back, lambda x, h: kit.tail(x, h, 0.3, -0.15), (0.3,)),
    "wave": (_wave, lambda x, h: kit.wave(x, h, 0.4, 0.1), ()),
    "pulses": (_pulses, lambda x, h: kit.pulses(x, h, 0.35, 0.6), (-0.14, 0.0, 0.21, 0.35, 0.56, 0.7)),
    "span": (_span, lambda x, h: kit.span(x, h, 0.12, 0.41), (0.12, 0.41)),
}


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("half_m", [0.008, 0.05, 0.13])
def test_shapes_are_means_over_the_group(name: str, half_m: float) -> None:
    plain, ours, kinks = SHAPES[name]
    middles = np.linspace(-0.1, 0.7, 33) + 0.0013
    found = ours(middles, np.full(middles.shape, half_m))
    for x, value in zip(middles, found, strict=True):
        inside = [k for k in kinks if x - half_m < k < x + half_m]
        expected = quad(plain, x - half_m, x + half_m, points=inside or None, limit=200)[0] / (2 * half_m)
        assert value == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("group_m", [0.0167, 0.0357, 0.1])
def test_a_mark_keeps_its_light_as_it_crosses_groups(group_m: float) -> None:
    # The light of a mark is its integral, 16/15 of its reach (∫(1−u²)² du from −1 to 1), wherever it stands.
    place = kit.Place.straight(4.0, group_m)
    at = np.linspace(1.0, 2.5, 400)[:, None]
    total = (kit.mark(place.along_m, place.half_m, at, 0.12) * place.group_length_m).sum(axis=1)
    assert total == pytest.approx(np.full(400, 0.12 * 16 / 15), abs=1e-12)
    trail = (kit.tail(place.along_m, place.half_m, at, 0.05) * place.group_length_m).sum(axis=1)
    assert trail == pytest.approx(np.full(400, 0.05), rel=1e-6)  # what is lost beyond the run's end is e^-20


def test_felt_is_the_cie_lightness() -> None:
    # colour-science: CIE 1976 L* of a relative luminance.
    for lightness in (0.02, 0.08, 0.1, 0.3, 0.5, 0.9, 1.0):
        expected = float(colour.lightness(float(kit.felt(lightness)) * 100, method="CIE 1976")) / 100
        assert expected == pytest.approx(lightness, abs=2e-4)


# Noise
def _whole_number_noise(seed: int, point: tuple[float, ...], cells: int = 0) -> float:
    """The noise of the kit's docstring with Python's own unbounded integers, one point at a time."""
    strides = (0x9E3779B1, 0x85EBCA77, 0xC2B2AE3D, 0x27D4EB2F)
    gain = (0.8, 0.9, 1.0, 1.1)[len(point) - 1]
    bits = 8 if len(point) < 4 else 6

    def scatter(h: int) -> int:
        h &= 0xFFFFFFFF
        h ^= h >> 16
        h = h * 0x7FEB352D & 0xFFFFFFFF
        h ^= h >> 15
        h = h * 0x846CA68B & 0xFFFFFFFF
        return h ^ h >> 16

    def blend(axis: int, h: int, offsets: tuple[float, ...]) -> float:
        if axis == len(point):
            fields = [(h >> bits * n & (1 << bits) - 1) * (2 / ((1 << bits) - 1)) - 1 for n in range(len(point) + 1)]
            return 0.75 * fields[-1] + sum(slope * offset for slope, offset in zip(fields, offsets, strict=False))
        cell = int(np.floor(point[axis]))
        f = point[axis] - cell
        last = axis == len(point) - 1 and cells
        low, high = (cell % cells, (cell + 1) % cells) if last else (cell, cell + 1)
        a = blend(axis + 1, scatter(h + (low & 0xFFFFFFFF) * strides[axis]), (*offsets, f))
        b = blend(axis + 1, scatter(h + (high & 0xFFFFFFFF) * strides[axis]), (*offsets, f - 1))
        return a + f**3 * (f * (6 * f - 15) + 10) * (b - a)

    raw = min(max(blend(0, scatter(seed + 0x1B873593), ()) * gain, -1.0), 1.0)
    return raw * (1.5 - 0.5 * raw * raw)


@pytest.mark.parametrize("dimensions", [1, 2, 3, 4])
def test_noise_is_whole_number_arithmetic(dimensions: int) -> None:
    points = np.random.default_rng(1).uniform(-300, 300, (40, dimensions))
    found = kit.noise(9, *points.T)
    expected = [_whole_number_noise(9, tuple(point)) for point in points]
    assert found == pytest.approx(expected, abs=1e-12)


def test_wrapped_noise_is_whole_number_arithmetic() -> None:
    t = np.linspace(-7, 20, 50)
    expected = [_whole_number_noise(4, (0.3, x), cells=5) for x in t]
    assert kit.noise(4, 0.3, kit.Wrapped(t, 5)) == pytest.approx(expected, abs=1e-12)
    assert kit.noise(4, 0.3, kit.Wrapped(t + 5, 5)) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("dimensions", [1, 2, 3, 4])
def test_noise_is_smooth_and_centred(dimensions: int) -> None:
    line = np.linspace(0, 400, 40001)
    values = kit.noise(2, *(line * (1 + 0.1 * axis) for axis in range(dimensions)))
    assert values.min() >= -1
    assert values.max() <= 1
    assert abs(values.mean()) < 0.05  # 400 cells of spread 0.45: standard error about 0.02
    assert values.std() == pytest.approx(0.45, abs=0.12)
    step = line[1] - line[0]
    assert np.abs(np.diff(values)).max() < 8 * dimensions * step  # no jumps
    assert np.abs(np.diff(values, 2)).max() < 60 * dimensions**2 * step**2  # no kinks


def test_uniform_is_even() -> None:
    values = kit.uniform(5, np.arange(100_000), 3)
    counts = np.histogram(values, bins=100, range=(0, 1))[0]
    chi = float(((counts - 1000) ** 2 / 1000).sum())
    assert 50 < chi < 160  # chi-square with 99 degrees of freedom: outside about once in 5000 for a fair source
    assert abs(np.corrcoef(values[:-1], values[1:])[0, 1]) < 0.015


def test_seamless_keeps_whole_cycles() -> None:
    loop = kit.seamless(7.0)
    for per_s in (0.05, 0.3, 1.0, 2.71):
        assert loop.rate(per_s) * 7.0 == pytest.approx(loop.turns(per_s))
        assert loop.turns(per_s) >= 1
    assert loop.rate(-0.3) == -loop.rate(0.3)


# Colour
def _uv(xyz: kit.Floats) -> kit.Floats:
    return np.asarray(colour.xy_to_Luv_uv(colour.XYZ_to_xy(xyz)))


@pytest.mark.parametrize("kelvin", [1800, 2200, 2700, 4000, 6500, 10000])
def test_white_lies_on_the_planckian_locus(kelvin: int) -> None:
    xyz = np.einsum("gc,gcx->gx", kit.white(PLACE, kelvin), PLACE.primaries)
    # colour-science, Ohno 2013: the locus itself, by interpolation in a fine table of Planck's law.
    uv = colour.temperature.CCT_to_uv_Ohno2013(np.array([kelvin, 0.0]))
    expected = np.array([uv[0], 1.5 * uv[1]])
    assert np.hypot(*(_uv(xyz)[0] - expected)) < 0.0003  # a third of a step of 0.0011
    assert kit.white(PLACE, kelvin).max() == pytest.approx(1.0)


def test_locus_is_krystek_1985() -> None:
    kelvin = np.array([1000.0, 1800.0, 2700.0, 6500.0, 15000.0])
    u, v = kit.locus_uv(kelvin)
    expected = colour.temperature.CCT_to_uv_Krystek1985(kelvin)
    assert u == pytest.approx(expected[:, 0], abs=1e-9)
    assert v == pytest.approx(1.5 * expected[:, 1], abs=1e-9)


@pytest.mark.parametrize("hue_deg", [0, 30, 90, 143, 180, 234, 270, 330])
@pytest.mark.parametrize("purity", [0.3, 1.0])
def test_tint_keeps_its_direction(hue_deg: float, purity: float) -> None:
    drive = kit.tint(PLACE, hue_deg, purity, 6500.0)
    assert drive.min() >= 0
    assert drive.max() == pytest.approx(1.0)
    away = _uv(np.einsum("gc,gcx->gx", drive, PLACE.primaries))[0] - np.array(kit.locus_uv(6500.0))
    assert np.rad2deg(np.arctan2(away[1], away[0])) % 360 == pytest.approx(hue_deg % 360, abs=1e-6)
    if purity == 1.0:
        assert drive.min() == pytest.approx(0.0, abs=1e-12)  # on the edge of the triangle one colour is dark


def test_mixing_is_linear() -> None:
    assert kit.mix(0.2, 0.6, 0.25) == pytest.approx(0.3)


def test_course_lays_runs_end_to_end() -> None:
    place = kit.Place.straight(1.0, 0.1, runs=3)
    assert place.course_m == pytest.approx((np.arange(30) + 0.5) * 0.1)
    assert place.course_length_m == pytest.approx(3.0)


# Motion
def test_arrivals_come_at_their_rate_and_age_with_the_clock() -> None:
    loop, times = kit.seamless(0.0), np.arange(0, 300, 0.25)[:, None]
    came: dict[int, float] = {}
    for which, since in kit.arrivals(5, loop, times, 0.8, 4.0):
        for number, at in zip(which[:, 0].tolist(), (times - since)[:, 0].tolist(), strict=True):
            # Whenever it is asked for, an arrival came at the same moment.
            assert came.setdefault(number, at) == pytest.approx(at, abs=1e-9)
    within = [at for at in came.values() if 0 <= at < 300]
    assert len(within) == pytest.approx(0.8 * 300, abs=2)
    assert min(np.diff(sorted(within))) < 0.3
    assert max(np.diff(sorted(within))) > 1.8


def test_every_arrival_is_seen_for_as_long_as_it_lasts() -> None:
    times = np.arange(50.0, 60.0, 0.05)[:, None]
    seen = [
        which[(since >= 0) & (since <= 3.0)] for which, since in kit.arrivals(5, kit.seamless(0.0), times, 1.3, 3.0)
    ]
    counts = np.unique(np.concatenate(seen), return_counts=True)[1]
    assert (counts[3:-3] >= 3.0 / 0.05 - 1).sum() > 8
    assert counts.max() <= 3.0 / 0.05 + 1


def test_arrivals_come_again_in_a_loop() -> None:
    times = np.array([[2.0], [2.0 + 12.0]])
    for which, since in kit.arrivals(5, kit.seamless(12.0), times, 0.8, 4.0):
        assert which[0] == which[1]
        assert since[0] == pytest.approx(since[1])


def test_a_ripple_spreads_at_its_speed_and_dies_away() -> None:
    away = np.linspace(0, 4, 4001)
    heights = []
    for seconds in (1.0, 2.0, 3.0):
        wave = kit.ripple(away, np.array(seconds), 0.8, 0.5, 1.5)
        assert away[np.argmax(wave)] == pytest.approx(0.8 * seconds, abs=1e-3)
        heights.append(wave.max())
    assert heights[1] / heights[0] == pytest.approx(np.exp(-1 / 1.5))
    assert heights[2] / heights[1] == pytest.approx(np.exp(-1 / 1.5))
    assert not kit.ripple(away, np.array(-0.1), 0.8, 0.5, 1.5).any()


def test_makers_of_dials_give_their_units() -> None:
    made = [
        kit.kelvin_dial("sun_k", 4000, "the sun"),
        kit.hue_dial("hue_deg", 20, "it"),
        kit.loop_dial(),
        kit.later_dial(1, "it comes"),
    ]
    assert [dial.unit for dial in made] == ["K", "deg", "s", "s"]
    assert all(dial.low <= dial.default <= dial.high for dial in made)
    assert kit.loop_period({"loop_s": 0.0}) is None
