"""A simulated fleet, a real Mosquitto, a real archive and PostgreSQL: every entry of every station is there, and each chain holds."""

from __future__ import annotations

import contextlib
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


def test_a_morning_of_twenty_stations_is_there_to_the_last_entry(
    postgres: Postgres, broker: Broker, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    plan = Plan(20, 1800.0, MORNING_MS, 2 * HOUR_MS, again=FAST.again, retry_s=0.2)
    scene = Scene(postgres, broker, tmp_path, plan, request.node.name[:60])
    try:
        scene.worker.start().says("hearing")
        until(lambda: scene.turn() or (scene.fleet.is_over and scene.fleet.count().waiting == 0), "the morning", 120)
        count = scene.fleet.count()
        assert count.entries > 600 and count.connected == 20
        until(scene.is_all_kept, "every entry", 120, scene.worker.log)
        scene.holds()
    finally:
        scene.close()
    until(lambda: broker.log().count("disconnected") >= 20, "each said goodbye, so that no last will is told")
