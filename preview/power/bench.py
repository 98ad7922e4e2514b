"""Readings taken on the bench: a CSV file, and everything about it that cannot be right.

A piece of strip, a supply, two meters. One row a reading:

    length_m      length of the piece, cut to whole groups
    fed           near, far or both: the ends that power comes in at; near is the data end
    red, green, blue[, white]   the codes sent to every group, 0 to 255
    near_v, far_v volts across the strip's pads at the two ends
    amps          all that the piece draws
    plus_drop_v   optional: volts from the near positive pad to the far positive pad, of a piece fed at one end

The columns come in any order and go by their names; rows that start with # are passed over. Nothing is guessed: a value in the wrong unit
or the wrong column is named with what it looks like, and nothing is read.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from preview.scene.colours import COLOURS
from preview.scene.faults import CovecastError, Fault, SceneFaults, nearest
from preview.scene.model import Strip
from preview.scene.text_file import text_of

__all__ = ["COLUMNS", "FEWEST", "Reading", "read_bench"]

COLUMNS = ("length_m", "fed", "red", "green", "blue", "near_v", "far_v", "amps")
"""What a file must have; strips with a white have `white` too."""

OPTIONAL = ("white", "plus_drop_v")
FEWEST, MOST = 2, 200
MOST_BYTES = 1_000_000

SLACK_V = 0.05
"""By so much the end that is not fed may read above the one that is: two readings of one meter."""

RATED = 0.6
"""Some reading must reach this share of the rated volts: the rated current is told there."""

WILD = 20.0
"""So many times the label's current is no strip of that label."""


@dataclass(frozen=True)
class Reading:
    """One reading. `line` is its line in the file, from 1."""

    line: int
    length_m: float
    groups: int
    fed: str
    codes: tuple[int, int, int, int]
    near_v: float
    far_v: float
    amps: float
    plus_drop_v: float | None = None


def read_bench(path: Path, strip: Strip) -> list[Reading]:
    """The readings of a file, taken on a strip that goes by this label.

    Raises CovecastError where it is no such file or has fewer than two readings, SceneFaults with every value that cannot be right.
    """
    rows = csv.reader(io.StringIO(text_of(path, "a CSV file of readings", MOST_BYTES), newline=""), strict=True)
    head: list[str] = []
    faults: list[Fault] = []
    found: list[Reading] = []
    count = 0
    try:
        for row in rows:
            cells = [cell.strip() for cell in row]
            if not any(cells) or cells[0].startswith("#"):
                continue
            if not head:
                head = _header(path, cells, rows.line_num, strip)
                continue
            count += 1
            if len(cells) != len(head):
                expected = f"{len(head)} values, one for each column of the header"
                faults.append(Fault("row", expected, f"{len(cells)}", rows.line_num))
                continue
            reading, wrong = _reading(dict(zip(head, cells, strict=True)), rows.line_num, strip)
            faults += wrong
            if reading is not None:
                found.append(reading)
    except csv.Error as error:
        raise CovecastError(f"{path}: line {rows.line_num}: expected comma-separated values, found {error}") from error
    if not head:
        raise CovecastError(f"{path}: expected a header and readings, found neither")
    if faults:
        raise SceneFaults(str(path), faults)
    if not FEWEST <= count <= MOST:
        raise CovecastError(f"{path}: expected {FEWEST} to {MOST} readings, found {count or 'none'}")
    highest = max(max(reading.near_v, reading.far_v) for reading in found)
    if highest < RATED * strip.volts:
        raise CovecastError(
            f"{path}: expected a reading near the strip's rated {strip.volts:g} V, found {highest:g} V at the most: "
            "it looks like another strip, or volts in another unit"
        )
    return found


def _header(path: Path, cells: list[str], line: int, strip: Strip) -> list[str]:
    """The names of the columns, or every fault of them."""
    known = [*COLUMNS, *OPTIONAL]
    wanted = [*COLUMNS, *(("white",) if strip.white else ())]
    if len(cells) == 1 and ";" in cells[0]:
        expected = "commas between the values, and points in the numbers"
        raise SceneFaults(str(path), [Fault("header", expected, "semicolons", line)])
    if _number(cells[0]) is not None:
        expected = f"a header that names the columns: {','.join(wanted)}"
        raise SceneFaults(str(path), [Fault("header", expected, "a row of numbers", line)])
    faults = []
    for name in dict.fromkeys(cells):
        if name not in known:
            faults.append(
                Fault(repr(name), f"one of {', '.join(known)}", "an unknown column", line, nearest(name, known))
            )
        elif cells.count(name) > 1:
            faults.append(Fault(name, "each column once", f"{cells.count(name)} of them", line))
    meant = {fault.nearest for fault in faults}
    faults += [Fault(name, "a column of that name", "none", line) for name in wanted if name not in (*cells, *meant)]
    if faults:
        raise SceneFaults(str(path), faults)
    return cells


def _number(text: str) -> float | None:
    try:
        number = float(text)
    except ValueError:
        return None
    return number if math.isfinite(number) and "_" not in text else None


def _reading(cells: Mapping[str, str], line: int, strip: Strip) -> tuple[Reading | None, list[Fault]]:
    """One row as a reading, or what is wrong with it."""
    faults: list[Fault] = []

    def number(key: str) -> float:
        value = _number(cells[key])
        if value is None:
            shown = cells[key] if len(cells[key]) <= 40 else cells[key][:39] + "…"
            faults.append(Fault(key, "a number", repr(shown), line))
        return math.nan if value is None else value

    codes = tuple(_code(cells.get(colour, "0"), colour, line, faults) for colour in COLOURS)
    length_m, near_v, far_v, amps = (number(key) for key in ("length_m", "near_v", "far_v", "amps"))
    plus_v = number("plus_drop_v") if cells.get("plus_drop_v") else None
    fed = cells["fed"]
    if fed not in ("near", "far", "both"):
        faults.append(Fault("fed", "near, far or both", repr(fed), line, nearest(fed, ("near", "far", "both"))))
    if codes[3] and strip.white is None:
        faults.append(Fault("white", "0: the strip has no white", str(codes[3]), line))
    if faults:
        return None, faults
    groups = math.floor(length_m / strip.cut_m + 1e-6) if abs(length_m) < 1e6 else 0
    if not 0 < length_m <= 100:
        looks = ": it looks like millimetres" if 0 < length_m / 1000 <= 100 else ""
        faults.append(Fault("length_m", "metres above 0, at most 100", f"{length_m:g}{looks}", line))
    elif groups < 1:
        faults.append(Fault("length_m", f"one group at least, {strip.cut_m:.3g} m", f"{length_m:g}", line))
    if not faults:
        reading = Reading(line, length_m, groups, fed, codes, near_v, far_v, amps, plus_v)  # type: ignore[arg-type]
        faults = _implausible(reading, strip)
        if not faults:
            return reading, []
    return None, faults


def _code(text: str, colour: str, line: int, faults: list[Fault]) -> int:
    value = _number(text)
    if value is None or value != int(value) or not 0 <= value <= 255:
        looks = ": it looks like a fraction" if value is not None and 0 < value < 1 else ""
        faults.append(Fault(colour, "a code from 0 to 255", f"{text!r}{looks}", line))
        return 0
    return int(value)


def _implausible(reading: Reading, strip: Strip) -> list[Fault]:
    """What no meter on such a strip would show, with what it looks like."""
    line, rated = reading.line, strip.volts
    label_a = expected_a(reading, strip)
    highest = max(reading.near_v, reading.far_v)

    def fits_volts(value: float) -> bool:
        return 0.15 * rated <= value <= 1.5 * rated

    def fits_amps(value: float) -> bool:
        return 0 <= value <= 5 * label_a + 0.02

    faults: list[Fault] = []
    for key, value in (("near_v", reading.near_v), ("far_v", reading.far_v)):
        if -SLACK_V <= value <= 1.5 * rated and (value >= 0.15 * rated or highest >= 0.15 * rated):
            continue
        looks = ""
        if fits_volts(value / 1000):
            looks = ": it looks like millivolts"
        elif fits_volts(reading.amps) and fits_amps(value):
            looks = ": it looks like amps, and amps like volts"
        expected = f"volts of a {rated:g} V strip, {0.15 * rated:.3g} to {1.5 * rated:.3g}"
        faults.append(Fault(key, expected, f"{value:g}{looks}", line))
    if faults:
        return faults
    if not -0.002 <= reading.amps <= WILD * label_a + 0.05:
        looks = ""
        if reading.amps > 0 and fits_amps(reading.amps / 1000):
            looks = ": it looks like milliamps"
        elif fits_volts(reading.amps):
            looks = ": it looks like volts"
        expected = f"amps of {reading.groups} groups, which the label puts at {label_a:.3g}"
        faults.append(Fault("amps", expected, f"{reading.amps:g}{looks}", line))
    rise = {"near": reading.far_v - reading.near_v, "far": reading.near_v - reading.far_v, "both": 0.0}[reading.fed]
    if rise > SLACK_V:
        other = "far" if reading.fed == "near" else "near"
        expected = f"at most the volts at the end that is fed ({reading.fed})"
        found = f"{max(reading.near_v, reading.far_v):g}, {rise:.2g} V more: near_v and far_v look swapped, or fed is {other}"
        faults.append(Fault(f"{other}_v", expected, found, line))
    drop = highest - min(reading.near_v, reading.far_v)
    if reading.plus_drop_v is not None:
        size = abs(reading.plus_drop_v)
        if reading.fed == "both":
            faults.append(Fault("plus_drop_v", "nothing where both ends are fed", f"{reading.plus_drop_v:g}", line))
        elif size > drop + SLACK_V:
            looks = ": it looks like millivolts" if size / 1000 <= drop + SLACK_V else ""
            expected = f"at most the drop from end to end, {drop:.3g} V"
            faults.append(Fault("plus_drop_v", expected, f"{reading.plus_drop_v:g}{looks}", line))
    return faults


def expected_a(reading: Reading, strip: Strip) -> float:
    """Amps of a reading by the strip's figures, with nothing lost on the way."""
    colours = (strip.red, strip.green, strip.blue, strip.white)
    milliamps = strip.idle_milliamp_per_group + sum(
        code / 255 * colour.milliamp for code, colour in zip(reading.codes, colours, strict=True) if colour is not None
    )
    return milliamps / 1000 * reading.groups
