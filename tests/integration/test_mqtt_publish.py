"""What a station says on a real Mosquitto: topics, words, order, retained state.

Expected topics, shapes and times are those of the project's published contract; MQTT's own rules (retained messages, last
wills, session present) are those of MQTT 5.0, 3.1.2.5, 3.2.2.1.1 and 3.3.1.3, carried out here by the broker.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from edge.domain.entries import rfc3339
from edge.store.signing import SigningKey
from tests.integration.mqtt_kit import (
    BASE,
    NEEDS_MOSQUITTO,
    SITE,
    STATION,
    Bench,
    Broker,
    Proxy,
    Watcher,
    alarm,
    bench,
    broker,
    point,
    proxy,
    until,
    watcher,
)

__all__ = ["bench", "broker", "proxy", "watcher"]  # fixtures
pytestmark = NEEDS_MOSQUITTO


def test_entries_come_in_order_in_the_published_shape(bench: Bench, watcher: Watcher) -> None:
    bench.add("alarm", id="reservoir_cold", to="unacknowledged", value=24.1)
    bench.start()
    bench.add(count=99)
    bench.told()
    until(lambda: len(watcher.journal()) >= 100, "100 entries at the subscriber")
    assert watcher.seqs() == list(range(1, 101))
    first = watcher.journal()[0]
    now = bench.clock.now()
    assert first.json() == {
        "seq": 1, "boot": "boot-1", "mono_ms": now.mono_ms, "at": rfc3339(now.wall_ms), "trusted": True, "kind": "alarm",
        "body": {"id": "reservoir_cold", "to": "unacknowledged", "value": 24.1}, "site": SITE, "station": STATION,
        "journal": bench.journal.mark(), "digest": bench.journal.digest(1),
    }  # fmt: skip
    assert first.payload == json.dumps(first.json(), sort_keys=True, separators=(",", ":")).encode()
    assert not first.retained
    until(lambda: bench.journal.cursors.get("mqtt") == 100, "the cursor saved")


def test_retained_topics_show_the_present_state_to_who_comes_later(
    bench: Bench, broker: Broker, watcher: Watcher
) -> None:
    bench.book.draw(
        [alarm("reservoir_cold", "unacknowledged", 1), alarm("outlet_tripped:heater")], [point("reservoir")],
        estimates={"filter:fine:left": {"value": 9.0, "unit": "d"}},
    )  # fmt: skip
    bench.add()
    bench.start()
    bench.told()
    bench.settled()
    until(
        lambda: len({m.topic for m in watcher.messages} - {f"{BASE}/journal"}) >= 7,
        "all topics, to who was there before",
    )
    late = Watcher(broker.port)
    until(lambda: len({m.topic for m in late.messages}) >= 7, "all retained topics")
    late.close()
    assert all(m.retained for m in late.messages)
    assert {m.topic.removeprefix(BASE + "/") for m in late.messages} == {
        "node", "head", "verdict", "alarm/reservoir_cold", "alarm/outlet_tripped/heater", "point/reservoir",
        "estimate/filter/fine/left",
    }  # fmt: skip
    head, node, cold = (late.last(rest) for rest in ("head", "node", "alarm/reservoir_cold"))
    assert (
        head
        and {"seq": 1, "digest": bench.journal.digest(1), "journal": bench.journal.mark()}.items()
        <= head.json().items()
    )
    assert all(m.json()["fresh_until"].endswith("Z") for m in late.messages)
    of_node = {"state": "online", "boot": "boot-1", "software": "0.1.0", "journal": bench.journal.mark()}
    of_station = {"title": "Scope room 2", "timezone": "Europe/Amsterdam", "simulated": True}
    assert node and (of_node | of_station).items() <= node.json().items()
    assert cold and (cold.json()["state"], cold.json()["response"]) == ("unacknowledged", "Look at the outlet")


def test_an_alarm_goes_at_once_and_a_point_at_most_once_a_gap(bench: Bench, watcher: Watcher) -> None:
    bench.book.draw([alarm("leak")], [point("room", 20.0)])
    bench.start()
    until(lambda: watcher.last("point/room"), "the point")
    for step in range(30):
        bench.book.draw([alarm("leak", "unacknowledged" if step % 2 else "normal", step)], [point("room", 20.0 + step)])
        until(
            lambda wanted=step: (m := watcher.last("alarm/leak")) and m.json()["seq"] == wanted, f"alarm, step {step}"
        )
    until(lambda: (m := watcher.last("point/room")) and m.json()["value"] == 49.0, "the newest value")
    points = [m for m in watcher.messages if m.topic.endswith("point/room")]
    assert len(points) < 10, "values in between are merged"


def test_a_picture_that_says_nothing_new_is_not_told_again(bench: Bench, watcher: Watcher) -> None:
    bench.book.draw([alarm("leak")], [point("room", 20.0)])
    bench.start()
    until(lambda: watcher.last("point/room"), "the point")
    for age in range(5):
        bench.book.draw([alarm("leak", at=f"2026-03-16T05:50:0{age}.000Z")], [point("room", 20.0, age_s=float(age))])
    bench.book.draw([alarm("leak", "unacknowledged", 9)], [point("room", 20.0, age_s=9.0)])
    until(lambda: (m := watcher.last("alarm/leak")) and m.json()["seq"] == 9, "the alarm")
    assert len([m for m in watcher.messages if m.topic.endswith(("alarm/leak", "point/room"))]) == 3


def test_a_clean_stop_says_stopped_and_takes_the_last_entries_along(bench: Bench, watcher: Watcher) -> None:
    bench.add()
    bench.start()
    bench.connected()
    bench.add(count=50)
    assert bench.stop()
    until(lambda: watcher.words()[-1:] == ["stopped"], "the word stopped")
    until(lambda: len(watcher.seqs()) >= 51, "the last entries")
    assert watcher.words() == ["online", "stopped"]
    assert bench.journal.cursors["mqtt"] == 51
    node = watcher.last("node")
    assert node and node.json()["at"] == rfc3339(bench.clock.now().wall_ms)


def test_topics_of_things_that_are_gone_are_emptied_even_after_a_restart(
    bench: Bench, watcher: Watcher, broker: Broker
) -> None:
    bench.book.draw([alarm("leak"), alarm("outlet_tripped:heater")], [point("room"), point("spare")])
    bench.start()
    until(lambda: watcher.last("point/spare") and watcher.last("alarm/outlet_tripped/heater"), "the first topics")
    bench.settled()
    assert bench.stop()
    bench.book.draw([alarm("leak")], [point("room")])
    bench.publisher = bench.made()
    bench.start()
    for rest in ("point/spare", "alarm/outlet_tripped/heater"):
        until(lambda rest=rest: (m := watcher.last(rest)) and m.payload == b"", f"{rest} emptied")
    late = Watcher(broker.port)
    until(lambda: late.last("point/room"), "what is still there")
    late.close()
    assert not [m for m in late.messages if "spare" in m.topic or "heater" in m.topic]
    until(lambda: "spare" not in (bench.folder / "mqtt-memory.json").read_text(), "the memory without it")


def test_topics_of_a_station_that_was_renamed_are_emptied(bench: Bench, watcher: Watcher) -> None:
    bench.book.draw([alarm("leak")])
    bench.start()
    until(lambda: watcher.last("alarm/leak") and watcher.last("verdict"), "topics under the old name")
    bench.settled()
    assert bench.stop()
    bench.station = "scope-room-3"
    bench.publisher = bench.made()
    bench.start()
    for rest in ("alarm/leak", "verdict", "node"):
        until(lambda rest=rest: (m := watcher.last(rest)) and m.payload == b"", f"old {rest} emptied")


def test_a_thing_that_vanishes_while_it_runs_is_emptied_and_a_silent_judge_empties_nothing(
    bench: Bench, watcher: Watcher
) -> None:
    bench.book.draw([alarm("leak")], [point("room"), point("spare")])
    bench.start()
    until(lambda: watcher.last("point/spare"), "the point")
    emptied = until(lambda: _empties(bench, watcher), "spare emptied")
    assert emptied == {f"{BASE}/point/spare"}


def _empties(bench: Bench, watcher: Watcher) -> set[str]:
    bench.book.draw([alarm("leak")], [point("room")])
    return {m.topic for m in list(watcher.messages) if m.payload == b""}


def test_retained_orders_change_nothing_and_the_station_reads_back_only_its_own_word(
    bench: Bench, watcher: Watcher, proxy: Proxy
) -> None:
    bench.port = proxy.port
    bench.publisher = bench.made()
    orders = [
        {"record": "acknowledge", "alarm": "reservoir_cold", "by": "nobody"},
        {"record": "daily_test", "passed": True, "by": "nobody"},
        {"record": "shelve", "alarm": "leak", "minutes": 600, "by": "nobody"},
    ]
    for order in orders:
        for rest in (
            "records",
            f"records/{order['record']}",
            "alarm/reservoir_cold/acknowledge",
            "alarm/leak",
            "journal",
            "node",
        ):
            watcher.say(f"{BASE}/{rest}", json.dumps(order).encode(), retain=True)
    bench.add()
    bench.start()
    for _ in range(10):
        bench.connected()
        bench.restart()
    bench.settled()
    subscribe = 0x82  # MQTT 5.0, 3.8.1
    assert proxy.connects >= 11
    assert (
        proxy.sent_types.count(subscribe) <= 3 * proxy.connects
    )  # head, node, and others on its state, once a connection
    assert bench.journal.last_seq() == 1
    until(lambda: (m := watcher.last("node")) and m.json()["state"] == "online", "our own word over the order")


@pytest.mark.parametrize(
    "foreign", [b"", b'{"state":"normal"}', b"[" * 50_000, b"\xff"], ids=["emptied", "other", "deep", "no text"]
)
@pytest.mark.parametrize("rest", ["alarm/leak", "verdict", "point/room", "node"])
def test_what_others_write_where_the_station_alone_speaks_is_said_anew(
    bench: Bench, watcher: Watcher, rest: str, foreign: bytes
) -> None:
    """None of the topics' heartbeats is due within the test: 30 s, and alarms 600 s."""
    bench.book.draw([alarm("leak", state="unacknowledged")], [point("room")])
    bench.add()
    bench.start()
    bench.settled()
    until(lambda: (m := watcher.last(rest)) and m.json(), "our word")
    for _ in range(2):
        before = len(watcher.messages)
        watcher.say(f"{BASE}/{rest}", foreign, retain=True)

        def is_said_anew(since: int = before) -> bool:
            words = [m.payload for m in watcher.messages[since:] if m.topic == f"{BASE}/{rest}"]
            return foreign in words and words[-1] != foreign

        until(is_said_anew, "our word over the foreign one")


def test_a_head_at_the_broker_beyond_the_journal_is_said_and_changes_nothing(bench: Bench, watcher: Watcher) -> None:
    watcher.say(f"{BASE}/head", b'{"seq":40,"digest":"' + b"ab" * 32 + b'"}', retain=True)
    bench.add(count=3)
    bench.start()
    until(lambda: any("entry 40, the journal ends at 3" in note for note in bench.status["notes"]), "the note")
    until(lambda: watcher.seqs() == [1, 2, 3], "the entries")
    assert bench.journal.last_seq() == 3
    until(lambda: (m := watcher.last("head")) and m.json()["seq"] == 3, "our own head over it")
    signed = SigningKey(Ed25519PrivateKey.generate()).signed(
        f"{SITE}/{bench.station}", bench.journal.mark(), bench.journal.head(), bench.clock.now()
    )
    bench.signed = signed
    until(lambda: (m := watcher.last("head")) and m.json()["signed"] == signed, "its signature, though no entry came")
    bench.restart()
    bench.settled()
    assert bench.status["notes"] == []  # our own head is none beyond


def test_the_node_says_which_journal_it_is_once_there_is_one(bench: Bench, watcher: Watcher) -> None:
    bench.start()
    until(lambda: (m := watcher.last("node")) and m.json()["journal"] is None, "a node without a journal")
    bench.add()
    until(lambda: (m := watcher.last("node")) and m.json()["journal"] == bench.journal.mark(), "its journal")


def test_a_name_that_would_make_a_level_is_left_out_and_said(bench: Bench, watcher: Watcher, caplog: object) -> None:
    bench.book.draw([alarm("leak"), alarm("leak/acknowledge"), alarm("#")], [point("a+b"), point("room")])
    bench.start()
    until(lambda: watcher.last("alarm/leak") and watcher.last("point/room"), "the good names")
    assert all(
        m.topic.removeprefix(BASE + "/") in {"node", "verdict", "alarm/leak", "point/room"} for m in watcher.messages
    )


def test_a_first_connection_repeats_all_and_a_known_session_nothing(bench: Bench, watcher: Watcher) -> None:
    bench.add(count=5)
    bench.start()
    bench.told()
    bench.restart()
    bench.add()
    bench.told()
    until(lambda: watcher.seqs()[-1:] == [6], "the new entry")
    assert watcher.seqs() == [1, 2, 3, 4, 5, 6]


def test_a_broker_that_forgot_our_session_gets_the_last_day_again(tmp_path: Path) -> None:
    forgetful = Broker(tmp_path / "forgetful").start()  # Mosquitto without persistence
    proxy = Proxy(forgetful.port)
    bench = Bench(tmp_path, proxy.port)
    try:
        bench.add(count=3)
        bench.clock.tell(86_400_000 + 1)  # these are older than a day
        bench.add(count=2)
        bench.clock.tell(3_600_000)
        bench.add(count=2)
        bench.start()
        bench.told()
        proxy.first = lambda _packet: b""  # hangs up until the watcher is there
        forgetful.stop()
        until(lambda: not bench.status["connected"], "the loss noticed")
        forgetful.start()
        watcher = Watcher(forgetful.port)
        proxy.first = lambda _packet: None
        bench.connected()
        until(lambda: len(watcher.seqs()) >= 4, "the repeats")
        bench.add()
        until(lambda: watcher.seqs()[-1] == 8, "the new entry")
        assert [seq for seq in watcher.seqs() if seq != 8] == [4, 5, 6, 7]
        until(lambda: watcher.last("node"), "state published anew")
        watcher.close()
    finally:
        bench.stop()
        proxy.close()
        forgetful.stop()
