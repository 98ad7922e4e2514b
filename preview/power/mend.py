"""What would mend a limit that is passed: a supply, a fuse or a cable of the next size, or a few more feeds.

Further feeds are only proposed once the plan with them has been metered and no longer passes that limit. Ratings of supplies are those
that the trade keeps (common practice, no source); of cables, IEC 60228.

Leaves out: what is cheapest.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from preview.power.conductor_sets import conductor_sets
from preview.power.conductors import CLASS_5_OHM_PER_KM, ampacity_a
from preview.power.fusing import fuse_for
from preview.power.meter import Break, Metered
from preview.scene.feed_names import feed_number
from preview.scene.layout import Layout
from preview.scene.model import Cable, Feed, Scene

__all__ = ["mends"]

SUPPLY_A = (1, 1.5, 2, 2.5, 3, 4, 5, 6, 7.5, 8.5, 10, 12.5, 15, 20, 25, 30, 40, 50)

MOST_FEEDS = 3
"""So many further feeds are tried, one after the other."""

FURTHER_CABLE_MM2 = 1.5
"""What a further feed is tried with."""


def mends(scene: Scene, layout: Layout, found: Break, meter_again: Callable[[Scene], Metered]) -> list[str]:
    """In plain words, what would keep the limit that `found` passes. `meter_again` meters the same look in a changed scene."""
    if found.kind == "supply":
        need = found.worst / scene.limits.supply_fraction
        rating = next((a for a in SUPPLY_A if a >= need * (1 - 1e-9)), None)
        if rating is None:
            return [f"split the load over more supplies: {need:.1f} A are needed"]
        return [f"a {rating:g} A supply would hold"]
    if found.kind == "fuse":
        number = feed_number(found.where)
        assert number is not None  # a fuse is a feed's
        feed = scene.feed[number]
        rating = fuse_for(found.worst, scene.limits.fuse_fraction)
        if rating is None:
            return ["a second feed beside it, each with its own fuse"]
        thin = _thin_joins(scene, feed.run, rating)
        if ampacity_a(feed.cable) < rating:
            also = f", the same in {' and '.join(thin)}," if thin else ""
            return [f"a {rating:g} A fuse with {_cable_for(rating)}{also} would hold"]
        also = f" with {_cable_for(rating)} in {' and '.join(thin)}" if thin else ""
        return [f"a {rating:g} A fuse{also} would hold"]
    if found.kind == "cable":
        return [f"{_cable_for(found.worst)} would hold"]
    feeds = _further_feeds(scene, layout, found, meter_again)
    return [] if feeds is None else [feeds]


def _thin_joins(scene: Scene, run: str, amps: float) -> list[str]:
    """The joins behind a feed into that run whose cables may not carry what a fuse of so many amps lets through."""
    alone = scene.model_copy(update={"feed": ()})
    joined = next(parts for parts in conductor_sets(alone, "positive") if ("run", run) in parts)
    return [
        f"join {join.from_} to {join.to}"
        for join in scene.join
        if join.carries == "power"
        and join.cable is not None
        and ("run", join.from_) in joined
        and ampacity_a(join.cable) < amps * (1 - 1e-9)
    ]


def _cable_for(amps: float) -> str:
    size = next((mm2 for mm2 in CLASS_5_OHM_PER_KM if ampacity_a(Cable(mm2=mm2, length_m=1)) >= amps), None)
    return "more than one cable" if size is None else f"a {size:g} mm² cable"


def _further_feeds(scene: Scene, layout: Layout, found: Break, meter_again: Callable[[Scene], Metered]) -> str | None:
    """The first few feeds that bring the limit back: each into the run that then sags most, where it helps most."""
    added: list[str] = []
    changed, worst = scene, found
    for _ in range(MOST_FEEDS):
        tried = []
        for at_m, words in _places(changed, layout, worst):
            feed = _beside(changed, layout, layout.run_names.index(_group(worst)[0]), at_m)
            plan = changed.model_copy(update={"feed": (*changed.feed, feed)})
            left = next((b for b in meter_again(plan).breaks if b.kind == found.kind), None)
            says = (
                f"into {feed.run} {words} from {feed.from_}, {feed.cable.length_m:.1f} m of {FURTHER_CABLE_MM2:g} mm²"
            )
            tried.append((0.0 if left is None else left.excess, left, plan, says))
            if left is None:
                break
        if not tried:
            return None
        _, left, changed, says = min(tried, key=lambda one: one[0])
        added.append(says)
        if left is None:
            count = "one more feed" if len(added) == 1 else f"{len(added)} more feeds"
            return f"{count} would hold: {'; '.join(added)}"
        worst = left
    return None


def _places(scene: Scene, layout: Layout, found: Break) -> list[tuple[float, str]]:
    """Where a run is not fed yet: its ends, and where it sags most."""
    run, group = _group(found)
    r = layout.run_names.index(run)
    length, cut = float(layout.length_m[r]), float(layout.cut_m[r])
    middle = round((group + 0.5) * cut, 3)
    fed = [feed.at_m for feed in scene.feed if feed.run == run]
    places = [(length, "at its far end"), (0.0, "at its data end")]
    if cut < middle < length - cut:
        places.append((middle, f"at {middle:.2f} m"))
    return [(at_m, words) for at_m, words in places if not any(abs(other - at_m) < cut for other in fed)]


def _group(found: Break) -> tuple[str, int]:
    """Run and number of the group that a break is about."""
    assert found.run is not None  # colour, dimming and reset are about groups
    assert found.group is not None
    return found.run, found.group


def _beside(scene: Scene, layout: Layout, run: int, at_m: float) -> Feed:
    """A feed of a run at `at_m` from the source that feeds nearest, its cable as much longer as the way along the room's axes."""
    place = _place(layout, run, at_m)
    names = list(layout.run_names)
    reach = [
        float(np.abs(place - _place(layout, names.index(feed.run), feed.at_m)).sum()) + feed.cable.length_m
        for feed in scene.feed
    ]
    nearest = scene.feed[int(np.argmin(reach))]
    return Feed.model_validate(
        {
            "from": nearest.from_,
            "run": names[run],
            "at_m": at_m,
            "cable": {"mm2": FURTHER_CABLE_MM2, "length_m": round(min(reach), 1)},
            "contact_milliohm": nearest.contact_milliohm,
        }
    )


def _place(layout: Layout, run: int, at_m: float) -> np.ndarray[tuple[int, ...], np.dtype[np.floating]]:
    """A point of a run in the room, by its groups' centres."""
    part = layout.run_slice(run)
    nearest = int(np.argmin(np.abs(layout.along_m[part] - at_m)))
    return np.asarray(layout.centre_m[part][nearest])
