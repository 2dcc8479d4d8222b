"""Exports as a workbook, read back by the rules of the format (ECMA-376, part 1, 18.3.1.4 cells, 18.8.45 quotePrefix; from memory).

A day number counts from 30 December 1899 (the 1900 date system, from 1 March 1900 on).
"""

from __future__ import annotations

import csv
import io
import zipfile
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from edge.cli.export import export
from edge.reports.tables import Wish
from edge.reports.workbook import write
from tests.unit.reports.test_tables import NASTY, exported
from tests.unit.reports.test_tables import folder as folder  # the fixture

MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
Cell = tuple[str, str, str]  # kind, value, style


def sheets(book: bytes) -> dict[str, list[dict[str, Cell]]]:
    """By name of each sheet its rows: by column the cell."""
    with zipfile.ZipFile(io.BytesIO(book)) as file:
        assert not [name for name in file.namelist() if "vba" in name.lower() or "externalLink" in name]
        names = [
            str(one.get("name")) for one in ElementTree.fromstring(file.read("xl/workbook.xml")).iter(f"{MAIN}sheet")
        ]
        shared = []
        if "xl/sharedStrings.xml" in file.namelist():
            strings = ElementTree.fromstring(file.read("xl/sharedStrings.xml")).iter(f"{MAIN}si")
            shared = ["".join(one.itertext()) for one in strings]
        found = {}
        for number, name in enumerate(names, 1):
            root = ElementTree.fromstring(file.read(f"xl/worksheets/sheet{number}.xml"))
            assert list(root.iter(f"{MAIN}f")) == [], "a formula"
            assert list(root.iter(f"{MAIN}hyperlink")) == []
            found[name] = [dict(_cell(cell, shared) for cell in row) for row in root.iter(f"{MAIN}row")]
    return found


def _cell(cell: Any, shared: list[str]) -> tuple[str, Cell]:
    kind, plain = cell.get("t", "n"), cell.findtext(f"{MAIN}v")
    if kind == "inlineStr":
        plain = "".join(cell.find(f"{MAIN}is").itertext())
    elif kind == "s":
        plain = shared[int(plain)]
    return cell.get("r").rstrip("0123456789"), (kind, plain or "", cell.get("s", "0"))


def quoted(book: bytes) -> set[str]:
    """The styles that keep a text from becoming a formula."""
    with zipfile.ZipFile(io.BytesIO(book)) as file:
        formats = ElementTree.fromstring(file.read("xl/styles.xml")).find(f"{MAIN}cellXfs")
    assert formats is not None
    return {str(at) for at, one in enumerate(formats) if one.get("quotePrefix") == "1"}


def made(folder: Path, what: str, **more: Any) -> bytes:
    out = folder.parent / "book.xlsx"
    code = export(what, folder, "xlsx", (None, None, "2026-10-25"), more.get("points"), more.get("kinds"), out)
    assert code == 0
    return out.read_bytes()


def test_it_has_the_numbers_of_the_table_as_numbers(folder: Path) -> None:
    found = sheets(made(folder, "readings"))
    _, text = exported(folder, "readings", "table")
    head, *rows = [row for row in csv.reader(io.StringIO(text)) if not row[0].startswith("#")]
    names, *cells = found["readings"]
    assert [one[1] for one in names.values()] == head and len(cells) == len(rows) == 100
    columns = list(names)
    for row, there in zip(rows, cells, strict=True):
        for name, column, plain in zip(head, columns, row, strict=True):
            kind, value, _ = there.get(column, ("n", "", "0"))
            if name == "time_local":
                at = datetime.fromisoformat("1899-12-30") + timedelta(days=float(value))
                assert abs(at - datetime.fromisoformat(plain)) < timedelta(milliseconds=1)
            elif name.startswith(("reservoir [", "supply [")):
                assert kind == "n" and float(value) == float(plain)
            elif name != "clock_trusted":
                assert value == plain
    about = {row["A"][1]: row["B"][1] for row in found["about"]}
    assert about["zone"] == "Europe/Dublin" and about["proof"].startswith("the journal holds")


def test_what_people_typed_is_text_and_stays_it(folder: Path) -> None:
    book = made(folder, "journal", kinds="record,draw")
    names, *rows = sheets(book)["entries"]
    (by,) = [column for column, cell in names.items() if cell[1] == "by"]
    (volume,) = [column for column, cell in names.items() if cell[1] == "volume_l [L]"]
    typed = [row[by] for row in rows if by in row]
    texts = [text.replace("\r", "\n") for text in NASTY]
    assert [cell[1].replace("\r", "\n") for cell in typed][: len(texts)] == texts
    assert {cell[0] for cell in typed} <= {"s", "inlineStr", "str"}
    formulas = [cell for cell in typed if cell[1].startswith(("=", "+", "-", "@", "\t", "\n", "\r"))]
    assert len(formulas) == 6 and {cell[2] for cell in formulas} <= quoted(book)
    (drawn,) = [row[volume] for row in rows if volume in row]
    assert (drawn[0], float(drawn[1])) == ("n", 0.3)


def test_a_table_longer_than_a_sheet_goes_on_in_the_next(folder: Path) -> None:
    out = io.BytesIO()
    write(out, "readings", folder, Wish(points=["reservoir"]), most_rows=41)
    found = sheets(out.getvalue())
    assert list(found) == ["about", "readings", "readings 2", "readings 3"]
    parts = [found[name] for name in found if name != "about"]
    assert [len(part) for part in parts] == [41, 41, 29] and parts[0][0].keys() == parts[2][0].keys()


@pytest.mark.parametrize("length", [32_767, 40_000])
def test_a_cell_holds_what_a_cell_can(folder: Path, length: int, tmp_path: Path) -> None:
    from contextlib import closing

    from tests.unit.reports.kit import Store

    with closing(Store(tmp_path / "keep", "2026-10-25T08:00:00Z")) as store:
        store.add("2026-10-25T09:00:00Z", "record", record="note", by="ada", text="x" * length, counts=True)
    out = io.BytesIO()
    write(out, "journal", tmp_path / "keep", Wish(kinds=("record",)))
    (text,) = [cell[1] for cell in sheets(out.getvalue())["entries"][1].values() if cell[1].startswith("xx")]
    assert len(text) == 32_767 and text.endswith("…") == (length > 32_767)
