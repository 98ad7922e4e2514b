"""Photos of every make, and files that are none. Made with Pillow, the reference for what such files hold."""

import io
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageCms

from preview.light.photo import MOST_PIXELS, load_photo
from preview.scene.faults import CovecastError

GREY = 0.21586050011  # linear light of code 128: IEC 61966-2-1


def marked(size: tuple[int, int] = (120, 80)) -> Image.Image:
    """Grey 128, a red patch top left, a green one top right."""
    picture = Image.new("RGB", size, (128, 128, 128))
    picture.paste((255, 0, 0), (0, 0, size[0] // 4, size[1] // 4))
    picture.paste((0, 255, 0), (size[0] - size[0] // 4, 0, size[0], size[1] // 4))
    return picture


@pytest.mark.parametrize("kind", ["jpg", "png"])
def test_plain(tmp_path: Path, kind: str) -> None:
    marked().save(tmp_path / f"room.{kind}", quality=95)
    found = load_photo(f"room.{kind}", tmp_path)
    assert found.size == (120, 80)
    assert found.linear.shape == (80, 120, 3)
    assert found.linear[60, 60] == pytest.approx([GREY] * 3, abs=0.01)
    assert found.linear[5, 5, 0] > 0.9
    assert found.linear[5, 5, 1] < 0.05
    assert found.focal_px is None


@pytest.mark.parametrize("kind", ["jpg", "png"])
@pytest.mark.parametrize("tag", range(1, 9))
def test_turned_by_exif(tmp_path: Path, kind: str, tag: int) -> None:
    # Source: the orientations of the Exif standard (CIPA DC-008), as Pillow's own transposes: what must be done to see it upright.
    undo = {
        1: None,
        2: Image.Transpose.FLIP_LEFT_RIGHT,
        3: Image.Transpose.ROTATE_180,
        4: Image.Transpose.FLIP_TOP_BOTTOM,
        5: Image.Transpose.TRANSPOSE,
        6: Image.Transpose.ROTATE_90,  # stored so that a quarter turn clockwise is needed
        7: Image.Transpose.TRANSVERSE,
        8: Image.Transpose.ROTATE_270,
    }[tag]
    stored = marked() if undo is None else marked().transpose(undo)
    exif = Image.Exif()
    exif[0x0112] = tag
    stored.save(tmp_path / f"room.{kind}", exif=exif, quality=95)
    found = load_photo(f"room.{kind}", tmp_path)
    assert found.size == (120, 80)
    assert found.linear.shape == (80, 120, 3)
    assert found.linear[5, 5].argmax() == 0
    assert found.linear[5, 115].argmax() == 1


@pytest.mark.parametrize("mode", ["L", "P", "1", "CMYK", "RGBA", "LA", "I;16"])
def test_every_kind_of_pixel(tmp_path: Path, mode: str) -> None:
    grey = Image.new("L", (40, 30), 128)
    if mode == "I;16":
        picture = Image.fromarray(np.full((30, 40), 128 * 257, np.uint16))
    elif mode == "1":
        picture = Image.new("1", (40, 30), 1)
    else:
        picture = grey.convert("RGB").convert(mode)
    name = "room.jpg" if mode == "CMYK" else "room.png"
    picture.save(tmp_path / name)
    found = load_photo(name, tmp_path)
    expected = 1.0 if mode == "1" else GREY
    assert found.linear.reshape(-1, 3).mean(axis=0) == pytest.approx([expected] * 3, abs=0.02)


def test_glass_lies_over_white(tmp_path: Path) -> None:
    Image.new("RGBA", (40, 30), (0, 0, 0, 0)).save(tmp_path / "room.png")
    assert load_photo("room.png", tmp_path).linear.min() == pytest.approx(1.0)


def test_a_profile_is_followed_and_a_broken_one_passed_over(tmp_path: Path) -> None:
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    for number, profile in enumerate((lab, b"no profile at all")):
        marked().save(tmp_path / f"room{number}.png", icc_profile=profile)
        found = load_photo(f"room{number}.png", tmp_path)
        assert found.linear[60, 60] == pytest.approx([GREY] * 3, abs=0.005)


def test_focal_length_of_the_file(tmp_path: Path) -> None:
    # 35 mm film has a diagonal of 43.27 mm (36 × 24): a 26 mm equivalent on 4000 × 3000 px is 26/43.27 of its 5000 px diagonal.
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0xA405] = 26
    marked((4000, 3000)).save(tmp_path / "room.jpg", exif=exif)
    found = load_photo("room.jpg", tmp_path)
    assert found.focal_px == pytest.approx(26 / 43.2666 * 5000, rel=1e-4)
    assert found.size == (4000, 3000)


def test_exposure_of_the_file(tmp_path: Path) -> None:
    # Source: ISO 12232: f/2, 1/50 s, ISO 100: code 118 stands for 10/100 lux·s = 0.65·L·(1/50)/2², so L = 30.8 cd/m².
    exif = Image.Exif()
    exif.get_ifd(0x8769).update({0x829A: 0.02, 0x829D: 2.0, 0x8827: 100})
    marked().save(tmp_path / "room.jpg", exif=exif)
    found = load_photo("room.jpg", tmp_path)
    assert found.cd_m2 is not None
    assert found.cd_m2 * 0.18116 == pytest.approx(30.8, rel=0.005)
    for wrong in ({0x829A: 0.0, 0x829D: 2.0, 0x8827: 100}, {0x829D: 2.0, 0x8827: 100}, {}):
        exif = Image.Exif()
        exif.get_ifd(0x8769).update(wrong)
        marked().save(tmp_path / "room.jpg", exif=exif)
        assert load_photo("room.jpg", tmp_path).cd_m2 is None


@pytest.mark.parametrize("kind", ["jpg", "png"])
def test_fifty_megapixels_are_scaled(tmp_path: Path, kind: str) -> None:
    exif = Image.Exif()
    exif[0x0112] = 6
    marked((5773, 8660)).transpose(Image.Transpose.ROTATE_90).save(
        tmp_path / f"room.{kind}", exif=exif, quality=60, compress_level=1
    )
    found = load_photo(f"room.{kind}", tmp_path)
    assert found.size == (5773, 8660)
    assert max(found.linear.shape) <= 5200
    assert found.linear[30, 30].argmax() == 0
    assert found.linear[30, -30].argmax() == 1


def test_fitted_whole_and_in_the_middle(tmp_path: Path) -> None:
    marked((400, 300)).save(tmp_path / "room.png")
    picture, inside, scale, (left, top) = load_photo("room.png", tmp_path).fitted((160, 90))
    assert picture.shape == (90, 160, 3)
    assert scale == pytest.approx(0.3)
    assert (left, top) == pytest.approx((20.0, 0.0))
    assert inside.sum() == 120 * 90
    assert inside[:, 20:140].all()
    assert picture[5, 25].argmax() == 0
    assert picture[5, 135].argmax() == 1
    # Means stay, and a corner of the patch stays where it is: at a quarter of 120 px.
    assert picture[60, 80] == pytest.approx([GREY] * 3, abs=1e-3)
    assert picture[5, 48, 0] > 0.9
    assert picture[5, 52, 0] < 0.3


def chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def bomb(width: int, height: int) -> bytes:
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0" * 1000)) + chunk(b"IEND", b"")
    )


def jpeg() -> bytes:
    file = io.BytesIO()
    marked().save(file, "JPEG")
    return file.getvalue()


def gif() -> bytes:
    file = io.BytesIO()
    marked().save(file, "GIF")
    return file.getvalue()


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "an empty file"),
        (b"format = 1\n", "no picture at all"),
        (b"<!doctype html><html></html>", "a text document"),
        (b"%PDF-1.7 ....", "a PDF"),
        (b"\0\0\0\x18ftypheic....", "a HEIC"),
        (gif(), "a GIF"),
        (bomb(9000, 9000), "81 megapixels"),
        (bomb(60_000, 60_000), "50 megapixels"),
        (bomb(600, 600), "damaged"),
        (jpeg()[:400], "damaged"),
        (jpeg()[:100], ""),
    ],
)
def test_what_is_no_photo(tmp_path: Path, data: bytes, words: str) -> None:
    (tmp_path / "room.jpg").write_bytes(data)
    with pytest.raises(CovecastError, match=r"photo\.file 'room.jpg': expected a JPEG or PNG") as caught:
        load_photo("room.jpg", tmp_path)
    assert words in str(caught.value)


def test_tiny_missing_and_outside(tmp_path: Path) -> None:
    Image.new("RGB", (8, 8)).save(tmp_path / "dot.png")
    with pytest.raises(CovecastError, match="at least 16"):
        load_photo("dot.png", tmp_path)
    with pytest.raises(CovecastError, match="found none"):
        load_photo("nothing.png", tmp_path)
    inside = tmp_path / "inside"
    inside.mkdir()
    with pytest.raises(CovecastError, match="outside"):
        load_photo("../dot.png", inside)
    (inside / "link.png").symlink_to(tmp_path / "dot.png")
    with pytest.raises(CovecastError, match="outside"):
        load_photo("link.png", inside)
    assert MOST_PIXELS == 50_000_000


def test_no_bytes_are_too_odd(tmp_path: Path) -> None:
    random = np.random.default_rng(3)
    good = {"room.jpg": jpeg()}
    file = io.BytesIO()
    marked().save(file, "PNG")
    good["room.png"] = file.getvalue()
    for name, data in good.items():
        refused = 0
        for _ in range(150):
            bytes_ = bytearray(data)
            for place in random.integers(0, len(bytes_), 6):
                bytes_[place] = int(random.integers(256))
            (tmp_path / name).write_bytes(bytes(bytes_))
            try:
                found = load_photo(name, tmp_path)
            except CovecastError:
                refused += 1
                continue
            assert found.linear.ndim == 3
            assert np.isfinite(found.linear).all()
            assert found.linear.min() >= 0
        assert (
            30 <= refused <= 145
        )  # a fair share of either kind: files that still hold a picture, and files that do not
