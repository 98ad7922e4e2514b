"""GIF of a clip: one palette, a mosaic that stands still, exact total time, endless.

Frame k is shown from round(100·k/fps) to round(100·(k+1)/fps) hundredths of a second, so that the total is exact although a GIF counts in
whole hundredths. Shorter than two hundredths many browsers play at ten, hence `FASTEST`.

A pixel whose palette entry stays is left clear. So no frame's bytes depend on another's, and two encoders compress them in turns, on
two cores; the blocks between, with delays and comment, are written here.

Source: GIF89a. Leaves out: interlacing, and a palette for each frame.
"""

from __future__ import annotations

import contextlib
import itertools
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import IO

import cv2
import numpy as np

from preview.handover.encoder import encoding
from preview.handover.palette import COLOURS, Bytes, Mosaic, palette_of
from preview.handover.video import Picture

__all__ = ["FASTEST", "delays_cs", "encode_gif", "held"]

FASTEST = 50.0
"""Frames per second above which browsers slow a GIF down."""

_ENCODERS = 2
_CLEAR = 255


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


def encode_gif(
    part: Path,
    pictures: Iterable[Picture],
    size: tuple[int, int],
    frames_per_s: float,
    frames: int,
    samples: Bytes,
    comment: str | None = None,
) -> None:
    """Write `frames` pictures (height, width, 3) of `size` (width, height); the palette is made for the pixels `samples` (..., 3).

    Over whatever is at `part`.
    """
    arguments = ["-c:v", "gif", "-gifflags", "0", "-f", "gif", "-"]
    before: Bytes | None = None
    with contextlib.ExitStack() as held:
        outputs = [held.enter_context(tempfile.TemporaryFile()) for _ in range(min(_ENCODERS, frames))]
        with contextlib.ExitStack() as running:
            encoders = [
                running.enter_context(encoding(size, frames_per_s, "pal8", arguments, output)) for output in outputs
            ]
            palette = palette_of(samples)
            mosaic = Mosaic(palette, size, samples)
            # What an encoder takes: a picture's entries, then blue, green, red and alpha of each; the last stays clear.
            packet = np.zeros(size[0] * size[1] + 4 * 256, dtype=np.uint8)
            shown = packet[: -4 * 256].reshape(size[1], size[0])
            colours = packet[-4 * 256 :].reshape(256, 4)
            colours[:COLOURS, :3] = palette[:, ::-1]
            colours[:COLOURS, 3] = 255
            for picture, write in zip(pictures, itertools.cycle(encoders), strict=False):
                now = mosaic.entries(picture)
                if before is None:
                    shown[:] = now
                else:
                    cv2.bitwise_or(now, cv2.compare(now, before, cv2.CMP_EQ), dst=shown)
                write(packet.data)
                before = now
        with part.open("wb") as file:
            file.write(_head(size, palette, comment))
            images = [_images(output) for output in outputs]
            for delay_cs, image in zip(delays_cs(frames, frames_per_s), itertools.cycle(images), strict=False):
                file.write(b"\x21\xf9\x04\x05" + delay_cs.to_bytes(2, "little") + bytes([_CLEAR, 0]))  # left in place
                for piece in next(image):
                    file.write(piece)
            file.write(b"\x3b")


def _head(size: tuple[int, int], palette: Bytes, comment: str | None) -> bytes:
    """Header, screen descriptor, palette, endless loop, comment."""
    sides = b"".join(side.to_bytes(2, "little") for side in size)
    loop = b"\x21\xff\x0bNETSCAPE2.0\x03\x01\x00\x00\x00"
    head = b"GIF89a" + sides + b"\xf7\x00\x00" + palette.tobytes() + bytes(3 * (256 - COLOURS)) + loop
    if not comment:
        return head
    text = comment.encode("utf-8")
    blocks = [text[at : at + 255] for at in range(0, len(text), 255)]
    return head + b"\x21\xfe" + b"".join(bytes([len(block)]) + block for block in blocks) + b"\x00"


def _images(file: IO[bytes]) -> Iterator[list[bytes]]:
    """The images of a GIF, each as its descriptor and its data, in pieces; everything between is passed over."""
    file.seek(0)
    head = file.read(13)
    file.seek(3 << ((head[10] & 7) + 1), 1)
    while (kind := file.read(1)) == b"\x21" or kind == b"\x2c":
        pieces = [kind + file.read(1 if kind == b"\x21" else 10)]
        while length := file.read(1):
            pieces.append(length + file.read(length[0]))
            if not length[0]:
                break
        if kind == b"\x2c":
            yield pieces
