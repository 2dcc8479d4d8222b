"""How fast a journal goes out to a broker once that is back: `python -m tests.bench.drain [--n 3000] [--rounds 3]`.

So many alarms are in the journal, on disk, and none is told. Counted is from the publisher's start until the broker has confirmed the
last one: connecting, retained topics, reading the journal and saving the cursor included. The yardstick, in turns with it: bare paho,
which has the same bytes in memory, connects to the same Mosquitto and publishes them with QoS 1, until the last is confirmed. Medians.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from statistics import median
from typing import Final

from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion

from edge.clock import RealClock
from edge.config import MqttPlan
from edge.domain.entries import Draft
from edge.mqtt.publisher import Publisher, Source
from edge.mqtt.topics import entry_message
from edge.store.journal import Journal
from tests.bench import table
from tests.bench.table import Row
from tests.integration.mqtt_kit import BASE, MOSQUITTO, SITE, STATION, Broker, PictureBook, until
from tests.yardstick import Yardstick

_BODY: Final = {
    "id": "reservoir_cold", "from": "normal", "to": "unacknowledged", "cause": "31.4 °C, needed 38.9 °C; " * 5, "value": 31.4, "unit": "Cel"
}  # fmt: skip
_AT_ONCE: Final = 100
_PATIENCE_S: Final = 300.0


def measure(n: int = 3000, rounds: int = 3) -> list[Row]:
    """The row `drain`."""
    if MOSQUITTO is None:
        return [Row("drain", None, None, remark="Mosquitto isn't installed here")]
    ours, theirs, waited_s, size = list[float](), list[float](), 0.0, 0
    with tempfile.TemporaryDirectory(prefix="drain-") as name:
        broker = Broker(Path(name) / "broker").start()
        try:
            for number in range(rounds):
                with Yardstick() as yardstick:
                    took_s, payloads = drained(broker.port, Path(name) / f"keep-{number}", n)
                    waited_s += yardstick.late_s()
                ours.append(n / took_s)
                theirs.append(n / bare_s(broker.port, payloads))
                size = sum(map(len, payloads)) // n
        finally:
            broker.stop()
    remark = f"median of {rounds} rounds of {n:,} entries of {size} B, in turns with the yardstick's"
    return [Row("drain", median(ours), median(theirs), waited_s / rounds, remark)]


def drained(port: int, folder: Path, n: int) -> tuple[float, list[bytes]]:
    """(seconds until all is told, what was told) of a journal of so many entries."""
    clock = RealClock()
    journal = Journal(folder, f"{SITE}/{STATION}", clock.boot)
    for first in range(0, n, _AT_ONCE):
        journal.append([Draft(clock.now(), "alarm", _BODY) for _ in range(min(_AT_ONCE, n - first))])
    book = PictureBook(clock)  # type: ignore[arg-type]  # any clock does
    source = Source(SITE, STATION, journal, book.snapshot, book.wait, clock)
    publisher = Publisher(MqttPlan("127.0.0.1", port), source, folder=folder)
    try:
        began_s = time.perf_counter()
        publisher.start()
        until(lambda: publisher.status()["confirmed"] >= n, "the last entry", _PATIENCE_S)
        took_s = time.perf_counter() - began_s
        mark = journal.mark()
        told = [
            entry_message(entry, SITE, STATION, mark, journal.digest(entry.seq))
            for first in range(0, n, _AT_ONCE)
            for entry in journal.read(first, _AT_ONCE)
        ]
    finally:
        publisher.stop(3.0)
        journal.close()
    return took_s, told


def bare_s(port: int, payloads: Sequence[bytes]) -> float:
    """Seconds until bare paho has connected and the broker has confirmed all of them."""
    client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
    began_s = time.perf_counter()
    client.connect("127.0.0.1", port)
    client.loop_start()
    try:
        sent = [client.publish(f"{BASE}/journal", payload, qos=1) for payload in payloads]
        for one in sent:
            one.wait_for_publish(_PATIENCE_S)
        assert all(one.is_published() for one in sent)
        return time.perf_counter() - began_s
    finally:
        client.disconnect()
        client.loop_stop()


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--n", type=int, default=3000)
    parser.add_argument("--rounds", type=int, default=3)
    chosen = parser.parse_args()
    rows = measure(chosen.n, chosen.rounds)
    return table.show(rows)


if __name__ == "__main__":
    sys.exit(main())
