"""`warmwell archive run` with a real Mosquitto and a real PostgreSQL: a small fleet, kills at any moment, a broker that forgets, a spare.

MQTT 5.0, 4.3.2: with QoS 1 the receiver owns a message once it has sent PUBACK; 3.1.2.11.3: how many it may owe at once.
"""

from __future__ import annotations

import contextlib
import signal
import threading
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from edge.archive import migrations
from edge.archive.settings import ENVIRONMENT
from edge.archive.store import Store
from edge.archive.verifying import verify
from edge.cli import archive as cli
from edge.config import MqttPlan
from edge.domain.errors import UnusableInput
from edge.mqtt.by_hand import LinkByHand
from edge.mqtt.link import Link, Waker
from tests.integration.archive_kit import NEEDS_POSTGRES, Archive, Postgres, chain
from tests.integration.mqtt_kit import NEEDS_MOSQUITTO, SITE, STATION, Bench, Broker, Watcher, until

pytestmark = [*NEEDS_POSTGRES, *NEEDS_MOSQUITTO]

FILE = """
[archive]
name = "hospital"
sites = ["{site}"]
[mqtt]
host = "127.0.0.1"
port = {port}
"""
DAY_MS = 86_400_000


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    made = Broker(tmp_path / "broker", "max_queued_messages 0").start()
    yield made
    made.stop()


@pytest.fixture
def archives(
    postgres: Postgres, broker: Broker, tmp_path: Path, request: pytest.FixtureRequest
) -> Iterator[Callable[[], Archive]]:
    """Makes archives, all of one database; those that a test leaves running are killed."""
    database = postgres.database(request.node.name[:60])
    with contextlib.closing(postgres.connect(database)) as db:
        migrations.prepare(db)
    made: list[Archive] = []

    def make() -> Archive:
        file = tmp_path / f"archive-{len(made)}.toml"
        file.write_text(FILE.format(site=SITE, port=broker.port), encoding="utf-8")
        made.append(Archive(file, postgres.dsn(database)))
        return made[-1].start()

    yield make
    for each in made:
        each.end()


def kept(postgres: Postgres, request: pytest.FixtureRequest, sql: str) -> list[Any]:
    with contextlib.closing(postgres.connect(request.node.name[:60])) as db:
        return db.execute(sql).fetchall()


COUNTED = "SELECT s.name, count(*) FROM entry e JOIN journal j ON j.id = e.journal JOIN station s ON s.id = j.station GROUP BY 1"


class Delivered:
    """A subscriber of a lasting session on our own connection; it takes what comes until it is dropped. `most` 0: the control."""

    def __init__(self, port: int, most: int) -> None:
        self.came: list[int] = []
        self._waker, self._answers = Waker(), 0
        plan, answered = MqttPlan("127.0.0.1", port), {"subscribed": self._answered}
        self._by_hand = LinkByHand(
            plan, "taker", most=most, delivered=lambda _t, _p, mid: self.came.append(mid), **answered
        )
        if most == 0:
            self._link = Link(
                plan, "taker", received=lambda _t, _p, _r, _q: self.came.append(0), subscribed=self._answered
            )
        else:
            self._link = self._by_hand
        self._link.open()
        until(lambda: self._turn() or self._link.up, "a connection")
        self.settle()

    def _turn(self) -> bool:
        self._link.turn(0.05, self._waker)
        return False

    def _answered(self, *_answer: object) -> None:
        self._answers += 1

    def take(self, count: int) -> None:
        until(lambda: self._turn() or len(self.came) >= count, f"{count} messages")

    def settle(self) -> int:
        """How many came: a broker answers in order, so before this answer it has read and sent all that was due."""
        before = self._answers
        self._link.subscribe(["one/+/journal"])
        until(lambda: self._turn() or self._answers > before, "an answer")
        return len(self.came)

    def drop(self, *, after: int = 0) -> None:
        """Without a goodbye; where it acknowledges by hand, the first `after` were."""
        for mid in self.came[:after] if self._link is self._by_hand else ():
            self._by_hand.acknowledge(mid)
        self.settle()
        self._link.drop()
        self._waker.close()


def test_what_was_not_acknowledged_by_hand_comes_again_and_what_was_at_once_does_not(broker: Broker) -> None:
    sender = Watcher(broker.port, "other")
    for most, comes_again in ((100, 15), (0, 0)):  # 0: the control, as a library does by itself
        taker = Delivered(broker.port, most)
        for n in range(20):
            sender.say("one/room/journal", b"%d" % n)
        taker.take(20)
        taker.drop(after=5)  # before the others were kept
        again = Delivered(broker.port, most)
        assert again.settle() == comes_again
        again.drop(after=comes_again)
    sender.close()


def test_a_fleet_of_twenty_loses_nothing_while_worker_and_database_are_killed(
    archives: Callable[[], Archive], broker: Broker, postgres: Postgres, request: pytest.FixtureRequest,
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    fleet = {f"room-{n}": chain(f"room-{n}", 30) for n in range(1, 21)}
    worker = archives()
    worker.says("hearing")
    sender = Watcher(broker.port, "none")
    sent, over = [0], threading.Event()

    def send() -> None:
        for place in range(30):
            for station, messages in fleet.items():
                sender.say(f"warmwell/1/{SITE}/{station}/journal", messages[place])
                sent[0] += 1
        over.set()

    def is_sent(count: int) -> bool:
        return sent[0] > count

    thread = threading.Thread(target=send, daemon=True)
    thread.start()
    for kill in range(4):
        until(partial(is_sent, 100 * (kill + 1)), "more entries on their way")
        worker.end()
        if kill == 2:
            postgres.end(signal.SIGQUIT)
            postgres.start()
        worker.start()
        worker.says("hearing", kill + 2)
    assert over.wait(120)
    until(
        lambda: dict(kept(postgres, request, COUNTED)) == dict.fromkeys(fleet, 30),
        "every entry of every station",
        120,
        worker.log,
    )
    with contextlib.closing(postgres.connect(request.node.name[:60])) as db:
        assert {(one.station, one.verified_seq, one.misfit) for one in verify(db)} == {
            (name, 30, None) for name in fleet
        }
        assert Store(db).set_aside() == (0, 0)
    began_s = time.monotonic()
    assert worker.end(signal.SIGTERM) == 0 and time.monotonic() - began_s < 30, "it stops when asked"
    monkeypatch.setenv(ENVIRONMENT, worker.database)
    assert cli.stations(worker.file, as_json=False) == 0
    text = capsys.readouterr().out
    assert f"{SITE}/room-7: unknown, unknown" in text and "30 entries, lacks nothing" in text
    assert cli.gaps(worker.file, as_json=False) == 0 and "lacks nothing" in capsys.readouterr().out
    assert cli.verify(worker.file, f"{SITE}/room-7", anew=True, as_json=False) == 0
    assert "holds up to entry 30; all that there is" in capsys.readouterr().out
    with pytest.raises(UnusableInput, match="nothing is there of it"):
        cli.verify(worker.file, f"{SITE}/nowhere", anew=False, as_json=False)
    sender.close()


def test_receipts_fetch_what_a_killed_broker_forgot_and_without_them_it_is_gone(
    archives: Callable[[], Archive], broker: Broker, postgres: Postgres, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    worker = archives()
    worker.says("hearing")
    worker.end(signal.SIGTERM)  # its session stays: the broker owes it what follows
    rooms = {STATION: ("hospital",), "scope-room-3": ()}  # the second one is the control: it expects no archive
    benches = [
        Bench(tmp_path / name, broker.port, plan={"archives": expects}, station=name) for name, expects in rooms.items()
    ]
    for bench in benches:
        bench.add(count=120)
        bench.start()
        bench.told()
        bench.clock.tell(2 * DAY_MS)  # older than what a station repeats of itself
    broker.kill()
    broker.start()
    for bench in benches:
        bench.connected()
    worker.start()
    until(
        lambda: dict(kept(postgres, request, COUNTED)).get(STATION) == 120,
        "all of the one that hears receipts",
        120,
        worker.log,
    )
    benches[1].add()
    until(lambda: "scope-room-3" in dict(kept(postgres, request, COUNTED)), "a new entry of the other")
    assert dict(kept(postgres, request, COUNTED)) == {STATION: 120, "scope-room-3": 1}
    with contextlib.closing(postgres.connect(request.node.name[:60])) as db:
        gaps = {one.station: one.gaps for one in Store(db).held(newest=True)}
    assert gaps == {STATION: [], "scope-room-3": [(1, 120)]}
    for bench in benches:
        bench.stop()


def test_a_spare_waits_and_takes_its_place(
    archives: Callable[[], Archive], broker: Broker, postgres: Postgres, request: pytest.FixtureRequest
) -> None:
    first = archives()
    first.says("hearing")
    spare = archives()
    spare.says("waiting to take its place")
    assert "hearing" not in spare.log()
    sender = Watcher(broker.port, "none")
    first.end()
    for message in chain("room-1", 5):
        sender.say(f"warmwell/1/{SITE}/room-1/journal", message)
    until(
        lambda: kept(postgres, request, COUNTED) == [("room-1", 5)],
        "what came in between, kept by the spare",
        120,
        spare.log,
    )
    sender.close()
