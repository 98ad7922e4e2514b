"""One drive, as a command is told it: codes for every group, a CSV of groups, or a moment of a look."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from pathlib import Path

import click
import numpy as np

from preview.looks.drives import Codes, find_look, look_drive
from preview.looks.library import ready_look
from preview.scene.colours import COLOURS
from preview.scene.faults import CovecastError, Fault, SceneFaults, nearest
from preview.scene.layout import Layout
from preview.scene.model import Scene
from preview.scene.text_file import text_of

__all__ = ["OneDrive", "one_drive"]

MOST_BYTES = 8_000_000
"""Of a file of codes: a line for each of many more groups than a plan may have."""


@dataclass(frozen=True)
class OneDrive:
    """Codes (1, G, C), and in words what they are."""

    codes: Codes
    says: str


def one_drive(
    scene: Scene,
    layout: Layout,
    drive: str | None,
    drive_csv: str | None,
    look: str | None,
    at_s: float | None,
    level: float | None,
) -> OneDrive:
    """The drive that the options name; every colour of every group at full where they name none.

    `level` scales it. Left out it is 1, and for a look the look's own. A look that stands still needs no moment.
    """
    given = [name for name, is_there in (("--drive", drive), ("--drive-csv", drive_csv)) if is_there is not None]
    if look is not None or at_s is not None:
        given.append("--look with --at")
    if len(given) > 1:
        raise click.UsageError(f"One drive is wanted, found {' and '.join(given)}.")
    if level is not None and not 0 <= level <= 1:
        raise click.UsageError(f"Expected --level from 0 to 1, found {level:g}.")
    if look is not None or at_s is not None:
        chosen = find_look(scene, look)
        if at_s is None:
            if ready_look(scene, chosen).period_s != 0:
                raise click.UsageError(f"Look {chosen.name!r} moves; --at SECONDS must say which moment of it.")
            at_s = 0.0
        codes = look_drive(scene, layout, chosen, np.array([at_s]), level)
        own = f"level {level:g}" if level is not None else f"its own level {chosen.level:g}"
        return OneDrive(codes, f"look {chosen.name} at {at_s:g} s, {own}")
    scale = 1.0 if level is None else level
    at_level = "" if level is None else f", level {level:g}"
    if drive_csv is not None:
        return OneDrive(_scaled(_from_csv(layout, drive_csv), scale), f"codes of {drive_csv}{at_level}")
    codes = np.full((1, layout.groups, layout.colours), 255, dtype=np.uint8)
    if drive is None:
        return OneDrive(_scaled(codes, scale), f"every colour of every group at full{at_level} (no drive was given)")
    codes[:] = _codes(layout, drive)
    return OneDrive(_scaled(codes, scale), f"every group at {drive}{at_level}")


def _scaled(codes: Codes, level: float) -> Codes:
    """Codes at a level: 255 · level · code/255, rounded half up."""
    scaled: Codes = np.floor(255.0 * level * (codes / 255.0) + 0.5).astype(np.uint8)
    return scaled


def _code(text: str) -> int | None:
    """A code 0 to 255, or None where the text is none."""
    text = text.strip()
    return int(text) if text.isascii() and text.isdigit() and len(text) <= 3 and int(text) <= 255 else None


def _codes(layout: Layout, text: str) -> list[int]:
    """The codes of --drive, one for each colour of the plan; a white that is left out is dark."""
    parts = text.split(",")
    codes = [_code(part) for part in parts]
    wanted = "3 codes" if layout.colours == 3 else "3 or 4 codes"
    if not 3 <= len(parts) <= layout.colours or None in codes:
        colours = ",".join(COLOURS[: layout.colours])
        raise click.UsageError(f"Expected --drive with {wanted} from 0 to 255 ({colours}), found {text!r}.")
    return [code or 0 for code in codes] + [0] * (layout.colours - len(parts))


def _from_csv(layout: Layout, name: str) -> Codes:
    """Codes (1, G, C) of a CSV file: run, group, red, green, blue[, white]. Every fault at once, with its line."""
    text = text_of(Path(name), "a CSV file of codes", MOST_BYTES)
    rows = csv.reader(io.StringIO(text, newline=""))
    codes = np.zeros((1, layout.groups, layout.colours), dtype=np.uint8)
    faults: list[Fault] = []
    try:
        head = [cell.strip() for cell in next(rows, [])]
        known = ["run", "group", *COLOURS]
        if head not in (known[:5], known):
            raise CovecastError(
                f"{name}: line 1: expected the header run,group,red,green,blue[,white], found {','.join(head)!r}"
            )
        runs = {run: r for r, run in enumerate(layout.run_names)}
        seen: dict[tuple[str, int], int] = {}
        for row in rows:
            if row:
                _read_row(layout, runs, seen, codes, faults, head, [cell.strip() for cell in row], rows.line_num)
    except csv.Error as error:
        raise CovecastError(f"{name}: line {rows.line_num}: expected comma-separated values, found {error}") from error
    if faults:
        raise SceneFaults(name, faults)
    return codes


def _read_row(
    layout: Layout,
    runs: dict[str, int],
    seen: dict[tuple[str, int], int],
    codes: Codes,
    faults: list[Fault],
    head: list[str],
    row: list[str],
    line: int,
) -> None:
    """Put one row into `codes`, or say in `faults` what is wrong with it."""
    if len(row) != len(head):
        faults.append(Fault("row", f"{len(head)} values", str(len(row)), line))
        return
    run, group, *values = row
    before = len(faults)
    for key, value in zip(head[2:], values, strict=True):
        if _code(value) is None:
            faults.append(Fault(key, "a code from 0 to 255", repr(value), line))
    number = -1
    if run not in runs:
        faults.append(Fault("run", f"one of {', '.join(runs)}", repr(run), line, nearest(run, runs)))
    else:
        count = int(np.diff(layout.first)[runs[run]])
        is_number = group.isascii() and group.isdigit() and len(group) <= 9
        number = int(group) if is_number else -1
        if not 0 <= number < count:
            faults.append(Fault("group", f"0 to {count - 1} of run {run}", repr(group), line))
        elif (run, number) in seen:
            faults.append(Fault("group", f"each group once (it is on line {seen[run, number]})", group, line))
    whole = [_code(value) or 0 for value in values]
    if len(faults) > before:
        return
    seen[run, number] = line
    place = int(layout.first[runs[run]]) + number
    if len(whole) == 4 and whole[3] and not layout.has_white[place]:
        faults.append(Fault("white", f"0 (the strip of run {run} has no white)", str(whole[3]), line))
        return
    codes[0, place] = whole[: layout.colours]  # a white that is 0 may stand where the plan has none
