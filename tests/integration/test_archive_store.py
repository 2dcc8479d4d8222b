"""The archive's tables at a real PostgreSQL: what is kept, what is told to lack, what is set aside, and whether chains hold.

Beside each promise stands the plain way of doing it, which breaks it. PostgreSQL 15's documentation: 8.14.1 (jsonb has no U+0000), INSERT,
ON CONFLICT; 9.20 (multiranges). RFC 8785 and FIPS 180-4 for the digests.
"""

from __future__ import annotations

import contextlib
import json
import random
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from edge.archive import migrations
from edge.archive.importing import import_folder
from edge.archive.messages import Place
from edge.archive.store import Message, Put, Store
from edge.archive.verifying import Checked, verify
from edge.domain.entries import Draft, Now
from edge.domain.errors import NewerStore, UnusableInput
from edge.store.journal import Journal
from tests.integration.archive_kit import NEEDS_POSTGRES, Postgres, chain
from tests.integration.mqtt_kit import SITE

if TYPE_CHECKING:
    from psycopg import Connection

pytestmark = NEEDS_POSTGRES

ROOM = "scope-room-2"


@pytest.fixture
def db(postgres: Postgres, request: pytest.FixtureRequest) -> Iterator[Connection[Any]]:
    with contextlib.closing(postgres.connect(postgres.database(request.node.name[:60]))) as made:
        migrations.prepare(made)
        yield made


def told(payloads: list[bytes], station: str = ROOM) -> list[Message]:
    return [Message(f"warmwell/1/{SITE}/{station}/journal", Place(SITE, station, "journal"), one) for one in payloads]


def rows(db: Connection[Any], sql: str) -> list[Any]:
    return db.execute(sql).fetchall()


def test_any_order_and_any_repeat_is_kept_once_and_what_lacks_is_known(db: Connection[Any]) -> None:
    store, messages = Store(db), told(chain(ROOM, 200))
    random.Random(1).shuffle(messages)
    lost = {json.loads(message.payload)["seq"] for message in messages[:9]}
    assert store.put(messages[9:]) == Put(new=191) and store.put(messages[100:]) == Put(again=100)
    (held,) = store.held(newest=True)
    there = set(range(1, 201)) - lost
    assert {seq for low, high in held.have for seq in range(low, high + 1)} == there
    assert {seq for low, high in held.gaps for seq in range(low, high + 1)} == {seq for seq in lost if seq < max(there)}
    store.note(Place(SITE, ROOM, "head"), b"{}", (held.journal, 250, "ab" * 32))
    assert store.held(newest=True)[0].gaps[-1][1] == 250, "what lacks at the end is known from the station's head"
    assert store.put(messages[:9]) == Put(new=9)
    assert store.held(newest=True)[0].gaps == [(201, 250)]


def test_a_replaced_card_hides_nothing_where_a_key_without_the_journal_loses_it(db: Connection[Any]) -> None:
    old, new = chain(ROOM, 20), chain(ROOM, 20, card="two")
    assert Store(db).put(told(old)) == Put(new=20) and Store(db).put(told(new)) == Put(new=20)
    assert [one.last_seq for one in Store(db).held(newest=False)] == [20, 20]
    db.execute(
        "CREATE TABLE plain (site text, station text, seq bigint, message bytea, PRIMARY KEY (site, station, seq))"
    )
    for message in (*old, *new):
        db.execute(
            "INSERT INTO plain VALUES (%s, %s, %s, %s) ON CONFLICT DO NOTHING",
            (SITE, ROOM, json.loads(message)["seq"], message),
        )
    assert rows(db, "SELECT count(*) FROM plain") == [(20,)], (
        "the control: the new card's entries are gone without a word"
    )


def test_the_same_key_with_other_bytes_is_told_and_changes_nothing(db: Connection[Any]) -> None:
    good = chain(ROOM, 3)
    forged = good[1].replace(b'"n":2', b'"n":9')
    assert Store(db).put(told(good)) == Put(new=3)
    assert Store(db).put(told([forged, good[2]])) == Put(again=1, clashes=1)
    assert Store(db).set_aside() == (1, 1) and rows(db, "SELECT message FROM entry WHERE seq = 2") == [(good[1],)]


def test_one_message_that_the_database_has_no_word_for_stops_nothing(db: Connection[Any]) -> None:
    import psycopg

    messages = chain(ROOM, 40)
    nul, half = (
        messages[place].replace(b'"text":"one ', b'"text":"' + sign + b" ")
        for place, sign in ((4, b"a\\u0000b"), (6, b"\\udc00"))
    )
    weird = messages[8].replace(b'"at":"2026-', b'"at":"0001-')  # before 1970: no time of an entry
    batch = [*messages[:4], nul, messages[5], half, messages[7], weird, b"rubbish", b"[]", *messages[9:]]
    assert Store(db).put(told(batch)) == Put(new=39, aside=3)
    assert rows(db, "SELECT seq, message FROM entry WHERE body IS NULL ORDER BY seq") == [(5, nul), (7, half)]
    assert {bytes(message) for (message,) in rows(db, "SELECT message FROM aside")} == {weird, b"rubbish", b"[]"}
    assert Store(db).put(told(batch)) == Put(again=39, aside=3) and Store(db).set_aside() == (3, 0)
    with pytest.raises(
        psycopg.errors.UntranslatableCharacter
    ):  # the control: a worker that keeps jsonb alone stops here for ever
        db.execute("SELECT %s::jsonb", (nul.decode(),))


def test_who_writes_can_not_change_what_is_kept_and_nobody_can_by_mistake(
    postgres: Postgres, db: Connection[Any]
) -> None:
    import psycopg

    with pytest.raises(UnusableInput, match="no role"):
        migrations.prepare(db, "nobody_there")
    db.execute("DROP ROLE IF EXISTS warmwell_writer")
    db.execute("CREATE ROLE warmwell_writer LOGIN")
    assert migrations.prepare(db, "warmwell_writer") == 0
    with contextlib.closing(postgres.connect(str(db.info.dbname), "warmwell_writer")) as writer:
        migrations.check(writer)
        assert Store(writer).lock() and Store(writer).put(told(chain(ROOM, 5))) == Put(new=5)
        Store(writer).note(Place(SITE, ROOM, "verdict"), b'{"verdict": "ready"}')
        assert [one.verified_seq for one in verify(writer)] == [5]
        for sql in (
            "UPDATE entry SET kind = 'x'",
            "DELETE FROM entry",
            "TRUNCATE entry",
            "DELETE FROM aside",
            "DROP TABLE entry",
        ):
            with pytest.raises(psycopg.errors.InsufficientPrivilege):
                writer.execute(sql)
    for sql in ("UPDATE entry SET kind = 'x'", "DELETE FROM entry", "TRUNCATE entry"):
        with pytest.raises(psycopg.errors.RaiseException, match="never changed"):
            db.execute(sql)
    db.execute("INSERT INTO revision VALUES (99)")
    with pytest.raises(NewerStore):
        migrations.check(db)


def test_a_database_without_tables_is_said(postgres: Postgres) -> None:
    with (
        contextlib.closing(postgres.connect(postgres.database("empty"))) as db,
        pytest.raises(UnusableInput, match="archive prepare"),
    ):
        migrations.check(db)


def test_chains_are_walked_from_the_messages_alone_and_go_on_where_they_stopped(db: Connection[Any]) -> None:
    messages, store = told(chain(ROOM, 2500)), Store(db)
    random.Random(2).shuffle(first := messages[:1500])
    store.put([*first, *messages[1600:]])
    (found,) = verify(db)
    assert (found.verified_seq, found.misfit, found.waits) == (1500, None, "entries 1501 to 1600 are missing")
    store.put(messages[1500:1600])
    store.note(Place(SITE, ROOM, "head"), b"{}", (found.journal, 2500, json.loads(messages[-1].payload)["digest"]))
    assert list(verify(db)) == [Checked(SITE, ROOM, found.journal, 2500, None, None)]
    # what was verified isn't read again: were it changed now, only a walk anew would find it
    _change(db, 700, messages[699].payload.replace(b'"n":700', b'"n":701'))
    assert next(verify(db)).misfit is None
    (anew,) = verify(db, anew=True)
    assert anew.verified_seq == 699 and anew.misfit is not None and "entry 700" in anew.misfit
    assert next(verify(db)).misfit == anew.misfit, "it stays named"


def _change(db: Connection[Any], seq: int, message: bytes) -> None:
    """As who owns the tables, and means to."""
    db.execute("ALTER TABLE entry DISABLE TRIGGER entry_is_kept")
    db.execute("UPDATE entry SET message = %s WHERE seq = %s", (message, seq))
    db.execute("ALTER TABLE entry ENABLE TRIGGER entry_is_kept")


def test_a_chain_that_was_made_up_whole_doesn_t_reach_the_station_s_head(db: Connection[Any]) -> None:
    made_up = chain(ROOM, 10)
    Store(db).put(told(made_up))
    mark = json.loads(made_up[0])["journal"]
    Store(db).note(Place(SITE, ROOM, "head"), b"{}", (mark, 10, "00" * 32))
    (found,) = verify(db)
    assert found.verified_seq == 9 and found.misfit == "entry 10: its digest isn't the one that the station's head says"


def test_a_folder_is_taken_as_if_it_had_come_by_mqtt(db: Connection[Any], tmp_path: Path) -> None:
    """The journal is a real one; a damaged one is taken up to where it holds."""
    journal = Journal(tmp_path, f"{SITE}/{ROOM}", "boot-1")
    for seq in range(1, 31):
        journal.append([Draft(Now(seq * 1000, 1_790_000_000_000 + seq, True), "note", {"n": seq})])
    head = journal.head()
    journal.close()
    done = import_folder(tmp_path, Store(db))
    assert (done.station, done.up_to, done.put, done.wrong) == (f"{SITE}/{ROOM}", 30, Put(new=30), "")
    (found,) = verify(db)
    assert found.verified_seq == 30 and found.misfit is None
    assert rows(db, "SELECT encode(digest, 'hex') FROM entry WHERE seq = 30") == [(head[1],)]
    assert import_folder(tmp_path, Store(db)).put == Put(again=30)
    with pytest.raises(UnusableInput):
        import_folder(tmp_path / "elsewhere", Store(db))
