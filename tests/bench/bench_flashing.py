"""How long the flash analysis takes a frame, as a multiple of reading the frame once, and a survey of flashes over dials and seeds.

python tests/bench/bench_flashing.py                          time
python tests/bench/bench_flashing.py survey N SCENE [EFFECT…]  N random settings of every effect in a demo scene, or
                                                              on a `strip` that fills the view: the worst of each
python tests/bench/bench_flashing.py looks SCENE              counts without drawing, as `check` does, against counts of drawn
                                                              pictures: that they are the same, and process time for time
"""

from __future__ import annotations

import sys
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from timing import seconds

import effects
from effects.kit import Dial
from preview.handover.frames import film_of, stage_of
from preview.handover.glance import Glance
from preview.handover.watching import EYES_FPS, EYES_SIZE
from preview.looks.flashing import flashes_in, flashes_of
from preview.looks.sheet import strip_frames
from preview.scene.model import Look
from preview.scene.read import find_scene, read_scene

FRAMES = 250


def measure() -> None:
    """Three sizes of picture, each with a still, a slow and a busy one."""
    random = np.random.default_rng(0)
    for high, wide in ((90, 160), (360, 640), (720, 1280)):
        noise = random.integers(0, 255, (10, high, wide, 3), dtype=np.uint8)
        slow = np.stack([np.full((high, wide, 3), value, dtype=np.uint8) for value in range(0, 250, 10)])

        def play(pictures: NDArray[np.uint8]) -> Iterator[NDArray[np.uint8]]:
            for k in range(FRAMES):
                yield pictures[k % len(pictures)]

        for name, pictures in (("still", noise[:1]), ("slow", slow), ("every pixel, every frame", noise)):
            read = seconds(lambda pictures=pictures: [frame.astype(np.float32).sum() for frame in play(pictures)], 2)  # type: ignore[misc]
            taken = seconds(lambda pictures=pictures: flashes_of(play(pictures), 25.0), 2)  # type: ignore[misc]
            print(
                f"{wide:5}×{high:<4} {name:25} {1000 * taken / FRAMES:6.2f} ms a frame, {taken / read:5.2f} of summing it"
            )


def pick(dial: Dial, random: np.random.Generator) -> float:
    """A setting of a dial: its ends and its default as often as all between."""
    chance = random.uniform()
    if chance < 0.5:
        return (dial.low, dial.high, dial.default)[int(chance * 6)]
    if dial.low > 0 and dial.high > 20 * dial.low:
        return float(np.exp(random.uniform(np.log(dial.low), np.log(dial.high))))
    return float(random.uniform(dial.low, dial.high))


def survey(settings: int, scene_name: str, names: list[str]) -> None:
    """The most flashes of each effect, and the settings that gave them."""
    scene = None if scene_name == "strip" else read_scene(find_scene(scene_name))
    stage = stage_of(scene, (96, 54)) if scene else None
    random = np.random.default_rng(1)
    for name in names or [name for name in effects.names() if effects.load(name).mood != "proof"]:
        effect, found = effects.load(name), []
        for number in range(settings):
            dials = {d.name: pick(d, random) for d in effect.dials if d.name != "loop_s"} if number > 2 else {}
            seed = int(random.integers(0, 1000))
            if scene and stage:
                look = Look(name="x", effect=name, seconds=5, dials={**dials, "seed": seed})
                flashes = flashes_of(film_of(stage, look, frames_per_s=25).pictures(), 25, scene.viewer.field_deg)
            else:
                flashes = flashes_of(strip_frames(effect, 5.0, 25.0, dials, seed), 25)
            found.append((flashes.per_s, dials | {"seed": seed}))
        found.sort(key=lambda pair: -pair[0])
        print(f"{name:14} {' '.join(f'{per_s:g}' for per_s, _ in found[:8])}", flush=True)
        if found[0][0] > 2.5:
            print(f"    {found[0][1]}", flush=True)


def looks(scene_name: str) -> None:
    """Every look of a scene counted both ways, and what both take altogether."""
    scene = read_scene(find_scene(scene_name)).model_copy(update={"photo": None})
    stage, rate, field_deg = stage_of(scene, EYES_SIZE), EYES_FPS, scene.viewer.field_deg
    films = [film_of(stage, look, frames_per_s=rate) for look in scene.look]
    glances: list[Glance] = []
    frames = sum(film.frames for film in films)
    ready = seconds(lambda: glances.append(Glance(stage, frames)), 2)
    glance, counts, drawn = glances[-1], [], []
    summed = seconds(lambda: counts.extend(flashes_in(glance.samples(f), glance.directions, rate) for f in films), 2)
    pictured = seconds(lambda: drawn.extend(flashes_of(f.pictures(), rate, field_deg) for f in films), 1)
    for film, one, other in zip(films, counts, drawn, strict=False):
        same = (one.general_per_s, one.red_per_s) == (other.general_per_s, other.red_per_s)
        verdict = "the same" if same else f"DRAWN: {other}"
        print(f"{film.ready.look.name:16} {one.general_per_s:g} general, {one.red_per_s:g} red a second, {verdict}")
    whole = pictured / (ready + summed)
    print(
        f"{frames} frames: drawing and counting takes {whole:.1f} times as long; once each group is known, {pictured / summed:.1f} times"
    )


if __name__ == "__main__":
    if sys.argv[1:2] == ["looks"]:
        looks(sys.argv[2])
    elif sys.argv[1:2] == ["survey"]:
        survey(int(sys.argv[2]), sys.argv[3], sys.argv[4:])
    else:
        measure()
