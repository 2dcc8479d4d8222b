"""How long the threads of this process stood ready to run and were given no processor.

The kernel counts it for each thread: /proc/PID/task/TID/schedstat, second figure, in nanoseconds
(Documentation/scheduler/sched-stats.rst of the kernel). Where it doesn't count, it is 0.
"""

from __future__ import annotations

import os
from heapq import nlargest
from pathlib import Path
from typing import Final

TASKS: Final = Path("/proc/self/task")


class HeldUp:
    """Asked again and again, it says how long the two threads that waited most have waited since it was asked last, together [s].

    A question waits in the thread that asks, then in the one that answers: a device that is simulated in this process is late by both.
    """

    def __init__(self) -> None:
        self._folder = TASKS
        self._last = dict(waited_ns(self._folder))

    def __call__(self) -> float:
        now = dict(waited_ns(self._folder))
        waits = nlargest(2, (ns - self._last.get(thread, ns) for thread, ns in now.items()))
        self._last = now
        return sum(waits) / 1e9


def waited_ns(folder: Path) -> list[tuple[str, int]]:
    """Nanoseconds that each thread of a process (its /proc/PID/task) has waited, by its number; none of one that has ended."""
    found = []
    try:
        threads = os.listdir(folder)
    except OSError:
        return []
    for thread in threads:
        try:
            figures = (folder / thread / "schedstat").read_text().split()
        except OSError:
            continue
        if len(figures) == 3:
            found.append((thread, int(figures[1])))
    return found
