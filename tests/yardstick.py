"""What a busy machine takes from a test: how long programs stood ready to run and were given no processor.

A limit on real time is meant for a program that may run. So a test measures, over the same span, how long its threads (and those of
processes that it names) waited for a processor, and grants that on top:

    with Yardstick() as yardstick:
        began_s = time.monotonic()
        stop()
        assert time.monotonic() - began_s < 2.0 + yardstick.late_s()

The kernel counts it for each thread: /proc/PID/task/TID/schedstat, second figure, in nanoseconds (Documentation/scheduler/sched-stats.rst
of the kernel). On a quiet machine it is some milliseconds, and the limit as sharp as it reads. Where the kernel doesn't count, it is 0.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from pathlib import Path
from types import TracebackType

from edge.demo.held_up import waited_ns

EVERY_S = 0.05


class Yardstick:
    """Between enter and exit it looks every 50 ms, so that what threads waited that have ended since is counted, too."""

    def __init__(self, *processes: int) -> None:
        self._folders = [Path(f"/proc/{pid}/task") for pid in ("self", *processes)]
        self._last: dict[str, int] = {}
        self._late_s = 0.0
        self._seen: deque[tuple[float, float]] = deque()  # when, and how much it was by then
        self._lock = threading.Lock()
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._watch, daemon=True)

    def __enter__(self) -> Yardstick:
        self._look()
        self._late_s = 0.0  # what was waited before
        self._seen.clear()
        self._look()
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, exc: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._over.set()
        self._thread.join()

    def late_s(self, within_s: float | None = None) -> float:
        """Seconds that were waited for a processor, all threads together: since the beginning, or in the worst span of this length."""
        self._look()
        with self._lock:
            seen = list(self._seen)
        if within_s is None:
            return seen[-1][1] - seen[0][1]
        worst, first = 0.0, 0
        for at_s, late_s in seen:
            while seen[first + 1 : first + 2] and seen[first + 1][0] <= at_s - within_s:
                first += 1
            worst = max(worst, late_s - seen[first][1])
        return worst

    def _watch(self) -> None:
        while not self._over.wait(EVERY_S):
            self._look()

    def _look(self) -> None:
        with self._lock:
            for folder in self._folders:
                for thread, ns in waited_ns(folder):
                    self._late_s += (ns - self._last.get(thread, 0)) / 1e9
                    self._last[thread] = ns
            self._seen.append((time.monotonic(), self._late_s))
