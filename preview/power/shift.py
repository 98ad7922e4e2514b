"""What drop does to the light: dimming, and colour shift in steps.

Both compare a group's light with what the same drive gives at rated current in every colour (g = 1). A step is 0.0011 in CIE 1976
u'v' (`preview.scene.chromaticity`). Groups driven dark, and groups gone wholly dark for the shift, count in neither.

Leaves out: the shift of an LED's own colour with current and heat.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from preview.scene.chromaticity import STEP_UV, uv_of
from preview.scene.layout import Floats, Layout

__all__ = ["dimming", "light", "steps"]


def _flux(layout: Layout, codes: NDArray[np.uint8] | Floats, groups: NDArray[np.int64] | slice) -> Floats:
    """Lumens of each colour at rated current, (…, C), up to one common factor."""
    lumens: Floats = codes * layout.lumen[groups]
    return lumens


def light(layout: Layout, codes: NDArray[np.uint8] | Floats, g: Floats) -> Floats:
    """Luminous flux over that at rated current, (F, G); 1 for groups driven dark. Codes and g are (F, G, C)."""
    rated = _flux(layout, codes, slice(None))
    total = rated.sum(axis=-1)
    given = np.einsum("fgc,fgc->fg", rated, g)
    share: Floats = np.divide(given, total, out=np.ones_like(total), where=total > 0)
    return share


def dimming(layout: Layout, codes: NDArray[np.uint8] | Floats, g: Floats) -> Floats:
    """Share of the light lost to drop, (F, G): 0 at rated current and for groups driven dark, 1 where nothing shines."""
    return 1.0 - light(layout, codes, g)


def steps(layout: Layout, codes: NDArray[np.uint8] | Floats, g: Floats) -> Floats:
    """Colour shift in steps of 0.0011 in u'v', (F, G). Only groups that sag are worked on; the others' shift is 0."""
    out = np.zeros(g.shape[:2])
    frame, group = np.nonzero((g != 1.0).any(axis=-1))
    if len(frame):
        rated = _flux(layout, codes[frame, group], group)
        primaries = layout.xyz_per_lumen[group]
        ideal = np.einsum("nc,ncx->nx", rated, primaries)
        given = np.einsum("nc,ncx->nx", rated * g[frame, group], primaries)
        moved = np.linalg.norm(uv_of(given) - uv_of(ideal), axis=-1) / STEP_UV
        out[frame, group] = np.where((given[:, 1] > 0) & (ideal[:, 1] > 0), moved, 0.0)
    return out
