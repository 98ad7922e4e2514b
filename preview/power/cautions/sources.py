"""Rules about supplies: volts that fit the strip, volts that may be touched, limited power, and how supplies are tied together."""

from __future__ import annotations

from collections.abc import Iterator

from preview.power.conductor_sets import conductor_sets, root_supply, supplies_of, used_supplies
from preview.power.finding import PRACTICE, Finding
from preview.power.fusing import largest_fuse
from preview.power.strip import volts_fit
from preview.scene.feed_names import feed_names
from preview.scene.model import Feed, Scene

__all__ = ["limited_a", "limited_va", "source_findings"]

TOUCH_V = 60.0
"""Direct voltage up to which a circuit counts as safe to touch in a dry room: IEC 60335-1 3.4.2, IEC 60598-1 8.2.3."""

WET_V = 30.0
"""The same where it may be wet: IEC 60598-1 8.2.3; NEC chapter 9, notes for table 11(B)."""

FUSED_VA = 250.0
"""Largest source whose circuits count as limited by a fuse each: IEC 60950-1 table 2C."""

TRIMMED_SHARE = 0.05
"""From here up it shortens the strip's life (common practice, no source)."""

LIMITED = "limited power source: IEC 60950-1 tables 2B and 2C, kept by IEC 62368-1 annex Q; NEC Class 2: chapter 9 table 11(B)"
TOUCH = "IEC 60335-1 3.4.2 and IEC 60598-1 8.2.3: 60 V d.c., 30 V where it may be wet"


def limited_va(volts: float) -> float:
    """Volt-amperes up to which a source of that direct voltage counts as limited without a fuse; 0 above 60 V.

    5 × U up to 20 V, 100 VA above (IEC 60950-1 table 2B).

    >>> limited_va(5), limited_va(12), limited_va(24), limited_va(48)
    (25, 60, 100.0, 100.0)
    """
    return 0.0 if volts > TOUCH_V else 5 * volts if volts <= 20 else 100.0


def limited_a(volts: float) -> float:
    """Largest fuse that limits a circuit of a source up to 250 VA: 5 A up to 20 V (IEC 60950-1 table 2C), 100/U above (from memory).

    >>> limited_a(12), round(limited_a(24), 2)
    (5.0, 4.17)
    """
    return limited_va(volts) / volts


def source_findings(scene: Scene) -> list[Finding]:
    """What is to be said of the supplies, whatever plays."""
    return [
        *_mismatched(scene), *_paralleled(scene), *_apart(scene), *_touch(scene), *_limited(scene), *_unused(scene),
    ]  # fmt: skip


def _unused(scene: Scene) -> Iterator[Finding]:
    """Supplies that feed nothing."""
    for name in scene.supply:
        if name not in used_supplies(scene):
            do = f'a [[feed]] with from = "{name}", or take it out of the plan'
            yield Finding("note", f"supply {name}", "feeds nothing", do, "the plan itself")


def _mismatched(scene: Scene) -> Iterator[Finding]:
    """Supplies whose voltage is not that of the strips they feed."""
    for parts in conductor_sets(scene, "positive"):
        strips = {run.strip: run.name for run in reversed(scene.run) if ("run", run.name) in parts}
        for name in supplies_of(scene, parts):
            volts = scene.supply[name].volts
            for strip, run in strips.items():
                rated = scene.strip[strip].volts
                off = volts / rated - 1
                says = f"gives {volts:g} V to strip {strip} (run {run}), which is rated {rated:g} V"
                do = f"use a supply of {rated:g} V for it, or a strip of {volts:g} V"
                fits = volts_fit(volts, rated)
                if off > 0 and not fits:
                    yield Finding(
                        "fault", f"supply {name}", says + ": too much, it can destroy the strip", do, PRACTICE
                    )
                elif not fits:
                    yield Finding("fault", f"supply {name}", says + ": too little to light it as rated", do, PRACTICE)
                elif off > TRIMMED_SHARE:
                    do = f"trim the supply to {rated:g} V; drop is better mended by another feed"
                    yield Finding("caution", f"supply {name}", says + ": more heat, a shorter life", do, PRACTICE)


def _paralleled(scene: Scene) -> Iterator[Finding]:
    """Supplies that meet at a positive conductor."""
    for parts in conductor_sets(scene, "positive"):
        supplies = supplies_of(scene, parts)
        if len(supplies) > 1:
            runs = [run.name for run in scene.run if ("run", run.name) in parts]
            yield Finding(
                "fault",
                f"supplies {', '.join(supplies)}",
                f"are tied together through the positive of {_some(runs)}: one may feed into the other, and none shares evenly",
                'cut the positive between them: a join that carries "negative", or a run for each',
                "makers' instructions for supplies not meant for parallel work; " + PRACTICE,
            )


def _apart(scene: Scene) -> Iterator[Finding]:
    """Runs on one data line whose negatives are not one."""
    number = {part: n for n, parts in enumerate(conductor_sets(scene, "negative")) for part in parts}
    sets = conductor_sets(scene, "negative")
    for join in scene.join:
        one, other = number["run", join.from_], number["run", join.to]
        if one != other:
            here, there = (", ".join(supplies_of(scene, sets[n])) or "no supply" for n in (one, other))
            yield Finding(
                "fault",
                f"join {join.from_} to {join.to}",
                f"takes the data from {here} to {there}, whose negatives are not tied: the data has no way back",
                'let the join carry "negative" as well',
                "Kirchhoff's current law: a signal needs its return; " + PRACTICE,
            )


def _touch(scene: Scene) -> Iterator[Finding]:
    for name, supply in scene.supply.items():
        if supply.volts > TOUCH_V:
            yield Finding(
                "fault",
                f"supply {name}",
                f"{supply.volts:g} V is above the {TOUCH_V:g} V d.c. that bare parts may have",
                "use strip and supply of a lower voltage; anything else is for a licensed electrician",
                TOUCH,
            )
        elif supply.volts > WET_V:
            yield Finding(
                "caution",
                f"supply {name}",
                f"{supply.volts:g} V may be touched in a dry room, not where it may be wet ({WET_V:g} V d.c.)",
                "keep it out of baths, kitchens' splash zones and the open, or take a lower voltage",
                TOUCH,
            )


def _limited(scene: Scene) -> Iterator[Finding]:
    """Supplies that are more than a limited power source, and the circuits behind them; what is only noted, for like supplies at once."""
    noted: dict[tuple[str, str], tuple[list[str], list[str]]] = {}
    called = feed_names(scene)
    for name, supply in scene.supply.items():
        va = supply.volts * supply.amps
        bound_va = limited_va(supply.volts)
        if not 0 < bound_va * (1 + 1e-9) < va:
            continue
        bound_a = limited_a(supply.volts)
        feeds = [(k, feed) for k, feed in enumerate(scene.feed) if root_supply(scene, feed.from_) == name]
        blocks = [block for block in scene.block if root_supply(scene, block) == name]
        bare = [called[k] for k, feed in feeds if feed.fuse_a is None]
        large = [called[k] for k, feed in feeds if feed.fuse_a is not None and feed.fuse_a > bound_a * (1 + 1e-9)]
        says = f"{va:.0f} VA is more than a limited power source of {supply.volts:g} V has ({bound_va:g} VA)"
        blade_a = largest_fuse(bound_a) or bound_a
        fuse = f"a fuse of at most {blade_a:g} A"
        joined = _joined_circuits(scene, feeds, bound_a)
        if scene.limits.class2 and va > FUSED_VA:
            says += f", and above {FUSED_VA:g} VA fuses do not make its circuits limited ones"
            yield Finding("fault", f"supply {name}", says, f"split it into supplies of {bound_va:g} VA", LIMITED)
        elif scene.limits.class2 and (bare or large or blocks or joined):
            without = [*bare, *large, *(f"block {block}" for block in blocks)]
            says += f"; without {fuse}: {_some(without)}" if without else ""
            says += "".join(f"; {together} meet in one circuit" for together in joined)
            do = f"{fuse} at the supply for each circuit, or supplies of at most {bound_va:g} VA"
            yield Finding("fault", f"supply {name}", says, do, LIMITED)
        elif bare:
            says += (
                f", and {_some(bare)} {'has' if len(bare) == 1 else 'have'} no fuse: a poor contact can glow unnoticed"
            )
            yield Finding("caution", f"supply {name}", says, f"{fuse} in each feed, next to the supply", LIMITED)
        elif large or blocks:
            supplies, circuits = noted.setdefault((says, fuse), ([], []))
            supplies.append(f"supply {name}")
            circuits += [*large, *(f"block {block}" for block in blocks)]
    for (says, fuse), (supplies, circuits) in noted.items():
        do = f"ask your local code what such wiring needs; {fuse} for each circuit would limit it"
        yield Finding("note", ", ".join(supplies), f"{says}; without {fuse}: {_some(circuits)}", do, LIMITED)


def _joined_circuits(scene: Scene, feeds: list[tuple[int, Feed]], bound_a: float) -> list[str]:
    """Feeds whose fuses would do one by one, and which meet in runs that are joined."""
    called = feed_names(scene)
    parent = {run.name: run.name for run in scene.run}

    def root(name: str) -> str:
        while parent[name] != name:
            name = parent[name]
        return name

    for join in scene.join:
        if join.carries == "power":
            parent[root(join.to)] = root(join.from_)
    met: dict[str, list[tuple[int, float]]] = {}
    for k, feed in feeds:
        if feed.fuse_a is not None and feed.fuse_a <= bound_a * (1 + 1e-9):
            met.setdefault(root(feed.run), []).append((k, feed.fuse_a))
    return [
        _some([called[k] for k, _ in some])
        for some in met.values()
        if len(some) > 1 and sum(amps for _, amps in some) > bound_a * (1 + 1e-9)
    ]


def _some(names: list[str], most: int = 4) -> str:
    shown = names if len(names) <= most else [*names[: most - 1], f"{len(names) - most + 1} more"]
    return " and ".join([", ".join(shown[:-1]), shown[-1]] if len(shown) > 1 else shown)
