"""A disk that runs full: raw readings go first, then rollups, the journal last; and all is normal again once there is room."""

from __future__ import annotations

import os
import random
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from edge.domain.errors import StoreFault
from edge.store.journal import Journal
from edge.store.rollup import HOUR_MS
from edge.store.series import MOST_WAITING, Series
from edge.store.space import Margins, Room, Space
from edge.store.verify import verify
from tests.integration.store_kit import (
    POINTS,
    STATION,
    WALL_MS,
    draft,
    open_batches,
    reading,
    seconds,
    small_file_system,
    until,
)

MIB = 1 << 20


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of 1 MB."""
    with small_file_system(tmp_path / "small", "size=1m") as folder:
        yield folder


def fill(folder: Path) -> Path:
    """Fill the disk to the last byte."""
    ballast = folder / "ballast"
    with ballast.open("wb", buffering=0) as file:
        try:
            while True:
                file.write(bytes(4096))
        except OSError:
            pass
    return ballast


def test_a_full_disk_costs_readings_first_and_the_journal_last(small_disk: Path) -> None:
    told: list[dict[str, Any]] = []
    journal = Journal(small_disk, STATION, "boot")
    series = Series(small_disk, POINTS, "boot", on_change=told.append)
    series.note_clock("boot", 0, WALL_MS, True)
    journal.append([draft(1)])
    for burst in seconds(0, 60):
        series.append(burst)
    assert series.flush()
    assert series.status()["disk"] == "ok"

    ballast = fill(small_disk)
    for burst in seconds(60, 120):
        series.append(burst)
    assert not series.flush()
    status = series.status()
    assert (status["low"], status["disk"]) == (True, "neither raw readings nor rollups are kept")
    assert [change["low"] for change in told] == [False, True]
    kept = 1
    with pytest.raises(StoreFault, match="the disk is full"):  # in the end even the reserve is used up
        for number in range(2, 1000):
            journal.append([draft(number)])
            kept += 1
    assert kept > 1  # the reserve was there for these
    assert journal.last_seq() == kept
    assert len(journal.read(0, 10_000)) == kept  # reading goes on
    (bucket,) = series.buckets("flow", WALL_MS, WALL_MS + 120_000, 1)
    assert bucket["n"] == 120  # what waits in memory is shown, too

    ballast.unlink()
    assert until(series.flush)
    assert until(lambda: series.status()["disk"] == "ok" and series.status()["reserve"], 10)
    assert series.status()["lost_readings"] == 0
    assert journal.append([draft(1000)])[0].seq == kept + 1
    assert sum(1 for _ in series.rows()) == 120 * len(POINTS)
    series.close()
    journal.close()
    assert verify(small_disk).ok


def test_a_start_on_a_full_disk_gives_up_the_reserve_and_watches(small_disk: Path) -> None:
    journal, series = Journal(small_disk, STATION, "boot"), Series(small_disk, POINTS, "boot")
    journal.append([draft(1)])
    assert series.flush()
    series.close()
    journal.close()
    ballast = fill(small_disk)
    journal, series = Journal(small_disk, STATION, "boot-2"), Series(small_disk, POINTS, "boot-2")
    assert [entry.seq for entry in journal.read(0, 10)] == [1]
    ballast.unlink()
    assert journal.append([draft(2)])[0].seq == 2
    series.note_clock("boot-2", 0, WALL_MS, True)
    for burst in seconds(0, 20):
        series.append(burst)
    assert until(series.flush)
    series.close()
    journal.close()


class Disk:
    """A disk that says what it is told to say."""

    free = 1 << 40

    def measure(self, _: Path) -> tuple[int, int]:
        return self.free, 1 << 40


def stored(folder: Path, sql: str) -> Any:
    raw = sqlite3.connect(folder / "series.db")
    try:
        return raw.execute(sql).fetchone()[0]
    finally:
        raw.close()


def test_rollups_go_on_while_raw_readings_are_not_kept(tmp_path: Path) -> None:
    disk = Disk()
    space = Space(tmp_path, Margins(low=100 * MIB, raw=50 * MIB, rollups=20 * MIB, reserve=4096), disk.measure)
    series = Series(tmp_path, POINTS, "boot", space=space)
    series.note_clock("boot", 0, WALL_MS, True)

    def hours(first: int, last: int) -> None:
        for hour in range(first, last):
            for burst in seconds(hour * 3600, hour * 3600 + 600):
                series.append(burst)
            series.flush()

    disk.free = 30 * MIB
    assert space.room(fresh=True) is Room.NO_RAW
    hours(0, 5)
    assert stored(tmp_path, "SELECT count(*) FROM block") == len(open_batches(tmp_path)) == 0
    assert stored(tmp_path, "SELECT sum(n) FROM minute WHERE point = 3") == 4 * 600
    assert series.status()["lost_readings"] == 4 * 600 * len(POINTS)
    assert series.status()["disk"] == "raw readings are not kept"

    disk.free = 10 * MIB
    assert space.room(fresh=True) is Room.NO_ROLLUPS
    hours(5, 8)
    assert stored(tmp_path, "SELECT sum(n) FROM minute WHERE point = 3") == 4 * 600
    assert series.status()["disk"] == "neither raw readings nor rollups are kept"

    disk.free = 1 << 40
    assert space.room(fresh=True) is Room.FOR_ALL
    hours(8, 10)  # what waited in memory meanwhile is kept after all
    assert stored(tmp_path, "SELECT sum(n) FROM minute WHERE point = 3") == 9 * 600
    assert stored(tmp_path, "SELECT min(hour) FROM block") == 4
    assert series.status()["lost_readings"] == 4 * 600 * len(POINTS)
    series.close()


def test_memory_is_bounded_while_nothing_can_be_written(tmp_path: Path) -> None:
    disk = Disk()
    space = Space(tmp_path, Margins(low=100 * MIB, raw=50 * MIB, rollups=20 * MIB, reserve=4096), disk.measure)
    series = Series(tmp_path, POINTS, "boot", space=space)
    series.note_clock("boot", 0, WALL_MS, True)
    disk.free = 0
    space.room(fresh=True)
    fed = 0
    for burst in seconds(0, MOST_WAITING // 4 + 5000):
        series.append(burst)
        fed += len(burst)
        if fed % 4000 == 0:
            series.flush()
    lost = series.status()["lost_readings"]
    assert fed - MOST_WAITING <= lost < fed
    disk.free = 1 << 40
    space.room(fresh=True)
    assert until(series.flush)
    assert series.status()["written_readings"] == fed - lost
    assert sum(1 for _ in series.rows(points=["flow"])) == (fed - lost) // 4
    series.close()


def test_a_file_that_may_not_grow_is_a_full_disk(tmp_path: Path) -> None:
    series = Series(tmp_path, POINTS, "boot")
    series.note_clock("boot", 0, WALL_MS, True)
    assert series.flush()
    with series._storing:
        pages = series._conn.execute("PRAGMA page_count").fetchone()[0]
        series._conn.execute(f"PRAGMA max_page_count={pages}")  # SQLite then says SQLITE_FULL
    noise = random.Random(1)  # it doesn't pack
    for at_s in range(4000):
        series.append([reading("flow", at_s * 1000, noise.random())])
    assert not series.flush(2)
    assert "the disk is full" in series.status()["trouble"] or series.status()["waiting"]
    with series._storing:
        series._conn.execute("PRAGMA max_page_count=1000000")
    assert until(series.flush)
    assert series.status()["trouble"] is None
    assert sum(1 for _ in series.rows()) == 4000
    series.close()


def test_a_folder_that_is_gone_costs_no_thread(tmp_path: Path) -> None:
    series = Series(tmp_path / "store", POINTS, "boot")
    series.note_clock("boot", 0, WALL_MS, True)
    assert series.flush()
    os.rename(tmp_path / "store", tmp_path / "moved")
    for burst in seconds(0, 30):
        series.append(burst)
    assert until(lambda: series.status()["low"])  # a disk that can't be asked
    series.flush(1)
    os.rename(tmp_path / "moved", tmp_path / "store")
    assert until(series.flush)
    assert sum(1 for _ in series.rows()) == 30 * len(POINTS)
    assert series.buckets("flow", WALL_MS, WALL_MS + HOUR_MS, 1)[0]["n"] == 30
    series.close()
