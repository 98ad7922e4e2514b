"""`covecast show`: the window on a scene."""

from __future__ import annotations

import re

import click

from preview.commands.options import load, scene_argument

__all__ = ["command"]


class WindowSize(click.ParamType[tuple[int, int]]):
    """A size such as 1280x720."""

    name = "WxH"

    def convert(
        self, value: str | tuple[int, int], param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[int, int]:
        """Width and height in pixels, or a usage error."""
        if isinstance(value, tuple):
            return value
        found = re.fullmatch(r"(\d{1,5})[x×](\d{1,5})", value.strip().lower())
        if not found:
            self.fail(f"expected a size such as 1280x720, found {value!r}", param, ctx)
        width, height = int(found[1]), int(found[2])
        if not (560 <= width <= 7680 and 420 <= height <= 4320):
            self.fail(f"expected a size from 560x420 to 7680x4320, found {value}", param, ctx)
        return width, height


@click.command()
@scene_argument
@click.option("--look", metavar="NAME", help="The look to begin with; without it the first one.")
@click.option(
    "--size", type=WindowSize(), default="1280x720", show_default=True, help="Size of the window when it opens."
)
@click.option(
    "--frames", type=click.IntRange(2), hidden=True, help="Close after so many pictures; print the time taken."
)
def command(scene: str, look: str | None, size: tuple[int, int], frames: int | None) -> None:
    """Open the window: the room, the looks, the live meter. F1 in the window lists the keys.

    The scene file and the effects' scripts are read again whenever they are saved.
    """
    from preview.scene.read import find_scene

    plan = load(scene)
    if plan.photo is not None:
        from preview.light.drawing import photo_notes

        for note in photo_notes(plan):
            click.echo(note, err=True)
    number = 0
    if look is not None:
        from preview.looks.drives import find_look
        from preview.looks.library import looks_of

        number = looks_of(plan).index(find_look(plan, look))
    from preview.window.display import first_window, open_display

    open_display(scene)
    window = first_window(plan.title, size)  # there at once: what comes now is loaded while it is seen
    from preview.window.app import show

    timing = show(plan, scene, number, size, frames, file=find_scene(scene), read=lambda: load(scene), window=window)
    if frames is not None:
        click.echo("  ".join(f"{name} {value:.2f}" for name, value in timing.items()))
