"""Readings and entries as tables for spreadsheets, and readings as SenML (RFC 8428), written piece by piece.

A table begins with rows of its own, the first cell of each with a '#': which station, zone, settings and journal it is of, and first of all
whether that journal holds. Then each column is one fact, its unit in its name; UTC and the station's time stand side by side, with the
offset, as one hour a year comes twice. Numbers have as many digits as say something, and are never in a cell with words. A text that a
spreadsheet would take for a formula gets an apostrophe before it. Nothing is lost by it: the forms `csv` and `jsonl` keep every digit.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final, NamedTuple, TypeAlias
from zoneinfo import ZoneInfo

from edge.domain.entries import Entry, rfc3339
from edge.domain.readings import CONTACT_WORDS, Kind, Quality, Reading, Role
from edge.domain.settings import Settings
from edge.reports.source import Source
from edge.store.export import (
    Instant,
    column_name,
    csv_pieces,
    guarded,
    instants,
    journal_pieces,
    readings_pieces,
    wanted,
)
from edge.store.series_read import PointFacts, SeriesReader

#: digits behind the point of a reading whose point names no resolution
_DIGITS: Final[Mapping[Kind, int]] = {Kind.TEMPERATURE: 2, Kind.PRESSURE: 1, Kind.FLOW: 2, Kind.CONDUCTIVITY: 1}
_MOST_DIGITS: Final = 6
#: of other numbers so many say something
_SIGNIFICANT: Final = 6
#: the end of a fact's name -> its unit, the longest first
_UNITS: Final = {
    "_l_min": "L/min", "_kpa": "kPa", "_min": "min", "_ms": "ms", "_ma": "mA", "_c": "Cel", "_k": "K", "_l": "L", "_s": "s",
}  # fmt: skip
#: members of a body that say again what others say, or are whole documents
_LEFT_OUT: Final = re.compile(r".*msgs?|document")
_DEEPEST: Final = 6
#: facts that stand first, in this order: what people look for
_FIRST: Final = (
    "id",
    "record",
    "what",
    "from",
    "to",
    "by",
    "at",
    "counts",
    "value",
    "unit",
    "limit",
    "cause",
    "why",
    "text",
    "note",
)
#: kind -> unit of RFC 8428's registry, and what a value is multiplied by (exact: RFC 8428 wants units without prefixes)
_SENML: Final[Mapping[Kind, tuple[str, float]]] = {
    Kind.TEMPERATURE: ("Cel", 1.0), Kind.PRESSURE: ("Pa", 1000.0), Kind.FLOW: ("m3/s", 1.0 / 60_000.0), Kind.CONDUCTIVITY: ("S/m", 1e-4),
}  # fmt: skip
_NAME: Final = re.compile(r"[^A-Za-z0-9:./_-]")  # RFC 8428, 4.5.1: what a name may not hold


class Wish(NamedTuple):
    """What is to be exported.

    Attributes:
        from_ms, to_ms: [from, to), milliseconds since 1970; None: without an end.
        points: of readings, only these; None: all.
        kinds: of entries, only these; none named: all.
        proves: whether the chain is looked at first.
    """

    from_ms: int | None = None
    to_ms: int | None = None
    points: Sequence[str] | None = None
    kinds: Collection[str] = ()
    proves: bool = True


class Figure(NamedTuple):
    """A number and how many digits behind the point say something; None: six of it in all."""

    value: float
    digits: int | None = None


class Local(NamedTuple):
    """A time by the station's clock, without its zone."""

    there: datetime


class Offset(NamedTuple):
    """A time zone's, as "+01:00": no formula."""

    text: str


#: what stands in a cell; "": nothing
Cell: TypeAlias = str | bool | Figure | Local | Offset


class Sheet(NamedTuple):
    """A table: what it is of, rows that stand before it, the names of its columns, and its rows."""

    of: str
    head: list[list[str]]
    columns: list[str]
    rows: Iterator[list[Cell]]


def readings_table(folder: Path, wish: Wish) -> Iterator[bytes]:
    """Readings, one row an instant.

    Raises:
        UnusableInput: no readings or no journal there, or an unknown point.
        StoreFault: they can't be read.
    """
    with readings_sheet(folder, wish) as sheet:
        yield from _csv(sheet)


def entries_table(folder: Path, wish: Wish) -> Iterator[bytes]:
    """Entries, one row each. What an entry says is spread over columns: lists of words with semicolons, all else a column each.

    Raises:
        UnusableInput: no journal there.
        StoreFault: it can't be read.
    """
    with entries_sheet(folder, wish) as sheet:
        yield from _csv(sheet)


def _csv(sheet: Sheet) -> Iterator[bytes]:
    head = [[guarded_cell(cell) for cell in row] for row in sheet.head]
    return csv_pieces(list(map(guarded, sheet.columns)), ([*map(_text, row)] for row in sheet.rows), head)


def guarded_cell(text: str) -> str:
    """A cell of the rows before a table: their first begins with '#'."""
    return text if text.startswith("#") else guarded(text)


def _text(cell: Cell) -> str:
    if isinstance(cell, str):
        return guarded(cell)
    if isinstance(cell, bool):
        return _yes(cell)
    if isinstance(cell, Offset):
        return cell.text
    if isinstance(cell, Local):
        return f"{cell.there:%Y-%m-%d %H:%M:%S}.{cell.there.microsecond // 1000:03d}"
    return plain(cell.value) if cell.digits is None else fixed(cell.value, cell.digits)


@contextmanager
def readings_sheet(folder: Path, wish: Wish) -> Iterator[Sheet]:
    """Readings, as readings_table() writes them."""
    with closing(Source(folder, proves=wish.proves)) as source, closing(SeriesReader(folder)) as reader:
        settings = source.settings(wish.to_ms)
        columns = _Readings(settings, wanted(reader, wish.points))
        head = [*_head(source, settings, wish), ["# values", "as measured, before calibration; bad ones are blank"]]
        rows = reader.rows(wish.from_ms, wish.to_ms, columns.ids)
        yield Sheet("readings", head, columns.names, map(columns.row, instants(rows)))


@contextmanager
def entries_sheet(folder: Path, wish: Wish) -> Iterator[Sheet]:
    """Entries, as entries_table() writes them."""
    with closing(Source(folder, proves=wish.proves)) as source:
        settings = source.settings(wish.to_ms)
        names: dict[str, None] = {}
        for entry in source.within(wish.from_ms, wish.to_ms, wish.kinds):
            names.update(dict.fromkeys(_facts(entry.body)))
        names = dict.fromkeys([*(name for name in _FIRST if name in names), *names])
        clock = _Clock(ZoneInfo(settings.timezone))

        def row(entry: Entry) -> list[Cell]:
            dated, facts = source.dates.of(entry.stamp), _facts(entry.body)
            when: list[Cell] = ["", "", ""] if dated.doubt else clock.cells(dated.wall_ms)
            return [
                Figure(entry.seq, 0), *when, rfc3339(entry.wall_ms), entry.trusted, entry.kind,
                *(facts.get(name, "") for name in names),
            ]  # fmt: skip

        columns = ["seq", *clock.names, "stamped_utc", "clock_trusted", "kind", *(_with_unit(name) for name in names)]
        entries = source.within(wish.from_ms, wish.to_ms, wish.kinds)
        yield Sheet("entries", _head(source, settings, wish), columns, map(row, entries))


def readings_senml(folder: Path, wish: Wish) -> Iterator[bytes]:
    """Readings as one SenML pack in JSON: names are SITE/STATION/POINT. What a bad reading's reason is, or an uncertain one's, stands
    under POINT/reason. A contact is true where it is tripped, wet or on.

    Raises:
        UnusableInput, StoreFault: as readings_table().
    """
    with closing(Source(folder)) as source, closing(SeriesReader(folder)) as reader:
        settings = source.settings(wish.to_ms)
        columns = _Readings(settings, wanted(reader, wish.points))
        base: dict[str, Any] = {"bn": f"{_NAME.sub('-', settings.name)}/"}
        lead = "["
        for row in reader.rows(wish.from_ms, wish.to_ms, columns.ids):
            for record in columns.senml(row.reading, row.wall_ms):
                text = json.dumps(base | record, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
                yield f"{lead}\n{text}".encode()
                lead, base = ",", {}
        yield (b"[]\n" if lead == "[" else b"\n]\n")


#: form -> what makes it of readings, and of entries
FORMS: Final[Mapping[tuple[str, str], Callable[[Path, Wish], Iterator[bytes]]]] = {
    ("readings", "table"): readings_table,
    ("journal", "table"): entries_table,
    ("readings", "senml"): readings_senml,
    ("readings", "jsonl"): lambda folder, wish: readings_pieces(folder, "jsonl", wish.from_ms, wish.to_ms, wish.points),
    ("journal", "jsonl"): lambda folder, wish: journal_pieces(folder, "jsonl", wish.from_ms, wish.to_ms),
}


def _head(source: Source, settings: Settings, wish: Wish) -> list[list[str]]:
    chain = source.chain() if wish.proves else None
    if chain is None:
        proved = ["# proof", "not looked at: run `warmwell verify` on the station's folder"]
    elif chain["holds"]:
        proved = ["# proof", f"the journal holds up to entry {source.head.seq}"]
    else:
        proved = ["# NOT PROVED", f"the journal does not hold: {chain['why']}"]
    digests = source.digests(wish.from_ms, wish.to_ms)
    return [
        proved,
        ["# station", settings.name],
        ["# zone", settings.timezone],
        *(["# settings", digest, "since", rfc3339(at_ms)] for at_ms, digest in digests),
        ["# journal", str(source.head.seq), source.head.digest],
    ]


class _Clock:
    """A time as cells: UTC, by the station's clock, and the offset of that."""

    names: Final = ("time_utc", "time_local", "utc_offset")

    def __init__(self, zone: ZoneInfo) -> None:
        self._zone = zone

    def cells(self, wall_ms: int) -> list[Cell]:
        seconds, millis = divmod(wall_ms, 1000)
        there = datetime.fromtimestamp(seconds, UTC).astimezone(self._zone)
        return [
            rfc3339(wall_ms),
            Local(there.replace(microsecond=millis * 1000, tzinfo=None)),
            Offset(there.isoformat()[19:]),
        ]


class _Readings:
    """The columns of readings."""

    def __init__(self, settings: Settings, facts: Sequence[PointFacts]) -> None:
        steps = {point.id: point.resolution for point in settings.points}
        self._clock, self._facts = _Clock(ZoneInfo(settings.timezone)), facts
        self._kinds = {fact.id: Kind(fact.kind) for fact in facts}
        self._words = {fact.id: CONTACT_WORDS[Role(fact.role)] for fact in facts if fact.kind == Kind.CONTACT}
        self._digits = {ident: digits_of(kind, steps.get(ident)) for ident, kind in self._kinds.items()}
        self.ids = [fact.id for fact in facts]
        columns = [name for fact in facts for name in (column_name(fact), f"{fact.id} quality")]
        self.names = [*self._clock.names, "clock_trusted", *columns]

    def row(self, instant: Instant) -> list[Cell]:
        """One instant: time, and of each point its value and, where that isn't good, its quality."""
        found = (instant.readings.get(ident) for ident in self.ids)
        cells = [cell for reading in found for cell in self._cells(reading)]
        return [*self._clock.cells(instant.wall_ms), instant.trusted, *cells]

    def _cells(self, reading: Reading | None) -> tuple[Cell, Cell]:
        if reading is None:
            return "", ""
        quality = "" if reading.quality is Quality.GOOD else f"{reading.quality}: {reading.reason}"
        if not _is_known(reading):
            return "", quality or "bad"
        assert reading.value is not None
        words = self._words.get(reading.point)
        if words is not None:
            return words[int(reading.value)] if reading.value in (0.0, 1.0) else "", quality
        return Figure(reading.value, self._digits[reading.point]), quality

    def senml(self, reading: Reading, wall_ms: int) -> Iterator[dict[str, Any]]:
        """The records of one reading."""
        name, at = _NAME.sub("-", reading.point), {"t": wall_ms / 1000}
        if _is_known(reading):
            assert reading.value is not None
            kind = self._kinds[reading.point]
            if kind is Kind.CONTACT:
                yield {"n": name, **at, "vb": reading.value == 1.0}
            else:
                unit, factor = _SENML[kind]
                said = float(fixed(reading.value, self._digits[reading.point]))
                yield {"n": name, **at, "u": unit, "v": float(f"{said * factor:.{_SIGNIFICANT + 3}g}")}
        if reading.quality is not Quality.GOOD:
            yield {"n": f"{name}/reason", **at, "vs": f"{reading.quality}: {reading.reason}"}


def _is_known(reading: Reading) -> bool:
    return reading.value is not None and math.isfinite(reading.value) and reading.quality is not Quality.BAD


def digits_of(kind: Kind, step: float | None) -> int:
    """How many digits behind the point say something of a reading that comes in steps.

    >>> digits_of(Kind.TEMPERATURE, 0.0625), digits_of(Kind.PRESSURE, 1.0), digits_of(Kind.FLOW, None)
    (2, 0, 2)
    """
    if step is None or step <= 0.0:
        return _DIGITS.get(kind, 2)
    return min(max(0, math.ceil(-math.log10(step) - 1e-9)), _MOST_DIGITS)


def fixed(value: float, digits: int) -> str:
    """A number with so many digits behind the point, never with an exponent or a minus before nothing.

    >>> fixed(31.062500000000004, 2), fixed(-0.001, 2)
    ('31.06', '0.00')
    """
    return f"{round(value, digits) + 0.0:.{digits}f}"


def plain(value: float) -> str:
    """A number with the digits of it that say something.

    >>> plain(0.1 + 0.2), plain(12345.678), plain(0.000123456789), plain(2.0), plain(1234567.8)
    ('0.3', '12345.7', '0.000123457', '2', '1234568')
    """
    if not math.isfinite(value) or value == 0.0:
        return "0" if value == 0.0 else ""
    digits = max(0, _SIGNIFICANT - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:.{digits}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _facts(body: Mapping[str, Any], under: str = "", depth: int = 0) -> dict[str, Cell]:
    """What a body says, a cell each; what is inside of something by its name and a dot."""
    found: dict[str, Cell] = {}
    for key, value in body.items():
        if _LEFT_OUT.fullmatch(key):
            continue
        name = f"{under}{key}"
        if isinstance(value, list) and all(not isinstance(one, dict | list) for one in value):
            found[name] = "; ".join(map(_raw, value))
        elif isinstance(value, dict | list) and depth < _DEEPEST:
            inner = value if isinstance(value, dict) else {str(at): one for at, one in enumerate(value, 1)}
            found |= _facts(inner, f"{name}.", depth + 1)
        elif isinstance(value, str | bool):
            found[name] = value
        elif isinstance(value, int):
            found[name] = Figure(value, 0)
        elif isinstance(value, float):
            found[name] = Figure(value) if math.isfinite(value) else ""
        elif value is not None:
            found[name] = _raw(value)
    return found


def _raw(value: Any) -> str:
    if isinstance(value, bool):
        return _yes(value)
    return plain(value) if isinstance(value, float) else "" if value is None else str(value)


def _with_unit(name: str) -> str:
    unit = next((unit for ending, unit in _UNITS.items() if name.endswith(ending)), None)
    return name if unit is None else f"{name} [{unit}]"


def _yes(is_so: bool) -> str:
    return "yes" if is_so else "no"
