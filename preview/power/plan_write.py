"""A plan's feeds put into a scene file: what stays keeps its place, its comments and its order, what goes goes, what is new comes last.

A feed of the plan takes the place of the feed in the file that it is most like: the same run and source at the same cut point first, then
the same run, then any. So a comment stays with the run that it was written for.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import tomlkit
from tomlkit.items import AoT, Table

from preview.scene.model import Cable, Feed, Scene

__all__ = ["feeds_into"]


def feeds_into(scene: Scene, feeds: Sequence[Feed]) -> Callable[[tomlkit.TOMLDocument], None]:
    """The change that puts `feeds` into the file of `scene`, for `preview.scene.write.edit_scene`."""

    def change(document: tomlkit.TOMLDocument) -> None:
        tables: Any = document["feed"]
        place = _matched(scene.feed, feeds)
        for old, new in place.items():
            _update(tables[old], feeds[new])
        for old in sorted(set(range(len(scene.feed))) - set(place), reverse=True):
            del tables[old]
        for new in sorted(set(range(len(feeds))) - set(place.values())):
            table = tomlkit.table()
            _update(table, feeds[new])
            _append(tables, table)

    return change


def _append(tables: Any, table: Table) -> None:
    """A new table at the end, with a blank line before the next."""
    if isinstance(tables, AoT) and len(tables):
        last = tables[len(tables) - 1]
        text = last.as_string()
        if not text.endswith("\n\n"):
            last.add(tomlkit.nl())
    tables.append(table)


def _matched(old: Sequence[Feed], new: Sequence[Feed]) -> dict[int, int]:
    """Which old feed each new one takes the place of: pairs in the order of their likeness."""
    pairs = []
    for i, a in enumerate(old):
        for j, b in enumerate(new):
            if a.run == b.run:
                pairs.append((a.from_ != b.from_, abs(a.at_m - b.at_m), i, j))
    place: dict[int, int] = {}
    for _, _, i, j in sorted(pairs):
        if i not in place and j not in place.values():
            place[i] = j
    return place


def _update(table: Any, feed: Feed) -> None:
    """Set what differs; a key that is right already keeps its spelling and its comment."""
    wanted: dict[str, Any] = {"from": feed.from_, "run": feed.run, "at_m": feed.at_m, "cable": feed.cable}
    wanted |= {"contact_milliohm": feed.contact_milliohm, "fuse_a": feed.fuse_a, "fuse_milliohm": feed.fuse_milliohm}
    defaults = {"contact_milliohm": 0.0, "fuse_milliohm": 0.0, "at_m": None, "fuse_a": None}
    for key, value in wanted.items():
        if value is None:
            table.pop(key, None)
        elif isinstance(value, Cable):
            if key not in table or _cable(table[key]) != _cable(value.model_dump(exclude_none=True)):
                table[key] = _inline(value)
        elif key not in table and key in defaults and value == defaults[key]:
            continue
        elif key not in table or table[key] != value:
            table[key] = value if isinstance(value, str) else _number(key, value)


def _cable(table: Any) -> dict[str, float]:
    return {str(key): float(value) for key, value in table.items()}


def _inline(cable: Cable) -> Any:
    size = f"awg = {cable.awg}" if cable.awg is not None else f"mm2 = {float(cable.mm2 or 0.0)}"
    return tomlkit.value(f"{{ {size}, length_m = {round(cable.length_m, 6)} }}")


def _number(key: str, value: float) -> float | int:
    """Lengths keep their point; a whole rating or milliohm is written without."""
    return int(value) if key != "at_m" and value == int(value) else round(float(value), 6)
