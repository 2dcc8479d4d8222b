"""One daemon per folder: a lock that the kernel lets go when its holder ends, however it ends."""

from __future__ import annotations

import fcntl
import os
import threading
from pathlib import Path
from typing import Final

from edge.domain.errors import AlreadyRunning
from edge.store.database import as_sentence, ready_folder
from edge.store.side_files import open_own

LOCK_FILE: Final = "lock"


class FolderLock:
    """Holds a folder. Within one process it may be taken several times (the journal and the series both do).

    Raises:
        AlreadyRunning: another process holds the folder; the sentence names its process id.
        StoreFault: the folder can't be used.
    """

    _guard = threading.Lock()
    _held: dict[Path, tuple[int, int]] = {}  # folder -> (file descriptor, how often taken)

    def __init__(self, folder: Path) -> None:
        self._folder: Path | None = ready_folder(folder).resolve()
        with self._guard:
            fd, times = self._held.get(self._folder, (-1, 0))
            if times == 0:
                fd = _take(self._folder)
            self._held[self._folder] = (fd, times + 1)

    def release(self) -> None:
        """Let go. May be called twice."""
        with self._guard:
            if self._folder is None:
                return
            fd, times = self._held[self._folder]
            if times > 1:
                self._held[self._folder] = (fd, times - 1)
            else:
                del self._held[self._folder]
                os.close(fd)
            self._folder = None


def _take(folder: Path) -> int:
    path = folder / LOCK_FILE
    with as_sentence(str(path)):
        fd = open_own(path, os.O_RDWR)
    try:
        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as exc:
        holder = os.pread(fd, 32, 0).decode("ascii", errors="replace").strip() or "unknown"
        os.close(fd)
        raise AlreadyRunning(
            f"process {holder} holds this folder",
            where=str(folder),
            expected="a folder that no other Warmwell uses",
            do=f"Stop process {holder} first, or name another folder",
        ) from exc
    try:
        os.ftruncate(fd, 0)
        os.pwrite(fd, f"{os.getpid()}\n".encode("ascii"), 0)
    except OSError:
        pass  # a full disk: the lock holds all the same, only the sentence for a second daemon lacks the process id
    return fd
