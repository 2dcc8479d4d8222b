"""A date that is wrong for some hours deletes nothing; what is deleted is said."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from edge.domain.readings import Role
from edge.store.retention import Retention
from edge.store.rollup import HOUR_MS
from edge.store.series import Series
from tests.integration.store_kit import WALL_MS, point, reading

DAY_MS = 24 * HOUR_MS
KEEP = Retention(raw_ms=3 * DAY_MS, minutes_ms=3 * DAY_MS, hours_ms=None)
FLOW = [point("flow", Role.SUPPLY_FLOW)]


def opened(folder: Path, boot: str = "boot-1", offset_ms: int = WALL_MS) -> Series:
    series = Series(folder, FLOW, boot, retention=KEEP)
    series.note_clock(boot, 0, offset_ms, True)
    return series


def hours(series: Series, first: int, last: int) -> None:
    for hour in range(first, last):
        series.append([reading("flow", hour * HOUR_MS + 1000 * second, 7.0) for second in range(0, 60, 5)])
        assert series.flush()


def stored(folder: Path) -> tuple[int, int]:
    raw = sqlite3.connect(folder / "series.db")
    try:
        return tuple(raw.execute(f"SELECT count(*) FROM {tier}").fetchone()[0] for tier in ("block", "minute"))  # type: ignore[return-value]  # two tiers
    finally:
        raw.close()


def test_a_date_a_hundred_days_ahead_for_some_hours_deletes_nothing(tmp_path: Path) -> None:
    series = opened(tmp_path)
    hours(series, 0, 40)
    series.note_clock("boot-1", 40 * HOUR_MS, WALL_MS + 100 * DAY_MS, True)
    hours(series, 40, 52)
    series.note_clock("boot-1", 52 * HOUR_MS, WALL_MS, True)
    hours(series, 52, 60)
    assert stored(tmp_path)[0] == 59
    assert series.take_repairs() == []
    series.close()


def test_a_board_that_boots_with_a_date_far_ahead_deletes_nothing_before_a_day_of_running(tmp_path: Path) -> None:
    series = opened(tmp_path)
    hours(series, 0, 30)
    series.close()
    series = opened(tmp_path, "boot-2", WALL_MS + 21 * 365 * DAY_MS)
    hours(series, 0, 23)
    assert stored(tmp_path)[0] == 29 + 23
    assert series.take_repairs() == []
    hours(series, 23, 50)  # it has stood for a day: it is the date
    assert stored(tmp_path)[0] < 29 + 23
    cuts = {(cut["tier"], cut["why"]): cut for cut in series.take_repairs()}
    assert cuts.keys() == {("raw", "age"), ("minute", "age")}
    assert cuts["raw", "age"]["what"] == "cut"
    assert cuts["raw", "age"]["rows"] == 30
    series.close()


def test_a_new_store_deletes_nothing_on_its_first_day(tmp_path: Path) -> None:
    series = Series(tmp_path, FLOW, "boot-1", retention=Retention(raw_ms=HOUR_MS, minutes_ms=HOUR_MS))
    series.note_clock("boot-1", 0, WALL_MS, True)
    hours(series, 0, 24)
    assert stored(tmp_path) == (23, 23)
    hours(series, 24, 52)
    assert stored(tmp_path)[0] < 40
    series.close()


def test_what_is_cut_each_day_is_said_once_a_day(tmp_path: Path) -> None:
    series = opened(tmp_path)
    hours(series, 0, 8 * 24)
    cuts = series.take_repairs()
    assert 4 <= sum(cut["tier"] == "raw" for cut in cuts) <= 5
    assert len(cuts) <= 10
    series.close()
