"""Which line of a scene file each key stands on, so that a fault can say where to look.

The parser of the standard library gives values without places. This scan goes over text that the parser has already
accepted, so it can be simple: it follows table headers, keys, arrays and inline tables, and steps over everything else.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

__all__ = ["Path", "line_of", "lines_of"]

Path = tuple[str | int, ...]
"""Where a value is in the tables: names, and numbers from 0 within arrays."""

_BLANK = re.compile(r"(?:[ \t\r\n]+|#[^\n]*)*")
_STRING = re.compile(
    r'"""(?:[^\\]|\\.)*?"{3,5}(?!")|' r"'''.*?'{3,5}(?!')|" r'"(?:[^"\\\n]|\\.)*"|' r"'[^'\n]*'", re.DOTALL
)
_PLAIN = re.compile(r"[^,\]}#\n]+")
_KEY = re.compile(r'[ \t]*("(?:[^"\\\n]|\\.)*"|' r"'[^'\n]*'|[A-Za-z0-9_-]+)[ \t]*")
_ESCAPE = re.compile(r"\\(u[0-9a-fA-F]{4}|U[0-9a-fA-F]{8}|.)")
_ESCAPED = {"b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r", "e": "\x1b"}


def line_of(lines: dict[Path, int], path: Sequence[str | int]) -> int | None:
    """The line of a key, or of the nearest table around it that has one."""
    for length in range(len(path), 0, -1):
        line = lines.get(tuple(path[:length]))
        if line:
            return line
    return None


def lines_of(text: str) -> dict[Path, int]:
    """Line, from 1, of every key, table and array element of valid TOML.

    >>> lines_of('a = 1\\n[[run]]\\nname = "x"\\npath = [[1, 2],\\n  [3]]')[("run", 0, "path", 1)]
    5
    """
    return _Scan(text).lines


class _Scan:
    """One pass over the text, with the place reached and the lines found so far."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.counted_to = 0
        self.line = 1
        self.lines: dict[Path, int] = {}
        self.elements: dict[Path, int] = {}
        table: Path = ()
        while self._skip():
            if text.startswith("[[", self.at):
                table = self._header("[[", "]]")
            elif text[self.at] == "[":
                table = self._header("[", "]")
            else:
                self._assignment(table)

    def _skip(self) -> bool:
        """Step over blanks, line ends and comments; whether any text is left."""
        found = _BLANK.match(self.text, self.at)
        self.at = found.end() if found else self.at
        return self.at < len(self.text)

    def _line(self) -> int:
        self.line += self.text.count("\n", self.counted_to, self.at)
        self.counted_to = self.at
        return self.line

    def _keys(self) -> list[str]:
        """A dotted key."""
        keys = []
        while found := _KEY.match(self.text, self.at):
            self.at = found.end()
            keys.append(_unquoted(found[1]))
            if not self.text.startswith(".", self.at):
                break
            self.at += 1
        return keys

    def _note(self, path: Path, line: int) -> None:
        for length in range(1, len(path) + 1):
            self.lines.setdefault(path[:length], line)

    def _header(self, opens: str, closes: str) -> Path:
        line = self._line()
        self.at += len(opens)
        keys = self._keys()
        self.at = self.text.index(closes, self.at) + len(closes)
        path: Path = ()
        for key in keys[:-1]:
            path = self._inside((*path, key))
        path = (*path, keys[-1])
        if opens == "[[":
            self.elements[path] = self.elements.get(path, -1) + 1
            self._note(path, line)
            path = self._inside(path)
        self._note(path, line)
        return path

    def _inside(self, path: Path) -> Path:
        """The path itself, or its last element where it is an array of tables."""
        return (*path, self.elements[path]) if path in self.elements else path

    def _assignment(self, table: Path) -> None:
        """`key = value`, with every place inside the value."""
        start = self.at
        path = self._key_of(table)
        open_in: list[tuple[str, Path, int]] = []  # closing bracket, path, elements so far
        while True:
            self._skip()
            self._note(path, self._line())
            here = self.text[self.at : self.at + 1]
            if here in ("[", "{"):
                self.at += 1
                open_in.append(("]" if here == "[" else "}", path, 0))
            else:
                found = _STRING.match(self.text, self.at) or _PLAIN.match(self.text, self.at)
                self.at = found.end() if found else self.at + 1
            # close what ends here, then go on to the next element, if any is open
            while open_in:
                self._skip()
                closes, around, count = open_in[-1]
                if self.text.startswith(",", self.at):
                    self.at += 1
                    self._skip()
                if not self.text.startswith(closes, self.at):
                    break
                self.at += 1
                open_in.pop()
            if not open_in:
                break
            open_in[-1] = (closes, around, count + 1)
            path = (*around, count) if closes == "]" else self._key_of(around)
        self.at = max(self.at, start + 1)

    def _key_of(self, table: Path) -> Path:
        line = self._line()
        path = (*table, *self._keys())
        self._note(path, line)
        self.at = self.text.find("=", self.at) + 1 or len(self.text)
        return path


def _unquoted(key: str) -> str:
    if key.startswith("'"):
        return key[1:-1]
    if key.startswith('"'):
        return _ESCAPE.sub(_plain_character, key[1:-1])
    return key


def _plain_character(found: re.Match[str]) -> str:
    code = found[1]
    return chr(int(code[1:], 16)) if len(code) > 1 else _ESCAPED.get(code, code)
