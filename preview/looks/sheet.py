"""Effects as pictures without a room: each a strip seen in time, which runs downwards."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from effects import Effect
from effects.kit import Place
from preview.light.colour import rgb_of_xyz, to_srgb
from preview.looks.drives import look_light
from preview.looks.library import Ready
from preview.scene.faults import CovecastError
from preview.scene.layout import Floats
from preview.scene.model import Look
from preview.typeface import letters

__all__ = ["strip_frames", "strip_sheet"]

SECONDS = 20.0
_TILE, _GAP, _TITLE, _ACROSS = (300, 168), 12, 22, 4
_PAPER, _INK = (24, 23, 22), (214, 208, 198)


def strip_sheet(chosen: Sequence[Effect]) -> NDArray[np.uint8]:
    """One picture (h, w, 3) sRGB of effects at their defaults over 20 s.

    Each tile has a run of fine groups (36 mm, 3.4 m) at the left and one of coarse groups (100 mm, 4.8 m) at the right; where the two lie
    in the room, the coarse one is the higher. Neighbouring groups run into each other as behind a cover.
    """
    rows = -(-len(chosen) // _ACROSS)
    wide, high = _TILE[0] + _GAP, _TILE[1] + _TITLE + _GAP
    sheet = Image.new("RGB", (min(_ACROSS, len(chosen)) * wide + _GAP, rows * high + _GAP), _PAPER)
    draw, font = ImageDraw.Draw(sheet), letters(13)
    for number, effect in enumerate(chosen):
        x, y = _GAP + number % _ACROSS * wide, _GAP + number // _ACROSS * high
        draw.text((x, y), f"{effect.name}", fill=_INK, font=font)
        try:
            left = 0
            for place, width in ((_run(3 / 84, 3.4, 1.2), 122), (_run(0.1, 4.8, 2.4), 172)):
                sheet.paste(_strip(effect, place, width), (x + left, y + _TITLE))
                left += width + 6
        except CovecastError as error:
            draw.text((x, y + _TITLE), str(error)[-40:], fill=_INK, font=font)
    return np.asarray(sheet)


def _run(group_m: float, length_m: float, height_m: float) -> Place:
    place = Place.straight(length_m, group_m)
    place.room_m[:, 2] = height_m
    return place


def strip_frames(
    effect: Effect, seconds: float, frames_per_s: float, dials: Mapping[str, float] | None = None, seed: int = 0
) -> Iterator[NDArray[np.uint8]]:
    """Pictures (36, 64, 3) sRGB of an effect on a strip that fills the view: what `flashes_of` is asked of a script.

    `dials` are set, the others stand at their defaults.
    """
    times = np.arange(round(seconds * frames_per_s)) / frames_per_s
    for row in _pixels(effect, Place.straight(3.2, 0.05), times, dials, seed):
        yield np.broadcast_to(row, (36, *row.shape))


def _strip(effect: Effect, place: Place, width: int) -> Image.Image:
    pixels = _pixels(effect, place, np.arange(_TILE[1]) * (SECONDS / _TILE[1]))
    return Image.fromarray(pixels).resize((width, _TILE[1]), Image.Resampling.BICUBIC)


def _pixels(
    effect: Effect, place: Place, times_s: Floats, dials: Mapping[str, float] | None = None, seed: int = 0
) -> NDArray[np.uint8]:
    """sRGB (F, G, 3) of an effect, highlights rolled off as in a picture."""
    look = Look(name=effect.name, effect=effect.name, seconds=max(SECONDS, float(times_s[-1])))
    ready = Ready(look=look, effect=effect, dials=MappingProxyType(effect.defaults() | dict(dials or {})), seed=seed)
    light = look_light(ready, place, times_s)
    xyz: Floats = np.einsum("fgc,gcx->fgx", light, place.primaries) / place.primaries[:, :, 1].sum(axis=1)[:, None]
    rgb = rgb_of_xyz(1.6 * xyz)
    luminance = 1.6 * xyz[:, :, 1:2]
    lowest = rgb.min(axis=2, keepdims=True)
    within = np.where(lowest < 0, luminance / np.maximum(luminance - lowest, 1e-12), 1.0)
    rgb = 1.0 - np.exp(-1.5 * (luminance + within * (rgb - luminance)))
    return np.asarray(np.floor(255 * to_srgb(rgb) + 0.5), dtype=np.uint8)
