"""The journal as a queue: which entry is handed over next, and how far all before it are confirmed.

The journal is the queue. In memory there are only the entries in flight and the seqs that were confirmed out of turn.
The cursor stands at the highest seq up to which everything was confirmed (or passed over); it is saved at most once a second.

A refusal of a whole topic (not authorised) holds everything back: the lowest refused entry is tried again at growing
intervals, so the order is kept. A refusal of one message (too large) holds back only that one. What is still refused after 24 h
of trying is passed over; that it was refused became one `untold` entry before.
"""

from __future__ import annotations

import logging
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from edge.domain.contracts import JournalReader
from edge.domain.entries import Entry, Now
from edge.domain.errors import StoreFault
from edge.domain.records.losses import first_lost
from edge.mqtt.memory import Memory, Refused
from edge.mqtt.troubles import LASTING, OF_ONE_MESSAGE, refusal

_log = logging.getLogger("warmwell.mqtt")

CURSOR: Final = "mqtt"
_PAGE: Final = 50
_MOST_REPEATED: Final = 20_000  # entries; a day at a busy station has some hundreds


@dataclass(frozen=True, slots=True)
class Patience:
    """How long what is waited for; real seconds, but for `repeat_ms`, which is the journal's time."""

    cursor_s: float = 1.0
    retry_s: float = 5.0
    retry_cap_s: float = 300.0
    one_message_s: float = (
        3600.0  # least pause for a message that the broker can't take: it may end the connection each time
    )
    report_s: float = 60.0  # a refusal that may mend by itself is told after this long
    give_up_s: float = 86_400.0
    repeat_ms: int = 86_400_000


@dataclass(slots=True)
class _Held:
    """One refused entry."""

    entry: Entry
    code: int
    why: str
    for_s: float
    told: bool
    tried_s: float  # when it was last refused
    next_s: float
    pause_s: float


class Feed:
    """Used by the publisher's thread alone.

    Args:
        untold: told once for an entry that the broker refuses, and why.
        mono_s: real seconds that never go back.
        save: keeps the cursor; must not wait for the disk. Without it the journal is asked here and now.
    """

    def __init__(
        self,
        journal: JournalReader,
        memory: Memory,
        untold: Callable[[Entry, str], None],
        mono_s: Callable[[], float],
        patience: Patience = Patience(),
        save: Callable[[int], None] | None = None,
    ) -> None:
        self._journal, self._memory, self._untold = journal, memory, untold
        self._mono_s, self._patience = mono_s, patience
        self._save = save or (lambda seq: journal.move_cursor(CURSOR, seq))
        try:
            saved = journal.cursor(CURSOR)
            self._saved = min(saved if saved is not None else 0, journal.last_seq())
        except StoreFault as fault:  # what was told is told again, no more
            _log.warning("MQTT: the cursor can't be read, all is told again: %s", fault)
            self._saved = 0
        #: whether a confirmation means that somebody hears: MQTT 3.1.1 confirms what it refuses, too
        self.proved = True
        self._refused_in_a_row = 0
        self._saved_s, self._save_failed = float("-inf"), False
        self._confirmed = self._saved  # everything up to here is confirmed or passed over; never goes back
        self._contiguous = self._saved  # the same for this connection, which may repeat a day
        self._next_after = self._saved  # handed over up to here, in this connection
        self._page: deque[Entry] = deque()
        self._in_flight: dict[int, Entry] = {}
        self._early: set[int] = set()  # confirmed beyond a gap
        self._lost: dict[int, int] = {}  # entry before entries that the journal lost -> the last of those
        self._held: dict[int, _Held] = {}
        self._earlier = memory.refusals()  # of the run before

    @property
    def confirmed(self) -> int:
        return self._confirmed

    @property
    def saved(self) -> int:
        return self._saved

    @property
    def in_flight(self) -> int:
        return len(self._in_flight)

    @property
    def waits(self) -> bool:
        """Whether an entry that is to be told for the first time waits to be handed over."""
        return bool(self._page) or self._journal.last_seq() > self._next_after

    @property
    def refused(self) -> _Held | None:
        """The lowest entry that the broker refuses at present."""
        held = list(self._held.values())  # a copy: other threads may ask
        return min(held, key=lambda one: one.entry.seq) if held else None

    def begin(self, known: bool, now: Now, boot: str) -> int:
        """A connection begins. Returns the seq after which entries will be handed over.

        Args:
            known: the broker knew our session; else the last 24 h are repeated as well.
        """
        self._in_flight.clear()
        self._early.clear()
        self._page.clear()
        self._next_after = self._confirmed
        if not known:
            try:
                self._next_after = min(self._confirmed, self._first_of_the_day(now, boot))
            except StoreFault as fault:
                _log.warning("MQTT: the last day can't be read, so it is not repeated: %s", fault)
        self._contiguous = self._next_after
        for seq, held in list(self._held.items()):
            if held.code in OF_ONE_MESSAGE:  # a new connection makes it no smaller
                held.next_s = max(held.next_s, self._mono_s() + held.pause_s)
            else:
                self._earlier[seq] = Refused(held.for_s, held.told)
                del self._held[seq]
        return self._next_after

    def _first_of_the_day(self, now: Now, boot: str) -> int:
        """The seq before the first entry of the last 24 h; by monotonic time within this boot, else by wall time."""
        last = self._journal.last_seq()
        after = last
        while after > 0 and last - after < _MOST_REPEATED:
            start = max(0, after - _PAGE)
            entries = self._journal.read(start, after - start)
            young = [entry for entry in entries if _age_ms(entry, now, boot) <= self._patience.repeat_ms]
            if len(young) < len(entries):
                return young[0].seq - 1 if young else after
            lost = first_lost(entries[0]) if entries else None
            after = start if lost is None else lost - 1
        return after

    # ---- handing over

    def take(self, room: int) -> list[Entry]:
        """The entries to hand over now, at most `room`; they count as in flight until they are confirmed or refused."""
        taken: list[Entry] = []
        now_s = self._mono_s()
        retry = next((held for _seq, held in sorted(self._held.items()) if held.next_s <= now_s), None)
        if retry and room and retry.entry.seq not in self._in_flight and self._may_retry(retry):
            taken.append(retry.entry)
        while len(taken) < room and not self._is_held_back():
            if not self._page:
                if self._journal.last_seq() <= self._next_after:
                    break
                self._page.extend(self._journal.read(self._next_after, _PAGE))
                if not self._page:
                    break
            entry = self._page.popleft()
            if entry.seq > self._next_after + 1:
                self._lost[self._next_after] = entry.seq - 1
            self._next_after = entry.seq
            if entry.seq not in self._held:
                taken.append(entry)
        self._in_flight.update((entry.seq, entry) for entry in taken)
        return taken

    def _may_retry(self, held: _Held) -> bool:
        return held.code in OF_ONE_MESSAGE or held is self.refused

    def _is_held_back(self) -> bool:
        return any(held.code not in OF_ONE_MESSAGE for held in self._held.values())

    def not_taken(self, entry: Entry) -> None:
        """The connection ended before this entry could be handed over."""
        self._in_flight.pop(entry.seq, None)

    def put_back(self, entries: Sequence[Entry]) -> None:
        """These were taken and could not be handed over; they are taken again next, in their order."""
        for entry in reversed(entries):
            self._in_flight.pop(entry.seq, None)
            if entry.seq not in self._held:
                self._page.appendleft(entry)

    # ---- what the broker said

    def confirm(self, seq: int) -> None:
        """The broker has it."""
        self._in_flight.pop(seq, None)
        self._refused_in_a_row = 0
        self._earlier.pop(seq, None)
        if self._held.pop(seq, None) is not None:
            self._remember()
            for held in self._held.values():
                if held.code not in OF_ONE_MESSAGE:
                    held.next_s = self._mono_s()  # what mended one has mended the others
        self._pass(seq)

    def refuse(self, seq: int, code: int, name: str) -> None:
        """The broker has answered, and does not take it."""
        entry = self._in_flight.pop(seq, None)
        if entry is None:
            return
        self._refused_in_a_row += 1
        now_s, patience = self._mono_s(), self._patience
        held = self._held.get(seq)
        if held is None:
            earlier = self._earlier.pop(seq, Refused(0.0, False))
            held = _Held(
                entry, code, refusal(code, name), earlier.for_s, earlier.told, now_s, now_s, patience.retry_s / 2
            )
            self._held[seq] = held
        else:
            held.for_s += now_s - held.tried_s
        held.code, held.why, held.tried_s = code, refusal(code, name), now_s
        held.pause_s = min(held.pause_s * 2, patience.retry_cap_s)
        if code in OF_ONE_MESSAGE:
            held.pause_s = max(held.pause_s, patience.one_message_s)
        held.next_s = now_s + held.pause_s
        if held is self.refused or code in OF_ONE_MESSAGE:
            self._report(held)
        self._remember()
        if held.for_s >= patience.give_up_s:
            self._give_up(held)

    def _report(self, held: _Held) -> None:
        if held.told or (held.code not in LASTING and held.for_s < self._patience.report_s):
            return
        held.told = True
        _log.warning("MQTT: the broker refuses entry %d of the journal: %s", held.entry.seq, held.why)
        try:
            self._untold(held.entry, held.why)
        except Exception:  # a supervision border: the caller's trouble must not end the telling
            _log.exception("MQTT: that entry %d is refused could not be recorded", held.entry.seq)

    def _give_up(self, held: _Held) -> None:
        _log.warning(
            "MQTT: entry %d was refused for %.0f h and is passed over: %s", held.entry.seq, held.for_s / 3600, held.why
        )
        del self._held[held.entry.seq]
        for other in self._held.values():
            if other.code not in OF_ONE_MESSAGE:
                other.next_s = other.tried_s = self._mono_s()  # each is tried for 24 h of its own
        self._remember()
        self._pass(held.entry.seq)

    def _remember(self) -> None:
        self._memory.remember_refusals(
            {seq: Refused(held.for_s, held.told) for seq, held in self._held.items() if held.told}
        )

    def _pass(self, seq: int) -> None:
        if seq <= self._contiguous:
            return
        self._early.add(seq)
        while self._contiguous + 1 in self._early or self._contiguous in self._lost:
            self._contiguous = self._lost.get(self._contiguous, self._contiguous + 1)
            self._early.discard(self._contiguous)
        if self.proved:
            self._confirmed = max(self._confirmed, self._contiguous)

    @property
    def nobody_hears(self) -> bool:
        """Whether entries are refused and none gets through: the whole topic is, or each that was tried since one was taken."""
        return self._is_held_back() or (bool(self._held) and self._refused_in_a_row >= 2)

    def prove(self) -> None:
        """What was told came back: what was confirmed until now counts."""
        self.proved = True
        self._confirmed = max(self._confirmed, self._contiguous)

    # ---- the cursor

    def save(self, *, at_once: bool = False) -> None:
        """Save the cursor where it has moved, at most once a second."""
        now_s = self._mono_s()
        if self._confirmed <= self._saved or (not at_once and now_s - self._saved_s < self._patience.cursor_s):
            return
        self._saved_s = now_s
        try:
            self._save(self._confirmed)
        except StoreFault as fault:  # then it is told again after the next start, no more
            if not self._save_failed:
                _log.warning("MQTT: the cursor can't be saved, so some is told twice after a restart: %s", fault)
            self._save_failed = True
            return
        self._saved, self._save_failed = self._confirmed, False

    def next_s(self) -> float:
        """When something is due without an event: a save or another try; infinite where nothing is."""
        due_s = [
            held.next_s
            for held in self._held.values()
            if held.entry.seq not in self._in_flight and self._may_retry(held)
        ]
        if self._confirmed > self._saved:
            due_s.append(self._saved_s + self._patience.cursor_s)
        return min(due_s, default=float("inf"))

    def behind(self) -> int:
        """Entries that are not confirmed yet; not those that are only being repeated."""
        early = sum(seq > self._confirmed for seq in list(self._early))
        return max(0, self._journal.last_seq() - self._confirmed - early)

    def oldest_untold(self) -> Entry | None:
        """The first entry that nobody was told yet."""
        entries = self._journal.read(self._confirmed, 1)
        return entries[0] if entries else None


def _age_ms(entry: Entry, now: Now, boot: str) -> int:
    return now.mono_ms - entry.mono_ms if entry.boot == boot else now.wall_ms - entry.wall_ms
