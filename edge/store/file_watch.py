"""Is the file that is open still the one under its name?

A file that was unlinked, renamed or covered by another goes on taking what is written to it, and nobody finds it there
after a restart. So each open file is pinned by a descriptor that can't read or write (O_PATH: closing it lets go of no
lock of SQLite's) and compared with its name.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Final

from edge.domain.errors import StoreFault

_ENDINGS: Final = ("", "-wal", "-shm")
#: of these, what was written by others shows in size and time of change
_WRITTEN: Final = ("", "-wal")


class FileWatch:
    """A database's file, its write-ahead log and the log's index, as they were when they were opened.

    Args:
        path: the database's file; open for writing, so that all three files are there.
        look_through: called when something else wrote to one of them; raises StoreFault where it is not whole.
    """

    def __init__(self, path: Path, look_through: Callable[[], None]) -> None:
        self._path, self._look_through = path, look_through
        self._pinned: dict[str, int] = {}
        self._seen: dict[str, tuple[int, int]] = {}
        try:
            for ending in _ENDINGS:
                self._pin(ending)
        except BaseException:
            self.close()
            raise
        self.wrote()

    def _pin(self, ending: str) -> None:
        try:
            self._pinned[ending] = os.open(self._name(ending), os.O_PATH | os.O_NOFOLLOW | os.O_CLOEXEC)
        except FileNotFoundError:
            if ending == "":
                raise

    def _name(self, ending: str) -> Path:
        return self._path.with_name(self._path.name + ending)

    def check(self) -> None:
        """Raises StoreFault: what is written now would not be found again."""
        for ending in _ENDINGS:
            if ending not in self._pinned:
                self._pin(ending)  # made later than the others
                continue
            why = self._misplaced(ending)
            if why:
                raise StoreFault(
                    f"{self._name(ending).name} {why} while Warmwell has it open",
                    where=str(self._path.parent),
                    expected="the file that was opened, under its name",
                    do="Put the file or the folder back where it was; else restart Warmwell: it says what is lost. "
                    "Nothing is taken meanwhile",
                )
        if self._marks() != self._seen:
            self._look_through()
            self.wrote()

    def is_another(self) -> bool:
        """Whether another file than the one that was opened, or none, stands under the name."""
        return bool(self._misplaced(""))

    def wrote(self) -> None:
        """What the files look like after a write of our own."""
        self._seen = self._marks()

    def close(self) -> None:
        """Let go. May be called twice."""
        while self._pinned:
            os.close(self._pinned.popitem()[1])

    def _misplaced(self, ending: str) -> str:
        try:
            here, there = os.fstat(self._pinned[ending]), os.lstat(self._name(ending))
        except FileNotFoundError:
            return "is gone from its name (deleted, or its folder was moved)"
        except OSError as exc:
            return f"can't be looked at ({exc.strerror})"
        if here.st_nlink == 0:
            return "was deleted"
        if (here.st_dev, here.st_ino) != (there.st_dev, there.st_ino):
            return "was replaced by another file"
        return ""

    def _marks(self) -> dict[str, tuple[int, int]]:
        marks: dict[str, tuple[int, int]] = {}
        for ending in _WRITTEN:
            if ending in self._pinned:
                found = os.fstat(self._pinned[ending])
                marks[ending] = (found.st_size, found.st_mtime_ns)
        return marks
