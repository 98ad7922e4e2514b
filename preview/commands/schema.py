"""`covecast schema`: the scene format as a JSON Schema."""

from __future__ import annotations

import click

from preview.commands.options import print_json

__all__ = ["command"]


@click.command("schema")
def command() -> None:
    """Print the JSON Schema of the scene format, which editors use to complete and check scene files."""
    from preview.scene.schema import json_schema

    print_json(json_schema())
