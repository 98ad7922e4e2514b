"""`covecast`: the one command. Finds a subcommand's module only when it is asked for, and catches errors once.

A command lives in `preview/commands/NAME.py` as a click command called `command`. Its module imports click and
`preview.commands.options` at the top, everything heavy inside the function, so that `covecast --help` stays quick.
"""

from __future__ import annotations

import importlib
import os
import sys
import warnings

import click

from preview.scene.faults import CovecastError, nearest

__all__ = ["COMMANDS", "SAYS", "group", "main"]

SAYS = {
    "new": "start a scene: one run, one supply, and what they can do",
    "show": "the window: the room, the looks, the live meter",
    "meter": "every look over its whole length: what passes what, when, where",
    "cap": "the largest level that keeps every limit",
    "check": "every fault, limit and caution, and what to do about it",
    "feed": "where to bring power in, through which cable and fuse",
    "compare": "strips, channels and supplies side by side on one layout",
    "dots": "whether single LEDs show through a cover, and what hides them",
    "clip": "a look as GIF, MP4, WebP or PNG, for the client",
    "pack": "the folder for the client and the fitter",
    "probe": "what a multimeter would read, everywhere",
    "lux": "what a lux meter would read at a point",
    "fit": "a strip's figures from readings on the bench",
    "photo": "where the client's photo was taken from",
    "effect": "list the effects, start one of your own, try one",
    "demo": "the main job on a scene that ships",
    "schema": "the scene format as JSON Schema, for editors",
}
"""The commands in the order in which a job needs them, in a few words each."""


COMMANDS = tuple(SAYS)
"""Every command there is, in the order of the job; each has a module of its name in `preview.commands`."""


class Commands(click.Group):
    """A click group whose commands are imported when they are first used."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the job."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        """The command of that name, or None."""
        if name not in COMMANDS:
            return None
        command = importlib.import_module(f"preview.commands.{name}").command
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """A line a command, without importing it."""
        with formatter.section("Commands"):
            formatter.write_dl(list(SAYS.items()))

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """As click does, with the nearest command named when there is none of that name."""
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            near = nearest(args[0], COMMANDS)
            hint = f" Did you mean {near}?" if near else ""
            ctx.fail(f"No such command '{args[0]}'.{hint} The commands are: {', '.join(COMMANDS)}.")
        return super().resolve_command(ctx, args)


@click.group(
    cls=Commands,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110},
)
@click.version_option(package_name="covecast")
def group() -> None:
    """See a room lit by LED strips before anything is glued: its light, its amps, its drop and its cap.

    SCENE is a scene file (TOML) or the name of a demo scene: tea_bar, reading_corner, gallery_hall, sitting_room.
    """


def main() -> None:
    """Run the command line. Exit codes: 0 done; 1 done, but a limit is broken; 2 the input or the call is wrong; 130 stopped by Ctrl-C."""
    # Drawing has threads of its own; those of the linear algebra library, spinning beside them, take four times the work.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    told: set[str] = set()

    def caution(message: Warning | str, *_: object) -> None:
        if str(message) not in told:  # an effect is asked block by block, a person told once
            told.add(str(message))
            click.echo(f"covecast: caution: {message}", err=True)

    try:
        with warnings.catch_warnings():
            warnings.showwarning = caution  # type: ignore[assignment]
            group(prog_name="covecast", standalone_mode=False)
    except click.exceptions.Exit as end:
        sys.exit(end.exit_code)
    except (click.exceptions.Abort, KeyboardInterrupt):
        click.echo("Stopped. Nothing half-written was left behind.", err=True)
        sys.exit(130)
    except click.ClickException as error:
        error.show()
        sys.exit(2)
    except CovecastError as error:
        click.echo(f"covecast: {error}", err=True)
        sys.exit(2)
