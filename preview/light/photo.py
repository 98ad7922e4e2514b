"""The client's photo as light: read whatever a camera or a phone writes, upright, small enough to work on, in linear sRGB.

JPEG and PNG, turned as its EXIF tag says, brought to sRGB where it carries another colour profile, at most `MOST_PIXELS`. Places in the
photo are pixels of the upright picture at its full size, from its top left corner.

Leaves out: raw files, the tone curve of the camera (the bytes are taken to be sRGB's), transparency (laid over white).
"""

from __future__ import annotations

import functools
import io
import struct
import warnings
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import SupportsFloat

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms, ImageOps, UnidentifiedImageError

from preview.light.colour import from_srgb
from preview.scene.faults import CovecastError

__all__ = ["MOST_PIXELS", "Photograph", "load_photo"]

MOST_PIXELS = 50_000_000
"""The largest photo that is read."""

_MOST_BYTES = 200_000_000
_FORMATS = ("JPEG", "PNG")  # some phones store a JPEG with a second picture behind it: the first is read
_WORK_PX = 2600  # longest side that is kept
_FOCAL_35MM, _EXIF_TABLE = 0xA405, 0x8769
_EXPOSURE_S, _F_NUMBER, _ISO = 0x829A, 0x829D, 0x8827
_SOS = 15.4  # cd/m² · s: the luminance of sRGB code 118 is this times N²/(t·S)
_BROKEN = (OSError, SyntaxError, ValueError, EOFError, struct.error, zlib.error, Image.DecompressionBombError)


@dataclass(frozen=True)
class Photograph:
    """A photo of `size` (width, height), upright. `linear` (h, w, 3) is the same picture, perhaps smaller, 0 to 1 in linear sRGB."""

    size: tuple[int, int]
    linear: NDArray[np.float32]
    focal_px: float | None  # as the file tells it, in pixels of the full size
    cd_m2: float | None  # luminance that makes a value of 1, by the exposure that the file tells

    def scale_to(self, size: tuple[int, int]) -> float:
        """Pixels of a picture of `size` for one of the photo's, where the photo is shown whole."""
        return min(size[0] / self.size[0], size[1] / self.size[1])

    def fitted(
        self, size: tuple[int, int]
    ) -> tuple[NDArray[np.float32], NDArray[np.bool_], float, tuple[float, float]]:
        """The photo inside a picture of `size`, whole and in its middle.

        Gives the picture (h, w, 3), where (h, w) the photo is, pixels of the picture for one of the photo's, and the place of the
        photo's top left corner in the picture.
        """
        scale = self.scale_to(size)
        left, top = (size[0] - scale * self.size[0]) / 2, (size[1] - scale * self.size[1]) / 2
        work = self.linear.shape[1] / self.size[0]
        picture = self.linear
        # Halved by area as long as that can be done, so that the last, bilinear step meets no finer detail than it can carry.
        while scale / work < 0.5:
            half = (max(1, picture.shape[1] // 2), max(1, picture.shape[0] // 2))
            picture = np.asarray(cv2.resize(picture, half, interpolation=cv2.INTER_AREA))
            work = picture.shape[1] / self.size[0]
        step = picture.shape[1] / (scale * self.size[0]), picture.shape[0] / (scale * self.size[1])
        x = ((np.arange(size[0]) + 0.5 - left) * step[0] - 0.5).astype(np.float32)
        y = ((np.arange(size[1]) + 0.5 - top) * step[1] - 0.5).astype(np.float32)
        placed = np.asarray(
            cv2.remap(
                picture,
                np.tile(x, (size[1], 1)),
                np.tile(y[:, None], (1, size[0])),
                cv2.INTER_LINEAR,
                borderMode=cv2.BORDER_REPLICATE,
            )
        )
        inside_x = (x >= -0.5) & (x <= picture.shape[1] - 0.5)
        inside_y = (y >= -0.5) & (y <= picture.shape[0] - 0.5)
        return placed, np.asarray(inside_y[:, None] & inside_x[None]), scale, (left, top)


def load_photo(file: str, folder: Path) -> Photograph:
    """The photo `file` in a scene's folder. Raises CovecastError that says what was found in its place.

    The last one is kept as long as its file does not change.
    """
    path = folder / file
    what = f"photo.file {file!r}: expected a JPEG or PNG photo"
    if not path.resolve().is_relative_to(folder.resolve()):
        raise CovecastError(f"{what} inside the scene's folder, found one outside it")
    try:
        if not path.is_file():
            raise CovecastError(f"{what} in {folder}, found none")
        if path.stat().st_size > _MOST_BYTES:
            raise CovecastError(f"{what} of at most {_MOST_BYTES // 1_000_000} MB, found a larger one")
        state = path.stat()
        return _read(path, what, state.st_mtime_ns, state.st_size)
    except OSError as error:
        raise CovecastError(f"{what}, found none that can be read: {error.strerror}") from error


@functools.lru_cache(maxsize=1)
def _read(path: Path, what: str, mtime_ns: int, size: int) -> Photograph:
    """The photo at a path; the last two arguments tell one state of the file from another."""
    data = path.read_bytes()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what Pillow warns of is checked here, or does no harm
            with Image.open(io.BytesIO(data), formats=_FORMATS) as image:
                width, height = image.size
                if width * height > MOST_PIXELS:
                    found = f"{width} × {height} px ({width * height / 1e6:.0f} megapixels)"
                    raise CovecastError(f"{what} of at most {MOST_PIXELS // 1_000_000} megapixels, found {found}")
                if min(width, height) < 16:
                    raise CovecastError(f"{what} of at least 16 × 16 px, found {width} × {height} px")
                return _photograph(image)
    except UnidentifiedImageError as error:
        raise CovecastError(f"{what}, found {_kind(data)}") from error
    except Image.DecompressionBombError as error:
        raise CovecastError(f"{what} of at most {MOST_PIXELS // 1_000_000} megapixels, found far more") from error
    except _BROKEN as error:
        raise CovecastError(f"{what}, found one that is damaged: {error}") from error


def _kind(data: bytes) -> str:
    if not data:
        return "an empty file"
    if data.lstrip()[:5].lower() in (b"<?xml", b"<svg ", b"<!doc", b"<html"):
        return "a text document"
    known = {
        b"GIF8": "a GIF",
        b"RIFF": "a WebP or another RIFF file",
        b"%PDF": "a PDF",
        b"II*\0": "a TIFF",
        b"MM\0*": "a TIFF",
    }
    return known.get(data[:4], "a HEIC or AVIF picture" if data[4:8] == b"ftyp" else "no picture at all")


def _photograph(image: Image.Image) -> Photograph:
    exif = image.getexif()
    across, down = image.size
    turned = exif.get(0x0112) in (5, 6, 7, 8)
    size = (down, across) if turned else (across, down)
    image.draft(
        "RGB", (min(across, _WORK_PX), min(down, _WORK_PX))
    )  # a JPEG is read at an eighth, a quarter or half at once
    profile = image.info.get("icc_profile")
    shrink = max(image.size) / _WORK_PX
    if shrink >= 2:
        image = image.convert("RGBA" if image.has_transparency_data else "RGB") if image.mode in ("P", "1") else image
        image = image.reduce(int(shrink))
    image = ImageOps.exif_transpose(image)
    pixels = _srgb(image, profile)
    linear = from_srgb(np.arange(256) / 255).astype(np.float32)[pixels]
    return Photograph(size, linear, _focal_px(exif, size), _cd_m2(exif))


def _srgb(image: Image.Image, profile: bytes | None) -> NDArray[np.uint8]:
    """Bytes (h, w, 3) in sRGB."""
    if image.mode in ("I", "I;16", "I;16B", "F"):  # 16 bits of grey
        deep = np.asarray(image, dtype=np.float64)
        return np.repeat(np.clip(deep / 257, 0, 255).round().astype(np.uint8)[..., None], 3, axis=2)
    if image.has_transparency_data:
        image = image.convert("RGBA")
        ground = Image.new("RGBA", image.size, (255, 255, 255, 255))
        ground.alpha_composite(image)
        image = ground.convert("RGB")
    if image.mode == "P":
        image = image.convert("RGB")
    if profile and image.mode in ("RGB", "CMYK", "L"):
        try:
            source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
            changed = ImageCms.profileToProfile(image, source, ImageCms.createProfile("sRGB"), outputMode="RGB")
        except (ImageCms.PyCMSError, OSError):
            changed = None  # a profile that is broken or of another kind: taken for sRGB
        image = changed if changed is not None else image
    return np.asarray(image.convert("RGB"))


def _focal_px(exif: Image.Exif, size: tuple[int, int]) -> float | None:
    """Focal length from the equivalent for 35 mm film, which refers to a diagonal of 43.27 mm (CIPA DCG-001)."""
    value = exif.get_ifd(_EXIF_TABLE).get(_FOCAL_35MM)
    if not isinstance(value, int | float) or not 4 <= value <= 800:
        return None
    return float(value) * float(np.hypot(*size)) / float(np.hypot(36, 24))


def _cd_m2(exif: Image.Exif) -> float | None:
    """Luminance that makes a linear value of 1, from exposure time, f-number and sensitivity.

    Source: standard output sensitivity of ISO 12232: an exposure of 10/S lux·s gives sRGB code 118; the lens passes 0.65·L·t/N².
    """
    table = exif.get_ifd(_EXIF_TABLE)
    iso = table.get(_ISO)
    iso = iso[0] if isinstance(iso, tuple) and iso else iso
    found = []
    for value, low, high in ((table.get(_EXPOSURE_S), 1e-6, 120), (table.get(_F_NUMBER), 0.5, 64), (iso, 6, 1e6)):
        try:
            number = float(value) if isinstance(value, SupportsFloat) else 0.0
        except (ValueError, ZeroDivisionError):
            return None
        if not low <= number <= high:
            return None
        found.append(number)
    time_s, f_number, sensitivity = found
    return _SOS * f_number**2 / (time_s * sensitivity) / float(from_srgb(118 / 255))
