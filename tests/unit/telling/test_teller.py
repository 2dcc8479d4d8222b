"""One target's thread with a sender, a journal and a disk that do as they are told: pauses that grow, entries that are bounded, a place
that survives."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from edge.clock import ToldClock
from edge.domain.entries import Entry
from edge.domain.errors import StoreFault
from edge.telling.cursor import Notice
from edge.telling.place import FilePlace
from edge.telling.syslog import Stream
from edge.telling.teller import Pace, Teller
from edge.telling.tray import Rules, Tray
from tests.unit.domain.shapes import misfit
from tests.unit.telling.kit import DUBLIN, Journal


def until(true: Callable[[], Any]) -> Any:
    deadline_s = time.monotonic() + 20.0
    while not (found := true()):
        assert time.monotonic() < deadline_s, "waited in vain"
        time.sleep(0.002)
    return found


QUICK = Pace(0.01, 0.04)


class OnDisk:
    """A journal as its readers see it."""

    def __init__(self, journal: Journal) -> None:
        self._journal, self._changed = journal, threading.Condition()
        self.fails = False

    def read(self, after: int, limit: int) -> list[Entry]:
        if self.fails:
            raise StoreFault("no", where="here", expected="yes", do="Wait")
        return [entry for entry in self._journal.entries if entry.seq > after][:limit]

    def last_seq(self) -> int:
        return len(self._journal.entries)

    def wait(self, after: int, timeout_s: float) -> bool:
        with self._changed:
            return self._changed.wait_for(lambda: self.last_seq() > after, min(timeout_s, 0.01))

    def head(self) -> tuple[int, str]:
        raise NotImplementedError

    cursor = move_cursor = head  # type: ignore[assignment]  # a target's place is a file of its own


class Scripted:
    """A sender: answers by its script, then takes all."""

    def __init__(self, *script: str) -> None:
        self.script, self.sent, self.stopped = list(script), list[Notice](), False
        self.at_s: list[float] = []

    def send(self, notice: Notice) -> str:
        self.sent.append(notice)
        self.at_s.append(time.monotonic())
        return self.script.pop(0) if self.script else ""

    def stop(self) -> None:
        self.stopped = True


class Bench:
    def __init__(self, folder: Path) -> None:
        self.journal, self.folder = Journal(), folder
        self.disk, self.clock = OnDisk(self.journal), ToldClock(boot="boot-1")
        self.noted: list[tuple[str, dict[str, Any]]] = []
        self.tellers: list[Teller] = []

    def teller(self, sender: Scripted, *, pace: Pace = QUICK, stream: bool = False, mark: str = "j1") -> Teller:
        cursor = Stream("low") if stream else Tray(Rules(DUBLIN), "boot-1")
        made = Teller(
            "phone", cursor, sender, FilePlace(self.folder / "tell-phone.json", mark), self.disk, self.clock,
            lambda kind, body: self.noted.append((kind, dict(body))), start=lambda: (0, 0), pace=pace, notes_each=not stream,
        )  # fmt: skip
        made.start()
        self.tellers.append(made)
        return made


@pytest.fixture
def bench(tmp_path: Path):
    made = Bench(tmp_path)
    yield made
    assert all(teller.stop(10.0) for teller in made.tellers)


def test_what_is_told_is_noted_once_and_not_told_again_by_the_next_process(bench: Bench):
    sender = Scripted()
    first = bench.teller(sender)
    bench.journal.alarm("leak", "unacknowledged")
    until(lambda: bench.noted)
    assert bench.noted == [("told", {"target": "phone", "what": "alarm", "alarms": ["leak"], "seq": 1, "tries": 1})]
    assert [misfit(kind, body) for kind, body in bench.noted] == [""]
    assert first.untold() is None and first.status()["waiting"] == 0
    first.stop(10.0)
    again = Scripted()
    bench.teller(again)
    bench.journal.alarm("leak", "normal")
    until(lambda: again.sent)
    assert [notice.what for notice in again.sent] == ["right_again"]


def test_a_refusal_is_one_entry_however_often_it_is_tried_and_so_is_the_return(bench: Bench):
    sender = Scripted(*["refused"] * 6)
    bench.teller(sender)
    bench.journal.alarm("leak", "unacknowledged")
    until(lambda: len(sender.sent) == 7 and len(bench.noted) == 2)
    (untold, body), (told, after) = bench.noted
    assert (untold, body) == (
        "untold", {"target": "phone", "what": "alarm", "alarms": ["leak"], "seq": 1, "kind": "alarm", "why": "refused"},
    )  # fmt: skip
    assert told == "told" and (after["tries"], after["what"]) == (7, "alarm") and after["untold_since"]
    assert [misfit(kind, body) for kind, body in bench.noted] == ["", ""]
    assert [notice.tries for notice in sender.sent] == list(range(1, 8))


def test_pauses_double_up_to_the_longest_and_never_end(bench: Bench):
    sender = Scripted(*["refused"] * 8)
    bench.teller(sender, pace=Pace(0.02, 0.08))
    bench.journal.alarm("leak", "unacknowledged")
    until(lambda: len(sender.sent) == 9)
    pauses = [after - before for before, after in zip(sender.at_s, sender.at_s[1:], strict=False)]
    least = [0.02, 0.04, 0.08, 0.08, 0.08, 0.08, 0.08, 0.08]
    assert all(pause >= wanted for pause, wanted in zip(pauses, least, strict=True))


def test_while_it_can_not_be_told_that_and_since_when_is_seen_also_after_a_restart(bench: Bench):
    teller = bench.teller(Scripted(*["no network"] * 1000), pace=Pace(5.0, 5.0))
    bench.journal.alarm("leak", "unacknowledged")
    since_ms, why = until(teller.untold)
    assert (since_ms, why) == (bench.clock.now().wall_ms, "no network")
    status = teller.status()
    assert status["untold_since"] and status["why"] == "no network" and 0 < status["next_try_s"] <= 5.0
    until(lambda: json.loads((bench.folder / "tell-phone.json").read_text())["place"]["since"])
    teller.stop(10.0)
    bench.clock.tell(3_600_000)
    again = bench.teller(Scripted(*["no network"] * 1000), pace=Pace(5.0, 5.0))
    assert until(again.untold)[0] == since_ms
    until(lambda: again.status()["tries"] >= 2)
    assert [kind for kind, _ in bench.noted] == ["untold"]  # one outage, one entry


def test_a_process_that_ends_while_it_sends_leaves_the_message_to_the_next(bench: Bench):
    class Cut(Scripted):
        def send(self, notice: Notice) -> str:
            super().send(notice)
            until(lambda: self.stopped)
            return "it was stopped"

    cut = Cut()
    teller = bench.teller(cut)
    bench.journal.alarm("leak", "unacknowledged")
    until(lambda: cut.sent)
    assert teller.stop(10.0) and bench.noted == []
    again = Scripted()
    bench.teller(again)
    until(lambda: again.sent)
    assert (again.sent[0].what, again.sent[0].tries) == ("alarm", 2)  # it may have come


def test_syslog_notes_only_that_it_fails_and_that_it_is_back(bench: Bench):
    sender = Scripted("", "refused", "refused")
    bench.teller(sender, stream=True)
    for to in ("unacknowledged", "acknowledged", "normal"):
        bench.journal.alarm("leak", to)
    until(lambda: len(sender.sent) == 5)
    until(lambda: len(bench.noted) == 2)
    assert [(kind, body["seq"]) for kind, body in bench.noted] == [("untold", 2), ("told", 2)]
    assert [notice.seq for notice in sender.sent] == [1, 2, 2, 2, 3]


def test_a_journal_that_can_not_be_read_is_said_and_read_later(bench: Bench):
    sender = Scripted()
    bench.disk.fails = True
    teller = bench.teller(sender)
    bench.journal.alarm("leak", "unacknowledged")
    until(lambda: teller.status()["journal"] != "ok")
    bench.disk.fails = False
    until(lambda: sender.sent)
    until(lambda: teller.status()["journal"] == "ok")


@pytest.mark.parametrize(
    "damage", ["", "{", "[]", '{"journal": "j1", "place": {"seq": "x"}}', '{"journal": "j1", "place": 5}']
)
def test_a_damaged_place_is_begun_anew_and_what_stands_is_told(bench: Bench, damage: str):
    (bench.folder / "tell-phone.json").write_text(damage)
    bench.journal.alarm("leak", "unacknowledged")
    sender = Scripted()
    bench.teller(sender)
    until(lambda: sender.sent)
    until(lambda: json.loads((bench.folder / "tell-phone.json").read_text())["place"].get("seq") == 1)


def test_a_place_of_another_journal_is_none(bench: Bench):
    bench.journal.alarm("leak", "unacknowledged")
    first = Scripted()
    teller = bench.teller(first)
    until(lambda: bench.noted)
    assert teller.stop(10.0)
    other = Scripted()
    bench.teller(other, mark="j2")
    until(lambda: other.sent)


def test_a_place_that_can_not_be_written_is_said_and_holds_no_message_up(bench: Bench):
    (bench.folder / "tell-phone.json.new").mkdir()
    sender = Scripted()
    teller = bench.teller(sender)
    bench.journal.alarm("leak", "unacknowledged")
    until(lambda: bench.noted)
    assert "can't be written" in teller.status()["keeps"] and len(sender.sent) == 1
