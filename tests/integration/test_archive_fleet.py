"""A simulated fleet, a real Mosquitto, a real archive and PostgreSQL: every entry of every station is there, and each chain holds.

WARMWELL_FLEET sets how many stations there are, WARMWELL_AWAY_H for how many of their hours nobody hears them.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from edge.archive import migrations
from edge.archive.store import Store
from edge.archive.verifying import verify
from edge.config import MqttPlan
from edge.domain.entries import wall_ms_of
from simulators.fleet.sending import Fleet, Plan
from tests.integration.archive_kit import NEEDS_POSTGRES, Archive, Postgres
from tests.integration.mqtt_kit import FAST, NEEDS_MOSQUITTO, Broker, until

pytestmark = [*NEEDS_POSTGRES, *NEEDS_MOSQUITTO]

STATIONS = int(os.environ.get("WARMWELL_FLEET", "20"))
AWAY_H = int(os.environ.get("WARMWELL_AWAY_H", "3"))
SPEED = 3600.0
PATIENCE_S = 120.0 + AWAY_H * STATIONS / 10
MORNING_MS = wall_ms_of("2026-03-16T06:20:00Z")
HOUR_MS = 3_600_000
FILE = '[archive]\nname = "hospital"\n[mqtt]\nhost = "127.0.0.1"\nport = {port}\n'


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    made = Broker(tmp_path / "broker", "max_queued_messages 0").start()
    yield made
    made.stop()


class Scene:
    """A fleet and its archive."""

    def __init__(self, postgres: Postgres, broker: Broker, folder: Path, plan: Plan, name: str) -> None:
        self._postgres, self._database = postgres, postgres.database(name)
        with contextlib.closing(postgres.connect(self._database)) as db:
            migrations.prepare(db)
        file = folder / "archive.toml"
        file.write_text(FILE.format(port=broker.port), encoding="utf-8")
        self.worker = Archive(file, postgres.dsn(self._database))
        self.fleet = Fleet(plan, MqttPlan("127.0.0.1", broker.port))

    def connect(self) -> contextlib.closing[Any]:
        return contextlib.closing(self._postgres.connect(self._database))

    def kept(self) -> dict[str, int]:
        """Entries, by station."""
        sql = "SELECT s.name, count(*) FROM entry e JOIN journal j ON j.id = e.journal JOIN station s ON s.id = j.station GROUP BY 1"
        with self.connect() as db:
            return dict(db.execute(sql).fetchall())

    def turn(self) -> bool:
        """For until(): False."""
        self.fleet.turn(0.1)
        return False

    def is_all_kept(self) -> bool:
        self.turn()
        return self.kept() == {each.topics.station: each.journal.last_seq() for each in self.fleet.stations}

    def holds(self) -> None:
        """Each chain verifies up to the station's own head, and nothing was set aside."""
        with self.connect() as db:
            found = {one.station: (one.verified_seq, one.misfit, one.waits) for one in verify(db)}
            assert found == {each.topics.station: (each.journal.last_seq(), None, None) for each in self.fleet.stations}
            assert Store(db).set_aside() == (0, 0)

    def close(self) -> None:
        self.fleet.close()
        self.worker.end()


def test_an_archive_that_is_away_while_the_broker_loses_its_queue_has_every_entry_in_the_end(
    postgres: Postgres, broker: Broker, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    """An hour is heard as it comes; then nobody hears for AWAY_H, and the broker is killed in the middle of it."""
    away_ms = AWAY_H * HOUR_MS
    plan = Plan(STATIONS, SPEED, MORNING_MS, HOUR_MS + away_ms, again=FAST.again, retry_s=0.2)
    scene = Scene(postgres, broker, tmp_path, plan, request.node.name[:60])
    fleet = scene.fleet
    try:
        scene.worker.start().says("hearing")

        def it_is(wall_ms: int) -> None:
            until(lambda: scene.turn() or fleet.count().wall_ms >= wall_ms, "its time", PATIENCE_S)

        it_is(MORNING_MS + HOUR_MS)
        until(lambda: scene.turn() or sum(scene.kept().values()) > STATIONS, "some of it", PATIENCE_S, scene.worker.log)
        scene.worker.end()
        it_is(MORNING_MS + HOUR_MS + away_ms // 2)
        broker.kill()
        broker.start()
        until(lambda: scene.turn() or (fleet.is_over and fleet.count().waiting == 0), "the rest", PATIENCE_S)
        count = fleet.count()
        assert count.entries > STATIONS * AWAY_H * 5 and count.connected == STATIONS
        scene.worker.start()
        until(scene.is_all_kept, "every entry", PATIENCE_S, scene.worker.log)
        assert fleet.count().said_again > 0, "the broker had lost some of them, or this proves nothing"
        scene.holds()
    finally:
        scene.close()
