"""Draws that end before they are steady: a run of them that all stay below the least pressure leaves it unknown.

A plain fact, no published source: a pressure that is too low is so in a short draw as well. Numbers are common practice.
"""

from __future__ import annotations

import random
from typing import Any

import pytest

from edge.domain.station.station import Station
from edge.domain.water.short_draws import ShortDraws
from tests.unit.domain.doubts.test_cross_checks import Values, again, checks, ready_station
from tests.unit.stations import DRAWING, PSI, QUIET, SETTINGS, Driver


def low(psi: float = 36.0) -> Values:
    return DRAWING | {"supply": psi * PSI, "between": (psi - 3) * PSI, "filtered": (psi - 7) * PSI}


def short(driver: Driver, values: Values, seconds: float = 10, every_s: float = 1.0) -> None:
    driver.run(seconds, values, every_s)
    driver.run(90, QUIET, every_s)


@pytest.mark.parametrize("seconds, every_s", [(8, 1.0), (12, 1.0), (14, 2.0), (14, 5.0)])
def test_three_short_draws_below_the_least_pressure_leave_it_unknown_until_a_steady_one(
    seconds: float, every_s: float
) -> None:
    driver = ready_station()
    for _ in range(2):
        short(driver, low(), seconds, every_s)
        assert driver.condition("pressure")["state"] == "met"
    short(driver, low(), seconds, every_s)
    for one in (driver, again(driver)):
        condition = one.condition("pressure")
        assert condition["state"] == "unknown" and "3 draws, too short to be steady" in condition["text"]
        assert "the last 36.0 psi" in condition["text"] and one.verdict() != "ready"
        assert one.condition("flow")["state"] == "met"
    assert checks(driver) == [("short_low", "began", ["supply"])], "told once"
    short(driver, DRAWING)
    assert driver.condition("pressure")["state"] == "unknown", "one short draw is no proof"
    driver.run(60, DRAWING)
    driver.run(300, QUIET)
    assert driver.verdict() == "ready" and checks(driver)[-1] == ("short_low", "ended", ["supply"])


def test_short_draws_of_which_some_show_enough_say_nothing() -> None:
    driver = ready_station()
    for _ in range(6):
        short(driver, low())
        short(driver, low())
        short(driver, DRAWING)
    assert checks(driver) == [] and driver.condition("pressure")["state"] == "met"


def test_a_valve_that_opens_draws_the_pressure_down_for_a_moment() -> None:
    driver = ready_station()

    def opens(t: float) -> Values:
        return low(28.0) if t < 3 else DRAWING

    for _ in range(8):
        driver.run(9, opens)
        driver.run(90, QUIET)
    assert checks(driver) == [] and driver.condition("pressure")["state"] == "met"


def test_hands_under_a_tap_with_a_noisy_gauge_say_nothing() -> None:
    driver, rng = ready_station(), random.Random(8)
    for _ in range(25):
        driver.run(rng.randint(3, 14), lambda _: DRAWING | {"flow": 4.0, "supply": (44 + rng.gauss(0.0, 1.5)) * PSI})
        driver.run(60, QUIET)
    assert "short_low" not in {check for check, _, _ in checks(driver)}
    assert driver.condition("pressure")["state"] == "met"


def test_what_comes_between_steady_draws_that_show_better_takes_more_the_next_time() -> None:
    def draw(kpa: float, steady: bool) -> dict[str, Any]:
        return {"steady": steady, "ended": "flow", "supply_kpa": kpa if steady else None} | (
            {} if steady else {"early_supply_kpa": kpa}
        )

    shorts = ShortDraws(276.0)
    for wanted in (3, 6, 12, 24, 24):
        for _ in range(wanted - 1):
            shorts.add(draw(250.0, False))
        assert not shorts.is_low
        shorts.add(draw(250.0, False))
        assert shorts.is_low
        kept = ShortDraws(276.0)
        kept.restore(shorts.state())
        assert kept.is_low and kept.state() == shorts.state()
        shorts.add(draw(300.0, True))
        assert not shorts.is_low
    for _ in range(24):
        shorts.add(draw(250.0, False))
    shorts.add(draw(250.0, True))
    assert not shorts.is_low, "the steady draw says it itself"
    shorts.add({"steady": False, "ended": "flow", "supply_kpa": None})
    assert shorts.run == 0, "an entry of an older version tells nothing"


def test_a_restart_between_short_draws_counts_on() -> None:
    driver = ready_station()
    short(driver, low())
    short(driver, low())
    folded = again(driver)
    kept = Driver(SETTINGS, boot="boot-1", wall_ms=driver.wall_ms)
    kept.station = Station(SETTINGS, "boot-1", driver.station.state())
    for one in (folded, kept):
        one.run(60, QUIET)
        short(one, low())
        assert one.condition("pressure")["state"] == "unknown"
