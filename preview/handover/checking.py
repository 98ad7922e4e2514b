"""The whole plan read once: every look metered, every rule asked, the dots behind covers and the flashes in the picture judged.

What `covecast check` prints.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from preview.handover.eyes import caution, flash_limit
from preview.handover.watching import scene_flashes
from preview.light.camera import camera_of
from preview.light.dots import Dots, dots_of
from preview.light.lit_photo import sighting_of
from preview.light.photo import load_photo
from preview.light.sighting import MARKED_TO
from preview.looks.drives import channel_blocks, drive_blocks
from preview.looks.flashing import Flashes
from preview.looks.flicker import strip_flicker
from preview.looks.library import looks_of
from preview.power.cap import cap_any, cap_of
from preview.power.cautions import (
    any_findings,
    label_findings,
    look_findings,
    source_findings,
    strip_findings,
    wire_findings,
)
from preview.power.finding import Finding, Weight, breaks_a_limit, by_weight, merged
from preview.power.meter import meter_frames
from preview.power.network import build
from preview.power.solve import solve
from preview.scene.layout import Layout, lay_out, path_length_m, places_on_path
from preview.scene.model import Scene

__all__ = ["Checked", "check_scene"]

Progress = Callable[[float], None]
"""Called with the share that is done, 0 to 1."""

EYES_SHARE = 0.7
"""Part of the whole time that the pictures take, roughly."""

WCAG = "WCAG 2.2, success criterion 2.3.1; the plan's limits.flashes_per_s"
GLARE_CD_M2 = 20_000.0
GLARE = (
    "EN 12464-1 (from memory): what has 20,000 cd/m² is screened from view; for bare LEDs common practice, no source"
)
MARKED = "a corner can be marked to some 0.15 % of the photo's width (common practice, no source)"
_MISSED = 3.0  # times what marking alone makes corners miss
ONE_SURFACE = "Zhang's camera from one plane (IEEE PAMI 22, 2000): seen squarely, corners do not tell the distance"
CSF = "Barten's contrast sensitivity (1999), at the cover's luminance with every colour full"


@dataclass(frozen=True)
class Checked:
    """What a check found, heaviest first, with the dots of each run and the flashes of each look."""

    findings: tuple[Finding, ...]
    dots: tuple[dict[str, Any], ...] = field(default=())
    flashes: tuple[dict[str, Any], ...] = field(default=())

    @property
    def breaks(self) -> bool:
        """Whether the plan has a fault or passes a limit."""
        return breaks_a_limit(self.findings)

    def as_json(self, scene: Scene) -> dict[str, Any]:
        """The check's JSON, format 1."""
        return {
            "format": 1,
            "scene": scene.title,
            "assumed": list(scene.assumed),
            "findings": [finding.as_json() for finding in self.findings],
            "dots": list(self.dots),
            "flashes": list(self.flashes),
        }


def check_scene(
    scene: Scene, *, kwh_price: float | None = None, eyes: bool = True, progress: Progress | None = None
) -> Checked:
    """Read a plan. `kwh_price` is in the scene's currency. `eyes`: draw every look and count its flashes, which takes longest.

    Raises CovecastError where the plan is no network, an effect fails, or the photo or its corners are no good.
    """
    tell = progress or (lambda share: None)
    layout = lay_out(scene)
    photo = list(_photo(scene))
    found = _electrical(scene, layout, kwh_price, lambda share: tell(share * ((1 - EYES_SHARE) if eyes else 1.0)))
    dots = dots_of(scene, layout)
    found += [*_plain_sight(scene, dots), *_dots(scene, dots), *_flicker(scene), *photo, *_out_of_view(scene, layout)]
    flashes: list[tuple[str, Flashes]] = []
    if eyes:
        flashes = scene_flashes(scene, lambda share: tell(1 - EYES_SHARE + EYES_SHARE * share))
        found += _flashing(scene, flashes)
    told = [{"look": name, **asdict(one)} for name, one in flashes]
    return Checked(tuple(by_weight(merged(found))), tuple(asdict(one) for one in dots), tuple(told))


def _electrical(scene: Scene, layout: Layout, kwh_price: float | None, progress: Progress) -> list[Finding]:
    network = build(scene, layout)
    looks = looks_of(scene)
    metered, caps = [], {}
    for number, look in enumerate(looks, start=1):
        blocks = drive_blocks(scene, layout, look)
        rate = scene.assume.data_frames_per_s
        one = meter_frames(scene, layout, network, blocks, rate, name=look.name, effect=look.effect, level=look.level)
        metered.append(one)
        if one.breaks:
            caps[look.name] = cap_of(scene, layout, network, channel_blocks(scene, layout, look), f"look {look.name}")
        progress(number / len(looks))
    full = np.full((1, layout.groups, layout.colours), 255, dtype=np.uint8)
    everything = meter_frames(scene, layout, network, [full], 1.0, name="any")
    dark = solve(network, np.zeros_like(full))
    return [
        *source_findings(scene),
        *wire_findings(scene),
        *look_findings(scene, layout, metered, caps),
        *any_findings(scene, everything, cap_any(scene, layout, network)),
        *label_findings(scene),
        *strip_findings(scene, float(dark.supply_a.sum()), float(dark.supply_w[0]), kwh_price),
    ]


def _photo(scene: Scene) -> Iterator[Finding]:
    """Whether the corners marked in the client's photo say where it was taken from, and fit the rectangle they stand for."""
    if scene.photo is None:
        return
    mark = "mark the corners anew, or measure the rectangle again; `covecast photo` draws the plan over the photo"
    photo = load_photo(scene.photo.file, Path(scene.folder))
    sighting = sighting_of(scene, photo)
    if sighting.camera is None:
        more = "mark a rectangle seen more from the side, or one larger; or give photo.field_deg, the camera's field of view"
        do, source = (more, ONE_SURFACE) if sighting.squarely else (mark, MARKED)
        yield Finding("caution", "photo", sighting.says, do, source)
    elif sighting.misfit_px > _MISSED * MARKED_TO * photo.size[0]:
        says = f"the corners miss a rectangle of {_size_text(scene.photo.rect_m)} by {sighting.misfit_px:.0f} px, so light lies askew"
        yield Finding("caution", "photo", says, mark, MARKED)


def _out_of_view(scene: Scene, layout: Layout) -> Iterator[Finding]:
    """Whether any run at all lies within the drawn picture, in sight or behind something. A photo shows what it shows."""
    if scene.photo is not None:
        return
    size = (1280, 720)
    camera = camera_of(scene.viewer, size)
    places = np.concatenate([places_on_path(run, np.linspace(0, path_length_m(run), 50))[0] for run in scene.run])
    x, y, depth = camera.project(places)
    if not ((depth > 0) & (x >= 0) & (x < size[0]) & (y >= 0) & (y < size[1])).any():
        says = "no run lies within the picture: what it shows is their light from beyond its edges alone"
        do = "move viewer.eye_m back, turn viewer.look_m towards the runs, or widen viewer.field_deg"
        yield Finding("note", "viewer", says, do, "the plan's own coordinates")


def _size_text(rect_m: tuple[float, float, float, float]) -> str:
    """Width and height of a rectangle (u0, v0, u1, v1).

    >>> _size_text((0.8, 0.6, 3.0, 2.1))
    '2.2 × 1.5 m'
    """
    u0, v0, u1, v1 = rect_m
    return f"{round(abs(u1 - u0), 3):g} × {round(abs(v1 - v0), 3):g} m"


def _plain_sight(scene: Scene, dots: tuple[Dots, ...]) -> Iterator[Finding]:
    """Runs whose LEDs the viewer looks straight into, and covers as bright as lamps: they dazzle."""
    alike: dict[str, list[Dots]] = {}
    for one in dots:
        if one.in_view and (_unscreened(scene, one) or one.luminance_cd_m2 >= GLARE_CD_M2):
            what = "bare LEDs" if one.channel is None else "LEDs behind a clear cover"
            alike.setdefault(what if _unscreened(scene, one) else "a cover", []).append(one)
    for what, some in alike.items():
        near, far = min(one.viewer_m for one in some), max(one.visible_within_m for one in some)
        full = max(one.luminance_cd_m2 for one in some)
        says = f"{what} in plain sight of the viewer {near:.1f} m away, up to {_two_digits(full)} cd/m² fully on: that dazzles"
        if any(one.shows for one in some):
            says += f", and single LEDs show within {far:.1f} m"
        do = "turn it away, put a lip or a shelf's edge before it, or choose a frosted or opal cover; or play it dimmed"
        yield Finding("caution", ", ".join(f"run {one.run}" for one in some), says, do, GLARE)


def _unscreened(scene: Scene, one: Dots) -> bool:
    return one.channel is None or scene.channel[one.channel].cover == "clear"


def _two_digits(value: float) -> str:
    """A large figure without digits that nobody could measure.

    >>> _two_digits(23456.0), _two_digits(87.0)
    ('23,000', '87')
    """
    return f"{float(f'{value:.2g}'):,.0f}"


def _dots(scene: Scene, dots: tuple[Dots, ...]) -> Iterator[Finding]:
    """One finding for all runs of one strip in one channel whose dots the viewer sees through a cover."""
    alike: dict[tuple[str, str | None], list[Dots]] = {}
    for one in dots:
        if one.shows and not _unscreened(scene, one):
            alike.setdefault((one.strip, one.channel), []).append(one)
    for some in alike.values():
        near, far = min(one.viewer_m for one in some), max(one.visible_within_m for one in some)
        says = f"single LEDs show through the cover to the viewer {near:.1f} m away; they show within {far:.1f} m"
        do = "a deeper channel, a milkier cover or more LEDs a metre (`covecast dots` tries them), or hide it from view"
        yield Finding("caution", ", ".join(f"run {one.run}" for one in some), says, do, CSF)


def _flicker(scene: Scene) -> Iterator[Finding]:
    for one in strip_flicker(scene):
        if one.region != "no effect":
            weight: Weight = "note" if one.region == "low risk" else "caution"
            yield Finding(
                weight,
                f"strip {one.strip}",
                one.says,
                one.do or "not beside rotating tools, which can seem to stand still",
                one.source,
            )


def _flashing(scene: Scene, flashes: list[tuple[str, Flashes]]) -> Iterator[Finding]:
    limit = flash_limit(scene)
    for name, one in flashes:
        if not one.within(limit):
            do = "slow the effect, lower its level or its contrast, or keep it out of view"
            yield Finding("over", f"look {name}", caution(one, limit), do, WCAG)
