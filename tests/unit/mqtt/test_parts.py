"""The publisher's parts by themselves: names, the feed, the board, the memory, pauses. No broker, and a clock that is told."""

from __future__ import annotations

import itertools
import json
import random
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.client import topic_matches_sub

from edge.clock import ToldClock
from edge.config import MqttPlan
from edge.domain.entries import Entry
from edge.domain.errors import UnusableInput
from edge.mqtt.feed import Feed, Patience
from edge.mqtt.memory import FileMemory, Refused
from edge.mqtt.publisher import Publisher, Source
from edge.mqtt.retained import Board, Pace
from edge.mqtt.timing import Pauses, Timing
from edge.mqtt.topics import Topics, compact, entry_message, mqtt_topic_ok
from edge.mqtt.troubles import CUTS, disconnect_trouble, opening_trouble
from edge.snapshot import Snapshot

DAY_MS = 86_400_000


class Journal:
    """A journal in memory."""

    def __init__(self, count: int = 0) -> None:
        self.entries = [entry(seq) for seq in range(1, count + 1)]
        self.saved: list[int] = []

    def read(self, after: int, limit: int) -> list[Entry]:
        return self.entries[after : after + limit]

    def last_seq(self) -> int:
        return len(self.entries)

    def head(self) -> tuple[int, str]:
        return len(self.entries), "00" * 32

    def mark(self) -> str:
        return "0" * 16 if self.entries else ""

    def digest(self, seq: int) -> str:
        return f"{seq:064x}"

    def wait(self, after: int, timeout_s: float) -> bool:
        return len(self.entries) > after

    def cursor(self, name: str) -> int | None:
        return self.saved[-1] if self.saved else None

    def move_cursor(self, name: str, seq: int) -> None:
        self.saved.append(seq)


def entry(seq: int, boot: str = "boot", at_ms: int = 0) -> Entry:
    return Entry(seq, boot, at_ms, 1_800_000_000_000 + at_ms, True, "note", {"n": seq})


class Told:
    """Seconds that pass when they are told to."""

    def __init__(self) -> None:
        self.s = 1000.0

    def __call__(self) -> float:
        return self.s


@pytest.fixture
def memory(tmp_path: Path) -> FileMemory:
    return FileMemory(tmp_path / "memory.json")


NOW = ToldClock(boot="boot").now()


class Fed:
    """A feed with what it needs."""

    def __init__(self, memory: FileMemory, count: int, **patience: Any) -> None:
        self.journal, self.clock, self.untold = Journal(count), Told(), []
        self.memory, self._patience = memory, Patience(**patience)
        self.feed = self.made()

    def made(self) -> Feed:
        return Feed(self.journal, self.memory, lambda e, why: self.untold.append(e.seq), self.clock, self._patience)

    def take(self, room: int = 20) -> list[int]:
        return [e.seq for e in self.feed.take(room)]


# ---- names


@pytest.mark.parametrize("name", ["", "a/b", "+", "a#", "$SYS", "a b", "a\0", "a\n", "\u202ea", "x" * 201])
def test_names_that_can_not_stand_in_a_topic_are_refused_with_a_sentence(name: str) -> None:
    with pytest.raises(UnusableInput, match="can't stand in an MQTT topic"):
        Topics("harbour-lane", name)
    with pytest.raises(UnusableInput):
        Topics("harbour-lane", "scope-room-2").alarm(f"silent:{name}")


@given(st.text(), st.text())
def test_no_name_adds_a_level_or_a_wildcard(site: str, thing: str) -> None:
    try:
        topic = Topics(site, "s").point(thing)
    except UnusableInput:
        return
    assert mqtt_topic_ok(topic) and topic.count("/") == 5
    assert topic_matches_sub("warmwell/1/+/s/point/+", topic)


def test_a_colon_in_an_id_becomes_a_level() -> None:
    assert Topics("a", "b").alarm("outlet_tripped:heater") == "warmwell/1/a/b/alarm/outlet_tripped/heater"
    assert Topics("a", "b").estimate("filter:fine:left") == "warmwell/1/a/b/estimate/filter/fine/left"


@given(st.dictionaries(st.text(), st.integers() | st.text() | st.booleans() | st.none()))
def test_the_same_entry_is_the_same_bytes_whatever_the_order_of_its_keys(body: dict[str, Any]) -> None:
    one = Entry(1, "b", 2, 3, True, "note", body)
    other = one._replace(body=dict(reversed(body.items())))
    message = entry_message(one, "s", "t", "0123456789abcdef", "ab" * 32)
    assert message == entry_message(other, "s", "t", "0123456789abcdef", "ab" * 32)
    assert b"\n" not in message


def test_what_json_has_no_word_for_is_refused() -> None:
    with pytest.raises(ValueError):
        compact({"value": float("nan")})


# ---- the feed


def test_the_cursor_stands_before_the_first_that_is_not_confirmed(memory: FileMemory) -> None:
    fed = Fed(memory, 10)
    fed.feed.begin(True, NOW, "boot")
    assert fed.take(5) == [1, 2, 3, 4, 5]
    assert fed.take(0) == []
    for seq in (2, 3, 5):
        fed.feed.confirm(seq)
    assert fed.feed.confirmed == 0
    fed.feed.confirm(1)
    assert fed.feed.confirmed == 3
    assert fed.feed.behind() == 6, "5 is confirmed too"
    fed.feed.confirm(4)
    assert fed.feed.confirmed == 5
    assert fed.take() == [6, 7, 8, 9, 10]


def test_the_cursor_is_saved_at_most_once_a_second_and_at_the_end(memory: FileMemory) -> None:
    fed = Fed(memory, 10)
    fed.feed.begin(True, NOW, "boot")
    for seq in fed.take():
        fed.feed.confirm(seq)
        fed.clock.s += 0.3
        fed.feed.save()
    assert fed.journal.saved == [1, 5, 9]
    fed.feed.save()
    assert fed.feed.next_s() == pytest.approx(fed.clock.s + 0.7)
    fed.feed.save(at_once=True)
    assert fed.journal.saved == [1, 5, 9, 10]
    fed.feed.save(at_once=True)
    assert fed.journal.saved == [1, 5, 9, 10], "nothing new, nothing written"


def test_after_a_cut_what_was_unconfirmed_comes_again_in_order(memory: FileMemory) -> None:
    fed = Fed(memory, 10)
    fed.feed.begin(True, NOW, "boot")
    fed.take(6)
    for seq in (1, 2, 4):
        fed.feed.confirm(seq)
    assert fed.feed.begin(True, NOW, "boot") == 2
    assert fed.take() == [3, 4, 5, 6, 7, 8, 9, 10]


def test_an_unknown_session_repeats_the_last_day_and_the_cursor_never_goes_back(memory: FileMemory) -> None:
    fed = Fed(memory, 0)
    fed.journal.entries = [entry(seq, at_ms=seq * DAY_MS // 100) for seq in range(1, 301)]
    fed.feed.begin(True, NOW, "boot")
    while taken := fed.take():
        for seq in taken:
            fed.feed.confirm(seq)
    now = NOW._replace(mono_ms=3 * DAY_MS, wall_ms=1_800_000_000_000 + 3 * DAY_MS)
    assert fed.feed.begin(False, now, "boot") == 199  # entry 200 is a day old to the millisecond
    assert fed.take(3) == [200, 201, 202]
    fed.feed.confirm(200)
    assert fed.feed.confirmed == 300
    assert fed.feed.behind() == 0
    assert fed.feed.begin(True, now, "boot") == 300


def test_of_another_boot_the_wall_time_counts(memory: FileMemory) -> None:
    fed = Fed(memory, 0)
    fed.journal.entries = [entry(1, "before", DAY_MS), entry(2, "before", 2 * DAY_MS), entry(3, "boot", 5)]
    fed.journal.saved = [3]
    fed.feed = fed.made()
    now = NOW._replace(mono_ms=10, wall_ms=1_800_000_000_000 + 2 * DAY_MS + 1000)
    assert fed.feed.begin(False, now, "boot") == 1


def test_a_refused_topic_holds_all_back_and_the_lowest_is_tried_again(memory: FileMemory) -> None:
    fed = Fed(memory, 50)
    fed.feed.begin(True, NOW, "boot")
    for seq in fed.take(3):
        fed.feed.refuse(seq, 135, "Not authorized")
    assert fed.untold == [1], "one entry is told, not each"
    assert fed.take() == []
    fed.clock.s = fed.feed.next_s()
    assert fed.take() == [1]
    fed.feed.confirm(1)
    assert fed.take() == [2], "the next that was refused, by itself"
    fed.feed.confirm(2)
    assert fed.take(1) == [3]
    fed.feed.confirm(3)
    assert fed.take(2) == [4, 5]


def test_pauses_between_tries_grow_to_the_cap(memory: FileMemory) -> None:
    fed = Fed(memory, 1)
    fed.feed.begin(True, NOW, "boot")
    fed.take()
    pauses = []
    for _ in range(9):
        fed.feed.refuse(1, 135, "")
        pauses.append(fed.feed.next_s() - fed.clock.s)
        fed.clock.s = fed.feed.next_s()
        assert fed.take() == [1]
    assert pauses == [5, 10, 20, 40, 80, 160, 300, 300, 300]


def test_refused_for_a_day_over_a_restart_it_is_passed_over_and_told_once(memory: FileMemory) -> None:
    fed = Fed(memory, 3)
    fed.feed.begin(True, NOW, "boot")
    fed.take(1)
    began_s, restarted = fed.clock.s, False
    while fed.feed.confirmed == 0:
        fed.feed.refuse(1, 135, "")
        fed.clock.s = max(fed.clock.s, fed.feed.next_s())
        if fed.clock.s - began_s > 43_200 and not restarted:
            restarted = True
            fed.feed = fed.made()
            fed.feed.begin(True, NOW, "boot")
        fed.take(1)
        assert fed.clock.s - began_s < 90_000
    assert 86_400 <= fed.clock.s - began_s < 86_400 + 1000
    assert fed.untold == [1]
    assert fed.take() == [3], "2 is under way since the turn before"
    fed.feed.refuse(2, 135, "")
    assert fed.untold == [1, 2]


def test_a_refusal_that_may_mend_by_itself_is_told_after_a_minute(memory: FileMemory) -> None:
    fed = Fed(memory, 1)
    fed.feed.begin(True, NOW, "boot")
    fed.take()
    began_s = fed.clock.s
    while not fed.untold:
        fed.feed.refuse(1, 151, "Quota exceeded")
        fed.clock.s += 0 if fed.untold else fed.feed.next_s() - fed.clock.s
        fed.take()
    assert 60 <= fed.clock.s - began_s < 120


@pytest.mark.parametrize("code", [149, 153, CUTS])
def test_one_message_that_can_not_be_taken_holds_nothing_else_up(memory: FileMemory, code: int) -> None:
    fed = Fed(memory, 10)
    fed.feed.begin(True, NOW, "boot")
    fed.take(4)
    for seq in (1, 2, 4):
        fed.feed.confirm(seq)
    fed.feed.refuse(3, code, "")
    assert fed.take() == [5, 6, 7, 8, 9, 10]
    assert (fed.untold, fed.feed.confirmed) == ([3], 2)
    fed.feed.begin(True, NOW, "boot")
    assert fed.take() == [4, 5, 6, 7, 8, 9, 10], "a new connection makes it no smaller"
    for seq in range(4, 11):
        fed.feed.confirm(seq)
    fed.clock.s += 3600
    assert fed.take() == [3]
    fed.feed.confirm(3)
    assert fed.feed.confirmed == 10


class NoMemory(FileMemory):
    """Writes nothing."""

    def __init__(self) -> None:
        super().__init__(Path("/nonexistent/memory.json"))

    def _write(self) -> None:
        pass


@given(st.integers(0, 2**32), st.integers(1, 60))
def test_whatever_is_confirmed_refused_or_cut_nothing_is_skipped(seed: int, count: int) -> None:
    """After any history every entry was confirmed or passed over, and no first try overtakes an earlier one."""
    chance = random.Random(seed)
    fed = Fed(NoMemory(), count, give_up_s=1e9)
    fed.feed.begin(True, NOW, "boot")
    confirmed: set[int] = set()
    firsts: list[int] = []
    under_way: list[int] = []
    for step in range(1000):
        under_way += (taken := fed.take(chance.randint(0, 5)))
        firsts += [seq for seq in taken if seq not in firsts]
        if under_way:
            seq = under_way.pop(chance.randrange(len(under_way)))
            if step < 300 and chance.random() < 0.2:
                fed.feed.refuse(seq, chance.choice([135, 151]), "")
            else:
                fed.feed.confirm(seq)
                confirmed.add(seq)
        if step < 300 and chance.random() < 0.05:
            fed.feed.begin(True, NOW, "boot")
            under_way = []
        assert set(range(1, fed.feed.confirmed + 1)) <= confirmed
        fed.clock.s += 60
        if fed.feed.confirmed == count:
            break
    assert fed.feed.confirmed == count
    assert firsts == sorted(firsts)


def test_a_caller_that_raises_does_not_end_the_telling(memory: FileMemory) -> None:
    def raises(_entry: Entry, _why: str) -> None:
        raise RuntimeError("the judge is gone")

    feed = Feed(Journal(1), memory, raises, Told())
    feed.begin(True, NOW, "boot")
    feed.take(1)
    feed.refuse(1, 135, "")
    assert feed.refused and feed.refused.told


# ---- the board


def _picture(version: int, **parts: Any) -> Snapshot:
    return Snapshot(
        version, 0, NOW, parts.get("verdict", {"verdict": "ready"}), parts.get("points", {}), parts.get("alarms", {})
    )


def _sent(board: Board) -> list[str]:
    due = [topic.removeprefix("warmwell/1/a/b/") for topic in board.due()]
    for topic in due:
        board.sent(f"warmwell/1/a/b/{topic}")
        board.confirmed(f"warmwell/1/a/b/{topic}")
    return due


def test_a_point_is_told_at_most_once_in_five_seconds_and_at_least_once_a_minute() -> None:
    clock = Told()
    board = Board(Topics("a", "b"), clock)
    told_s = []
    for step in range(1200):  # two minutes, ten pictures a second; the value stops moving after the first
        value = float(min(step, 600))
        board.show(_picture(step + 1, points={"p": {"id": "p", "value": value, "at": step, "age_s": step % 7}}))
        if "point/p" in _sent(board):
            told_s.append(clock.s)
        clock.s += 0.1
    gaps = [later - sooner for sooner, later in itertools.pairwise(told_s)]
    assert min(gaps) >= 5.0 and max(gaps) <= 60.2
    assert len(told_s) in (13, 14)  # each 5 s for a minute, then its last value, then the heartbeat


def test_figures_of_a_condition_are_no_news_without_its_text() -> None:
    """They are unrounded, so they change with each reading; a point's value is what its topic is for."""
    clock = Told()
    board = Board(Topics("a", "b"), clock)

    def said(text: str, value: float) -> list[str]:
        clock.s += 6.0
        one = {"id": "reservoir", "state": "met", "text": text, "value": value, "limit": value - 1, "probability": 0.9}
        board.show(_picture(1, verdict={"verdict": "ready", "conditions": [one]}, points={"p": {"value": value}}))
        return _sent(board)

    assert said("39.0 degC", 39.0) == ["verdict", "point/p"]
    assert said("39.0 degC", 39.01) == ["point/p"]
    assert said("39.1 degC", 39.1) == ["verdict", "point/p"]


def test_an_alarm_waits_for_nothing_but_its_own_confirmation() -> None:
    board = Board(Topics("a", "b"), Told())
    board.show(_picture(1, alarms={"leak": {"id": "leak", "state": "normal", "seq": 0}}))
    assert _sent(board) == ["verdict", "alarm/leak"]
    board.show(_picture(2, alarms={"leak": {"id": "leak", "state": "unacknowledged", "seq": 7}}))
    assert board.due() == ["warmwell/1/a/b/alarm/leak"]
    board.sent("warmwell/1/a/b/alarm/leak")
    board.show(_picture(3, alarms={"leak": {"id": "leak", "state": "acknowledged", "seq": 8}}))
    assert board.due() == []
    board.confirmed("warmwell/1/a/b/alarm/leak")
    assert _sent(board) == ["alarm/leak"]
    assert json.loads(board.payload("warmwell/1/a/b/alarm/leak"))["seq"] == 8


def test_of_many_refused_topics_the_first_is_told_and_all_are_known(caplog: pytest.LogCaptureFixture) -> None:
    board = Board(Topics("a", "b"), Told())
    board.show(
        _picture(1, alarms={each: {"id": each, "state": "normal", "seq": 0} for each in ("leak", "hold", "untold")})
    )
    caplog.set_level("INFO", "warmwell.mqtt")
    due = board.due()
    for topic in due:
        board.sent(topic)
        board.refused(topic, "not authorised")
    assert len(due) == 4 and sorted(board.refusals()) == sorted(due)
    (told,) = caplog.messages
    assert due[0] in told and "not authorised" in told and "/health" in told


def test_a_refused_topic_is_tried_again_later_and_after_a_new_connection() -> None:
    clock = Told()
    board = Board(Topics("a", "b"), clock)
    board.show(_picture(1))
    board.sent("warmwell/1/a/b/verdict")
    board.refused("warmwell/1/a/b/verdict", "not authorised")
    assert (board.due(), list(board.refusals().values())) == ([], ["not authorised"])
    board.renew()
    assert _sent(board) == ["verdict"]
    assert board.refusals() == {}


def test_a_judge_that_draws_no_pictures_makes_no_ghosts() -> None:
    clock = Told()
    board = Board(Topics("a", "b"), clock, Pace(ghost_s=10))
    known = frozenset({"warmwell/1/a/b/point/old", "warmwell/1/a/b/point/p"})
    assert board.gone(known) == []
    board.show(_picture(1, points={"p": {"id": "p"}}))
    assert board.gone(known) == [], "pictures may still be filling up"
    clock.s += 1000
    assert board.gone(known) == ["warmwell/1/a/b/point/old"]
    board.show(_picture(2))
    clock.s += 5
    board.show(_picture(3))
    assert board.gone(known) == ["warmwell/1/a/b/point/old", "warmwell/1/a/b/point/p"]


# ---- the memory


def test_the_memory_survives_a_restart_and_a_damaged_file(tmp_path: Path) -> None:
    file = tmp_path / "memory.json"
    first = FileMemory(file)
    first.remember_topics(["warmwell/1/a", "warmwell/1/b"])
    first.remember_refusals({7: Refused(12.3, True)})
    first.forget_topics(["warmwell/1/a"])
    again = FileMemory(file)
    assert (again.topics_seen(), again.refusals()) == (frozenset({"warmwell/1/b"}), {7: Refused(12.3, True)})
    for damage in ("", "{", "[1]", '{"topics": 5, "refused": {"x": 1, "1": {"for_s": "a"}}}', "\0"):
        file.write_text(damage, encoding="utf-8")
        assert FileMemory(file).topics_seen() == frozenset()
    assert not list(tmp_path.glob("*.new"))


@pytest.mark.parametrize(
    "damage",
    [
        '{"topics":' + "[" * 100_000,
        '{"topics": [], "refused": {"3": {"for_s": 1' + "0" * 400 + ', "told": true}}}',
        '{"topics": [], "refused": {"3": {"for_s": NaN, "told": true}}}',
        '{"topics": 7, "refused": {}}',
        '{"topics": [], "refused": {"3": 4}}',
        "[1, 2]",
        "null",
    ],
    ids=["deep", "beyond a float", "not a number", "no list", "no row", "a list", "null"],
)
def test_a_memory_whatever_stands_in_it_ends_no_telling(tmp_path: Path, damage: str) -> None:
    file = tmp_path / "memory.json"
    file.write_text(damage, encoding="utf-8")
    memory = FileMemory(file)
    assert (memory.topics_seen(), memory.refusals()) == (frozenset(), {})
    memory.remember_topics(["warmwell/1/a/b/verdict"])
    assert FileMemory(file).topics_seen() == {"warmwell/1/a/b/verdict"}


def test_a_memory_names_only_topics_of_ours_that_can_be_emptied(tmp_path: Path) -> None:
    """MQTT 5.0, 4.7.1: a message is not published to a name with a wildcard in it."""
    file = tmp_path / "memory.json"
    topics = ["warmwell/1/a/b/node", "warmwell/1/a+b/node", "warmwell/1/#", "", "other/lamp", "warmwell/1/a\x00", 5]
    file.write_text(json.dumps({"topics": topics, "refused": {}}), encoding="utf-8")
    assert FileMemory(file).topics_seen() == {"warmwell/1/a/b/node"}


def test_a_memory_is_not_written_through_a_link(tmp_path: Path) -> None:
    foreign, file = tmp_path / "foreign", tmp_path / "memory.json"
    foreign.write_text("kept", encoding="utf-8")
    (tmp_path / "memory.json.new").symlink_to(foreign)
    FileMemory(file).remember_topics(["warmwell/1/a/b/verdict"])
    assert foreign.read_text(encoding="utf-8") == "kept"
    assert FileMemory(file).topics_seen() == {"warmwell/1/a/b/verdict"}
    assert file.stat().st_mode & 0o137 == 0


def test_a_memory_that_can_not_be_written_is_said_and_stops_nothing(caplog: pytest.LogCaptureFixture) -> None:
    memory = FileMemory(Path("/nonexistent/memory.json"))
    memory.remember_topics(["a"])
    memory.remember_topics(["b"])
    assert memory.topics_seen() == {"a", "b"}
    assert "can't be written" in memory.trouble
    assert len(caplog.records) == 1, "said once"


# ---- pauses and sentences


def test_pauses_double_to_the_cap_and_begin_anew_only_after_a_connection_that_lasted() -> None:
    pauses = Pauses(Timing(), chance=lambda: 1.0)
    assert [pauses.pause_s(slow=False) for _ in range(10)] == [1, 2, 4, 8, *[12] * 6]
    pauses.lasted(59.0)
    assert pauses.pause_s(slow=False) == 12, "a broker that is there again is found within 15 s"
    pauses.lasted(60.0)
    assert pauses.pause_s(slow=False) == 1
    assert Pauses(Timing(), chance=lambda: 0.0).pause_s(slow=True) == 15, "jitter: between half and the whole"


def test_errors_of_the_network_become_sentences() -> None:
    where = "MQTT broker b:1883"
    for exc, part in (
        (ConnectionRefusedError(111, "Connection refused"), "connection refused"),
        (TimeoutError("timed out"), "no answer in time"),
        (OSError(113, "No route to host"), "no route to host"),
        (ValueError("label too long"), "label too long"),
    ):
        assert str(opening_trouble(exc, where, clock="", tls=False)).startswith(f"{where}: {part}; expected ")
    assert "session" not in str(disconnect_trouble(142, "Session taken over", "x", where))


def test_the_log_names_the_broker_once(memory: FileMemory, caplog: pytest.LogCaptureFixture) -> None:
    plan = MqttPlan("b", 1883)
    source = Source("a", "b", Journal(), lambda: _picture(1), lambda _v, _t: _picture(1), ToldClock())
    publisher = Publisher(plan, source, memory=memory)
    caplog.set_level("INFO", "warmwell.mqtt")
    publisher._note_trouble(
        opening_trouble(ConnectionRefusedError(111, "refused"), publisher.where, clock="", tls=False)
    )
    (told,) = caplog.messages
    assert told.startswith("MQTT broker b:1883: ") and told.count("MQTT") == 1


def test_a_publisher_needs_names_that_can_stand_in_topics(memory: FileMemory) -> None:
    source = Source("a/b", "c", Journal(), lambda: _picture(1), lambda _v, _t: _picture(1), ToldClock())
    with pytest.raises(UnusableInput, match="site"):
        Publisher(MqttPlan("b", 1883), source, memory=memory)
