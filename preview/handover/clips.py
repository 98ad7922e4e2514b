"""A film to a file: the ending of the target chooses what is written. Everything is checked before the first picture is worked out."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from preview.handover.caption import captioned
from preview.handover.frames import Film, Progress
from preview.handover.gif import FASTEST, write_gif
from preview.handover.palette import Bytes
from preview.handover.stills import write_frames, write_png
from preview.handover.video import Picture, write_mp4, write_webp
from preview.scene.faults import CovecastError, nearest

__all__ = ["ENDINGS", "ClipError", "Target", "target_of", "write_clip", "write_still"]

ENDINGS = (".gif", ".mp4", ".webp", ".png")
"""What a target's name may end in; a folder ends in a slash."""

SMALLEST_PX, LARGEST_PX = 16, 4096
SLOWEST, FASTEST_VIDEO = 1.0, 120.0

_SAMPLES = 12
_SAMPLE_PIXELS = 60_000


class ClipError(CovecastError):
    """What was asked for cannot be written."""


@dataclass(frozen=True)
class Target:
    """Where to write and what: `kind` is an ending, or "folder"."""

    path: Path
    kind: str


def target_of(text: str, size: tuple[int, int], frames_per_s: float) -> Target:
    """The target that `text` names, checked against size (width, height) and rate; the error lists everything wrong."""
    wrong = []
    path = Path(text)
    if text.endswith(("/", "\\")):
        kind = "folder"
    else:
        kind = path.suffix.lower()
        if path.is_dir():
            wrong.append(f"expected a file, found a folder (for numbered pictures end its name with a slash: {text}/)")
        elif kind not in ENDINGS:
            near = nearest(kind, ENDINGS)
            hint = f" (did you mean {near}?)" if near else ""
            found = kind or "none"
            wrong.append(
                f"expected the ending {', '.join(ENDINGS)} or a folder with a trailing slash, found {found}{hint}"
            )
    width, height = size
    for side, pixels in (("width", width), ("height", height)):
        if not SMALLEST_PX <= pixels <= LARGEST_PX:
            wrong.append(f"--size: expected a {side} of {SMALLEST_PX} to {LARGEST_PX} pixels, found {pixels}")
    if kind == ".mp4" and (width % 2 or height % 2):
        even = f"{width + width % 2}x{height + height % 2}"
        wrong.append(f"--size: expected even sides, as MP4 needs them, found {width}x{height} (nearest: {even})")
    fastest = FASTEST if kind == ".gif" else FASTEST_VIDEO
    if not SLOWEST <= frames_per_s <= fastest:
        why = ", beyond which browsers slow a GIF down" if kind == ".gif" and frames_per_s > fastest else ""
        wrong.append(f"--fps: expected {SLOWEST:g} to {fastest:g} pictures a second{why}, found {frames_per_s:g}")
    if wrong:
        raise ClipError("\n".join(f"{text}: {fault}" for fault in wrong))
    return Target(path, kind)


def _samples(film: Film, dress: Callable[[Iterable[Picture]], Iterable[Picture]]) -> Bytes:
    """Pixels (n, 3) from moments spread over the clip, for its palette."""
    times = film.times
    some = np.unique(np.linspace(0, times.size - 1, min(times.size, _SAMPLES)).round().astype(int))
    width, height = film.stage.size
    step = max(1, round((width * height * some.size / _SAMPLE_PIXELS) ** 0.5))
    pictures = dress(film.picture(float(times[k])) for k in some)
    found = [picture[k % step :: step, k % step :: step].reshape(-1, 3) for k, picture in enumerate(pictures)]
    return np.concatenate(found)


def write_clip(
    film: Film,
    target: Target,
    lines: Sequence[str] = (),
    comment: str | None = None,
    progress: Progress | None = None,
) -> None:
    """Write a film. `lines` are written into the pictures, `comment` into the file's metadata.

    The target is there whole when this returns, and untouched when it raises.
    """
    size, rate = film.stage.size, film.frames_per_s

    def dress(pictures: Iterable[Picture]) -> Iterable[Picture]:
        return captioned(pictures, lines, size)

    pictures = dress(film.pictures(progress))
    if target.kind == ".gif":
        write_gif(target.path, pictures, size, rate, film.frames, _samples(film, dress), comment)
    elif target.kind == ".mp4":
        write_mp4(target.path, pictures, size, rate, comment)
    elif target.kind == ".webp":
        write_webp(target.path, pictures, size, rate, comment)
    elif target.kind == "folder":
        write_frames(target.path, pictures, comment)
    else:
        raise ClipError(f"{target.path}: expected a moment for a single picture, found a clip")


def write_still(film: Film, at_s: float, target: Path, lines: Sequence[str] = (), comment: str | None = None) -> None:
    """Write the picture of one moment of a film as PNG."""
    for picture in captioned([film.picture(at_s)], lines, film.stage.size):
        write_png(target, picture, comment)
