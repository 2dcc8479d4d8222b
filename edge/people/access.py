"""The desk at the door: who asks, and may they? What the API asks before it shows or keeps anything.

Each call reads people.db: call it in a thread that may wait, never in the judge's, never in an event loop. What was refused, and what
`warmwell people` did, becomes `access` entries by look(), each second.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Final, NoReturn

from edge.domain.contracts import Clock
from edge.domain.entry_bodies import AccessBody, AccessWord
from edge.domain.errors import NewerStore, NotAllowed, NotSignedIn, StoreFault
from edge.domain.permits import (
    MAY_RECORD,
    MAY_TAKE_SUPPORT,
    TECHNICIAN_SHELVES_MIN,
    Credentials,
    NewCode,
    PersonRole,
    Proof,
    Scope,
    SignedIn,
    Who,
    may_correct,
    may_record,
    scope_of,
)
from edge.hosts import whose
from edge.people import hashing
from edge.people.episodes import Episodes, note_at_border
from edge.people.roster import add, named, somebody_is_there
from edge.people.sessions import AccessRules, Sessions
from edge.people.store import PeopleStore, Person, Session, folded
from edge.people.trying import Trying

log = logging.getLogger("warmwell.people")

#: how often (real seconds) what has to be journalled is looked for
LOOK_EVERY_S: Final = 1.0
_BIOMED: Final = frozenset({PersonRole.BIOMED})
_SIGN_IN: Final = "Sign in with your code, or send a token that `warmwell people token` made"


class Access:
    """Who may do what at one station.

    Args:
        folder: the [keep] folder.
        clock: sessions go by its monotonic time.
        rules: may be replaced while it runs.
        record_of: the body of a record by its seq, None where there is none: what is to be corrected is looked up by it.
        note: keeps an entry.
    """

    def __init__(
        self,
        folder: Path,
        clock: Clock,
        rules: AccessRules,
        record_of: Callable[[int], Mapping[str, Any] | None],
        note: Callable[[str, Mapping[str, object]], None],
    ) -> None:
        self._store, self._clock, self._record_of, self._note = PeopleStore(folder), clock, record_of, note
        self._episodes = Episodes()
        self.at_border = partial(note_at_border, self._episodes, clock)  # hears of each request that is refused there
        self._trying = Trying(self._store, clock, self._episodes)
        self._sessions = Sessions(self._store, clock, rules)
        self._people, self._fault = 0, ""
        self._stopped = threading.Event()
        self._thread: threading.Thread | None = None

    # -- the daemon

    def start(self) -> None:
        """Begin to journal what there is to journal, in a thread of its own."""
        self._thread = threading.Thread(target=self._run, name="people", daemon=True)
        self._thread.start()

    def stop(self, timeout_s: float = 1.0) -> None:
        """Journal what is left, and let the file go. May be called twice."""
        self._stopped.set()
        if self._thread is None:
            self._store.close()
        else:
            self._thread.join(timeout_s)

    def _run(self) -> None:
        is_over, wait_s = False, 0.0
        while not is_over:
            is_over, wait_s = self._stopped.wait(wait_s), LOOK_EVERY_S
            try:
                self.look(at_end=is_over)
            except Exception:  # supervision border: whatever befalls the file of people, the station is watched
                log.exception("looking after the people failed")
        self._store.close()

    def look(self, *, at_end: bool = False) -> None:
        """Hand over what has to be journalled, and see whether people.db can be read."""
        try:
            self._found("", self._store.count())
            changes = self._store.changes()
            for change in changes:
                told = {"name": change.name, "role": change.role}
                body = {"what": change.what, "tries": 1} | {key: word for key, word in told.items() if word}
                self._note("access", body)
            if changes:
                self._store.told(changes[-1].number)
            self._trying.look()
        except (StoreFault, NewerStore) as fault:
            self._found(str(fault))
        for episode in self._episodes.over(self._clock.mono_ms(), all_of_them=at_end):
            self._note("access", episode)

    def _found(self, fault: str, people: int = 0) -> None:
        """Say when people.db can't be read, and when it can be again."""
        if bool(fault) != bool(self._fault):
            if fault:
                log.error("%s Nobody can sign in, and the API records nothing until it can be read.", fault)
            body: AccessBody = {"what": "unreadable" if fault else "readable", "tries": 1}
            self._note("access", {**body, "why": fault} if fault else body)
        self._fault, self._people = fault, people

    @property
    def is_looking_open(self) -> bool:
        """Whether anybody may look."""
        return self.rules.is_looking_open

    @property
    def rules(self) -> AccessRules:
        """What holds now."""
        return self._sessions.rules

    @rules.setter
    def rules(self, rules: AccessRules) -> None:
        self._sessions.rules = rules

    @property
    def state(self) -> str:
        """`none`: nobody is set up; `set_up`; `unreadable`: nobody can sign in. As it was when it was last looked at."""
        return "unreadable" if self._fault else "set_up" if self._people else "none"

    def status(self) -> dict[str, Any]:
        """For /health. That nobody is set up is no fault where the page is for its own computer only."""
        is_missing = not self._people and not self.rules.is_local
        fault = self._fault or (str(_nobody("people")) if is_missing else "")
        return {
            "ok": not fault, "state": self.state, "people": self._people, "locked_out": self._trying.locked(),
            "fault": fault or None,
        }  # fmt: skip

    # -- signing in and out

    def sign_in(self, code: str, asks: Credentials) -> SignedIn:
        """Begin a session for whoever has this code; that of the page before is over.

        Raises:
            NotSignedIn: it is nobody's code.
            TooManyTries: too many were tried.
            UnusableInput: it has not the form of a code; that is no try.
            NotAllowed: nobody is set up.
            StoreFault: people.db can't be read.
        """
        if not self._store.count():
            raise _nobody("the code")
        address = whose(asks.address)
        person, secret = self._trying.person_of(code, address)
        begun = self._sessions.begin(person, secret)
        if begun is None:
            self._trying.wrong(address)  # the code was taken back while it was looked at
        before = self._sessions.of(asks.cookie)
        if before is not None:
            self._sessions.end(before)
        self._happened("signed_in", address, person)
        return begun

    def session(self, asks: Credentials) -> SignedIn | None:
        """The session that a request belongs to; None where there is none, or it is over. Looking doesn't prolong it.

        Whether people are set up is looked at anew, too.
        """
        self._people = self._store.count()
        found = self._sessions.of(asks.cookie)
        return None if found is None else self._sessions.told(found, asks.cookie)

    def prolong(self, asks: Credentials) -> SignedIn:
        """Somebody is still there. Raises NotSignedIn; NotAllowed without the page's proof."""
        found = self._proven(asks, "")
        return self._sessions.told(self._sessions.seen(found), asks.cookie)

    def sign_out(self, asks: Credentials) -> None:
        """End the session; one that is over is no fault. Raises NotAllowed without the page's proof."""
        if self._sessions.of(asks.cookie) is not None:
            found = self._proven(asks, "")
            self._sessions.end(found)
            self._happened("signed_out", whose(asks.address), found.person)

    def first(self, code: str, name: str, address: str) -> NewCode:
        """Make the first person, a biomed, by the one-time code that the board showed.

        Raises:
            as sign_in(); NotAllowed where somebody is there already.
        """
        if self._store.count():
            raise somebody_is_there()
        self._trying.is_first(code, whose(address))
        made = add(self._store, name, PersonRole.BIOMED, self._clock.now().wall_ms, is_first=True)
        self._people = self._store.count()  # who asks next is told so at once
        return made

    def end_sessions(self, asks: Credentials, name: str) -> None:
        """End all sessions of a person, whose card was lost perhaps. A biomed may, and a program with the scope admin of one.

        Raises:
            NotSignedIn, NotAllowed; UnusableInput: there is nobody of that name.
        """
        known = self._who(asks, Scope.ADMIN, "")
        if known.role is not PersonRole.BIOMED:
            self._refuse_role(known.person, asks, "", "end others' sessions")
        self._store.end_sessions(named(self._store, name), self._clock.now().wall_ms)

    # -- may they?

    def writer(self, asks: Credentials, body: Mapping[str, Any]) -> Who:
        """Who makes this record. While nobody is set up and the page is for its own computer only, whoever is typed under `by`.

        Raises:
            NotSignedIn: nobody is known to have sent it.
            NotAllowed: it lacks the page's proof, or is beyond the role, the token's scope, or in another's name.
            StoreFault: people.db can't be read.
        """
        record = str(body.get("record"))
        if not self._store.count():
            if self.rules.is_local:
                return Who(str(body.get("by") or ""), None, Proof.TYPED)
            raise _nobody(record)
        known = self._who(asks, scope_of(record), record)
        if record in MAY_RECORD and not may_record(known.role, body):
            self._refuse_role(known.person, asks, record, _said(record, known.role))
        found = self._record_of(seq) if record == "correction" and type(seq := body.get("of")) is int else None
        if found is not None and not may_correct(known.role, found):
            what = f"take back a {found.get('record')}, which is a biomed's"
            self._refuse_role(known.person, asks, record, what)
        by = body.get("by")
        if by is not None and folded(str(by)) != folded(known.person.name):
            self._happened("other_name", whose(asks.address), known.person, record)
            raise NotAllowed(
                f"by is {str(by)[:80]!r}, and {known.person.name} is signed in", where=f"record {record!r}, by",
                expected="the name of whoever is signed in, or none", do="Leave it out, or sign in as who did it",
            )  # fmt: skip
        return Who(known.person.name, known.role, known.proof)

    def reader(self, asks: Credentials) -> None:
        """See that whoever asks may look. Raises NotSignedIn, NotAllowed (a token without the scope), StoreFault."""
        if self.rules.is_looking_open or (self.rules.is_local and not self._store.count()):
            return
        if asks.bearer:
            self._who(asks, Scope.READ, None)
        elif self._sessions.of(asks.cookie) is None:
            raise _not_signed_in("looking")

    def names(self, asks: Credentials) -> list[dict[str, str]]:
        """Everybody's name and role, for choosing by a tap. Raises as reader()."""
        if not self.rules.are_names_open and self._store.count():
            if asks.bearer:
                self._who(asks, Scope.READ, None)
            elif self._sessions.of(asks.cookie) is None:
                raise _not_signed_in("names")
        return [{"name": person.name, "role": str(person.role)} for person in self._store.people()]

    def helped(self, asks: Credentials) -> list[str]:
        """See that whoever asks may take the support bundle; everybody's name, to be left out of it.

        Raises:
            NotSignedIn, NotAllowed; StoreFault: people.db can't be read.
        """
        if not self._store.count():
            if self.rules.is_local:
                return []
            raise _nobody("support")
        found = (
            None if asks.bearer else self._sessions.of(asks.cookie)
        )  # nothing is written: it takes no proof of the page
        if not asks.bearer and found is None:
            raise _not_signed_in("support")
        person = self._who(asks, Scope.READ, None).person if found is None else found.person
        if person.role not in MAY_TAKE_SUPPORT:
            self._refuse_role(person, asks, "", "take the support bundle", MAY_TAKE_SUPPORT)
        return [one.name for one in self._store.people()]

    # -- who

    def _who(self, asks: Credentials, scope: Scope, record: str | None) -> _Known:
        """Whoever asks, by token or session; what is refused is journalled unless it was only looking (`record` None)."""
        if not asks.bearer:
            found = self._sessions.seen(self._proven(asks, record or ""))
            return _Known(found.person, Proof.SESSION)
        token = self._store.token(hashing.digest(asks.bearer))
        if token is None:
            if record is not None:
                self._happened("not_signed_in", whose(asks.address), None, record)
            raise _not_signed_in(record or "token", "the token is none of this station's, or was revoked")
        if scope not in token.scopes:
            if record is not None:
                self._happened("scope", whose(asks.address), token.person, record)
            raise NotAllowed(
                f"the token {token.title!r} hasn't the scope {scope}", where=record or "token",
                expected=f"one of its scopes: {', '.join(sorted(token.scopes))}", do="Make a token with the scope that this needs",
            )  # fmt: skip
        return _Known(token.person, Proof.TOKEN)

    def _proven(self, asks: Credentials, record: str) -> Session:
        """The session of a write, with the page's proof."""
        found = self._sessions.of(asks.cookie)
        if found is None:
            self._happened("session_over" if asks.cookie else "not_signed_in", whose(asks.address), None, record)
            raise _not_signed_in(record or "session", "the session is over" if asks.cookie else "nobody is signed in")
        if not hashing.is_csrf_proof(asks.cookie, asks.proof):
            self._happened("no_proof", whose(asks.address), found.person, record)
            raise NotAllowed(
                "the request lacks the proof that this station's page sent it", where=record or "session",
                expected="X-CSRF-Proof as GET /api/1/session tells it", do="Open the station's own page and do it there",
            )  # fmt: skip
        return found

    # -- refusals

    def _refuse_role(
        self, person: Person, asks: Credentials, record: str, what: str, may: frozenset[PersonRole] = _BIOMED
    ) -> NoReturn:
        self._happened("role", whose(asks.address), person, record)
        may = MAY_RECORD.get(record, may)
        raise NotAllowed(
            f"{person.name} is a {person.role} and may not {what}", where=f"record {record!r}" if record else "people",
            expected=" or ".join(sorted(role for role in PersonRole if role in may and role is not person.role) or ["biomed"]),
            do="Let somebody do it whose role it is",
        )  # fmt: skip

    def _happened(self, what: AccessWord, address: str, person: Person | None, record: str = "") -> None:
        name, role = ("", "") if person is None else (person.name, str(person.role))
        record = record if record in MAY_RECORD else ""  # what else was sent is nobody's word
        self._episodes.note(what, self._clock.mono_ms(), name=name, role=role, address=address, record=record)


@dataclass(frozen=True, slots=True)
class _Known:
    person: Person
    proof: Proof

    @property
    def role(self) -> PersonRole:
        return self.person.role


def _said(record: str, role: PersonRole) -> str:
    if record == "shelve" and role is PersonRole.TECHNICIAN:
        return f"shelve for longer than {TECHNICIAN_SHELVES_MIN:g} minutes"
    return f"record {record!r}"


def _nobody(where: str) -> NotAllowed:
    return NotAllowed(
        "nobody is set up at this station", where=where, expected="people who may sign in",
        do="Add the first on the board: `warmwell people add --role biomed NAME`",
    )  # fmt: skip


def _not_signed_in(where: str, what: str = "nobody is signed in") -> NotSignedIn:
    return NotSignedIn(what, where=where, expected="somebody who may do it", do=_SIGN_IN)
