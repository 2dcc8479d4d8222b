"""Points that people read and enter: how long a reading stands, who entered it, what is no reading, and a restart.

The rules are this project's own (edge/domain/records/entered.py); 1 psi is 6.894757 kPa exactly as in SP 811 of NIST, table B.8 (from
memory), 50 degF are 10 degC by the definition of the scale.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from edge.domain.readings import KIND_OF, Role
from edge.domain.records.entered import entered_value
from edge.domain.station.station import Station
from tests.unit.stations import HOUR, MONDAY, POINTS, PSI, SETTINGS, Driver

STALE_MS = 16 * HOUR
PEOPLE = tuple(
    replace(point, bus="people", by_people=True, stale_after_ms=STALE_MS, max_rate_per_s=None)
    if point.id in ("supply", "power")
    else point
    for point in POINTS
)
BY_EYE = replace(SETTINGS, points=PEOPLE, buses=("wires", "lines", "people"))


def entered(driver: Driver, **more: Any) -> dict[str, Any]:
    return dict(driver.record("entered_reading", **more)[0].body)


def supply(driver: Driver) -> dict[str, Any]:
    return driver.station.points(driver.now)["supply"]


@pytest.mark.parametrize(
    "role, body, value",
    [
        (Role.SUPPLY_PRESSURE, {"value": "44 psi"}, 44 * PSI),
        (Role.SUPPLY_PRESSURE, {"value": 44, "unit": "psi"}, 44 * PSI),
        (Role.SUPPLY_TEMPERATURE, {"value": 50, "unit": "degF"}, 10.0),
        (Role.SUPPLY_TEMPERATURE, {"value": 12.5}, None),  # nobody could tell degC from degF
        (Role.SUPPLY_PRESSURE, {"value": "44 psi", "unit": "psi"}, 44 * PSI),
        (Role.SUPPLY_PRESSURE, {"value": "44 psi", "unit": "kPa"}, None),
        (Role.MACHINE_POWER, {"value": "on"}, 1.0),
        (Role.LEAK, {"value": "dry"}, 0.0),
        (Role.LEAK, {"value": 1}, None),
        (Role.LEAK, {"value": "on"}, None),
        (Role.LEAK, {"value": 0.5}, None),
        (Role.SUPPLY_PRESSURE, {"value": "44"}, None),
        (Role.SUPPLY_PRESSURE, {"value": "44 degC"}, None),
        (Role.SUPPLY_PRESSURE, {"value": 44, "unit": "degC"}, None),
        (Role.SUPPLY_PRESSURE, {"value": True}, None),
        (Role.SUPPLY_PRESSURE, {}, None),
    ],
)
def test_a_value_is_taken_in_its_unit_or_not_at_all(role: Role, body: dict[str, Any], value: float | None) -> None:
    assert entered_value(role, body) == (None if value is None else pytest.approx(value))


def test_what_is_entered_is_the_reading_of_the_point_with_who_and_when() -> None:
    driver = Driver(BY_EYE)
    driver.tell(reservoir=39.0)
    assert supply(driver)["value"] is None
    body = entered(driver, point="supply", value="44 psi")
    assert body["counts"]
    shown = supply(driver)
    assert shown["quality"] == "good" and shown["value"] == pytest.approx(44 * PSI)
    assert shown["shown"] == {"value": 44.0, "unit": "psi"}
    assert shown["by"] == "early technician"
    assert shown["seq"] == next(entry.seq for entry in driver.said if entry.kind == "record")
    assert shown["at"] == "2026-03-16T05:50:00.000Z" and shown["age_s"] == 0.0
    assert [(r.point, r.value) for r in driver.station.readings] == [("supply", pytest.approx(44 * PSI))]
    assert "by" not in driver.station.points(driver.now)["reservoir"]


def test_it_stands_for_the_stale_limit_and_is_silent_after_it_with_advice_for_people() -> None:
    driver = Driver(BY_EYE)
    driver.tell(reservoir=39.0)
    entered(driver, point="supply", value="44 psi")
    driver.pass_to(driver.mono_ms + STALE_MS)
    assert supply(driver)["quality"] == "good"
    driver.pass_to(driver.mono_ms + 2)
    shown = supply(driver)
    assert shown["value"] is None and shown["reason"] == "not_entered" and "enter it" in shown["advice"]
    assert driver.alarms("silent:supply") == ["unacknowledged"]
    entered(driver, point="supply", value="45 psi")
    assert driver.alarms("silent:supply")[-1] == "returned_unacknowledged"


def test_a_reading_of_an_hour_ago_is_an_hour_old_and_an_older_one_replaces_no_newer() -> None:
    driver = Driver(BY_EYE)
    driver.tell(reservoir=39.0)
    entered(driver, point="supply", value="44 psi", at="2026-03-16T04:50:00Z")
    assert supply(driver)["age_s"] == 3600.0 and supply(driver)["at"] == "2026-03-16T04:50:00.000Z"
    assert entered(driver, point="supply", value="30 psi", at="2026-03-16T04:40:00Z")["counts"]
    assert supply(driver)["shown"]["value"] == 44.0
    driver.pass_to(driver.mono_ms + STALE_MS - HOUR + 2)
    assert supply(driver)["value"] is None


@pytest.mark.parametrize(
    "body, why",
    [
        ({"point": "supply", "value": 44}, 'such as "44 psi"'),
        ({"point": "supply", "value": "44"}, "no pressure with its unit"),
        ({"point": "supply", "value": "44 degC"}, "no pressure with its unit"),
        ({"point": "supply"}, "value is missing"),
        ({"point": "supply", "value": "900 psi"}, "outside what this point can be"),
        ({"point": "power", "value": "maybe"}, "neither off nor on"),
        ({"point": "reservoir", "value": "39 degC"}, "read by its sensor"),
        ({"point": "gauge", "value": "39 degC"}, "no point"),
        ({"point": "supply", "value": "44 psi", "at": "2026-03-15T05:50:00Z"}, "older than"),
        ({"point": "supply", "value": "44 psi", "at": "2026-03-17T05:50:00Z"}, "in the future"),
    ],
)
def test_what_is_no_reading_is_kept_does_not_count_and_changes_nothing(body: dict[str, Any], why: str) -> None:
    driver = Driver(BY_EYE)
    driver.tell(reservoir=39.0)
    kept = entered(driver, **body)
    assert kept["counts"] is False and why in kept["why_not"]
    assert supply(driver)["value"] is None and driver.station.readings == []


def test_a_typing_mistake_is_corrected_at_once_and_a_withdrawn_one_leaves_the_one_before() -> None:
    driver = Driver(BY_EYE)
    driver.tell(reservoir=39.0)
    entered(driver, point="supply", value="44 psi")
    driver.pass_to(driver.mono_ms + 60_000)
    entered(driver, point="supply", value="4.5 psi")
    wrong = next(e.seq for e in reversed(driver.said) if e.kind == "record")
    driver.record("correction", of=wrong, why="mistyped")
    assert supply(driver)["shown"]["value"] == 44.0 and supply(driver)["age_s"] == 60.0
    first = next(e.seq for e in driver.said if e.kind == "record")
    driver.record("correction", of=first, why="wrong gauge")
    assert supply(driver)["value"] is None and supply(driver)["reason"] == "not_entered"
    assert driver.alarms("silent:supply")[-1] == "unacknowledged"


def test_after_a_restart_it_stands_again_by_its_own_age_and_only_for_a_trusted_clock() -> None:
    before = Driver(BY_EYE)
    before.tell(reservoir=39.0)
    entered(before, point="supply", value="44 psi")
    for trusted in (True, False):
        after = Driver(BY_EYE, wall_ms=MONDAY + HOUR, boot="boot-2", trusted=trusted)
        after.mono_ms = 5_000  # it was entered before this boot
        after.station = Station(BY_EYE, "boot-2", before.station.state())
        after.tell(reservoir=39.0)
        if not trusted:
            assert supply(after)["value"] is None
            after.trusted = True
            after.keep(after.station.advance(after.now))
        assert supply(after)["shown"]["value"] == 44.0 and supply(after)["age_s"] == 3600.0
        assert supply(after)["by"] == "early technician"
        assert "supply" not in [r.point for r in after.station.readings]  # it is no new reading
        after.pass_to(after.mono_ms + STALE_MS - HOUR + 2)
        assert supply(after)["value"] is None and after.alarms("silent:supply")[-1] == "unacknowledged"


def test_a_role_without_a_point_is_still_read_by_eye() -> None:
    settings = replace(
        SETTINGS,
        points=tuple(p for p in POINTS if p.id != "supply"),
        not_fitted={Role.SUPPLY_PRESSURE: 24 * HOUR, Role.SUPPLY_TEMPERATURE: 24 * HOUR},
    )
    driver = Driver(settings)
    driver.tell(reservoir=39.0)
    assert entered(driver, role="supply_pressure", value="44 psi")["counts"]
    assert driver.condition("pressure")["state"] == "by_eye"


def test_a_point_that_people_read_meets_its_condition_by_eye_and_not_for_ever() -> None:
    driver = Driver(BY_EYE)
    driver.tell(reservoir=39.0)
    condition = driver.condition("pressure")
    assert condition["state"] == "unknown" and "supply by eye" in condition["text"]
    entered(driver, point="supply", value="44 psi")
    assert (
        driver.condition("pressure")["state"] == "by_eye" and "early technician" in driver.condition("pressure")["text"]
    )
    entered(driver, point="supply", value="30 psi")
    assert driver.condition("pressure")["state"] == "unmet"
    entered(driver, point="supply", value="44 psi")
    driver.pass_to(driver.mono_ms + STALE_MS + 2)
    assert driver.condition("pressure")["state"] == "unknown"


def test_a_contact_that_people_look_at_raises_its_alarm() -> None:
    leak = replace(PEOPLE[-1], id="floor", role=Role.LEAK, kind=KIND_OF[Role.LEAK])
    driver = Driver(replace(BY_EYE, points=(*PEOPLE, leak)))
    driver.tell(reservoir=39.0)
    entered(driver, point="floor", value="wet")
    assert driver.alarms("leak") == ["unacknowledged"]
    entered(driver, point="floor", value="dry")
    assert driver.alarms("leak")[-1] == "returned_unacknowledged"
