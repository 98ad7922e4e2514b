"""What `covecast feed` says of its plans: side by side, why the first is best, and the feeds of it; as text and as JSON."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from preview.commands.table import assumed_lines, table

if TYPE_CHECKING:
    from preview.power.cap import Cap
    from preview.power.plan import Advice, Plan
    from preview.power.plan_chain import Rules
    from preview.power.plan_moments import Asked
    from preview.scene.layout import Layout
    from preview.scene.model import Scene

__all__ = ["Outcome", "feed_json", "feed_text"]


@dataclass(frozen=True)
class Outcome:
    """What was asked of a scene, by which rules, and what came of it: the plans, and their caps for what is asked and for any content."""

    scene: Scene
    layout: Layout
    asked: list[Asked]
    rules: Rules
    advice: Advice
    caps: dict[str, list[Cap]]
    spare: dict[str, Cap]


def feed_text(of: Outcome) -> str:
    """The plans side by side with their caps, of what is asked and of any content, why the first is best, and its feeds."""
    from preview.handover.feeding import plans_of
    from preview.power.conductors import cable_words
    from preview.scene.feed_names import metres

    best = of.advice.present if of.advice.kept and of.advice.present else of.advice.best
    parts = [_head(of.scene, of.layout, of.asked, of.advice)]
    rows = []
    for plan in plans_of(of.advice):
        f = plan.figures
        rows.append(
            [
                plan.name, str(len(plan.feeds)), _counted(cable_words(feed.cable) for feed in plan.feeds),
                _counted("none" if feed.fuse_a is None else f"{feed.fuse_a:g} A" for feed in plan.feeds),
                _cap(of.asked, of.caps[plan.name]), _level(of.spare[plan.name]), f"{f.lowest_v:.2f}",
                f"{f.colour_steps:.1f}", f"{100 * f.dimming:.1f}",
                f"{plan.cable_m:.1f}", f"{f.conductor_w:.1f}", f"{plan.cost:.2f}",
                _verdict(plan),
            ]
        )  # fmt: skip
    heads = [
        "<plan",
        "feeds",
        "<cables",
        "<fuses",
        "cap",
        "any",
        "lowest V",
        "steps",
        "dim %",
        "cable m",
        "lost W",
        "cost",
        "<",
    ]
    parts.append(table(heads, rows))
    if not of.advice.kept:
        parts.append("\n".join([*_why(of.scene, of.advice), *_less(of.advice, of.spare)]))
    rows = [
        [
            feed.run, metres(feed.at_m), _place(of.layout, feed.run, feed.at_m), feed.from_,
            cable_words(feed.cable), f"{feed.cable.length_m:.1f}", "-" if feed.fuse_a is None else f"{feed.fuse_a:g}", f"{peak:.2f}",
        ]
        for feed, peak in zip(best.feeds, best.figures.feed_peak_a.tolist(), strict=True)
    ]  # fmt: skip
    parts.append(f"{best.name}:\n" + table(["<run", "at m", "<", "<from", "<cable", "m", "fuse A", "peak A"], rows))
    p = of.rules.prices
    foot = (
        f"Cost by assumption, in no currency: {p.feed:g} a feed, {p.fuse:g} a fuse, {p.metre:g} a metre of cable and"
        f" {p.mm2:g} a metre and mm² (--price).\n"
        "Cap is that of what was asked for, any that of any content. A fuse is the smallest that carries everything at full,\n"
        "or, where the cable is too thin for that, what was asked for.\n"
        "Lengths follow the walls with an allowance; measure the way before you cut. Fuses sit next to the supply.\n"
        "Have the mains side connected by a licensed person, and keep to your local code."
    )
    parts.append(foot)
    if of.scene.assumed:
        parts[-1] += "\n" + assumed_lines(of.scene.assumed)
    return "\n\n".join(parts)


def _asked_words(asked: list[Asked]) -> str:
    if len(asked) == 1:
        return f"{asked[0].name} at level {asked[0].level:.3g}"
    levels = {one.level for one in asked}
    return "every look at " + (f"level {levels.pop():.3g}" if len(levels) == 1 else "its own level")


def _head(scene: Scene, layout: Layout, asked: list[Asked], advice: Advice) -> str:
    what = _asked_words(asked)
    head = f"{scene.title}: feeds that hold {what}."
    present = advice.present
    if present is None:
        return f"{head}\nThe plan as it is ties supplies of different volts together: it cannot be metered."
    if present.broken is not None:
        found = present.broken
        where = found.where
        if found.group is not None:
            run, number = layout.name_of(found.group)
            where = f"{run} group {number}"
        return f"{head}\nThe plan as it is does not: {found.kind} at {where}."
    if present.fault is not None:
        return f"{head}\nThe plan as it is has a fault: {present.fault}."
    if advice.kept:
        return f"{head}\nThe plan as it is does already, and none found is cheaper: nothing to improve."
    saved = present.cost - advice.best.cost
    return f"{head}\nThe plan as it is does already; the cheapest saves {saved:.2f} of {present.cost:.2f}."


def _why(scene: Scene, advice: Advice) -> list[str]:
    """Why the best is best, in a line or two."""
    best = advice.best
    if best.proved:
        lines = [
            "Why the first: no cheaper set of cut points, cables and fuses holds; every cheaper one was ruled out."
        ]
    else:
        lines = ["Why the first: it is the cheapest found that holds; not every set of cut points could be tried."]
    lines += _besides(scene, best)
    for plan in advice.others:
        more = plan.cost - best.cost
        f, b = plan.figures, best.figures
        what = []
        if len(plan.feeds) != len(best.feeds):
            count = len(plan.feeds) - len(best.feeds)
            what.append(f"{abs(count)} {'more' if count > 0 else 'fewer'} feed{'s' if abs(count) != 1 else ''}")
        if abs(plan.cable_m - best.cable_m) >= 0.05:
            metres = plan.cable_m - best.cable_m
            what.append(f"{abs(metres):.1f} m {'more' if metres > 0 else 'less'} cable")
        if abs(f.colour_steps - b.colour_steps) >= 0.05:
            what.append(f"{f.colour_steps:.1f} steps of shift instead of {b.colour_steps:.1f}")
        if abs(f.conductor_w - b.conductor_w) >= 0.05:
            watts = f.conductor_w - b.conductor_w
            what.append(f"{abs(watts):.1f} W {'more' if watts > 0 else 'less'} lost")
        lines.append(f"  {plan.name}: {more:.2f} dearer, {', '.join(what) or 'other places'}.")
    return lines


def _verdict(plan: Plan) -> str:
    return "does not hold" if plan.broken is not None else "has a fault" if plan.fault is not None else ""


def _besides(scene: Scene, best: Plan) -> list[str]:
    """What changes besides the feeds."""
    lines = []
    for name, supply in best.scene.supply.items():
        if name not in scene.supply:
            lines.append(
                f"  New supply {name}: {supply.volts:g} V, {supply.amps:g} A; each circuit keeps to a limited power source."
            )
        elif supply.amps != scene.supply[name].amps:
            lines.append(
                f"  Supply {name}: {supply.amps:g} A in place of {scene.supply[name].amps:g} A, for the same reason."
            )
    for before, after in zip(scene.join, best.scene.join, strict=True):
        if before.carries == "power" != after.carries:
            lines.append(f"  Join {before.from_} to {before.to}: the positive is cut, the negative goes on.")
        elif before.carries != after.carries:
            lines.append(
                f"  Join {before.from_} to {before.to}: the negative goes with the data, between two supplies."
            )
    return lines


def _counted(words: Iterable[str]) -> str:
    """What there is and how often, such as '2 × 1.5 mm², 1 mm²'."""
    counts: dict[str, int] = {}
    for word in words:
        counts[word] = counts.get(word, 0) + 1
    return ", ".join(word if n == 1 else f"{n} × {word}" for word, n in counts.items())


def _less(advice: Advice, spare: dict[str, Cap]) -> list[str]:
    """What the best gives up for other content, against what is there."""
    present = advice.present
    if present is None or spare[advice.best.name].code >= spare[present.name].code:
        return []
    after, before = _level(spare[advice.best.name]), _level(spare[present.name])
    return [
        f"  It leaves less for any other content than the plan as it is: level {after} after {before}; --any plans for that."
    ]


def _cap(asked: list[Asked], caps: list[Cap]) -> str:
    """The cap of what is tightest."""
    return _level(min(zip(caps, asked, strict=True), key=lambda pair: pair[0].level / pair[1].level)[0])


def _level(cap: Cap) -> str:
    return f"{cap.level:.3f}" if cap.holds else "none"


def _place(layout: Layout, run: str, at_m: float) -> str:
    r = layout.run_names.index(run)
    if at_m < 1e-6:
        return "data end"
    return "far end" if at_m > float(layout.length_m[r] - 0.5 * layout.cut_m[r]) else "inside"


def feed_json(of: Outcome) -> dict[str, Any]:
    """The same as the JSON of `feed`, format 1."""
    from dataclasses import asdict

    def one(plan: Plan) -> dict[str, Any]:
        f = plan.figures
        return {
            "name": plan.name,
            "holds": plan.holds,
            "proved": plan.proved,
            "cost": plan.cost,
            "caps": [cap.as_json() for cap in of.caps[plan.name]],
            "any_cap": of.spare[plan.name].as_json(),
            "lowest_volts": f.lowest_v,
            "colour_steps": f.colour_steps,
            "dimming": f.dimming,
            "cable_m": plan.cable_m,
            "conductor_watts": f.conductor_w,
            "supplies": [
                {"name": name, "peak_amps": float(amps)}
                for name, amps in zip(of.scene.supply, f.supply_peak_a, strict=True)
            ],
            "feeds": [
                {**feed.model_dump(by_alias=True, exclude_none=True), "peak_amps": float(peak)}
                for feed, peak in zip(plan.feeds, f.feed_peak_a.tolist(), strict=True)
            ],
        }

    present = of.advice.present
    return {
        "format": 1,
        "scene": of.scene.title,
        "assumed": list(of.scene.assumed),
        "asked": [{"content": a.name, "level": a.level} for a in of.asked],
        "prices": {key: value for key, value in asdict(of.rules.prices).items() if key != "supply"},
        "plans": [one(plan) for plan in (of.advice.best, *of.advice.others)],
        "present": None if present is None else one(present),
        "kept": of.advice.kept,
    }
