"""Light kept on disk: whole or not at all, by many at once, within bounds."""

import os
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from preview.light import cache


@pytest.fixture(autouse=True)
def place(tmp_path, monkeypatch) -> Path:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    return cache.folder()


def some(seed: int = 1, size: int = 20_000) -> dict[str, np.ndarray]:
    rng = np.random.default_rng(seed)
    return {"light": rng.random(size).astype(np.float32), "shape": np.array([[1, 2, 3]])}


def same(one: dict[str, np.ndarray], other: dict[str, np.ndarray] | None) -> bool:
    return other is not None and one.keys() == other.keys() and all((one[key] == other[key]).all() for key in one)


def test_what_was_kept_comes_back() -> None:
    assert cache.load("k") is None
    cache.save("k", some())
    assert same(some(), cache.load("k"))


def test_the_key_follows_every_value() -> None:
    keys = [
        cache.key_of(values)
        for values in (
            [np.arange(3.0), 1],
            [np.arange(3.0), 2],
            [np.arange(3), 1],
            [np.arange(4.0), 1],
            [np.arange(3.0)[:, None], 1],
            [np.array([0.0, 1.0, np.nextafter(2.0, 3)]), 1],
        )
    ]
    assert len(set(keys)) == len(keys)
    assert cache.key_of([np.arange(3.0), 1]) == keys[0]


@pytest.mark.parametrize("spoil", ["emptied", "cut", "text", "other"])
def test_a_damaged_file_is_discarded(place, spoil) -> None:
    cache.save("k", some())
    (file,) = place.glob("*.npz")
    whole = file.read_bytes()
    if spoil == "other":
        file.unlink()
        file.mkdir()  # a folder in the file's place cannot be read, and does no harm
    else:
        file.write_bytes({"emptied": b"", "cut": whole[: len(whole) // 2], "text": b"no light here" * 99}[spoil])
    assert cache.load("k") is None
    if spoil != "other":
        assert not file.exists()
        cache.save("k", some())
        assert same(some(), cache.load("k"))


def test_bytes_flipped_at_random_never_give_other_light(place) -> None:
    cache.save("k", some(size=300))
    (file,) = place.glob("*.npz")
    whole = file.read_bytes()
    rng = np.random.default_rng(12)
    refused = 0
    for _ in range(250):
        spoilt = bytearray(whole)
        for at in rng.integers(0, len(whole), rng.integers(1, 4)):
            spoilt[at] ^= 1 << int(rng.integers(8))
        file.write_bytes(spoilt)
        found = cache.load("k")
        refused += found is None
        # Flags and dates of the container carry nothing; whatever is taken has the numbers that were kept.
        assert found is None or all((found[key] == some(size=300)[key]).all() for key in found if key in some())
    assert refused > 150


def test_all_together_stay_within_bounds(place, monkeypatch) -> None:
    monkeypatch.setattr(cache, "MOST_BYTES", 400_000)
    for k in range(9):
        cache.save(f"k{k}", some(k))  # 80 kB each
        os.utime(place / f"k{k}.npz", (1e9 + k, 1e9 + k))
    assert sum(file.stat().st_size for file in place.glob("*.npz")) <= 400_000
    assert cache.load("k0") is None
    assert same(some(8), cache.load("k8"))


def test_what_was_used_last_stays(place, monkeypatch) -> None:
    monkeypatch.setattr(cache, "MOST_BYTES", 250_000)
    for k in range(3):
        cache.save(f"k{k}", some(k))
        os.utime(place / f"k{k}.npz", (1e9 + k, 1e9 + k))
    assert cache.load("k0") is not None  # the oldest, and now the last used
    cache.save("k3", some(3))
    assert same(some(0), cache.load("k0"))
    assert cache.load("k1") is None


def test_leftovers_of_a_killed_program_go(place) -> None:
    cache.save("k", some())
    old, new = place / ".old.part", place / ".new.part"
    old.write_bytes(b"x" * 1000)
    new.write_bytes(b"x" * 1000)
    os.utime(old, (time.time() - 86_400,) * 2)
    cache.save("j", some())
    assert not old.exists()
    assert new.exists()  # another program may be writing it


def test_where_nothing_can_be_written_nothing_is_kept(tmp_path, monkeypatch) -> None:
    (tmp_path / "a file").write_text("")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "a file"))
    cache.save("k", some())
    assert cache.load("k") is None


WORKER = """
import sys
import numpy as np
from preview.light import cache
cache.MOST_BYTES = 1_000_000
for turn in range(40):
    key = f"k{turn % 4}"
    found = cache.load(key)
    if found is not None:
        value = found["light"]
        assert value.shape == (60_000,) and (value == value[0]).all(), "half of one and half of another"
    cache.save(key, {"light": np.full(60_000, float(sys.argv[1]) + turn, np.float32)})
"""


def test_two_programs_at_once(place) -> None:
    """Both write and read the same names, and throw one another's out: whatever is read is whole."""
    both = [subprocess.Popen([sys.executable, "-c", WORKER, str(1000 * k)], stderr=subprocess.PIPE) for k in (1, 2)]
    for program in both:
        _, error = program.communicate(timeout=120)
        assert (program.returncode, error) == (0, b"")
    assert not list(place.glob(".*.part"))


def test_a_room_is_worked_out_once_and_again_when_something_moves(make_scene, place) -> None:
    from preview.light.picture import Renderer

    def draw(x: float) -> np.ndarray:
        scene, layout = make_scene([([[x, 1.9, 1.5], [2.0, 1.9, 1.5]], (0, -1, 0), None)], leds=60, group=6)
        return Renderer(scene, layout, (64, 36)).luminance(np.ones((layout.groups, 3)))

    first = draw(1.0)
    (file,) = place.glob("*.npz")
    assert draw(1.0) == pytest.approx(first)
    assert list(place.glob("*.npz")) == [file]
    moved = draw(0.9)
    assert len(list(place.glob("*.npz"))) == 2
    assert not np.allclose(moved, first, rtol=1e-3)
    # A file that is a good archive and holds something else is worked out anew as well.
    for kept in place.glob("*.npz"):
        np.savez(kept, coarse=np.zeros(3))
    assert draw(1.0) == pytest.approx(first)
