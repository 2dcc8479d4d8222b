"""What the documents say about the code is what the code says."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path
from types import ModuleType

import pytest

from edge.domain.entries import KINDS

ROOT = Path(__file__).parents[3]
REFERENCES = {path.name: path.read_text(encoding="utf-8") for path in (ROOT / "deploy").glob("reference-*.md")}
DOCUMENTS = ["README.md", "DEVELOPERS.md", "CHANGELOG.md", *(f"deploy/{name}" for name in sorted(REFERENCES))]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def tables() -> ModuleType:
    spec = importlib.util.spec_from_file_location("warmwell_tables", ROOT / "tests/tables.py")
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("name", ["reasons", "misbehaviours", "roles", "alarms", "crossed", "states"])
def test_tables_are_those_of_the_code(name: str):
    found = [match[2] for text in REFERENCES.values() for match in tables().mark(name).finditer(text)]
    assert found == [tables().TABLES[name]()], "the table stands once: run python tests/tables.py, or see to its marks"


def test_no_table_is_left_out():
    marked = [name for text in REFERENCES.values() for name in re.findall(r"<!-- (\w+): written by tests/tables", text)]
    assert sorted(marked) == sorted(tables().TABLES)


def test_every_kind_of_entry_is_explained():
    section = REFERENCES["reference-journal.md"].split("## Entries of the journal")[1].split("\n## ")[0]
    assert set(re.findall(r"^\| `(\w+)` \|", section, re.MULTILINE)) == set(KINDS)


def test_readme_names_every_verb_of_the_command_line():
    from typer.main import get_command

    from edge.cli.app import app  # here: the command line imports much

    verbs = set(getattr(get_command(app), "commands", {}))
    assert verbs
    assert set(re.findall(r"`warmwell (\w+)", README)) == verbs


@pytest.mark.parametrize("name", DOCUMENTS)
def test_files_that_a_document_names_exist(name: str):
    text = (ROOT / name).read_text(encoding="utf-8")
    named = set(re.findall(r"`((?:edge|adapters|simulators|config|deploy|tests)/[\w./-]*)`", text))
    linked = {(ROOT / name).parent / path for path in re.findall(r"\]\((?!https?:)([^)#]+)", text)}
    assert [str(path) for path in sorted(linked | {ROOT / path for path in named}) if not path.exists()] == []
