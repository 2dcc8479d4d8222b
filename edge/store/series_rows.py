"""The rows that the writer of series.db adds: in a transaction of the caller's; and what they go by."""

from __future__ import annotations

import sqlite3

from edge.domain.readings import Reading
from edge.domain.settings import Point
from edge.store.clockmap import BootClock, Stretch
from edge.store.packing import pack
from edge.store.rollup import HOUR_MS, Spans


def boot_number(conn: sqlite3.Connection, boot: str) -> int:
    """The number of a boot, given to it where it has none."""
    conn.execute("INSERT OR IGNORE INTO boot (id) VALUES (?)", (boot,))
    return int(conn.execute("SELECT number FROM boot WHERE id = ?", (boot,)).fetchone()[0])


def insert_block(
    conn: sqlite3.Connection, point: int, boot: int, hour: int, readings: list[Reading], rolled_up: bool
) -> None:
    """One sealed hour of one point; a further part where there is one already."""
    conn.execute(
        "INSERT INTO block (point, boot, hour, part, n, from_mono_ms, to_mono_ms, rolled_up, packed) SELECT ?1, ?2, ?3,"
        " coalesce(max(part), 0) + 1, ?4, ?5, ?6, ?7, ?8 FROM block WHERE boot = ?2 AND hour = ?3 AND point = ?1",
        (
            point,
            boot,
            hour,
            len(readings),
            readings[0].mono_ms,
            readings[-1].mono_ms,
            int(rolled_up),
            pack({point: readings}),
        ),
    )


def add_spans(conn: sqlite3.Connection, tier: str, point: int, spans: Spans) -> None:
    """Add to the rollups of one tier, `minute` or `hour`."""
    conn.executemany(
        f"INSERT INTO {tier} (point, at, n, low, high, integral, covered_ms, worst, reason) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"
        " ON CONFLICT (point, at) DO UPDATE SET n = n + excluded.n,"
        " low = min(coalesce(low, excluded.low), coalesce(excluded.low, low)),"
        " high = max(coalesce(high, excluded.high), coalesce(excluded.high, high)),"
        " integral = integral + excluded.integral, covered_ms = covered_ms + excluded.covered_ms,"
        " worst = max(worst, excluded.worst),"
        " reason = CASE WHEN n + excluded.n = 0 THEN coalesce(excluded.reason, reason) END",
        [(point, at, *span.row()) for at, span in spans.items()],
    )


def trusted_stretches(clock: BootClock | None, hour: int) -> list[Stretch] | None:
    """The stretches of the clock in an hour of monotonic time; None unless all of them are trusted."""
    stretches = list(clock.within(hour * HOUR_MS, (hour + 1) * HOUR_MS)) if clock else []
    return stretches if stretches and all(stretch.trusted for stretch in stretches) else None


def point_row(point: Point) -> tuple[str, str, str, str, int]:
    """What the table `point` says of one: id, role, kind, unit, how long a reading stands [ms]."""
    hold_ms = max(point.stale_after_ms, point.every_ms)
    return point.id, point.role.value, point.kind.value, point.unit, hold_ms
