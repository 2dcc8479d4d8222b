"""A heater that grows weak over weeks, by what it used to give."""

from __future__ import annotations

import json
import random
from typing import Any

import pytest

from edge.domain.heat.power_baseline import POWERS_KEPT, Habit
from edge.domain.station.station import Station
from tests.unit.stations import MONDAY, SETTINGS, Driver


def fit(power: float) -> dict[str, Any]:
    return {
        "power": [power, 0.002], "loss": [0.19, 0.01], "together": 0.0, "wall": [0.1, 0.3], "wall_s": [180.0, 0.5], "lag_s": [20.0, 0.4],
    }  # fmt: skip


def heat_up(driver: Driver, power: float) -> None:
    assert driver.station.parts.warmth is not None
    driver.station.parts.warmth.learn({"fit": fit(power)})


def test_a_slow_decline_does_not_lower_what_is_usual() -> None:
    habit, rng = Habit(), random.Random(1)
    for day in range(60):
        habit.learn(fit(0.25 * (1.0 - 0.005 * day) * rng.gauss(1.0, 0.02)))
    usual = habit.usual()
    assert usual is not None and usual * 60.0 == pytest.approx(0.25, rel=0.03)


def test_one_odd_heat_up_is_no_habit_and_three_are_the_least() -> None:
    habit = Habit()
    habit.learn(fit(0.25))
    habit.learn(fit(0.25))
    assert habit.usual() is None
    for power in (0.5, 0.25, 0.25, 0.25):
        habit.learn(fit(power))
    usual = habit.usual()
    assert usual is not None and usual * 60.0 == pytest.approx(0.25)
    for _ in range(POWERS_KEPT):
        habit.learn(fit(0.2))
    assert habit.usual() == pytest.approx(0.2 / 60.0), "half a year later it is what it gives now"


def test_by_that_habit_a_heater_is_weak_though_the_last_heat_ups_were() -> None:
    driver = Driver(SETTINGS)
    for power in [0.25] * 8 + [0.21] * 12:
        heat_up(driver, power)
    warmth = driver.station.parts.warmth
    assert warmth is not None and warmth.heat.prior.power[0] * 60.0 == pytest.approx(0.21, rel=0.02)
    assert (warmth.habit.usual() or 0.0) * 60.0 == pytest.approx(0.25)
    state = json.loads(json.dumps(driver.station.state()))
    again = Station(SETTINGS, "other", state)
    assert again.parts.warmth is not None and again.parts.warmth.habit.powers == warmth.habit.powers


@pytest.mark.parametrize(("what", "left"), [("loaner", 0), ("sensor_fitted", 4)])
def test_another_machine_has_no_habit(what: str, left: int) -> None:
    driver = Driver(SETTINGS, wall_ms=MONDAY)
    driver.run(10)
    for _ in range(4):
        heat_up(driver, 0.25)
    warmth = driver.station.parts.warmth
    assert warmth is not None
    warmth.cool.learn({"fit": {"loss": [0.2, 0.05]}})
    driver.keep(driver.station.record({"record": "equipment_change", "by": "kim", "what": what}, driver.now))
    assert len(warmth.habit.powers) == len(warmth.fits) == warmth.heat.prior.heat_ups == left
    assert len(warmth.cool.kept) == (1 if left else 0)
    again = Station(SETTINGS, "other")
    assert again.parts.warmth is not None
    again.parts.warmth.learn({"fit": fit(0.25)})
    for entry in driver.said:
        again.fold(entry)
    assert len(again.parts.warmth.habit.powers) == (1 if left else 0), "also after a restart"
