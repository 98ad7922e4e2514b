"""Two threads woven: one runs up the run and one down it, and they pass over and under each other in turn."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from effects import kit

MOOD = "festive"

DIALS = (
    kit.Dial("speed_m_per_s", "m/s", 0.01, 2, 0.16, "how fast each thread runs, in opposite directions"),
    kit.Dial("pitch_m", "m", 0.2, 5, 0.72, "from one stitch to the next"),
    kit.Dial("thick", "", 0.2, 0.95, 0.9, "part of the pitch that a stitch covers"),
    kit.Dial("warp_deg", "deg", 0, 360, 24, "hue of the first thread"),
    kit.Dial("weft_deg", "deg", 0, 360, 250, "hue of the second thread"),
    kit.Dial("purity", "", 0, 1, 0.62, "how pure both hues are"),
)


def period_s(dials: Mapping[str, float]) -> float | None:
    """The time in which each thread moves on by two stitches, so that over and under come back too."""
    return 2.0 * dials["pitch_m"] / dials["speed_m_per_s"]


def light(place: kit.Place, time_s: kit.Floats, dials: Mapping[str, float], seed: int) -> kit.Floats:
    """Where both threads lie in one place, the one on top hides the other; it is the other's turn at the next stitch."""
    t = kit.columns(time_s)
    pitch = dials["pitch_m"]
    reach = np.maximum(0.5 * pitch * dials["thick"], place.half_m)

    def thread(way: float) -> tuple[kit.Floats, kit.Ints]:
        at = (place.along_m + 0.37 * pitch * place.run - way * dials["speed_m_per_s"] * t) / pitch
        stitch = np.floor(at)
        return kit.mark((at - stitch - 0.5) * pitch, place.half_m, 0.0, reach), stitch.astype(np.int64)

    warp, i = thread(1.0)
    weft, j = thread(-1.0)
    over = (i + j) % 2 == 0
    warp_seen = np.where(over, warp, warp * (1.0 - 0.9 * weft))
    weft_seen = np.where(over, weft * (1.0 - 0.9 * warp), weft)
    return kit.paint(
        (0.02 + 0.94 * kit.ease(warp_seen), kit.tint(place, dials["warp_deg"], dials["purity"], 3500.0)),
        (0.75 * kit.ease(weft_seen) * (1.0 - warp_seen), kit.tint(place, dials["weft_deg"], dials["purity"])),
    )
