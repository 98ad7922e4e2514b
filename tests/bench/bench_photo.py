"""How much longer a picture on a photo takes than one of the drawn room, and what reading the photo costs.

Run as `python tests/bench/bench_photo.py`. Ratios of medians in one run, so that a busy machine slows both sides alike.
"""

import statistics
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from preview.light.colour import group_xyz
from preview.light.lit_photo import PhotoRenderer
from preview.light.photo import load_photo
from preview.light.picture import Renderer
from preview.scene.layout import lay_out
from preview.scene.read import find_scene, read_scene

SIZE = (1280, 720)
ROUNDS = 25


def together(*works: Callable[[], object]) -> list[float]:
    """Median seconds of each work, done in turn."""
    taken: list[list[float]] = [[] for _ in works]
    for _ in range(ROUNDS):
        for work, times in zip(works, taken, strict=True):
            begin = time.perf_counter()
            work()
            times.append(time.perf_counter() - begin)
    return [statistics.median(times) for times in taken]


def main() -> None:
    """Print the ratios."""
    scene = read_scene(find_scene("sitting_room"))
    assert scene.photo is not None
    layout = lay_out(scene)
    drawn, photo = Renderer(scene, layout, SIZE), PhotoRenderer(scene, layout, SIZE)
    light = group_xyz(layout, np.full((layout.groups, 3), 180.0))
    exposure = drawn.exposure(light)
    out = np.empty((SIZE[1], SIZE[0], 3), np.uint8)
    floor, on_photo = together(
        lambda: drawn.picture(light, exposure, None, out), lambda: photo.picture(light, exposure, None, out)
    )
    print(
        f"picture {SIZE[0]}x{SIZE[1]}, {layout.groups} groups: on the photo {on_photo / floor:.2f} times the drawn room"
    )
    folder = Path(scene.folder)
    begin = time.perf_counter()
    PhotoRenderer(scene, layout, SIZE)
    again = time.perf_counter() - begin
    begin = time.perf_counter()
    load_photo(scene.photo.file, folder)
    print(
        f"laying out a known room: {again / floor:.0f} pictures; the photo, read before: {(time.perf_counter() - begin) / floor:.3f}"
    )


if __name__ == "__main__":
    main()
