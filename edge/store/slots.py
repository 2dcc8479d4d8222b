"""Batches of the hours that aren't sealed yet, in slots of one size that are overwritten in place.

A commit writes whole pages, and a new row now and then takes a new page, its parent, the list of free pages and the first
page with it. A slot that is overwritten by as many bytes costs exactly one page; a page is small (1 kB), and a batch takes as
many slots as it needs. Batches come here many at a time; until then they stand in the tail (tail.py). Slots up to the batch
that was sealed last are free again; nothing is deleted.
"""

from __future__ import annotations

import sqlite3
import struct
from collections.abc import Iterable
from typing import Final, NamedTuple

from edge.store.database import PAGE_BYTES

#: a blob that a page holds without an overflow page (a leaf takes records up to page - 35 bytes, 4 of them its head)
SLOT_BYTES: Final = PAGE_BYTES - 44

#: batch, boot, hour, readings, part, parts, length; numbers first and big-endian, so that SQLite can compare them
_HEAD: Final = struct.Struct(">QQQIHHH")
_ROOM: Final = SLOT_BYTES - _HEAD.size
_LIVE: Final = "substr(data, 1, 8) > (SELECT up_to FROM sealed)"


class Batch(NamedTuple):
    """Readings of one hour of monotonic time of one boot, packed. `n`: how many."""

    boot: int
    hour: int
    n: int
    packed: bytes


def newest(conn: sqlite3.Connection) -> int:
    """The number of the newest batch that is, or was, in a slot."""
    kept, sealed = conn.execute("SELECT max(substr(data, 1, 8)), (SELECT up_to FROM sealed) FROM slot").fetchone()
    return int.from_bytes(max(kept or sealed, sealed))


def keep(conn: sqlite3.Connection, batches: Iterable[Batch], above: int = 0) -> None:
    """Write batches into free slots, with numbers `above` this. In a transaction of the caller's."""
    number = max(newest(conn), above)
    pieces: list[bytes] = []
    for batch in batches:
        number += 1
        parts = [batch.packed[at : at + _ROOM] for at in range(0, len(batch.packed), _ROOM)]
        for index, part in enumerate(parts):
            head = _HEAD.pack(number, batch.boot, batch.hour, batch.n, index, len(parts), len(part))
            pieces.append((head + part).ljust(SLOT_BYTES, b"\0"))
    free = conn.execute(f"SELECT number FROM slot WHERE NOT ({_LIVE}) LIMIT ?", (len(pieces),)).fetchall()
    conn.executemany(
        "UPDATE slot SET data = ? WHERE number = ?", [(p, f[0]) for p, f in zip(pieces, free, strict=False)]
    )
    conn.executemany("INSERT INTO slot (data) VALUES (?)", [(piece,) for piece in pieces[len(free) :]])


def live(conn: sqlite3.Connection, boot: int | None = None, hour: int = 0) -> list[Batch]:
    """Batches that aren't sealed yet, in the order they were kept; with `boot`: only those of one hour."""
    sql = f"SELECT data FROM slot WHERE {_LIVE}"
    if boot is None:
        rows = conn.execute(sql).fetchall()
    else:
        rows = conn.execute(f"{sql} AND substr(data, 9, 16) = ?", (struct.pack(">QQ", boot, hour),)).fetchall()
    heads = sorted((_HEAD.unpack_from(data), data) for (data,) in rows)
    batches: dict[int, Batch] = {}
    for (number, of_boot, of_hour, n, _, _, length), data in heads:
        before = batches.get(number, Batch(of_boot, of_hour, n, b""))
        batches[number] = before._replace(packed=before.packed + data[_HEAD.size : _HEAD.size + length])
    return list(batches.values())


def live_hours(conn: sqlite3.Connection) -> set[tuple[int, int]]:
    """(boot, hour) of the batches that aren't sealed yet."""
    rows = conn.execute(f"SELECT DISTINCT substr(data, 9, 16) FROM slot WHERE {_LIVE}").fetchall()
    return {struct.unpack(">QQ", key) for (key,) in rows}


def free_all(conn: sqlite3.Connection, up_to: int = 0) -> None:
    """All batches are sealed, also those that have numbers `up_to` this elsewhere. In the transaction that seals them."""
    conn.execute("UPDATE sealed SET up_to = ?", (max(newest(conn), up_to).to_bytes(8),))
