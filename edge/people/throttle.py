"""How fast codes may be tried: slower with each wrong one, then not at all for a while. Pure: the caller brings the instants.

An address may try 8 codes in a minute, whether they were right or not. From its third wrong code on it waits, ever longer, and after
the eighth it is locked out, ever longer too. A right code forgives none of that: whoever has one could try others' in between. Wrong
codes from everywhere together slow down every address from which nobody has signed in yet, so that many addresses help nobody.
(The figures are our own; the ways are those of OWASP's Authentication Cheat Sheet and ASVS 2.2.1, from memory.)
"""

from __future__ import annotations

import math
from collections import OrderedDict, deque
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final

from edge.people.store import Tries

TRIES_A_MINUTE: Final = 8
MINUTE_MS: Final = 60_000
#: so many wrong codes cost no wait
FREE: Final = 2
FIRST_WAIT_MS: Final = 5_000
LOCK_AT: Final = 8
FIRST_LOCK_MS: Final = 15 * MINUTE_MS
LONGEST_LOCK_MS: Final = 4 * 60 * MINUTE_MS
#: so long after its last wait was over, without a wrong code, an address begins anew
FORGET_MS: Final = 60 * MINUTE_MS
MOST_ADDRESSES: Final = 1000
#: of all addresses together: so many wrong codes cost nobody a wait, one is forgotten in this time, and no wait is longer than that
FREE_OVERALL: Final = 20
FORGET_ONE_MS: Final = 30_000
LONGEST_OVERALL_MS: Final = 60_000


@dataclass(slots=True)
class _Address:
    """What is known of one."""

    tried: deque[int] = field(default_factory=lambda: deque(maxlen=TRIES_A_MINUTE))
    wrong: int = 0
    last_ms: int = 0
    until_ms: int = 0
    is_trying: bool = False
    has_signed_in: bool = False


class Throttle:
    """What was tried, by address.

    Args:
        kept: what an earlier run kept. A lock of another boot begins anew: nobody knows how long the board was off.
    """

    def __init__(self, kept: Iterable[Tries], boot: str, mono_ms: int) -> None:
        self._boot = boot
        self._known: OrderedDict[str, _Address] = OrderedDict()
        self._level, self._level_ms, self._any_ms = 0.0, mono_ms, -LONGEST_OVERALL_MS
        for row in sorted(kept, key=lambda row: row.last_ms):
            last_ms, until_ms = row.last_ms, row.until_ms
            if row.boot != boot:
                last_ms, until_ms = mono_ms, mono_ms + _wait_ms(row.wrong) if row.until_ms else 0
            self._known[row.address] = _Address(wrong=row.wrong, last_ms=last_ms, until_ms=until_ms)

    def take(self, address: str, mono_ms: int) -> int:
        """Take a try: 0 where it may be made now, and then it is to be ended by right(), wrong() or neither(); else the wait in ms."""
        known = self._of(address)
        wait_ms = max(known.until_ms - mono_ms, self._overall_wait_ms(known, mono_ms))
        if known.is_trying:
            wait_ms = max(wait_ms, 1000)
        if len(known.tried) == TRIES_A_MINUTE:
            wait_ms = max(wait_ms, known.tried[0] + MINUTE_MS - mono_ms)
        if wait_ms > 0:
            return wait_ms
        known.tried.append(mono_ms)
        known.is_trying, self._any_ms = True, mono_ms
        return 0

    def right(self, address: str) -> None:
        """The code was somebody's."""
        known = self._of(address)
        known.is_trying, known.has_signed_in = False, True

    def neither(self, address: str) -> None:
        """It isn't known whether the code was right."""
        self._of(address).is_trying = False

    def wrong(self, address: str, mono_ms: int) -> tuple[Tries, bool]:
        """The code was nobody's: what is to be kept of that, and whether the address is locked out now."""
        known = self._of(address)
        if _is_forgotten(known, mono_ms):
            known.wrong = 0
        known.is_trying = False
        known.wrong += 1
        known.last_ms, known.until_ms = mono_ms, mono_ms + _wait_ms(known.wrong)
        self._level = self._level_at(mono_ms) + 1.0
        self._level_ms = mono_ms
        return self._row(address, known), known.wrong >= LOCK_AT

    def over(self, mono_ms: int) -> tuple[list[Tries], list[str]]:
        """(waits that are over, to be kept as such; addresses that begin anew): each once."""
        ended, forgotten = [], []
        for address, known in list(self._known.items()):
            if known.until_ms and mono_ms >= known.until_ms:
                known.until_ms = 0
                ended.append(self._row(address, known))
            if _is_forgotten(known, mono_ms):
                known.wrong = 0
                ended = [row for row in ended if row.address != address]
                forgotten.append(address)
        return ended, forgotten

    def locked(self, mono_ms: int) -> int:
        """How many addresses are locked out."""
        return sum(known.wrong >= LOCK_AT and known.until_ms > mono_ms for known in self._known.values())

    def _of(self, address: str) -> _Address:
        known = self._known.get(address)
        if known is None:
            known = self._known[address] = _Address()
            if len(self._known) > MOST_ADDRESSES:
                self._known.popitem(last=False)
        self._known.move_to_end(address)
        return known

    def _row(self, address: str, known: _Address) -> Tries:
        return Tries(address, self._boot, known.wrong, known.last_ms, known.until_ms)

    def _level_at(self, mono_ms: int) -> float:
        return max(0.0, self._level - (mono_ms - self._level_ms) / FORGET_ONE_MS)

    def _overall_wait_ms(self, known: _Address, mono_ms: int) -> int:
        beyond = math.ceil(self._level_at(mono_ms) - FREE_OVERALL)
        if beyond <= 0 or known.has_signed_in:
            return 0
        gap_ms = min(1000 << min(beyond, 16), LONGEST_OVERALL_MS)
        return max(0, self._any_ms + gap_ms - mono_ms)


def _is_forgotten(known: _Address, mono_ms: int) -> bool:
    return known.wrong > 0 and mono_ms - known.last_ms - _wait_ms(known.wrong) >= FORGET_MS


def _wait_ms(wrong: int) -> int:
    """The wait after so many wrong codes of one address."""
    if wrong <= FREE:
        return 0
    if wrong < LOCK_AT:
        return FIRST_WAIT_MS << (wrong - FREE - 1)
    return min(FIRST_LOCK_MS << min(wrong - LOCK_AT, 16), LONGEST_LOCK_MS)
