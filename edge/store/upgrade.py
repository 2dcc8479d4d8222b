"""Before a newer version brings a file of the store to its own form, the file is kept as it was: the way back to the older version.

One such copy of each file stands beside it, of the last time; it is evidence and no part of the store. Where there is no room for it the
file is brought up all the same, in one transaction, and that is said.
"""

from __future__ import annotations

import os
import re
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Final

from edge.domain.entry_bodies import RenewedBody
from edge.domain.errors import StoreFault, WarmwellError
from edge.store.database import DiskFull, as_sentence, connect, looks_like_sqlite, sync_path
from edge.store.schema import series_version
from edge.store.side_files import FILE_MODE, open_own
from edge.store.space import Margins, free_and_size

_PAGES: Final = 2000


def refuse_newer(path: Path) -> None:
    """Before a connection that writes, even at its end, touches a file of readings. What else is wrong with it is found later.

    Raises:
        NewerStore: a later version wrote it.
    """
    try:
        if not looks_like_sqlite(path):
            return
        with as_sentence(str(path)), closing(connect(path, readonly=True)) as conn:
            series_version(conn, path)
    except (StoreFault, ValueError):
        pass


def keep_as_it_was(conn: sqlite3.Connection, path: Path, version: int, new: int) -> RenewedBody:
    """Keep a file under the name of the version that wrote it; the body of a `repair` entry that says so. Never raises for a full disk.

    Args:
        conn: open on it.
        version, new: that wrote it, and to which it will be brought.
    """
    copy = path.with_name(f"{path.stem}-v{version}{path.suffix}")
    lost = f"nothing; as it was it stands in {copy.name}"
    try:
        _copy(conn, path, copy)
    except WarmwellError as exc:
        lost = f"the way back to the older version, as it could not be kept as it was: {exc.what}"
    return {
        "what": "migrated",
        "file": path.name,
        "why": f"a newer version: form {version} is now form {new}",
        "lost": lost,
    }


def _copy(conn: sqlite3.Connection, path: Path, copy: Path) -> None:
    making = copy.with_name(copy.name + ".new")
    with as_sentence(str(copy)):
        free, disk = free_and_size(path.parent)
        if free < 2 * path.stat().st_size + Margins().of(disk)[0]:
            raise DiskFull(
                "there is too little room", where=str(copy), expected="twice the room of the file", do="Free some space"
            )
        making.unlink(missing_ok=True)
        os.close(open_own(making, os.O_WRONLY | os.O_EXCL))
        try:
            with closing(sqlite3.connect(making)) as to:
                conn.backup(to, pages=_PAGES)
            sync_path(making)
            os.replace(making, copy)
        finally:
            making.unlink(missing_ok=True)
        os.chmod(copy, FILE_MODE & ~0o222)
        sync_path(copy.parent)
        for older in path.parent.iterdir():
            if older != copy and re.fullmatch(rf"{re.escape(path.stem)}-v[0-9]+{re.escape(path.suffix)}", older.name):
                older.unlink()
