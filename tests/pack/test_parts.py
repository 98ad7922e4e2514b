"""The parts list against the plan in conftest, by hand."""

import pytest

from preview.handover.comparing import Choice, compare
from preview.pack.cuts import cut_list
from preview.pack.gauging import gauge
from preview.pack.parts import parts_list
from preview.scene.model import Scene


def counts(scene: Scene, allowance: float = 0.1) -> dict[str, float]:
    return {part.item: part.count for part in parts_list(scene, cut_list(scene), allowance).parts}


def test_by_hand(two_walls: Scene) -> None:
    found = counts(two_walls)
    starts = {item.partition(":")[0]: count for item, count in found.items()}
    assert starts["strip s"] == 2
    assert starts["channel c with its opal cover"] == 4
    assert starts["supply one"] == starts["supply two"] == 1
    assert found["fuse 5 A with its holder"] == 1
    assert found["fuse 7.5 A with its holder"] == 1
    # 2 + 4 m of 1.5 mm², a tenth more is 6.6 m, so 7 m; 3 m and a tenth are 3.5 m; 1 m and a tenth 1.5 m; 1.2 m and a tenth 1.5 m.
    assert found["two-core cable 1.5 mm²"] == 7.0
    assert found["two-core cable 2.5 mm²"] == 3.5
    assert found["two-core cable 18 AWG"] == 1.5
    assert found["single core, negative 0.75 mm²"] == 1.5
    # Data: 1.2 m beside the negative and 1.5 m from the controller, 2.97 m with a tenth.
    assert found["data lead"] == 3.0
    assert starts["terminal block, positive and negative"] == 1
    assert starts["feed to solder or plug"] == 3
    assert starts["splice within a run"] == 1
    assert starts["straight joint between two pieces of channel"] == 3


def test_money_by_hand(two_walls: Scene) -> None:
    parts = parts_list(two_walls, cut_list(two_walls))
    assert parts.cost == pytest.approx(2 * 20.0 + 4 * 9.5 + 40.0)
    assert any("supply two" in item for item in parts.unpriced)
    assert not any("supply one" in item for item in parts.unpriced)


def test_no_allowance(two_walls: Scene) -> None:
    assert counts(two_walls, 0.0)["two-core cable 1.5 mm²"] == 6.0


@pytest.mark.parametrize("name", ["tea_bar", "reading_corner", "sitting_room", "gallery_hall"])
def test_cables_add_up_to_the_scene(name: str, demo) -> None:
    scene = demo(name)
    parts = parts_list(scene, cut_list(scene)).parts
    power = sum(part.net_m for part in parts if part.item.startswith("two-core"))
    wanted = sum(feed.cable.length_m for feed in scene.feed) + sum(
        block.cable.length_m for block in scene.block.values()
    )
    wanted += sum(join.cable.length_m for join in scene.join if join.carries == "power" and join.cable)
    assert power == pytest.approx(wanted)
    assert sum(part.count for part in parts if part.item.startswith("fuse")) == sum(
        f.fuse_a is not None for f in scene.feed
    )
    assert all(part.count >= (part.net_m or 0) for part in parts if part.unit == "m")


def test_a_supply_that_feeds_nothing_is_not_bought_nor_tied(two_walls: Scene) -> None:
    spare = next(iter(two_walls.supply.values())).model_copy(update={"price": 45.0})
    more = two_walls.model_copy(update={"supply": {**two_walls.supply, "spare": spare}})
    assert counts(more) == counts(two_walls)
    assert gauge(more, 100).wiring.negatives == gauge(two_walls, 100).wiring.negatives
    assert gauge(more, 100).wiring.sources == gauge(two_walls, 100).wiring.sources
    assert [reading.place for reading in gauge(more, 100).readings] == [
        reading.place for reading in gauge(two_walls, 100).readings
    ]
    plain, idle = (compare(scene, [Choice()])[0] for scene in (two_walls, more))
    assert (idle.price, idle.unpriced) == (plain.price, plain.unpriced)


def test_corners_that_are_cut_and_linked_are_counted_once(two_walls: Scene) -> None:
    # Down both walls: one corner of the long run at 1.23 m, cut at 1.25 m; with reels of 1.25 m it is a splice, which is counted as one.
    path = ((0.0, 3.0, 1.0), (1.23, 3.0, 1.0), (1.23, 2.0, 1.0))
    run = two_walls.run[0].model_copy(update={"path_m": path, "aim": (0.0, 0.0, -1.0)})
    scene = two_walls.model_copy(update={"run": (run, two_walls.run[1]), "feed": two_walls.feed[:1], "assumed": ()})
    rows = {
        part.item: part.count for part in parts_list(scene, cut_list(scene), 0.1).parts if part.kind == "connection"
    }
    assert rows["corner within a run, cut and linked: positive, negative, data"] == 1
    strip = two_walls.strip[run.strip].model_copy(update={"reel_m": 1.25})
    short = scene.model_copy(update={"strip": {run.strip: strip}})
    rows = {
        part.item: part.count for part in parts_list(short, cut_list(short), 0.1).parts if part.kind == "connection"
    }
    assert rows["splice within a run: positive, negative, data"] == 1
    assert not any("corner" in item for item in rows)
