"""Reading the sensors: one daemon thread per bus, a schedule without drift, time limits, back-off, supervision.

Nothing that an adapter does may reach beyond its own bus. It can raise anything, return anything, fail when it is made,
or never come back: its points turn bad, with a reason, and the other buses keep their periods. A thread that hangs in a
read can't be ended in Python; it stays the only one of its bus, the supervisor speaks for its points, and as a daemon
thread it holds up neither stop() nor the end of the program. (asyncio's pool would: the interpreter waits for it.)

Samples carry the time that the adapter read the clock at. Time limits and back-offs run in real time, periods in the
clock's.

What an adapter may do beside open, read and close is in the contract (`Adapter` in edge/domain/contracts.py).
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from adapters import find
from edge.acquisition.handover import BusLike, OnSamples
from edge.acquisition.worker import BusWorker, OnBus, OnSeen
from edge.domain.contracts import AdapterFactory, Clock
from edge.domain.settings import Point

_log = logging.getLogger(__name__)


class Acquisition:
    """Reads every point of every bus, and hands over samples.

    Args:
        buses: the buses' plans.
        points: settings by point id.
        clock: stamps and paces the reads.
        on_samples: gets each batch; from any thread; must not block.
        on_bus: gets (bus id, "lost" or "back", why, now): once when it is first known, then once for each change. So a
            bus that was lost before a restart, or before a reload of the station file, is told to be back.
        find_adapter: what makes an adapter of a bus's kind.
        seen: by bus, what its adapter told of it at an earlier start.
        on_seen: gets (bus id, what its adapter tells of it), each time that it was opened.
        mono_s: real seconds that never go back, for time limits and back-offs.
    """

    def __init__(
        self,
        buses: Sequence[BusLike],
        points: Mapping[str, Point],
        clock: Clock,
        on_samples: OnSamples,
        on_bus: OnBus,
        find_adapter: Callable[[str], AdapterFactory] = find,
        seen: Mapping[str, Mapping[str, str]] | None = None,
        on_seen: OnSeen | None = None,
        mono_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._mono_s = mono_s
        self._stop = threading.Event()
        seams = (clock, on_samples, on_bus, find_adapter, self._stop, on_seen or (lambda _bus, _seen: None))
        self._workers = [BusWorker(bus, points, *seams, (seen or {}).get(bus.id, {}), mono_s) for bus in buses]
        self._beat_s = self._mono_s()
        self._supervisor = threading.Thread(target=self._supervise, name="bus supervisor", daemon=True)

    def start(self) -> None:
        """Begin. Never raises for what an adapter does; buses that can't be opened are told by on_bus."""
        for worker in self._workers:
            worker.thread.start()
        self._supervisor.start()

    def stop(self, timeout_s: float = 2.0) -> bool:
        """End the threads and let the hardware go. False where one is stuck in a read: it ends with the program."""
        deadline_s = self._mono_s() + timeout_s
        self._stop.set()
        for worker in self._workers:
            worker.wake()
        for thread in [worker.thread for worker in self._workers] + [self._supervisor]:
            if thread.ident is not None:
                thread.join(max(0.0, deadline_s - self._mono_s()))
        stuck = [worker.id for worker in self._workers if worker.thread.is_alive()]
        if stuck:
            _log.warning("stopped, but a read has not come back on: %s", ", ".join(stuck))
        return not stuck

    @property
    def threads(self) -> list[str]:
        """Names of the threads that are alive."""
        everyone = [worker.thread for worker in self._workers] + [self._supervisor]
        return [thread.name for thread in everyone if thread.is_alive()]

    def quiet_s(self) -> float:
        """Real seconds since the supervisor last came round."""
        return 0.0 if self._stop.is_set() or self._supervisor.ident is None else self._mono_s() - self._beat_s

    def ended(self) -> list[str]:
        """Threads that should run and don't. One that is stuck in a read is none: its points are bad, and its bus is lost."""
        if self._stop.is_set():
            return []
        everyone = [worker.thread for worker in self._workers] + [self._supervisor]
        return [thread.name for thread in everyone if thread.ident is not None and not thread.is_alive()]

    def ages(self) -> dict[str, int | None]:
        """How old the newest good sample of each point is [ms, the clock's time]; None where there was none."""
        return {point: age for worker in self._workers for point, age in worker.ages().items()}

    def status(self) -> dict[str, dict[str, Any]]:
        """By bus, for /health: {"kind", "state", "why", "reads", "faults", "counts", "points": {id: age [ms] | None}, "seen", "remark"}."""
        return {worker.id: worker.status() for worker in self._workers}

    def _supervise(self) -> None:
        while not self._stop.wait(min((worker.look_again_s() for worker in self._workers), default=1.0)):
            self._beat_s = self._mono_s()
            for worker in self._workers:
                try:
                    worker.look()
                except Exception:  # supervision border: the watcher of all buses must outlive a mistake about one
                    _log.exception("watching bus %s failed", worker.id)
