"""Every fault of a scene is named with its key, its line, what was expected, what was found and the nearest spelling.

Each case is a good scene with one thing changed. The line expected is that of the changed text, found by searching for it.
"""

import re
from pathlib import Path
from typing import NamedTuple

import pytest

from preview.scene.faults import Fault, SceneFaults
from preview.scene.model import Look
from preview.scene.read import scene_from_text

DATA = Path(__file__).parent / "data"
GOOD = (DATA / "everything.toml").read_text(encoding="utf-8")
EFFECTS = ["steady", "millrace", "gloaming"]


class Case(NamedTuple):
    old: str  # text of the good scene, the first time it comes
    new: str  # what stands there instead
    key: str
    expected: str  # part of what was expected
    found: str  # part of what was found
    nearest: str | None = None
    at: str | None = None  # text on the line that the fault must name; `new` where left out, "" for no line
    faults: int = 1  # how many faults the one change makes


CASES = [
    # unknown keys
    Case("ambient_lux = 12.5", "ambient_lx = 12.5", "room.ambient_lx", "a known key", "unknown", "ambient_lux"),
    Case("leds_per_m = 60", "leds_per_meter = 60", "strip.four.leds_per_meter", "a known key", "unknown", "leds_per_m"),
    Case("[limits]", "[limit]", "limit", "a known key", "unknown", "limits"),
    Case("floor = ", "flor = ", "room.finish.flor", "a known key", "unknown", "floor"),
    Case("colour_steps = 3", "color_steps = 3", "limits.color_steps", "a known key", "unknown", "colour_steps"),
    Case('from = "left"\nrun', 'form = "left"\nrun', "feed[0].form", "a known key", "unknown", "from", 'form = "left"'),
    Case(
        "mm2 = 1.5, length_m = 3",
        "mm2 = 1.5, lenght_m = 3",
        "feed[0].cable.lenght_m",
        "a known key",
        "unknown",
        "length_m",
    ),
    Case("currency = ", "xyzzy = ", "money.xyzzy", "currency", "unknown"),
    Case(
        "format = 1",
        "format = 1\nambient_lux = 3",
        "ambient_lux",
        "a known key",
        "unknown",
        "room.ambient_lux",
        "ambient_lux = 3",
    ),
    Case(
        "kelvin = 3000\n",
        "kelvin = 3000\nfull = 3\n",
        "strip.four.white.full",
        "known key",
        "unknown",
        "full_v",
        "full = 3",
    ),
    # wrong kinds
    Case("format = 1", 'format = "1"', "format", "1", '"1"'),
    Case("format = 1", "format = 2", "format", "1", "2"),
    Case('title = "Every key"', "title = 7", "title", "text in quotes", "7"),
    Case("volts = 24.0", 'volts = "24"', "strip.four.volts", "a number above 0, at most 120 (rated voltage", '"24"'),
    Case("regulated = false", "regulated = 0", "strip.four.regulated", "true or false", "0"),
    Case("leds_per_group = 6", "leds_per_group = 6.0", "strip.four.leds_per_group", "a whole number", "6"),
    Case("amps = 6.25\noutput", "amps = true\noutput", "supply.left.amps", "a number", "true", None, "amps = true"),
    Case("size_m = [6, 4.2, 2.7]", "size_m = [6, 4.2]", "room.size_m", "3 numbers [x, y, z]", "[6, 4.2]"),
    Case(
        "size_m = [6, 4.2, 2.7]", "size_m = [6, 4.2, 2.7, 1]", "room.size_m", "3 numbers [x, y, z]", "[6, 4.2, 2.7, 1]"
    ),
    Case("size_m = [6, 4.2, 2.7]", 'size_m = "big"', "room.size_m", "3 numbers [x, y, z]", '"big"'),
    Case("[2.9, 4.1, 2.5]]", '\n[2.9, "4", 2.5]]', "run[0].path_m[1][1]", "a number", '"4"', None, '"4"'),
    Case('[[feed]]\nfrom = "left"', "[[feed]]\nfrom = 3", "feed[0].from", "text in quotes", "3", None, "from = 3"),
    Case("dials = { kelvin = 2200, seed = 7 }", "dials = [2200]", "look[0].dials", "a table", "[2200]"),
    Case(
        "[money]", "[[money]]", "money", "a table with the keys currency", '[{ currency = "CHF" }]', None, "[[money]]"
    ),
    Case("cable = { mm2 = 1.5, length_m = 3 }", "cable = 1.5", "feed[0].cable", "a table with the keys", "1.5"),
    # wrong values
    Case('cover = "opal"', 'cover = "opel"', 'channel."deep opal".cover', "clear, frosted or opal", '"opel"', "opal"),
    Case('carries = "negative"', 'carries = "neg"', "join[0].carries", "power, negative or data", '"neg"'),
    Case('surface = "back"', 'surface = "bakc"', "photo.surface", "floor", '"bakc"', "back"),
    Case('floor = "#604020"', 'floor = "brown"', "room.finish.floor", '"#rrggbb"', '"brown"'),
    Case("transmission = 0.62", "transmission = 62", 'channel."deep opal".transmission', "at most 1", "62"),
    Case("level = 0.75", "level = 75", "look[0].level", "from 0 to 1", "75"),
    Case("output_milliohm = 12", "output_milliohm = -12", "supply.left.output_milliohm", "from 0 to", "-12"),
    Case("length_m = 5 }", "length_m = -5 }", "block.far.cable.length_m", "from 0 to", "-5"),
    Case("volts = 24.1", "volts = nan", "supply.right.volts", "a finite number above 0", "nan"),
    Case("reel_m = 10", "reel_m = inf", "strip.four.reel_m", "a finite number above 0", "inf"),
    Case("kelvin = 2200", "kelvin = -inf", "look[0].dials.kelvin", "a finite number", "-inf"),
    Case("leds_per_group = 6", "leds_per_group = 0", "strip.four.leds_per_group", "from 1 to", "0"),
    Case("volts = 24.0", "volts = 0", "strip.four.volts", "above 0", "0"),
    Case(
        "amps = 6.25\noutput",
        f"amps = {10**400}\noutput",
        "supply.left.amps",
        "a number",
        "beyond 10^18",
        None,
        "amps = 1000",
    ),
    Case("aim = [0, 0, 1]", "aim = [0, 0, 0]", "run[0].aim", "a direction other than", "[0, 0, 0]"),
    Case("look_m = [3.0, 4.2, 1.2]", "look_m = [3.0, -2.0, 1.6]", "viewer.look_m", "other than eye_m", "[3, -2, 1.6]"),
    Case('name = "bench"', 'name = "a\\u001bb"', "box[0].name", "printable", "\\u001b"),
    Case(
        'colour_order = "wgrb"',
        'colour_order = "grb"',
        "strip.four.colour_order",
        'each letter of "rgbw" once',
        '"grb"',
    ),
    Case(
        'colour_order = "wgrb"',
        'colour_order = "wggb"',
        "strip.four.colour_order",
        'each letter of "rgbw" once',
        '"wggb"',
    ),
    Case(
        'colours = "rgbw"\ncolour_order = "wgrb"',
        'colours = "rgb"\ncolour_order = "grb"',
        "strip.four.white",
        'only where colours = "rgbw"',
        '"rgb"',
        None,
        "[strip.four.white]",
    ),
    Case(
        "kelvin = 3000\n",
        "kelvin = 3000\nxy = [0.4, 0.4]\n",
        "strip.four.white.kelvin",
        "one of xy and kelvin",
        "both",
        None,
        "kelvin = 3000",
    ),
    Case("kelvin = 3000\n", "kelvin = 300\n", "strip.four.white.kelvin", "from 1000 to 25000", "300"),
    Case("xy = [0.17, 0.72]", "xy = [0.57, 0.72]", "strip.four.green.xy", "x + y at most 1", "1.29"),
    # missing keys
    Case("amps = 6.25\noutput", "output", "supply.left.amps", "a number above 0", "nothing", None, "[supply.left]"),
    Case('name = "east"\n', "", "run[1].name", "text in quotes", "nothing", None, "[[run]]#2", faults=4),
    Case(
        "cable = { awg = 16, length_m = 0.5 }",
        "",
        "feed[1].cable",
        "a table with the keys",
        "nothing",
        None,
        "[[feed]]#2",
    ),
    Case('title = "Every key"\n', "", "title", "text in quotes", "nothing", None, ""),
    Case("leds_per_m = 60\n", "", "strip.four.leds_per_m", "above 0", "nothing", None, "[strip.four]"),
    # references
    Case('strip = "four"', 'strip = "fuor"', "run[0].strip", "the name of a [strip.NAME] (four)", '"fuor"', "four"),
    Case('channel = "deep opal"', 'channel = "deep"', "run[0].channel", "deep opal", '"deep"', "deep opal"),
    Case(
        'from = "left"\nrun',
        'from = "lefty"\nrun',
        "feed[0].from",
        "left, right, far or farther",
        '"lefty"',
        "left",
        '"lefty"',
    ),
    Case('run = "west"', 'run = "wets"', "feed[0].run", "west, east or south", '"wets"', "west"),
    Case('from = "far"', 'from = "fra"', "block.farther.from", "a supply or another block", '"fra"', "far"),
    Case('to = "south"', 'to = "north"', "join[1].to", "the name of a run", '"north"', "south"),
    Case(
        'effect = "millrace"', 'effect = "milrace"', "look[1].effect", "the name of an effect", '"milrace"', "millrace"
    ),
    Case('look = "water"', 'look = "watre"', "programme[1].look", "evening or water", '"watre"', "water"),
    Case(
        'from = "right"',
        'from = "farther"',
        "block.far.from",
        "a way back to a supply",
        "far from farther from far",
        faults=2,
    ),
    Case('from = "far"', 'from = "farther"', "block.farther.from", "a way back to a supply", "farther from farther"),
    Case(
        'name = "east"',
        'name = "west"',
        "run[1].name",
        "a name that no other run has",
        "run[0]",
        None,
        'name = "west"#2',
        faults=4,
    ),
    Case(
        'name = "water"',
        'name = "evening"',
        "look[1].name",
        "a name that no other look has",
        "look[0]",
        None,
        'name = "evening"#2',
        faults=2,
    ),
    Case("[block.far]", "[block.left]", "block.left", "a name that no supply has", "supply.left", faults=2),
    # cables
    Case(
        "{ mm2 = 1.5, length_m = 3 }",
        "{ mm2 = 1.5, awg = 16, length_m = 3 }",
        "feed[0].cable",
        "exactly one of mm2 and awg",
        "both",
    ),
    Case("{ awg = 14, length_m = 5 }", "{ length_m = 5 }", "block.far.cable", "exactly one of mm2 and awg", "neither"),
    # what cannot be built
    Case(
        "[2.9, 4.1, 2.5]]",
        "[2.9, 4.4, 2.5]]",
        "run[0].path_m[1]",
        "within 0.1 m of it (x 0 to 6, y 0 to 4.2",
        "0.2 m outside",
    ),
    Case("[[0.2, 4.1, 2.5]", "[[-0.2, 4.1, 2.5]", "run[0].path_m[0]", "in the room", "0.2 m outside"),
    Case("at_m = 1.3", "at_m = 2.9", "feed[0].at_m", "a place along run west, 0 to 2.7 m", "2.9 m"),
    Case("at_m = 1.3", "at_m = -0.2", "feed[0].at_m", "a place along run west", "-0.2 m"),
    Case(
        'carries = "power"',
        'carries = "data"',
        "run[2]",
        "a feed, or a join that carries power",
        "carries data",
        None,
        "[[run]]#3",
    ),
    Case(
        'carries = "power"',
        'carries = "negative"',
        "run[2]",
        "a join that carries power",
        "carries negative",
        None,
        "[[run]]#3",
    ),
    Case("full_v = 20.1", "full_v = 16.1", "strip.four.blue.full_v", "above dark_v, which is 16.1 V", "16.1 V"),
    Case("full_v = 14.5", "full_v = 10", "strip.four.red.full_v", "above dark_v, which is 11 V", "10 V"),
    Case(
        "[5.9, 1.9, 2.5], [5.9, 0.2, 2.5]",
        "[5.9, 1.9, 2.5], [5.9, 1.81, 2.5]",
        "run[2].path_m",
        "one group of strip four at least, 0.1 m",
        "0.09 m",
    ),
    Case("[5.9, 1.9, 2.5], [5.9, 0.2, 2.5]", "[5.9, 1.9, 2.5], [5.9, 1.9, 2.5]", "run[2].path_m", "one group", "0 m"),
    Case(
        "leds_per_m = 60\nleds_per_group = 6",
        "leds_per_m = 10000\nleds_per_group = 1",
        "run",
        "at most 50000 groups",
        "94000 groups in all",
        None,
        "[[run]]",
    ),
    Case(
        'file = "photo.png"',
        'file = "../test_faults.py"',
        "photo.file",
        "inside the scene's folder",
        "leads outside it",
    ),
    Case(
        'file = "photo.png"',
        'file = "/etc/passwd"',
        "photo.file",
        "inside the scene's folder",
        "not a plain relative path",
    ),
    Case('file = "photo.png"', 'file = "phot.png"', "photo.file", "inside the scene's folder", "no file"),
    Case("[56, 41], [57, 6]", "[57, 6], [56, 41]", "photo.corners_px", "no side crossing another", "[57, 6], [56, 41]"),
    Case("[[8, 40], [56, 41]", "[[8, 40], [8, 40]", "photo.corners_px", "four corners", "[8, 40], [8, 40]"),
    Case(
        "rect_m = [1.0, 0.5, 5.0, 2.5]",
        "rect_m = [5.0, 0.5, 1.0, 2.5]",
        "photo.rect_m",
        "u1 above u0",
        "[5, 0.5, 1, 2.5]",
    ),
    Case(
        "rect_m = [1.0, 0.5, 5.0, 2.5]", "rect_m = [1.0, 0.5, 7.0, 2.5]", "photo.rect_m", "a rectangle on the back", "7"
    ),
]


def faults_of(text: str, folder: Path = DATA) -> tuple[Fault, ...]:
    file = folder / ".changed.toml"
    with pytest.raises(SceneFaults) as caught:
        scene_from_text(text, file, EFFECTS)
    assert caught.value.file == str(file)
    for fault in caught.value.faults[:100]:
        assert str(fault) in str(caught.value)
    return caught.value.faults


def line_of(text: str, piece: str) -> int | None:
    """Line of a piece of text; `piece#2` is the second time it comes."""
    if not piece:
        return None
    piece, _, which = piece.partition("#") if re.search(r"#\d$", piece) else (piece, "", "")
    at = -1
    for _ in range(int(which or 1)):
        at = text.index(piece, at + 1)
    return text.count("\n", 0, at) + 1


@pytest.mark.parametrize("case", CASES, ids=[f"{case.key}: {case.found}"[:60] for case in CASES])
def test_one_fault_is_named_in_full(case: Case) -> None:
    assert case.old in GOOD
    text = GOOD.replace(case.old, case.new, 1)
    found = {fault.key: fault for fault in faults_of(text)}
    assert case.key in found, list(found)
    fault = found[case.key]
    assert case.expected in fault.expected
    assert case.found in fault.found
    assert fault.nearest == case.nearest
    assert fault.line == line_of(text, case.new if case.at is None else case.at)


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.key}: {case.found}"[:60])
def test_a_fault_has_no_echo(case: Case) -> None:
    """One thing wrong is one fault; what only follows from it is not reported."""
    faults = faults_of(GOOD.replace(case.old, case.new, 1))
    assert len(faults) == case.faults, [str(fault) for fault in faults]


def test_all_faults_come_in_one_message_in_the_order_of_the_file() -> None:
    text = GOOD
    keys = {"room.ambient_lx", "strip.four.volts", "block.far.cable.length_m", "run[0].strip", "look[0].level"}
    wrong = list({case.key: case for case in CASES if case.key in keys}.values())
    assert len(wrong) == len(keys)
    for case in wrong:
        assert case.old in text
        text = text.replace(case.old, case.new, 1)
    faults = faults_of(text)
    assert {case.key for case in wrong} <= {fault.key for fault in faults}
    lines = [fault.line or 0 for fault in faults]
    assert lines == sorted(lines)


def test_listed_tables_are_called_by_their_name() -> None:
    (fault,) = faults_of(GOOD.replace("[2.9, 4.1, 2.5]]", "[2.9, 4.1]]"))
    line = line_of(GOOD, "[2.9, 4.1, 2.5]]")
    assert str(fault).startswith(f'line {line}: run[0].path_m[1] ("west"): expected 3 numbers [x, y, z]')


def test_a_file_of_nothing_but_faults_is_answered_shortly_and_soon() -> None:
    feeds = "".join(
        f'[[feed]]\nfrom = "psu{n}"\nrun = "nowhere{n}"\ncable = {{ mm2 = 1, length_m = 1 }}\n' for n in range(3000)
    )
    faults = faults_of(GOOD + feeds)
    assert len(faults) == 6000
    with pytest.raises(SceneFaults) as caught:
        scene_from_text(GOOD + feeds, DATA / "scene.toml")
    assert str(caught.value).endswith("and 5900 more")
    assert str(caught.value).count("\n") == 101


def test_the_groups_of_one_run_have_a_limit_too() -> None:
    (fault,) = faults_of(
        GOOD.replace("size_m = [6, 4.2, 2.7]", "size_m = [1000, 4.2, 2.7]")
        .replace("[5.9, 1.9, 2.5], [5.9, 0.2, 2.5]", "[5.9, 1.9, 2.5], [999, 1.9, 2.5]")
        .replace("leds_per_m = 60\nleds_per_group = 6", "leds_per_m = 100\nleds_per_group = 1")
    )
    assert fault.key == "run[2].path_m"
    assert "at most 50000 groups" in fault.expected
    assert "99310 groups" in fault.found  # 993.1 m at 100 to the metre


def test_a_photo_that_is_a_link_out_of_the_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "outside.png").touch()
    folder = tmp_path / "scene"
    folder.mkdir()
    (folder / "photo.png").symlink_to(tmp_path / "outside.png")
    (fault,) = faults_of(GOOD, folder)
    assert fault.key == "photo.file"
    assert "leads outside it" in fault.found


def test_faults_of_a_checker_of_looks_join_the_others() -> None:
    def check(look: Look, key: str) -> list[Fault]:
        return [Fault(f"{key}.dials.{name}", "a dial", name) for name in look.dials if name == "kelvin"]

    with pytest.raises(SceneFaults) as caught:
        scene_from_text(GOOD.replace("volts = 24.1", "volts = -1"), DATA / "scene.toml", EFFECTS, check)
    volts, dial = caught.value.faults
    assert volts.key == "supply.right.volts"
    assert (dial.key, dial.named) == ("look[0].dials.kelvin", "evening")
    assert dial.line == line_of(GOOD, "dials = {")


@pytest.mark.parametrize(
    ("label", "expected", "found"),
    [
        ("", "watts_per_m or milliamp from its label", "none of them"),
        ("watts_per_m = 0.1\nidle_milliamp_per_group = 5", "more than its groups draw when dark, 1.2 W/m", "0.1 W/m"),
    ],
)
def test_a_label_must_say_what_the_strip_draws(label: str, expected: str, found: str) -> None:
    strip = f"[strip.s]\nvolts = 12\nleds_per_m = 60\nleds_per_group = 3\n{label}\n"
    (fault,) = faults_of(GOOD + strip)
    assert fault.key == "strip.s.watts_per_m"
    assert expected in fault.expected  # 5 mA · 12 V / 0.05 m = 1.2 W/m
    assert found in fault.found
