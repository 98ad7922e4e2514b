"""`covecast demo`: the main job on a scene that ships with the package; with no display, to files."""

from __future__ import annotations

import contextlib
import importlib
import io
import os
import sys
from pathlib import Path

import click

__all__ = ["FILES", "command", "has_display"]

SCENE = "tea_bar"
FILES = ("room.png", "swallows.gif", "meter.txt", "caps.txt")
"""What `--to` writes."""

_STILL, _STILL_AT_S = "evening", 4.0
_CLIP, _CLIP_S = "swallows", 4.0


def has_display() -> bool:
    """Whether a window can open, as far as can be told without trying: on Linux a display must be named."""
    if sys.platform.startswith("linux"):
        return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
    return True


def _printed(command_name: str) -> str:
    """What another command prints for the demo scene."""
    other = importlib.import_module(f"preview.commands.{command_name}").command
    text = io.StringIO()
    with contextlib.redirect_stdout(text):
        other.main([SCENE], prog_name=f"covecast {command_name}", standalone_mode=False)
    return text.getvalue()


@click.command(name="demo")
@click.option("--to", "folder", type=click.Path(path_type=Path), help="Write files to this folder; open no window.")
def command(folder: Path | None) -> None:
    """Show the main job on an invented tea bar: the lit room, what it draws, and the level up to which it holds.

    Opens the window. With no display, or with --to, writes a still, a clip of 4 s, the meter's table and the caps.
    """
    from preview.commands.options import load

    if folder is None and has_display():
        from preview.window.app import show
        from preview.window.display import NoDisplay

        with contextlib.suppress(NoDisplay):
            show(load(SCENE), SCENE)
            return
    if folder is None:
        folder = Path("covecast-demo")
        click.echo("No display found: writing files instead of opening the window.", err=True)
    _write(folder)


def _write(folder: Path) -> None:
    import re

    from preview.commands.options import load
    from preview.commands.progress import progress_bar
    from preview.handover.clips import Target, write_clip, write_still
    from preview.handover.frames import film_of, stage_of
    from preview.handover.placing import check_place, ending_cleanly, placing_folder
    from preview.looks.drives import find_look

    check_place(folder)
    plan = load(SCENE)
    ours = "|".join(re.escape(name) for name in FILES)
    with ending_cleanly(), placing_folder(folder, ours) as part:
        with progress_bar("A still", 100) as done:
            stage = stage_of(plan, (1280, 720), lambda share: done(round(90 * share)))
            film = film_of(stage, find_look(plan, _STILL), seamless=False)
            write_still(film, _STILL_AT_S, part / "room.png")
            done(100)
        with progress_bar("A clip", 200) as done:
            stage = stage_of(plan, (640, 360), lambda share: done(round(100 * share)))
            film = film_of(stage, find_look(plan, _CLIP), seconds=_CLIP_S)
            write_clip(film, Target(part / "swallows.gif", ".gif"), progress=lambda k, n: done(100 + 100 * k // n))
        for name, command_name in (("meter.txt", "meter"), ("caps.txt", "cap")):
            click.echo(f"{command_name} …", err=True)
            (part / name).write_text(_printed(command_name), encoding="utf-8")
        caps = (part / "caps.txt").read_text(encoding="utf-8")
    click.echo(caps)
    click.echo(f"Written to {folder.resolve()}:")
    for name, says in zip(
        FILES, ("the room of an evening", "4 s of a look, looping", "what every look draws", "the caps"), strict=True
    ):
        click.echo(f"  {name:<14} {says}")
    click.echo(f"The scene is `{SCENE}`; try `covecast meter {SCENE}`, or `covecast new my_room.toml` for your own.")
