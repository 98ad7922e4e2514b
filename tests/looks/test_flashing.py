"""Flashing against WCAG 2.2, success criterion 2.3.1 (cases in tests/reference/flashing_sources.md), and flicker by IEEE 1789-2015."""

import tracemalloc
from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any

import colour
import numpy as np
import pytest
from numpy.typing import NDArray

from preview.looks.flashing import Flashes, flashes_of
from preview.looks.flicker import low_risk_modulation, no_effect_modulation, strip_flicker
from preview.scene.faults import CovecastError

Pixels = NDArray[np.uint8]
WHITE, BLACK, RED = (255, 255, 255), (0, 0, 0), (255, 0, 0)


def code(luminance: float) -> tuple[int, int, int]:
    """A grey of that relative luminance, by colour-science."""
    return (round(255 * float(colour.cctf_encoding(luminance, function="sRGB"))),) * 3


def square(
    hertz: float, a: tuple[int, ...], b: tuple[int, ...], fps: float = 30.0, seconds: float = 4.0
) -> Iterator[Pixels]:
    """The whole picture in two colours in turn."""
    for k in range(round(seconds * fps)):
        colours = a if (k / fps * hertz + 1e-9) % 1 < 0.5 else b
        yield np.broadcast_to(np.array(colours, dtype=np.uint8), (36, 64, 3))


@pytest.mark.parametrize("fps", [20.0, 25.0, 30.0, 100 / 3, 50.0])
@pytest.mark.parametrize(("hertz", "passes"), [(1, True), (2, True), (3, True), (4, False), (5, False)])
def test_three_a_second_pass_and_four_do_not(hertz: float, passes: bool, fps: float) -> None:
    found = flashes_of(square(hertz, WHITE, BLACK, fps), fps)
    assert found.within() == passes
    # 25 and 20 frames are no whole number of 3 Hz half periods: a second may hold half a flash less.
    assert hertz - 0.5 <= found.general_per_s <= hertz
    assert found.red_per_s == 0


@pytest.mark.parametrize(
    ("a", "b", "flashes"),
    [
        (0.805, 1.00, False),  # the darker state is not below 0.80; 0.80 itself lies between codes 231 (0.799) and 232
        (0.50, 0.59, False),  # a change of 9 %
        (0.50, 0.61, True),
        (0.00, 0.12, True),
        (0.75, 0.87, True),
    ],
)
def test_general_flash_thresholds(a: float, b: float, flashes: bool) -> None:
    assert flashes_of(square(6, code(a), code(b)), 30).general_per_s == (6 if flashes else 0)


@pytest.mark.parametrize(
    ("a", "b", "flashes"),
    [
        (RED, BLACK, True),  # 320 > 20 by the definition's older form; black has no chromaticity
        (RED, WHITE, True),  # 0.2588 apart in u'v'
        (RED, (255, 128, 0), False),  # 0.1323 apart
        (WHITE, BLACK, False),  # neither is a saturated red
        ((0, 0, 255), (0, 255, 0), False),
        ((90, 0, 0), BLACK, True),  # (R − G − B)·320 = 33 > 20
        ((40, 0, 0), BLACK, False),  # 7 < 20
        ((2, 0, 0), BLACK, False),  # dither in the dark
    ],
)
def test_red_flash_thresholds(a: tuple[int, ...], b: tuple[int, ...], flashes: bool) -> None:
    assert flashes_of(square(6, a, b), 30).red_per_s == (6 if flashes else 0)


def test_the_distances_of_the_red_cases() -> None:
    """colour-science, so that the cases above say what they are meant to."""

    def uv(codes: tuple[int, ...]) -> NDArray[np.float64]:
        return np.asarray(colour.xy_to_Luv_uv(colour.XYZ_to_xy(colour.sRGB_to_XYZ(np.array(codes) / 255))))

    assert np.hypot(*(uv(RED) - uv(WHITE))) == pytest.approx(0.2588, abs=5e-4)
    assert np.hypot(*(uv(RED) - uv((255, 128, 0)))) == pytest.approx(0.1323, abs=5e-4)


def patch(
    degrees: float, hertz: float, centre: tuple[float, float] = (0, 0), field_deg: float = 60
) -> Iterator[Pixels]:
    """A disc of that diameter, seen from the eye, that flashes in a grey picture of 640 × 360."""
    half = np.tan(np.radians(field_deg / 2))
    x = ((np.arange(640) + 0.5) / 320 - 1) * half
    y = ((np.arange(360) + 0.5) / 180 - 1) * half * 360 / 640
    rays = np.stack([*np.broadcast_arrays(x[None, :], y[:, None]), np.ones((360, 640))], axis=-1)
    to = np.array([np.tan(np.radians(centre[0])), np.tan(np.radians(centre[1])), 1.0])
    cosine = rays @ to / np.linalg.norm(rays, axis=-1) / np.linalg.norm(to)
    inside = cosine > np.cos(np.radians(degrees / 2))
    for k in range(30):
        bright = (k / 30 * hertz) % 1 < 0.5
        yield np.where(inside, 200 if bright else 0, 60).astype(np.uint8)[:, :, None].repeat(3, axis=2)


# A quarter of a cone of 10° is a cone of 5°, 0.00598 sr (2π(1 − cos 2.5°)); the limit is 0.006 sr. A tenth on either side of that angle is
# more than what cells of 0.42° can be wrong by.
@pytest.mark.parametrize("centre", [(0, 0), (17, 6), (-24, -12)])
@pytest.mark.parametrize("field_deg", [40, 60, 75])
def test_area_is_a_quarter_of_ten_degrees_from_the_eye(centre: tuple[float, float], field_deg: float) -> None:
    if field_deg == 40:
        centre = (centre[0] / 2, centre[1] / 2)
    assert flashes_of(patch(4.5, 5, centre, field_deg), 30, field_deg).general_per_s == 0
    found = flashes_of(patch(5.5, 5, centre, field_deg), 30, field_deg)
    assert found.general_per_s == 5
    left, top, right, bottom = found.box
    x = 0.5 + 0.5 * np.tan(np.radians(centre[0])) / np.tan(np.radians(field_deg / 2))
    y = 0.5 + 0.5 * np.tan(np.radians(centre[1])) / (np.tan(np.radians(field_deg / 2)) * 360 / 640)
    assert left < x < right
    assert top < y < bottom


def test_the_same_area_spread_over_the_picture_does_not_count() -> None:
    """Four patches, each 0.0019 sr (2.8°), more than 20° apart: together more than the limit, but in no field of 10°."""
    corners = [(-20, -10), (20, -10), (-20, 10), (20, 10)]
    frames = [
        sum(np.asarray(f, dtype=int) for f in four) // 4
        for four in zip(*(patch(2.8, 5, c) for c in corners), strict=True)
    ]
    bright = [np.where(f > 60, 255, np.where(f < 60, 0, 60)).astype(np.uint8) for f in frames]
    assert flashes_of(iter(bright), 30).general_per_s == 0


def test_places_that_take_turns_are_one_flashing_field() -> None:
    """Two halves of a picture that each flash twice a second, a quarter of a second apart: four flashes in any field over the middle."""

    def frames() -> Iterator[Pixels]:
        for k in range(120):
            t = k / 32
            picture = np.zeros((36, 64, 3), dtype=np.uint8)
            picture[:, :32] = 255 * ((2 * t) % 1 < 0.25)
            picture[:, 32:] = 255 * ((2 * t + 0.5) % 1 < 0.25)
            yield picture

    assert flashes_of(frames(), 32).general_per_s >= 4


def test_a_pattern_that_moves_through_flashes_as_often_as_its_stripes_pass() -> None:
    """Stripes of 4° that go by once a second at every place: one flash a second, though somewhere in the field edges pass all the time."""

    def frames() -> Iterator[Pixels]:
        x = np.arange(64) / 64 * 15  # 60° of 15 stripes and as many gaps
        for k in range(90):
            stripes = np.where((x - k / 30) % 1 < 0.5, 255, 0).astype(np.uint8)
            yield np.broadcast_to(stripes[None, :, None], (36, 64, 3))

    assert 1 <= flashes_of(frames(), 30).general_per_s <= 1.5


def test_a_slow_breath_is_no_flashing_and_a_quick_one_is() -> None:
    def breath(hertz: float) -> Iterator[Pixels]:
        for k in range(100):
            yield np.full((36, 64, 3), code(0.5 - 0.5 * np.cos(2 * np.pi * hertz * k / 25))[0], dtype=np.uint8)

    assert flashes_of(breath(1.0), 25).general_per_s == 1
    assert flashes_of(breath(5.0), 25).general_per_s == 5


def test_it_is_looked_at_as_it_loops() -> None:
    """Two flashes at the end and two at the start of a clip of 3 s: four in the second over the seam."""
    at = [0.0, 0.2, 2.65, 2.85]

    def frames() -> Iterator[Pixels]:
        for k in range(75):
            bright = any(0 <= k / 25 - start < 0.09 for start in at)
            yield np.full((36, 64, 3), 255 if bright else 0, dtype=np.uint8)

    # Once through, the light that is there from the first frame on has not come on.
    assert flashes_of(frames(), 25, loops=False).general_per_s == 2
    looped = flashes_of(frames(), 25)
    assert looped.general_per_s == 4
    assert 2.2 <= looped.at_s <= 2.7
    # A clip of a single flash, 0.2 s long, played round and round flashes five times a second.
    short = [np.full((36, 64, 3), value, dtype=np.uint8) for value in (255, 255, 0, 0, 0)]
    assert flashes_of(iter(short), 25).general_per_s == 5


def test_left_early_when_the_answer_is_known() -> None:
    seen = 0

    def frames() -> Iterator[Pixels]:
        nonlocal seen
        for frame in square(10, WHITE, BLACK, seconds=60):
            seen += 1
            yield frame

    assert not flashes_of(frames(), 30, fullest=3).within()
    assert seen < 60


def test_memory_does_not_grow_with_the_clip() -> None:
    def peak(seconds: float) -> int:
        tracemalloc.start()
        flashes_of(square(2, WHITE, BLACK, seconds=seconds), 30)
        _, most = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        return most

    assert peak(20) < 1.2 * peak(3)


@pytest.mark.parametrize(
    ("frames", "fps", "field_deg", "says"),
    [
        ([], 25, 60, "at least one frame"),
        ([np.zeros((4, 4), dtype=np.uint8)], 25, 60, "shape"),
        ([np.zeros((4, 4, 3), dtype=np.uint8)], 0, 60, "frames a second"),
        ([np.zeros((4, 4, 3), dtype=np.uint8)], 25, 180, "less than 180 degrees"),
    ],
)
def test_what_cannot_be_looked_at(frames: list[Any], fps: float, field_deg: float, says: str) -> None:
    with pytest.raises(CovecastError, match=says):
        flashes_of(iter(frames), fps, field_deg)


def test_a_still_does_not_flash() -> None:
    assert flashes_of([np.full((9, 16, 3), 200, dtype=np.uint8)], 25) == Flashes(0, 0, 0, (0, 0, 1, 1))


# Flicker of a strip's own switching
@pytest.mark.parametrize(
    ("hertz", "low_risk", "no_effect"),
    # Limits in % at those frequencies, worked from the standard's coefficients; sources beside the reference data.
    [(100, 8, 3.33), (120, 9.6, 4.0), (400, 32, 13.3), (1000, 80, 33.3), (50, 1.25, 0.5)],
)
def test_ieee_1789_lines(hertz: float, low_risk: float, no_effect: float) -> None:
    assert 100 * low_risk_modulation(hertz) == pytest.approx(low_risk, rel=2e-3)
    assert 100 * no_effect_modulation(hertz) == pytest.approx(no_effect, rel=3e-3)


def test_switching_on_and_off_is_judged_by_its_frequency() -> None:
    strips = {
        name: SimpleNamespace(switching_hz=hertz)
        for name, hertz in {"a": 400, "b": 1249, "c": 1250, "d": 2999, "e": 3000, "f": None}.items()
    }
    scene: Any = SimpleNamespace(strip=strips)
    found = {flicker.strip: flicker for flicker in strip_flicker(scene)}
    regions = {name: flicker.region for name, flicker in found.items()}
    assert regions == {
        "a": "above low risk",
        "b": "above low risk",
        "c": "low risk",
        "d": "low risk",
        "e": "no effect",
    }
    assert "400 Hz" in found["a"].says
    assert "32 %" in found["a"].says
    assert found["a"].do
    assert not found["e"].do
