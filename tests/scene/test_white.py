"""The Planckian locus against published points and a general colour library."""

import colour
import numpy as np
import pytest

from preview.scene.white import planckian_xy

# Planck's law summed at 1 nm from 360 to 830 nm with the CIE 1931 2° functions; 5000 and 6000 K also in the table of
# Y. Ohno, "Practical use and calculation of CCT and Duv", LEUKOS 10 (2014), as u, v of CIE 1960.
POINTS = {
    2000: (0.526677, 0.413297),
    2700: (0.459859, 0.410599),
    3000: (0.436931, 0.404074),
    4000: (0.380440, 0.376747),
    5000: (0.345101, 0.351608),
    6500: (0.313526, 0.323628),
    10000: (0.280634, 0.288288),
}


@pytest.mark.parametrize("kelvin", POINTS)
def test_published_points(kelvin: int) -> None:
    # 7e-5: what leaving out the ends of the spectrum moves at 10 000 K
    assert planckian_xy(float(kelvin)) == pytest.approx(POINTS[kelvin], abs=7e-5)


def test_many_at_once_are_the_same() -> None:
    many = planckian_xy(np.array([[2000.0, 4000.0], [6500.0, 10000.0]]))
    assert many.shape == (2, 2, 2)
    assert many[1, 0] == pytest.approx(planckian_xy(6500.0))


@pytest.mark.parametrize("kelvin", [1000.0, 1500.0, 3456.0, 8000.0, 25000.0])
def test_against_a_general_colour_library(kelvin: float) -> None:
    radiator = colour.sd_blackbody(kelvin, colour.SpectralShape(360, 830, 1))
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    xyz = colour.sd_to_XYZ(radiator, observer, method="Integration")
    assert planckian_xy(kelvin) == pytest.approx(colour.XYZ_to_xy(xyz), abs=1e-4)
