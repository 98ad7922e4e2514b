"""The data line: which runs it passes, how long its bare stretches are, and how many frames a second it allows.

Single-wire data at 800 kbit/s: a bit takes 1.25 µs, a group 8 bits for each of its colours, and a pause of 300 µs tells the groups that the
frame is complete. So N groups of three colours allow 1/(N · 30 µs + 300 µs) frames a second (common practice, no source). Every
join takes the data on; a run that no join leads to has a line of its own. Every group sends the data on afresh, so only the cables between
controller, runs and runs count for its reach.

Leaves out: strips with a clock line, or with a data rate of their own.
"""

from __future__ import annotations

from dataclasses import dataclass

from preview.scene.layout import group_count
from preview.scene.model import Scene

__all__ = ["BIT_S", "LATCH_S", "UNBUFFERED_M", "DataLine", "data_lines"]

BIT_S = 1.25e-6
LATCH_S = 300e-6
"""The longer pause, of newer parts; older ones take 50 µs."""

UNBUFFERED_M = 5.0
"""Data cable up to which a plain logic output is trusted (common practice, no source)."""


@dataclass(frozen=True)
class DataLine:
    """One data line: its runs in order, the groups on its longest branch, and the bits that it sends a frame."""

    runs: tuple[str, ...]
    groups: int
    bits: int

    @property
    def frames_per_s(self) -> float:
        """Frames a second that it allows at most.

        >>> round(DataLine((), 500, 500 * 24).frames_per_s, 2)
        65.36
        """
        return 1 / (self.bits * BIT_S + LATCH_S)


def data_lines(scene: Scene) -> list[DataLine]:
    """Every data line of a scene. Where one run leads to several, all of them get the same stretch of data."""
    after: dict[str, list[str]] = {run.name: [] for run in scene.run}
    led_to = set()
    for join in scene.join:
        if join.to != join.from_ and join.to not in after[join.from_]:
            after[join.from_].append(join.to)
            led_to.add(join.to)
    own = {run.name: (group_count(run, strip), 32 if strip.white else 24) for run in scene.run
           for strip in (scene.strip[run.strip],)}  # fmt: skip
    starts = [run.name for run in scene.run if run.name not in led_to]
    lines: list[DataLine] = []
    seen: set[str] = set()
    for name in (*starts, *own):  # what is left after the starts goes round in a ring: its first run starts it
        if name not in seen:
            lines.append(_line_from(name, after, own, seen))
    return lines


def _line_from(start: str, after: dict[str, list[str]], own: dict[str, tuple[int, int]], seen: set[str]) -> DataLine:
    runs: list[str] = []
    waiting = [(start, 0, 0)]
    longest = (0, 0)
    while waiting:
        name, bits, groups = waiting.pop()
        if name in seen:
            continue
        seen.add(name)
        runs.append(name)
        count, each = own[name]
        bits, groups = bits + count * each, groups + count
        longest = max(longest, (bits, groups))
        waiting += [(other, bits, groups) for other in reversed(after[name])]
    return DataLine(tuple(runs), longest[1], longest[0])
