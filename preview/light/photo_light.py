"""The light that a photo was taken in: how bright it was at each place, where the scene says how light the surfaces are.

A photo is seldom taken in even light: a window makes one wall bright and leaves another dim, and a camera balances white as it likes. On
a surface whose finish the scene gives, pixel = gain · finish · light; so the logarithm of pixel over finish is fitted with a smooth
surface, quadratic in u and v, by weights that leave out what does not fit: a picture on the wall, a plant before it (Tukey's biweight).
What varies smoothly so counts as light, what varies sharply as reflectance. Where too little of a surface fits, and where no finish is
given, the light is taken to be even.

Source: iteratively reweighted least squares (Beaton and Tukey 1974).
Leaves out: hard edges of light, such as sun on a wall; those stay in the reflectance.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from preview.light.colour import Y_OF_RGB
from preview.light.room import Surfaces
from preview.light.view import Hits
from preview.scene.layout import Bools, Floats
from preview.scene.model import Scene

__all__ = ["given_finishes", "light_in_photo"]

_MOST_SAMPLES = 6000
_QUADRATIC, _SLOPE, _FEWEST = 2500, 600, 60  # samples that each kind of fit needs
_SPREAD = 0.35  # of the logarithm: what differs by more than a good third is something else
_FITS = 0.4  # share of the samples that must agree
_MISPLACED = 1.8  # a pixel of a box that is so much brighter than its finish shows something else
_ROUNDS = 20
_DARK = 1e-4

Matrix = NDArray[np.float32]


def given_finishes(scene: Scene, surfaces: Surfaces) -> Bools:
    """(S,) whether the scene itself says how light each surface is; a default says nothing of a photo."""
    walls = set() if "room" in scene.assumed else scene.room.finish.model_fields_set
    boxes = ["finish" in box.model_fields_set for box in scene.box]
    return np.array(
        [
            boxes[box] if box >= 0 else name in walls
            for name, box in zip(surfaces.names, surfaces.box.tolist(), strict=True)
        ],
        dtype=bool,
    )


def light_in_photo(
    picture: Matrix, shade: Matrix, hits: Hits, surfaces: Surfaces, known: Bools, gain: Floats
) -> Matrix:
    """What a pixel's value (h, w, 3) would be on a surface of reflectance 1.

    `picture` (h, w, 3) are the values, `shade` (h, w) how open a place is to light from everywhere, `hits` the surface that each pixel
    shows, `known` (S,) the surfaces whose reflectance is told, and 1/`gain` (3,) the value where nothing better is known.
    """
    light = (shade[..., None] / np.asarray(gain, dtype=np.float64)).astype(np.float32)
    value = picture @ Y_OF_RGB.astype(np.float32)
    for s in np.unique(hits.surface):
        if s < 0 or not known[s]:
            continue
        place = np.nonzero(((hits.surface == s) & (value > _DARK)).ravel())[0]
        if len(place) < _FEWEST:
            continue
        some = place[:: max(1, len(place) // _MOST_SAMPLES)]
        u, v = hits.u_m.ravel()[some], hits.v_m.ravel()[some]
        middle = np.array([u.mean(), v.mean()])
        reach = max(float(np.ptp(u)), float(np.ptp(v)), 1e-6) / 2
        finish = np.maximum(surfaces.reflectance[s], 0.002)
        found = np.log(value.ravel()[some] / (float(finish @ Y_OF_RGB) * shade.ravel()[some]))
        fit, good = _smooth(_basis(u, v, middle, reach, len(some)), found)
        if good.mean() < _FITS:
            continue
        here = np.nonzero((hits.surface == s).ravel())[0]
        terms = _basis(hits.u_m.ravel()[here], hits.v_m.ravel()[here], middle, reach, len(some))
        level = np.exp(np.clip(terms @ fit, found[good].min(), found[good].max())) * shade.ravel()[here]
        # The colour of the light there: how the values are coloured beyond the finish.
        kept = some[good]
        tint = np.median(
            picture.reshape(-1, 3)[kept] / finish * (float(finish @ Y_OF_RGB) / value.ravel()[kept])[:, None], axis=0
        )
        if (
            surfaces.box[s] >= 0
        ):  # what does not fit a box is what stands behind it, where the box is larger than the thing
            seen = value.ravel()[here] / (float(finish @ Y_OF_RGB) * level)
            here, level = here[seen < _MISPLACED], level[seen < _MISPLACED]
        light.reshape(-1, 3)[here] = level[:, None] * np.maximum(tint, 0.05)
    return light


def _basis(u: Floats, v: Floats, middle: Floats, reach: float, samples: int) -> Floats:
    """Terms (N, 1, 3 or 6) of the fit, as many as the samples allow."""
    a, b = (u - middle[0]) / reach, (v - middle[1]) / reach
    terms = [np.ones_like(a)]
    if samples >= _SLOPE:
        terms += [a, b]
    if samples >= _QUADRATIC:
        terms += [a * a, a * b, b * b]
    return np.stack(terms, axis=1)


def _smooth(terms: Floats, found: Floats) -> tuple[Floats, Bools]:
    """Coefficients, and which values they fit."""
    fit: Floats = np.zeros(terms.shape[1])
    fit[0] = np.median(found)
    wide = 3.0
    for _ in range(_ROUNDS):
        off = (found - terms @ fit) / (wide * _SPREAD)
        weight = np.where(np.abs(off) < 1, (1 - off**2) ** 2, 0.0)
        wide = max(1.0, 0.8 * wide)
        if weight.sum() < 1:
            break
        square = terms * weight[:, None]
        fit = np.linalg.solve(square.T @ terms + 1e-6 * len(found) * np.eye(len(fit)), square.T @ found)
    return fit, np.abs(found - terms @ fit) < _SPREAD
