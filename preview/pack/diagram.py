"""The wiring as a drawing: sources on top, their lines down the left, every run as a bar with its feeds above it, the data line between.

One line stands for a two-core cable, positive and negative. Every feed has a row of its own, and in each run the one that comes in farthest
from the data end has the highest, so that no feed crosses another on its way down; words have a column where nothing else is.
"""

from __future__ import annotations

from collections.abc import Sequence

from preview.pack.drawing import BLUE, FAINT, INK, RED, Sheet, rows_of
from preview.pack.wiring import FeedPoint, JoinWay, Line, SourceWay, Wiring, length_words
from preview.scene.layout import Layout
from preview.scene.model import Scene

__all__ = ["TALLEST", "wiring_sheets", "wiring_svg"]

_PAD, _STEP, _FUSE = 16.0, 14.0, 40.0
_WORDS, _BAR, _MARGIN = 286.0, 356.0, 18.0
_SOURCE_H, _LANE_H, _RUN_H, _JOIN_H, _GAP = 52.0, 36.0, 42.0, 36.0, 16.0
_DASH = "5 3"


TALLEST = 1150.0
"""Height of a drawing, in its own units, that an upright sheet of A4 takes at a size that can be read."""


def wiring_svg(scene: Scene, layout: Layout, wiring: Wiring) -> str:
    """The wiring of a scene as SVG text, all of it in one drawing."""
    return _Drawn(scene, layout, wiring, [run for line in wiring.lines for run in line.runs]).text()


def wiring_sheets(scene: Scene, layout: Layout, wiring: Wiring, tallest: float = TALLEST) -> list[str]:
    """The same as drawings that are no taller than a sheet of paper, each with the sources of its own runs.

    A join to or from a run on another sheet ends at the edge. A run that alone is taller has a sheet of its own.
    """
    sheets: list[list[str]] = []
    for line in wiring.lines:
        for run in line.runs:
            if sheets and _height(wiring, [*sheets[-1], run]) <= tallest:
                sheets[-1].append(run)
            else:
                sheets.append([run])
    return [_Drawn(scene, layout, wiring, runs).text() for runs in sheets]


def _sources_of(wiring: Wiring, runs: Sequence[str]) -> list[SourceWay]:
    """The sources that feed runs, and what feeds those."""
    by_name = {source.name: source for source in wiring.sources}
    wanted: set[str] = set()
    for feed in wiring.feeds:
        name: str | None = feed.source if feed.run in runs else None
        while name is not None and name not in wanted:
            wanted.add(name)
            name = by_name[name].source
    return [source for source in wiring.sources if source.name in wanted]


def _height(wiring: Wiring, runs: Sequence[str]) -> float:
    """How tall a drawing of some runs comes out, but for the rows of negatives, which are taken as two."""
    rows = 2 * _PAD + _SOURCE_H * len(_sources_of(wiring, runs)) + _GAP + 100.0
    for run in runs:
        rows += _RUN_H + _GAP + _LANE_H * sum(feed.run == run for feed in wiring.feeds)
        rows += _JOIN_H * max(1, sum(join.end == run for join in wiring.joins))
    return rows


class _Drawn:
    """The drawing on its way: `y` is how far down it has come."""

    def __init__(self, scene: Scene, layout: Layout, wiring: Wiring, runs: Sequence[str]) -> None:
        self.scene, self.layout, self.wiring, self.runs = scene, layout, wiring, runs
        self.sources = _sources_of(wiring, runs)
        self.sheet = Sheet(f"{scene.title}: wiring")
        self.y = _PAD
        self.bus = {source.name: _PAD + 6 + _STEP * k for k, source in enumerate(self.sources)}
        self.words = _PAD + _STEP * len(self.sources) + _FUSE
        self.bar = self.words + _WORDS + 30
        self.begins: dict[str, float] = {}  # where each source's line starts, and how far down it goes
        self.ends: dict[str, float] = {}
        self.run_y: dict[str, float] = {}
        self.join_y: list[tuple[JoinWay, float]] = []
        self.length = dict(zip(layout.run_names, map(float, layout.length_m), strict=True))
        self.scale = _BAR / max(self.length.values())
        self.right = self.bar + _BAR + _MARGIN

    def text(self) -> str:
        for source in self.sources:
            self._source(source)
        self.y += _GAP
        for line in self.wiring.lines:
            for run in (run for run in line.runs if run in self.runs):
                self._into(line, run)
                feeds = [feed for feed in self.wiring.feeds if feed.run == run]
                for feed in sorted(feeds, key=lambda feed: (-feed.at_m, feed.index)):
                    self._lane(feed)
                self._run(run, feeds)
                self.y += _GAP
        self._joins()
        for name, x in self.bus.items():
            if name in self.ends:
                self.sheet.line([(x, self.begins[name]), (x, self.ends[name])], width=2)
        self._legend()
        return self.sheet.text(self.right + _PAD, self.y + _PAD)

    def _source(self, source: SourceWay) -> None:
        y, height = self.y, _SOURCE_H - 12
        out = y + height / 2 + (10 if source.source else 0)
        if source.source is not None:
            self._from(source.source, y + height / 2 - 8, self.words)
        self.sheet.line([(self.bus[source.name], out), (self.words, out)], width=2)
        self.begins[source.name] = out
        self.sheet.box(self.words, y, _WORDS, height, "#f1f4f5" if source.source is None else "#ffffff", round_=3)
        self.sheet.word(self.words + 10, y + 16, f"{source.kind} {source.name}", 12.5, bold=True, room=_WORDS - 14)
        if source.source is None:
            says = f"{source.volts:g} V d.c., {source.amps:g} A"
        else:
            says = f"{length_words(source.cable)} from {source.source}"
        self.sheet.word(self.words + 10, y + 32, says, 11, room=_WORDS - 14)
        self.y += _SOURCE_H

    def _from(self, source: str, y: float, to_x: float) -> None:
        """A line from a source's own line to the right."""
        x = self.bus[source]
        self.sheet.line([(x, y), (to_x, y)], arrow=to_x == self.words)
        self.sheet.dot(x, y)
        self.ends[source] = max(y, self.ends.get(source, 0.0))

    def _lane(self, feed: FeedPoint) -> None:
        y = self.y + _LANE_H / 2
        x = self.bar + feed.at_m * self.scale
        self._from(feed.source, y, x)
        if feed.fuse_a is not None:
            self.sheet.box(self.words - 30, y - 4.5, 22, 9, stroke=1.2)
            self.sheet.line([(self.words - 30, y), (self.words - 8, y)], width=1.2)
        fuse = "NO FUSE" if feed.fuse_a is None else f"fuse {feed.fuse_a:g} A"
        colour = INK if feed.fuse_a is not None else RED
        self.sheet.word(
            self.words,
            y - 4,
            f"{feed.name}: {fuse}, {length_words(feed.cable)}",
            11,
            colour,
            bold=True,
            room=_WORDS,
        )
        self.sheet.word(self.words, y + 13, f"at {feed.at_m:.3f} m: {feed.falls}", 11, room=_WORDS)
        self.y += _LANE_H

    def _run(self, run: str, feeds: list[FeedPoint]) -> None:
        y, width = self.y + _RUN_H / 2, max(self.length[run] * self.scale, 8.0)
        top = y - 8
        plan = next(one for one in self.scene.run if one.name == run)
        number = self.layout.run_names.index(run)
        groups = int(self.layout.first[number + 1] - self.layout.first[number])
        self.sheet.word(self.words, y - 2, run, 12.5, bold=True, room=_WORDS - 14)
        self.sheet.word(
            self.words, y + 14, f"strip {plan.strip}, {groups} groups, {self.length[run]:.3f} m", 11, room=_WORDS
        )
        for k, feed in enumerate(sorted(feeds, key=lambda feed: (-feed.at_m, feed.index))):
            x = self.bar + feed.at_m * self.scale
            lane = self.y - _LANE_H * (len(feeds) - k) + _LANE_H / 2
            self.sheet.line([(x, lane), (x, top)])
        self.sheet.box(self.bar, top, width, 16, "#fbf3df", round_=2)
        step = max(26.0, width / 12)
        mark = step / 2
        while mark < width - 6:
            self.sheet.line(
                [(self.bar + mark - 3, y - 4), (self.bar + mark + 2, y), (self.bar + mark - 3, y + 4)], BLUE, 1.2
            )
            mark += step
        for feed in feeds:
            self.sheet.dot(self.bar + feed.at_m * self.scale, top)
        self.run_y[run] = y
        self.y += _RUN_H

    def _into(self, line: Line, run: str) -> None:
        """What brings the data into a run: the controller, or the join from the run before."""
        joins = [join for join in self.wiring.joins if join.end == run]
        if run == line.runs[0]:
            y = self.y + _JOIN_H / 2
            self.sheet.box(self.words, y - 13, _WORDS, 26, "#e8f0f6", BLUE, 1.2, 3)
            lead = "" if line.lead_m is None else f", lead {line.lead_m:g} m"
            orders = "/".join(line.colour_orders)
            self.sheet.word(
                self.words + 10,
                y + 4,
                f"controller, data line {line.number}{lead}: order {orders}",
                11,
                BLUE,
                True,
                room=_WORDS - 14,
            )
            self.join_y.append((JoinWay("", run, "data", "", None), y))
            self.y += _JOIN_H + 4
        for join in joins:
            y = self.y + _JOIN_H / 2
            self.sheet.word(self.words, y - 4, f"from the end of {join.start}", 11, BLUE, True, room=_WORDS)
            self.sheet.word(self.words, y + 11, f"{join.words}: {length_words(join.cable)}", 11, room=_WORDS)
            self.join_y.append((join, y))
            self.y += _JOIN_H

    def _joins(self) -> None:
        """The lines between runs, each far enough right to keep clear of those beside it."""
        taken: list[list[tuple[float, float]]] = []
        for join, y in self.join_y:
            x_in, run_y = self.bar - 14, self.run_y[join.end]
            if not join.start:
                path = [(self.words + _WORDS, y), (x_in, y), (x_in, run_y), (self.bar, run_y)]
                self.sheet.line(path, BLUE, 1.6, _DASH, arrow=True)
                continue
            out = self.run_y.get(join.start, y)  # a run on another sheet: the line comes in from the edge
            span = (min(out, y) - 6, max(out, y) + 6)
            lane = next(
                (n for n, held in enumerate(taken) if all(span[1] < a or b < span[0] for a, b in held)), len(taken)
            )
            if lane == len(taken):
                taken.append([])
            taken[lane].append(span)
            x_out = self.bar + _BAR + _MARGIN + 12 * lane
            self.right = max(self.right, x_out + 6)
            end_x = self._end(join.start)
            for shift, colour, width, dash in _strokes(join.carries):
                path = [(x_in - shift, y + shift), (x_in - shift, run_y + shift), (self.bar, run_y + shift)]
                if join.start in self.run_y:
                    path[:0] = [(end_x, out + shift), (x_out + shift, out + shift), (x_out + shift, y + shift)]
                else:
                    path[:0] = [(x_out, y + shift)]
                self.sheet.line(path, colour, width, dash, arrow=colour == BLUE)
        for join in self.wiring.joins:
            if join.start in self.run_y and join.end not in self.run_y:
                y = self.run_y[join.start]
                for shift, colour, width, dash in _strokes(join.carries):
                    path = [(self._end(join.start), y + shift), (self.bar + _BAR + _MARGIN, y + shift)]
                    self.sheet.line(path, colour, width, dash, arrow=colour == BLUE)

    def _end(self, run: str) -> float:
        return self.bar + max(self.length[run] * self.scale, 8.0)

    def _legend(self) -> None:
        sheet, x = self.sheet, self.words
        self.y += 6
        sheet.line([(_PAD, self.y), (self.right, self.y)], FAINT, 0.8)
        marks = [
            (INK, 1.6, None, "two-core cable: positive and negative"),
            (FAINT, 1.6, None, "negative alone"),
            (BLUE, 1.6, _DASH, "data, in the direction of the arrow"),
        ]
        self.y += 20
        for number, (colour, width, dash, says) in enumerate(marks):
            left = x + (number % 2) * 330
            sheet.line([(left - 34, self.y - 4), (left - 8, self.y - 4)], colour, width, dash)
            sheet.word(left, self.y, says, 11)
            if number % 2:
                self.y += 18
        left = x + 330
        sheet.box(left - 32, self.y - 8.5, 22, 9, stroke=1.2)
        sheet.line([(left - 36, self.y - 4), (left - 6, self.y - 4)], width=1.2)
        sheet.word(left, self.y, "fuse, at the end that the power comes from", 11)
        self.y += 10
        here = {f"{source.kind} {source.name}" for source in self.sources} | {f"run {run}" for run in self.runs}
        for names in ([name for name in names if name in here] for names in self.wiring.negatives):
            if not names:
                continue
            for row in rows_of([f"One negative, tied together: {names[0]}", *names[1:]], self.right - _PAD, 11):
                self.y += 16
                sheet.word(_PAD, self.y, row, 11)


def _strokes(carries: str) -> list[tuple[float, str, float, str | None]]:
    """What lines a join is drawn with: shift, colour, width, dash."""
    data: tuple[float, str, float, str | None] = (0.0, BLUE, 1.6, _DASH)
    if carries == "power":
        return [(4.0, INK, 1.6, None), data]
    if carries == "negative":
        return [(4.0, FAINT, 1.6, None), data]
    return [data]
