"""`covecast fit`: a strip's figures from readings taken on the bench."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from preview.commands.options import between, json_option, load, print_json, scene_argument

if TYPE_CHECKING:
    from tomlkit import TOMLDocument

    from preview.power.bench import Reading
    from preview.power.fit import Figure, Fitted, MeterError
    from preview.scene.model import Scene, Strip

__all__ = ["command"]

STANDS_OUT = 3.0
"""Times the meter's error from which a reading is named where readings contradict each other."""


@click.command(name="fit")
@scene_argument
@click.option("--strip", "name", metavar="NAME", required=True, help="The strip type of SCENE that was on the bench.")
@click.option(
    "--readings", "file", type=click.Path(path_type=Path), required=True, metavar="FILE", help="CSV of readings."
)
@click.option("--volts-error", type=float, default=0.01, show_default=True, metavar="V", callback=between(0, 10, "volts", above=True),
              help="Error of the volt readings, one standard deviation.")  # fmt: skip
@click.option("--amps-error", type=float, default=1.0, show_default=True, metavar="%", callback=between(0, 50, "percent", above=True),
              help="Error of the amp readings, in percent of each.")  # fmt: skip
@click.option("--bench-c", type=float, default=20.0, show_default=True, metavar="C", callback=between(-40, 120, "°C"),
              help="Temperature of the strip on the bench.")  # fmt: skip
@click.option("--write", is_flag=True, help="Store what the readings tell in SCENE; shows the change.")
@json_option
def command(
    scene: str,
    name: str,
    file: Path,
    volts_error: float,
    amps_error: float,
    bench_c: float,
    write: bool,
    as_json: bool,
) -> None:
    """Rails, currents and voltage curves of a strip of SCENE that explain readings on the bench best.

    FILE has a header and one row a reading, two at least:
    length_m,fed,red,green,blue[,white],near_v,far_v,amps[,plus_drop_v]. fed is near, far or both, the ends that power comes
    in at; the codes, 0 to 255, go to every group; the volts are read across the pads at both ends; plus_drop_v is read
    from the near positive pad to the far one.
    """
    from preview.commands.progress import progress_bar
    from preview.power.bench import read_bench
    from preview.power.fit import MeterError, fit
    from preview.scene.faults import CovecastError, unknown
    from preview.scene.read import find_scene

    plan = load(scene)
    if name not in plan.strip:
        raise CovecastError(f"--strip: {unknown(name, plan.strip)}")
    path = find_scene(scene)
    if write and not Path(scene).exists():
        raise CovecastError(f"--write: expected a scene file of your own, found the demo scene {scene}")
    strip = plan.strip[name]
    readings = read_bench(file, strip)
    error = MeterError(volts_error, amps_error / 100)
    with progress_bar("Fitting", 100) as bar:
        found = fit(strip, readings, error, conductor_c=bench_c, progress=lambda share: bar(round(100 * share)))
    if not found.agree:
        raise CovecastError(_contradiction(file, found, error, bench_c))
    diff = _stored(path, name, strip, found) if write else None
    if as_json:
        print_json(_as_json(plan, name, found, diff))
        return
    click.echo(_text(name, found, error, bench_c))
    if diff is not None:
        click.echo(f"\n{diff}" if diff else "\nThe scene has these figures already.")


def _contradiction(file: Path, found: Fitted, error: MeterError, bench_c: float) -> str:
    """Which readings stand against each other, the worst first."""
    from preview.power.fit import odd_ones

    odd = {reading.line for reading in odd_ones(found, error, conductor_c=bench_c)}
    lines = [
        f"{file}: expected readings that one strip can give, found some that contradict each other "
        f"(chi-squared {found.chi_squared:.0f}, where about {max(found.freedom, 0)} is to be expected)"
    ]
    order = sorted(range(len(found.readings)), key=lambda n: (found.readings[n].line not in odd, -found.off[n]))
    named = [n for n in order if found.off[n] > STANDS_OUT or found.readings[n].line in odd] or order[:3]
    for n in named[:6]:
        reading = found.readings[n]
        without = "; without it the others agree" if reading.line in odd else ""
        lines.append(f"  line {reading.line}: {_read_and_worked_out(found, n)}{without}")
    lines.append(
        f"  measure these again, or say how good the meters are: --volts-error (now {error.volts:g} V), "
        f"--amps-error (now {100 * error.amps_share:g} %)"
    )
    return "\n".join(lines)


def _read_and_worked_out(found: Fitted, n: int) -> str:
    reading, shown = found.readings[n], found.shown
    pairs = [
        ("near_v", reading.near_v, float(shown.near_v[n])),
        ("far_v", reading.far_v, float(shown.far_v[n])),
        ("amps", reading.amps, float(shown.amps[n])),
    ]
    if reading.plus_drop_v is not None:
        pairs.append(("plus_drop_v", reading.plus_drop_v, float(shown.plus_drop_v[n])))
    words = [
        f"{key} {read:g} read, {worked:.4g} worked out"
        for key, read, worked in pairs
        if f"{read:.3g}" != f"{worked:.3g}"
    ]
    return ", ".join(words) or "as worked out"


def _text(name: str, found: Fitted, error: MeterError, bench_c: float) -> str:
    """The figures with their deviation, what cannot be told, and every reading beside what was worked out."""
    from preview.commands.table import table

    verdict = (
        "they agree as far as the meters can be trusted"
        f" (chi-squared {found.chi_squared:.1f}, where about {found.freedom} is to be expected)"
        if found.freedom > 0
        else "too few to check one against the other"
    )
    lines = [f"Strip {name}, {len(found.readings)} readings: {verdict}."]
    rows = []
    for figure in found.figures:
        decimals = _decimals(figure)
        value = f"{figure.value:.{decimals}f}" if figure.is_news else "-"
        known = figure.told or (figure.ruled_out and figure.deviation < abs(figure.value))
        spread = f"{figure.deviation:.{decimals}f}" if known else "-"
        note = "" if figure.told else "not told, but the scene's value is ruled out" if figure.ruled_out else "not told"
        rows.append([figure.says, value, spread, f"{figure.before:.{max(decimals, 2)}f}", note])
    lines += ["", table(["<figure", "fitted", "+/-", "scene", "<"], rows)]
    if found.untold:
        lines += ["", "What the readings do not tell:"]
        lines += [f"  {one.says}\n    would tell it: {one.do}" for one in found.untold]
    rows = []
    for n, reading in enumerate(found.readings):
        shown = found.shown
        rows.append(
            [
                str(reading.line), f"{reading.length_m:g}", reading.fed, ",".join(map(str, _codes(found, reading))),
                f"{reading.near_v:.3f}", f"{reading.near_v - shown.near_v[n]:+.3f}",
                f"{reading.far_v:.3f}", f"{reading.far_v - shown.far_v[n]:+.3f}",
                f"{reading.amps:.4f}", f"{reading.amps - shown.amps[n]:+.4f}", f"{found.off[n]:.1f}",
            ]
        )  # fmt: skip
    heads = ["line", "m", "<fed", "<codes", "near V", "off", "far V", "off", "A", "off", "times error"]
    lines += ["", table(heads, rows)]
    lines += [
        "",
        f"+/- is one standard deviation; meters taken good to {error.volts:g} V and {100 * error.amps_share:g} %; strip at "
        f"{bench_c:g} °C, rails given at 20 °C.",
    ]
    return "\n".join(lines)


def _codes(found: Fitted, reading: Reading) -> tuple[int, ...]:
    return reading.codes if found.strip.white is not None else reading.codes[:3]


def _decimals(figure: Figure) -> int:
    """Decimals that show two digits of the deviation, or four digits where there is none worth showing."""
    size = figure.deviation if 0 < figure.deviation < abs(figure.value) else abs(figure.value) / 100
    return min(5, max(0, 1 - math.floor(math.log10(size)))) if size > 0 else 3


def _as_json(plan: Scene, name: str, found: Fitted, diff: str | None) -> dict[str, Any]:
    shown = found.shown
    return {
        "format": 1,
        "scene": plan.title,
        "strip": name,
        "figures": [
            {
                "key": figure.key, "value": figure.value, "deviation": figure.deviation, "before": figure.before,
                "told": figure.told, "ruled_out": figure.ruled_out,
            }
            for figure in found.figures
        ],
        "untold": [{"keys": list(one.keys), "says": one.says, "do": one.do} for one in found.untold],
        "readings": [
            {
                "line": reading.line,
                "near_volts_off": reading.near_v - float(shown.near_v[n]),
                "far_volts_off": reading.far_v - float(shown.far_v[n]),
                "amps_off": reading.amps - float(shown.amps[n]),
                "times_error": float(found.off[n]),
            }
            for n, reading in enumerate(found.readings)
        ],
        "squares": found.chi_squared,
        "freedom": found.freedom,
        "written": diff,
    }  # fmt: skip


def _stored(path: Path, name: str, strip: Strip, found: Fitted) -> str:
    """Write what the readings tell into the scene; returns the change as a diff."""
    import tomlkit
    from tomlkit.container import OutOfOrderTableProxy
    from tomlkit.exceptions import TOMLKitError
    from tomlkit.items import InlineTable

    from preview.looks.library import effect_names
    from preview.scene.faults import CovecastError, SceneFaults
    from preview.scene.write import edit_scene

    news = {figure.key: round(figure.value, _decimals(figure)) for figure in found.figures if figure.is_news}

    def inline(table: Any) -> bool:
        """Whether new colours go into the strip's line, or into a line each as those that are there, or as its dotted keys."""
        return isinstance(table, InlineTable | OutOfOrderTableProxy) or any(
            isinstance(table[key], InlineTable) for key in table
        )

    def change(document: TOMLDocument) -> None:
        table: Any = document["strip"][name]
        if "rails" in news or "share" in news:
            total, plus = news.get("rails", sum(strip.rail_milliohm_per_m)), found.strip.rail_milliohm_per_m
            share = news.get("share", plus[0] / sum(plus))
            _put(table, "rail_milliohm_per_m", [round(total * share, 1), round(total - round(total * share, 1), 1)])
        if "idle" in news:
            _put(table, "idle_milliamp_per_group", news["idle"])
        new = None
        for key, value in news.items():
            colour, _, figure = key.partition(".")
            if figure:
                if colour not in table and inline(table):
                    table[colour] = tomlkit.inline_table()
                elif colour not in table:
                    table[colour] = new = tomlkit.table()
                _put(table[colour], figure, value)
        if new is not None:
            new.add(tomlkit.nl())

    try:
        return edit_scene(path, change, effects=effect_names())
    except (SceneFaults, TOMLKitError) as error:  # the scene was read before: it is the change that does not fit in
        raise CovecastError(
            f"{path}: expected strip {name} written as a table of its own, [strip.{name}], found it written in a way that "
            "cannot be changed in place; the file is as it was"
        ) from error


def _put(table: Any, key: str, value: Any) -> None:
    """A value where it stands, its comment and all, or a new key."""
    if key in table and isinstance(value, list):
        for n, part in enumerate(value):
            table[key][n] = part
    else:
        table[key] = value
