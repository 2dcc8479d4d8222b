"""Opening the journal on a disk that may not answer at all: by a thread of its own, so that the page doesn't wait for it."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Final

from edge.domain.errors import StoreFault
from edge.store.journal import Journal

log = logging.getLogger("warmwell.daemon")

#: after so long (real seconds) the page says that the disk doesn't answer, and the journal is waited for beside it
ANSWERS_WITHIN_S: Final = 2.0


class SilentDisk(StoreFault):
    """The disk has not answered: neither a journal nor a fault."""


class Opening:
    """A journal that is being opened. The call can't be broken off; what comes of it is kept until it is asked for.

    Args:
        make: opens it; may take for ever, may raise.
        folder: for what is said.
    """

    def __init__(self, make: Callable[[], Journal], folder: Path) -> None:
        self._make, self._folder = make, folder
        self._journal: Journal | None = None
        self._exc: Exception | None = None
        self._done = threading.Event()
        threading.Thread(target=self._open, name="opening of the journal", daemon=True).start()

    def _open(self) -> None:
        try:
            self._journal = self._make()
        except Exception as exc:  # handed to whoever asks
            self._exc = exc
        self._done.set()

    def is_done(self) -> bool:
        """Whether the disk has answered, whatever came of it."""
        return self._done.is_set()

    def failed(self) -> bool:
        """Whether it has ended without a journal."""
        return self._exc is not None

    def take(self, within_s: float = ANSWERS_WITHIN_S) -> Journal:
        """The open journal; from now on it is the caller's to close.

        Raises:
            SilentDisk: there has been no answer within so long (real seconds). It may be asked again.
            AlreadyRunning, NewerStore, UnusableInput, StoreFault: as Journal.
        """
        if not self._done.wait(within_s):
            raise SilentDisk(
                "the disk doesn't answer", where=str(self._folder), expected="the journal",
                do="See to the disk or card; records are refused, write them on paper. Warmwell goes on by itself once it answers",
            )  # fmt: skip
        if self._exc is not None:
            raise self._exc
        journal, self._journal = self._journal, None
        assert journal is not None  # it is taken once
        return journal

    def let_go(self) -> None:
        """Nobody will ask any more: close what came of it."""
        if self.is_done() and self._journal is not None:
            self._journal.close()
