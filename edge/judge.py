"""The judge: the one thread that owns the station.

Everything that can change a station reaches it through one queue: samples, records, what happens to buses, a reload,
the stop; and the judge looks at the clock itself. Readers get immutable snapshots. The order of one pass:

    take all that waits -> move the station through its deadlines up to each item, in time order -> hear, record, note
    -> one commit for the burst -> tell the station its entries' seqs -> picture -> answer the people who wait

Nothing is answered before its entry is on disk. Where the disk refuses, entries that happened by themselves (alarms,
draws) wait in memory in their order and are tried again; a record that could not be written is withdrawn from the
station too: whoever sent it was told that it is not kept, so it must not turn up later.
"""

from __future__ import annotations

import json
import logging
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Future
from typing import Any, Final, NamedTuple

from edge.clock import ClockWatch
from edge.domain.contracts import Clock
from edge.domain.entries import Draft, Entry, Now, rfc3339
from edge.domain.errors import RecordRefused, StoreFault, WarmwellError
from edge.domain.readings import Sample
from edge.domain.station import FOLD_VERSION
from edge.judge_inbox import (
    Act,
    Heard,
    Inbox,
    KeptJournal,
    KeptSeries,
    OwnedStation,
    Record,
    Reload,
    Stop,
    not_running,
    refuse_left,
)
from edge.snapshot import Snapshot

log = logging.getLogger("warmwell.judge")

#: entries that may wait for the disk before telemetry among them is dropped; alarms and what people did never are
MOST_UNSAVED: Final = 5_000
#: kinds of entry that may be dropped while the disk refuses, the least missed first
TELEMETRY: Final = ("phase", "verdict", "heat_up", "cool_down", "transfer", "filter_day", "draw")
#: samples of one hearing lie within this, in the clock's time
ONE_INSTANT_MS: Final = 100
#: a new picture at most this often (real seconds), unless an entry was made
PICTURE_EVERY_S: Final = 0.2
#: how long (real seconds) the judge waits at least with a clock that runs fast, and at most with any
SHORTEST_WAIT_S, LONGEST_WAIT_S = 0.02, 1.0
#: how long (real seconds) until a disk that refused is tried again
RETRY_S: Final = 1.0
#: the fold is saved after this many entries
FOLD_EVERY: Final = 256
#: a station whose deadline doesn't move when it is reached is left alone for this pass
MOST_AT_ONE_DEADLINE: Final = 16


class Ticker(NamedTuple):
    """`call(now, station)` runs in the judge's thread at each wall time that is a multiple of `interval_ms` since 1970.

    The station has been moved to exactly that instant, and all entries up to it are on disk, when it runs.
    """

    interval_ms: int
    call: Callable[[Now, Any], None]


class Judge:
    """Owns a station in a thread of its own.

    Args:
        station: edge.domain.station.Station, fresh: start() brings it up to the journal.
        journal, series, clock: the store's and the clock's parts.
        rebuild: makes a station from a state(); for a record that has to be withdrawn.
        about: body of the `started` entry, such as {"version": "0.1.0"}; `after` is added. None: no such entry is made.
        settings: (whole station file as plain JSON, its digest), for the `settings` entry. None: no such entry.
        tickers: see Ticker.
        on_entries: called in the judge's thread with entries that have just come to disk, in order.
    """

    def __init__(
        self,
        station: Any,
        journal: KeptJournal,
        series: KeptSeries,
        clock: Clock,
        *,
        rebuild: Callable[[dict[str, Any]], Any] | None = None,
        about: Mapping[str, Any] | None = None,
        settings: tuple[Mapping[str, Any], str] | None = None,
        tickers: Sequence[Ticker] = (),
        on_entries: Callable[[Sequence[Entry]], None] | None = None,
    ) -> None:
        self._station: OwnedStation = station
        self._journal, self._series, self._clock = journal, series, clock
        self._rebuild = rebuild or (lambda state: type(station)(station.settings, clock.boot, state))
        self._about, self._settings, self._tickers, self._on_entries = about, settings, tickers, on_entries
        self._inbox, self._watch = Inbox(), ClockWatch()
        self._thread: threading.Thread | None = None
        self._open = threading.Event()  # records are taken
        # from here on: touched by the judge's thread only (and by start, before there is one)
        self._now = clock.now()
        self._reached_ms = self._now.mono_ms  # the station has been moved up to here
        self._ticks: list[int] = []  # next wall time of each ticker
        self._last: dict[str, Sample] = {}
        self._drafts: list[Draft] = []  # not on disk yet
        self._fault: StoreFault | None = None
        self._retry_at_s = 0.0
        self._lost: Counter[str] = Counter()
        self._seq = self._folded_seq = 0
        self._stumbles, self._stumble = 0, ""
        self._hearings = self._heard = self._bad = 0
        self._news = False  # something to picture
        self._urgent = False  # and at once
        self._pictured_s = 0.0
        # read by any thread
        self._names: tuple[str, str] = (station.settings.site, station.settings.id)
        starting = unknown_verdict(self._now, "Starting: nothing has been read yet", self._names)
        self._picture = Snapshot(0, 0, self._now, starting)
        self._pictures = threading.Condition()
        self._beat_s = time.monotonic()

    # ---- any thread -------------------------------------------------------------------------------------------------

    def start(self) -> None:
        """Bring the station up to the journal, write the start, and begin to judge.

        Raises:
            StoreFault: the journal can't be read. (One that can't be written is no reason not to watch.)
        """
        self._bring_up()
        self._open.set()
        self._thread = threading.Thread(target=self._run, name="judge", daemon=True)
        self._thread.start()

    def stop(self, timeout_s: float = 5.0, why: str = "stopped on request") -> bool:
        """Judge what waits, write the stop and the fold; False where that took longer than `timeout_s`."""
        if self._thread is None:
            return True
        self._inbox.put(Stop(why))
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def heard(self, samples: Sequence[Sample]) -> None:
        """Samples have been read. Any thread; never blocks, never raises."""
        if samples:
            self._inbox.put(Heard(samples))

    def bus_changed(self, bus_id: str, what: str, why: str, now: Now | None = None) -> None:
        """A bus was "lost" or is "back"."""
        self._act("bus", lambda station, at: station.bus(bus_id, what, why, at), now)

    def fact(self, alarm: str, present: bool, text: str) -> None:
        """Something that the daemon knows and the station can't: `disk_low`, `untold`."""
        self._act(alarm, lambda station, at: station.fact(alarm, present, text, at))

    def note(self, kind: str, body: Mapping[str, Any]) -> None:
        """Keep an entry that isn't about the station itself: `untold`, `told`, `repair`."""
        self._act(kind, lambda _station, at: [Draft(at, kind, dict(body))])

    def record(self, body: Mapping[str, Any]) -> Future[Entry]:
        """What a person did. The future gives the record's entry once it is on disk.

        It raises RecordRefused where the body can't be used, StoreFault where it could not be kept (then it isn't, and
        won't be later).
        """
        answer: Future[Entry] = Future()
        if not self._open.is_set():
            answer.set_exception(not_running())
            return answer
        self._inbox.put(Record(self._clock.mono_ms(), body, answer))
        if not self._open.is_set():  # stopped in between: the judge may have taken its last look
            refuse_left(self._inbox.take(0))
        return answer

    def reload(self, make: Callable[[dict[str, Any]], Any], document: Mapping[str, Any], digest: str) -> Future[None]:
        """Put new settings in force; the future is done once they are, or raises what `make` raised: the old stay."""
        done: Future[None] = Future()
        self._inbox.put(Reload(make, document, digest, done))
        return done

    def snapshot(self) -> Snapshot:
        """The newest picture."""
        return self._picture

    def wait_snapshot(self, version: int, timeout_s: float) -> Snapshot:
        """A picture newer than `version`, or the newest one when time (real seconds) ran out."""
        with self._pictures:
            self._pictures.wait_for(lambda: self._picture.version > version, timeout_s)
            return self._picture

    def alive(self) -> bool:
        """Whether its thread runs."""
        return self._thread is not None and self._thread.is_alive()

    def idle_s(self) -> float:
        """Real seconds since its last pass began; beyond a few seconds it hangs."""
        return time.monotonic() - self._beat_s

    def status(self) -> dict[str, Any]:
        """For /health."""
        return {
            "ok": self.alive() and self._fault is None and self.idle_s() < 10,
            "seq": self._seq,
            "idle_s": round(self.idle_s(), 3),
            "hearings": self._hearings,
            "readings": self._heard,
            "bad": self._bad,
            "waiting": len(self._inbox),
            "samples_dropped": self._inbox.dropped,
            "unsaved": len(self._drafts),
            "store_fault": None if self._fault is None else str(self._fault),
            "stumbles": self._stumbles,
        }

    def _act(self, what: str, do: Callable[[Any, Now], list[Draft]], now: Now | None = None) -> None:
        self._inbox.put(Act(self._clock.mono_ms() if now is None else now.mono_ms, what, do))

    # ---- start ------------------------------------------------------------------------------------------------------

    def _bring_up(self) -> None:
        self._now = now = self._clock.now()
        self._reached_ms = now.mono_ms
        self._watch.look(now)
        self._series.note_clock(self._clock.boot, now.mono_ms, now.wall_ms - now.mono_ms, now.trusted)
        newest = self._fold_journal()
        self._ticks = [-(-now.wall_ms // ticker.interval_ms) * ticker.interval_ms for ticker in self._tickers]
        if self._about is not None:
            after = "nothing" if newest is None else "a clean stop" if newest.kind == "stopped" else "an unclean stop"
            self._drafts.append(Draft(now, "started", {**self._about, "after": after}))
        if self._settings is not None:
            self._drafts.append(_settings_draft(now, *self._settings))
        self._drafts += self._station.advance(now)
        self._commit()
        self._show(now)

    def _fold_journal(self) -> Entry | None:
        """Fold the entries after the saved fold; the newest entry, or None for an empty journal."""
        saved = self._journal.load_fold(FOLD_VERSION)
        newest: Entry | None = None
        if saved is not None:
            self._take_fold(*saved)
            newest = next(iter(self._journal.read(self._seq - 1, 1)), None) if self._seq else None
        self._folded_seq = self._seq
        while entries := self._journal.read(self._seq, 500):
            for entry in entries:
                self._station.fold(entry)
            newest = entries[-1]
            self._seq = newest.seq
        return newest

    def _take_fold(self, seq: int, state: dict[str, Any]) -> None:
        try:
            self._station = self._rebuild(state)
        except Exception as exc:  # supervision border: a cache can't stop the start; the entries are folded instead
            self._journal.refuse_fold(f"it holds no state of a station ({type(exc).__name__}: {exc})")
        else:
            self._seq = seq

    # ---- the judge's thread -----------------------------------------------------------------------------------------

    def _run(self) -> None:
        stop: Stop | None = None
        while stop is None:
            items = self._inbox.take(self._wait_s())
            self._beat_s = time.monotonic()
            stop = next((item for item in items if isinstance(item, Stop)), None)
            try:
                self._pass(items)
            except Exception:  # supervision border: one pass must not end the watch; it is said and counted
                self._stumbled("a pass of the judge")
                refuse_left(items)
        self._open.clear()
        try:
            self._wind_up(stop.why)
        except Exception:  # supervision border: the store must still be closed in order
            self._stumbled("the judge's stop")
        refuse_left(self._inbox.take(0))

    def _wait_s(self) -> float:
        """Real seconds until there is something to do by itself."""
        clock_s = [self._clock.real_s(1000)]
        mono_ms = self._clock.mono_ms()
        deadline_ms = self._station.next_deadline()
        if deadline_ms is not None and deadline_ms > self._reached_ms:
            clock_s.append(self._clock.real_s(deadline_ms - mono_ms))
        clock_s += [self._clock.real_s(self._mono_of(wall_ms) - mono_ms) for wall_ms in self._ticks]
        wait_s = max(min(clock_s), SHORTEST_WAIT_S if self._clock.speed > 1 else 0.001)
        if self._news:
            wait_s = min(wait_s, max(0.001, self._pictured_s + PICTURE_EVERY_S - time.monotonic()))
        return min(wait_s, LONGEST_WAIT_S)

    def _pass(self, items: Sequence[Any]) -> None:
        self._now = now = self._clock.now()
        self._look_at_clock(now)
        samples: list[Sample] = []
        for item in items:
            if isinstance(item, Heard):
                samples.extend(item.samples)
                continue
            self._hear(samples)
            samples = []
            if isinstance(item, Record):
                self._answer(item)
            elif isinstance(item, Act):
                self._do(item)
            elif isinstance(item, Reload):
                self._reload(item)
        self._hear(samples)
        self._reach(now.mono_ms, ticks_at_end=True)
        self._commit()
        self._save_fold_now_and_then()
        self._show_if_due()

    def _look_at_clock(self, now: Now) -> None:
        step = self._watch.look(now)
        if step is None:
            return
        self._series.note_clock(self._clock.boot, now.mono_ms, step.offset_ms, step.trusted)
        if step.by_ms:
            why = "the wall clock was set"
        elif step.trusted:
            why = "the wall clock is now trusted"
        else:
            why = "the wall clock is no longer trusted"
        self._took(self._station.clock_step(now, step.by_ms, why))
        self._ticks = [-(-now.wall_ms // ticker.interval_ms) * ticker.interval_ms for ticker in self._tickers]

    def _mono_of(self, wall_ms: int) -> int:
        return self._now.mono_ms + wall_ms - self._now.wall_ms

    def _at(self, mono_ms: int) -> Now:
        """That instant by the present offset of the wall clock; never before what the station has been moved to."""
        mono_ms = max(mono_ms, self._reached_ms)
        return Now(mono_ms, self._now.wall_ms + mono_ms - self._now.mono_ms, self._now.trusted)

    def _reach(self, mono_ms: int, *, ticks_at_end: bool = False) -> None:
        """Move the station through its deadlines up to `mono_ms`, and through ticks before it (or at it)."""
        before_ms, times = -1, 0
        while True:
            deadline_ms = self._station.next_deadline()
            tick_ms = min(map(self._mono_of, self._ticks), default=None)
            tick_is_due = tick_ms is not None and (tick_ms < mono_ms or (ticks_at_end and tick_ms <= mono_ms))
            deadline_is_due = deadline_ms is not None and deadline_ms <= mono_ms
            if tick_ms is not None and tick_is_due and not (deadline_is_due and (deadline_ms or 0) <= tick_ms):
                self._tick(tick_ms)
            elif deadline_ms is not None and deadline_is_due:
                times = times + 1 if deadline_ms <= before_ms else 0
                before_ms = deadline_ms
                if times >= MOST_AT_ONE_DEADLINE:
                    log.warning("the station's deadline %s does not move; left for the next pass", deadline_ms)
                    break
                self._advance(deadline_ms)
            else:
                break
        if mono_ms > self._reached_ms and ticks_at_end:
            self._advance(mono_ms)

    def _advance(self, mono_ms: int) -> None:
        at = self._at(mono_ms)
        self._reached_ms = at.mono_ms
        try:
            self._took(self._station.advance(at))
        except Exception:  # supervision border: what waits behind this instant must still be judged and answered
            self._stumbled("moving the station on")

    def _tick(self, mono_ms: int) -> None:
        self._advance(mono_ms)
        self._commit()
        at = self._at(mono_ms)
        for place, ticker in enumerate(self._tickers):
            if self._mono_of(self._ticks[place]) <= mono_ms:
                self._ticks[place] += ticker.interval_ms
                self._told(ticker.call, at, self._station)

    def _hear(self, samples: list[Sample]) -> None:
        """Hear samples in the order of their times, those of one instant together."""
        samples.sort(key=_time_of)
        first = 0
        for place in range(1, len(samples) + 1):
            if place == len(samples) or samples[place].mono_ms - samples[first].mono_ms > ONE_INSTANT_MS:
                self._hear_instant(samples[first:place])
                first = place

    def _hear_instant(self, samples: Sequence[Sample]) -> None:
        mono_ms = min(samples[-1].mono_ms, self._now.mono_ms)
        self._reach(mono_ms)
        at = self._at(mono_ms)
        self._reached_ms = at.mono_ms
        self._last.update((sample.point, sample) for sample in samples)
        try:
            drafts = self._station.hear(samples, at)
        except Exception:  # supervision border: readings that can't be judged must not take the others with them
            self._stumbled(f"judging samples of {', '.join(sorted({s.point for s in samples}))}")
            return
        self._took(drafts)
        self._news = True
        readings = self._station.readings
        self._hearings += 1
        self._heard += len(readings)
        self._bad += sum(1 for reading in readings if reading.value is None)
        self._series.append([reading.uncorrected() for reading in readings])

    def _do(self, act: Act) -> None:
        self._reach(act.mono_ms)
        at = self._at(act.mono_ms)
        self._reached_ms = at.mono_ms
        try:
            self._took(act.do(self._station, at))
        except Exception:  # supervision border: see _hear_instant
            self._stumbled(f"noting {act.what}")
        self._news = True

    def _took(self, drafts: Iterable[Draft]) -> None:
        before = len(self._drafts)
        self._drafts += drafts
        if len(self._drafts) > before:
            self._news = self._urgent = True

    # ---- records ----------------------------------------------------------------------------------------------------

    def _answer(self, item: Record) -> None:
        """Judge a record and answer it: after its entry is on disk, or with why there is none."""
        if not item.answer.set_running_or_notify_cancel():
            return
        self._reach(item.mono_ms)
        at = self._at(item.mono_ms)
        self._reached_ms = at.mono_ms
        self._commit()
        if self._fault is not None and not self._disk_is_back():
            item.answer.set_exception(self._fault)
            return
        before = json.dumps(self._station.state())
        try:
            entries = self._journal.append(self._station.record(item.body, at))
        except RecordRefused as refusal:
            item.answer.set_exception(refusal)
            return
        except Exception as exc:  # supervision border: whoever waits gets an answer, the station is as it was before
            self._withdraw(before)
            item.answer.set_exception(self._record_fault(exc))
            return
        self._kept(entries)
        # what people read and enter is a reading, too; one from before this boot has no place among its readings
        self._series.append([reading.uncorrected() for reading in self._station.readings if reading.mono_ms >= 0])
        self._show(self._now)  # whoever is answered finds their record in the picture
        item.answer.set_result(entries[0])

    def _record_fault(self, exc: Exception) -> WarmwellError:
        if isinstance(exc, StoreFault):
            self._disk_refused(exc)
            return exc
        self._stumbled("judging a record")
        return WarmwellError(
            "the record could not be judged because of a fault in Warmwell", where="record",
            expected="an entry in the journal", do="It is not kept; see the system journal and report it",
        )  # fmt: skip

    def _withdraw(self, before: str) -> None:
        """Put the station back to a state; what was read last is heard again, as nothing of it is in the state."""
        self._station = self._rebuild(json.loads(before))
        self._hear_again()

    def _hear_again(self) -> None:
        samples = sorted(self._last.values(), key=_time_of)
        at = self._at(self._reached_ms)
        self._took(self._station.hear(samples, at) if samples else self._station.advance(at))

    def _reload(self, item: Reload) -> None:
        self._reach(self._now.mono_ms)
        at = self._at(self._now.mono_ms)
        self._reached_ms = at.mono_ms
        self._commit()
        try:
            station = item.make(json.loads(json.dumps(self._station.state())))
        except Exception as exc:  # supervision border: the settings in force stay
            item.done.set_exception(exc)
            return
        self._station = station
        self._rebuild = item.make
        self._took([_settings_draft(at, item.document, item.digest)])
        self._last = {point: sample for point, sample in self._last.items() if point in station.points(at)}
        self._hear_again()
        self._commit()
        self._show(at)
        item.done.set_result(None)

    # ---- disk -------------------------------------------------------------------------------------------------------

    def _commit(self) -> None:
        """Bring the drafts to disk in one commit; where it refuses they stay, in order, and are tried again."""
        if not self._drafts or (self._fault is not None and time.monotonic() < self._retry_at_s):
            return
        try:
            entries = self._journal.append(self._drafts)
        except Exception as exc:  # supervision border: whatever the store says, an alarm must not be lost
            fault = exc if isinstance(exc, StoreFault) else _store_fault(exc)
            self._disk_refused(fault)
            self._give_up_telemetry()
            return
        self._drafts = []
        self._disk_took()
        self._kept(entries)

    def _disk_is_back(self) -> bool:
        """Whether the journal can be written again; asked before a person's record is judged."""
        if self._drafts or time.monotonic() < self._retry_at_s:
            return False
        try:
            self._journal.save_fold(self._seq, FOLD_VERSION, self._station.state())
        except Exception as exc:  # supervision border: as in _commit
            self._disk_refused(exc if isinstance(exc, StoreFault) else _store_fault(exc))
            return False
        self._folded_seq = self._seq
        self._disk_took()
        return True

    def _disk_refused(self, fault: StoreFault) -> None:
        if self._fault is None:
            log.error("%s", fault)
        self._fault, self._retry_at_s = fault, time.monotonic() + RETRY_S
        self._news = self._urgent = True

    def _disk_took(self) -> None:
        if self._fault is None:
            return
        log.warning("the journal can be written again; lost of what waited: %s", dict(self._lost) or "nothing")
        self._fault = None
        self._news = self._urgent = True
        if self._lost:
            lost = {"what": "entries_lost", "kinds": dict(self._lost)}
            self._took([Draft(self._at(self._reached_ms), "repair", lost)])
            self._lost.clear()

    def _give_up_telemetry(self) -> None:
        """Bound what waits: the least missed kinds first, the oldest first; alarms and what people did stay."""
        for kind in TELEMETRY:
            too_many = len(self._drafts) - MOST_UNSAVED
            if too_many <= 0:
                return
            kept = []
            for draft in self._drafts:
                if draft.kind == kind and too_many > 0:
                    too_many -= 1
                    self._lost[kind] += 1
                else:
                    kept.append(draft)
            self._drafts = kept

    def _kept(self, entries: Sequence[Entry]) -> None:
        self._seq = entries[-1].seq
        self._station.kept(entries)
        self._news = self._urgent = True
        if self._on_entries is not None:
            self._told(self._on_entries, entries)

    def _told(self, call: Callable[..., None], *what: Any) -> None:
        try:
            call(*what)
        except Exception:  # supervision border: a listener's trouble is none of the station's
            self._stumbled("telling a listener")

    def _save_fold_now_and_then(self) -> None:
        if self._drafts or self._fault is not None or self._seq - self._folded_seq < FOLD_EVERY:
            return
        self._save_fold()

    def _save_fold(self) -> None:
        try:
            self._journal.save_fold(self._seq, FOLD_VERSION, self._station.state())
        except StoreFault as fault:  # only a shortcut for the next start: the entries are what counts
            log.warning("%s", fault)
        self._folded_seq = self._seq

    def _wind_up(self, why: str) -> None:
        self._now = self._clock.now()
        self._drafts.append(Draft(self._at(self._now.mono_ms), "stopped", {"why": why}))
        self._retry_at_s = 0.0
        self._commit()
        if self._drafts:
            log.error("the disk refuses, and the stop can't wait: %d entries are lost", len(self._drafts))
        else:
            self._save_fold()
        self._show(self._now)

    # ---- pictures ---------------------------------------------------------------------------------------------------

    def _show_if_due(self) -> None:
        since_s = time.monotonic() - self._pictured_s
        if self._urgent or since_s >= LONGEST_WAIT_S or (self._news and since_s >= PICTURE_EVERY_S):
            self._show(self._at(self._now.mono_ms))

    def _show(self, now: Now) -> None:
        self._pictured_s = time.monotonic()
        self._news = self._urgent = False
        try:
            parts = [self._station.points(now), self._station.alarms(now), self._station.estimates(now)]
            verdict = self._station.verdict(now)
        except Exception:  # supervision border: an old picture must not stand as if it were live
            self._stumbled("picturing the station")
            parts = [{}, {}, {}]
            verdict = unknown_verdict(now, f"Can't tell: {self._stumble}; see the system journal", self._names)
        if self._fault is not None:
            waiting = f"{len(self._drafts)} entries wait, records are refused"
            note = f"The journal can't be written ({self._fault.what}): {waiting}. {verdict.get('note') or ''}"
            verdict = {**verdict, "note": note.strip()}
        with self._pictures:
            self._picture = Snapshot(self._picture.version + 1, self._seq, now, verdict, *parts)
            self._pictures.notify_all()

    def _stumbled(self, what: str) -> None:
        self._stumbles += 1
        self._stumble = f"{what} failed"
        log.exception("%s failed; Warmwell goes on, and says so", what)


def unknown_verdict(now: Now, text: str, names: tuple[str, str]) -> dict[str, Any]:
    """The verdict where the station can't be asked: never fine. `names`: site and station."""
    return {
        "at": rfc3339(now.wall_ms),
        "trusted": now.trusted,
        "site": names[0],
        "station": names[1],
        "verdict": "unknown",
        "phase": "idle",
        "expected_at": None,
        "earliest": None,
        "latest": None,
        "waits_for": [],
        "conditions": [
            {"id": "sensors", "state": "unknown", "text": text, "since": None, "expected_at": None, "evidence": None}
        ],
        "note": text,
    }


def _settings_draft(now: Now, document: Mapping[str, Any], digest: str) -> Draft:
    return Draft(now, "settings", {"digest": digest, "document": dict(document)})


def _time_of(sample: Sample) -> int:
    return sample.mono_ms


def _store_fault(exc: Exception) -> StoreFault:
    return StoreFault(
        f"it can't be written ({type(exc).__name__}: {exc})", where="journal", expected="a disk that takes writes",
        do="Free space or replace the card; Warmwell tries again by itself",
    )  # fmt: skip
