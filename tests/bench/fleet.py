"""An archive under many stations: `python -m tests.bench.fleet [--stations 1000] [--queued 30000] [--rounds 3] [--minutes 1]`.

Three figures with goals, each on a real Mosquitto and PostgreSQL (fsync on); the exit code is 1 where one is missed. Ingest: the
store alone, batches of 1,000, in turns with bare COPY of the same rows into a plain table (goal: 0.1 of it). Drain: so many entries of so
many stations wait at the broker while the worker is away; counted is from its first batch to its last (goal: 5,000 entries/s). Lag: the
simulated fleet tells in real time, at its pace of the morning; counted is from when an entry happened to when its row was made (goal: p99
below 2 s).
Beside them CPU of worker and PostgreSQL an entry, and Mosquitto's memory. Other programs spoil the second and third: the load stands at
the head.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import resource
import signal
import socket
import sys
import tempfile
import threading
import time
from collections.abc import Sequence
from pathlib import Path
from statistics import median
from typing import Final, NamedTuple

from edge.archive import migrations
from edge.archive.messages import Place
from edge.archive.store import Message, Store
from edge.config import MqttPlan
from edge.domain.entries import wall_ms_of
from edge.mqtt.receipts import AgainPace
from edge.mqtt.retained import Pace
from simulators.fleet.sending import Fleet, Plan
from simulators.fleet.station import FleetStation, Time
from tests.bench.table import machine
from tests.integration.archive_kit import Archive, Postgres
from tests.integration.mqtt_kit import Broker, until

_TICK: Final = os.sysconf("SC_CLK_TCK")
_FILE: Final = '[archive]\nname = "hospital"\n[mqtt]\nhost = "127.0.0.1"\nport = {port}\n'
_MORNING: Final = wall_ms_of("2026-03-16T06:00:00Z")
_BUSY: Final = wall_ms_of("2026-03-16T07:32:00Z")  # a cycle of each begins within two minutes
_PATIENCE_S: Final = 900.0


class Line(NamedTuple):
    """A row of the table. `is_met`: of its goal; None where it has none."""

    what: str
    found: str
    goal: str = ""
    is_met: bool | None = None

    def __str__(self) -> str:
        return f"| {self.what} | {self.found} | {self.goal} | {'' if self.is_met is None else 'met' if self.is_met else 'missed'} |"


def cpu_s(pid: int) -> float:
    """Of a process, with its children that have ended."""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return sum(map(int, fields[11:15])) / _TICK


def with_children_s(pid: int) -> float:
    """The same with those that run."""
    total = cpu_s(pid)
    for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split():
        with contextlib.suppress(OSError):
            total += cpu_s(int(child))
    return total


def memory_mib(pid: int) -> float:
    """Resident."""
    line = next(one for one in Path(f"/proc/{pid}/status").read_text().splitlines() if one.startswith("VmRSS"))
    return int(line.split()[1]) / 1024


def told(stations: int, count: int) -> list[Message]:
    """The first entries of so many stations, about `count` together, as they come: one of each station after the other."""
    each: list[list[Message]] = []
    for number in range(stations):
        names, begun = (f"site-{number // 100 + 1:02}", f"room-{number + 1:04}"), Time(1.0, _MORNING, lambda: 0.0)
        station = FleetStation(*names, 1, begun, lambda: 0.0, (), Pace(), AgainPace())
        while station.journal.last_seq() < count // stations:
            station.live(station.next_ms)
        place = Place(*names, "journal")
        entries = station.next_entries(count // stations)
        each.append([Message(station.topics.journal, place, message) for _seq, message in entries])
    return [message for row in zip(*each, strict=True) for message in row]


def ingest(postgres: Postgres, messages: Sequence[Message], rounds: int) -> tuple[float, float]:
    """(entries/s of the store, rows/s of bare COPY), medians in turns."""
    ours, bare = list[float](), list[float]()
    for number in range(rounds):
        with contextlib.closing(postgres.connect(postgres.database(f"ingest-{number}"))) as db:
            migrations.prepare(db)
            db.execute("CREATE TABLE plain (station text, seq bigint, message bytea, PRIMARY KEY (station, seq))")
            store, rows = (
                Store(db),
                [(one.place.station, json.loads(one.payload)["seq"], one.payload) for one in messages],
            )
            began_s = time.perf_counter()
            for first in range(0, len(messages), 1000):
                store.put(messages[first : first + 1000])
            ours.append(len(messages) / (time.perf_counter() - began_s))
            began_s = time.perf_counter()
            for first in range(0, len(rows), 1000):
                with db.transaction(), db.cursor() as cursor, cursor.copy("COPY plain FROM STDIN") as copy:
                    for row in rows[first : first + 1000]:
                        copy.write_row(row)
            bare.append(len(rows) / (time.perf_counter() - began_s))
    return median(ours), median(bare)


class Sender:
    """Publishes with QoS 1 by MQTT 3.1.1 at little cost (MQTT 3.1.1, 3.3): 2,000 in flight, acknowledgements counted."""

    def __init__(self, port: int) -> None:
        self._socket = socket.create_connection(("127.0.0.1", port))
        self._socket.sendall(b"\x10\x12\x00\x04MQTT\x04\x02\x02\x58\x00\x06sender")
        assert self._socket.recv(4)[3] == 0
        self._room, self.acknowledged = threading.Semaphore(2000), 0
        threading.Thread(target=self._count, daemon=True).start()

    def _count(self) -> None:
        left = 0
        while data := self._socket.recv(65_536):
            whole, left = divmod(left + len(data), 4)
            self.acknowledged += whole
            if whole:
                self._room.release(whole)

    def send(self, messages: Sequence[Message]) -> None:
        for number, (topic, _place, payload) in enumerate(messages):
            self._room.acquire()
            name = topic.encode()
            rest = len(name).to_bytes(2, "big") + name + (number % 65_535 + 1).to_bytes(2, "big") + payload
            self._socket.sendall(b"\x32" + _length(len(rest)) + rest)
        until(lambda: self.acknowledged >= len(messages), "the broker's word", _PATIENCE_S)

    def close(self) -> None:
        self._socket.shutdown(socket.SHUT_RDWR)
        self._socket.close()


def _length(size: int) -> bytes:
    """MQTT 3.1.1, 2.2.3."""
    found = b""
    while True:
        size, digit = divmod(size, 128)
        found += bytes([digit | (128 if size else 0)])
        if not size:
            return found


def drain(postgres: Postgres, messages: Sequence[Message], folder: Path) -> list[Line]:
    """What waits at the broker comes in."""
    database = postgres.database("drain")
    with contextlib.closing(postgres.connect(database)) as db, contextlib.ExitStack() as ends:
        migrations.prepare(db)
        broker = Broker(folder / "drain", "max_queued_messages 0", "memory_limit 0").start()
        ends.callback(broker.stop)
        broker_pid = broker.pid
        file = folder / "drain.toml"
        file.write_text(_FILE.format(port=broker.port), encoding="utf-8")
        worker = Archive(file, postgres.dsn(database)).start()
        ends.callback(worker.end)
        worker.says("hearing")
        worker.end(signal.SIGTERM)
        before_mib = memory_mib(broker_pid)
        sender = Sender(broker.port)
        sender.send(messages)
        sender.close()
        held_mib = memory_mib(broker_pid)
        used_s = with_children_s(postgres.pid)
        worker.start()
        worker.says("hearing", 2)
        own_s = cpu_s(worker.pid)
        until(
            lambda: time.sleep(0.5) or db.execute("SELECT count(*) FROM entry").fetchone() == (len(messages),),
            "all of them",
            _PATIENCE_S,
        )
        own_s, used_s = cpu_s(worker.pid) - own_s, with_children_s(postgres.pid) - used_s
        row = db.execute(
            "SELECT extract(epoch FROM max(arrived) - min(arrived)), "
            "count(*) FILTER (WHERE arrived > (SELECT min(arrived) FROM entry)) FROM entry"
        ).fetchone()
        assert row is not None
        rate = float(row[1]) / float(row[0]) if row[0] else 0.0
    n = len(messages)
    return [
        Line(f"drain, {n:,} waiting", f"{rate:,.0f} entries/s", ">= 5,000", rate >= 5000),
        Line("CPU of the worker", f"{1e6 * own_s / n:.0f} us an entry"),
        Line("CPU of PostgreSQL, the bench's own questions included", f"{1e6 * used_s / n:.0f} us an entry"),
        Line("Mosquitto while they wait", f"{held_mib:.0f} MiB, {(held_mib - before_mib) * 2**20 / n:.0f} B an entry"),
    ]


def lag(postgres: Postgres, stations: int, minutes: float, folder: Path) -> list[Line]:
    """From an entry to its row, at the pace of life."""
    database = postgres.database("lag")
    with contextlib.closing(postgres.connect(database)) as db, contextlib.ExitStack() as ends:
        migrations.prepare(db)
        broker = Broker(folder / "lag", "max_queued_messages 100000").start()
        ends.callback(broker.stop)
        file = folder / "lag.toml"
        file.write_text(_FILE.format(port=broker.port), encoding="utf-8")
        worker = Archive(file, postgres.dsn(database)).start()
        ends.callback(worker.end)
        worker.says("hearing")
        shift_s = time.time() - _BUSY / 1000  # their clocks stand in a morning
        fleet = Fleet(Plan(stations, 1.0, _BUSY), MqttPlan("127.0.0.1", broker.port))
        ends.callback(fleet.close)
        until(lambda: fleet.turn(0.5) or fleet.count().connected == stations, "all connections", _PATIENCE_S)
        from_s, until_s = time.time() + 5, time.time() + 5 + minutes * 60
        while time.time() < until_s:
            fleet.turn(0.5)
        last = time.monotonic() + 5
        while time.monotonic() < last:
            fleet.turn(0.5)
        found = db.execute(
            "SELECT count(*), percentile_cont(ARRAY[0.5, 0.99]) WITHIN GROUP (ORDER BY extract(epoch FROM arrived - at) - %s)"
            " FROM entry WHERE at > to_timestamp(%s)",
            (shift_s, from_s - shift_s),
        ).fetchone()  # fmt: skip
        mib = memory_mib(broker.pid)
    assert found is not None
    what = f"lag of {found[0]:,} entries of {stations:,} stations"
    if not found[0]:
        return [Line(what, "nothing happened", "p99 < 2 s", False)]
    p50, p99 = map(float, found[1])
    return [
        Line(what, f"median {p50:.2f} s, p99 {p99:.2f} s", "p99 < 2 s", p99 < 2),
        Line(f"Mosquitto with {stations:,} connections", f"{mib:.0f} MiB"),
    ]


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--stations", type=int, default=1000)
    parser.add_argument("--queued", type=int, default=30_000)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--minutes", type=float, default=1.0)
    chosen = parser.parse_args()
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (max(soft, min(hard, chosen.stations + 200)), hard))
    messages = told(chosen.stations, max(chosen.queued, chosen.stations))
    print(f"{machine()}\n\n| figure | found | goal | |\n|---|---|---|---|", flush=True)
    postgres = Postgres()
    try:
        with tempfile.TemporaryDirectory(prefix="fleet-") as name:
            ours, bare = ingest(postgres, messages, chosen.rounds)
            share = Line(
                "ingest beside bare COPY",
                f"{ours:,.0f}/s of {bare:,.0f}/s: {ours / bare:.2f}",
                ">= 0.1",
                ours >= 0.1 * bare,
            )
            lines = _shown([share])
            lines += _shown(drain(postgres, messages, Path(name)))
            lines += _shown(lag(postgres, chosen.stations, chosen.minutes, Path(name)))
    finally:
        postgres.close()
    return int(any(line.is_met is False for line in lines))


def _shown(lines: list[Line]) -> list[Line]:
    """At once: the next take their time."""
    for line in lines:
        print(line, flush=True)
    return lines


if __name__ == "__main__":
    sys.exit(main())
