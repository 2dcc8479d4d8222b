"""Times in requests. What RFC 3339 is: its section 5.6 and the examples of 5.8; the zone's rules: the IANA data base."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edge.api.problems import Problem
from edge.api.times import wall_ms_of, zone_of

DUBLIN, CHICAGO, BEIRUT = ZoneInfo("Europe/Dublin"), ZoneInfo("America/Chicago"), ZoneInfo("Asia/Beirut")


def ms(*parts: int) -> int:
    return int(datetime(*parts, tzinfo=UTC).timestamp() * 1000)  # type: ignore[arg-type,misc]  # datetime's own arguments


@pytest.mark.parametrize(
    "text, zone, means",
    [
        ("1985-04-12T23:20:50.52Z", DUBLIN, ms(1985, 4, 12, 23, 20, 50) + 520),  # RFC 3339, 5.8
        ("1996-12-19T16:39:57-08:00", DUBLIN, ms(1996, 12, 20, 0, 39, 57)),  # RFC 3339, 5.8
        (
            "1990-12-31T23:59:60Z",
            DUBLIN,
            ms(1991, 1, 1),
        ),  # RFC 3339, 5.8: a leap second; here the first instant after it
        ("1990-12-31T15:59:60-08:00", DUBLIN, ms(1991, 1, 1)),  # RFC 3339, 5.8
        ("2026-03-16t05:50:00z", DUBLIN, ms(2026, 3, 16, 5, 50)),  # RFC 3339, 5.6: T and Z may be small
        ("2026-03-16 05:50:00Z", DUBLIN, ms(2026, 3, 16, 5, 50)),  # RFC 3339, 5.6: a blank for T, for readability
        ("2026-07-16T05:50:00+01:00", CHICAGO, ms(2026, 7, 16, 4, 50)),
        ("2026-07-16T05:50:00 01:00", CHICAGO, ms(2026, 7, 16, 4, 50)),  # a '+' that was not percent-encoded
        ("2026-03-16", CHICAGO, ms(2026, 3, 16, 5)),  # a date alone: the first instant of that local day
        ("2026-03-29", BEIRUT, ms(2026, 3, 28, 22)),  # a day without a midnight there: it begins at 01:00, UTC+3
        ("1773640200", DUBLIN, 1_773_640_200_000),
        ("1773640200.123", DUBLIN, 1_773_640_200_123),
        ("0", DUBLIN, 0),
    ],
)
def test_a_time_is_understood(text: str, zone: ZoneInfo, means: int) -> None:
    assert wall_ms_of(text, zone, "from") == means


@pytest.mark.parametrize(
    "text",
    [
        "2026-03-16T24:00:00Z", "2026-W12-1", "2026-075", "16.03.2026", "03/16/2026", "2026-02-30", "2026-13-01T00:00:00Z",
        "2026-03-16T05:61:00Z", "2026-03-16T05:50:60Z", "2026-03-16T05:50:00+25:00", "2026-03-16T05:50:00+0100", "now", "", " ",
        "1773640200123", "99999999999999999", "1e9", "-5", "nan", "inf", "0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-12:00",
        "٢٠٢٦-03-16", "2026-03-16T05:50:00Z; DROP TABLE", "2026-03-16T", "T05:50:00Z", "x" * 60,
    ],
)  # fmt: skip
def test_rubbish_is_refused_in_one_sentence(text: str) -> None:
    with pytest.raises(Problem) as caught:
        wall_ms_of(text, DUBLIN, "/api/1/points/x/readings, from")
    assert caught.value.status == 422
    assert str(caught.value).startswith("/api/1/points/x/readings, from: ") and "expected" in str(caught.value)


def test_milliseconds_are_recognised() -> None:
    with pytest.raises(Problem, match="looks like milliseconds"):
        wall_ms_of("1773640200123", DUBLIN, "from")


@given(st.text(max_size=64))
def test_no_text_does_anything_but_be_understood_or_refused(text: str) -> None:
    try:
        assert 0 <= wall_ms_of(text, CHICAGO, "to") < 253_402_300_800_000
    except Problem as problem:
        assert problem.status == 422


@given(st.datetimes(datetime(1970, 1, 2), datetime(2200, 1, 1)), st.sampled_from(["T", " "]))  # noqa: DTZ001  # no zone: the point of it
def test_a_time_of_day_without_a_zone_is_refused(moment: datetime, between: str) -> None:
    """RFC 3339, 5.6: a date-time has its time-offset; the hour that comes twice each autumn can't be told without."""
    with pytest.raises(Problem, match="doesn't say its zone; expected Z or an offset") as caught:
        wall_ms_of(moment.isoformat(between), CHICAGO, "at")
    assert caught.value.status == 422


@given(st.dates(date(1970, 1, 2), date(2200, 1, 1)), st.sampled_from([DUBLIN, CHICAGO]))
def test_a_date_begins_where_the_zone_says(day: date, zone: ZoneInfo) -> None:
    """Reference: Python's own zoneinfo."""
    assert wall_ms_of(day.isoformat(), zone, "to") == int(datetime.combine(day, time(), zone).timestamp()) * 1000


def test_an_unknown_zone_is_utc() -> None:
    assert zone_of("Nowhere/At_All") is UTC
