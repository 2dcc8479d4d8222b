"""Adding people, resetting and revoking: names, codes that are shown once, what can't be done."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from edge.domain.errors import NotAllowed, StoreFault, UnusableInput
from edge.domain.permits import PersonRole, Scope
from edge.people import hashing, roster
from edge.people.codes import Code, read_code
from edge.people.store import MOST_PEOPLE, PeopleStore

TECHNICIAN = PersonRole.TECHNICIAN


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[PeopleStore]:
    """A store whose hashes take no time: what is kept of a code is tested elsewhere."""
    monkeypatch.setattr("edge.people.hashing.hashed", lambda secret: f"hash of {len(secret)} signs")
    made = PeopleStore(tmp_path)
    yield made
    made.close()


def test_a_person_is_found_by_the_code_that_was_shown_and_keeps_none_of_it(store: PeopleStore) -> None:
    made = roster.add(store, "  M.   Osei ", PersonRole.BIOMED, 7)
    code = read_code(made.code)
    assert code is not None and (made.name, made.role) == ("M. Osei", PersonRole.BIOMED)
    found = store.found_by(code.finder)
    assert found is not None and found[0].name == "M. Osei" and found[1] == "hash of 11 signs"
    again = read_code(roster.reset(store, "m. osei", 8).code)
    assert again is not None and store.found_by(code.finder) is None and store.found_by(again.finder) is not None


@pytest.mark.parametrize("name", ["", "   ", "x" * 81, "a\nb\x00", "\x1b[31m", "a\u202eb"])
def test_a_name_that_no_record_could_bear_is_refused(store: PeopleStore, name: str) -> None:
    with pytest.raises(UnusableInput, match="it can't be used as a name"):
        roster.add(store, name, TECHNICIAN, 1)
    assert store.count() == 0


def test_a_mistyped_name_is_told_the_nearest(store: PeopleStore) -> None:
    roster.add(store, "M. Osei", TECHNICIAN, 1)
    with pytest.raises(UnusableInput, match=r"nearest: 'M\. Osei'"):
        roster.reset(store, "M Osie", 2)
    with pytest.raises(UnusableInput, match="warmwell people list"):
        roster.named(store, "somebody quite different")


def test_a_first_part_that_is_taken_is_drawn_again(store: PeopleStore, monkeypatch: pytest.MonkeyPatch) -> None:
    drawn = iter([Code("AAAA", "0" * 11), Code("AAAA", "1" * 11), Code("BBBB", "2" * 11)])
    monkeypatch.setattr("edge.people.roster.new_code", lambda: next(drawn))
    roster.add(store, "M. Osei", TECHNICIAN, 1)
    assert roster.add(store, "J. Lund", TECHNICIAN, 2).code.startswith("BBBB")
    monkeypatch.setattr("edge.people.roster.new_code", lambda: Code("AAAA", "0" * 11))
    with pytest.raises(StoreFault, match="no code could be found"):
        roster.add(store, "K. Sato", TECHNICIAN, 3)


def test_a_first_person_is_made_where_there_is_nobody(store: PeopleStore) -> None:
    assert roster.offer_first(store, "boot", 5, 6) and store.first() is not None
    roster.add(store, "M. Osei", PersonRole.BIOMED, 7, is_first=True)
    assert store.first() is None, "its code is used up"
    for attempt in (
        lambda: roster.add(store, "J. Lund", TECHNICIAN, 8, is_first=True),
        lambda: roster.offer_first(store, "boot", 5, 6),
    ):
        with pytest.raises(NotAllowed, match="somebody is set up already"):
            attempt()


def test_tokens_are_kept_as_digests_and_found_by_their_number(store: PeopleStore) -> None:
    roster.add(store, "M. Osei", TECHNICIAN, 1)
    made = roster.add_token(store, "m. osei", "gateway", frozenset({Scope.READ}), 2)
    assert store.token(hashing.digest(made.token)) == roster.token_of(store, made.number)
    with pytest.raises(UnusableInput, match="there is no such token"):
        roster.token_of(store, made.number + 1)


def test_people_without_end_are_refused(store: PeopleStore, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("edge.people.store.MOST_PEOPLE", 2)
    assert MOST_PEOPLE >= 100
    roster.add(store, "A", TECHNICIAN, 1)
    roster.add(store, "B", TECHNICIAN, 1)
    with pytest.raises(UnusableInput, match="at most 2"):
        roster.add(store, "C", TECHNICIAN, 1)
