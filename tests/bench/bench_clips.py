"""How fast and how well clips are written: `python tests/bench/bench_clips.py [--quick]`.

1. GIF of the same pictures by `ffmpeg` palettegen + paletteuse with Floyd-Steinberg dither, and by covecast, in turns: seconds, processor
   seconds of all processes together, bytes, signal to noise, contours.
   A contour is a visible edge in the error: the decoded picture minus the original in CIELAB, smoothed by a Gaussian of 2 pixels as the eye
   does, counted where it changes by more than 1 ΔE*ab, about the least that is seen, over 2 pixels; in pixels in a thousand.
   Pictures: looks of the tea bar at 640 × 360, and one where the view pans too, so that nearly every pixel moves.
2. Clips of the tea bar at 640 × 360, 25 a second, drawn, metered and written: seconds of clip in a second.
3. Peak memory for a short and a long clip.

With `--quick` one look alone and no memory. The machine may be busy with other things: the least of three turns counts, and processor
seconds say how much work it is. ffmpeg keeps about one core busy and covecast up to two: with fewer cores free than that, times compare as
the work does. On Linux, `chrt -f 5 python tests/bench/bench_clips.py` as root goes before everything else meanwhile.
"""

import itertools
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command does, before numpy is there

import cv2
import imageio_ffmpeg
import numpy as np

from preview.handover.clips import Target, Wish, film_as, write_look
from preview.handover.frames import Stage, stage_of
from preview.handover.gif import encode_gif
from preview.looks.drives import drive_blocks, find_look
from preview.looks.library import effect_names, look_faults
from preview.power.meter import meter_frames
from preview.scene.model import Look
from preview.scene.read import find_scene, read_scene

FFMPEG = imageio_ffmpeg.get_ffmpeg_exe()
SIZE, RATE, FRAMES = (640, 360), 25.0, 120
MOVING = Look(name="loom", effect="loom", seconds=12, level=1.0)


def seconds_of(work: Callable[[], object]) -> tuple[float, float]:
    """Wall seconds and processor seconds, this process and its children, of the best of three turns."""
    best = []
    for _ in range(3):
        before, start = os.times(), time.perf_counter()
        work()
        wall, after = time.perf_counter() - start, os.times()
        best.append((wall, sum(after[:4]) - sum(before[:4])))
    return min(w for w, _ in best), min(c for _, c in best)


def decoded(path: Path) -> np.ndarray:
    command = [
        FFMPEG,
        "-v",
        "error",
        "-i",
        str(path),
        "-fps_mode",
        "passthrough",
        "-f",
        "rawvideo",
        "-pix_fmt",
        "rgb24",
    ]
    raw = subprocess.run([*command, "-"], capture_output=True, check=True).stdout
    return np.frombuffer(raw, np.uint8).reshape(-1, SIZE[1], SIZE[0], 3)


def contours(original: np.ndarray, back: np.ndarray) -> float:
    """Pixels in a thousand where the smoothed error has a visible edge, over every tenth picture."""
    shares = []
    for a, b in zip(original[::10], back[::10], strict=True):
        lab = [cv2.cvtColor(np.float32(p) / 255, cv2.COLOR_RGB2Lab) for p in (a, b)]
        error = cv2.GaussianBlur(lab[1] - lab[0], (0, 0), 2.0)
        across = np.linalg.norm(error[1:-1, 2:] - error[1:-1, :-2], axis=2)
        down = np.linalg.norm(error[2:, 1:-1] - error[:-2, 1:-1], axis=2)
        shares.append((np.maximum(across, down) > 1.0).mean())
    return 1000 * float(np.mean(shares))


def psnr(original: np.ndarray, back: np.ndarray) -> float:
    return float(10 * np.log10(255**2 / np.mean((original[::10].astype(float) - back[::10]) ** 2)))


def by_ffmpeg(pictures: np.ndarray, path: Path) -> None:
    source = ["-f", "rawvideo", "-pix_fmt", "rgb24", "-s", f"{SIZE[0]}x{SIZE[1]}", "-r", f"{RATE}", "-i", "-"]
    graph = "split[a][b];[a]palettegen[p];[b][p]paletteuse=dither=floyd_steinberg"
    command = [FFMPEG, "-v", "error", "-y", *source, "-lavfi", graph, "-loop", "0", str(path)]
    with subprocess.Popen(command, stdin=subprocess.PIPE) as process:
        assert process.stdin is not None
        process.stdin.write(pictures)
    assert process.returncode == 0


def by_covecast(pictures: np.ndarray, path: Path) -> None:
    some = pictures[:: max(1, len(pictures) // 12)]
    samples = np.concatenate([p[k % 7 :: 7, k % 7 :: 7].reshape(-1, 3) for k, p in enumerate(some)])
    encode_gif(path, pictures, SIZE, RATE, len(pictures), samples)


def panned(stage: Stage, look: Look) -> np.ndarray:
    """The look from a wider picture, of which a window is shown that moves on by a pixel."""
    wide = stage_of(stage.scene, (SIZE[0] + FRAMES, SIZE[1]))
    film = film_as(wide, look, Wish(wide.size, RATE, FRAMES / RATE))
    return np.stack([picture[:, k : k + SIZE[0]] for k, picture in enumerate(film.pictures())])


def compare_gif(stage: Stage, look: Look, folder: Path, pan: bool = False) -> None:
    film = film_as(stage, look, Wish(SIZE, RATE, FRAMES / RATE))
    pictures = panned(stage, look) if pan else np.stack(list(film.pictures()))
    moved = np.mean([(a != b).any(axis=2).mean() for a, b in itertools.pairwise(pictures)])
    ways = {"ffmpeg": by_ffmpeg, "covecast": by_covecast}
    found = {}
    for name, way in ways.items():
        path = folder / f"{name}.gif"
        wall, cpu = seconds_of(lambda way=way, path=path: way(pictures, path))
        back = decoded(path)
        found[name] = (wall, cpu, path.stat().st_size, psnr(pictures, back), contours(pictures, back))
    theirs, ours = found["ffmpeg"], found["covecast"]
    print(
        f"\n{look.name}{', panned' if pan else ''}: {len(pictures)} pictures, {100 * moved:.0f} % of the pixels change each time"
    )
    for name, (wall, cpu, size, noise, edges) in found.items():
        print(
            f"  {name:9} {wall:6.2f} s  {cpu:6.2f} processor s  {size / 1e6:5.2f} MB  {noise:4.1f} dB  contours {edges:5.1f}"
        )
    print(
        f"  {theirs[0] / ours[0]:.1f} times faster, {theirs[1] / ours[1]:.1f} times less work, {ours[2] / theirs[2]:.2f} of the "
        f"bytes, {ours[4] / max(theirs[4], 1e-9):.2f} of the contours"
    )


def whole(stage: Stage, name: str, ending: str, folder: Path) -> None:
    scene = stage.scene
    look = find_look(scene, name)

    def work() -> None:
        write_look(stage, look, Target(folder / f"a{ending}", ending), Wish(SIZE, RATE))
        rate = scene.assume.data_frames_per_s
        blocks = drive_blocks(scene, stage.layout, look)
        meter_frames(
            scene, stage.layout, stage.network, blocks, rate, name=look.name, effect=look.effect, level=look.level
        )

    wall, cpu = seconds_of(work)
    print(
        f"  {name:14} {ending:5} {look.seconds:4g} s of clip in {wall:5.2f} s: {look.seconds / wall:.1f} times real time; "
        f"{cpu:.2f} processor s, {look.seconds / cpu:.2f} times real time a core"
    )


PEAK = """
import sys
from pathlib import Path
from preview.cli import main
try:
    main()
finally:  # the peak of this program alone: what getrusage says is also that of the process that started it
    print(Path("/proc/self/status").read_text().split("VmHWM:")[1].split()[0])
"""


def memory() -> None:
    for seconds in (1, 30):
        with tempfile.TemporaryDirectory() as folder:
            words = ["clip", "tea_bar", f"{folder}/a.gif", "--look", "opening hour", "--seconds", f"{seconds}"]
            done = subprocess.run([sys.executable, "-c", PEAK, *words], capture_output=True, text=True, check=True)
        print(f"  {seconds:3} s of clip: peak {int(done.stdout.split()[-1]) / 1024:.0f} MB")


def main() -> None:
    scene = read_scene(find_scene("tea_bar"), effect_names(), look_faults)
    start = time.perf_counter()
    stage = stage_of(scene, SIZE)
    print(
        f"room opened in {time.perf_counter() - start:.1f} s; load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores"
    )
    quick = "--quick" in sys.argv
    names = [] if quick else ["running water", "last train"]
    with tempfile.TemporaryDirectory() as held:
        folder = Path(held)
        print("\nGIF, the same pictures, against ffmpeg palettegen + paletteuse, Floyd-Steinberg:")
        for look in [MOVING, *(find_look(scene, name) for name in names)]:
            compare_gif(stage, look, folder, pan=look is MOVING)
        print("\nDrawn, metered and written:")
        for ending in (".gif", ".mp4", ".webp"):
            whole(stage, "running water", ending, folder)
    if quick:
        return
    print("\nMemory:")
    memory()


if __name__ == "__main__":
    main()
