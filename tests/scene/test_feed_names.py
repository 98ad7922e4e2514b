"""Feeds are called by the number that a person counts in the file, and by the cut point they stand at. Expected by hand."""

from preview.scene.feed_names import feed_names, feed_number
from preview.scene.read import scene_from_text

from ..conftest import ONE_SHELF


def test_by_hand(tmp_path) -> None:
    # 84 LEDs a metre in threes: 28 groups of 35.7 mm on the metre; 0.52 m is nearest to cut point 15, 1 m is the last one.
    feed = '[[feed]]\nfrom = "psu"\nrun = "shelf"\nat_m = {}\ncable = {{ mm2 = 1, length_m = 1 }}\n'
    scene = scene_from_text(ONE_SHELF + feed.format(0.52) + feed.format(1), tmp_path / "called.toml")
    called = feed_names(scene)
    assert called == (
        "feed 1 (psu to shelf at 0 m)",
        "feed 2 (psu to shelf at 0.536 m)",
        "feed 3 (psu to shelf at 1 m)",
    )
    assert [feed_number(name) for name in called] == [0, 1, 2]
    assert feed_number("supply psu") is None
