"""What a station makes again and again beside itself: looked at now and then in a thread of its own, made by a Child, tried anew."""

from __future__ import annotations

import logging
import time
from abc import ABC, abstractmethod
from collections.abc import Sequence
from typing import Final

from edge.daemon.child import Child
from edge.daemon.page import Aside
from edge.domain.back_off import BackOff
from edge.domain.entries import Now

log = logging.getLogger("warmwell.daemon")

#: after a start the station is left in peace for so long, and between two tries of what fails
SETTLED_MS: Final = 600_000
AGAIN_MS: Final = 3_600_000
#: how often it is looked whether something is due, and what came of what was begun
LOOK_EVERY_MS: Final = 5000


class Repeated(ABC):
    """One thing that is made so.

    Args:
        what: what is made, as it is called in the log behind "the".
    """

    def __init__(self, what: str) -> None:
        self._what, self._aside, self._child = what, Aside(what), Child()
        self._began_ms: int | None = None
        self._tried_ms: int | None = None
        self._looked_ms: int | None = None
        self._is_over = False
        self.trouble = ""

    @abstractmethod
    def _attend(self, now: Now) -> None:
        """Hear of what was begun, and begin what is due. In a thread of its own."""

    def _look(self, now: Now) -> None:
        """Never waits for a disk."""
        if self._looked_ms is None or now.mono_ms - self._looked_ms >= LOOK_EVERY_MS:
            self._looked_ms = now.mono_ms
            self._aside.begin(lambda: self._turn(now))

    def _turn(self, now: Now) -> None:
        if not self._is_over:
            self._began_ms = now.mono_ms if self._began_ms is None else self._began_ms
            self._attend(now)

    def _is_settled(self, now: Now) -> bool:
        assert self._began_ms is not None
        return now.mono_ms - self._began_ms >= SETTLED_MS

    def _was_tried(self, now: Now, within_ms: int) -> bool:
        return self._tried_ms is not None and now.mono_ms - self._tried_ms < within_ms

    def _went_well(self) -> bool:
        """Whether what was begun has just ended well; why it hasn't is the trouble."""
        why = self._child.ended()
        if why:
            self._failed(self._told(why))
        elif why is not None:
            self.trouble = ""
        return why == ""

    def _told(self, why: str) -> str:
        """A child's last words, for people."""
        return why

    def _failed(self, why: str) -> None:
        if why != self.trouble:
            log.error("the %s failed: %s", self._what, why)
        self.trouble = why

    def stop(self) -> None:
        """Break off what is under way; what it would have made is made whole another time, or as it was."""
        self._is_over = True
        self._child.stop()


class Retried(Repeated):
    """One that is broken off after a time, and tried again after pauses that double.

    Args:
        what: as Repeated has it.
        pauses_s: the first and the longest pause after a try that failed.
        limit_s: so long a try may take (real seconds).
    """

    def __init__(self, what: str, pauses_s: tuple[float, float], limit_s: float) -> None:
        super().__init__(what)
        self._back_off, self._limit_s = BackOff(*pauses_s), limit_s
        self._again_ms, self._begun_s = 0, 0.0

    def _begin_try(self, command: Sequence[str]) -> None:
        """Raises OSError: it can't be begun."""
        self._begun_s = time.monotonic()
        self._child.begin(command)

    def _came_of_it(self) -> str | None:
        """What came of a try: "" where it went well, else why not; None: it is under way, or none is."""
        if not self._child.is_under_way:
            return None
        if time.monotonic() - self._begun_s <= self._limit_s:
            return self._child.ended()
        why = self._child.wait(0.0)
        return f"it took more than {self._limit_s:g} s" if why is None else why

    def _may_try(self, now: Now) -> bool:
        return not self._child.is_under_way and self._is_settled(now) and now.mono_ms >= self._again_ms

    def _pause(self, now: Now) -> None:
        self._again_ms = now.mono_ms + round(self._back_off.take_s() * 1000)
