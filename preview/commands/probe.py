"""`covecast probe`: what a multimeter would read, for one drive or one moment."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from preview.commands.options import json_option, load, print_json, scene_argument

if TYPE_CHECKING:
    from preview.scene.layout import Layout
    from preview.scene.model import Scene

__all__ = ["command"]


@click.command(name="probe")
@scene_argument
@click.option("--drive", metavar="R,G,B[,W]", help="Codes 0 to 255 for every group.")
@click.option("--drive-csv", metavar="FILE", help="Codes by group: run,group,red,green,blue[,white]; others are dark.")
@click.option("--look", metavar="NAME", help="A look of the scene; the first if left out.")
@click.option(
    "--at", "at_s", type=float, metavar="SECONDS", help="The moment of the look; not needed where it stands still."
)
@click.option("--level", type=float, metavar="0..1", help="Scales the drive; 1 if left out, for a look its own.")
@click.option("--all", "every", is_flag=True, help="List every group, not only the first, the last and the lowest.")
@json_option
def command(
    scene: str,
    drive: str | None,
    drive_csv: str | None,
    look: str | None,
    at_s: float | None,
    level: float | None,
    every: bool,
    as_json: bool,
) -> None:
    """Volts and amps at every group, feed and supply of SCENE: what a multimeter would read.

    Without a drive, every colour of every group is at full.
    """
    from preview.commands.drive import one_drive
    from preview.power.network import build
    from preview.power.probe import readings
    from preview.power.solve import solve
    from preview.scene.layout import lay_out

    plan = load(scene)
    layout = lay_out(plan)
    chosen = one_drive(plan, layout, drive, drive_csv, look, at_s, level)
    state = solve(build(plan, layout), chosen.codes)
    found = readings(plan, layout, chosen.codes, state)
    if as_json:
        print_json(found)
    else:
        _print(plan, layout, chosen.says, found, every)


def _print(scene: Scene, layout: Layout, says: str, found: dict[str, Any], every: bool) -> None:
    from preview.commands.table import assumed_lines, table

    click.echo(f"{scene.title}: {says}.")
    rows = [
        [s["name"], f"{s['volts']:.3f}", f"{s['amps']:.3f}", f"{s['watts']:.2f}", f"{s['rated_amps']:g}"]
        for s in found["supplies"]
    ]
    click.echo("\n" + table(["<supply", "V", "A", "W", "rated A"], rows))
    if found["blocks"]:
        rows = [[b["name"], f"{b['volts']:.3f}", f"{b['amps']:.3f}"] for b in found["blocks"]]
        click.echo("\n" + table(["<block", "V", "A"], rows))
    rows = [
        [
            str(f["index"] + 1), f["from"], f["run"], f"{f['at_m']:.3f}",
            f"{f['volts']:.3f}", f"{f['amps']:.3f}", f"{f['negative_amps']:.3f}",
        ]
        for f in found["feeds"]
    ]  # fmt: skip
    click.echo("\n" + table(["feed", "<from", "<into run", "at m", "V", "A", "A back"], rows))
    rows = []
    for run, entry in enumerate(found["runs"]):
        volts = entry["volts"]
        lowest = min(range(len(volts)), key=volts.__getitem__)
        shown = range(len(volts)) if every else sorted({0, lowest, len(volts) - 1})
        for k in shown:
            note = "lowest" if k == lowest else "first" if k == 0 else "last" if k == len(volts) - 1 else ""
            rows.append(
                [
                    entry["name"] if k == shown[0] else "", str(k), f"{layout.along_m[layout.first[run] + k]:.3f}",
                    f"{volts[k]:.3f}", f"{1000 * entry['amps'][k]:.2f}", f"{100 * entry['light'][k]:.1f}",
                    f"{entry['colour_steps'][k]:.1f}", note,
                ]
            )  # fmt: skip
    click.echo("\n" + table(["<run", "group", "at m", "V", "mA", "light %", "shift steps", "<"], rows))
    given = sum(s["watts"] for s in found["supplies"])
    click.echo(
        f"\n{given:.2f} W from the supplies: {found['group_watts']:.2f} W in the groups, "
        f"{found['conductor_watts']:.2f} W lost in rails and cables."
    )
    if found["assumed"]:
        click.echo(assumed_lines(found["assumed"]))
