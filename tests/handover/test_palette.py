"""Colours of a GIF: against numpy's own Fourier transform, plain arithmetic, and a diffusing encoder that is not ours."""

import numpy as np
import pytest

from preview.handover.gif import held
from preview.handover.palette import COLOURS, Mosaic, blue_noise, palette_of


def test_thresholds_are_spread_evenly_and_have_no_low_frequencies() -> None:
    tile = blue_noise()
    assert sorted(tile.ravel()) == pytest.approx(np.arange(1024) / 1024)  # every threshold once
    f = np.fft.fftfreq(32)
    low = np.hypot(f[:, None], f) < 0.12
    low[0, 0] = False
    for threshold in (0.1, 0.25, 0.5, 0.75):
        power = np.abs(np.fft.fft2(tile < threshold)) ** 2
        power[0, 0] = 0
        # White noise has as much there as anywhere. Blue noise has next to none (R. A. Ulichney 1987).
        assert power[low].mean() < 0.05 * power.sum() / 1023


def shades(low: int, high: int, size: tuple[int, int] = (64, 48)) -> np.ndarray:
    """A grey slope from one code to another."""
    row = np.linspace(low, high, size[0])
    return np.rint(np.broadcast_to(row[None, :, None], (size[1], size[0], 3))).astype(np.uint8)


def shown(picture: np.ndarray, samples: np.ndarray | None = None) -> np.ndarray:
    samples = picture if samples is None else samples
    palette = palette_of(samples)
    mosaic = Mosaic(palette, (picture.shape[1], picture.shape[0]), samples)
    return palette[mosaic.entries(picture)]


@pytest.mark.parametrize("width", [64, 63])
def test_a_dark_glow_of_few_shades_is_shown_exactly(width: int) -> None:
    picture = shades(0, 24, (width, 48))
    assert (shown(picture) == picture).all()


def test_a_soft_slope_keeps_its_mean_everywhere() -> None:
    y, x = np.mgrid[0:240, 0:320]
    glow = np.exp(-(((x - 160) / 90.0) ** 2) - ((y - 120) / 60.0) ** 2)
    picture = np.stack([10 + 200 * glow, 8 + 120 * glow, 6 + 70 * glow * (x / 320)], axis=-1).astype(np.uint8)
    back = shown(picture)
    means = [p.astype(float).reshape(15, 16, 20, 16, 3).mean(axis=(1, 3)) for p in (picture, back)]
    assert np.abs(means[0] - means[1]).max() < 2  # codes of 255


def test_no_entry_is_the_clear_one_and_the_same_place_has_the_same_entry() -> None:
    rng = np.random.default_rng(3)
    picture = rng.integers(0, 256, (64, 96, 3), dtype=np.uint8)
    palette = palette_of(picture)
    mosaic = Mosaic(palette, (96, 64), picture)
    first = mosaic.entries(picture)
    assert first.max() < COLOURS
    changed = picture.copy()
    changed[:, 48:] = 255 - changed[:, 48:]
    assert (mosaic.entries(changed)[:, :48] == first[:, :48]).all()
    assert (mosaic.entries(picture) == first).all()


def test_colours_that_the_samples_did_not_have_are_shown_by_their_nearest() -> None:
    # Everything at once, so that there are more cells than lists: nothing is left without one.
    samples = shades(0, 20)
    rng = np.random.default_rng(4)
    picture = rng.integers(0, 256, (256, 512, 3), dtype=np.uint8)
    mosaic = Mosaic(palette_of(samples), (512, 256), samples)
    assert mosaic.entries(picture).max() < COLOURS


def test_a_dark_part_has_no_specks_of_another_colour() -> None:
    # A dark green front below lamps and wood, as in a bar: all its pixels keep near it, which one in the mosaic of wood would not.
    y, x = np.mgrid[0:120, 0:160]
    glow = np.exp(-(((x - 80) / 50.0) ** 2) - (y / 25.0) ** 2)
    front = np.stack([30 - y / 60, 38 - y / 40 + 2 * np.sin(x / 9), 33 - x / 80], axis=-1)
    picture = np.where(y[..., None] < 60, np.stack([40 + 210 * glow, 50 + 150 * glow, 70 + 180 * glow], axis=-1), front)
    picture[90:100, 20:60] = np.stack([120 + 40 * np.sin(x / 5), 62 + 20 * np.sin(x / 5), 20 + 0 * x], axis=-1)[
        90:100, 20:60
    ]
    picture = np.clip(np.rint(picture), 0, 255).astype(np.uint8)
    off = np.abs(shown(picture).astype(int) - picture)[60:]
    off[30:40, 20:60] = 0
    assert off.max() <= 12


def test_held_pictures_stay_within_so_many_codes() -> None:
    rng = np.random.default_rng(5)
    drift = np.cumsum(rng.integers(-1, 2, (40, 20, 30, 3)), axis=0) + 120
    pictures = drift.astype(np.uint8)
    kept = np.stack([picture.copy() for picture in held(iter(pictures), 2)])
    assert np.abs(kept.astype(int) - pictures).max() == 2
    assert (kept[0] == pictures[0]).all()
    assert (np.diff(kept.astype(int), axis=0) != 0).mean() < 0.5 * (np.diff(drift, axis=0) != 0).mean()
