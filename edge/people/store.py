"""people.db: who there is, how they sign in, who is signed in. Beside the journal, and no part of it.

It holds no secret in plain words: codes by a slow hash, tokens by their digest. No file is nobody at all; one that can't be read is a
StoreFault, never nobody.
"""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any, Final, NamedTuple

from edge.domain.errors import NewerStore, StoreFault, UnusableInput
from edge.domain.permits import PersonRole, Scope
from edge.people.file import PEOPLE_FILE, PeopleFile

#: a station has some ten people; so many are a mistake
MOST_PEOPLE: Final = 500
MOST_TOKENS: Final = 100
#: of one person; the one that was idle for longest ends first
MOST_SESSIONS: Final = 8
#: changes that wait for the daemon to journal them
MOST_CHANGES: Final = 1000


class Person(NamedTuple):
    """Somebody who may sign in."""

    number: int
    name: str
    role: PersonRole


class Session(NamedTuple):
    """A session as it is kept; its times are monotonic milliseconds of `boot`."""

    digest: bytes
    person: Person
    boot: str
    began_ms: int
    seen_ms: int


class Token(NamedTuple):
    """A program's token as it is kept."""

    number: int
    person: Person
    title: str
    scopes: frozenset[Scope]
    made_ms: int


class Tries(NamedTuple):
    """What an address tried; times are monotonic milliseconds of `boot`."""

    address: str
    boot: str
    wrong: int
    last_ms: int
    until_ms: int


class Change(NamedTuple):
    """Something that was done to people on the board, for the journal."""

    number: int
    what: str
    name: str
    role: str
    at_ms: int


def any_person(folder: Path) -> bool:
    """Whether anybody may sign in at the station of this [keep] folder.

    True also where people.db is there and can't be read: then nobody can sign in, and nobody may do anything either.
    """
    store = PeopleStore(folder)
    try:
        return store.count() > 0
    except (StoreFault, NewerStore):
        return True
    finally:
        store.close()


class PeopleStore:
    """The people of one [keep] folder. Any thread may call it, one at a time.

    Every call raises StoreFault where the file can't be used, NewerStore where a later version wrote it.
    """

    def __init__(self, folder: Path) -> None:
        self.path = folder / PEOPLE_FILE
        self._file = PeopleFile(self.path)

    def close(self) -> None:
        """Let the file go; may be called twice."""
        self._file.close()

    # -- people

    def count(self) -> int:
        """How many people there are; 0 where there is no file."""
        found = self._file.rows("SELECT count(*) FROM person")
        return int(found[0][0]) if found else 0

    def people(self) -> list[Person]:
        """Everybody, by name."""
        return [_person(row) for row in self._file.rows("SELECT number, name, role FROM person ORDER BY folded")]

    def named(self, name: str) -> Person | None:
        """Somebody by name, however it is spelt in capitals and spaces."""
        found = self._file.rows("SELECT number, name, role FROM person WHERE folded = ?", folded(name))
        return _person(found[0]) if found else None

    def found_by(self, finder: str) -> tuple[Person, str] | None:
        """Whoever has a code with this first part, and the hash of its secret."""
        found = self._file.rows("SELECT number, name, role, secret FROM person WHERE finder = ?", finder)
        return (_person(found[0]), str(found[0][3])) if found else None

    def add(self, name: str, role: PersonRole, finder: str, secret: str, at_ms: int, *, first: bool = False) -> bool:
        """Add a person. False where another code has this first part, or, of the `first`, somebody is there already.

        Raises:
            UnusableInput: the name is taken, or there are too many people.
        """
        with self._file.writing() as conn:
            (many,) = conn.execute("SELECT count(*) FROM person").fetchone()
            if first and many:
                return False
            if many >= MOST_PEOPLE:
                raise _too_many(self.path, MOST_PEOPLE, "people")
            if conn.execute("SELECT 1 FROM person WHERE folded = ?", (folded(name),)).fetchone():
                raise UnusableInput(
                    "there is somebody of that name", where=f"name {name!r}", expected="a name that tells people apart",
                    do="Add what tells the two apart, or give a new code: `warmwell people reset`",
                )  # fmt: skip
            if conn.execute("SELECT 1 FROM person WHERE finder = ?", (finder,)).fetchone():
                return False
            conn.execute(
                "INSERT INTO person (name, folded, role, finder, secret, made_ms) VALUES (?, ?, ?, ?, ?, ?)",
                (name, folded(name), role, finder, secret, at_ms),
            )
            conn.execute("DELETE FROM first")
            _note(conn, "person_added", name, role, at_ms)
        return True

    def remove(self, person: Person, at_ms: int) -> None:
        """Remove somebody, with sessions and tokens."""
        with self._file.writing() as conn:
            conn.execute("DELETE FROM person WHERE number = ?", (person.number,))
            _note(conn, "person_removed", person.name, person.role, at_ms)

    def reset(self, person: Person, finder: str, secret: str, at_ms: int) -> bool:
        """Give somebody another code, and end their sessions. False where another code has this first part."""
        with self._file.writing() as conn:
            if conn.execute("SELECT 1 FROM person WHERE finder = ?", (finder,)).fetchone():
                return False
            conn.execute("UPDATE person SET finder = ?, secret = ? WHERE number = ?", (finder, secret, person.number))
            conn.execute("DELETE FROM session WHERE person = ?", (person.number,))
            _note(conn, "code_renewed", person.name, person.role, at_ms)
        return True

    # -- sessions

    def begin_session(self, digest: bytes, person: Person, secret: str, boot: str, mono_ms: int) -> bool:
        """Keep a session. False where the person has gone, or has another code by now than the one with this hash."""
        with self._file.writing() as conn:
            row = conn.execute("SELECT secret FROM person WHERE number = ?", (person.number,)).fetchone()
            if row is None or row[0] != secret:
                return False
            conn.execute("DELETE FROM session WHERE boot != ?", (boot,))
            conn.execute(
                "DELETE FROM session WHERE digest IN "
                "(SELECT digest FROM session WHERE person = ? ORDER BY seen_ms DESC LIMIT -1 OFFSET ?)",
                (person.number, MOST_SESSIONS - 1),
            )
            conn.execute(
                "INSERT INTO session (digest, person, boot, began_ms, seen_ms) VALUES (?, ?, ?, ?, ?)",
                (digest, person.number, boot, mono_ms, mono_ms),
            )
        return True

    def session(self, digest: bytes) -> Session | None:
        """The session of a token."""
        found = self._file.rows(
            "SELECT number, name, role, boot, began_ms, seen_ms FROM session JOIN person ON person = number WHERE digest = ?",
            digest,
        )
        return Session(digest, _person(found[0]), *found[0][3:]) if found else None

    def saw_session(self, digest: bytes, mono_ms: int) -> None:
        """Note that somebody did something in a session."""
        with self._file.writing() as conn:
            conn.execute("UPDATE session SET seen_ms = ? WHERE digest = ?", (mono_ms, digest))

    def end_session(self, digest: bytes) -> None:
        """End one session."""
        with self._file.writing() as conn:
            conn.execute("DELETE FROM session WHERE digest = ?", (digest,))

    def end_sessions(self, person: Person, at_ms: int) -> None:
        """End all sessions of a person."""
        with self._file.writing() as conn:
            conn.execute("DELETE FROM session WHERE person = ?", (person.number,))
            _note(conn, "sessions_ended", person.name, person.role, at_ms)

    # -- tokens of programs

    def add_token(self, digest: bytes, person: Person, title: str, scopes: frozenset[Scope], at_ms: int) -> int:
        """Keep a token; its number. Raises UnusableInput: there are too many."""
        with self._file.writing() as conn:
            if conn.execute("SELECT count(*) FROM token").fetchone()[0] >= MOST_TOKENS:
                raise _too_many(self.path, MOST_TOKENS, "tokens")
            number = conn.execute(
                "INSERT INTO token (digest, person, title, scopes, made_ms) VALUES (?, ?, ?, ?, ?)",
                (digest, person.number, title, " ".join(sorted(scopes)), at_ms),
            ).lastrowid
            _note(conn, "token_made", person.name, person.role, at_ms)
        return int(number or 0)

    def tokens(self) -> list[Token]:
        """All tokens, the oldest first."""
        return [_token(row) for row in self._file.rows(TOKEN_ROWS + " ORDER BY token.number")]

    def token(self, digest: bytes) -> Token | None:
        """The token with this digest."""
        found = self._file.rows(TOKEN_ROWS + " WHERE digest = ?", digest)
        return _token(found[0]) if found else None

    def remove_token(self, token: Token, at_ms: int) -> None:
        """Revoke a token."""
        with self._file.writing() as conn:
            conn.execute("DELETE FROM token WHERE number = ?", (token.number,))
            _note(conn, "token_revoked", token.person.name, token.person.role, at_ms)

    # -- the first person

    def offer_first(self, finder: str, secret: str, boot: str, mono_ms: int, at_ms: int) -> bool:
        """Keep a one-time code for making the first person; the one before is over. False where there is somebody."""
        with self._file.writing() as conn:
            if conn.execute("SELECT 1 FROM person LIMIT 1").fetchone():
                return False
            conn.execute("DELETE FROM first")
            conn.execute(
                "INSERT INTO first (one, finder, secret, boot, made_ms) VALUES (1, ?, ?, ?, ?)",
                (finder, secret, boot, mono_ms),
            )
            _note(conn, "first_offered", "", "", at_ms)
        return True

    def first(self) -> tuple[str, str, str, int] | None:
        """The one-time code as it is kept: (first part, hash, boot, made_ms)."""
        found = self._file.rows("SELECT finder, secret, boot, made_ms FROM first")
        return (str(found[0][0]), str(found[0][1]), str(found[0][2]), int(found[0][3])) if found else None

    # -- what addresses tried

    def tries(self) -> list[Tries]:
        """All that is kept of wrong codes."""
        return [Tries(*row) for row in self._file.rows("SELECT address, boot, wrong, last_ms, until_ms FROM tries")]

    def keep_tries(self, tries: Tries, most: int) -> None:
        """Keep what an address tried; of more than `most` addresses the oldest go."""
        with self._file.writing() as conn:
            conn.execute("INSERT OR REPLACE INTO tries VALUES (?, ?, ?, ?, ?)", tries)
            conn.execute(
                "DELETE FROM tries WHERE address IN (SELECT address FROM tries ORDER BY last_ms DESC LIMIT -1 OFFSET ?)",
                (most,),
            )

    def forget_tries(self, address: str) -> None:
        """What this address tried doesn't matter any more."""
        with self._file.writing() as conn:
            conn.execute("DELETE FROM tries WHERE address = ?", (address,))

    # -- what waits for the journal

    def changes(self) -> list[Change]:
        """Changes that the daemon has not journalled yet, in order."""
        return [
            Change(*row)
            for row in self._file.rows("SELECT number, what, name, role, at_ms FROM change ORDER BY number")
        ]

    def told(self, up_to: int) -> None:
        """These changes have been handed to the journal."""
        with self._file.writing() as conn:
            conn.execute("DELETE FROM change WHERE number <= ?", (up_to,))


TOKEN_ROWS: Final = (
    "SELECT person.number, name, role, token.number, title, scopes, token.made_ms "
    "FROM token JOIN person ON person = person.number"
)


def folded(name: str) -> str:
    """A name as it is compared: capitals and spaces don't matter."""
    return " ".join(name.casefold().split())


def _person(row: tuple[Any, ...]) -> Person:
    try:
        return Person(int(row[0]), str(row[1]), PersonRole(row[2]))
    except ValueError as exc:
        raise _not_ours(f"{row[2]!r} is no role") from exc


def _token(row: tuple[Any, ...]) -> Token:
    try:
        scopes = frozenset(Scope(word) for word in str(row[5]).split())
    except ValueError as exc:
        raise _not_ours(f"{row[5]!r} are no scopes") from exc
    return Token(int(row[3]), _person(row), str(row[4]), scopes, int(row[6]))


def _not_ours(what: str) -> StoreFault:
    return StoreFault(
        what, where=PEOPLE_FILE, expected="what `warmwell people` writes", do="Remove that person, and add them anew"
    )


def _note(conn: sqlite3.Connection, what: str, name: str, role: str, at_ms: int) -> None:
    conn.execute("INSERT INTO change (what, name, role, at_ms) VALUES (?, ?, ?, ?)", (what, name, role, at_ms))
    conn.execute(
        "DELETE FROM change WHERE number NOT IN (SELECT number FROM change ORDER BY number DESC LIMIT ?)",
        (MOST_CHANGES,),
    )


def _too_many(path: Path, most: int, what: str) -> UnusableInput:
    return UnusableInput(
        f"there are {most} {what} already",
        where=str(path),
        expected=f"at most {most}",
        do="Remove those that are not used",
    )
