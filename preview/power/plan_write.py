"""A plan's feeds put into a scene file: what stays keeps its place, its comments and its order, what goes goes, what is new comes last.

A feed of the plan takes the place of the feed in the file that it is most like: the same run and source at the same cut point first, then
the same run, then any. So a comment stays with the run that it was written for.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import tomlkit
from tomlkit.items import AoT, Comment, Table, Whitespace

from preview.scene.model import Cable, Feed, Scene

__all__ = ["feeds_into"]


def feeds_into(scene: Scene, plan: Scene) -> Callable[[tomlkit.TOMLDocument], None]:
    """The change that turns the file of `scene` into `plan`: its feeds, supplies that were added or made smaller, what joins carry.

    For `preview.scene.write.edit_scene`.
    """

    def change(document: tomlkit.TOMLDocument) -> None:
        tables: Any = document["feed"]
        place = _matched(scene.feed, plan.feed)
        for old, new in place.items():
            _update(tables[old], plan.feed[new])
        for old in sorted(set(range(len(scene.feed))) - set(place), reverse=True):
            _delete(tables, old, sorted(set(place) - {old}))
        fresh = sorted(set(range(len(plan.feed))) - set(place.values()))
        if fresh and not isinstance(tables, AoT):
            for new in fresh:
                row = tomlkit.inline_table()
                _update(row, plan.feed[new])
                tables.append(row)
        elif fresh:
            last, tail = tables[len(tables) - 1], _tail(tables[len(tables) - 1])
            for new in fresh:
                _put(last, [(None, tomlkit.nl())])
                last = tomlkit.table()
                _update(last, plan.feed[new])
                tables.append(last)
                last = tables[len(tables) - 1]
            _put(last, tail)
        _supplies(document, scene, plan)
        joins: Any = document.get("join", [])
        for number, (before, after) in enumerate(zip(scene.join, plan.join, strict=True)):
            if before.carries != after.carries:
                joins[number]["carries"] = after.carries

    return change


def _supplies(document: tomlkit.TOMLDocument, scene: Scene, plan: Scene) -> None:
    """Ratings that changed, and the supplies that were added after the last."""
    supplies: Any = document["supply"]
    for name, supply in plan.supply.items():
        if name in scene.supply and scene.supply[name].amps != supply.amps:
            supplies[name]["amps"] = supply.amps
    fresh = [name for name in plan.supply if name not in scene.supply]
    last = supplies[list(supplies)[-1]]
    tail = _tail(last) if fresh else []
    for name in fresh:
        supply = plan.supply[name]
        _put(last, [(None, tomlkit.nl())])
        table = tomlkit.table()
        table.update(
            {"volts": supply.volts, "amps": supply.amps, "output_milliohm": _number("", supply.output_milliohm)}
        )
        if supply.at_m is not None:
            table["at_m"] = list(supply.at_m)
        supplies[name] = table
        last = supplies[name]
    _put(last, tail)


Trivia = list[tuple[Any, Any]]
"""Blank lines and comments, as a table of the file holds them."""


def _tail(table: Any) -> Trivia:
    """The blank lines and comments after a table's last key, taken out of it: they belong to what follows."""
    tail: Trivia = []
    body = table.value.body if isinstance(table, Table) else []
    while body and body[-1][0] is None and isinstance(body[-1][1], Whitespace | Comment):
        tail.insert(0, body.pop())
    return tail


def _put(table: Any, trivia: Trivia) -> None:
    """Blank lines and comments after a table's last key."""
    if isinstance(table, Table):
        table.value.body.extend(trivia)


def _delete(tables: Any, number: int, kept: Sequence[int]) -> None:
    """Take a table out. Comments after its keys stay: they may be about what follows."""
    tail = _tail(tables[number])
    del tables[number]
    if not any(isinstance(item, Comment) for _, item in tail):
        tail = tail if number == len(tables) else []
    before = [k for k in kept if k < number]
    if before:
        if number == len(tables):
            _tail_blank(tables[before[-1]])
        _put(tables[before[-1]], tail)
    elif len(tables) and isinstance(tables[0], Table):
        tables[0].value.body[:0] = [pair for pair in tail if isinstance(pair[1], Comment)]


def _tail_blank(table: Any) -> None:
    """Take out the blank lines at a table's end, where others are put."""
    body = table.value.body if isinstance(table, Table) else []
    while body and body[-1][0] is None and isinstance(body[-1][1], Whitespace):
        body.pop()


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
    tail = _tail(table)
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
    _put(table, tail)


def _cable(table: Any) -> dict[str, float]:
    return {str(key): float(value) for key, value in table.items()}


def _inline(cable: Cable) -> Any:
    size = f"awg = {cable.awg}" if cable.awg is not None else f"mm2 = {float(cable.mm2 or 0.0)}"
    return tomlkit.value(f"{{ {size}, length_m = {round(cable.length_m, 6)} }}")


def _number(key: str, value: float) -> float | int:
    """Lengths keep their point; a whole rating or milliohm is written without."""
    return int(value) if key != "at_m" and value == int(value) else round(float(value), 6)
