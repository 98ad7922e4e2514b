"""Clips in full colour: MP4 (H.264) that phones play, and animated WebP that loops.

MP4: 4:2:0, tagged and converted as BT.709, index at the front. WebP: lossy, quality as given, endless.
Leaves out: alpha, sound, HDR.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable
from pathlib import Path
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray

from preview.handover.encoder import encoding

__all__ = ["Picture", "encode_mp4", "encode_webp"]

Picture = NDArray[np.uint8]
"""(height, width, 3) sRGB."""

_TO_BT709 = (
    "scale=in_range=full:out_range=tv:out_color_matrix=bt709:flags=accurate_rnd+full_chroma_int,"
    "setparams=color_primaries=bt709:color_trc=bt709:colorspace=bt709:range=tv"
)
_TAGS = ["-color_primaries", "bt709", "-color_trc", "bt709", "-colorspace", "bt709", "-color_range", "tv"]


def _encode(
    part: Path, pictures: Iterable[Picture], size: tuple[int, int], frames_per_s: float, arguments: list[str]
) -> None:
    with encoding(size, frames_per_s, "rgb24", [*arguments, str(part)]) as write:
        for picture in pictures:
            write(np.ascontiguousarray(picture).data)


def encode_mp4(
    part: Path,
    pictures: Iterable[Picture],
    size: tuple[int, int],
    frames_per_s: float,
    comment: str | None = None,
    crf: float = 18.0,
) -> None:
    """Write pictures (height, width, 3) as H.264; both sides of `size` (width, height) even; over what is at `part`.

    Lower crf: better, larger.
    """
    codec = ["-c:v", "libx264", "-preset", "medium", "-crf", f"{crf:g}", "-pix_fmt", "yuv420p", "-profile:v", "high"]
    note = ["-metadata", f"comment={comment}"] if comment else []
    ends = ["-movflags", "+faststart", "-f", "mp4"]
    _encode(part, pictures, size, frames_per_s, ["-vf", _TO_BT709, *codec, *_TAGS, *note, *ends])


def encode_webp(
    part: Path,
    pictures: Iterable[Picture],
    size: tuple[int, int],
    frames_per_s: float,
    comment: str | None = None,
    quality: float = 90.0,
) -> None:
    """Write pictures (height, width, 3) as an endless animated WebP; `quality` 0 to 100. Over whatever is at `part`."""
    codec = ["-c:v", "libwebp_anim", "-quality", f"{quality:g}", "-compression_level", "2", "-loop", "0", "-f", "webp"]
    _encode(part, pictures, size, frames_per_s, codec)
    if comment:
        _add_xmp(part, comment)


def _add_xmp(path: Path, comment: str) -> None:
    """Append a comment as XMP to a finished animated WebP, and say so in its header."""
    text = (
        '<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
        '<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/"><dc:description><rdf:Alt>'
        f'<rdf:li xml:lang="x-default">{escape(comment)}</rdf:li>'
        "</rdf:Alt></dc:description></rdf:Description></rdf:RDF>"
    ).encode()
    with path.open("r+b") as file:
        file.seek(0, 2)
        file.write(b"XMP " + struct.pack("<I", len(text)) + text + b"\x00" * (len(text) % 2))
        length = file.tell()
        file.seek(4)
        file.write(struct.pack("<I", length - 8))
        file.seek(20)  # the flags of the first chunk, VP8X
        flags = file.read(1)[0]
        file.seek(20)
        file.write(bytes([flags | 0x04]))
