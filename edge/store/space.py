"""How much room the disk has, and what is given up when it runs out: raw readings first, then rollups, the journal last.

A reserve file is kept for the journal. When a commit finds the disk full, the reserve is unlinked, because deleting rows
doesn't help then: a delete has to be written too, and fails. Room that comes back is noticed within seconds.
"""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from enum import IntEnum
from pathlib import Path
from typing import Any, Final

from edge.domain.errors import StoreFault
from edge.store.database import JOURNAL_FILE, SERIES_FILE
from edge.store.side_files import open_own

RESERVE_FILE: Final = "reserve"

#: how often the disk is asked, real seconds
_ASK_EVERY_S: Final = 2.0
#: how long whoever wants to know waits for the disk's answer, and when a disk that gives none is said to hang (real seconds)
PATIENCE_S: Final = 1.0
_HANGS_AFTER_S: Final = 5.0
_MIB: Final = 1 << 20
#: opening two files takes an index of 32 kB each for the write-ahead log, before a single page is written
_LEAST_RESERVE: Final = 128 << 10


class Room(IntEnum):
    """What there is room for. The higher, the less."""

    FOR_ALL = 0
    LOW = 1  # still for all, but someone should free some
    NO_RAW = 2  # rollups and journal
    NO_ROLLUPS = 3  # the journal alone


WORDS: Final = {
    Room.FOR_ALL: "ok",
    Room.LOW: "low",
    Room.NO_RAW: "raw readings are not kept",
    Room.NO_ROLLUPS: "neither raw readings nor rollups are kept",
}


@dataclass(frozen=True, slots=True)
class Margins:
    """Free bytes below which something is given up; on a small disk the share of its size, where that is less."""

    low: int = 256 * _MIB
    raw: int = 64 * _MIB
    rollups: int = 32 * _MIB
    reserve: int = 8 * _MIB
    low_share: float = 0.10
    raw_share: float = 0.05
    rollups_share: float = 0.03
    reserve_share: float = 0.02

    def of(self, disk_bytes: int) -> tuple[int, int, int, int]:
        """(low, raw, rollups, reserve) in bytes for a disk of this size."""
        return (
            min(self.low, int(disk_bytes * self.low_share)),
            min(self.raw, int(disk_bytes * self.raw_share)),
            min(self.rollups, int(disk_bytes * self.rollups_share)),
            min(max(_LEAST_RESERVE, min(self.reserve, int(disk_bytes * self.reserve_share))), disk_bytes // 8),
        )


def free_and_size(folder: Path) -> tuple[int, int]:
    """(bytes that this user may still write, bytes of the file system)."""
    found = os.statvfs(folder)
    return found.f_bavail * found.f_frsize, found.f_blocks * found.f_frsize


class Space:
    """The room of one folder's disk. Any thread may ask; the disk is asked every two seconds at most, by a thread of its own:
    one that hangs holds nobody up.

    Args:
        folder: where the store stands.
        margins: when to give up what.
        measure: (free, size) in bytes; handed in by tests.
    """

    def __init__(
        self,
        folder: Path,
        margins: Margins | None = None,
        measure: Callable[[Path], tuple[int, int]] = free_and_size,
    ) -> None:
        self._folder, self._margins, self._measure = folder, margins or Margins(), measure
        self._lock = threading.Lock()
        self._asked_s = -_ASK_EVERY_S
        self._room, self._free = Room.FOR_ALL, 0
        self._logs = dict.fromkeys((JOURNAL_FILE, SERIES_FILE), 0)
        self._refused = self._has_reserve = self._is_read_only = False
        self._asking: threading.Event | None = None  # while the disk has not answered yet

    def room(self, fresh: bool = False) -> Room:
        """What there is room for. `fresh`: ask the disk now."""
        self._ask(fresh)
        return self._room

    def silent_s(self) -> float:
        """For how long (real seconds) the disk has owed an answer; 0 while it answers."""
        with self._lock:
            return time.monotonic() - self._asked_s if self._asking is not None else 0.0

    def _ask(self, fresh: bool = False) -> None:
        with self._lock:
            now_s = time.monotonic()
            if self._asking is None and (fresh or now_s - self._asked_s >= _ASK_EVERY_S):
                self._asked_s, self._asking = now_s, threading.Event()
                threading.Thread(target=self._look, name="disk", daemon=True).start()
            asking, left_s = self._asking, self._asked_s + PATIENCE_S - now_s
        if asking is not None and left_s > 0:
            asking.wait(left_s)

    def refused(self) -> None:
        """A write found the disk full, whatever it says about itself: give up raw readings until it says that there is room."""
        with self._lock:
            self._refused = True
            self._asked_s = -_ASK_EVERY_S

    def make_room(self) -> bool:
        """Unlink the reserve for the journal's sake. True: there was one."""
        self.refused()
        try:
            (self._folder / RESERVE_FILE).unlink()
        except OSError:
            return False
        return True

    def status(self) -> dict[str, Any]:
        """For /health and the alarm `disk_low`.

        {"disk": words, "low": bool, "free_bytes": int, "reserve": bool, "read_only": bool, "logs": bytes of each file's write-ahead log}
        """
        room, silent_s = self.room(), self.silent_s()
        return {
            "disk": WORDS[room] if silent_s < _HANGS_AFTER_S else f"the disk has not answered for {silent_s:.0f} s",
            "low": room >= Room.LOW,
            "free_bytes": self._free,
            "reserve": self._has_reserve,
            "read_only": self._is_read_only,
            "logs": self._logs,
        }

    def _look(self) -> None:
        """In the disk's own thread."""
        try:
            self._measured()
        finally:
            with self._lock:
                asking, self._asking = self._asking, None
            if asking is not None:
                asking.set()

    def _measured(self) -> None:
        try:
            free, size = self._measure(self._folder)
        except OSError:
            self._room = Room.NO_ROLLUPS  # a disk that can't even be asked
            self._has_reserve = False
            return
        low, raw, rollups, reserve = self._margins.of(size)
        if free < rollups:
            room = Room.NO_ROLLUPS
        elif free < raw:
            room = Room.NO_RAW
        else:
            room = Room.LOW if free < low else Room.FOR_ALL
        if free >= raw + reserve:
            self._refused = False
            self._keep_reserve(reserve)
        elif self._refused:
            room = max(room, Room.NO_RAW)
        self._has_reserve = os.path.exists(self._folder / RESERVE_FILE)
        self._is_read_only = _is_read_only(self._folder)
        self._logs = {name: _bytes_of(self._folder / f"{name}-wal") for name in self._logs}
        self._room, self._free = room, free

    def _keep_reserve(self, size: int) -> None:
        path = self._folder / RESERVE_FILE
        try:
            if size <= 0 or (path.exists() and path.lstat().st_size >= size and not path.is_symlink()):
                return
            fd = open_own(path, os.O_WRONLY)
            try:
                os.posix_fallocate(fd, 0, size)
            finally:
                os.close(fd)
        except (OSError, StoreFault):
            pass  # no reserve then: it is a help, and status() says that there is none


def _bytes_of(path: Path) -> int:
    """How large a file is; 0 for one that isn't there, or can't be asked."""
    try:
        return path.stat().st_size
    except OSError:
        return 0


def _is_read_only(folder: Path) -> bool:
    """Whether the folder's file system is mounted for reading only; False where it can't be asked."""
    try:
        return bool(os.statvfs(folder).f_flag & os.ST_RDONLY)
    except OSError:
        return False
