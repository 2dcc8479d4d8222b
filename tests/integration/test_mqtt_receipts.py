"""Receipts of an archive at a real Mosquitto: nothing is lost by a broker that is killed, a forged one costs bounded repeats, what is new
goes first.

MQTT 5.0, 3.1.4 and 4.4: a broker that confirmed a message owes it to who subscribes now; what it kept for who is away may be gone with it.
"""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest

from edge.domain.entries import rfc3339
from edge.mqtt.receipts import AgainPace
from tests.integration.mqtt_kit import BASE, FAST, NEEDS_MOSQUITTO, Bench, Broker, Watcher, broker, until

__all__ = ["broker"]  # a fixture
pytestmark = NEEDS_MOSQUITTO

DAY_MS = 86_400_000
SLOW = replace(FAST, again=AgainPace(look_s=0.05, settle_s=0.2, per_s=100.0))


@pytest.fixture
def benches(tmp_path: Path, broker: Broker) -> Iterator[list[Bench]]:
    made: list[Bench] = []
    yield made
    for each in made:
        each.stop()


def begun(benches: list[Bench], folder: Path, broker: Broker, entries: int, **more: object) -> Bench:
    """A station whose entries are all confirmed, and older than what it repeats of itself."""
    bench = Bench(folder, broker.port, plan={"archives": ("hospital",)}, **more)  # type: ignore[arg-type]  # a timing
    benches.append(bench)
    bench.add(count=entries)
    bench.start()
    bench.told()
    bench.settled()
    bench.clock.tell(2 * DAY_MS)
    return bench


def say(archive: Watcher, bench: Bench, have: list[list[int]], **change: object) -> None:
    said = {"journal": bench.journal.mark(), "have": have, "at": rfc3339(time.time_ns() // 1_000_000), **change}
    archive.say(f"{BASE}/receipt/hospital", json.dumps(said).encode(), retain=True)


def mended(archive: Watcher, bench: Bench, entries: int) -> None:
    """Say, as an archive does, what is there, until all is."""

    def done() -> bool:
        have: list[list[int]] = []
        for seq in sorted(set(archive.seqs())):
            if have and have[-1][1] == seq - 1:
                have[-1][1] = seq
            else:
                have.append([seq, seq])
        say(archive, bench, have)
        return have == [[1, entries]]

    until(done, "all", say=lambda: f"{len(set(archive.seqs()))} of {entries}; {bench.status['archives']}")


def again(bench: Bench) -> int:
    return int(bench.status["archives"]["hospital"]["said_again"])


def test_what_a_killed_broker_had_confirmed_for_an_absent_archive_comes_all_the_same(
    benches: list[Bench], tmp_path: Path, broker: Broker
) -> None:
    archive = Watcher(broker.port, f"{BASE}/journal", lasting=True)
    archive.close()  # its session stays, and the broker owes it all that follows
    bench = begun(benches, tmp_path, broker, 300)
    broker.kill()
    broker.start()
    bench.connected()
    archive = Watcher(broker.port, f"{BASE}/journal", lasting=True)
    bench.add(count=3)
    until(lambda: archive.seqs() == [301, 302, 303], "what is new")
    assert bench.status["confirmed"] >= 300, "the broker's word was taken; without a receipt nothing mends it"
    mended(archive, bench, 303)
    digests = {m.json()["seq"]: m.json()["digest"] for m in archive.journal()}
    assert all(bench.journal.digest(seq) == digest for seq, digest in digests.items())
    archive.close()


def test_forged_receipts_cost_repeats_at_the_station_s_own_rate_and_nothing_else(
    benches: list[Bench], tmp_path: Path, broker: Broker
) -> None:
    bench = begun(benches, tmp_path, broker, 400, timing=SLOW)
    forger = Watcher(broker.port, f"{BASE}/journal")
    until(lambda: bench.journal.cursors.get("mqtt") == 400, "the cursor saved")
    payloads: list[tuple[list[list[int]], dict[str, object]]] = [
        ([[1, 2**50]], {}), ([], {"journal": "0" * 16}), ([[3, 1]], {}), ([], {"at": None}), ([], {"more": "x" * 20_000}),
    ]  # fmt: skip
    for have, change in payloads:
        say(forger, bench, have, **change)
    forger.say(f"{BASE}/receipt/hospital", b"not json")
    forger.say(f"{BASE}/receipt/unknown", json.dumps({"have": []}).encode())
    bench.add()
    until(lambda: forger.seqs() == [401], "the station goes on")
    assert again(bench) == 0 and bench.journal.cursors["mqtt"] >= 400
    began_s, before = time.monotonic(), again(bench)
    while time.monotonic() - began_s < 1.0:
        say(forger, bench, [])
    said, took_s = again(bench) - before, time.monotonic() - began_s
    assert 0 < said <= 100.0 * took_s + 8
    assert bench.publisher._feed.confirmed == 401, "it never moves the cursor"
    forger.close()


def test_what_is_new_is_not_held_up_by_what_is_said_again(benches: list[Bench], tmp_path: Path, broker: Broker) -> None:
    bench = begun(benches, tmp_path, broker, 1000)
    archive = Watcher(broker.port, f"{BASE}/journal")

    def is_there(seq: int) -> bool:
        return seq in archive.seqs()

    def has_begun() -> bool:
        """Of a receipt that comes at once, all counts as on its way; the next one leads to repeats."""
        if not archive.seqs():
            say(archive, bench, [])
        return len(archive.seqs()) > 20

    until(has_begun, "the first repeats")
    for seq in range(1001, 1006):
        before = len(archive.seqs())
        bench.add()
        until(partial(is_there, seq), "one that is new")
        assert before < 950, "repeats are still under way, or this proves nothing"
        assert archive.seqs().index(seq) < 980
    mended(archive, bench, 1005)
    archive.close()


def test_a_station_that_expects_no_archive_asks_for_no_receipt(
    benches: list[Bench], tmp_path: Path, broker: Broker
) -> None:
    bench = begun(benches, tmp_path, broker, 5)
    plain = Bench(tmp_path / "plain", broker.port, station="scope-room-3")
    benches.append(plain)
    plain.start()
    plain.settled()
    until(lambda: "scope-room-2/receipt/hospital" in broker.log(), "the one that expects one subscribes")
    assert "scope-room-3/receipt" not in broker.log() and plain.status["archives"] == {}
    assert bench.status["archives"]["hospital"]["silent"], "two days without one"
