"""The pages: one for the client, one for the fitter, each a whole HTML file with its style in it.

Every word of a scene goes through the templates' escaping; only the drawings, whose words are escaped where they are made
(`preview.pack.drawing`), are put in as they are.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import jinja2

__all__ = ["page"]

_LONG_WORD = 20


def _metres(value: float, digits: int = 3) -> str:
    return f"{value:.{digits}f}"


def _listed(words: Sequence[str]) -> str:
    """Words as a person lists them: a, b and c."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _plain(text: str) -> str:
    """The class of a cell whose words are short enough never to be broken within; none for others."""
    return "plain" if max(map(len, text.split()), default=0) <= _LONG_WORD else ""


def page(template: str, about: Mapping[str, Any]) -> str:
    """A page as HTML text. `template` is a file in `preview/pack/templates`; a name it uses and `about` lacks is an error."""
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("preview.pack", "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters["m"] = _metres
    environment.filters["listed"] = _listed
    environment.filters["plain"] = _plain
    return environment.get_template(template).render(**about)
