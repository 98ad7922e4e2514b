"""The readings of one moment: what a multimeter would show, as the probe's JSON, format 1."""

from __future__ import annotations

from typing import Any

import numpy as np

from preview.power.shift import light, steps
from preview.power.solve import Drive, State
from preview.power.strip import light_fraction
from preview.scene.layout import Layout, cut_point
from preview.scene.model import Scene

__all__ = ["readings"]


def readings(scene: Scene, layout: Layout, codes: Drive, state: State, frame: int = 0) -> dict[str, Any]:
    """Readings of one frame of `state` under `codes` (F, G, C). A feed's `at_m` is its cut point.

    A group that is driven dark has `light` 1 and `colour_steps` 0: it has lost nothing.
    """
    g = light_fraction(layout, state.group_v[frame : frame + 1])
    part = codes[frame : frame + 1]
    share, shift = light(layout, part, g)[0], steps(layout, part, g)[0]
    run_number = {name: r for r, name in enumerate(layout.run_names)}
    counts = np.diff(layout.first)
    feeds = []
    for k, feed in enumerate(scene.feed):
        r = run_number[feed.run]
        cut = cut_point(feed.at_m, layout.cut_m[r], counts[r])
        feeds.append(
            {
                "index": k,
                "from": feed.from_,
                "run": feed.run,
                "at_m": float(cut * layout.cut_m[r]),
                "volts": float(state.feed_v[frame, k]),
                "amps": float(state.feed_a[frame, k]),
                "negative_amps": float(state.feed_negative_a[frame, k]),
            }
        )
    runs = []
    for r, run in enumerate(scene.run):
        part_of = layout.run_slice(r)
        runs.append(
            {
                "name": run.name,
                "strip": run.strip,
                "groups": int(counts[r]),
                "cut_m": float(layout.cut_m[r]),
                "volts": state.group_v[frame, part_of].tolist(),
                "amps": state.group_a[frame, part_of].tolist(),
                "light": share[part_of].tolist(),
                "colour_steps": shift[part_of].tolist(),
            }
        )
    supplies = []
    for s, (name, supply) in enumerate(scene.supply.items()):
        volts, amps = float(state.supply_v[frame, s]), float(state.supply_a[frame, s])
        supplies.append({"name": name, "volts": volts, "amps": amps, "watts": volts * amps, "rated_amps": supply.amps})
    blocks = [
        {"name": name, "volts": float(state.block_v[frame, b]), "amps": float(state.block_a[frame, b])}
        for b, name in enumerate(scene.block)
    ]
    return {
        "format": 1,
        "scene": scene.title,
        "assumed": list(scene.assumed),
        "supplies": supplies,
        "blocks": blocks,
        "feeds": feeds,
        "runs": runs,
        "conductor_watts": float(state.conductor_w[frame]),
        "group_watts": float(state.group_w[frame]),
    }
