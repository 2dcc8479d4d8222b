"""Batches in slots: each comes back whole until it is sealed, and slots are used again."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edge.store.database import PAGE_BYTES
from edge.store.schema import bring_series_up
from edge.store.slots import SLOT_BYTES, Batch, free_all, keep, live, live_hours


@pytest.fixture
def conn() -> Iterator[sqlite3.Connection]:
    opened = made()
    yield opened
    opened.close()


def made() -> sqlite3.Connection:
    fresh = sqlite3.connect(":memory:", isolation_level=None)
    fresh.execute(f"PRAGMA page_size={PAGE_BYTES}")
    bring_series_up(fresh, Path("series.db"))
    return fresh


def slots_used(conn: sqlite3.Connection) -> int:
    return int(conn.execute("SELECT count(*) FROM slot").fetchone()[0])


batches = st.lists(
    st.builds(
        Batch, st.integers(1, 3), st.integers(0, 5), st.integers(0, 2**32 - 1), st.binary(min_size=1, max_size=3000)
    ),
    max_size=4,
)


@given(st.lists(batches | st.none(), max_size=12))
def test_what_is_kept_is_live_until_it_is_sealed(steps: list[list[Batch] | None]) -> None:
    conn, expected = made(), list[Batch]()
    for step in steps:
        if step is None:
            free_all(conn)
            expected = []
        else:
            keep(conn, step)
            expected += step
        assert live(conn) == expected
        assert live_hours(conn) == {(batch.boot, batch.hour) for batch in expected}
        for boot, hour in live_hours(conn):
            assert live(conn, boot, hour) == [b for b in expected if (b.boot, b.hour) == (boot, hour)]
    conn.close()


def test_an_hour_uses_the_slots_of_the_hour_before(conn: sqlite3.Connection) -> None:
    for hour in range(5):
        for _ in range(360):
            keep(conn, [Batch(1, hour, 120, bytes(700))])
        free_all(conn)
    assert slots_used(conn) == 360


def test_a_slot_fills_a_page_and_never_takes_a_second_one(conn: sqlite3.Connection) -> None:
    before = conn.execute("PRAGMA page_count").fetchone()[0]
    for _ in range(50):
        keep(conn, [Batch(1, 1, 1, b"x" * (SLOT_BYTES // 2))])
    pages = conn.execute("PRAGMA page_count").fetchone()[0] - before
    assert 50 <= pages + 1 <= 53  # one each; a few that lead to them
    free_all(conn)
    before = conn.execute("PRAGMA page_count").fetchone()[0]
    keep(conn, [Batch(1, 2, 1, b"y" * (SLOT_BYTES // 2)) for _ in range(50)])
    assert conn.execute("PRAGMA page_count").fetchone()[0] == before
