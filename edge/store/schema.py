"""What stands in journal.db, and its migrations.

The table `entry` is made once and never rebuilt: SQLite drops the triggers of a table that is rebuilt, and its bytes
are evidence. New things get new tables. sqlite-utils is imported only when there is something to make or to migrate: it
costs a board 12 MB and a third of a second.
"""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import TYPE_CHECKING, Final

from edge.domain.errors import StoreFault
from edge.store.database import Damaged, newer_store
from edge.store.dating import SEEN_TABLE

if TYPE_CHECKING:
    from sqlite_utils import Database, Migrations

#: version of journal.db, kept in `pragma user_version`; grows with each migration
JOURNAL_VERSION: Final = 3
#: since this version the head of a journal is noted beside it (head_note.py)
HEAD_NOTES_SINCE: Final = 2
#: since this version journal.db lists closed segments (whole.py)
_SEGMENTS_SINCE: Final = 3

ENTRY_TABLE: Final = """
CREATE TABLE entry (
    seq INTEGER PRIMARY KEY,
    hashed BLOB NOT NULL,
    digest BLOB NOT NULL,
    trusted INTEGER NOT NULL,
    trust_check BLOB NOT NULL
)
"""

#: closed segments of the journal, each a file of its own (whole.py); digests are 32 raw bytes, sha256 is of the file, in hex
SEGMENT_TABLE: Final = """
CREATE TABLE segment (
    number INTEGER PRIMARY KEY,
    first INTEGER NOT NULL,
    last INTEGER NOT NULL,
    entries INTEGER NOT NULL,
    first_digest BLOB NOT NULL,
    digest BLOB NOT NULL,
    bytes INTEGER NOT NULL,
    sha256 TEXT NOT NULL,
    closed_at TEXT NOT NULL
)
"""

#: by name; start refuses a journal that lacks one, verify reports it
TRIGGERS: Final = {
    "entry_no_update": """
        CREATE TRIGGER entry_no_update BEFORE UPDATE ON entry
        BEGIN SELECT RAISE(ABORT, 'entries of the journal are never changed'); END""",
    "entry_no_delete": """
        CREATE TRIGGER entry_no_delete BEFORE DELETE ON entry
        WHEN OLD.seq > coalesce((SELECT max(last) FROM segment), 0)
        BEGIN SELECT RAISE(ABORT, 'entries of the journal are never deleted'); END""",
    "entry_in_order": """
        CREATE TRIGGER entry_in_order BEFORE INSERT ON entry
        WHEN NEW.seq IS NOT (SELECT max(coalesce((SELECT max(seq) FROM entry), 0),
            coalesce((SELECT max(up_to) FROM lost), 0), coalesce((SELECT max(last) FROM segment), 0)) + 1)
        BEGIN SELECT RAISE(ABORT, 'an entry follows the newest one'); END""",
    "segment_no_update": """
        CREATE TRIGGER segment_no_update BEFORE UPDATE ON segment
        BEGIN SELECT RAISE(ABORT, 'what is told of closed segments is never changed'); END""",
    "segment_no_delete": """
        CREATE TRIGGER segment_no_delete BEFORE DELETE ON segment
        BEGIN SELECT RAISE(ABORT, 'what is told of closed segments is never deleted'); END""",
    "segment_in_order": """
        CREATE TRIGGER segment_in_order BEFORE INSERT ON segment
        WHEN NEW.number IS NOT (SELECT coalesce(max(number), 0) + 1 FROM segment)
            OR NEW.first <= (SELECT coalesce(max(last), 0) FROM segment) OR NEW.last < NEW.first
        BEGIN SELECT RAISE(ABORT, 'a closed segment follows the one before'); END""",
}
#: of a closed segment: it takes no entry any more
CLOSED: Final = """
    CREATE TRIGGER entry_closed BEFORE INSERT ON entry
    BEGIN SELECT RAISE(ABORT, 'this segment of the journal is closed'); END"""
NEVER_DELETED: Final = """
    CREATE TRIGGER entry_no_delete BEFORE DELETE ON entry
    BEGIN SELECT RAISE(ABORT, 'entries of the journal are never deleted'); END"""
_SECOND_IN_ORDER: Final = """
    CREATE TRIGGER entry_in_order BEFORE INSERT ON entry
    WHEN NEW.seq IS NOT (SELECT max(coalesce((SELECT max(seq) FROM entry), 0),
        coalesce((SELECT max(up_to) FROM lost), 0)) + 1)
    BEGIN SELECT RAISE(ABORT, 'an entry follows the newest one'); END"""
_FIRST_IN_ORDER: Final = """
    CREATE TRIGGER entry_in_order BEFORE INSERT ON entry
    WHEN NEW.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM entry)
    BEGIN SELECT RAISE(ABORT, 'an entry follows the newest one'); END"""
#: of journals that earlier versions wrote, by their version: first there were no entries known to be lost, then no segments
_EARLIER: Final = {
    0: {"entry_no_delete": NEVER_DELETED, "entry_in_order": _FIRST_IN_ORDER},
    1: {"entry_no_delete": NEVER_DELETED, "entry_in_order": _FIRST_IN_ORDER},
    2: {"entry_no_delete": NEVER_DELETED, "entry_in_order": _SECOND_IN_ORDER},
}

#: for people who look with a shell: the entries as columns
ENTRY_VIEW: Final = """
CREATE VIEW entries AS SELECT
    seq,
    json_extract(CAST(hashed AS TEXT), '$.boot') AS boot,
    json_extract(CAST(hashed AS TEXT), '$.mono_ms') AS mono_ms,
    strftime('%Y-%m-%dT%H:%M:%fZ', json_extract(CAST(hashed AS TEXT), '$.wall_ms') / 1000.0, 'unixepoch') AS at,
    trusted,
    json_extract(CAST(hashed AS TEXT), '$.kind') AS kind,
    json_extract(CAST(hashed AS TEXT), '$.body') AS body,
    lower(hex(digest)) AS digest
FROM entry
"""


def bring_journal_up(conn: sqlite3.Connection, path: Path) -> None:
    """Make or migrate the tables of journal.db. Raises NewerStore: a later version wrote it."""
    if _version(conn, path, JOURNAL_VERSION) < JOURNAL_VERSION:
        _migrate(conn, _journal_migrations(), JOURNAL_VERSION)


def _migrate(conn: sqlite3.Connection, migrations: Migrations, version: int) -> None:
    """All that is pending, and the version, in one transaction: whatever ends it leaves the file as it was."""
    from sqlite_utils import Database

    conn.execute("BEGIN IMMEDIATE")
    try:
        migrations.apply(Database(conn, execute_plugins=False))
        conn.execute(f"PRAGMA user_version={version:d}")
        conn.execute("COMMIT")
    except BaseException:
        if conn.in_transaction:
            conn.execute("ROLLBACK")
        raise


def _version(conn: sqlite3.Connection, path: Path, known: int) -> int:
    version = int(conn.execute("PRAGMA user_version").fetchone()[0])
    if version > known:
        raise newer_store(path, str(version), known)
    return version


def refuse_newer_or_unguarded(conn: sqlite3.Connection, path: Path) -> int:
    """Look at a journal before anything is written to it.

    Returns: the version that wrote it.

    Raises:
        NewerStore: a later version wrote it.
        Damaged: it holds no entries' table.
        StoreFault: a trigger that guards the entries is missing or was altered.
    """
    version = _version(conn, path, JOURNAL_VERSION)
    if not has_entries(conn):
        raise Damaged("it holds no table of entries", where=str(path), expected="a journal", do="Look at the file")
    wrong = wrong_triggers(conn)
    if wrong:
        raise StoreFault(
            f"the journal is not guarded: {'; '.join(wrong)}",
            where=str(path),
            expected="the triggers that refuse changes to entries",
            do="Find out who changed the file; run `warmwell verify` on the folder, set journal.db aside by hand (it "
            "is evidence) and start again with a new one",
        )
    return version


def has_entries(conn: sqlite3.Connection) -> bool:
    """Whether the file holds the entries' table."""
    return conn.execute("SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = 'entry'").fetchone() is not None


def _journal_migrations() -> Migrations:
    from sqlite_utils import Migrations

    migrations = Migrations("warmwell-journal")

    @migrations(name="1 entries, readers' positions, snapshots of the fold")
    def first(db: Database) -> None:
        db.execute(ENTRY_TABLE)
        for trigger in (TRIGGERS["entry_no_update"], NEVER_DELETED, _FIRST_IN_ORDER):
            db.execute(trigger)
        db.execute(ENTRY_VIEW)
        db.table("cursor").create({"name": str, "seq": int}, pk="name", not_null={"seq"})
        db.table("fold").create(
            {"version": int, "seq": int, "state": str, "check_sum": bytes},
            pk="version",
            not_null={"seq", "state", "check_sum"},
        )

    @migrations(name="2 entries that are known to be lost: seqs that are not told again")
    def second(db: Database) -> None:
        db.execute("CREATE TABLE lost (after INTEGER PRIMARY KEY, up_to INTEGER NOT NULL)")
        db.execute("DROP TRIGGER entry_in_order")
        db.execute(_SECOND_IN_ORDER)

    @migrations(name="3 closed segments; what stands in one may be taken out")
    def third(db: Database) -> None:
        db.execute(SEGMENT_TABLE)
        for name in ("entry_no_delete", "entry_in_order"):
            db.execute(f"DROP TRIGGER {name}")
        for name in TRIGGERS.keys() - {"entry_no_update"}:
            db.execute(TRIGGERS[name])

    return migrations


def wrong_triggers(conn: sqlite3.Connection) -> list[str]:
    """What is wrong with the triggers that guard the entries, one clause each; empty where they are as made."""
    sql = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name IN ('entry', 'segment')"
    there = dict(conn.execute(sql))
    version = conn.execute("PRAGMA user_version").fetchone()[0]
    made = {name: sql for name, sql in TRIGGERS.items() if version >= _SEGMENTS_SINCE or name.startswith("entry")}
    made |= _EARLIER.get(version, {})
    wrong = [f"trigger {name} is missing" for name in made if name not in there]
    wrong += [
        f"trigger {name} was altered"
        for name, sql in made.items()
        if name in there and _words(there[name]) != _words(sql)
    ]
    # one that fires before ours could skip or change what is inserted
    wrong += [f"trigger {name} is not ours" for name in sorted(there.keys() - TRIGGERS.keys())]
    return wrong


def _words(sql: str) -> list[str]:
    return sql.split()


#: version of series.db, kept in `pragma user_version`
SERIES_VERSION: Final = 3
#: no version of ours is ever so high: the number was damaged
_NO_VERSION: Final = 10_000


def bring_series_up(conn: sqlite3.Connection, path: Path) -> None:
    """Make or migrate the tables of series.db.

    Raises:
        NewerStore: a later version wrote it.
    """
    if series_version(conn, path) < SERIES_VERSION:
        _migrate(conn, _series_migrations(), SERIES_VERSION)


def series_version(conn: sqlite3.Connection, path: Path) -> int:
    """Which version wrote it.

    Raises:
        NewerStore: a later one.
        Damaged: the number can't be one.
    """
    found = int(conn.execute("PRAGMA user_version").fetchone()[0])
    if not 0 <= found < _NO_VERSION:
        raise Damaged(f"its version is {found}", where=str(path), expected="a small number", do="Look at the file")
    return _version(conn, path, SERIES_VERSION)


def _series_migrations() -> Migrations:
    from sqlite_utils import Migrations

    migrations = Migrations("warmwell-series")

    @migrations(name="1 points, clock map, slots for batches, sealed blocks, rollups")
    def first(db: Database) -> None:
        db.table("point").create(
            {"number": int, "id": str, "role": str, "kind": str, "unit": str, "hold_ms": int},
            pk="number",
            not_null={"id", "role", "kind", "unit", "hold_ms"},
        ).create_index(["id"], unique=True)
        db.table("boot").create({"number": int, "id": str}, pk="number", not_null={"id"}).create_index(
            ["id"], unique=True
        )
        db.table("clock").create(
            {"boot": int, "from_mono_ms": int, "offset_ms": int, "trusted": int},
            pk=("boot", "from_mono_ms"),
            not_null={"offset_ms", "trusted"},
        )
        db.table("slot").create({"number": int, "data": bytes}, pk="number", not_null={"data"})
        db.table("sealed").create({"id": int, "up_to": bytes}, pk="id", not_null={"up_to"})
        db.execute("INSERT INTO sealed (id, up_to) VALUES (1, zeroblob(8))")
        db.table("block").create(
            {
                "number": int,
                "point": int,
                "boot": int,
                "hour": int,
                "part": int,
                "n": int,
                "from_mono_ms": int,
                "to_mono_ms": int,
                "rolled_up": int,
                "packed": bytes,
            },
            pk="number",
            not_null={"point", "boot", "hour", "part", "n", "from_mono_ms", "to_mono_ms", "rolled_up", "packed"},
        ).create_index(["boot", "hour", "point", "part"], unique=True)
        db.execute("CREATE INDEX block_not_rolled_up ON block (boot) WHERE rolled_up = 0")
        for tier in ("minute", "hour"):  # all of one point together: a chart reads few pages, a seal writes few
            db.execute(
                f"CREATE TABLE {tier} (point INTEGER NOT NULL, at INTEGER NOT NULL, n INTEGER NOT NULL, low REAL, high REAL,"
                " integral REAL NOT NULL, covered_ms INTEGER NOT NULL, worst INTEGER NOT NULL, PRIMARY KEY (point, at))"
                " WITHOUT ROWID"
            )

    @migrations(name="2 which date has stood for how long")
    def second(db: Database) -> None:
        db.execute(SEEN_TABLE)

    @migrations(name="3 why no value was read")
    def third(db: Database) -> None:
        for tier in ("minute", "hour"):
            db.execute(f"ALTER TABLE {tier} ADD COLUMN reason TEXT")

    return migrations


#: tables and columns that readings are kept in
_SERIES_COLUMNS: Final = {
    "point": "number id role kind unit hold_ms",
    "boot": "number id",
    "clock": "boot from_mono_ms offset_ms trusted",
    "slot": "number data",
    "sealed": "id up_to",
    "block": "number point boot hour part n from_mono_ms to_mono_ms rolled_up packed",
    "minute": "point at n low high integral covered_ms worst reason",
    "hour": "point at n low high integral covered_ms worst reason",
    "date_seen": "run_ms boot mono_ms wall_ms block",
}


def wrong_series_tables(conn: sqlite3.Connection) -> str:
    """What is wrong with the tables of series.db; "" where they are as made."""
    for table, columns in _SERIES_COLUMNS.items():
        there = {row[1] for row in conn.execute(f"PRAGMA table_info({table})")}
        missing = [column for column in columns.split() if column not in there]
        if missing:
            return f"its table {table} is not as it was made: no {', '.join(missing)}"
    if conn.execute("SELECT count(*) FROM sealed").fetchone()[0] != 1:
        return "its note of what is sealed is gone"
    return ""
