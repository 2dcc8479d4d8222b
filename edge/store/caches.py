"""What can be worked out from the journal again: the state its entries lead to, and how far readers have come.

Both stand in files of their own, so that no damage to them touches an entry, and no commit of an entry waits for them. A
fault in them means that they are worked out anew, and that one `repair` entry says so.
"""

from __future__ import annotations

import hashlib
import json
import logging
import sqlite3
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from edge.domain import strict_json
from edge.domain.entry_bodies import FileRepair
from edge.domain.errors import StoreFault
from edge.store.chain import storable
from edge.store.side_files import SmallNote, read_own, write_whole

_log = logging.getLogger("warmwell.store")

FOLD_FILE: Final = "fold.json"
CURSOR_FILE: Final = "cursors"
#: a saved state is some hundred kilobytes; what is larger was not written by us
_MOST_FOLD_BYTES: Final = 64 << 20
#: no journal of ours comes so far: what names it is damaged
_NO_SEQ: Final = 1 << 40


class Caches:
    """The caches of one folder.

    Args:
        folder: the journal's.
        digest_at: the digest of an entry, None where there is no such entry; ties a state to this journal.
    """

    def __init__(self, folder: Path, digest_at: Callable[[int], bytes | None]) -> None:
        self._folder, self._digest_at = folder, digest_at
        self._lock = threading.Lock()
        self._note = SmallNote(folder / CURSOR_FILE)
        self._repairs: list[FileRepair] = []
        self.fold_trouble = ""  # why the state can't be kept
        said = self._note.read()
        self._cursors = {name: seq for name, seq in (said or {}).items() if type(seq) is int and seq >= 0}
        if self._note.damaged or (said is not None and len(self._cursors) != len(said)):
            self.rebuilt(CURSOR_FILE, "it can't be read", "what was told lately is told again")
        self.is_new = said is None and not self._note.damaged

    def take_over(self, conn: sqlite3.Connection) -> None:
        """Positions that an earlier version kept within the journal's file; whatever is wrong with them, they are no loss."""
        try:
            rows = conn.execute("SELECT name, seq FROM cursor WHERE name NOT LIKE '(%'").fetchall()
            self._cursors = {name: seq for name, seq in rows if isinstance(name, str) and type(seq) is int and seq >= 0}
        except (sqlite3.Error, ValueError):
            pass

    def take_repairs(self) -> list[FileRepair]:
        """Bodies for `repair` entries, each handed out once."""
        with self._lock:
            repairs, self._repairs = self._repairs, []
        return repairs

    def rebuilt(self, file: str, why: str, lost: str) -> None:
        """Let a `repair` entry say, once a file, that it was made anew."""
        with self._lock:
            if not any(repair["file"] == file for repair in self._repairs):
                self._repairs.append({"what": "rebuilt", "file": file, "why": why, "lost": lost})

    def repaired(self, repair: FileRepair) -> None:
        """Let a `repair` entry say this, too."""
        with self._lock:
            self._repairs.append(repair)

    # -- positions of readers

    def cursor(self, name: str) -> int | None:
        """A reader's saved position; None where it never saved one, or where it was lost."""
        return self._cursors.get(name)

    def move_cursor(self, name: str, seq: int) -> None:
        """Save a reader's position. Raises StoreFault."""
        with self._lock:
            self._cursors[name] = seq
            self._note.write(dict(self._cursors))

    # -- the state

    def save_fold(self, seq: int, version: int, state: dict[str, Any]) -> None:
        """Keep a state; it replaces the one before. One that can't be kept is `fold_trouble`: the next start folds more entries.

        Raises:
            StoreFault: there is no such entry.
        """
        text = json.dumps(storable(state), ensure_ascii=False, separators=(",", ":"))
        digest = self._digest_at(seq)
        if digest is None:
            raise StoreFault(
                f"there is no entry {seq}",
                where=str(self._folder),
                expected="a state of entries on disk",
                do="Report this as a fault of Warmwell",
            )
        head = json.dumps({"version": version, "seq": seq, "check": _fold_check(digest, version, seq, text)})
        try:
            write_whole(self._folder / FOLD_FILE, f"{head}\n{text}\n".encode())
        except StoreFault as fault:
            if not self.fold_trouble:
                _log.warning("the saved state can't be kept, the next start takes longer: %s", fault)
            self.fold_trouble = str(fault)
        else:
            self.fold_trouble = ""

    def load_fold(self, version: int | None) -> tuple[int, dict[str, Any]] | None:
        """(seq, state) of the same fold version (None: of any) and of this journal; else None: fold from the start."""
        try:
            content = read_own(self._folder / FOLD_FILE, _MOST_FOLD_BYTES)
            if content is None:
                return None
            head, _, text = content.decode().partition("\n")
            said, text = strict_json.loads(head.encode(), "its head"), text.removesuffix("\n")
            if version is not None and said["version"] != version:
                return None
            version = int(said["version"])
            seq = said["seq"]
            digest = self._digest_at(seq) if type(seq) is int and seq >= 0 else None
            if digest is None or _fold_check(digest, version, seq, text) != said["check"]:
                raise ValueError("it doesn't fit the journal")
            state = json.loads(text)
            if not isinstance(state, dict):
                raise ValueError("it holds no state")
        except (StoreFault, ValueError, TypeError, KeyError, RecursionError) as exc:
            self.refuse_fold(str(exc))
            return None
        return seq, state

    def refuse_fold(self, why: str) -> None:
        """The saved state can't be used: the entries are folded from the start, and it is said."""
        self.rebuilt(FOLD_FILE, why, "nothing: it is worked out from the entries again")


def reached(folder: Path) -> int:
    """The highest seq that a saved position or the saved state names: so far the journal went at least; 0 where none is told.

    Nothing is believed of them but the number.
    """
    try:
        content = read_own(folder / FOLD_FILE, _MOST_FOLD_BYTES) or b"{}"
        state = json.loads(content.partition(b"\n")[0]).get("seq")
    except (StoreFault, ValueError, AttributeError, RecursionError):
        state = 0
    seqs = [state, *(SmallNote(folder / CURSOR_FILE).read() or {}).values()]
    return max((seq for seq in seqs if type(seq) is int and 0 < seq < _NO_SEQ), default=0)


def _fold_check(digest: bytes, version: int, seq: int, state: str) -> str:
    return hashlib.sha256(b"%b %d %d " % (digest, version, seq) + state.encode()).hexdigest()
