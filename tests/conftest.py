"""What tests of several packages share: a small scene, and calling the command as a shell would, in this process."""

import signal
import sys
import time
from collections.abc import Callable

import pytest

from preview.cli import main

if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    # A shell starts what runs in its background deaf to Ctrl-C, and so would be every command that a test starts and stops.
    signal.signal(signal.SIGINT, signal.default_int_handler)

ONE_SHELF = """format = 1
title = "One shelf"
[strip.s]
volts = 12
leds_per_m = 84
leds_per_group = 3
watts_per_m = 14.4
[supply.psu]
volts = 12
amps = 5
[[run]]
name = "shelf"
strip = "s"
path_m = [[0, 0, 1], [1, 0, 1]]
[[feed]]
from = "psu"
run = "shelf"
cable = { mm2 = 1.0, length_m = 2 }
[[look]]
name = "all on"
effect = "proof_full"
seconds = 1
"""

TRIAL = '''"""A trial."""
import numpy as np
from effects import kit
MOOD = "calm"
DIALS = ()


def light(place, time_s, dials, seed):
    """What is tried."""
    return {body}
'''
"""An effect whose one line, the tenth, is `body`."""

Covecast = Callable[..., tuple[int, str, str]]


def until(true: Callable[[], object], what: str = "what was waited for", seconds: float = 60.0) -> None:
    """Wait until something holds; long, because a machine may be slow, and how long it takes is not what is tested."""
    end = time.monotonic() + seconds
    while not true():
        if time.monotonic() > end:
            raise TimeoutError(f"never: {what}")
        time.sleep(0.02)


@pytest.fixture
def covecast(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Covecast:
    """A function of the words after `covecast`, giving the exit code, standard output and standard error."""

    def call(*words: object) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["covecast", *map(str, words)])
        code = 0
        try:
            main()
        except SystemExit as end:
            code = int(end.code or 0)
        return code, *capsys.readouterr()

    return call


@pytest.fixture(scope="session")
def one_shelf() -> str:
    """The text of a small scene: one shelf, one supply, one look of one second with everything on."""
    return ONE_SHELF
