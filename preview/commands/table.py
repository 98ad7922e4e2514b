"""Short aligned tables, and the values that a plan takes as typical, as every command prints them."""

from __future__ import annotations

from collections.abc import Sequence

__all__ = ["assumed_lines", "table"]


def table(heads: Sequence[str], rows: Sequence[Sequence[str]], indent: str = "") -> str:
    """Columns two spaces apart; a column whose head starts with '<' is set to the left, the others to the right.

    >>> print(table(["<supply", "A"], [["psu", "4.40"], ["far one", "12.01"]]))
    supply       A
    psu       4.40
    far one  12.01
    """
    left = [head.startswith("<") for head in heads]
    lines = [[head.removeprefix("<") for head in heads], *rows]
    widths = [max(len(line[c]) for line in lines) for c in range(len(heads))]
    texts = []
    for line in lines:
        cells = [
            f"{cell:<{w}}" if to_left else f"{cell:>{w}}" for cell, w, to_left in zip(line, widths, left, strict=True)
        ]
        texts.append((indent + "  ".join(cells)).rstrip())
    return "\n".join(texts)


def assumed_lines(assumed: Sequence[str], width: int = 110) -> str:
    """What was filled from typical values, by table, in few lines; empty where nothing was. Colours that lack the same stand together.

    >>> print(assumed_lines(["strip.glow.rail_milliohm_per_m", "strip.glow.red.lumen", "strip.glow.blue.lumen", "room"]))
    Assumed, typical values: strip.glow (rail_milliohm_per_m; of red, blue: lumen); room
    """
    tables: dict[str, list[str]] = {}
    for key in assumed:
        parts = key.split(".")
        name, rest = (".".join(parts[:2]), ".".join(parts[2:])) if len(parts) > 2 else (key, "")
        tables.setdefault(name, []).extend([rest] if rest else [])
    if not tables:
        return ""
    words = [f"{name} ({_by_colour(keys)})" if keys else name for name, keys in tables.items()]
    lines, line = [], "Assumed, typical values:"
    for word in "; ".join(words).split(" "):
        if len(line) + 1 + len(word) > width:
            lines.append(line)
            line = "  " + word
        else:
            line += f" {word}"
    return "\n".join([*lines, line])


def _by_colour(keys: Sequence[str]) -> str:
    """The keys of a strip, those of its colours last: `of red, green: milliamp, lumen`."""
    colours: dict[str, list[str]] = {}
    for key in keys:
        colour, _, rest = key.rpartition(".")
        colours.setdefault(colour, []).append(rest)
    alike: dict[tuple[str, ...], list[str]] = {}
    for colour, own in colours.items():
        if colour:
            alike.setdefault(tuple(own), []).append(colour)
    parts = [", ".join(colours[""])] if "" in colours else []
    return "; ".join([*parts, *(f"of {', '.join(names)}: {', '.join(own)}" for own, names in alike.items())])
