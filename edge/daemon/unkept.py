"""The journal of a station whose store can't be used: what can be read is read, nothing is kept, and whoever asks is told why.

A disk that is full, damaged or mounted read-only is no reason to leave a page blank: the station is watched all the same, and
its verdict says that it can't be relied on.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, NoReturn, TypeVar

from edge.daemon.opening import SilentDisk
from edge.domain.entries import Draft, Entry
from edge.domain.entry_bodies import FileRepair
from edge.domain.errors import StoreFault, UnusableInput
from edge.store.database import Damaged
from edge.store.journal import ReadOnlyJournal

log = logging.getLogger("warmwell.daemon")

T = TypeVar("T")


class UnkeptJournal:
    """Stands in for a journal that can't be opened for writing.

    Args:
        fault: why; a damaged journal is not read either, as nothing in it can be trusted, nor one on a disk that doesn't answer.
    """

    def __init__(self, folder: Path, fault: StoreFault) -> None:
        self.fault = fault
        self._closed = threading.Event()
        self._old: ReadOnlyJournal | None = None
        if not isinstance(fault, Damaged | SilentDisk):
            try:
                self._old = ReadOnlyJournal(folder)
            except UnusableInput:
                log.debug("there is no journal to read in %s", folder)

    def _asked(self, question: Callable[[ReadOnlyJournal], T], otherwise: T) -> T:
        if self._old is None:
            return otherwise
        try:
            return question(self._old)
        except StoreFault as fault:
            log.debug("the old journal can't be read: %s", fault)
            return otherwise

    def _refuse(self) -> NoReturn:
        raise StoreFault(self.fault.what, where=self.fault.where, expected=self.fault.expected, do=self.fault.do)

    def append(self, _drafts: Sequence[Draft]) -> list[Entry]:
        """Refused: nothing can be kept."""
        self._refuse()

    def read(self, after: int, limit: int) -> list[Entry]:
        return self._asked(lambda old: old.read(after, limit), [])

    def last_seq(self) -> int:
        return self._asked(lambda old: old.last_seq(), 0)

    def head(self) -> tuple[int, str]:
        return self._asked(lambda old: old.head(), (0, ""))

    def mark(self) -> str:
        return self._asked(lambda old: old.mark(), "")

    def digest(self, seq: int) -> str:
        return self._asked(lambda old: old.digest(seq), "")

    def newest_trusted(self) -> Entry | None:
        return None

    def wait(self, after: int, timeout_s: float) -> bool:
        """Nothing new will come."""
        if self.last_seq() > after:
            return True
        self._closed.wait(timeout_s)
        return False

    def cursor(self, _name: str) -> int | None:
        """All that is there was told by whoever could keep it."""
        return self.last_seq()

    def move_cursor(self, _name: str, _seq: int) -> None:
        self._refuse()

    def save_fold(self, _seq: int, _version: int, _state: dict[str, Any]) -> None:
        self._refuse()

    def load_fold(self, _version: int) -> tuple[int, dict[str, Any]] | None:
        return None

    @property
    def trouble(self) -> str | None:
        """Why nothing is kept."""
        return str(self.fault)

    @property
    def note_trouble(self) -> str | None:
        """None of its own: `trouble` says it."""
        return None

    def take_repairs(self) -> list[FileRepair]:
        """Nothing is mended."""
        return []

    def refuse_fold(self, _why: str) -> None:
        """There is none."""

    def status(self) -> dict[str, Any]:
        return {"seq": self.last_seq(), "trouble": str(self.fault)}

    def close(self) -> None:
        self._closed.set()
        if self._old is not None:
            self._old.close()
