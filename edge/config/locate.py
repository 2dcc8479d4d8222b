"""Where each key of a TOML text stands. The standard library's reader gives no lines; a person with a wrong file needs them.

This is a locator, not a reader: it is only shown text that `tomllib` has read without complaint, so it looks for the ends of
things and judges nothing. A path is a tuple of names and, in arrays, indexes: ("point", 2, "register", "unit").
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

Path = tuple[str | int, ...]

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_SPACE = re.compile(r"[ \t]*")
_REST = re.compile(r"[^,\]}#\n]*")
_STRINGS = (
    re.compile(r'"""(?:\\.|[^\\])*?"{3,5}', re.DOTALL),
    re.compile(r"'''.*?'{3,5}", re.DOTALL),
    re.compile(r'"(?:\\.|[^"\\\n])*"'),
    re.compile(r"'[^'\n]*'"),
)


class Locator:
    """Lines of keys, headers and array items.

    >>> Locator('[a]\\nb = 1\\n[[c]]\\nd = [\\n "x",\\n "y"]\\n').line(("c", 0, "d", 1))
    6
    """

    def __init__(self, text: str) -> None:
        self._text, self._at, self._line = text.replace("\r\n", "\n"), 0, 1
        self._lines: dict[Path, int] = {}
        self._counts: dict[Path, int] = {}  # arrays of tables: how many so far
        self._read()

    def line(self, path: Path) -> int:
        """The line of the path, or of the nearest table around it that stands in the file (1 where none does)."""
        for length in range(len(path), 0, -1):
            found = self._lines.get(path[:length])
            if found is not None:
                return found
        return 1

    def text_of_line(self, path: Path) -> str:
        """That line as it stands in the text."""
        return self._text.split("\n")[self.line(path) - 1]

    def add(self, written: Path, path: Path) -> None:
        """From now on another path, and what is below it, stands where one of the text does."""
        below = {old: line for old, line in self._lines.items() if old[: len(written)] == written}
        self._lines |= {(*path, *old[len(written) :]): line for old, line in below.items()}

    def _read(self) -> None:
        table: Path = ()
        while True:
            self._skip(newlines=True)
            if self._at >= len(self._text):
                return
            if self._text.startswith("[[", self._at):
                table = self._header(2)
            elif self._text[self._at] == "[":
                table = self._header(1)
            else:
                self._pair(table)

    def _header(self, brackets: int) -> Path:
        line = self._line
        self._at += brackets
        names = self._key()
        self._skip()
        self._at += brackets
        path: Path = ()
        for name in names[:-1]:
            self._lines.setdefault((*path, name), line)
            path = self._inside((*path, name))
        path = (*path, names[-1])
        if brackets == 2:
            self._lines.setdefault(path, line)
            index = self._counts.get(path, 0)
            self._counts[path] = index + 1
            path = (*path, index)
        self._lines[path] = line
        return path

    def _inside(self, path: Path) -> Path:
        """A header's step through an array of tables means its newest item."""
        return (*path, self._counts[path] - 1) if path in self._counts else path

    def _key(self) -> list[str]:
        names = []
        while True:
            self._skip()
            names.append(self._name())
            self._skip()
            if self._at >= len(self._text) or self._text[self._at] != ".":
                return names
            self._at += 1

    def _name(self) -> str:
        bare = _BARE.match(self._text, self._at)
        if bare:
            self._at = bare.end()
            return bare.group()
        start = self._at
        self._string()
        return _unquoted(self._text[start : self._at])

    def _pair(self, table: Path) -> None:
        line = self._line
        path = table
        for name in self._key():
            path = (*path, name)
            self._lines.setdefault(path, line)
        self._skip()
        self._at += 1  # the equals sign
        self._skip()
        self._value(path)

    def _value(self, path: Path) -> None:
        first = self._text[self._at : self._at + 1]
        if first == "[":
            self._array(path)
        elif first == "{":
            self._inline(path)
        elif first in ('"', "'"):
            self._string()
        else:
            rest = _REST.match(self._text, self._at)
            self._at = rest.end() if rest and rest.end() > self._at else self._at + 1

    def _array(self, path: Path) -> None:
        self._at += 1
        index = 0
        while True:
            self._skip(newlines=True)
            if self._closes("]"):
                return
            self._lines[(*path, index)] = self._line
            self._value((*path, index))
            index += 1
            self._skip(newlines=True)
            if self._text.startswith(",", self._at):
                self._at += 1

    def _inline(self, path: Path) -> None:
        self._at += 1
        while True:
            self._skip(newlines=True)
            if self._closes("}"):
                return
            self._pair(path)
            self._skip(newlines=True)
            if self._text.startswith(",", self._at):
                self._at += 1

    def _closes(self, bracket: str) -> bool:
        if self._at >= len(self._text):
            return True
        if self._text[self._at] != bracket:
            return False
        self._at += 1
        return True

    def _string(self) -> None:
        for pattern in _STRINGS:
            match = pattern.match(self._text, self._at)
            if match:
                self._line += match.group().count("\n")
                self._at = match.end()
                return
        self._at += 1  # can't be in a text that was read; step on rather than stand still

    def _skip(self, *, newlines: bool = False) -> None:
        """Blanks and, where a value may go on, line ends and comments."""
        while True:
            blank = _SPACE.match(self._text, self._at)
            self._at = blank.end() if blank else self._at
            following = self._text[self._at : self._at + 1]
            if newlines and following == "\n":
                self._line += 1
                self._at += 1
            elif newlines and following == "#":
                end = self._text.find("\n", self._at)
                self._at = len(self._text) if end < 0 else end
            else:
                return


def _unquoted(quoted: str) -> str:
    """A quoted key's name."""
    import tomllib

    document: Mapping[str, Any] = tomllib.loads(f"{quoted} = 0")
    return next(iter(document), quoted)
