"""The row of LEDs behind a cover against its closed form, a direct sum, quadrature and the trade's own rules."""

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy import integrate

from preview.light.cover import face_pattern
from preview.light.ripple import amplitude, ripple, row, transfer

with (Path(__file__).parents[1] / "reference" / "row_ripple.csv").open() as _file:
    ROWS = [{key: float(value) for key, value in line.items()} for line in csv.DictReader(_file)]


@pytest.mark.parametrize("line", ROWS, ids=lambda line: f"p/h {line['pitch_over_height']}")
def test_row_without_scatter_is_the_published_one(line: dict[str, float]) -> None:
    # Source: tests/reference/row_ripple.csv, printed to eight decimals.
    depth = 0.009
    pitch = line["pitch_over_height"] * depth
    assert amplitude(pitch, depth, 0.0) == pytest.approx(line["first_harmonic_closed_form_2(1+k)exp(-k)"], abs=0.6e-8)
    assert ripple(pitch, depth, 0.0) == pytest.approx(line["michelson_numeric"], abs=1.1e-8)
    most, least = row([0.0, pitch / 2], pitch, depth, 0.0)
    assert most == pytest.approx(line["Emax_over_Emean_numeric"], abs=1.1e-8)
    assert least == pytest.approx(line["Emin_over_Emean_numeric"], abs=1.1e-8)


@pytest.mark.parametrize(("pitch", "depth", "spread"), [(16.7, 9, 3), (10.4, 9, 5), (33.3, 6, 1), (50, 2, 0.5)])
def test_row_with_scatter_is_the_direct_sum(pitch: float, depth: float, spread: float) -> None:
    # The model's own definition by quadrature (scipy): each LED's cos⁴ law, blurred with a Gaussian, added up one by one.
    def one(place: float) -> float:
        def part(t: float) -> float:
            return float(np.exp(-0.5 * t * t) / (1 + ((place - spread * t) / depth) ** 2) ** 2)

        peak = place / spread
        points = [p for p in (peak,) if -7 < p < 7]
        return float(integrate.quad(part, -7, 7, points=points or None, limit=200)[0]) / np.sqrt(2 * np.pi)

    mean = np.pi * depth / 2 / pitch  # ∫ dx/(1 + (x/h)²)² = πh/2
    for place in (0.0, 0.21 * pitch, 0.5 * pitch):
        total = sum(one(place - n * pitch) for n in range(-60, 61))
        tail = 2 * depth**4 / (3 * (60.5 * pitch) ** 3) / pitch  # the LEDs beyond, as an integral of (h/x)⁴
        assert float(row(place, pitch, depth, spread)) == pytest.approx((total + tail) / mean, rel=2e-7)


def test_transfer_is_the_fourier_transform_of_one_led() -> None:
    # ∫ cos(ωu)/(1 + u²)² du = (π/2)(1 + ω)e^−ω: 0.63775250 at ω = 2, checked numerically in the reference; here by scipy.
    whole = integrate.quad(lambda u: 1 / (1 + u * u) ** 2, -np.inf, np.inf)[0]
    part = 2 * integrate.quad(lambda u: 1 / (1 + u * u) ** 2, 0, np.inf, weight="cos", wvar=2.0)[0]
    assert part == pytest.approx(0.63775250, abs=1e-8)
    assert float(transfer(2 / (2 * np.pi), 1.0, 0.0)) == pytest.approx(part / whole, rel=1e-8)


def test_led_seen_as_it_is_is_all_or_nothing() -> None:
    assert ripple(1 / 60, 0.0, 0.0) == 1.0  # packages of 4 mm with gaps between: black to full
    assert ripple(0.004, 0.0, 0.0) == 0.0  # side by side without a gap
    # The fundamental of narrow pulses is up to twice their mean (Fourier series of a pulse train, from any handbook).
    duty = 0.004 * 60
    assert amplitude(1 / 60, 0.0, 0.0) == pytest.approx(2 * np.sin(np.pi * duty) / (np.pi * duty))


@pytest.mark.parametrize(("leds", "depth", "spread"), [(60, 0.009, 0.003), (96, 0.008, 0.0025)])
def test_the_drawn_face_carries_the_row(leds: int, depth: float, spread: float) -> None:
    # The picture's own pattern, fine enough, is the closed form in the middle of a long run.
    per_group, groups = 3, 40
    pitch = 1 / leds
    bin_m = pitch / 20
    bins = groups * per_group * 20
    light = face_pattern(bins, bin_m, groups, per_group, pitch, depth, spread) @ np.ones(groups)
    middle = slice(bins // 2 - 40, bins // 2 + 40)
    place = (np.arange(bins)[middle] + 0.5) * bin_m - 0.5 * pitch  # LEDs stand in the middle of their pitch
    expected = row(place, pitch, depth, spread)
    assert light[middle] / light[middle].mean() == pytest.approx(expected / expected.mean(), abs=0.003)


def test_more_leds_deeper_and_more_scatter_are_never_worse() -> None:
    for depth in (0.006, 0.010, 0.020):
        found = [ripple(1 / n, depth, 0.003) for n in (30, 60, 84, 96, 120, 144)]
        assert found == sorted(found, reverse=True)
    assert ripple(1 / 60, 0.008, 0.003) > ripple(1 / 60, 0.012, 0.003) > ripple(1 / 60, 0.012, 0.005)


def test_the_trades_rules() -> None:
    # Common practice, no source: a pitch no larger than the depth gives an even line.
    for depth in (0.006, 0.010, 0.016, 0.025):
        assert ripple(depth, depth, 0.0) < 0.03  # even with no scatter at all; 2.7 % by the closed form
        assert ripple(2 * depth, depth, 0.0) > 0.3  # and at twice the depth dots are plain
