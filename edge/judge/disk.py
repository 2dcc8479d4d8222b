"""What waits for the disk: entries in their order, what the disk last refused, and what had to be given up meanwhile."""

from __future__ import annotations

import logging
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from functools import partial
from typing import Final

from edge.domain.entries import Draft, Entry
from edge.domain.errors import StoreFault
from edge.judge.inbox import KeptJournal, bounded, store_fault
from edge.judge.writer import LAST_PATIENCE_S, PATIENCE_S, Job, Writer

log = logging.getLogger("warmwell.judge")

#: entries that may wait for the disk before telemetry among them is dropped; alarms and what people did never are
MOST_UNSAVED: Final = 5_000
#: how long (real seconds) until a disk that refused is tried again
RETRY_S: Final = 1.0


class Disk:
    """One thread's, the judge's; the figures may be read by any.

    Args:
        mono_s: real seconds that never go back.
        kept: gets the entries of a commit.
        changed: called when the disk begins to refuse, again and again, and when it takes again.
        lost: gets how many entries of each kind were given up, once the disk takes again.
    """

    def __init__(
        self,
        journal: KeptJournal,
        mono_s: Callable[[], float],
        *,
        kept: Callable[[list[Entry]], None],
        changed: Callable[[], None],
        lost: Callable[[Mapping[str, int]], None],
    ) -> None:
        self._journal, self._mono_s = journal, mono_s
        self._kept, self._changed, self._say_lost = kept, changed, lost
        self.writer = Writer(PATIENCE_S, mono_s)
        self.waiting: list[Draft] = []  # not on disk yet, nor under way
        self._handed: list[Draft] = []  # under way
        self.fault: StoreFault | None = None
        self.retry_at_s = 0.0
        self._since_s = 0.0
        self._lost: Counter[str] = Counter()
        self._is_never = False

    def never(self, fault: StoreFault) -> None:
        """Nothing at all can be kept, and is tried again."""
        self._is_never, self.fault = True, fault
        self._since_s, self.retry_at_s = float("-inf"), float("inf")

    def add(self, drafts: Iterable[Draft]) -> bool:
        """Let drafts wait for the next commit; True where there are any."""
        before = len(self.waiting)
        self.waiting += drafts
        return len(self.waiting) > before

    def unsaved(self) -> int:
        """How many entries are not on disk."""
        return len(self.waiting) + len(self._handed)

    def refusing_s(self) -> float:
        """For how long (real seconds) the journal has refused; 0 while it takes."""
        return self._mono_s() - self._since_s if self.fault is not None else 0.0

    def is_clean(self) -> bool:
        """Whether nothing waits, nothing is under way, and nothing was refused."""
        return not self.waiting and self.writer.is_idle() and self.fault is None

    def may_be_tried(self) -> bool:
        """Whether it may be tried now with something that no entry waits before."""
        return not self.waiting and self.writer.is_idle() and self._mono_s() >= self.retry_at_s

    def commit(self) -> None:
        """Bring the drafts to disk in one commit; where it refuses they stay, in order, and are tried again."""
        if self._is_never:
            self.waiting.clear()  # they will never be: nobody may wait for them
            return
        is_idle = self.writer.settled()
        if not is_idle or not self.waiting or (self.fault is not None and self._mono_s() < self.retry_at_s):
            self._give_up_telemetry()
            return
        self._handed, self.waiting = self.waiting, []
        self.writer.write(partial(self._journal.append, self._handed), self._committed)

    def _committed(self, job: Job[list[Entry]]) -> None:
        handed, self._handed = self._handed, []
        if job.fault is not None:  # whatever the store says, an alarm must not be lost
            self.waiting = handed + self.waiting
            self.refused(job.fault)
            self._give_up_telemetry()
            return
        self._kept(job.took())

    def refused(self, exc: Exception) -> StoreFault:
        """It refused, whatever was asked of it: as what this is told."""
        fault = exc if isinstance(exc, StoreFault) else store_fault(exc)
        if self.fault is None:
            log.error("%s", fault)
            self._since_s = self._mono_s()
        self.fault, self.retry_at_s = fault, self._mono_s() + RETRY_S
        self._changed()
        return fault

    def took(self) -> None:
        """It took something: what it refused before is over."""
        if self.fault is None:
            return
        log.warning("the journal can be written again; lost of what waited: %s", dict(self._lost) or "nothing")
        self.fault = None
        self._changed()
        if self._lost:
            self._say_lost(dict(self._lost))
            self._lost.clear()

    def _give_up_telemetry(self) -> None:
        self.waiting, lost = bounded(self.waiting, MOST_UNSAVED)
        self._lost.update(lost)

    def commit_at_last(self, stopped: Draft) -> None:
        """The last commit: tried at once, and waited for no longer than a stop may take."""
        self.waiting.append(stopped)
        if not self._is_never:
            self.retry_at_s = 0.0
        self.writer.patience_s = LAST_PATIENCE_S
        self.writer.settled(LAST_PATIENCE_S)
        self.commit()
        left = self.unsaved()
        if left:
            log.error("the disk refuses or hangs, and the stop can't wait: %d entries may be lost", left)

    def may_save_at_last(self) -> bool:
        """After commit_at_last(): whether all is on disk, and the disk is free."""
        return not self.unsaved() and self.writer.is_idle() and not self._is_never
