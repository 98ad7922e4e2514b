"""Clips read back by readers of others: Pillow, ffprobe, ffmpeg."""

import json
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from preview.handover.gif import delays_cs, encode_gif
from preview.handover.placing import placing_file
from preview.handover.stills import write_frames, write_png
from preview.handover.video import Picture, encode_mp4, encode_webp

SIZE = (96, 64)
FRAMES = 20


def written(encode, target: Path, *rest) -> None:
    """As clips are written: whole or not at all."""
    with placing_file(target) as part:
        encode(part, *rest)


def film() -> list[Picture]:
    """A soft glow that wanders over a dark gradient; the lower third stands still."""
    y, x = np.mgrid[0:64, 0:96]
    found = []
    for k in range(FRAMES):
        glow = np.exp(-(((x - 10 - 4 * k) / 14.0) ** 2) - ((y - 20) / 9.0) ** 2) * (y < 42)
        ground = 6 + 30 * y / 64
        picture = np.stack([ground + 200 * glow, ground * 0.8 + 110 * glow, ground * 0.6 + 60 * glow], axis=-1)
        found.append(np.clip(np.rint(picture), 0, 255).astype(np.uint8))
    return found


def decoded(path: Path) -> list[Picture]:
    with Image.open(path) as image:
        pictures = []
        for k in range(getattr(image, "n_frames", 1)):
            image.seek(k)
            pictures.append(np.asarray(image.convert("RGB")))
        return pictures


def durations_ms(path: Path) -> list[int]:
    with Image.open(path) as image:
        found = []
        for k in range(image.n_frames):
            image.seek(k)
            image.load()
            found.append(int(image.info["duration"]))
        return found


def psnr(a: list[Picture], b: list[Picture]) -> float:
    error = np.mean((np.stack(a).astype(float) - np.stack(b)) ** 2)
    return float(10 * np.log10(255**2 / error))


@pytest.mark.parametrize("rate", [50.0, 30.0, 25.0, 24.0, 12.5, 7.0])
def test_gif_count_delays_loop_and_size(tmp_path: Path, rate: float) -> None:
    pictures = film()
    written(encode_gif, tmp_path / "a.gif", pictures, SIZE, rate, FRAMES, np.stack(pictures))
    delays = durations_ms(tmp_path / "a.gif")
    assert len(delays) == FRAMES
    assert delays == [10 * d for d in delays_cs(FRAMES, rate)]
    # The total is the exact length to the nearest hundredth of a second, and no delay is one that browsers stretch.
    assert abs(sum(delays) - 1000 * FRAMES / rate) <= 5
    assert min(delays) >= 20
    with Image.open(tmp_path / "a.gif") as image:
        assert image.size == SIZE
        assert image.info["loop"] == 0  # 0 is endless
        assert "comment" not in image.info


def test_gif_pictures_are_close_and_still_parts_stand_still(tmp_path: Path) -> None:
    pictures = film()
    written(encode_gif, tmp_path / "a.gif", pictures, SIZE, 25.0, FRAMES, np.stack(pictures))
    back = decoded(tmp_path / "a.gif")
    assert psnr(pictures, back) > 30  # dithered to 255 colours; 30 dB is 8 codes of error
    # Means over 8 × 8 pixels, which is what the eye sees of a mosaic: within 3 codes.
    a, b = (np.stack(p).astype(float).reshape(FRAMES, 8, 8, 12, 8, 3).mean(axis=(2, 4)) for p in (pictures, back))
    assert np.abs(a - b).max() < 3
    still = np.stack(back)[:, 42:]
    assert (still == still[0]).all()


def test_gif_writes_only_where_something_changes(tmp_path: Path) -> None:
    ground = film()[0]
    pictures = [ground.copy() for _ in range(3)]
    pictures[1][10:14, 50:61] = (250, 240, 230)
    pictures[2][60:, 90:] = (0, 0, 90)
    written(encode_gif, tmp_path / "a.gif", pictures, SIZE, 25.0, 3, np.stack(pictures))
    boxes = []
    with Image.open(tmp_path / "a.gif") as image:
        for k in range(3):
            image.seek(k)
            boxes.append(image.tile[0][1] if image.tile else None)
    assert boxes == [(0, 0, 96, 64), (50, 10, 61, 14), (50, 10, 96, 64)]
    for a, b in zip(pictures, decoded(tmp_path / "a.gif"), strict=True):
        assert psnr([a], [b]) > 36  # 4 codes of error; a box a pixel off its place gives 30


def test_gif_does_not_show_what_flickers_by_one_code(tmp_path: Path) -> None:
    rng = np.random.default_rng(6)
    ground = film()[0].astype(int)
    pictures = [np.clip(ground + rng.integers(0, 2, ground.shape), 0, 255).astype(np.uint8) for _ in range(FRAMES)]
    written(encode_gif, tmp_path / "a.gif", pictures, SIZE, 25.0, FRAMES, np.stack(pictures))
    back = np.stack(decoded(tmp_path / "a.gif"))
    assert (back == back[0]).all()
    written(encode_gif, tmp_path / "b.gif", pictures[:1], SIZE, 25.0, 1, np.stack(pictures))
    assert (decoded(tmp_path / "b.gif")[0] == back[0]).all()
    more = (tmp_path / "a.gif").stat().st_size - (tmp_path / "b.gif").stat().st_size
    # A frame in which nothing changes is one clear pixel (GIF89a): control block 8 bytes, descriptor 10, length of codes 1, data of clear,
    # pixel and end codes in 9 bits each with their length 5, and the end 1.
    assert more == (FRAMES - 1) * 25


@pytest.mark.parametrize("rise", [1, -1])
def test_gif_follows_a_slow_fade(tmp_path: Path, rise: int) -> None:
    frames = 90
    ground = film()[0].astype(int) // 2 + 60
    pictures = [np.clip(ground + rise * (k // 3), 0, 255).astype(np.uint8) for k in range(frames)]
    written(encode_gif, tmp_path / "a.gif", pictures, SIZE, 25.0, frames, np.stack(pictures[::5]))
    back = decoded(tmp_path / "a.gif")
    a, b = (np.stack(p).astype(float).reshape(frames, 8, 8, 12, 8, 3).mean(axis=(2, 4)) for p in (pictures, back))
    assert np.abs(a - b).max() < 3  # as for pictures that move at once: nothing adds up
    assert np.abs((a - b).mean(axis=(1, 2, 3))).max() < 1.5  # at most one code behind, and half a code of palette


@pytest.mark.parametrize("size", [(63, 49), (16, 16), (17, 21), (320, 16)])
def test_gif_of_any_size_is_the_same_to_two_readers(tmp_path: Path, size: tuple[int, int]) -> None:
    rng = np.random.default_rng(8)
    width, height = size
    pictures = [rng.integers(0, 256, (height, width, 3), dtype=np.uint8) for _ in range(9)]
    written(encode_gif, tmp_path / "a.gif", pictures, size, 25.0, len(pictures), np.stack(pictures))
    back = np.stack(decoded(tmp_path / "a.gif"))
    assert back.shape == (9, height, width, 3)
    if shutil.which("ffmpeg"):
        to_raw = ["ffmpeg", "-v", "error", "-i", tmp_path / "a.gif", "-f", "rawvideo", "-pix_fmt", "rgb24", "-"]
        raw = subprocess.run(to_raw, capture_output=True, check=True).stdout
        assert (np.frombuffer(raw, np.uint8).reshape(back.shape) == back).all()


def test_gif_holds_one_palette_for_all(tmp_path: Path) -> None:
    pictures = film()
    written(encode_gif, tmp_path / "a.gif", pictures, SIZE, 25.0, FRAMES, np.stack(pictures))
    data = (tmp_path / "a.gif").read_bytes()
    assert data[:6] == b"GIF89a"
    at = 13 + 3 * 2 ** ((data[10] & 7) + 1)  # GIF89a, section 18: size of the global colour table
    blocks = 0
    while data[at] != 0x3B:
        if data[at] == 0x21:  # extension: label, then sub-blocks
            at += 2
        else:
            assert data[at] == 0x2C
            assert data[at + 9] & 0x80 == 0, "no local colour table"
            blocks += 1
            at += 11
        while data[at]:
            at += data[at] + 1
        at += 1
    assert blocks == FRAMES
    assert at == len(data) - 1


@pytest.mark.parametrize("text", ["may flash", "é" * 400])
def test_gif_comment_is_where_readers_look(tmp_path: Path, text: str) -> None:
    pictures = film()
    written(encode_gif, tmp_path / "a.gif", pictures, SIZE, 25.0, FRAMES, np.stack(pictures), text)
    with Image.open(tmp_path / "a.gif") as image:
        assert image.info["comment"].decode() == text
    assert len(decoded(tmp_path / "a.gif")) == FRAMES


def test_webp(tmp_path: Path) -> None:
    pictures = film()
    written(encode_webp, tmp_path / "a.webp", pictures, SIZE, 25.0, "glow & <flash>")
    assert durations_ms(tmp_path / "a.webp") == [40] * FRAMES
    with Image.open(tmp_path / "a.webp") as image:
        assert image.size == SIZE
        assert image.info["loop"] == 0
        assert b"glow &amp; &lt;flash&gt;" in image.info["xmp"]
    assert psnr(pictures, decoded(tmp_path / "a.webp")) > 32


@pytest.mark.skipif(shutil.which("ffprobe") is None, reason="ffprobe is not installed")
def test_mp4_plays_on_phones(tmp_path: Path) -> None:
    pictures = film()
    written(encode_mp4, tmp_path / "a.mp4", pictures, SIZE, 25.0, "may flash")
    asked = ["-show_streams", "-show_format", "-count_frames", "-of", "json", str(tmp_path / "a.mp4")]
    said = subprocess.run(["ffprobe", "-v", "error", *asked], capture_output=True, check=True).stdout
    found = json.loads(said)
    stream = found["streams"][0]
    assert (stream["codec_name"], stream["pix_fmt"]) == ("h264", "yuv420p")
    assert (stream["width"], stream["height"]) == SIZE
    assert int(stream["nb_read_frames"]) == FRAMES
    assert float(stream["duration"]) == pytest.approx(FRAMES / 25, abs=1e-6)
    tags = [stream[key] for key in ("color_space", "color_primaries", "color_transfer", "color_range")]
    assert tags == ["bt709", "bt709", "bt709", "tv"]
    assert found["format"]["tags"]["comment"] == "may flash"
    data = (tmp_path / "a.mp4").read_bytes()
    assert data.index(b"moov") < data.index(b"mdat")  # the index comes first: it plays while it loads


@pytest.mark.skipif(shutil.which("ffmpeg") is None, reason="ffmpeg is not installed")
def test_mp4_pictures_are_close(tmp_path: Path) -> None:
    pictures = film()
    written(encode_mp4, tmp_path / "a.mp4", pictures, SIZE, 25.0)
    # Back to full-range RGB by another build of ffmpeg, told nothing: the tags must lead it to the right colours.
    source = ["-i", tmp_path / "a.mp4", "-sws_flags", "accurate_rnd+full_chroma_int"]
    to_raw = ["ffmpeg", "-v", "error", *source, "-f", "rawvideo", "-pix_fmt", "rgb24", "-"]
    raw = subprocess.run(to_raw, capture_output=True, check=True).stdout
    back = np.frombuffer(raw, np.uint8).reshape(FRAMES, 64, 96, 3)
    assert psnr(pictures, list(back)) > 33
    assert np.abs(back.mean(axis=(1, 2)) - np.stack(pictures).mean(axis=(1, 2))).max() < 1.5


def test_png_and_folder_lose_nothing(tmp_path: Path) -> None:
    pictures = film()
    write_png(tmp_path / "a.png", pictures[3], "note")
    assert (decoded(tmp_path / "a.png")[0] == pictures[3]).all()
    with Image.open(tmp_path / "a.png") as image:
        assert image.info["Comment"] == "note"
        assert "srgb" in image.info
    assert write_frames(tmp_path / "frames", pictures) == FRAMES
    names = sorted(p.name for p in (tmp_path / "frames").iterdir())
    assert names == [f"frame-{k:05d}.png" for k in range(FRAMES)]
    for name, picture in zip(names, pictures, strict=True):
        assert (decoded(tmp_path / "frames" / name)[0] == picture).all()


@pytest.mark.parametrize("ending", ["gif", "mp4", "webp"])
def test_pictures_that_fail_midway_leave_nothing(tmp_path: Path, ending: str) -> None:
    pictures = film()

    def failing() -> Iterator[Picture]:
        yield from pictures[:7]
        raise KeyboardInterrupt

    target = tmp_path / f"a.{ending}"
    write = {
        "gif": lambda: written(encode_gif, target, failing(), SIZE, 25.0, FRAMES, np.stack(pictures)),
        "mp4": lambda: written(encode_mp4, target, failing(), SIZE, 25.0),
        "webp": lambda: written(encode_webp, target, failing(), SIZE, 25.0),
    }[ending]
    with pytest.raises(KeyboardInterrupt):
        write()
    assert list(tmp_path.iterdir()) == []
