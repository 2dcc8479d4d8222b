"""Times as people type them at a terminal: 05:00, or 2026-03-14 05:00, by the clock on the station's wall."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from edge.domain.entries import rfc3339, wall_ms_of
from edge.domain.errors import UnusableInput

_LOCAL: Final = re.compile(r"(?:(\d{4})-(\d\d)-(\d\d)[T ])?(\d\d?):(\d\d)(?::(\d\d))?", re.ASCII)


_DATE: Final = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
DAYS_AGO: Final = {"today": 0, "yesterday": 1}


def is_local(text: str) -> bool:
    """Is it a time of day without its zone, with a date or without?"""
    return _LOCAL.fullmatch(text.strip()) is not None


def is_date(text: str) -> bool:
    """Is it a date alone, or a word for one?"""
    return _DATE.fullmatch(text.strip()) is not None or text.strip() in DAYS_AGO


def day_of(text: str, zone: ZoneInfo, where: str) -> date:
    """The day by the clock on the station's wall that a date means, or `today` or `yesterday`.

    Raises:
        UnusableInput: no such day.
    """
    text = text.strip()
    if text in DAYS_AGO:
        return datetime.now(UTC).astimezone(zone).date() - timedelta(days=DAYS_AGO[text])
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise _refused(
            text, "is no day", where, "a date such as 2026-03-14, today or yesterday", "Correct it"
        ) from None


def day_span(text: str, zone: ZoneInfo, where: str) -> tuple[int, int]:
    """That day as [from, to), milliseconds since 1970: 23 to 25 hours.

    Raises:
        UnusableInput: as day_of(); or the clocks there left it out.

    >>> [last - first for first, last in (day_span(day, ZoneInfo("Europe/Dublin"), "--day") for day in ("2026-03-29", "2026-10-25"))]
    [82800000, 90000000]
    """
    from edge.reports.day import span_of

    return span_of(day_of(text, zone, where), zone)


def instant(text: str, zone: ZoneInfo, now: str, where: str, *, may_come: bool = False) -> str:
    """The instant that a time by the station's clock means, as RFC 3339 in UTC; without a date it is of today, there.

    Args:
        now: the station's own time, RFC 3339.
        may_come: whether it may be still to come.

    Raises:
        UnusableInput: no such time, one that is still to come, or one that the clock leaves out, or shows twice, on that day.

    >>> instant("05:00", ZoneInfo("Europe/Dublin"), "2026-06-16T06:10:00Z", "--at")
    '2026-06-16T04:00:00.000Z'
    """
    found = _LOCAL.fullmatch(text.strip())
    assert found is not None  # is_local
    year, month, day, hour, minute, second = (int(part) if part else 0 for part in found.groups())
    today = datetime.fromtimestamp(wall_ms_of(now) / 1000, UTC).astimezone(zone)
    try:
        when = date(year, month, day) if year else today.date()
        first = datetime(when.year, when.month, when.day, hour, minute, second, tzinfo=zone)
    except ValueError:
        raise _refused(
            text, "is no such time", where, "a time such as 05:00, or 2026-03-14 05:00", "Correct it"
        ) from None
    both = {one.astimezone(UTC): one for one in (first, first.replace(fold=1))}
    there = [
        moment
        for moment, one in both.items()
        if moment.astimezone(zone).replace(tzinfo=None) == one.replace(tzinfo=None)
    ]
    if not there:
        raise _refused(
            text, f"is left out by the clock at the station on {when}", where, "a time that it showed", "Correct it"
        )
    if len(there) > 1:
        ways = " or ".join(moment.astimezone(zone).isoformat() for moment in sorted(there))
        raise _refused(text, f"comes twice at the station on {when}", where, ways, "Write which of the two")
    if there[0] > today.astimezone(UTC) + timedelta(minutes=1) and not may_come:
        what = f"is still to come at the station ({today:%Y-%m-%d %H:%M} there)"
        raise _refused(text, what, where, "a time that is past", "Correct it" if year else "Write its date too")
    return rfc3339(int(there[0].timestamp()) * 1000)


def shown(at: str, zone: ZoneInfo) -> str:
    """An RFC 3339 time by the clock on the station's wall, as instant() takes it; with its offset only where that clock shows it twice.

    >>> shown("2026-07-01T05:50:00.000Z", ZoneInfo("Europe/Dublin")), shown("2026-10-25T00:30:00.000Z", ZoneInfo("Europe/Dublin"))
    ('2026-07-01 06:50', '2026-10-25T01:30:00+01:00')
    """
    there = datetime.fromisoformat(at).astimezone(zone)
    is_twice = there.replace(fold=0).utcoffset() != there.replace(fold=1).utcoffset()
    return there.isoformat(timespec="seconds") if is_twice else f"{there:%Y-%m-%d %H:%M}"


def shown_beside(at: str, now: str, zone: ZoneInfo) -> str:
    """The same without its date, where that is today's at the station.

    >>> shown_beside("2026-07-01T05:50:00.000Z", "2026-07-01T12:00:00.000Z", ZoneInfo("Europe/Dublin"))
    '06:50'
    """
    text = shown(at, zone)
    return text.removeprefix(f"{datetime.fromisoformat(now).astimezone(zone):%Y-%m-%d} ")


def _refused(text: str, what: str, where: str, expected: str, do: str) -> UnusableInput:
    return UnusableInput(f"{text[:40]!r} {what}", where=where, expected=expected, do=do)
