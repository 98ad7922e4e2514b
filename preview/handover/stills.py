"""Single pictures: a PNG of one moment, and a folder of numbered PNGs."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import imageio.v3 as iio
from PIL import PngImagePlugin

from preview.handover.placing import placing_file, placing_folder
from preview.handover.video import Picture

__all__ = ["FRAME_NAMES", "write_frames", "write_png"]

FRAME_NAMES = r"frame-\d{5,}\.png"
"""What the pictures of a folder are called: frame-00000.png and so on."""

_SRGB_PERCEPTUAL = b"\x00"


def _save(picture: Picture, path: Path, comment: str | None, compress: int) -> None:
    """A PNG that says it is sRGB."""
    info = PngImagePlugin.PngInfo()
    info.add(b"sRGB", _SRGB_PERCEPTUAL)
    if comment:
        info.add_itxt("Comment", comment)
    with path.open("wb") as file:
        iio.imwrite(file, picture, plugin="pillow", extension=".png", pnginfo=info, compress_level=compress)


def write_png(target: Path, picture: Picture, comment: str | None = None) -> None:
    """Write one picture (height, width, 3)."""
    with placing_file(target) as part:
        _save(picture, part, comment, 6)


def write_frames(target: Path, pictures: Iterable[Picture], comment: str | None = None) -> int:
    """Write pictures as frame-00000.png, frame-00001.png … in a new folder; gives their number."""
    count = 0
    with placing_folder(target, FRAME_NAMES) as part:
        for picture in pictures:
            _save(picture, part / f"frame-{count:05d}.png", comment, 3)
            count += 1
    return count
