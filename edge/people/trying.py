"""Codes that are tried: whose they are, how fast they may be tried, and what is kept of wrong ones."""

from __future__ import annotations

import math
import threading
from typing import Final, NoReturn

from edge.domain.contracts import Clock
from edge.domain.errors import NotSignedIn, TooManyTries, UnusableInput
from edge.people import hashing
from edge.people.codes import Code, read_code
from edge.people.episodes import Episodes
from edge.people.store import PeopleStore, Person
from edge.people.throttle import MOST_ADDRESSES, Throttle

#: a one-time code for the first person is good for so long
FIRST_FOR_MS: Final = 600_000


class Trying:
    """The tries of one station. A try takes some 20 to 70 ms and 19 MiB. Any thread may call it."""

    def __init__(self, store: PeopleStore, clock: Clock, episodes: Episodes) -> None:
        self._store, self._clock, self._episodes = store, clock, episodes
        self._lock = threading.Lock()
        self._made: Throttle | None = None

    def person_of(self, text: str, address: str) -> tuple[Person, str]:
        """Whose code this is, and the hash of its secret.

        Raises:
            NotSignedIn: it is nobody's.
            TooManyTries: too many were tried.
            UnusableInput: it has not the form of a code; that is no try.
            StoreFault: people.db can't be read.
        """
        code = _code(text)
        self._take(address)
        try:
            found = self._store.found_by(code.finder)
            is_right = hashing.fits(found[1] if found is not None else hashing.of_nobody(), code.secret)
        except BaseException:
            self._neither(address)
            raise
        if found is None or not is_right:
            self.wrong(address)
        self._right(address)
        return found

    def is_first(self, text: str, address: str) -> None:
        """See that this is the one-time code for making the first person, and still good. Raises as person_of()."""
        code = _code(text)
        self._take(address)
        try:
            offered = self._store.first()
            now_ms, boot = self._clock.mono_ms(), self._clock.boot
            is_good = offered is not None and offered[2] == boot and 0 <= now_ms - offered[3] < FIRST_FOR_MS
            kept = offered[1] if offered is not None and is_good and offered[0] == code.finder else hashing.of_nobody()
            is_right = hashing.fits(kept, code.secret)
        except BaseException:
            self._neither(address)
            raise
        if not is_right:
            self.wrong(address)
        self._right(address)

    def wrong(self, address: str) -> NoReturn:
        """The code that was tried is nobody's: count it, keep it, say it. Raises NotSignedIn."""
        now_ms = self._clock.mono_ms()
        with self._lock:
            row, is_locked = self._throttle().wrong(address, now_ms)
        self._episodes.note("wrong_code", now_ms, address=address)
        if is_locked:
            self._episodes.note("locked", now_ms, address=address)
        self._store.keep_tries(row, MOST_ADDRESSES)
        raise NotSignedIn(
            "it is nobody's code", where="the code", expected="the code on your card",
            do="Type it again; whoever lost a card gets a new code by `warmwell people reset` on the board",
        )  # fmt: skip

    def look(self) -> None:
        """Keep what has changed by itself: waits that are over, tries that don't matter any more. Raises StoreFault."""
        with self._lock:
            ended, forgotten = ([], []) if self._made is None else self._made.over(self._clock.mono_ms())
        for row in ended:
            self._store.keep_tries(row, MOST_ADDRESSES)
        for address in forgotten:
            self._store.forget_tries(address)

    def locked(self) -> int:
        """How many addresses are locked out."""
        with self._lock:
            return 0 if self._made is None else self._made.locked(self._clock.mono_ms())

    def _take(self, address: str) -> None:
        with self._lock:
            wait_ms = self._throttle().take(address, self._clock.mono_ms())
        if wait_ms:
            wait_s = math.ceil(wait_ms / 1000)
            refusal = TooManyTries(
                "too many codes were tried, or wrong", where="the code", expected="some tries a minute",
                do=f"Try again in {wait_s} s",
            )  # fmt: skip
            refusal.wait_s = wait_s
            raise refusal

    def _right(self, address: str) -> None:
        with self._lock:
            self._throttle().right(address)

    def _neither(self, address: str) -> None:
        with self._lock:
            self._throttle().neither(address)

    def _throttle(self) -> Throttle:
        if self._made is None:
            self._made = Throttle(self._store.tries(), self._clock.boot, self._clock.mono_ms())
        return self._made


def _code(text: str) -> Code:
    code = read_code(text)
    if code is None:
        raise UnusableInput(
            "it has not the form of a code", where="the code", expected="16 letters and digits, as on the card",
            do="Type it again, or scan it",
        )  # fmt: skip
    return code
