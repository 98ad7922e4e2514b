"""The guide says what is there: every effect under its mood, everything that the kit has, and an example that runs."""

import re
from pathlib import Path

import numpy as np
import pytest

import effects
from effects import kit
from preview.looks.library import load_script

GUIDE = (Path(effects.__file__).parent / "README.md").read_text(encoding="utf-8")


def test_every_effect_stands_under_its_mood() -> None:
    told = {
        name: mood.strip()
        for mood, names in re.findall(r"^\| ([a-z ]+) \| ((?:`\w+`[ :|])+)", GUIDE, re.MULTILINE)
        for name in re.findall(r"`(\w+)`", names)
    }
    assert told == {name: effects.load(name).mood for name in effects.names()}


@pytest.mark.parametrize("name", [name for name in kit.__all__ if name[0].islower() and name != "locus_uv"])
def test_the_kit_is_in_the_guide(name: str) -> None:
    assert re.search(rf"\b{name}\b", GUIDE)


def test_the_example_runs(tmp_path: Path) -> None:
    found = re.search(r"```python\n(.*?)```", GUIDE, re.DOTALL)
    assert found
    (tmp_path / "swells.py").write_text(found[1], encoding="utf-8")
    effect = load_script(tmp_path / "swells.py")
    light = effect.light(kit.Place.straight(2.0, 0.05), np.array([0.0, 3.0]), effect.defaults(), 0)
    assert light.shape == (2, 40, 3)
    assert 0 <= light.min() < light.max() <= 1


def test_its_pictures_are_there() -> None:
    named = re.findall(r"\]\((pictures/[^)]+)\)", GUIDE)
    assert len(named) >= 3
    for name in named:
        assert (Path(effects.__file__).parent / name).is_file()
