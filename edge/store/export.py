"""Journal and readings as CSV or JSON lines, written piece by piece: memory stays the same whatever the length.

Readings as CSV are in the form that `warmwell replay` reads: a column `time` (RFC 3339, UTC, milliseconds), one column per
point with its unit, contacts in words, `bad:REASON` for a bad reading, blank for none. Numbers are written so that reading
them gives the very same number.

A text that a spreadsheet would take for a formula gets an apostrophe before it.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import islice
from pathlib import Path
from typing import Any, BinaryIO, Final, NamedTuple

from edge.domain.dates import Dates, dated_json
from edge.domain.entries import Entry, Now, rfc3339
from edge.domain.errors import UnusableInput
from edge.domain.readings import CONTACT_WORDS, REASONS, UNIT_OF, Kind, Quality, Reading, Role
from edge.store.journal import ReadOnlyJournal
from edge.store.series_read import PointFacts, Row, SeriesReader

FORMS: Final = ("csv", "jsonl")

#: (done, of); `of` None where it isn't known
Progress = Callable[[int, int | None], None]

_PIECE: Final = 500
_FORMULA: Final = ("=", "+", "-", "@", "\t", "\n")
_JOURNAL_COLUMNS: Final = ("seq", "at", "trusted", "boot", "mono_ms", "kind", "what", "by", "body", "dated_at")


class Exported(NamedTuple):
    """What was written. `unreadable`: packed blocks of readings that are damaged and left out."""

    rows: int
    unreadable: int = 0


def export_journal(
    folder: Path,
    out: BinaryIO,
    form: str = "csv",
    from_wall_ms: int | None = None,
    to_wall_ms: int | None = None,
    progress: Progress | None = None,
) -> Exported:
    """Entries whose date, as known now, lies in [from, to), in order of seq, and those of which that can't be told; JSON lines have the
    published shape.

    Raises:
        UnusableInput: no journal there, or a form that isn't known.
        StoreFault: it can't be read.
    """
    _check_form(form)
    journal = ReadOnlyJournal(folder)
    try:
        head = journal.last_seq()
        dates = dates_of(journal, head)
        entries = (
            entry for entry in entries_of(journal, head, progress) if _may_lie(entry, dates, from_wall_ms, to_wall_ms)
        )
        if form == "csv":
            return Exported(_write_csv(out, _JOURNAL_COLUMNS, (_journal_cells(entry, dates) for entry in entries)))
        return Exported(_write_json(out, (dated_json(entry, dates) for entry in entries)))
    finally:
        journal.close()


def export_readings(
    folder: Path,
    out: BinaryIO,
    form: str = "csv",
    from_wall_ms: int | None = None,
    to_wall_ms: int | None = None,
    points: Sequence[str] | None = None,
    progress: Progress | None = None,
) -> Exported:
    """Readings with wall time in [from, to); `points`: only these, else all.

    CSV: one row an instant, for `warmwell replay`. JSON lines: one reading a line, with boot, monotonic time, quality,
    reason and uncertainty.

    Raises:
        UnusableInput: no readings there, an unknown point, or a form that isn't known.
        StoreFault: they can't be read.
    """
    _check_form(form)
    reader = SeriesReader(folder)
    try:
        facts = _wanted(reader, points)
        rows = _counted(reader.rows(from_wall_ms, to_wall_ms, [fact.id for fact in facts]), reader, progress)
        if form == "csv":
            columns = ["time", *(_column_name(fact) for fact in facts)]
            written = _write_csv(out, columns, map(_Cells(facts).of, _instants(rows)))
        else:
            units = {fact.id: UNIT_OF[Kind(fact.kind)] for fact in facts}
            written = _write_json(out, (_reading_json(row, units) for row in rows))
        return Exported(written, reader.unreadable_blocks)
    finally:
        reader.close()


def guarded(text: str) -> str:
    """The text, with an apostrophe before what a spreadsheet would take for a formula, and plain line ends.

    >>> guarded("=1+1"), guarded("note")
    ("'=1+1", 'note')
    """
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    return "'" + text if text.startswith(_FORMULA) else text


def _check_form(form: str) -> None:
    if form not in FORMS:
        raise UnusableInput(
            f"form {form!r} is not known", where="export", expected="csv or jsonl", do="Name one of them"
        )


def _may_lie(entry: Entry, dates: Dates, from_wall_ms: int | None, to_wall_ms: int | None) -> bool:
    """Can an entry be of this span? One without a date of its own lies between the boots that have one."""
    dated = dates.of(entry.stamp)
    if not dated.doubt:
        return _within(dated.wall_ms, from_wall_ms, to_wall_ms)
    earliest_ms, latest_ms = dates.between(entry.boot)
    is_later = to_wall_ms is not None and earliest_ms is not None and earliest_ms >= to_wall_ms
    return not is_later and (from_wall_ms is None or latest_ms is None or latest_ms >= from_wall_ms)


def _within(wall_ms: int, from_wall_ms: int | None, to_wall_ms: int | None) -> bool:
    return (from_wall_ms is None or wall_ms >= from_wall_ms) and (to_wall_ms is None or wall_ms < to_wall_ms)


def _write_csv(out: BinaryIO, columns: Sequence[str], rows: Iterable[list[str]]) -> int:
    """Write header and rows, some hundreds at a time. Returns how many rows."""
    text = io.StringIO()
    lines = csv.writer(text, lineterminator="\n")
    lines.writerow(columns)
    written, left = 0, iter(rows)
    while piece := list(islice(left, _PIECE)):
        lines.writerows(piece)
        out.write(text.getvalue().encode("utf-8"))
        text.seek(0)
        text.truncate()
        written += len(piece)
    out.write(text.getvalue().encode("utf-8"))  # the header, where no row followed
    return written


def _write_json(out: BinaryIO, documents: Iterable[Any]) -> int:
    """Write one document a line. Returns how many."""
    written, left = 0, iter(documents)
    while piece := list(islice(left, _PIECE)):
        lines = (json.dumps(document, ensure_ascii=False, allow_nan=False) + "\n" for document in piece)
        out.write("".join(lines).encode("utf-8"))
        written += len(piece)
    return written


# -- the journal


def entries_of(journal: ReadOnlyJournal, head: int, progress: Progress | None = None) -> Iterator[Entry]:
    """Those of a journal up to `head`, some hundreds at a time. Raises StoreFault."""
    after = 0
    while after < head:
        piece = journal.read(after, _PIECE)
        if not piece:
            return
        yield from piece
        after = piece[-1].seq
        if progress:
            progress(min(after, head), head)


def dates_of(journal: ReadOnlyJournal, head: int) -> Dates:
    """What the whole journal tells of its clocks: the newest dates the oldest."""
    dates = Dates()
    for entry in entries_of(journal, head):
        dates.note(entry.boot, Now(entry.mono_ms, entry.wall_ms, entry.trusted))
        dates.reached(entry.boot, entry.mono_ms)
    return dates


def _journal_cells(entry: Entry, dates: Dates) -> list[str]:
    body, dated = entry.body, dates.of(entry.stamp)
    what, by = body.get("id", body.get("record", "")), body.get("by", "")
    return [
        str(entry.seq),
        rfc3339(entry.wall_ms),
        "true" if entry.trusted else "false",
        guarded(entry.boot),
        str(entry.mono_ms),
        guarded(entry.kind),
        guarded(str(what)),
        guarded(str(by or "")),
        json.dumps(body, ensure_ascii=False, allow_nan=False),
        "" if dated.doubt else rfc3339(dated.wall_ms),
    ]


# -- readings


def _wanted(reader: SeriesReader, points: Sequence[str] | None) -> list[PointFacts]:
    facts = reader.points()
    if points is None:
        return facts
    known = {fact.id: fact for fact in facts}
    for point in points:
        if point not in known:
            raise UnusableInput(
                f"there is no point {point!r}",
                where=str(reader.path),
                expected=", ".join(known) or "a point",
                do="Name points that have readings here",
            )
    return [known[point] for point in dict.fromkeys(points)]


def _counted(rows: Iterable[Row], reader: SeriesReader, progress: Progress | None) -> Iterator[Row]:
    if progress is None:
        yield from rows
        return
    of, done = reader.readings_sealed(), 0
    for done, row in enumerate(rows, start=1):
        yield row
        if done % 10_000 == 0:
            progress(done, max(of, done))
    progress(done, max(of, done))


def _column_name(fact: PointFacts) -> str:
    return fact.id if fact.kind == Kind.CONTACT else f"{fact.id} [{UNIT_OF[Kind(fact.kind)]}]"


class _Instant(NamedTuple):
    wall_ms: int
    readings: dict[str, Reading]


def _instants(rows: Iterable[Row]) -> Iterator[_Instant]:
    """Readings of one boot at one millisecond make one row; two of one point make two rows of the same time."""
    boot, instant = "", _Instant(0, {})
    for row in rows:
        if row.boot != boot or row.wall_ms != instant.wall_ms or row.reading.point in instant.readings:
            if instant.readings:
                yield instant
            boot, instant = row.boot, _Instant(row.wall_ms, {})
        instant.readings[row.reading.point] = row.reading
    if instant.readings:
        yield instant


class _Cells:
    """The cells of one row, one column a point."""

    def __init__(self, facts: Sequence[PointFacts]) -> None:
        self._ids = [fact.id for fact in facts]
        self._words = {fact.id: CONTACT_WORDS[Role(fact.role)] for fact in facts if fact.kind == Kind.CONTACT}

    def of(self, instant: _Instant) -> list[str]:
        return [rfc3339(instant.wall_ms), *(self._cell(instant.readings.get(point)) for point in self._ids)]

    def _cell(self, reading: Reading | None) -> str:
        if reading is None:
            return ""
        value = reading.value
        if value is None or reading.quality is Quality.BAD or value - value != 0.0:
            return f"bad:{reading.reason}" if reading.reason in REASONS else "NaN"
        words = self._words.get(reading.point)
        if words is None:
            return repr(value)
        return words[int(value)] if value in (0.0, 1.0) else "NaN"


def _reading_json(row: Row, units: dict[str, str]) -> dict[str, Any]:
    reading = row.reading
    return {
        "time": rfc3339(row.wall_ms),
        "trusted": row.trusted,
        "boot": row.boot,
        "mono_ms": reading.mono_ms,
        "point": reading.point,
        "value": _finite(reading.value),
        "unit": units[reading.point],
        "quality": reading.quality.value,
        "reason": reading.reason,
        "u": _finite(reading.u),
    }


def _finite(value: float | None) -> float | None:
    return None if value is None or value - value != 0.0 else value
