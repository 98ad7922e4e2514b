"""The close-up of a cover: its light against flux and quadrature, its size against a ruler and an angle, its contrast on the screen."""

import numpy as np
import pytest
from scipy import integrate

from preview.light.closeup import HAND_M, Screen, closeup, cover_light
from preview.light.colour import from_srgb
from preview.light.dots import Line

PLAIN = Line(
    pitch_m=1 / 60, depth_m=0.006, spread_m=0.0, width_m=0.012, length_m=2.0, group_m=0.05, room_cd_m2=0.0, sent=0.7
)
WHITE = np.tile([0.95047, 1.0, 1.08883], (40, 1))  # one lumen of D65 from each group


def grid(line: Line, step: float, length: float = 0.1) -> tuple[np.ndarray, np.ndarray]:
    along = 1.0 + (np.arange(round(length / step)) + 0.5) * step
    rows = round(line.width_m / step)
    return along, (np.arange(rows) + 0.5) * step - line.width_m / 2


def test_mean_luminance_is_flux_over_pi_and_area() -> None:
    # A Lambertian face: luminance = flux / (π · area); 0.1 m holds six pitches, the middle of a run of forty groups.
    for line in (
        PLAIN,
        Line(1 / 60, 0.006, 0.002, 0.012, 2.0, 0.05, 0.0, 0.7),
        Line(1 / 60, 0, 0, 0.004, 2, 0.05, 0, 1.0),
    ):
        along, across = grid(line, 0.0002)
        light = cover_light(line, WHITE, along, across)
        expected = 1.0 / 0.05 * line.sent / line.width_m / np.pi
        assert light[..., 1].mean() == pytest.approx(expected, rel=0.01)
        assert light.mean(axis=(0, 1)) / light[..., 1].mean() == pytest.approx([0.95047, 1.0, 1.08883])


def test_shape_is_the_sum_of_every_leds_own_light() -> None:
    # The law itself, LED by LED, at single places; no grid, no convolution.
    along, across = grid(PLAIN, 0.0002)
    light = cover_light(PLAIN, WHITE, along, across)[..., 1]
    led = (np.arange(120) + 0.5) / 60
    area = integrate.dblquad(
        lambda x, y: 1 / (1 + (x * x + y * y) / 0.006**2) ** 2, -0.006, 0.006, -0.4, 0.4, epsabs=1e-10
    )[0]
    for j, i in ((30, 100), (30, 141), (5, 260), (59, 333)):
        each = 1 / (1 + ((along[i] - led) ** 2 + across[j] ** 2) / 0.006**2) ** 2
        assert light[j, i] == pytest.approx(each.sum() / 3 * 0.7 / area / np.pi, rel=0.005)


def test_nothing_off_the_face_or_past_the_ends() -> None:
    along = np.linspace(1.9, 2.1, 401)
    across = np.linspace(-0.02, 0.02, 161)
    light = cover_light(PLAIN, WHITE, along, across)[..., 1]
    assert (light[np.abs(across) > 0.0061] == 0).all()
    assert (light[:, along > 2.0] == 0).all()
    assert light[80, 100] > 0


def ticks(picture: np.ndarray, row: int) -> np.ndarray:
    """Columns of a row where something is marked, those side by side as one."""
    marked = np.flatnonzero(picture[row].max(axis=1) > 60)
    return marked[np.diff(marked, prepend=-9) > 2]


def test_ruler_and_leds_stand_where_they_are() -> None:
    # By hand: at 0.2 mm a pixel 10 mm are 50 pixels, and LEDs 1/60 m apart 83.3; the middle of a run of 120 LEDs lies between two.
    picture = closeup(PLAIN, WHITE, 3.0, Screen(pixel_mm=0.2))
    margin = round(3.2 / 0.2)
    near = picture[margin : margin + round(0.042 / 0.0002), margin:-margin]
    assert ticks(near, -2)[:10] == pytest.approx(np.arange(10) * 50, abs=1)
    assert ticks(near, 1) == pytest.approx(250 + (np.arange(-3, 3) + 0.5) * 1000 / 60 / 0.2, abs=1)


def lit_rows(picture: np.ndarray, top: int, bottom: int) -> int:
    column = picture[top:bottom, picture.shape[1] // 2 + 7].astype(int).sum(axis=1)
    return int((column > 200).sum())


def test_size_is_life_size_and_then_the_viewers_angle() -> None:
    # 12 mm at 0.2 mm a pixel are 60 pixels; from 3 m on a screen at 0.6 m a fifth of that: tan⁻¹(12 mm/3 m) = tan⁻¹(2.4 mm/0.6 m).
    line = Line(1 / 144, 0.014, 0.005, 0.012, 2.0, 0.05, 0.0, 0.7)
    picture = closeup(line, WHITE, 3.0, Screen(pixel_mm=0.2, eye_m=0.6))
    margin = round(3.2 / 0.2)
    assert picture.shape[1] == round(HAND_M / 0.0002) + 2 * margin
    high = round(0.042 / 0.0002)
    assert lit_rows(picture, margin, margin + high) == 60
    below = margin + high + round(1.5 * margin) // 2 + round(1.5 * margin) + margin
    assert lit_rows(picture, below, below + high // 2) == pytest.approx(12, abs=1)


def test_contrast_on_the_screen_is_the_contrast_on_the_cover() -> None:
    # Decoded by the sRGB transfer function (IEC 61966-2-1); one code is about 1 % of the light there, the noise another.
    line = Line(1 / 60, 0.009, 0.0, 0.002, 2.0, 0.05, 0.0, 0.7)
    picture = closeup(line, WHITE, 1.0, Screen(pixel_mm=0.1))
    margin = round(3.2 / 0.1)
    middle = margin + round(0.032 / 0.0001) // 2
    light = from_srgb(picture[middle - 5 : middle + 5, margin:-margin, 1] / 255).mean(axis=0)
    smooth = np.convolve(light, np.ones(9) / 9, mode="valid")
    # Published: p/h = 1.85 lies between 0.2704 (1.8) and 0.3102 (1.9) in tests/reference/row_ripple.csv.
    assert (smooth.max() - smooth.min()) / (smooth.max() + smooth.min()) == pytest.approx(0.29, abs=0.02)


@pytest.mark.parametrize("far", [0.1, 3.0, 100.0])
@pytest.mark.parametrize("depth", [0.0, 0.001, 0.05])
def test_any_distance_and_depth_and_the_dark(far: float, depth: float) -> None:
    line = Line(1 / 60, depth, 0.0, 0.004, 0.05, 0.05, 0.0, 1.0)
    lit = closeup(line, WHITE[:1], far, Screen(), ("A word.",), 5.0)
    dark = closeup(line, 0 * WHITE[:1], far, Screen())
    assert lit.dtype == np.uint8
    assert lit.max() > dark[:30, :30].max()


@pytest.mark.parametrize(("depth", "spread"), [(1.0, 0.3), (0.0001, 0.3), (0.0001, 0.0), (0.05, 0.0)])
def test_flux_is_kept_at_any_depth_and_scatter(depth: float, spread: float) -> None:
    # Far deeper than the pitch the cover is even, and as bright as flux over π and area says.
    line = Line(1 / 60, depth, spread, 0.012, 60.0, 0.05, 0.0, 0.7)
    step = np.hypot(depth, spread) / 8
    along = 30.0 + np.arange(-8, 9) * step if step > 0.005 else 30.0 + np.arange(round(0.1 / step)) * step
    across = (np.arange(9) + 0.5) / 9 * 0.012 - 0.006
    light = cover_light(line, np.tile(WHITE, (30, 1)), along, across)[..., 1]
    assert light.mean() == pytest.approx(1.0 / 0.05 * 0.7 / 0.012 / np.pi, rel=0.02)
