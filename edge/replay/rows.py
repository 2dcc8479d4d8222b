"""Reads recorded readings: UTF-8 CSV, one row an instant, one column a point. Streams; never holds more than one line.

A refusal names file, line, column and what was expected. Nothing is guessed: a text in a number's place ends the reading.
"""

from __future__ import annotations

import csv
import difflib
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import BinaryIO, Final, NamedTuple

from edge.domain.errors import UnusableInput
from edge.domain.quantities import UnitError, converter
from edge.domain.readings import CONTACT_WORDS, REASONS, Kind, Sample
from edge.domain.settings import Point
from edge.domain.strict_json import shown

LONGEST_LINE: Final = 64 * 1024
_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_LATEST_MS: Final = 4_102_444_800_000  # 2100: a later time is a slip of the pen
_RFC3339: Final = re.compile(r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d:\d\d(\.\d+)?([Zz]|[+-]\d\d:\d\d)\Z", re.ASCII)
_SECONDS: Final = re.compile(r"[+-]?\d+(\.\d+)?\Z", re.ASCII)
#: where neither column, point nor loop names a unit
PLAIN_UNITS: Final = {Kind.TEMPERATURE: "degC", Kind.PRESSURE: "kPa", Kind.FLOW: "L/min", Kind.CONDUCTIVITY: "uS/cm"}

#: a cell's text, stripped and not empty -> (value or None, reason or None); ValueError for a text that is neither
Cell = Callable[[str], tuple[float | None, str | None]]


class Row(NamedTuple):
    """One row: its line in the file, its wall time, and (point, value, reason) of every cell that isn't blank."""

    line: int
    wall_ms: int
    cells: list[tuple[str, float | None, str | None]]


def time_of(text: str) -> int:
    """RFC 3339 with Z or an offset, or UNIX seconds, as milliseconds since 1970.

    Raises:
        ValueError: neither, or outside 1970 to 2099.
    """
    if _RFC3339.match(text):
        since = datetime.fromisoformat(text.upper()) - _EPOCH
        wall_ms = (since.days * 86_400 + since.seconds) * 1000 + (since.microseconds + 500) // 1000
    elif _SECONDS.match(text):
        wall_ms = round(float(text) * 1000)
    else:
        raise ValueError(text)
    if not 0 <= wall_ms < _LATEST_MS:
        raise ValueError(text)
    return wall_ms


def _bad(text: str) -> tuple[None, str] | None:
    """A cell that says that the reading was bad; None where it doesn't."""
    if text.startswith("bad:"):
        reason = text[4:].strip()
        return None, reason if reason in REASONS else "recorded_bad"
    if text.lower() in ("nan", "+nan", "-nan", "inf", "+inf", "-inf", "infinity", "-infinity"):
        return None, "not_a_number"
    return None


def number_cell(scale: float, offset: float) -> Cell:
    """A column of numbers in a unit with this scale and offset."""

    def cell(text: str) -> tuple[float | None, str | None]:
        try:
            value = float(text)
        except ValueError:
            bad = _bad(text)
            if bad is None:
                raise
            return bad
        if "_" in text or not text.isascii():  # both would be numbers to Python only
            raise ValueError(text)
        if value - value != 0.0:
            return _bad(text) or (None, "not_a_number")  # 1e999
        return value * scale + offset, None

    return cell


def contact_cell(point: Point) -> Cell:
    """A column of a contact's words; a bare 1 means tripped, wet, on."""
    no, yes = CONTACT_WORDS[point.role]
    words = {no: 0.0, yes: 1.0, "0": 0.0, "1": 1.0, "0.0": 0.0, "1.0": 1.0}

    def cell(text: str) -> tuple[float | None, str | None]:
        value = words.get(text.lower())
        if value is not None:
            return value, None
        bad = _bad(text)
        if bad is None:
            raise ValueError(text)
        return bad

    return cell


class Recording:
    """A file of readings, opened and its header understood.

    Args:
        path: the file; only its name stands in refusals' `where`.
        points: the station's points, by id.

    Raises:
        UnusableInput: it can't be opened or its header can't be used; later, from rows(), for a line that can't.
    """

    def __init__(self, path: Path, points: Mapping[str, Point]) -> None:
        self.path, self._points = path, points
        try:
            self._file: BinaryIO = path.open("rb")
            first = self._file.readline(LONGEST_LINE + 1)
        except IsADirectoryError:
            raise self._refused("it is a folder", "a CSV file", "Name the file in it") from None
        except OSError as exc:
            raise self._refused(
                exc.strerror or "it can't be read", "a CSV file", "Check its name and permissions"
            ) from exc
        try:
            text = self._text(first, 1).lstrip("\ufeff").strip()
            if not text:
                raise self._refused("it is empty", "a header: time, then point ids", "Export readings again", line=1)
            self.separator = self._separator(text)
            self._columns = self._header(self._split(text, 1), points)
        except UnusableInput:
            self._file.close()
            raise

    def close(self) -> None:
        """Let the file go."""
        self._file.close()

    def rows(self) -> Iterator[Row]:
        """Every row, in the order of the file."""
        columns, separator, width = self._columns, self.separator, len(self._columns)
        read, text_of, line = self._file.readline, self._text, 1
        try:
            while raw := read(LONGEST_LINE + 1):
                line += 1
                text = text_of(raw, line)
                fields = self._split(text, line) if '"' in text else text.split(separator)
                if len(fields) != width:
                    if not text.strip():
                        continue
                    raise self._refused(
                        f"{len(fields)} {'field' if len(fields) == 1 else 'fields'}",
                        f"{width}, separated by '{separator}' as in the header",
                        "Correct the line",
                        line=line,
                    )
                wall_ms = -1
                cells: list[tuple[str, float | None, str | None]] = []
                for column, field in zip(columns, fields, strict=True):
                    field = field.strip()
                    if column is None:
                        wall_ms = self._time(field, line)
                    elif field:
                        try:
                            value, reason = column[1](field)
                        except ValueError:
                            raise self._no_reading(field, line, column[0], self._points[column[0]]) from None
                        cells.append((column[0], value, reason))
                yield Row(line, wall_ms, cells)
        except OSError as exc:
            raise self._refused(
                exc.strerror or "it can't be read on", "a readable file", "Check the disk", line=line
            ) from exc

    # -- parts

    def _separator(self, header: str) -> str:
        if ";" in header and "," in header:
            raise self._refused(
                "both ',' and ';' in the header",
                "one separator for the whole file",
                "Use one of them throughout",
                line=1,
            )
        if "\t" in header:
            raise self._refused("tabs in the header", "',' or ';' between columns", "Export it as CSV", line=1)
        return ";" if ";" in header else ","

    def _header(self, names: Sequence[str], points: Mapping[str, Point]) -> list[tuple[str, Cell] | None]:
        columns: list[tuple[str, Cell] | None] = []
        seen: set[str] = set()
        for name in (n.strip() for n in names):
            ident, bracket, unit = name.partition("[")
            ident, unit = ident.strip(), unit.rstrip("] ").strip()
            if ident in seen:
                raise self._refused(f"column {shown(ident)} twice", "each point once", "Take one of them out", line=1)
            seen.add(ident)
            if name == "time":
                columns.append(None)
            elif ident in points:
                columns.append((ident, self._cell(points[ident], unit if bracket else None)))
            else:
                near = difflib.get_close_matches(ident, [*points, "time"], 1)
                would = f"{near[0]!r} perhaps" if near else "time, or the id of one of the station's points"
                raise self._refused(
                    f"unknown column {shown(name)}", would, "Correct the header, or take the column out", line=1
                )
        if "time" not in seen:
            raise self._refused(
                "no column 'time'", "a header with time, then point ids", "Add the header, or correct it", line=1
            )
        if len(columns) == 1:
            expected = "a header with time, then the id of at least one of the station's points"
            raise self._refused("no column but 'time'", expected, "Add a column, or export readings again", line=1)
        return columns

    def _cell(self, point: Point, unit: str | None) -> Cell:
        if point.kind is Kind.CONTACT:
            if unit:
                raise self._refused(
                    f"column {point.id!r} has a unit, {shown(unit)}", "none for a contact", "Take it out", line=1
                )
            return contact_cell(point)
        try:
            return number_cell(
                *converter(unit if unit is not None else point.unit or PLAIN_UNITS[point.kind], point.kind)
            )
        except UnitError as exc:
            raise self._refused(
                f"column {point.id!r}: {exc.what}", exc.expected, "Correct the unit in the header", line=1
            ) from exc

    def _split(self, text: str, line: int) -> list[str]:
        try:
            return next(csv.reader([text], delimiter=self.separator, strict=True))
        except (csv.Error, StopIteration):
            raise self._refused("quotes that don't close", "a whole line", "Correct the quotes", line=line) from None

    def _time(self, field: str, line: int) -> int:
        try:
            return time_of(field)
        except (ValueError, OverflowError):
            expected = "RFC 3339 with Z or an offset, or UNIX seconds"
            raise self._refused(
                f"{field[:40]!r} is no such time", expected, "Correct the time", line=line, column="time"
            ) from None

    def _no_reading(self, field: str, line: int, column: str, point: Point) -> UnusableInput:
        if point.kind is not Kind.CONTACT and re.fullmatch(r"[+-]?\d+,\d+", field, re.ASCII):
            return self._refused(
                f"{field!r} has a decimal comma",
                "a decimal point",
                "Write the number with a point",
                line=line,
                column=column,
            )
        words = " or ".join(CONTACT_WORDS[point.role]) if point.kind is Kind.CONTACT else "a number"
        expected = f"{words}, nothing, NaN or bad:REASON"
        return self._refused(
            f"{field[:40]!r} is no reading", expected, "Correct the cell, or leave it blank", line=line, column=column
        )

    def _text(self, raw: bytes, line: int) -> str:
        if len(raw) > LONGEST_LINE:
            raise self._refused(
                "longer than 64 KiB", "a line of at most 64 KiB", "Check that this is a CSV file", line=line
            )
        try:
            return raw.decode("utf-8")
        except UnicodeDecodeError as exc:
            raise self._refused(
                f"byte {exc.start + 1} is not UTF-8", "UTF-8", "Save the file as UTF-8", line=line
            ) from None

    def _refused(
        self, what: str, expected: str, do: str, *, line: int | None = None, column: str | None = None
    ) -> UnusableInput:
        where = (
            self.path.name + (f" line {line}" if line is not None else "") + (f", column {column}" if column else "")
        )
        return UnusableInput(what, where=where, expected=expected, do=do)


def samples_of(row: Row, mono_ms: int) -> list[Sample]:
    """A row's cells as samples of one instant."""
    return [Sample(point, mono_ms, value, reason) for point, value, reason in row.cells]
