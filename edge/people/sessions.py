"""Sessions: when they end, and what their page is told of them.

They go by monotonic time within a boot, as the board's wall clock may be wrong or be set: at a reboot all are over, at a restart of the
daemon they go on. An idle one ends; so does every one after its longest time (OWASP Session Management Cheat Sheet, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from edge.domain.contracts import Clock
from edge.domain.permits import SignedIn
from edge.people import hashing
from edge.people.store import PeopleStore, Person, Session

#: that somebody did something is written down at most so often: this share of the time after which a session ends by itself
SEEN_SHARE: Final = 20


@dataclass(frozen=True, slots=True)
class AccessRules:
    """What the station file says under [people]; `is_local`: the page is for its own computer only."""

    idle_ms: int = 600_000
    absolute_ms: int = 43_200_000
    is_looking_open: bool = True
    are_names_open: bool = False
    is_local: bool = True


class Sessions:
    """The sessions of one station. `rules` may be replaced: they hold for those that run, too."""

    def __init__(self, store: PeopleStore, clock: Clock, rules: AccessRules) -> None:
        self._store, self._clock, self.rules = store, clock, rules

    def begin(self, person: Person, secret: str) -> SignedIn | None:
        """A session, with its token; None where the person's code is another by now than that with this hash."""
        token, now_ms = hashing.new_token(), self._clock.mono_ms()
        if not self._store.begin_session(hashing.digest(token), person, secret, self._clock.boot, now_ms):
            return None
        return self.told(Session(b"", person, self._clock.boot, now_ms, now_ms), token)._replace(token=token)

    def of(self, token: str) -> Session | None:
        """The session of a cookie, while it lasts."""
        found = self._store.session(hashing.digest(token)) if token else None
        if found is None or found.boot != self._clock.boot:
            return None
        now_ms = self._clock.mono_ms()
        is_alive = 0 <= now_ms - found.began_ms < self.rules.absolute_ms and now_ms - found.seen_ms < self.rules.idle_ms
        return found if is_alive else None

    def seen(self, session: Session) -> Session:
        """Somebody did something in it: it lasts. Written down now and then only."""
        now_ms = self._clock.mono_ms()
        if now_ms - session.seen_ms < self.rules.idle_ms / SEEN_SHARE:
            return session
        self._store.saw_session(session.digest, now_ms)
        return session._replace(seen_ms=now_ms)

    def end(self, session: Session) -> None:
        """It is over."""
        self._store.end_session(session.digest)

    def told(self, session: Session, token: str) -> SignedIn:
        """What its page is told, without the token."""
        now_ms = self._clock.mono_ms()
        ends_s = (session.began_ms + self.rules.absolute_ms - now_ms) // 1000
        idle_s = min((session.seen_ms + self.rules.idle_ms - now_ms) // 1000, ends_s)
        return SignedIn(session.person.name, session.person.role, hashing.csrf_proof(token), idle_s, ends_s)
