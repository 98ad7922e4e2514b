"""Chromaticity in the CIE 1976 u'v' diagram, u' = 4X/(X + 15Y + 3Z), v' = 9Y/(X + 15Y + 3Z), and the step that colour is judged by.

Source: ISO/CIE 11664-5; the step of 0.0011, CIE TN 001:2014. Leaves out: lightness.
"""

from __future__ import annotations

import numpy as np

from preview.scene.layout import Floats

__all__ = ["STEP_UV", "UV_PARTS", "uv_of"]

STEP_UV = 0.0011
"""One step of colour difference, as a distance in CIE 1976 u'v'."""

UV_PARTS: Floats = np.array([[4.0, 0.0, 0.0], [0.0, 9.0, 0.0], [1.0, 15.0, 3.0]])
"""From XYZ to what u' and v' are the quotients of: 4X, 9Y, and X + 15Y + 3Z under both."""


def uv_of(xyz: Floats) -> Floats:
    """CIE 1976 u'v' (…, 2) of tristimulus values (…, 3); (0, 0) for black.

    >>> uv_of(np.array([[0.95047, 1.0, 1.08883], [0.0, 0.0, 0.0]])).round(4).tolist()
    [[0.1978, 0.4683], [0.0, 0.0]]
    """
    total = xyz @ UV_PARTS[2]
    safe = np.where(total > 0, total, 1.0)
    return np.stack([4 * xyz[..., 0] / safe, 9 * xyz[..., 1] / safe], axis=-1)
