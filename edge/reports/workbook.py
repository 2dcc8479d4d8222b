"""The same tables as a workbook (xlsx: ECMA-376): numbers are numbers, times are times, and what people typed is text.

A first sheet says of what it is, and whether the journal holds. Each cell of text is written as text, never as a formula or a link; one
that a spreadsheet would take for a formula if it were typed bears the mark that keeps it text when it is edited. Rows are written as they
come: memory stays the same. A table that is longer than a sheet can be goes on in the next.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any, BinaryIO, Final

from edge.domain.errors import UnusableInput
from edge.reports.tables import Cell, Local, Offset, Sheet, Wish, entries_sheet, plain, readings_sheet
from edge.store.export import guarded

#: rows of a sheet, and characters of a cell, by the format's most widespread reader
MOST_ROWS: Final = 1_048_576
_MOST_CHARACTERS: Final = 32_767
_WIDTH: Final = 18
_TIME: Final = "yyyy-mm-dd hh:mm:ss.000"

#: what is exported -> its table
SHEETS: Final[Mapping[str, Callable[[Path, Wish], AbstractContextManager[Sheet]]]] = {
    "readings": readings_sheet,
    "journal": entries_sheet,
}


def write(out: BinaryIO, what: str, folder: Path, wish: Wish, most_rows: int = MOST_ROWS) -> None:
    """Write a workbook.

    Args:
        what: "readings" or "journal".
        most_rows: of one sheet; handed in by tests.

    Raises:
        UnusableInput: what writes it isn't installed; else as the tables.
        StoreFault: it can't be read.
    """
    try:
        from xlsxwriter import Workbook
    except ImportError as exc:
        raise UnusableInput(
            "what writes workbooks isn't installed", where="--format xlsx", expected="Warmwell with its extra `xlsx`",
            do="Install warmwell[xlsx], or take --format table: every spreadsheet opens it",
        ) from exc  # fmt: skip
    plainly = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with SHEETS[what](folder, wish) as sheet, Workbook(out, {"constant_memory": True, **plainly}) as book:
        writer = _Writer(book)
        about = book.add_worksheet("about")
        for row, cells in enumerate(sheet.head):
            for column, text in enumerate(cells):
                writer.put(about, row, column, text.removeprefix("# "))
        about.set_column(0, 3, _WIDTH)
        writer.table(sheet, most_rows)


class _Writer:
    """Puts cells into sheets."""

    def __init__(self, book: Any) -> None:
        self._book = book
        self._bold, self._time = book.add_format({"bold": True}), book.add_format({"num_format": _TIME})
        self._quoted = book.add_format({"quote_prefix": True})
        self._digits: dict[int, Any] = {}

    def table(self, sheet: Sheet, most_rows: int) -> None:
        """All rows, on as many sheets as they take."""
        into, row, number = self._begun(sheet, ""), 1, 1
        for cells in sheet.rows:
            if row >= most_rows:
                number += 1
                into, row = self._begun(sheet, f" {number}"), 1
            for column, cell in enumerate(cells):
                self.put(into, row, column, cell)
            row += 1

    def _begun(self, sheet: Sheet, number: str) -> Any:
        into = self._book.add_worksheet(f"{sheet.of}{number}")
        into.set_column(0, len(sheet.columns) - 1, _WIDTH)
        into.freeze_panes(1, 0)
        for column, name in enumerate(sheet.columns):
            into.write_string(0, column, name, self._bold)
        return into

    def put(self, into: Any, row: int, column: int, cell: Cell) -> None:
        """One cell."""
        if isinstance(cell, str):
            if cell:
                text = cell.replace("\r\n", "\n").replace("\r", "\n")
                look = self._quoted if guarded(text) != text else None
                into.write_string(
                    row, column, text if len(text) <= _MOST_CHARACTERS else f"{text[: _MOST_CHARACTERS - 1]}…", look
                )
        elif isinstance(cell, bool):
            into.write_boolean(row, column, cell)
        elif isinstance(cell, Offset):
            into.write_string(row, column, cell.text)
        elif isinstance(cell, Local):
            into.write_datetime(row, column, cell.there, self._time)
        elif cell.digits is None:
            into.write_number(row, column, float(plain(cell.value)))
        else:
            into.write_number(row, column, round(cell.value, cell.digits) + 0.0, self._fixed(cell.digits))

    def _fixed(self, digits: int) -> Any:
        if digits not in self._digits:
            self._digits[digits] = self._book.add_format({"num_format": "0" + ("." + "0" * digits if digits else "")})
        return self._digits[digits]
