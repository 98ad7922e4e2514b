"""What a new effect script starts from: commented, with its test, both as text."""

from __future__ import annotations

import os
import re
import tempfile
from pathlib import Path

import effects
from preview.scene.faults import CovecastError

__all__ = ["new_script"]

SCRIPT = '''"""{title}: say here, in one or two sentences, what one sees."""

from effects import kit

# What it is for: {moods}.
MOOD = "calm"

# name, unit, lowest, highest, default, what it does. A scene sets them: dials = {{ speed_m_per_s = 0.4 }}
DIALS = (
    kit.Dial("speed_m_per_s", "m/s", -2, 2, 0.25, "how fast it moves along the run"),
    kit.Dial("wide_m", "m", 0.1, 5, 0.6, "length of one swell of light"),
    kit.Dial("kelvin", "K", 1000, 15000, 2400, "colour temperature"),
    kit.Dial("loop_s", "s", 0, 600, 0, "seconds after which it repeats; 0: never"),
)


def period_s(dials):
    """Seconds after which it repeats: 0.0 if it stands still, None if it never does. A clip uses it to loop."""
    return dials["loop_s"] or None


def light(place, time_s, dials, seed):
    """Light (frames, groups, 3): red, green and blue of each group at each time, linear, 0 dark to 1 fully on.

    A pure function of what it is given: no clock, no state, no random module. `place` says where the G groups are:
        place.along_m (G,)   along the run, in metres       place.run (G,)       number of the run
        place.room_m (G, 3)  x, y, z in the room            place.course_m (G,)  along all runs, end to end
    `time_s` is (F,) in seconds; kit.columns makes it (F, 1), so that it combines with places to (F, G).
    """
    t = kit.columns(time_s)
    loop = kit.seamless(dials["loop_s"])
    # Smooth noise that travels at a speed in metres a second, and changes its shape in about 6 s.
    along = loop.travel(place.course_m, t, dials["speed_m_per_s"], dials["wide_m"])
    swell = 0.5 + 0.5 * kit.noise(seed, along, loop.clock(t, 6.0))  # (F, G), 0 to 1
    # felt() turns an even step in how bright it looks into linear light.
    amount = kit.felt(0.15 + 0.85 * swell)
    # paint() adds layers: an amount (F, G) and a colour (G, 3) each. Keep their sum within 0 and 1.
    return kit.paint((amount, kit.white(place, dials["kelvin"])))
'''

TEST = '''"""What every effect must hold: run with `pytest {file}`."""

from pathlib import Path

import numpy as np

from effects import kit
from preview.looks.flashing import flashes_of
from preview.looks.library import load_script
from preview.looks.sheet import strip_frames

EFFECT = load_script(Path(__file__).with_name("{name}.py"))
PLACE = kit.Place.straight(3.0, 0.1, runs=2)


def light(times, **dials):
    return EFFECT.light(PLACE, np.asarray(times, dtype=float), EFFECT.defaults() | dials, 0)


def test_light_is_in_range_at_the_ends_of_every_dial():
    for dial in EFFECT.dials:
        for value in (dial.low, dial.default, dial.high):
            found = light([0.0, 1.3, 20.0], **{{dial.name: value}})
            assert found.shape == (3, PLACE.groups, 3)
            assert np.isfinite(found).all()
            assert found.min() >= 0, dial.name
            assert found.max() <= 1, dial.name


def test_one_frame_alone_is_the_same_as_among_others():
    times = np.arange(20) * 0.4
    assert np.array_equal(light(times)[7], light(times[7:8])[0])


def test_it_repeats_after_its_period():
    dials = {{"loop_s": 12.0}} if "loop_s" in EFFECT.defaults() else {{}}
    period = EFFECT.period_s(EFFECT.defaults() | dials)
    if period is not None:
        np.testing.assert_allclose(light([1.0], **dials), light([1.0 + period], **dials), atol=1e-6)


def test_it_is_kind_to_the_eyes():
    """Not more than three flashes in any second, general or red (WCAG 2.2), even where the strip fills the view."""
    assert flashes_of(strip_frames(EFFECT, 20.0, 25.0), 25.0).within(3.0)
'''


def new_script(name: str, folder: Path) -> tuple[Path, Path]:
    """Write a new effect script and its test into a folder, made if need be. Nothing that is there is overwritten."""
    if not re.fullmatch(r"[a-z][a-z0-9_]{0,39}", name) or name.startswith("test_") or name == "programme":
        raise CovecastError(f"expected a name of small letters, digits and _ like slow_snow, found {name!r}")
    if name in effects.names():
        raise CovecastError(f"{name}: an effect of this name ships with covecast; choose another name")
    script, test = folder / f"{name}.py", folder / f"test_{name}.py"
    for path in (script, test):
        if path.exists():
            raise CovecastError(f"{path}: is there already; it was left as it is")
    title = name.replace("_", " ").capitalize()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        _write(script, SCRIPT.format(title=title, moods=", ".join(effects.MOODS)))
        _write(test, TEST.format(name=name, file=test.name))
    except OSError as error:
        raise CovecastError(f"{error.filename or folder}: cannot be written: {error.strerror}") from error
    return script, test


def _write(path: Path, text: str) -> None:
    """Write a whole file or nothing: under another name, then moved into place."""
    handle, temporary = tempfile.mkstemp(prefix=f".{path.stem}-", dir=path.parent)
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
        os.chmod(temporary, 0o644)
        os.replace(temporary, path)
    except BaseException:  # Ctrl-C too must leave no half-written file; it is raised again
        Path(temporary).unlink(missing_ok=True)
        raise
