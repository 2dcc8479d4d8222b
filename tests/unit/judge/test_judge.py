"""The judge: nothing is answered before it is on disk, nothing that was refused turns up later, nobody is left waiting.

The station here is a small fake, the clock moves only when told; what is checked are the promises of the judge itself, as
they stand in its module and in README.md (answered once on disk; no alarm lost while the disk refuses).
"""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest

from edge.clock import ToldClock
from edge.domain.dates import Dates
from edge.domain.entries import Draft, Entry, Now
from edge.domain.errors import RecordRefused, StoreFault, WarmwellError
from edge.domain.messages import as_json, as_told
from edge.domain.readings import Quality, Reading, Sample
from edge.domain.settings import Basin, Rules
from edge.domain.station.station import FOLD_VERSION
from edge.judge.disk import MOST_UNSAVED
from edge.judge.inbox import Heard, Inbox, Ticker, store_fault
from edge.judge.judge import Judge
from edge.judge.picture import Unsaved, unknown_verdict, with_what_is_not_kept
from edge.judge.writer import PATIENCE_S
from tests.api_fakes import of_basin
from tests.unit.stations import SETTINGS as STATION

SETTINGS = SimpleNamespace(
    site="harbour-lane", id="scope-room-2", basins=(), judged_basins=(), points=(), rules=Rules()
)
NOTE = {"note": "surroundings only", "note_msg": as_json(as_told("surroundings only"))}


class FakeStation:
    """Values above 50 raise an alarm entry, records are kept in a list, a told deadline gives a `verdict` entry."""

    def __init__(self, settings: Any, boot: str, state: dict[str, Any] | None = None) -> None:
        self.settings, self.boot = settings, boot
        self.records: list[str] = list((state or {}).get("records", []))
        self.readings: list[Reading] = []
        self.deadlines: list[int] = []
        self.seen: list[Any] = []
        self.folded: list[int] = []
        self.kept_seqs: list[int] = []

    def owed(self, now: Now) -> dict[str, str]:
        return {}

    def settings_changed(self, before: Mapping[str, str], now: Now) -> list[Draft]:
        return []

    def hear(self, samples: Sequence[Sample], now: Now) -> list[Draft]:
        if any(sample.point == "cursed" for sample in samples):
            raise RuntimeError("a fault of the station's own")
        self.seen.append(("hear", now.mono_ms, [sample.value for sample in samples]))
        self.readings = [Reading(s.point, s.mono_ms, s.value, Quality.GOOD, None, None) for s in samples]
        return [Draft(now, "alarm", {"id": "x", "value": s.value}) for s in samples if (s.value or 0) > 50]

    def advance(self, now: Now) -> list[Draft]:
        self.seen.append(("advance", now.mono_ms))
        due = [deadline for deadline in self.deadlines if deadline <= now.mono_ms]
        self.deadlines = [deadline for deadline in self.deadlines if deadline > now.mono_ms]
        return [Draft(now, "verdict", {"due": deadline}) for deadline in due]

    def next_deadline(self) -> int | None:
        return min(self.deadlines, default=None)

    def record(self, body: Mapping[str, Any], now: Now) -> list[Draft]:
        if "record" not in body:
            raise RecordRefused("no `record`", where="record", expected="a kind of record", do="Name it")
        if body["record"] == "cursed":
            self.records.append("half done")
            raise RuntimeError("a fault of the station's own")
        self.records.append(str(body["record"]))
        return [Draft(now, "record", dict(body))]

    def bus(self, bus_id: str, what: str, why: str, now: Now) -> list[Draft]:
        return [Draft(now, "bus", {"bus": bus_id, "what": what, "why": why})]

    def clock_step(self, now: Now, by_ms: int, why: str) -> list[Draft]:
        return [Draft(now, "clock_step", {"by_ms": by_ms, "why": why})]

    def fold(self, entry: Entry) -> None:
        self.folded.append(entry.seq)
        if entry.kind == "record":
            self.records.append(entry.body["record"])

    def kept(self, entries: Sequence[Entry]) -> None:
        self.kept_seqs += [entry.seq for entry in entries]

    def state(self) -> dict[str, Any]:
        return {"records": self.records}

    def verdict(self, now: Now) -> dict[str, Any]:
        return {"verdict": "ready", **NOTE}

    def points(self, now: Now) -> dict[str, Any]:
        return {"a": {}}

    def alarms(self, now: Now) -> dict[str, Any]:
        return {"records": {"n": len(self.records)}}

    def commissioning(self, now: Now) -> tuple[()]:
        return ()

    def estimates(self, now: Now) -> dict[str, Any]:
        return {}

    dates = Dates()
    conditions: tuple[str, ...] = ()
    settings_told: tuple[int, str] | None = None
    buses_seen: dict[str, dict[str, str]] = {}
    units = None


class FakeJournal:
    """A journal in memory that can be told to refuse, or to take its time."""

    trouble: str | None = None

    def __init__(self, entries: Sequence[Entry] = (), saved: tuple[int, dict[str, Any]] | None = None) -> None:
        self.entries, self.saved = list(entries), saved
        self.commits: list[int] = []
        self.refuses = False
        self.may_write = threading.Event()
        self.may_write.set()

    def _check(self) -> None:
        if self.refuses:
            raise StoreFault("no space left", where="journal.db", expected="free space", do="Free some")

    def append(self, drafts: Sequence[Draft]) -> list[Entry]:
        self.may_write.wait(5)
        self._check()
        self.commits.append(len(drafts))
        first = self.last_seq() + 1
        new = [Entry(first + n, "told", *draft.now, draft.kind, draft.body) for n, draft in enumerate(drafts)]
        self.entries += new
        return new

    def read(self, after: int, limit: int) -> list[Entry]:
        return [entry for entry in self.entries if entry.seq > after][:limit]

    def last_seq(self) -> int:
        return self.entries[-1].seq if self.entries else 0

    def save_fold(self, seq: int, version: int, state: dict[str, Any]) -> None:
        self._check()
        self.saved = (seq, json.loads(json.dumps(state)))

    def load_fold(self, version: int) -> tuple[int, dict[str, Any]] | None:
        assert version == FOLD_VERSION
        return self.saved

    def kinds(self) -> list[str]:
        return [entry.kind for entry in self.entries]


class FakeSeries:
    def __init__(self) -> None:
        self.readings: list[Reading] = []
        self.clocks: list[tuple[int, int, bool]] = []

    def append(self, readings: Sequence[Reading]) -> None:
        self.readings += readings

    def note_clock(self, boot: str, mono_ms: int, offset_ms: int, trusted: bool) -> None:
        self.clocks.append((mono_ms, offset_ms, trusted))


class Bench:
    """A judge with its fakes."""

    def __init__(self, journal: FakeJournal | None = None, **more: Any) -> None:
        self.clock = ToldClock()
        self.station = FakeStation(SETTINGS, "told")
        self.journal, self.series = journal or FakeJournal(), FakeSeries()
        more.setdefault("rebuild", lambda state: FakeStation(SETTINGS, "told", state))
        self.judge = Judge(self.station, self.journal, self.series, self.clock, **more)

    def now_station(self) -> FakeStation:
        return self.judge._station  # type: ignore[return-value]  # the fake that was handed in


def until(true: Callable[[], object], timeout_s: float = 60.0) -> None:
    deadline = time.monotonic() + timeout_s
    while not true():
        assert time.monotonic() < deadline, "waited in vain"
        time.sleep(0.002)


@pytest.fixture
def make() -> Iterator[Callable[..., Bench]]:
    made: list[Bench] = []

    def make_one(**more: Any) -> Bench:
        made.append(Bench(**more))
        return made[-1]

    yield make_one
    for bench in made:
        bench.journal.may_write.set()
        assert bench.judge.stop(5)


def sample(value: float, mono_ms: int, point: str = "a") -> Sample:
    return Sample(point, mono_ms, value)


def test_a_record_is_answered_only_after_its_entry_is_on_disk(make: Callable[..., Bench]) -> None:
    bench = make()
    bench.judge.start()
    bench.journal.may_write.clear()
    answer = bench.judge.record({"record": "note"})
    with pytest.raises(TimeoutError):
        answer.result(0.1)
    assert not bench.journal.entries
    bench.journal.may_write.set()
    entry = answer.result(5)
    assert entry == bench.journal.entries[0]
    assert (entry.seq, entry.kind, entry.body) == (1, "record", {"record": "note"})


def test_whoever_is_answered_finds_the_record_in_the_picture(make: Callable[..., Bench]) -> None:
    bench = make()
    bench.judge.start()
    for n in range(1, 6):
        seq = bench.judge.record({"record": "note"}).result(5).seq
        picture = bench.judge.snapshot()
        assert picture.seq >= seq and picture.alarms["records"]["n"] == n


def test_a_burst_is_one_commit(make: Callable[..., Bench]) -> None:
    bench = make()
    for n in range(40):
        bench.judge.heard([sample(60 + n, 10 * n)])
    bench.clock.tell(1000)
    bench.judge.start()
    until(lambda: len(bench.journal.entries) == 40)
    assert bench.journal.commits == [40]
    assert [entry.body["value"] for entry in bench.journal.entries] == [60 + n for n in range(40)]
    assert len(bench.series.readings) == 40
    until(lambda: bench.now_station().kept_seqs == list(range(1, 41)))


def test_samples_are_heard_in_the_order_of_their_times_and_deadlines_come_in_between() -> None:
    bench = Bench()
    bench.judge._bring_up()
    bench.station.deadlines = [500, 1500]
    bench.clock.tell(2000)
    bench.judge._pass([Heard([sample(2, 1000)]), Heard([sample(1, 400, "b"), sample(3, 1600, "b")])])
    assert [step for step in bench.station.seen if step[1] > 0] == [
        ("hear", 400, [1]),
        ("advance", 500),
        ("hear", 1000, [2]),
        ("advance", 1500),
        ("hear", 1600, [3]),
        ("advance", 2000),
    ]
    assert [(entry.kind, entry.mono_ms) for entry in bench.journal.entries] == [("verdict", 500), ("verdict", 1500)]


def test_ticks_come_at_exactly_their_wall_times_after_all_entries_before_them() -> None:
    told: list[Any] = []
    bench = Bench(
        tickers=[Ticker(60_000, lambda now, station: told.append((now.wall_ms, now.mono_ms)))],
        on_entries=lambda entries: told.extend(entry.mono_ms for entry in entries),
    )
    bench.judge._bring_up()  # 1,800,000,000,000 ms is a multiple of a minute: the first tick is now
    bench.judge._pass([])
    bench.station.deadlines = [59_000, 60_000, 61_000]
    bench.clock.tell(150_000)
    bench.judge._pass([Heard([sample(51, 119_950), sample(52, 120_000)])])
    assert told == [
        (1_800_000_000_000, 0),
        59_000,
        60_000,
        (1_800_000_060_000, 60_000),
        61_000,
        120_000,  # what lies this close together is one instant
        120_000,
        (1_800_000_120_000, 120_000),
    ]


def test_alarms_wait_in_order_while_the_disk_refuses_and_come_when_it_takes(make: Callable[..., Bench]) -> None:
    bench = make()
    bench.judge.start()
    bench.journal.refuses = True
    bench.judge.heard([sample(60, 0)])
    until(lambda: "can't be written" in bench.judge.snapshot().verdict["note"])
    bench.judge.heard([sample(61, 0)])
    until(lambda: bench.judge.status()["unsaved"] == 2)
    refused = bench.judge.record({"record": "note"})
    with pytest.raises(StoreFault, match="no space left"):
        refused.result(5)
    assert not bench.judge.status()["ok"]
    assert bench.journal.entries == []
    bench.journal.refuses = False
    until(lambda: len(bench.journal.entries) == 2)
    assert [entry.body["value"] for entry in bench.journal.entries] == [60, 61]
    until(lambda: bench.judge.snapshot().verdict["note"] == "surroundings only")
    assert bench.judge.record({"record": "note"}).result(5).seq == 3
    assert bench.now_station().records == ["note"]  # the refused one did not turn up


def test_a_record_that_could_not_be_written_is_gone_from_the_station_too(make: Callable[..., Bench]) -> None:
    bench = make()
    bench.judge.start()
    bench.judge.heard([sample(20, 0)])
    bench.judge.record({"record": "first"}).result(5)
    bench.journal.refuses = True
    for _ in range(3):
        with pytest.raises(StoreFault):
            bench.judge.record({"record": "second"}).result(5)
    assert bench.now_station().records == ["first"]
    assert ("hear", 0, [20]) in bench.now_station().seen  # what was read last is not forgotten with it
    bench.journal.refuses = False
    until(lambda: _took(bench.judge.record({"record": "third"})))
    assert bench.now_station().records == ["first", "third"]
    assert [entry.body["record"] for entry in bench.journal.entries] == ["first", "third"]


def _took(answer: Future[Entry]) -> bool:
    try:
        return answer.result(5).seq > 0
    except StoreFault:
        return False


def test_a_refused_record_is_told_and_changes_nothing(make: Callable[..., Bench]) -> None:
    bench = make()
    bench.judge.start()
    with pytest.raises(RecordRefused, match="expected a kind of record"):
        bench.judge.record({}).result(5)
    assert bench.journal.entries == [] and bench.now_station().records == []


@pytest.mark.parametrize("telemetry", ["phase", "draw"])
def test_what_waits_for_the_disk_is_bounded_but_no_alarm_is_given_up(telemetry: str) -> None:
    bench = Bench()
    now = bench.clock.now()
    judge = bench.judge
    bench.journal.refuses = True
    judge._disk.waiting = [Draft(now, telemetry, {}) for _ in range(MOST_UNSAVED)]
    judge._disk.waiting += [Draft(now, "alarm", {"n": n}) for n in range(100)]
    judge._disk.commit()
    until(judge._disk.writer.settled)  # a busy machine's writer may take longer than a commit waits for it
    assert len(judge._disk.waiting) == MOST_UNSAVED
    assert [draft.body["n"] for draft in judge._disk.waiting if draft.kind == "alarm"] == list(range(100))
    bench.journal.refuses = False
    judge._disk.retry_at_s = 0
    for _ in range(2):
        judge._disk.commit()
        until(judge._disk.writer.settled)
    assert bench.journal.entries[-1].body == {"what": "entries_lost", "kinds": {telemetry: 100}}


def test_the_inbox_drops_the_oldest_samples_and_never_anything_else() -> None:
    inbox = Inbox(most_samples=10)
    inbox.put("a record")
    for n in range(30):
        inbox.put(Heard([sample(n, n)]))
    inbox.put("another")
    items = inbox.take(0)
    assert items[0] == "a record" and items[-1] == "another"
    assert [item.samples[0].value for item in items[1:-1]] == list(range(20, 30))
    assert inbox.dropped == 20


def test_a_sample_that_breaks_the_station_does_not_take_the_next_ones_with_it(
    make: Callable[..., Bench], caplog: pytest.LogCaptureFixture
) -> None:
    bench = make()
    bench.judge.heard([sample(1, 0, "cursed")])
    bench.judge.heard([sample(70, 500)])
    bench.clock.tell(1000)
    bench.judge.start()
    until(lambda: bench.journal.entries)
    assert bench.journal.entries[0].body["value"] == 70
    assert bench.judge.status()["stumbles"] == 1 and bench.judge.alive()
    assert "judging samples of cursed failed" in caplog.text


def test_a_record_that_breaks_the_station_is_answered_and_undone(make: Callable[..., Bench]) -> None:
    bench = make()
    bench.judge.start()
    with pytest.raises(WarmwellError, match="It is not kept"):
        bench.judge.record({"record": "cursed"}).result(5)
    assert bench.now_station().records == []
    assert bench.judge.record({"record": "note"}).result(5).seq == 1


def test_a_station_that_can_not_be_pictured_is_shown_as_unknown(make: Callable[..., Bench]) -> None:
    bench = make()

    def broken(now: Now) -> dict[str, Any]:
        raise ZeroDivisionError

    bench.station.verdict = broken  # type: ignore[method-assign]  # the fault under test
    bench.judge.start()
    picture = bench.judge.snapshot()
    assert picture.verdict["verdict"] == "unknown" and "Can't tell" in picture.verdict["note"]
    assert (picture.verdict["site"], picture.verdict["station"]) == ("harbour-lane", "scope-room-2")


def test_a_deadline_that_does_not_move_can_not_hold_the_judge(make: Callable[..., Bench]) -> None:
    bench = make()
    bench.station.next_deadline = lambda: 0  # type: ignore[method-assign]  # the fault under test
    bench.judge.start()
    assert bench.judge.record({"record": "note"}).result(5).seq == 1


def test_setting_the_wall_clock_is_an_entry_and_a_line_of_the_clock_map(make: Callable[..., Bench]) -> None:
    bench = make()
    bench.judge.start()
    bench.clock.step_wall(-7_200_000)
    until(lambda: bench.journal.entries)
    entry = bench.journal.entries[0]
    assert (entry.kind, entry.body["by_ms"]) == ("clock_step", -7_200_000)
    assert [offset - bench.series.clocks[0][1] for _, offset, _ in bench.series.clocks] == [0, -7_200_000]


def test_winning_trust_is_an_entry_without_a_step(make: Callable[..., Bench]) -> None:
    bench = make()
    bench.clock.trusted = False
    bench.judge.start()
    bench.clock.trusted = True
    until(lambda: len(bench.series.clocks) >= 2)
    until(lambda: bench.journal.entries)
    assert bench.journal.entries[-1].body == {"by_ms": 0, "why": "the wall clock is now trusted"}
    assert bench.series.clocks[-1][2]


def test_a_start_folds_what_came_after_the_saved_fold_and_says_how_the_last_run_ended(
    make: Callable[..., Bench],
) -> None:
    now = Now(0, 1_700_000_000_000, True)
    old = [Entry(n, "earlier", *now, "record", {"record": f"r{n}"}) for n in range(1, 5)]
    bench = make(
        journal=FakeJournal(old, saved=(2, {"records": ["r1", "r2"]})),
        about={"version": "1"},
        settings=({"station": {}}, "ab"),
        rebuild=lambda state: FakeStation(SETTINGS, "told", state),
    )
    bench.judge.start()
    assert bench.now_station().records == ["r1", "r2", "r3", "r4"] and bench.now_station().folded == [3, 4]
    assert bench.journal.kinds()[4:] == ["started", "settings"]
    assert bench.journal.entries[4].body == {"version": "1", "after": "an unclean stop"}
    assert bench.journal.entries[5].body == {"digest": "ab", "document": {"station": {}}}
    assert bench.judge.snapshot().seq == 6


def test_a_stop_judges_what_waits_and_leaves_its_entry_and_the_fold() -> None:
    bench = Bench()
    bench.judge.start()
    bench.judge.heard([sample(99, 0)])
    answer = bench.judge.record({"record": "note"})
    assert bench.judge.stop(5, "SIGTERM")
    assert bench.journal.kinds() == ["alarm", "record", "stopped"]
    assert answer.result(0).kind == "record"
    assert bench.journal.entries[-1].body == {"why": "SIGTERM"}
    assert bench.journal.saved == (3, {"records": ["note"]})
    with pytest.raises(StoreFault, match="starting or stopping"):
        bench.judge.record({"record": "late"}).result(0)
    bench.judge.heard([sample(99, 0)])  # nobody minds


def test_the_next_start_after_a_clean_stop_says_so(make: Callable[..., Bench]) -> None:
    first = Bench(about={"version": "1"})
    first.judge.start()
    first.judge.stop(5)
    second = make(
        journal=first.journal, about={"version": "1"}, rebuild=lambda state: FakeStation(SETTINGS, "told", state)
    )
    second.judge.start()
    assert [e.body["after"] for e in second.journal.entries if e.kind == "started"] == ["nothing", "a clean stop"]


def test_a_reload_takes_over_what_is_known_and_a_bad_one_leaves_the_old_in_force(make: Callable[..., Bench]) -> None:
    bench = make()
    bench.judge.start()
    bench.judge.record({"record": "note"}).result(5)
    before = bench.now_station()

    def fails(state: dict[str, Any]) -> Any:
        raise RecordRefused("nothing in it", where="station.toml", expected="a station", do="Mend it")

    with pytest.raises(WarmwellError, match="nothing in it"):
        bench.judge.reload(fails, {}, "00").result(5)
    assert bench.now_station() is before and bench.journal.kinds() == ["record"]
    bench.judge.reload(lambda state: FakeStation(SETTINGS, "told", state), {"new": 1}, "cd").result(5)
    assert bench.now_station() is not before and bench.now_station().records == ["note"]
    assert bench.journal.entries[-1].body == {"digest": "cd", "document": {"new": 1}}


def test_readers_wait_for_the_next_picture_and_get_the_old_one_when_time_is_up(make: Callable[..., Bench]) -> None:
    bench = make()
    bench.judge.start()
    picture = bench.judge.snapshot()
    later = bench.judge.wait_snapshot(picture.version, 5)
    assert later.version > picture.version  # at least one each second, though nothing happens
    assert bench.judge.wait_snapshot(later.version + 100, 0.01).version >= later.version


def test_a_hundred_people_at_once_are_all_answered_each_with_an_entry_of_their_own(make: Callable[..., Bench]) -> None:
    bench = make()
    bench.judge.start()
    answers: list[Future[Entry]] = []
    threads = [
        threading.Thread(target=lambda: answers.extend(bench.judge.record({"record": "note"}) for _ in range(10)))
        for _ in range(10)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(answer.result(5).seq for answer in answers) == list(range(1, 101))


# ---- a disk that takes its time


def test_the_judge_goes_on_while_a_commit_hangs_and_nothing_is_told_before_it_is_on_disk(
    make: Callable[..., Bench],
) -> None:
    told: list[Entry] = []
    bench = make(on_entries=told.extend)
    bench.judge.start()
    bench.journal.may_write.clear()
    bench.judge.heard([sample(60, 0)])  # its alarm's commit hangs
    until(lambda: bench.judge.status()["unsaved"] == 1)
    for value in (20, 61, 62):
        bench.judge.heard([sample(value, 0)])
    until(lambda: bench.judge.status()["readings"] == 4)
    until(lambda: bench.judge.snapshot().verdict.get("unsaved") == 3)
    assert told == [] and bench.journal.entries == []
    bench.journal.may_write.set()
    until(lambda: len(told) == 3)
    assert [entry.body["value"] for entry in bench.journal.entries] == [60, 61, 62]
    until(lambda: "unsaved" not in bench.judge.snapshot().verdict)
    assert bench.now_station().kept_seqs == [1, 2, 3]


def test_a_record_whose_commit_hangs_is_in_force_and_answered_only_once_it_is_on_disk(
    make: Callable[..., Bench],
) -> None:
    bench = make()
    bench.judge.start()
    bench.judge.heard([sample(20, 0)])
    until(lambda: bench.judge.status()["hearings"] == 1)
    bench.journal.may_write.clear()
    first = bench.judge.record({"record": "hold"})
    until(lambda: bench.judge.writing_s() > 0)
    second = bench.judge.record({"record": "note"})
    bench.judge.heard([sample(21, 0)])
    until(lambda: bench.judge.status()["readings"] == 2)  # it went on
    assert not first.done() and not second.done()
    assert bench.now_station().records == []  # what isn't on disk isn't in force
    bench.journal.may_write.set()
    assert (first.result(5).seq, second.result(5).seq) == (1, 2)
    assert bench.now_station().records == ["hold", "note"]
    assert bench.judge.snapshot().alarms == {"records": {"n": 2}}


def test_a_record_whose_commit_hangs_and_then_fails_is_refused_and_leaves_no_trace(make: Callable[..., Bench]) -> None:
    bench = make()
    bench.judge.start()
    bench.journal.may_write.clear()
    answer = bench.judge.record({"record": "hold"})
    until(lambda: bench.judge.writing_s() > PATIENCE_S)
    bench.journal.refuses = True
    bench.journal.may_write.set()
    with pytest.raises(StoreFault, match="no space left"):
        answer.result(5)
    assert bench.now_station().records == [] and bench.journal.entries == []


def test_a_stop_while_a_commit_hangs_says_that_the_fate_of_the_record_is_not_known() -> None:
    bench = Bench()
    bench.judge.start()
    bench.journal.may_write.clear()
    answer = bench.judge.record({"record": "hold"})
    until(lambda: bench.judge.writing_s() > PATIENCE_S)
    assert bench.judge.stop(5)
    with pytest.raises(StoreFault, match="isn't known"):
        answer.result(0)
    bench.journal.may_write.set()


@pytest.mark.parametrize(
    "unsaved, word, state",
    [
        (Unsaved(0, 0.0, None, 0.0), "ready", None),
        (Unsaved(2, 5.0, None, 0.0), "ready", None),  # a slow card
        (Unsaved(2, 31.0, None, 0.0), "unknown", "unknown"),
        (Unsaved(2, 0.0, store_fault(OSError("no")), 1.0), "ready", None),
        (Unsaved(2, 0.0, store_fault(OSError("no")), 11.0), "unknown", "unknown"),
        (Unsaved(0, 0.0, None, 0.0, "journal.db is gone"), "unknown", "unknown"),
        (Unsaved(2, 0.0, store_fault(OSError("no")), 1.0, "journal.db is gone"), "unknown", "unknown"),
    ],
)
def test_where_nothing_can_be_recorded_ready_can_not_be_told(unsaved: Unsaved, word: str, state: str | None) -> None:
    """A hold or a failed test could not be recorded: an owed decision of this project, no published source."""
    station = {"verdict": "ready", "conditions": [{"id": "free", "state": "met"}], **NOTE}
    told = with_what_is_not_kept(station, unsaved)
    assert told["verdict"] == word
    assert {c["id"]: c["state"] for c in told["conditions"]}.get("store") == state
    assert told["note"].endswith("surroundings only")
    assert (told["note"] == "surroundings only") is (unsaved.entries == 0 and unsaved.away is None)
    assert with_what_is_not_kept({**station, "verdict": "not_ready"}, unsaved)["verdict"] == "not_ready"


def test_no_basin_is_ready_where_nothing_can_be_recorded_or_the_station_can_not_be_asked() -> None:
    left, right = of_basin("left", "ready"), of_basin("right", "not_ready", "Have the hold released")
    told = with_what_is_not_kept(
        {"verdict": "not_ready", "verdicts": [left, right], **NOTE}, Unsaved(2, 31.0, None, 0.0)
    )
    assert [(one["verdict"], one["display"]) for one in told["verdicts"]] == [
        ("unknown", "cant_tell"),
        ("not_ready", "not_ready"),
    ]
    assert all(one["conditions"] == ["free", "store"] for one in told["verdicts"])
    assert told["verdicts"][1]["waits_for"] == ["Have the hold released", *told["waits_for"]]
    assert left["verdict"] == "ready" and left["conditions"] == ["free"]  # what was handed in stays as it was

    settings = replace(STATION, basins=(Basin("left", 6), Basin("right", 6)))
    starting = unknown_verdict(Now(0, 0, False), as_told("starting"), settings)
    assert [(one["basin"], one["verdict"]) for one in starting["verdicts"]] == [
        ("left", "unknown"),
        ("right", "unknown"),
    ]
    assert "verdicts" not in unknown_verdict(Now(0, 0, False), as_told("starting"), STATION)


def test_a_station_without_any_journal_is_watched_and_never_ready(make: Callable[..., Bench]) -> None:
    bench = make(not_kept=StoreFault("it is damaged", where="journal.db", expected="a whole file", do="Set it aside"))
    bench.judge.start()
    bench.judge.heard([sample(60, 0)])
    until(lambda: bench.judge.status()["hearings"] == 1)
    until(lambda: bench.judge.snapshot().points != {})
    verdict = bench.judge.snapshot().verdict
    assert verdict["verdict"] == "unknown" and "Set it aside" in verdict["waits_for"][-1]
    assert {c["id"]: c["state"] for c in verdict["conditions"] if c["id"] == "store"} == {"store": "unknown"}
    with pytest.raises(StoreFault, match="it is damaged"):
        bench.judge.record({"record": "hold"}).result(5)
    assert bench.journal.entries == [] and not bench.judge.status()["ok"]
