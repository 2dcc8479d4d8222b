"""Times of day at a terminal, by the clock on the station's wall. Hours that are left out or come twice: the IANA zone data."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from edge.cli.when import instant, is_local
from edge.domain.errors import UnusableInput


@pytest.mark.parametrize(
    ("text", "zone", "now", "means"),
    [
        ("05:00", "Europe/Dublin", "2026-03-16T06:10:00Z", "2026-03-16T05:00:00.000Z"),
        ("5:00", "Europe/Dublin", "2026-07-16T06:10:00Z", "2026-07-16T04:00:00.000Z"),
        ("23:30", "Pacific/Auckland", "2026-03-16T10:45:00Z", "2026-03-16T10:30:00.000Z"),  # the same local day
        ("00:10:30", "America/Chicago", "2026-03-16T06:00:00Z", "2026-03-16T05:10:30.000Z"),
        ("2026-03-14 05:00", "Europe/Dublin", "2026-03-16T06:10:00Z", "2026-03-14T05:00:00.000Z"),
        ("2026-03-14T05:00", "Europe/Dublin", "2026-03-16T06:10:00Z", "2026-03-14T05:00:00.000Z"),
        ("06:10", "Europe/Dublin", "2026-03-16T06:10:00Z", "2026-03-16T06:10:00.000Z"),
    ],
)
def test_a_time_of_day_is_the_stations(text: str, zone: str, now: str, means: str) -> None:
    assert is_local(text) and instant(text, ZoneInfo(zone), now, "--at") == means


@pytest.mark.parametrize(
    ("text", "zone", "now", "said"),
    [
        ("07:00", "Europe/Dublin", "2026-03-16T06:10:00Z", r"still to come at the station \(2026-03-16 06:10 there\)"),
        ("2026-03-17 05:00", "Europe/Dublin", "2026-03-16T06:10:00Z", "a time that is past. Correct it"),
        ("24:00", "Europe/Dublin", "2026-03-16T06:10:00Z", "no such time"),
        ("05:61", "Europe/Dublin", "2026-03-16T06:10:00Z", "no such time"),
        ("2026-02-30 05:00", "Europe/Dublin", "2026-03-16T06:10:00Z", "no such time"),
        ("02:30", "America/Chicago", "2026-03-08T20:00:00Z", "left out by the clock at the station on 2026-03-08"),
        ("01:30", "America/Chicago", "2026-11-01T20:00:00Z", "2026-11-01T01:30:00-05:00 or 2026-11-01T01:30:00-06:00"),
    ],
)
def test_what_is_no_such_time_there_is_one_sentence(text: str, zone: str, now: str, said: str) -> None:
    with pytest.raises(UnusableInput, match=said) as refused:
        instant(text, ZoneInfo(zone), now, "--at")
    assert str(refused.value).startswith("--at: ") and "\n" not in str(refused.value)


@pytest.mark.parametrize(
    "text", ["2026-03-14", "2026-03-14T05:00:00Z", "05:00Z", "05:00+01:00", "now", "", "5", "05:00 pm", "٠٥:٠٠"]
)
def test_what_is_no_time_of_day_is_left_to_the_station(text: str) -> None:
    assert not is_local(text)
