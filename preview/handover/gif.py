"""GIF of a clip: one palette, a mosaic that stands still, exact total time, endless.

Frame k is shown from round(100·k/fps) to round(100·(k+1)/fps) hundredths of a second, so that the total is exact although a GIF counts in
whole hundredths. Shorter than two hundredths many browsers play at ten, hence `FASTEST`.

Source: GIF89a. Leaves out: interlacing, and a palette for each frame.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator
from pathlib import Path

import cv2
import numpy as np

from preview.handover.encoder import encoding
from preview.handover.palette import COLOURS, Bytes, Mosaic, palette_of
from preview.handover.placing import placing_file
from preview.handover.video import Picture

__all__ = ["FASTEST", "add_comment", "delays_cs", "encode_gif", "held", "write_gif"]

FASTEST = 50.0
"""Frames per second above which browsers slow a GIF down."""

_HEAD = 13 + 3 * 256 + 19  # header with screen descriptor, palette, loop block
_PIECE = 1 << 20


def delays_cs(frames: int, frames_per_s: float) -> list[int]:
    """Hundredths of a second for which each frame is shown; they add up to the rounded total.

    >>> delays_cs(6, 30), sum(delays_cs(6, 30))
    ([3, 4, 3, 3, 4, 3], 20)
    """
    edges = [int(np.floor(100 * k / frames_per_s + 0.5)) for k in range(frames + 1)]
    return [after - before for before, after in itertools.pairwise(edges)]


def held(pictures: Iterable[Picture], codes: int) -> Iterator[Picture]:
    """The same pictures, where a value stays as it was last shown until it has moved by more than `codes` of 255."""
    shown: Picture | None = None
    for picture in pictures:
        if shown is None:
            shown = picture.copy()
        else:
            flat = (len(picture), -1)
            moved = cv2.compare(cv2.absdiff(picture, shown).reshape(flat), float(codes), cv2.CMP_GT)
            cv2.copyTo(picture.reshape(flat), moved, shown.reshape(flat))
        yield shown


def write_gif(
    target: Path,
    pictures: Iterable[Picture],
    size: tuple[int, int],
    frames_per_s: float,
    frames: int,
    samples: Bytes,
    comment: str | None = None,
) -> None:
    """Write `frames` pictures (height, width, 3) of `size` (width, height); the palette is made for the pixels `samples` (..., 3)."""
    with placing_file(target) as part:
        encode_gif(part, pictures, size, frames_per_s, frames, samples)
        if comment:
            add_comment(part, comment)


def encode_gif(
    part: Path,
    pictures: Iterable[Picture],
    size: tuple[int, int],
    frames_per_s: float,
    frames: int,
    samples: Bytes,
) -> None:
    """As `write_gif`, over whatever is at `part`."""
    palette = palette_of(samples)
    entries = np.zeros((256, 4), dtype=np.uint8)  # blue, green, red, alpha; the last stays clear: "as before"
    entries[:COLOURS, :3] = palette[:, ::-1]
    entries[:COLOURS, 3] = 255
    colours = entries.tobytes()
    mosaic = Mosaic(palette, size, samples)
    last = delays_cs(frames, frames_per_s)[-1]
    arguments = ["-c:v", "gif", "-loop", "0", "-final_delay", str(last), "-f", "gif", str(part)]
    with encoding(size, frames_per_s, "pal8", arguments) as write:
        for picture in pictures:
            write(mosaic.entries(picture).tobytes() + colours)


def add_comment(path: Path, comment: str) -> None:
    """Put a comment block into a finished file, after its header, palette and loop block; what follows moves back."""
    text = comment.encode("utf-8")
    blocks = [text[at : at + 255] for at in range(0, len(text), 255)]
    block = b"\x21\xfe" + b"".join(bytes([len(part)]) + part for part in blocks) + b"\x00"
    with path.open("r+b") as file:
        end = file.seek(0, 2)
        while end > _HEAD:
            start = max(_HEAD, end - _PIECE)
            file.seek(start)
            piece = file.read(end - start)
            file.seek(start + len(block))
            file.write(piece)
            end = start
        file.seek(_HEAD)
        file.write(block)
