"""Nothing is lost on the way: in a closed room all that the groups emit lands on a surface."""

import numpy as np
import pytest

from preview.light.colour import group_xyz
from preview.light.lux import reading_at

SOFT = {
    "depth_mm": 12.0,
    "width_mm": 12.0,
    "cover": "opal",
    "transmission": 0.62,
    "spread_mm": 4.0,
    "side_fraction": 0.15,
}
FROSTED = {
    "depth_mm": 8.0,
    "width_mm": 14.0,
    "cover": "frosted",
    "transmission": 0.8,
    "spread_mm": 2.0,
    "side_fraction": 0.0,
}

RUNS = [
    ([[0.5, 1.75, 1.99], [2.5, 1.75, 1.99]], (0, 0.4, -0.9), SOFT),  # under a shelf
    ([[0.3, 1.9, 2.2], [2.7, 1.9, 2.2]], (0, -0.5, 0.87), FROSTED),  # behind a lip
    ([[0.02, 0.4, 1.2], [0.02, 1.4, 1.2]], (1, 0, 0), None),  # bare, on the left wall
    ([[2.9, 0.3, 0.6], [2.2, 1.0, 1.4]], (0, 0, 1), SOFT),  # aslant through the room
]
BOXES = [
    ((0.4, 1.7, 2.0), (2.2, 0.3, 0.04)),
    ((0.0, 1.8, 2.15), (3.0, 0.2, 0.02)),
    ((0.0, 1.8, 2.17), (3.0, 0.02, 0.06)),
    ((1.0, 0.6, 0.0), (0.8, 0.5, 0.75)),
]


@pytest.mark.parametrize("run", [0, 1, 2, 3, None])
def test_walls_receive_what_the_groups_emit(make_scene, maps, run) -> None:
    """Flux balance: Σ∫E dA = Σ lumen × transmission, within 1 %; of each run alone and of all together."""
    chosen = RUNS if run is None else [RUNS[run]]
    scene, layout = make_scene(chosen, BOXES, leds=60, group=6)
    flux = np.random.default_rng(8).uniform(0.5, 2.0, layout.groups)
    through = np.array([channel["transmission"] if channel else 1.0 for _, _, channel in chosen])
    light = maps(scene, layout)
    assert light.flux(light.lit(flux)) == pytest.approx(float(flux @ through[layout.run_of]), rel=0.01)


def test_bounced_light_is_the_term_of_an_integrating_room(make_scene) -> None:
    """Φ·ρ/(A·(1 − ρ)), by hand: a room of 3 × 2 × 2.4 m, all of one grey, one channel of 62 %."""
    grey = "\n".join(f'{name} = "#bcbcbc"' for name in ("floor", "ceiling", "back", "left", "right", "front"))
    scene, layout = make_scene([RUNS[0]], extra=f"[room.finish]\n{grey}\n")
    codes = np.full((layout.groups, 3), 255)
    reading = reading_at(
        scene, layout, group_xyz(layout, codes), np.array([1.5, 0.2, 2.3]), np.array([0.0, 0.0, 1.0])
    )  # fmt: skip
    rho = 0.502886458033  # sRGB code 188 in linear light, IEC 61966-2-1 (srgb_eotf_8bit.csv)
    area = 2 * (3 * 2 + 3 * 2.4 + 2 * 2.4)
    emitted = layout.groups * (2.0 + 5.0 + 1.0) * 0.62
    assert layout.groups == 20
    assert reading.lux - reading.direct_lux == pytest.approx(emitted * rho / (area * (1 - rho)), rel=1e-6)


def test_bounced_light_takes_on_the_colour_of_the_room(make_scene) -> None:
    red_room = "[room.finish]\n" + "".join(
        f'{name} = "#c06040"\n' for name in ("floor", "ceiling", "back", "left", "right", "front")
    )
    here = np.array([1.5, 0.2, 2.3]), np.array([0.0, 0.0, 1.0])
    white = np.ones((20, 1)) * np.array([0.9505, 1.0, 1.089])  # D65, one lumen a group
    scene, layout = make_scene([RUNS[0]], extra=red_room)
    bounced = reading_at(scene, layout, white, *here).bounced_xyz
    x, y = bounced[:2] / bounced.sum()
    # Each bounce filters once more, so the light is redder than the paint under D65 (#c06040: x 0.488, y 0.372 by the sRGB matrix).
    assert x > 0.488
    assert y < 0.40
