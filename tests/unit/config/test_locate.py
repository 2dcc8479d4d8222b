"""The locator against the standard library's reader: every key that it reads has its line."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from edge.config.locate import Locator

CONFIG = Path(__file__).parents[3] / "config"

TEXT = '''\
# a remark [not.a.header]
top = 1
"quoted key".'other.one' = [ # remark
  "a # no remark",
  { x = 1, y = [2,
    3] }, """
two lines""",
]
[a.b]
c.d = { e.f = "}" , g = 2 }
h = \'\'\'[x]
y = 1
\'\'\'
[[rows]]
id = 1
[rows.inner]
deep = true
[[rows.list]]
k = 1
[[rows.list]]
k = 2
[[rows]]
id = 2
[rows.inner]
deep = 1979-05-27T07:32:00Z
'''

PLACES = [
    (("top",), 2),
    (("quoted key", "other.one"), 3),
    (("quoted key", "other.one", 0), 4),
    (("quoted key", "other.one", 1, "y", 1), 6),
    (("quoted key", "other.one", 2), 6),
    (("a", "b"), 9),
    (("a", "b", "c", "d", "e", "f"), 10),
    (("a", "b", "c", "d", "g"), 10),
    (("a", "b", "h"), 11),
    (("a", "b", "nothing"), 9),
    (("rows", 0), 14),
    (("rows", 0, "inner", "deep"), 17),
    (("rows", 0, "list", 1, "k"), 21),
    (("rows", 1, "id"), 23),
    (("rows", 1, "inner", "deep"), 25),
    (("elsewhere",), 1),
]


@pytest.mark.parametrize("path, line", PLACES, ids=[".".join(map(str, path)) for path, _ in PLACES])
def test_a_key_has_its_line(path: tuple[str | int, ...], line: int) -> None:
    assert Locator(TEXT).line(path) == line
    assert Locator(TEXT.replace("\n", "\r\n")).line(path) == line


def leaves(node: Any, path: tuple[str | int, ...] = ()) -> list[tuple[tuple[str | int, ...], Any]]:
    pairs = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else None
    if pairs is None:
        return [(path, node)]
    return [leaf for key, item in pairs for leaf in leaves(item, (*path, key))]


@pytest.mark.parametrize("file", sorted(CONFIG.glob("*.toml")), ids=lambda path: path.name)
def test_each_value_of_a_shipped_file_stands_in_the_line_that_is_named(file: Path) -> None:
    text = file.read_text(encoding="utf-8")
    locator, lines = Locator(text), text.splitlines()
    found = leaves(tomllib.loads(text))
    assert len(found) >= 8
    for path, value in found:
        written = str(value).lower() if isinstance(value, bool) else str(value)
        assert written in lines[locator.line(path) - 1], path
