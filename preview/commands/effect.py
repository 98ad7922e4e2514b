"""`covecast effect`: list the effects with their dials, start a script of one's own, and try one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from preview.commands.options import check_png, json_option, load, print_json
from preview.scene.faults import CovecastError

if TYPE_CHECKING:
    from effects import Effect
    from preview.scene.model import Look, Scene

__all__ = ["command"]


@click.group("effect")
def command() -> None:
    """List the effects and their dials, start one of your own, try one."""


@command.command("list")
@click.argument("names", nargs=-1, metavar="[NAME]...")
@click.option("--dials", is_flag=True, help="Every effect with its dials.")
@click.option(
    "--sheet", type=click.Path(path_type=Path), metavar="OUT.png", help="A picture of them: time runs downwards."
)
@click.option(
    "--scene", metavar="SCENE", help="With --sheet: moments of each in this scene, twelve where there is only one."
)
@json_option
def list_(names: tuple[str, ...], dials: bool, sheet: Path | None, scene: str | None, as_json: bool) -> None:
    """Every effect with what one sees; with NAMEs, those and their dials.

    Looks name an effect and set its dials: effect = "millrace", dials = { speed_m_per_s = 0.5 }. Every effect also has the dial seed, a
    whole number: another seed gives another pattern of the same kind.
    """
    from preview.looks.library import EffectError, effect_names, find_effect

    found: list[Effect] = []
    for name in names or effect_names():
        try:
            found.append(find_effect(name))
        except EffectError as error:
            if names:
                raise
            click.echo(f"caution: {error}", err=True)  # one's own script that does not load yet hides no other
    if scene is not None and sheet is None:
        raise CovecastError("--scene: expected --sheet OUT.png beside it, found none")
    if sheet is not None:
        check_png(sheet, "--sheet")
        if scene is None:
            from preview.handover.stills import write_png
            from preview.looks.sheet import strip_sheet

            write_png(sheet, strip_sheet(found))
        else:
            _write_moments(load(scene), [_plain_look(effect) for effect in found], sheet, (240, 135))
        click.echo(str(sheet), err=as_json)
    if as_json:
        print_json({"format": 1, "effects": [_as_data(effect) for effect in found]})
    if as_json or sheet is not None:
        return
    for number, effect in enumerate(found):
        if names or dials:
            click.echo(("\n" if number else "") + f"{effect.name}  ({effect.mood})")
            click.echo(click.wrap_text(effect.says, 100, "  ", "  "))
            _print_dials(effect)
        else:
            first = effect.says.split(": ", 1)[0] if len(effect.says) > 110 else effect.says
            click.echo(f"{effect.name:16} {effect.mood:14} {' '.join(first.split()).rstrip('.')}")
    if not (names or dials):
        click.echo("\nTheir dials: covecast effect list NAME")


def _print_dials(effect: Effect) -> None:
    rows = [(dial.name, f"{dial.default:g} {dial.unit}".rstrip(), dial.range_text, dial.says) for dial in effect.dials]
    if not rows:
        click.echo("  no dials")
        return
    widths = [max(len(row[k]) for row in rows) for k in range(3)]
    for name, default, reach, says in rows:
        click.echo(f"  {name:{widths[0]}}  {default:{widths[1]}}  ({reach})".ljust(sum(widths) + 10) + f"  {says}")


def _as_data(effect: Effect) -> dict[str, Any]:
    return {
        "name": effect.name,
        "mood": effect.mood,
        "says": " ".join(effect.says.split()),
        "file": effect.file,
        "dials": [
            {"name": d.name, "unit": d.unit, "low": d.low, "high": d.high, "default": d.default, "says": d.says}
            for d in effect.dials
        ],
    }


@command.command("new", short_help="Start an effect of your own: a script that runs, and its test.")
@click.argument("name")
@click.option("--to", "folder", type=click.Path(path_type=Path), help="Folder to write to, instead of your own.")
def new(name: str, folder: Path | None) -> None:
    """Start an effect of your own: a commented script that already runs, and its test.

    Scripts in your own folder can be named by the looks of any scene on this machine.
    """
    from preview.looks.library import own_folder
    from preview.looks.template import new_script

    script, test = new_script(name, folder or own_folder())
    click.echo(f"{script}\n{test}")
    click.echo(f"Try it, and save to see what you changed:  covecast effect try {script if folder else name}")


@command.command("try", short_help="Try an effect on a strip and in a room, and again at every save.")
@click.argument("effect", metavar="FILE")
@click.option("--scene", metavar="SCENE", help="Try it in this scene, instead of a plain room.")
@click.option("--dial", "dials", multiple=True, metavar="NAME=VALUE", help="Set a dial; may be given again.")
@click.option(
    "--seconds", type=click.FloatRange(0, 3600, min_open=True), default=20.0, show_default=True, help="Length."
)
@click.option("--level", type=click.FloatRange(0, 1), default=1.0, show_default=True, help="Level of the light.")
@click.option(
    "--to", "to", type=click.Path(path_type=Path), metavar="OUT.png", help="Twelve moments as one picture; no window."
)
def try_(effect: str, scene: str | None, dials: tuple[str, ...], seconds: float, level: float, to: Path | None) -> None:
    """Try an effect on a strip and in a room: FILE is a script, or the name of an effect.

    The script is read again whenever it is saved. What is wrong with it is shown in the window, with its line, until it is mended.
    """
    from preview.looks.library import add_script, find_effect, ready_look
    from preview.looks.trial import trial_scene
    from preview.scene.model import Look

    found = add_script(Path(effect)) if effect.endswith(".py") or "/" in effect else find_effect(effect)
    look = Look(name=f"trying {found.name}", effect=found.name, seconds=seconds, level=level, dials=_dials(dials))

    def read() -> Scene:
        return trial_scene(look, load(scene) if scene else None)

    room = read()
    ready_look(room, look)
    if to is None:
        from preview.scene.read import find_scene
        from preview.window.app import show

        show(room, scene or "tea_bar", 0, (1280, 720), file=find_scene(scene) if scene else None, read=read)
    else:
        check_png(to, "--to")
        _write_moments(room, [look], to, (400, 225))
        click.echo(str(to))


def _dials(given: tuple[str, ...]) -> dict[str, float]:
    dials = {}
    for text in given:
        name, equals, value = text.partition("=")
        try:
            number = float(value)
        except ValueError:
            number = math.nan
        if not equals or not name.strip() or not math.isfinite(number):
            raise CovecastError(f"--dial: expected NAME=VALUE with a number, like speed_m_per_s=0.4, found {text!r}")
        dials[name.strip()] = number
    return dials


def _plain_look(effect: Effect) -> Look:
    """A look of an effect at its defaults."""
    from preview.looks.sheet import SECONDS
    from preview.scene.model import Look

    return Look(name=effect.name, effect=effect.name, seconds=SECONDS)


def _write_moments(scene: Scene, looks: Sequence[Look], to: Path, size: tuple[int, int]) -> None:
    """One picture of moments of looks that need not be the scene's own, each under its name."""
    from preview.commands.progress import progress_bar
    from preview.handover.contact import contact_sheet
    from preview.handover.frames import film_of, stage_of
    from preview.handover.stills import write_png

    stage = stage_of(scene, size)
    with progress_bar("Drawing", len(looks)) as done:
        write_png(to, contact_sheet([film_of(stage, look) for look in looks], done=lambda film, _: done(film)))
