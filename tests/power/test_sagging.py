"""Groups that sag, settled alone: the same answer as Newton's method over all places, which ngspice and the dense solutions vouch for."""

import numpy as np
import pytest

from preview.power import sagging
from preview.power import solve as solving
from preview.power.network import Network, build
from preview.power.solve import solve
from preview.scene.layout import lay_out
from preview.scene.model import Scene


def network(groups: int, rail: float, feeds: int) -> Network:
    """A run of a 12 V strip with knees at 7 to 9.6 V, fed at even distances."""
    strip = {
        "volts": 12, "leds_per_m": 60, "leds_per_group": 3, "rail_milliohm_per_m": (rail, rail), "idle_milliamp_per_group": 0.8,
        "red": {"milliamp": 12, "dark_v": 5.4, "full_v": 7.0, "lumen": 2, "xy": (0.69, 0.308)},
        "green": {"milliamp": 12, "dark_v": 8.1, "full_v": 9.4, "lumen": 2, "xy": (0.17, 0.72)},
        "blue": {"milliamp": 12, "dark_v": 8.1, "full_v": 9.6, "lumen": 2, "xy": (0.135, 0.055)},
    }  # fmt: skip
    length = groups * 3 / 60
    scene = Scene.model_validate({
        "format": 1, "title": "invented", "room": {"size_m": (99, 9, 9)}, "viewer": {"eye_m": (0, 0, 0), "look_m": (1, 1, 1)},
        "strip": {"s": strip}, "supply": {"u": {"volts": 12.0, "amps": 99.0, "output_milliohm": 20}},
        "run": [{"name": "r", "strip": "s", "path_m": [(0, 0, 0), (length, 0, 0)]}],
        "feed": [
            {"from": "u", "run": "r", "at_m": (k + 0.5) / feeds * length, "cable": {"mm2": 1.5, "length_m": 3}} for k in range(feeds)
        ],
    })  # fmt: skip
    return build(scene, lay_out(scene))


def passing(groups: int, frames: int) -> np.ndarray:
    """A bright stretch that travels along the run, (F, G, 3), so that what sags moves."""
    along, time = np.arange(groups)[None, :, None], np.arange(frames)[:, None, None]
    codes = 255 * np.exp(-(((along - 4.0 * time) / 40) ** 2)) * np.array([1, 0.8, 0.6])
    return np.floor(codes + 0.5).astype(np.uint8)


def newton_alone(net: Network, codes: np.ndarray) -> np.ndarray:
    """Volts by Newton's method over all places, from a guess of its own."""
    current = solving._currents(net, codes)
    return solving._newton(net, current, np.full(current.shape[1:], 11.0))


@pytest.mark.parametrize(("rail", "feeds"), [(3000.0, 1), (4500.0, 2), (6000.0, 4)])
def test_the_same_as_newton_over_all_places(rail: float, feeds: int) -> None:
    net, codes = network(150, rail, feeds), passing(150, 40)
    volts = newton_alone(net, codes)
    assert volts.min() < 9.4  # else nothing sags, and nothing is tested
    np.testing.assert_allclose(solve(net, codes).group_v, volts, rtol=0, atol=1e-7)


def test_only_what_sags_is_stepped(monkeypatch: pytest.MonkeyPatch) -> None:
    net, codes = network(150, 6000.0, 4), passing(150, 40)
    stepped: list[int] = []
    inner = sagging._Groups.answers

    def answers(self: sagging._Groups, spare: np.ndarray, slope: np.ndarray) -> np.ndarray:
        stepped.append(len(spare))
        return inner(self, spare, slope)

    monkeypatch.setattr(sagging._Groups, "answers", answers)
    monkeypatch.setattr(solving, "_newton", None)  # nor is any frame solved twice
    below = (solve(net, codes).group_v < 9.6).sum()
    assert 0 < below < codes[..., 0].size / 4
    assert sum(stepped) < codes[..., 0].size  # all steps of all groups together: less than one step of every group


def test_what_is_left_unsettled_is_caught_and_solved_again(monkeypatch: pytest.MonkeyPatch) -> None:
    net, codes = network(150, 6000.0, 2), passing(150, 20)
    volts = newton_alone(net, codes)
    monkeypatch.setattr(sagging, "MOST_ROUNDS", 1)
    again: list[int] = []
    inner = solving._newton

    def newton(*arguments: object) -> np.ndarray:
        again.append(1)
        return inner(*arguments)

    monkeypatch.setattr(solving, "_newton", newton)
    np.testing.assert_allclose(solve(net, codes).group_v, volts, rtol=0, atol=1e-7)
    assert again
