"""`covecast clip`: a GIF, MP4 or WebP of a look, numbered pictures, or a PNG of one moment."""

from __future__ import annotations

import contextlib
import re
import sys
from collections.abc import Callable, Iterator

import click

from preview.commands.options import load, scene_argument

__all__ = ["command", "progress_bar"]

_CLIP_SIZE, _STILL_SIZE = (640, 360), (1280, 720)


def _size(ctx: click.Context, param: click.Parameter, value: str | None) -> tuple[int, int] | None:
    """WIDTHxHEIGHT in pixels as two whole numbers, or a usage error."""
    if value is None:
        return None
    found = re.fullmatch(r"\s*(\d{1,6})\s*[xX×]\s*(\d{1,6})\s*", value)
    if found is None:
        raise click.BadParameter(f"expected width and height such as 640x360, found {value!r}", ctx, param)
    return int(found[1]), int(found[2])


@contextlib.contextmanager
def progress_bar(label: str, steps: int) -> Iterator[Callable[[int], None]]:
    """A bar on standard error while something runs, on a terminal; nothing at all elsewhere. Call it with the steps done."""
    if not sys.stderr.isatty():
        yield lambda done: None
        return
    with click.progressbar(length=steps, label=label.ljust(18), file=sys.stderr) as bar:
        yield lambda done: bar.update(done - bar.pos)


@click.command(name="clip")
@scene_argument
@click.argument("out", metavar="OUT")
@click.option("--look", "look_name", metavar="NAME", help="Which look; the scene's first if left out.")
@click.option("--at", "at_s", type=float, metavar="SECONDS", help="One moment, for a .png.")
@click.option("--seconds", type=float, metavar="S", help="Length, from the look's start; all of the look if left out.")
@click.option("--fps", type=float, default=25.0, show_default=True, metavar="N", help="Pictures a second.")
@click.option(
    "--size", callback=_size, metavar="WxH", help="Width and height in pixels [640x360; one moment 1280x720]."
)
@click.option("--level", type=float, metavar="0..1", help="Brightness; the look's own if left out.")
@click.option("--ambient", "ambient_lux", type=float, metavar="LUX", help="Light in the room; the scene's if left out.")
@click.option("--no-sag", is_flag=True, help="As if no voltage were lost on the way.")
@click.option("--once", is_flag=True, help="Do not fade the end into the start.")
@click.option("--title", is_flag=True, help="Write the scene's title and the look's name into the picture.")
@click.option("--caption", metavar="TEXT", help="Write this into the picture.")
def command(
    scene: str,
    out: str,
    look_name: str | None,
    at_s: float | None,
    seconds: float | None,
    fps: float,
    size: tuple[int, int] | None,
    level: float | None,
    ambient_lux: float | None,
    no_sag: bool,
    once: bool,
    title: bool,
    caption: str | None,
) -> None:
    """Write a look of SCENE to OUT, as its ending says: .gif, .mp4, .webp, or a folder/ for numbered PNGs; with --at a .png.

    The clip loops: where a look does not come back to its start by itself, its last second fades into it.
    """
    from preview.handover.clips import ClipError, target_of, write_clip, write_still
    from preview.handover.frames import film_of, stage_of
    from preview.handover.placing import check_place, ending_cleanly
    from preview.looks.drives import find_look

    size = size or (_CLIP_SIZE if at_s is None else _STILL_SIZE)
    target = target_of(out, size, fps)
    if at_s is not None and target.kind != ".png":
        raise ClipError(f"{out}: --at gives one moment: expected the ending .png, found {target.kind}")
    if at_s is None and target.kind == ".png":
        raise ClipError(f"{out}: a .png holds one moment: expected --at SECONDS, found none")
    if ambient_lux is not None and not 0 <= ambient_lux <= 200_000:
        raise ClipError(f"--ambient: expected 0 to 200000 lux, found {ambient_lux:g}")
    plan = load(scene)
    look = find_look(plan, look_name)
    if at_s is not None and not 0 <= at_s <= look.seconds:
        raise ClipError(f"look {look.name!r}: --at: expected 0 to its {look.seconds:g} s, found {at_s:g} s")
    if seconds is not None and not 0 < seconds <= look.seconds:
        raise ClipError(
            f"look {look.name!r}: --seconds: expected more than 0, up to its {look.seconds:g} s, found {seconds:g} s"
        )
    if level is not None and not 0 <= level <= 1:
        raise ClipError(f"--level: expected 0 to 1, found {level:g}")
    check_place(target.path)
    lines = [f"{plan.title}: {look.name}"] if title else []
    lines += [caption] if caption else []

    with ending_cleanly():
        with progress_bar("Lighting the room", 100) as lit:
            stage = stage_of(plan, size, lambda share: lit(round(100 * share)))
        film = film_of(
            stage,
            look,
            seconds=seconds,
            frames_per_s=fps,
            level=level,
            sag=not no_sag,
            ambient_lux=ambient_lux,
            seamless=not once and at_s is None,
        )
        if at_s is not None:
            write_still(film, at_s, target.path, lines)
            click.echo(f"{out}: {look.name} at {at_s:g} s, {size[0]}x{size[1]}")
            return
        with progress_bar("Writing pictures", film.frames) as done:
            write_clip(film, target, lines, progress=lambda frame, _: done(frame))
    click.echo(f"{out}: {look.name}, {film.frames} pictures, {film.frames / fps:g} s, {size[0]}x{size[1]}")
