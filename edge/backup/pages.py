"""Readings in a backup: their file as it stood at one instant, by groups of bytes, each only where it has changed.

The first part holds the whole; each further one the groups that are new or others since then. A list of the groups' digests (the map) tells
which. Where the further parts have grown larger than the first, the whole is written anew.

One instant: the write-ahead log is moved into the file, and a read is begun that sees an empty log. As long as that read stays open,
SQLite writes to the log alone (a checkpoint asks for the lock that such a reader holds: sqlite.org, "Write-Ahead Logging", from memory), so
the file can be read as bytes. Readings go on being written meanwhile.
"""

from __future__ import annotations

import hashlib
import os
import sqlite3
import struct
import time
import zlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from itertools import chain
from pathlib import Path
from typing import Any, Final, NamedTuple

from edge.backup.folder import BackupFolder, told
from edge.domain.errors import StoreFault
from edge.store.database import SERIES_FILE, as_sentence, connect, looks_like_sqlite
from edge.store.schema import series_version
from edge.store.upgrade import refuse_newer

#: bytes that are copied or not as one
GROUP: Final = 16 << 10
#: of a group's SHA-256 in the map
_MARK: Final = 16
#: so many parts at most: a file each, looked through at a restore
_MOST_PARTS: Final = 200
_HEAD: Final = struct.Struct(">QI")  # number of the group, bytes packed
#: how long (real seconds) a moment without anything in the log is waited for
_PATIENCE_S: Final = 20.0
_AGAIN_S: Final = 0.05
_WAITS_MS: Final = 200


class Copied(NamedTuple):
    """What was copied. `written`: bytes that were new."""

    listed: dict[str, Any]
    written: int


def copy(keep: Path, folder: BackupFolder, before: Mapping[str, Any] | None) -> Copied | None:
    """Copy the readings; None where there are none.

    Args:
        keep: the station's folder.
        before: what the manifest before lists of them.

    Raises:
        StoreFault: the readings can't be read, or the backup's disk refuses; what was listed before still holds.
        NewerStore: a later version wrote them.
    """
    path = keep / SERIES_FILE
    if not path.exists():
        return None
    if not looks_like_sqlite(path):
        raise StoreFault(
            "the readings' file is damaged", where=str(path), expected="an SQLite file",
            do="The station sets it aside at its next start; the journal isn't touched by it",
        )  # fmt: skip
    known = _known(folder, before)
    with _standing_still(path) as (fd, version):
        reader = _Reader(fd, known, path)
        changed = reader.changed()
        first = next(changed, None)
        if first is None and before is not None and reader.digest == before["sha256"]:
            return Copied(dict(before), 0)
        kept = folder.put("readings", ".part", chain([] if first is None else [first], changed))
    parts = [*before["parts"], kept] if known and before is not None else [kept]
    kept_map = folder.put("readings", ".map", [bytes(reader.marks)])
    listed = {
        "version": version, "bytes": reader.size, "sha256": reader.digest, "group": GROUP, "parts": parts, "map": kept_map,
    }  # fmt: skip
    return Copied(listed, kept["bytes"])


def _known(folder: BackupFolder, before: Mapping[str, Any] | None) -> bytes:
    """The digests of the groups that are there; none where the whole is to be written."""
    if before is None or before.get("group") != GROUP or len(before["parts"]) >= _MOST_PARTS:
        return b""
    sizes = [part["bytes"] for part in before["parts"]]
    if sum(sizes[1:]) > sizes[0] or not all(folder.has(part) for part in before["parts"]):
        return b""
    if not folder.has(before["map"], whole=True):
        return b""
    return (folder.path / str(before["map"]["name"])).read_bytes()


@contextmanager
def _standing_still(path: Path) -> Iterator[tuple[int, int]]:
    """A descriptor of the file, whose bytes don't change meanwhile, and the version that wrote it."""
    refuse_newer(path)
    conn = connect(path)
    fd = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
    try:
        with as_sentence(str(path)):
            version = series_version(conn, path)
            conn.execute(f"PRAGMA busy_timeout={_WAITS_MS}")  # whoever waits to empty the log keeps writers waiting
            until_s = time.monotonic() + _PATIENCE_S
            while not _holds_still(conn, path):
                if time.monotonic() > until_s:
                    raise StoreFault(
                        f"its log was never empty within {_PATIENCE_S:.0f} s", where=str(path),
                        expected="a moment in which nobody reads or writes", do="Close programs that have the file open; start again",
                    )  # fmt: skip
                time.sleep(_AGAIN_S)
        yield fd, version
    finally:
        conn.close()
        os.close(fd)  # after the connection: closing it before would let go of the connection's locks (POSIX, fcntl)


def _holds_still(conn: sqlite3.Connection, path: Path) -> bool:
    """Begin a read that sees an empty log; False where somebody wrote in between."""
    conn.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    conn.execute("BEGIN")
    conn.execute("SELECT count(*) FROM sqlite_master").fetchone()
    log = path.with_name(path.name + "-wal")
    if not log.exists() or log.stat().st_size == 0:
        return True
    conn.execute("ROLLBACK")
    return False


class _Reader:
    """One walk over the file; `marks`, `digest` and `size` are right after it."""

    def __init__(self, fd: int, known: bytes, path: Path) -> None:
        self._fd, self._known, self._path = fd, known, path
        self._digest, self.marks = hashlib.sha256(), bytearray()
        self.size = 0

    @property
    def digest(self) -> str:
        return self._digest.hexdigest()

    def changed(self) -> Iterator[bytes]:
        number = 0
        while group := self._group(number):
            self._digest.update(group)
            self.size += len(group)
            mark = hashlib.sha256(group).digest()[:_MARK]
            if self._known[number * _MARK : (number + 1) * _MARK] != mark:
                packed = zlib.compress(group, 1)
                yield _HEAD.pack(number, len(packed)) + packed
            self.marks += mark
            number += 1

    def _group(self, number: int) -> bytes:
        with as_sentence(str(self._path)):  # here, as who writes what is handed on takes an error for the other disk's
            return os.pread(self._fd, GROUP, number * GROUP)


def put_back(folder: Path, listed: Mapping[str, Any], path: Path) -> None:
    """Make the file again. Raises StoreFault: a part is damaged; OSError: of the disk it is made on."""
    with path.open("r+b") as file:
        for part in listed["parts"]:
            try:
                _apply(folder / part["name"], file.fileno(), int(listed["group"]))
            except (EOFError, ValueError, zlib.error, struct.error) as exc:
                raise StoreFault(
                    f"it can't be read ({exc})", where=str(folder / part["name"]), expected="readings as they were backed up",
                    do="Take another backup, or restore without readings: --without-readings",
                ) from exc  # fmt: skip
        file.truncate(int(listed["bytes"]))
        os.fsync(file.fileno())


def _apply(part: Path, fd: int, group: int) -> None:
    for number, content in _groups(part, group):
        os.pwrite(fd, content, number * group)


def _groups(part: Path, group: int) -> Iterator[tuple[int, bytes]]:
    with told(part), part.open("rb") as packed:
        while head := packed.read(_HEAD.size):
            number, size = _HEAD.unpack(head)
            if not 0 < size <= 2 * group:
                raise ValueError("a group of an impossible size")
            yield number, zlib.decompress(packed.read(size))
