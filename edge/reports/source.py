"""What a report is made of: the journal of a folder up to a head, and the readings beside it."""

from __future__ import annotations

import re
from array import array
from collections.abc import Collection, Iterator
from pathlib import Path
from typing import Any, Final, NamedTuple

from edge.config import settings_of
from edge.domain.dates import Dates
from edge.domain.entries import Entry, Now, SignedHead, Stamp
from edge.domain.errors import UnusableInput
from edge.domain.settings import Settings
from edge.store.chain import entry_of
from edge.store.database import SERIES_FILE
from edge.store.export import may_lie
from edge.store.journal import ReadOnlyJournal
from edge.store.series_read import SeriesReader
from edge.store.signed_heads import heads_of, newest_of
from edge.store.verify import verify

_PIECE: Final = 500
#: kinds of entries whose past says how a day began: its word, and which alarms stood
_OF_BEFORE: Final = (b"alarm", b"phase", b"started", b"stopped", b"verdict")
#: the end of an entry's bytes (RFC 8785: members in the order of their names): all but its body, which is most of the work of reading it.
#: A text within can't look like it, as its quotes are escaped, and no object within has these members.
_ENDS: Final = re.compile(
    rb',"boot":"([^"\\]*)","kind":"([a-z_]+)","mono_ms":(-?\d+),"seq":\d+,"station":"[^"]*","v":\d+,"wall_ms":(-?\d+)\}$'
)
MINUTE_MS: Final = 60_000


class Head(NamedTuple):
    """The last entry that a report rests on."""

    seq: int
    digest: str


class Steps(NamedTuple):
    """Readings step by step.

    Attributes:
        step_ms: how long a step is: as asked for, or longer where what is finer is no longer kept.
        points: by point the columns of SeriesReader.trend(), of one that has no readings nothing.
    """

    step_ms: int
    points: dict[str, Any]


class Source:
    """A folder's journal, read as far as `head`.

    Args:
        folder: the [keep] folder.
        head: of the journal then; None: its end now.

    Raises:
        UnusableInput: there is no journal, no settings in it, or not this head.
        StoreFault: it can't be read.
    """

    def __init__(self, folder: Path, head: Head | None = None) -> None:
        self._folder = folder
        self._journal = ReadOnlyJournal(folder)
        self._read: dict[int, Settings] = {}
        try:
            self.head = Head(*self._journal.head()) if head is None else self._as_told(head)
            self.dates, self._settings, self._stamps = Dates(), list[Entry](), _Stamps()
            for seq, hashed, trusted in self._rows():
                stamp, kind = _end_of(hashed, trusted)
                self._stamps.add(seq, stamp)
                self.dates.note(stamp.boot, Now(stamp.mono_ms, stamp.wall_ms, trusted))
                self.dates.reached(stamp.boot, stamp.mono_ms)
                if kind == b"settings":
                    self._settings.append(entry_of(hashed, trusted))
            if not self._settings:
                raise UnusableInput(
                    "there are no settings in the journal", where=str(folder), expected="a station that has run",
                    do="Start it once: `warmwell run`",
                )  # fmt: skip
        except BaseException:
            self._journal.close()
            raise

    def settings(self, before_ms: int | None = None) -> Settings:
        """The settings in force at an instant [ms since 1970], at the head where none is named; the first where it lies before them."""
        chosen = self._settings[0]
        for entry in self._settings:
            if before_ms is None or self.dates.of(entry.stamp).wall_ms < before_ms:
                chosen = entry
        if chosen.seq not in self._read:
            self._read[chosen.seq] = settings_of(chosen.body["document"])
        return self._read[chosen.seq]

    def _as_told(self, head: Head) -> Head:
        last = self._journal.last_seq()
        if not 0 < head.seq <= last or self._journal.digest(head.seq) != head.digest:
            raise UnusableInput(
                f"the report rests on entry {head.seq} with the digest {head.digest[:16]}…, and this journal has none such",
                where=str(self._folder), expected="the journal of the station that it was made of",
                do="Name that journal's folder, or a restored backup of it",
            )  # fmt: skip
        return head

    def close(self) -> None:
        """Let the files go."""
        self._journal.close()

    def entries(self, from_ms: int, to_ms: int) -> Iterator[Entry]:
        """Those that are, or may be, of [from, to), and of all before them what says how that began; in their order. Raises StoreFault."""
        first, last = self._stamps.between(self.dates, from_ms, to_ms)
        before: tuple[bytes, bool] | None = None
        for seq, hashed, trusted in self._rows():
            if seq > last:
                return
            kind = _end_of(hashed, trusted)[1] if seq <= first else b""
            if kind == b"started" and before is not None:
                yield entry_of(*before)  # the last of the run before: until then somebody watched
            before = None
            if seq >= first or kind in _OF_BEFORE:
                yield entry_of(hashed, trusted)
            else:
                before = (hashed, trusted)

    def within(self, from_ms: int | None, to_ms: int | None, kinds: Collection[str] = ()) -> Iterator[Entry]:
        """Those that are, or may be, of [from, to), in their order; of these kinds where some are named. Raises StoreFault."""
        wanted = {kind.encode() for kind in kinds}
        for _, hashed, trusted in self._rows():
            stamp, kind = _end_of(hashed, trusted)
            if (not wanted or kind in wanted) and may_lie(stamp, self.dates, from_ms, to_ms):
                yield entry_of(hashed, trusted)

    def digests(self, from_ms: int | None, to_ms: int | None) -> list[tuple[int, str]]:
        """The settings in force in [from, to): since when [ms since 1970], and their digest."""
        told = [(self.dates.of(entry.stamp).wall_ms, str(entry.body["digest"])) for entry in self._settings]
        before = [one for one in told if from_ms is not None and one[0] <= from_ms]
        after = [one for one in told if one not in before and (to_ms is None or one[0] < to_ms)]
        return [*before[-1:], *after]

    def _rows(self) -> Iterator[tuple[int, bytes, bool]]:
        """The rows of all entries up to the head."""
        after = 0
        while after < self.head.seq:
            piece = self._journal.rows(after, min(_PIECE, self.head.seq - after))
            if not piece:
                return
            yield from (row for row in piece if row[0] <= self.head.seq)
            after = piece[-1][0]

    def chain(self) -> dict[str, Any]:
        """Whether the chain of the whole journal holds up to its end now: {"holds", "why"}. Raises StoreFault."""
        found = verify(self._folder, (self.head.seq, self.head.digest))
        return {"holds": found.ok, "why": found.why if not found.ok else ""}

    def signed(self, told: SignedHead | None = None) -> SignedHead | None:
        """The newest head up to this one that the station has signed; `told` where that is among them. Raises StoreFault."""
        heads = heads_of(self._folder)
        return told if told in heads else newest_of(heads, self._journal.mark(), self.head.seq)

    def steps(self, from_ms: int, to_ms: int, step_ms: int = MINUTE_MS) -> Steps:
        """The readings of [from, to), by whole minutes."""
        if not (self._folder / SERIES_FILE).exists():
            return Steps(step_ms, {})
        reader = SeriesReader(self._folder)
        try:
            points = [fact.id for fact in reader.points()]
            told = reader.trend(points, from_ms, step_ms, -(-(to_ms - from_ms) // step_ms))
            return Steps(told["width_ms"], dict(told["points"]))
        finally:
            reader.close()


def _end_of(hashed: bytes, trusted: bool) -> tuple[Stamp, bytes]:
    """When an entry was stamped, and its kind."""
    found = _ENDS.search(hashed)
    if found is None:
        entry = entry_of(hashed, trusted)
        return entry.stamp, entry.kind.encode()
    boot, kind, mono_ms, wall_ms = found.groups()
    return Stamp(boot.decode(), int(mono_ms), int(wall_ms), trusted), kind


class _Stamps:
    """The stamps of a journal's entries: 25 bytes each, so that years of them fit a small board."""

    def __init__(self) -> None:
        self._boots: dict[str, int] = {}
        self._seqs, self._monos, self._walls = array("q"), array("q"), array("q")
        self._of_boot, self._trusted = array("L"), array("B")

    def add(self, seq: int, stamp: Stamp) -> None:
        self._seqs.append(seq)
        self._monos.append(stamp.mono_ms)
        self._walls.append(stamp.wall_ms)
        self._of_boot.append(self._boots.setdefault(stamp.boot, len(self._boots)))
        self._trusted.append(stamp.trusted)

    def between(self, dates: Dates, from_ms: int, to_ms: int) -> tuple[int, int]:
        """The first and the last seq whose entry is, or may be, of [from, to). Of none: one behind the last before it, and that one."""
        boots, first, last, before = list(self._boots), 0, 0, 0
        for at, seq in enumerate(self._seqs):
            stamp = Stamp(boots[self._of_boot[at]], self._monos[at], self._walls[at], bool(self._trusted[at]))
            dated = dates.of(stamp)
            if dated.doubt or from_ms <= dated.wall_ms < to_ms:
                first, last = first or seq, seq
            elif dated.wall_ms < from_ms:
                before = seq
        return (first, last) if first else (before + 1, before)
