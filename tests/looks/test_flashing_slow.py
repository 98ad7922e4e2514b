"""Never fewer flashes than the definition counts: pixel by pixel in plain Python, over discs of 10° all over the picture.

Random rectangles of random greys and reds that come and go at random rates. The slow count leaves a tenth of area as a margin, for what
cells of 0.42° can be wrong by.
"""

import colour
import numpy as np
import pytest
from numpy.typing import NDArray

from preview.looks.flashing import flashes_of

Pixels = NDArray[np.uint8]
HIGH, WIDE, FIELD_DEG, FPS, FRAMES = 16, 24, 60.0, 12, 36


def video(seed: int) -> list[Pixels]:
    rng = np.random.default_rng(seed)
    ground = rng.integers(1, 60)
    frames = [np.full((HIGH, WIDE, 3), ground, dtype=np.uint8) for _ in range(FRAMES)]
    for _ in range(rng.integers(2, 9)):
        y, x = rng.integers(0, HIGH - 1), rng.integers(0, WIDE - 1)
        high, wide = rng.integers(1, 7, 2)
        red = rng.uniform() < 0.5
        on = np.array([rng.integers(120, 256)] + [rng.integers(0, 40) if red else rng.integers(120, 256)] * 2)
        rate, phase = rng.uniform(0.5, 5.0), rng.uniform()
        for k, frame in enumerate(frames):
            if (rate * k / FPS + phase) % 1 < 0.5:
                frame[y : y + high, x : x + wide] = on
    return frames


def rays() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Directions (pixels, 3) and solid angles (pixels,): a pixel of side s at distance 1 takes s²·cos³."""
    half = np.tan(np.radians(FIELD_DEG / 2))
    side = 2 * half / WIDE
    x, y = np.meshgrid((np.arange(WIDE) - WIDE / 2 + 0.5) * side, (np.arange(HIGH) - HIGH / 2 + 0.5) * side)
    ray = np.stack([x, y, np.ones_like(x)], axis=-1).reshape(-1, 3)
    length = np.linalg.norm(ray, axis=1)
    return ray / length[:, None], side**2 / length**3


def general_changes(series: NDArray[np.float64]) -> list[int]:
    """Frames at which one pixel has made another change of 0.1 of luminance, the darker state below 0.80."""
    found: list[int] = []
    way, low, high = 0, series[0], series[0]
    for frame, now in enumerate(series):
        low, high = min(low, now), max(high, now)
        if way >= 0 and high - now >= 0.1 and now < 0.8:
            way = -1
        elif way <= 0 and now - low >= 0.1 and low < 0.8:
            way = 1
        else:
            continue
        found.append(frame)
        low = high = now
    return found


def red_changes(rgb: NDArray[np.float64]) -> list[int]:
    """Frames at which one pixel has come to, or left, a saturated red that is more than 0.2 away in u'v'."""
    found: list[int] = []
    uv = colour.xy_to_Luv_uv(colour.XYZ_to_xy(colour.RGB_to_XYZ(rgb, "sRGB")))
    saturated = rgb[:, 0] >= 0.8 * rgb.sum(axis=1)
    last = 0
    for frame in range(1, len(rgb)):
        if (saturated[frame] != saturated[last]) and np.hypot(*(uv[frame] - uv[last])) > 0.2:
            found.append(frame)
            last = frame
    return found


def slow_count(changes: list[list[int]]) -> float:
    """Most flashes in a second of more than the area of any disc of 10°."""
    direction, solid_sr = rays()
    worst = 0.0
    discs = [direction @ centre > np.cos(np.radians(5.0)) for centre in direction]
    for start in range(FRAMES - FPS + 1):
        counts = np.array([sum(start <= frame < start + FPS for frame in frames) for frames in changes])
        for number in range(int(2 * worst) + 1, int(counts.max()) + 1):
            if any(solid_sr[disc & (counts >= number)].sum() > 1.1 * 0.006 for disc in discs):
                worst = number / 2
    return worst


@pytest.mark.parametrize("seed", range(8))
def test_never_fewer_than_the_definition_counts(seed: int) -> None:
    frames = video(seed)
    linear = colour.cctf_decoding(np.stack(frames).reshape(FRAMES, -1, 3) / 255, function="sRGB")
    luminance = linear @ np.array([0.2126, 0.7152, 0.0722])
    general = slow_count([general_changes(series) for series in luminance.T])
    red = slow_count([red_changes(rgb) for rgb in linear.transpose(1, 0, 2)])
    found = flashes_of(iter(frames), FPS, FIELD_DEG, loops=False)
    assert found.general_per_s >= general
    assert found.red_per_s >= red
    # Nor many more: the field as a whole can only add what its rectangles do in turn.
    assert found.general_per_s <= general + 1.5
