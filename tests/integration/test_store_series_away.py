"""Readings whose file is taken away or changed while it is open: it is said, and those that come after are found after a restart."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from edge.store.series import Series
from tests.integration.store_kit import POINTS, seconds, until


def unlinked(path: Path) -> None:
    path.unlink()


def replaced(path: Path) -> None:
    other = path.with_name("other")
    other.write_bytes(path.read_bytes())
    os.replace(other, path)


def cut(path: Path) -> None:
    os.truncate(path, 100)


def overwritten(path: Path) -> None:
    path.write_bytes(b"\0" * path.stat().st_size)


@pytest.mark.parametrize("damage", [unlinked, replaced, cut, overwritten])
def test_readings_are_not_written_to_a_file_that_nobody_will_find(
    tmp_path: Path, damage: Callable[[Path], None]
) -> None:
    series = Series(tmp_path, POINTS, "boot")
    for readings in seconds(0, 20):
        series.append(readings)
    assert series.flush() and series.take_repairs() == []
    damage(tmp_path / "series.db")
    for readings in seconds(20, 40):
        series.append(readings)
    assert series.flush(), series.status()
    (repair,) = series.take_repairs()
    assert repair["file"] == "series.db" and repair["why"] and repair["lost"]
    series.close()
    again = Series(tmp_path, POINTS, "boot")  # what came after it is there after a restart
    again.note_clock("boot", 0, 0, True)
    found = [row for row in again.buckets(POINTS[0].id, 20_000, 40_000, 20) if row["n"]]
    assert len(found) >= 19
    assert again.take_repairs() == []
    again.close()


def test_readings_wait_while_their_folder_is_away(tmp_path: Path) -> None:
    folder, away = tmp_path / "store", tmp_path / "away"
    series = Series(folder, POINTS, "boot")
    folder.rename(away)
    for readings in seconds(0, 20):
        series.append(readings)
    assert not series.flush()
    assert series.status()["trouble"]
    away.rename(folder)
    assert until(series.flush), series.status()  # the disk is asked each two seconds whether it has room
    assert series.take_repairs() == []
    assert series.status()["trouble"] is None
    series.close()
