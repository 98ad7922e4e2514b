"""Every rule of the check: a plan that trips it and one that does not, with figures worked by hand.

The plain plan: 2 m of 12 V strip, cut every 50 mm, 10 mA a colour and 0.5 mA idle a group: 40 groups, 30.5 mA each, 1.22 A in all. Its
knees lie so low that drop does not change a current, and conductors are at 20 °C. Sources: tests/reference/check_sources.md.
"""

import csv
from pathlib import Path

import pytest

from preview.handover.checking import Checked, check_scene
from preview.power.cautions.sources import limited_a, limited_va
from preview.power.conductor_sets import conductor_sets, supplies_of
from preview.power.data_line import DataLine, data_lines
from preview.power.finding import Finding
from preview.power.network import NetworkError, build
from preview.scene.layout import lay_out
from preview.scene.model import Scene
from preview.scene.read import scene_from_text

REFERENCE = Path(__file__).parents[1] / "reference"

STRIP = """[strip.s]
volts = 12
leds_per_m = 60
leds_per_group = 3
rail_milliohm_per_m = [0, 0]
idle_milliamp_per_group = 0.5
red = { milliamp = 10, dark_v = 4, full_v = 5, lumen = 2, xy = [0.69, 0.308] }
green = { milliamp = 10, dark_v = 4, full_v = 5, lumen = 4, xy = [0.17, 0.72] }
blue = { milliamp = 10, dark_v = 4, full_v = 5, lumen = 1, xy = [0.135, 0.055] }
"""
PLAIN = f"""format = 1
title = "Plain"
{STRIP}
[supply.psu]
volts = 12
amps = 5
[[run]]
name = "a"
strip = "s"
path_m = [[0, 0, 1], [2, 0, 1]]
[[feed]]
from = "psu"
run = "a"
cable = {{ mm2 = 1.0, length_m = 2 }}
[[look]]
name = "all on"
effect = "proof_full"
seconds = 1
[assume]
conductor_c = 20
"""
SECOND = """
[[run]]
name = "b"
strip = "s"
path_m = [[2, 0, 1], [4, 0, 1]]
[supply.other]
volts = 12
amps = 5
[[feed]]
from = "other"
run = "b"
cable = { mm2 = 1.0, length_m = 2 }
"""
FEED = "feed 1 (psu to a at 0 m)"
JOIN = """
[[join]]
from = "a"
to = "b"
carries = "{}"
cable = {{ mm2 = 1.0, length_m = 0.5 }}
"""


def plan(*changes: tuple[str, str], more: str = "") -> Scene:
    text = PLAIN
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    return scene_from_text(text + more, Path("scene.toml"))


def read(scene: Scene, kwh_price: float | None = None) -> Checked:
    """Without pictures, and without what is said of dots: every run here is bare."""
    found = check_scene(scene, kwh_price=kwh_price, eyes=False)
    return Checked(tuple(f for f in found.findings if "single LEDs" not in f.says))


def heavy(found: Checked) -> list[Finding]:
    return [finding for finding in found.findings if finding.weight != "note"]


def only(found: Checked, word: str) -> list[Finding]:
    return [f for f in found.findings if word in f"{f.about} {f.says} {f.do} {f.source}"]


def test_the_plain_plan_has_nothing_heavier_than_notes() -> None:
    found = read(plan())
    assert heavy(found) == []
    assert not found.breaks


# supplies -------------------------------------------------------------------------------------------------------------


def test_a_supply_past_its_reserve_is_over() -> None:
    (finding,) = heavy(read(plan(("amps = 5", "amps = 1.4"))))[:1]
    assert (finding.weight, finding.about) == ("over", "supply psu")
    assert "1.2 A over 1.1 A" in finding.says  # 40 × 30.5 mA = 1.22 A; 0.8 × 1.4 A = 1.12 A
    assert "2 A supply" in finding.do  # 1.22 / 0.8 = 1.53 A: the next rating is 2 A
    assert "sag" not in finding.says  # it is within its rating


def test_a_supply_past_its_rating_is_said_to_sag() -> None:
    (finding,) = [f for f in heavy(read(plan(("amps = 5", "amps = 1.2")))) if f.weight == "over"]
    assert "above its rating of 1.2 A it will sag or switch off" in finding.says


@pytest.mark.parametrize(("amps", "trips"), [(1.4, True), (1.53, False)])
def test_a_reserve_that_the_plan_gives_up_is_a_caution(amps: float, trips: bool) -> None:
    """1.22 A of 1.4 A is 0.87, of 1.53 A 0.797: a fifth in reserve: common practice, no source."""
    scene = plan(("amps = 5", f"amps = {amps}"), more="[limits]\nsupply_fraction = 1.0\n")
    found = [f for f in heavy(read(scene)) if "fifth" in f.says]
    assert [f.weight for f in found] == (["caution"] if trips else [])


@pytest.mark.parametrize(
    ("volts", "weight", "word"),
    [(24, "fault", "destroy"), (10, "fault", "too little"), (12.9, "caution", "shorter life"), (12.5, None, "")],
)
def test_a_supply_must_fit_its_strip(volts: float, weight: str | None, word: str) -> None:
    found = [f for f in read(plan(("psu]\nvolts = 12", f"psu]\nvolts = {volts}"))).findings if "rated 12 V" in f.says]
    assert [f.weight for f in found] == ([weight] if weight else [])
    assert all(word in f.says for f in found)


def test_two_supplies_on_one_positive_are_a_fault() -> None:
    found = read(plan(more=SECOND + JOIN.format("power")))
    assert [(f.weight, f.about) for f in heavy(found)] == [("fault", "supplies psu, other")]
    assert heavy(read(plan(more=SECOND + JOIN.format("negative")))) == []


def test_two_supplies_into_one_run_are_a_fault() -> None:
    extra = '[[feed]]\nfrom = "other"\nrun = "a"\nat_m = 2\ncable = { mm2 = 1.0, length_m = 2 }\n'
    found = read(plan(more=SECOND + extra))
    assert [f.about for f in heavy(found)] == ["supplies psu, other"]
    assert "a and b" in heavy(found)[0].says


def test_data_without_a_common_negative_is_a_fault() -> None:
    found = read(plan(more=SECOND + JOIN.format("data")))
    assert [(f.weight, f.about) for f in heavy(found)] == [("fault", "join a to b")]
    assert "psu" in heavy(found)[0].says
    assert "other" in heavy(found)[0].says
    same = SECOND.replace('from = "other"', 'from = "psu"') + JOIN.format("data")
    assert heavy(read(plan(more=same))) == []


def test_conductor_sets_follow_feeds_blocks_and_joins() -> None:
    block = '[block.w]\nfrom = "psu"\ncable = { mm2 = 1.0, length_m = 1 }\n'
    scene = plan(('[[feed]]\nfrom = "psu"', f'{block}[[feed]]\nfrom = "w"'), more=SECOND + JOIN.format("negative"))
    assert [supplies_of(scene, parts) for parts in conductor_sets(scene, "positive")] == [["psu"], ["other"]]
    assert [supplies_of(scene, parts) for parts in conductor_sets(scene, "negative")] == [["psu", "other"]]
    assert ("source", "w") in conductor_sets(scene, "positive")[0]


@pytest.mark.parametrize(("volts", "weight"), [(24, None), (30, None), (48, "caution"), (60, "caution"), (72, "fault")])
def test_touch_voltage(volts: float, weight: str | None) -> None:
    """60 V d.c. in the dry, 30 V where it may be wet: IEC 60335-1 3.4.2, IEC 60598-1 8.2.3."""
    found = read(plan(("volts = 12", f"volts = {volts}"), ("amps = 5", "amps = 2")))
    said = [f for f in found.findings if "IEC 60598-1" in f.source]
    assert [f.weight for f in said] == ([weight] if weight else [])


@pytest.mark.parametrize(("volts", "va"), [(5, 25), (12, 60), (19.9, 99.5), (24, 100), (48, 100), (60.1, 0)])
def test_limited_power_bounds(volts: float, va: float) -> None:
    """IEC 60950-1 table 2B: 5 × U VA up to 20 V, 100 VA up to 60 V."""
    assert limited_va(volts) == pytest.approx(va)


def test_limited_fuses() -> None:
    """IEC 60950-1 table 2C: 5 A up to 20 V; 100/U above (from memory)."""
    assert [limited_a(v) for v in (5, 12, 20)] == [5, 5, 5]
    assert limited_a(24) == pytest.approx(4.1667, abs=1e-4)


@pytest.mark.parametrize(
    ("amps", "fuse", "weight"), [(5.0, None, None), (5.1, None, "caution"), (9, 5, None), (9, 7.5, "note")]
)
def test_a_source_beyond_limited_power(amps: float, fuse: float | None, weight: str | None) -> None:
    line = "" if fuse is None else f"\nfuse_a = {fuse}"
    scene = plan(("amps = 5", f"amps = {amps}"), ("length_m = 2 }", f"length_m = 2 }}{line}"))
    assert [f.weight for f in only(read(scene), "limited power source")] == ([weight] if weight else [])


@pytest.mark.parametrize(
    ("amps", "fuse", "trips"), [(5.0, None, False), (9, 5, False), (9, None, True), (9, 7.5, True), (25, 5, True)]
)
def test_a_plan_that_asks_for_limited_circuits(amps: float, fuse: float | None, trips: bool) -> None:
    """60 VA at 12 V; up to 250 VA (20.8 A at 12 V) with a fuse of at most 5 A for each circuit."""
    line = "" if fuse is None else f"\nfuse_a = {fuse}"
    changes = ("amps = 5", f"amps = {amps}"), ("length_m = 2 }", f"length_m = 2 }}{line}")
    found = read(plan(*changes, more="[limits]\nclass2 = true\n"))
    said = only(found, "limited power source")
    assert [f.weight for f in said] == (["fault"] if trips else [])


@pytest.mark.parametrize(("fuse", "trips"), [(3, True), (2, False)])
def test_limited_circuits_that_meet_are_one_circuit(fuse: float, trips: bool) -> None:
    """Two fuses of 3 A into one run let 6 A through, where a limited source of 12 V has 5 A; two of 2 A do not."""
    far = f'[[feed]]\nfrom = "psu"\nrun = "a"\nat_m = 2\ncable = {{ mm2 = 1.0, length_m = 2 }}\nfuse_a = {fuse}\n'
    changes = ("amps = 5", "amps = 9"), ("length_m = 2 }", f"length_m = 2 }}\nfuse_a = {fuse}")
    found = only(read(plan(*changes, more=far + "[limits]\nclass2 = true\n")), "limited power source")
    assert [f.weight for f in found] == (["fault"] if trips else [])
    assert all("feed 1 (psu to a at 0 m) and feed 2 (psu to a at 2 m) meet in one circuit" in f.says for f in found)


# fuses and cables -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cable", "fuse", "holds"),
    [
        ("mm2 = 0.5", 4, 3), ("mm2 = 0.5", 3, None), ("mm2 = 1.0", 15, 10), ("mm2 = 1.0", 10, None),
        ("awg = 18", 15, 10), ("awg = 16", 15, 13), ("awg = 14", 15, None),
    ],
)  # fmt: skip
def test_a_fuse_larger_than_its_cable(cable: str, fuse: float, holds: float | None) -> None:
    """UK flexible cords by mm², NEC table 400.5(A) by AWG."""
    scene = plan(("{ mm2 = 1.0, length_m = 2 }", f"{{ {cable}, length_m = 2 }}\nfuse_a = {fuse}"))
    found = [f for f in read(scene).findings if "its fuse" in f.says]
    assert [(f.weight, f.about) for f in found] == ([("fault", FEED)] if holds else [])
    assert all(f"({holds} A)" in f.says for f in found)


@pytest.mark.parametrize(("amps", "trips"), [(10, False), (12, True)])
def test_a_cable_that_nothing_protects(amps: float, trips: bool) -> None:
    """1.0 mm² holds 10 A; the supply alone stands before it."""
    found = [f for f in read(plan(("amps = 5", f"amps = {amps}"))).findings if f.says.startswith("no fuse")]
    assert [f.weight for f in found] == (["fault"] if trips else [])


def test_a_blocks_cable_that_nothing_protects() -> None:
    block = '[block.w]\nfrom = "psu"\ncable = {{ mm2 = {}, length_m = 1 }}\n'
    for mm2, trips in ((0.5, True), (0.75, False)):  # 3 A and 6 A, and a supply of 5 A
        scene = plan(('[[feed]]\nfrom = "psu"', f'{block.format(mm2)}[[feed]]\nfrom = "w"'))
        assert [f.about for f in heavy(read(scene))] == (["block w"] if trips else [])


def test_a_join_thinner_than_its_fuse() -> None:
    one_supply = SECOND[: SECOND.index("[supply")]
    for mm2, trips in ((0.5, True), (0.75, False)):
        join = JOIN.format("power").replace("mm2 = 1.0", f"mm2 = {mm2}")
        scene = plan(("length_m = 2 }", "length_m = 2 }\nfuse_a = 5"), more=one_supply + join)
        assert [(f.weight, f.about) for f in heavy(read(scene))] == ([("fault", "join a to b")] if trips else [])


@pytest.mark.parametrize(("at_m", "mm2", "trips"), [(0.5, 0.5, True), (0.5, 1.0, False), (None, 0.5, False)])
def test_feeds_that_together_pass_what_a_join_may_carry(at_m: float | None, mm2: float, trips: bool) -> None:
    """Two fuses of 3 A before a join of 0.5 mm², which may carry 3 A: 5 A, all that the supply has, may flow into a short behind it."""
    one_supply = SECOND[: SECOND.index("[supply")]
    join = JOIN.format("power").replace("mm2 = 1.0", f"mm2 = {mm2}")
    feed = '\n[[feed]]\nfrom = "psu"\nrun = "a"\nat_m = {}\nfuse_a = 3\ncable = {{ mm2 = 1.0, length_m = 2 }}\n'
    more = "" if at_m is None else feed.format(at_m)
    scene = plan(("length_m = 2 }", "length_m = 2 }\nfuse_a = 3"), more=one_supply + join + more)
    found = [f for f in heavy(read(scene)) if f.about == "join a to b"]
    assert [f.weight for f in found] == ["caution"] * trips
    assert all("may carry 3 A" in f.says and f.says.endswith("together let 5 A through") for f in found)


def test_a_larger_fuse_is_proposed_with_what_the_join_behind_it_needs() -> None:
    """Two runs of 1.22 A behind 2 A: 2.44 A need 3.05 A, so 4 A or 5 A, which 0.5 mm² may not carry (3 A) and 0.75 mm² may (6 A)."""
    one_supply = SECOND[: SECOND.index("[supply")]

    def scene(fuse_a: float, mm2: float) -> Scene:
        join = JOIN.format("power").replace("mm2 = 1.0", f"mm2 = {mm2}")
        return plan(("length_m = 2 }", f"length_m = 2 }}\nfuse_a = {fuse_a}"), more=one_supply + join)

    (finding,) = [f for f in heavy(read(scene(2, 0.5))) if f.weight == "over"]
    assert "mm² cable in join a to b would hold" in finding.do
    fuse_a = float(finding.do.split(" A fuse")[0].split()[-1])
    mm2 = float(finding.do.split(" mm²")[0].split()[-1])
    assert (fuse_a, mm2) in ((4.0, 0.75), (5.0, 0.75))
    assert heavy(read(scene(fuse_a, mm2))) == []


def test_a_fuse_that_carries_too_much() -> None:
    scene = plan(("length_m = 2 }", "length_m = 2 }\nfuse_a = 1"))
    (finding,) = [f for f in heavy(read(scene)) if f.weight == "over"]
    assert finding.about == FEED
    assert "1.2 A over 0.8 A" in finding.says
    assert "2 A fuse" in finding.do  # 1.22 / 0.8 = 1.53
    assert heavy(read(plan(("length_m = 2 }", "length_m = 2 }\nfuse_a = 2")))) == []


@pytest.mark.parametrize(("length_m", "trips"), [(4.9, False), (5, True)])
def test_a_cable_that_carries_too_much(length_m: float, trips: bool) -> None:
    """98 groups draw 2.989 A, 100 draw 3.05 A; 0.5 mm² holds 3 A."""
    scene = plan(("[2, 0, 1]", f"[{length_m}, 0, 1]"), ("mm2 = 1.0", "mm2 = 0.5"), ("amps = 5", "amps = 5"))
    assert [f.about for f in heavy(read(scene)) if f.weight == "over"] == ([FEED] if trips else [])


def test_fuses_that_are_not_made_or_not_for_that_voltage() -> None:
    """ISO 8820-3: no 6 A; 32 V and 58 V."""
    fused = "length_m = 2 }", "length_m = 2 }\nfuse_a = 6"
    assert [f.weight for f in only(read(plan(fused)), "ISO 8820-3")] == ["note"]
    five = "length_m = 2 }", "length_m = 2 }\nfuse_a = 5"
    assert only(read(plan(five)), "ISO 8820-3") == []
    for volts, weight in ((48, "note"), (60, "caution")):
        scene = plan(five, ("volts = 12", f"volts = {volts}"), ("amps = 5", "amps = 2"))
        assert [f.weight for f in only(read(scene), "ISO 8820-3")] == [weight]


def test_cables_shorter_than_the_way() -> None:
    """The supply hangs 3 m from the feed in a straight line."""
    far = "amps = 5", "amps = 5\nat_m = [0, 3, 1]"
    (finding,) = heavy(read(plan(far)))
    assert (finding.weight, finding.about) == ("caution", FEED)
    assert "3.00 m apart" in finding.says
    assert heavy(read(plan(far, ("length_m = 2 }", "length_m = 3 }")))) == []


# labels ---------------------------------------------------------------------------------------------------------------


BY_LABEL = STRIP, "[strip.s]\nvolts = 12\nleds_per_m = 60\nleds_per_group = 3\nwatts_per_m = 7.2\n"


def labelled(volts: float, leds: int, leds_per_m: float = 60) -> Scene:
    """The plain plan with a strip by its label alone."""
    text = PLAIN.replace(*BY_LABEL).replace("volts = 12", f"volts = {volts}")
    text = text.replace("leds_per_group = 3", f"leds_per_group = {leds}").replace(
        "leds_per_m = 60", f"leds_per_m = {leds_per_m}"
    )
    return scene_from_text(text, Path("scene.toml"))


@pytest.mark.parametrize(
    ("volts", "leds", "trips"),
    [
        (5, 1, False), (12, 3, False), (24, 6, False), (24, 7, False), (24, 8, False), (12, 6, False), (12, 1, False),
        (9, 7, True), (5, 3, True), (12, 5, True), (24, 3, True), (24, 1, True), (12, 7, True), (24, 11, True),
    ],
)  # fmt: skip
def test_leds_in_a_row_fit_the_volts(volts: float, leds: int, trips: bool) -> None:
    """About 2 V for a red LED, 3 V for a green, blue or white one; 5 V one, 12 V three or two rows of three, 24 V six to eight: common
    practice, no source."""
    found = only(read(labelled(volts, leds, leds_per_m=leds * 20)), "a group on")
    assert [f.weight for f in found] == (["caution"] if trips else [])


def test_voltage_curves_beat_the_rule_of_leds_in_a_row() -> None:
    """Seven LEDs on 9 V are odd; with measured curves that end at 5 V there is nothing odd about them."""
    odd = (
        ("volts = 12", "volts = 9"),
        ("leds_per_group = 3", "leds_per_group = 7"),
        ("leds_per_m = 60", "leds_per_m = 140"),
    )
    assert only(read(plan(*odd)), "a group on") == []
    never = plan(
        ("green = { milliamp = 10, dark_v = 4, full_v = 5", "green = { milliamp = 10, dark_v = 4, full_v = 12.6")
    )
    (finding,) = only(read(never), "never at rated")
    assert (finding.weight, finding.about) == ("caution", "strip s")
    assert "green (12.6 V)" in finding.says
    assert "red" not in finding.says


@pytest.mark.parametrize(
    ("leds_per_m", "leds", "trips"), [(60, 3, False), (100, 3, True), (96, 7, True), (50.4, 3, False)]
)
def test_groups_that_neither_a_metre_nor_a_reel_holds(leds_per_m: float, leds: int, trips: bool) -> None:
    """100/3 = 33.3 a metre, 166.7 on 5 m; 96/7 = 13.7 and 68.6; 50.4/3 = 16.8 and 84."""
    found = only(
        read(
            plan(("leds_per_m = 60", f"leds_per_m = {leds_per_m}"), ("leds_per_group = 3", f"leds_per_group = {leds}"))
        ),
        "do not divide",
    )
    assert [f.weight for f in found] == (["caution"] if trips else [])


@pytest.mark.parametrize(("length_m", "weight"), [(2.0, None), (2.005, None), (2.03, "note")])
def test_what_is_left_of_a_path(length_m: float, weight: str | None) -> None:
    """40 groups of 50 mm are 2 m."""
    found = only(read(plan(("[2, 0, 1]", f"[{length_m}, 0, 1]"))), "short of its path")
    assert [f.weight for f in found] == ([weight] if weight else [])
    assert all("end 30 mm short" in f.says for f in found)


def test_a_dark_end_that_leaves_a_gap() -> None:
    """19 groups of 100 mm on 1.98 m leave 80 mm."""
    coarse = ("leds_per_group = 3", "leds_per_group = 6"), ("[2, 0, 1]", "[1.98, 0, 1]")
    (finding,) = only(read(plan(*coarse)), "stay dark")
    assert finding.weight == "caution"
    assert "19 groups take 1.900 m of its 1.980 m: the last 80 mm" in finding.says


# the data line --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("data_m", "trips"), [(5, False), (6, True)])
def test_a_long_data_cable(data_m: float, trips: bool) -> None:
    """5 m on a plain output: common practice, no source."""
    to_first = plan(('name = "a"', f'name = "a"\ndata_m = {data_m}'))
    assert [f.about for f in heavy(read(to_first))] == (["run a"] if trips else [])
    join = JOIN.format("negative").replace("length_m = 0.5", f"length_m = {data_m}")
    assert [f.about for f in heavy(read(plan(more=SECOND + join)))] == (["join a to b"] if trips else [])


def test_frames_a_second_of_a_data_line() -> None:
    """The published table of the single-wire protocol at 800 kbit/s, with the pause of 300 µs."""
    with (REFERENCE / "single_wire_800k.csv").open() as file:
        for row in csv.DictReader(file):
            groups = int(row["N_groups_24bit"])
            found = DataLine((), groups, 24 * groups).frames_per_s
            assert found == pytest.approx(float(row["fps_ceiling_300us_latch"]), abs=0.006)


@pytest.mark.parametrize(("groups", "trips"), [(1000, False), (1111, True)])
def test_a_data_line_too_long_for_the_rate(groups: int, trips: bool) -> None:
    """1000 groups allow 33.0 frames a second, 1111 allow 29.74: the plan wants 30."""
    scene = plan(("[2, 0, 1]", f"[{groups * 0.05}, 0, 1]"), ("amps = 5", "amps = 60"), ("proof_full", "proof_swing"))
    found = only(read(scene), "frames a second")
    assert [(f.weight, f.about) for f in found] == ([("caution", "run a")] if trips else [])
    assert all("29.7 frames" in f.says for f in found)


def test_joins_lengthen_a_data_line_and_whites_too() -> None:
    (line,) = data_lines(plan(more=SECOND + JOIN.format("negative")))
    assert (line.runs, line.groups, line.bits) == (("a", "b"), 80, 80 * 24)
    assert [line.runs for line in data_lines(plan(more=SECOND))] == [("a",), ("b",)]
    white = STRIP + 'colours = "rgbw"\n'
    (line,) = data_lines(plan((STRIP, white)))
    assert line.bits == 40 * 32


# drop, strips, any content --------------------------------------------------------------------------------------------

DROP = ("{ mm2 = 1.0, length_m = 2 }", "{ mm2 = 0.5, length_m = 10 }"), ("amps = 5", "amps = 3")
"""10 m of 0.5 mm²: 2 × 0.39 Ω (IEC 60228 class 5), so 1.22 A cost 0.9516 V and every group gets 11.0484 V."""


@pytest.mark.parametrize(("reset_v", "trips"), [(11.0, False), (11.1, True)])
def test_groups_below_their_reset_voltage(reset_v: float, trips: bool) -> None:
    scene = plan(*DROP, ("leds_per_group = 3", f"leds_per_group = 3\nreset_below_v = {reset_v}"))
    found = [f for f in heavy(read(scene)) if f.weight == "over"]
    assert [f.about for f in found] == (["run a"] if trips else [])
    assert all("down to 11.0 V under 11.1 V" in f.says for f in found)


@pytest.mark.parametrize(("limit", "trips"), [(0.15, True), (0.19, False)])
def test_dimming(limit: float, trips: bool) -> None:
    """All knees at 10 and 11.5 V: v = 12 − 0.78·(0.02 + 1.2·(v − 10)/1.5), so v = 11.2219 V and g = 0.8146: 18.5 % are lost."""
    knees = "dark_v = 4, full_v = 5", "dark_v = 10, full_v = 11.5"
    found = [f for f in heavy(read(plan(*DROP, knees, more=f"[limits]\ndimming = {limit}\n"))) if f.weight == "over"]
    assert [f.about for f in found] == (["run a"] if trips else [])
    assert all("18.5 % over 15.0 %" in f.says and "feed" in f.do for f in found)


def test_a_colour_shift_is_over_and_says_the_level_that_holds() -> None:
    """Blue alone loses 0.30 of its light at 11.0484 V or so: far more than 4 steps."""
    blue = "blue = { milliamp = 10, dark_v = 4, full_v = 5", "blue = { milliamp = 10, dark_v = 10, full_v = 11.5"
    (finding,) = [f for f in heavy(read(plan(*DROP, blue))) if f.weight == "over"]
    assert "colour shift of" in finding.says
    assert "level 0." in finding.do


def test_any_content_is_a_caution_where_the_looks_hold() -> None:
    """0.8 × 1.4 A = 1.12 A; 40 × (0.5 + 30·q/255) mA stay within it up to q = 233, level 0.914."""
    half = "seconds = 1", "seconds = 1\nlevel = 0.5"
    (finding,) = heavy(read(plan(("amps = 5", "amps = 1.4"), half)))
    assert (finding.weight, finding.about) == ("caution", "any content")
    assert "level 0.914 (code 233 of 255)" in finding.do
    assert "supply psu: 1.2 A over 1.1 A" in finding.says
    assert heavy(read(plan(("amps = 5", "amps = 1.6"), half))) == []  # 1.28 A


def test_idle_current_and_its_cost_a_year() -> None:
    """40 × 0.5 mA × 12 V = 0.24 W; 8760 h: 2.10 kWh; at 0.30 it is 0.63, at 0.50 1.05."""
    (finding,) = only(read(plan()), "every group dark")
    assert finding.weight == "note"
    assert "0.02 A and 0.2 W" in finding.says
    assert "2 kWh a year, 0.63 EUR at 0.30 EUR a kWh (assumed)" in finding.says
    (finding,) = only(read(plan(), kwh_price=0.5), "every group dark")
    assert "1.05 EUR at 0.50 EUR a kWh," in finding.says
    silent = plan(("idle_milliamp_per_group = 0.5", "idle_milliamp_per_group = 0"))
    assert only(read(silent), "every group dark") == []


def test_a_coil_that_gets_hot() -> None:
    """30.5 mA × 12 V × 20 groups a metre = 7.32 W; a reel of 5 m 36.6 W, one of 1 m 7.3 W."""
    (finding,) = only(read(plan()), "coiled")
    assert "37 W" in finding.says
    assert only(read(plan(("leds_per_group = 3", "leds_per_group = 3\nreel_m = 1"))), "coiled") == []


def test_a_bare_strip_that_gets_hot() -> None:
    """60.5 mA × 12 V × 20 = 14.5 W a metre, above the 10 W of common practice, no source."""
    channel = "[channel.c]\ndepth_mm = 9\nwidth_mm = 12\ncover = 'opal'\ntransmission = 0.7\nspread_mm = 3\n"
    strong = "milliamp = 10", "milliamp = 20"
    (finding,) = heavy(read(plan(strong)))
    assert "14.5 W a metre" in finding.says
    assert heavy(read(plan(strong, ('strip = "s"', 'strip = "s"\nchannel = "c"'), more=channel))) == []


def test_the_mains_side_is_for_a_licensed_person() -> None:
    (finding,) = only(read(plan()), "licensed person")
    assert (finding.weight, finding.about) == ("note", "supply psu")


@pytest.mark.parametrize(("at_m", "trips"), [("[0.5, 0.5, 0.5]", True), ("[0.5, 0.5, 1.5]", False)])
def test_a_supply_in_a_closed_box(at_m: str, trips: bool) -> None:
    box = '[[box]]\nname = "chest"\ncorner_m = [0, 0, 0]\nsize_m = [1, 1, 1]\n'
    found = only(read(plan(("amps = 5", f"amps = 5\nat_m = {at_m}"), more=box)), "chest")
    assert [(f.weight, f.about) for f in found] == ([("note", "supply psu")] if trips else [])


def turns(count: int, side_m: float, step_m: float) -> str:
    """A path to and fro, `count` times `side_m`, in rows `step_m` apart."""
    rows = [(k % 2 * side_m, k * step_m, (k + 1) % 2 * side_m) for k in range(count)]
    return str([point for a, y, b in rows for point in ([a, y, 1], [b, y, 1])])


@pytest.mark.parametrize(("path", "trips"), [(turns(20, 0.3, 0.01), True), (turns(10, 1.0, 0.1), False)])
def test_a_run_that_lies_as_close_as_a_coil(path: str, trips: bool) -> None:
    """7.3 W a metre: 6 m on 0.3 m × 0.2 m are some 750 W/m² and hot; 10 m on 1 m × 1 m are a light box, 80 W/m²."""
    found = only(read(plan(("[[0, 0, 1], [2, 0, 1]]", path))), "as hot as a coil")
    assert [(f.weight, f.about) for f in found] == ([("caution", "run a")] if trips else [])


# all at once ----------------------------------------------------------------------------------------------------------


def test_four_faults_at_once_heaviest_first() -> None:
    """A fuse larger than its cable, a 24 V supply on 12 V strip, no common negative, and a supply past its rating."""
    scene = plan(
        ("{ mm2 = 1.0, length_m = 2 }", "{ mm2 = 0.5, length_m = 2 }\nfuse_a = 5"),
        ("amps = 5", "amps = 1"),
        more=SECOND.replace("volts = 12", "volts = 24").replace("amps = 5", "amps = 4") + JOIN.format("data"),
    )
    found = read(scene)
    assert [(f.weight, f.about) for f in found.findings if f.weight in ("fault", "over")] == [
        ("fault", "supply other"),
        ("fault", "join a to b"),
        ("fault", FEED),
        ("over", "supply psu"),
    ]
    order = ["fault", "over", "caution", "note"]
    places = [order.index(f.weight) for f in found.findings]
    assert places == sorted(places)
    assert all(f.says and f.do and f.source for f in found.findings)
    assert found.breaks


# eyes -----------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("hertz", "weight"), [(400, "caution"), (2000, "note"), (3000, None)])
def test_flicker_of_the_strips_switching(hertz: float, weight: str | None) -> None:
    """IEEE 1789-2015: full switching is of low risk from 1250 Hz and of no effect from 3000 Hz."""
    found = only(
        check_scene(plan(("leds_per_group = 3", f"leds_per_group = 3\nswitching_hz = {hertz}")), eyes=False), "IEEE"
    )
    assert [f.weight for f in found] == ([weight] if weight else [])


ROOM = """[room]
size_m = [2, 2, 2]
ambient_lux = 1
[viewer]
eye_m = [1, 0.2, 1]
look_m = [1, 2, 1]
field_deg = 60
[channel.c]
depth_mm = {}
width_mm = 12
cover = "opal"
transmission = 0.7
spread_mm = {}
"""


@pytest.mark.parametrize(("depth_mm", "spread_mm", "trips"), [(4, 0.5, True), (25, 5, False)])
def test_dots_that_the_viewer_sees(depth_mm: float, spread_mm: float, trips: bool) -> None:
    """Pitch no larger than depth hides the dots, a shallow channel shows them: common practice, no source. Pitch is 16.7 mm."""
    on_the_wall = "path_m = [[0, 0, 1], [2, 0, 1]]", "path_m = [[0, 1.95, 1], [2, 1.95, 1]]\naim = [0, -1, 0]"
    scene = plan(on_the_wall, ('strip = "s"', 'strip = "s"\nchannel = "c"'), more=ROOM.format(depth_mm, spread_mm))
    found = check_scene(scene, eyes=False)
    assert [(f.weight, f.about) for f in only(found, "single LEDs")] == ([("caution", "run a")] if trips else [])
    assert found.dots[0]["run"] == "a"
    assert found.dots[0]["pitch_mm"] == pytest.approx(1000 / 60)


@pytest.mark.parametrize(
    ("aim", "cover", "lumen", "trips"),
    [
        ("[0, -1, 0]", None, 4, True), ("[0, 1, 0]", None, 4, False), ("[0, -1, 0]", "clear", 4, True),
        ("[0, -1, 0]", "opal", 4, False), ("[0, -1, 0]", "opal", 4000, True),
    ],
)  # fmt: skip
def test_what_dazzles_the_viewer(aim: str, cover: str | None, lumen: float, trips: bool) -> None:
    """LEDs that one looks into, and covers of 20,000 cd/m²: 20 groups of 7 lm a metre behind 12 mm are some 2000, of 4003 lm a million."""
    on_the_wall = "path_m = [[0, 0, 1], [2, 0, 1]]", f"path_m = [[0, 1.9, 1], [2, 1.9, 1]]\naim = {aim}"
    room, channel = ROOM.format(25, 5).split("[channel.c]")
    bright = "lumen = 4,", f"lumen = {lumen},"
    if cover is None:
        scene = plan(on_the_wall, bright, more=room)
    else:
        inside = ('strip = "s"', 'strip = "s"\nchannel = "c"')
        scene = plan(on_the_wall, bright, inside, more=room + "[channel.c]" + channel.replace('"opal"', f'"{cover}"'))
    found = only(check_scene(scene, eyes=False), "dazzles")
    assert [(f.weight, f.about) for f in found] == ([("caution", "run a")] if trips else [])


@pytest.mark.parametrize(("limit", "trips"), [(0.5, True), (3, False)])
def test_flashes_of_a_look(limit: float, trips: bool) -> None:
    """Each half of the run goes on and off once a second: one pair of opposing changes, one flash, by WCAG 2.2's definition."""
    swing = (
        'effect = "proof_full"\nseconds = 1',
        'effect = "proof_swing"\nseconds = 3\ndials = { each_s = 0.5, dark_s = 0 }',
    )
    wall = "path_m = [[0, 0, 1], [2, 0, 1]]", "path_m = [[0, 1.7, 0.1], [2, 1.7, 0.1]]\naim = [0, 1, 0]"
    more = ROOM.format(20, 5) + f"[limits]\nflashes_per_s = {limit}\n"
    found = check_scene(plan(swing, wall, more=more))
    assert found.flashes[0]["general_per_s"] >= 1
    assert [(f.weight, f.about) for f in only(found, "WCAG")] == ([("over", "look all on")] if trips else [])


def test_supplies_that_short_each_other_are_named() -> None:
    """Two volts apart and no resistance on the way: Kirchhoff's laws have no finite current. A third one, by itself, has no part in it."""
    ideal = "cable = { mm2 = 1.0, length_m = 0 }"
    both = SECOND + (
        f'[[feed]]\nfrom = "other"\nrun = "a"\n{ideal}\n'
        '[[run]]\nname = "c"\nstrip = "s"\npath_m = [[0, 0, 2], [1, 0, 2]]\n'
        '[supply.third]\nvolts = 12\namps = 5\n[[feed]]\nfrom = "third"\nrun = "c"\ncable = { mm2 = 1.0, length_m = 2 }\n'
    )
    both = both.replace("[supply.other]\nvolts = 12", "[supply.other]\nvolts = 14")
    scene = plan(("cable = { mm2 = 1.0, length_m = 2 }", ideal), more=both)
    supply = {name: one.model_copy(update={"output_milliohm": 0.0}) for name, one in scene.supply.items()}
    feed = tuple(one.model_copy(update={"contact_milliohm": 0.0, "fuse_milliohm": 0.0}) for one in scene.feed)
    scene = scene.model_copy(update={"supply": supply, "feed": feed})
    with pytest.raises(NetworkError, match=r": psu \(12 V\), other \(14 V\); give"):
        build(scene, lay_out(scene))


def test_a_run_inside_something_solid() -> None:
    """A board from 0.5 to 1.5 m along the run: in it for 1.0 m less what counts as let in, at either end; on its face not at all."""
    board = '[[box]]\nname = "board"\ncorner_m = [0.5, 0, {low}]\nsize_m = [1, 0.3, 0.2]\n'
    room = ("[supply.psu]", "[room]\nsize_m = [4, 3, 2.5]\n[supply.psu]")
    shifted = ("path_m = [[0, 0, 1], [2, 0, 1]]", "path_m = [[0, 0.15, 1], [2, 0.15, 1]]")
    (found,) = only(read(plan(room, shifted, more=board.format(low=0.9))), "lie inside board")
    assert (found.weight, found.about) == ("caution", "run a")
    assert float(found.says.split()[0]) == pytest.approx(1.0, abs=0.05)
    for face in (0.8, 1.0, 0.99):  # hung below it, lying on it, let into it by 10 mm
        assert not only(read(plan(room, shifted, more=board.format(low=face))), "lie inside")


def test_a_supply_that_feeds_nothing() -> None:
    (found,) = only(read(plan(more="[supply.spare]\nvolts = 12\namps = 5\n")), "feeds nothing")
    assert (found.weight, found.about) == ("note", "supply spare")
    assert not only(read(plan()), "feeds nothing")


@pytest.mark.parametrize(("fuse", "made"), [(6, "7.5 A is"), (12, "10 A is"), (0.5, "1 A is")])
def test_a_fuse_that_is_not_made_gives_way_to_the_next_larger_that_the_cable_stands(fuse: float, made: str) -> None:
    """1 mm² may carry 10 A (tests/reference/check_sources.md), so that 15 A is none for it."""
    fused = ("cable = { mm2 = 1.0, length_m = 2 }", f"fuse_a = {fuse}\ncable = {{ mm2 = 1.0, length_m = 2 }}")
    (found,) = only(read(plan(fused)), "is made")
    assert found.do == made


@pytest.mark.parametrize(("aim", "trips"), [("[0, 0, -1]", True), ("[-0.7, -0.7, 0]", False)])
def test_a_flat_strip_turns_no_corner_sideways(aim: str, trips: bool) -> None:
    """Down from two shelves it would have to; on two walls, facing the room, it bends over its flat. Cut points at 1.20 and 1.25 m."""
    path = f"path_m = [[0, 2, 1], [1.23, 2, 1], [1.23, 1, 1]]\naim = {aim}"
    found = [f for f in only(read(plan(("path_m = [[0, 0, 1], [2, 0, 1]]", path))), "run a") if "sideways" in f.says]
    assert [f.weight for f in found] == ["note"] * trips
    assert all("1.230 m (nearest cut point 20 mm past it)" in f.says for f in found)


@pytest.mark.parametrize(("look_m", "trips"), [("[1, 2, 1]", False), ("[1, -9, 1]", True)])
def test_runs_that_the_viewer_has_behind_him(look_m: str, trips: bool) -> None:
    """The run lies along y = 0 at a height of 1 m; the viewer stands at y = -3 and looks at it, or away from it."""
    viewer = f"[viewer]\neye_m = [1, -3, 1]\nlook_m = {look_m}\nfield_deg = 60\n"
    found = [f for f in read(plan(more=viewer)).findings if f.about == "viewer"]
    assert [f.weight for f in found] == ["note"] * trips
