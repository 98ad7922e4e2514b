"""`covecast clip`: a GIF, MP4 or WebP of a look, numbered pictures, a PNG of one moment, a contact sheet, or every look at once."""

from __future__ import annotations

import contextlib
import os
import sys
import warnings
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from preview.commands.options import json_option, load, print_json, scene_argument, size_in_pixels
from preview.commands.progress import progress_bar

if TYPE_CHECKING:
    from preview.handover.clips import Target, Wish, Written
    from preview.handover.frames import Stage
    from preview.scene.model import Scene

__all__ = ["command"]

_CLIP_SIZE, _STILL_SIZE, _SHEET_SIZE = (640, 360), (1280, 720), (400, 224)


@click.command(name="clip")
@scene_argument
@click.argument("out", metavar="OUT")
@click.option("--look", "look_name", metavar="NAME", help="Which look; the scene's first if left out.")
@click.option("--at", "at_s", type=float, metavar="SECONDS", help="One moment, for a .png.")
@click.option("--seconds", type=float, metavar="S", help="Length, from the look's start; all of the look if left out.")
@click.option("--fps", type=float, default=25.0, show_default=True, metavar="N", help="Pictures a second.")
@click.option(
    "--size", callback=size_in_pixels, metavar="WxH", help="Width and height in pixels [640x360; one moment 1280x720]."
)
@click.option("--level", type=float, metavar="0..1", help="Level of the look; its own if left out.")
@click.option(
    "--ambient",
    "ambient_lux",
    type=float,
    metavar="LUX",
    help="Light in the room; the scene's if left out. From 100 lux up it becomes daylight.",
)
@click.option(
    "--exposure", "grey_cd_m2", type=float, metavar="CD/M2",
    help="Luminance that becomes middle grey: about 1 by candle light, 10 to 30 in a lit room; worked out from the look if left out.",
)  # fmt: skip
@click.option("--no-drop", is_flag=True, help="As if no voltage were lost on the way.")
@click.option(
    "--wipe", type=click.Choice(["unlit", "no-drop"]),
    help="A line goes across and back: from the unlit room to the look, or from the look to the same without drop.",
)  # fmt: skip
@click.option("--once", is_flag=True, help="Do not fade the end into the start.")
@click.option("--title", is_flag=True, help="Write the scene's title and the look's name into the picture.")
@click.option("--caption", metavar="TEXT", help="Write this into the picture.")
@click.option(
    "--mail", "mail_mb", type=float, metavar="MB",
    help="At most so many megabytes. Lowered, in this order, only as far as it must be: small changes between pictures (GIF) or fine "
    "grain (MP4, WebP), then pictures a second (GIF, WebP), then their size; never the length. What was lowered is said.",
)  # fmt: skip
@click.option(
    "--sheet",
    is_flag=True,
    help="A .png of moments side by side: of every look, or with --look of that one; a look that stands still is shown once.",
)
@click.option(
    "--all", "every", is_flag=True,
    help="Every look, and the programme, into the folder OUT; what is there and unchanged is kept.",
)  # fmt: skip
@click.option("--as", "ending", type=click.Choice(["gif", "mp4", "webp"]), help="What --all writes.  [default: gif]")
@click.option(
    "--jobs", type=click.IntRange(1, 64), metavar="N", help="Worker processes of --all; one a core if left out."
)
@click.option(
    "--allow-flashing", is_flag=True,
    help="Write a clip that flashes more than three times a second, which can bring on a seizure; "
    "its pictures will say so at their foot, and its metadata.",
)  # fmt: skip
@json_option
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
    grey_cd_m2: float | None,
    no_drop: bool,
    wipe: str | None,
    once: bool,
    title: bool,
    caption: str | None,
    mail_mb: float | None,
    sheet: bool,
    every: bool,
    ending: str | None,
    jobs: int | None,
    allow_flashing: bool,
    as_json: bool,
) -> None:
    """Write a look of SCENE to OUT, as its ending says: .gif, .mp4, .webp, or a folder/ for numbered PNGs; with --at a .png.

    The clip loops: where a look does not come back to its start by itself, its last second fades into it. A clip that flashes more than
    three times a second is refused.

    \b
    covecast clip tea_bar embers.gif --look embers --mail 8
    covecast clip tea_bar before_after.mp4 --wipe unlit
    covecast clip tea_bar looks.png --sheet
    covecast clip tea_bar clips/ --all --as mp4
    """
    from preview.handover.clips import ClipError, Wish, target_of
    from preview.handover.placing import check_place, ending_cleanly
    from preview.light.framing import shaped

    asked = size
    size = size or (_SHEET_SIZE if sheet else _CLIP_SIZE if at_s is None else _STILL_SIZE)
    ending = f".{ending or 'gif'}" if every or ending else None
    wrong = _wrong_together(at_s, sheet, every, look_name, ending, mail_mb, wipe, seconds)
    if wrong:
        raise ClipError("\n".join(f"{out}: {fault}" for fault in wrong))
    if every and not Path(out).suffix and not out.endswith(("/", "\\")):
        out += "/"  # of every look there can only be a folder
    target = target_of(out, size, fps, ending)
    single = at_s is not None or sheet
    if single and target.kind != ".png":
        what = "--sheet" if sheet else "--at gives one moment"
        raise ClipError(f"{out}: {what}: expected the ending .png, found {target.kind}")
    if not single and target.kind == ".png":
        raise ClipError(f"{out}: a .png holds one moment: expected --at SECONDS, or --sheet, found none")
    if every and target.kind != "folder":
        raise ClipError(f"{out}: --all writes a folder: expected a name without an ending, found {target.kind}")
    if mail_mb is not None and target.kind == "folder" and not every:
        raise ClipError(f"{out}: --mail is for one file: expected .gif, .mp4 or .webp, found a folder")
    wish = Wish(
        size, fps, seconds, level, not no_drop, ambient_lux, grey_cd_m2, not once, title, caption, wipe, mail_mb, allow_flashing
    )  # fmt: skip
    _check_ranges(wish)
    plan = load(scene)
    check_place(target.path)
    if asked is None:  # a photo gives its own shape
        wish = replace(wish, size=shaped(plan, size))
    named = [look.name for look in plan.look] if title or sheet else []
    _warn_of_letters("".join([*named, plan.title if title else "", caption or ""]))
    report = _Report(quiet=as_json)
    with ending_cleanly():
        if every:
            _write_every(scene, out, target.path, ending or ".gif", wish, jobs or os.cpu_count() or 1, report)
        elif sheet:
            _write_sheet(plan, out, target.path, look_name, wish, report)
        else:
            _write_one(plan, out, target, look_name, at_s, wish, report)
    if as_json:
        print_json({"format": 1, "scene": plan.title, "files": report.files})


def _warn_of_letters(text: str) -> None:
    from preview.typeface import missing_letters

    missing = missing_letters(text)
    if missing:
        warnings.warn(
            f"the pictures' typeface has no letters {' '.join(missing)}: they come out as boxes; say it without them",
            stacklevel=2,
        )


class _Report:
    """What was written: said as it is done, and kept for --json, where it is not said."""

    def __init__(self, quiet: bool) -> None:
        self.quiet = quiet
        self.files: list[dict[str, Any]] = []

    def add(self, text: str, **entry: Any) -> None:
        self.files.append(entry)
        if not self.quiet:
            click.echo(text)

    def clip(self, out: str, look: str, written: Written, asked: tuple[int, int]) -> None:
        width, height = written.size
        rate = f"{written.frames_per_s:.4g} a second"
        size = f"{written.bytes / 1e6:.2f} MB"
        text = f"{out}: {look}, {written.frames} pictures, {round(written.seconds, 2):g} s, {rate}, {width}x{height}, {size}"
        if written.grey_cd_m2 is not None:
            text += f", middle grey {written.grey_cd_m2:.2g} cd/m²"
        self.add(text, file=out, look=look, **asdict(written))
        if written.lowered:
            click.echo(f"  lowered to fit: {written.lowered}", err=True)
            if Path(out).suffix.lower() == ".gif" and written.size != asked:
                click.echo("  the same as .mp4 is a small part of the bytes, sharp and with every picture", err=True)
        if written.caution:
            click.echo(f"  {written.caution} The file's metadata says so.", err=True)


def _wrong_together(
    at_s: float | None,
    sheet: bool,
    every: bool,
    look_name: str | None,
    ending: str | None,
    mail_mb: float | None,
    wipe: str | None,
    seconds: float | None,
) -> list[str]:
    """Options that do not go together."""
    wrong = []
    if at_s is not None and (sheet or every):
        wrong.append(f"--at gives one moment of one look: expected it without {'--sheet' if sheet else '--all'}")
    if sheet and every:
        wrong.append("--sheet is one picture and --all is a clip of each look: expected one of them")
    if every and look_name is not None:
        wrong.append("--all is every look: expected it without --look")
    if ending is not None and not every:
        wrong.append(f"--as says what --all writes: expected --all, or OUT ending in {ending}")
    if mail_mb is not None and (at_s is not None or sheet):
        wrong.append("--mail is for clips: expected it without --at and --sheet")
    if sheet and (wipe or seconds is not None):
        wrong.append(f"--sheet shows all of each look: expected it without {'--wipe' if wipe else '--seconds'}")
    if at_s is not None and seconds is not None:
        wrong.append("--at gives one moment: expected it without --seconds")
    return wrong


def _check_ranges(wish: Wish) -> None:
    from preview.handover.clips import ClipError

    ranges = [
        ("--ambient", wish.ambient_lux, 0.0, 200_000.0, " lux"),
        ("--exposure", wish.grey_cd_m2, 1e-4, 1e6, " cd/m²"),
        ("--level", wish.level, 0.0, 1.0, ""),
        ("--mail", wish.mail_mb, 0.001, 10_000.0, " MB"),
        ("--seconds", wish.seconds, 0.01, 1e6, " s"),
    ]
    wrong = [
        f"{name}: expected {low:g} to {high:g}{unit}, found {value:g}"
        for name, value, low, high, unit in ranges
        if value is not None and not low <= value <= high
    ]
    if wrong:
        raise ClipError("\n".join(wrong))


def _stage(plan: Scene, size: tuple[int, int]) -> Stage:
    from preview.handover.frames import stage_of

    with progress_bar("Lighting the room", 100) as lit:
        stage = stage_of(plan, size, lambda share: lit(round(100 * share)))
    for note in stage.renderer.notes:
        click.echo(note, err=True)
    return stage


def _write_one(
    plan: Scene, out: str, target: Target, look_name: str | None, at_s: float | None, wish: Wish, report: _Report
) -> None:
    from preview.handover.clips import ClipError, film_as, write_look, write_still
    from preview.looks.drives import find_look

    look = find_look(plan, look_name)
    if at_s is not None and not 0 <= at_s <= look.seconds:
        raise ClipError(f"look {look.name!r}: --at: expected 0 to its {look.seconds:g} s, found {at_s:g} s")
    if wish.seconds is not None and wish.seconds > look.seconds:
        most = f"more than 0, up to its {look.seconds:g} s"
        raise ClipError(f"look {look.name!r}: --seconds: expected {most}, found {wish.seconds:g} s")
    stage = _stage(plan, wish.size)
    if at_s is not None:
        film = film_as(stage, look, wish, seamless=False)
        write_still(film, at_s, target.path, wish)
        grey = film.exposure.grey_cd_m2
        text = f"{out}: {look.name} at {at_s:g} s, {wish.size[0]}x{wish.size[1]}, middle grey {grey:.2g} cd/m²"
        report.add(text, file=out, look=look.name, at_s=at_s, size=wish.size, grey_cd_m2=grey)
        return
    with progress_bar("Writing pictures", 1000) as done:
        written = write_look(stage, look, target, wish, lambda frame, of: done(round(1000 * frame / of)))
    report.clip(out, look.name, written, wish.size)


def _write_sheet(plan: Scene, out: str, path: Path, look_name: str | None, wish: Wish, report: _Report) -> None:
    from preview.handover.clips import film_as
    from preview.handover.contact import contact_sheet
    from preview.handover.stills import write_png
    from preview.looks.drives import find_look
    from preview.looks.library import looks_of

    looks = [find_look(plan, look_name)] if look_name is not None or not plan.look else looks_of(plan)
    stage = _stage(plan, wish.size)
    films = [film_as(stage, look, wish, seamless=False) for look in looks]
    lines = [plan.title] if wish.title else []
    with progress_bar("Drawing", len(films)) as done:
        head = ": ".join([*lines, *([wish.caption] if wish.caption else [])])
        sheet = contact_sheet(films, head or None, lambda film, _: done(film))
    write_png(path, sheet)
    alone = "one moment, it stands still" if films[0].ready.period_s == 0 else "twelve moments"
    what = f"{len(films)} looks" if len(films) > 1 else f"{looks[0].name}, {alone}"
    size = sheet.shape[1], sheet.shape[0]
    report.add(f"{out}: {what}, {size[0]}x{size[1]}", file=out, looks=[look.name for look in looks], size=size)


def _write_every(scene: str, out: str, folder: Path, ending: str, wish: Wish, jobs: int, report: _Report) -> None:
    made = not folder.exists()
    with contextlib.suppress(FileExistsError):
        folder.mkdir()
    try:
        _write_into(scene, out, folder, ending, wish, jobs, report)
    finally:
        if made:  # where nothing has come of it, the folder goes too
            with contextlib.suppress(OSError):  # it holds whole clips
                folder.rmdir()


def _write_into(scene: str, out: str, folder: Path, ending: str, wish: Wish, jobs: int, report: _Report) -> None:
    from preview.handover.batch import write_all
    from preview.handover.clips import ClipError

    def prepare(same: Scene) -> None:
        _stage(same, wish.size)  # so that the workers find the room's light worked out

    failed = []
    with progress_bar("Writing clips", 1000) as bar:

        def frames(frame: int, of: int) -> None:
            bar(round(1000 * frame / max(of, 1)))

        for done in write_all(scene, folder, ending, wish, jobs, prepare, frames):
            where = f"{out.rstrip('/')}/{done.path.name}"
            if sys.stderr.isatty():
                click.echo("\r\x1b[K", nl=False, err=True)  # the bar is drawn again below
            if done.failed is not None:
                failed.append(done.failed)
            elif done.written is None:
                report.add(f"{where}: {done.look}, kept: nothing has changed", file=where, look=done.look, kept=True)
            else:
                report.clip(where, done.look, done.written, wish.size)
    if failed:
        raise ClipError("\n".join(failed))
