"""What tests of the commands share: a small scene with something that moves, and clips read back by readers of others."""

import subprocess
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

LOOKS = """
[[look]]
name = "water"
effect = "millrace"
seconds = 4
level = 0.8
[[look]]
name = "Soft dusk"
effect = "gloaming"
seconds = 2
[[look]]
name = "full"
effect = "proof_full"
seconds = 1
"""


@pytest.fixture(scope="session")
def moving(one_shelf: str) -> str:
    """The text of a small scene with two looks that move, the first of them water, and one that stands still."""
    return one_shelf.split("[[look]]")[0] + LOOKS


@pytest.fixture
def plan(moving: str, tmp_path: Path) -> Path:
    """That scene as a file."""
    file = tmp_path / "plan.toml"
    file.write_text(moving)
    return file


@pytest.fixture
def out(tmp_path: Path) -> Path:
    """An empty folder to write to."""
    folder = tmp_path / "out"
    folder.mkdir()
    return folder


def pictures_in(path: Path) -> np.ndarray:
    """Every picture (F, h, w, 3) of a GIF, WebP or PNG by Pillow, of an MP4 by ffmpeg, of a folder of PNGs in their order."""
    if path.is_dir():
        return np.concatenate([pictures_in(file) for file in sorted(path.glob("*.png"))])
    if path.suffix == ".mp4":
        asked = ["-show_entries", "stream=width,height", "-of", "csv=p=0", str(path)]
        said = subprocess.run(["ffprobe", "-v", "error", *asked], capture_output=True, check=True, text=True).stdout
        width, height = (int(word) for word in said.strip().strip(",").split(","))
        to_raw = ["-sws_flags", "accurate_rnd+full_chroma_int", "-f", "rawvideo", "-pix_fmt", "rgb24", "-"]
        raw = subprocess.run(["ffmpeg", "-v", "error", "-i", path, *to_raw], capture_output=True, check=True).stdout
        return np.frombuffer(raw, np.uint8).reshape(-1, height, width, 3)
    with Image.open(path) as image:
        found = []
        for k in range(getattr(image, "n_frames", 1)):
            image.seek(k)
            found.append(np.asarray(image.convert("RGB")))
    if path.suffix == ".webp":  # like pictures in a row are one that stays for longer
        stay = delays_ms(path)
        found = [picture for picture, ms in zip(found, stay, strict=True) for _ in range(round(ms / min(stay)))]
    return np.stack(found)


def delays_ms(path: Path) -> list[int]:
    """How long each picture of a GIF or WebP is shown, by Pillow."""
    with Image.open(path) as image:
        found = []
        for k in range(image.n_frames):
            image.seek(k)
            image.load()
            found.append(int(image.info["duration"]))
    return found


def linear(pictures: np.ndarray) -> np.ndarray:
    """Linear light 0..1 of sRGB codes, IEC 61966-2-1."""
    value = pictures / 255.0
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
