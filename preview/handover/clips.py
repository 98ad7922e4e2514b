"""A film to a file: the ending of the target chooses what is written. Everything is checked before the first picture is worked out.

All formats are made of the same pictures, drawn in linear light and brought to 8 bits once, with dither. What a file loses beyond that is
said by a `Quality`; a file that must be small is written again with less of it (`preview.handover.mail`), in the same place out of sight.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from preview.handover.ahead import ahead
from preview.handover.caption import captioned
from preview.handover.encoder import EncoderError
from preview.handover.eyes import caution, flash_limit, foot_words, watched
from preview.handover.frames import Film, Progress, Stage, film_of, stage_of
from preview.handover.gif import FASTEST, encode_gif
from preview.handover.mail import FULL, Quality, steps_down
from preview.handover.palette import Bytes
from preview.handover.placing import placing_file
from preview.handover.stills import write_frames, write_png
from preview.handover.video import Picture, encode_mp4, encode_webp
from preview.handover.wipe import WIPES, wiped
from preview.looks.flashing import flashes_of
from preview.scene.faults import CovecastError, hint
from preview.scene.model import Look

__all__ = [
    "ENDINGS",
    "ClipError",
    "Target",
    "Wish",
    "Written",
    "film_as",
    "target_of",
    "write_clip",
    "write_look",
    "write_still",
]

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


def target_of(text: str, size: tuple[int, int], frames_per_s: float, ending: str | None = None) -> Target:
    """The target that `text` names, checked against size (width, height) and rate; the error lists everything wrong.

    `ending`: what is written into the folder that `text` names, instead of pictures.
    """
    wrong = []
    path = Path(text)
    if text.endswith(("/", "\\")):
        kind = "folder"
    else:
        kind = path.suffix.lower()
        if path.is_dir():
            wrong.append(f"expected a file, found a folder (for numbered pictures end its name with a slash: {text}/)")
        elif kind not in ENDINGS:
            found = kind or "none"
            wrong.append(
                f"expected the ending {', '.join(ENDINGS)} or a folder with a trailing slash, found {found}{hint(kind, ENDINGS)}"
            )
    width, height = size
    for side, pixels in (("width", width), ("height", height)):
        if not SMALLEST_PX <= pixels <= LARGEST_PX:
            wrong.append(f"--size: expected a {side} of {SMALLEST_PX} to {LARGEST_PX} pixels, found {pixels}")
    written = ending or kind
    if written == ".mp4" and (width % 2 or height % 2):
        even = f"{width + width % 2}x{height + height % 2}"
        wrong.append(f"--size: expected even sides, as MP4 needs them, found {width}x{height} (nearest: {even})")
    fastest = FASTEST if written == ".gif" else FASTEST_VIDEO
    if not SLOWEST <= frames_per_s <= fastest:
        why = ", beyond which browsers slow a GIF down" if written == ".gif" and frames_per_s > fastest else ""
        wrong.append(f"--fps: expected {SLOWEST:g} to {fastest:g} pictures a second{why}, found {frames_per_s:g}")
    if wrong:
        raise ClipError("\n".join(f"{text}: {fault}" for fault in wrong))
    return Target(path, kind)


@dataclass(frozen=True)
class Wish:
    """How a look is to be shown; what is None is the look's, or the scene's, own. `mail_mb`: most megabytes (10⁶ bytes)."""

    size: tuple[int, int] = (640, 360)
    frames_per_s: float = 25.0
    seconds: float | None = None
    level: float | None = None
    sag: bool = True
    ambient_lux: float | None = None
    grey_cd_m2: float | None = None
    seamless: bool = True
    title: bool = False
    caption: str | None = None
    wipe: str | None = None
    mail_mb: float | None = None
    allow_flashing: bool = False

    def lines(self, film: Film) -> list[str]:
        """What is written into the pictures."""
        lines = [f"{film.stage.scene.title}: {film.ready.look.name}"] if self.title else []
        if self.title and self.wipe is not None:
            lines.append("left: {}, right: {}".format(*WIPES[self.wipe]))
        return lines + ([self.caption] if self.caption else [])


@dataclass(frozen=True)
class Written:
    """What was written: frames, size (width, height), rate, bytes, what was lowered, a caution where it flashes, and the exposure.

    `grey_cd_m2` is the luminance that became middle grey.
    """

    frames: int
    seconds: float
    size: tuple[int, int]
    frames_per_s: float
    bytes: int
    lowered: str | None = None
    caution: str | None = None
    grey_cd_m2: float | None = None


def film_as(stage: Stage, look: Look, wish: Wish, seamless: bool | None = None) -> Film:
    """The film of a look on a stage, as wished for."""
    return film_of(
        stage,
        look,
        seconds=wish.seconds,
        frames_per_s=wish.frames_per_s,
        level=wish.level,
        sag=wish.sag,
        ambient_lux=wish.ambient_lux,
        grey_cd_m2=wish.grey_cd_m2,
        seamless=wish.seamless if seamless is None else seamless,
    )


def write_look(stage: Stage, look: Look, target: Target, wish: Wish, progress: Progress | None = None) -> Written:
    """Write a look as wished for. Raises FlashingError where it flashes too often and that is not allowed; then nothing is there.

    Where it is allowed, the pictures say at their foot how often, and the metadata what that can do.
    """
    film = film_as(stage, look, wish)
    mark = None
    limit = flash_limit(stage.scene)
    if wish.allow_flashing:
        found = flashes_of(_dressed(film, wish), film.frames_per_s, stage.scene.viewer.field_deg)
        if not found.within(limit):
            mark = f"Caution: {caution(found, limit)}."
            # No viewer shows what is in the metadata.
            wish = replace(wish, caption="\n".join(filter(None, (wish.caption, foot_words(found)))))
    written = write_clip(film, target, wish, mark, progress)
    return replace(written, caution=mark)


def _dressed(film: Film, wish: Wish, progress: Progress | None = None) -> Iterator[Picture]:
    """The clip's pictures with wipe and caption."""
    plain = film.pictures(progress) if wish.wipe is None else wiped(film, wish.wipe, progress=progress)
    return captioned(plain, wish.lines(film), film.stage.size)


def write_clip(
    film: Film,
    target: Target,
    wish: Wish | None = None,
    comment: str | None = None,
    progress: Progress | None = None,
) -> Written:
    """Write a film: of `wish` the lines, the wipe, the bytes and whether it may flash. `comment` goes into the file's metadata.

    The target is there whole when this returns, and untouched when it raises.
    """
    wish = wish or Wish()
    if target.kind == ".png":
        raise ClipError(f"{target.path}: expected a moment for a single picture, found a clip")
    grey = film.exposure.grey_cd_m2
    if target.kind == "folder":
        write_frames(target.path, ahead(_safe(film, wish, progress)), comment)
        held_bytes = sum(file.stat().st_size for file in target.path.iterdir())
        return Written(film.frames, film.lasts_s, film.stage.size, film.frames_per_s, held_bytes, grey_cd_m2=grey)
    with placing_file(target.path) as part:
        quality, lowered = FULL, None
        _encode(part, film, target, wish, quality, comment, progress)
        if wish.mail_mb is not None:
            most = wish.mail_mb * 1e6
            written_as = film
            for step in steps_down(target.kind, lambda: part.stat().st_size / most):
                lowered = step.says
                written_as = _lowered(film, step.quality)
                _encode(part, written_as, target, wish, step.quality, comment, progress)
            if part.stat().st_size > most:
                other = ", or write .mp4, which takes a small part of the bytes" if target.kind == ".gif" else ""
                raise ClipError(
                    f"{target.path}: expected at most {wish.mail_mb:g} MB, found {part.stat().st_size / 1e6:.2f} MB with "
                    f"everything lowered ({lowered}): give more, or fewer --seconds{other}"
                )
            film = written_as
        size = part.stat().st_size
    return Written(film.frames, film.lasts_s, film.stage.size, film.frames_per_s, size, lowered, grey_cd_m2=grey)


def _safe(film: Film, wish: Wish, progress: Progress | None) -> Iterator[Picture]:
    """The pictures, watched for flashing unless that is allowed."""
    pictures = _dressed(film, wish, progress)
    if wish.allow_flashing:
        return pictures
    scene = film.stage.scene
    limit = flash_limit(scene)
    return watched(pictures, film.ready.look.name, film.frames_per_s, scene.viewer.field_deg, limit)


def _lowered(film: Film, quality: Quality) -> Film:
    """The film with fewer pictures a second and smaller ones, under the same exposure."""
    stage = film.stage
    if quality.side < 1:
        width, height = (max(SMALLEST_PX, 2 * round(side * quality.side / 2)) for side in stage.size)
        stage = stage_of(stage.scene, (width, height))
    return replace(film, stage=stage, frames_per_s=max(SLOWEST, film.frames_per_s * quality.rate))


def _encode(
    part: Path, film: Film, target: Target, wish: Wish, quality: Quality, comment: str | None, progress: Progress | None
) -> None:
    size, rate = film.stage.size, film.frames_per_s
    pictures = ahead(_safe(film, wish, progress))
    try:
        if target.kind == ".gif":
            samples = _samples(film, wish)
            encode_gif(part, pictures, size, rate, film.frames, samples, comment, quality.hold)
        elif target.kind == ".mp4":
            encode_mp4(part, pictures, size, rate, comment, quality.crf)
        else:
            encode_webp(part, pictures, size, rate, comment, quality.webp)
    except EncoderError as error:
        raise EncoderError(f"{target.path}: {error}") from error


def _samples(film: Film, wish: Wish) -> Bytes:
    """Pixels (n, 3) from moments spread over the clip, for its palette."""
    times = film.times
    some = times[np.unique(np.linspace(0, times.size - 1, min(times.size, _SAMPLES)).round().astype(int))]
    width, height = film.stage.size
    step = max(1, round((width * height * some.size / _SAMPLE_PIXELS) ** 0.5))
    pictures = captioned(film.pictures_at(some), wish.lines(film), film.stage.size)
    found = [picture[k % step :: step, k % step :: step].reshape(-1, 3) for k, picture in enumerate(pictures)]
    if wish.wipe is not None:
        middle = next(wiped(film, wish.wipe, some[:1]))
        found.append(middle[::step, ::step].reshape(-1, 3))
    return np.concatenate(found)


def write_still(film: Film, at_s: float, target: Path, wish: Wish | None = None, comment: str | None = None) -> None:
    """Write the picture of one moment of a film as PNG, with the lines and the wipe of `wish`."""
    wish = wish or Wish()
    moment = np.array([at_s])
    pictures = film.pictures_at(moment) if wish.wipe is None else wiped(film, wish.wipe, moment)
    for picture in captioned(pictures, wish.lines(film), film.stage.size):
        write_png(target, picture, comment)
