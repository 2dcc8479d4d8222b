"""The judge with the real station and the real store: what a refused record must not leave behind, and a restart."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest

from edge.clock import ToldClock
from edge.domain.entries import Draft, Entry, wall_ms_of
from edge.domain.errors import RecordRefused, StoreFault
from edge.domain.readings import KIND_OF, Role, Sample
from edge.domain.settings import Point, Settings
from edge.domain.station.station import FOLD_VERSION, Station
from edge.judge.judge import Judge
from edge.store.journal import Journal
from tests.unit.judge.test_judge import FakeSeries, until

MORNING = wall_ms_of("2026-03-16T07:00:00Z")


def point(ident: str, role: Role, of: str | None = None) -> Point:
    return Point(ident, role, KIND_OF[role], 1000, 3_600_000, -100.0, 1000.0, of=of)


SETTINGS = Settings(
    "harbour-lane", "scope-room-2", "Scope room 2", "Europe/Dublin",
    (point("heater-outlet", Role.OUTLET_PROTECTION, "heater"), point("power", Role.MACHINE_POWER)),
)  # fmt: skip


class Grudging(Journal):
    """The real journal, on a disk that refuses when told."""

    refuses = False

    def append(self, drafts: Sequence[Draft]) -> list[Entry]:
        if self.refuses:
            raise StoreFault("the disk is full", where="journal.db", expected="space", do="Free some")
        return super().append(drafts)

    def save_fold(self, seq: int, version: int, state: dict[str, Any]) -> None:
        if self.refuses:
            raise StoreFault("the disk is full", where="journal.db", expected="space", do="Free some")
        super().save_fold(seq, version, state)


class Bench:
    def __init__(self, folder: Path, boot: str = "told", after_ms: int = 0) -> None:
        self.clock = ToldClock(mono_ms=1000, wall_ms=MORNING + after_ms, boot=boot)
        self.journal = Grudging(folder, SETTINGS.name, boot)
        self.judge = Judge(
            Station(SETTINGS, boot), self.journal, FakeSeries(), self.clock,
            rebuild=lambda state: Station(SETTINGS, boot, state), about={"version": "1"},
        )  # fmt: skip
        self.judge.start()

    def hear(self, tripped: bool) -> None:
        self.clock.tell(1000)
        at = self.clock.mono_ms()
        self.judge.heard([Sample("heater-outlet", at, float(tripped)), Sample("power", at, 1.0)])
        wanted = "unacknowledged" if tripped else "normal"
        until(lambda: self.state("outlet_tripped:heater") == wanted)

    def state(self, alarm: str) -> str:
        return str(self.judge.snapshot().alarms[alarm]["state"])

    def end(self) -> None:
        self.judge.stop(5)
        self.journal.close()


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    made = Bench(tmp_path)
    yield made
    made.end()


HOLD = {"record": "hold", "by": "biomed technician", "why": "culture failed", "released_by": "biomed technician"}


def test_a_hold_that_could_not_be_kept_is_not_in_force(bench: Bench) -> None:
    bench.hear(tripped=True)
    before = bench.judge.snapshot()
    bench.journal.refuses = True
    with pytest.raises(StoreFault):
        bench.judge.record(HOLD).result(5)
    picture = bench.judge.wait_snapshot(bench.judge.snapshot().version, 5)
    assert picture.alarms["hold"]["state"] == "normal"
    assert bench.state("outlet_tripped:heater") == "unacknowledged"  # what had been told is still so
    assert picture.points["heater-outlet"]["value"] == before.points["heater-outlet"]["value"] == 1.0
    bench.journal.refuses = False
    until(lambda: bench.judge.status()["store_fault"] is None or _kept(bench, HOLD))
    if bench.state("hold") == "normal":
        assert _kept(bench, HOLD)
    until(lambda: bench.state("hold") == "unacknowledged")
    holds = [entry for entry in bench.journal.read(0, 100) if entry.kind == "record"]
    assert [entry.body["record"] for entry in holds] == ["hold"]


def _kept(bench: Bench, body: dict[str, Any]) -> bool:
    try:
        return bench.judge.record(body).result(5).seq > 0
    except StoreFault:
        return False


def test_an_alarm_that_comes_while_the_disk_refuses_is_shown_and_kept_later(bench: Bench) -> None:
    bench.hear(tripped=False)
    bench.journal.refuses = True
    bench.hear(tripped=True)  # waits until the picture shows it
    assert "can't be written" in bench.judge.snapshot().verdict["note"]
    bench.journal.refuses = False
    until(lambda: bench.judge.status()["store_fault"] is None)
    told = [e.body for e in bench.journal.read(0, 100) if e.kind == "alarm" and e.body["id"] == "outlet_tripped:heater"]
    assert [body["to"] for body in told] == ["unacknowledged"]


def test_a_record_of_the_wrong_shape_is_refused_and_leaves_no_entry(bench: Bench) -> None:
    with pytest.raises(RecordRefused):
        bench.judge.record({"record": "hold"}).result(5)
    assert not [entry for entry in bench.journal.read(0, 100) if entry.kind == "record"]


@pytest.mark.parametrize("clean", [True, False], ids=["clean stop", "killed"])
def test_alarms_and_answers_are_as_they_were_after_a_restart(tmp_path: Path, clean: bool) -> None:
    first = Bench(tmp_path)
    first.hear(tripped=True)
    first.judge.record({"record": "acknowledge", "by": "early technician", "alarm": "outlet_tripped:heater"}).result(5)
    first.judge.record(HOLD).result(5)
    before = {ident: dict(alarm) for ident, alarm in first.judge.snapshot().alarms.items()}
    told = len([entry for entry in first.journal.read(0, 100) if entry.kind == "alarm"])
    if clean:
        first.end()
    else:  # what a kill leaves: the journal, without a word of farewell
        first.journal.close()

    second = Bench(tmp_path, boot="next boot", after_ms=60_000)
    try:
        after = second.judge.snapshot().alarms
        for ident in ("outlet_tripped:heater", "hold"):
            for what in ("state", "since", "acknowledged_by", "cause"):
                assert after[ident][what] == before[ident][what], (ident, what)
        entries = second.journal.read(0, 100)
        assert len([entry for entry in entries if entry.kind == "alarm"]) == told
        starts = [entry.body["after"] for entry in entries if entry.kind == "started"]
        assert starts == ["nothing", "a clean stop" if clean else "an unclean stop"]
    finally:
        second.end()
        first.judge.stop(5)


def test_a_saved_state_that_no_station_can_take_is_folded_anew_and_said(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.judge.record(HOLD).result(5)
    bench.end()
    journal = Journal(tmp_path, SETTINGS.name, "told")
    journal.save_fold(journal.last_seq(), FOLD_VERSION, {"alarms": 5, "facts": []})
    journal.close()
    bench = Bench(tmp_path, boot="later", after_ms=60_000)
    until(lambda: bench.state("hold") == "unacknowledged")
    assert [repair["file"] for repair in bench.journal.take_repairs()] == ["fold.json"]
    bench.end()


def test_a_journal_that_is_moved_away_is_told_before_anything_has_to_be_written(bench: Bench, tmp_path: Path) -> None:
    """A hold or a failed test that comes now could not be kept: READY can't stand until the next entry finds that out."""

    def store() -> list[str]:
        return [c["text"] for c in bench.judge.snapshot().verdict["conditions"] if c["id"] == "store"]

    bench.hear(tripped=False)
    assert store() == [] and bench.judge.status()["store_fault"] is None
    (tmp_path / "journal.db").rename(tmp_path / "elsewhere.db")
    until(lambda: store() != [])
    assert "journal.db is gone from its name" in store()[0]
    (tmp_path / "elsewhere.db").rename(tmp_path / "journal.db")
    until(lambda: store() == [])
