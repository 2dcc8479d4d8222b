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
from contextlib import closing
from itertools import islice
from pathlib import Path
from typing import Any, BinaryIO, Final, NamedTuple, TypeVar

from edge.domain.dates import Dates, dated_json
from edge.domain.entries import Entry, Now, Stamp, rfc3339
from edge.domain.errors import UnusableInput
from edge.domain.readings import CONTACT_WORDS, REASONS, UNIT_OF, Kind, Quality, Reading, Role
from edge.store.journal import ReadOnlyJournal
from edge.store.series_read import PointFacts, Row, SeriesReader

FORMS: Final = ("csv", "jsonl")

#: (done, of); `of` None where it isn't known
Progress = Callable[[int, int | None], None]

T = TypeVar("T")

_PIECE: Final = 500
_FORMULA: Final = ("=", "+", "-", "@", "\t", "\n")
_JOURNAL_COLUMNS: Final = ("seq", "at", "trusted", "boot", "mono_ms", "kind", "what", "by", "body", "dated_at")


class Exported(NamedTuple):
    """What was written. `unreadable`: packed blocks of readings that are damaged and left out."""

    rows: int
    unreadable: int = 0


class Counted:
    """What went by. `unreadable`: packed blocks of readings that are damaged and left out."""

    def __init__(self) -> None:
        self.rows = self.unreadable = 0

    def of(self, items: Iterable[T]) -> Iterator[T]:
        """The same items."""
        for item in items:
            self.rows += 1
            yield item


def export_journal(
    folder: Path,
    out: BinaryIO,
    form: str = "csv",
    from_wall_ms: int | None = None,
    to_wall_ms: int | None = None,
    progress: Progress | None = None,
) -> Exported:
    """Write what journal_pieces() gives. Raises as it does."""
    counted = Counted()
    for piece in journal_pieces(folder, form, from_wall_ms, to_wall_ms, progress, counted):
        out.write(piece)
    return Exported(counted.rows)


def journal_pieces(
    folder: Path,
    form: str,
    from_wall_ms: int | None,
    to_wall_ms: int | None,
    progress: Progress | None = None,
    counted: Counted | None = None,
) -> Iterator[bytes]:
    """Entries whose date, as known now, lies in [from, to), in order of seq, and those of which that can't be told; JSON lines have the
    published shape.

    Raises:
        UnusableInput: no journal there, or a form that isn't known.
        StoreFault: it can't be read.
    """
    _check_form(form)
    counted = counted or Counted()
    with closing(ReadOnlyJournal(folder)) as journal:
        head = journal.last_seq()
        dates = dates_of(journal, head)
        entries = (
            entry
            for entry in entries_of(journal, head, progress)
            if may_lie(entry.stamp, dates, from_wall_ms, to_wall_ms)
        )
        if form == "csv":
            yield from csv_pieces(_JOURNAL_COLUMNS, counted.of(_journal_cells(entry, dates) for entry in entries))
        else:
            yield from json_pieces(counted.of(dated_json(entry, dates) for entry in entries))


def export_readings(
    folder: Path,
    out: BinaryIO,
    form: str = "csv",
    from_wall_ms: int | None = None,
    to_wall_ms: int | None = None,
    points: Sequence[str] | None = None,
    progress: Progress | None = None,
) -> Exported:
    """Write what readings_pieces() gives. Raises as it does."""
    counted = Counted()
    for piece in readings_pieces(folder, form, from_wall_ms, to_wall_ms, points, progress, counted):
        out.write(piece)
    return Exported(counted.rows, counted.unreadable)


def readings_pieces(
    folder: Path,
    form: str,
    from_wall_ms: int | None,
    to_wall_ms: int | None,
    points: Sequence[str] | None,
    progress: Progress | None = None,
    counted: Counted | None = None,
) -> Iterator[bytes]:
    """Readings with wall time in [from, to); `points`: only these, else all.

    CSV: one row an instant, for `warmwell replay`. JSON lines: one reading a line, with boot, monotonic time, quality,
    reason and uncertainty.

    Raises:
        UnusableInput: no readings there, an unknown point, or a form that isn't known.
        StoreFault: they can't be read.
    """
    _check_form(form)
    counted = counted or Counted()
    with closing(SeriesReader(folder)) as reader:
        facts = wanted(reader, points)
        rows = _with_progress(reader.rows(from_wall_ms, to_wall_ms, [fact.id for fact in facts]), reader, progress)
        if form == "csv":
            columns = ["time", *(column_name(fact) for fact in facts)]
            yield from csv_pieces(columns, counted.of(map(_Cells(facts).of, instants(rows))))
        else:
            units = {fact.id: UNIT_OF[Kind(fact.kind)] for fact in facts}
            yield from json_pieces(counted.of(_reading_json(row, units) for row in rows))
        counted.unreadable = reader.unreadable_blocks


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


def may_lie(stamp: Stamp, dates: Dates, from_wall_ms: int | None, to_wall_ms: int | None) -> bool:
    """Can what was stamped so be of this span? What has no date of its own lies between the boots that have one."""
    dated = dates.of(stamp)
    if not dated.doubt:
        return _within(dated.wall_ms, from_wall_ms, to_wall_ms)
    earliest_ms, latest_ms = dates.between(stamp.boot)
    is_later = to_wall_ms is not None and earliest_ms is not None and earliest_ms >= to_wall_ms
    return not is_later and (from_wall_ms is None or latest_ms is None or latest_ms >= from_wall_ms)


def _within(wall_ms: int, from_wall_ms: int | None, to_wall_ms: int | None) -> bool:
    return (from_wall_ms is None or wall_ms >= from_wall_ms) and (to_wall_ms is None or wall_ms < to_wall_ms)


def csv_pieces(
    columns: Sequence[str], rows: Iterable[Sequence[str]], head: Iterable[Sequence[str]] = ()
) -> Iterator[bytes]:
    """A table, some hundreds of rows at a time. `head`: rows before that which names the columns."""
    text = io.StringIO()
    lines = csv.writer(text, lineterminator="\n")
    lines.writerows(head)
    lines.writerow(columns)
    left = iter(rows)
    while piece := list(islice(left, _PIECE)):
        lines.writerows(piece)
        yield text.getvalue().encode("utf-8")
        text.seek(0)
        text.truncate()
    yield text.getvalue().encode("utf-8")  # the header, where no row followed


def json_pieces(documents: Iterable[Any]) -> Iterator[bytes]:
    """One document a line, some hundreds at a time."""
    left = iter(documents)
    while piece := list(islice(left, _PIECE)):
        lines = (json.dumps(document, ensure_ascii=False, allow_nan=False) + "\n" for document in piece)
        yield "".join(lines).encode("utf-8")


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


def wanted(reader: SeriesReader, points: Sequence[str] | None) -> list[PointFacts]:
    """The points that are named, or all. Raises UnusableInput: there is no such point."""
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


def _with_progress(rows: Iterable[Row], reader: SeriesReader, progress: Progress | None) -> Iterator[Row]:
    if progress is None:
        yield from rows
        return
    of, done = reader.readings_sealed(), 0
    for done, row in enumerate(rows, start=1):
        yield row
        if done % 10_000 == 0:
            progress(done, max(of, done))
    progress(done, max(of, done))


def column_name(fact: PointFacts) -> str:
    """What its column is called, with its unit."""
    return fact.id if fact.kind == Kind.CONTACT else f"{fact.id} [{UNIT_OF[Kind(fact.kind)]}]"


class Instant(NamedTuple):
    """Readings of one boot at one millisecond, by point; whether that time is trusted."""

    wall_ms: int
    readings: dict[str, Reading]
    trusted: bool = False


def instants(rows: Iterable[Row]) -> Iterator[Instant]:
    """Readings of one boot at one millisecond make one row; two of one point make two rows of the same time."""
    boot, instant = "", Instant(0, {})
    for row in rows:
        if row.boot != boot or row.wall_ms != instant.wall_ms or row.reading.point in instant.readings:
            if instant.readings:
                yield instant
            boot, instant = row.boot, Instant(row.wall_ms, {}, row.trusted)
        instant.readings[row.reading.point] = row.reading
    if instant.readings:
        yield instant


class _Cells:
    """The cells of one row, one column a point."""

    def __init__(self, facts: Sequence[PointFacts]) -> None:
        self._ids = [fact.id for fact in facts]
        self._words = {fact.id: CONTACT_WORDS[Role(fact.role)] for fact in facts if fact.kind == Kind.CONTACT}

    def of(self, instant: Instant) -> list[str]:
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
