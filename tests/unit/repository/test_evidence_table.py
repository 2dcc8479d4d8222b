"""What was once decided wrongly leads to the tests that hold it: each row has tests that exist, or says what is open.

`python -m tests.seen_to_fail` runs them on the code of before: each failed there, but for the guards.
"""

from __future__ import annotations

import ast
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from tests.endurance.__main__ import FORMS
from tests.seen_to_fail import GUARDS

HERE = Path(__file__).parents[2]
TABLES = sorted((HERE / "evidence").glob("*.toml"))
ROWS = [
    pytest.param(row, id=f"{table.stem}-{name}")
    for table in TABLES
    for name, row in tomllib.loads(table.read_text(encoding="utf-8")).items()
]
#: what was found, by its kind and number: typing, sensors, keeping, verdict, two facts together
FOUND = {"P": 8, "S": 6, "K": 12, "V": 4, "F": 14}


@cache
def named_in(path: str) -> set[str]:
    tree = ast.parse((HERE.parent / path).read_text(encoding="utf-8"))
    names: set[str] = set()
    for node in tree.body:
        if isinstance(node, ast.FunctionDef):
            names.add(node.name)
        elif isinstance(node, ast.ClassDef):
            names |= {f"{node.name}::{f.name}" for f in node.body if isinstance(f, ast.FunctionDef)}
    return names


CAUSES = tomllib.loads((HERE / "causes.toml").read_text(encoding="utf-8"))


def must_exist(test: str) -> None:
    path, _, name = test.partition("::")
    assert name.split("[")[0] in named_in(path), test


@pytest.mark.parametrize("row", ROWS)
def test_a_row_has_tests_that_exist_or_says_what_is_open(row: dict[str, Any]) -> None:
    assert set(row) == {"says", "tests", "open"} and row["says"].endswith(".")
    assert row["tests"] or row["open"]
    for test in row["tests"]:
        must_exist(test)


@pytest.mark.parametrize("cause", CAUSES)
def test_a_cause_says_what_is_impossible_now_and_where_it_is_held(cause: str) -> None:
    row = CAUSES[cause]
    assert set(row) == {"was", "now", "where", "impossible", "tests"} and row["impossible"] and row["tests"]
    assert row["was"].endswith(".") and row["now"].endswith(".")
    for module in row["where"]:
        assert (HERE.parent / module).is_file(), module
    for test in row["tests"]:
        must_exist(test)


@pytest.mark.parametrize("name", FORMS)
def test_what_has_to_be_outlasted_has_tests_and_a_long_form(name: str) -> None:
    form = FORMS[name]
    assert set(form) <= {"shows", "tests", "long", "times"} and form["shows"].endswith(".")
    assert ("long" in form) != ("times" in form)
    for test in form["tests"]:
        assert (HERE.parent / test.partition("::")[0]).exists(), test
        if "::" in test:
            must_exist(test)
    code = "".join((HERE.parent / path).read_text(encoding="utf-8") for test in form["tests"] for path in _files(test))
    assert all(f'"{variable}"' in code for variable in form.get("long", {})), "a variable that nothing looks at"


def _files(test: str) -> list[Path]:
    path = HERE.parent / test.partition("::")[0]
    return sorted(path.glob("test_*.py")) if path.is_dir() else [path]


def test_every_guard_is_in_a_row() -> None:
    assert {test for row in ROWS for test in row.values[0]["tests"]} >= GUARDS  # type: ignore[index]


def test_no_row_is_missing() -> None:
    there = {name for table in TABLES for name in tomllib.loads(table.read_text(encoding="utf-8"))}
    assert {f"{kind}{number}" for kind, most in FOUND.items() for number in range(1, most + 1)} <= there
