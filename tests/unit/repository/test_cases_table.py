"""tests/cases.toml: each hard case has tests, these are there, and hold its own bytes. Nothing is run here: files are
read as syntax trees, so that a renamed or removed test is missed at once.
"""

from __future__ import annotations

import ast
import re
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[3]
CASES: dict[str, dict[str, Any]] = tomllib.loads((ROOT / "tests/cases.toml").read_text(encoding="utf-8"))
KEYS = {"title", "bytes", "tests", "open", "shorter"}


@cache
def source(file: str) -> str:
    return (ROOT / file).read_text(encoding="utf-8")


@cache
def collected(file: str) -> frozenset[str]:
    """Names that pytest collects from a file: test functions, and Class::method of test classes."""
    found: set[str] = set()
    for node in ast.parse(source(file)).body:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and node.name.startswith("test_"):
            found.add(node.name)
        if isinstance(node, ast.ClassDef) and node.name.startswith("Test"):
            found |= {f"{node.name}::{part.name}" for part in node.body if isinstance(part, ast.FunctionDef)}
    return frozenset(found)


def test_the_rows_are_of_the_64_cases_in_the_order_of_their_numbers():
    assert list(CASES) == sorted(CASES) and set(CASES) == {f"C{number:03}" for number in range(1, 65)}
    titles = [case["title"] for case in CASES.values()]
    assert len(set(titles)) == len(titles) and all(titles)


@pytest.mark.parametrize("number", CASES)
def test_a_case_has_tests_that_are_there(number: str):
    case = CASES[number]
    assert set(case) <= KEYS and case["tests"] and case["bytes"]
    missing = [
        node
        for node in case["tests"]
        if not (ROOT / node.partition("::")[0]).is_file()
        or node.partition("::")[2] not in collected(node.partition("::")[0])
    ]
    assert missing == []
    assert len(set(case["tests"])) == len(case["tests"])


@pytest.mark.parametrize("number", CASES)
def test_a_cases_bytes_stand_literally_in_its_tests(number: str):
    case = CASES[number]
    files = sorted({node.partition("::")[0] for node in case["tests"]})
    missing = [sample for sample in case["bytes"] if not any(sample in source(file) for file in files)]
    assert missing == [], f"not in {', '.join(files)}"


def test_a_test_that_is_named_for_a_case_stands_in_its_row():
    """Such as test_c013_…, or test_case_14_…"""
    forgotten = []
    for path in sorted((ROOT / "tests").rglob("test_*.py")):
        file = str(path.relative_to(ROOT))
        for name in sorted(collected(file)):
            said = re.match(r"(?:.*::)?test_(?:c|case_)(\d{1,3})_", name)
            number = f"C{int(said[1]):03}" if said else ""
            if number in CASES and f"{file}::{name}" not in CASES[number]["tests"]:
                forgotten.append(f"{number}: {file}::{name}")
    assert forgotten == []
