"""The journal of a composed day: a list, or the real one on disk, with what befalls files between two runs of a daemon."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Final, Protocol

from edge.domain.entries import Draft, Entry
from edge.domain.station.station import FOLD_VERSION
from edge.store.journal import CHECKED_AT_START, Journal
from edge.store.space import RESERVE_FILE

DB: Final = "journal.db"
LOG: Final = DB + "-wal"
INDEX: Final = DB + "-shm"
OLDER: Final = "older"  # the copy that is put back


class Keeps(Protocol):
    """What a run needs of a journal."""

    @property
    def entries(self) -> Sequence[Entry]:
        """All that is kept, oldest first."""

    def append(self, drafts: Sequence[Draft], boot: str) -> list[Entry]:
        """Keep entries."""

    def close(self) -> None:
        """Let it go."""


class InMemory:
    """A list."""

    def __init__(self) -> None:
        self.entries: list[Entry] = []

    def append(self, drafts: Sequence[Draft], boot: str) -> list[Entry]:
        """Keep entries, their bodies as JSON has them."""
        kept = []
        for draft in drafts:
            at, body = draft.now, json.loads(json.dumps(draft.body))
            entry = Entry(len(self.entries) + 1, boot, at.mono_ms, at.wall_ms, at.trusted, draft.kind, body)
            self.entries.append(entry)
            kept.append(entry)
        return kept

    def close(self) -> None:
        """Nothing to let go."""


class OnDisk:
    """The journal as the daemon has it, in a folder of its own.

    Args:
        folder: an empty one; the journal's own is made in it.
        station: `site/id`.
    """

    def __init__(self, folder: Path, station: str) -> None:
        self._at, self._station = folder / "store", station
        self._copies = folder / "copies"
        self._journal: Journal | None = None

    @property
    def entries(self) -> list[Entry]:
        """All that is on disk, oldest first."""
        found: list[Entry] = []
        if self._journal is not None:
            while some := self._journal.read(found[-1].seq if found else 0, 500):
                found += some
        return found

    @property
    def last_seq(self) -> int:
        """The newest entry's; 0 where there is none."""
        return 0 if self._journal is None else self._journal.last_seq()

    def append(self, drafts: Sequence[Draft], boot: str) -> list[Entry]:
        """Keep entries, in the boot that the journal was opened in. Raises StoreFault."""
        assert self._journal is not None, boot
        return self._journal.append(drafts)

    def open(self, boot: str, fold_anew: bool) -> None:
        """As a daemon opens it at its start. Raises StoreFault."""
        anew = CHECKED_AT_START if fold_anew else 0
        self._journal = Journal(self._at, self._station, boot, fold_anew=anew)

    def save(self, state: dict[str, Any]) -> None:
        """The station's state, as of the newest entry."""
        assert self._journal is not None
        self._journal.save_fold(self._journal.last_seq(), FOLD_VERSION, state)

    def saved(self) -> tuple[int, dict[str, Any]] | None:
        """(seq, state) as the journal gives it back."""
        assert self._journal is not None
        return self._journal.load_fold(FOLD_VERSION)

    def close(self) -> None:
        """A clean end."""
        if self._journal is not None:
            self._journal.close()
            self._journal = None

    def copy(self, name: str) -> None:
        """The files as they stand now, kept aside; without the room that is held back for a full disk."""
        shutil.copytree(self._at, self._copies / name, ignore=shutil.ignore_patterns(RESERVE_FILE))

    def killed(self) -> None:
        """The files as a process leaves them that was killed: nothing of the end is in them, neither here nor in the note beside it."""
        outside = self._at.parent / ".store.head"
        noted = outside.read_bytes() if outside.exists() else None
        self.copy("killed")
        self.close()
        self._put_back("killed")
        shutil.rmtree(self._copies / "killed")
        if noted is not None:
            outside.write_bytes(noted)

    def befall(self, what: str) -> None:
        """The daemon is killed, and this happens to the files before the next start: a key of DAMAGES."""
        self.killed()
        DAMAGES[what](self)

    def set_aside(self, name: str) -> None:
        """As the journal's own advice asks: its three files are kept elsewhere."""
        self._copies.joinpath(name).mkdir(parents=True)
        for file in (DB, LOG, INDEX):
            if (self._at / file).exists():
                shutil.move(self._at / file, self._copies / name / file)

    def _put_back(self, name: str) -> None:
        shutil.rmtree(self._at)
        shutil.copytree(self._copies / name, self._at)

    def _loses(self, *files: str) -> None:
        for file in files:
            (self._at / file).unlink(missing_ok=True)

    def _is_cut(self, file: str, share: float) -> None:
        path = self._at / file
        if path.exists():
            with path.open("r+b") as opened:
                opened.truncate(int(path.stat().st_size * share))

    def _old_file(self) -> None:
        self._loses(LOG, INDEX)
        for file in (DB, LOG):
            if (self._copies / OLDER / file).exists():
                shutil.copy(self._copies / OLDER / file, self._at / file)


def _nothing(_: OnDisk) -> None:
    """No more than the kill."""


#: what befalls the files, by the name that an ingredient has
DAMAGES: Final[dict[str, Callable[[OnDisk], None]]] = {
    "killed": _nothing,
    "log lost": lambda disk: disk._loses(LOG, INDEX),
    "log cut": lambda disk: disk._is_cut(LOG, 0.6),
    "file cut": lambda disk: disk._is_cut(DB, 0.7),
    "file emptied": lambda disk: disk._is_cut(DB, 0.0),
    "old file": OnDisk._old_file,
    "old folder": lambda disk: disk._put_back(OLDER),
    "all gone": lambda disk: disk._loses(DB, LOG, INDEX),
}
