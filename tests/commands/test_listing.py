"""What `covecast --help` lists, and what it does with a word that is no command."""

import importlib
import pkgutil
import re

import click
import pytest

import preview.commands
from preview.cli import group

MODULES = sorted(module.name for module in pkgutil.iter_modules(preview.commands.__path__))
OF_COMMANDS = [name for name in MODULES if hasattr(importlib.import_module(f"preview.commands.{name}"), "command")]
OTHERS = sorted(set(MODULES) - set(OF_COMMANDS))


@pytest.fixture
def listed(covecast) -> dict[str, str]:
    """The commands of the help, as printed: words by name."""
    code, said, told = covecast("--help")
    assert (code, told) == (0, "")
    return dict(re.findall(r"^  ([\w-]+) {2,}(.*)$", said.split("Commands:")[1], re.MULTILINE))


def test_every_module_with_a_command_is_listed_and_no_other(listed: dict[str, str]) -> None:
    assert sorted(listed) == OF_COMMANDS
    assert OTHERS  # there are modules that commands share; they are none themselves


def test_every_command_that_is_listed_has_words_and_can_be_called(listed: dict[str, str], covecast) -> None:
    for name, words in listed.items():
        assert len(words.split()) >= 2, name
        command = group.get_command(click.Context(group), name)
        assert isinstance(command, click.Command)
        code, said, told = covecast(name, "--help")
        assert (code, told) == (0, ""), name
        assert said.startswith(f"Usage: covecast {name} "), name
        assert command.help, name


@pytest.mark.parametrize("name", [*OTHERS, "none", "__init__", "os"])
def test_what_is_no_command_ends_in_one_message(name: str, covecast) -> None:
    code, said, told = covecast(name)
    assert (code, said) == (2, "")
    assert f"No such command '{name}'." in told
    assert "The commands are: new, " in told
    assert "Traceback" not in told


def test_the_nearest_command_is_named(covecast) -> None:
    assert "Did you mean meter?" in covecast("metre")[2]
