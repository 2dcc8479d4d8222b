"""Rotation: the oldest entries of journal.db go into closed segments, so that it stays short however long a board is fitted.

One segment takes these steps, and whatever ends them in the middle, no entry is lost and the next start goes on with them:

1. The entries are copied to `journal-000001.db.part`, synced piece by piece. (Left over: it is made anew.)
2. The copy is read back from the disk: its chain, its number of entries, its last digest. Then it gets its name, and the folder is
   synced. (Left over: a file of that name is looked through in the same way, and taken where it is of this journal.)
3. journal.db lists it, in one short commit: from now on its entries are read there.
4. Only then are they taken out of journal.db, some 200 in a commit, so that no append waits for more. (Left over: goes on, once the
   file was looked through again. A trigger lets only go what stands in a listed segment.)

Room that is free in journal.db is filled by the entries to come; nothing is moved about in it, which spares the card.
"""

from __future__ import annotations

import logging
import os
import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final, NamedTuple, Protocol, TypeVar

from edge.domain.errors import StoreFault, WarmwellError
from edge.store.chain import FIRST_PREVIOUS
from edge.store.database import Damaged, DiskFull, as_sentence, sync_path
from edge.store.schema import CLOSED, ENTRY_TABLE, ENTRY_VIEW, JOURNAL_VERSION, NEVER_DELETED, TRIGGERS
from edge.store.space import Room, Space
from edge.store.verify import Misfit, count_chained
from edge.store.whole import Head, Segment, Whole, open_segment, segment_files, segment_name, sha256_of

_log = logging.getLogger("warmwell.store")

#: a start is left alone for so long; then it is asked so often whether a segment is due (real seconds)
_FIRST_S: Final = 60.0
_EVERY_S: Final = 3600.0
#: between two steps (real seconds): the card and the processor are the station's own
_PAUSE_S: Final = 0.5
#: entries that are copied, and that are taken out, in one step
_COPIED: Final = 500
_TAKEN_OUT: Final = 200
#: of a segment, which is read from its first entry to its last
_PAGE_BYTES: Final = 4096
_ROW: Final = "seq, hashed, digest, trusted, trust_check"

T = TypeVar("T")
Change = Callable[[Callable[[sqlite3.Connection], object]], None]


class Asks(Protocol):
    """Asks one question of the whole journal."""

    def __call__(self, question: Callable[[Whole], T], /) -> T: ...


class Span(NamedTuple):
    """How long segments are: a segment takes the oldest `entries` once `kept` newer ones stand behind them."""

    entries: int
    kept: int = 20_000


class Rotation:
    """The rotation of one journal. One thread at a time.

    Args:
        path: of journal.db.
        span: None: nothing is closed, but what was begun is finished.
        ask: reads.
        change: does something to journal.db in one commit.
        space: while the disk has little room, nothing is begun.
    """

    def __init__(self, path: Path, span: Span | None, ask: Asks, change: Change, space: Space) -> None:
        self._path, self._span, self._ask, self._change, self._space = path, span, ask, change, space
        self.trouble: str | None = None  # why a segment that is due can't be closed

    def run(self, ended: threading.Event) -> None:
        """Do what is due now and then, until `ended`."""
        wait_s = _FIRST_S
        while not ended.wait(wait_s):
            self.all_due(lambda: ended.wait(_PAUSE_S))
            wait_s = _EVERY_S

    def all_due(self, pause: Callable[[], bool] = lambda: False) -> None:
        """Close what is due. `pause`: between two steps; True: go on another time. Never raises: `trouble` says why it can't be done."""
        try:
            for _ in self.steps():
                if pause():
                    return
        except (WarmwellError, OSError, sqlite3.Error) as exc:
            if self.trouble is None:
                _log.warning("the journal's oldest entries can't be closed into a segment: %s", exc)
            self.trouble = str(exc)
        else:
            self.trouble = None

    def steps(self) -> Iterator[str]:
        """Each yields its name once it is done: copied, named, listed, taken out."""
        for left in self._path.parent.glob(f"{self._path.stem}-*.db.part"):
            left.unlink()
        yield from self._taken_out(is_seen=False)
        while (due := self._due()) is not None:
            yield from self._closed(*due)
            yield from self._taken_out(is_seen=True)
        self._ask(_see_that_all_are_here)

    def _due(self) -> tuple[Head, int, int] | None:
        """The border, the number of the next segment and its last entry; None: none is due, or there is too little room."""
        span = self._span
        if span is None:
            return None

        def question(whole: Whole) -> tuple[Head, int, int] | None:
            border = whole.border()
            if whole.head().seq - border.seq < span.entries + span.kept:
                return None
            sql = "SELECT seq FROM entry WHERE seq > ? ORDER BY seq LIMIT 1 OFFSET ?"
            last = whole.conn.execute(sql, (border.seq, span.entries - 1)).fetchone()
            if last is None or whole.conn.execute(sql, (last[0], span.kept - 1)).fetchone() is None:
                return None  # there are gaps: entries that were lost
            return border, len(whole.segments()) + 1, int(last[0])

        due = self._ask(question)
        if due is not None and self._space.room() is not Room.FOR_ALL:
            raise DiskFull(
                "the disk has little room, so the journal's oldest entries are not closed into a segment", where=str(self._path.parent),
                expected="room for a copy of them", do="Free some space; Warmwell goes on by itself",
            )  # fmt: skip
        return due

    def _closed(self, border: Head, number: int, last: int) -> Iterator[str]:
        path = self._path.with_name(segment_name(number))
        with as_sentence(str(path)):
            if os.path.lexists(path):
                segment = look_through(path, number, border)
            else:
                part = path.with_name(path.name + ".part")
                yield from self._copied(part, border, last)
                segment = look_through(part, number, border)
                os.replace(part, path)
            sync_path(path.parent)
            yield "named"
        if self._ask(lambda whole: whole.live_digest(segment.last)) != segment.digest:
            raise StoreFault(
                "a file of this name is here, and its entries aren't those of the journal", where=str(path),
                expected=f"entry {last} as the journal has it", do="Move it to another folder; it may be evidence",
            )  # fmt: skip
        self._change(lambda conn: list_segment(conn, segment))
        yield "listed"

    def _copied(self, part: Path, border: Head, last: int) -> Iterator[str]:
        part.unlink(missing_ok=True)
        os.close(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW | os.O_CLOEXEC, 0o640))
        try:
            with closing(sqlite3.connect(part, isolation_level=None, check_same_thread=False)) as conn:
                for pragma in (f"page_size={_PAGE_BYTES}", "journal_mode=OFF", "synchronous=FULL"):
                    conn.execute(f"PRAGMA {pragma}").fetchall()
                conn.execute(ENTRY_TABLE)
                after = border.seq
                while rows := self._next(after, last):
                    conn.execute("BEGIN")  # each piece is synced: no long sync stands before a commit of the journal
                    conn.executemany(f"INSERT INTO entry ({_ROW}) VALUES (?, ?, ?, ?, ?)", rows)
                    conn.execute("COMMIT")
                    after = rows[-1][0]
                    yield "copied"
                for sql in (ENTRY_VIEW, TRIGGERS["entry_no_update"], NEVER_DELETED, CLOSED):
                    conn.execute(sql)
                conn.execute(f"PRAGMA user_version={JOURNAL_VERSION:d}")
            os.chmod(part, 0o440)
            sync_path(part)
        except (WarmwellError, OSError, sqlite3.Error):
            part.unlink(missing_ok=True)
            raise

    def _next(self, after: int, last: int) -> list[tuple[Any, ...]]:
        sql = f"SELECT {_ROW} FROM entry WHERE seq > ? AND seq <= ? ORDER BY seq LIMIT {_COPIED}"
        return self._ask(lambda whole: whole.conn.execute(sql, (after, last)).fetchall())

    def _taken_out(self, *, is_seen: bool) -> Iterator[str]:
        """What stands in a segment goes out of journal.db. `is_seen`: the segment's file was looked through a moment ago."""
        sql = f"SELECT max(seq) FROM (SELECT seq FROM entry WHERE seq <= ? ORDER BY seq LIMIT {_TAKEN_OUT})"

        def question(whole: Whole) -> tuple[int | None, list[Segment]]:
            border = whole.border().seq
            return whole.conn.execute(sql, (border,)).fetchone()[0], whole.segments()[-2:]

        while True:
            up_to, segments = self._ask(question)
            if up_to is None:
                return
            if not is_seen:
                self._see_that_it_is_there(segments)
                is_seen = True
            self._change(lambda conn, last=up_to: conn.execute("DELETE FROM entry WHERE seq <= ?", (last,)))  # type: ignore[misc]
            yield "taken out"

    def _see_that_it_is_there(self, segments: list[Segment]) -> None:
        """Before entries are taken out: their segment on disk is the one that is listed. Raises StoreFault."""
        segment = segments[-1]
        border = Head(segments[0].last, segments[0].digest) if len(segments) > 1 else Head(0, FIRST_PREVIOUS)
        found = look_through(self._path.with_name(segment.name), segment.number, border)
        if found._replace(closed_at="") != segment._replace(closed_at=""):
            raise StoreFault(
                "it isn't the segment that journal.db lists", where=str(self._path.with_name(segment.name)),
                expected="the file as it was closed", do="Find out who changed it; the entries that still stand in journal.db stay there",
            )  # fmt: skip


def _see_that_all_are_here(whole: Whole) -> None:
    """Each closed segment that is listed is in the folder, as long as it was. Raises StoreFault."""
    for segment in whole.segments():
        whole.within(segment)


def look_through(path: Path, number: int, border: Head, station: str | None = None) -> Segment:
    """What a file holds, read from the disk, as journal.db lists it.

    Args:
        border: the entry before its first.
        station: whose it has to be; None: any one's.

    Raises:
        Damaged: its chain doesn't hold, or doesn't begin there.
        StoreFault: it can't be read.
    """
    with as_sentence(str(path)):
        fd = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
        try:
            os.posix_fadvise(fd, 0, 0, os.POSIX_FADV_DONTNEED)  # what was synced is read back, not remembered
            size = os.fstat(fd).st_size
        finally:
            os.close(fd)
        with closing(open_segment(path)) as conn:
            found = count_chained(conn, border, station)
    if isinstance(found, Misfit):
        raise Damaged(
            f"entry {found.seq}: {found.why}", where=str(path), expected=f"a chain that goes on behind entry {border.seq}",
            do="Move the file to another folder, it is evidence; the journal's own entries are whole",
        )  # fmt: skip
    return Segment(
        number, found.first.seq, found.last.seq, found.entries, found.first.digest, found.last.digest, size, sha256_of(path),
        f"{datetime.now(UTC):%Y-%m-%dT%H:%M:%SZ}",
    )  # fmt: skip


def list_segment(conn: sqlite3.Connection, segment: Segment) -> None:
    """Let journal.db list a closed segment."""
    conn.execute("INSERT INTO segment VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)", segment)


def take_up(conn: sqlite3.Connection, folder: Path, station: str) -> None:
    """A new journal.db, where the one before is gone, goes on behind the closed segments that are still there.

    Raises:
        StoreFault: they are no chain from the first entry on.
    """
    border = Head(0, FIRST_PREVIOUS)
    for expected, (number, path) in enumerate(segment_files(folder), start=1):
        why = f"{segment_name(expected)} is not here, {path.name} is" if number != expected else ""
        try:
            segment = look_through(path, number, border, station)
        except Damaged as exc:
            why = why or f"{path.name}: {exc.what}"
        if why:
            raise StoreFault(
                f"journal.db is gone, and its closed segments are no whole chain: {why}", where=str(folder),
                expected="all of them from the first on", do="Put good copies there; else move them to another folder, they are evidence",
            )  # fmt: skip
        list_segment(conn, segment)
        border = Head(segment.last, segment.digest)


__all__ = ["Rotation", "Span", "look_through", "take_up"]
