"""Brokers that go away, networks that lie, processes that are killed: nothing is lost, order can be restored by seq.

MQTT 5.0, 4.4 and 4.3.2: QoS 1 is at least once; a repeat is allowed, a loss is not. The broker's side is a real Mosquitto.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.integration.mqtt_kit import (
    BASE,
    FAST,
    NEEDS_MOSQUITTO,
    SITE,
    Bench,
    Broker,
    Message,
    Proxy,
    Watcher,
    alarm,
    bench,
    broker,
    proxy,
    until,
    watcher,
)
from tests.yardstick import Yardstick

__all__ = ["bench", "broker", "proxy", "watcher"]  # fixtures
pytestmark = NEEDS_MOSQUITTO

ROOT = Path(__file__).parents[2]
PUBACK, CONNACK = 4, 2  # MQTT 5.0, table 2-1


class Station:
    """A process of its own; see mqtt_station.py."""

    def __init__(self, folder: Path, tcp_port: int, speed: float = 1.0) -> None:
        program = [
            sys.executable,
            str(Path(__file__).with_name("mqtt_station.py")),
            str(folder),
            str(tcp_port),
            str(speed),
        ]
        self._process = subprocess.Popen(
            program,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
        )
        assert self.line() == "ready"

    def line(self) -> str:
        assert self._process.stdout
        return self._process.stdout.readline().strip()

    def say(self, word: str) -> str:
        assert self._process.stdin
        self._process.stdin.write(word + "\n")
        self._process.stdin.flush()
        return self.line()

    def keep(self, count: int) -> int:
        """Append; the highest seq on disk."""
        return int(self.say(str(count)).removeprefix("kept "))

    def status(self) -> dict[str, Any]:
        found = json.loads(self.say("status"))
        assert isinstance(found, dict)
        return found

    def alarms(self) -> dict[str, Any]:
        found = json.loads(self.say("picture"))
        assert isinstance(found, dict)
        return found

    def clock_ms(self) -> int:
        return int(self.say("clock"))

    def told(self) -> None:
        until(lambda: self.status()["behind"] == 0, "every entry confirmed")

    def kill(self) -> None:
        self._end(lambda: self._process.send_signal(signal.SIGKILL))

    def stop(self) -> None:
        assert self.say("stop") == "stopped"
        self._end(lambda: None)

    def _end(self, how: Any) -> None:
        how()
        self._process.wait(10)
        for pipe in (self._process.stdin, self._process.stdout):
            if pipe:
                pipe.close()


@pytest.fixture
def stations() -> Iterator[Callable[..., Station]]:
    """Makes stations; those that a test leaves running are killed."""
    made: list[Station] = []

    def make(folder: Path, tcp_port: int, speed: float = 1.0) -> Station:
        made.append(Station(folder, tcp_port, speed))
        return made[-1]

    yield make
    for station in made:
        station.kill()


@pytest.fixture
def lasting(tmp_path: Path) -> Iterator[Broker]:
    """A broker that remembers sessions and retained messages over its restarts, and that drops nothing for a slow subscriber: as it comes,
    Mosquitto confirms to the station what it then drops beyond 1,000 messages that wait for one."""
    store = tmp_path / "kept"
    store.mkdir()
    store.chmod(0o777)
    kept = ("persistence true", f"persistence_location {store}/", "user root", "max_queued_messages 0")
    made = Broker(tmp_path / "lasting", *kept).start()
    yield made
    made.stop()


def test_broker_gone_and_the_station_killed_meanwhile(
    lasting: Broker, tmp_path: Path, stations: Callable[[Path, int], Station]
) -> None:
    folder = tmp_path / "keep"
    watcher = Watcher(lasting.port, lasting=True)
    station = stations(folder, lasting.port)
    station.keep(5)
    station.told()
    lasting.stop()
    kept = station.keep(3)  # alarms that come and go
    station.kill()
    station = stations(folder, lasting.port)
    kept = station.keep(4)
    assert kept == 12
    until(
        lambda: not station.status()["connected"] and station.status()["untold_since"],
        "nobody could be told, and it is said",
    )
    lasting.start()
    station.told()
    until(lambda: set(watcher.seqs()) >= set(range(1, 13)), "all entries at the subscriber")
    assert _in_order_but_for_repeats(watcher.seqs())
    until(lambda: (m := watcher.last("alarm/leak")) and m.json()["seq"] == kept, "the alarm's present state")
    station.stop()
    until(lambda: watcher.words()[-1] == "stopped", "the word stopped")
    watcher.close()


def test_a_broker_that_is_away_for_72_hours_and_a_station_killed_three_times(
    lasting: Broker, tmp_path: Path, stations: Callable[..., Station]
) -> None:
    """The station's clocks run 60,000 times as fast, so 72 h are some seconds; journal, publisher and broker are real.

    2,000 entries are made meanwhile. Two kills come while nobody listens, one while the backlog is told.
    """
    folder, speed, away_ms = tmp_path / "keep", 60_000.0, 72 * 3_600_000
    watcher = Watcher(lasting.port, lasting=True)
    station = stations(folder, lasting.port, speed)
    station.keep(5)
    station.told()
    lasting.stop()
    began_ms, kept = station.clock_ms(), 5
    while kept < 2_005 or station.clock_ms() - began_ms < away_ms:
        if kept < 2_005:
            kept = int(station.say("100 at once").removeprefix("kept "))
        if kept in (705, 1_405):
            station.kill()
            station = stations(folder, lasting.port, speed)
    assert kept == 2_005 and 2_000 <= station.status()["behind"] <= 2_005  # a kill may cost the cursor's last second
    lasting.start()
    until(lambda: len(watcher.messages) > 200, "some of the backlog")
    station.kill()
    station = stations(folder, lasting.port, speed)
    kept = station.keep(3)
    station.told()
    until(lambda: len(watcher.messages) > kept and kept in watcher.seqs()[-5:], "the last entry at the subscriber")
    assert set(watcher.seqs()) == set(range(1, kept + 1)), "each entry at least once"
    assert _in_order_but_for_repeats(watcher.seqs())
    by_seq = _payloads(watcher)
    assert all(len(payloads) == 1 for payloads in by_seq.values()), "repeats are the same byte for byte"
    message = {seq: json.loads(next(iter(payloads))) for seq, payloads in by_seq.items()}
    assert all(message[seq]["body"]["n"] == seq for seq in message)
    assert message[kept]["mono_ms"] - message[6]["mono_ms"] > away_ms
    alarms = station.alarms()
    until(lambda: _without_age(watcher.last("alarm/leak")) == alarms["leak"], "the alarm as it is now")
    until(lambda: (m := watcher.last("head")) and m.json()["seq"] == kept, "the head")
    assert watcher.last("head").json()["digest"] == message[kept]["digest"]  # type: ignore[union-attr]  # just seen
    station.stop()
    watcher.close()


def _without_age(message: Message | None) -> dict[str, Any]:
    return {key: value for key, value in message.json().items() if key != "fresh_until"} if message else {}


def _payloads(watcher: Watcher) -> dict[int, set[bytes]]:
    """What came of each entry."""
    by_seq: dict[int, set[bytes]] = {}
    for message in watcher.journal():
        by_seq.setdefault(message.json()["seq"], set()).add(message.payload)
    return by_seq


def test_killed_again_and_again_while_it_talks(
    lasting: Broker, tmp_path: Path, stations: Callable[[Path, int], Station]
) -> None:
    folder, kept = tmp_path / "keep", 0
    watcher = Watcher(lasting.port, lasting=True)
    for _ in range(4):
        station = stations(folder, lasting.port)
        kept = station.keep(40)
        station.kill()  # some of the forty are under way
    station = stations(folder, lasting.port)
    station.told()
    until(lambda: set(watcher.seqs()) >= set(range(1, kept + 1)), "all entries at the subscriber")
    assert _in_order_but_for_repeats(watcher.seqs())
    station.stop()
    watcher.close()


def test_sigkill_says_lost_and_a_clean_stop_says_stopped(
    broker: Broker, watcher: Watcher, tmp_path: Path, stations: Callable[[Path, int], Station]
) -> None:
    station = stations(tmp_path / "keep", broker.port)
    until(lambda: watcher.words() == ["online"], "online")
    with Yardstick() as yardstick:
        began_s = time.monotonic()
        station.kill()
        until(lambda: watcher.words() == ["online", "lost"], "lost")
        assert time.monotonic() - began_s < 3.0 + yardstick.late_s(), "1.5 times the keep-alive of 2 s"
    lost = watcher.last("node")
    assert lost and lost.json()["at"] is None and lost.json()["connected_at"]


def _in_order_but_for_repeats(seqs: list[int]) -> bool:
    """Whether the first appearance of each seq is in order."""
    firsts = list(dict.fromkeys(seqs))
    return firsts == sorted(firsts)


def test_every_third_acknowledgement_swallowed_then_cut(bench: Bench, watcher: Watcher, proxy: Proxy) -> None:
    pubacks = 0

    def swallow(packet: bytes) -> bool:
        nonlocal pubacks
        pubacks += packet[0] >> 4 == PUBACK
        return packet[0] >> 4 == PUBACK and pubacks % 3 == 0

    proxy.swallow = swallow
    bench.port = proxy.port
    bench.publisher = bench.made()
    bench.start()
    bench.connected()
    bench.add(count=100)
    until(lambda: len(watcher.seqs()) > 10, "the first entries")
    proxy.cut()
    until(lambda: len(watcher.seqs()) > 40, "more of them")
    proxy.swallow = lambda _packet: False
    proxy.cut()
    bench.told()
    until(lambda: set(watcher.seqs()) == set(range(1, 101)), "each at least once")
    assert len(watcher.seqs()) > 100, "no repeat: the proxy did nothing"
    assert all(len(each) == 1 for each in _payloads(watcher).values()), "repeats are the same byte for byte"
    assert _in_order_but_for_repeats(watcher.seqs())


def test_a_stalled_network_is_noticed_within_one_and_a_half_keep_alives(
    bench: Bench, watcher: Watcher, proxy: Proxy
) -> None:
    bench.port = proxy.port
    bench.publisher = bench.made()
    bench.start()
    bench.told()
    bench.connected()
    bench.settled()
    proxy.mode = "stall"
    with Yardstick() as yardstick:
        began_s = time.monotonic()
        until(lambda: not bench.status["connected"], "the silence noticed")
        took_s = time.monotonic() - began_s
    assert took_s < 3.0 + 1.2 + yardstick.late_s(), "1.5 times the keep-alive of 2 s, and one look a second"
    assert bench.publisher.untold_since_ms() is not None
    bench.add(count=5)
    until(lambda: "lost" in watcher.words(), "the broker's word for us")
    proxy.mode = "pass"
    bench.told()
    until(lambda: watcher.seqs() == [1, 2, 3, 4, 5], "all entries, once")
    until(lambda: watcher.words()[-1] == "online", "online has the last word")
    until(lambda: bench.publisher.untold_since_ms() is None, "told again")


def test_c040_the_keep_alive_goes_on_when_the_wall_clock_is_set(
    bench: Bench, broker: Broker, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Three hours forward and back: the library asks for its answer in time, and the connection is the same all along."""
    bench.start()
    bench.settled()
    connects = broker.log().count("New client connected")
    true_time = time.time
    for by_s in (3 * 3600.0, -3 * 3600.0):
        monkeypatch.setattr(time, "time", lambda by_s=by_s: true_time() + by_s)
        pings = broker.log().count("Received PINGREQ")
        until(lambda pings=pings: broker.log().count("Received PINGREQ") >= pings + 2, f"two pings after {by_s:g} s")
    assert bench.status["connected"] and broker.log().count("New client connected") == connects


def test_a_message_in_a_stalled_network_is_missed_sooner(bench: Bench, watcher: Watcher, proxy: Proxy) -> None:
    bench.port, bench.plan = proxy.port, {"keepalive_s": 600}
    bench.publisher = bench.made()
    bench.start()
    bench.told()
    bench.settled()
    proxy.mode = "stall"
    bench.add(count=3)
    bench.error("was not acknowledged within")
    proxy.mode = "pass"
    bench.told()
    until(lambda: watcher.seqs() == [1, 2, 3], "all entries")


def test_two_clients_of_one_name_are_said_and_do_not_fight_for_ever(
    bench: Bench, watcher: Watcher, tmp_path: Path
) -> None:
    twin = Bench(tmp_path / "twin", bench.port)
    twin.folder.mkdir()
    twin.publisher = twin.made()
    bench.add(count=3)
    bench.start()
    bench.connected()
    twin.start()
    began_s = time.monotonic()
    for one in (bench, twin):
        sentence = one.error("another client uses the name")
        assert f"'warmwell-{SITE}-scope-room-2'" in sentence
    until(lambda: time.monotonic() - began_s > 2.0, "two seconds of fighting")
    words = len(watcher.words())
    assert words < 40, "pauses grow to 0.4 s here; without them there would be hundreds"
    bench.add()  # the local part goes on
    twin.stop()
    bench.told()
    until(lambda: 4 in watcher.seqs(), "told once the twin is gone")


def test_pauses_grow_after_connections_that_do_not_last(bench: Bench, proxy: Proxy) -> None:
    bench.port = proxy.port
    bench.publisher = bench.made()
    cut_s: list[float] = []

    def cut_soon(packet: bytes) -> bool:
        if packet[0] >> 4 == PUBACK:  # connected: hang up at the first confirmation
            cut_s.append(time.monotonic())
            proxy.cut()
        return False

    proxy.swallow = cut_soon
    bench.start()
    until(lambda: len(cut_s) >= 6, "six short connections")
    bench.error("connections end again and again")
    assert bench.publisher._pauses._back_off.take_s() == FAST.cap_s


def test_an_older_broker_is_spoken_to_in_its_version(bench: Bench, watcher: Watcher, proxy: Proxy) -> None:
    def refuse_5(packet: bytes) -> bytes | None:
        level = packet[packet.index(b"MQTT") + 4]  # MQTT 3.1.1, 3.1.2.2
        return bytes([CONNACK << 4, 2, 0, 1]) if level == 5 else None  # 3.2.2.3: unacceptable protocol level

    proxy.first = refuse_5
    _speaks_3_1_1(bench, watcher, proxy)


@pytest.mark.parametrize("answer", [b"", None], ids=["hangs up", "says nothing"])
def test_a_broker_that_gives_version_5_no_answer(
    bench: Bench, watcher: Watcher, proxy: Proxy, answer: bytes | None
) -> None:
    def no_answer(packet: bytes) -> bytes | None:
        if packet[packet.index(b"MQTT") + 4] != 5:
            return None
        if answer is None:
            time.sleep(2.5)  # longer than a connection may take here
        return b""

    proxy.first = no_answer
    _speaks_3_1_1(bench, watcher, proxy)


def _speaks_3_1_1(bench: Bench, watcher: Watcher, proxy: Proxy) -> None:
    bench.port = proxy.port
    bench.publisher = bench.made()
    bench.add(count=3)
    bench.start()
    bench.told()
    until(lambda: watcher.seqs() == [1, 2, 3], "all entries")
    assert bench.status["protocol"] == "3.1.1"
    assert any("refuses MQTT 5" in note for note in bench.status["notes"])


def test_nothing_listens_then_somebody_does(tmp_path: Path) -> None:
    later = Broker(tmp_path / "later")
    bench = Bench(tmp_path, later.port)
    bench.book.draw([alarm("leak", "unacknowledged", 1)])
    bench.add(count=2)
    bench.start()
    try:
        sentence = bench.error("connection refused")
        assert f"127.0.0.1:{later.port}" in sentence and "Start the broker" in sentence
        assert bench.publisher.untold_since_ms() == bench.clock.mono_ms()
        later.start()
        watcher = Watcher(later.port)
        bench.told()
        until(lambda: watcher.last("alarm/leak"), "the alarm's state")
        watcher.close()
    finally:
        bench.stop()
        later.stop()


def test_stopping_while_nobody_answers_takes_no_longer_than_it_may(bench: Bench, proxy: Proxy) -> None:
    bench.port = proxy.port
    bench.publisher = bench.made()
    bench.start()
    bench.connected()
    proxy.mode = "stall"
    bench.add(count=5)
    with Yardstick() as yardstick:
        began_s = time.monotonic()
        bench.publisher.stop(1.0)
        assert time.monotonic() - began_s < 1.5 + yardstick.late_s()
    assert bench.journal.cursors.get("mqtt", 0) == 0, "what nobody confirmed counts as untold"
    assert BASE
