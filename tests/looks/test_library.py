"""Which scripts run, what is wrong with one that cannot, and the dials of a look."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

import effects
from effects import kit
from preview.looks import library
from preview.looks.drives import LightCaution, look_light
from preview.looks.library import EffectError, effect_names, find_effect, load_script, look_faults, ready_look
from preview.scene.faults import Fault, SceneFaults
from preview.scene.model import Look, Scene

SceneWith = Callable[[str], Scene]

SCRIPT = '''"""A test light that stands still and is not very bright."""
import numpy as np
from effects import kit
MOOD = "calm"
DIALS = (kit.Dial("amount", "", 0, 1, 0.5, "how much"),)
def light(place, time_s, dials, seed):
    return np.full((len(time_s), place.groups, 3), dials["amount"])
'''


@pytest.fixture(autouse=True)
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The user's own folder, for this test alone, and nothing named on the command line."""
    folder = tmp_path / "own"
    folder.mkdir()
    monkeypatch.setattr(library, "own_folder", lambda: folder)
    monkeypatch.setattr(library, "_named", {})
    return folder


def run(ready: library.Ready, times: kit.Floats | None = None) -> kit.Floats:
    return look_light(ready, kit.Place.straight(1.0, 0.1), np.array([0.5]) if times is None else times)


def ready_from(folder: Path, text: str, **dials: float) -> library.Ready:
    (folder / "mine.py").write_text(text, encoding="utf-8")
    look = Look(name="it", effect="mine", dials=dials)
    found, wrong = library._checked(look, "look[0]")
    assert found is not None, wrong
    return found


def test_shipped_then_own_then_named(own: Path, tmp_path: Path) -> None:
    assert effect_names() == effects.names()
    (own / "mine.py").write_text(SCRIPT, encoding="utf-8")
    (own / "test_mine.py").write_text("raise RuntimeError", encoding="utf-8")
    other = tmp_path / "other.py"
    other.write_text(SCRIPT, encoding="utf-8")
    assert set(effect_names()) - set(effects.names()) == {"mine"}
    library.add_script(other)
    assert set(effect_names()) - set(effects.names()) == {"mine", "other"}
    assert find_effect("mine").file == str(own / "mine.py")
    with pytest.raises(EffectError, match="did you mean millrace"):
        find_effect("millrac")


def faults_of(scene: Scene) -> list[Fault]:
    return [fault for k, look in enumerate(scene.look) for fault in look_faults(look, f"look[{k}]")]


def test_a_script_in_the_scenes_folder_is_never_run(tmp_path: Path, scene_with: SceneWith) -> None:
    (tmp_path / "mine.py").write_text("raise RuntimeError('run')", encoding="utf-8")
    scene = scene_with('[[look]]\nname = "a"\neffect = "mine"\n[[look]]\nname = "b"\neffect = "../mine"')
    assert [fault.key for fault in faults_of(scene)] == [
        "look[0].effect",
        "look[1].effect",
    ]


def test_a_changed_script_is_read_again(own: Path) -> None:
    import os

    assert run(ready_from(own, SCRIPT)).max() == 0.5
    text = SCRIPT.replace("0, 1, 0.5", "0, 1, 0.25")
    (own / "mine.py").write_text(text, encoding="utf-8")
    os.utime(own / "mine.py", ns=(1, 1))
    assert run(ready_from(own, text)).max() == 0.25


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("def light(:\n", r"mine\.py:1: not Python"),
        ("import numpy\nx = 1 / 0\n", r"mine\.py:2: ZeroDivisionError"),
        ("import no_such_module_at_all\n", r"mine\.py:1: ModuleNotFoundError"),
        ("x = 1\n", r"(?s)not an effect yet:.*docstring.*MOOD.*light.*DIALS"),
        (SCRIPT.replace('"calm"', '"calming"'), "MOOD: expected one of calm"),
        (SCRIPT.replace("0, 1, 0.5", "0, 1, 5"), "DIALS amount: expected a default within 0 to 1, found 5"),
        (SCRIPT.replace('"amount", ""', '"seed", ""'), "DIALS seed: expected a name used once"),
        (SCRIPT + "\nperiod_s = 3\n", "period_s: expected a function"),
    ],
)
def test_a_script_that_does_not_load_says_where(own: Path, text: str, says: str) -> None:
    (own / "mine.py").write_text(text, encoding="utf-8")
    with pytest.raises(EffectError, match=says):
        find_effect("mine")


def test_a_script_that_is_not_text_or_not_there(tmp_path: Path) -> None:
    (tmp_path / "bytes.py").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(EffectError, match=r"bytes\.py: expected UTF-8 text, found byte 0xff"):
        load_script(tmp_path / "bytes.py")
    with pytest.raises(EffectError, match=r"gone\.py: cannot be read"):
        load_script(tmp_path / "gone.py")
    (tmp_path / "Not-A-Name.py").write_text(SCRIPT, encoding="utf-8")
    with pytest.raises(EffectError, match="small letters"):
        load_script(tmp_path / "Not-A-Name.py")


@pytest.mark.parametrize(
    ("body", "says"),
    [
        (
            "    return np.zeros((len(time_s), place.groups))",
            r"gave float64 \(1, 10\), expected numbers of shape \(1, 10, 3\)",
        ),
        ("    return [1, 2, 3]", "gave list, expected numbers"),
        ("    return np.full((len(time_s), place.groups, 3), 'x')", "gave <U1"),
        (
            "    a = np.zeros((len(time_s), place.groups, 3)); a[0, 4, 1] = np.nan; return a",
            r"gave nan for green at 0\.5 s, run number 0, 0\.450 m",
        ),
        ("    a = np.zeros((len(time_s), place.groups, 3)); a[0, 4, 2] = np.inf; return a", "gave inf for blue"),
        ("    return dials['amuont']", r"mine\.py:7: in look 'it' at 0\.5 s: KeyError: 'amuont'"),
        (
            "    def deeper():\n        return 1 / 0\n    return deeper()",
            r"mine\.py:8: in look 'it' at 0\.5 s: ZeroDivisionError",
        ),
        ("    return np.zeros(3)[7]", r"mine\.py:7: .*IndexError"),
    ],
)
def test_a_script_that_goes_wrong_names_file_line_look_and_time(own: Path, body: str, says: str) -> None:
    head = SCRIPT[: SCRIPT.index("    return")]
    with pytest.raises(EffectError, match=says) as caught:
        run(ready_from(own, head + body + "\n"))
    assert str(own / "mine.py") in str(caught.value)


def test_light_out_of_range_is_held_with_a_caution(own: Path) -> None:
    ready = ready_from(own, SCRIPT.replace('dials["amount"])', "1.7) - 2.0 * (time_s[:, None, None] > 1)"))
    with pytest.warns(LightCaution, match=r"light\(\) gave -0\.3 to 1\.7, expected 0 to 1") as caught:
        light = run(ready, np.array([0.5, 1.5]))
    assert caught[0].filename == str(own / "mine.py")
    assert caught[0].lineno == 6
    assert light[0].min() == 1.0
    assert light[1].max() == 0.0


def test_dials_are_checked_all_at_once(scene_with: SceneWith) -> None:
    scene = scene_with(
        """
[[look]]
name = "a"
effect = "millrace"
dials = { sped_m_per_s = 1, ripple_m = 99, foam = "much", deep = true, loop_s = 10, seed = 1.5 }
[[look]]
name = "b"
effect = "kilm"
[[look]]
name = "c"
effect = "kiln"
dials = { seed = 7, ember_m = 0.2 }
""",
    )
    faults = {fault.key: fault for fault in faults_of(scene)}
    assert set(faults) == {
        "look[0].dials.sped_m_per_s",
        "look[0].dials.ripple_m",
        "look[0].dials.foam",
        "look[0].dials.deep",
        "look[0].dials.seed",
        "look[1].effect",
    }
    assert faults["look[0].dials.sped_m_per_s"].nearest == "speed_m_per_s"
    assert faults["look[0].dials.ripple_m"].expected == "a number, 0.1 to 3 m"
    assert faults["look[0].dials.ripple_m"].found == "99"
    assert faults["look[0].dials.deep"].found == "true"
    assert faults["look[1].effect"].nearest == "kiln"
    with pytest.raises(SceneFaults, match="5 faults"):
        ready_look(scene, scene.look[0])
    ready = ready_look(scene, scene.look[2])
    assert ready.seed == 7
    assert ready.dials["ember_m"] == 0.2
    assert "seed" not in ready.dials


def test_own_folder_is_under_the_users_data(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.undo()
    assert library.own_folder().parts[-2:] == ("covecast", "effects")
