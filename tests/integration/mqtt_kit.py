"""What the MQTT tests share: a real Mosquitto on a free loopback port, a proxy that misbehaves, a watcher, small stand-ins.

Brokers and proxies are stopped by whoever started them, by process id.
"""

from __future__ import annotations

import json
import shutil
import socket
import struct
import subprocess
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from edge.clock import ToldClock
from edge.config import MqttPlan
from edge.domain.entries import Entry, SignedHead
from edge.mqtt.feed import Patience
from edge.mqtt.link import Limits
from edge.mqtt.publisher import Publisher, Source
from edge.mqtt.receipts import AgainPace
from edge.mqtt.retained import Pace
from edge.mqtt.timing import Timing
from edge.snapshot import Snapshot

MOSQUITTO = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")
NEEDS_MOSQUITTO = [
    pytest.mark.broker,
    pytest.mark.skipif(MOSQUITTO is None, reason="Mosquitto is not installed here"),
]

SITE, STATION = "harbour-lane", "scope-room-2"
BASE = f"warmwell/1/{SITE}/{STATION}"

#: the same rules as live, a hundred times as fast
FAST = Timing(
    first_s=0.05,
    cap_s=0.4,
    slow_s=0.1,
    lasting_s=0.5,
    limits=Limits(connect_s=2.0, ack_s=0.8),
    patience=Patience(cursor_s=0.02, retry_s=0.1, retry_cap_s=0.2, report_s=0.3, give_up_s=1.0),
    pace=Pace(gap_s=0.3, head_gap_s=0.1, heartbeat_s=30.0, retry_s=0.3, ghost_s=0.3),
    again=AgainPace(look_s=0.05, settle_s=0.2, per_s=2000.0),
)


def until(done: Callable[[], Any], what: str, timeout_s: float = 60.0, say: Callable[[], str] = lambda: "") -> Any:
    """Ask until the answer is true; fail with `what`, and what `say` gives, when time runs out."""
    deadline_s = time.monotonic() + timeout_s
    while not (answer := done()):
        assert time.monotonic() < deadline_s, f"waited {timeout_s:g} s for: {what} {say()}"
        time.sleep(0.01)
    return answer


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as server:
        return int(server.getsockname()[1])


class Broker:
    """Mosquitto; the same port over all its starts. `whole`: the lines are all its settings, with `PORT` for the port."""

    def __init__(self, folder: Path, *lines: str, anonymous: bool = True, whole: bool = False) -> None:
        self.port, self._folder = free_port(), folder
        folder.mkdir(parents=True, exist_ok=True)
        allow = "true" if anonymous else "false"
        settings = [f"listener {self.port} 127.0.0.1", f"allow_anonymous {allow}", *lines]
        if whole:
            settings = [line.replace("PORT", str(self.port)) for line in lines]
        self._file = folder / "mosquitto.conf"
        self._file.write_text("\n".join(settings) + "\n", encoding="utf-8")
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> Broker:
        assert MOSQUITTO and self._process is None
        with (self._folder / "broker.log").open("ab") as log:
            self._process = subprocess.Popen([MOSQUITTO, "-v", "-c", str(self._file)], stdout=log, stderr=log)
        until(self._listens, f"Mosquitto on port {self.port}; its log: {self.log()}")
        return self

    def _listens(self) -> bool:
        assert self._process and self._process.poll() is None, self.log()
        try:
            socket.create_connection(("127.0.0.1", self.port), 1).close()
        except OSError:
            return False
        return True

    def stop(self) -> None:
        """SIGTERM, as an orderly restart does; may be called twice."""
        if self._process is not None:
            self._process.terminate()
            self._process.wait(10)
            self._process = None

    @property
    def pid(self) -> int:
        """Of its process."""
        assert self._process is not None
        return self._process.pid

    def kill(self) -> None:
        """SIGKILL, as a power cut does: what it hasn't written is gone."""
        assert self._process is not None
        self._process.kill()
        self._process.wait(10)
        self._process = None

    def reload(self) -> None:
        """SIGHUP: access lists and passwords are read again."""
        assert self._process is not None
        self._process.send_signal(1)

    def log(self) -> str:
        return (self._folder / "broker.log").read_text(encoding="utf-8", errors="replace")


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    started = Broker(tmp_path / "broker").start()
    yield started
    started.stop()


class Proxy:
    """Stands between a client and a broker, packet by packet.

    mode: "pass"; "stall": what comes is swallowed and the connection stays (a pulled cable).
    swallow: called with each packet from the broker; True: it never arrives.
    first: called with a client's first packet; bytes: sent back instead of asking the broker, then hung up.
    """

    def __init__(self, target: int) -> None:
        self.target, self.mode = target, "pass"
        self.swallow: Callable[[bytes], bool] = lambda _packet: False
        self.first: Callable[[bytes], bytes | None] = lambda _packet: None
        self.connects = 0
        self.sent_types: list[int] = []  # first bytes of the packets that clients sent
        self._pairs: list[tuple[socket.socket, socket.socket]] = []
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._server.getsockname()[1])
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self) -> None:
        while True:
            try:
                client, _address = self._server.accept()
            except OSError:
                return
            self.connects += 1
            threading.Thread(target=self._join, args=(client,), daemon=True).start()

    def _join(self, client: socket.socket) -> None:
        with client:
            packets = _packets(client)
            try:
                first = next(packets, b"")
                self.sent_types.append(first[0] if first else 0)
                answer = self.first(first)
                if answer is not None:
                    client.sendall(answer)
                    return
                with socket.create_connection(("127.0.0.1", self.target), 5) as upstream:
                    upstream.settimeout(None)
                    self._pairs.append((client, upstream))
                    upstream.sendall(first)
                    back = threading.Thread(target=self._copy_back, args=(upstream, client), daemon=True)
                    back.start()
                    for packet in packets:
                        self.sent_types.append(packet[0])
                        if self.mode == "pass":
                            upstream.sendall(packet)
                    upstream.shutdown(socket.SHUT_WR)
                    back.join(5)
            except OSError:
                pass  # either side is gone, which is what some tests are about

    def _copy_back(self, upstream: socket.socket, client: socket.socket) -> None:
        try:
            for packet in _packets(upstream):
                if self.mode == "pass" and not self.swallow(packet):
                    client.sendall(packet)
            client.shutdown(socket.SHUT_RDWR)
        except OSError:
            pass  # as above

    def cut(self) -> None:
        """Reset every connection."""
        pairs, self._pairs = self._pairs, []
        for sock in (one for pair in pairs for one in pair):
            try:
                sock.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
                sock.shutdown(socket.SHUT_RDWR)
            except OSError:
                pass  # closed already

    def close(self) -> None:
        self._server.shutdown(socket.SHUT_RDWR)
        self._server.close()
        self.cut()


def _packets(sock: socket.socket) -> Iterator[bytes]:
    """The MQTT packets that come from a socket, each whole (MQTT 5.0, 2.1: first byte, length of 1 to 4 bytes, the rest)."""
    data = b""
    while chunk := sock.recv(65_536):
        data += chunk
        while (size := _packet_size(data)) and len(data) >= size:
            packet, data = data[:size], data[size:]
            yield packet


def _packet_size(data: bytes) -> int:
    length = 0
    for place, byte in enumerate(data[1:5]):
        length |= (byte & 127) << (7 * place)
        if byte < 128:
            return 2 + place + length
    return 0


@pytest.fixture
def proxy(broker: Broker) -> Iterator[Proxy]:
    made = Proxy(broker.port)
    yield made
    made.close()


@dataclass(frozen=True)
class Message:
    topic: str
    payload: bytes
    retained: bool

    def json(self) -> dict[str, Any]:
        found = json.loads(self.payload)
        assert isinstance(found, dict)
        return found


class Watcher:
    """A subscriber of its own, on plain paho; it subscribes again on every connect.

    lasting: the broker keeps what comes while it is away (a session of an hour). ca: who vouches for a broker with TLS.
    """

    def __init__(
        self,
        port: int,
        topic: str = "warmwell/#",
        *,
        lasting: bool = False,
        ca: Path | None = None,
        wait_s: float = 10,
        **login: str,
    ) -> None:
        self.messages: list[Message] = []
        self._ready = threading.Event()
        self._client = paho.Client(
            CallbackAPIVersion.VERSION2, client_id="watcher" if lasting else "", protocol=paho.MQTTv5
        )
        session = Properties(PacketTypes.CONNECT)
        session.SessionExpiryInterval = 3600 if lasting else 0
        if ca is not None:
            self._client.tls_set(ca_certs=str(ca))
        if login:
            self._client.username_pw_set(login["username"], login["password"])
        self._client.on_connect = lambda client, *_rest: client.subscribe(topic, 1) and None
        self._client.on_subscribe = lambda *_all: self._ready.set()
        self._client.on_message = lambda _c, _u, m: self.messages.append(Message(m.topic, m.payload, m.retain))
        self._client.reconnect_delay_set(1, 1)
        self._client.connect_async("127.0.0.1", port, 10, clean_start=not lasting, properties=session)
        self._client.loop_start()
        if not self._ready.wait(wait_s):
            self.close()
            raise AssertionError("the watcher could not subscribe")

    def journal(self, station: str = STATION) -> list[Message]:
        return [m for m in list(self.messages) if m.topic == f"warmwell/1/{SITE}/{station}/journal"]

    def seqs(self) -> list[int]:
        return [m.json()["seq"] for m in self.journal()]

    def last(self, rest: str) -> Message | None:
        found = [m for m in list(self.messages) if m.topic == f"{BASE}/{rest}"]
        return found[-1] if found else None

    def words(self) -> list[str]:
        """What the node topic said, in order."""
        return [m.json()["state"] for m in list(self.messages) if m.topic == f"{BASE}/node"]

    def say(self, topic: str, payload: bytes, *, retain: bool = False) -> None:
        self._client.publish(topic, payload, qos=1, retain=retain).wait_for_publish(5)

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


@pytest.fixture
def watcher(broker: Broker) -> Iterator[Watcher]:
    made = Watcher(broker.port)
    yield made
    made.close()


class ListJournal:
    """A journal in memory, as edge.domain.contracts.JournalReader has it."""

    def __init__(self, boot: str = "boot-1") -> None:
        self.entries: list[Entry] = []
        self.cursors: dict[str, int] = {}
        self._boot, self._changed = boot, threading.Condition()

    def add(self, clock: ToldClock, kind: str = "note", count: int = 1, **body: Any) -> None:
        now = clock.now()
        with self._changed:
            for _ in range(count):
                seq = len(self.entries) + 1
                self.entries.append(
                    Entry(seq, self._boot, now.mono_ms, now.wall_ms, now.trusted, kind, body or {"n": seq})
                )
            self._changed.notify_all()

    def read(self, after: int, limit: int) -> list[Entry]:
        return self.entries[after : after + limit]

    def last_seq(self) -> int:
        return len(self.entries)

    def head(self) -> tuple[int, str]:
        return len(self.entries), self.digest(len(self.entries))

    def mark(self) -> str:
        return self.digest(1)[:16] if self.entries else ""

    def digest(self, seq: int) -> str:
        return f"{seq:x}".rjust(8, "a") + "0" * 56

    def wait(self, after: int, timeout_s: float) -> bool:
        with self._changed:
            return self._changed.wait_for(lambda: len(self.entries) > after, timeout_s)

    def cursor(self, name: str) -> int | None:
        return self.cursors.get(name)

    def move_cursor(self, name: str, seq: int) -> None:
        self.cursors[name] = seq


def alarm(alarm_id: str, state: str = "normal", seq: int = 0, **more: Any) -> dict[str, Any]:
    """An alarm as a snapshot has it."""
    base = {
        "id": alarm_id, "state": state, "active": state != "normal", "announced": state != "normal", "priority": "high",
        "since": "2026-03-16T05:50:00.000Z", "point": "reservoir", "value": 24.1, "unit": "Cel", "limit": 35.0,
        "cause": "below the minimum", "consequence": "the liquid doesn't disinfect", "response": "Look at the outlet",
        "respond_within_s": 900, "consequence_of": None, "seq": seq, "at": "2026-03-16T05:50:00.000Z",
    }  # fmt: skip
    return {**base, **more}


def point(point_id: str, value: float | None = 39.0, **more: Any) -> dict[str, Any]:
    """A point as a snapshot has it."""
    return {
        "id": point_id,
        "value": value,
        "unit": "Cel",
        "quality": "good",
        "at": "2026-03-16T05:50:00.000Z",
        "age_s": 0.1,
        **more,
    }


class PictureBook:
    """Stands in for the judge: pictures that a test draws."""

    def __init__(self, clock: ToldClock) -> None:
        self._clock, self._changed = clock, threading.Condition()
        self._now = Snapshot(0, 0, clock.now(), {})

    def draw(
        self,
        alarms: Sequence[dict[str, Any]] = (),
        points: Sequence[dict[str, Any]] = (),
        verdict: str = "not_ready",
        estimates: dict[str, dict[str, Any]] | None = None,
    ) -> None:
        with self._changed:
            said = {
                "site": SITE,
                "station": STATION,
                "verdict": verdict,
                "display": {"unknown": "cant_tell"}.get(verdict, verdict),
                "phase": "idle",
                "conditions": [],
            }
            by_id = [{one["id"]: one for one in group} for group in (alarms, points)]
            self._now = Snapshot(self._now.version + 1, 0, self._clock.now(), said, by_id[1], by_id[0], estimates or {})
            self._changed.notify_all()

    def snapshot(self) -> Snapshot:
        return self._now

    def wait(self, version: int, timeout_s: float) -> Snapshot:
        with self._changed:
            self._changed.wait_for(lambda: self._now.version > version, timeout_s)
            return self._now


@dataclass
class Bench:
    """A publisher with everything it needs around it."""

    folder: Path
    port: int
    clock: ToldClock = field(default_factory=lambda: ToldClock(boot="boot-1"))
    timing: Timing = FAST
    plan: dict[str, Any] = field(default_factory=dict)
    station: str = STATION
    untold: list[tuple[int, str]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.journal = ListJournal()
        self.book = PictureBook(self.clock)
        self.signed: SignedHead | None = None
        self.publisher = self.made()

    def made(self) -> Publisher:
        """A fresh publisher on the same journal, as after a restart."""
        plan = MqttPlan(**{"host": "127.0.0.1", "port": self.port, "keepalive_s": 2, **self.plan})
        source = Source(
            SITE, self.station, self.journal, self.book.snapshot, self.book.wait, self.clock, "0.1.0", "Scope room 2",
            "Europe/Amsterdam", True, lambda: self.signed,
        )  # fmt: skip
        return Publisher(
            plan, source, folder=self.folder, timing=self.timing,
            untold=lambda entry, why: self.untold.append((entry.seq, why)),
        )  # fmt: skip

    def start(self) -> Bench:
        self.publisher.start()
        return self

    def restart(self) -> None:
        self.stop()
        self.publisher = self.made()
        self.publisher.start()

    def stop(self) -> bool:
        return self.publisher.stop(3.0)

    def add(self, kind: str = "note", count: int = 1, **body: Any) -> None:
        self.journal.add(self.clock, kind, count, **body)

    @property
    def status(self) -> dict[str, Any]:
        return self.publisher.status()

    def connected(self) -> None:
        until(lambda: self.status["connected"], f"a connection; {self.status['last_error']}")

    def told(self, timeout_s: float = 60.0) -> None:
        until(lambda: self.status["behind"] == 0, "every entry confirmed", timeout_s)

    def settled(self) -> None:
        """Connected, and all that there is to say has been said and confirmed."""
        until(
            lambda: (s := self.status)["connected"] and s["behind"] == 0 and s["in_flight"] == 0 and self._has_said(),
            "calm",
        )

    def _has_said(self) -> bool:
        return "node" in "".join(self.publisher._memory.topics_seen())

    def error(self, part: str, timeout_s: float = 60.0) -> str:
        """The status sentence, once it holds `part`."""
        until(lambda: part in (self.status["last_error"] or ""), f"{part!r} in the status", timeout_s)
        return str(self.status["last_error"])


@pytest.fixture
def bench(tmp_path: Path, broker: Broker) -> Iterator[Bench]:
    made = Bench(tmp_path, broker.port)
    yield made
    made.stop()
