"""GIF of a clip: one palette, a mosaic that stands still, exact total time, endless.

Frame k is shown from round(100·k/fps) to round(100·(k+1)/fps) hundredths of a second, so that the total is exact although a GIF counts in
whole hundredths. Shorter than two hundredths many browsers play at ten, hence `FASTEST`.

A value that has moved by no more than `HOLD` codes since it was last shown stays: it is less than is seen, and mostly the pictures' own
dither. A pixel whose palette entry stays is left clear, and only the smallest box around those that change is written. So no frame's bytes
depend on another's, and several frames are compressed side by side, by the library that writes stills; the blocks between, with delays
and comment, are written here, each frame as it is ready.

Source: GIF89a. Leaves out: interlacing, and a palette for each frame.
"""

from __future__ import annotations

import contextlib
import itertools
import queue
import tempfile
from collections import deque
from collections.abc import Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import IO

import cv2
import numpy as np
from PIL import Image

from preview.handover.palette import COLOURS, Bytes, Mosaic, palette_of
from preview.handover.video import Picture

__all__ = ["FASTEST", "HOLD", "delays_cs", "encode_gif", "held"]

FASTEST = 50.0
"""Frames per second above which browsers slow a GIF down."""

HOLD = 1
"""Codes of 255 by which a value may move unshown: about 0.4 in lightness L*, of which 1 is about the least that is seen."""

_COMPRESSORS = 2
_WAITING = 6  # frames being compressed or waiting to be
_CLEAR = 255


def delays_cs(frames: int, frames_per_s: float) -> list[int]:
    """Hundredths of a second for which each frame is shown; they add up to the rounded total.

    >>> delays_cs(6, 30), sum(delays_cs(6, 30))
    ([3, 4, 3, 3, 4, 3], 20)
    """
    edges = [int(np.floor(100 * k / frames_per_s + 0.5)) for k in range(frames + 1)]
    return [after - before for before, after in itertools.pairwise(edges)]


def held(pictures: Iterable[Picture], codes: int) -> Iterator[Picture]:
    """The same pictures, where a value stays as it was last shown until it has moved by more than `codes` of 255.

    Each is good until the next is asked for.
    """
    shown: Bytes | None = None
    for picture in pictures:
        rows = picture.reshape(len(picture), -1)
        if shown is None:
            shown, moved = rows.copy(), np.empty_like(rows)
        else:
            cv2.absdiff(rows, shown, dst=moved)
            cv2.threshold(moved, codes, 255, cv2.THRESH_BINARY, dst=moved)
            cv2.copyTo(rows, moved, shown)
        yield shown.reshape(picture.shape)


def encode_gif(
    part: Path,
    pictures: Iterable[Picture],
    size: tuple[int, int],
    frames_per_s: float,
    frames: int,
    samples: Bytes,
    comment: str | None = None,
    hold: int = HOLD,
) -> None:
    """Write `frames` pictures (height, width, 3) of `size` (width, height); the palette is made for the pixels `samples` (..., 3).

    Values that move by up to `hold` codes of 255 stay. Over whatever is at `part`.
    """
    palette = palette_of(samples)
    mosaic = Mosaic(palette, size, samples)
    now, before = np.empty(size[::-1], dtype=np.uint8), np.full(size[::-1], _CLEAR, dtype=np.uint8)
    places = itertools.cycle([np.empty_like(now) for _ in range(_WAITING + 1)])
    waiting: deque[tuple[int, Future[bytes]]] = deque()
    scratches: queue.SimpleQueue[IO[bytes]] = queue.SimpleQueue()
    with contextlib.ExitStack() as closing, part.open("wb") as file, ThreadPoolExecutor(_COMPRESSORS, "gif") as pool:
        for _ in range(_COMPRESSORS):
            scratches.put(closing.enter_context(tempfile.TemporaryFile()))

        def write() -> None:
            delay_cs, image = waiting.popleft()
            file.write(b"\x21\xf9\x04\x05" + delay_cs.to_bytes(2, "little") + bytes([_CLEAR, 0]))  # left in place
            file.write(image.result())

        file.write(_head(size, palette, comment))
        for picture, delay_cs in zip(held(pictures, hold), delays_cs(frames, frames_per_s), strict=False):
            mosaic.entries(picture, now)
            if len(waiting) == _WAITING:
                write()
            shown = next(places)
            cv2.compare(now, before, cv2.CMP_NE, dst=shown)
            left, top, wide, high = cv2.boundingRect(shown)
            cv2.bitwise_not(shown, dst=shown)
            cv2.bitwise_or(now, shown, dst=shown)
            box = shown[top : top + max(high, 1), left : left + max(wide, 1)]
            waiting.append((delay_cs, pool.submit(_image, box, (left, top), scratches)))
            now, before = before, now
        while waiting:
            write()
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


def _image(entries: Bytes, place: tuple[int, int], scratches: queue.SimpleQueue[IO[bytes]]) -> bytes:
    """The image block of a GIF, descriptor and data, that shows palette entries (height, width) from `place` (left, top) on.

    Written to one of `scratches` first: only into a real file does the library compress without holding the other threads up.
    """
    height, width = entries.shape
    paletted = Image.frombuffer(
        "P", (width, height), np.ascontiguousarray(entries), "raw", "P", 0, 1
    )  # its own palette is passed over
    scratch = scratches.get()
    try:
        scratch.seek(0)
        paletted.save(scratch, "GIF", optimize=False, interlace=0)
        length = scratch.tell()
        scratch.seek(0)
        whole = scratch.read(length)
    finally:
        scratches.put(scratch)
    at = 13 + (3 << ((whole[10] & 7) + 1))  # past header, screen and palette
    while whole[at] != 0x2C:  # past extensions
        at += 2
        while whole[at]:
            at += 1 + whole[at]
        at += 1
    return whole[at : at + 1] + b"".join(side.to_bytes(2, "little") for side in place) + whole[at + 5 : -1]
