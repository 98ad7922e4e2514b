"""`covecast show`: the window on a scene."""

from __future__ import annotations

import click

from preview.commands.options import load, scene_argument, size_in_pixels

__all__ = ["command"]


def _window_size(ctx: click.Context, param: click.Parameter, value: str) -> tuple[int, int]:
    """Width and height of a window that fits a screen, or a usage error."""
    size = size_in_pixels(ctx, param, value)
    assert size is not None
    if not (560 <= size[0] <= 7680 and 420 <= size[1] <= 4320):
        raise click.BadParameter(f"expected a size from 560x420 to 7680x4320, found {value}", ctx, param)
    return size


@click.command()
@scene_argument
@click.option("--look", metavar="NAME", help="The look to begin with; without it the first one.")
@click.option(
    "--size",
    callback=_window_size,
    default="1280x720",
    show_default=True,
    metavar="WxH",
    help="Size of the window when it opens.",
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
    from preview.window.interrupts import Interrupts

    open_display(scene)
    with Interrupts() as interrupts:
        window = first_window(plan.title, size)  # there at once: what comes now is loaded while it is seen
        from preview.window.app import show

        file = find_scene(scene)
        timing = show(
            plan, scene, number, size, frames, file=file, read=lambda: load(scene), window=window, interrupts=interrupts
        )
    if frames is not None:
        click.echo("  ".join(f"{name} {value:.2f}" for name, value in timing.items()))
