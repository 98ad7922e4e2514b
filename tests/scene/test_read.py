"""A good scene file is read key by key; what is no scene file is refused in one clear line."""

import os
import tomllib
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel

from preview.scene import model
from preview.scene.faults import CovecastError, SceneFaults
from preview.scene.read import MOST_BYTES, demo_names, find_scene, read_scene, scene_from_text
from preview.scene.tables import LISTED, NAMED, SINGLE

DATA = Path(__file__).parent / "data"


def test_every_key_is_read() -> None:
    scene = read_scene(DATA / "everything.toml", effects=["steady", "millrace"])
    assert scene.title == "Every key"
    assert scene.note == "Two lines\nof free text."
    assert scene.room.size_m == (6.0, 4.2, 2.7)
    assert (scene.room.ambient_lux, scene.room.ambient_k) == (12.5, 3000.0)
    assert (scene.room.finish.floor, scene.room.finish.front) == ("#604020", "#222222")
    assert (scene.viewer.eye_m, scene.viewer.field_deg) == ((3.0, -2.0, 1.6), 70.0)
    assert scene.box[0].name == "bench"
    assert scene.photo is not None
    assert scene.photo.corners_px[2] == (57.0, 6.0)
    strip = scene.strip["four"]
    assert (strip.volts, strip.leds_per_m, strip.leds_per_group) == (24.0, 60.0, 6)
    assert strip.cut_m == pytest.approx(0.1)
    assert (strip.colours, strip.colour_order, strip.reel_m, strip.price) == ("rgbw", "wgrb", 10.0, 61.0)
    assert (strip.watts_per_m, strip.milliamp, strip.switching_hz) == (19.2, 20.0, 4000.0)
    assert strip.rail_milliohm_per_m == (45.0, 50.5)
    assert (strip.idle_milliamp_per_group, strip.regulated, strip.reset_below_v) == (1.0, False, 9.0)
    assert (strip.red.milliamp, strip.red.dark_v, strip.red.full_v, strip.red.lumen) == (18.0, 11.0, 14.5, 6.2)
    assert strip.green.xy == (0.17, 0.72)
    assert strip.white is not None
    assert strip.white.kelvin == 3000
    # Planckian locus at 3000 K: Planck's law with the CIE 1931 2° functions at 1 nm, from the published table of the locus
    assert strip.white.xy == pytest.approx((0.436931, 0.404074), abs=3e-5)
    channel = scene.channel["deep opal"]
    assert (channel.depth_mm, channel.cover, channel.side_fraction, channel.stock_m) == (18.0, "opal", 0.2, 3.0)
    assert scene.supply["left"].output_milliohm == 12
    assert scene.supply["right"].output_milliohm == 0
    assert scene.block["farther"].from_ == "far"
    assert (scene.block["far"].cable.awg, scene.block["far"].cable.mm2) == (14, None)
    assert len(scene.run[1].path_m) == 3
    assert scene.run[1].aim == (0.0, 0.0, 1.0)
    assert (scene.feed[0].at_m, scene.feed[0].fuse_a, scene.feed[0].fuse_milliohm) == (1.3, 7.5, 9.0)
    assert [join.carries for join in scene.join] == ["negative", "power"]
    assert scene.join[1].cable is None
    assert scene.look[0].dials == {"kelvin": 2200, "seed": 7}
    assert [(step.look, step.seconds, step.fade_s) for step in scene.programme] == [
        ("evening", 1800.0, 5.0),
        ("water", None, 0.0),
    ]
    assert (scene.limits.fuse_fraction, scene.limits.class2) == (0.75, True)
    assert (scene.assume.conductor_c, scene.assume.data_frames_per_s) == (55.0, 25.0)
    assert scene.money.currency == "CHF"
    assert scene.assumed == ()


def _keys(kind: type[BaseModel]) -> set[str]:
    return {field.alias or name for name, field in kind.model_fields.items()}


def test_the_scene_above_has_every_key_of_the_format() -> None:
    raw: dict[str, Any] = tomllib.loads((DATA / "everything.toml").read_text(encoding="utf-8"))
    assert set(raw) == _keys(model.Scene) - {"assumed", "folder"}
    for key, kind in SINGLE.items():
        assert set(raw[key]) == _keys(kind)
    for key, kind in NAMED.items():
        assert set().union(*raw[key].values()) == _keys(kind)
    for key, kind in LISTED.items():
        assert set().union(*raw[key]) == _keys(kind)
    assert set(raw["room"]["finish"]) == _keys(model.Finish)
    assert set(raw["strip"]["four"]["white"]) | {"xy"} == _keys(model.White)


@pytest.mark.parametrize("name", ["corner.toml", "everything.toml"])
def test_line_ends_and_a_byte_order_mark_do_not_matter(name: str, tmp_path: Path) -> None:
    text = (DATA / name).read_text(encoding="utf-8").replace('file = "photo.png"', 'file = "scene.toml"')
    file = tmp_path / "scene.toml"
    file.write_bytes(b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode())
    assert read_scene(file).title == read_scene(DATA / name).title


def test_a_scene_is_found_by_path_or_by_name() -> None:
    assert find_scene(str(DATA / "corner.toml")) == DATA / "corner.toml"
    for name in demo_names():
        assert read_scene(find_scene(name)).title
    assert {"tea_bar", "reading_corner", "gallery_hall"} <= set(demo_names())


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("tea_bra", "did you mean tea_bar?"),
        ("", "expected a scene file"),
        ("a\0b", "expected"),
        ("x" * 5000, "expected"),
    ],
)
def test_a_scene_that_is_not_there(text: str, says: str) -> None:
    with pytest.raises(CovecastError, match="found neither") as caught:
        find_scene(text)
    assert says in str(caught.value)


def test_a_misspelt_file_name_is_answered_with_the_right_one(tmp_path: Path) -> None:
    (tmp_path / "kitchen.toml").touch()
    with pytest.raises(CovecastError, match=r"did you mean .*kitchen\.toml"):
        find_scene(str(tmp_path / "kitchn.toml"))


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "found an empty file"),
        (b" \n\t\n", "found an empty file"),
        (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", "found a binary file"),
        (b'format = 1\ntitle = "caf\xe9"\n', "a byte 0xe9 on line 2 that is not UTF-8"),
        (b"# " + b"x" * MOST_BYTES, "at most 4 MB, found a larger one"),
        (b"a = " + b"[" * 3000, "nested too deep"),
    ],
)
def test_what_is_no_scene_file(data: bytes, says: str, tmp_path: Path) -> None:
    file = tmp_path / "scene.toml"
    file.write_bytes(data)
    with pytest.raises(CovecastError) as caught:
        read_scene(file)
    assert str(caught.value).startswith(str(file))
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_folders_pipes_and_missing_files(tmp_path: Path) -> None:
    with pytest.raises(CovecastError, match="no such file"):
        read_scene(tmp_path / "none.toml")
    with pytest.raises(CovecastError, match=r"found a folder$"):
        read_scene(tmp_path)
    (tmp_path / "scene.toml").touch()
    with pytest.raises(CovecastError, match=r"found a folder \(did you mean .*scene\.toml\?\)"):
        read_scene(tmp_path)
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe")
        with pytest.raises(CovecastError, match="found a device or a pipe"):
            read_scene(tmp_path / "pipe")


@pytest.mark.parametrize(
    ("text", "line", "key", "says"),
    [
        ("format = 1\nvolts = 12,0\n", 2, "volts", "valid TOML, found volts = 12,0"),
        ("format = 1\nformat = 1\n", 2, "format", "each key and each table once"),
        ("[room]\n[viewer]\n[room]\n", 3, "room", "each key and each table once"),
        ('format = 1\n\ntitle = "open\n', 3, "title", "valid TOML"),
        ("format = 1\nhello\n", 2, "TOML", "valid TOML, found hello"),
        ("a = [1,\n 2\n", 2, "TOML", "valid TOML"),
        ("format = " + "9" * 5000, None, "TOML", "thousands of digits"),
    ],
)
def test_wrong_toml_is_one_fault_with_its_line(
    text: str, line: int | None, key: str, says: str, tmp_path: Path
) -> None:
    file = tmp_path / "scene.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(SceneFaults) as caught:
        read_scene(file)
    (fault,) = caught.value.faults
    assert (fault.line, fault.key) == (line, key)
    assert says in str(fault)


@pytest.mark.parametrize("line", ['assumed = ["strip.four.volts"]', 'folder = "/"'])
def test_what_reading_adds_is_no_key_of_the_file(line: str) -> None:
    text = (DATA / "everything.toml").read_text(encoding="utf-8")
    with pytest.raises(SceneFaults, match="a known key"):
        scene_from_text(f"{line}\n{text}", DATA / "everything.toml")
    assert read_scene(DATA / "everything.toml").folder == str(DATA)
