"""The eye's threshold against published values, the colour-science package and known limits of sight."""

import csv
from pathlib import Path

import colour.contrast as published
import numpy as np
import pytest

from preview.light.contrast import (
    chroma_transfer,
    contrast_sensitivity,
    cycles_per_degree,
    degrees,
    farthest_m,
    pattern_sensitivity,
)

with (Path(__file__).parents[1] / "reference" / "barten1999_csf.csv").open() as _file:
    ROWS = [{key: float(value) for key, value in line.items()} for line in csv.DictReader(_file)]


def test_all_published_points() -> None:
    # Source: tests/reference/barten1999_csf.csv, printed to six decimals.
    found = contrast_sensitivity(
        [line["u_cpd"] for line in ROWS], [line["L_cd_m2"] for line in ROWS], [line["X0_deg"] for line in ROWS]
    )
    assert len(ROWS) == 56
    assert found == pytest.approx([line["S"] for line in ROWS], abs=1e-6)
    assert 1 / found == pytest.approx([line["threshold_modulation"] for line in ROWS], rel=1e-6)


@pytest.mark.parametrize("luminance", [0.3, 25.0, 400.0, 3000.0])
@pytest.mark.parametrize(("wide", "tall"), [(40.0, 0.25), (8.0, 0.7), (60.0, 60.0)])
def test_thin_fields_as_colour_science_has_them(luminance: float, wide: float, tall: float) -> None:
    # Source: colour-science 0.4, colour.contrast, with X_0 and Y_0 apart.
    u = np.array([0.3, 1.0, 3.0, 9.0, 20.0])
    pupil = published.pupil_diameter_Barten1999(luminance, wide, tall)
    sigma = published.sigma_Barten1999(0.5 / 60, 0.08 / 60, pupil)
    troland = published.retinal_illuminance_Barten1999(luminance, pupil, True)
    expected = published.contrast_sensitivity_function("Barten 1999", u=u, sigma=sigma, X_0=wide, Y_0=tall, E=troland)
    assert contrast_sensitivity(u, luminance, wide, tall) == pytest.approx(expected, rel=1e-12)


def test_distance_is_where_the_published_threshold_is_met() -> None:
    # 3 % at 12.5 mm on a line 2 m × 12 mm of 800 cd/m²: the published function is at 1/0.03 there, and above it nearer by.
    found = farthest_m(lambda d: 0.03 * pattern_sensitivity(d, 0.0125, 800.0, 2.0, 0.012))
    for factor, sign in ((0.97, 1), (1.03, -1)):
        at = found * factor
        wide, tall = (float(degrees(size, at)) for size in (2.0, 0.012))
        pupil = published.pupil_diameter_Barten1999(800.0, wide, tall)
        seen = 0.03 * published.contrast_sensitivity_function(
            "Barten 1999",
            u=at * np.pi / 180 / 0.0125,
            sigma=published.sigma_Barten1999(0.5 / 60, 0.08 / 60, pupil),
            X_0=wide,
            Y_0=tall,
            E=published.retinal_illuminance_Barten1999(800.0, pupil, True),
        )
        assert (seen - 1) * sign > 0


def test_frequency_of_a_worked_example() -> None:
    # 60 LEDs a metre from 2.5 m: 2.618 cycles a degree (2.5 · π/180 · 60).
    assert float(cycles_per_degree(1 / 60, 2.5)) == pytest.approx(2.618, abs=5e-4)
    assert float(degrees(0.0175, 1.0)) == pytest.approx(1.0, abs=0.003)  # 17.5 mm at 1 m: one degree


def test_what_is_never_seen_and_what_always_is() -> None:
    assert farthest_m(lambda d: np.zeros(len(d))) == 0.0
    assert farthest_m(lambda d: 5 / d) == pytest.approx(5.0, rel=1e-6)
    assert farthest_m(lambda d: 2 + d) == 2000.0


def test_sight_ends_where_sight_ends() -> None:
    # Full contrast vanishes between 30 and 60 cycles a degree in good light (the limit of 1' acuity is 30; textbooks, from memory).
    u = np.linspace(20, 80, 601)
    last = u[contrast_sensitivity(u, 200.0, 10.0) > 1][-1]
    assert 30 < last < 60
    # Red-green gratings are not resolved beyond about 11 or 12 cycles a degree (Mullen 1985, from memory).
    assert float(chroma_transfer(12.0)) < 0.1 < float(chroma_transfer(5.0))
    assert float(chroma_transfer(12.5)) == 0.0
    assert float(chroma_transfer(0.0)) == pytest.approx(1.0)
