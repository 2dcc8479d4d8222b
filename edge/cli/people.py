"""`warmwell people`: who may sign in at a station. Whoever may write the station's [keep] folder may do this: it is for the board itself.

A code is printed once. What was done is journalled by the running daemon, or at its next start.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from edge.clock import RealClock
from edge.domain.entries import rfc3339
from edge.domain.errors import UnusableInput
from edge.domain.permits import NewCode, PersonRole, Scope
from edge.people import roster
from edge.people.store import PeopleStore, Person, Token
from edge.store.database import JOURNAL_FILE
from edge.terminal import is_terminal, say_json


@contextmanager
def _store(keep: Path) -> Iterator[PeopleStore]:
    """The people of a [keep] folder, or of the one that a station file names."""
    if keep.suffix == ".toml" and not keep.is_dir():
        from edge import config

        keep = config.load(keep).keep.folder
    if not keep.is_dir():
        raise UnusableInput(
            "there is no such folder", where=str(keep), expected="the [keep] folder of a station, or its station file",
            do="Name it with --keep",
        )  # fmt: skip
    store = PeopleStore(keep)
    try:
        yield store
    finally:
        store.close()


def _now_ms() -> int:
    return RealClock().now().wall_ms


def add(keep: Path, name: str, role: PersonRole, *, as_json: bool = False) -> int:
    """Add a person, and print the code.

    Raises:
        UnusableInput: the name can't be used, or is taken; or nobody would be there who may manage people.
    """
    with _store(keep) as store:
        if role is not PersonRole.BIOMED and not store.count():
            raise UnusableInput(
                f"the first person would be a {role}, and nobody who may set up people, calibrate or change filters",
                where=f"--role {role}", expected="a biomed first",
                do=f"Add a biomed (`warmwell people add --role biomed NAME`), then {name[:40]!r}",
            )  # fmt: skip
        _print_code(roster.add(store, name, role, _now_ms()), as_json)
    if keep.is_dir() and not (keep / JOURNAL_FILE).exists() and not as_json:
        print(f"No station has run on {keep} yet: see that it is the folder that [keep] of its station file names.")
    return 0


def remove(keep: Path, name: str, *, as_json: bool = False) -> int:
    """Remove a person, with sessions and tokens."""
    with _store(keep) as store:
        person = roster.named(store, name)
        store.remove(person, _now_ms())
        left = store.people()
    if as_json:
        say_json({"removed": _person_json(person), "left": [_person_json(one) for one in left]})
        return 0
    print(f"{person.name} is removed: signed out everywhere, and their tokens are revoked")
    if not left:
        print("Nobody is set up now: on this computer whoever records types a name again, and nobody proves it.")
    elif not any(one.role is PersonRole.BIOMED for one in left):
        print("No biomed is left: add one, or nobody can calibrate, change filters or release a biomed's hold.")
    return 0


def reset(keep: Path, name: str, *, as_json: bool = False) -> int:
    """Give a person another code: the one before is nobody's, and their sessions are over."""
    with _store(keep) as store:
        _print_code(roster.reset(store, name, _now_ms()), as_json)
    if not as_json:
        print(
            "The code before is nobody's now, and all their sessions are over. Tokens of programs go on: see `people token list`."
        )
    return 0


def people(keep: Path, *, as_json: bool = False) -> int:
    """Print everybody."""
    with _store(keep) as store:
        rows = store.people()
    if as_json:
        say_json({"people": [_person_json(person) for person in rows]})
        return 0
    print("".join(f"{person.role:<11} {person.name}\n" for person in rows) or "nobody is set up\n", end="")
    return 0


def first(keep: Path) -> int:
    """Print a one-time code by which the page makes the first person.

    Raises:
        UnusableInput: standard output is no terminal: such a code is for whoever stands at the board, not for a file.
    """
    if not is_terminal(sys.stdout):
        raise UnusableInput(
            "the code would be written where it stays", where="standard output", expected="a terminal",
            do="Run it on the board's own terminal, or add the first person there: `warmwell people add`",
        )  # fmt: skip
    clock = RealClock()
    with _store(keep) as store:
        code = roster.offer_first(store, clock.boot, clock.mono_ms(), clock.now().wall_ms)
    print(f"For the first person, on the station's page, within 10 minutes, once:\n\n    {code}\n")
    return 0


def add_token(keep: Path, name: str, title: str, scopes: list[Scope], *, as_json: bool = False) -> int:
    """Make a token for a program that acts for a person, and print it."""
    if not scopes:
        raise UnusableInput(
            "it may do nothing",
            where="--scope",
            expected=f"one or several of {', '.join(Scope)}",
            do="Say what it may do",
        )
    with _store(keep) as store:
        made = roster.add_token(store, name, title, frozenset(scopes), _now_ms())
    if as_json:
        say_json({"number": made.number, "token": made.token})
        return 0
    print(f"token {made.number}, shown this once:\n\n    {made.token}\n")
    print("Keep it in a file of mode 0600 (WARMWELL_TOKEN_FILE), or send it as `Authorization: Bearer …`.")
    return 0


def tokens(keep: Path, *, as_json: bool = False) -> int:
    """Print all tokens, without what they are."""
    with _store(keep) as store:
        rows = store.tokens()
    if as_json:
        say_json({"tokens": [_token_json(token) for token in rows]})
        return 0
    for token in rows:
        scopes = ",".join(sorted(token.scopes))
        print(
            f"{token.number:>4}  {token.title}  for {token.person.name} ({token.person.role})  {scopes}  {rfc3339(token.made_ms)}"
        )
    if not rows:
        print("there are no tokens")
    return 0


def revoke(keep: Path, number: int, *, as_json: bool = False) -> int:
    """Revoke a token."""
    with _store(keep) as store:
        token = roster.token_of(store, number)
        store.remove_token(token, _now_ms())
    if as_json:
        say_json({"revoked": _token_json(token)})
    else:
        print(f"token {number} is revoked")
    return 0


def _person_json(person: Person) -> dict[str, Any]:
    return {"name": person.name, "role": person.role}


def _token_json(token: Token) -> dict[str, Any]:
    return {
        "number": token.number, "title": token.title, "person": _person_json(token.person), "scopes": sorted(token.scopes),
        "made_at": rfc3339(token.made_ms),
    }  # fmt: skip


def _print_code(made: NewCode, as_json: bool) -> None:
    if as_json:
        say_json({"name": made.name, "role": made.role, "code": made.code})
        return
    print(
        f"{made.name}, {made.role}. The code, shown this once; print it on a card, as a barcode too:\n\n    {made.code}\n"
    )
