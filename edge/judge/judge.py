"""The judge: the one thread that owns the station.

Everything that can change a station reaches it through one queue: samples, records, what happens to buses, a reload,
the stop; and the judge looks at the clock itself. Readers get immutable snapshots. The order of one pass:

    take all that waits -> move the station through its deadlines up to each item, in time order -> hear, record, note
    -> one commit for the burst -> tell the station its entries' seqs -> picture -> answer the people who wait

Nothing is answered before its entry is on disk. Where the disk refuses, entries that happened by themselves (alarms,
draws) wait in memory in their order and are tried again; a record that could not be written is withdrawn from the
station too: whoever sent it was told that it is not kept, so it must not turn up later.

The disk is waited for by another thread (judge/writer.py). Where it takes its time the judge goes on judging: pictures say
how many entries are not on disk yet, records wait in their order, and one that was under way is not in force until it is on
disk; it is then folded, as at a start.
"""

from __future__ import annotations

import json
import logging
import threading
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Future
from functools import partial
from operator import attrgetter
from typing import Any, Final, TypeVarTuple

from edge.domain.contracts import Clock
from edge.domain.entries import Draft, Entry, Now
from edge.domain.entry_bodies import EntriesLostBody, StoppedBody
from edge.domain.errors import RecordRefused, StoreFault
from edge.domain.messages import Message
from edge.domain.readings import Reading, Sample
from edge.domain.station.station import FOLD_VERSION
from edge.judge.clockwork import Clockwork
from edge.judge.disk import Disk
from edge.judge.inbox import (
    Act,
    Heard,
    Inbox,
    Item,
    KeptJournal,
    KeptSeries,
    MakeStation,
    OwnedStation,
    Record,
    Reload,
    StationState,
    Stop,
    Ticker,
    fate_unknown,
    not_running,
    record_fault,
    refuse_left,
    settings_draft,
)
from edge.judge.picture import REFUSES_S, Unsaved
from edge.judge.pictures import Pictures
from edge.judge.settings import AsBefore, dropped_at_start
from edge.judge.writer import LOOK_AGAIN_S, Job
from edge.snapshot import Snapshot

log = logging.getLogger("warmwell.judge")
Ts = TypeVarTuple("Ts")

#: the order of samples
BY_TIME: Final = attrgetter("mono_ms")
#: samples of one hearing lie within this, in the clock's time
ONE_INSTANT_MS: Final = 100
#: the fold is saved after this many entries
FOLD_EVERY: Final = 256


class Judge:
    """Owns a station in a thread of its own.

    Args:
        station: edge.domain.station.station.Station, fresh: start() brings it up to the journal.
        journal, series, clock: the store's and the clock's parts.
        rebuild: makes a station from its state(); for the saved one at a start, and for a record that has to be withdrawn.
        about: body of the `started` entry, such as {"version": "0.1.0"}; `after` is added. None: no such entry is made.
        settings: (whole station file as plain JSON, its digest), for the `settings` entry. None: no such entry.
        tickers: see Ticker.
        on_entries: called in the judge's thread with entries that have just come to disk, in order.
        not_kept: why nothing at all can be kept; the verdict is then never ready. None: the journal is there.
        as_before: makes a station from settings of before: what was owed under them is not dropped unsaid. None: it isn't looked at.
        mono_s: real seconds that never go back.
    """

    def __init__(
        self,
        station: OwnedStation,
        journal: KeptJournal,
        series: KeptSeries,
        clock: Clock,
        *,
        rebuild: MakeStation,
        about: Mapping[str, Any] | None = None,
        settings: tuple[Mapping[str, Any], str] | None = None,
        tickers: Sequence[Ticker] = (),
        on_entries: Callable[[Sequence[Entry]], None] | None = None,
        not_kept: StoreFault | None = None,
        as_before: AsBefore | None = None,
        mono_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._mono_s = mono_s
        self._station = station
        self._journal, self._series, self._clock = journal, series, clock
        self._rebuild = rebuild
        self._about, self._settings, self._on_entries = about, settings, on_entries
        self._not_kept, self._as_before = not_kept, as_before
        self._inbox, self._time = Inbox(), Clockwork(clock, tickers)
        self._thread: threading.Thread | None = None
        self._open = threading.Event()  # records are taken
        # from here on: touched by the judge's thread only (and by start, before there is one)
        self._last: dict[str, Sample] = {}
        self._pictures = Pictures(self._time.now, station.settings, mono_s)
        self._disk = Disk(
            journal,
            mono_s,
            kept=self._kept,
            changed=self._pictures.ask,
            lost=self._say_lost,
        )
        self._parked: list[Record | Reload] = []  # people who came while the disk took its time
        self._answering: Record | None = None  # whoever's record is under way
        self._seq = self._folded_seq = 0
        self._stumbles = 0
        self._hearings = self._heard = self._bad = 0
        # read by any thread
        self._beat_s = mono_s()

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

    def bus_seen(self, bus_id: str, seen: Mapping[str, str]) -> None:
        """What a bus turned out to be, for later starts."""
        self._act("bus", lambda station, at: station.bus_seen(bus_id, seen, at))

    def fact(self, alarm: str, present: bool, cause: Message | None) -> None:
        """Something that the daemon knows and the station can't: `disk_low`, `untold`."""
        self._act(alarm, lambda station, at: station.fact(alarm, present, cause, at))

    def note(self, kind: str, body: Mapping[str, object]) -> None:
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

    def reload(self, make: MakeStation, document: Mapping[str, Any], digest: str) -> Future[None]:
        """Put new settings in force; the future is done once they are, or raises what `make` raised: the old stay."""
        done: Future[None] = Future()
        self._inbox.put(Reload(make, document, digest, done))
        return done

    def snapshot(self) -> Snapshot:
        """The newest picture."""
        return self._pictures.newest

    def wait_snapshot(self, version: int, timeout_s: float) -> Snapshot:
        """A picture newer than `version`, or the newest one when time (real seconds) ran out."""
        return self._pictures.wait(version, timeout_s)

    def alive(self) -> bool:
        """Whether its thread runs."""
        return self._thread is not None and self._thread.is_alive()

    def idle_s(self) -> float:
        """Real seconds since its last pass began; beyond a few seconds it hangs."""
        return self._mono_s() - self._beat_s

    def remark(self, what: str, text: str) -> None:
        """Something that people have to read beside the verdict until it is over (`text` empty): settings not taken."""
        self._pictures.remark(what, text)

    def writing_s(self) -> float:
        """For how long (real seconds) the journal's writer has been at what it is doing; 0 where it waits for work."""
        return self._disk.writer.busy_s()

    def refusing_s(self) -> float:
        """For how long (real seconds) the journal has refused; 0 while it takes."""
        return self._disk.refusing_s()

    def status(self) -> dict[str, Any]:
        """For /health."""
        is_well = self.alive() and max(self.idle_s(), self.writing_s()) < REFUSES_S
        return {
            "ok": is_well and self._disk.fault is None and "settings" not in self._pictures.remarks,
            "seq": self._seq, "idle_s": round(self.idle_s(), 3),
            "hearings": self._hearings, "readings": self._heard, "bad": self._bad, "waiting": len(self._inbox),
            "samples_dropped": self._inbox.dropped, "unsaved": self._disk.unsaved(),
            "store_fault": None if self._disk.fault is None else str(self._disk.fault), "commit": self._disk.writer.figures(),
            "remarks": dict(self._pictures.remarks), "stumbles": self._stumbles,
        }  # fmt: skip

    def _act(self, what: str, do: Callable[[OwnedStation, Now], list[Draft]], now: Now | None = None) -> None:
        self._inbox.put(Act(self._clock.mono_ms() if now is None else now.mono_ms, what, do))

    # ---- start ------------------------------------------------------------------------------------------------------

    def _bring_up(self) -> None:
        now = self._time.begin()
        self._series.note_clock(self._clock.boot, now.mono_ms, now.wall_ms - now.mono_ms, now.trusted)
        newest = self._fold_journal()
        if self._about is not None:
            after = "nothing" if newest is None else "a clean stop" if newest.kind == "stopped" else "an unclean stop"
            self._disk.add([Draft(now, "started", {**self._about, "after": after})])
        if self._settings is not None:
            self._disk.add([settings_draft(now, *self._settings)])
            if self._as_before is not None:
                dropped = dropped_at_start(self._station, self._journal, self._settings[1], self._as_before, now)
                self._disk.add(dropped)
        self._disk.add(self._station.advance(now))
        if self._not_kept:
            self._disk.never(self._not_kept)
        self._disk.commit()
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

    def _take_fold(self, seq: int, state: StationState) -> None:
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
            self._beat_s = self._mono_s()
            stop = next((item for item in items if isinstance(item, Stop)), None)
            try:
                self._pass(items)
            except Exception:  # supervision border: one pass must not end the watch; it is said and counted
                self._stumbled("a pass of the judge")
                under_way = [*self._parked, self._answering]
                refuse_left([item for item in items if item not in under_way])
        self._open.clear()
        try:
            self._wind_up(stop.why)
        except Exception:  # supervision border: the store must still be closed in order
            self._stumbled("the judge's stop")
        if self._answering is not None:
            self._answering.answer.set_exception(fate_unknown())
        refuse_left([*self._parked, *self._inbox.take(0)])
        self._disk.writer.stop()

    def _wait_s(self) -> float:
        """Real seconds until there is something to do by itself."""
        if not self._disk.writer.is_idle():
            return LOOK_AGAIN_S
        wait_s = self._time.wait_s(self._station.next_deadline())
        return min(wait_s, max(0.001, self._pictures.due_in_s(self._time.now)))

    def _pass(self, items: Sequence[Item]) -> None:
        self._look_at_clock()
        samples: list[Sample] = []
        for item in (*self._unparked(), *items):
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
        self._reach(self._time.now.mono_ms, ticks_at_end=True)
        self._disk.commit()
        self._save_fold_now_and_then()
        self._show_if_due()

    def _look_at_clock(self) -> None:
        step, now = self._time.look(), self._time.now
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

    def _reach(self, mono_ms: int, *, ticks_at_end: bool = False) -> None:
        """Move the station through its deadlines and its tickers up to that instant."""
        ways = (lambda: self._station.next_deadline()), self._advance, self._tick
        self._time.reach(mono_ms, *ways, ticks_at_end=ticks_at_end)

    def _advance(self, mono_ms: int) -> None:
        at = self._time.arrive(mono_ms)
        try:
            self._took(self._station.advance(at))
        except Exception:  # supervision border: what waits behind this instant must still be judged and answered
            self._stumbled("moving the station on")

    def _tick(self, mono_ms: int) -> None:
        self._advance(mono_ms)
        self._disk.commit()
        at = self._time.at(mono_ms)
        for ticker in self._time.due(mono_ms):
            self._told(ticker.call, at, self._station)

    def _hear(self, samples: list[Sample]) -> None:
        """Hear samples in the order of their times, those of one instant together."""
        samples.sort(key=BY_TIME)
        first = 0
        for place in range(1, len(samples) + 1):
            if place == len(samples) or samples[place].mono_ms - samples[first].mono_ms > ONE_INSTANT_MS:
                self._hear_instant(samples[first:place])
                first = place

    def _hear_instant(self, samples: Sequence[Sample]) -> None:
        mono_ms = min(samples[-1].mono_ms, self._time.now.mono_ms)
        self._reach(mono_ms)
        at = self._time.arrive(mono_ms)
        self._last.update((sample.point, sample) for sample in samples)
        try:
            drafts = self._station.hear(samples, at)
        except Exception:  # supervision border: readings that can't be judged must not take the others with them
            self._stumbled(f"judging samples of {', '.join(sorted({s.point for s in samples}))}")
            return
        self._took(drafts)
        readings = self._station.readings
        self._pictures.heard(readings)
        self._hearings += 1
        self._heard += len(readings)
        self._bad += sum(1 for reading in readings if reading.value is None)
        self._series.append([reading.uncorrected() for reading in readings])

    def _do(self, act: Act) -> None:
        self._reach(act.mono_ms)
        at = self._time.arrive(act.mono_ms)
        try:
            self._took(act.do(self._station, at))
        except Exception:  # supervision border: see _hear_instant
            self._stumbled(f"noting {act.what}")
        self._pictures.ask()

    def _took(self, drafts: Iterable[Draft]) -> None:
        if self._disk.add(drafts):
            self._pictures.ask()

    # ---- records ----------------------------------------------------------------------------------------------------

    def _unparked(self) -> list[Record | Reload]:
        """People who waited for the disk, if it has come to an end with what it was at."""
        if not self._disk.writer.settled():
            return []
        parked, self._parked = self._parked, []
        return parked

    def _answer(self, item: Record) -> None:
        """Judge a record and answer it: after its entry is on disk, or with why there is none."""
        if not item.answer.running() and not item.answer.set_running_or_notify_cancel():
            return
        self._reach(item.mono_ms)
        at = self._time.arrive(item.mono_ms)
        self._disk.commit()
        is_back = self._disk.fault is None or self._disk_is_back()
        if not self._disk.writer.is_idle():
            self._parked.append(item)
            return
        if self._disk.fault is not None and not is_back:
            item.answer.set_exception(self._disk.fault)
            return
        before = json.dumps(self._station.state())
        try:
            drafts = self._station.record(item.body, at)
        except RecordRefused as refusal:
            item.answer.set_exception(refusal)
            return
        except Exception:  # supervision border: whoever waits gets an answer, the station is as it was before
            self._withdraw(before)
            self._stumbled("judging a record")
            item.answer.set_exception(record_fault())
            return
        # what people read and enter is a reading, too; one from before this boot has no place among its readings
        read = [reading.uncorrected() for reading in self._station.readings if reading.mono_ms >= 0]
        self._answering = item
        if not self._disk.writer.write(
            partial(self._journal.append, drafts), partial(self._answered, item.answer, read, before)
        ):
            self._withdraw(before)  # what is not on disk is not in force
            self._disk.writer.then = partial(self._answered, item.answer, read, None)

    def _answered(
        self, answer: Future[Entry], read: Sequence[Reading], before: str | None, job: Job[list[Entry]]
    ) -> None:
        """A record's commit has come to an end. `before`: the station as it was; None where it has been put back already."""
        self._answering = None
        if job.fault is not None:
            if before is not None:
                self._withdraw(before)
            answer.set_exception(self._disk.refused(job.fault))
            return
        entries = job.took()
        if before is None:
            self._fold_late(entries)
        else:
            self._station.kept(entries)
        self._disk.took()
        self._told_kept(entries)
        self._series.append(read)
        self._show(self._time.present())  # whoever is answered finds their record in the picture
        answer.set_result(entries[0])

    def _fold_late(self, entries: Sequence[Entry]) -> None:
        """Put in force what came to disk after the judge had gone on: as at a start, then hear again what was read last."""
        self._station = self._rebuild(json.loads(json.dumps(self._station.state())))
        for entry in entries:
            self._station.fold(entry)
        self._hear_again()

    def _withdraw(self, before: str) -> None:
        """Put the station back to a state; what was read last is heard again, as nothing of it is in the state."""
        self._station = self._rebuild(json.loads(before))
        self._hear_again()

    def _hear_again(self) -> None:
        samples = sorted(self._last.values(), key=BY_TIME)
        at = self._time.at(self._time.reached_ms)
        self._took(self._station.hear(samples, at) if samples else self._station.advance(at))

    def _reload(self, item: Reload) -> None:
        self._reach(self._time.now.mono_ms)
        at = self._time.arrive(self._time.now.mono_ms)
        self._disk.commit()
        if not self._disk.writer.is_idle():
            self._parked.append(item)
            return
        try:
            station = item.make(json.loads(json.dumps(self._station.state())))
        except Exception as exc:  # supervision border: the settings in force stay
            item.done.set_exception(exc)
            return
        owed = self._station.owed(at)
        self._station = station
        self._rebuild = item.make
        self._took([settings_draft(at, item.document, item.digest), *station.settings_changed(owed, at)])
        self._last = {point: sample for point, sample in self._last.items() if point in station.points(at)}
        self._hear_again()
        self._disk.commit()
        self._show(at)
        item.done.set_result(None)

    # ---- disk -------------------------------------------------------------------------------------------------------

    def _kept(self, entries: list[Entry]) -> None:
        self._station.kept(entries)
        self._disk.took()
        self._told_kept(entries)

    def _say_lost(self, kinds: Mapping[str, int]) -> None:
        lost: EntriesLostBody = {"what": "entries_lost", "kinds": dict(kinds)}
        self._took([Draft(self._time.at(self._time.reached_ms), "repair", lost)])

    def _disk_is_back(self) -> bool:
        """Whether the journal can be written again; asked before a person's record is judged."""
        if not self._disk.may_be_tried():
            return False
        self._save_fold()
        return self._disk.fault is None

    def _told_kept(self, entries: Sequence[Entry]) -> None:
        self._seq = entries[-1].seq
        self._pictures.ask()
        if self._on_entries is not None:
            self._told(self._on_entries, entries)

    def _told(self, call: Callable[[*Ts], None], *what: *Ts) -> None:
        try:
            call(*what)
        except Exception:  # supervision border: a listener's trouble is none of the station's
            self._stumbled("telling a listener")

    def _save_fold_now_and_then(self) -> None:
        if self._disk.is_clean() and self._seq - self._folded_seq >= FOLD_EVERY:
            self._save_fold()

    def _save_fold(self) -> None:
        state = json.loads(json.dumps(self._station.state()))  # the writer reads it while the station goes on
        self._folded_seq = seq = self._seq
        self._disk.writer.write(partial(self._journal.save_fold, seq, FOLD_VERSION, state), self._fold_saved)

    def _fold_saved(self, job: Job[None]) -> None:
        if job.fault is None:
            self._disk.took()
        elif self._disk.fault is not None:
            self._disk.refused(job.fault)
        else:  # only a shortcut for the next start: the entries are what counts
            log.warning("the fold could not be saved: %s", job.fault)

    def _wind_up(self, why: str) -> None:
        self._time.now = self._clock.now()
        self._disk.commit_at_last(Draft(self._time.present(), "stopped", StoppedBody(why=why)))
        if self._disk.may_save_at_last():
            self._save_fold()
        self._show(self._time.now)

    # ---- pictures ---------------------------------------------------------------------------------------------------

    def _show_if_due(self) -> None:
        now = self._time.present()
        if self._pictures.due_in_s(now) <= 0.0:
            self._show(now)

    def _show(self, now: Now) -> None:
        self._pictures.make(now, self._seq, self._station, self._unsaved, self._stumbled)

    def _unsaved(self) -> Unsaved:
        disk = self._disk
        return Unsaved(disk.unsaved(), self.writing_s(), disk.fault, disk.refusing_s(), self._journal.trouble)

    def _stumbled(self, what: str) -> None:
        self._stumbles += 1
        log.exception("%s failed; Warmwell goes on, and says so", what)
