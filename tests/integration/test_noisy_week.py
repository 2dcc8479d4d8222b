"""A noisy week, replayed: exactly the alarms that stand in ANNOUNCED, each once, and nothing for the noise.

The week is invented: sensors with noise and steps, a pressure that swings about its limit, wild samples, a thermometer's bad check sums
and dropouts, an outlet that trips and one whose contact is loose, a bus whose plug is pulled. What a person should hear of it was written
down from the week's own list of events, in the words of the trade; figures of pressure and heat are example values of common practice.
"""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from math import exp
from random import Random
from typing import NamedTuple

import pytest

from edge.replay.replay import main

MONDAY = datetime(2026, 3, 16, tzinfo=UTC)  # Dublin's winter time is UTC
EVERY_S, SELDOM_S = 10, 60  # rows where something is announced, and else
STATION = """
[station]
site = "harbour-lane"
id = "scope-room-2"
timezone = "Europe/Dublin"

[reservoir]
set_point = "40 degC"
thermostat_band = "0.5 K"
contact = { minimum = "35 degC" }
coldest_room = "18 degC"

[supply]
pressure = { low = "40 psi", high = "60 psi" }
static_high = "60 psi"
flow = { low = "1.7 gal/min" }

[daily_test]

[[bus]]
id = "wire"
kind = "replay"

[[bus]]
id = "panel"
kind = "replay"
"""
POINTS = {
    "reservoir": ("reservoir_temperature", "wire", "degC"), "room": ("room_temperature", "wire", "degC"),
    "supply": ("supply_pressure", "panel", "psi"), "flow": ("supply_flow", "panel", "gal/min"),
    "heater": ("outlet_protection", "panel", ""), "tray": ("leak", "panel", ""),
}  # fmt: skip
HOUR, DAY = 3600, 86_400


class Told(NamedTuple):
    """One announcement that a person should hear, at some time between two."""

    alarm: str
    day: int
    from_hour: float
    until_hour: float


ANNOUNCED = [
    # Monday: the pressure at rest swings about 60 psi for two hours: one alarm, however often it crosses
    Told("static_high", 0, 10.0, 10.2),
    # Tuesday: a wild sample each eight minutes, and draws that dip for ten seconds: nobody hears of them
    # Wednesday: two bad check sums at a time are nothing; the reservoir's probe is gone for twenty minutes
    Told("silent:reservoir", 2, 3.65, 3.75),
    # Thursday: the heater's outlet trips at 04:00. That it gets cold is its consequence, and is told once the outlet is live again and it
    # is cold still
    Told("outlet_tripped:heater", 3, 4.0, 4.01),
    Told("reservoir_cold", 3, 7.0, 7.2),
    # Friday: the outlet's contact is loose for five minutes: told as it comes, until it is held as one that chatters
    *(Told("outlet_tripped:heater", 4, 9.0, 9.03) for _ in range(2)),
    # Saturday: the panel's plug is pulled for ten minutes: one alarm for its four points
    Told("bus_lost:panel", 5, 15.0, 15.05),
    # Sunday: nobody does the daily test
    Told("duty_due:daily_test", 6, 0.0, 0.05),
]


def points() -> str:
    return "".join(
        f'[[point]]\nid = "{ident}"\nrole = "{role}"\nbus = "{bus}"\nevery = "10 s"\nstale_after = "150 s"\n'
        + (f'unit = "{unit}"\n' if unit else "")
        + ('of = "heater"\n' if ident == "heater" else "")
        for ident, (role, bus, unit) in POINTS.items()
    )


def rows() -> Iterator[str]:
    chance = Random(7)
    yield ",".join(["time", *POINTS])
    liquid, before_s = 39.8, 0
    for at_s in range(0, 7 * DAY, EVERY_S):
        day, of_day = divmod(at_s, DAY)
        if at_s % SELDOM_S and not any(
            one.day == day and one.from_hour - 0.5 <= of_day / HOUR <= one.from_hour + 2.5 for one in ANNOUNCED
        ):
            continue
        hour = of_day / HOUR
        is_tripped = day == 3 and 4.0 <= hour < 7.0
        if is_tripped:
            liquid = 21.0 + (39.8 - 21.0) * exp(-(hour - 4.0) / 8.0)
        else:
            liquid = min(liquid + 0.15 * (at_s - before_s) / 60, 39.8 + 0.2 * ((of_day % 1800) / 900 - 1))
        before_s = at_s
        drawing = of_day % (4 * HOUR) < 180 and 8 <= hour < 20
        supply = (46.0 if drawing else 52.0) + chance.gauss(0, 0.15)
        cells = {
            "reservoir": f"{round((liquid + chance.gauss(0, 0.03)) * 16) / 16:.4f}", "room": f"{21.0 + chance.gauss(0, 0.03):.2f}",
            "flow": f"{2.4 + chance.gauss(0, 0.02) if drawing else 0.0:.2f}", "heater": "tripped" if is_tripped else "ok", "tray": "dry",
        }  # fmt: skip
        if day == 0 and 10.0 <= hour < 12.0:
            supply = 60.0 + (0.4 if of_day // EVERY_S % 2 else -0.4) + chance.gauss(0, 0.05)
        if day == 1 and drawing and of_day % 180 == 90:
            supply = 37.0
        cells["supply"] = f"{supply:.2f}"
        if day == 1 and of_day % 480 == 0:
            cells["supply"] = "-9000"
        if day == 2 and of_day % 600 < 20:
            cells["room"] = "bad:crc"
        if day == 2 and 3.65 <= hour < 3.65 + 20 / 60:
            cells["reservoir"] = ""
        if day == 4 and 9.0 <= hour < 9.0 + 5 / 60:
            cells["heater"] = "tripped" if of_day // EVERY_S % 2 == 0 else "ok"
        if day == 5 and 15.0 <= hour < 15.0 + 10 / 60:
            cells |= {ident: "" for ident, (_, bus, _) in POINTS.items() if bus == "panel"}
        time = (MONDAY + timedelta(seconds=at_s)).strftime("%Y-%m-%dT%H:%M:%SZ")
        yield ",".join([time, *(cells[ident] for ident in POINTS)])


def records() -> Iterator[str]:
    """The daily test just after each midnight but Sunday's; each alarm is answered within the quarter of an hour."""
    for day in range(6):
        yield json.dumps({"record": "daily_test", "by": "early technician", "at": _at(day, 0, 0.01), "passed": True})
    for told in ANNOUNCED:
        yield json.dumps(
            {
                "record": "acknowledge",
                "by": "early technician",
                "at": _at(told.day, told.until_hour, 0.25),
                "alarm": told.alarm,
            }
        )


def _at(day: int, hour: float, plus: float) -> str:
    return (MONDAY + timedelta(days=day, hours=hour + plus)).strftime("%Y-%m-%dT%H:%M:%SZ")


@pytest.fixture(scope="module")
def lines(tmp_path_factory: pytest.TempPathFactory) -> list[dict[str, object]]:
    folder = tmp_path_factory.mktemp("week")
    (folder / "station.toml").write_text(STATION + points(), encoding="utf-8")
    (folder / "week.csv").write_text("".join(row + "\n" for row in rows()), encoding="utf-8")
    in_order = sorted((json.loads(line) for line in records()), key=lambda body: body["at"])
    (folder / "records.jsonl").write_text("".join(json.dumps(body) + "\n" for body in in_order), encoding="utf-8")
    out = io.BytesIO()
    main(
        folder / "station.toml", folder / "week.csv", records=folder / "records.jsonl", form="json", stdout=out, stderr=io.StringIO(),
        verdict_every_ms=HOUR * 1000,
    )  # fmt: skip
    return [json.loads(line) for line in out.getvalue().splitlines()]


def test_the_week_raises_exactly_the_alarms_that_are_listed(lines: list[dict[str, object]]) -> None:
    announced = [
        (line["body"]["id"], line["at"])  # type: ignore[index]
        for line in lines
        if line.get("kind") == "alarm" and line["body"]["to"] == "unacknowledged"  # type: ignore[index]
    ]
    left = list(announced)
    for told in ANNOUNCED:
        earliest, latest = _at(told.day, told.from_hour, 0.0), _at(told.day, told.until_hour, 0.0)
        found = next(
            (one for one in left if one[0] == told.alarm and earliest <= str(one[1])[:19] + "Z" <= latest), None
        )
        assert found is not None, f"{told} was not announced; announced were {announced}"
        left.remove(found)
    assert left == [], "announced, and nothing that a person should hear"
