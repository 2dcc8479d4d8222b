"""What is asked of the archive's database for the fleet: the list, sites, one station, its entries. Reads, and nothing else.

A page of a list goes on behind a row and not after a number of rows, so that the database walks an index from there on. Which columns
stand in which index: edge/archive/migrations.py.
"""

from __future__ import annotations

import base64
import json
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from edge.archive import migrations
from edge.archive.messages import Unkept, object_of
from edge.archive.store import LOCK, connect, in_trouble

if TYPE_CHECKING:
    from psycopg import Connection

#: sort -> its columns, all ascending, with the type of each; the last two make it unique
SORTS: Final[Mapping[str, tuple[tuple[str, str], ...]]] = {
    name: (*first, ("site", "text"), ("name", "text"))
    for name, first in {
        "urgent": (("urgency", "int"),), "name": (), "filters": (("filters_due", "timestamptz"),),
        "calibration": (("calibration_due", "timestamptz"),), "heard": (("heard_at", "timestamptz"),),
    }.items()
}  # fmt: skip
_COLUMNS: Final = (
    "site, name, title, timezone, node, verdict, display, said_at, heard_at, silent_at <= now() AS is_silent, expected_at, first_text,"
    " first_msg, alarm, alarms, filters_due, calibration_due, entries, missing, misfit, clashes, urgency"
)
_VERDICTS: Final[Mapping[str, str]] = {
    "ready": "verdict = 'ready' AND silent_at > now()",
    "not_ready": "verdict = 'not_ready' AND silent_at > now()",
    "unknown": "(verdict = 'unknown' OR silent_at <= now())",
}
_SITES: Final = """
SELECT site, count(*) AS stations, count(*) FILTER (WHERE silent_at <= now()) AS silent,
    count(*) FILTER (WHERE verdict = 'ready' AND silent_at > now()) AS ready,
    count(*) FILTER (WHERE display = 'not_ready' AND silent_at > now()) AS not_ready,
    count(*) FILTER (WHERE alarm > 0 AND silent_at > now()) AS with_alarms, count(*) FILTER (WHERE missing > 0) AS with_gaps,
    count(*) FILTER (WHERE misfit OR clashes > 0) AS altered
FROM summary WHERE site > %s GROUP BY site ORDER BY site LIMIT %s"""
_JOURNALS: Final = """
SELECT j.id, j.mark, j.first_heard, greatest(coalesce(upper(h.have), 1) - 1, h.head_seq) AS last_seq, h.last_at, h.verified_seq, h.misfit,
    int8multirange(int8range(1, greatest(coalesce(upper(h.have), 1), h.head_seq + 1))) - (h.have + h.lost) AS gaps
FROM journal j JOIN heard h ON h.journal = j.id WHERE j.station = %s ORDER BY j.id DESC"""
#: of one journal so many gaps are told
_MOST_GAPS: Final = 100


class Filters(NamedTuple):
    """What the list is narrowed to. `verdict`: as _VERDICTS; `alarm`: at least this priority stands, by its
    number; the rest: only those."""

    site: str | None = None
    verdict: str | None = None
    alarm: int = 0
    silent: bool = False
    gaps: bool = False
    altered: bool = False


class BadCursor(ValueError):
    """It is none that a list of this order gave."""


class Fleet:
    """The database, asked by any thread: a connection is made when all are in use, and made anew when it is lost.

    Every call raises StoreFault where the database can't be used.
    """

    def __init__(self, dsn: str) -> None:
        self._dsn, self._lock = dsn, threading.Lock()
        self._idle: list[Connection[Any]] = []

    def close(self) -> None:
        """Let the connections go that nobody uses."""
        with self._lock:
            idle, self._idle = self._idle, []
        for db in idle:
            db.close()

    def check(self) -> None:
        """See that the tables are those of this version. Raises UnusableInput, NewerStore."""
        with self._db() as db:
            migrations.check(db)

    def stations(
        self, filters: Filters, sort: str, after: str | None, limit: int
    ) -> tuple[list[dict[str, Any]], str | None]:
        """A page of the list, and where the next goes on; None: there is no more.

        Args:
            sort: of SORTS.
            after: where a page before went on; None: from the first on.

        Raises:
            BadCursor: `after` is of another order, or none.
        """
        sql, values = listed(filters, sort, after)
        with self._db() as db:
            rows = _rows(db, f"{sql} LIMIT %s", (*values, limit + 1))
        more = len(rows) > limit
        return rows[:limit], _cursor(sort, rows[limit - 1]) if more else None

    def sites(self, after: str, limit: int) -> list[dict[str, Any]]:
        """How many stations each site has, and of which kind; by name, behind `after`."""
        with self._db() as db:
            return _rows(db, _SITES, (after, limit))

    def is_heard(self) -> bool:
        """Whether an archive's worker hears now."""
        sql = (
            "SELECT EXISTS (SELECT FROM pg_locks WHERE locktype = 'advisory' AND granted AND classid = %s AND objid = %s"
            " AND database = (SELECT oid FROM pg_database WHERE datname = current_database()))"
        )
        with self._db() as db:
            row = db.execute(sql, (LOCK >> 32, LOCK & 0xFFFFFFFF)).fetchone()
        return bool(row and row[0])

    def station(self, site: str, name: str) -> dict[str, Any] | None:
        """One station's row, what it said last by topic ("said"), and its journals; None where there is none."""
        with self._db() as db:
            found = _rows(db, f"SELECT station, {_COLUMNS} FROM summary WHERE (site, name) = (%s, %s)", (site, name))
            if not found:
                return None
            number = found[0].pop("station")
            said = db.execute("SELECT topic, message, at FROM said WHERE station = %s", (number,)).fetchall()
            journals = _rows(db, _JOURNALS, (number,))
            for one in journals:
                gaps = [[gap.lower, gap.upper - 1] for gap in one["gaps"]]
                one["missing"], one["gaps"] = sum(high - low + 1 for low, high in gaps), gaps[:_MOST_GAPS]
            return {
                **found[0],
                "said": {topic: (bytes(message), at) for topic, message, at in said},
                "journals": journals,
            }

    def settings(self, site: str, name: str) -> dict[str, Any] | None:
        """The document of the newest settings that came of a station's newest journal."""
        sql = (
            "SELECT e.message FROM entry e WHERE e.kind = 'settings' AND e.journal = (SELECT max(j.id) FROM journal j JOIN station s"
            " ON s.id = j.station WHERE (s.site, s.name) = (%s, %s)) ORDER BY e.seq DESC LIMIT 1"
        )
        with self._db() as db:
            row = db.execute(sql, (site, name)).fetchone()
        try:
            document = object_of(bytes(row[0]))["body"]["document"] if row else None
        except (Unkept, KeyError, TypeError):
            return None
        return document if isinstance(document, dict) else None

    def history(
        self, site: str, name: str, before: str | None, limit: int
    ) -> tuple[list[dict[str, Any]], str | None] | None:
        """Entries, the newest first, journal by journal, and where older ones go on; None where there is no such station.

        Raises:
            BadCursor: `before` is none.
        """
        journal_before, seq_before = _entry_cursor(before)
        with self._db() as db:
            station = db.execute("SELECT id FROM station WHERE (site, name) = (%s, %s)", (site, name)).fetchone()
            if station is None:
                return None
            journals = db.execute(
                "SELECT id, mark FROM journal WHERE station = %s AND id <= %s ORDER BY id DESC",
                (station[0], journal_before),
            ).fetchall()
            found: list[dict[str, Any]] = []
            for number, mark in journals:
                upto = seq_before if number == journal_before else 2**53
                rows = db.execute(
                    "SELECT seq, at, trusted, kind, message, arrived FROM entry WHERE journal = %s AND seq < %s ORDER BY seq DESC LIMIT %s",
                    (number, upto, limit + 1 - len(found)),
                ).fetchall()
                found += [_entry(number, mark, *row) for row in rows]
                if len(found) > limit:
                    break
        last = found[limit - 1] if len(found) > limit else None
        cursor = None if last is None else f"{last['number']}.{last['seq']}"
        return [{key: value for key, value in one.items() if key != "number"} for one in found[:limit]], cursor

    @contextmanager
    def _db(self) -> Iterator[Connection[Any]]:
        with in_trouble():
            with self._lock:
                db = self._idle.pop() if self._idle else None
            db = db or connect(self._dsn, reads_only=True)
            try:
                yield db
            finally:
                if db.broken or db.closed:
                    db.close()
                else:
                    with self._lock:
                        self._idle.append(db)


def listed(filters: Filters, sort: str, after: str | None) -> tuple[str, tuple[Any, ...]]:
    """The list's SQL without its LIMIT, and its values. Raises BadCursor."""
    keys = SORTS[sort]
    wanted: list[str] = []
    values: list[Any] = []
    if filters.site is not None:
        wanted.append("site = %s")
        values.append(filters.site)
    if filters.verdict is not None:
        wanted.append(_VERDICTS[filters.verdict])
    if filters.alarm:
        wanted.append("alarm >= %s AND silent_at > now()")
        values.append(filters.alarm)
    wanted += ["silent_at <= now()"] if filters.silent else []
    wanted += ["missing > 0"] if filters.gaps else []
    wanted += ["(misfit OR clashes > 0)"] if filters.altered else []
    if after is not None:
        wanted.append(f"({', '.join(name for name, _ in keys)}) > ({', '.join(f'%s::{kind}' for _, kind in keys)})")
        values += _behind(after, sort)
    where = f" WHERE {' AND '.join(wanted)}" if wanted else ""
    return f"SELECT {_COLUMNS} FROM summary{where} ORDER BY {', '.join(name for name, _ in keys)}", tuple(values)


def _cursor(sort: str, row: Mapping[str, Any]) -> str:
    told = [row[name] if not isinstance(row[name], datetime) else row[name].isoformat() for name, _ in SORTS[sort]]
    return base64.urlsafe_b64encode(json.dumps([sort, *told]).encode()).decode().rstrip("=")


def _behind(after: str, sort: str) -> list[Any]:
    try:
        told = json.loads(base64.urlsafe_b64decode(after + "=" * (-len(after) % 4)))
        head, *values = told
        if head != sort or len(values) != len(SORTS[sort]):
            raise BadCursor
        if not all(_is(value, kind) for value, (_, kind) in zip(values, SORTS[sort], strict=True)):
            raise BadCursor
    except (ValueError, TypeError) as exc:
        raise BadCursor from exc
    return list(values)


def _is(value: object, kind: str) -> bool:
    """Whether a value is of a column's type. Raises ValueError as well."""
    if kind == "int":
        return type(value) is int and 0 <= value < 100
    if not isinstance(value, str) or not value.isprintable():
        return False
    return kind == "text" or datetime.fromisoformat(value).tzinfo is not None


def _entry_cursor(before: str | None) -> tuple[int, int]:
    if before is None:
        return 2**31 - 1, 2**53
    number, _, seq = before.partition(".")
    if not (number.isascii() and number.isdigit() and seq.isascii() and seq.isdigit()) or len(before) > 30:
        raise BadCursor
    if int(number) >= 2**31 or int(seq) > 2**53:
        raise BadCursor
    return int(number), int(seq)


def _entry(
    number: int, mark: str, seq: int, at: datetime, trusted: bool, kind: str, message: bytes, arrived: datetime
) -> dict[str, Any]:
    try:
        body = object_of(bytes(message)).get("body")
    except Unkept:
        body = None
    return {
        "number": number, "journal": mark, "seq": seq, "at": at, "trusted": trusted, "kind": kind,
        "body": body if isinstance(body, dict) else {}, "arrived": arrived,
    }  # fmt: skip


def _rows(db: Connection[Any], sql: str, values: tuple[Any, ...]) -> list[dict[str, Any]]:
    cursor = db.execute(sql.encode(), values)  # bytes: it is put together of our own names alone
    names = [column.name for column in cursor.description or ()]
    return [dict(zip(names, row, strict=True)) for row in cursor]
