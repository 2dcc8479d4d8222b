"""Two PostgreSQL servers, one that follows the other: what is acknowledged outlives the first only where the second confirms each commit.

A copy that deploy/archive/backup.sh makes is looked at here as well: it takes a server of its own.

PostgreSQL 15's documentation: 26.3 (base backups), 27.2.8 (synchronous replication), 34.1.1.3 (several hosts in one
connection string).
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import threading
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

import psycopg
import pytest

from edge.archive import migrations
from edge.archive.messages import Place
from edge.archive.store import Message, Put, Store, connect
from edge.archive.verifying import verify
from tests.integration.archive_kit import BIN, NEEDS_POSTGRES, ROOT, Postgres, chain
from tests.integration.mqtt_kit import SITE, until

pytestmark = [
    *NEEDS_POSTGRES,
    pytest.mark.skipif(
        "WARMWELL_REPLICAS" not in os.environ, reason="WARMWELL_REPLICAS isn't set: two servers take half a minute"
    ),
]

ROOM = "scope-room-2"
RECIPE = ROOT / "deploy/archive/backup.sh"
JOURNAL = Place(SITE, ROOM, "journal")


class Worker:
    """What a worker does with a delivery: it is acknowledged once put() has come back."""

    def __init__(self, dsn: str) -> None:
        self.acknowledged: list[Message] = []
        self._db = connect(dsn)
        self.store = Store(self._db)

    def take(self, messages: Sequence[Message]) -> None:
        with contextlib.suppress(
            psycopg.OperationalError
        ):  # the server is gone: nothing is acknowledged, and all comes again
            self.store.put(messages)
            self.acknowledged += messages

    def close(self) -> None:
        self._db.close()


@pytest.mark.parametrize(
    "confirmed_by, kept", [("*", 20), ("", 10)], ids=["confirmed by both", "the control: by the first alone"]
)
def test_what_was_acknowledged_outlives_the_first_server(confirmed_by: str, kept: int) -> None:
    messages = [Message(f"warmwell/1/{SITE}/{ROOM}/journal", JOURNAL, one) for one in chain(ROOM, 20)]
    head = json.loads(messages[-1].payload)
    first = Postgres()
    spare = Postgres(of=first)
    try:
        with contextlib.closing(first.connect("postgres")) as db:
            migrations.prepare(db)
            db.execute(f"ALTER SYSTEM SET synchronous_standby_names = '{confirmed_by}'")
            db.execute("SELECT pg_reload_conf()")
            until(lambda: db.execute("SHOW synchronous_standby_names").fetchone() == (confirmed_by,), "the setting")
            until(
                lambda: db.execute("SELECT state FROM pg_stat_replication").fetchone() == ("streaming",),
                "the spare",
                120,
            )
            worker = Worker(first.dsn())
            worker.take(messages[:10])
            assert len(worker.acknowledged) == 10
            wrote = "SELECT replay_lsn >= pg_current_wal_lsn() FROM pg_stat_replication"
            until(lambda: db.execute(wrote).fetchone() == (True,), "what is there at the spare, too")
            spare.end(signal.SIGQUIT)  # the network between them, say
            taking = threading.Thread(target=worker.take, args=(messages[10:],))
            taking.start()
            waits = "SELECT count(*) FROM pg_stat_activity WHERE wait_event = 'SyncRep'"
            until(lambda: len(worker.acknowledged) == 20 or db.execute(waits).fetchone() == (1,), "an end or a wait")
        first.end(signal.SIGKILL)  # and its disk with it
        taking.join(60)
        assert not taking.is_alive() and len(worker.acknowledged) == (10 if confirmed_by else 20)
        worker.close()

        spare.start()
        with contextlib.closing(spare.connect("postgres")) as db:
            db.execute("SELECT pg_promote()")
        both = f"host=127.0.0.1,127.0.0.1 port={first.port},{spare.port} user=postgres dbname=postgres target_session_attrs=read-write"
        again = Worker(both)
        comes_again = [message for message in messages if message not in worker.acknowledged]
        if comes_again:
            assert again.store.put(comes_again) == Put(new=10)
        (held,) = again.store.held(newest=True)
        assert held.have == [(1, kept)]
        # what was lost isn't lost unseen: the station's head says what lacks, and a receipt asks for it
        again.store.note(JOURNAL, b"{}", (head["journal"], 20, head["digest"]))
        assert again.store.held(newest=True)[0].gaps == ([] if kept == 20 else [(11, 20)])
        assert again.store.put(messages) == Put(new=20 - kept, again=kept)
        with contextlib.closing(spare.connect("postgres")) as db:
            assert [(one.verified_seq, one.misfit, one.waits) for one in verify(db)] == [(20, None, None)]
        again.close()
    finally:
        spare.close()
        first.close()


def test_a_copy_by_the_recipe_is_a_server_whose_archive_holds() -> None:
    first = Postgres()
    copied: Postgres | None = None
    try:
        with contextlib.closing(first.connect("postgres")) as db:
            migrations.prepare(db)
            Store(db).put([Message(f"warmwell/1/{SITE}/{ROOM}/journal", JOURNAL, one) for one in chain(ROOM, 50)])
        folder = first.folder / "copies"
        folder.mkdir()
        environment = {
            **os.environ, "PGHOST": "127.0.0.1", "PGPORT": str(first.port), "PGUSER": "postgres", "PGBIN": str(BIN),
        }  # fmt: skip
        made = list[str]()
        for _ in range(2):
            until(lambda: not (folder / f"archive-{datetime.now(UTC):%Y%m%dT%H%M%SZ}").exists(), "another second")
            done = subprocess.run(
                [RECIPE, folder, "1"], env=environment, check=True, capture_output=True, text=True, timeout=300
            )
            made.append(done.stdout.strip())
        assert [str(path) for path in folder.iterdir()] == made[1:], "the older one is gone"
        first.end(signal.SIGKILL)
        copied = Postgres(copy=Path(made[1]))
        with contextlib.closing(copied.connect("postgres")) as db:
            assert [(one.verified_seq, one.misfit, one.waits) for one in verify(db, anew=True)] == [(50, None, None)]
        for wrong in ([folder / "none"], [folder, "0"], [folder, "x"]):
            assert subprocess.run([RECIPE, *wrong], env=environment, check=False, capture_output=True).returncode == 2
    finally:
        if copied is not None:
            copied.close()
        first.close()
