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
)
#: what the role that writes may do: entries and what was set aside are added, and no more
_GRANTS: Final[tuple[LiteralString, ...]] = (
    "GRANT SELECT ON ALL TABLES IN SCHEMA public TO {}",
    "GRANT INSERT ON station, journal, entry, heard, said, aside TO {}",
    "GRANT UPDATE ON heard, said TO {}",
)


def revision(db: Connection[Any]) -> int:
    """How many steps were made; 0 in an empty database."""
    if db.execute("SELECT to_regclass('revision')").fetchone() == (None,):
        return 0
    row = db.execute("SELECT max(number) FROM revision").fetchone()
    return int(row[0] or 0) if row else 0


def prepare(db: Connection[Any], writer: str | None = None) -> int:
    """Make the tables, or bring them up to date, in one transaction; give `writer` its rights. Returns how many steps were made.

    Raises:
        UnusableInput: there is no such role.
        NewerStore: a newer version made them.
    """
    from psycopg import errors, sql

    if writer is not None and not re.fullmatch(r"[a-z_][a-z0-9_-]{0,62}", writer):
        raise _no_role(writer)
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
        if writer is not None:
            try:
                for grant in _GRANTS:
                    db.execute(sql.SQL(grant).format(sql.Identifier(writer)))
            except errors.UndefinedObject as exc:
                raise _no_role(writer) from exc
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


def _no_role(writer: str) -> UnusableInput:
    return UnusableInput(
        f"there is no role {writer[:63]!r}",
        where="--writer",
        expected="a role of the database",
        do="Make it first: CREATE ROLE … LOGIN",
    )
