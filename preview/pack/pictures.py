"""The client's pictures: the room before and after, and one moment of each look, as JPEG.

Before and after are one view under one exposure, so that the difference between them is the plan's doing. The moment of a look is the
one of twelve, even over its length, at which it gives most light.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import imageio.v3 as iio

from preview.handover.batch import clip_names
from preview.handover.frames import Film, film_of, stage_of
from preview.handover.video import Picture
from preview.looks.library import client_looks
from preview.looks.moments import twelve_moments
from preview.scene.model import Scene

__all__ = ["AFTER", "BEFORE", "Shown", "still_size", "write_pictures"]

BEFORE, AFTER = "room-before.jpg", "room-after.jpg"

_WIDE_PX = 1280
_QUALITY = 90


@dataclass(frozen=True)
class Shown:
    """One look for the page: its name, what one sees, its length, and its picture's file name."""

    name: str
    says: str
    seconds: float
    picture: str
    still: bool  # whether it stands still


def still_size(clip_size: tuple[int, int]) -> tuple[int, int]:
    """Width and height of the pictures: as the clips are shaped, and not coarser than they are.

    >>> still_size((640, 360)), still_size((360, 640)), still_size((1920, 1080))
    ((1280, 720), (720, 1280), (1920, 1080))
    """
    width, height = clip_size
    scale = max(1.0, _WIDE_PX / max(width, height))
    return round(width * scale), round(height * scale)


def write_pictures(
    scene: Scene, folder: Path, clip_size: tuple[int, int], done: Callable[[float], None]
) -> tuple[tuple[Shown, ...], Sequence[str]]:
    """Write the pictures of what a client is shown into a folder that is there; gives these looks, and what the renderer says of them."""
    stage = stage_of(scene, still_size(clip_size), lambda share: done(0.5 * share))
    looks = client_looks(scene)
    shown = []
    for number, (look, name) in enumerate(zip(looks, clip_names(looks, ".jpg"), strict=True)):
        film = film_of(stage, look, seamless=False)
        picture = film.picture(_brightest_s(film))
        file = f"look-{name}"
        _save(folder / file, picture)
        if number == 0:
            _save(folder / BEFORE, film.unlit())
            _save(folder / AFTER, picture)
        shown.append(Shown(look.name, film.ready.effect.says, look.seconds, file, film.ready.period_s == 0))
        done(0.5 + 0.5 * (number + 1) / len(looks))
    return tuple(shown), stage.renderer.notes


def _brightest_s(film: Film) -> float:
    times = twelve_moments(film.ready)
    return float(times[int(film.group_xyz(times)[..., 1].sum(axis=1).argmax())])


def _save(path: Path, picture: Picture) -> None:
    with path.open("wb") as file:
        iio.imwrite(file, picture, plugin="pillow", extension=".jpg", quality=_QUALITY, subsampling=0, optimize=True)
