"""TOML whose form is wrong: read all the same as far as it goes, so that one missing quote hides no other mistake.

The line of a slip is set aside and the rest read again. Where a slip can't be told apart from what follows it (a list or a text
that is never closed), the reading ends there.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from typing import Any, Final, NamedTuple

_MOST_SLIPS: Final = 20
_SET_ASIDE: Final = "set aside, line "
_FORM: Final = 'lines such as key = "value", and tables such as [supply]'
_CORRECT: Final = "Correct this line"
_THEN: Final = "Correct this; the rest of the file is looked at after that"


#: no key of a station file has more than five parts; reading takes time that grows with the square of their number
_MOST_PARTS: Final = 30
#: names joined by dots, more than that of them: a key, as no text is likely to have so many without a space
_LONG_KEY: Final = re.compile(
    r"""(?<![\w-])(?:(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+){%d,}+""" % _MOST_PARTS  # noqa: UP031  (braces of its own)
)


class Slip(NamedTuple):
    """One slip of TOML."""

    line: int
    what: str
    expected: str
    do: str


class Parsed(NamedTuple):
    """What could be read.

    `keys` are names in lines that were set aside; `may_lack` says that whole tables, or the rest of the file, are missing. `text`
    has the lines of the file, those that were set aside changed.
    """

    document: Mapping[str, Any]
    text: str
    slips: tuple[Slip, ...] = ()
    keys: frozenset[str] = frozenset()
    may_lack: bool = False


def parse(text: str) -> Parsed:
    """Read a TOML text with as many slips as can be told apart. Never raises."""
    long = _LONG_KEY.search(text)
    if long is not None:
        parts = long[0].count(".") + 1
        line = text.count("\n", 0, long.start()) + 1
        slip = Slip(line, f"has a key of {parts} parts", "a few parts, such as supply.pressure.low", _THEN)
        return Parsed({}, "", (slip,), may_lack=True)
    lines = text.replace("\r\n", "\n").split("\n")
    slips: list[Slip] = []
    keys: set[str] = set()
    may_lack = False
    while len(slips) < _MOST_SLIPS:
        try:
            document = tomllib.loads("\n".join(lines))
        except RecursionError:
            slips.append(too_deep())
            break
        except ValueError as exc:  # TOMLDecodeError, and int()'s own for a number of thousands of digits
            message = str(exc)
            line = _line_of(message, lines)
            opened = _open_list(lines, line)
            slips.append(_list_left_open(opened) if opened else _slip(message, line, lines[line - 1]))
            bad = lines[line - 1].strip()
            if opened or not bad or "at end of document)" in message:
                break
            if bad.startswith("["):
                may_lack = True
                lines[line - 1] = f'["{_SET_ASIDE}{line}"]'
            else:
                keys.add(re.split(r"[\s=.:]", bad.strip("\"'"), maxsplit=1)[0])
                lines[line - 1] = ""
        else:
            kept = {key: value for key, value in document.items() if not key.startswith(_SET_ASIDE)}
            return Parsed(kept, "\n".join(lines), tuple(slips), frozenset(keys), may_lack)
    return Parsed({}, "", tuple(slips), may_lack=True)


def too_deep() -> Slip:
    """Lists in lists in lists."""
    return Slip(1, "is nested too deeply", "tables and lists a few levels deep", _CORRECT)


def _list_left_open(line: int) -> Slip:
    return Slip(
        line,
        "is not TOML: the list that begins here is not closed, or holds what is no value",
        "a list such as [1, 2]",
        _THEN,
    )


def _line_of(message: str, lines: list[str]) -> int:
    match = re.search(r"\(at line (\d+), column", message)
    if match:
        return min(int(match.group(1)), len(lines))
    if "digits" in message:  # int() names no line: the number is the longest run of digits in the file
        runs = [max((len(run) for run in re.findall(r"\d+", line)), default=0) for line in lines]
        return runs.index(max(runs)) + 1
    for number in range(len(lines), 0, -1):  # the file ends inside something: look for where that was opened
        line = lines[number - 1]
        if any(re.search(rf"=\s*{opened}", line) and line.count(closed) < least for opened, closed, least in _OPENED):
            return number
    return max((number for number, line in enumerate(lines, 1) if line.strip()), default=1)


#: what can stay open to the end of the file, what would have closed it, and how often that stands in a line where it is closed
_OPENED: Final = ((r'"""', '"""', 2), ("'''", "'''", 2), (r"\[", "]", 1))


def _open_list(lines: list[str], at: int) -> int | None:
    """The line of a list that was opened before line `at` and is still open there."""
    for number in range(at - 1, 0, -1):
        line = lines[number - 1]
        if re.match(r"\s*\[", line):  # a header: lists end before it
            return None
        if re.search(r"=\s*\[", line):
            return number if line.count("[") > line.count("]") and not _is_closed(lines[number : at - 1]) else None
    return None


def _is_closed(between: list[str]) -> bool:
    return any(re.search(r"\]\s*(#.*)?$", line) for line in between)


def _slip(message: str, number: int, line: str) -> Slip:
    """What is wrong, expected, do: with hints for the commonest slips."""
    shown = line.strip() if len(line.strip()) <= 60 else line.strip()[:60] + "…"
    for hint in (_unquoted, _typographic, _punctuation, _twice):
        said = hint(message, line, shown)
        if said is not None:
            return Slip(number, *said)
    if "digits" in message:
        return Slip(number, "holds a number of thousands of digits", "a number that can be", _CORRECT)
    what = re.sub(r" \(at (?:line .*|end of document)\)$", "", message)
    ends = "at end of document)" in message
    what = f"is not TOML: {what[:1].lower()}{what[1:]}{', and then the file ends' if ends else ''}"
    return Slip(number, what, _FORM, _THEN if ends else _CORRECT)


def _unquoted(message: str, line: str, shown: str) -> tuple[str, str, str] | None:
    """A text or a quantity without quotes."""
    word = re.search(r"=\s*([A-Za-z][\w /-]*?)\s*(?:#.*)?$", line)
    if word and "Invalid value" in message:
        value = word.group(1)
        if value.lower() in ("true", "false"):
            return f"{value} is spelt with a capital", value.lower(), _CORRECT
        return f"the text {value[:60]} stands without quotes", f'it in quotes, as in "{value[:60]}"', "Add the quotes"
    bare = re.search(r"=\s*([+-]?\d[\d.]*(?:,\d+)?\s*[A-Za-z°%µ][^\"'#]*)", line)
    if bare and "newline or end of document" in message:
        value = bare.group(1).strip()
        would = value.replace(",", ".")[:60]
        return f"the quantity {value[:60]} stands without quotes", f'it in quotes, as in "{would}"', "Add the quotes"
    return None


def _typographic(message: str, line: str, shown: str) -> tuple[str, str, str] | None:
    if re.search("[“”„‘’]", line):
        return f"{shown} has typographic quotes", 'plain quotes, as in "weak ports"', _CORRECT
    return None


def _punctuation(message: str, line: str, shown: str) -> tuple[str, str, str] | None:
    if re.search(r",\s*\}", line) and "key part" in message:
        return f"{shown} has a comma before its closing brace", "no comma there", "Remove it"
    if re.search(r"=\s*[+-]?\d+,\d", line):
        return f"{shown} has a decimal comma", 'a decimal point, and a quantity in quotes, as in "39.1 degC"', _CORRECT
    return None


def _twice(message: str, line: str, shown: str) -> tuple[str, str, str] | None:
    if "Cannot overwrite a value" in message:
        return f"{shown} sets a key that is set already", "each key once", "Remove one of the two"
    if "Cannot declare" in message:
        return f"{shown} opens a table that is there already", "each table once", "Put the two together"
    return None
