"""The newest batches, on disk in a plain file beside series.db until there are many of them for one commit.

A commit every 10 s is what the disk would see most: of it SQLite writes a page of the log, two of the log's index, and later the
page itself. Here a batch costs the one page of the disk that it is appended to; where the page hasn't the room left, it begins
the next. Nothing is deleted: batches up to the newest that stands in series.db (slots.py) are gone from here, and are written over.

A record holds its check sum, which store it belongs to (`application_id` of series.db) and its number, as a slot does. What a
power cut tore, what is of another store or of a boot that this one doesn't know, is passed over.
"""

from __future__ import annotations

import os
import secrets
import sqlite3
import struct
import zlib
from collections.abc import Sequence
from pathlib import Path
from typing import Final, NamedTuple

from edge.domain.errors import StoreFault
from edge.store import slots
from edge.store.database import as_sentence, sync_path
from edge.store.side_files import open_own, read_own

TAIL_FILE: Final = "series.tail"
#: what the disk writes at once; a record crosses into the next one only where it is longer
_PAGE_BYTES: Final = 4096
_MOST_BYTES: Final = 256 << 10
#: so many batches are moved in one commit, five minutes of them
_MOST_BATCHES: Final = 30
#: check sum of the rest, its length, store, number, boot, hour, readings
_HEAD: Final = struct.Struct(">IIIQQQI")
_SUMMED_FROM: Final = 4


class Record(NamedTuple):
    """A batch as it stands in the file. `store`: `application_id` of the series.db that it belongs to."""

    store: int
    number: int
    batch: slots.Batch


def records(path: Path) -> list[Record]:
    """All that is whole in the tail beside this series.db, by number, what has been moved from it included. Raises StoreFault."""
    content = read_own(path.with_name(TAIL_FILE), _MOST_BYTES) or b""
    found, at = [], 0
    while at < len(content):
        record, length = _record(content, at)
        if record is None:
            at = (at // _PAGE_BYTES + 1) * _PAGE_BYTES
        else:
            found.append(record)
            at += length
    return sorted(found, key=lambda record: record.number)


def live(conn: sqlite3.Connection, found: Sequence[Record]) -> list[slots.Batch]:
    """Those of the records that don't stand in series.db yet."""
    if not found:
        return []
    store, newest = store_of(conn), slots.newest(conn)
    boots = {number for (number,) in conn.execute("SELECT number FROM boot")}
    return [one.batch for one in found if one.store == store and one.number > newest and one.batch.boot in boots]


def store_of(conn: sqlite3.Connection) -> int:
    """Which store this is; 0 where it has no number yet."""
    return int(conn.execute("PRAGMA application_id").fetchone()[0])


def numbered(conn: sqlite3.Connection) -> int:
    """As store_of(); it is given a number where it has none. In a transaction of the caller's."""
    if not store_of(conn):
        conn.execute(f"PRAGMA application_id={secrets.randbelow((1 << 31) - 1) + 1:d}")
    return store_of(conn)


class Tail:
    """The file, for the one who writes it.

    `last`: the highest number in it; what is kept in series.db instead has to have a higher one.
    """

    def __init__(self, path: Path) -> None:
        self._path, self._store, self._at, self._batches, self.last = path.with_name(TAIL_FILE), 0, 0, 0, 0

    def restart(self, conn: sqlite3.Connection) -> None:
        """All that it held stands in series.db: it is written over."""
        self._store, self._at, self._batches = store_of(conn), 0, 0
        self.last = max(self.last, slots.newest(conn))

    def stop(self) -> None:
        """Nothing may be appended before it has been begun anew."""
        self._store = 0

    def keep(self, batches: Sequence[slots.Batch]) -> bool:
        """Have batches on disk. False: they are to be kept in series.db, with all that stands here.

        Raises:
            StoreFault: the disk refuses.
        """
        if not self._store or self._batches + len(batches) > _MOST_BATCHES:
            return False
        if not batches:
            return True
        placed, at, number = [], self._at, self.last
        for batch in batches:
            number += 1
            record = _bytes_of(Record(self._store, number, batch))
            left = -at % _PAGE_BYTES
            at += left if left < len(record) else 0
            placed.append((at, record))
            at += len(record)
        if at > _MOST_BYTES:
            return False
        with as_sentence(str(self._path)):
            is_new = not self._path.exists()
            fd = open_own(self._path, os.O_WRONLY)
            try:
                for place, record in placed:
                    if os.pwrite(fd, record, place) != len(record):
                        return False
                os.fdatasync(fd)
            finally:
                os.close(fd)
            if is_new:
                sync_path(self._path.parent)
        self._at, self._batches, self.last = at, self._batches + len(batches), number
        return True

    def take_up(self) -> list[Record]:
        """What stands in it at the start. A file that can't be read holds nobody up: it costs its readings, as a torn one does."""
        try:
            found = records(self._path)
        except StoreFault:
            return []
        self.last = max((self.last, *(record.number for record in found)))
        return found


def _bytes_of(record: Record) -> bytes:
    batch = record.batch
    length = _HEAD.size + len(batch.packed)
    head = _HEAD.pack(0, length, record.store, record.number, batch.boot, batch.hour, batch.n)
    summed = head[_SUMMED_FROM:] + batch.packed
    return zlib.crc32(summed).to_bytes(_SUMMED_FROM) + summed


def _record(content: bytes, at: int) -> tuple[Record | None, int]:
    if at + _HEAD.size > len(content):
        return None, 0
    check, length, store, number, boot, hour, n = _HEAD.unpack_from(content, at)
    if not _HEAD.size < length <= len(content) - at or zlib.crc32(content[at + _SUMMED_FROM : at + length]) != check:
        return None, 0
    return Record(store, number, slots.Batch(boot, hour, n, content[at + _HEAD.size : at + length])), length
