"""Time that passes between two local times, against check values (topic o.time, IANA zone data): o.time.elapsed.jsonl.

Warmwell keeps instants as milliseconds of UTC, so a difference is time that passed, on days of 23 and 25 hours too.
"""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from edge.domain.entries import rfc3339, wall_ms_of

ROWS = [
    json.loads(line)
    for line in (Path(__file__).parent / "o.time.elapsed.jsonl").read_text(encoding="utf-8").splitlines()
]


def rows(*ops):
    return [pytest.param(row, id=row["id"]) for row in ROWS if row["inputs"]["op"] in ops]


def instants(row):
    """Both local times as aware datetimes of the row's zone."""
    zone = ZoneInfo(row["inputs"]["zone"])
    return tuple(datetime.fromisoformat(row["inputs"][key]).replace(tzinfo=zone) for key in ("local_a", "local_b"))


@pytest.mark.parametrize("row", rows("elapsed_s"))
def test_a_day_of_the_clock_change_has_as_many_seconds_as_it_has(row):
    began_ms, ended_ms = (wall_ms_of(moment.isoformat()) for moment in instants(row))
    assert (ended_ms - began_ms) / 1000 == pytest.approx(row["expected"], abs=row["tolerance"])


@pytest.mark.parametrize("row", rows("naive_aware_difference_s"))
def test_the_trap_that_milliseconds_of_utc_avoid(row):
    """Two datetimes of one zone object subtract as wall clocks; ours differ by the time that passed, an hour less."""
    began, ended = instants(row)
    assert (ended - began).total_seconds() == row["expected"]
    assert wall_ms_of(ended.isoformat()) - wall_ms_of(began.isoformat()) == (row["expected"] - 3600) * 1000


@pytest.mark.parametrize("row", rows("unix_time"))
def test_an_instant_in_milliseconds_of_utc_and_back(row):
    wall_ms = wall_ms_of(row["inputs"]["utc"])
    assert wall_ms == row["expected"] * 1000
    assert rfc3339(wall_ms) == row["inputs"]["utc"].replace("Z", ".000Z")
