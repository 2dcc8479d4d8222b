"""One bus: its thread, its adapter, its schedule; what an adapter may do and what becomes of it."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import partial
from typing import Any, Final, TypeVar

from edge.acquisition.completed import completed, inner
from edge.acquisition.handover import BusLike, Handover, OnSamples
from edge.acquisition.schedule import Schedule
from edge.domain.back_off import BackOff
from edge.domain.contracts import Adapter, AdapterFactory, Clock
from edge.domain.entries import Now
from edge.domain.errors import BusLost, SensorSilent, UnusableInput, WarmwellError
from edge.domain.readings import REASONS
from edge.domain.settings import Point

_log = logging.getLogger(__name__)

_T = TypeVar("_T")
OnBus = Callable[[str, str, str, Now], None]
OnSeen = Callable[[str, Mapping[str, str]], None]

FIRST_BACK_OFF_S: Final = 1.0
LONGEST_BACK_OFF_S: Final = 60.0
STEADY_S: Final = 60.0  # a bus that was good for so long starts its back-off anew
TIME_LIMIT_S: Final = 2.0  # for one read, where the bus sets none
HUNG_IS_LOST_S: Final = 10.0  # a read that is overdue by this much has taken its bus with it
FAULTS_TO_RENEW: Final = 3  # so many failed reads in a row, and the adapter is made anew
LONGEST_WAIT_S: Final = 3600.0


class BusWorker:
    """One bus: its thread, its adapter, its schedule."""

    def __init__(
        self,
        bus: BusLike,
        points: Mapping[str, Point],
        clock: Clock,
        on_samples: OnSamples,
        on_bus: OnBus,
        find_adapter: Callable[[str], AdapterFactory],
        stop: threading.Event,
        on_seen: OnSeen,
        seen: Mapping[str, str],
        mono_s: Callable[[], float],
    ) -> None:
        self._mono_s = mono_s
        self.id, self._bus, self._clock, self._stop = bus.id, bus, clock, stop
        self._on_seen, self._seen = on_seen, seen
        self._on_bus, self._find = on_bus, find_adapter
        self._points = {name: points[name] for name in bus.points if name in points}
        self._handover = Handover(bus, self._points, clock, on_samples, stop)
        self.limit_s = _limit_s(bus)
        self.thread = threading.Thread(target=self._run, name=f"bus {bus.id}", daemon=True)
        self._adapter: Adapter | None = None
        self._back_off = BackOff(FIRST_BACK_OFF_S, LONGEST_BACK_OFF_S)
        self._schedule = Schedule({name: point.every_ms for name, point in self._points.items()}, clock.mono_ms())
        # shared with the supervisor
        self._lock = threading.Lock()
        self._asked: Sequence[str] = ()
        self._overdue_s: float | None = None  # monotonic time at which the call under way becomes overdue
        self._hung = False
        self._state, self._why = "starting", ""
        self._lost: bool | None = None  # None: nothing was told yet
        self._good_since_s: float | None = None
        self._lost_schedule: Schedule | None = None
        self._reads = self._faults = 0

    # -- for others

    def wake(self) -> None:
        """End a wait for bytes, so that the thread sees that it is to stop."""
        adapter = self._adapter
        if adapter is not None:
            try:
                adapter.wake()
            except Exception:  # supervision border: an adapter's mistake must not hold up the stop of the others
                _log.warning("bus %s: waking its adapter failed", self.id, exc_info=True)

    def ages(self) -> dict[str, int | None]:
        return self._handover.ages()

    def status(self) -> dict[str, Any]:
        with self._lock:
            state, adapter = "hung" if self._hung else self._state, self._adapter
            return {
                "kind": self._bus.kind, "state": state, "why": self._why, "reads": self._reads, "faults": self._faults,
                "counts": {} if adapter is None else dict(adapter.counts), "points": self.ages(), "seen": self._seen.get("why", ""),
                "remark": "" if adapter is None or self._state == "lost" else str(adapter.remark),
            }  # fmt: skip

    def look_again_s(self) -> float:
        """When the supervisor should look: often enough for the time limit, and for each period while a read hangs."""
        often_s = self.limit_s / 4
        if self._hung and self._points:
            often_s = min(often_s, self._clock.real_s(min(point.every_ms for point in self._points.values())))
        return min(0.5, max(0.05, often_s))

    def look(self) -> None:
        """The supervisor's look: speak for the points of a read that doesn't come back."""
        with self._lock:
            over_s = 0.0 if self._overdue_s is None else self._mono_s() - self._overdue_s
            if over_s <= 0.0:
                return
            due = self._schedule.take(self._clock.mono_ms())
            if not self._hung:
                self._hung = True
                due = [name for name in self._points if name in due or name in self._asked]
                _log.warning("bus %s: no answer within %g s; its points are bad until one comes", self.id, self.limit_s)
        self._handover.give_bad(due, "no_answer", f"no answer within {self.limit_s:g} s")
        if over_s > HUNG_IS_LOST_S:
            self._tell_lost(f"bus {self.id}: a read has not come back within {self.limit_s + HUNG_IS_LOST_S:g} s")

    # -- the thread

    def _run(self) -> None:
        while not self._stop.is_set():
            try:
                self._one_life()
            except Exception:  # supervision border: a mistake of ours must not end a bus for good
                _log.exception("bus %s: reading it failed", self.id)
                self._stop.wait(LONGEST_BACK_OFF_S)
        self._state = "stopped"

    def _one_life(self) -> None:
        """Open the bus, read it until it is lost, close it, and wait until trying again makes sense."""
        reason, why = "adapter_fault", ""
        try:
            self._open()
            self._read_on()
        except UnusableInput as exc:
            why = str(exc)
        except BusLost as exc:
            reason, why = _reason_of(exc), str(exc)
        except BaseException as exc:  # supervision border: whatever an adapter raises stays on its bus
            why = f"bus {self.id}: the adapter failed ({_described(exc)})"
            _log.debug("bus %s", self.id, exc_info=True)
        self._close()
        if not self._stop.is_set():
            self._lost_until_next_try(reason, why)

    def _open(self) -> None:
        everything, before = list(self._points), self._adapter

        def make() -> Adapter:
            options = {**self._bus.options, "id": self._bus.id, "kind": self._bus.kind, "seen": self._seen}
            self._adapter = adapter = completed(self._find(self._bus.kind)(options, self._bus.points, self._clock))
            if before is not None:
                adapter.resume(inner(before))
            adapter.open()
            return adapter

        self._adapter = self._good_since_s = None
        seen = self._limited(make, everything, self.limit_s).seen
        if isinstance(seen, Mapping) and seen and seen != self._seen:
            self._seen = dict(seen)
            _log.info("bus %s: %s", self.id, seen.get("why", ""))
            self._on_seen(self.id, self._seen)

    def _close(self) -> None:
        adapter = self._adapter
        if adapter is None:
            return
        try:
            self._limited(adapter.close, list(self._points), self.limit_s)
        except BaseException as exc:  # supervision border: the adapter is given up anyway
            _log.debug("bus %s: closing failed (%s)", self.id, _described(exc))

    def _limited(self, call: Callable[[], _T], asked: Sequence[str], limit_s: float) -> _T:
        """Call an adapter under the supervisor's eyes."""
        with self._lock:
            self._asked, self._overdue_s = asked, self._mono_s() + limit_s
        try:
            return call()
        finally:
            with self._lock:
                self._overdue_s = None
                came_back, self._hung = self._hung, False
            if came_back:
                _log.info("bus %s: the call that had not come back did", self.id)

    def _read_on(self) -> None:
        """Read until the bus is lost, the adapter fails too often, or it is time to stop."""
        adapter = self._adapter
        assert adapter is not None
        faults_in_a_row = 0
        while not self._stop.is_set():
            self._wait_until_due(adapter)
            with self._lock:
                due = self._schedule.take(self._clock.mono_ms())
            if not due or self._stop.is_set():
                continue
            try:
                heard, odd = self._hear(self._limited(partial(adapter.read, due), due, self.limit_s))
                if odd:
                    self._faulty([name for name in due if name not in heard], odd)
            except BusLost:
                raise
            except SensorSilent as exc:
                self._handover.give_bad(due, "no_answer", str(exc))
            except BaseException as exc:  # supervision border: one bad read is not the end of a bus
                faults_in_a_row += 1
                self._faulty(due, f"read failed ({_described(exc)})")
                if faults_in_a_row >= FAULTS_TO_RENEW:
                    raise
                continue
            faults_in_a_row = 0
            self._reads += 1

    def _wait_until_due(self, adapter: Adapter) -> None:
        with self._lock:
            next_ms = self._schedule.next_ms()
        wait_s = LONGEST_WAIT_S
        if next_ms is not None:
            wait_s = min(wait_s, self._clock.real_s(next_ms - self._clock.mono_ms()))
        if wait_s <= 0.0:
            return
        began_s = self._mono_s()
        raws = self._limited(partial(adapter.listen, wait_s), list(self._points), wait_s + self.limit_s)
        if raws is None:
            self._stop.wait(max(0.0, began_s + wait_s - self._mono_s()))
            return
        _, odd = self._hear(raws)
        if odd:
            self._faulty((), odd)
        if self._mono_s() - began_s < 0.005:  # one that returns at once must not keep the processor busy
            self._stop.wait(min(wait_s, 0.005))

    def _lost_until_next_try(self, reason: str, why: str) -> None:
        lasted_s = 0.0 if self._good_since_s is None else self._mono_s() - self._good_since_s
        if lasted_s >= STEADY_S:
            self._back_off.begin_anew()
        deadline_s = self._mono_s() + self._back_off.take_s()
        if self._lost and why != self._why:
            _log.warning("still lost: %s", why)
        self._tell_lost(why)
        if self._lost_schedule is None:
            # once at the loss, then often enough that no point looks merely stale, and no oftener
            slower = {name: max(point.every_ms, point.stale_after_ms // 2) for name, point in self._points.items()}
            self._lost_schedule = Schedule(slower, self._clock.mono_ms())
        while not self._stop.is_set() and (left_s := deadline_s - self._mono_s()) > 0.0:
            self._handover.give_bad(self._lost_schedule.take(self._clock.mono_ms()), reason, why)
            next_ms = self._lost_schedule.next_ms()
            next_s = left_s if next_ms is None else self._clock.real_s(next_ms - self._clock.mono_ms())
            self._stop.wait(min(left_s, 1.0, max(next_s, 0.02)))
            if self._worth_trying():
                return

    def _worth_trying(self) -> bool:
        adapter = self._adapter
        try:
            return adapter is not None and bool(adapter.changed())
        except Exception:  # supervision border: then the back-off decides
            return False

    # -- what comes back

    def _hear(self, raws: object) -> tuple[set[str], str]:
        """Hand over what an adapter returned. Returns the points heard of, and what was no reading at all, or ""."""
        if not isinstance(raws, Iterable):
            return set(), f"handed over {type(raws).__name__} in place of readings"
        samples, odd = self._handover.samples_of(raws)
        if any(sample.value is not None for sample in samples):
            self._tell_back()
        self._handover.give(samples)
        return {sample.point for sample in samples}, odd

    def _faulty(self, names: Sequence[str], told: str) -> None:
        self._faults += 1
        self._handover.say_once(told)
        self._handover.give_bad(names, "adapter_fault", told)

    # -- what is told

    def _tell_lost(self, why: str) -> None:
        with self._lock:
            first, self._lost = self._lost is not True, True
            self._state, self._why = "lost", why
        if first:
            _log.warning("bus lost: %s", why)
            self._call_on_bus("lost", why)

    def _tell_back(self) -> None:
        with self._lock:
            before, self._lost = self._lost, False
            self._state, self._why = "ok", ""
            if self._good_since_s is None:
                self._good_since_s = self._mono_s()
        if before:
            self._lost_schedule = None
            self._handover.odd.clear()
            _log.info("bus %s: back", self.id)
        if before is not False:
            self._call_on_bus("back", "it is read again")

    def _call_on_bus(self, what: str, why: str) -> None:
        if self._stop.is_set():
            return
        try:
            self._on_bus(self.id, what, why, self._clock.now())
        except Exception:  # supervision border: as in Handover.give
            _log.exception("bus %s: %s was not taken", self.id, what)


def _limit_s(bus: BusLike) -> float:
    """The limit of one read: the plan's `time_limit_ms`, or TIME_LIMIT_S."""
    return bus.time_limit_ms / 1000 if bus.time_limit_ms else TIME_LIMIT_S


def _reason_of(exc: BusLost) -> str:
    """A reason that isn't one of ours is that of any lost bus."""
    return exc.reason if exc.reason in REASONS else BusLost.reason


def _described(exc: BaseException) -> str:
    """An exception as people read it, in one line."""
    if isinstance(exc, WarmwellError):
        return str(exc)
    try:
        told = " ".join(str(exc).split())
    except Exception:  # supervision border: an exception that can't even be printed
        told = ""
    return f"{type(exc).__name__}: {told[:200]}" if told else type(exc).__name__
