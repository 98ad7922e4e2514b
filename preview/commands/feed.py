"""`covecast feed`: where to bring power in, through which cable and fuse, so that a wanted level holds."""

from __future__ import annotations

import contextlib
import math
import sys
from typing import TYPE_CHECKING, Any

import click

from preview.commands.options import json_option, load, print_json, scene_argument

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from pathlib import Path

    from preview.power.cap import Cap
    from preview.power.plan import Advice, Plan
    from preview.power.plan_chain import Rules
    from preview.power.plan_costs import Prices
    from preview.power.plan_moments import Asked
    from preview.scene.layout import Layout
    from preview.scene.model import Scene

__all__ = ["command", "feed_text"]


@click.command(name="feed")
@scene_argument
@click.option("--level", type=float, metavar="0..1", help="To hold this level, instead of each look's own.")
@click.option("--look", "names", multiple=True, metavar="NAME", help="For this look alone; may be given again.")
@click.option("--any", "any_content", is_flag=True, help="For any content: every colour of every group at once.")
@click.option(
    "--allowance",
    type=float,
    default=0.15,
    show_default=True,
    metavar="SHARE",
    help="Added to the way along the walls.",
)
@click.option(
    "--cable-m", "cable_m", multiple=True, metavar="[NAME=]M", help="Metres of cable from a supply or block to any run."
)
@click.option("--cables", type=click.Choice(["mm2", "awg"]), help="Cable sizes; those the scene uses if left out.")
@click.option("--ends", is_flag=True, help="Only at the ends of runs.")
@click.option("--most", type=click.IntRange(min=1), metavar="N", help="At most N feeds for each set of joined runs.")
@click.option(
    "--price", "prices", multiple=True, metavar="KEY=X", help="feed, fuse, metre or mm2: see the table's foot."
)
@click.option("--write", is_flag=True, help="Put the cheapest plan into the scene file, after showing the change.")
@click.option("--to", "to", metavar="FILE", help="With --write: into a new file instead.")
@click.option("--yes", is_flag=True, help="With --write: do not ask.")
@json_option
def command(
    scene: str,
    level: float | None,
    names: tuple[str, ...],
    any_content: bool,
    allowance: float,
    cable_m: tuple[str, ...],
    cables: str | None,
    ends: bool,
    most: int | None,
    prices: tuple[str, ...],
    write: bool,
    to: str | None,
    yes: bool,
    as_json: bool,
) -> None:
    """The cheapest feeds with which SCENE holds every limit: where, from which supply, through which cable and fuse.

    Without --look and --any it plans for all looks, each at its own level. What is there now counts for nothing but its
    measured lengths; it is shown beside the others.
    """
    from preview.handover.feeding import advise, any_caps, asked_of, not_held, rules_of
    from preview.scene.faults import CovecastError
    from preview.scene.layout import lay_out

    if names and any_content:
        raise click.UsageError("One of --look and --any is wanted, found both.")
    if (to or yes) and not write:
        raise click.UsageError("--to and --yes go with --write.")
    if write and not yes and (as_json or not sys.stdin.isatty()):
        raise click.UsageError("Nobody can be asked whether to write: expected --yes with --write, found none.")
    if level is not None and not 0 < level <= 1:
        raise click.UsageError(f"Expected --level above 0, up to 1, found {level:g}.")
    if not (math.isfinite(allowance) and 0 <= allowance <= 5):
        raise click.UsageError(f"Expected --allowance from 0 to 5, a share of the way, found {allowance:g}.")
    plan = load(scene)
    target = _target(scene, to) if write else None
    layout = lay_out(plan)
    asked = asked_of(plan, layout, names, any_content, level)
    if not asked:
        raise CovecastError(f"{plan.title}: expected a look with a level above 0, or --level, found none")
    given_m = _lengths(plan, cable_m, as_json)
    with _counting() as count:
        rules = rules_of(
            plan, layout, allowance=allowance, given_m=given_m, cables=cables, ends=ends, most=most, prices=_prices(prices),
            check=count,
        )  # fmt: skip
        advice, caps = advise(plan, layout, asked, rules)
        spare = any_caps(layout, advice)
    if as_json:
        print_json(_as_json(plan, layout, asked, advice, caps, spare, rules))
    else:
        click.echo(feed_text(plan, layout, asked, advice, caps, spare, rules))
    for line in not_held(plan, layout, asked, advice):
        click.echo(f"caution: {line}", err=True)
    if target is not None:
        _write(plan, advice, target, yes, as_json)


@contextlib.contextmanager
def _counting() -> Iterator[Callable[[], None]]:
    """A count of the cut points looked at, on standard error where that is a terminal."""
    if not sys.stderr.isatty():
        yield lambda: None
        return
    seen = 0

    def count() -> None:
        nonlocal seen
        seen += 1
        if seen % 25 == 0:
            click.echo(f"\rPlanning the feeds: {seen} cut points looked at", err=True, nl=False)

    try:
        yield count
    finally:
        click.echo("\r" + " " * 60 + "\r", err=True, nl=False)


def _prices(given: tuple[str, ...]) -> Prices:
    """The assumed prices, with those given on the command line."""
    from dataclasses import asdict

    from preview.power.plan_costs import Prices
    from preview.scene.faults import nearest

    values = {key: value for key, value in asdict(Prices()).items() if key != "supply"}
    for text in given:
        key, _, number = text.partition("=")
        if key not in values:
            near = nearest(key, values)
            hint = f" Did you mean {near}?" if near else ""
            raise click.UsageError(f"--price: expected one of {', '.join(values)}, found {key!r}.{hint}")
        values[key] = _number(number, f"--price {key}=X", 1e6)
    return Prices(**values)


def _number(text: str, what: str, most: float) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and 0 <= value <= most):
        raise click.UsageError(f"{what}: expected a number from 0 to {most:g}, found {text!r}.")
    return value


def _lengths(scene: Scene, given: tuple[str, ...], as_json: bool) -> dict[str, float]:
    """Metres of cable from sources that are told, or asked for where the scene does not say where a source is."""
    from preview.scene.faults import CovecastError, nearest

    places: dict[str, Any] = {name: supply.at_m for name, supply in scene.supply.items()}
    places |= {name: block.at_m for name, block in scene.block.items()}
    found: dict[str, float] = {}
    for text in given:
        name, mark, number = text.rpartition("=")
        metres = _number(number, "--cable-m", 1000)
        if not mark:
            found |= {source: metres for source in places if source not in found}
        elif name not in places:
            near = nearest(name, places)
            hint = f" Did you mean {near}?" if near else ""
            raise click.UsageError(f"--cable-m: expected one of {', '.join(places)}, found {name!r}.{hint}")
        else:
            found[name] = metres
    unknown = [name for name, at_m in places.items() if at_m is None and name not in found]
    if not unknown:
        return found
    if as_json or not sys.stdin.isatty():
        lines = [f"{scene.title}: where these are is not known, so nobody can tell how long their cables get"]
        for name in unknown:
            kind = "supply" if name in scene.supply else "block"
            lines.append(
                f"  {kind}.{name}.at_m: expected its place [x, y, z] or --cable-m {name}=METRES, found nothing"
            )
        raise CovecastError("\n".join(lines))
    for name in unknown:
        question = f"Metres of cable from {name} to the runs it may feed, one way"
        found[name] = click.prompt(question, type=click.FloatRange(0, 1000), err=True)
    return found


def _target(scene: str, to: str | None) -> tuple[Path, Path | None]:
    """The file that is read, and the one that is written where it is another."""
    from pathlib import Path

    from preview.scene.faults import CovecastError
    from preview.scene.read import demo_names, find_scene

    source = find_scene(scene)
    if to is None:
        if scene in demo_names() and not Path(scene).exists():
            raise CovecastError(
                f"{scene}: a scene that ships is not changed; expected --to FILE with --write, found none"
            )
        return source, None
    if Path(to).exists():
        raise CovecastError(f"{to}: expected a new file, found one that is there already")
    return source, Path(to)


def _write(scene: Scene, advice: Advice, target: tuple[Path, Path | None], yes: bool, as_json: bool) -> None:
    """Show what changes in the file, ask, and write."""
    import tomlkit

    from preview.looks.library import effect_names
    from preview.power.plan_write import feeds_into
    from preview.scene.read import read_text
    from preview.scene.write import edit_scene, new_scene

    source, new = target
    if advice.kept:
        click.echo("Nothing was written: the plan as it is holds, and none found is cheaper.", err=True)
        return
    change = feeds_into(scene, advice.best.scene)
    diff = edit_scene(source, change, dry_run=True, effects=effect_names())
    if not as_json:
        click.echo(f"\n{diff}" if diff else f"\n{source}: nothing to change.")
    if new is None and not diff:
        return
    if not yes and not click.confirm(f"Write this to {new or source}?", err=True):
        click.echo("Nothing was written.", err=True)
        return
    if new is None:
        edit_scene(source, change, effects=effect_names())
    else:
        document = tomlkit.parse(read_text(source))
        change(document)
        new_scene(new, document.as_string(), effects=effect_names())
    click.echo(
        f"{new or source}: written. Comments were kept: read those beside what changed again.\n"
        f"Next: covecast check {new or source}",
        err=True,
    )


def feed_text(
    scene: Scene,
    layout: Layout,
    asked: list[Asked],
    advice: Advice,
    caps: dict[str, list[Cap]],
    spare: dict[str, Cap],
    rules: Rules,
) -> str:
    """The plans side by side with their caps, of what is asked and of any content, why the first is best, and its feeds."""
    from preview.commands.table import assumed_lines, table
    from preview.handover.feeding import plans_of

    best = advice.present if advice.kept and advice.present else advice.best
    parts = [_head(scene, layout, asked, advice)]
    rows = []
    for plan in plans_of(advice):
        f = plan.figures
        rows.append(
            [
                plan.name, str(len(plan.feeds)), _counted(_size(feed) for feed in plan.feeds),
                _counted("none" if feed.fuse_a is None else f"{feed.fuse_a:g} A" for feed in plan.feeds),
                _cap(asked, caps[plan.name]), _level(spare[plan.name]), f"{f.lowest_v:.2f}",
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
    if not advice.kept:
        parts.append("\n".join([*_why(scene, advice), *_less(advice, spare)]))
    rows = [
        [
            feed.run, f"{feed.at_m:.3f}".rstrip("0").rstrip("."), _place(layout, feed.run, feed.at_m), feed.from_,
            _size(feed), f"{feed.cable.length_m:.1f}", "-" if feed.fuse_a is None else f"{feed.fuse_a:g}", f"{peak:.2f}",
        ]
        for feed, peak in zip(best.feeds, best.figures.feed_peak_a.tolist(), strict=True)
    ]  # fmt: skip
    parts.append(f"{best.name}:\n" + table(["<run", "at m", "<", "<from", "<cable", "m", "fuse A", "peak A"], rows))
    p = rules.prices
    foot = (
        f"Cost by assumption, in no currency: {p.feed:g} a feed, {p.fuse:g} a fuse, {p.metre:g} a metre of cable and"
        f" {p.mm2:g} a metre and mm² (--price).\n"
        "Cap is that of what was asked for, any that of any content. A fuse is the smallest that carries everything at full, or, where\n"
        "the cable is too thin for that, what was asked for.\n"
        "Lengths follow the walls with an allowance; measure the way before you cut. Fuses sit next to the supply.\n"
        "Have the mains side connected by a licensed person, and keep to your local code."
    )
    parts.append(foot)
    if scene.assumed:
        parts[-1] += "\n" + assumed_lines(scene.assumed)
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


def _size(feed: Any) -> str:
    return f"{feed.cable.awg} AWG" if feed.cable.awg is not None else f"{feed.cable.mm2:g} mm²"


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


def _as_json(
    scene: Scene,
    layout: Layout,
    asked: list[Asked],
    advice: Advice,
    caps: dict[str, list[Cap]],
    spare: dict[str, Cap],
    rules: Rules,
) -> dict[str, Any]:
    from dataclasses import asdict

    def one(plan: Plan) -> dict[str, Any]:
        f = plan.figures
        return {
            "name": plan.name,
            "holds": plan.holds,
            "proved": plan.proved,
            "cost": plan.cost,
            "caps": [cap.as_json() for cap in caps[plan.name]],
            "any_cap": spare[plan.name].as_json(),
            "lowest_volts": f.lowest_v,
            "colour_steps": f.colour_steps,
            "dimming": f.dimming,
            "cable_m": plan.cable_m,
            "conductor_watts": f.conductor_w,
            "supplies": [
                {"name": name, "peak_amps": float(amps)}
                for name, amps in zip(scene.supply, f.supply_peak_a, strict=True)
            ],
            "feeds": [
                {**feed.model_dump(by_alias=True, exclude_none=True), "peak_amps": float(peak)}
                for feed, peak in zip(plan.feeds, f.feed_peak_a.tolist(), strict=True)
            ],
        }

    present = advice.present
    return {
        "format": 1,
        "scene": scene.title,
        "assumed": list(scene.assumed),
        "asked": [{"content": a.name, "level": a.level} for a in asked],
        "prices": {key: value for key, value in asdict(rules.prices).items() if key != "supply"},
        "plans": [one(plan) for plan in (advice.best, *advice.others)],
        "present": None if present is None else one(present),
        "kept": advice.kept,
    }
