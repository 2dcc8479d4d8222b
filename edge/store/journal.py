"""The journal: entries that are on disk, synced, before anybody hears of them, in one chain.

One thread appends (the judge); any thread reads, waits and keeps its position. A commit that failed leaves nothing
behind: neither a gap in seq nor an entry that turns up later.
"""

from __future__ import annotations

import json
import sqlite3
import threading
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Final, Literal, NamedTuple, TypeVar

from edge.domain.entries import Draft, Entry, Now
from edge.domain.entry_bodies import FileRepair, LossBody
from edge.domain.errors import NewerStore, StoreFault, UnusableInput
from edge.store.caches import Caches, reached
from edge.store.chain import entry_of, hashed_bytes, link, trust_check
from edge.store.database import (
    JOURNAL_FILE,
    RESTORING_FILE,
    SERIES_FILE,
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
from edge.store.file_watch import FileWatch
from edge.store.fold_check import invented, reader
from edge.store.head_note import MARGIN, HeadNotes, Known
from edge.store.lock import FolderLock
from edge.store.rotation import Rotation, Span, take_up
from edge.store.schema import HEAD_NOTES_SINCE, JOURNAL_VERSION, bring_journal_up, refuse_newer_or_unguarded
from edge.store.space import Space
from edge.store.upgrade import keep_as_it_was
from edge.store.verify import first_misfit
from edge.store.whole import Head, Whole

#: how many of the newest entries are checked against the chain at each start (verify checks them all)
CHECKED_AT_START: Final = 20_000

_INSERT: Final = "INSERT INTO entry (seq, hashed, digest, trusted, trust_check) VALUES (?, ?, ?, ?, ?)"
_SET_ASIDE: Final = (
    "Run `warmwell verify` on the folder; then set journal.db, journal.db-wal and journal.db-shm aside by hand (they "
    "are evidence, Warmwell never throws them away) and start again: a new journal begins above the highest seq that was told"
)
#: how often the open file is compared with its name, and the noted head brought to disk (real seconds)
LOOK_EVERY_S: Final = 1.0


T = TypeVar("T")


class Loss(NamedTuple):
    """Entries that were on disk and aren't there now. New ones begin after `up_to`."""

    up_to: int
    known: int
    why: str
    what: Literal["exchanged", "unproved"] = "exchanged"
    backup: str = ""

    def draft(self, head_seq: int, now: Now) -> Draft:
        """The entry that says it, the first after the loss."""
        body: LossBody = {"what": self.what, "known": self.known, "why": self.why}
        if self.up_to > head_seq:
            body |= {"what": "lost", "from": head_seq + 1, "to": self.up_to}
        if self.backup:
            body |= {"backup": self.backup}
        return Draft(now, "repair", body)


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
        rows = self._ask(lambda whole: whole.rows("seq, hashed, trusted", after, limit))
        try:
            return [entry_of(hashed, bool(trusted)) for _, hashed, trusted in rows]
        except (ValueError, TypeError) as exc:
            raise Damaged(
                f"an entry after {after} can't be read ({exc})",
                where=str(self.path),
                expected="an entry of the journal",
                do=_SET_ASIDE,
            ) from exc

    def rows(self, after: int, limit: int) -> list[tuple[int, bytes, bool]]:
        """As read(), as they are kept: (seq, the bytes that were hashed, trusted). Raises StoreFault."""
        rows = self._ask(lambda whole: whole.rows("seq, hashed, trusted", after, limit))
        return [(seq, bytes(hashed), bool(trusted)) for seq, hashed, trusted in rows]

    def last_seq(self) -> int:
        """Highest seq on disk; 0 where there is none."""
        return self._ask(Whole.head).seq

    def head(self) -> tuple[int, str]:
        """(seq, digest as 64 hex digits) of the newest entry."""
        seq, digest = self._ask(Whole.head)
        return seq, digest.hex()

    def station(self) -> str | None:
        """`site/station` whose journal this is; None where it is empty."""
        found = self._ask(lambda whole: whole.last_that("hashed", "1"))
        return str(json.loads(found[0])["station"]) if found else None

    def mark(self) -> str:
        """Which journal this is: the first 16 hex digits of its first entry's digest; "" where it is empty."""
        return self._ask(Whole.mark)

    def digest(self, seq: int) -> str:
        """Digest of this entry as 64 hex digits; "" where there is no such entry."""
        found = self._digest_at(seq)
        return found.hex() if found is not None else ""

    def before(self, seq: int) -> int:
        """The seq of the newest entry below this one; 0 where there is none. Raises StoreFault."""
        return self._ask(lambda whole: whole.before(seq))

    def close(self) -> None:
        self._readers.close()

    def _digest_at(self, seq: int) -> bytes | None:
        return self._ask(lambda whole: whole.digest(seq))

    def _ask(self, question: Callable[[Whole], T]) -> T:
        """Of closed segments and journal.db as one."""

        def asked(conn: sqlite3.Connection) -> T:
            with Whole(conn, self.path) as whole:
                return question(whole)

        return self._readers.ask(asked)


class Journal(ReadOnlyJournal):
    """The journal of one station, open for appending. Takes the lock of the folder.

    What was lost while it was closed (a log, an older copy put back, the whole file) is noticed by the head noted outside
    of it: the first append says so in a `repair` entry, and its seq lies above all that can have been told.

    Args:
        folder: where journal.db stands; made where it doesn't exist.
        station: `site/id`; a journal of another station is refused.
        boot: identity of this boot; stands in every entry that is appended.
        make_room: called once when a commit finds the disk full; True: it made some, so that the commit is worth
            another try. Without it the journal keeps a reserve of its own for that.
        fold_anew: up to so many entries a saved state is not given back.
        span: when the oldest entries are closed into a segment; None: never.

    Raises:
        AlreadyRunning: another process holds the folder.
        NewerStore: a later version wrote the journal.
        UnusableInput: the journal is another station's.
        StoreFault: the folder can't be used; the journal is damaged (it is never thrown away).
    """

    def __init__(
        self,
        folder: Path,
        station: str,
        boot: str,
        *,
        make_room: Callable[[], bool] | None = None,
        fold_anew: int = 0,
        span: Span | None = None,
    ) -> None:
        self._fold_anew = fold_anew
        self._lock_of_folder = FolderLock(ready_folder(folder))
        self._changed = threading.Condition()
        self._write = threading.Lock()  # the judge's appends and the readers' positions share one connection
        self._station, self._boot, self._space = station, boot, Space(folder)
        self._make_room = make_room or self._space.make_room
        self._known_head: Head | None = None
        self._mark, self._is_closed = "", False
        self._loss: Loss | None = None
        self.trouble: str | None = None  # why the open file isn't the one under its name
        self._notes = HeadNotes(folder, station, boot)
        self.path = path = folder / JOURNAL_FILE
        try:
            self._conn, migrated, version = self._open_file(path)
            with as_sentence(str(path)):
                self._watch = FileWatch(path, self._look_through)
                self._remember(is_of_before_notes=version < HEAD_NOTES_SINCE)
        except Damaged as exc:
            self._lock_of_folder.release()
            raise Damaged(exc.what, where=exc.where, expected=exc.expected, do=_SET_ASIDE) from exc
        except BaseException:
            self._lock_of_folder.release()
            raise
        super().__init__(folder)
        self._caches = Caches(folder, self._digest_at)
        if self._caches.is_new:
            self._caches.take_over(self._conn)
        if migrated is not None:
            self._caches.repaired(migrated)
        for name in self._notes.damaged():
            self._caches.rebuilt(name, "it can't be read", "nothing, as long as the journal is whole")
        self._space.room(fresh=True)  # lays the reserve down while there is room
        self._measure()
        self._ended = threading.Event()
        self.rotation = Rotation(path, span, self._ask, self._change, self._space)
        self._threads = [threading.Thread(target=self._look_now_and_then, name="journal", daemon=True)]
        if span is not None:
            rotating = threading.Thread(target=self.rotation.run, args=(self._ended,), name="rotation", daemon=True)
            self._threads.append(rotating)
        for thread in self._threads:
            thread.start()

    def _remember(self, *, is_of_before_notes: bool) -> None:
        """Compare what is there with the head that was noted outside; note what is there now."""
        self._mark = Whole(self._conn, self.path).mark()
        head, known = self._known_head, self._notes.known()
        if head is None:
            return
        self._loss = self._unproved(head, is_of_before_notes) if known is None else self._loss_of(head, known)
        if self._loss is None:
            self._notes.write(head.seq, head.digest.hex(), self._mark)
            if known is None:
                self._notes.sync()  # before anything else stands in the folder: from now on there is a note

    def _loss_of(self, head: Head, known: Known) -> Loss | None:
        if known.seq > head.seq and known.backup:
            why = f"restored from a backup that ends at entry {head.seq}; what was kept after it isn't here"
            return Loss(known.seq, known.seq, why, backup=known.backup)
        if known.seq > head.seq:
            why = f"entries up to {known.seq} were on disk, as was noted outside the journal; it ends at {head.seq}"
            return Loss(known.seq + (0 if known.exact else MARGIN), known.seq, why)
        with Whole(self._conn, self.path) as whole:
            digest = whole.digest(known.seq)
        if known.seq and (digest is None or digest.hex() != known.digest):
            return Loss(0, known.seq, f"entry {known.seq} is not the one that was noted: another journal was put here")
        return None

    def _unproved(self, head: Head, is_of_before_notes: bool) -> Loss | None:
        """No note can be read. In a folder that is new, and beside a journal of before there were notes, there is none."""
        reach = reached(self.path.parent)
        if is_of_before_notes or not (head.seq or reach or self.path.with_name(SERIES_FILE).exists()):
            return None
        why = f"the notes of how far the journal went are gone or can't be read; it ends at {head.seq}"
        return Loss(reach + MARGIN if reach > head.seq else 0, reach, why, "unproved")

    def _open_file(self, path: Path) -> tuple[sqlite3.Connection, FileRepair | None, int]:
        """Look at what is there without changing it; then open it for writing, and bring it up: what is to be said of that, and the
        version that it had."""
        _refuse_what_is_no_journal(path)
        if not path.exists():
            new_file(path, lambda conn: _build(conn, path, self._station))
        with as_sentence(str(path)):
            conn = self._connect(path, readonly=True)
            try:
                version = refuse_newer_or_unguarded(conn, path)
                self._check_the_newest(conn, path)
            finally:
                conn.close()
            path.chmod(path.stat().st_mode & 0o750)
            conn = self._connect(path)
            try:
                older = version < JOURNAL_VERSION
                migrated = keep_as_it_was(conn, path, version, JOURNAL_VERSION) if older else None
                bring_journal_up(conn, path)
            except BaseException:
                conn.close()
                raise
        return conn, migrated, version

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
                self._watch.wrote()
                kept = self._commit(drafts)
        with self._changed:
            self._changed.notify_all()
        return kept

    def _commit(self, drafts: Sequence[Draft]) -> list[Entry]:
        self._compare()
        loss = self._loss
        try:
            self._conn.execute("BEGIN IMMEDIATE")
            head = self._known_head or Whole(self._conn, self.path).head()
            if loss is not None:
                drafts = [loss.draft(head.seq, drafts[0].now), *drafts]
                if loss.up_to > head.seq:
                    self._conn.execute(
                        "INSERT OR REPLACE INTO lost (after, up_to) VALUES (?, ?)", (head.seq, loss.up_to)
                    )
                    head = Head(loss.up_to, head.digest)
            rows, head = _links(head, self._station, self._boot, drafts)
            self._conn.executemany(_INSERT, rows)
            self._conn.execute("COMMIT")
        except sqlite3.Error as exc:
            self._undo()
            raise fault(exc, str(self.path)) from exc
        except BaseException:
            self._undo()
            raise
        self._watch.wrote()
        self._known_head = None
        self._compare()  # before the answer: was it written where it will be found?
        self._known_head, self._loss = head, None
        self._mark = self._mark or rows[0][2].hex()[:16]
        self._notes.write(head.seq, head.digest.hex(), self._mark)
        return [entry_of(row[1], bool(row[3])) for row in rows]

    def _compare(self) -> None:
        """Raises StoreFault: the open file isn't the one under its name."""
        try:
            with as_sentence(str(self.path)):
                self._watch.check()
        except StoreFault as exc:
            self.trouble = str(exc)
            raise
        self.trouble = None

    def _look_through(self) -> None:
        """Something else wrote to the file. Raises StoreFault where it isn't what it was."""
        conn = connect(self.path, readonly=True)
        try:
            try:
                refuse_newer_or_unguarded(conn, self.path)
            except NewerStore as exc:  # while it is open that is a change from outside, and stops no thread
                raise StoreFault(exc.what, where=exc.where, expected=exc.expected, do=exc.do) from exc
            whole = Whole(conn, self.path)
            head, there = self._known_head, whole.head()
            why = "" if head is None or there == head else f"it ends at entry {there.seq}, not at {head.seq}"
            if self._mark and whole.mark() != self._mark:
                why = "its first entry is another"
            misfit = None if why else first_misfit(conn, whole.newest(_LOOKED_THROUGH), self._station)
            if misfit is not None:
                why = f"entry {misfit.seq}: {misfit.why}"
        finally:
            conn.close()
        if why:
            raise Damaged(
                f"the journal was changed from outside while Warmwell has it open: {why}",
                where=str(self.path),
                expected="entries as they were written",
                do=_SET_ASIDE,
            )

    def _look_now_and_then(self) -> None:
        while not self._ended.wait(LOOK_EVERY_S):
            self.look()

    def look(self) -> None:
        """Compare the open file with its name, bring the noted head to disk. Done each second by itself; never raises."""
        if self._write.acquire(blocking=False):  # else a commit is under way, which compares by itself
            try:
                self._compare()
                if self._notes.trouble and self._known_head is not None and self._loss is None:
                    self._notes.write(self._known_head.seq, self._known_head.digest.hex(), self._mark)
            except StoreFault:
                pass  # told by `trouble`
            finally:
                self._write.release()
        self._notes.sync()
        self._measure()

    def _measure(self) -> None:
        self._sizes = (_size(self.path), _size(self.path.with_name(self.path.name + "-wal")))

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
        self._watch.wrote()

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

    def newest_trusted(self) -> Entry | None:
        """The newest entry made while the clock was trusted."""
        found = self._ask(lambda whole: whole.last_that("hashed", "trusted"))
        return entry_of(found[0], True) if found else None

    # -- positions of readers and snapshots of the fold: caches, each in a file of its own

    def cursor(self, name: str) -> int | None:
        """A reader's saved position; None where it never saved one, or where it was lost."""
        return self._caches.cursor(name)

    def move_cursor(self, name: str, seq: int) -> None:
        """Save a reader's position. Never an entry. Raises StoreFault."""
        self._caches.move_cursor(name, seq)

    def save_fold(self, seq: int, version: int, state: dict[str, Any]) -> None:
        """Keep the state that the entries up to `seq` lead to, so that a start needs to fold only those after it.

        It replaces the one before. Raises StoreFault: the journal itself can't be written. (That alone is asked by this, too, where
        the judge wants to know whether a disk is back: a state that can't be kept must not keep records from being taken.)
        """
        self._change(lambda conn: conn.execute(_OVERWRITE))
        self._caches.save_fold(seq, version, state)

    def _change(self, change: Callable[[sqlite3.Connection], object]) -> None:
        """Something else than an entry, in one commit between two appends. Raises StoreFault."""
        with self._write:
            self._compare()
            with as_sentence(str(self.path)):
                try:
                    self._conn.execute("BEGIN IMMEDIATE")
                    change(self._conn)
                    self._conn.execute("COMMIT")
                except BaseException:
                    self._undo()
                    raise
            self._watch.wrote()

    def load_fold(self, version: int) -> tuple[int, dict[str, Any]] | None:
        """(seq, state) kept by the same fold version and belonging to this chain; else None: fold from the start.

        None, too, where the journal is so short that folding it anew takes no time: nothing has to be believed then.
        """
        saved = self._caches.load_fold(version)
        if saved is None or self.last_seq() <= self._fold_anew:
            return None
        try:
            why = self._ask(lambda whole: invented(saved[1], reader(whole)))
        except (ValueError, TypeError) as exc:
            why = f"its facts are none ({exc})"
        if why:
            self.refuse_fold(why)
            return None
        return saved

    def refuse_fold(self, why: str) -> None:
        """What load_fold gave can't be used; a `repair` entry will say so."""
        self._caches.refuse_fold(why)

    def take_repairs(self) -> list[FileRepair]:
        """Bodies for `repair` entries about caches that were worked out anew, each handed out once."""
        return self._caches.take_repairs()

    # -- figures and the end

    @property
    def note_trouble(self) -> str | None:
        """Why the head can't be noted beside the journal: a loss might not be noticed at the next start."""
        return self._notes.trouble

    def status(self) -> dict[str, Any]:
        """For /health: how large the journal and its write-ahead log are, and the disk's room."""
        own: dict[str, Any] = {"seq": self.last_seq(), "bytes": self._sizes[0], "log_bytes": self._sizes[1]}
        own |= {"trouble": self.trouble or self._notes.trouble, "saved_state": self._caches.fold_trouble or "ok"}
        own |= {"rotation": self.rotation.trouble or "ok"}
        return self._space.status() | own

    def close(self) -> None:
        """Close the file and let the folder go. May be called twice."""
        self._ended.set()
        for thread in self._threads:
            thread.join(10)
        super().close()
        with self._write:
            head = self._known_head
            if head is not None and self._loss is None and self.trouble is None and not self._is_closed:
                self._notes.write(head.seq, head.digest.hex(), self._mark, closed=True)
                self._notes.sync()
            self._is_closed = True
            self._conn.close()
            self._watch.close()
        self._lock_of_folder.release()

    def _check_the_newest(self, conn: sqlite3.Connection, path: Path) -> None:
        whole = Whole(conn, path)
        misfit = first_misfit(conn, whole.newest(CHECKED_AT_START), self._station)
        if misfit is None:
            self._known_head = whole.head()
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
_OVERWRITE: Final = f"PRAGMA user_version={JOURNAL_VERSION:d}"
#: so many of the newest entries are looked through when something else wrote to the open file
_LOOKED_THROUGH: Final = 1000


def _build(conn: sqlite3.Connection, path: Path, station: str) -> None:
    bring_journal_up(conn, path)
    take_up(conn, path.parent, station)


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


def _refuse_what_is_no_journal(path: Path) -> None:
    """A missing journal is begun; one that is there and can't be one is kept for people to look at."""
    with as_sentence(str(path)):
        if path.with_name(RESTORING_FILE).exists():
            raise StoreFault(
                "a backup was being restored here, and that was broken off", where=str(path.parent), expected="a whole store",
                do="Run `warmwell restore` again, with the same backup",
            )  # fmt: skip
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
