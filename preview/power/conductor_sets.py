"""Which supplies, blocks and runs hang together by their positive or by their negative conductor.

Both conductors of a feed, of a block's cable and of a join that carries power count; a join that carries the negative alone counts for
the negative; one that carries data counts for neither.
"""

from __future__ import annotations

from typing import Literal

from preview.scene.model import Scene

__all__ = ["Part", "conductor_sets", "root_supply", "supplies_of", "used_supplies"]

Part = tuple[Literal["source", "run"], str]
"""A supply or block, or a run, by name."""


def conductor_sets(scene: Scene, conductor: Literal["positive", "negative"]) -> list[frozenset[Part]]:
    """Every set of parts whose positives (or negatives) are one, in the order of the scene. Together they hold every part once."""
    parts: list[Part] = [("source", name) for name in (*scene.supply, *scene.block)]
    parts += [("run", run.name) for run in scene.run]
    ties: list[tuple[Part, Part]] = [(("source", block.from_), ("source", name)) for name, block in scene.block.items()]
    ties += [(("source", feed.from_), ("run", feed.run)) for feed in scene.feed]
    carrying = ("power",) if conductor == "positive" else ("power", "negative")
    ties += [(("run", join.from_), ("run", join.to)) for join in scene.join if join.carries in carrying]
    parent = {part: part for part in parts}

    def root(part: Part) -> Part:
        while parent[part] != part:
            parent[part] = parent[parent[part]]
            part = parent[part]
        return part

    for one, other in ties:
        parent[root(other)] = root(one)
    sets: dict[Part, list[Part]] = {}
    for part in parts:
        sets.setdefault(root(part), []).append(part)
    return [frozenset(found) for found in sets.values()]


def supplies_of(scene: Scene, parts: frozenset[Part]) -> list[str]:
    """The supplies among some parts, in the scene's order."""
    return [name for name in scene.supply if ("source", name) in parts]


def used_supplies(scene: Scene) -> list[str]:
    """The supplies that feed anything, in the scene's order."""
    used = {root_supply(scene, feed.from_) for feed in scene.feed}
    return [name for name in scene.supply if name in used]


def root_supply(scene: Scene, name: str) -> str:
    """The supply behind a supply or block of that name."""
    while name in scene.block:
        name = scene.block[name].from_
    return name
