"""The file people.db: its tables, its mode, and one connection that is opened anew where another file stands under the name.

Mode 0600, write-ahead log, opened as the store's own files are. The daemon and `warmwell people` have it open at the same time.
"""

from __future__ import annotations

import os
import sqlite3
import stat
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any, Final

from edge.store.database import Damaged, as_sentence, connect, looks_like_sqlite, new_file, newer_store, ready_folder

PEOPLE_FILE: Final = "people.db"
#: kept in `pragma user_version`; grows with each migration
PEOPLE_VERSION: Final = 1
MODE: Final = 0o600

_TABLES: Final = (
    """CREATE TABLE person (
        number INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL, folded TEXT NOT NULL UNIQUE, role TEXT NOT NULL,
        finder TEXT NOT NULL UNIQUE, secret TEXT NOT NULL, made_ms INTEGER NOT NULL
    )""",
    """CREATE TABLE session (
        digest BLOB PRIMARY KEY, person INTEGER NOT NULL REFERENCES person (number) ON DELETE CASCADE,
        boot TEXT NOT NULL, began_ms INTEGER NOT NULL, seen_ms INTEGER NOT NULL
    ) WITHOUT ROWID""",
    """CREATE TABLE token (
        number INTEGER PRIMARY KEY AUTOINCREMENT, digest BLOB NOT NULL UNIQUE,
        person INTEGER NOT NULL REFERENCES person (number) ON DELETE CASCADE,
        title TEXT NOT NULL, scopes TEXT NOT NULL, made_ms INTEGER NOT NULL
    )""",
    """CREATE TABLE first (
        one INTEGER PRIMARY KEY CHECK (one = 1), finder TEXT NOT NULL, secret TEXT NOT NULL, boot TEXT NOT NULL, made_ms INTEGER NOT NULL
    )""",
    """CREATE TABLE tries (
        address TEXT PRIMARY KEY, boot TEXT NOT NULL, wrong INTEGER NOT NULL, last_ms INTEGER NOT NULL, until_ms INTEGER NOT NULL
    ) WITHOUT ROWID""",
    """CREATE TABLE change (
        number INTEGER PRIMARY KEY AUTOINCREMENT, what TEXT NOT NULL, name TEXT NOT NULL, role TEXT NOT NULL, at_ms INTEGER NOT NULL
    )""",
)


class PeopleFile:
    """People.db under this name. Any thread may call it, one at a time.

    Every call raises StoreFault where the file can't be used, NewerStore where a later version wrote it.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._lock = threading.Lock()
        self._conn: sqlite3.Connection | None = None
        self._file: tuple[int, int] | None = None

    def close(self) -> None:
        """Let it go; may be called twice."""
        with self._lock:
            self._close()

    def rows(self, sql: str, *values: object) -> list[tuple[Any, ...]]:
        """All rows of a question; none where there is no file."""
        with self._lock, as_sentence(str(self._path)):
            conn = self._connection(make=False)
            if conn is None:
                return []
            try:
                return conn.execute(sql, values).fetchall()
            except sqlite3.Error:
                self._close()
                raise

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """One transaction; the file is made where there is none."""
        with self._lock, as_sentence(str(self._path)):
            conn = self._connection(make=True)
            assert conn is not None
            try:
                conn.execute("BEGIN IMMEDIATE")
                yield conn
                conn.execute("COMMIT")
            except BaseException as exc:
                if conn.in_transaction:
                    conn.execute("ROLLBACK")
                if isinstance(exc, sqlite3.Error):
                    self._close()
                raise

    def _connection(self, make: bool) -> sqlite3.Connection | None:
        there = self._there()
        if self._conn is not None and there == self._file:
            return self._conn
        self._close()
        if there is None:
            if not make:
                return None
            ready_folder(self._path.parent)
            new_file(self._path, self._build, mode=MODE)
        elif not looks_like_sqlite(self._path):
            raise Damaged(
                "it is no file of people", where=str(self._path), expected="a whole SQLite file",
                do="Move it away, then add everybody anew: `warmwell people add`",
            )  # fmt: skip
        with closing(connect(self._path, readonly=True)) as looking:  # one that writes would, even at its end
            version = int(looking.execute("PRAGMA user_version").fetchone()[0])
            if version > PEOPLE_VERSION:
                raise newer_store(self._path, str(version), PEOPLE_VERSION)
        conn = connect(self._path)
        try:
            conn.execute("PRAGMA secure_delete=ON")  # what is deleted is overwritten
            conn.execute("SELECT 1 FROM person, session, token, first, tries, change LIMIT 0").fetchone()
        except BaseException:
            conn.close()
            raise
        if stat.S_IMODE(os.stat(self._path).st_mode) & ~MODE:
            with suppress(PermissionError):  # whose it is not may still read it
                os.chmod(self._path, MODE)
        self._conn, self._file = conn, self._there()
        return conn

    def _there(self) -> tuple[int, int] | None:
        try:
            found = os.lstat(self._path)
        except FileNotFoundError:
            return None
        return found.st_dev, found.st_ino

    def _build(self, conn: sqlite3.Connection) -> None:
        from sqlite_utils import Database, Migrations

        migrations = Migrations("warmwell-people")

        @migrations(name="1 people, sessions, tokens, the first code, tries, changes")
        def first(db: Database) -> None:
            for table in _TABLES:
                db.execute(table)

        migrations.apply(Database(conn, execute_plugins=False))
        conn.execute(f"PRAGMA user_version={PEOPLE_VERSION:d}")
        folder = os.stat(self._path.parent)
        if os.geteuid() == 0 and folder.st_uid != 0:  # made by root for the user that runs the daemon
            os.chown(self._path.with_name(self._path.name + ".new"), folder.st_uid, folder.st_gid)

    def _close(self) -> None:
        if self._conn is not None:
            self._conn.close()
        self._conn = self._file = None
