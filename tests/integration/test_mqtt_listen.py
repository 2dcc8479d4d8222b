"""`warmwell listen` at a real Mosquitto: subscribed again on every connect (MQTT 5.0, 3.8), gaps named, refusals shown."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from edge.mqtt.link import Limits
from edge.mqtt.listen import listen
from tests.integration.mqtt_kit import (
    BASE,
    NEEDS_MOSQUITTO,
    SITE,
    Bench,
    Broker,
    Proxy,
    Watcher,
    alarm,
    bench,
    broker,
    until,
)
from tests.integration.test_mqtt_refused import Guarded

__all__ = ["bench", "broker"]  # fixtures
pytestmark = NEEDS_MOSQUITTO


class Listening:
    """A listener in a thread."""

    def __init__(self, port: int, **options: Any) -> None:
        self.lines: list[str] = []
        self._stop = threading.Event()
        options = {"emit": self.lines.append, "stop": self._stop, "limits": Limits(connect_s=1.0, ack_s=1.0), **options}
        self._thread = threading.Thread(target=listen, args=("127.0.0.1", port, SITE), kwargs=options)
        self._thread.start()

    def shows(self, part: str) -> str:
        return str(
            until(
                lambda: next((line for line in list(self.lines) if part in line), ""),
                f"a line with {part!r}: {self.lines}",
            )
        )

    def close(self) -> None:
        self._stop.set()
        self._thread.join(5)
        assert not self._thread.is_alive()


@pytest.fixture
def listening(broker: Broker) -> Iterator[Listening]:
    made = Listening(broker.port)
    made.shows("listening to harbour-lane")
    yield made
    made.close()


def test_an_alarm_is_shown_once_with_everything_that_one_needs(bench: Bench, listening: Listening) -> None:
    bench.book.draw([alarm("outlet_tripped:heater")])
    bench.start()
    bench.settled()
    body = {
        "id": "outlet_tripped:heater",
        "from": "normal",
        "to": "unacknowledged",
        "value": 1.0,
        "unit": "1",
        "priority": "high",
    }
    bench.add("alarm", **body)
    bench.book.draw([alarm("outlet_tripped:heater", "unacknowledged", 1)])
    line = listening.shows("outlet_tripped:heater")
    assert "harbour-lane/scope-room-2" in line and "priority high" in line
    assert "station  online" in "\n".join(listening.lines)
    bench.settled()
    bench.stop()
    listening.shows("stopped, on request")
    assert len([line for line in listening.lines if "outlet_tripped:heater" in line]) == 1


def test_it_listens_again_after_the_broker_was_away_and_names_what_it_missed(tmp_path: Path) -> None:
    broker = Broker(tmp_path / "broker").start()
    listening = Listening(broker.port)
    try:
        listening.shows("listening to")
        _say(broker.port, 40)
        listening.shows("leak")
        broker.stop()
        listening.shows("connection was cut")
        broker.start()
        until(lambda: sum("listening to" in line for line in listening.lines) == 2, "listening again")
        _say(broker.port, 44)
        listening.shows(
            "entries 41 to 43 of harbour-lane/scope-room-2 are missing: ask its API /api/1/journal?after=40"
        )
    finally:
        listening.close()
        broker.stop()


def _say(port: int, seq: int) -> None:
    watcher = Watcher(port)
    entry = {
        "seq": seq,
        "at": "2026-03-16T05:50:00.000Z",
        "kind": "alarm",
        "body": {"id": "leak", "to": "unacknowledged"},
    }
    watcher.say(f"{BASE}/journal", json.dumps(entry).encode())
    watcher.close()


def test_a_subscription_without_an_answer_is_shown(broker: Broker) -> None:
    proxy = Proxy(broker.port)
    proxy.swallow = lambda packet: packet[0] >> 4 == 9  # SUBACK (MQTT 5.0, table 2-1)
    listening = Listening(proxy.port)
    try:
        listening.shows("the subscription was not acknowledged")
    finally:
        listening.close()
        proxy.close()


def test_a_broker_that_lets_nobody_in_is_shown(tmp_path: Path) -> None:
    guarded = Guarded(tmp_path / "guarded", "#")
    listening = Listening(guarded.broker.port)
    try:
        listening.shows("does not let us in (not authorised")
    finally:
        listening.close()
        guarded.close()


def test_a_refused_subscription_is_shown_and_the_others_are_listened_to(broker: Broker) -> None:
    """Mosquitto 2.0.11 has no access list for subscribing that answers with a refusal; the proxy changes its answer."""
    proxy = _Refusing(broker.port)
    listening = Listening(proxy.port)
    try:
        line = listening.shows("is refused")
        assert f"warmwell/1/{SITE}/+/alarm/#" in line and "Not authorized" in line
        listening.shows("listening to")
    finally:
        listening.close()
        proxy.close()


class _Refusing(Proxy):
    """Turns the first reason code of each SUBACK into 135, not authorised (MQTT 5.0, 3.9.3)."""

    def _copy_back(self, upstream: Any, client: Any) -> None:
        send = client.sendall
        super()._copy_back(
            upstream, _Changed(client, lambda p: send(p[:-3] + b"\x87" + p[-2:] if p[0] >> 4 == 9 else p))
        )


class _Changed:
    """A socket whose sendall goes through something else."""

    def __init__(self, sock: Any, sendall: Any) -> None:
        self.sendall, self.shutdown = sendall, sock.shutdown


def test_json_lines(broker: Broker) -> None:
    listening = Listening(broker.port, format="jsonl")
    try:
        listening.shows('"listening"')
        _say(broker.port, 1)
        line = json.loads(listening.shows('"alarm"'))
        assert (line["type"], line["station"], line["seq"], line["alarm"]) == (
            "alarm",
            f"{SITE}/scope-room-2",
            1,
            "leak",
        )
    finally:
        listening.close()
