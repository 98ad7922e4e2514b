"""The readings: the probe's own figures, and tolerances that follow from what they are said to come from."""

import json
import math
from dataclasses import replace

import pytest

from preview.pack.gauging import SPREAD, gauge
from preview.scene.model import Scene


@pytest.mark.parametrize(("name", "code"), [("tea_bar", 230), ("reading_corner", 246), ("gallery_hall", 132)])
def test_every_figure_is_the_probes(name: str, code: int, demo, covecast) -> None:
    found = gauge(demo(name), code)
    assert len({one.drive for one in found.readings}) == 5
    for drive in found.drives:
        status, printed, _ = covecast("probe", name, "--drive", drive.words, "--json")
        assert status == 0
        told = json.loads(printed)
        for one in found.readings:
            if one.drive == drive:
                value = told
                for key in one.probe:
                    value = value[key]
                assert one.expected == value  # to the last digit


def test_current_by_the_label(two_walls: Scene) -> None:
    # 12 W a metre at 12 V is 1 A a metre with every colour full, so 50 mA a group of 50 mm, idle included; currents hold above full_v.
    # Run "short" has 20 groups on a supply of its own, and its feed is its only positive.
    found = gauge(two_walls, 255)
    place = "supply two, in its positive"
    row = next(one for one in found.readings if one.drive.name == "every colour" and one.place == place)
    assert row.expected == pytest.approx(1.0, rel=1e-6)
    # Of what the tolerance comes from only the strip and the clamp move it: 10 % of 1 A, and 2 % and 0.03 A.
    assert row.tolerance == pytest.approx(math.hypot(0.10, 0.05), rel=1e-3)


def test_tolerance_of_volts_by_hand(two_walls: Scene) -> None:
    # With no current anywhere a supply's terminals have its own volts: 1 % of 12 V, and a meter's 0.5 % and 0.02 V.
    idle = {name: strip.model_copy(update={"idle_milliamp_per_group": 0.0}) for name, strip in two_walls.strip.items()}
    found = gauge(two_walls.model_copy(update={"strip": idle}), 0)
    assert [drive.name for drive in found.drives] == ["dark"]
    for one in found.readings:
        if one.unit == "V":
            assert one.expected == pytest.approx(12.0, abs=1e-6)
            assert one.tolerance == pytest.approx(math.hypot(0.12, 0.08), rel=1e-4)


def test_wider_causes_make_wider_tolerances(two_walls: Scene) -> None:
    base = gauge(two_walls, 255).readings
    for wider in (replace(SPREAD, supply=0.02), replace(SPREAD, strip=0.2), replace(SPREAD, conductor_k=40.0)):
        other = gauge(two_walls, 255, wider).readings
        assert all(b.tolerance >= a.tolerance - 1e-12 for a, b in zip(base, other, strict=True))
        assert any(b.tolerance > a.tolerance * 1.001 for a, b in zip(base, other, strict=True))


def test_places(two_walls: Scene) -> None:
    found = gauge(two_walls, 100)
    full = [one for one in found.readings if one.drive.name == "every colour"]
    # Two supplies, a block and three feeds have volts and amps, two runs volts at both ends.
    assert len(full) == 2 * (2 + 1 + 3) + 2 * 2
    assert any("feed 2 (b to long at 4 m)" in one.place for one in full)
    feed = found.wiring.feeds[1]
    assert (feed.at_m, feed.moved, feed.falls) == (pytest.approx(4.0), True, "between groups 79 and 80")
    assert found.wiring.feeds[2].falls == "far end, after group 19"
    assert found.wiring.positives == (("supply one", "block b", "run long"), ("supply two", "run short"))
    assert found.wiring.negatives == (("supply one", "supply two", "block b", "run long", "run short"),)
    assert [line.runs for line in found.wiring.lines] == [("long", "short")]
