"""A basin at rest that reads far colder than its room is not believed; basins that were rinsed, are left full or evaporate are.

A body comes to its surroundings' temperature as exp(-t/tau) (Newton's law of cooling, textbook); a puddle that evaporates stays below by a
part of what a wet thermometer shows less, 8 K at 22 Cel and 40 % (psychrometric tables, from memory). Numbers are common practice.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from edge.domain.doubts.basin import Resting
from tests.unit.domain.doubts.test_cross_checks import again, checks
from tests.unit.domain.heat.test_transfer_loss import mornings, with_basin
from tests.unit.stations import QUIET, Driver

MIN = 60_000
BEGAN = ("basin_cold", "began", ["basin"])
ENDED = ("basin_cold", "ended", ["basin"])


def rests(basin: float, **more: float) -> Callable[[float], dict[str, float]]:
    """At rest, with a thermostat at work on the reservoir."""
    return lambda t: QUIET | {"room": 22.0, "basin": basin, "reservoir": 39.8 + 0.25 * math.sin(t / 200.0)} | more


def of_basin(driver: Driver) -> list[tuple[str, str, list[str]]]:
    return [told for told in checks(driver) if told[0] == "basin_cold"]


def learned() -> Driver:
    """What is needed was learned by the basin's probe."""
    driver = Driver(with_basin())
    mornings(driver, 0.15, 0.15, 0.15)
    driver.run(600, rests(22.0), every_s=10)
    assert "measured on 3 first cycles" in driver.condition("reservoir")["text"]
    return driver


def test_a_basin_that_rests_far_colder_than_its_room_leaves_unknown_what_it_taught() -> None:
    driver = learned()
    driver.run(4 * 3600, rests(14.0), every_s=30)
    assert of_basin(driver) == []
    driver.run(3600, rests(14.0), every_s=10)
    [told] = [e.body for e in driver.said if e.body.get("check") == "basin_cold"]
    assert (told["check"], told["points"], told["beside"]) == ("basin_cold", ["basin"], ["room"])
    condition = driver.condition("reservoir")
    assert condition["state"] == "unknown" and "basin rests at 14 degC in a room of 22 degC" in condition["text"]
    driver = again(driver, with_basin())
    driver.run(600, rests(14.0), every_s=5)
    assert driver.condition("reservoir")["state"] == "unknown"
    driver.run(5 * 3600, rests(22.0), every_s=10)
    assert of_basin(driver) == [ENDED] and driver.condition("reservoir")["state"] == "met"


def test_a_probe_that_taught_nothing_is_doubted_and_what_is_needed_goes_by_the_rule() -> None:
    driver = Driver(with_basin())
    driver.run(5 * 3600, rests(14.0), every_s=10)
    assert of_basin(driver) == [BEGAN]
    assert driver.station.points(driver.now)["basin"]["reason"] == "contradicted"
    assert driver.condition("reservoir")["state"] == "met"
    pair = {"reference": "22.0 degC", "reading": "14.0 degC"}
    driver.record("calibration", point="basin", points=[pair], reference_u="0.05 K", adjust=False)
    assert of_basin(driver) == [BEGAN, ENDED]


def test_water_that_runs_or_a_room_that_is_not_read_is_no_rest() -> None:
    driver = Driver(with_basin())
    for _ in range(3):
        driver.run(3 * 3600, rests(14.0), every_s=30)
        driver.run(60, rests(14.0, flow=9.0), every_s=5)
    assert of_basin(driver) == []
    driver = Driver(with_basin())
    driver.run(6 * 3600, lambda t: {n: v for n, v in rests(14.0)(t).items() if n != "room"}, every_s=30)
    assert of_basin(driver) == []


def said(
    basin: float,
    hours: float = 12.0,
    tau_h: float = 0.5,
    below_k: float = 0.0,
    u_k: float = 0.0,
    warms_k_per_h: float = 0.0,
) -> bool:
    """A basin of `basin` [Cel] at first, whose water ran an hour after the start, in a room of 20 Cel."""
    resting = Resting()
    for at_min in range(int(hours * 60)):
        room = 20.0 + warms_k_per_h * min(at_min / 60.0, 2.0)
        level = room - below_k + (basin - 20.0) * math.exp(-max(at_min / 60.0 - 1.0, 0.0) / tau_h)
        if resting.hear(level, room, u_k, 60 * MIN, at_min * MIN):
            return True
    return False


@pytest.mark.parametrize("tau_h", [0.4, 1.0, 2.0, 3.9])
def test_a_rinsed_basin_warms_up_in_time(tau_h: float) -> None:
    assert not said(8.0, tau_h=tau_h)


@pytest.mark.parametrize("below_k", [0.0, 3.0, 5.0])
def test_a_puddle_that_evaporates_is_no_fault(below_k: float) -> None:
    assert not said(10.0, below_k=below_k)


def test_what_is_within_both_uncertainties_is_not_told() -> None:
    assert said(20.0, below_k=7.0, u_k=0.8) and not said(20.0, below_k=7.0, u_k=1.2)


def test_a_room_that_is_heated_in_the_morning_is_ahead_of_what_stands_in_it() -> None:
    resting = Resting()
    for at_min in range(12 * 60):
        room = 12.0 + min(max(at_min - 360, 0) * 0.1, 9.0)
        lags = 12.0 + min(max(at_min - 450, 0) * 0.1, 9.0)
        assert not resting.hear(lags, room, 0.5, None, at_min * MIN)
