"""The lists as CSV: parts, cuts and readings, as a spreadsheet opens them.

UTF-8 with its mark, so that every spreadsheet takes it as such; numbers with a decimal point and no unit, which is in the head. A text that
a spreadsheet would run as a formula gets an apostrophe in front.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence

from preview.pack.cuts import CutList
from preview.pack.gauging import Gauged
from preview.pack.parts import Parts

__all__ = ["cuts_csv", "parts_csv", "plain_text", "readings_csv"]


def plain_text(text: str) -> str:
    """A text as a cell that no spreadsheet runs. A number is one.

    >>> plain_text("=1+1"), plain_text("cove"), plain_text("-0.014")
    ("'=1+1", 'cove', '-0.014')
    """
    runs = text[:1] in ("=", "+", "-", "@", "\t") and re.fullmatch(r"[-+]?\d+(\.\d+)?", text) is None
    return f"'{text}" if runs else text


def _csv(head: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    file = io.StringIO(newline="")
    writer = csv.writer(file)
    writer.writerow(head)
    for row in rows:
        writer.writerow(["" if cell is None else plain_text(cell) if isinstance(cell, str) else cell for cell in row])
    return file.getvalue().encode("utf-8-sig")


def parts_csv(parts: Parts) -> bytes:
    """The parts list."""
    head = ["kind", "item", "count", "unit", "net_m", "price", "cost", "currency", "note"]
    rows = [
        [
            part.kind, part.item, f"{part.count:g}", part.unit, None if part.net_m is None else f"{part.net_m:.3f}",
            None if part.price is None else f"{part.price:.2f}", None if part.cost is None else f"{part.cost:.2f}",
            None if part.price is None else parts.currency, part.note,
        ]
        for part in parts.parts
    ]  # fmt: skip
    return _csv(head, rows)


def cuts_csv(cuts: CutList) -> bytes:
    """Every piece that is cut: from which reel or length, how long, and where it goes."""
    head = [
        "kind",
        "name",
        "from",
        "mark",
        "length_mm",
        "run",
        "start_m",
        "first_group",
        "last_group",
        "dark_at_end_mm",
        "note",
    ]
    dark = {strip.run: strip.dark_m for strip in cuts.strips}
    last = {strip.run: strip.groups - 1 for strip in cuts.strips}
    rows = []
    for material in cuts.materials:
        what = "reel" if material.kind == "strip" else "length"
        for piece in material.pieces:
            first_group, last_group = piece.groups or (None, None)
            ends = material.kind == "strip" and last_group == last[piece.run]
            rows.append(
                [
                    material.kind, material.name, f"{what} {piece.sold}", piece.mark, f"{1000 * piece.length_m:.1f}", piece.run,
                    f"{piece.start_m:.4f}", first_group, last_group, f"{1000 * dark[piece.run]:.1f}" if ends else None, piece.note,
                ]
            )  # fmt: skip
    return _csv(head, rows)


def readings_csv(gauged: Gauged) -> bytes:
    """Every reading to take, with what to expect, and a column to fill in. Three decimals, as the probe prints them."""
    head = ["drive", "codes", "place", "unit", "expected", "tolerance", "from", "to", "read"]
    rows = [
        [
            one.drive.name, one.drive.words, one.place, one.unit, f"{one.expected:.3f}", f"{one.tolerance:.3f}",
            f"{one.expected - one.tolerance:.3f}", f"{one.expected + one.tolerance:.3f}", None,
        ]
        for one in gauged.readings
    ]  # fmt: skip
    return _csv(head, rows)
