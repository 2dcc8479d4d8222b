"""Local dates, days without a midnight, and when the daily test is due: rows of o.time.duties.jsonl (IANA zone data 2025b)."""

from __future__ import annotations

import json
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from edge.domain.entries import rfc3339, wall_ms_of
from edge.domain.records.book import day_start_ms, is_test_due, local_date, next_date_change_ms

TEXT = (Path(__file__).parent / "o.time.duties.jsonl").read_text(encoding="utf-8")


def rows(op: str) -> list[Any]:
    found = [row for row in map(json.loads, TEXT.splitlines()) if row["inputs"]["op"] == op]
    assert found, op
    return [pytest.param(row["inputs"], row["expected"], id=row["id"]) for row in found]


@pytest.mark.parametrize(("inputs", "expected"), rows("test_due"))
def test_daily_test_is_due_when_the_local_date_is_later(inputs: dict[str, str], expected: bool) -> None:
    zone = ZoneInfo(inputs["zone"])
    assert is_test_due(wall_ms_of(inputs["last_pass"]), wall_ms_of(inputs["now"]), zone) is expected


@pytest.mark.parametrize(("inputs", "expected"), rows("day_start"))
def test_first_instant_of_a_local_date(inputs: dict[str, str], expected: str | None) -> None:
    got = day_start_ms(date.fromisoformat(inputs["day"]), ZoneInfo(inputs["zone"]))
    assert got == (None if expected is None else wall_ms_of(expected))


@pytest.mark.parametrize(("inputs", "expected"), [row for row in rows("day_start") if row.values[1] is not None])
def test_the_station_wakes_when_the_date_changes(inputs: dict[str, str], expected: str) -> None:
    start_ms = wall_ms_of(expected)
    assert next_date_change_ms(start_ms - 5 * 3_600_000 - 1, ZoneInfo(inputs["zone"])) <= start_ms
    assert local_date(
        next_date_change_ms(start_ms - 1, ZoneInfo(inputs["zone"])), ZoneInfo(inputs["zone"])
    ) == date.fromisoformat(inputs["day"])


@pytest.mark.parametrize(("inputs", "expected"), rows("local_date"))
def test_local_date(inputs: dict[str, str], expected: str) -> None:
    assert local_date(wall_ms_of(inputs["utc"]), ZoneInfo(inputs["zone"])).isoformat() == expected


@pytest.mark.parametrize(("inputs", "expected"), rows("unix_time"))
def test_unix_time(inputs: dict[str, str], expected: float) -> None:
    assert wall_ms_of(inputs["utc"]) == expected * 1000
    assert rfc3339(int(expected * 1000)) == inputs["utc"].replace("Z", ".000Z")


@pytest.mark.parametrize(("inputs", "expected"), rows("day_hours"))
def test_hours_of_a_local_day(inputs: dict[str, str], expected: float) -> None:
    day, zone = date.fromisoformat(inputs["day"]), ZoneInfo(inputs["zone"])
    begins_ms, ends_ms = day_start_ms(day, zone), day_start_ms(day + timedelta(days=1), zone)
    assert ends_ms is not None
    hours = 0.0 if begins_ms is None else (ends_ms - begins_ms) / 3_600_000
    assert hours == expected


@pytest.mark.parametrize(("inputs", "expected"), rows("midnight_exists"))
def test_a_day_begins_at_its_midnight_where_it_has_one(inputs: dict[str, str], expected: bool) -> None:
    zone = ZoneInfo(inputs["zone"])
    begins_ms = day_start_ms(date.fromisoformat(inputs["day"]), zone)
    assert begins_ms is not None
    assert (datetime.fromtimestamp(begins_ms / 1000, zone).time() == time(0)) is expected


@pytest.mark.parametrize(("inputs", "expected"), rows("midnights"))
def test_of_two_midnights_the_first_begins_the_day(inputs: dict[str, str], expected: list[str]) -> None:
    day, zone = date.fromisoformat(inputs["day"]), ZoneInfo(inputs["zone"])
    begins_ms = day_start_ms(day, zone)
    assert begins_ms is not None and local_date(begins_ms, zone) == day > local_date(begins_ms - 1, zone)
    assert expected == [] or begins_ms == wall_ms_of(expected[0])
