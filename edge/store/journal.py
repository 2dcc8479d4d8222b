"""The journal: entries that are on disk, synced, before anybody hears of them, in one chain.

One thread appends (the judge); any thread reads, waits and keeps its position. A commit that failed leaves nothing
behind: neither a gap in seq nor an entry that turns up later.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final, NamedTuple

from edge.domain.entries import Draft, Entry
from edge.domain.errors import StoreFault, UnusableInput
from edge.store.chain import FIRST_PREVIOUS, entry_of, hashed_bytes, link, storable, trust_check
from edge.store.database import (
    JOURNAL_FILE,
    Damaged,
    DiskFull,
    Readers,
    as_sentence,
    connect,
    fault,
    looks_like_sqlite,
    new_file,
    ready_folder,
    shrink_log,
)
from edge.store.lock import FolderLock
from edge.store.schema import bring_journal_up, refuse_newer_or_unguarded
from edge.store.space import Space
from edge.store.verify import first_misfit

#: how many of the newest entries are checked against the chain at each start (verify checks them all)
CHECKED_AT_START: Final = 20_000

_HEAD: Final = "SELECT seq, digest FROM entry ORDER BY seq DESC LIMIT 1"
_INSERT: Final = "INSERT INTO entry (seq, hashed, digest, trusted, trust_check) VALUES (?, ?, ?, ?, ?)"
_SET_ASIDE: Final = (
    "Run `warmwell verify` on the folder; then set journal.db, journal.db-wal and journal.db-shm aside by hand (they "
    "are evidence, Warmwell never throws them away) and start again: a new journal begins at seq 1"
)


class Head(NamedTuple):
    """The newest entry on disk."""

    seq: int
    digest: bytes


class ReadOnlyJournal:
    """A journal as its readers see it, in this process or another; takes no lock and writes nothing.

    Raises:
        UnusableInput: there is no journal in the folder.
    """

    def __init__(self, folder: Path) -> None:
        self.path = folder / JOURNAL_FILE
        if not self.path.is_file():
            raise UnusableInput(
                "there is no journal",
                where=str(folder),
                expected=f"a folder with {JOURNAL_FILE}",
                do="Name the folder that [keep] of the station file names",
            )
        self._readers = Readers(self.path)

    def read(self, after: int, limit: int) -> list[Entry]:
        """Entries with seq > after, in order, at most `limit`. Raises StoreFault."""
        sql = "SELECT hashed, trusted FROM entry WHERE seq > ? ORDER BY seq LIMIT ?"
        rows: list[tuple[bytes, int]] = self._readers.ask(lambda conn: conn.execute(sql, (after, limit)).fetchall())
        try:
            return [entry_of(hashed, bool(trusted)) for hashed, trusted in rows]
        except (ValueError, TypeError) as exc:
            raise Damaged(
                f"an entry after {after} can't be read ({exc})",
                where=str(self.path),
                expected="an entry of the journal",
                do=_SET_ASIDE,
            ) from exc

    def last_seq(self) -> int:
        """Highest seq on disk; 0 where there is none."""
        return self._head().seq

    def head(self) -> tuple[int, str]:
        """(seq, digest as 64 hex digits) of the newest entry."""
        seq, digest = self._head()
        return seq, digest.hex()

    def station(self) -> str | None:
        """`site/station` whose journal this is; None where it is empty."""
        rows = self._readers.ask(lambda conn: conn.execute("SELECT hashed FROM entry WHERE seq = 1").fetchall())
        return str(json.loads(rows[0][0])["station"]) if rows else None

    def close(self) -> None:
        self._readers.close()

    def _head(self) -> Head:
        return self._readers.ask(read_head)


def read_head(conn: sqlite3.Connection) -> Head:
    """The newest entry that a connection sees."""
    row = conn.execute(_HEAD).fetchone()
    return Head(row[0], bytes(row[1])) if row else Head(0, FIRST_PREVIOUS)


class Journal(ReadOnlyJournal):
    """The journal of one station, open for appending. Takes the lock of the folder.

    Args:
        folder: where journal.db stands; made where it doesn't exist.
        station: `site/id`; a journal of another station is refused.
        boot: identity of this boot; stands in every entry that is appended.
        make_room: called once when a commit finds the disk full; True: it made some, so that the commit is worth
            another try. Without it the journal keeps a reserve of its own for that.

    Raises:
        AlreadyRunning: another process holds the folder.
        NewerStore: a later version wrote the journal.
        UnusableInput: the journal is another station's.
        StoreFault: the folder can't be used; the journal is damaged (it is never thrown away).
    """

    def __init__(self, folder: Path, station: str, boot: str, *, make_room: Callable[[], bool] | None = None) -> None:
        self._lock_of_folder = FolderLock(ready_folder(folder))
        self._changed = threading.Condition()
        self._write = threading.Lock()  # the judge's appends and the readers' positions share one connection
        self._station, self._boot, self._space = station, boot, Space(folder)
        self._make_room = make_room or self._space.make_room
        self._known_head: Head | None = None
        path = folder / JOURNAL_FILE
        try:
            self._conn = self._open_file(path)
        except Damaged as exc:
            self._lock_of_folder.release()
            raise Damaged(exc.what, where=exc.where, expected=exc.expected, do=_SET_ASIDE) from exc
        except BaseException:
            self._lock_of_folder.release()
            raise
        super().__init__(folder)
        self._space.room(fresh=True)  # lays the reserve down while there is room

    def _open_file(self, path: Path) -> sqlite3.Connection:
        """Look at what is there without changing it; then open it for writing."""
        _refuse_what_is_no_journal(path)
        if not path.exists():
            new_file(path, lambda conn: bring_journal_up(conn, path))
        with as_sentence(str(path)):
            conn = self._connect(path, readonly=True)
            try:
                refuse_newer_or_unguarded(conn, path)
                self._check_the_newest(conn, path)
            finally:
                conn.close()
            conn = self._connect(path)
            try:
                bring_journal_up(conn, path)
            except BaseException:
                conn.close()
                raise
        return conn

    def _connect(self, path: Path, readonly: bool = False) -> sqlite3.Connection:
        try:
            return connect(path, readonly=readonly)
        except Damaged:
            raise
        except StoreFault:
            if not self._make_room():
                raise
            return connect(path, readonly=readonly)  # opening takes room, too: for the index of the write-ahead log

    # -- appending

    def append(self, drafts: Sequence[Draft]) -> list[Entry]:
        """Keep entries, in one commit; they are on disk when this returns.

        Raises:
            StoreFault: nothing of it was kept. The same drafts may be offered again: seq goes on without a gap.
        """
        if not drafts:
            return []
        with self._write:
            try:
                kept = self._commit(drafts)
            except DiskFull:
                if not self._make_room():
                    raise
                shrink_log(self._conn)
                kept = self._commit(drafts)
        with self._changed:
            self._changed.notify_all()
        return kept

    def _commit(self, drafts: Sequence[Draft]) -> list[Entry]:
        try:
            self._conn.execute("BEGIN IMMEDIATE")
            head = self._known_head or read_head(self._conn)
            rows, head = _links(head, self._station, self._boot, drafts)
            self._conn.executemany(_INSERT, rows)
            self._conn.execute("COMMIT")
        except sqlite3.Error as exc:
            self._undo()
            raise fault(exc, str(self.path)) from exc
        except BaseException:
            self._undo()
            raise
        self._known_head = head
        return [entry_of(row[1], bool(row[3])) for row in rows]

    def _undo(self) -> None:
        """After a failed commit: forget it, here and in the log.

        Where only the sync failed, the log already holds the entry, whole; after a crash SQLite would find it there and
        take it for committed. The next commit writes over that place, so a harmless one is written at once.
        """
        self._known_head = None
        for statement in ("ROLLBACK", "BEGIN IMMEDIATE", _OVERWRITE, "COMMIT", "ROLLBACK"):
            try:
                self._conn.execute(statement)
            except sqlite3.Error:
                pass  # not in a transaction, or the disk still refuses: the next append starts from what is on disk

    # -- reading

    def last_seq(self) -> int:
        """Highest seq on disk; 0 where there is none."""
        head = self._known_head
        return head.seq if head is not None else super().last_seq()

    def head(self) -> tuple[int, str]:
        head = self._known_head
        return (head.seq, head.digest.hex()) if head is not None else super().head()

    def wait(self, after: int, timeout_s: float) -> bool:
        """Wait (real seconds) until last_seq() > after; False when time ran out."""
        with self._changed:
            return self._changed.wait_for(lambda: self.last_seq() > after, timeout_s)

    def newest_trusted_wall_ms(self) -> int:
        """Wall time of the newest entry made while the clock was trusted; 0 where there is none."""
        entry = self.newest_trusted()
        return 0 if entry is None else entry.wall_ms

    def newest_trusted(self) -> Entry | None:
        """The newest entry made while the clock was trusted."""
        sql = "SELECT hashed FROM entry WHERE trusted ORDER BY seq DESC LIMIT 1"
        rows = self._readers.ask(lambda conn: conn.execute(sql).fetchall())
        return entry_of(rows[0][0], True) if rows else None

    # -- positions of readers

    def cursor(self, name: str) -> int | None:
        """A reader's saved position; None where it never saved one."""
        rows = self._readers.ask(lambda conn: conn.execute("SELECT seq FROM cursor WHERE name = ?", (name,)).fetchall())
        return int(rows[0][0]) if rows else None

    def move_cursor(self, name: str, seq: int) -> None:
        """Save a reader's position. Never an entry. Raises StoreFault."""
        with self._writing():
            self._conn.execute("INSERT OR REPLACE INTO cursor (name, seq) VALUES (?, ?)", (name, seq))

    # -- snapshots of the fold

    def save_fold(self, seq: int, version: int, state: dict[str, Any]) -> None:
        """Keep the state that the entries up to `seq` lead to, so that a start needs to fold only those after it.

        It replaces the one before. Raises StoreFault.
        """
        text = json.dumps(storable(state), ensure_ascii=False, separators=(",", ":"))
        with self._writing():
            check = _fold_check(self._conn, seq, text)
            if check is None:
                raise StoreFault(
                    f"there is no entry {seq}",
                    where=str(self.path),
                    expected="a state of entries on disk",
                    do="Report this as a fault of Warmwell",
                )
            self._conn.execute("DELETE FROM fold")
            self._conn.execute(
                "INSERT INTO fold (version, seq, state, check_sum) VALUES (?, ?, ?, ?)", (version, seq, text, check)
            )

    def load_fold(self, version: int) -> tuple[int, dict[str, Any]] | None:
        """(seq, state) kept by the same fold version and belonging to this chain; else None: fold from the start."""

        def question(conn: sqlite3.Connection) -> tuple[int, dict[str, Any]] | None:
            row = conn.execute("SELECT seq, state, check_sum FROM fold WHERE version = ?", (version,)).fetchone()
            if row is None or _fold_check(conn, row[0], row[1]) != row[2]:
                return None
            return row[0], json.loads(row[1])

        return self._readers.ask(question)

    # -- figures and the end

    def status(self) -> dict[str, Any]:
        """For /health: how large the journal and its write-ahead log are, and the disk's room."""
        log = self.path.with_name(self.path.name + "-wal")
        return self._space.status() | {"seq": self.last_seq(), "bytes": _size(self.path), "log_bytes": _size(log)}

    def close(self) -> None:
        """Close the file and let the folder go. May be called twice."""
        super().close()
        with self._write:
            self._conn.close()
        self._lock_of_folder.release()

    @contextmanager
    def _writing(self) -> Iterator[None]:
        with self._write, as_sentence(str(self.path)):
            self._conn.execute("BEGIN IMMEDIATE")
            try:
                yield
                self._conn.execute("COMMIT")
            except BaseException:
                self._undo()
                raise

    def _check_the_newest(self, conn: sqlite3.Connection, path: Path) -> None:
        head = read_head(conn)
        misfit = first_misfit(conn, after=max(0, head.seq - CHECKED_AT_START), station=self._station)
        if misfit is None:
            self._known_head = head
            return
        if misfit.other_station:
            raise UnusableInput(
                f"the journal is of {misfit.other_station}",
                where=str(path),
                expected=f"that of {self._station}",
                do="Name another folder under [keep] in the station file, or set the old journal aside",
            )
        raise Damaged(f"entry {misfit.seq}: {misfit.why}", where=str(path), expected="an unbroken chain", do=_SET_ASIDE)


#: a write that changes nothing anyone reads, yet makes SQLite write a page
_OVERWRITE: Final = (
    "INSERT OR REPLACE INTO cursor (name, seq) VALUES ('(after a failed commit)', abs(random() % 1000000))"
)


def _links(
    head: Head, station: str, boot: str, drafts: Sequence[Draft]
) -> tuple[list[tuple[int, bytes, bytes, int, bytes]], Head]:
    """The rows that the drafts become after `head`, and the head after them."""
    rows = []
    for draft in drafts:
        now = draft.now
        hashed = hashed_bytes(station, head.seq + 1, boot, now.mono_ms, now.wall_ms, draft.kind, draft.body)
        head = Head(head.seq + 1, link(head.digest, hashed))
        rows.append((head.seq, hashed, head.digest, int(now.trusted), trust_check(head.digest, now.trusted)))
    return rows, head


def _fold_check(conn: sqlite3.Connection, seq: int, state: str) -> bytes | None:
    if seq == 0:
        digest = FIRST_PREVIOUS
    else:
        row = conn.execute("SELECT digest FROM entry WHERE seq = ?", (seq,)).fetchone()
        if row is None:
            return None
        digest = bytes(row[0])
    return hashlib.sha256(digest + state.encode()).digest()


def _refuse_what_is_no_journal(path: Path) -> None:
    """A missing journal is begun; one that is there and can't be one is kept for people to look at."""
    with as_sentence(str(path)):
        log = path.with_name(path.name + "-wal")
        if not path.exists():
            if log.exists() and log.stat().st_size > 0:
                raise Damaged(
                    "the journal is gone, its write-ahead log is still there",
                    where=str(path),
                    expected="both or neither",
                    do=_SET_ASIDE,
                )
            return
        if not looks_like_sqlite(path):
            what = "is empty" if path.stat().st_size == 0 else "doesn't begin as a journal does"
            raise Damaged(f"the file {what}", where=str(path), expected="the journal", do=_SET_ASIDE)


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0
