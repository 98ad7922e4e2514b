"""What cannot be built: a plan whose keys are all right and which still fits no room, no strip and no supply.

Leaves out: what can be built and should not be. Loads, drops, fuses and ampacities are judged elsewhere, from figures.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path as FilePath
from typing import Any, TypeVar

from pydantic import BaseModel

from preview.scene.colours import COLOURS, colours_of
from preview.scene.faults import Fault
from preview.scene.layout import MOST_GROUPS, path_length_m
from preview.scene.lines import Path
from preview.scene.model import Feed, Look, Photo, Programme, Room, Run, Strip
from preview.scene.references import named_tables, tables_in
from preview.scene.tables import name_of
from preview.scene.wording import dotted, listed, shown

__all__ = ["OUTSIDE_M", "possible_faults"]

OUTSIDE_M = 0.1
"""A run may be this far outside the room: walls are measured to the nearest few centimetres."""

_KNEE_V = 1e-3  # between dark and rated current; a real knee is hundreds of millivolts wide

Found = Iterator[tuple[Path, Fault]]
Built = Mapping[Path, BaseModel]
T = TypeVar("T", bound=BaseModel)


def possible_faults(
    raw: Mapping[str, Any], built: Built, misnamed: Mapping[Path, Fault], folder: FilePath
) -> dict[Path, Fault]:
    """Every physical impossibility of a plan, by its place.

    `raw` are the tables as read, `built` the models of those that are right (`preview.scene.tables.build_tables`),
    `misnamed` the faults of its references, and `folder` is where the scene file is.
    """
    faults: dict[Path, Fault] = {}
    for found in (_strip_labels(raw), _cables(raw), _conductors(raw, misnamed)):
        faults.update(found)
    for found in (
        _strips(built),
        _groups(built),
        _outside(built),
        _feeds(built),
        _photo(built, folder),
        _programme(built),
    ):
        faults.update(found)
    return {path: _with_name(fault, raw, path) for path, fault in faults.items()}


def _with_name(fault: Fault, raw: Mapping[str, Any], path: Path) -> Fault:
    return Fault(fault.key, fault.expected, fault.found, nearest=fault.nearest, named=name_of(raw, path))


def _fault(path: Path, expected: str, found: str) -> tuple[Path, Fault]:
    return path, Fault(dotted(path), expected, found)


def _of(built: Built, kind: type[T]) -> Iterator[tuple[Path, T]]:
    return ((path, table) for path, table in built.items() if isinstance(table, kind))


def _runs_by_name(built: Built) -> dict[str, tuple[Run, Strip]]:
    """Runs whose strip is known and right."""
    found: dict[str, tuple[Run, Strip]] = {}
    for _, run in _of(built, Run):
        strip = built.get(("strip", run.strip))
        if isinstance(strip, Strip):
            found.setdefault(run.name, (run, strip))
    return found


def _strip_labels(raw: Mapping[str, Any]) -> Found:
    """What a label must say, looked at before anything is filled in."""
    for name, strip in named_tables(raw, "strip").items():
        path: Path = ("strip", name)
        four = strip.get("colours") == "rgbw"
        tables = [table for colour in colours_of(four) if isinstance(table := strip.get(colour), dict)]
        if not ({"watts_per_m", "milliamp"} & set(strip) or any("milliamp" in table for table in tables)):
            expected = "watts_per_m or milliamp from its label, or milliamp in [strip.NAME.red] and the other colours"
            yield _fault((*path, "watts_per_m"), expected, "none of them")
        if "white" in strip and not four and strip.get("colours", "rgb") == "rgb":
            yield _fault((*path, "white"), 'a white only where colours = "rgbw"', 'colours = "rgb"')
        white = strip.get("white")
        if isinstance(white, dict) and {"xy", "kelvin"} <= set(white):
            yield _fault((*path, "white", "kelvin"), "one of xy and kelvin", "both")


def _cables(raw: Mapping[str, Any]) -> Found:
    """A cable has one size, in one of two systems."""
    holders: list[tuple[Path, dict[str, Any]]] = [
        *((("block", name), table) for name, table in named_tables(raw, "block").items()),
        *((("feed", number), table) for number, table in tables_in(raw, "feed")),
        *((("join", number), table) for number, table in tables_in(raw, "join")),
    ]
    for path, table in holders:
        cable = table.get("cable")
        if isinstance(cable, dict) and ("mm2" in cable) == ("awg" in cable):
            yield _fault((*path, "cable"), "exactly one of mm2 and awg", "both" if "mm2" in cable else "neither")


def _conductors(raw: Mapping[str, Any], misnamed: Mapping[Path, Fault]) -> Found:
    """Runs that no supply reaches. A misspelt name counts as the name it is closest to: it has its own fault.

    A feed and a join that carries power bring both conductors together, so a run whose positive has a way to a supply
    has its negative's way too; a join that carries the negative alone leaves its runs without a positive.
    """

    def meant(path: Path, name: object) -> object:
        return misnamed[path].nearest if path in misnamed else name if isinstance(name, str) else None

    feeds = list(tables_in(raw, "feed"))
    if not feeds:
        return  # that there is no feed at all is a fault of its own
    ends = [
        (meant(("join", n, "from"), join.get("from")), meant(("join", n, "to"), join.get("to")), join.get("carries"))
        for n, join in tables_in(raw, "join")
    ]
    beside: dict[object, list[object]] = {}
    for one, other, carries in ends:
        if carries not in ("negative", "data"):
            beside.setdefault(one, []).append(other)
            beside.setdefault(other, []).append(one)
    waiting = [meant(("feed", n, "run"), feed.get("run")) for n, feed in feeds]
    reached: set[object] = set()
    while waiting:
        name = waiting.pop()
        if name not in reached:
            reached.add(name)
            waiting += beside.get(name, [])
    for number, run in tables_in(raw, "run"):
        name = run.get("name")
        if isinstance(name, str) and name not in reached:
            others = sorted({str(carries) for one, other, carries in ends if name in (one, other)})
            found = f"only a join that carries {listed(others)}" if others else "no feed and no join"
            yield _fault(("run", number), "a feed, or a join that carries power from a run that has one", found)


def _strips(built: Built) -> Found:
    for path, strip in _of(built, Strip):
        letters = strip.colours
        if sorted(strip.colour_order) != sorted(letters):
            expected = f'each letter of "{letters}" once, as in "{"grb" if letters == "rgb" else "grbw"}"'
            yield _fault((*path, "colour_order"), expected, shown(strip.colour_order))
        given_a = 0.0
        for name in COLOURS:
            colour = getattr(strip, name)
            if colour is None:
                continue
            given_a += colour.milliamp
            if colour.full_v < colour.dark_v + _KNEE_V:
                expected = f"a voltage above dark_v, which is {colour.dark_v:g} V"
                yield _fault((*path, name, "full_v"), expected, f"{colour.full_v:g} V")
            x, y = colour.xy
            if x + y > 1:
                yield _fault((*path, name, "xy"), "a chromaticity with x + y at most 1", f"x + y = {x + y:g}")
        if strip.watts_per_m is not None and given_a <= 0:
            idle_w = strip.idle_milliamp_per_group / 1000 * strip.volts / strip.cut_m
            expected = f"more than its groups draw when dark, {idle_w:.3g} W/m"
            yield _fault((*path, "watts_per_m"), expected, f"{strip.watts_per_m:g} W/m")


def _groups(built: Built) -> Found:
    """At least one group a run, and not more in all than this tool takes."""
    total = most = 0.0
    for path, run in _of(built, Run):
        strip = built.get(("strip", run.strip))
        if not isinstance(strip, Strip):
            continue
        length_m = path_length_m(run)
        groups = length_m / strip.cut_m
        total, most = total + groups, max(most, groups)
        if groups + 1e-6 < 1:
            expected = f"a path as long as one group of strip {run.strip} at least, {strip.cut_m:.3g} m"
            yield _fault((*path, "path_m"), expected, f"{length_m:.3g} m")
        elif groups > MOST_GROUPS:
            expected = f"at most {MOST_GROUPS} groups in a scene"
            yield _fault((*path, "path_m"), expected, f"{groups:.0f} groups: {length_m:.6g} m in {strip.cut_m:.3g} m")
    if most <= MOST_GROUPS < total:
        yield _fault(("run",), f"at most {MOST_GROUPS} groups in a scene", f"{total:.0f} groups in all runs")


def _outside(built: Built) -> Found:
    """Runs that leave the room; the worst corner of each."""
    room = built.get(("room",))
    if not isinstance(room, Room):
        return
    for path, run in _of(built, Run):
        beyond = [max(max(-v, v - s) for v, s in zip(point, room.size_m, strict=True)) for point in run.path_m]
        worst_m = max(beyond)
        if worst_m > OUTSIDE_M + 1e-9:
            number = beyond.index(worst_m)
            sides = ", ".join(f"{axis} 0 to {side:g}" for axis, side in zip("xyz", room.size_m, strict=True))
            expected = f"a point in the room or within {OUTSIDE_M:g} m of it ({sides} m)"
            found = f"{shown(list(run.path_m[number]))}, {worst_m:.3g} m outside"
            yield _fault((*path, "path_m", number), expected, found)


def _feeds(built: Built) -> Found:
    """Feeds beyond the ends of their run's path by more than a cut length."""
    runs = _runs_by_name(built)
    for path, feed in _of(built, Feed):
        if feed.run in runs:
            run, strip = runs[feed.run]
            length_m = path_length_m(run)
            if not -strip.cut_m - 1e-9 <= feed.at_m <= length_m + strip.cut_m + 1e-9:
                expected = f"a place along run {feed.run}, 0 to {length_m:.3g} m"
                yield _fault((*path, "at_m"), expected, f"{feed.at_m:g} m")


def _programme(built: Built) -> Found:
    """Fades longer than their step, and a look that goes by the name of the whole programme."""
    steps = list(_of(built, Programme))
    stays_s: dict[str, float] = {}
    for path, look in _of(built, Look):
        stays_s.setdefault(look.name, look.seconds)
        if steps and look.name == "programme":
            yield _fault((*path, "name"), "another name: the looks in sequence go by programme", shown(look.name))
    for path, step in steps:
        seconds = step.seconds if step.seconds is not None else stays_s.get(step.look)
        if seconds is not None and step.fade_s > seconds:
            expected = f"a fade of at most the {seconds:g} s that the step stays"
            yield _fault((*path, "fade_s"), expected, f"{step.fade_s:g} s")


def _photo(built: Built, folder: FilePath) -> Found:
    """The photo is a file of the scene's folder, and its corners go round without crossing."""
    photo = built.get(("photo",))
    if not isinstance(photo, Photo):
        return
    problem = _file_problem(photo.file, folder)
    if problem:
        yield _fault(("photo", "file"), "a picture inside the scene's folder", problem)
    u0, v0, u1, v1 = photo.rect_m
    if u1 <= u0 or v1 <= v0:
        expected = "[u0, v0, u1, v1] with u1 above u0 and v1 above v0"
        yield _fault(("photo", "rect_m"), expected, shown(list(photo.rect_m)))
    else:
        room = built.get(("room",))
        if isinstance(room, Room):
            across, up = {"left": (1, 2), "right": (1, 2), "floor": (0, 1), "ceiling": (0, 1)}.get(
                photo.surface, (0, 2)
            )
            u_m, v_m = room.size_m[across], room.size_m[up]
            if min(u0, v0) < -OUTSIDE_M or u1 > u_m + OUTSIDE_M or v1 > v_m + OUTSIDE_M:
                expected = f"a rectangle on the {photo.surface}, u 0 to {u_m:g} m, v 0 to {v_m:g} m"
                yield _fault(("photo", "rect_m"), expected, shown(list(photo.rect_m)))
    corners = photo.corners_px
    turns = []
    for number in range(4):
        (ax, ay), (bx, by), (cx, cy) = (corners[(number + step) % 4] for step in range(3))
        turns.append((bx - ax) * (cy - by) - (by - ay) * (cx - bx))
    if not (all(turn > 0 for turn in turns) or all(turn < 0 for turn in turns)):
        expected = "four corners in order round the rectangle, no side crossing another and no three in a line"
        yield _fault(("photo", "corners_px"), expected, shown([list(corner) for corner in corners]))


def _file_problem(name: str, folder: FilePath) -> str | None:
    """Why a name is not a file inside a folder, or None. Links are followed before they are judged."""
    if "\0" in name or len(name) > 255:
        return shown(name)
    if FilePath(name).is_absolute() or "\\" in name or ":" in name:
        return f"{shown(name)}, which is not a plain relative path"
    inside, file = folder.resolve(), (folder / name).resolve()
    if not file.is_relative_to(inside):
        return f"{shown(name)}, which leads outside it"
    return None if file.is_file() else f"no file {shown(name)} there"
