"""Daylight looks like daylight: what colour the room's own light takes when it is turned up."""

import colour
import numpy as np
import pytest

from preview.handover.frames import film_of, stage_of
from preview.light.colour import from_srgb, xyz_of_rgb
from preview.light.exposure import ADAPTED, Exposure, balance_for, balance_in, expose
from preview.light.printing import WHITE, tone
from preview.light.room_light import ambient_kelvin
from preview.scene.model import Look, Room

SHOP = Room(size_m=(4.0, 3.0, 2.5), ambient_lux=4, ambient_k=2700)


def test_lamps_are_the_plans_own_and_day_is_the_displays_white() -> None:
    """CIE standard illuminant D65 has 6504 K; the plan's lamps stay what they are, however they are turned."""
    assert {ambient_kelvin(SHOP, lux) for lux in (0.0, 0.5, 4.0, 60.0)} == {2700.0}
    d65 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    kelvin, _ = colour.temperature.uv_to_CCT_Ohno2013(colour.xy_to_UCS_uv(d65))
    assert ambient_kelvin(SHOP, 300.0) == pytest.approx(kelvin, rel=0.005)


def test_from_lamps_to_day_nothing_jumps() -> None:
    for room in (SHOP, SHOP.model_copy(update={"ambient_lux": 150.0}), SHOP.model_copy(update={"ambient_k": 8000.0})):
        lux = np.geomspace(0.1, 3000, 4000)
        kelvin = np.array([ambient_kelvin(room, one) for one in lux])
        assert (np.diff(kelvin) >= 0).all()
        assert np.diff(1e6 / kelvin).min() > -2  # mired: no step that an eye would see
        assert ambient_kelvin(room, room.ambient_lux) == room.ambient_k


def test_a_white_wall_by_day_is_white_in_a_clip(make_scene) -> None:
    """The same wall by lamplight is warm: what is left of 2700 K after adaptation."""
    white = "[room.finish]\n" + "".join(
        f'{name} = "#e8e8e8"\n' for name in ("floor", "ceiling", "back", "left", "right", "front")
    )
    scene, _ = make_scene([([[0.7, 1.8, 1.49], [2.3, 1.8, 1.49]], (0, 0.5, -0.87), None)], extra=white)
    dark = Look(name="dark", effect="steady", seconds=1.0, level=0.0)
    stage = stage_of(scene, (96, 54))
    away = {}
    for lux in (20.0, 300.0):
        picture = film_of(stage, dark, ambient_lux=lux).picture(0.0)[20:34, 30:66]
        xy = colour.XYZ_to_xy(xyz_of_rgb(from_srgb(picture / 255)).mean(axis=(0, 1)))
        away[lux] = float(np.linalg.norm(xy - [0.3127, 0.3290]))
    assert away[300.0] < 0.01
    assert 0.02 < away[20.0] < 0.06


def test_the_share_of_adaptation_is_ciecam02s_in_dark_surroundings() -> None:
    """Against colour-science: D for F = 0.8 at what a lit evening room has for luminances."""
    for cd_m2 in (1.0, 5.0, 20.0):
        assert pytest.approx(colour.appearance.ciecam02.degree_of_adaptation(0.8, cd_m2), abs=0.025) == ADAPTED


@pytest.mark.parametrize("kelvin", [2700, 3000, 4000])
def test_an_adapted_white_is_nearly_what_ciecam02_makes_of_it(kelvin: int) -> None:
    """CAT02 with the same D, worked out here from colour-science's matrix, against gains on the display's primaries: within 0.012 in u'v',
    where the white itself is 0.05 to 0.11 away from D65."""
    xy = colour.temperature.CCT_to_xy_Kang2002(kelvin)
    xyz = colour.xy_to_XYZ(xy)
    to_cones = colour.CHROMATIC_ADAPTATION_TRANSFORMS["CAT02"]
    cones, day = to_cones @ xyz, to_cones @ colour.xy_to_XYZ([0.3127, 0.3290])
    seen = np.linalg.solve(to_cones, cones * (ADAPTED * day / cones + 1 - ADAPTED))
    light = colour.XYZ_to_RGB(xyz, "sRGB")
    ours = xyz_of_rgb(np.array(balance_for(light)) * light)
    uv_ours, uv_seen = (colour.xy_to_Luv_uv(colour.XYZ_to_xy(one)) for one in (ours, seen))
    assert np.linalg.norm(uv_ours - uv_seen) < 0.012
    assert ours[1] == pytest.approx(1.0, abs=1e-3)


def test_embers_are_balanced_as_a_lamp_and_stay_orange() -> None:
    candle = colour.XYZ_to_RGB(colour.xy_to_XYZ(colour.temperature.CCT_to_xy_Kang2002(1900)), "sRGB")
    lamp = colour.XYZ_to_RGB(colour.xy_to_XYZ(colour.temperature.CCT_to_xy_Kang2002(2700)), "sRGB")
    assert balance_in(candle) == pytest.approx(balance_in(lamp), rel=0.02)


def test_no_more_than_a_twentieth_goes_far_up_the_shoulder_and_nothing_clips() -> None:
    """A room of 1 cd/m² with a tenth of it bright: the exposure gives way, and the shoulder keeps even a bare strip below white."""
    values = np.concatenate([np.full(900, 1.0), np.linspace(20, 60, 100), [5000.0]])
    exposure = expose(values)
    assert np.mean(values * exposure.scale > 0.75) <= 0.05
    # Bright, and on less than a twentieth: exposed for the rest, which gives way by up to a sixth and no more, however bright they are.
    plain = expose(np.full(1000, 1.0)).scale
    few = [
        expose(np.concatenate([np.full(965, 1.0), np.full(35, bright)])).scale / plain for bright in (2.0, 8.0, 50.0)
    ]
    assert few[0] == pytest.approx(1.0, rel=0.05)
    assert few[0] > few[1] > few[2] > 0.5
    assert tone(values * exposure.scale).max() <= WHITE
    dim = expose(np.full(100, 0.5))
    assert dim.scale * 0.5 == pytest.approx(0.125, rel=0.01)
    assert expose(np.concatenate([np.full(100, 0.5), np.zeros(300)])) == dim  # what lies beside a photo does not count
    assert expose(np.zeros(9)) == Exposure(1.0)
