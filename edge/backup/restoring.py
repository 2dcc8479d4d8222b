"""A station's store made of a backup, on a new board or a new disk. Nothing that is there is written over.

The journal takes its place last: until then the folder is no store, and a mark in it says so to whoever starts a daemon there. What is
broken off is begun again by the same command.
"""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from edge import config
from edge.backup import checking, pages, segments
from edge.backup.folder import digest_at, told
from edge.config.plans import StationFile
from edge.domain.errors import StoreFault, UnusableInput
from edge.people.copying import put_back as put_people_back
from edge.people.file import PEOPLE_FILE
from edge.small_file import replace_bytes
from edge.store.chain import trust_check
from edge.store.database import (
    JOURNAL_FILE,
    RESTORING_FILE,
    SERIES_FILE,
    as_sentence,
    new_file,
    ready_folder,
    sync_path,
)
from edge.store.head_note import MARGIN, HeadNotes
from edge.store.lock import FolderLock
from edge.store.repair import is_damaged
from edge.store.schema import bring_journal_up
from edge.store.verify import verify
from edge.store.whole import segment_files

#: a restored journal goes on so far above the backup's end: the board before went on, and nobody knows how far. At the most that a
#: journal may grow by (some 4000 entries a day, 1 MB) these are more than six years
UNKNOWN: Final = 10_000_000
_ENDINGS: Final = ("", "-wal", "-shm")
_PIECE: Final = 2000


@dataclass(slots=True)
class Restored:
    """What was made of a backup.

    Attributes:
        next_seq: of the entry that the station will begin with.
        by_hand: files that have to be put back, or made anew, by somebody.
        remarks: what else to know, one sentence each.
    """

    station: str
    folder: Path
    station_file: Path | None
    entries: int
    head: tuple[int, str]
    next_seq: int
    people: int
    readings_bytes: int
    by_hand: list[str] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)


def restore(
    backup: Path,
    to: Path,
    head: tuple[int, str] | None = None,
    progress: checking.Progress | None = None,
    *,
    readings: bool = True,
) -> Restored:
    """Make a station's store of a backup.

    Args:
        backup: its folder; it is only read.
        to: the [keep] folder, or a station file: one that isn't there yet is put there, with what stood beside it.
        head: (seq, digest in hex) that the board before told last, such as the broker keeps it; without it the restored journal goes on
            far above the backup's end.
        progress: as checked().
        readings: whether they are restored, too.

    Raises:
        UnusableInput: there is no backup, or the folder holds a store already.
        AlreadyRunning: a daemon runs there.
        NewerStore: a later version made the backup.
        StoreFault: the backup doesn't hold, or a disk refuses.
    """
    manifest = checking.checked(backup, progress, readings=readings)
    found = checking.followed(backup, manifest)
    if not found.ok:
        raise StoreFault(
            f"the backup doesn't hold: {found.why}", where=str(backup), expected="an unbroken chain up to its head",
            do="Take another backup; keep this one, it is evidence",
        )  # fmt: skip
    return _Restoring(backup, manifest, head).all(to, readings)


class _Restoring:
    def __init__(self, backup: Path, manifest: dict[str, Any], head: tuple[int, str] | None) -> None:
        self._backup, self._manifest = backup, manifest
        self._station = str(manifest["station"])
        listed = manifest["journal"]["head"]
        self._seq, self._digest = int(listed["seq"]), str(listed["digest"])
        self._next = self._seq + UNKNOWN + 1
        if head is not None:
            if head[0] <= self._seq and not checking.followed(backup, manifest, head).ok:
                raise UnusableInput(
                    f"the backup's entry {head[0]} is another than this head's", where="--head",
                    expected=f"a head that {self._station} told", do="Copy it from the retained `head` topic",
                )  # fmt: skip
            self._next = max(head[0], self._seq) + MARGIN + 1
        self._by_hand: list[str] = [str(named) for named in manifest.get("left_out", [])]
        self._remarks: list[str] = []
        self._put: list[Path] = []

    def all(self, to: Path, with_readings: bool) -> Restored:
        try:
            folder, station_file = self._place(to)
            ready_folder(folder)
            lock = FolderLock(folder)
        except BaseException:
            self._take_back()
            raise
        try:
            self._refuse_what_is_there(folder)
            with as_sentence(str(folder)):
                replace_bytes(folder / RESTORING_FILE, self._digest.encode(), 0o640)
                self._clear(folder)
                self._small(folder)
                readings_bytes = self._readings(folder) if with_readings else 0
                people = self._people(folder)
                entries = self._journal(folder)
                self._owned(folder)
                self._note_head(folder)
                (folder / RESTORING_FILE).unlink()
                sync_path(folder)
            self._see_that_it_holds(folder)
        except BaseException:
            self._take_back()
            raise
        finally:
            lock.release()
        return Restored(
            self._station, folder, station_file, entries, (self._seq, self._digest), self._next, people, readings_bytes,
            self._by_hand, self._remarks,
        )  # fmt: skip

    # -- where

    def _place(self, to: Path) -> tuple[Path, Path | None]:
        """The [keep] folder, and the station file where one is named."""
        if to.suffix != ".toml" or to.is_dir():
            if any(kept["what"] == "station file" for kept in self._manifest["files"]):
                self._remarks.append("The station file wasn't put back: name it in place of the folder.")
            return to, None
        if to.exists():
            plan = config.load(to)
            self._remarks.append(f"{to} was there and stays as it is.")
        else:
            plan = self._files_of_station(to)
        if plan.settings.name != self._station:
            raise UnusableInput(
                f"it is the file of {plan.settings.name}", where=str(to), expected=f"that of {self._station}",
                do="Name the station file of the station that was backed up",
            )  # fmt: skip
        return plan.keep.folder, to

    def _files_of_station(self, to: Path) -> StationFile:
        """Put the station file where it is to be, and what stood beside it."""
        listed = [kept for kept in self._manifest["files"] if not kept["in_keep"]]
        own = [kept for kept in listed if kept["what"] == "station file"]
        if not own:
            raise UnusableInput(
                "the backup has no station file", where=str(self._backup), expected="one to put there",
                do="Write it anew, or name the [keep] folder: the settings stand in the journal's `settings` entries",
            )  # fmt: skip
        with as_sentence(str(to)):
            to.parent.mkdir(parents=True, exist_ok=True)
            for kept in listed:
                if kept in own:
                    continue
                named = Path(str(kept["named"]))
                place = to.parent / named
                if named.is_absolute() or ".." in named.parts or place.exists():
                    if not place.exists():
                        self._by_hand.append(f"{named} (in the backup: {kept['name']})")
                    continue
                place.parent.mkdir(parents=True, exist_ok=True)
                self._put_there(place, kept)
            self._put_there(to, own[0])
        return config.load(to)

    def _put_there(self, place: Path, kept: dict[str, Any]) -> None:
        self._put.append(place)
        replace_bytes(place, self._content(kept), _mode(kept))

    def _take_back(self) -> None:
        """What was put beside the store, where that can't be made."""
        for path in self._put:
            path.unlink(missing_ok=True)

    @staticmethod
    def _refuse_what_is_there(folder: Path) -> None:
        if (folder / RESTORING_FILE).exists():
            return  # of a restore that was broken off
        names = (JOURNAL_FILE, f"{JOURNAL_FILE}-wal", SERIES_FILE, PEOPLE_FILE)
        there = [name for name in names if (folder / name).exists()]
        with as_sentence(str(folder)):
            there += [path.name for _, path in segment_files(folder)]
        if there:
            raise UnusableInput(
                f"it holds a store already ({', '.join(there)})", where=str(folder), expected="a folder without one",
                do="Keep what is there, it is evidence: move it to another folder, then restore again",
            )  # fmt: skip

    # -- what

    def _content(self, kept: dict[str, Any]) -> bytes:
        with told(self._backup):
            return (self._backup / str(kept["name"])).read_bytes()

    @staticmethod
    def _clear(folder: Path) -> None:
        """What a restore that was broken off had made."""
        for name in (JOURNAL_FILE, SERIES_FILE, PEOPLE_FILE):
            for ending in _ENDINGS:
                (folder / f"{name}{ending}").unlink(missing_ok=True)

    def _small(self, folder: Path) -> None:
        for kept in self._manifest["files"]:
            if kept["in_keep"]:
                replace_bytes(folder / Path(str(kept["named"])).name, self._content(kept), _mode(kept))

    def _readings(self, folder: Path) -> int:
        listed, path = self._manifest.get("readings"), folder / SERIES_FILE
        if listed is None:
            return 0
        replace_bytes(path, b"", 0o640)
        pages.put_back(self._backup, listed, path)
        why = is_damaged(path) if digest_at(path) == listed["sha256"] else "it isn't what was backed up"
        if why is not None:
            path.unlink()
            self._remarks.append(f"The readings could not be restored: {why}. The journal is whole without them.")
            return 0
        return int(listed["bytes"])

    def _people(self, folder: Path) -> int:
        kept = self._manifest.get("people")
        return 0 if kept is None else put_people_back(folder, json.loads(self._content(kept)))

    def _journal(self, folder: Path) -> int:
        made = 0

        def build(conn: sqlite3.Connection) -> None:
            nonlocal made
            bring_journal_up(conn, folder / JOURNAL_FILE)
            conn.execute("BEGIN IMMEDIATE")
            for rows in self._rows(conn):
                conn.executemany(
                    "INSERT INTO entry (seq, hashed, digest, trusted, trust_check) VALUES (?, ?, ?, ?, ?)", rows
                )
                made += len(rows)
            conn.execute("COMMIT")

        new_file(folder / JOURNAL_FILE, build)
        return made

    def _rows(self, conn: sqlite3.Connection) -> Iterator[list[tuple[int, bytes, bytes, int, bytes]]]:
        piece: list[tuple[int, bytes, bytes, int, bytes]] = []
        for entry in segments.chained(segments.read(self._backup, self._manifest["journal"]["segments"])):
            row, digest = entry.row, entry.digest
            if entry.lost_from:
                yield piece
                piece = []
                conn.execute("INSERT INTO lost (after, up_to) VALUES (?, ?)", (entry.lost_from - 1, row.seq - 1))
            piece.append((row.seq, row.hashed, digest, int(row.trusted), trust_check(digest, row.trusted)))
            if len(piece) >= _PIECE:
                yield piece
                piece = []
        yield piece

    def _note_head(self, folder: Path) -> None:
        """The journal's first entry will say that what came after the backup is gone, and no seq is used twice."""
        notes = HeadNotes(folder, self._station, "restored")
        known = notes.known()
        if known is not None:  # this board had the station before
            self._next = max(self._next, known.seq + MARGIN + 1)
        mark = str(self._manifest["journal"]["mark"])
        notes.write(self._next - 1, self._digest, mark, closed=True, backup=str(self._manifest["made_at"]))
        notes.sync()
        if notes.trouble is not None:
            raise StoreFault(
                f"where the journal goes on can't be noted ({notes.trouble})", where=str(folder),
                expected="a note beside the journal", do="See to the disk, then restore again",
            )  # fmt: skip

    @staticmethod
    def _owned(folder: Path) -> None:
        """Made by root for the user that runs the daemon: the folder's owner gets what is in it."""
        owner = folder.stat()
        if os.geteuid() == 0 and owner.st_uid != 0:
            for path in folder.iterdir():
                os.chown(path, owner.st_uid, owner.st_gid, follow_symlinks=False)

    def _see_that_it_holds(self, folder: Path) -> None:
        found = verify(folder)
        if not found.ok or (found.head_seq, found.head_digest) != (self._seq, self._digest):
            raise StoreFault(
                f"the restored journal doesn't hold: {found.why}", where=str(folder), expected="the backup's chain",
                do="See to the disk; the backup is whole",
            )  # fmt: skip


def _mode(kept: dict[str, Any]) -> int:
    """Of the file, as it was; never writable for others."""
    return int(kept.get("mode", 0o640)) & 0o755
