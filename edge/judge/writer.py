"""The thread that waits for the disk, so that the judge doesn't: one job after the other, and how long each took."""

from __future__ import annotations

import queue
import threading
import time
from collections import deque
from collections.abc import Callable
from typing import Any, Final, Generic, TypeVar

T = TypeVar("T")

#: commits that the figures speak of
RECENT: Final = 50
#: how long (real seconds) a pass waits for the disk before it goes on without, and how long the stop does
PATIENCE_S, LAST_PATIENCE_S = 0.25, 1.5
#: how long (real seconds) until a disk that takes its time is looked at again
LOOK_AGAIN_S: Final = 0.05


class Job(Generic[T]):
    """Something that the disk is asked to do. `fault` and took() may be asked once `done` is set."""

    def __init__(self, what: Callable[[], T], began_s: float) -> None:
        self._what, self.began_s = what, began_s
        self.done = threading.Event()
        self._result: list[T] = []
        self.fault: Exception | None = None

    def run(self) -> None:
        """In the writer's thread."""
        try:
            self._result.append(self._what())
        except Exception as exc:  # supervision border: whoever asked for it judges what became of it
            self.fault = exc

    def took(self) -> T:
        """What came of it, where it has no fault."""
        return self._result[0]


class Writer:
    """Does jobs in order in a thread of its own, which ends with the program even where a job never ends.

    The judge's thread asks for one job at a time; `then` runs in its thread, within write() or settled().

    Args:
        patience_s: how long (real seconds) write() waits for the end of its job.
        mono_s: real seconds that never go back.
    """

    def __init__(self, patience_s: float, mono_s: Callable[[], float] = time.monotonic) -> None:
        self.patience_s, self._mono_s = patience_s, mono_s
        self.then: Callable[[Job[Any]], None] = _nothing
        self._jobs: queue.SimpleQueue[Job[Any] | None] = queue.SimpleQueue()
        self._thread: threading.Thread | None = None
        self._under_way: Job[Any] | None = None
        self._took_s: deque[float] = deque(maxlen=RECENT)

    def write(self, what: Callable[[], T], then: Callable[[Job[T]], None]) -> bool:
        """Have it done, and `then` when it is; False where that takes longer than is waited for."""
        if self._thread is None:
            self._thread = threading.Thread(target=self._run, name="journal writer", daemon=True)
            self._thread.start()
        self.then, self._under_way = then, Job(what, self._mono_s())
        self._jobs.put(self._under_way)
        return self.settled(self.patience_s)

    def settled(self, wait_s: float = 0.0) -> bool:
        """Whether it is at nothing any more; what has come to an end is taken up."""
        job = self._under_way
        if job is None:
            return True
        if not job.done.wait(wait_s):
            return False
        self._under_way, then = None, self.then
        then(job)
        return True

    def is_idle(self) -> bool:
        """Whether nothing is under way that has not been taken up."""
        return self._under_way is None

    def stop(self) -> None:
        """End the thread after the job that it is at."""
        self._jobs.put(None)

    def busy_s(self) -> float:
        """For how long it has been at the job under way; 0 where there is none."""
        job = self._under_way
        return 0.0 if job is None or job.done.is_set() else self._mono_s() - job.began_s

    def alive(self) -> bool:
        """Whether its thread runs, or none was needed yet."""
        return self._thread is None or self._thread.is_alive()

    def figures(self) -> dict[str, float | None]:
        """For /health: how long the last job took, what 95 % of the recent ones stayed within, how long this one has taken."""
        took_s = sorted(self._took_s.copy())
        p95_s = took_s[max(0, -(-len(took_s) * 95 // 100) - 1)] if took_s else None
        last_s = self._took_s[-1] if took_s else None
        return {"last_s": _rounded(last_s), "p95_s": _rounded(p95_s), "busy_s": round(self.busy_s(), 3)}

    def _run(self) -> None:
        while (job := self._jobs.get()) is not None:
            job.run()
            self._took_s.append(self._mono_s() - job.began_s)
            job.done.set()


def _rounded(seconds: float | None) -> float | None:
    return None if seconds is None else round(seconds, 4)


def _nothing(_job: Job[Any]) -> None:
    pass
