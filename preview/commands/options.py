"""What several commands share: the scene argument, reading that scene, and printing one JSON object."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from preview.scene.model import Scene

__all__ = [
    "as_json",
    "between",
    "check_png",
    "json_option",
    "load",
    "pixels_of",
    "print_json",
    "scene_argument",
    "size_in_pixels",
    "three_numbers",
]

F = TypeVar("F", bound=Callable[..., Any])


def scene_argument(function: F) -> F:
    """The argument SCENE: a file, or the name of a demo scene."""
    return click.argument("scene", metavar="SCENE")(function)


def json_option(function: F) -> F:
    """The option --json: one JSON object on standard output and nothing else there."""
    return click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of the table.")(function)


def pixels_of(text: str) -> tuple[int, int] | None:
    """Width and height as two whole numbers, of text such as 640x360; None where it is not of that kind."""
    found = re.fullmatch(r"\s*(\d{1,6})\s*[xX×]\s*(\d{1,6})\s*", text)
    return (int(found[1]), int(found[2])) if found else None


def size_in_pixels(ctx: click.Context, param: click.Parameter, value: str | None) -> tuple[int, int] | None:
    """The callback of an option WxH: width and height, None where it is left out, or a usage error."""
    size = None if value is None else pixels_of(value)
    if value is not None and size is None:
        raise click.BadParameter(f"expected width and height such as 640x360, found {value!r}", ctx, param)
    return size


def between(low: float, high: float, unit: str, *, above: bool = False) -> Callable[..., float | None]:
    """The callback of an option with a number: a usage error outside low to high, both included; with `above`, low itself is not."""

    def check(ctx: click.Context, param: click.Parameter, value: float | None) -> float | None:
        if value is not None and not (low < value <= high if above else low <= value <= high):
            wanted = f"a number above {low:g}, at most {high:g} ({unit})" if above else f"{low:g} to {high:g} {unit}"
            raise click.BadParameter(f"expected {wanted}, found {value:g}", ctx, param)
        return value

    return check


def three_numbers(text: str) -> tuple[float, float, float] | None:
    """Three finite numbers of text such as 2.4,1.7,0.75; None where it is not of that kind.

    >>> three_numbers("2.4,1.7,0.75"), three_numbers("1,nan,1"), three_numbers("1,2")
    ((2.4, 1.7, 0.75), None, None)
    """
    try:
        values = [float(part) for part in text.split(",")]
    except ValueError:
        return None
    return (values[0], values[1], values[2]) if len(values) == 3 and all(map(math.isfinite, values)) else None


def check_png(path: str | Path, key: str) -> None:
    """CovecastError, with `key` for the option, where a picture's file does not end in .png."""
    from preview.scene.faults import CovecastError

    if Path(path).suffix.lower() != ".png":
        raise CovecastError(f"{key}: expected a file ending in .png, found {str(path)!r}")


def load(scene: str) -> Scene:
    """Read the scene a command was given. What was assumed is in its `assumed`, for the command's report."""
    from preview.looks.library import effect_names, look_faults
    from preview.scene.read import find_scene, read_scene

    return read_scene(find_scene(scene), effect_names(), look_faults)


def as_json(data: dict[str, Any]) -> str:
    """JSON text, full precision, NaN refused."""
    return json.dumps(data, indent=2, allow_nan=False, ensure_ascii=False)


def print_json(data: dict[str, Any]) -> None:
    """Print one JSON object on standard output."""
    click.echo(as_json(data))
