"""The judge's clockwork and what waits for its disk, run by a told clock and told seconds: nothing here waits."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from edge.clock import ToldClock
from edge.domain.entries import Draft, Entry, Now
from edge.domain.errors import StoreFault
from edge.judge.clockwork import MOST_AT_ONE_DEADLINE, Clockwork
from edge.judge.disk import RETRY_S, Disk
from edge.judge.inbox import Ticker

MINUTE_MS = 60_000
NOW = Now(0, 0, True)


class Moved:
    """What a station was moved through: ("deadline" or "tick", instant)."""

    def __init__(self, deadlines_ms: Sequence[int], tickers: Sequence[Ticker] = ()) -> None:
        self.clock, self.through = ToldClock(), []
        self.left_ms = list(deadlines_ms)
        self.time = Clockwork(self.clock, tickers)
        self.time.begin()

    def reach(self, mono_ms: int, **more: bool) -> list[tuple[str, int]]:
        self.clock.tell(mono_ms - self.clock.mono_ms())
        self.time.look()
        self.through = []
        self.time.reach(mono_ms, lambda: self.left_ms[0] if self.left_ms else None, self._advance, self._tick, **more)
        return self.through

    def _advance(self, mono_ms: int) -> None:
        self.time.arrive(mono_ms)
        if self.left_ms and self.left_ms[0] <= mono_ms:
            self.left_ms.pop(0)
        self.through.append(("deadline", mono_ms))

    def _tick(self, mono_ms: int) -> None:
        self.time.arrive(mono_ms)
        assert list(self.time.due(mono_ms))
        self.through.append(("tick", mono_ms))


def test_deadlines_and_ticks_come_in_the_order_of_time_a_deadline_first():
    moved = Moved([5_000, 60_000, 90_000], [Ticker(MINUTE_MS, lambda _now, _station: None)])
    assert moved.time.now.wall_ms % MINUTE_MS == 0, "the first tick is now"
    assert moved.reach(70_000) == [("tick", 0), ("deadline", 5_000), ("deadline", 60_000), ("tick", 60_000)]
    assert moved.reach(120_000) == [("deadline", 90_000)], "a tick at the end waits until everything of it was heard"
    assert moved.reach(120_000, ticks_at_end=True) == [("tick", 120_000)]


def test_a_deadline_that_does_not_move_ends_the_pass_and_no_instant_is_gone_back_to():
    moved = Moved([1_000] * 100)
    assert len(moved.reach(2_000)) == MOST_AT_ONE_DEADLINE
    assert moved.time.reached_ms == 1_000
    assert moved.time.at(500).mono_ms == 1_000


@pytest.mark.parametrize("deadline_ms, waits_s", [(None, 1.0), (400, 0.4), (5_000, 1.0)])
def test_it_is_waited_for_the_next_deadline_at_most_a_second(deadline_ms, waits_s):
    assert Moved([]).time.wait_s(deadline_ms) == pytest.approx(waits_s)


class Refusing:
    """A journal that refuses while `fault` is set."""

    trouble = None

    def __init__(self) -> None:
        self.fault: StoreFault | None = StoreFault("full", where="disk", expected="room", do="Free some")
        self.entries: list[Entry] = []

    def append(self, drafts: Sequence[Draft]) -> list[Entry]:
        if self.fault is not None:
            raise self.fault
        new = [
            Entry(len(self.entries) + 1 + n, "told", *draft.now, draft.kind, draft.body)
            for n, draft in enumerate(drafts)
        ]
        self.entries += new
        return new


def test_a_disk_that_refuses_is_tried_again_after_a_told_second_and_everything_is_kept_in_order():
    journal, told_s, kept, changes = Refusing(), [100.0], [], []

    def on_kept(entries: list[Entry]) -> None:
        kept.extend(entry.kind for entry in entries)
        disk.took()

    disk = Disk(
        journal,  # type: ignore[arg-type]  # of a journal it asks for append alone
        lambda: told_s[0], kept=on_kept, changed=lambda: changes.append(told_s[0]), lost=lambda kinds: kept.append(dict(kinds)),
    )  # fmt: skip
    disk.writer.patience_s = 60.0  # its thread is another one: the test waits for it, whatever else the machine does
    assert disk.add([Draft(NOW, "alarm", {})]) and not disk.add([])
    disk.commit()
    assert (kept, disk.unsaved(), disk.fault, changes) == ([], 1, journal.fault, [100.0])
    journal.fault = None
    disk.add([Draft(NOW, "verdict", {})])
    disk.commit()
    assert (kept, disk.unsaved()) == ([], 2), "not before the second is over"
    told_s[0] += RETRY_S
    assert disk.refusing_s() == RETRY_S
    disk.commit()
    assert (kept, disk.unsaved(), disk.fault, disk.refusing_s()) == (["alarm", "verdict"], 0, None, 0.0)
    disk.writer.stop()


def test_where_nothing_can_ever_be_kept_nothing_waits():
    journal, fault = Refusing(), StoreFault("there is none", where="disk", expected="a disk", do="Fit one")
    disk = Disk(journal, lambda: 0.0, kept=print, changed=lambda: None, lost=print)  # type: ignore[arg-type]
    disk.never(fault)
    disk.add([Draft(NOW, "alarm", {})])
    disk.commit()
    assert (disk.unsaved(), disk.fault, journal.entries) == (0, fault, [])
    assert not disk.may_save_at_last() and not disk.is_clean()
