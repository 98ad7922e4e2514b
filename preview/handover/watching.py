"""The flashes of every look of a scene, and of its programme: in the drawn room, from the viewer's eye, as they loop.

What a look's flashes come to is kept in the user's cache folder, under a hash of all they depend on: the plan but for its words, limits
and other looks, the effect's script, and the text of the packages that work them out.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import astuple, replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

import effects
import preview
from preview.handover.frames import Film, film_of, stage_of
from preview.handover.glance import Glance
from preview.light import cache as kept
from preview.looks.flashing import Flashes, flashes_in
from preview.looks.library import PROGRAMME, find_effect, looks_of
from preview.looks.programme import join_times
from preview.scene.model import Look, Scene

__all__ = ["EYES_FPS", "EYES_SIZE", "scene_flashes"]

EYES_SIZE = (256, 144)
"""Pixels of the pictures that flashes are counted in: finer than the 0.4° at which they are looked at, for fields up to 100°."""

EYES_FPS = 30.0
"""Most pictures a second that they are counted in."""

_STAGE, _GLANCE = 0.1, 0.4
"""Part of the whole time after which the room is lit, and each group is known, roughly."""

_WORDS = {"title", "note", "photo", "limits", "money", "look", "programme"}
"""Tables and keys of a scene that the drawn pictures of a look do not depend on."""

_MADE_BY = ("scene/*", "power/*", "light/*", "looks/*", "handover/frames", "handover/glance", "handover/watching")


def scene_flashes(scene: Scene, progress: Callable[[float], None]) -> list[tuple[str, Flashes]]:
    """Name and flashes of every look, the programme last: of that the joins alone, as within its steps it is as its looks are.

    `progress` is called with the share done. Raises CovecastError where an effect fails.
    """
    drawn = scene.model_copy(update={"photo": None})  # a photo has another field, and may have bars beside it
    rate = min(EYES_FPS, scene.assume.data_frames_per_s)
    looks = looks_of(drawn)
    keys = [_key(drawn, look, rate) for look in looks]
    found = [_recall(key) for key in keys]
    new = [number for number, flashes in enumerate(found) if flashes is None]
    if new:
        stage = stage_of(drawn, EYES_SIZE, lambda share: progress(_STAGE * share))
        films = [film_of(stage, looks[number], frames_per_s=rate) for number in new]
        films = [film if film.ready.period_s != 0 else _still(film) for film in films]
        frames = sum(film.frames for film in films)
        glance = Glance(stage, frames, lambda share: progress(_STAGE + (_GLANCE - _STAGE) * share))
        seen = 0
        for number, film in zip(new, films, strict=True):
            look = looks[number]
            joins = look.name == PROGRAMME and look not in scene.look

            def done(frame: int, seen: int = seen) -> None:
                progress(_GLANCE + (1 - _GLANCE) * (seen + frame) / frames)

            one = _joins(drawn, glance, film) if joins else _count(glance, film, done)
            seen += film.frames
            found[number] = one
            kept.save(keys[number], {"flashes": np.array([*astuple(one)[:3], *one.box])})
    return [(look.name, flashes) for look, flashes in zip(looks, found, strict=True) if flashes is not None]


def _still(film: Film) -> Film:
    """The film of a look that stands still: one picture says all."""
    return replace(film, seconds=min(film.seconds, 1 / film.frames_per_s))


def _count(glance: Glance, film: Film, done: Callable[[int], None]) -> Flashes:
    def counted() -> Iterator[NDArray[np.float32]]:
        for number, sample in enumerate(glance.samples(film), start=1):
            yield sample
            done(number)

    return flashes_in(counted(), glance.directions, film.frames_per_s)


def _joins(scene: Scene, glance: Glance, film: Film) -> Flashes:
    """The flashes of a programme where its looks follow on one another."""
    most = Flashes(0.0, 0.0, 0.0, (0.0, 0.0, 1.0, 1.0))
    general = red = 0.0
    for times in join_times(scene, film.frames_per_s):
        one = flashes_in(glance.samples(film, times), glance.directions, film.frames_per_s, loops=False)
        general, red = max(general, one.general_per_s), max(red, one.red_per_s)
        if one.per_s > most.per_s:
            most = replace(one, at_s=float(times[min(round(one.at_s * film.frames_per_s), times.size - 1)]))
    return replace(most, general_per_s=general, red_per_s=red)


def _key(scene: Scene, look: Look, rate: float) -> str:
    """A name for what the flashes of a look depend on."""
    plan = scene.model_dump(mode="json", exclude=_WORDS)
    own: list[Look] = [look]
    if look not in scene.look:
        plan["programme"] = [step.model_dump(mode="json") for step in scene.programme]
        steps = {step.look for step in scene.programme}
        own = [other for other in scene.look if other.name in steps]
    plan["looks"] = [one.model_dump(mode="json", exclude=set() if len(own) > 1 else {"name"}) for one in own]
    digest = hashlib.sha256(_program())
    digest.update(json.dumps([plan, EYES_SIZE, rate], sort_keys=True).encode())
    for name in sorted({one.effect for one in own}):
        digest.update(Path(find_effect(name).file).read_bytes())
    return f"flashes-{digest.hexdigest()[:40]}"


@cache
def _program() -> bytes:
    """A digest of the text of everything that draws and counts."""
    digest = hashlib.sha256(b"covecast flashes 1")
    home, kit = Path(preview.__file__).parent, Path(effects.__file__).parent / "kit"
    for path in [*(file for name in _MADE_BY for file in sorted(home.glob(f"{name}.py"))), *sorted(kit.glob("*.py"))]:
        digest.update(path.read_bytes())
    return digest.digest()


def _recall(key: str) -> Flashes | None:
    arrays: Mapping[str, NDArray[Any]] | None = kept.load(key)
    figures = None if arrays is None else arrays.get("flashes")
    if figures is None or figures.shape != (7,) or not np.isfinite(figures).all():
        return None
    general, red, at_s, *box = (float(value) for value in figures)
    return Flashes(general, red, at_s, (box[0], box[1], box[2], box[3]))
