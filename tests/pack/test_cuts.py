"""What is cut: whole groups, splices at feeds, joints of channel between groups. Expected by hand from the plan in conftest."""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from preview.pack.cuts import Sold, cut_list, splices
from preview.scene.model import Scene


def test_strip_by_hand(two_walls: Scene) -> None:
    # 60 LEDs a metre in threes: 50 mm a group. 7.03 m are 140 groups and 30 mm dark; a reel holds 100 groups, so the run takes two
    # pieces; the feed asked for at 4.02 m stands at cut point 80.
    long, short = cut_list(two_walls).strips
    assert (long.groups, short.groups) == (140, 20)
    assert long.length_m == pytest.approx(7.0)
    assert 1000 * long.dark_m == pytest.approx(30.0)
    assert [piece.groups for piece in long.pieces] == [(0, 79), (80, 139)]
    assert "feed 2" in long.pieces[1].note
    # 80 + 20 groups fill one reel, 60 lie on another.
    strip = cut_list(two_walls).materials[0]
    assert (strip.sold, strip.proven) == (2, True)
    assert sorted(len(strip.of_length(number)) for number in (1, 2)) == [1, 2]
    assert strip.net_m == pytest.approx(8.0)


def test_channel_by_hand(two_walls: Scene) -> None:
    # 7.03 m from bars of 2 m: joints at 2, 4 and 6 m, each between groups of 50 mm, and a rest of 1.03 m.
    channel = cut_list(two_walls).materials[1]
    assert [round(piece.length_m, 4) for piece in channel.pieces] == [2.0, 2.0, 2.0, 1.03]
    assert channel.sold == 4
    assert all("between groups" in piece.note for piece in channel.pieces[1:])
    assert channel.left_m(channel.pieces[3].sold) == pytest.approx(2.0 - 1.03 - 0.003)


def test_joints_move_to_a_group_where_that_costs_nothing(two_walls: Scene) -> None:
    # Bars of 1.98 m: joints after whole bars would lie at 1.98, 3.96 and 5.94 m, within groups of 50 mm; one bar has 0.89 m to spare.
    channel = two_walls.channel["c"].model_copy(update={"stock_m": 1.98})
    pieces = cut_list(two_walls.model_copy(update={"channel": {"c": channel}})).materials[1].pieces
    starts = [piece.start_m for piece in pieces]
    assert starts == pytest.approx([0.0, 1.95, 3.9, 5.85])


def test_joints_stay_where_moving_them_would_take_a_bar_more(two_walls: Scene) -> None:
    # 3.96 m from bars of 1.98 m is two whole bars, and only two whole bars.
    channel = two_walls.channel["c"].model_copy(update={"stock_m": 1.98})
    run = two_walls.run[0].model_copy(update={"path_m": ((0.0, 3.0, 1.0), (3.96, 3.0, 1.0))})
    plan = two_walls.model_copy(
        update={"channel": {"c": channel}, "run": (run, two_walls.run[1]), "feed": two_walls.feed[:1]}
    )
    found = cut_list(plan).materials[1]
    assert [piece.length_m for piece in found.pieces] == pytest.approx([1.98, 1.98])
    assert found.sold == 2
    assert "within group 39" in found.pieces[1].note


def test_corners_part_the_channel_and_straight_points_do_not(two_walls: Scene) -> None:
    path = ((0.0, 0.0, 1.0), (0.5, 0.0, 1.0), (1.5, 0.0, 1.0), (1.5, 0.0, 1.0), (1.5, 0.7, 1.0))
    run = two_walls.run[0].model_copy(update={"path_m": path})
    plan = two_walls.model_copy(update={"run": (run, two_walls.run[1]), "feed": two_walls.feed[:1]})
    pieces = cut_list(plan).materials[1].pieces
    assert [(piece.start_m, piece.length_m) for piece in pieces] == [
        pytest.approx((0.0, 1.5)),
        pytest.approx((1.5, 0.7)),
    ]
    assert [piece.note for piece in pieces] == ["leg 1 of 2", "leg 2 of 2"]


def test_nobody_cuts_a_millimetre(two_walls: Scene) -> None:
    run = two_walls.run[0].model_copy(update={"path_m": ((0.0, 3.0, 1.0), (4.0009, 3.0, 1.0))})
    plan = two_walls.model_copy(update={"run": (run, two_walls.run[1]), "feed": two_walls.feed[:1]})
    assert [piece.length_m for piece in cut_list(plan).materials[1].pieces] == pytest.approx([2.0, 2.0])


def best_splices(groups: int, usable: int, fed: list[int]) -> tuple[int, int]:
    """Fewest pieces, and most splices at feeds with so few, by trying every set of cut points."""
    for count in range(groups):
        every = [
            (0, *places, groups)
            for places in itertools.combinations(range(1, groups), count)
            if all(b - a <= usable for a, b in itertools.pairwise((0, *places, groups)))
        ]
        if every:
            return count, max(sum(place in fed for place in places[1:-1]) for places in every)
    raise AssertionError


@settings(max_examples=200, deadline=None)
@given(st.integers(1, 14), st.integers(3, 8), st.sets(st.integers(0, 14), max_size=4))
def test_splices_against_brute_force(groups: int, usable: int, fed: set[int]) -> None:
    held = sorted(place for place in fed if place <= groups)
    found = splices(groups, usable, held)
    ends = [0, *found, groups]
    assert all(0 < b - a <= usable for a, b in itertools.pairwise(ends))
    assert (len(found), sum(place in held for place in found)) == best_splices(groups, usable, held)


def test_what_stands_in_is_said(demo) -> None:
    scene = demo("reading_corner")  # gives neither its reel nor its channel's length
    assert "reel_m" in " ".join(scene.assumed)
    plain = cut_list(scene)
    assert [material.sold_m for material in plain.materials] == [5.0, 2.0]
    assert len([words for words in plain.assumed if "no source" in words]) == 3
    other = cut_list(scene, Sold(reel_m=2.5, stock_m=1.0, kerf_mm=2.0))
    assert [material.sold_m for material in other.materials] == [2.5, 1.0]


def test_what_the_scene_gives_stands(two_walls: Scene) -> None:
    found = cut_list(two_walls, Sold(reel_m=2.5, stock_m=1.0))
    assert [material.sold_m for material in found.materials] == [5.0, 2.0]


@pytest.mark.parametrize("name", ["tea_bar", "reading_corner", "sitting_room", "gallery_hall"])
def test_pieces_cover_every_run_once(name: str, demo) -> None:
    scene = demo(name)
    found = cut_list(scene)
    for strip in found.strips:
        ends = [piece.groups for piece in strip.pieces]
        assert [k for first, last in ends for k in range(first, last + 1)] == list(range(strip.groups))
        assert sum(piece.length_m for piece in strip.pieces) == pytest.approx(strip.length_m)
        assert 0 <= strip.dark_m < strip.cut_m + 1e-6
    for material in found.materials:
        assert len({piece.mark for piece in material.pieces}) == len(material.pieces)
        for number in range(1, material.sold + 1):
            here = material.of_length(number)
            assert here
            used = sum(piece.length_m for piece in here) + material.kerf_m * (len(here) - 1)
            assert used <= material.sold_m + 1e-6


def test_a_piece_that_turns_sideways_says_where_it_is_cut_and_linked(two_walls: Scene) -> None:
    # Groups of 50 mm: of the cut points at 1.20 and 1.25 m the second is nearer to the corner at 1.23 m.
    path = ((0.0, 3.0, 1.0), (1.23, 3.0, 1.0), (1.23, 1.0, 1.0))
    run = two_walls.run[0].model_copy(update={"path_m": path, "aim": (0.0, 0.0, -1.0)})
    plan = two_walls.model_copy(update={"run": (run, two_walls.run[1]), "feed": two_walls.feed[:1]})
    (piece,) = cut_list(plan).strips[0].pieces
    assert piece.note == "cut at 1.250 m for the corner and linked with wires"


def test_a_splice_at_a_corner_says_so(two_walls: Scene) -> None:
    # A reel of 1.25 m: 25 groups, to the cut point nearest to the corner.
    path = ((0.0, 3.0, 1.0), (1.23, 3.0, 1.0), (1.23, 2.0, 1.0))
    run = two_walls.run[0].model_copy(update={"path_m": path, "aim": (0.0, 0.0, -1.0)})
    strip = two_walls.strip[run.strip].model_copy(update={"reel_m": 1.25})
    update = {"run": (run, two_walls.run[1]), "feed": two_walls.feed[:1], "strip": {run.strip: strip}, "assumed": ()}
    _, second = cut_list(two_walls.model_copy(update=update)).strips[0].pieces
    assert second.groups == (25, 43)
    assert "spliced to the piece before it at 1.250 m" in second.note
    assert second.note.endswith("; for the corner there linked with wires")
