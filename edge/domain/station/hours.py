"""The station's hours: is it at rest now, and when does that change next?"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from edge.domain.records.book import DAY_MS, local_date


def at_rest(hours: Mapping[int, tuple[int, int]], lead_ms: int, zone: ZoneInfo, wall_ms: int) -> tuple[bool, int]:
    """(at rest now, when that may change next), the latter in milliseconds since 1970, at most nine days ahead.

    The day begins `lead_ms` before its first case: a warm-up earlier.

    Args:
        hours: weekday (Monday 0) -> (first case, end), minutes after local midnight; a day left out is closed.
    """
    today = local_date(wall_ms, zone)
    resting, change_ms = True, wall_ms + 9 * DAY_MS
    for offset in range(-1, 9):
        day = today + timedelta(days=offset)
        if day.weekday() not in hours:
            continue
        first, end = (_at(day.year, day.month, day.day, minutes, zone) for minutes in hours[day.weekday()])
        first -= lead_ms
        if first <= wall_ms < end:
            resting = False
        change_ms = min([change_ms, *(edge for edge in (first, end) if edge > wall_ms)])
    return resting, change_ms


def _at(year: int, month: int, day: int, minutes: int, zone: ZoneInfo) -> int:
    """That many minutes after local midnight by the clock on the wall, milliseconds since 1970; 1440 is the day's end."""
    moment = datetime(year, month, day, tzinfo=zone) + timedelta(
        minutes=minutes
    )  # by the clock on the wall, not by its seconds
    return int(moment.timestamp() * 1000)


def first_case(hours: Mapping[int, tuple[int, int]], zone: ZoneInfo, wall_ms: int) -> int | None:
    """When the first case of this local date begins, milliseconds since 1970; None on a closed day."""
    today = local_date(wall_ms, zone)
    if today.weekday() not in hours:
        return None
    return _at(today.year, today.month, today.day, hours[today.weekday()][0], zone)
