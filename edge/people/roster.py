"""Adding people and giving them codes, on the board and by its page. A code is shown once: only its hash is kept."""

from __future__ import annotations

import difflib
from typing import Final, NamedTuple

from edge.domain.errors import NotAllowed, StoreFault, UnusableInput
from edge.domain.permits import NewCode, PersonRole, Scope
from edge.domain.records.forms import LONGEST_NAME, is_name
from edge.people import hashing
from edge.people.codes import Code, new_code
from edge.people.store import PeopleStore, Person, Token, folded

#: the first part of a code is another's in one of a million draws
_DRAWS: Final = 20


class NewToken(NamedTuple):
    """A program's token, the one time that it is shown."""

    number: int
    token: str


def add(store: PeopleStore, name: str, role: PersonRole, at_ms: int, *, is_first: bool = False) -> NewCode:
    """Add a person, and the code to sign in with.

    Raises:
        UnusableInput: the name can't be used, or is taken.
        NotAllowed: of the first person: there is somebody already.
        StoreFault: people.db can't be used.
    """
    name = _name(name)
    for _ in range(_DRAWS):
        code = new_code()
        if store.add(name, role, code.finder, hashing.hashed(code.secret), at_ms, first=is_first):
            return NewCode(name, role, str(code))
        if is_first and store.count():
            raise somebody_is_there()
    raise _no_code(store)


def reset(store: PeopleStore, name: str, at_ms: int) -> NewCode:
    """Another code for somebody whose card was lost; all their sessions end. Raises as add()."""
    person = named(store, name)
    for _ in range(_DRAWS):
        code = new_code()
        if store.reset(person, code.finder, hashing.hashed(code.secret), at_ms):
            return NewCode(person.name, person.role, str(code))
    raise _no_code(store)


def offer_first(store: PeopleStore, boot: str, mono_ms: int, at_ms: int) -> Code:
    """A one-time code by which the page makes the first person. Raises NotAllowed where somebody is there, StoreFault."""
    code = new_code()
    if not store.offer_first(code.finder, hashing.hashed(code.secret), boot, mono_ms, at_ms):
        raise somebody_is_there()
    return code


def add_token(store: PeopleStore, name: str, title: str, scopes: frozenset[Scope], at_ms: int) -> NewToken:
    """A token for a program that acts for this person. Raises as add()."""
    person, token = named(store, name), hashing.new_token()
    return NewToken(store.add_token(hashing.digest(token), person, _name(title), scopes, at_ms), token)


def token_of(store: PeopleStore, number: int) -> Token:
    """A token by its number. Raises UnusableInput: there is none."""
    tokens = store.tokens()
    found = next((token for token in tokens if token.number == number), None)
    if found is None:
        there = ", ".join(str(token.number) for token in tokens) or "none is there"
        raise UnusableInput(
            "there is no such token", where=f"token {number}", expected=there, do="See `warmwell people token list`"
        )
    return found


def named(store: PeopleStore, name: str) -> Person:
    """Somebody by name. Raises UnusableInput, with the nearest name: there is nobody so called."""
    found = store.named(name)
    if found is None:
        names = [person.name for person in store.people()]
        near = difflib.get_close_matches(folded(name[:LONGEST_NAME]), map(folded, names), 1, 0.5)
        hint = next((one for one in names if near and folded(one) == near[0]), "")
        raise UnusableInput(
            "there is nobody of that name", where=f"name {name[:LONGEST_NAME]!r}",
            expected=f"nearest: {hint!r}" if hint else "one that `warmwell people list` shows", do="Correct the name",
        )  # fmt: skip
    return found


def somebody_is_there() -> NotAllowed:
    """What is refused once anybody may sign in."""
    return NotAllowed(
        "somebody is set up already", where="the first person", expected="a station without people",
        do="Sign in, or add people on the board: `warmwell people add`",
    )  # fmt: skip


def _name(text: str) -> str:
    """A name as a record's `by` takes it."""
    name = " ".join(text.split())
    if not is_name(name):
        raise UnusableInput(
            "it can't be used as a name", where=repr(text[:LONGEST_NAME]), expected=f"1 to {LONGEST_NAME} printable characters",
            do="Correct the name",
        )  # fmt: skip
    return name


def _no_code(store: PeopleStore) -> StoreFault:
    return StoreFault(
        "no code could be found that is nobody's", where=str(store.path), expected="a code of its own", do="Try again"
    )
