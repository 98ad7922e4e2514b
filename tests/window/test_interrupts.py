"""Ctrl-C is kept until the window's loop comes to it: by signals that this process sends itself."""

import signal
from collections.abc import Iterator

import pytest

from preview.window.interrupts import Interrupts


@pytest.fixture(autouse=True)
def as_in_a_terminal() -> Iterator[None]:
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


def test_the_first_is_kept_until_it_is_heeded() -> None:
    with Interrupts() as interrupts:
        interrupts.heed()  # nothing came
        signal.raise_signal(signal.SIGINT)
        with pytest.raises(KeyboardInterrupt):
            interrupts.heed()
    with pytest.raises(KeyboardInterrupt):  # and as before once the window is closed
        signal.raise_signal(signal.SIGINT)


def test_the_second_does_not_wait() -> None:
    with Interrupts():
        signal.raise_signal(signal.SIGINT)
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGINT)


def test_who_is_deaf_to_it_stays_so() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with Interrupts() as interrupts:
        signal.raise_signal(signal.SIGINT)
        interrupts.heed()
        assert signal.getsignal(signal.SIGINT) is signal.SIG_IGN
