"""A damaged series.db is set aside under a dated name and a new one begun. The journal is never touched from here."""

from __future__ import annotations

import os
import sqlite3
import struct
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from edge.domain.entry_bodies import SetAsideBody
from edge.domain.errors import StoreFault
from edge.store.database import (
    Damaged,
    as_sentence,
    confirm_damage,
    connect,
    looks_like_sqlite,
    sync_path,
)

#: up to this size a file is looked through at each start; a larger one shows its damage when it is used
_LOOKED_THROUGH_BYTES: Final = 64 << 20


def is_damaged(path: Path) -> str | None:
    """What is wrong with the file, found by opening it anew; None where it is whole or missing.

    Raises:
        StoreFault: it can't be opened at all, which is no proof of damage.
    """
    with as_sentence(str(path)):
        if not path.exists():
            return None
        if not path.is_file():
            return "a folder, a pipe or a device stands under its name"
        size = path.stat().st_size
    if not looks_like_sqlite(path):
        return "it is empty" if size == 0 else "it doesn't begin as an SQLite file does"
    if size <= _LOOKED_THROUGH_BYTES:
        return confirm_damage(path)
    return _first_damage(path)


def _first_damage(path: Path) -> str | None:
    """A short look at a large file: its schema and its newest rows; where that fails, the whole of it."""
    try:
        with as_sentence(str(path)):
            conn = connect(path)
            try:
                for (table,) in conn.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall():
                    conn.execute(f'SELECT * FROM "{table}" LIMIT 1').fetchall()
                    conn.execute(f'SELECT max(rowid) FROM "{table}"' if table in ("slot", "block") else "SELECT 1")
            finally:
                conn.close()
    except Damaged:
        return confirm_damage(path)
    except ValueError as exc:  # text that is none: sqlite3 raises it unwrapped
        return f"its schema can't be read ({exc})"
    return None


def unusable(exc: Exception) -> str | None:
    """Why a file that raised this when it was opened can't be used; None where that is the disk's doing."""
    if isinstance(exc, Damaged):
        return exc.what
    if isinstance(exc, StoreFault):
        cause = exc.__cause__
        wrong_schema = getattr(cause, "sqlite_errorcode", None) == sqlite3.SQLITE_ERROR
        return f"it is no store of readings ({cause})" if wrong_schema else None
    if isinstance(exc, (ValueError, TypeError, KeyError, IndexError, struct.error, sqlite3.Error)):
        return f"it can't be read ({type(exc).__name__}: {exc})"
    return None


def set_aside(path: Path, why: str) -> SetAsideBody:
    """Give the damaged file and its log a dated name. Returns the body of a `repair` entry. Raises StoreFault."""
    stem = f"series-damaged-{datetime.now(UTC):%Y%m%dT%H%M%SZ}"
    aside, number = path.with_name(f"{stem}.db"), 1
    while aside.exists():
        number += 1
        aside = path.with_name(f"{stem}_{number}.db")
    with as_sentence(str(path)):
        for ending in ("-wal", "-shm", ""):  # the file itself last: a half-done move is begun again
            try:
                os.replace(path.with_name(path.name + ending), aside.with_name(aside.name + ending))
            except FileNotFoundError:
                pass  # no log was left, or the last connection took it away with it
        sync_path(path.parent)
    return {
        "file": path.name,
        "why": why,
        "set_aside": aside.name,
        "lost": "readings and rollups kept until now are not shown any more; the journal is whole",
    }
