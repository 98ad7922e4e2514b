"""The wiring drawn: well-formed, nothing lost, and no word on another or under a line."""

from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import pytest
from PIL import ImageFont

from preview.looks.library import effect_names, look_faults
from preview.pack.cut_drawing import material_svg
from preview.pack.cuts import cut_list
from preview.pack.diagram import wiring_sheets, wiring_svg
from preview.pack.gauging import gauge
from preview.scene.layout import lay_out
from preview.scene.model import Scene
from preview.scene.read import scene_from_text

SVG = "{http://www.w3.org/2000/svg}"
DEMOS = ["tea_bar", "reading_corner", "sitting_room", "gallery_hall"]
BOLD = 1.08
"""How much wider bold letters are taken to be: from measuring, no source."""


def drawn(scene: Scene) -> ElementTree.Element:
    return ElementTree.fromstring(wiring_svg(scene, lay_out(scene), gauge(scene, 100).wiring))


def words_of(root: ElementTree.Element) -> list[str]:
    return ["".join(part for part in [text.text or ""]) for text in root.iter(f"{SVG}text")]


def boxes_of(root: ElementTree.Element) -> list[tuple[str, float, float, float, float]]:
    """Every text with the box that it fills, by Pillow's measure of its letters."""
    found = []
    for text in root.iter(f"{SVG}text"):
        size = float(text.get("font-size", "12"))
        width = ImageFont.load_default(size).getlength(text.text or "") * (BOLD if text.get("font-weight") else 1)
        x, y = float(text.get("x", "0")), float(text.get("y", "0"))
        left = x - width / 2 if text.get("text-anchor") == "middle" else x
        found.append((text.text or "", left, y - 0.75 * size, left + width, y + 0.22 * size))
    return found


def segments_of(root: ElementTree.Element) -> list[tuple[float, float, float, float]]:
    found = []
    for path in root.iter(f"{SVG}path"):
        if path.get("fill") != "none":
            continue  # an arrow's head
        points = [tuple(map(float, part.split())) for part in path.get("d", "").lstrip("M").split(" L")]
        found += [(*a, *b) for a, b in pairwise(points)]
    return found


def assert_legible(root: ElementTree.Element) -> None:
    boxes = boxes_of(root)
    width, height = float(root.get("width", "0")), float(root.get("height", "0"))
    for k, (word, left, top, right, bottom) in enumerate(boxes):
        assert left >= 0, word
        assert top >= 0, word
        assert right <= width, word
        assert bottom <= height, word
        for other, left2, top2, right2, bottom2 in boxes[k + 1 :]:
            apart = right <= left2 or right2 <= left or bottom <= top2 or bottom2 <= top
            assert apart, f"{word!r} lies on {other!r}"
        for x0, y0, x1, y1 in segments_of(root):
            clear = max(x0, x1) <= left or min(x0, x1) >= right or max(y0, y1) <= top or min(y0, y1) >= bottom
            assert clear, f"a line from {x0:g} {y0:g} to {x1:g} {y1:g} goes through {word!r}"


@pytest.mark.parametrize("name", DEMOS)
def test_demo_drawings_are_legible(name: str, demo) -> None:
    assert_legible(drawn(demo(name)))


@pytest.mark.parametrize("name", DEMOS)
def test_nothing_is_left_out(name: str, demo) -> None:
    scene = demo(name)
    text = "\n".join(words_of(drawn(scene)))
    for source in (*scene.supply, *scene.block):
        assert f"supply {source}" in text or f"block {source}" in text
    for run in scene.run:
        assert run.name in text
    for k, feed in enumerate(scene.feed, start=1):
        assert f"feed {k}: fuse {feed.fuse_a:g} A, {feed.cable.mm2:g} mm², {feed.cable.length_m:g} m" in text
    for join in scene.join:
        assert f"from the end of {join.from_}" in text
    assert "controller, data line 1" in text


def test_by_hand(two_walls: Scene) -> None:
    text = "\n".join(words_of(drawn(two_walls)))
    assert "feed 3: NO FUSE, 18 AWG, 1 m" in text
    assert "at 4.000 m: between groups 79 and 80" in text
    assert "negative and data, positive cut: 0.75 mm², 1.2 m" in text
    assert "2.5 mm², 3 m from one" in text


def crowded() -> Scene:
    """A plan that is hard to draw: long names with marks of XML in them, many feeds close together, runs that branch."""
    text = """format = 1
title = "<Crowded> & 'quoted'"
[strip.s]
volts = 24
leds_per_m = 60
leds_per_group = 6
watts_per_m = 10
"""
    names = [f"run {k} <b>" + "w" * 90 + str(k) for k in range(6)]
    for s in range(3):
        text += f"[supply.a_supply_with_a_very_long_name_indeed_{s}]\nvolts = 24\namps = 20\n"
    text += '[block.b0]\nfrom = "a_supply_with_a_very_long_name_indeed_0"\ncable = { mm2 = 2.5, length_m = 3.125 }\n'
    text += '[block.b1]\nfrom = "b0"\ncable = { awg = 12, length_m = 3.125 }\n'
    for k, name in enumerate(names):
        text += f'[[run]]\nname = "{name}"\nstrip = "s"\npath_m = [[0, {0.3 * k + 0.1}, 1], [{1 + 2 * k}, {0.3 * k + 0.1}, 1]]\n'
    for k in range(18):
        source = ["a_supply_with_a_very_long_name_indeed_0", "b0", "b1"][k % 3]
        at_m = round(0.05 * k, 2)
        text += f'[[feed]]\nfrom = "{source}"\nrun = "{names[k % 6]}"\nat_m = {at_m}\n'
        text += "cable = { mm2 = 1.5, length_m = 2.125 }\n"
    for start, end, carries in ((0, 1, "data"), (0, 2, "data"), (2, 3, "power"), (3, 4, "power")):
        text += f'[[join]]\nfrom = "{names[start]}"\nto = "{names[end]}"\ncarries = "{carries}"\n'
        text += "cable = { mm2 = 0.75, length_m = 1.0 }\n"
    return scene_from_text(text, Path("crowded.toml"), effect_names(), look_faults)


def test_a_crowded_plan_is_legible() -> None:
    root = drawn(crowded())
    assert_legible(root)
    assert sum(word.startswith("feed ") for word in words_of(root)) == 18
    assert {child.tag for child in root} <= {f"{SVG}{tag}" for tag in ("title", "path", "rect", "circle", "text")}


def test_sheets_hold_everything_and_fit_on_paper() -> None:
    scene = crowded()
    wiring = gauge(scene, 100).wiring
    roots = [ElementTree.fromstring(text) for text in wiring_sheets(scene, lay_out(scene), wiring, 520)]
    assert len(roots) > 2
    for root in roots:
        assert_legible(root)
        assert (
            float(root.get("height", "0")) <= 520 + 100
        )  # the names of what is tied together may take a few rows more
    feeds = [word for root in roots for word in words_of(root) if word.startswith("feed ")]
    assert len(feeds) == len(set(feeds)) == 18


@pytest.mark.parametrize("name", DEMOS)
def test_a_demo_fits_on_one_sheet(name: str, demo) -> None:
    scene = demo(name)
    wiring = gauge(scene, 100).wiring
    assert wiring_sheets(scene, lay_out(scene), wiring) == [wiring_svg(scene, lay_out(scene), wiring)]
    root = drawn(scene)
    # 210 − 2 × 14 mm wide, 297 − 14 − 18 mm high, with room for a heading: letters of 11 units are at least 6 points tall.
    scale = min(182 / float(root.get("width", "0")), 232 / float(root.get("height", "0")))
    assert 11 * scale / 25.4 * 72 > 6


def test_no_feed_crosses_another_in_its_run(demo) -> None:
    """Within a run the feed that enters farther along has its row farther up, so its line goes over the others' ends."""
    scene = demo("tea_bar")
    root = drawn(scene)
    at = {word.partition(":")[0]: top for word, _, top, _, _ in boxes_of(root) if word.startswith("feed ")}
    for k, one in enumerate(scene.feed):
        for n, other in enumerate(scene.feed):
            if one.run == other.run and one.at_m > other.at_m:
                assert at[f"feed {k + 1}"] < at[f"feed {n + 1}"]


@pytest.mark.parametrize("name", DEMOS)
def test_cuts_drawn_to_scale(name: str, demo) -> None:
    for material in cut_list(demo(name)).materials:
        root = ElementTree.fromstring(material_svg(material))
        assert_legible(root)
        bars = [float(rect.get("width", "0")) for rect in root.iter(f"{SVG}rect")]
        whole = max(bars)
        pieces = {round(piece.length_m / material.sold_m * whole, 1) for piece in material.pieces}
        assert pieces <= {round(bar, 1) for bar in bars}
