"""What archives have, as they say it themselves, and saying again what they lack.

A broker's word that it has an entry says nothing of an archive: a broker that is killed, or that keeps too few messages for who is away,
loses what it had confirmed. So an archive says, retained, which entries of which journal it has (deploy/mqtt.md), and a station
that expects it says the others again, byte for byte.

A receipt is no order. It never moves the cursor, and nothing is kept, judged or forgotten by it: one that claims too much costs
nothing, one that claims too little costs repeats at a bounded rate. What waits to be told for the first time always goes first.
Only what the broker confirmed a while before a receipt came can be missing: the rest may still be on its way.
"""

from __future__ import annotations

import logging
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, NamedTuple

from edge.domain import strict_json
from edge.domain.contracts import Clock
from edge.domain.entries import Entry, rfc3339, wall_ms_of
from edge.domain.errors import StoreFault
from edge.mqtt.chain import Chain
from edge.mqtt.memory import Memory
from edge.mqtt.topics import Topics, entry_message

_log = logging.getLogger("warmwell.mqtt")

#: the most that a receipt may be: ranges, and bytes as JSON
MOST_RANGES: Final = 100
MOST_BYTES: Final = 16_384
_LAST: Final = 2**53
_REMEMBERED_MS: Final = 3_600_000  # how often the memory is told that a receipt came
_LOOKED_AT: Final = 2_000  # seqs that one take() looks at, at the most

Ranges = Sequence[tuple[int, int]]


@dataclass(frozen=True, slots=True)
class AgainPace:
    """How fast is said again; real seconds."""

    look_s: float = 1.0  # the newest receipt of each archive is looked at so often
    settle_s: float = 30.0  # what was confirmed later may still be on its way to the archive
    per_s: float = 50.0
    at_once: int = 8
    silent_s: float = 86_400.0  # without a receipt for so long an archive is silent


class Receipt(NamedTuple):
    """What an archive has of a journal: ranges of seqs, from and to, in order, with gaps between."""

    journal: str
    have: Ranges
    at_ms: int


def receipt_of(payload: bytes) -> Receipt | None:
    """What a message says; None where it is no receipt.

    >>> receipt_of(b'{"journal":"5b1c0e6f2a9d4c37","have":[[1,5]],"at":"2026-03-17T15:00:00.000Z"}').have
    [(1, 5)]
    """
    if len(payload) > MOST_BYTES:
        return None
    try:
        said = strict_json.loads(payload, "the receipt")
        journal, have, at_ms = said["journal"], said["have"], wall_ms_of(said["at"])
    except (strict_json.NotStrict, TypeError, LookupError, ValueError, AttributeError, OverflowError):
        return None
    if not isinstance(journal, str) or not isinstance(have, list) or len(have) > MOST_RANGES:
        return None
    ranges: list[tuple[int, int]] = []
    for pair in have:
        if not isinstance(pair, list) or [type(one) for one in pair] != [int, int]:
            return None
        first, last = pair
        if not (ranges[-1][1] + 1 if ranges else 0) < first <= last < _LAST:
            return None
        ranges.append((first, last))
    return Receipt(journal, ranges, at_ms)


def missing(have: Ranges, last: int) -> list[tuple[int, int]]:
    """What lacks of the entries 1 to `last`.

    >>> missing([(1, 4), (7, 8)], 10)
    [(5, 6), (9, 10)]
    """
    after, found = 0, []
    for low, high in have:
        if low > last:
            break
        if low > after + 1:
            found.append((after + 1, low - 1))
        after = high
    return [*found, (after + 1, last)] if after < last else found


@dataclass(slots=True)
class _Archive:
    """One that is expected."""

    name: str
    since_s: float  # real time of its last receipt, or since when one is expected
    since_ms: int | None = None  # the same by the wall clock, where that is known
    heard_ms: int | None = None  # its last receipt by the wall clock, as far as that is known
    new: tuple[bytes, bool] | None = None  # its newest message, and whether it stood there before we came
    served: tuple[str, int, int] | None = None  # the receipt that was served last: the same again changes nothing
    wanted: deque[tuple[int, int]] = field(default_factory=deque)


class Receipts:
    """Used by the publisher's thread alone, but for `status`.

    Args:
        expected: names of archives.
        mono_s: real seconds that never go back.
    """

    def __init__(
        self, topics: Topics, expected: Sequence[str], chain: Chain, memory: Memory, clock: Clock,
        mono_s: Callable[[], float], pace: AgainPace,
    ) -> None:  # fmt: skip
        self._topics, self._chain, self._memory = topics, chain, memory
        self._clock, self._mono_s, self._pace = clock, mono_s, pace
        heard = memory.receipts()
        self._archives = {
            topics.receipt(name): _Archive(name, mono_s(), heard.get(name)) for name in dict.fromkeys(expected)
        }
        self._confirmed: deque[tuple[float, int]] = deque()  # how far it was confirmed, and when
        self._looked_s = self._credit_s = float("-inf")
        self._said: dict[int, float] = {}  # seq -> when it was said again
        self._unsayable: set[int] = set()
        self._again = 0

    @property
    def filters(self) -> list[str]:
        """What to subscribe to; nothing where no archive is expected."""
        return list(self._archives)

    def hear(self, topic: str, payload: bytes, retained: bool) -> bool:
        """A message; False where it is not for us."""
        if (archive := self._archives.get(topic)) is None:
            return False
        archive.new = (payload, retained)
        return True

    def look(self, confirmed: int) -> None:
        """Take in what was heard. `confirmed`: up to which entry the broker has confirmed all."""
        now_s = self._mono_s()
        if not self._archives or now_s < self._looked_s + self._pace.look_s:
            return
        self._looked_s = now_s
        if not self._confirmed or self._confirmed[-1][0] <= now_s - self._pace.settle_s / 4:
            began = not self._confirmed
            self._confirmed.append((float("-inf") if began else now_s, confirmed))
        while len(self._confirmed) > 1 and self._confirmed[1][0] <= now_s - self._pace.settle_s:
            self._confirmed.popleft()
        self._said = {seq: at_s for seq, at_s in self._said.items() if at_s > now_s - self._pace.settle_s}
        for archive in self._archives.values():
            if archive.new is not None:
                (payload, retained), archive.new = archive.new, None
                self._take_in(archive, payload, retained)
            self._remember(archive)

    def _take_in(self, archive: _Archive, payload: bytes, retained: bool) -> None:
        receipt, mark = receipt_of(payload), self._chain.mark()
        if receipt is None or receipt.journal != mark:
            _log.debug("MQTT: what stands at the receipt of %s is none of this journal", archive.name)
            return
        now = self._clock.now()
        if not retained:
            archive.since_s, archive.heard_ms = self._mono_s(), now.wall_ms if now.trusted else None
            archive.since_ms = archive.heard_ms
        else:  # said before we came: as old as it says, and not of times to come
            archive.heard_ms = min(now.wall_ms, receipt.at_ms) if now.trusted else receipt.at_ms
            archive.since_ms = max(archive.since_ms or 0, archive.heard_ms) if now.trusted else archive.since_ms
        which = (receipt.journal, receipt.at_ms, hash(tuple(receipt.have)))
        if which == archive.served:
            return
        archive.served = which
        archive.wanted = deque(missing(receipt.have, self._confirmed[0][1]))

    def _remember(self, archive: _Archive) -> None:
        now = self._clock.now()
        if not now.trusted:
            return
        if archive.since_ms is None:
            archive.since_ms = now.wall_ms  # expected from now on
        known = self._memory.receipts()
        if abs(archive.since_ms - known.get(archive.name, 0)) >= _REMEMBERED_MS:
            self._memory.remember_receipts(known | {archive.name: archive.since_ms})

    # ---- saying again

    def next_s(self) -> float:
        """When something is due without an event; infinite where nothing is."""
        due_s = float("inf")
        for archive in self._archives.values():
            if archive.wanted:
                due_s = min(due_s, self._credit_s + 1 / self._pace.per_s)
            if archive.new is not None:
                due_s = min(due_s, self._looked_s + self._pace.look_s)
        return due_s

    def take(self, room: int) -> list[tuple[int, bytes]]:
        """What to say again now, at most `room`: seqs and messages, the lowest first."""
        now_s, pace = self._mono_s(), self._pace
        self._credit_s = max(self._credit_s, now_s - pace.at_once / pace.per_s)
        most = min(room, pace.at_once, int((now_s - self._credit_s) * pace.per_s))
        if most <= 0 or not (seqs := self._next(most)):
            return []
        self._credit_s += len(seqs) / pace.per_s
        try:
            found = self._chain.entries(seqs)
        except StoreFault as fault:  # the next receipt asks again
            _log.debug("MQTT: what an archive lacks can't be read: %s", fault)
            return []
        self._again += len(found)
        self._said.update((entry.seq, now_s) for entry, _digest in found)
        return [(entry.seq, self._message(entry, digest)) for entry, digest in found]

    def _next(self, most: int) -> list[int]:
        """The lowest that some archive lacks; those said again a moment ago, or that can't be said, are passed over."""
        seqs: list[int] = []
        for _ in range(_LOOKED_AT):
            lowest = min((archive.wanted[0][0] for archive in self._archives.values() if archive.wanted), default=None)
            if lowest is None or len(seqs) >= most:
                break
            for archive in self._archives.values():
                if archive.wanted and archive.wanted[0][0] == lowest:
                    low, high = archive.wanted.popleft()
                    if low < high:
                        archive.wanted.appendleft((low + 1, high))
            if lowest not in self._said and lowest not in self._unsayable:
                seqs.append(lowest)
        return seqs

    def _message(self, entry: Entry, digest: str) -> bytes:
        return entry_message(entry, self._topics.site, self._topics.station, self._chain.mark(), digest)

    def refused(self) -> None:
        """The broker takes no repeats: no more of them until another receipt comes."""
        for archive in self._archives.values():
            archive.wanted.clear()

    def pass_over(self, seq: int) -> None:
        """This one can't be said."""
        self._unsayable.add(seq)

    # ---- for people

    def status(self) -> dict[str, Any]:
        """By archive: when it last said what it has, how many entries are still to be said again for it, whether it is silent."""
        return {
            archive.name: {
                "heard": None if archive.heard_ms is None else rfc3339(archive.heard_ms),
                "to_say_again": sum(high - low + 1 for low, high in list(archive.wanted)),
                "said_again": self._again,
                "silent": self._is_silent(archive),
            }
            for archive in self._archives.values()
        }

    def _is_silent(self, archive: _Archive) -> bool:
        now = self._clock.now()
        by_wall = now.trusted and archive.since_ms is not None and self._clock.speed == 1
        silent_ms = now.wall_ms - (archive.since_ms or 0) if by_wall else 0
        return max(self._mono_s() - archive.since_s, silent_ms / 1000) > self._pace.silent_s
