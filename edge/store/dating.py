"""Which date may things be deleted by? One that has stood for a day of running.

A clock that is wrong for some hours, also one that counts as trusted, must not empty the store. So the date is noted each
hour, beside how long the station has run in all (monotonic time, kept over boots), and what is deleted by is the lowest
date that any note of the last day of running allows. A board that was off for months deletes nothing for a day.
"""

from __future__ import annotations

import sqlite3
from typing import Final, NamedTuple

#: a date has to stand so long (running time) before anything is deleted on its word
STANDS_MS: Final = 24 * 3_600_000

SEEN_TABLE: Final = """
CREATE TABLE date_seen (
    run_ms INTEGER PRIMARY KEY,
    boot INTEGER NOT NULL,
    mono_ms INTEGER NOT NULL,
    wall_ms INTEGER NOT NULL,
    block INTEGER NOT NULL
)
"""


class Dated(NamedTuple):
    """`now_ms`: the date that may be deleted by. `block`: the newest block that is a day of running old; later ones stay."""

    now_ms: int
    block: int
    run_ms: int


def see(conn: sqlite3.Connection, boot: int, mono_ms: int, wall_ms: int) -> None:
    """Note a trusted date. In a transaction of the caller's."""
    last = conn.execute("SELECT run_ms, boot, mono_ms FROM date_seen ORDER BY run_ms DESC LIMIT 1").fetchone()
    run_ms = 0
    if last is not None:
        ran_ms = mono_ms - last[2] if last[1] == boot else mono_ms
        if ran_ms <= 0:
            return
        run_ms = last[0] + ran_ms
    conn.execute(
        "INSERT INTO date_seen (run_ms, boot, mono_ms, wall_ms, block)"
        " SELECT ?, ?, ?, ?, coalesce(max(number), 0) FROM block",
        (run_ms, boot, mono_ms, wall_ms),
    )
    conn.execute(
        "DELETE FROM date_seen WHERE run_ms < (SELECT max(run_ms) FROM date_seen WHERE run_ms <= ?)",
        (run_ms - STANDS_MS,),
    )


def believed(conn: sqlite3.Connection) -> Dated | None:
    """The date to delete by; None: none has stood for a day of running."""
    rows = conn.execute("SELECT run_ms, wall_ms, block FROM date_seen ORDER BY run_ms").fetchall()
    if not rows or rows[-1][0] - rows[0][0] < STANDS_MS:
        return None
    run_ms = rows[-1][0]
    return Dated(min(wall_ms + run_ms - then_ms for then_ms, wall_ms, _ in rows), rows[0][2], run_ms)
