"""The window's speed: pictures a second, and what each part takes as a share of the room's picture, in the same run.

    python tests/bench/bench_window.py [SCENE] [LOOK] [--size WxH] [--pictures N]

Needs Xvfb, unless DISPLAY is set. The window runs twice: as fast as it can, for the shares; then played, for how evenly pictures
come. What is played comes at the rate at which the strips get new data, and no oftener.
"""

from __future__ import annotations

import argparse
import os
import resource
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))


@contextmanager
def screen() -> Iterator[None]:
    """A display: the one that there is, or one of Xvfb's."""
    if os.environ.get("DISPLAY"):
        yield
        return
    if shutil.which("Xvfb") is None:
        sys.exit("bench_window: neither DISPLAY nor Xvfb is there")
    read, write = os.pipe()
    words = ["Xvfb", "-displayfd", str(write), "-screen", "0", "3840x2160x24", "-noreset", "-nolisten", "tcp"]
    server = subprocess.Popen(words, pass_fds=[write], stderr=subprocess.DEVNULL)
    os.close(write)
    with os.fdopen(read) as lines:
        os.environ["DISPLAY"] = f":{lines.readline().strip()}"
    try:
        yield
    finally:
        server.terminate()
        server.wait()


def memory_mb() -> float:
    """Resident memory of this process now."""
    pages = int(Path("/proc/self/statm").read_text().split()[1]) if Path("/proc/self/statm").exists() else 0
    return pages * resource.getpagesize() / 1e6


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("scene", nargs="?", default="tea_bar")
    parser.add_argument("look", nargs="?", default="running water")
    parser.add_argument("--size", default="1280x720")
    parser.add_argument("--pictures", type=int, default=300)
    given = parser.parse_args()
    size = tuple(int(side) for side in given.size.split("x"))
    with screen():
        began = time.perf_counter()
        import numpy as np

        from preview.commands.options import load
        from preview.looks.drives import find_look
        from preview.looks.library import looks_of
        from preview.window.app import Window
        from preview.window.display import open_display
        from preview.window.figures import open_plan
        from preview.window.model import Session

        scene = load(given.scene)
        look = looks_of(scene).index(find_look(scene, given.look))
        open_display(given.scene)

        def window() -> Window:
            return Window(open_plan(scene), Session.of(scene, look), (size[0], size[1]))

        one = window()
        opened = time.perf_counter() - began
        one.run(frames=given.pictures)
        found = one.report()
        picture = found["picture_ms"]
        groups = one.desk.plan.layout.groups
        print(f"{given.scene}, {groups} groups, {given.size}: the window is there after {opened:.2f} s")
        print(f"as fast as it can: {found['pictures_per_s']:.1f} pictures/s; the room's picture {picture:.1f} ms")
        print("each part, over the room's picture:")
        for part in ("figures", "room", "ledge", "flip"):
            print(f"  {part:<8} {found[f'{part}_ms'] / picture:.3f}   ({found[f'{part}_ms']:.2f} ms)")

        played = window()
        start_mb: list[float] = []
        draw = played._draw

        def drawn() -> None:
            draw()
            if played.canvas.pictures == 30 and not start_mb:
                start_mb.append(memory_mb())
            if played.canvas.pictures >= given.pictures:
                played.desk.closing = True

        played._draw = drawn  # type: ignore[method-assign]
        played.run()
        gaps = np.diff(played.timing.pictures_s)[10:]
        due = 1 / scene.assume.data_frames_per_s
        print(
            f"played: {1 / gaps.mean():.1f} pictures/s of {1 / due:.0f}; from one to the next, over what it should be: "
            f"half of them within {np.percentile(np.abs(gaps / due - 1), 50):.2f}, "
            f"nineteen of twenty within {np.percentile(np.abs(gaps / due - 1), 95):.2f}"
        )
        import pygame

        pygame.quit()
        print(f"memory {memory_mb():.0f} MB, {memory_mb() - start_mb[0]:+.1f} MB over {given.pictures - 30} pictures")


if __name__ == "__main__":
    main()
