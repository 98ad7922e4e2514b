"""What tests of several packages share: calling the command as a shell would, in this process."""

import sys
from collections.abc import Callable

import pytest

from preview.cli import main

Covecast = Callable[..., tuple[int, str, str]]


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
