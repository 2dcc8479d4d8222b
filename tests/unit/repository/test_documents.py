"""What the documents say about the code is what the code says."""

from __future__ import annotations

import ast
import importlib.util
import re
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pypdf
import pytest

from edge.domain.entries import KINDS
from edge.domain.roles import ROLES
from edge.domain.station.judged import DISPLAY_TITLES
from edge.domain.words.english import ENGLISH
from tests import page_words

ROOT = Path(__file__).parents[3]
REFERENCES = {
    path.name: path.read_text(encoding="utf-8")
    for path in [*(ROOT / "deploy").glob("reference-*.md"), ROOT / "deploy/terms.md"]
}
DOCUMENTS = [
    "README.md",
    "DEVELOPERS.md",
    "CHANGELOG.md",
    *sorted(f"deploy/{path.name}" for path in (ROOT / "deploy").glob("*.md")),
]
HANDBOOK = (ROOT / "deploy/handbook.md").read_text(encoding="utf-8")
README = (ROOT / "README.md").read_text(encoding="utf-8")


def loaded(path: str) -> ModuleType:
    """A program that is run as a file, as a module."""
    spec = importlib.util.spec_from_file_location(f"warmwell_{Path(path).stem}", ROOT / path)
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def tables() -> ModuleType:
    return loaded("tests/tables.py")


def printed() -> ModuleType:
    return loaded("deploy/handbook.py")


@pytest.mark.parametrize(
    "name", ["reasons", "misbehaviours", "roles", "alarms", "crossed", "states", "terms", "titles"]
)
def test_tables_are_those_of_the_code(name: str):
    found = [match[2] for text in REFERENCES.values() for match in tables().mark(name).finditer(text)]
    assert found == [tables().TABLES[name]()], "the table stands once: run python tests/tables.py, or see to its marks"


@pytest.mark.parametrize(("name", "path"), [("permits", "SECURITY"), ("answers", "HANDBOOK"), ("paths", "API")])
def test_what_a_guide_takes_from_the_code_is_as_the_code_has_it(name: str, path: str) -> None:
    module = tables()
    found = [match[2] for match in module.mark(name).finditer(getattr(module, path).read_text(encoding="utf-8"))]
    assert found == [getattr(module, name)()], "run python tests/tables.py"


def test_the_handbook_explains_each_word_of_the_verdict_and_each_role() -> None:
    rows = set(re.findall(r"^\| `?([^`|]+?)`? \|", HANDBOOK, re.MULTILINE))
    assert set(DISPLAY_TITLES.values()) | set(ROLES) <= rows


def test_what_the_handbook_quotes_is_what_the_station_says() -> None:
    """Templates are cut at their values: "held by {by}" is quoted as "held by"."""
    quoted = set(re.findall(r'\*\*"([^"]+)"\*\*', HANDBOOK))
    said = [*ENGLISH.values(), *page_words.words("en").values()]
    assert len(quoted) > 20 and {words for words in quoted if not any(words in template for template in said)} == set()


def test_no_table_is_left_out():
    marked = [name for text in REFERENCES.values() for name in re.findall(r"<!-- (\w+): written by tests/tables", text)]
    assert sorted(marked) == sorted(tables().TABLES)


def test_developers_find_their_way_in_a_few_minutes():
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert text.count("\n") < 150
    headings = re.findall(r"^## (.*)$", text, re.MULTILINE)
    listed = re.findall(r"\]\(#([\w-]+)\)", text.split("\n## ")[0])
    assert listed == [re.sub(r"[^\w -]", "", heading).lower().replace(" ", "-") for heading in headings]


def test_every_kind_of_entry_is_explained():
    section = REFERENCES["reference-journal.md"].split("## Entries of the journal")[1].split("\n## ")[0]
    assert set(re.findall(r"^\| `(\w+)` \|", section, re.MULTILINE)) == set(KINDS)


def test_the_shipped_alarm_catalogue_is_in_step() -> None:
    assert tables().ALARMS.read_text(encoding="utf-8") == tables().alarm_catalogue(), "run python tests/tables.py"


def test_the_shipped_commissioning_list_is_in_step() -> None:
    assert tables().ITEMS.read_text(encoding="utf-8") == tables().commissioning_list(), "run python tests/tables.py"


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


@pytest.mark.parametrize("name", DOCUMENTS)
def test_headings_that_a_document_leads_to_are_there(name: str):
    path = ROOT / name
    lost = []
    for file, anchor in re.findall(r"\]\((?!https?:)([^)#]*)#([^)]+)\)", path.read_text(encoding="utf-8")):
        text = (path.parent / file if file else path).read_text(encoding="utf-8")
        headings = (
            re.sub(r"[^\w -]", "", one).lower().replace(" ", "-") for one in re.findall(r"^#+ (.*)$", text, re.M)
        )
        lost += [] if anchor in headings else [f"{file}#{anchor}"]
    assert lost == []


def test_each_change_is_one_line_that_can_be_read_at_a_glance():
    lines = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8").split("## Unreleased")[1].splitlines()
    assert [line for line in lines if line.startswith(" ")] == [], "a change goes over more than one line"
    assert [line for line in lines if line.startswith("- ") and len(line.split()) > 26] == []


PACKAGES = sorted(
    path.parent for top in ("edge", "adapters", "simulators") for path in (ROOT / top).rglob("__init__.py")
)


@pytest.mark.parametrize(
    "package", [path for path in PACKAGES if len(list(path.glob("*.py"))) > 8], ids=lambda p: p.name
)
def test_a_package_of_some_size_opens_with_its_theory_and_names_files_that_exist(package: Path):
    said = ast.get_docstring(ast.parse((package / "__init__.py").read_text(encoding="utf-8"))) or ""
    assert said.split("\n")[0].endswith((".", "?"))
    known = {path.name for top in ("edge", "adapters", "simulators", "tests") for path in (ROOT / top).rglob("*.*")}
    named = {name.rsplit("/", 1)[-1] for name in re.findall(r"[\w/-]+\.(?:py|md|toml|c)\b", said)}
    assert named - known - {path.name for path in (ROOT / "deploy").iterdir()} == set()


# -- the handbook for print


def test_the_handbook_for_print_holds_all_of_it_and_its_links_lead_somewhere(tmp_path: Path) -> None:
    """Read back by pypdf. reportlab itself refuses a link within the paper that leads nowhere."""
    one, other = tmp_path / "one.pdf", tmp_path / "other.pdf"
    printed().pdf_of(ROOT / "deploy/handbook.md", one)
    printed().pdf_of(ROOT / "deploy/handbook.md", other)
    assert one.read_bytes() == other.read_bytes()
    pdf = pypdf.PdfReader(one)
    text = re.sub(r"\s+", "", "".join(page.extract_text() for page in pdf.pages))
    headings = re.findall(r"^#+ (.*)$", re.sub(r"```.*?```", "", HANDBOOK, flags=re.DOTALL), flags=re.MULTILINE)
    assert len(headings) > 20
    outline = [entry["/Title"] for entry in flat(pdf.outline)]
    assert outline == headings
    lost = [
        word
        for word in re.findall(r"[A-Za-z]{4,}", re.sub(r"<!--.*?-->|\]\([^)]*\)|&\w+;", " ", HANDBOOK, flags=re.DOTALL))
        if word not in text
    ]
    assert lost == []


def flat(outline: list[Any]) -> Iterator[Any]:
    for entry in outline:
        if isinstance(entry, list):
            yield from flat(entry)
        else:
            yield entry


def test_what_has_no_form_in_print_is_refused(tmp_path: Path) -> None:
    paper = tmp_path / "paper.md"
    paper.write_text("# A paper\n\n<div>lost</div>\n", encoding="utf-8")
    module = printed()
    with pytest.raises(module.Unknown, match="html_block"):
        module.pdf_of(paper, tmp_path / "out.pdf")
