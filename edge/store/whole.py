"""A journal as one piece: its closed segments, then journal.db. Whoever reads entries reads them through here.

A closed segment, `journal-000001.db` beside journal.db, is a file of the same table that is never written again. journal.db lists
each in its table `segment`: which entries, the digest of the last, the file's size and SHA-256. Its own entries go on behind the last
one, in the same chain; while those of a segment are still being taken out of it they stand in both.

A segment that is not in the folder is an error to whoever asks for its entries, never a gap.
"""

from __future__ import annotations

import hashlib
import os
import re
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, Final, NamedTuple
from urllib.parse import quote

from edge.domain.errors import StoreFault
from edge.store.chain import FIRST_PREVIOUS
from edge.store.database import Damaged, as_sentence, looks_like_sqlite, newer_store
from edge.store.schema import JOURNAL_VERSION

_COLUMNS: Final = "number, first, last, entries, first_digest, digest, bytes, sha256, closed_at"
_NAME: Final = re.compile(r"journal-([0-9]{6})\.db")
PUT_BACK: Final = (
    "Put it back from where it was moved to; else restore a backup, which holds its entries, to another folder "
    "(`warmwell restore`)"
)


class Head(NamedTuple):
    """The newest entry on disk."""

    seq: int
    digest: bytes


class Segment(NamedTuple):
    """A closed segment as journal.db lists it. `first` and `last` are seqs, with their digests; `closed_at` is RFC 3339."""

    number: int
    first: int
    last: int
    entries: int
    first_digest: bytes
    digest: bytes
    bytes: int
    sha256: str
    closed_at: str

    @property
    def name(self) -> str:
        """Of its file."""
        return segment_name(self.number)

    @property
    def told(self) -> str:
        """Words for it."""
        return f"{self.name} (entries {self.first} to {self.last})"


class SegmentAway(StoreFault):
    """A closed segment whose entries are asked for isn't in the folder. `segment`: which."""

    def __init__(self, segment: Segment, folder: Path) -> None:
        self.segment = segment
        super().__init__(
            f"{segment.told} is not here", where=str(folder), expected="the journal's closed segments beside journal.db",
            do=PUT_BACK,
        )  # fmt: skip


def segment_name(number: int) -> str:
    """The file of a closed segment.

    >>> segment_name(1)
    'journal-000001.db'
    """
    return f"journal-{number:06d}.db"


def segment_files(folder: Path) -> list[tuple[int, Path]]:
    """Files of closed segments in a folder, by number, whether a journal lists them or not. Raises OSError."""
    found = ((_NAME.fullmatch(path.name), path) for path in folder.iterdir())
    return sorted((int(named[1]), path) for named, path in found if named is not None)


def open_segment(path: Path) -> sqlite3.Connection:
    """A connection that only reads; nothing is made beside the file. Raises StoreFault."""
    if not looks_like_sqlite(path):
        raise Damaged(
            "it doesn't begin as an SQLite file does", where=str(path), expected="a closed segment", do=PUT_BACK
        )
    with as_sentence(str(path)):
        uri = f"file:{quote(str(path.absolute()))}?mode=ro&immutable=1"
        return sqlite3.connect(uri, uri=True, isolation_level=None, check_same_thread=False)


def sha256_of(path: Path) -> str:
    """Of a file's content, in hex. Raises StoreFault."""
    with as_sentence(str(path)), path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


class Whole:
    """All entries of a journal, as a connection to journal.db sees them. For one question: close() lets the segments' files go.

    Args:
        conn: to journal.db.
        path: of journal.db; the segments stand beside it.

    Raises:
        NewerStore: a later version wrote it.
    """

    def __init__(self, conn: sqlite3.Connection, path: Path) -> None:
        self.conn, self._folder = conn, path.parent
        version = int(conn.execute("PRAGMA user_version").fetchone()[0])
        if version > JOURNAL_VERSION:
            raise newer_store(path, str(version), JOURNAL_VERSION)
        sql = "SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = 'segment'"
        self._has_segments = conn.execute(sql).fetchone() is not None
        self._open: tuple[int, sqlite3.Connection] | None = None

    def __enter__(self) -> Whole:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let the segments' files go."""
        if self._open is not None:
            self._open[1].close()
            self._open = None

    # -- segments

    def segments(self, after: int = 0) -> list[Segment]:
        """Those that hold entries with seq > after, in order."""
        if not self._has_segments:
            return []
        sql = f"SELECT {_COLUMNS} FROM segment WHERE last > ? ORDER BY number"
        return [Segment(*row) for row in self.conn.execute(sql, (after,))]

    def border(self) -> Head:
        """The last entry of the last closed segment; (0, 32 zero bytes) where there is none."""
        if self._has_segments:
            row = self.conn.execute("SELECT last, digest FROM segment ORDER BY number DESC LIMIT 1").fetchone()
            if row is not None:
                return Head(row[0], bytes(row[1]))
        return Head(0, FIRST_PREVIOUS)

    def within(self, segment: Segment) -> sqlite3.Connection:
        """A connection to a closed segment. Raises SegmentAway, Damaged, StoreFault."""
        if self._open is not None and self._open[0] == segment.number:
            return self._open[1]
        self.close()
        path = self._folder / segment.name
        with as_sentence(str(path)):
            try:
                size = os.stat(path).st_size
            except FileNotFoundError:
                raise SegmentAway(segment, self._folder) from None
        if size != segment.bytes:
            raise Damaged(
                f"{segment.told} has {size} bytes: it was cut or altered", where=str(path), expected=f"{segment.bytes} bytes",
                do=f"Keep the file, it is evidence, under another name. {PUT_BACK}",
            )  # fmt: skip
        self._open = (segment.number, open_segment(path))
        return self._open[1]

    # -- entries

    def rows(self, columns: str, after: int, limit: int) -> list[tuple[Any, ...]]:
        """Of entries with seq > after, in order, at most `limit`. `columns`: of the table, `seq` first.

        Raises:
            StoreFault: they stand in a segment that isn't here or can't be read.
        """
        sql = f"SELECT {columns} FROM entry WHERE seq > ? ORDER BY seq LIMIT ?"
        rows = self.conn.execute(sql, (after, limit)).fetchall()
        if rows and rows[0][0] == after + 1:
            return rows
        with (
            self._at_one_instant()
        ):  # a rotation takes out of journal.db what it has listed: both are asked of one state
            found: list[tuple[Any, ...]] = []
            for segment in self.segments(after):
                try:
                    found += self._asked(segment, sql, found[-1][0] if found else after, limit - len(found))
                except StoreFault:
                    if not found:
                        raise
                    return found  # whoever goes on from there hears of it
                if len(found) >= limit:
                    return found
            last = found[-1][0] if found else after
            return found + self.conn.execute(sql, (last, limit - len(found))).fetchall()

    def row(self, columns: str, seq: int) -> tuple[Any, ...] | None:
        """Of one entry; None where there is none. Raises StoreFault."""
        sql = f"SELECT {columns} FROM entry WHERE seq = ?"
        row: tuple[Any, ...] | None = self.conn.execute(sql, (seq,)).fetchone()
        if row is None:  # once it is out of journal.db its segment is listed
            for segment in self.segments(seq - 1)[:1]:
                row = next(iter(self._asked(segment, sql, seq)), None)
        return row

    def each(self, sql: str, *values: object) -> Iterator[tuple[Any, ...]]:
        """What one query over the table `entry` finds, asked of the segments in order and then of journal.db. Raises StoreFault."""
        with self._at_one_instant():
            segments = self.segments()
            for segment in segments:
                yield from self._asked(segment, sql, *values)
            border = segments[-1].last if segments else 0
            yield from (row for row in self.conn.execute(sql, values) if row[0] > border)

    def last_that(self, columns: str, where: str) -> tuple[Any, ...] | None:
        """Of the newest entry for which an expression holds; None where there is none. Raises StoreFault."""
        sql = f"SELECT {columns} FROM entry WHERE {where} ORDER BY seq DESC LIMIT 1"
        row: tuple[Any, ...] | None = self.conn.execute(sql).fetchone()
        for segment in reversed(self.segments()) if row is None else ():
            row = next(iter(self._asked(segment, sql)), None)
            if row is not None:
                break
        return row

    def head(self) -> Head:
        """The newest entry; (0, 32 zero bytes) where there is none."""
        row = self.conn.execute("SELECT seq, digest FROM entry ORDER BY seq DESC LIMIT 1").fetchone()
        return Head(row[0], bytes(row[1])) if row else self.border()

    def newest(self, number: int) -> Head:
        """Behind which about `number` of the newest entries stand; all that are in journal.db where it has fewer."""
        border = self.border()
        sql = "SELECT coalesce(max(seq), 0) FROM entry WHERE seq <= ?"
        seq = max(int(self.conn.execute(sql, (self.head().seq - number,)).fetchone()[0]), border.seq)
        return border if seq == border.seq else Head(seq, self.live_digest(seq) or FIRST_PREVIOUS)

    def count(self) -> int:
        """How many stand in journal.db."""
        return int(self.conn.execute("SELECT count(*) FROM entry").fetchone()[0])

    def first_live(self) -> int:
        """The seq of the first entry in journal.db; behind the last segment where it holds none."""
        found = self.conn.execute("SELECT min(seq) FROM entry WHERE seq > 0").fetchone()[0]
        return int(found) if found is not None else self.border().seq + 1

    def live_digest(self, seq: int) -> bytes | None:
        """Of an entry as journal.db has it; None where it has none."""
        row = self.conn.execute("SELECT digest FROM entry WHERE seq = ?", (seq,)).fetchone()
        return bytes(row[0]) if row else None

    def digest(self, seq: int) -> bytes | None:
        """Of an entry; None where there is none, of 0 what stands before the first. Raises StoreFault."""
        if seq == 0:
            return FIRST_PREVIOUS
        digest = self.live_digest(seq)
        for segment in self.segments(seq - 1)[:1] if digest is None else ():
            if segment.last == seq:  # known without the file
                return segment.digest
            rows = self._asked(segment, "SELECT digest FROM entry WHERE seq = ?", seq)
            return bytes(rows[0][0]) if rows else None
        return digest

    def mark(self) -> str:
        """Which journal this is: the first 16 hex digits of its first entry's digest; "" where it is empty."""
        first: sqlite3.Cursor | list[Any] = []
        if self._has_segments:
            first = self.conn.execute("SELECT first_digest FROM segment WHERE number = 1")
        row = next(iter(first), None) or self.conn.execute("SELECT digest FROM entry ORDER BY seq LIMIT 1").fetchone()
        return bytes(row[0]).hex()[:16] if row else ""

    def before(self, seq: int, number: int = 1) -> int:
        """The seq of the newest entry at or below `seq - number`; 0 where there is none. Raises StoreFault."""
        sql = "SELECT coalesce(max(seq), 0) FROM entry WHERE seq <= ?"
        found = int(self.conn.execute(sql, (seq - number,)).fetchone()[0])
        for segment in reversed(self.segments()) if not found else ():
            if segment.last <= seq - number:
                return segment.last
            if segment.first <= seq - number:
                return int(self._asked(segment, sql, seq - number)[0][0])
        return found

    def _asked(self, segment: Segment, sql: str, *values: object) -> list[tuple[Any, ...]]:
        conn = self.within(segment)
        with as_sentence(str(self._folder / segment.name)):
            return conn.execute(sql, values).fetchall()

    @contextmanager
    def _at_one_instant(self) -> Iterator[None]:
        if self.conn.in_transaction or not self._has_segments:
            yield
            return
        self.conn.execute("BEGIN")
        try:
            yield
        finally:
            with suppress(sqlite3.OperationalError):  # that none is open: after some errors SQLite ends it itself
                self.conn.execute("COMMIT")


__all__ = [
    "Head",
    "PUT_BACK",
    "Segment",
    "SegmentAway",
    "Whole",
    "open_segment",
    "segment_files",
    "segment_name",
    "sha256_of",
]
