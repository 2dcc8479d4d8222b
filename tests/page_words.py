"""The page's own words (edge/web/words/) and what its modules say, read as text: no browser is needed for it."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import Final, NamedTuple

WEB: Final = Path(__file__).parents[1] / "edge" / "web"
#: a row of a file of words: an id and its template
ROW: Final = re.compile(r'  "([a-z]+\.[A-Za-z0-9_]+)": ("(?:[^"\\]|\\.)*"),')
_LANGUAGE: Final = re.compile(r'  (\w\w): \{ name: "([^"]+)", file: "(\w+)", rules: "([\w-]+)" \},')
_VALUE: Final = re.compile(r"\{(\w+)\}")
_TOKEN: Final = re.compile(r"//[^\n]*|/\*.*?\*/|\"(?:[^\"\\\n]|\\.)*\"", re.DOTALL)
_REGEX: Final = re.compile(r"/(?:[^/\\\[\n]|\\.|\[(?:[^\]\\\n]|\\.)*\])+/[a-z]*")
#: a "/" behind one of these begins a regular expression
_BEFORE_REGEX: Final = "(,=:[!&|?{};+>"


@cache
def files() -> Mapping[str, tuple[str, str]]:
    """Tag -> (what the language calls itself, its file), as say.js has them."""
    found = _LANGUAGE.findall((WEB / "say.js").read_text(encoding="utf-8"))
    return {code: (name, file) for code, name, file, _ in found}


def rows(code: str) -> list[tuple[str, str]]:
    """(id, template) of a language, as often as it stands there."""
    text = (WEB / "words" / f"{files()[code][1]}.js").read_text(encoding="utf-8")
    return [(found[1], json.loads(found[2])) for line in text.splitlines() if (found := ROW.fullmatch(line))]


@cache
def words(code: str) -> Mapping[str, str]:
    """id -> template of a language."""
    return dict(rows(code))


def values_of(template: str) -> set[str]:
    """The values that a template names."""
    return set(_VALUE.findall(template))


def scripts() -> Iterator[tuple[str, str]]:
    """(name, text) of the page's modules but its words."""
    for path in sorted(WEB.rglob("*.js")):
        if path.parent.name != "words" and path.name != "docs.js":
            yield str(path.relative_to(WEB)), path.read_text(encoding="utf-8")


class Literal(NamedTuple):
    """A text in a script: where its contents begin, what they are; `whole` is false for a piece of a template."""

    at: int
    text: str
    whole: bool


def literals(script: str) -> list[Literal]:
    """All texts of a script, templates in pieces; not its comments, not its regular expressions.

    >>> [one.text for one in literals('f("a", `b${g("c") + /"d"/.source}e`) // "f"')]
    ['a', 'b', 'c', 'e']
    """
    found: list[Literal] = []
    _code(script, 0, found, inner=False)
    return sorted(found)


def _code(script: str, at: int, found: list[Literal], *, inner: bool) -> int:
    """Go over code from `at` on; `inner`: up to the brace that ends a template's value."""
    depth, before = 0, ""
    while at < len(script):
        char = script[at]
        if token := _TOKEN.match(script, at):
            if char == '"':
                found.append(Literal(at + 1, token[0][1:-1], True))
                before = char
            at = token.end()
            continue
        if char == "`":
            at, before = _template(script, at + 1, found), char
            continue
        if char == "/" and (not before or before in _BEFORE_REGEX) and (regex := _REGEX.match(script, at)):
            at, before = regex.end(), "/"
            continue
        if inner and char == "}" and depth == 0:
            return at + 1
        depth += (char == "{") - (char == "}")
        before, at = (before if char.isspace() else char), at + 1
    return at


def _template(script: str, at: int, found: list[Literal]) -> int:
    """Go over a template literal from behind its first quote on."""
    piece = at
    while script[at] != "`":
        if script.startswith("${", at):
            found.append(Literal(piece, script[piece:at], False))
            at = piece = _code(script, at + 2, found, inner=True)
        else:
            at += 2 if script[at] == "\\" else 1
    found.append(Literal(piece, script[piece:at], False))
    return at + 1


class Said(NamedTuple):
    """One call of say: the ids written out in it, heads of ids put together, and names of the values that it hands over."""

    where: str
    ids: frozenset[str]
    heads: frozenset[str]
    values: frozenset[str]


def said() -> list[Said]:
    """Every call of say() in the page's modules."""
    return [call for name, script in scripts() for call in _said(name, script)]


def _said(name: str, script: str) -> Iterator[Said]:
    texts = literals(script)
    plain = list(script)  # the code alone: brackets in texts are none of it
    for one in texts:
        plain[one.at : one.at + len(one.text)] = "~" * len(one.text)
    code = "".join(plain)
    for call in re.finditer(r"(?<![\w.])say\(", code):
        parts = list(_arguments(code, call.end()))
        if name == "say.js":
            continue
        begin, end = parts[0]
        own = [one for one in texts if begin <= one.at < end]
        ids = frozenset(one.text for one in own if one.whole and re.fullmatch(r"[a-z]+\.\w+", one.text))
        heads = frozenset(one.text for one in own if not one.whole and re.fullmatch(r"[a-z]+\.", one.text))
        values = frozenset(_names(code, *parts[1])) if len(parts) > 1 else frozenset()
        yield Said(f"{name}:{script.count(chr(10), 0, call.start()) + 1}", ids, heads, values)


def _arguments(code: str, at: int) -> Iterator[tuple[int, int]]:
    """(begin, end) of each argument of a call from behind its bracket on."""
    depth, begin = 0, at
    while depth >= 0:
        char = code[at]
        depth += (char in "([{") - (char in ")]}")
        if depth < 0 or (depth == 0 and char == ","):
            yield begin, at
            begin = at + 1
        at += 1


def _names(code: str, begin: int, end: int) -> Iterator[str]:
    """The keys of an object that is written out."""
    inner = code.index("{", begin) + 1
    for first, last in _arguments(code, inner):
        if last <= end and (found := re.match(r"\s*(\w+)", code[first:last])):
            yield found[1]
