"""Ten clips judged by us and by a general analyser of video for photosensitive risk, from the Python package index.

Its verdicts are in tests/reference/flash_verdicts.csv; where `iris-pse-detection` is installed (it reads any video), it is
asked anew. It fails a clip with more than six changes in a second, over a quarter of the whole picture; its red is the definition's older
form. Clips are drawn so that this is what the definition asks of them too: in whole pictures, or far from the limit of area.
"""

import csv
import functools
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from preview.handover.frames import film_of, stage_of
from preview.looks.flashing import flashes_of
from preview.scene.model import Look
from preview.scene.read import read_scene

Pixels = NDArray[np.uint8]
ROOT = Path(__file__).parents[2]
VERDICTS = ROOT / "tests" / "reference" / "flash_verdicts.csv"
FPS, SECONDS, HIGH, WIDE = 25, 4, 90, 160


def times() -> Iterator[float]:
    return (k / FPS for k in range(FPS * SECONDS))


def plain(*parts: float) -> Pixels:
    return np.broadcast_to(np.array(parts).round().astype(np.uint8), (HIGH, WIDE, 3))


def square(hertz: float, a: tuple[int, ...], b: tuple[int, ...]) -> Callable[[], Iterator[Pixels]]:
    return lambda: (plain(*(a if (t * hertz + 1e-9) % 1 < 0.5 else b)) for t in times())


def sine(hertz: float, low: float, high: float) -> Callable[[], Iterator[Pixels]]:
    return lambda: (plain(*[low + (high - low) * (0.5 - 0.5 * np.cos(2 * np.pi * hertz * t))] * 3) for t in times())


def left_half() -> Iterator[Pixels]:
    for t in times():
        picture = plain(40, 40, 40).copy()
        picture[:, : WIDE // 2] = 255 if (5 * t) % 1 < 0.5 else 0
        yield picture


def small_lights() -> Iterator[Pixels]:
    """Small lights in the dark, each on for half of every second or so, none with its neighbour."""
    rng = np.random.default_rng(6)
    rate, phase = rng.uniform(0.6, 1.1, 60), rng.uniform(0, 1, 60)
    x, y = rng.integers(0, WIDE - 3, 60), rng.integers(0, HIGH - 3, 60)
    for t in times():
        picture = plain(20, 20, 30).copy()
        for k in range(60):
            if (rate[k] * t + phase[k]) % 1 < 0.5:
                picture[y[k] : y[k] + 3, x[k] : x[k] + 3] = (255, 220, 160)
        yield picture


def look(effect: str, scene: str) -> Callable[[], Iterator[Pixels]]:
    @functools.cache
    def pictures() -> tuple[Pixels, ...]:
        stage = stage_of(read_scene(ROOT / "scenes" / scene / "scene.toml"), (WIDE, HIGH))
        film = film_of(stage, Look(name="x", effect=effect, seconds=SECONDS), frames_per_s=FPS)
        return tuple(film.pictures())

    return lambda: iter(pictures())


CLIPS: dict[str, Callable[[], Iterator[Pixels]]] = {
    "white and black, 3 Hz": square(3, (255, 255, 255), (0, 0, 0)),
    "white and black, 4 Hz": square(4, (255, 255, 255), (0, 0, 0)),
    "two greys 8 % apart, 8 Hz": square(8, (188, 188, 188), (174, 174, 174)),
    "two bright greys, 8 Hz": square(8, (255, 255, 255), (236, 236, 236)),
    "red and dark grey, 5 Hz": square(5, (255, 0, 0), (60, 60, 60)),
    "red and dark grey, 2 Hz": square(2, (255, 0, 0), (60, 60, 60)),
    "a breath, 1 Hz": sine(1, 10, 240),
    "a throb, 5 Hz": sine(5, 10, 240),
    "the left half, 5 Hz": left_half,
    "small lights": small_lights,
    "swallows in the reading corner": look("swallows", "reading_corner"),
    "tin_roof in the gallery": look("tin_roof", "gallery_hall"),
}


def recorded() -> dict[str, tuple[bool, bool]]:
    with VERDICTS.open(encoding="utf-8", newline="") as file:
        return {row["clip"]: (row["general"] == "fails", row["red"] == "fails") for row in csv.DictReader(file)}


def ours(frames: Iterator[Pixels]) -> tuple[bool, bool]:
    found = flashes_of(frames, FPS, 60)
    return found.general_per_s > 3, found.red_per_s > 3


def theirs(frames: Iterator[Pixels]) -> tuple[bool, bool]:
    """General and red, whether it fails."""
    iris = pytest.importorskip("iris_pse_detection", reason="pip install --no-deps iris-pse-detection")
    from iris_pse_detection.flash_detection import FlashDetection

    detection = FlashDetection(FPS, (HIGH, WIDE), iris.Configuration())
    for number, frame in enumerate(frames):
        detection.set_current_frame(np.ascontiguousarray(frame[:, :, ::-1]))
        detection.analyse_frame(number)
    results = detection.transition_tracker
    return bool(results.luminance_results.flash_fail), bool(results.red_results.flash_fail)


def test_there_are_ten_and_both_verdicts_among_them() -> None:
    assert set(recorded()) == set(CLIPS)
    assert len(CLIPS) >= 10
    assert 3 <= sum(any(verdict) for verdict in recorded().values()) <= 9


@pytest.mark.parametrize("clip", CLIPS)
def test_the_same_verdict_as_recorded(clip: str) -> None:
    assert ours(CLIPS[clip]()) == recorded()[clip]


@pytest.mark.parametrize("clip", CLIPS)
def test_the_record_is_what_it_says(clip: str) -> None:
    assert theirs(CLIPS[clip]()) == recorded()[clip]
