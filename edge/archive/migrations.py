"""The archive's tables, by numbered steps. A step that stood in a release never changes; what is new gets a step of its own."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, Final, LiteralString

from edge.domain.errors import NewerStore, UnusableInput

if TYPE_CHECKING:
    from psycopg import Connection

STEPS: Final[tuple[LiteralString, ...]] = (
    """
CREATE TABLE station (
    id int GENERATED ALWAYS AS IDENTITY PRIMARY KEY, site text NOT NULL, name text NOT NULL, UNIQUE (site, name));
CREATE TABLE journal (
    id int GENERATED ALWAYS AS IDENTITY PRIMARY KEY, station int NOT NULL REFERENCES station, mark text NOT NULL,
    first_heard timestamptz NOT NULL DEFAULT now(), UNIQUE (station, mark));
CREATE TABLE entry (
    journal int NOT NULL REFERENCES journal, seq bigint NOT NULL, at timestamptz NOT NULL, trusted bool NOT NULL, kind text NOT NULL,
    digest bytea NOT NULL, message bytea NOT NULL, body jsonb, arrived timestamptz NOT NULL DEFAULT now(), PRIMARY KEY (journal, seq));
CREATE INDEX entry_kind ON entry (kind, at);
CREATE TABLE heard (
    journal int PRIMARY KEY REFERENCES journal, have int8multirange NOT NULL DEFAULT '{}', lost int8multirange NOT NULL DEFAULT '{}',
    head_seq bigint NOT NULL DEFAULT 0, head_digest bytea, last_at timestamptz, verified_seq bigint NOT NULL DEFAULT 0,
    verified_digest bytea, misfit text) WITH (fillfactor = 50);
CREATE TABLE said (
    station int NOT NULL REFERENCES station, topic text NOT NULL, message bytea NOT NULL, at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (station, topic)) WITH (fillfactor = 50);
CREATE TABLE aside (
    id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY, topic text NOT NULL, message bytea NOT NULL, why text NOT NULL,
    is_clash bool NOT NULL, at timestamptz NOT NULL DEFAULT now());
CREATE UNIQUE INDEX aside_once ON aside (topic, sha256(message));
CREATE FUNCTION entry_is_kept() RETURNS trigger LANGUAGE plpgsql AS
    $$BEGIN RAISE EXCEPTION 'an entry is never changed or deleted'; END$$;
CREATE TRIGGER entry_is_kept BEFORE UPDATE OR DELETE ON entry FOR EACH ROW EXECUTE FUNCTION entry_is_kept();
CREATE TRIGGER entry_is_not_emptied BEFORE TRUNCATE ON entry FOR EACH STATEMENT EXECUTE FUNCTION entry_is_kept();
""",
    # one row for each station, for the fleet's list. What stands in it of retained topics is written with them (store.py), what the ledger
    # says by these triggers: so it is as old as what it sums up, never older. A time that isn't known lies in 1970 or in 9999.
    """
CREATE TABLE summary (
    station int PRIMARY KEY REFERENCES station, site text NOT NULL, name text NOT NULL, title text NOT NULL DEFAULT '',
    timezone text NOT NULL DEFAULT '', node text NOT NULL DEFAULT 'unknown', verdict text NOT NULL DEFAULT 'unknown',
    display text NOT NULL DEFAULT 'cant_tell', said_at timestamptz NOT NULL DEFAULT '1970-01-01Z',
    heard_at timestamptz NOT NULL DEFAULT '1970-01-01Z', silent_at timestamptz NOT NULL DEFAULT '1970-01-01Z',
    is_silent bool NOT NULL DEFAULT true, expected_at timestamptz NOT NULL DEFAULT '9999-01-01Z', first_text text NOT NULL DEFAULT '',
    first_msg text NOT NULL DEFAULT '', alarm smallint NOT NULL DEFAULT 0, alarms int NOT NULL DEFAULT 0,
    filters_due timestamptz NOT NULL DEFAULT '9999-01-01Z', calibration_due timestamptz NOT NULL DEFAULT '9999-01-01Z',
    entries bigint NOT NULL DEFAULT 0, missing bigint NOT NULL DEFAULT 0, misfit bool NOT NULL DEFAULT false,
    clashes int NOT NULL DEFAULT 0,
    urgency smallint NOT NULL GENERATED ALWAYS AS (CASE
        WHEN is_silent THEN 1 WHEN alarm = 3 THEN 0 WHEN display = 'not_ready' THEN 2
        WHEN display NOT IN ('ready', 'in_use', 'reheating', 'at_rest') THEN 3 WHEN misfit OR clashes > 0 THEN 4 WHEN alarm = 2 THEN 5
        WHEN missing > 0 THEN 6 WHEN alarm = 1 THEN 7 WHEN display <> 'ready' THEN 8 ELSE 9 END) STORED) WITH (fillfactor = 50);
CREATE UNIQUE INDEX summary_name ON summary (site, name);
CREATE INDEX summary_urgent ON summary (urgency, site, name);
CREATE INDEX summary_filters ON summary (filters_due, site, name);
CREATE INDEX summary_calibration ON summary (calibration_due, site, name);
CREATE INDEX summary_heard ON summary (heard_at, site, name);
CREATE INDEX summary_falls_silent ON summary (silent_at) WHERE NOT is_silent;
CREATE INDEX entry_settings ON entry (journal, seq) WHERE kind = 'settings';
CREATE FUNCTION station_is_summed() RETURNS trigger LANGUAGE plpgsql AS
    $$BEGIN INSERT INTO summary (station, site, name) VALUES (NEW.id, NEW.site, NEW.name); RETURN NULL; END$$;
CREATE TRIGGER station_is_summed AFTER INSERT ON station FOR EACH ROW EXECUTE FUNCTION station_is_summed();
CREATE FUNCTION ledger_is_summed() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    whose int := (SELECT station FROM journal WHERE id = NEW.journal);
    bad bool := EXISTS (SELECT FROM heard h JOIN journal j ON j.id = h.journal WHERE j.station = whose AND h.misfit IS NOT NULL);
    until bigint := greatest(coalesce(upper(NEW.have), 1), NEW.head_seq + 1);
BEGIN
    UPDATE summary SET misfit = bad WHERE station = whose AND misfit <> bad;
    IF NOT EXISTS (SELECT FROM journal WHERE station = whose AND id > NEW.journal) THEN
        UPDATE summary SET entries = until - 1, missing = (SELECT coalesce(sum(upper(gap) - lower(gap)), 0)
            FROM unnest(int8multirange(int8range(1, until)) - (NEW.have + NEW.lost)) gap) WHERE station = whose;
    END IF;
    RETURN NULL;
END$$;
CREATE TRIGGER ledger_is_summed AFTER INSERT OR UPDATE ON heard FOR EACH ROW EXECUTE FUNCTION ledger_is_summed();
CREATE FUNCTION clash_is_summed() RETURNS trigger LANGUAGE plpgsql AS
    $$BEGIN UPDATE summary SET clashes = clashes + 1 WHERE site || '/' || name = NEW.topic; RETURN NULL; END$$;
CREATE TRIGGER clash_is_summed AFTER INSERT ON aside FOR EACH ROW WHEN (NEW.is_clash) EXECUTE FUNCTION clash_is_summed();
INSERT INTO summary (station, site, name) SELECT id, site, name FROM station;
UPDATE heard SET journal = journal;
UPDATE summary s SET clashes = (SELECT count(*) FROM aside a WHERE a.is_clash AND a.topic = s.site || '/' || s.name);
""",
)
#: what the role that writes may do: entries and what was set aside are added, and no more
_GRANTS: Final[tuple[LiteralString, ...]] = (
    "GRANT SELECT ON ALL TABLES IN SCHEMA public TO {}",
    "GRANT INSERT ON station, journal, entry, heard, said, aside, summary TO {}",
    "GRANT UPDATE ON heard, said, summary TO {}",
)
#: what the role may do that shows the fleet
_READS: Final[tuple[LiteralString, ...]] = ("GRANT SELECT ON ALL TABLES IN SCHEMA public TO {}",)


def revision(db: Connection[Any]) -> int:
    """How many steps were made; 0 in an empty database."""
    if db.execute("SELECT to_regclass('revision')").fetchone() == (None,):
        return 0
    row = db.execute("SELECT max(number) FROM revision").fetchone()
    return int(row[0] or 0) if row else 0


def prepare(db: Connection[Any], writer: str | None = None, reader: str | None = None) -> int:
    """Make the tables, or bring them up to date, in one transaction; give `writer` and `reader` their rights. Returns how many steps
    were made.

    Raises:
        UnusableInput: there is no such role.
        NewerStore: a newer version made them.
    """
    from psycopg import errors, sql

    roles = {"--writer": (writer, _GRANTS), "--reader": (reader, _READS)}
    for where, (role, _) in roles.items():
        if role is not None and not re.fullmatch(r"[a-z_][a-z0-9_-]{0,62}", role):
            raise _no_role(role, where)
    with db.transaction():
        db.execute("SELECT pg_advisory_xact_lock(%s)", (_PREPARING,))
        db.execute(
            "CREATE TABLE IF NOT EXISTS revision (number int PRIMARY KEY, at timestamptz NOT NULL DEFAULT now())"
        )
        made = revision(db)
        _not_newer(made)
        for number, step in enumerate(STEPS[made:], made + 1):
            db.execute(step)
            db.execute("INSERT INTO revision (number) VALUES (%s)", (number,))
        for where, (role, grants) in roles.items():
            try:
                for grant in grants if role is not None else ():
                    db.execute(sql.SQL(grant).format(sql.Identifier(role or "")))
            except errors.UndefinedObject as exc:
                raise _no_role(str(role), where) from exc
    return len(STEPS) - made


#: which program prepares, for pg_advisory_xact_lock
_PREPARING: Final = 0x7761726D_70726570


def check(db: Connection[Any]) -> None:
    """Whether the tables are those of this version.

    Raises:
        UnusableInput: they aren't there, or older.
        NewerStore: a newer version made them.
    """
    made = revision(db)
    _not_newer(made)
    if made < len(STEPS):
        raise UnusableInput(
            "has no tables of an archive" if made == 0 else f"has tables of revision {made}", where="the archive's database",
            expected=f"tables of revision {len(STEPS)}", do="Run `warmwell archive prepare FILE` as the database's owner",
        )  # fmt: skip


def _not_newer(made: int) -> None:
    if made > len(STEPS):
        raise NewerStore(
            f"has tables of revision {made}", where="the archive's database", expected=f"at most revision {len(STEPS)}",
            do="Use the version of Warmwell that made them, or a newer one",
        )  # fmt: skip


def _no_role(role: str, where: str) -> UnusableInput:
    return UnusableInput(
        f"there is no role {role[:63]!r}",
        where=where,
        expected="a role of the database",
        do="Make it first: CREATE ROLE … LOGIN",
    )
