"""What the tests of looks share: the small scene, with other looks in it."""

from collections.abc import Callable
from pathlib import Path

import pytest

from preview.scene.model import Scene
from preview.scene.read import read_scene

SceneWith = Callable[[str], Scene]


@pytest.fixture
def scene_with(tmp_path: Path, one_shelf: str) -> SceneWith:
    """A function that reads the small scene with these looks and steps in place of its own."""
    plan = one_shelf.split("[[look]]")[0]

    def read(looks: str) -> Scene:
        (tmp_path / "scene.toml").write_text(plan + looks, encoding="utf-8")
        return read_scene(tmp_path / "scene.toml")

    return read
