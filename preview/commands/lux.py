"""`covecast lux`: illuminance at a point, as a lux meter would read it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from preview.commands.options import json_option, load, print_json, scene_argument, three_numbers

if TYPE_CHECKING:
    from preview.light.lux import Reading
    from preview.scene.faults import Fault
    from preview.scene.layout import Layout
    from preview.scene.model import Scene

__all__ = ["command"]


@click.command(name="lux")
@scene_argument
@click.option("--point", required=True, metavar="X,Y,Z", help="Where the sensor is, metres in the room.")
@click.option(
    "--facing", default="0,0,1", metavar="X,Y,Z", show_default=True, help="Where it faces; 0,0,1 lies face up."
)
@click.option("--drive", metavar="R,G,B[,W]", help="Codes 0 to 255 for every group.")
@click.option("--drive-csv", metavar="FILE", help="Codes by group: run,group,red,green,blue[,white]; others are dark.")
@click.option("--look", metavar="NAME", help="A look of the scene; the first if left out.")
@click.option(
    "--at", "at_s", type=float, metavar="SECONDS", help="The moment of the look; not needed where it stands still."
)
@click.option("--level", type=float, metavar="0..1", help="Scales the drive; 1 if left out, for a look its own.")
@click.option("--ambient", is_flag=True, help="Add the light that is already in the room, as the scene gives it.")
@json_option
def command(
    scene: str,
    point: str,
    facing: str,
    drive: str | None,
    drive_csv: str | None,
    look: str | None,
    at_s: float | None,
    level: float | None,
    ambient: bool,
    as_json: bool,
) -> None:
    """Illuminance at a point of SCENE, as a lux meter would read it with everything else dark.

    Light straight from every run, shadows and lost volts in it, and light that has bounced, taken as even. Without a drive, every
    colour of every group is at full.
    """
    import numpy as np

    from preview.commands.drive import one_drive
    from preview.light.colour import group_xyz
    from preview.light.lux import place_faults, reading_at
    from preview.power.network import build
    from preview.power.solve import solve
    from preview.power.strip import light_fraction
    from preview.scene.faults import SceneFaults
    from preview.scene.layout import lay_out

    plan = load(scene)
    faults: list[Fault] = []
    place, way = _three("--point", point, faults), _three("--facing", facing, faults)
    # A part that cannot be read is stood in for, so that what is wrong with the other is said too.
    found = place_faults(plan, np.array(place or [s / 2 for s in plan.room.size_m]), np.array(way or [0.0, 0.0, 1.0]))
    faults += [fault for fault in found if place is not None or fault.key != "--point"]
    if faults:
        raise SceneFaults(f"lux {scene}", faults)
    layout = lay_out(plan)
    chosen = one_drive(plan, layout, drive, drive_csv, look, at_s, level)
    state = solve(build(plan, layout), chosen.codes)
    light = group_xyz(layout, chosen.codes, light_fraction(layout, state.group_v))[0]
    reading = reading_at(plan, layout, light, np.array(place), np.array(way))
    data = _data(plan, layout, reading, ambient)
    if as_json:
        print_json(data)
    else:
        _print(plan, chosen.says, point, facing, data)


def _three(key: str, text: str, faults: list[Fault]) -> tuple[float, float, float] | None:
    """Three finite numbers, or None and a fault."""
    from preview.scene.faults import Fault

    values = three_numbers(text)
    if values is None:
        faults.append(Fault(key, "three numbers x,y,z such as 2.4,1.7,0.75", repr(text)))
    return values


def _data(scene: Scene, layout: Layout, reading: Reading, ambient: bool) -> dict[str, Any]:
    total = reading.direct_xyz.sum(axis=0) + reading.bounced_xyz + (reading.ambient_xyz if ambient else 0.0)
    ambient_lux = float(reading.ambient_xyz[1]) if ambient else 0.0
    return {
        "format": 1,
        "scene": scene.title,
        "assumed": list(scene.assumed),
        "lux": reading.lux + ambient_lux,
        "direct_lux": reading.direct_lux,
        "bounced_lux": reading.lux - reading.direct_lux,
        "ambient_lux": ambient_lux,
        "xy": [float(value) for value in total[:2] / total.sum()] if total.sum() > 0 else None,
        "runs": [
            {"name": name, "direct_lux": float(xyz[1])}
            for name, xyz in zip(layout.run_names, reading.direct_xyz, strict=True)
        ],
    }


def _print(scene: Scene, says: str, point: str, facing: str, data: dict[str, Any]) -> None:
    from preview.commands.table import assumed_lines, table

    click.echo(f"{scene.title}: {says}. At {point} m, facing {facing}.")
    rows = [[f"straight from {run['name']}", f"{run['direct_lux']:.2f}"] for run in data["runs"]]
    rows.append(["bounced, taken as even", f"{data['bounced_lux']:.2f}"])
    if data["ambient_lux"]:
        rows.append(["already in the room", f"{data['ambient_lux']:.2f}"])
    rows.append(["together", f"{data['lux']:.2f}"])
    click.echo("\n" + table(["<light", "lux"], rows))
    if data["xy"]:
        click.echo(f"\nIts colour is x {data['xy'][0]:.4f}, y {data['xy'][1]:.4f}.")
    if data["assumed"]:
        click.echo(assumed_lines(data["assumed"]))
