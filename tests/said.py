"""What the code says, found in its text: each `say(...)` with its ids, the names of its values and their kinds."""

from __future__ import annotations

import ast
import re
import string
from collections.abc import Iterator, Mapping
from functools import cache

from edge.domain.words.english import ENGLISH
from edge.domain.words.saying import FOR_SOME
from tests.unit.repository.test_architecture import MODULES, name_of, parsed


@cache
def trees() -> Mapping[str, ast.Module]:
    """Each module's tree, by its dotted name."""
    return {name_of(path): parsed(path) for path in MODULES}


#: what makes a value -> what kind of value it makes, in the words of the reference
KINDS = {
    "celsius": "temperature", "quantity": "reading", "reading": "reading", "difference": "difference", "duration": "duration",
    "ago": "ago", "remaining": "left",
    "moment": "moment", "number": "number", "name": "name", "text": "text", "part": "message", "names": "list", "parts": "list",
}  # fmt: skip


def values_of(template: str) -> frozenset[str]:
    """The names of the values of a template, without how each is said."""
    return frozenset(key for key, _ in said_values(template))


def said_values(template: str) -> Iterator[tuple[str, str]]:
    """(name, how it is said) of each value of a template, of what is for some readers alone too."""
    for _, key, spec, _ in string.Formatter().parse(template):
        if key in FOR_SOME:
            yield from said_values(spec or "")
        elif key is not None:
            yield key, spec or ""


def called(node: ast.Call) -> str:
    """The name that is called."""
    func = node.func
    return func.id if isinstance(func, ast.Name) else func.attr if isinstance(func, ast.Attribute) else ""


def ids_of(node: ast.expr) -> Iterator[str]:
    """What an id can be: a constant, one of two, or a pattern with `*` for what is filled in."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node.value
    elif isinstance(node, ast.IfExp):
        yield from ids_of(node.body)
        yield from ids_of(node.orelse)
    elif isinstance(node, ast.JoinedStr):
        yield "".join(str(part.value) if isinstance(part, ast.Constant) else "*" for part in node.values)


class Said:
    """One `say(...)` in the code. `kinds`: of its values, as far as they are made on the spot."""

    def __init__(self, module: str, node: ast.Call) -> None:
        self.where = f"{module}:{node.lineno}"
        self.ids = list(ids_of(node.args[0])) if node.args else []
        self.values = None if any(k.arg is None for k in node.keywords) else {k.arg for k in node.keywords}
        made = ((k.arg, k.value) for k in node.keywords if k.arg is not None and isinstance(k.value, ast.Call))
        self.kinds = {key: KINDS[called(value)] for key, value in made if called(value) in KINDS}


@cache
def all_said() -> list[Said]:
    """All that the code says."""
    return [
        Said(module, node)
        for module, tree in trees().items()
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and called(node) == "say" and module != "edge.domain.messages"
    ]


@cache
def meant(pattern: str) -> list[str]:
    """The ids of the catalogue that an id, or a pattern of one, can be."""
    form = re.compile(".+".join(map(re.escape, pattern.split("*"))))
    return [ident for ident in ENGLISH if form.fullmatch(ident)]


def kinds_of(ident: str) -> dict[str, list[str]]:
    """The values that the words of an id name, each with the kinds that the code hands over; none where it makes them elsewhere."""
    found: dict[str, set[str]] = {key: set() for key in values_of(ENGLISH[ident])}
    for said in all_said():
        if any(ident in meant(pattern) for pattern in said.ids):
            for key, kind in said.kinds.items():
                found.setdefault(key, set()).add(kind)
    return {key: sorted(kinds) for key, kinds in found.items()}
