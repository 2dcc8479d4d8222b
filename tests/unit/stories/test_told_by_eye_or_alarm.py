"""What READY rests on is looked at whatever an alarm is tuned to, and whatever people read by eye.

Plain facts, no published source: a wet tray is water where none should be, at once; an outlet that somebody read as tripped is no live
outlet. 1 psi is 6.894757 kPa as in SP 811 of NIST, table B.8 (from memory); 40 to 60 psi and 60 psi at rest are common practice.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from edge.domain.entries import rfc3339
from edge.domain.readings import Role
from edge.domain.roles import ROLES
from edge.domain.settings import AlarmTuning, Settings
from tests.unit.stations import DRAWING, HOUR, POINTS, PSI, QUIET, SETTINGS, Driver, point, tuned

TRAY = point("tray", Role.LEAK, 0.0, 1.0, bus="lines")
#: an alarm that waits for a day
PATIENT = AlarmTuning(on_delay_ms=24 * HOUR)


def ready(settings: Settings, **more: float) -> Driver:
    driver = Driver(settings)
    there = {p.id for p in settings.points}
    quiet = {name: value for name, value in (QUIET | more).items() if name in there}
    driver.run(130, quiet)
    driver.run(
        60, quiet | {name: DRAWING[name] for name in DRAWING if name in ("flow", "supply", "between", "filtered")}
    )
    driver.duties_done()
    driver.run(240, quiet)
    return driver


def state(driver: Driver, condition: str) -> str:
    return str(driver.condition(condition)["state"])


def verdicts(driver: Driver) -> list[str]:
    return [e.body["to"] for e in driver.said if e.kind == "verdict"]


# -- an alarm's tuning is its own


def test_a_wet_tray_is_no_ready_however_patient_its_alarm_is() -> None:
    driver = ready(replace(tuned(leak=PATIENT), points=(*POINTS, TRAY)), tray=0.0)
    assert driver.verdict() == "ready"
    driver.run(5, QUIET | {"tray": 1.0})
    assert state(driver, "no_leak") == "unmet" and driver.condition("no_leak")["text"] == "tray is wet"
    assert verdicts(driver)[-1] == "not_ready" and driver.alarms("leak") == []
    driver.run(5, QUIET | {"tray": 0.0})
    assert verdicts(driver)[-1] == "ready"


def test_litres_that_pass_while_nothing_draws_are_no_ready_however_patient_their_alarm_is() -> None:
    driver = ready(tuned(leak=PATIENT))
    driver.run(600, QUIET | {"flow": 0.4})
    assert state(driver, "no_leak") == "unmet" and verdicts(driver)[-1] == "not_ready" and driver.alarms("leak") == []


@pytest.mark.parametrize("tuning", [PATIENT, AlarmTuning(limit=100 * PSI)])
def test_a_static_pressure_above_the_station_files_is_no_ready_however_its_alarm_is_tuned(tuning: AlarmTuning) -> None:
    driver = ready(tuned(static_high=tuning))
    assert driver.verdict() == "ready"
    driver.run(240, QUIET | dict.fromkeys(("supply", "between", "filtered"), 90 * PSI))
    assert state(driver, "pressure") == "unmet" and verdicts(driver)[-1] == "not_ready"
    assert driver.condition("pressure")["text"] == "90.0 psi (uncalibrated) while nothing draws, above 60.0 psi"
    assert driver.alarms("static_high") == []
    driver.run(360, QUIET)
    assert verdicts(driver)[-1] == "ready"


def test_a_static_pressure_about_its_limit_does_not_make_the_verdict_flap() -> None:
    driver = ready(tuned(static_high=PATIENT))
    before = len(verdicts(driver))
    for minute in range(30):
        driver.run(60, QUIET | dict.fromkeys(("supply", "between", "filtered"), (60.3 if minute % 2 else 59.8) * PSI))
    assert len(verdicts(driver)) - before <= 1 and state(driver, "pressure") == "unmet"


# -- what [not_fitted] names is looked at


def by_eye(role: Role, without: tuple[str, ...] = ()) -> Driver:
    points = tuple(p for p in POINTS if p.id not in without)
    return ready(replace(SETTINGS, points=points, not_fitted={role: HOUR}))


@pytest.mark.parametrize(
    "role, without, condition, fine, wrong",
    [
        (Role.LEAK, (), "no_leak", "dry", "wet"),
        (Role.OUTLET_PROTECTION, ("heater-outlet",), "outlet:by-eye", "ok", "tripped"),
        (Role.MACHINE_POWER, ("power",), "free", "on", "off"),
    ],
)
def test_a_contact_that_people_look_at_is_unknown_until_it_was_read_and_decides(
    role: Role, without: tuple[str, ...], condition: str, fine: str, wrong: str
) -> None:
    driver = by_eye(role, without)
    quiet = {name: value for name, value in QUIET.items() if name not in without}
    assert state(driver, condition) == "unknown" and driver.verdict() == "unknown"
    assert driver.record("entered_reading", role=str(role), value=fine)[0].body["counts"]
    assert state(driver, condition) == "by_eye" and driver.verdict() == "ready"
    driver.record("entered_reading", role=str(role), value=wrong)
    assert state(driver, condition) == "unmet" and wrong in driver.condition(condition)["text"]
    driver.record("entered_reading", role=str(role), value=fine)
    if role is Role.MACHINE_POWER:  # it was powered up
        driver.record("daily_test", passed=True)
    driver.run(HOUR / 1000 - 60, quiet, every_s=5)
    assert driver.verdict() == "ready"
    driver.run(180, quiet, every_s=5)
    assert state(driver, condition) == "unknown", "what was read stands for as long as the station file says"


def test_a_meter_that_sees_a_leak_outweighs_a_tray_that_was_dry_an_hour_ago() -> None:
    driver = by_eye(Role.LEAK)
    driver.record("entered_reading", role="leak", value="dry", at=rfc3339(driver.wall_ms - HOUR // 2))
    driver.run(600, QUIET | {"flow": 0.4})
    assert state(driver, "no_leak") == "unmet" and "passed within" in driver.condition("no_leak")["text"]


@pytest.mark.parametrize(
    "role, value", [("room_temperature", "12 degC"), ("basin_temperature", "30 degC"), ("filtered_pressure", "10 psi")]
)
def test_a_reading_by_eye_that_decides_nothing_says_so(role: str, value: str) -> None:
    driver = Driver(replace(SETTINGS, points=(), not_fitted={Role(role): HOUR}))
    body = driver.record("entered_reading", role=role, value=value)[0].body
    assert not body["counts"] and f"nothing looks at a {role} that is read by eye" in body["why_not"]


def test_a_drop_that_nobody_can_read_by_eye_does_not_ask_for_a_reading() -> None:
    points = tuple(p for p in POINTS if p.id != "supply")
    driver = ready(replace(SETTINGS, points=points, not_fitted={Role.SUPPLY_PRESSURE: HOUR}))
    driver.record("entered_reading", role="supply_pressure", value="44 psi")
    assert "can't be told by what is read by eye" in driver.condition("filter:coarse")["text"]


@pytest.mark.parametrize("role", [Role.ROOM_TEMPERATURE, Role.SUPPLY_TEMPERATURE])
def test_people_read_no_more_of_a_role_than_its_sensor_is_believed(role: Role) -> None:
    assert ROLES[role].by_eye[:2] == ROLES[role].can_be


def test_degrees_fahrenheit_typed_as_celsius_are_no_running_cold_water() -> None:
    driver = Driver(replace(SETTINGS, not_fitted={Role.SUPPLY_TEMPERATURE: HOUR}))
    assert ROLES[Role.SUPPLY_TEMPERATURE].by_eye.decides
    body = driver.record("entered_reading", role="supply_temperature", value="59 degC")[0].body
    assert not body["counts"] and "lies within 1 and 35 degC" in body["why_not"]
    assert driver.record("entered_reading", role="supply_temperature", value="59 degF")[0].body["counts"]


# -- a check that found something


def check(driver: Driver, reference: str, **more: Any) -> dict[str, Any]:
    points = [{"reference": reference, "reading": "39.2 degC"}]
    kept = driver.record("calibration", point="reservoir", points=points, reference_u="0.05 K", **more)
    return dict(kept[0].body)


def test_a_check_that_found_the_liquid_colder_leaves_its_condition_unknown_until_another_has_settled_it() -> None:
    driver = ready(SETTINGS)
    assert check(driver, "37.7 degC", adjust=False)["counts"]
    assert state(driver, "reservoir") == "unknown" and driver.verdict() == "unknown"
    assert "a check of 05:57 found reservoir 1.5 K lower than it reads" in driver.condition("reservoir")["text"]
    driver.run(600)
    check(driver, "39.2 degC", adjust=False)
    assert state(driver, "reservoir") == "met"


@pytest.mark.parametrize("reference", ["39.2 degC", "39.1 degC", "38.9 degC", "40.5 degC"])
def test_a_check_that_changes_nothing_of_what_is_decided_leaves_it_met(reference: str) -> None:
    driver = ready(SETTINGS)
    check(driver, reference, adjust=False)
    assert state(driver, "reservoir") == "met"


@pytest.mark.parametrize("due_at", ["2226-03-16T00:00:00Z", "2025-03-16T00:00:00Z"])
def test_a_calibration_that_is_due_in_two_hundred_years_or_before_it_was_made_is_a_slip(due_at: str) -> None:
    driver = ready(SETTINGS)
    body = check(driver, "39.0 degC", due_at=due_at)
    assert not body["counts"] and f"due_at is {due_at}" in body["why_not"] and "within 5 years" in body["why_not"]
    assert driver.station.watches["reservoir"].correction is None
    assert check(driver, "39.0 degC", due_at="2027-09-16T00:00:00Z")["counts"]
