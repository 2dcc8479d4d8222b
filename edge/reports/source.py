"""What a report is made of: the journal of a folder up to a head, and the readings beside it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final, NamedTuple

from edge.config import settings_of
from edge.domain.dates import Dates
from edge.domain.entries import Entry, Now
from edge.domain.errors import UnusableInput
from edge.domain.settings import Settings
from edge.store.database import SERIES_FILE
from edge.store.journal import ReadOnlyJournal
from edge.store.series_read import SeriesReader
from edge.store.verify import verify

_PIECE: Final = 500
_MINUTE_MS: Final = 60_000


class Head(NamedTuple):
    """The last entry that a report rests on."""

    seq: int
    digest: str


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
        try:
            self.head = Head(*self._journal.head()) if head is None else self._as_told(head)
            self.dates, self._settings = Dates(), list[Entry]()
            for entry in self.entries():
                self.dates.note(entry.boot, Now(entry.mono_ms, entry.wall_ms, entry.trusted))
                self.dates.reached(entry.boot, entry.mono_ms)
                if entry.kind == "settings":
                    self._settings.append(entry)
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
        return settings_of(chosen.body["document"])

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

    def entries(self) -> Iterator[Entry]:
        """All up to the head, in their order. Raises StoreFault."""
        after = 0
        while after < self.head.seq:
            piece = self._journal.read(after, min(_PIECE, self.head.seq - after))
            piece = [entry for entry in piece if entry.seq <= self.head.seq]
            if not piece:
                return
            yield from piece
            after = piece[-1].seq

    def chain(self) -> dict[str, Any]:
        """Whether the chain of the whole journal holds up to its end now: {"holds", "why"}. Raises StoreFault."""
        found = verify(self._folder, (self.head.seq, self.head.digest))
        return {"holds": found.ok, "why": found.why if not found.ok else ""}

    def minutes(self, from_ms: int, to_ms: int) -> dict[str, Any] | None:
        """Every point's readings of [from, to), whole minutes, as SeriesReader.trend() tells them; None where no readings are kept."""
        if not (self._folder / SERIES_FILE).exists():
            return None
        reader = SeriesReader(self._folder)
        try:
            points = [fact.id for fact in reader.points()]
            return reader.trend(points, from_ms, _MINUTE_MS, (to_ms - from_ms) // _MINUTE_MS)
        finally:
            reader.close()
