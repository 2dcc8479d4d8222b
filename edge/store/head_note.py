"""The journal's head, noted outside the journal's file: what a lost log, an older copy or a new file can't take back.

One note stands in the folder, one beside it (so that a whole folder put back from a copy is noticed); the second is a help
where the folder's own folder may be written to. A note follows each commit and is brought to disk once a second: after a
power cut it may be a second behind, never ahead.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final, NamedTuple

from edge.domain.errors import StoreFault
from edge.store.side_files import SmallNote

NOTE_FILE: Final = "head"
#: entries that a power cut may have kept a note from telling of: new seqs begin so much higher then
MARGIN: Final = 1000


class Known(NamedTuple):
    """A head that was noted. `exact`: nothing can have been kept after it that it doesn't tell.

    `backup`: when the backup was made that the journal was restored from; `seq` is then as far as the board before can have told.
    """

    seq: int
    digest: str
    mark: str
    exact: bool
    backup: str = ""


class HeadNotes:
    """The notes of one journal.

    Args:
        folder: the journal's.
        station: a note of another station is passed over.
        boot: identity of this boot; a note of the same boot was not cut off by a power cut.
    """

    def __init__(self, folder: Path, station: str, boot: str) -> None:
        self._station, self._boot = station, boot
        folder = folder.resolve()
        self._inner = SmallNote(folder / NOTE_FILE)
        self._outer = SmallNote(folder.parent / f".{folder.name}.{NOTE_FILE}")
        self.trouble: str | None = None

    def known(self) -> Known | None:
        """The highest head that either note tells."""
        found = [known for note in (self._inner, self._outer) if (known := self._known(note.read())) is not None]
        return max(found, default=None)

    def damaged(self) -> list[str]:
        """Notes that were there and can't be read; asked after known()."""
        return [note.path.name for note in (self._inner, self._outer) if note.damaged]

    def _known(self, said: dict[str, Any] | None) -> Known | None:
        if said is None or said.get("station") != self._station:
            return None
        seq, digest, mark = said.get("seq"), said.get("digest"), said.get("mark")
        if not (isinstance(seq, int) and seq >= 0 and isinstance(digest, str) and isinstance(mark, str)):
            return None
        exact = said.get("closed") is True or said.get("boot") == self._boot
        return Known(seq, digest, mark, exact, str(said.get("backup", ""))[:40])

    def write(self, seq: int, digest: str, mark: str, *, closed: bool = False, backup: str = "") -> None:
        """Note a head. Never raises: an entry on disk stays one."""
        values = {"station": self._station, "boot": self._boot, "seq": seq, "digest": digest, "mark": mark}
        values |= {"closed": True} if closed else {}
        values |= {"backup": backup} if backup else {}
        self.trouble = self._try(self._inner, values)
        self._try(self._outer, values)

    def sync(self) -> None:
        """Have them on disk. Never raises."""
        for note in (self._inner, self._outer):
            try:
                note.sync()
            except StoreFault as fault:
                if note is self._inner:
                    self.trouble = str(fault)

    @staticmethod
    def _try(note: SmallNote, values: dict[str, Any]) -> str | None:
        try:
            note.write(values)
        except StoreFault as fault:
            return str(fault)
        return None
