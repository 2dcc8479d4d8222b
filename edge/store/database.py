"""Connections to the store's two SQLite files.

Every connection is made here, so that none misses the settings that evidence depends on: write-ahead log and
synchronous=FULL are set and then read back. (Without them SQLite uses a rollback journal, whose last commit is lost at
a power cut even with FULL: the deletion of the journal is the commit, and the folder isn't synced.)
Every fault of SQLite becomes one sentence here.
"""

from __future__ import annotations

import errno
import os
import sqlite3
import stat
import threading
import weakref
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final, TypeVar
from urllib.parse import quote

from edge.domain.errors import NewerStore, StoreFault, WarmwellError

JOURNAL_FILE: Final = "journal.db"
SERIES_FILE: Final = "series.db"
#: stands in a folder while a backup is being restored there: it is no store yet
RESTORING_FILE: Final = "restoring"

#: how long a connection waits for another program (a shell, a backup) that holds the write lock
BUSY_MS: Final = 5000
#: the log is cut back to this after a checkpoint, so that one long reader doesn't leave gigabytes behind
LOG_LIMIT_BYTES: Final = 8 << 20
#: of a new file. A commit writes whole pages: small ones cost a card less (tests/bench/store_writes.py)
PAGE_BYTES: Final = 1024
#: the log is moved into the file when it has so many pages
_LOG_PAGES: Final = 500

_FULL: Final = 2  # what `pragma synchronous` answers for FULL
_SQLITE_MAGIC: Final = b"SQLite format 3\0"

T = TypeVar("T")


class DiskFull(StoreFault):
    """No space is left. Works again by itself once there is."""


class Damaged(StoreFault):
    """The file's content can't be right. Only reopening it tells whether that holds (see `confirm_damage`)."""


def fault(exc: BaseException, where: str) -> WarmwellError:
    """The sentence for an error of SQLite or of the file system."""
    if isinstance(exc, OSError):
        return _file_fault(exc, where)
    code = getattr(exc, "sqlite_errorcode", None)
    name = getattr(exc, "sqlite_errorname", None) or type(exc).__name__
    primary = code & 0xFF if code is not None else None
    said = f"{exc} ({name})"
    if primary == sqlite3.SQLITE_FULL:
        return DiskFull(
            "the disk is full",
            where=where,
            expected="space to write",
            do="Free some space; Warmwell goes on by itself, and what was answered as kept is safe",
        )
    no_text = str(exc).startswith("Could not decode")  # of the driver, without a code: bytes that are no text
    if primary in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB) or no_text:
        return Damaged(
            f"the file is damaged: {'text that is none in it' if no_text else said}",
            where=where,
            expected="a whole SQLite file",
            do="Run `warmwell verify` on the folder; keep the file, it is evidence",
        )
    if primary in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
        return StoreFault(
            f"the file can't be opened for writing: {said}",
            where=where,
            expected="a folder that Warmwell may write to",
            do="Give the user that runs Warmwell the right to write there, or mount the disk for writing",
        )
    if primary in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return StoreFault(
            f"another program holds the file for writing: {said}",
            where=where,
            expected=f"the write lock within {BUSY_MS // 1000} s",
            do="Close the program that has the file open",
        )
    return StoreFault(
        f"the disk refused: {said}",
        where=where,
        expected="a read or write that succeeds",
        do="Check the disk and its cable or card; Warmwell tries again by itself",
    )


def _file_fault(exc: OSError, where: str) -> WarmwellError:
    if exc.errno == errno.ENOSPC:
        return DiskFull(
            "the disk is full",
            where=where,
            expected="space to write",
            do="Free some space; where there is enough, delete files: a disk holds a limited number of them (`df -i`)",
        )
    if exc.errno in (errno.EISDIR, errno.ELOOP, errno.ENXIO):
        return not_ours(Path(where))
    return StoreFault(
        f"it can't be used ({exc.strerror or exc})",
        where=where,
        expected="a file or a folder that Warmwell may read and write",
        do="Give the user that runs Warmwell the right to read and write it, or name another folder under [keep]",
    )


@contextmanager
def as_sentence(where: str) -> Iterator[None]:
    """Turn what SQLite and the file system raise into the store's own errors."""
    try:
        yield
    except (sqlite3.Error, OSError) as exc:
        raise fault(exc, where) from exc


def ready_folder(folder: Path) -> Path:
    """The folder, made where it doesn't exist. Raises StoreFault."""
    with as_sentence(str(folder)):
        folder.mkdir(mode=0o750, parents=True, exist_ok=True)
    if not os.access(folder, os.W_OK | os.X_OK):
        raise StoreFault(
            "the folder can't be written to",
            where=str(folder),
            expected="a folder that Warmwell may write to",
            do="Give the user that runs Warmwell the right to write there, or name another folder",
        )
    return folder


def connect(path: Path, *, readonly: bool = False, log_limit_bytes: int = LOG_LIMIT_BYTES) -> sqlite3.Connection:
    """Open an existing file with write-ahead log and synchronous=FULL, both checked.

    The connection commits by itself unless told `BEGIN IMMEDIATE`; any thread may use it, one at a time.

    Raises:
        StoreFault: it can't be opened, is damaged, or doesn't take the settings.
    """
    with as_sentence(str(path)):
        conn = _open(path, "ro" if readonly else "rw")
        try:
            _settle(conn, path, readonly, log_limit_bytes)
        except sqlite3.OperationalError:
            conn.close()
            if not (readonly and _nobody_can_write(path)):
                raise
            conn = _open_unwritable(path)
        except BaseException:
            conn.close()
            raise
    return conn


def _nobody_can_write(path: Path) -> bool:
    """Whether the disk is mounted for reading only, or no program has the file open and we may not write beside it."""
    if os.statvfs(path.parent).f_flag & os.ST_RDONLY:
        return True
    return not os.access(path.parent, os.W_OK, effective_ids=True) and not path.with_name(path.name + "-shm").exists()


def _open_unwritable(path: Path) -> sqlite3.Connection:
    """Read a file beside which nothing can be written: the index of its log is kept in memory (SQLite, "Write-Ahead Logging", 8).

    With `immutable=1` the log would be passed over, and with it the newest entries. Where there is none, as after a clean stop,
    nothing is passed over, and SQLite could not make the empty one that it asks for otherwise.
    """
    log = path.with_name(path.name + "-wal")
    if not log.exists() or log.stat().st_size == 0:
        return _open(path, "ro&immutable=1")
    conn = _open(path, "ro&vfs=unix-none")
    try:
        conn.execute("PRAGMA locking_mode=EXCLUSIVE").fetchone()
        _settle(conn, path, readonly=True, log_limit_bytes=LOG_LIMIT_BYTES)
    except BaseException:
        conn.close()
        raise
    return conn


def _open(path: Path, mode: str) -> sqlite3.Connection:
    return sqlite3.connect(
        f"file:{quote(str(path.absolute()))}?mode={mode}",
        uri=True,
        isolation_level=None,
        check_same_thread=False,
        timeout=BUSY_MS / 1000,
    )


def _settle(conn: sqlite3.Connection, path: Path, readonly: bool, log_limit_bytes: int) -> None:
    journal_mode = conn.execute("PRAGMA journal_mode" + ("" if readonly else "=WAL")).fetchone()[0]
    conn.execute("PRAGMA synchronous=FULL")
    synchronous = conn.execute("PRAGMA synchronous").fetchone()[0]
    if (journal_mode, synchronous) != ("wal", _FULL):
        raise StoreFault(
            f"journal mode is {journal_mode}, synchronous is {synchronous}",
            where=str(path),
            expected="a write-ahead log and synchronous=FULL (2)",
            do="Keep the store on a local disk; network file systems can't keep a write-ahead log",
        )
    conn.execute("PRAGMA foreign_keys=ON")
    if readonly:
        conn.execute("PRAGMA query_only=ON")
    else:
        conn.execute(f"PRAGMA journal_size_limit={log_limit_bytes}")
        conn.execute(f"PRAGMA wal_autocheckpoint={_LOG_PAGES}")


def shrink_log(conn: sqlite3.Connection) -> None:
    """Move the write-ahead log into the file and cut it to nothing, where the disk lets us: on a full one that is room."""
    try:
        conn.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    except sqlite3.Error:
        pass  # the file has to grow for it, and can't: the commit that follows tells


def looks_like_sqlite(path: Path) -> bool:
    """Whether the file begins as SQLite's do (an empty file doesn't).

    Raises:
        StoreFault: it is a folder, a pipe or a device (reading one might wait for ever); or the disk refuses.
    """
    with as_sentence(str(path)):
        fd = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
        try:
            if not stat.S_ISREG(os.fstat(fd).st_mode):
                raise not_ours(path)
            return os.pread(fd, len(_SQLITE_MAGIC), 0) == _SQLITE_MAGIC
        finally:
            os.close(fd)


def not_ours(path: Path) -> StoreFault:
    """The refusal of what is no plain file."""
    return StoreFault(
        "a link, a folder or a device stands under this name",
        where=str(path),
        expected="a plain file of Warmwell's own",
        do="Find out who put it there, and remove it",
    )


def new_file(path: Path, build: Callable[[sqlite3.Connection], None], *, mode: int = 0o640) -> None:
    """Make a file under another name, sync it and rename it, so that no half-made one is ever found under `path`."""
    making = path.with_name(path.name + ".new")
    with as_sentence(str(path)):
        for leftover in (making, making.with_name(making.name + "-wal"), making.with_name(making.name + "-shm")):
            leftover.unlink(missing_ok=True)
        os.close(os.open(making, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW | os.O_CLOEXEC, mode))
        conn = _open(making, "rw")
        try:
            conn.execute(f"PRAGMA page_size={PAGE_BYTES}")
            _settle(conn, making, readonly=False, log_limit_bytes=LOG_LIMIT_BYTES)
            build(conn)
        finally:
            conn.close()  # the last connection moves the log into the file and removes it
        sync_path(making)
        os.replace(making, path)
        sync_path(path.parent)


def sync_path(path: Path) -> None:
    """Have a file's content, or a folder's names, on disk."""
    fd = os.open(path, os.O_RDONLY)
    try:
        os.fsync(fd)
    finally:
        os.close(fd)


def confirm_damage(path: Path) -> str | None:
    """Open the file anew and look through it: what is wrong with it, or None where it is whole.

    A disk that went away makes SQLite say `malformed` on a connection that was open, though nothing is damaged; only
    what a new connection finds counts. Raises StoreFault where the file can't be opened at all (that is no damage).
    """
    try:
        conn = connect(path)
    except Damaged as exc:
        return exc.what
    try:
        found = [row[0] for row in conn.execute("PRAGMA quick_check(3)")]
        conn.execute("SELECT name, sql FROM sqlite_master").fetchall()
    except UnicodeDecodeError as exc:  # where it is the name of something that isn't text
        return f"its text can't be read ({exc})"
    except sqlite3.DatabaseError as exc:
        told = fault(exc, str(path))
        if isinstance(told, Damaged):
            return told.what
        raise told from exc
    finally:
        conn.close()
    return None if found == ["ok"] else "; ".join(found)


def newer_store(path: Path, found: str, known: int) -> NewerStore:
    """The refusal of a file that a later version of Warmwell wrote."""
    return NewerStore(
        f"the file was written by a newer version ({found})",
        where=str(path),
        expected=f"version {known} or older",
        do="Start the newer version of Warmwell again; nothing was changed",
    )


class Readers:
    """Read-only connections, one per thread, that never leave a read open.

    A read that stays open stops the log from being cut back; so each question is asked and answered to the end in one
    call. A connection that fails is closed, and the question is asked once more on a new one.
    """

    def __init__(self, path: Path, on_damage: Callable[[], None] | None = None) -> None:
        self._path, self._on_damage = path, on_damage
        self._mine = threading.local()
        self._lock = threading.Lock()
        self._all: list[tuple[weakref.ref[threading.Thread], sqlite3.Connection]] = []
        self._closed = False
        self._generation = 0

    def ask(self, question: Callable[[sqlite3.Connection], T]) -> T:
        """Call `question` with this thread's connection; it must fetch all it wants before it returns."""
        try:
            with as_sentence(str(self._path)):
                try:
                    return question(self._connection())
                except sqlite3.DatabaseError:
                    self._drop()
                return question(self._connection())
        except Damaged:
            self._drop()
            if self._on_damage is not None:
                self._on_damage()
            raise

    def rows(self, sql: str, *values: object) -> list[tuple[object, ...]]:
        """All rows of one query."""
        return self.ask(lambda conn: conn.execute(sql, values).fetchall())

    def renew(self) -> None:
        """Let each thread open anew at its next question: another file stands under the name."""
        with self._lock:
            self._generation += 1

    def close(self) -> None:
        """Close the connections of all threads."""
        with self._lock:
            self._closed = True
            for _, conn in self._all:
                conn.close()
            self._all.clear()

    def _connection(self) -> sqlite3.Connection:
        conn: sqlite3.Connection | None = getattr(self._mine, "conn", None)
        if conn is not None and self._mine.generation == self._generation:
            return conn
        self._drop()
        with self._lock:
            if self._closed:
                raise StoreFault(
                    "it is closed", where=str(self._path), expected="an open store", do="Start Warmwell again"
                )
            conn = connect(self._path, readonly=True)
            self._forget_ended_threads()
            self._all.append((weakref.ref(threading.current_thread()), conn))
            self._mine.conn, self._mine.generation = conn, self._generation
        return conn

    def _forget_ended_threads(self) -> None:
        living = []
        for owner, conn in self._all:
            thread = owner()
            if thread is not None and thread.is_alive():
                living.append((owner, conn))
            else:
                conn.close()
        self._all = living

    def _drop(self) -> None:
        conn = getattr(self._mine, "conn", None)
        if conn is None:
            return
        self._mine.conn = None
        with self._lock:
            self._all = [(owner, other) for owner, other in self._all if other is not conn]
        conn.close()
