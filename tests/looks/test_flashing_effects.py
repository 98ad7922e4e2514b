"""No shipped effect flashes more than three times a second in a demo scene, by the pictures that a viewer sees.

Small pictures, short clips, a few settings of each; `python tests/bench/bench_flashing.py survey` looks at many.
"""

from pathlib import Path

import numpy as np
import pytest

import effects
from preview.handover.frames import Stage, film_of, stage_of
from preview.looks.flashing import Flashes, flashes_of
from preview.looks.sheet import strip_frames
from preview.scene.model import Look
from preview.scene.read import read_scene

NAMES = [name for name in effects.names() if effects.load(name).mood != "proof"]
SCENE = Path(__file__).parents[2] / "scenes" / "tea_bar" / "scene.toml"


@pytest.fixture(scope="module")
def stage() -> Stage:
    return stage_of(read_scene(SCENE), (64, 36))


def flashes(stage: Stage, effect: str, seconds: float = 2.0, **dials: float) -> Flashes:
    look = Look(name="x", effect=effect, seconds=seconds, dials=dials)
    return flashes_of(film_of(stage, look, frames_per_s=20).pictures(), 20, stage.scene.viewer.field_deg)


@pytest.mark.parametrize("name", NAMES)
def test_kind_to_the_eyes_at_its_defaults(stage: Stage, name: str) -> None:
    assert flashes(stage, name, seed=len(name)).within(3.0)


# The ends of the dials that make things small and quick, all at once.
HASTY = {
    "bellows": {"breath_s": 2, "run_later_s": 0.7},
    "cloud_shadow": {"wind_m_per_s": 2, "cloud_m": 0.5, "shade": 1, "cover": 0.5},
    "first_light": {"rise_s": 2, "hold_s": 0, "fall_s": 0.5, "spread_m_per_s": 3},
    "frost_creep": {"creep_m_per_s": 2, "seed_m": 0.3, "hold_s": 0, "melt_s": 0.5},
    "gloaming": {"drift_m_per_s": 1, "bank_m": 0.2, "change_s": 1},
    "kiln": {"ember_m": 0.05, "breath_s": 1},
    "lantern_sway": {"apart_m": 0.3, "cord_m": 0.3, "swing_m": 2, "above_m": 0.05},
    "loom": {"speed_m_per_s": 1, "pitch_m": 0.2},
    "millrace": {"speed_m_per_s": 3, "ripple_m": 0.1, "deep": 1},
    "night_train": {"speed_m_per_s": 4, "window_m": 0.3, "windows": 1, "every_s": 1},
    "petal_fall": {"fall_m_per_s": 1, "sway_m": 1, "apart_m": 0.3, "petal_m": 0.3},
    "slow_weather": {"day_s": 20, "weather": 1, "wind_m_per_s": 2},
    "steady": {},
    "stray_cat": {"whim_s": 1.5, "roam_m": 20},
    "swallows": {"birds": 12, "speed_m_per_s": 2, "flock_m": 1, "tail_m": 0.02},
    "switchyard": {"wagons": 8, "shunt_s": 2, "rest_s": 0},
    "tideline": {"wave_s": 3, "beach_m": 12, "sea_m": 0, "foam_m": 2},
    "tin_roof": {"every_s": 0.7, "ring_m_per_s": 2, "ripple_m": 0.1, "sky": 1},
}


def test_every_effect_is_hurried() -> None:
    assert set(HASTY) == set(NAMES)


# In the room those that come nearest to flashing; on a strip that fills the view, below, every one.
@pytest.mark.parametrize("name", ["swallows", "stray_cat", "tin_roof", "night_train", "petal_fall"])
def test_kind_to_the_eyes_when_hurried(stage: Stage, name: str) -> None:
    assert flashes(stage, name, seed=3, **HASTY[name]).within(3.0)


def test_a_flashing_script_is_found_out(stage: Stage) -> None:
    """What the tests above say of a look that does flash: halves that take turns, played four times as fast."""
    film = film_of(
        stage, Look(name="x", effect="proof_swing", seconds=6, dials={"each_s": 0.5, "dark_s": 0}), frames_per_s=20
    )
    times = np.arange(0, 6, 0.25)
    pictures = (film.picture(float(time)) for time in times)
    assert not flashes_of(pictures, 16, stage.scene.viewer.field_deg).within(3.0)


@pytest.mark.parametrize("name", NAMES)
def test_kind_to_the_eyes_where_the_strip_fills_the_view(name: str) -> None:
    effect = effects.load(name)
    assert flashes_of(strip_frames(effect, 8.0, 25.0), 25.0).within(3.0)
    for seed in (1, 2):
        assert flashes_of(strip_frames(effect, 4.0, 25.0, HASTY[name], seed), 25.0).within(3.0)
