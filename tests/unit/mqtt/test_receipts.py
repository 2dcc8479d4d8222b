"""What an archive says that it has, and what is said again for it. No broker, and a clock that is told."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from edge.clock import ToldClock
from edge.domain.entries import rfc3339
from edge.mqtt.chain import Chain
from edge.mqtt.memory import FileMemory
from edge.mqtt.receipts import MOST_BYTES, MOST_RANGES, AgainPace, Receipts, missing, receipt_of
from edge.mqtt.topics import Topics, entry_message
from tests.integration.mqtt_kit import SITE, STATION, ListJournal

DAY_MS = 86_400_000
AT = "2026-03-17T15:00:00.000Z"
GOOD = {"journal": "5b1c0e6f2a9d4c37", "have": [[1, 4], [7, 9]], "at": AT}


def test_a_receipt_is_read_as_it_is_published() -> None:
    found = receipt_of(json.dumps(GOOD).encode())
    assert found is not None and found.journal == GOOD["journal"] and list(found.have) == [(1, 4), (7, 9)]
    assert rfc3339(found.at_ms) == AT
    assert receipt_of(json.dumps(GOOD | {"have": []}).encode()) is not None


CHANGES: list[dict[str, Any]] = [
    {"journal": None}, {"have": None}, {"have": {}}, {"have": [1]}, {"have": [[1]]}, {"have": [[1, 2, 3]]}, {"have": [[2, 1]]},
    {"have": [[0, 1]]}, {"have": [[-1, 1]]}, {"have": [[1.0, 2]]}, {"have": [[True, 2]]}, {"have": [["1", 2]]}, {"have": [[1, 2**60]]},
    {"have": [[1, 4], [5, 9]]}, {"have": [[7, 9], [1, 4]]}, {"have": [[1, 4], [3, 9]]}, {"at": None}, {"at": "yesterday"},
    {"have": [[n, n] for n in range(1, 2 * MOST_RANGES + 3, 2)]}, {"at": "2026-03-17T15:00:00"}, {"more": "x" * MOST_BYTES},
]  # fmt: skip
RUBBISH = [
    b"", b"{", b"[]", b"null", b"\xff", b'{"have": [[1, 2]]}', json.dumps(GOOD).encode().replace(b'"at"', b'"have": [], "at"'),
    *(json.dumps(GOOD | change).encode() for change in CHANGES),
]  # fmt: skip


def test_what_is_no_receipt_is_none() -> None:
    assert [payload for payload in RUBBISH if receipt_of(payload) is not None] == []


def test_what_lacks_is_what_is_in_no_range() -> None:
    assert missing([], 3) == [(1, 3)] and missing([(1, 3)], 3) == [] == missing([(1, 2**52)], 3) == missing([], 0)
    assert missing([(3, 4), (8, 8)], 10) == [(1, 2), (5, 7), (9, 10)]
    assert missing([(3, 4), (8, 99)], 5) == [(1, 2), (5, 5)]


class Desk:
    """Receipts of one archive, with everything around them; real time goes on by hand."""

    def __init__(self, folder: Path, entries: int = 20, *, confirmed: int | None = None, **pace: float) -> None:
        self.s, self.clock, self.journal, self.folder = 0.0, ToldClock(boot="boot-1"), ListJournal(), folder
        self.journal.add(self.clock, count=entries)
        self.confirmed = entries if confirmed is None else confirmed
        self.pace = AgainPace(**pace)  # type: ignore[arg-type]  # numbers all
        self.receipts = self.made()

    def made(self) -> Receipts:
        memory = FileMemory(self.folder / "memory.json")
        chain = Chain(self.journal)
        return Receipts(Topics(SITE, STATION), ["hospital"], chain, memory, self.clock, lambda: self.s, self.pace)

    def go_on(self, s: float) -> None:
        self.s += s
        self.clock.tell(int(s * 1000))

    def hear(
        self, have: list[list[int]], *, retained: bool = False, journal: str = "", at_ms: int | None = None
    ) -> None:
        at = rfc3339(self.clock.now().wall_ms if at_ms is None else at_ms)
        said = {"journal": journal or self.journal.mark(), "have": have, "at": at}
        assert self.receipts.hear(self.receipts.filters[0], json.dumps(said).encode(), retained)
        self.go_on(self.pace.look_s)
        self.receipts.look(self.confirmed)

    def take(self, room: int = 20) -> list[int]:
        return [seq for seq, _message in self.receipts.take(room)]

    def all(self) -> list[int]:
        found: list[int] = []
        for _ in range(200):
            found += self.take()
            self.go_on(0.1)
        return found

    @property
    def status(self) -> dict[str, Any]:
        return dict(self.receipts.status()["hospital"])


def test_what_lacks_is_said_again_byte_for_byte_the_lowest_first(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    desk.receipts.look(20)
    desk.hear([[1, 4], [7, 18]])
    again = desk.receipts.take(20)
    assert [seq for seq, _message in again] == [5, 6, 19, 20]
    entry = desk.journal.entries[4]
    assert again[0][1] == entry_message(entry, SITE, STATION, desk.journal.mark(), desk.journal.digest(5))
    assert desk.all() == [], "once for a receipt"


def test_what_was_confirmed_a_moment_ago_is_not_missing(tmp_path: Path) -> None:
    desk = Desk(tmp_path, 20, confirmed=10)
    desk.receipts.look(10)
    desk.go_on(10.0)
    desk.confirmed = 20
    desk.hear([[1, 9]])
    assert desk.all() == [10], "11 to 20 may be on their way"
    desk.go_on(60.0)
    desk.hear([[1, 10]])
    assert desk.all() == list(range(11, 21))


def test_repeats_have_a_rate_and_room_of_their_own(tmp_path: Path) -> None:
    desk = Desk(tmp_path, 500, per_s=50.0, at_once=8)
    desk.hear([])
    assert len(desk.take(3)) == 3 and len(desk.take(0)) == 0 == len(desk.take(-5))
    said = 0
    for _ in range(40):
        said += len(desk.take())
        desk.go_on(0.1)
    assert 195 <= said <= 210, "50 in a second"
    for _ in range(40):  # one that says again and again that it has nothing
        desk.hear([], at_ms=int(desk.s * 1000))
        assert len(desk.take()) <= 8
        assert len(desk.take()) == 0


def test_the_same_receipt_and_what_is_of_another_journal_change_nothing(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    desk.hear([[1, 19]], at_ms=5, retained=True)
    assert desk.take() == [20]
    desk.go_on(100.0)
    desk.hear([[1, 19]], at_ms=5, retained=True)  # it stood there, and is heard at each connect
    desk.hear([], journal="0" * 16)
    desk.receipts.hear(desk.receipts.filters[0], b"rubbish", False)
    assert desk.take() == [] and not desk.receipts.hear("warmwell/1/a/b/receipt/other", b"", False)
    desk.hear([[1, 2**50]])
    assert desk.take() == []


def test_what_the_broker_refuses_or_that_can_not_be_said_is_not_said_for_ever(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    desk.receipts.pass_over(3)
    desk.hear([])
    assert desk.take(4) == [1, 2, 4, 5]
    desk.receipts.refused()
    assert desk.all() == []


def test_an_archive_is_silent_after_a_day_without_a_receipt(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    desk.receipts.look(20)
    desk.go_on(86_390.0)
    assert not desk.status["silent"] and desk.status["heard"] is None
    desk.go_on(20.0)
    assert desk.status["silent"]
    desk.hear([], journal="0" * 16)
    assert desk.status["silent"], "of another journal"
    desk.hear([[1, 20]])
    assert not desk.status["silent"] and desk.status["heard"]


def test_a_board_that_starts_each_morning_notices_all_the_same(tmp_path: Path) -> None:
    """What a restart would forget stands in the memory; and a retained receipt is as old as it says."""
    desk = Desk(tmp_path)
    desk.hear([[1, 20]])
    for _ in range(3):
        desk.go_on(36_000.0)
        desk.receipts = desk.made()
        desk.receipts.look(20)
    assert desk.status["silent"]
    desk.hear([[1, 20]], retained=True, at_ms=desk.clock.now().wall_ms - 2 * DAY_MS)
    assert desk.status["silent"]
    desk.hear([[1, 20]], retained=True, at_ms=desk.clock.now().wall_ms + 2 * DAY_MS)
    assert not desk.status["silent"], "a time to come is now"
