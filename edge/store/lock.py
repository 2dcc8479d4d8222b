"""One daemon per folder: a lock that the kernel lets go when its holder ends, however it ends.

It is held on the folder itself: a file in it could be deleted, and a second daemon would lock another one of the same name. The
file `lock` says who holds the folder, to the sentence of a second daemon; whatever stands under its name stops no start.
"""

from __future__ import annotations

import fcntl
import os
import threading
from pathlib import Path
from typing import Final

from edge.domain.errors import AlreadyRunning, StoreFault
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
    _held: dict[Path, tuple[list[int], int]] = {}  # folder -> (file descriptors, how often taken)

    def __init__(self, folder: Path) -> None:
        self._folder: Path | None = ready_folder(folder).resolve()
        with self._guard:
            fds, times = self._held.get(self._folder, ([], 0))
            if times == 0:
                fds = _take(self._folder)
            self._held[self._folder] = (fds, times + 1)

    def release(self) -> None:
        """Let go. May be called twice."""
        with self._guard:
            if self._folder is None:
                return
            fds, times = self._held[self._folder]
            if times > 1:
                self._held[self._folder] = (fds, times - 1)
            else:
                del self._held[self._folder]
                _close(fds)
            self._folder = None


def _take(folder: Path) -> list[int]:
    """Descriptors that hold the folder as long as they are open."""
    with as_sentence(str(folder)):
        fds = [os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)]
    try:
        fds.append(open_own(folder / LOCK_FILE, os.O_RDWR))
    except (OSError, StoreFault):
        pass  # the folder is what is held; only the sentence for a second daemon lacks the process id
    try:
        for fd in fds:
            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as exc:
        holder = _holder(fds)
        _close(fds)
        raise AlreadyRunning(
            f"{holder} holds this folder",
            where=str(folder),
            expected="a folder that no other Warmwell uses",
            do="Stop that process first, or name another folder under [keep]",
        ) from exc
    for fd in fds[1:]:
        try:
            os.ftruncate(fd, 0)
            os.pwrite(fd, f"{os.getpid()}\n".encode("ascii"), 0)
        except OSError:
            pass  # a full disk
    return fds


def _holder(fds: list[int]) -> str:
    said = os.pread(fds[1], 32, 0).decode("ascii", errors="replace").strip() if len(fds) > 1 else ""
    return f"process {said}" if said.isdigit() else "another process"


def _close(fds: list[int]) -> None:
    for fd in fds:
        os.close(fd)
