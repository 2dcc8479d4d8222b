"""What is deleted, and when: by age once a date has stood for a day, by size at any time. The journal is never touched.

Deleted rows leave free pages, which SQLite fills again: the file stops growing, no second copy of it is needed.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Final, NamedTuple

from edge.store.clockmap import BootClock
from edge.store.dating import Dated
from edge.store.rollup import HOUR_MS, MINUTE_MS

_DAY_MS: Final = 24 * HOUR_MS
#: blocks deleted in one transaction; a step is short, so that readings never wait long for the next commit
_BLOCKS_A_STEP: Final = 500

Deletion = Callable[[sqlite3.Connection], None]


class Step(NamedTuple):
    """A short deletion. `tier`: what it is taken from: "raw", "minute" or "hour"; `why`: "age" or "size"."""

    tier: str
    why: str
    delete: Deletion


@dataclass(frozen=True, slots=True)
class Retention:
    """How long each tier stays (None: for ever), and how large series.db may grow."""

    raw_ms: int | None = 90 * _DAY_MS
    minutes_ms: int | None = 730 * _DAY_MS
    hours_ms: int | None = None
    size_bytes: int | None = None


def steps(
    conn: sqlite3.Connection, retention: Retention, dated: Dated | None, clocks: Mapping[int, BootClock]
) -> Iterator[Step]:
    """What is to be deleted now, in short steps, each to be called in a transaction of its own.

    Args:
        dated: the date to delete by (dating.py); None: there is none, so nothing is deleted by age.
        clocks: the clock map; a block whose own time isn't trusted is not deleted by age.
    """
    if dated is not None:
        if retention.raw_ms is not None:
            yield from _aged_blocks(conn, dated.now_ms - retention.raw_ms, dated.block, clocks)
        for tier, length_ms, age_ms in (
            ("minute", MINUTE_MS, retention.minutes_ms),
            ("hour", HOUR_MS, retention.hours_ms),
        ):
            if age_ms is not None:
                yield from _aged_rollups(conn, tier, (dated.now_ms - age_ms) // length_ms)
    if retention.size_bytes is not None:
        yield from _beyond_size(conn, retention.size_bytes)


def used_bytes(conn: sqlite3.Connection) -> int:
    """What the file holds, without pages that are free to be filled again."""
    pages, free, size = (
        conn.execute(f"PRAGMA {what}").fetchone()[0] for what in ("page_count", "freelist_count", "page_size")
    )
    return int((pages - free) * size)


def _aged_blocks(
    conn: sqlite3.Connection, before_ms: int, up_to: int, clocks: Mapping[int, BootClock]
) -> Iterator[Step]:
    """Sealed hours older than that. They are numbered in the order of their sealing: the old ones come first."""
    after = -1
    while True:
        sql = "SELECT number, boot, to_mono_ms FROM block WHERE number > ? AND number <= ? ORDER BY number LIMIT ?"
        rows = conn.execute(sql, (after, up_to, _BLOCKS_A_STEP)).fetchall()
        if not rows:
            return
        aged = [number for number, boot, to_mono_ms in rows if _is_before(clocks.get(boot), to_mono_ms, before_ms)]
        if not aged:
            return
        yield Step("raw", "age", _deletion(aged))
        after = rows[-1][0]


def _is_before(clock: BootClock | None, mono_ms: int, before_ms: int) -> bool:
    wall = clock.wall_ms(mono_ms) if clock else None
    return wall is not None and wall[1] and wall[0] < before_ms


def _aged_rollups(conn: sqlite3.Connection, tier: str, before: int) -> Iterator[Step]:
    for (point,) in conn.execute("SELECT number FROM point").fetchall():
        while conn.execute(f"SELECT 1 FROM {tier} WHERE point = ? AND at < ? LIMIT 1", (point, before)).fetchone():
            yield Step(tier, "age", partial(_delete_rollups, tier=tier, point=point, before=before))


def _delete_rollups(conn: sqlite3.Connection, tier: str, point: int, before: int) -> None:
    conn.execute(
        f"DELETE FROM {tier} WHERE point = ?1 AND at IN"
        f" (SELECT at FROM {tier} WHERE point = ?1 AND at < ?2 ORDER BY at LIMIT 5000)",
        (point, before),
    )


def _beyond_size(conn: sqlite3.Connection, most_bytes: int) -> Iterator[Step]:
    """Down to the size: the oldest sealed hours first (in the order of their sealing, whatever the clock said)."""
    while used_bytes(conn) > most_bytes:
        rows = conn.execute("SELECT number FROM block ORDER BY number LIMIT ?", (_BLOCKS_A_STEP // 10,)).fetchall()
        if not rows:
            break
        yield Step("raw", "size", _deletion([row[0] for row in rows]))
    while used_bytes(conn) > most_bytes:
        first = conn.execute("SELECT min(at) FROM minute").fetchone()[0]
        if first is None:
            return
        yield Step("minute", "size", partial(_delete_minutes, until=first + _DAY_MS // MINUTE_MS))


def _delete_minutes(conn: sqlite3.Connection, until: int) -> None:
    conn.execute("DELETE FROM minute WHERE at < ?", (until,))


def _deletion(blocks: list[int]) -> Deletion:
    def delete(conn: sqlite3.Connection) -> None:
        conn.executemany("DELETE FROM block WHERE number = ?", [(number,) for number in blocks])

    return delete
