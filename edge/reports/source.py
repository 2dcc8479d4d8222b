"""What a report is made of: the journal of a folder up to a head, and the readings beside it."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from pathlib import Path
from typing import Any, Final, NamedTuple

from edge.config import settings_of
from edge.domain.dates import Dates
from edge.domain.entries import Entry, Now, SignedHead, Stamp
from edge.domain.errors import UnusableInput
from edge.domain.settings import Settings
from edge.reports.corrected import NEVER, corrections_of, shown, taken_back
from edge.reports.index import Index
from edge.store.chain import all_but_body, entry_of
from edge.store.database import SERIES_FILE
from edge.store.export import may_lie
from edge.store.journal import ReadOnlyJournal
from edge.store.series_read import SeriesReader
from edge.store.signed_heads import heads_of, newest_of, public_half
from edge.store.verify import Verified, verify

_PIECE: Final = 500
#: kinds of entries whose body is looked into on the way
_LOOKED_INTO: Final = ("alarm", "record", "settings", "started")
#: records by which others count no more, or readings are corrected
_KEPT: Final = ("calibration", "correction")
MINUTE_MS: Final = 60_000
#: readings are collected for some seconds before they are written
ON_DISK_AFTER_MS: Final = 60_000


class Head(NamedTuple):
    """The last entry that a report rests on."""

    seq: int
    digest: str


class Steps(NamedTuple):
    """Readings step by step.

    Attributes:
        step_ms: how long a step is: as asked for, or longer where what is finer is no longer kept.
        points: by point the columns min, mean, max and covered of SeriesReader.trend(), and "corrected": whether a calibration was in
            force; of one that has no readings nothing.
    """

    step_ms: int
    points: dict[str, Any]


class Source:
    """A folder's journal, read as far as `head`: once from its first entry on, and then only what is asked for.

    Args:
        folder: the [keep] folder.
        head: of the journal then; None: its end now.
        proves: whether its chain is looked at on the way.

    Raises:
        UnusableInput: there is no journal, no settings in it, or not this head.
        StoreFault: it can't be read.
    """

    def __init__(self, folder: Path, head: Head | None = None, *, proves: bool = False) -> None:
        self._folder = folder
        self._journal = ReadOnlyJournal(folder)
        self._read: dict[int, Settings] = {}
        self._verified: Verified | None = None
        self._last: Stamp | None = None
        try:
            self.head = Head(*self._journal.head()) if head is None else self._as_told(head)
            self.dates, self._settings, self._index = Dates(), list[Entry](), Index()
            self._corrections, self.is_simulated = list[Entry](), False
            if proves:
                self._verified = verify(
                    folder, (self.head.seq, self.head.digest), seen=self._shown, bodies=_LOOKED_INTO
                )
                for _, first, _ in self._verified.unseen:
                    self._journal.rows(
                        first - 1, 1
                    )  # a closed segment that isn't here: no paper is made without its entries
            for seq, hashed, trusted in self._rows(
                self._index.last_seq
            ):  # all, or what lies behind the first that doesn't fit
                self._note(seq, hashed, trusted)
            if not self._settings:
                raise UnusableInput(
                    "there are no settings in the journal", where=str(folder), expected="a station that has run",
                    do="Start it once: `warmwell run`",
                )  # fmt: skip
        except BaseException:
            self._journal.close()
            raise

    def _shown(self, seq: int, said: dict[str, Any], trusted: bool) -> None:
        if seq <= self.head.seq:
            kind, stamp = said["kind"], Stamp(said["boot"], said["mono_ms"], said["wall_ms"], trusted)
            self._noted(seq, stamp, kind, said["body"] if kind in _LOOKED_INTO else {})

    def _note(self, seq: int, hashed: bytes, trusted: bool) -> None:
        stamp, kind = _end_of(hashed, trusted)
        self._noted(seq, stamp, kind, entry_of(hashed, trusted).body if kind in _LOOKED_INTO else {})

    def _noted(self, seq: int, stamp: Stamp, kind: str, body: Mapping[str, Any]) -> None:
        self._index.add(seq, stamp, kind, body)
        self.dates.note(stamp.boot, Now(stamp.mono_ms, stamp.wall_ms, stamp.trusted))
        self.dates.reached(stamp.boot, stamp.mono_ms)
        self._last = stamp
        if kind == "settings":
            self._settings.append(Entry(seq, *stamp, kind, body))
        elif kind == "record" and body.get("record") in _KEPT:
            self._corrections.append(Entry(seq, *stamp, kind, body))
        self.is_simulated = self.is_simulated or (kind == "started" and "demo" in body)

    def made_at_ms(self, now_ms: int, *, is_stations: bool) -> int:
        """When a report of it is made [ms since 1970]: by the station's clock never before the last that it tells of.

        Args:
            now_ms: now, by this computer's clock or (`is_stations`) by the station's. A simulated station has a clock of its own, which
                is as far as its last entry for all that this computer knows.
        """
        dated = None if self._last is None else self.dates.of(self._last)
        if dated is None or dated.doubt:
            return now_ms
        if is_stations:
            return max(now_ms, dated.wall_ms)
        return dated.wall_ms if self.is_simulated else now_ms

    def taken_back(self) -> dict[int, dict[str, Any]]:
        """The records that count no more, by seq: by which correction."""
        return taken_back(self._corrections, self.dates)

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
        first, last = self._index.between(self.dates, from_ms, to_ms)
        for seq in self._index.before(first):
            yield from (entry_of(hashed, trusted) for _, hashed, trusted in self._journal.rows(seq - 1, 1))
        for seq, hashed, trusted in self._rows(first - 1):
            if seq > last:
                return
            yield entry_of(hashed, trusted)

    def within(self, from_ms: int | None, to_ms: int | None, kinds: Collection[str] = ()) -> Iterator[Entry]:
        """Those that are, or may be, of [from, to), in their order; of these kinds where some are named. Raises StoreFault."""
        for _, hashed, trusted in self._rows():
            stamp, kind = _end_of(hashed, trusted)
            if (not kinds or kind in kinds) and may_lie(stamp, self.dates, from_ms, to_ms):
                yield entry_of(hashed, trusted)

    def digests(self, from_ms: int | None, to_ms: int | None) -> list[tuple[int, str]]:
        """The settings in force in [from, to): since when [ms since 1970], and their digest."""
        told = [(self.dates.of(entry.stamp).wall_ms, str(entry.body["digest"])) for entry in self._settings]
        before = [one for one in told if from_ms is not None and one[0] <= from_ms]
        after = [one for one in told if one not in before and (to_ms is None or one[0] < to_ms)]
        return [*before[-1:], *after]

    def public_half(self, signed: SignedHead | None, told: str | None = None) -> str | None:
        """The public half, in PEM form, of the key that signed a head: that which is told, else that of the folder; None: neither is."""
        return public_half(self._folder, signed, told)

    def _rows(self, after: int = 0) -> Iterator[tuple[int, bytes, bool]]:
        """The rows of the entries after one, up to the head."""
        while after < self.head.seq:
            piece = self._journal.rows(after, min(_PIECE, self.head.seq - after))
            if not piece:
                return
            yield from (row for row in piece if row[0] <= self.head.seq)
            after = piece[-1][0]

    def chain(self) -> dict[str, Any]:
        """Whether the chain of the whole journal holds up to its end now: {"holds", "why"}. Raises StoreFault."""
        found = self._verified or verify(self._folder, (self.head.seq, self.head.digest))
        return {"holds": found.ok, "why": found.why if not found.ok else ""}

    def signed(self, told: SignedHead | None = None) -> SignedHead | None:
        """The newest head up to this one that the station has signed; `told` where that is among them. Raises StoreFault."""
        heads = heads_of(self._folder)
        return told if told in heads else newest_of(heads, self._journal.mark(), self.head.seq)

    def steps(self, from_ms: int, to_ms: int, made_at_ms: int, step_ms: int = MINUTE_MS) -> Steps:
        """The readings of [from, to) as they were shown then, by whole minutes. Of a step that wasn't over and on disk when the report was
        made there are none, as whoever makes it again finds more there.
        """
        if not (self._folder / SERIES_FILE).exists():
            return Steps(step_ms, {})
        reader = SeriesReader(self._folder)
        try:
            points = [fact.id for fact in reader.points()]
            told = reader.trend(points, from_ms, step_ms, -(-(to_ms - from_ms) // step_ms))
            over = max(0, (made_at_ms - ON_DISK_AFTER_MS - from_ms) // told["width_ms"])
        finally:
            reader.close()
        corrections = corrections_of(sorted((*self._settings, *self._corrections)), self.settings(), self.dates)
        width_ms = told["width_ms"]
        return Steps(
            width_ms,
            {
                point: shown(_first(over, columns), corrections.get(point, NEVER), from_ms, width_ms)
                for point, columns in told["points"].items()
            },
        )


def _first(over: int, columns: Mapping[str, Any]) -> dict[str, list[float | None]]:
    """Columns of SeriesReader.trend() without readings behind so many steps."""
    blank = {"covered": 0.0}
    told = ("min", "mean", "max", "covered")
    return {key: [*columns[key][:over], *[blank.get(key)] * (len(columns[key]) - over)] for key in told}


def _end_of(hashed: bytes, trusted: bool) -> tuple[Stamp, str]:
    """When an entry was stamped, and its kind."""
    said = all_but_body(hashed)
    if said is None:
        entry = entry_of(hashed, trusted)
        return entry.stamp, entry.kind
    return Stamp(said["boot"], said["mono_ms"], said["wall_ms"], trusted), said["kind"]
