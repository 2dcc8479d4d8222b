"""people.db: people, sessions, tokens; whatever stands under its name."""

from __future__ import annotations

import os
import sqlite3
import stat
from pathlib import Path

import pytest

from edge.domain.errors import NewerStore, StoreFault, UnusableInput
from edge.domain.permits import PersonRole, Scope
from edge.people.file import PEOPLE_FILE
from edge.people.store import MOST_SESSIONS, PeopleStore, any_person

TECHNICIAN = PersonRole.TECHNICIAN


@pytest.fixture
def store(tmp_path: Path) -> PeopleStore:
    made = PeopleStore(tmp_path)
    assert made.add("M. Osei", TECHNICIAN, "AAAA", "hash of a code", 1)
    return made


def test_looking_makes_no_file(tmp_path: Path) -> None:
    assert not any_person(tmp_path)
    store = PeopleStore(tmp_path)
    assert store.people() == [] and store.count() == 0 and store.session(b"x") is None and store.changes() == []
    assert os.listdir(tmp_path) == []


def test_the_file_is_for_its_owner_alone_and_keeps_a_log_ahead(store: PeopleStore, tmp_path: Path) -> None:
    modes = {name: stat.S_IMODE(os.stat(tmp_path / name).st_mode) for name in os.listdir(tmp_path)}
    assert set(modes) == {PEOPLE_FILE, f"{PEOPLE_FILE}-wal", f"{PEOPLE_FILE}-shm"} and set(modes.values()) == {0o600}
    with sqlite3.connect(tmp_path / PEOPLE_FILE) as conn:
        assert conn.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_a_name_is_one_however_it_is_spelt(store: PeopleStore) -> None:
    assert store.named(" m.  OSEI ") == store.people()[0]
    with pytest.raises(UnusableInput, match="somebody of that name"):
        store.add("m. osei", TECHNICIAN, "BBBB", "x", 2)
    assert not store.add("J. Lund", TECHNICIAN, "AAAA", "x", 2), "the first part of a code finds one person"
    assert store.count() == 1


def test_another_connection_sees_at_once_what_was_done(store: PeopleStore, tmp_path: Path) -> None:
    other = PeopleStore(tmp_path)
    person = other.people()[0]
    assert store.begin_session(b"digest", person, "hash of a code", "boot", 5)
    seen = other.session(b"digest")
    assert seen is not None and seen.person == person and (seen.boot, seen.began_ms, seen.seen_ms) == ("boot", 5, 5)
    assert other.reset(person, "CCCC", "another", 7)
    assert store.session(b"digest") is None, "whoever has a new code is signed out"
    assert not store.begin_session(b"late", person, "hash of a code", "boot", 8), (
        "the old code was taken back meanwhile"
    )
    other.remove(person, 9)
    assert store.count() == 0 and not any_person(tmp_path)
    assert [(one.what, one.name) for one in store.changes()] == [
        ("person_added", "M. Osei"), ("code_renewed", "M. Osei"), ("person_removed", "M. Osei"),
    ]  # fmt: skip
    store.told(store.changes()[1].number)
    assert [one.what for one in other.changes()] == ["person_removed"]


def test_sessions_of_one_person_are_few_and_those_of_another_boot_are_over(store: PeopleStore) -> None:
    person = store.people()[0]
    assert store.begin_session(b"before", person, "hash of a code", "boot before", 1)
    for place in range(MOST_SESSIONS + 3):
        assert store.begin_session(b"%d" % place, person, "hash of a code", "boot", place)
    alive = [place for place in range(MOST_SESSIONS + 3) if store.session(b"%d" % place)]
    assert alive == list(range(3, MOST_SESSIONS + 3)) and store.session(b"before") is None


def test_who_is_removed_takes_tokens_along(store: PeopleStore) -> None:
    person = store.people()[0]
    number = store.add_token(b"digest", person, "gateway", frozenset({Scope.READ, Scope.RECORD}), 3)
    token = store.token(b"digest")
    assert token is not None and token.number == number and token.scopes == {Scope.READ, Scope.RECORD}
    assert store.tokens() == [token]
    store.remove(person, 4)
    assert store.tokens() == []


def test_what_is_damaged_is_a_fault_and_never_nobody(store: PeopleStore, tmp_path: Path) -> None:
    store.close()
    path = tmp_path / PEOPLE_FILE
    whole = path.read_bytes()
    for damage in (b"", b"rubbish" * 100, whole[:100] + b"\xff" * (len(whole) - 100), whole[: len(whole) // 2]):
        path.write_bytes(damage)
        with pytest.raises(StoreFault):
            PeopleStore(tmp_path).people()
        assert any_person(tmp_path), "unknown is not nobody"
    path.unlink()
    path.mkdir()
    with pytest.raises(StoreFault):
        PeopleStore(tmp_path).people()


def test_a_file_that_is_put_back_is_used(store: PeopleStore, tmp_path: Path) -> None:
    store.close()
    path = tmp_path / PEOPLE_FILE
    path.rename(tmp_path / "away")
    assert store.people() == []
    (tmp_path / "away").rename(path)
    assert [one.name for one in store.people()] == ["M. Osei"]


def test_what_a_newer_version_wrote_is_left_alone(store: PeopleStore, tmp_path: Path) -> None:
    store.close()
    with sqlite3.connect(tmp_path / PEOPLE_FILE) as conn:
        conn.execute("PRAGMA user_version=99")
    with pytest.raises(NewerStore, match="99"):
        PeopleStore(tmp_path).people()
