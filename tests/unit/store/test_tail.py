"""The tail: what it keeps comes back once, whatever a power cut did to it, until it stands in series.db."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from edge.domain.readings import Reading
from edge.store import slots, tail
from edge.store.database import SERIES_FILE
from edge.store.schema import bring_series_up
from edge.store.series import Series
from edge.store.series_read import SeriesReader
from edge.store.series_rows import boot_number
from edge.store.slots import Batch
from edge.store.tail import TAIL_FILE, Tail
from tests.integration.store_kit import POINTS, WALL_MS, seconds

PAGE = 4096


@pytest.fixture
def conn(tmp_path: Path) -> Iterator[sqlite3.Connection]:
    fresh = sqlite3.connect(tmp_path / SERIES_FILE, isolation_level=None)
    bring_series_up(fresh, tmp_path / SERIES_FILE)
    assert boot_number(fresh, "boot-1") == 1 and tail.numbered(fresh) == tail.numbered(fresh) != 0
    yield fresh
    fresh.close()


@pytest.fixture
def begun(conn: sqlite3.Connection, tmp_path: Path) -> Tail:
    made = Tail(tmp_path / SERIES_FILE)
    assert not made.keep([batch(0)])  # of no store yet
    made.restart(conn)
    return made


def batch(number: int, size: int = 700) -> Batch:
    return Batch(1, number // 360, 120, bytes([number % 256]) * size)


def back(reader: SeriesReader) -> list[Reading]:
    return sorted(row.reading for row in reader.rows())


def there(conn: sqlite3.Connection, folder: Path) -> list[Batch]:
    return tail.live(conn, tail.records(folder / SERIES_FILE))


def test_what_is_kept_comes_back_until_it_is_moved_or_sealed(
    conn: sqlite3.Connection, begun: Tail, tmp_path: Path
) -> None:
    kept = [batch(number, size) for number, size in enumerate((700, 3000, 1200, 9000, 1, 4000, 700))]
    assert all(begun.keep([one]) for one in kept) and there(conn, tmp_path) == kept
    slots.keep(conn, kept, above=begun.last)
    assert there(conn, tmp_path) == [] and slots.live(conn) == kept
    begun.restart(conn)
    assert begun.keep([batch(8), batch(9)]) and there(conn, tmp_path) == [batch(8), batch(9)]
    slots.free_all(conn, begun.last)
    assert there(conn, tmp_path) == slots.live(conn) == []


def test_a_batch_costs_the_disk_one_page(begun: Tail, tmp_path: Path) -> None:
    """A record begins where it ends in the same page."""
    before = b""
    for number in range(20):
        assert begun.keep([batch(number)])
        content = (tmp_path / TAIL_FILE).read_bytes()
        content = content.ljust(-(-len(content) // PAGE) * PAGE, b"\0")
        changed = [at for at in range(0, len(content), PAGE) if content[at : at + PAGE] != before[at : at + PAGE]]
        before = content
        assert len(changed) == 1
    assert len(before) == 4 * PAGE  # five to a page


def test_it_holds_five_minutes_and_no_more(begun: Tail) -> None:
    assert all(begun.keep([batch(number)]) for number in range(30))
    assert not begun.keep([batch(30)]) and begun.keep([])


def test_a_torn_record_costs_itself_alone(conn: sqlite3.Connection, begun: Tail, tmp_path: Path) -> None:
    for number in range(12):
        assert begun.keep([batch(number)])
    file = tmp_path / TAIL_FILE
    whole = file.read_bytes()
    file.write_bytes(whole[: PAGE + 100] + bytes([whole[PAGE + 100] ^ 1]) + whole[PAGE + 101 :])
    left = (0, 1, 2, 3, 4, 10, 11)  # without those behind it in its page
    assert there(conn, tmp_path) == [batch(number) for number in left]
    file.write_bytes(whole[:-1])
    assert there(conn, tmp_path) == [batch(number) for number in range(11)]


def test_what_is_of_another_store_or_of_no_boot_is_passed_over(
    conn: sqlite3.Connection, begun: Tail, tmp_path: Path
) -> None:
    assert begun.keep([Batch(7, 0, 1, b"x"), batch(1)]) and there(conn, tmp_path) == [batch(1)]
    conn.execute("PRAGMA application_id=4711")
    assert there(conn, tmp_path) == []


def test_readings_of_a_board_that_lost_power_come_back_once(tmp_path: Path) -> None:
    """As they stood on the disk then: to a reader of that folder, to the next start, and after it."""
    fed: list[Reading] = []
    series = Series(tmp_path / "keep", POINTS, "boot-1")
    series.note_clock("boot-1", 0, WALL_MS, True)
    for burst in seconds(3000, 3900):  # over an hour's end, which is sealed
        series.append(burst)
        fed += burst
        if burst[0].mono_ms % 10_000 == 9000:
            assert series.flush()
    assert series.status()["waiting"] == 0 and series.status()["written_readings"] == len(fed)
    shutil.copytree(tmp_path / "keep", tmp_path / "cut")
    assert tail.records(tmp_path / "cut" / SERIES_FILE)
    reader = SeriesReader(tmp_path / "cut")
    try:
        assert back(reader) == sorted(fed)
        for boot in ("boot-2", "boot-3"):
            again = Series(tmp_path / "cut", POINTS, boot)
            assert back(again) == back(reader) == sorted(fed)
            again.close()
    finally:
        reader.close()
        series.close()


def test_a_tail_that_cannot_be_written_costs_no_reading(tmp_path: Path) -> None:
    (tmp_path / TAIL_FILE).mkdir()
    series = Series(tmp_path, POINTS, "boot-1")
    series.note_clock("boot-1", 0, WALL_MS, True)
    try:
        for first_s in (0, 10, 20):
            for burst in seconds(first_s, first_s + 10):
                series.append(burst)
            assert series.flush()
        reader = SeriesReader(tmp_path)
        assert len(list(reader.rows())) == 30 * len(POINTS) and series.status()["trouble"] is None
        reader.close()
    finally:
        series.close()
