"""Two threads woven: one runs up the run and a finer one down it, and they pass over and under each other in turn."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from effects import kit

MOOD = "festive"

DIALS = (
    kit.Dial(
        "speed_m_per_s",
        "m/s",
        0.01,
        1,
        0.16,
        "how fast the first thread runs; the second runs the other way, a fifth slower",
    ),
    kit.Dial("pitch_m", "m", 0.2, 5, 0.9, "from one stitch of the first thread to the next"),
    kit.part_dial("thick", 0.9, "part of the pitch that a stitch covers", 0.2, 0.95),
    kit.hue_dial("warp_deg", 24, "the first thread"),
    kit.hue_dial("weft_deg", 250, "the second thread"),
    kit.purity_dial(0.66, "both are"),
)

_FINER = 0.8  # stitches of the second thread over those of the first: where they meet wanders along the run


def period_s(dials: Mapping[str, float]) -> float | None:
    """The time in which each thread moves on by two stitches, so that over and under come back too."""
    return 2.0 * dials["pitch_m"] / dials["speed_m_per_s"]


def light(place: kit.Place, time_s: kit.Floats, dials: Mapping[str, float], seed: int) -> kit.Floats:
    """Where both threads lie in one place, the one on top hides the other; it is the other's turn at the next stitch."""
    t = kit.columns(time_s)
    keeps = kit.gentle(4.0 * dials["speed_m_per_s"] / dials["pitch_m"])  # two threads, in two runs side by side

    def thread(way: float, size: float, shift: float) -> tuple[kit.Floats, kit.Ints]:
        pitch = size * dials["pitch_m"]
        reach = np.maximum(0.5 * pitch * dials["thick"], place.half_m)
        at = (place.along_m - way * size * dials["speed_m_per_s"] * t) / pitch + shift * place.run
        stitch = np.floor(at)
        seen = kit.mark((at - stitch - 0.5) * pitch, place.half_m, 0.0, reach)
        return kit.mix(0.5, seen, keeps), stitch.astype(np.int64)

    warp, i = thread(1.0, 1.0, 0.37)
    weft, j = thread(-1.0, _FINER, 0.21)
    over = kit.mix(0.5, (i + j) % 2 == 0, keeps)
    warp_seen = warp * (1.0 - 0.9 * weft * (1.0 - over))
    weft_seen = weft * (1.0 - 0.9 * warp * over)
    return kit.paint(
        (0.02 + 0.94 * kit.ease(warp_seen), kit.tint(place, dials["warp_deg"], dials["purity"], 3500.0)),
        (0.75 * kit.ease(weft_seen) * (1.0 - warp_seen), kit.tint(place, dials["weft_deg"], dials["purity"])),
    )
