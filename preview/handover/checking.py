"""The whole plan read once: every look metered, every rule asked, the dots behind covers and the flashes in the picture judged.

What `covecast check` prints and what the folder for the fitter repeats.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from preview.looks.drives import channel_blocks, drive_blocks
from preview.looks.library import looks_of
from preview.power.cap import cap_any, cap_of
from preview.power.cautions import any_findings, look_findings, source_findings, strip_findings, wire_findings
from preview.power.finding import Finding, breaks_a_limit, by_weight, merged
from preview.power.meter import meter_frames
from preview.power.network import build
from preview.power.solve import solve
from preview.scene.layout import Layout, lay_out
from preview.scene.model import Scene

__all__ = ["Checked", "check_scene"]

Progress = Callable[[int, int], None]
"""Called with the steps done and the steps there are."""


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


def check_scene(scene: Scene, *, kwh_price: float | None = None, progress: Progress | None = None) -> Checked:
    """Read a plan. `kwh_price` is in the scene's currency; `progress` hears of each look.

    Raises CovecastError where the plan is no network or an effect fails.
    """
    layout = lay_out(scene)
    found = _electrical(scene, layout, kwh_price, progress or (lambda done, steps: None))
    return Checked(tuple(by_weight(merged(found))))


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
        progress(number, len(looks))
    full = np.full((1, layout.groups, layout.colours), 255, dtype=np.uint8)
    everything = meter_frames(scene, layout, network, [full], 1.0, name="any")
    dark = solve(network, np.zeros_like(full))
    return [
        *source_findings(scene),
        *wire_findings(scene),
        *look_findings(scene, layout, metered, caps),
        *any_findings(scene, everything, cap_any(scene, layout, network)),
        *strip_findings(scene, float(dark.supply_a.sum()), float(dark.supply_w[0]), kwh_price),
    ]
