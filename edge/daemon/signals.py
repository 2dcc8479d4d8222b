"""What signals ask a program for that runs until it is told to stop."""

from __future__ import annotations

import contextlib
import queue
import signal
from collections.abc import Iterator
from types import FrameType


class Asked:
    """What signals asked for. A handler only notes it; the main thread acts.

    The handler runs inside the main thread, also while that waits: an event's lock would be taken twice and hold both
    up for ever. A simple queue may be put into by a handler, says Python's documentation of `queue`.
    """

    def __init__(self) -> None:
        self.stop_why: str | None = None
        self.reload = False
        self._wake: queue.SimpleQueue[None] = queue.SimpleQueue()

    def handle(self, number: int, _frame: FrameType | None) -> None:
        if number == signal.SIGHUP:
            self.reload = True
        else:
            self.stop_why = self.stop_why or signal.Signals(number).name
        self._wake.put(None)

    def wait(self, timeout_s: float) -> None:
        """Until a signal or `timeout_s` (real seconds)."""
        with contextlib.suppress(queue.Empty):
            self._wake.get(timeout=timeout_s)


@contextlib.contextmanager
def listening() -> Iterator[Asked]:
    """Take SIGTERM, SIGINT and SIGHUP as requests; what handled them before is put back at the end."""
    asked = Asked()
    numbers = (signal.SIGTERM, signal.SIGINT, signal.SIGHUP)
    before = {number: signal.signal(number, asked.handle) for number in numbers}
    try:
        yield asked
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
