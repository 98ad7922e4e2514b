"""`covecast pack`: the folder for the client and the fitter."""

from __future__ import annotations

import math
import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

from preview.commands.options import json_option, load, pixels_of, print_json, scene_argument, three_numbers

if TYPE_CHECKING:
    from preview.handover.checking import Checked
    from preview.pack.lux_points import LuxPoint
    from preview.pack.packing import Packed
    from preview.scene.model import Scene

__all__ = ["command", "pack_folder"]

_CLIP_SIZE = (640, 360)
_LEFT_OUT = ("clips", "client", "flashes")


@click.command(name="pack")
@scene_argument
@click.argument("folder", metavar="[FOLDER]", required=False)
@click.option(
    "--without", "without", multiple=True, type=click.Choice(_LEFT_OUT), metavar="|".join(_LEFT_OUT),
    help="Leave out the clips; all of the client's part; or the count of flashes, which takes longest. May be given again.",
)  # fmt: skip
@click.option("--clip-size", metavar="WxH", help="Width and height of the clips [640x360; on a photo its shape].")
@click.option(
    "--seconds", type=float, metavar="S", help="Longest clip, from each look's start; all of a look if left out."
)
@click.option("--jobs", type=click.IntRange(1, 64), metavar="N", help="Worker processes; one a core if left out.")
@click.option(
    "--clips-from", type=click.Path(path_type=Path), metavar="DIR",
    help="Take over unchanged clips that `covecast clip SCENE DIR/ --all --as mp4` wrote.",
)  # fmt: skip
@click.option(
    "--allow-flashing", is_flag=True,
    help="Pack clips that flash more than three times a second, which can bring on a seizure; "
    "the page will say so, and their pictures at the foot.",
)  # fmt: skip
@click.option("--channel-m", type=float, metavar="M", help="Sold length of channels that the scene does not give [2].")
@click.option("--reel-m", type=float, metavar="M", help="Reel length of strips that the scene does not give [5].")
@click.option("--kerf-mm", type=float, metavar="MM", help="What a saw cut takes [3].")
@click.option("--allowance", type=float, metavar="0..1", help="Cable bought beyond the plan's, as a share [0.1].")
@click.option(
    "--lux", "lux", multiple=True, metavar="X,Y,Z[/X,Y,Z]",
    help="Add what a lux meter should read there, metres in the room; after a slash where it faces, up if left out. May be given again.",
)  # fmt: skip
@click.option("--date", metavar="DATE", help="The day that the pages say they were made on; none if left out.")
@click.option("--force", is_flag=True, help="Pack even where something else is, and keep that beside it.")
@json_option
def command(
    scene: str,
    folder: str | None,
    without: tuple[str, ...],
    clip_size: str | None,
    seconds: float | None,
    jobs: int | None,
    clips_from: Path | None,
    allow_flashing: bool,
    channel_m: float | None,
    reel_m: float | None,
    kerf_mm: float | None,
    allowance: float | None,
    lux: tuple[str, ...],
    date: str | None,
    force: bool,
    as_json: bool,
) -> None:
    """Everything about SCENE that leaves the house, in one FOLDER: a page for the client, a sheet for the fitter.

    for-the-client.html shows the room before and after and every look with its clip; for-the-fitter.html has the wiring, the cap, the
    order of switching on, what a meter should read, parts and cuts, which are also there as CSV. A pack that is as it was written is
    replaced; anything else is left alone.

    \b
    covecast pack tea_bar
    covecast pack my_room.toml handover --seconds 6 --date "3 March"
    """
    from preview.commands.cap import caps_of
    from preview.commands.progress import progress_bar
    from preview.handover.checking import check_scene
    from preview.handover.clips import Wish
    from preview.handover.placing import check_place, ending_cleanly
    from preview.light.framing import shaped
    from preview.pack.cuts import KERF_MM, REEL_M, STOCK_M, Sold
    from preview.pack.folder import PackError, check_target
    from preview.pack.lux_points import point_faults
    from preview.pack.packing import Asked, write_pack
    from preview.pack.parts import ALLOWANCE
    from preview.scene.faults import SceneFaults
    from preview.scene.layout import lay_out

    size = _CLIP_SIZE if clip_size is None else pixels_of(clip_size)
    wrong = _wrong(size, clip_size, seconds, channel_m, reel_m, kerf_mm, allowance, date, clips_from)
    if wrong:
        raise PackError("\n".join(wrong))
    assert size is not None
    points = _points(lux)
    plan = load(scene)
    if clip_size is None:
        size = shaped(plan, size)
    faults = point_faults(plan, points)
    if faults:
        raise SceneFaults(f"pack {scene}", faults)
    target = Path(folder or pack_folder(scene))
    check_place(target.resolve())
    check_target(target, force)
    asked = Asked(
        client="client" not in without,
        clips="clips" not in without,
        wish=Wish(size=size, seconds=seconds, allow_flashing=allow_flashing),
        jobs=jobs or os.cpu_count() or 1,
        sold=Sold(
            REEL_M if reel_m is None else reel_m,
            STOCK_M if channel_m is None else channel_m,
            KERF_MM if kerf_mm is None else kerf_mm,
        ),
        allowance=ALLOWANCE if allowance is None else allowance,
        lux=points,
        date=date,
        clips_from=clips_from,
        force=force,
    )
    with ending_cleanly():
        caps = caps_of(plan, lay_out(plan))
        with progress_bar("Reading the plan", 1000) as bar:
            eyes = asked.client and "flashes" not in without
            checked = check_scene(plan, eyes=eyes, progress=lambda share: bar(round(1000 * share)))
        packed = write_pack(scene, plan, target, asked, caps, checked, progress_bar)
    for note in packed.notes:
        click.echo(note, err=True)
    if as_json:
        aside = None if packed.aside is None else str(packed.aside)
        print_json(
            {"format": 1, **packed.manifest, "folder": str(target), "files": list(packed.files), "set_aside": aside}
        )
    else:
        _print(plan, target, packed, checked)


def pack_folder(scene: str) -> str:
    """The folder that a scene is packed into where none is named.

    >>> pack_folder("tea_bar"), pack_folder("plans/bar.toml"), pack_folder("plans/bar/scene.toml")
    ('tea_bar-pack', 'bar-pack', 'bar-pack')
    """
    path = Path(scene)
    stem = path.resolve().parent.name if path.stem == "scene" else path.stem
    return f"{stem}-pack"


def _points(texts: tuple[str, ...]) -> tuple[LuxPoint, ...]:
    """Places of a lux meter. Raises SceneFaults with every one that cannot be read."""
    from preview.pack.lux_points import LuxPoint
    from preview.scene.faults import Fault, SceneFaults

    found, faults = [], []
    for text in texts:
        place, slash, way = text.partition("/")
        at_m, facing = three_numbers(place), three_numbers(way) if slash else (0.0, 0.0, 1.0)
        if at_m is None or facing is None:
            wanted = "three numbers x,y,z such as 2.4,1.7,0.75, and three more after a slash"
            faults.append(Fault("--lux", wanted, repr(text)))
        else:
            found.append(LuxPoint(at_m, facing))
    if faults:
        raise SceneFaults("pack", faults)
    return tuple(found)


def _wrong(
    size: tuple[int, int] | None,
    clip_size: str | None,
    seconds: float | None,
    channel_m: float | None,
    reel_m: float | None,
    kerf_mm: float | None,
    allowance: float | None,
    date: str | None,
    clips_from: Path | None,
) -> list[str]:
    """What is wrong with the options, all of it."""
    from preview.handover.clips import ClipError, target_of

    wrong = []
    if size is None:
        wrong.append(f"--clip-size: expected width and height such as 640x360, found {clip_size!r}")
    else:
        try:
            target_of("clips/", size, 25.0, ".mp4")
        except ClipError as error:
            wrong += [
                line.removeprefix("clips/: ").replace("--size", "--clip-size") for line in str(error).splitlines()
            ]
    ranges = [
        ("--seconds", seconds, 0.01, 1e6, " s"),
        ("--channel-m", channel_m, 0.05, 100.0, " m"),
        ("--reel-m", reel_m, 0.05, 1000.0, " m"),
        ("--kerf-mm", kerf_mm, 0.0, 20.0, " mm"),
        ("--allowance", allowance, 0.0, 1.0, ""),
    ]
    wrong += [
        f"{name}: expected {low:g} to {high:g}{unit}, found {value:g}"
        for name, value, low, high, unit in ranges
        if value is not None and not (math.isfinite(value) and low <= value <= high)
    ]
    if date is not None and (not date.strip() or len(date) > 40 or not date.isprintable()):
        wrong.append(f"--date: expected up to 40 printable characters, found {date!r}")
    if clips_from is not None and not clips_from.is_dir():
        wrong.append(f"--clips-from: expected a folder of clips, found none at {clips_from}")
    return wrong


def _print(plan: Scene, target: Path, packed: Packed, checked: Checked) -> None:
    says = {
        "for-the-client.html": "the page for the client",
        "for-the-fitter.html": "the sheet for the fitter",
        "wiring.svg": "the wiring, as in the sheet",
        "parts.csv": "what to buy",
        "cuts.csv": "what to cut from what",
        "readings.csv": "what a meter should read, to fill in",
        "pack.json": "every file with its digest",
    }
    click.echo(f"{plan.title}: packed into {target}")
    for name, words in says.items():
        if name in packed.files:
            click.echo(f"  {name:<22}{words}")
    for name, words in (("clips", "of the looks"), ("pictures", "for the page")):
        count = sum(file.startswith(f"{name}/") and not file.endswith(".json") for file in packed.files)
        if count:
            kept = f", {len(packed.kept)} kept: nothing has changed" if name == "clips" and packed.kept else ""
            click.echo(f"  {name + '/':<22}{count} {words}{kept}")
    if packed.aside is not None:
        click.echo(f"What was there is kept as {packed.aside}.", err=True)
    for look in packed.withheld:
        click.echo(
            f"No clip of look {look}: it flashes more than it may; --allow-flashing packs it all the same.", err=True
        )
    if checked.breaks:
        click.echo(
            "The plan breaks a limit: the fitter's sheet says so on top, and `covecast check` what to do.", err=True
        )
