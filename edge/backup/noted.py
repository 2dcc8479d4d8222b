"""A note in the [keep] folder of the newest good backup, however it was made: by it the station knows when the next one is due."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Final, NamedTuple

from edge.domain import strict_json
from edge.domain.entries import Now
from edge.domain.errors import StoreFault
from edge.small_file import replace_bytes
from edge.store.database import as_sentence
from edge.store.side_files import read_own

NOTE_FILE: Final = "backup.json"
_MOST_BYTES: Final = 4096


class Noted(NamedTuple):
    """The newest good backup: when, in which boot of the board, and where."""

    at: Now
    boot: str
    to: str

    def age_ms(self, now: Now, boot: str) -> int | None:
        """How old it is; None where no clock tells.

        >>> noted = Noted(Now(1000, 50_000, True), "boot-1", "/media/stick")
        >>> noted.age_ms(Now(4000, 0, False), "boot-1"), noted.age_ms(Now(0, 60_000, True), "boot-2")
        (3000, 10000)
        """
        if self.boot == boot:
            return now.mono_ms - self.at.mono_ms
        return max(0, now.wall_ms - self.at.wall_ms) if now.trusted and self.at.trusted else None


def note(keep: Path, noted: Noted) -> None:
    """Keep it; the folder's owner may read it, whoever wrote it. Raises StoreFault."""
    with as_sentence(str(keep / NOTE_FILE)):
        owner = keep.stat()
        content = json.dumps({"at": list(noted.at), "boot": noted.boot, "to": noted.to}).encode()
        mine = owner.st_uid == os.geteuid() or os.geteuid() != 0
        replace_bytes(keep / NOTE_FILE, content, 0o640, None if mine else (owner.st_uid, owner.st_gid))


def noted_in(keep: Path) -> Noted | None:
    """What is noted; None where nothing is, or nothing that can be read."""
    try:
        found = strict_json.loads(read_own(keep / NOTE_FILE, _MOST_BYTES) or b"null", "it")
        mono_ms, wall_ms, trusted = found["at"]
        return Noted(Now(int(mono_ms), int(wall_ms), trusted is True), str(found["boot"]), str(found["to"]))
    except (StoreFault, ValueError, TypeError, LookupError):
        return None
