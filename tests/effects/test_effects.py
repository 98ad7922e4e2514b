"""Every effect that ships: a pure function of place and time, in range, kind to the eyes, moving in metres and seconds."""

import hashlib
import os
import subprocess
import sys

import numpy as np
import pytest

import effects
from effects import kit

NAMES = effects.names()
PROOFS = tuple(name for name in NAMES if effects.load(name).mood == "proof")


def two_kinds() -> kit.Place:
    """Two short runs of fine groups and one of coarse groups, as one plan."""
    fine, coarse = kit.Place.straight(1.8, 3 / 84, runs=2), kit.Place.straight(3.0, 0.1)
    joined = {
        name: np.concatenate([getattr(fine, name), getattr(coarse, name)])
        for name in ("along_m", "run_length_m", "room_m", "primaries", "group_length_m")
    }
    return kit.Place(run=np.concatenate([fine.run, coarse.run + 2]), room_size_m=fine.room_size_m, **joined)


def light_of(name: str, place: kit.Place, times: kit.Floats, seed: int = 0, **dials: float) -> kit.Floats:
    effect = effects.load(name)
    return effect.light(place, times, effect.defaults() | dials, seed)


def codes_digest() -> str:
    """One number for the codes of every effect at a few moments."""
    digest = hashlib.sha256()
    for name in NAMES:
        light = light_of(name, two_kinds(), np.array([0.0, 1.37, 11.1, 500.0]), seed=3)
        digest.update(np.floor(255 * light + 0.5).astype(np.uint8).tobytes())
    return digest.hexdigest()


def test_there_are_eighteen_and_the_proofs() -> None:
    assert len(NAMES) - len(PROOFS) >= 18
    assert len(PROOFS) >= 4
    with pytest.raises(KeyError):
        effects.load("no_such_effect")


@pytest.mark.parametrize("name", NAMES)
def test_says_what_one_sees(name: str) -> None:
    effect = effects.load(name)
    assert len(effect.says) > 40
    assert effect.mood in effects.MOODS
    for dial in effect.dials:
        assert dial.low <= dial.default <= dial.high
        assert dial.says
        suffix = {"m": "_m", "s": "_s", "K": "_k", "m/s": "_m_per_s", "deg": "_deg", "h": "_h", "": ""}[dial.unit]
        assert dial.name.endswith(suffix) or dial.name == "kelvin", f"{dial.name} is in {dial.unit}"


@pytest.mark.parametrize("name", NAMES)
def test_frame_by_frame_is_all_at_once(name: str) -> None:
    times = np.concatenate([np.arange(25) * 0.37, [61.0, 599.9, 3599.0]])
    one_group = kit.Place.straight(0.05, 0.05)
    for place in (two_kinds(), kit.Place.straight(1.0, 0.11), one_group):
        together = light_of(name, place, times, seed=2)
        alone = np.concatenate([light_of(name, place, times[i : i + 1], seed=2) for i in range(times.size)])
        assert np.array_equal(together, alone)


@pytest.mark.parametrize("name", NAMES)
def test_in_range_at_every_end_of_every_dial(name: str) -> None:
    effect, place = effects.load(name), two_kinds()
    times = np.array([0.0, 0.5, 3.3, 17.0, 250.0])
    settings: list[dict[str, float]] = [{}]
    settings += [{dial.name: end} for dial in effect.dials for end in (dial.low, dial.high)]
    settings += [{dial.name: getattr(dial, end) for dial in effect.dials} for end in ("low", "high")]
    for dials in settings:
        light = light_of(name, place, times, seed=1, **dials)
        assert light.shape == (5, place.groups, 3)
        assert np.isfinite(light).all(), dials
        assert light.min() >= -1e-9, dials
        assert light.max() <= 1 + 1e-9, dials


@pytest.mark.parametrize("name", NAMES)
def test_comes_round_after_its_period(name: str) -> None:
    effect, place = effects.load(name), two_kinds()
    settings = [{}] if not any(d.name == "loop_s" for d in effect.dials) else [{"loop_s": 11.0}, {"loop_s": 24.0}]
    for dials in settings:
        period = effect.period_s(effect.defaults() | dials)
        if period is None:
            continue
        times = np.array([0.4, 3.21, 7.77])
        later = light_of(name, place, times + (period or 1.234), **dials)
        assert later == pytest.approx(light_of(name, place, times, **dials), abs=1e-6)


def test_every_moving_effect_can_loop() -> None:
    for name in NAMES:
        effect = effects.load(name)
        dials = effect.defaults() | {d.name: 20.0 for d in effect.dials if d.name in ("loop_s", "fall_s")}
        assert effect.period_s(dials) is not None, name


def test_same_in_another_process() -> None:
    code = "import runpy, sys; print(runpy.run_path(sys.argv[1])['codes_digest']())"
    done = subprocess.run(
        [sys.executable, "-c", code, __file__],
        capture_output=True,
        text=True,
        check=True,
        env=os.environ | {"PYTHONHASHSEED": "12345"},
    )
    assert done.stdout.strip() == codes_digest()


@pytest.mark.parametrize("name", [n for n in NAMES if n not in PROOFS])
def test_another_seed_is_another_pattern_of_the_same_kind(name: str) -> None:
    place, times = two_kinds(), np.arange(40) * 0.5
    a, b = light_of(name, place, times, seed=0), light_of(name, place, times, seed=1)
    regular = ("steady", "first_light", "loom", "bellows")  # nothing in these is left to chance
    assert np.array_equal(a, b) == (name in regular)
    assert b.mean() == pytest.approx(a.mean(), rel=0.6)


# Flashing, by the definition of WCAG 2.2, success criterion 2.3.1 and its glossary: a pair of opposing changes in relative
# luminance of 10 % or more of the maximum, where the darker state is below 0.80; not more than three in any one second.
def flashes_in_worst_second(luminance: kit.Floats, frames_per_s: int) -> int:
    """Most flashes of any group (F, G) in any second."""
    worst = 0
    for series in luminance.T:
        turns: list[int] = []
        way = 0
        low = high = float(series[0])
        for frame, value in enumerate(series):
            value = float(value)
            if way >= 0:
                high = max(high, value)
                if high - value >= 0.1 and value < 0.8:
                    turns.append(frame)
                    way, low = -1, value
            if way <= 0:
                low = min(low, value)
                if value - low >= 0.1 and low < 0.8:
                    turns.append(frame)
                    way, high = 1, value
        at = np.array(turns)
        for frame in turns:
            worst = max(worst, int(((at >= frame) & (at < frame + frames_per_s)).sum()) // 2)
    return worst


def test_flash_counter_knows_a_flash() -> None:
    second = np.arange(120) / 30

    def square(hertz: float, low: float, high: float) -> kit.Floats:
        return np.where((second * hertz) % 1 < 0.5, high, low)[:, None]

    assert flashes_in_worst_second(square(3, 0, 1), 30) <= 3
    assert flashes_in_worst_second(square(5, 0, 1), 30) > 3
    assert flashes_in_worst_second(square(5, 0.85, 1), 30) == 0  # the darker state is not below 0.80
    assert flashes_in_worst_second(square(5, 0.5, 0.59), 30) == 0  # a change of 9 %


@pytest.mark.parametrize("name", NAMES)
def test_no_group_flashes_more_than_three_times_a_second(name: str) -> None:
    place = kit.Place.straight(3.0, 0.1, runs=2)
    light = light_of(name, place, np.arange(30 * 20) / 30)
    flux = np.einsum("fgc,gc->fg", light, place.primaries[:, :, 1])
    # The brightest that a group becomes in this look stands for the maximum: stricter than all colours full.
    assert flashes_in_worst_second(flux / flux.max(), 30) <= 3


# Coarse groups show the mean of the fine ones that they cover: nothing flickers as a mark crosses their borders. That a tenth or so of full
# may be missed on the way is common practice, no source: the more, the steeper the edges of what moves.
@pytest.mark.parametrize(
    ("name", "within"),
    [("swallows", 0.12), ("tideline", 0.15), ("night_train", 0.10), ("stray_cat", 0.12), ("switchyard", 0.10)],
)
def test_coarse_groups_show_the_mean_of_fine_ones(name: str, within: float) -> None:
    coarse, fine = kit.Place.straight(3.0, 0.05), kit.Place.straight(3.0, 0.01)
    times = np.arange(120) / 10
    exact = light_of(name, fine, times).reshape(120, 60, 5, 3).mean(axis=2)
    assert np.abs(light_of(name, coarse, times) - exact).max() < within


@pytest.mark.parametrize("name", ["swallows", "stray_cat", "switchyard", "night_train", "tideline"])
def test_light_of_the_whole_run_does_not_jump(name: str) -> None:
    place = kit.Place.straight(4.0, 0.1)
    total = light_of(name, place, np.arange(600) / 60).sum(axis=(1, 2))
    assert np.abs(np.diff(total)).max() < 0.06 * total.max()


@pytest.mark.parametrize("name", [name for name in NAMES if name not in PROOFS])
@pytest.mark.parametrize("group_m", [3 / 84, 0.1])
def test_nothing_jumps_from_frame_to_frame(name: str, group_m: float) -> None:
    """At 30 frames a second no group changes by more than a third of full, and all together by no more than a fortieth."""
    place = kit.Place.straight(4.0, group_m, runs=3)
    light = light_of(name, place, np.arange(360) / 30, seed=3)
    luminance = np.einsum("fgc,gc->fg", light, place.primaries[:, :, 1]) / place.primaries[:, :, 1].sum(axis=1)
    assert np.abs(np.diff(luminance, axis=0)).max() < 0.33
    assert np.abs(np.diff(luminance.mean(axis=1))).max() < 0.025


# Motion, measured on strips of different group lengths.
def shift_m(before: kit.Floats, after: kit.Floats, group_m: float, most_m: float) -> float:
    """How far a pattern (N, G) moved, N pairs together: the peak of the cross-correlation, refined by a parabola."""
    most = int(most_m / group_m)
    groups = before.shape[1]
    before, after = before - before.mean(axis=1, keepdims=True), after - after.mean(axis=1, keepdims=True)
    scores = []
    for step in range(-most, most + 1):
        a = before[:, max(0, -step) : groups - max(0, step)]
        b = after[:, max(0, step) : groups - max(0, -step)]
        scores.append((a * b).mean())
    best = int(np.argmax(scores))
    left, middle, right = scores[best - 1 : best + 2]
    return float(best - most + 0.5 * (left - right) / (left - 2 * middle + right)) * group_m


@pytest.mark.parametrize("group_m", [0.0167, 0.05, 0.1])
@pytest.mark.parametrize("speed", [0.3, -0.6])
def test_millrace_runs_at_its_speed(group_m: float, speed: float) -> None:
    place = kit.Place.straight(20.0, group_m)
    starts = np.arange(12) * 7.0
    before = light_of("millrace", place, starts, speed_m_per_s=speed, foam=0)[:, :, 2]
    after = light_of("millrace", place, starts + 0.5, speed_m_per_s=speed, foam=0)[:, :, 2]
    assert shift_m(before, after, group_m, 0.6) / 0.5 == pytest.approx(speed, rel=0.03)


@pytest.mark.parametrize("group_m", [0.0357, 0.1])
def test_night_train_runs_at_its_speed(group_m: float) -> None:
    place = kit.Place.straight(8.0, group_m)
    times = np.arange(0, 36, 0.02)
    red = light_of("night_train", place, times, speed_m_per_s=1.3)[:, :, 0]
    near, far = np.argmin(np.abs(place.along_m - 1.0)), np.argmin(np.abs(place.along_m - 7.0))
    scores = [np.corrcoef(red[: times.size - lag, near], red[lag:, far])[0, 1] for lag in range(400)]
    speed = (place.along_m[far] - place.along_m[near]) / (np.argmax(scores) * 0.02)
    assert speed == pytest.approx(1.3, rel=0.02)


@pytest.mark.parametrize("wind", [0.3, -0.5])
def test_clouds_go_with_the_wind(wind: float) -> None:
    place = kit.Place.straight(20.0, 0.1)
    starts = np.arange(60) * 9.0
    before, after = (light_of("cloud_shadow", place, starts + dt, wind_m_per_s=wind)[:, :, 1] for dt in (0.0, 0.8))
    assert shift_m(before, after, 0.1, 0.8) / 0.8 == pytest.approx(wind, rel=0.05)


def test_rings_of_rain_spread_at_their_speed() -> None:
    """One drop long ago: the crest on the run, as far from the drop as its speed and age say."""
    place = kit.Place.straight(12.0, 0.05)
    dials = {"every_s": 60.0, "ring_m_per_s": 0.5, "die_s": 20.0, "sky": 0.0}
    red = light_of("tin_roof", place, np.arange(0, 240, 0.5), **dials)[:, :, 0]
    later = [k for k in range(20, 460) if red[k].max() > 0.05 and red[k].argmax() not in (0, place.groups - 1)]
    travelled = [
        abs(place.along_m[red[k + 4].argmax()] - place.along_m[red[k].argmax()])
        for k in later
        if red[k + 4].max() > 0.05
    ]
    assert np.median(travelled) / 2.0 == pytest.approx(0.5, rel=0.06)


def test_a_bird_flies_no_faster_than_it_should() -> None:
    place = kit.Place.straight(10.0, 0.02)
    times = np.arange(0, 60, 0.05)
    red = light_of("swallows", place, times, birds=1, speed_m_per_s=0.8, sky=0.0, tail_m=0.02)[:, :, 0]
    middle = (red * place.along_m).sum(axis=1) / np.maximum(red.sum(axis=1), 1e-9)
    seen = (middle > 0.5) & (middle < 9.5)  # it turns beyond the ends of the run
    speed = np.abs(np.diff(middle))[seen[1:] & seen[:-1]] / 0.05
    # The flock's sweep at most, and the bird's own wandering within it.
    assert 0.8 < speed.max() < 2.4
    assert np.median(speed) == pytest.approx(0.6, abs=0.25)


def test_a_cat_never_flies() -> None:
    place = kit.Place.straight(8.0, 0.05)
    times = np.arange(0, 60, 0.05)
    red = light_of("stray_cat", place, times, moon=0.0)[:, :, 0]
    body = np.where(red > 0.1, red, 0.0)
    at = (body * place.along_m).sum(axis=1) / body.sum(axis=1)
    assert np.abs(np.diff(at)).max() / 0.05 < 5.0  # a cat at a run: 5 m/s and more, common practice, no source
    assert at.std() > 0.8


def test_frost_creeps_at_its_speed() -> None:
    place = kit.Place.straight(6.0, 0.01)
    times = np.arange(0, 40, 0.05)
    blue = light_of("frost_creep", place, times, creep_m_per_s=0.1, seed_m=6.0, branch_m=0.05, hold_s=20)[:, :, 2]
    bright = np.array([np.argmax(series > 0.5 * series.max()) for series in blue.T]) * 0.05
    # Seconds a metre of the front, to either side: the slope over each metre that has no seed and no meeting of fronts in it.
    slopes = [np.polyfit(place.along_m[k : k + 100], bright[k : k + 100], 1)[0] for k in range(0, 500, 50)]
    assert np.median(np.abs(slopes)) == pytest.approx(1 / 0.1, rel=0.1)


def test_dawn_spreads_at_its_speed() -> None:
    place = kit.Place.straight(6.0, 0.05)
    times = np.arange(0, 20, 0.02)
    red = light_of("first_light", place, times, spread_m_per_s=0.5, start_part=0.0)[:, :, 0]
    half = times[np.argmax(red > 0.5, axis=0)]
    speed = (place.room_m[100, 0] - place.room_m[20, 0]) / (half[100] - half[20])
    assert speed == pytest.approx(0.5, rel=0.02)


def test_lanterns_swing_like_pendulums() -> None:
    # Small swings of a pendulum: 2π √(L/g); 1 m takes 2.006 s (textbook mechanics, the "seconds pendulum" is 0.994 m).
    place = kit.Place.straight(4.0, 0.02)
    times = np.arange(0, 80.24, 0.02)
    light = light_of("lantern_sway", place, times, cord_m=1.0, apart_m=4.0, loop_s=80.24)[:, :, 0]
    middle = (light * place.along_m).sum(axis=1) / light.sum(axis=1)
    power = np.abs(np.fft.rfft(middle - middle.mean()))
    seconds = 1 / np.fft.rfftfreq(times.size, 0.02)[1:]
    assert seconds[np.argmax(power[1:])] == pytest.approx(2.006, abs=0.05)


def test_petals_fall_at_their_speed() -> None:
    place = kit.Place.straight(2.0, 0.05, runs=2, gap_m=0.4)
    times = np.arange(0, 60, 0.05)
    glow = light_of("petal_fall", place, times, fall_m_per_s=0.25, sway_m=0)[:, :, 1]
    low, high = glow[:, :40], glow[:, 40:]
    scores = [np.corrcoef(high[: 1200 - lag].ravel(), low[lag:].ravel())[0, 1] for lag in range(80)]
    assert 0.4 / (np.argmax(scores) * 0.05) == pytest.approx(0.25, rel=0.05)


def test_petals_drift_where_all_runs_lie_at_one_height() -> None:
    place = kit.Place.straight(8.0, 0.05)
    starts = np.arange(20) * 1.3
    before, after = (light_of("petal_fall", place, starts + dt, fall_m_per_s=0.25)[:, :, 1] for dt in (0.0, 0.8))
    assert shift_m(before, after, 0.05, 0.6) / 0.8 == pytest.approx(0.25, rel=0.1)


def test_bellows_breathes_ten_times_a_minute() -> None:
    place = kit.Place.straight(2.0, 0.1)
    times = np.arange(0, 60, 0.1)
    total = light_of("bellows", place, times, breath_s=6.0).sum(axis=(1, 2))
    assert int(np.argmax(np.abs(np.fft.rfft(total - total.mean())))) == 10


@pytest.mark.parametrize("speed", [0.1, 0.25])
def test_loom_threads_run_both_ways(speed: float) -> None:
    # Four stitches of one thread and five of the other, a fifth shorter and a fifth slower, in 3 m: it repeats in 1.5 m / speed.
    place = kit.Place.straight(3.0, 0.02)
    times = np.arange(60) * (1.5 / speed / 60)
    dials = {"speed_m_per_s": speed, "pitch_m": 0.75, "warp_deg": 10.0, "weft_deg": 262.0, "purity": 1.0}
    light = light_of("loom", place, times, **dials)
    for colour, way, stitches in ((0, 1, 4), (2, -1, 5)):
        power = np.abs(np.fft.fft2(light[:, :, colour]))
        # A wave that moves towards larger x has opposite signs in the transform; two stitches pass a place in that time.
        assert power[-2 * way, stitches] > 2 * power[2 * way, stitches]
        assert power[-2 * way, stitches] == power[1:, 1:75].max()


def test_first_light_keeps_to_the_planckian_locus() -> None:
    import colour

    place = kit.Place.straight(3.0, 0.1)
    light = light_of("first_light", place, np.array([2.0, 4.0, 6.0, 9.0, 20.0]))
    xyz = np.einsum("fgc,gcx->fgx", light, place.primaries)
    seen = xyz[light.min(axis=2) > 1e-5]  # bright enough, and inside the strip's triangle of colours
    assert len(seen) > 60
    x, y = np.moveaxis(colour.XYZ_to_xy(seen), -1, 0)
    u, v = 4 * x / (-2 * x + 12 * y + 3), 6 * y / (-2 * x + 12 * y + 3)  # CIE 1960
    cct_duv = colour.temperature.uv_to_CCT_Ohno2013(np.stack([u, v], axis=-1))
    # Distance from the locus in CIE 1960 uv by colour-science (Ohno 2013); 0.0003 is a quarter of a step.
    assert np.abs(cct_duv[:, 1]).max() < 0.0003
    assert cct_duv[:, 0].min() < 2000
    assert cct_duv[:, 0].max() == pytest.approx(4000, rel=0.005)
