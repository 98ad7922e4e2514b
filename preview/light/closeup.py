"""A hand's breadth of a cover, life-size on the screen, below it the run as it looks from the viewer's distance, and the light along it.

Above, a millimetre of cover is a millimetre of screen, with a ruler and the places of the LEDs. Below, everything is as large on the
screen as it must be to fill, for an eye in front of the screen, the angle that the cover fills for the viewer. Both need the size of a
screen's pixel and the eye's distance from it, which are assumed and written under the pictures.

Light on the cover: every LED lights it as 1/(1 + (x² + y²)/h²)², the cover blurs that with its Gaussian, and the mean over the cover is
what `preview.light.dots` says. LEDs that are seen as they are are squares of a package's size. Light goes to the screen
in proportion, with no tone curve, so that the contrast on the screen is the contrast on the cover. What is white is taken for white as in
the picture of the room (`preview.light.exposure`).

Leaves out: light that the channel's walls send back, glare in the eye, the limits of the screen itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont
from scipy.fft import irfft, next_fast_len, rfft

from preview.light.colour import Y_OF_RGB, rgb_of_xyz, to_srgb, white_rgb
from preview.light.cover import COVER_REFLECTANCE
from preview.light.dots import Line
from preview.light.emission import BARE_WIDTH_M
from preview.light.exposure import balance_in
from preview.scene.layout import Floats
from preview.typeface import letters

__all__ = ["HAND_M", "Screen", "closeup", "cover_light"]

HAND_M = 0.1
"""A hand's breadth."""

_LIP_M = 0.0015  # edge of the channel beside the cover
_METAL, _WALL = 0.6, 0.4  # reflectances of what lies around; common practice, no source
_MOST_SAMPLES = 24
_MOST_ROWS = 160
_TOP = 0.6  # of display white: the brightest place of the cover
_TICK_M, _NAMED_M = 0.01, 0.02  # of the ruler
_BRIGHTEST = 0.95  # of display white, where a saturated colour would leave the screen's gamut
_PAPER, _INK, _FAINT, _LINE = (24, 24, 24), (204, 200, 194), (140, 136, 130), (255, 214, 160)

Picture = NDArray[np.uint8]


@dataclass(frozen=True)
class Screen:
    """What the close-up is looked at on: the size of its pixels, and how far from it the eye is."""

    pixel_mm: float = 0.25
    eye_m: float = 0.6


def cover_light(line: Line, group_xyz: Floats, along_m: Floats, across_m: Floats) -> Floats:
    """Luminance (y, x, 3) as tristimulus values in cd/m² on the face of a straight run, at the middles of cells.

    `group_xyz` (G, 3) is the strip's flux of each group in lumen. `along_m` (x,) from the run's start and `across_m` (y,) from the middle
    of the face are evenly spaced, in steps well under the depth, or under a package where there is none. Off the face there is no light.
    """
    step_m, row_m = float(along_m[1] - along_m[0]), float(across_m[1] - across_m[0])
    per_group = max(1, round(line.group_m / line.pitch_m))
    reach = int(np.ceil((8 * line.depth_m + 4 * line.spread_m + BARE_WIDTH_M) / step_m)) + 1
    origin = float(along_m[0]) - reach * step_m
    cells = len(along_m) + 2 * reach
    led = ((np.arange(len(group_xyz) * per_group) + 0.5) * line.pitch_m - origin) / step_m
    flux = np.repeat(np.asarray(group_xyz, dtype=np.float64) / per_group * line.sent, per_group, axis=0)
    here = (led >= 0) & (led < cells - 1)
    left = led[here].astype(np.int64)
    share = led[here] - left
    points = np.zeros((cells, 3))  # each LED's flux, split over the two nearest samples
    np.add.at(points, left, (1 - share)[:, None] * flux[here])
    np.add.at(points, left + 1, share[:, None] * flux[here])

    on_face = np.nonzero(np.abs(across_m) <= line.width_m / 2 + 1e-9)[0]
    light = np.zeros((len(across_m), len(along_m), 3))
    if not len(on_face):
        return light
    x, y = np.arange(-reach, reach + 1) * step_m, across_m[on_face]
    if line.depth_m > 0:
        kernel = 1 / (1 + (x**2 + y[:, None] ** 2) / line.depth_m**2) ** 2
        over = float(kernel.mean(axis=0).sum()) * step_m * line.width_m
        kernel = _across(y, row_m, line) @ kernel
    else:
        kernel = (np.abs(x) <= BARE_WIDTH_M / 2).astype(np.float64)[None]
        over = float(kernel.sum()) * step_m * line.width_m
    long = next_fast_len(cells + len(x), real=True)
    keep = np.exp(-2 * (np.pi * line.spread_m / step_m * np.fft.rfftfreq(long)) ** 2)
    field = irfft(rfft(points, long, axis=0) * (rfft(kernel, long, axis=1) * keep)[:, :, None], long, axis=1)[
        :, 2 * reach : 2 * reach + len(along_m)
    ]
    light[on_face] = np.maximum(field, 0.0) / (np.pi * over)
    light[:, (along_m < 0) | (along_m > line.length_m)] = 0.0
    return light


def _across(y: Floats, row_m: float, line: Line) -> Floats:
    """(y, y) the cover's blur from side to side; what would leave at an edge comes back from it."""
    if line.spread_m <= 0:
        return np.eye(len(y))
    edge = y[-1] + row_m / 2
    images = (y, 2 * edge - y, -2 * edge - y)
    blur = sum(np.exp(-0.5 * ((y[:, None] - image) / line.spread_m) ** 2) for image in images)
    return np.asarray(blur / np.asarray(blur).sum(axis=1, keepdims=True))


def _panel(line: Line, xyz: Floats, middle_m: float, size: tuple[int, int], px_m: float, room: Floats) -> Floats:
    """Luminance (h, w, 3), linear sRGB, of a stretch of the run whose pixels are `px_m` of it; `room` (3,) is the room's light in lux."""
    width, height = size
    finest = (np.hypot(line.depth_m, line.spread_m) if line.depth_m > 0 else BARE_WIDTH_M) / 6
    cut = int(np.clip(np.ceil(px_m / finest), 1, _MOST_SAMPLES))
    rows = int(np.clip(np.ceil(2 * line.width_m / px_m), 8, _MOST_ROWS))
    y = ((np.arange(rows) + 0.5) / rows - 0.5) * line.width_m
    x = middle_m + (np.arange(width * cut) - (width * cut - 1) / 2) * (px_m / cut)
    if line.depth_m > 0 and px_m < finest / 4:  # smoother than the pixels: fewer samples say as much
        coarse = np.linspace(x[0], x[-1], max(8, int(np.ceil((x[-1] - x[0]) / finest * 4)) + 1))
        field = rgb_of_xyz(cover_light(line, xyz, coarse, y))
        place = (x - coarse[0]) / (coarse[1] - coarse[0])
        left = np.clip(place.astype(np.int64), 0, len(coarse) - 2)
        share = (place - left)[:, None]
        field = field[:, left] * (1 - share) + field[:, left + 1] * share
    else:
        field = rgb_of_xyz(cover_light(line, xyz, x, y))
    field = field.reshape(rows, width, cut, 3).mean(axis=2)
    # How much of each row of pixels each row of the face fills, and the face, and the channel's edges beside it.
    edge = (np.arange(height + 1) - height / 2) * px_m
    face = np.linspace(-line.width_m / 2, line.width_m / 2, rows + 1)
    share = np.clip(np.minimum(edge[1:, None], face[1:]) - np.maximum(edge[:-1, None], face[:-1]), 0, None) / px_m
    lip_m = line.width_m / 2 + (_LIP_M if line.depth_m > 0 else 0.0)
    within = share.sum(axis=1)
    lips = np.clip(np.minimum(edge[1:], lip_m) - np.maximum(edge[:-1], -lip_m), 0, None) / px_m - within
    cover = COVER_REFLECTANCE if line.depth_m > 0 else _WALL
    around = cover * within + _METAL * lips + _WALL * (1 - within - lips)
    return np.asarray(np.tensordot(share, field, axes=1) + (around / np.pi)[:, None, None] * room)


def _printed(rgb: Floats) -> Picture:
    """sRGB bytes of linear light (h, w, 3); where a component is below 0 the colour moves towards the grey of its luminance."""
    grey = np.maximum(rgb @ Y_OF_RGB, 0.0)[..., None]
    least = np.minimum(rgb.min(axis=-1, keepdims=True), 0.0)
    inside = grey + (rgb - grey) * (grey / np.maximum(grey - least, 1e-12))
    return np.asarray(np.rint(255 * to_srgb(inside)), dtype=np.uint8)


def closeup(
    line: Line,
    group_xyz: Floats,
    from_m: float,
    screen: Screen,
    says: tuple[str, ...] = (),
    ambient_lux: float = 0.0,
    ambient_k: float = 2700.0,
) -> Picture:
    """The picture (h, w, 3), sRGB, of the middle of a straight run whose groups give `group_xyz` (G, 3) lumen. `says` is written last."""
    pixel_m = screen.pixel_mm / 1000
    width = max(96, round(HAND_M / pixel_m))
    away = pixel_m * from_m / screen.eye_m  # what one pixel covers as seen from the viewer's distance
    middle = line.length_m / 2
    room = white_rgb(ambient_k) * ambient_lux
    near = _panel(line, group_xyz, middle, (width, round((line.width_m + 0.030) / pixel_m)), pixel_m, room)
    tall = max(near.shape[0] // 2, min(near.shape[0], round(2.5 * line.width_m / away)))
    far = _panel(line, group_xyz, middle, (width, tall), away, room)
    balance = np.array(balance_in(near.reshape(-1, 3).sum(axis=0)))
    near, far = near * balance, far * balance
    brightest = max(float(max((part @ Y_OF_RGB).max(), 1e-9)) for part in (near, far))
    strongest = max(float(max(part.max(), 1e-9)) for part in (near, far))
    scale = min(_TOP / brightest, _BRIGHTEST / strongest)

    letter = max(9, round(3.2 / screen.pixel_mm))
    margin = letter
    hand = HAND_M / away / 2
    marks = f"; the marks are {1000 * HAND_M:g} mm apart" if hand < width / 2 - 2 else ""
    curve = _curve(line, group_xyz, (width, 5 * letter), letter)
    blocks = (
        (
            _ruled(near, scale, line, pixel_m, letter),
            f"Life-size, {1000 * HAND_M:g} mm, where a pixel of the screen is {screen.pixel_mm:g} mm",
        ),
        (
            _marked(far, scale, hand, letter),
            f"As it looks from {from_m:.3g} m, the screen {screen.eye_m:g} m from the eye{marks}",
        ),
        (curve, f"The light along its middle over the same {1000 * HAND_M:g} mm, the mean as 1"),
    )
    typeface = letters(letter)
    row = round(1.5 * letter)
    wrapped = [_wrapped((text,), typeface, width) for _, text in blocks]
    last = _wrapped(says, typeface, width)
    high = margin + sum(
        part.height + row // 2 + len(text) * row + margin for (part, _), text in zip(blocks, wrapped, strict=True)
    )
    sheet = Image.new("RGB", (width + 2 * margin, high + len(last) * row + (margin if last else 0)), _PAPER)
    draw = ImageDraw.Draw(sheet)
    top = margin
    for (part, _), text in zip(blocks, wrapped, strict=True):
        sheet.paste(part, (margin, top))
        top += part.height + row // 2
        for words in text:
            draw.text((margin, top), words, font=typeface, fill=_FAINT)
            top += row
        top += margin
    for words in last:
        draw.text((margin, top), words, font=typeface, fill=_INK)
        top += row
    return np.asarray(sheet)


def _ruled(light: Floats, scale: float, line: Line, px_m: float, letter: int) -> Image.Image:
    """The life-size stretch with a ruler at its bottom and the places of its LEDs at its top."""
    picture = Image.fromarray(_printed(light * scale))
    draw, typeface = ImageDraw.Draw(picture), letters(max(8, round(0.75 * letter)))
    width, height = picture.size
    tick = max(2, letter // 3)
    for number in range(round(HAND_M / _TICK_M) + 1):
        x = min(number * _TICK_M / px_m, width - 1)
        is_named = number % round(_NAMED_M / _TICK_M) == 0
        draw.line((x, height - (2 if is_named else 1) * tick, x, height), fill=_FAINT)
        if is_named and 0 < x < width - 1:
            draw.text(
                (x, height - 2 * tick - 1), f"{1000 * number * _TICK_M:.0f}", fill=_FAINT, font=typeface, anchor="md"
            )
    draw.text((width - 2, height - 2 * tick - 1), "mm", fill=_FAINT, font=typeface, anchor="rd")
    start = line.length_m / 2 - HAND_M / 2
    first, end = (
        np.ceil(max(start, 0.0) / line.pitch_m - 0.5),
        np.floor((min(start + HAND_M, line.length_m)) / line.pitch_m - 0.5),
    )
    for led in np.arange(first, end + 1):
        x = ((led + 0.5) * line.pitch_m - start) / px_m
        draw.line((x, 0, x, 2 * tick), fill=_LINE)
    draw.text((2, 2 * tick + 1), f"LEDs, {1000 * line.pitch_m:.3g} mm apart", fill=_FAINT, font=typeface)
    return picture


def _marked(light: Floats, scale: float, half_px: float, letter: int) -> Image.Image:
    """The run as it looks from afar, with two marks a hand's breadth apart where there is room for them."""
    picture = Image.fromarray(_printed(light * scale))
    draw = ImageDraw.Draw(picture)
    width, height = picture.size
    if 0 < half_px < width / 2 - 2:
        for x in (width / 2 - half_px, width / 2 + half_px):
            draw.line((x, height - 0.5 * letter, x, height - 1), fill=_FAINT)
    return picture


def _curve(line: Line, group_xyz: Floats, size: tuple[int, int], letter: int) -> Image.Image:
    """Luminance along the middle of the face over a hand's breadth, over its mean there: what an eye would have to see."""
    width, height = size
    finer = 4
    x = line.length_m / 2 + ((np.arange(width * finer) + 0.5) / (width * finer) - 0.5) * HAND_M
    across = np.array([-0.5, 0.5]) * min(0.0005, line.width_m / 2)
    along = cover_light(line, group_xyz, x, across)[..., 1].mean(axis=0).reshape(width, finer).mean(axis=1)
    mean = float(along.mean())
    share = along / mean if mean > 0 else along
    most = max(1.3, 1.1 * float(share.max()))
    panel = Image.new("RGB", (width * 2, height * 2), (12, 12, 12))  # twice as large, then halved: a smooth line
    draw, typeface = ImageDraw.Draw(panel), letters(2 * max(8, round(0.75 * letter)))
    for level in (0.5, 1.0):
        y = 2 * height * (1 - level / most)
        draw.line((0, y, 2 * width, y), fill=(58, 56, 52), width=2)
    points = [(2 * k + 1, 2 * height * (1 - value / most)) for k, value in enumerate(share.tolist())]
    draw.line(points, fill=_LINE, width=4, joint="curve")
    for level in (0.5, 1.0):  # over the curve, on a plate of their own
        at, name = (4, 2 * height * (1 - level / most) - 2), f"{level:g}"
        left, high, right, low = draw.textbbox(at, name, font=typeface, anchor="ld")
        draw.rectangle((left - 4, high - 2, right + 4, low + 2), fill=(12, 12, 12))
        draw.text(at, name, fill=_FAINT, font=typeface, anchor="ld")
    return panel.resize(size, Image.Resampling.LANCZOS)


def _wrapped(texts: tuple[str, ...], typeface: ImageFont.FreeTypeFont, width: int) -> list[str]:
    """Lines no wider than `width` pixels, broken between words."""
    lines: list[str] = []
    for text in texts:
        line = ""
        for word in text.split(" "):
            longer = f"{line} {word}".strip()
            if line and typeface.getlength(longer) > width:
                lines.append(line)
                line = word
            else:
                line = longer
        lines.append(line)
    return [line.replace("\u00a0", " ") for line in lines]  # the typeface has no sign for a space that holds
