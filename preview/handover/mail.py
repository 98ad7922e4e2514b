"""A file small enough to be sent: what is seen least is lowered first, a step at a time, until it fits.

GIF: small changes from one picture to the next are held back; then fewer pictures a second; then smaller ones.
MP4: fine grain and soft edges go first, then size. WebP: fine grain, then pictures a second, then size. Never the length.

Each step carries what part of the full file it leaves, roughly, so that hopeless ones are not tried. Those parts are guesses that
only choose where to begin; what counts is the size of what was written.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from preview.handover.gif import HOLD

__all__ = ["FULL", "Quality", "Step", "steps_down"]


@dataclass(frozen=True)
class Quality:
    """What a file keeps: GIF values within `hold` codes stay; H.264 `crf`; WebP quality; share of the rate; share of the sides."""

    hold: int = HOLD
    crf: float = 18.0
    webp: float = 90.0
    rate: float = 1.0
    side: float = 1.0


FULL = Quality()
"""As written where the size does not matter."""


@dataclass(frozen=True)
class Step:
    """One step down: what it leaves, what that is called, and about what part of the full file remains."""

    quality: Quality
    says: str
    part: float


def _gif() -> Iterator[Step]:
    for hold, part in ((2, 0.93), (3, 0.88), (4, 0.83)):
        yield Step(Quality(hold=hold), f"changes of up to {hold} codes held back", part)
    for rate, part in ((0.8, 0.68), (0.65, 0.57), (0.5, 0.47)):
        yield Step(Quality(4, rate=rate), f"changes of up to 4 codes held back, {rate:g} of the pictures", part)
    sizes = (
        (0.5, 0.9, 0.39),
        (0.5, 0.8, 0.32),
        (0.5, 0.72, 0.26),
        (0.5, 0.65, 0.21),
        (0.45, 0.58, 0.16),
        (0.4, 0.5, 0.11),
    )
    for rate, side, part in (*sizes, (0.36, 0.45, 0.08), (0.32, 0.4, 0.06)):
        says = f"changes of up to 6 codes held back, {rate:g} of the pictures, {side:g} of the width"
        yield Step(Quality(6, rate=rate, side=side), says, part)


def _mp4() -> Iterator[Step]:
    for crf, part in ((21, 0.68), (24, 0.46), (27, 0.31), (30, 0.21)):
        yield Step(Quality(crf=crf), f"rate factor {crf:g} instead of 18", part)
    for crf, side, part in (
        (30, 0.87, 0.17),
        (30, 0.75, 0.13),
        (31, 0.62, 0.09),
        (32, 0.5, 0.06),
        (34, 0.45, 0.045),
        (36, 0.4, 0.03),
    ):
        yield Step(Quality(crf=crf, side=side), f"rate factor {crf:g} instead of 18, {side:g} of the width", part)


def _webp() -> Iterator[Step]:
    for quality, part in ((80, 0.6), (70, 0.45), (55, 0.36)):
        yield Step(Quality(webp=quality), f"quality {quality:g} instead of 90", part)
    for rate, side, part in (
        (0.8, 1.0, 0.29),
        (0.6, 1.0, 0.22),
        (0.5, 0.87, 0.16),
        (0.5, 0.75, 0.12),
        (0.45, 0.62, 0.08),
        (0.4, 0.5, 0.05),
    ):
        says = f"quality 55 instead of 90, {rate:g} of the pictures" + (f", {side:g} of the width" if side < 1 else "")
        yield Step(Quality(webp=55, rate=rate, side=side), says, part)


_STEPS = {".gif": tuple(_gif()), ".mp4": tuple(_mp4()), ".webp": tuple(_webp())}


def steps_down(kind: str, over: Callable[[], float]) -> Iterator[Step]:
    """Steps for one ending to write a file with, until one fits; the one given last is the one to keep.

    `over()` is bytes over bytes allowed, asked before the first and after each. Where a step leaves much room, one before it is tried too.
    Where none fits the last of all has been tried.
    """
    steps = _STEPS[kind]
    too_large, fits, written = -1, len(steps), -1
    above, below = (
        (1.0, over()),
        (0.0, 0.0),
    )  # of what is too large and of what fits: the part guessed, and what it came to
    if above[1] <= 1:
        return

    def about(part: float) -> float:
        """What a step would come to: as the guess says below what was tried, on a line between two tries in logarithms of both."""
        if fits == len(steps):
            return above[1] * part / above[0]
        along = math.log(part / above[0]) / math.log(below[0] / above[0])
        return float(above[1] * (below[1] / above[1]) ** along)

    while fits - too_large > 1:
        number = next((k for k in range(too_large + 1, fits) if about(steps[k].part) <= 1), None)
        if number is None:
            if fits < len(steps):
                break
            number = fits - 1
        yield steps[number]
        written, tried = number, (steps[number].part, over())
        if tried[1] <= 1:
            fits, below = number, tried
        else:
            too_large, above = number, tried
    if written != fits < len(steps):
        yield steps[fits]
