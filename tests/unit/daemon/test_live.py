"""A disk, a broker or a part that hangs, refuses or says nothing: what is told of it, and what goes on all the same."""

from __future__ import annotations

import hashlib
import json
import sqlite3
import threading
from contextlib import closing
from itertools import accumulate
from pathlib import Path
from typing import Any

import pytest

from edge.clock import ToldClock
from edge.daemon.unkept import UnkeptJournal
from edge.daemon.watch import HANGS_S, hanging, store_trouble
from edge.domain.entries import Draft, Entry
from edge.domain.errors import StoreFault
from edge.mqtt.chain import Chain
from edge.mqtt.feed import Feed
from edge.mqtt.memory import Behind, FileMemory
from edge.mqtt.retained import Board, Pace
from edge.mqtt.topics import Topics
from edge.store.database import Damaged
from edge.store.journal import Journal
from tests.unit.stations import english

CLOCK = ToldClock(boot="boot")


def no_disk() -> StoreFault:
    return StoreFault("the disk refused", where="journal.db", expected="a write", do="Check the disk")


class Kept:
    """A journal of five entries whose disk can be told to refuse."""

    def __init__(self) -> None:
        self.reads = self.writes = True
        self.cursors: list[int] = []

    def read(self, after: int, limit: int) -> list[Entry]:
        self.check(self.reads)
        return [Entry(seq, "boot", 0, 0, True, "note", {}) for seq in range(after + 1, 6)][:limit]

    def last_seq(self) -> int:
        return 5

    def cursor(self, name: str) -> int | None:
        self.check(self.reads)
        return 0

    def move_cursor(self, name: str, seq: int) -> None:
        self.check(self.writes)
        self.cursors.append(seq)

    def check(self, may: bool) -> None:
        if not may:
            raise no_disk()


def fed(journal: Kept, tmp_path: Path, now_s: list[float] | None = None) -> Feed:
    seconds = now_s or [1000.0]
    feed = Feed(journal, FileMemory(tmp_path / "m.json"), lambda _e, _w: None, lambda: seconds[0])  # type: ignore[arg-type]  # what it asks
    feed.begin(True, CLOCK.now(), "boot")
    return feed


# ---- telling goes on without the disk


def test_a_cursor_that_can_not_be_saved_means_repeats_and_no_more(tmp_path: Path) -> None:
    journal, now_s = Kept(), [1000.0]
    feed = fed(journal, tmp_path, now_s)
    journal.writes = False
    for entry in feed.take(3):
        feed.confirm(entry.seq)
    feed.save()
    assert feed.confirmed == 3 and feed.saved == 0 and journal.cursors == []
    assert feed.next_s() > now_s[0], "not tried again at once, for ever"
    journal.writes = True
    now_s[0] += 2
    feed.save()
    assert journal.cursors == [3] and feed.saved == 3


def test_a_cursor_that_can_not_be_read_means_that_all_is_told_again(tmp_path: Path) -> None:
    journal = Kept()
    journal.reads = False
    feed = fed(journal, tmp_path)
    feed.begin(False, CLOCK.now(), "boot")
    journal.reads = True
    assert [entry.seq for entry in feed.take(20)] == [1, 2, 3, 4, 5]


def test_what_is_kept_behind_holds_nobody_up_and_only_the_newest_is_kept() -> None:
    behind, hangs, began, kept = Behind(), threading.Event(), threading.Event(), list[int]()
    behind.do("cursor", lambda: (began.set(), hangs.wait(5)))
    assert began.wait(5)
    for seq in range(5):
        behind.do("cursor", lambda seq=seq: kept.append(seq))
    assert not behind.flush(0.0)
    hangs.set()
    assert behind.flush(5.0)
    assert kept[-1] == 4 and len(kept) <= 2

    def refuses() -> None:
        raise no_disk()

    behind.do("cursor", refuses)
    assert behind.flush(5.0) and "the disk refused" in behind.trouble
    behind.do("cursor", lambda: None)
    assert behind.flush(5.0) and behind.trouble == ""


# ---- a broker that takes the connection and nothing else


@pytest.mark.parametrize("code", [0x87, 0x95], ids=["not authorised", "each too large"])
def test_nobody_hears_where_every_entry_is_refused(tmp_path: Path, code: int) -> None:
    feed = fed(Kept(), tmp_path)
    assert not feed.nobody_hears
    for entry in feed.take(3):
        feed.refuse(entry.seq, code, "no")
    assert feed.nobody_hears


def test_one_entry_that_is_too_large_is_no_reason_to_ring(tmp_path: Path) -> None:
    feed = fed(Kept(), tmp_path)
    first, second, _third = feed.take(3)
    feed.refuse(first.seq, 0x95, "Packet too large")
    assert not feed.nobody_hears
    feed.confirm(second.seq)
    assert not feed.nobody_hears


def test_what_an_older_broker_confirms_counts_only_once_something_was_read_back(tmp_path: Path) -> None:
    """MQTT 3.1.1, 3.4: PUBACK has no reason code; a server that doesn't let a client publish may confirm all the same (3.3.5)."""
    feed = fed(Kept(), tmp_path)
    feed.proved = False
    for entry in feed.take(5):
        feed.confirm(entry.seq)
    assert feed.confirmed == 0 and feed.behind() > 0
    feed.prove()
    assert feed.confirmed == 5 and feed.behind() == 0


def test_what_could_not_be_handed_over_is_taken_again_in_its_order(tmp_path: Path) -> None:
    feed = fed(Kept(), tmp_path)
    (first,) = feed.take(1)
    feed.put_back(feed.take(2))
    assert [entry.seq for entry in feed.take(20)] == [2, 3, 4, 5]
    for seq in (2, 3, 4, 5, first.seq):
        feed.confirm(seq)
    assert feed.confirmed == 5 and feed.behind() == 0


# ---- the chain


def kept_chain(tmp_path: Path, entries: int) -> Journal:
    journal = Journal(tmp_path, "a/b", "boot")
    for number in range(entries):
        journal.append([Draft(CLOCK.now(), "note", {"n": number})])
    return journal


def test_entries_and_head_bear_the_digest_and_the_mark_of_their_journal(tmp_path: Path) -> None:
    """What is compared with: SHA-256 over the digest before (the first time 32 zero bytes) and the hashed bytes."""
    journal = kept_chain(tmp_path, 3)
    with closing(sqlite3.connect(tmp_path / "journal.db")) as raw:
        rows = [hashed for (hashed,) in raw.execute("SELECT hashed FROM entry ORDER BY seq")]
    digests = list(
        accumulate(rows, lambda before, hashed: hashlib.sha256(before + hashed).digest(), initial=bytes(32))
    )[1:]
    chain = Chain(journal)
    linked = chain.with_digests(journal.read(0, 10))
    assert [told for _entry, told in linked] == [one.hex() for one in digests]
    said = {"seq": 3, "digest": digests[2].hex(), "journal": digests[0].hex()[:16], "signed": None}
    assert chain.head(*journal.head()) == said
    journal.close()


@pytest.mark.parametrize(
    "word", [b"", b"{", b"[]", b'{"seq":3}', b'{"seq":"9"}', b'{"seq":true}', b'{"seq":null}', b"[" * 100_000]
)
def test_a_word_on_the_head_topic_that_is_no_head_beyond_the_journal_is_passed_over(
    tmp_path: Path, word: bytes
) -> None:
    journal = kept_chain(tmp_path, 3)
    chain = Chain(journal)
    chain.read_back(word, "broker")
    assert chain.ahead == ""
    journal.close()


def test_a_head_beyond_the_journal_is_said_once(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    journal = kept_chain(tmp_path, 3)
    chain = Chain(journal)
    for seq in (4, 5):
        chain.read_back(b'{"seq":%d}' % seq, "broker")
    assert "entry 4, the journal ends at 3" in chain.ahead
    assert caplog.messages == [f"MQTT: {chain.ahead}"]
    assert journal.last_seq() == 3
    journal.close()


# ---- retained state


def test_retained_state_says_until_when_it_holds_and_is_said_again_before_that() -> None:
    now_s = [0.0]
    board, topics = Board(Topics("a", "b"), lambda: now_s[0], Pace()), Topics("a", "b")
    board.say(topics.node, {"state": "online"})
    message = json.loads(board.payload(topics.node, "2026-01-01T00:03:00.000Z"))
    assert message == {"state": "online", "fresh_until": "2026-01-01T00:03:00.000Z"}
    fresh_s = board.fresh_s(topics.node)
    said = 0
    for second in range(fresh_s + 1):
        now_s[0] = float(second)
        for topic in board.due():
            board.sent(topic)
            board.confirmed(topic)
            said += 1
    assert said >= 3, "two may be lost before it looks stale"


def test_a_foreign_word_on_the_own_topic_is_corrected_at_once_and_never_in_a_race() -> None:
    now_s = [0.0]
    board, topics = Board(Topics("a", "b"), lambda: now_s[0], Pace(gap_s=5.0)), Topics("a", "b")
    board.say(topics.node, {"state": "online"})

    def said() -> None:
        board.sent(topics.node)
        board.confirmed(topics.node)

    said()
    now_s[0] = 60.0 - 1e-9
    assert board.due() == []
    board.contradicted(topics.node)
    assert board.due() == [topics.node]
    said()
    board.contradicted(topics.node)  # at once again: it waits, and is not forgotten
    assert board.due() == [] and board.next_s() == pytest.approx(65.0)
    now_s[0] = 65.0
    assert board.due() == [topics.node]
    board.contradicted("warmwell/1/a/b/point/nobody")  # none of ours


# ---- what the daemon makes of its parts

JUDGE: dict[str, Any] = {"store_fault": "no", "commit": {"last_s": 0.01, "p95_s": 0.02, "busy_s": 0.0}}
SERIES: dict[str, Any] = {"disk": "ok", "trouble": None, "lost_readings": 0}


def slow(**commit: float) -> dict[str, Any]:
    return {**JUDGE, "commit": {**JUDGE["commit"], **commit}}


@pytest.mark.parametrize(
    "judge, refusing_s, series, lost, said",
    [
        (JUDGE, 0.0, SERIES, False, ""),
        (JUDGE, 0.0, {**SERIES, "disk": "low"}, False, ""),  # an alarm of its own
        (JUDGE, 6.0, SERIES, False, "can't be written"),
        (slow(busy_s=6.0), 0.0, SERIES, False, "under way for 6 s"),
        (slow(p95_s=2.0), 0.0, SERIES, False, "the disk is slow"),
        (JUDGE, 0.0, {**SERIES, "trouble": "it is damaged"}, False, "readings are not kept: it is damaged"),
        (JUDGE, 0.0, {**SERIES, "disk": "raw readings are not kept"}, False, "raw readings are not kept"),
        (JUDGE, 0.0, {**SERIES, "lost_readings": 3}, True, "readings are lost: 3"),
    ],
)
def test_a_store_that_can_not_be_relied_on_is_said(
    judge: dict[str, Any], refusing_s: float, series: dict[str, Any], lost: bool, said: str
) -> None:
    told = store_trouble(judge, refusing_s, series, newly_lost=lost)
    assert (said in english(told)) if said else told is None


@pytest.mark.parametrize("part", HANGS_S)
def test_a_part_that_makes_no_progress_is_named(part: str) -> None:
    well = dict.fromkeys(HANGS_S, 1.0)
    assert hanging(well) == []
    assert hanging({**well, part: HANGS_S[part]}) == [f"{part} (no progress for {HANGS_S[part]:.0f} s)"]


@pytest.mark.parametrize("damaged", [False, True], ids=["refusing", "damaged"])
def test_a_journal_that_can_not_be_written_is_read_where_it_can_be_trusted(tmp_path: Path, damaged: bool) -> None:
    journal = Journal(tmp_path, "a/b", "boot")
    journal.append([Draft(CLOCK.now(), "note", {"n": 1})])
    journal.close()
    fault = Damaged("entry 1", where="j", expected="a chain", do="Verify") if damaged else no_disk()
    unkept = UnkeptJournal(tmp_path, fault)
    assert len(unkept.read(0, 10)) == unkept.last_seq() == (0 if damaged else 1)
    for refused in (
        lambda: unkept.append([Draft(CLOCK.now(), "note", {})]),
        lambda: unkept.save_fold(1, 1, {}),
        lambda: unkept.move_cursor("mqtt", 1),
    ):
        with pytest.raises(StoreFault, match=fault.what):
            refused()
    unkept.close()
