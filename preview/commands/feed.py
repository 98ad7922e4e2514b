"""`covecast feed`: where to bring power in, through which cable and fuse, so that a wanted level holds."""

from __future__ import annotations

import contextlib
import math
import sys
from typing import TYPE_CHECKING, Any

import click

from preview.commands.feed_words import Outcome, feed_json, feed_text
from preview.commands.options import json_option, load, print_json, scene_argument

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from preview.power.plan import Advice
    from preview.power.plan_costs import Prices
    from preview.scene.model import Scene

__all__ = ["command"]


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
        outcome = Outcome(plan, layout, asked, rules, advice, caps, any_caps(layout, advice))
    change = None
    if target is not None and yes:  # first of all: whoever reads the output may close it before its end
        change = _write(plan, advice, target, yes)
    if as_json:
        print_json(feed_json(outcome))
    else:
        click.echo(feed_text(outcome))
    for line in not_held(plan, layout, asked, advice):
        click.echo(f"caution: {line}", err=True)
    if target is not None and not yes:
        _write(plan, advice, target, yes)
    if change and not as_json:
        click.echo(change)


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
    from preview.scene.faults import unknown

    values = {key: value for key, value in asdict(Prices()).items() if key != "supply"}
    for text in given:
        key, _, number = text.partition("=")
        if key not in values:
            raise click.UsageError(f"--price: {unknown(key, values)}")
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
    from preview.scene.faults import CovecastError, unknown

    places: dict[str, Any] = {name: supply.at_m for name, supply in scene.supply.items()}
    places |= {name: block.at_m for name, block in scene.block.items()}
    found: dict[str, float] = {}
    for text in given:
        name, mark, number = text.rpartition("=")
        metres = _number(number, "--cable-m", 1000)
        if not mark:
            found |= {source: metres for source in places if source not in found}
        elif name not in places:
            raise click.UsageError(f"--cable-m: {unknown(name, places)}")
        else:
            found[name] = metres
    unplaced = [name for name, at_m in places.items() if at_m is None and name not in found]
    if not unplaced:
        return found
    if as_json or not sys.stdin.isatty():
        lines = [f"{scene.title}: where these are is not known, so nobody can tell how long their cables get"]
        for name in unplaced:
            kind = "supply" if name in scene.supply else "block"
            lines.append(
                f"  {kind}.{name}.at_m: expected its place [x, y, z] or --cable-m {name}=METRES, found nothing"
            )
        raise CovecastError("\n".join(lines))
    for name in unplaced:
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


def _write(scene: Scene, advice: Advice, target: tuple[Path, Path | None], yes: bool) -> str:
    """Write what changes in the file, and give it back; unless `yes`, show it and ask before."""
    import tomlkit

    from preview.looks.library import effect_names
    from preview.power.plan_write import feeds_into
    from preview.scene.read import read_text
    from preview.scene.write import comments_beside_changes, edit_scene, new_scene

    source, new = target
    if advice.kept:
        click.echo("Nothing was written: the plan as it is holds, and none found is cheaper.", err=True)
        return ""
    change = feeds_into(scene, advice.best.scene)
    diff = edit_scene(source, change, dry_run=True, effects=effect_names())
    shown = f"\n{diff}" if diff else f"\n{source}: nothing to change."
    if not yes:
        click.echo(shown)
    if new is None and not diff:
        return shown
    document = tomlkit.parse(read_text(source))
    change(document)
    stale = comments_beside_changes(read_text(source), document.as_string())
    if stale:
        click.echo("Comments stay as they were. Read these again, beside what changes:", err=True)
        for line, text in stale:
            click.echo(f"  line {line}: {' '.join(text.split())}", err=True)
    if not yes and not click.confirm(f"Write this to {new or source}?", err=True):
        click.echo("Nothing was written.", err=True)
        return shown
    if new is None:
        edit_scene(source, change, effects=effect_names())
    else:
        new_scene(new, document.as_string(), effects=effect_names())
    click.echo(f"{new or source}: written.\nNext: covecast check {new or source}", err=True)
    return shown
