"""What an ordinary day has, and what must not be made of it; beside each the fault that looks like it and must be found.

Plain facts and common practice, no published source: a check valve holds pressure and never lowers it, a tap behind the machine's valve is
empty at rest, a restart doesn't undo a cycle.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from edge.domain.station.station import Station
from tests.unit.domain.doubts.test_cross_checks import Values, at_rest, checks, ready_station
from tests.unit.domain.doubts.test_swings import hears, liquid
from tests.unit.domain.heat.test_transfer_loss import with_basin
from tests.unit.stations import DRAWING, HOUR, MONDAY, PSI, QUIET, SETTINGS, Driver

#: none of them looks at a time to temperature
pytestmark = pytest.mark.usefixtures("fewer_hypotheses")

# -- a check valve behind the supply's gauge holds what the building's pressure lets go


def held(at_s: float, over_psi: float) -> Values:
    """The building's pressure swings, and what stands behind the check valve keeps its highest."""
    return at_rest(55) | {"supply": (55 - over_psi * (0.5 - 0.5 * math.cos(2 * math.pi * at_s / 1800))) * PSI}


def draws_behind_a_check_valve(driver: Driver, times: int) -> None:
    for _ in range(times):
        driver.run(900, lambda s: held(s, 2.2), every_s=5)
        driver.run(60, DRAWING)


def test_a_check_valve_that_has_let_go_is_no_water_that_flows_and_no_zero() -> None:
    driver = ready_station()
    draws_behind_a_check_valve(driver, 8)
    driver.run(1200, at_rest(55), every_s=5)
    assert checks(driver) == [] and driver.verdict() == "ready"


def test_water_that_flows_unseen_past_a_check_valve_is_still_told() -> None:
    driver = ready_station()
    draws_behind_a_check_valve(driver, 8)
    driver.run(400, QUIET | {"supply": 50 * PSI, "between": 48.4 * PSI, "filtered": 46.5 * PSI}, every_s=5)
    assert ("drop_no_flow", "began", ["flow", "supply", "filtered"]) in checks(driver)


# -- a last tap that is empty at rest


def neighbours(driver: Driver, supply: float, between: float) -> None:
    empty = {"filtered": 0.0}
    for _ in range(8):
        driver.run(90, QUIET | empty | {"supply": supply * PSI, "between": between * PSI})
        driver.run(300, QUIET | empty)


@pytest.mark.parametrize("between, told", [(46, []), (43, [("no_pulses", "began", ["flow"])])])
def test_where_the_last_tap_lets_go_at_rest_the_one_before_it_tells_a_neighbours_draw(
    between: float, told: list[tuple[str, str, list[str]]]
) -> None:
    driver = ready_station()
    driver.run(300, QUIET | {"filtered": 0.0}, every_s=5)
    driver.run(60, DRAWING)
    neighbours(driver, 46, between)
    assert checks(driver) == told


# -- a restart while the liquid is heated again

HOURS = dict.fromkeys(range(5), (7 * 60 + 30, 18 * 60))


def restarted(driver: Driver, how: str) -> Driver:
    state = driver.station.state() if how == "state" else None
    station = Station(driver.station.settings, "boot-2", state)
    for entry in [] if state else driver.said:
        station.fold(entry)
    one = Driver(driver.station.settings, driver.wall_ms + 60_000, "boot-2")
    one.station = station
    return one


def warm_by_day() -> Driver:
    driver = Driver(replace(SETTINGS, hours=HOURS), wall_ms=MONDAY + 3 * HOUR)
    driver.duties_done()
    driver.run(600, QUIET, every_s=5)
    return driver


@pytest.mark.parametrize("how", ["state", "entries"])
def test_a_restart_after_a_cycle_leaves_the_cycle_to_explain_a_cold_liquid(how: str) -> None:
    driver = warm_by_day()
    driver.run(60, DRAWING | {"reservoir": 39.2})
    driver.run(480, lambda s: QUIET | {"reservoir": 25.0 + 14.0 * math.exp(-s / 120)}, every_s=5)
    driver.run(600, lambda s: QUIET | {"reservoir": 35.5 + 0.002 * s}, every_s=5)
    assert str(driver.station.view.situation.phase) == "reheating"
    one = restarted(driver, how)
    one.run(600, lambda s: QUIET | {"reservoir": 36.8 + 0.002 * s}, every_s=5)
    assert one.alarms("reservoir_cold") == []
    one.run(3 * HOUR / 1000, QUIET | {"reservoir": 37.5}, every_s=10)
    assert one.alarms("reservoir_cold") and one.alarms("not_heating"), "the heater has failed meanwhile"


@pytest.mark.parametrize("how", ["state", "entries"])
def test_a_restart_while_it_is_heated_from_cold_explains_nothing(how: str) -> None:
    driver = Driver(replace(SETTINGS, hours=HOURS), wall_ms=MONDAY + 3 * HOUR)
    driver.run(1800, lambda s: QUIET | {"reservoir": 25.0 + 0.002 * s}, every_s=5)
    assert (
        driver.station.desk.alarms["reservoir_cold"].present and str(driver.station.view.situation.phase) == "reheating"
    )
    one = restarted(driver, how)
    one.run(600, lambda s: QUIET | {"reservoir": 28.7 + 0.002 * s}, every_s=5)
    warmth = one.station.parts.warmth
    assert warmth is not None and not warmth.cycle.explains_cold(one.mono_ms)
    assert one.station.desk.alarms["reservoir_cold"].present


@pytest.mark.parametrize("how", ["state", "entries"])
def test_a_restart_before_the_first_case_leaves_it_late(how: str) -> None:
    driver = Driver(replace(SETTINGS, hours=HOURS), wall_ms=MONDAY - HOUR // 2)
    driver.run(1800, lambda s: QUIET | {"reservoir": 30.0 + 0.0022 * s}, every_s=5)
    one = restarted(driver, how)
    one.run(1.9 * HOUR / 1000, lambda s: QUIET | {"reservoir": 34.2 + 0.0001 * s}, every_s=10)
    assert "unacknowledged" in one.alarms("late_for_first_case")


# -- a controller that holds the liquid within one step of its probe


def slowly_heated(at_s: float) -> float:
    """Six cycles, each a fall and a slow rise; then held to the last digit."""
    if at_s >= 6 * 3000:
        return 39.25
    within_s = at_s % 3000
    liquid = 39.25 - 3.2 * within_s / 200 if within_s < 200 else 36.05 + 3.2 * min((within_s - 200) / 2700, 1.0)
    return round(liquid * 16) / 16


def test_a_tightly_held_liquid_is_not_frozen_because_its_heating_after_cycles_moved_it() -> None:
    driver = ready_station()
    driver.run(6 * 3000 + 5400, lambda s: QUIET | {"reservoir": slowly_heated(s)}, every_s=10)
    assert checks(driver) == [] and driver.condition("reservoir")["state"] == "met"


def test_a_probe_that_freezes_after_a_day_of_cycles_is_told_by_its_thermostats_swings() -> None:
    driver, world = ready_station(), liquid(cycles=(2 * HOUR // 1000, 3 * HOUR // 1000))
    hears(driver, world, 7 * HOUR // 1000)
    driver.run(1.6 * HOUR / 1000, QUIET | {"reservoir": 39.75}, every_s=10)
    assert ("frozen", "began", ["reservoir"]) in checks(driver)


# -- a basin and a liquid that nobody heats come to their room's temperature


@pytest.mark.parametrize("room", [True, False])
def test_a_weekend_in_a_warm_room_is_no_basins_probe_in_the_reservoir(room: bool) -> None:
    settings = with_basin()
    if not room:
        settings = replace(settings, points=tuple(p for p in settings.points if p.id != "room"))
    driver = Driver(settings)
    values = QUIET | {"reservoir": 27.3, "basin": 27.0, "room": 27.1}
    driver.run(3 * HOUR / 1000, {k: v for k, v in values.items() if room or k != "room"}, every_s=10)
    assert checks(driver) == []


@pytest.mark.parametrize("room", [True, False])
def test_a_basins_probe_in_a_warm_reservoir_is_still_told(room: bool) -> None:
    settings = with_basin()
    if not room:
        settings = replace(settings, points=tuple(p for p in settings.points if p.id != "room"))
    driver = Driver(settings)
    values = QUIET | {"reservoir": 39.2, "basin": 39.0, "room": 27.1}
    driver.run(3 * HOUR / 1000, {k: v for k, v in values.items() if room or k != "room"}, every_s=10)
    assert [points for _, _, points in checks(driver)] == [["basin"]]
