"""The same layout with one strip or another, one channel or another, one supply or another: what each would be like, side by side.

Every run takes the strip and the channel of an option, every supply the figures of its supply. Where a strip of another voltage takes the
place of the planned one and no supply is asked for, each supply is taken at the strip's volts with the same watts; that is said in a note.

Leaves out: cables and fuses of other sizes, channels that a wider strip does not fit in.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from preview.light.dots import Dots, dots_of
from preview.looks.drives import channel_blocks, drive_blocks
from preview.looks.library import looks_of
from preview.power.cap import Cap, cap_any, cap_of
from preview.power.conductor_sets import used_supplies
from preview.power.data_line import data_lines
from preview.power.meter import meter_frames
from preview.power.network import build
from preview.power.strip import volts_fit
from preview.scene.faults import CovecastError, unknown
from preview.scene.layout import MOST_GROUPS, Layout, group_count, lay_out, path_length_m
from preview.scene.lengths import sold_lengths
from preview.scene.model import Scene, Supply

__all__ = ["BARE", "MOST_OPTIONS", "Choice", "Compared", "choices_of", "compare"]

BARE = "none"
"""In the place of a channel's name: the bare strip."""

MOST_OPTIONS = 24


@dataclass(frozen=True)
class Choice:
    """What an option puts in the place of what is planned; None leaves it. All None is the plan itself."""

    strip: str | None = None
    channel: str | None = None
    supply: str | None = None

    def __str__(self) -> str:
        words = [("strip", self.strip), ("channel", self.channel), ("supply", self.supply)]
        return ", ".join(f"{kind} {name}" for kind, name in words if name is not None) or "as planned"


@dataclass(frozen=True)
class Compared:
    """One option. Watts leave the supplies; "full" is every colour of every group at full, at no level in particular."""

    choice: Choice
    groups: int
    group_mm: tuple[float, ...]  # group lengths that there are
    strip_m: float
    reels: int
    price: float | None  # of reels, channels and supplies that have one; None where a strip has none
    unpriced: tuple[str, ...]
    full_w: float
    mean_w: float  # over all looks at their own levels
    lowest_v: float  # at full
    lowest_at: tuple[str, int]  # run, group
    dimming: float  # at full
    colour_steps: float  # at full
    cap_any: Cap
    cap_looks: Cap  # the lowest of the looks' caps
    over: tuple[str, ...]  # looks that pass a limit at their own level
    dots: tuple[Dots, ...]
    frames_per_s: float  # that the longest data line allows
    notes: tuple[str, ...]

    @property
    def dots_show(self) -> bool:
        """Whether the viewer sees single LEDs on any run."""
        return any(one.shows for one in self.dots)

    @property
    def dots_within_m(self) -> float:
        """How far away they show at most, over all runs."""
        return max(one.visible_within_m for one in self.dots)

    def as_json(self) -> dict[str, Any]:
        """One entry of "options" in the comparison's JSON."""
        run, group = self.lowest_at
        return {
            "name": str(self.choice),
            **asdict(self.choice),
            "groups": self.groups,
            "group_mm": list(self.group_mm),
            "strip_m": self.strip_m,
            "reels": self.reels,
            "price": self.price,
            "unpriced": list(self.unpriced),
            "full_watts": self.full_w,
            "mean_watts": self.mean_w,
            "lowest_volts": {"volts": self.lowest_v, "run": run, "group": group},
            "dimming": self.dimming,
            "colour_steps": self.colour_steps,
            "cap_any": self.cap_any.as_json(),
            "cap_looks": self.cap_looks.as_json(),
            "looks_over": list(self.over),
            "dots": [asdict(one) for one in self.dots],
            "dots_show": self.dots_show,
            "frames_per_s": self.frames_per_s,
            "notes": list(self.notes),
        }


def choices_of(
    scene: Scene, strips: Sequence[str], channels: Sequence[str], supplies: Sequence[str]
) -> tuple[Choice, ...]:
    """The plan itself and every combination of the names. CovecastError lists every name that the scene does not have."""
    channel_names = [*scene.channel, BARE]
    wrong = []
    for option, names, known in (
        ("--strip", strips, list(scene.strip)),
        ("--channel", channels, channel_names),
        ("--supply", supplies, list(scene.supply)),
    ):
        for name in names:
            if name not in known:
                wrong.append(f"{option}: {unknown(name, known)}")
    if wrong:
        raise CovecastError("\n  ".join([f"{scene.title}: nothing to compare", *wrong]) if len(wrong) > 1 else wrong[0])
    columns: list[list[str | None]] = [list(dict.fromkeys(names)) or [None] for names in (strips, channels, supplies)]
    found = [Choice(), *(Choice(*names) for names in itertools.product(*columns))]
    if len(found) > MOST_OPTIONS:
        raise CovecastError(f"expected at most {MOST_OPTIONS} options, found {len(found)}")
    return tuple(found)


def compare(
    scene: Scene, choices: Sequence[Choice], progress: Callable[[float], None] | None = None
) -> tuple[Compared, ...]:
    """Each choice worked out, those left out that are the plan itself under another name.

    Raises CovecastError where a strip's groups are longer than a run, or shorter than this tool takes.
    """
    plans: list[tuple[Choice, Scene, tuple[str, ...]]] = []
    for choice in choices:
        changed, notes = _changed(scene, choice)
        if all(changed != other for _, other, _ in plans):
            plans.append((choice, changed, notes))
    _check_lengths(plans)
    tell = progress or (lambda share: None)
    found = []
    for number, (choice, changed, notes) in enumerate(plans):

        def part(share: float, number: int = number) -> None:
            tell((number + share) / len(plans))

        found.append(_compared(choice, changed, notes, part))
    return tuple(found)


def _changed(scene: Scene, choice: Choice) -> tuple[Scene, tuple[str, ...]]:
    """The scene with a choice made, and what is to be said of it."""
    update: dict[str, Any] = {}
    run: dict[str, Any] = {}
    if choice.strip is not None:
        run["strip"] = choice.strip
    if choice.channel is not None:
        run["channel"] = None if choice.channel == BARE and BARE not in scene.channel else choice.channel
    if run:
        update["run"] = tuple(one.model_copy(update=run) for one in scene.run)
    notes: list[str] = []
    supplies = dict(scene.supply)
    if choice.supply is not None:
        new = scene.supply[choice.supply]
        figures = {"volts": new.volts, "amps": new.amps, "output_milliohm": new.output_milliohm, "price": new.price}
        supplies = {name: one.model_copy(update=figures) for name, one in supplies.items()}
    if choice.strip is not None:
        rated = scene.strip[choice.strip].volts
        for name, supply in supplies.items():
            if volts_fit(supply.volts, rated):
                continue
            if choice.supply is not None:
                notes.append(f"{supply.volts:g} V do not fit strip {choice.strip} of {rated:g} V")
                break
            supplies[name] = _same_watts(supply, rated)
            was = f"{supply.amps:g} A at {supply.volts:g} V"
            notes.append(f"supply {name} taken as {supplies[name].amps:.3g} A at {rated:g} V, the same watts as {was}")
    if supplies != dict(scene.supply):
        update["supply"] = supplies
    return scene.model_copy(update=update), tuple(notes)


def _same_watts(supply: Supply, volts: float) -> Supply:
    """A supply of other volts and the same watts; its inner resistance loses the same share of them. It has no price."""
    scale = volts / supply.volts
    figures = {
        "volts": volts,
        "amps": supply.amps / scale,
        "output_milliohm": supply.output_milliohm * scale**2,
        "price": None,
    }
    return supply.model_copy(update=figures)


def _check_lengths(plans: Sequence[tuple[Choice, Scene, tuple[str, ...]]]) -> None:
    """Raise CovecastError where an option leaves a run without a group, or has more groups than there may be."""
    wrong = []
    for choice, scene, _ in plans:
        total = 0
        for run in scene.run:
            strip = scene.strip[run.strip]
            count = group_count(run, strip)
            total += count
            if count < 1:
                wrong.append(f"{choice}: run {run.name} is {path_length_m(run):.3g} m, a group {strip.cut_m:.3g} m")
        if total > MOST_GROUPS:
            wrong.append(f"{choice}: {total} groups, expected at most {MOST_GROUPS}")
    if wrong:
        raise CovecastError("\n  ".join(["expected options that fit every run", *wrong]))


def _compared(choice: Choice, scene: Scene, notes: tuple[str, ...], progress: Callable[[float], None]) -> Compared:
    layout = lay_out(scene)
    network = build(scene, layout)
    full = np.full((1, layout.groups, layout.colours), 255, dtype=np.uint8)
    most = meter_frames(scene, layout, network, [full], 1.0)
    looks = looks_of(scene)
    over, caps, watts, seconds = [], [], 0.0, 0.0
    rate = scene.assume.data_frames_per_s
    for number, look in enumerate(looks, start=1):
        metered = meter_frames(scene, layout, network, drive_blocks(scene, layout, look), rate, name=look.name)
        caps.append(cap_of(scene, layout, network, channel_blocks(scene, layout, look), f"look {look.name}"))
        watts, seconds = watts + float(metered.supply_w.sum()), seconds + metered.frames
        if metered.breaks:
            over.append(look.name)
        progress(number / len(looks))
    reels, price, unpriced = _bought(scene, layout)
    return Compared(
        choice=choice,
        groups=layout.groups,
        group_mm=tuple(sorted({round(1000 * float(cut), 3) for cut in layout.cut_m})),
        strip_m=float(layout.length_m.sum()),
        reels=reels,
        price=price,
        unpriced=unpriced,
        full_w=float(most.supply_w[0]),
        mean_w=watts / seconds,
        lowest_v=float(most.lowest_v[0]),
        lowest_at=layout.name_of(int(most.lowest_group[0])),
        dimming=float(most.dimming[0]),
        colour_steps=float(most.colour_steps[0]),
        cap_any=cap_any(scene, layout, network),
        cap_looks=min(caps, key=lambda cap: (cap.holds, cap.code)),
        over=tuple(over),
        dots=dots_of(scene, layout),
        frames_per_s=min(line.frames_per_s for line in data_lines(scene)),
        notes=notes,
    )


def _bought(scene: Scene, layout: Layout) -> tuple[int, float | None, tuple[str, ...]]:
    """Reels; the price of reels, channels and supplies together, None where no strip has one; and what has no price."""
    reels, price, unpriced, priced = 0, 0.0, [], False
    for name in dict.fromkeys(run.strip for run in scene.run):
        strip = scene.strip[name]
        pieces = [float(layout.length_m[r]) for r, run in enumerate(scene.run) if run.strip == name]
        count = sold_lengths(pieces, strip.reel_m, strip.cut_m)
        reels += count
        if strip.price is None:
            unpriced.append(f"strip {name}")
        else:
            price, priced = price + count * strip.price, True
    for name in dict.fromkeys(run.channel for run in scene.run if run.channel is not None):
        channel = scene.channel[name]
        count = sold_lengths(
            [float(layout.length_m[r]) for r, run in enumerate(scene.run) if run.channel == name], channel.stock_m
        )
        if channel.price is None:
            unpriced.append(f"channel {name}")
        else:
            price += count * channel.price
    for name in used_supplies(scene):
        supply = scene.supply[name]
        if supply.price is None:
            unpriced.append(f"supply {name}")
        else:
            price += supply.price
    return reels, price if priced else None, tuple(unpriced)
