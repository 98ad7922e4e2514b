"""Rules about fuses, cables and the data line, whatever plays."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from preview.power.conductor_sets import conductor_sets, root_supply
from preview.power.conductors import ampacity_a, cable_words
from preview.power.data_line import UNBUFFERED_M, data_lines
from preview.power.finding import PRACTICE, Finding, Weight
from preview.power.fusing import FUSE_A, fuse_for, largest_fuse
from preview.scene.feed_names import feed_names
from preview.scene.layout import Floats, places_on_path
from preview.scene.model import Join, Run, Scene

__all__ = ["AMPACITY", "wire_findings"]

AMPACITY = "flexible cords: UK ratings by mm², NEC table 400.5(A) by AWG; less where bundled, covered or warm"
BLADE = "ISO 8820-3"
TIMING = "single-wire data at 800 kbit/s, 1.25 µs a bit and a pause of 300 µs; " + PRACTICE
GEOMETRY = "the plan's own coordinates"

FUSE_V, HIGH_FUSE_V = 32.0, 58.0
"""Blade fuses come for 32 V and for 58 V: ISO 8820-3."""

SLACK_M = 0.05
"""A cable may be this much shorter than the straight way: terminals and ends are not points."""


def wire_findings(scene: Scene) -> list[Finding]:
    """What is to be said of fuses, cables and the data line, whatever plays."""
    return [*_fuses(scene), *_unprotected(scene), *_joins(scene), *_too_short(scene), *_data(scene)]


def _fuses(scene: Scene) -> Iterator[Finding]:
    for called, feed in zip(feed_names(scene), scene.feed, strict=True):
        if feed.fuse_a is None:
            continue
        holds_a = ampacity_a(feed.cable)
        if feed.fuse_a > holds_a * (1 + 1e-9):
            fits = largest_fuse(holds_a)
            do = "a thicker cable" if fits is None else f"a fuse of at most {fits:g} A, or a thicker cable"
            yield Finding(
                "fault",
                called,
                f"its fuse, {feed.fuse_a:g} A, lets more through than its {cable_words(feed.cable)} cable may carry ({holds_a:.3g} A)",
                do,
                AMPACITY,
            )
        volts = scene.supply[root_supply(scene, feed.from_)].volts
        if volts > FUSE_V:
            weight: Weight = "note" if volts <= HIGH_FUSE_V else "caution"
            do = "use a fuse rated for the voltage" + (
                f"; blade fuses are made for {HIGH_FUSE_V:g} V too" if weight == "note" else ""
            )
            says = f"a plain blade fuse is rated {FUSE_V:g} V, not {volts:g} V"
            yield Finding(weight, called, says, do, BLADE)
        if feed.fuse_a <= FUSE_A[-1] and feed.fuse_a not in FUSE_A:
            # the next larger one carries what this one was to carry, where the cable stands it
            near = fuse_for(feed.fuse_a, 1.0, holds_a) or largest_fuse(feed.fuse_a) or FUSE_A[0]
            yield Finding("note", called, f"no blade fuse of {feed.fuse_a:g} A is made", f"{near:g} A is", BLADE)


def _unprotected(scene: Scene) -> Iterator[Finding]:
    """Cables without a fuse, thinner than what their supply can push through them."""
    plain = [
        (called, feed.from_, feed.cable)
        for called, feed in zip(feed_names(scene), scene.feed, strict=True)
        if feed.fuse_a is None
    ]
    plain += [(f"block {name}", block.from_, block.cable) for name, block in scene.block.items()]
    for about, source, cable in plain:
        supply = root_supply(scene, source)
        amps, holds_a = scene.supply[supply].amps, ampacity_a(cable)
        if amps > holds_a * (1 + 1e-9):
            fits = largest_fuse(holds_a)
            do = (
                "a thicker cable" if fits is None else f"a fuse of at most {fits:g} A at the supply, or a thicker cable"
            )
            says = (
                f"no fuse, and supply {supply} can push {amps:g} A through its {cable_words(cable)} cable, "
                f"which may carry {holds_a:.3g} A"
            )
            yield Finding("fault", about, says, do, AMPACITY)


def _joins(scene: Scene) -> Iterator[Finding]:
    """Joins that carry power through less copper than the fuses before them protect.

    What reaches a join comes by the feeds of the runs that are joined; another feed of the same supply ends in its own runs. That one fuse
    lets more through is a fault; that several feeds on one side do together, with no fuse blowing, a caution.
    """
    for parts in conductor_sets(scene.model_copy(update={"feed": ()}), "positive"):
        guards = [
            (feed.fuse_a or scene.supply[root_supply(scene, feed.from_)].amps, called)
            for called, feed in zip(feed_names(scene), scene.feed, strict=True)
            if ("run", feed.run) in parts
        ]
        for join in scene.join:
            if join.carries != "power" or join.cable is None or ("run", join.from_) not in parts or not guards:
                continue
            holds_a, (amps, by) = ampacity_a(join.cable), max(guards)
            together_a, names = _together(scene, join)
            if amps <= holds_a * (1 + 1e-9) < together_a:
                yield Finding(
                    "caution",
                    f"join {join.from_} to {join.to}",
                    f"its {cable_words(join.cable)} cable may carry {holds_a:.3g} A, and {' and '.join(names)} together let "
                    f"{together_a:g} A through",
                    "a thicker cable, or one feed on either side of it",
                    AMPACITY,
                )
            if amps > holds_a * (1 + 1e-9):
                yield Finding(
                    "fault",
                    f"join {join.from_} to {join.to}",
                    f"its {cable_words(join.cable)} cable may carry {holds_a:.3g} A, and {by} lets {amps:g} A through",
                    "a thicker cable, or a smaller fuse in that feed",
                    AMPACITY,
                )


def _together(scene: Scene, join: Join) -> tuple[float, list[str]]:
    """Amps that all feeds on one side of a join let through to a short on the other, the more of both sides, and these feeds."""
    without = scene.model_copy(update={"feed": (), "join": tuple(other for other in scene.join if other is not join)})
    sides: list[tuple[float, list[str]]] = []
    for end in (join.from_, join.to):
        side = next(parts for parts in conductor_sets(without, "positive") if ("run", end) in parts)
        feeds = [
            (called, feed)
            for called, feed in zip(feed_names(scene), scene.feed, strict=True)
            if ("run", feed.run) in side
        ]
        through: dict[str, float] = {}
        for _, feed in feeds:
            supply = root_supply(scene, feed.from_)
            most = scene.supply[supply].amps
            through[supply] = min(most, through.get(supply, 0.0) + (feed.fuse_a or most))
        sides.append((sum(through.values()), [called for called, _ in feeds]))
    return max(sides)


def _at(run: Run, along_m: float) -> Floats:
    return np.asarray(places_on_path(run, np.array([along_m]))[0][0])


def _too_short(scene: Scene) -> Iterator[Finding]:
    """Cables shorter than the straight way between the things that they connect, where the plan says where those are."""
    runs = {run.name: run for run in scene.run}
    hung = {name: supply.at_m for name, supply in scene.supply.items() if supply.at_m is not None}
    hung |= {name: block.at_m for name, block in scene.block.items() if block.at_m is not None}
    ways = [
        (called, np.asarray(hung[feed.from_]), _at(runs[feed.run], feed.at_m), feed.cable.length_m)
        for called, feed in zip(feed_names(scene), scene.feed, strict=True)
        if feed.from_ in hung
    ]
    ways += [
        (f"block {name}", np.asarray(hung[block.from_]), np.asarray(hung[name]), block.cable.length_m)
        for name, block in scene.block.items()
        if block.from_ in hung and name in hung
    ]
    ways += [
        (
            f"join {join.from_} to {join.to}",
            _ends(runs[join.from_])[1],
            _ends(runs[join.to])[0],
            join.cable.length_m if join.cable else 0.0,
        )
        for join in scene.join
        if join.cable is not None or join.carries != "data"
    ]
    for about, start, end, length_m in ways:
        way_m = float(np.linalg.norm(end - start))
        if length_m > 0 and way_m > length_m + SLACK_M:
            says = f"its cable is {length_m:g} m, and its ends lie {way_m:.2f} m apart in a straight line"
            do = "measure the way that the cable takes; drop is worked out from the length given"
            yield Finding("caution", about, says, do, GEOMETRY)


def _ends(run: Run) -> tuple[Floats, Floats]:
    return np.asarray(run.path_m[0]), np.asarray(run.path_m[-1])


def _data(scene: Scene) -> Iterator[Finding]:
    """Data cables that are too long for a plain output, and lines with more groups than the wanted rate allows."""
    bare = [(f"run {run.name}", "from the controller", run.data_m) for run in scene.run if run.data_m is not None]
    bare += [
        (f"join {j.from_} to {j.to}", "between the runs", j.cable.length_m) for j in scene.join if j.cable is not None
    ]
    for about, where, length_m in bare:
        if length_m > UNBUFFERED_M + 1e-9:
            says = f"{length_m:g} m of data line {where}, and a plain output is trusted for {UNBUFFERED_M:g} m"
            do = "put the controller nearer, or send the data over a twisted pair with a line driver and receiver"
            yield Finding("caution", about, says, do, PRACTICE)
    wanted = scene.assume.data_frames_per_s
    for line in data_lines(scene):
        if line.frames_per_s < wanted * (1 - 1e-9):
            more = "" if len(line.runs) == 1 else f" and {len(line.runs) - 1} more"
            says = (
                f"{line.groups} groups on one data line allow {line.frames_per_s:.1f} frames a second, not {wanted:g}"
            )
            do = f"start a second data line, or plan with data_frames_per_s = {max(1, int(line.frames_per_s))}"
            yield Finding("caution", f"run {line.runs[0]}{more}", says, do, TIMING)
