"""What the documents say about the code is what the code says."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path
from types import ModuleType

import pytest

from edge.domain.entries import KINDS

ROOT = Path(__file__).parents[3]
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
README = (ROOT / "README.md").read_text(encoding="utf-8")


def tables() -> ModuleType:
    spec = importlib.util.spec_from_file_location("warmwell_tables", ROOT / "tests/tables.py")
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("name", ["reasons", "misbehaviours", "roles", "alarms", "states"])
def test_tables_are_those_of_the_code(name: str):
    found = tables().mark(name).search(DEVELOPERS)
    assert found, "the table's marks are gone"
    assert found[2] == tables().TABLES[name](), "run python tests/tables.py"


def test_every_kind_of_entry_is_explained():
    section = DEVELOPERS.split("## Entries of the journal")[1].split("\n## ")[0]
    assert set(re.findall(r"^\| `(\w+)` \|", section, re.MULTILINE)) == set(KINDS)


def test_readme_names_every_verb_of_the_command_line():
    from typer.main import get_command

    from edge.cli.app import app  # here: the command line imports much

    verbs = set(getattr(get_command(app), "commands", {}))
    assert verbs
    assert set(re.findall(r"`warmwell (\w+)", README)) == verbs


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md", "CHANGELOG.md"])
def test_files_that_a_document_names_exist(name: str):
    text = (ROOT / name).read_text(encoding="utf-8")
    named = set(re.findall(r"`((?:edge|adapters|simulators|config|deploy|tests)/[\w./-]*)`", text))
    named |= set(re.findall(r"\]\((?!https?:)([^)#]+)", text))
    assert [path for path in sorted(named) if not (ROOT / path).exists()] == []
