"""From lumens and chromaticities to bytes, against IEC 61966-2-1, CIE data and colour-science."""

import csv
from pathlib import Path

import colour
import numpy as np
import pytest

from preview.light.colour import (
    RGB_TO_XYZ,
    XYZ_TO_RGB,
    from_srgb,
    group_xyz,
    linear_of_finish,
    rgb_of_xyz,
    to_srgb,
    white_rgb,
    xyz_of_rgb,
)
from preview.light.exposure import Exposure
from preview.light.picture import Renderer
from preview.looks.drives import drive_from_light
from preview.scene.chromaticity import uv_of

REFERENCE = Path(__file__).parents[1] / "reference"


def rows(name: str) -> list[dict[str, str]]:
    with (REFERENCE / name).open() as file:
        return list(csv.DictReader(file))


def uv(xyz: np.ndarray) -> np.ndarray:
    return np.asarray(colour.xy_to_Luv_uv(colour.XYZ_to_xy(xyz)))


def test_transfer_function_at_every_reference_code() -> None:
    codes = rows("srgb_eotf_8bit.csv")
    signal = np.array([float(row["nonlinear_0_1"]) for row in codes])
    linear = np.array([float(row["linear_0_1"]) for row in codes])
    assert from_srgb(signal) == pytest.approx(linear, abs=1e-9)
    assert to_srgb(linear) == pytest.approx(signal, abs=1e-9)


def test_transfer_function_is_that_of_colour_science_everywhere() -> None:
    values = np.linspace(0, 1, 4001)
    assert to_srgb(values) == pytest.approx(colour.models.eotf_inverse_sRGB(values), abs=1e-12)
    assert from_srgb(values) == pytest.approx(colour.models.eotf_sRGB(values), abs=1e-12)
    assert to_srgb([-0.2, 1.7]) == pytest.approx([0.0, 1.0])


def test_all_256_codes_come_back() -> None:
    assert np.rint(255 * to_srgb(from_srgb(np.arange(256) / 255))).tolist() == list(range(256))


@pytest.mark.parametrize("row", rows("srgb_colours.csv"), ids=lambda row: row["name"])
def test_reference_colours(row) -> None:
    finish = "#{:02x}{:02x}{:02x}".format(*(int(row[key]) for key in ("R8", "G8", "B8")))
    xyz = xyz_of_rgb(linear_of_finish(finish))
    assert xyz == pytest.approx([float(row[key]) for key in "XYZ"], abs=1e-6)
    assert uv_of(xyz) == pytest.approx([float(row["u_prime"]), float(row["v_prime"])], abs=1e-5)
    assert rgb_of_xyz(xyz) == pytest.approx(linear_of_finish(finish), abs=1e-12)


def test_matrices() -> None:
    srgb = colour.RGB_COLOURSPACES["sRGB"]
    assert pytest.approx(srgb.matrix_RGB_to_XYZ, abs=1e-12) == RGB_TO_XYZ
    assert (
        pytest.approx(srgb.matrix_XYZ_to_RGB, abs=2e-4) == XYZ_TO_RGB
    )  # the standard prints its inverse to four decimals


def test_u_v_of_every_wavelength() -> None:
    for row in rows("monochromatic.csv"):
        x, y = float(row["x"]), float(row["y"])
        found = uv_of(np.array([x / y, 1.0, (1 - x - y) / y]))
        assert found == pytest.approx([float(row["u_prime"]), float(row["v_prime"])], abs=3e-5)


def test_white_of_a_colour_temperature_lies_on_the_planckian_locus() -> None:
    for row in rows("planckian_locus.csv"):
        xyz = xyz_of_rgb(white_rgb(float(row["T_K"])))
        assert xyz[1] == pytest.approx(1.0)
        assert uv(xyz) == pytest.approx([float(row["u_prime"]), float(row["v_prime"])], abs=1e-4)


@pytest.fixture
def plain(make_scene):
    """A grey room with one strip, seen small; everything in it throws all colours back alike."""
    grey = "[room.finish]\n" + "".join(
        f'{name} = "#bcbcbc"\n' for name in ("floor", "ceiling", "back", "left", "right", "front")
    )
    return make_scene([([[0.2, 1.0, 2.2], [2.8, 1.0, 2.2]], (0, 0, -1), None)], leds=60, group=6, extra=grey)


@pytest.fixture
def drawn(plain):
    scene, layout = plain
    return Renderer(scene, layout, (96, 54)), layout


def test_group_light_is_the_sum_of_its_colours(plain) -> None:
    """XYZ of mixed codes as colour-science adds them: Σ code/255 · lumen · XYZ(xy)."""
    _, layout = plain
    codes = np.random.default_rng(1).integers(0, 256, (layout.groups, 3))
    emitters = [([0.69, 0.308], 2.0), ([0.17, 0.72], 5.0), ([0.135, 0.055], 1.0)]  # of the test strip
    expected = sum(codes[:, k, None] / 255 * colour.xyY_to_XYZ([*xy, lumen]) for k, (xy, lumen) in enumerate(emitters))
    assert group_xyz(layout, codes) == pytest.approx(expected)
    assert group_xyz(layout, codes, 0.5) == pytest.approx(expected / 2)


def test_luminance_shares_that_make_daylight_white() -> None:
    """Gaussian stand-ins for red, green and blue LEDs mix to D65 at 0.28705 : 0.65467 : 0.05827 (worked out with the CIE observer)."""
    emitters = {row["name"]: [float(row["x"]), float(row["y"])] for row in rows("gaussian_emitters.csv")}
    xyz = sum(
        share * colour.xyY_to_XYZ([*emitters[name], 1.0])
        for name, share in (("red", 0.28705), ("green", 0.65467), ("blue", 0.05827))
    )
    white = rgb_of_xyz(xyz)
    assert colour.XYZ_to_xy(xyz) == pytest.approx([0.3127, 0.3290], abs=2e-4)
    assert white == pytest.approx([1, 1, 1], abs=2e-3)  # equal parts of the three display colours


def test_the_colour_of_light_in_the_room_is_the_colour_that_was_sent(drawn) -> None:
    """Grey walls, no other light: every pixel of `luminance` has the strip's own chromaticity, in or out of the display's gamut."""
    renderer, layout = drawn
    for xy in ([0.69, 0.308], [0.135, 0.055], [0.4371, 0.4041], [0.0743, 0.8338]):
        xyz = renderer.luminance(np.tile(colour.xyY_to_XYZ([*xy, 3.0]), (layout.groups, 1)))
        bright = xyz[..., 1] > 0.01 * xyz[..., 1].max()
        assert bright.mean() > 0.9
        assert colour.XYZ_to_xy(xyz[bright].astype(float)) == pytest.approx(
            np.tile(xy, (int(bright.sum()), 1)), abs=2e-3
        )


def _printed(renderer, layout, xyz: np.ndarray, scale: float) -> tuple[np.ndarray, np.ndarray]:
    """A patch of wall that is lit evenly: its light as it should be shown (3,), and as the bytes show it (3,), Y of display white 1."""
    groups = np.tile(xyz, (layout.groups, 1))
    patch = np.s_[30:40, 40:56]
    asked = renderer.luminance(groups)[patch].reshape(-1, 3).mean(axis=0) * scale
    shown = renderer.picture(groups, Exposure(scale))[patch]
    return asked, xyz_of_rgb(from_srgb(shown.reshape(-1, 3) / 255)).mean(axis=0)


def _grey_scale(renderer, layout) -> float:
    """The exposure's scale under which one lumen a group shows that patch at a tenth of white."""
    asked, _ = _printed(renderer, layout, np.array([0.9505, 1.0, 1.089]), 1.0)
    return 0.1 / asked[1]


def test_every_wavelength_keeps_its_hue_and_its_luminance(drawn) -> None:
    """Light no display can show is brought in towards white: no jump of hue, no change of luminance.

    Hue is the direction from D65 in the chromaticity diagram, so the dominant wavelength (CIE 15) stays.
    """
    renderer, layout = drawn
    scale, white = _grey_scale(renderer, layout), np.array([0.3127, 0.3290])
    for row in rows("monochromatic.csv"):
        xy = np.array([float(row["x"]), float(row["y"])])
        asked, shown = _printed(renderer, layout, colour.xyY_to_XYZ([*xy, 1.0]), scale)
        assert shown[1] == pytest.approx(asked[1], rel=0.02), row["wavelength_nm"]
        assert asked[1] == pytest.approx(0.1, rel=0.01)
        sent, got = xy - white, colour.XYZ_to_xy(shown) - white
        turn = np.degrees(np.arctan2(sent[0] * got[1] - sent[1] * got[0], sent @ got))
        assert abs(turn) < 3.0, row["wavelength_nm"]  # whole bytes: the smallest component is near code 0
        assert np.linalg.norm(got) < np.linalg.norm(sent)
        assert np.linalg.norm(got) > 0.05  # still plainly coloured


def test_colours_inside_the_gamut_are_left_alone(drawn) -> None:
    renderer, layout = drawn
    scale = _grey_scale(renderer, layout)
    for row in rows("srgb_colours.csv"):
        xy = [float(row["x"]), float(row["y"])]
        asked, shown = _printed(renderer, layout, colour.xyY_to_XYZ([*xy, 0.6]), scale)
        assert uv(shown) == pytest.approx(uv(asked), abs=0.004), row["name"]
        assert shown[1] == pytest.approx(asked[1], rel=0.02)


def test_steps_of_eight_bits_show_at_low_level(drawn) -> None:
    """A slow ramp at level 0.03 is what the strip gets, whole codes: eight of them, and the light jumps by a half from 2 to 3."""
    renderer, layout = drawn
    ramp = np.linspace(0, 1, 120)[:, None, None] * np.ones((1, layout.groups, 3))
    codes = drive_from_light(layout, ramp, 0.03)
    assert np.unique(codes).tolist() == list(range(9))  # 255 · 0.03 = 7.65, rounded half up: 8
    frames = np.array([codes[np.argmax(codes[:, 0, 0] == code)] for code in range(9)])
    wall = np.array([renderer.luminance(group_xyz(layout, frame))[35, 48, 1] for frame in frames])
    assert wall[1:] / wall[1] == pytest.approx(np.arange(1, 9), rel=1e-4)
    # In the picture too: every code its own grey, not a smooth fade.
    greys = [
        float(renderer.picture(group_xyz(layout, f), Exposure(0.3 / wall[8]))[30:40, 40:56].mean()) for f in frames
    ]
    assert min(np.diff(greys)) > 3
