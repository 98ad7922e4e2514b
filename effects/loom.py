"""Two threads woven: stitches of one glide up the run and of the other down it; where they meet, one slips under and comes out again.

A rim of shade about the stitch on top shows which it is. Each goes twice over and twice under, as in twill.
"""

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
        0.12,
        "how fast the first thread runs; the second runs the other way, a fifth slower",
    ),
    kit.Dial("pitch_m", "m", 0.2, 5, 0.75, "from one stitch of the first thread to the next"),
    kit.part_dial("thick", 0.62, "part of the pitch that a stitch covers", 0.2, 0.95),
    kit.hue_dial("warp_deg", 24, "the first thread"),
    kit.hue_dial("weft_deg", 250, "the second thread"),
    kit.purity_dial(0.8, "both are"),
    kit.part_dial("cloth", 0.16, "how bright the cloth between the stitches is felt"),
)

_FINER = 0.8  # stitches of the second thread over those of the first: where they meet wanders along the run


def period_s(dials: Mapping[str, float]) -> float | None:
    """The time in which each thread moves on by two stitches, so that over and under come back too."""
    return 2.0 * dials["pitch_m"] / dials["speed_m_per_s"]


def light(place: kit.Place, time_s: kit.Floats, dials: Mapping[str, float], seed: int) -> kit.Floats:
    """Where both threads lie in one place, the one on top hides the other. Crossings side by side take turns."""
    t = kit.columns(time_s)
    keeps = kit.gentle(4.0 * dials["speed_m_per_s"] / dials["pitch_m"])  # two threads, in two runs side by side

    def thread(way: float, size: float, shift: float) -> tuple[kit.Floats, kit.Floats, kit.Ints]:
        pitch = size * dials["pitch_m"]
        reach = np.maximum(0.5 * pitch * dials["thick"], place.half_m)
        at = (place.along_m - way * size * dials["speed_m_per_s"] * t) / pitch + shift * place.run
        stitch = np.floor(at)
        seen, rim = (kit.mark((at - stitch - 0.5) * pitch, place.half_m, 0.0, wide * reach) for wide in (1.0, 1.5))
        seen, rim = (kit.mix(0.5, kit.ease(part), keeps) for part in (1.6 * seen, 2.0 * rim))
        return seen, rim, stitch.astype(np.int64)

    warp, warp_rim, i = thread(1.0, 1.0, 0.37)
    weft, weft_rim, j = thread(-1.0, _FINER, 0.21)
    # From one crossing to the next along the run both numbers grow by one: halved, so that it is the other's turn there.
    over = kit.mix(0.5, (i + j) // 2 % 2 == 0, keeps)
    warp_seen = warp * (1.0 - weft_rim * (1.0 - over))
    weft_seen = weft * (1.0 - warp_rim * over)
    bare = kit.felt(dials["cloth"]) * (1.0 - np.maximum(warp_rim, weft_rim))
    return kit.paint(
        (0.94 * warp_seen, kit.tint(place, dials["warp_deg"], dials["purity"], 3500.0)),
        (0.80 * weft_seen * (1.0 - warp_seen), kit.tint(place, dials["weft_deg"], dials["purity"])),
        (bare, kit.white(place, 2400.0)),
    )
