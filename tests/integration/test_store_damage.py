"""A damaged series.db is set aside once a new connection confirms it, and a new one begun; the journal is not touched."""

from __future__ import annotations

import os
import re
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from edge.domain.errors import StoreFault
from edge.store.journal import Journal
from edge.store.series import Series
from edge.store.verify import verify
from tests.integration.store_kit import POINTS, STATION, WALL_MS, draft, seconds, until


def cut_in_half(path: Path) -> None:
    os.truncate(path, path.stat().st_size // 2)


def overwrite_64_kb(path: Path) -> None:
    with path.open("r+b") as file:
        file.seek(path.stat().st_size // 3)
        file.write(os.urandom(64 << 10))


def empty(path: Path) -> None:
    os.truncate(path, 0)


def all_nul(path: Path) -> None:
    path.write_bytes(bytes(path.stat().st_size))


def other_content(path: Path) -> None:
    path.write_text("this is no data base\n" * 1000)


DAMAGES = [cut_in_half, overwrite_64_kb, empty, all_nul, other_content]


def store(folder: Path, last_s: int = 8000) -> tuple[Journal, Series]:
    journal, series = Journal(folder, STATION, "boot"), Series(folder, POINTS, "boot")
    journal.append([draft(number) for number in range(100)])
    series.note_clock("boot", 0, WALL_MS, True)
    for burst in seconds(0, last_s):
        series.append(burst)
        if burst[0].mono_ms % 600_000 == 0:
            series.flush()
    assert series.flush()
    return journal, series


@pytest.mark.parametrize("damage", DAMAGES)
@pytest.mark.parametrize("with_log", [False, True], ids=["log gone", "log left in place"])
def test_a_file_damaged_while_off_is_set_aside_at_the_start(
    tmp_path: Path, damage: Callable[[Path], None], with_log: bool
) -> None:
    journal, series = store(tmp_path / "running")
    folder = tmp_path / "stopped"
    if with_log:
        shutil.copytree(tmp_path / "running", folder)
    series.close()
    journal.close()
    if not with_log:
        shutil.copytree(tmp_path / "running", folder)
    damage(folder / "series.db")
    damaged = (folder / "series.db").read_bytes()
    before = verify(folder)

    journal, series = Journal(folder, STATION, "boot-2"), Series(folder, POINTS, "boot-2")
    (repair,) = series.take_repairs()
    assert series.take_repairs() == []  # each is told once
    assert repair["file"] == "series.db"
    assert repair["why"]
    assert re.fullmatch(r"series-damaged-\d{8}T\d{6}Z(_\d+)?\.db", repair["set_aside"])
    aside = folder / repair["set_aside"]
    assert aside.stat().st_size >= len(damaged) - (64 << 10)  # kept (its own log may have been moved into it)
    series.note_clock("boot-2", 0, WALL_MS, True)
    for burst in seconds(0, 20):
        series.append(burst)
    assert series.flush()
    assert sum(1 for _ in series.rows()) == 20 * len(POINTS)
    series.close()
    journal.close()
    assert verify(folder) == before


@pytest.mark.parametrize("damage", [overwrite_64_kb, all_nul])
def test_a_file_damaged_while_running_is_replaced_and_readings_go_on(
    tmp_path: Path, damage: Callable[[Path], None]
) -> None:
    journal, series = store(tmp_path)
    with sqlite3.connect(tmp_path / "series.db") as raw:
        raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    raw.close()
    damage(tmp_path / "series.db")
    for burst in seconds(8000, 20_000):
        series.append(burst)
        if burst[0].mono_ms % 600_000 == 0:
            series.flush()
    assert until(lambda: series.flush() and any(f.name.startswith("series-damaged-") for f in tmp_path.iterdir()))
    (repair,) = series.take_repairs()
    assert (tmp_path / repair["set_aside"]).exists()
    assert series.status()["trouble"] is None
    series.append(next(seconds(20_000, 20_001)))
    assert series.flush()
    seen = {row.reading.mono_ms // 1000 for row in series.rows()}
    assert 20_000 in seen
    newest = next(row for row in series.rows() if row.reading.mono_ms == 20_000_000)
    assert newest.wall_ms == WALL_MS + 20_000_000  # the clock map of this boot was written anew
    series.close()
    journal.append([draft(100)])
    journal.close()
    assert verify(tmp_path).ok


def test_a_reader_that_meets_damage_gets_a_sentence_and_sets_the_repair_off(tmp_path: Path) -> None:
    journal, series = store(tmp_path)
    with sqlite3.connect(tmp_path / "series.db") as raw:
        raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    raw.close()
    all_nul(tmp_path / "series.db")
    series._readers.renew()  # a new reader, whose cache holds nothing
    with pytest.raises(StoreFault, match="damaged"):
        for _ in range(100):
            series.buckets("flow", WALL_MS, WALL_MS + 3_600_000, 10)
    assert until(lambda: bool(series.take_repairs())), series.status()
    assert until(lambda: series.flush())
    series.buckets("flow", WALL_MS, WALL_MS + 3_600_000, 10)
    series.close()
    journal.close()


def test_what_only_seems_damaged_is_not_set_aside(tmp_path: Path) -> None:
    journal, series = store(tmp_path, 100)
    series._suspect_damage()  # as a disk that went away makes SQLite say
    assert until(lambda: series.flush() and not series._suspect)
    assert series.take_repairs() == []
    assert not [f for f in tmp_path.iterdir() if "damaged" in f.name]
    for burst in seconds(100, 120):
        series.append(burst)
    assert series.flush()
    assert sum(1 for _ in series.rows()) == 120 * len(POINTS)
    series.close()
    journal.close()


def test_two_repairs_in_one_second_keep_both_files(tmp_path: Path) -> None:
    names = set()
    for _ in range(3):
        (tmp_path / "series.db").write_text("no data base")
        series = Series(tmp_path, POINTS, "boot")
        names |= {repair["set_aside"] for repair in series.take_repairs()}
        series.close()
    assert len(names) == 3
    assert all((tmp_path / name).exists() for name in names)


def test_an_unfinished_file_of_an_earlier_start_is_thrown_away(tmp_path: Path) -> None:
    (tmp_path / "series.db.new").write_text("half made")
    series = Series(tmp_path, POINTS, "boot")
    series.close()
    assert not (tmp_path / "series.db.new").exists()
