"""In time for the first case? And: not heating, heating weakly. The plants are one lump in closed form; hours are Dublin's in winter."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from edge.domain.entries import wall_ms_of
from edge.domain.readings import Kind, Role
from edge.domain.settings import Settings
from edge.domain.station.hours import at_rest, first_case
from edge.domain.station.station import Station
from tests.unit.stations import HOUR, MONDAY, QUIET, SETTINGS, Driver

ROOM = 22.0
HOURS = dict.fromkeys(range(5), (7 * 60 + 45, 18 * 60))
OPEN = replace(SETTINGS, hours=HOURS)
LATE = "late_for_first_case"
COLD = QUIET | {"room": ROOM, "reservoir": 25.0}


def at(clock: str) -> int:
    return wall_ms_of(f"2026-03-16T{clock}:00Z")


def driver_at(clock: str, settings: Settings = OPEN, trusted: bool = True) -> Driver:
    return Driver(settings, wall_ms=at(clock), trusted=trusted)


def until(driver: Driver, clock: str, values: Any) -> None:
    driver.run((at(clock) - driver.wall_ms) / 1000, values, every_s=10.0)


def heating(
    power_w: float, start_c: float = 25.0, capacity: float = 46_000.0, loss: float = 2.4
) -> Callable[[float], dict[str, float]]:
    """One lump: seconds -> readings. A probe that rounds to 1/16 K; held at the thermostat's 39.5 Cel."""

    def values(t: float) -> dict[str, float]:
        plateau = ROOM + power_w / loss
        liquid = min(plateau - (plateau - start_c) * math.exp(-loss / capacity * t), 39.4)
        return QUIET | {"room": ROOM, "reservoir": round(liquid * 16.0) / 16.0}

    return values


def announced(driver: Driver, ident: str) -> list[Any]:
    return [e for e in driver.said if e.kind == "alarm" and e.body["id"] == ident and e.body["to"] == "unacknowledged"]


def test_cold_and_not_heating_is_told_with_the_time_by_which_it_must():
    driver = driver_at("05:40")
    until(driver, "06:10", COLD)
    (told,) = announced(driver, LATE)
    assert at("05:55") <= told.wall_ms <= at("05:58"), (
        "the day begins a warm-up before the first case, and its delay passes"
    )
    cause = told.body["cause"]
    assert "not heating: heating must start by" in cause and "first case at 07:45" in cause, cause
    assert "05:45" in cause or "05:5" in cause, cause
    shown = driver.station.alarms(driver.now)[LATE]
    assert shown["response"].startswith("Start heating now") and shown["respond_within_s"] <= 900


def test_when_heating_should_have_started_it_says_by_how_much_it_is_overdue():
    driver = driver_at("05:40")
    until(driver, "06:20", COLD | {"reservoir": 35.5})
    estimate = driver.station.estimates(driver.now)["heating_must_start_by"]
    assert driver.wall_ms < wall_ms_of(estimate["value"]) and "overdue" not in estimate["why"]
    until(driver, "06:25", COLD)
    by_ms = wall_ms_of(driver.station.estimates(driver.now)["heating_must_start_by"]["value"])
    until(driver, "06:40", COLD)
    later = driver.station.estimates(driver.now)["heating_must_start_by"]
    assert abs(wall_ms_of(later["value"]) - by_ms) < 60_000, "the time stays"
    minutes = (driver.wall_ms - wall_ms_of(later["value"])) // 60_000
    assert later["why"].startswith(f"overdue by {minutes} min: heating must start now; by the warm-up limit")


def test_half_warm_it_may_start_later():
    driver = driver_at("05:40")
    until(driver, "06:30", COLD | {"reservoir": 35.5})
    assert announced(driver, LATE) == []
    estimate = driver.station.estimates(driver.now)["heating_must_start_by"]
    assert at("06:45") < wall_ms_of(estimate["value"]) < at("07:40"), estimate
    until(driver, "07:44", COLD | {"reservoir": 35.5})
    (told,) = announced(driver, LATE)
    assert told.wall_ms - 600_000 >= wall_ms_of(estimate["value"]) - 60_000, "not before it must"


def test_expected_after_the_first_case_is_told_with_the_expected_time():
    driver = driver_at("06:15")
    until(driver, "07:00", heating(120.0))
    (told,) = announced(driver, LATE)
    assert "expected at 0" in told.body["cause"] and "after the first case at 07:45" in told.body["cause"], told.body[
        "cause"
    ]
    plateau = ROOM + 120.0 / 2.4
    needed = driver.station.parts.warmth.limits(ROOM)[0]  # type: ignore[union-attr]
    truth_s = math.log((plateau - 25.0) / (plateau - needed)) * 46_000.0 / 2.4
    assert at("06:15") + truth_s * 1000 > at("07:45"), "the plant of this test is too late indeed"
    until(driver, "09:00", lambda t: heating(120.0)(t + 45 * 60))
    assert driver.alarms(LATE)[-1] == "returned_unacknowledged", "it is warm: nothing is waited for any more"


def test_in_time_is_no_alarm():
    driver = driver_at("05:46")
    until(driver, "09:00", heating(155.0))
    assert driver.alarms(LATE) == []
    assert driver.verdict() is not None and driver.condition("reservoir")["state"] == "met"
    assert driver.station.estimates(driver.now)["heating_must_start_by"]["value"] is None


def a_known_station(clock: str) -> Driver:
    """One that has warmed up on earlier days: it knows that it needs about an hour and a quarter from 25 Cel."""
    driver = driver_at(clock)
    assert driver.station.parts.warmth is not None
    fit = {
        "power": [0.2, 0.002],
        "loss": [0.19, 0.01],
        "together": 0.0,
        "wall": [0.1, 0.3],
        "wall_s": [180.0, 0.5],
        "lag_s": [20.0, 0.4],
    }
    driver.station.parts.warmth.recall([dict(fit) for _ in range(4)])
    return driver


def test_a_morning_that_will_be_in_time_is_no_alarm_of_any_kind():
    """Cold and not heated yet, then heated in time: neither cold nor not heating is told, each day."""
    driver = a_known_station("05:30")
    until(driver, "05:56", COLD)
    until(driver, "08:00", heating(170.0))
    raised = [
        e.body["id"]
        for e in driver.said
        if e.kind == "alarm" and e.body["id"] in (LATE, "reservoir_cold", "not_heating")
    ]
    assert raised == [] and driver.condition("reservoir")["state"] == "met"


def test_heated_in_time_but_far_too_weakly_is_told_before_a_forecast_is():
    """By its own heat-ups it can't be in time any more; that it is cold, and levels off at last, is the same cause."""
    driver = a_known_station("05:30")
    until(driver, "05:50", COLD)
    until(driver, "17:00", heating(36.0))
    (told,) = announced(driver, LATE)
    assert told.wall_ms < at("07:00"), told.body
    assert announced(driver, "reservoir_cold") == announced(driver, "not_heating") == []


def test_nobody_switched_it_on_is_one_alarm_all_day():
    driver = a_known_station("05:30")
    until(driver, "12:00", COLD)
    (told,) = announced(driver, LATE)
    assert "this station's own heat-ups" in told.body["cause"] and at("06:00") < told.wall_ms < at("06:50")
    assert announced(driver, "reservoir_cold") == announced(driver, "not_heating") == []
    shown = driver.station.alarms(driver.now)
    assert shown["reservoir_cold"]["consequence_of"] == LATE and shown["not_heating"]["state"] == "normal"


def test_heated_too_late_and_then_no_more_is_news():
    driver = a_known_station("05:30")
    until(driver, "06:30", COLD)
    until(driver, "08:00", heating(170.0))
    until(driver, "09:30", lambda t: QUIET | {"room": ROOM, "reservoir": 36.0 - 0.03 * t / 60.0})
    assert announced(driver, LATE) and announced(driver, "not_heating")


def test_cold_that_was_told_before_its_cause_becomes_its_consequence():
    driver = driver_at("10:00")
    until(driver, "10:20", QUIET | {"room": ROOM, "reservoir": 39.2})
    until(driver, "11:30", lambda t: QUIET | {"room": ROOM, "reservoir": 39.2 - 0.05 * t / 60.0})
    assert [e.body["to"] for e in driver.said if e.kind == "alarm" and e.body["id"] == "reservoir_cold"] == [
        "unacknowledged",
        "suppressed_by_design",
    ]
    assert len(announced(driver, "not_heating")) == 1
    assert driver.station.alarms(driver.now)["reservoir_cold"]["consequence_of"] == "not_heating"


def test_cold_that_somebody_has_answered_stays_as_it_is():
    driver = driver_at("10:00")
    until(driver, "10:20", QUIET | {"room": ROOM, "reservoir": 39.2})
    cooling = lambda t: QUIET | {"room": ROOM, "reservoir": 38.9 - 0.05 * t / 60.0}  # noqa: E731 # the same values, in two stretches
    until(driver, "10:32", cooling)
    driver.keep(driver.station.record({"record": "acknowledge", "by": "kim", "alarm": "reservoir_cold"}, driver.now))
    until(driver, "11:30", lambda t: cooling(t + 720.0))
    assert driver.alarms("reservoir_cold")[-1] == "acknowledged" and announced(driver, "not_heating")


def test_what_will_never_be_warm_is_late_and_says_why():
    driver = driver_at("05:30")
    until(driver, "07:30", heating(36.0, capacity=20_000.0))  # ends at 37 Cel
    (told,) = announced(driver, LATE)[-1:]
    assert "it will not get there" in told.body["cause"] or "expected at" in told.body["cause"], told.body["cause"]


def test_warm_for_the_first_case_the_day_is_not_late_any_more():
    driver = driver_at("06:30")
    until(driver, "07:20", QUIET | {"room": ROOM, "reservoir": 39.2})
    until(driver, "08:30", lambda t: QUIET | {"room": ROOM, "reservoir": 39.2 - 0.04 * t / 60.0})
    assert driver.alarms(LATE) == [] and announced(driver, "reservoir_cold")


def test_a_cycle_before_the_first_case_is_not_lateness():
    driver = driver_at("06:30")
    until(driver, "07:36", QUIET | {"room": ROOM, "reservoir": 39.2})
    until(driver, "08:05", lambda t: QUIET | {"room": ROOM, "reservoir": 25.0 + 14.2 * math.exp(-t / 90)})
    assert driver.alarms(LATE) == [] and driver.alarms("reservoir_cold") == []


@pytest.mark.parametrize(
    "settings, trusted", [(SETTINGS, True), (OPEN, False), (replace(OPEN, hours={5: (465, 1080)}), True)],
    ids=["no hours", "clock not trusted", "closed today"],
)  # fmt: skip
def test_without_hours_or_a_clock_nobody_is_late(settings, trusted):
    driver = driver_at("05:40", settings, trusted)
    until(driver, "08:30", COLD)
    assert driver.alarms(LATE) == []


def test_after_a_trip_lateness_is_the_trips_consequence():
    driver = driver_at("05:30")
    until(driver, "07:00", COLD | {"heater-outlet": 1.0})
    assert driver.alarms("outlet_tripped:heater") == ["unacknowledged"]
    assert driver.alarms(LATE) == ["suppressed_by_design"] and driver.alarms("not_heating") == []
    shown = driver.station.alarms(driver.now)[LATE]
    assert shown["consequence_of"] == "outlet_tripped:heater" and not shown["announced"]


def test_case_49_a_trip_before_dawn_is_one_alarm_until_it_is_reset():
    """The machine's outlet at 04:00: no power, it cools, what is due can't be done. Reset at 07:00: what stays is told then."""
    machine = replace(
        SETTINGS.points[0],
        id="machine-outlet",
        role=Role.OUTLET_PROTECTION,
        kind=Kind.CONTACT,
        low=0.0,
        high=1.0,
        of="machine",
        max_rate_per_s=None,
    )
    driver = driver_at("03:50", replace(OPEN, points=(*SETTINGS.points, machine)))
    driver.record("daily_test", at="2026-03-15T07:10:00Z", passed=True)
    live = QUIET | {"room": ROOM, "reservoir": 39.2, "machine-outlet": 0.0}
    until(driver, "04:00", live)
    until(driver, "07:00", lambda t: live | {"reservoir": 39.2 - 0.05 * t / 60.0, "machine-outlet": 1.0, "power": 0.0})
    rung = {
        e.body["id"]
        for e in driver.said
        if e.kind == "alarm" and e.body["to"] == "unacknowledged" and e.wall_ms > at("03:55")
    }
    assert rung == {"outlet_tripped:machine"}, rung
    shown = driver.station.alarms(driver.now)
    assert {i: shown[i]["consequence_of"] for i in (LATE, "duty_due:daily_test")} == dict.fromkeys(
        (LATE, "duty_due:daily_test"), "outlet_tripped:machine"
    )
    until(driver, "07:30", live | {"reservoir": 30.0})
    assert announced(driver, LATE) and announced(driver, "duty_due:daily_test")


def test_a_restart_in_the_middle_of_the_day_makes_nobody_late():
    driver = driver_at("10:00")
    until(driver, "12:00", COLD)
    assert driver.alarms(LATE) == []


def test_a_late_first_case_survives_a_restart():
    driver = driver_at("05:40")
    until(driver, "06:10", COLD)
    state = driver.station.state()
    driver.station = Station(OPEN, "boot-2", state)
    until(driver, "06:30", COLD)
    assert len(announced(driver, LATE)) == 1, "it is the same one"


def test_not_heating_is_told_twenty_minutes_after_it_might_have_risen():
    driver = driver_at("08:00")
    until(driver, "09:00", QUIET | {"room": ROOM, "reservoir": 39.2})
    until(
        driver,
        "11:00",
        lambda t: QUIET | {"room": ROOM, "reservoir": round((ROOM + 17.2 * math.exp(-t / 19_000)) * 16) / 16},
    )
    (told,) = announced(driver, "not_heating")
    below_s = -19_000 * math.log((38.5 - ROOM) / 17.2)  # set point less two bands
    assert abs(told.wall_ms - at("09:00") - (below_s + 1200) * 1000) < 150_000
    assert "not rising" in told.body["cause"]
    until(driver, "13:00", heating(160.0, start_c=33.0))
    assert driver.alarms("not_heating")[-1] == "returned_unacknowledged"


def test_at_rest_or_while_it_rises_not_heating_is_no_alarm():
    driver = driver_at("18:30")
    until(driver, "21:00", COLD)
    assert driver.alarms("not_heating") == driver.alarms("reservoir_cold") == []
    driver = driver_at("10:00")
    until(driver, "12:00", heating(160.0))
    assert driver.alarms("not_heating") == []


def test_a_thermostat_that_goes_on_and_off_about_its_set_point_is_no_heater_that_fails():
    """Between 39.5 and 39.0 degC in forty minutes, read in sixteenths."""
    driver = driver_at("08:00")
    until(
        driver,
        "11:00",
        lambda t: QUIET | {"room": ROOM, "reservoir": round((39.0 + abs(t % 2400 - 1200) / 2400) * 16) / 16},
    )
    assert driver.alarms("not_heating") == driver.alarms("heating_weak") == []


def test_a_heater_that_dies_in_a_cycle_is_told_soon_after_the_return():
    driver = driver_at("09:30")
    until(driver, "10:00", QUIET | {"room": ROOM, "reservoir": 39.2})
    until(driver, "10:15", lambda t: QUIET | {"room": ROOM, "reservoir": 25.0 + 14.2 * math.exp(-t / 90)})
    until(driver, "11:00", lambda t: QUIET | {"room": ROOM, "reservoir": 35.0 - t / 3000 - 9.0 * math.exp(-t / 30)})
    assert announced(driver, "not_heating"), "the cycle's mask of an hour and a half doesn't hide it"


def test_a_heater_weaker_than_its_habit_is_told_and_a_strong_one_ends_it():
    driver = driver_at("05:50")
    until(driver, "08:00", heating(155.0))
    (learned,) = [e.body["fit"] for e in driver.said if e.kind == "heat_up"]
    assert driver.station.parts.warmth is not None
    driver.station.parts.warmth.recall([learned] * 5)

    def next_day(power_w: float) -> list[str]:
        driver.wall_ms += 24 * HOUR - 130 * 60_000
        driver.mono_ms += 24 * HOUR - 130 * 60_000
        before = len(driver.said)
        driver.run(130 * 60, heating(power_w), every_s=10.0)
        return [e.body["to"] for e in driver.said[before:] if e.kind == "alarm" and e.body["id"] == "heating_weak"]

    assert next_day(153.0) == [], "a percent is no weakness"
    assert next_day(95.0) == ["unacknowledged"]
    cause = driver.station.alarms(driver.now)["heating_weak"]["cause"]
    assert "% of what it used to" in cause, cause
    driver.record("acknowledge", alarm="heating_weak")
    assert next_day(155.0) == ["normal"]


@pytest.mark.parametrize(
    "now, zone, expected",
    [
        ("2026-03-16T05:00:00Z", "Europe/Dublin", "2026-03-16T07:45:00Z"),
        ("2026-03-16T20:00:00Z", "Europe/Dublin", "2026-03-16T07:45:00Z"),
        ("2026-03-30T00:30:00Z", "Europe/Dublin", "2026-03-30T06:45:00Z"),  # summer time has begun the night before
        ("2026-03-15T12:00:00Z", "Europe/Dublin", None),  # Sunday
        ("2026-03-15T23:30:00Z", "Australia/Sydney", "2026-03-15T20:45:00Z"),  # Monday there
    ],
)
def test_the_first_case_is_the_local_days(now, zone, expected):
    found = first_case(HOURS, ZoneInfo(zone), wall_ms_of(now))
    assert found == (None if expected is None else wall_ms_of(expected))


def test_monday_of_these_tests_is_a_monday():
    assert at("05:50") == MONDAY


@pytest.mark.parametrize(
    "at, resting",
    [
        ("2026-10-25T23:45:00Z", False),  # the day of 25 hours ends at 24:00 by the wall, at 00:00Z
        ("2026-10-26T00:00:00Z", True),
        ("2026-03-29T22:45:00Z", False),  # the day of 23 hours ends at 23:00Z
        ("2026-03-29T23:00:00Z", True),
    ],
)
def test_a_day_that_ends_at_24_ends_with_its_date_also_where_it_has_23_or_25_hours(at: str, resting: bool) -> None:
    """Summer time in Dublin, 2026: 29 March to 25 October (IANA time zone database, by zoneinfo)."""
    zone = ZoneInfo("Europe/Dublin")
    assert at_rest({6: (0, 1440)}, 0, zone, wall_ms_of(at))[0] is resting
