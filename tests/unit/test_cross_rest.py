"""What the pressures at rest say of what the last draw showed.

Plain facts, no published source: less pressure at rest leaves less while drawing. How much less is held against the balance of pipes,
filters and valve that the simulator solves (simulators/water.py), which the domain doesn't share. Numbers are common practice.
"""

from __future__ import annotations

import math
import random

import pytest

from edge.domain.supply import Flows, drawn_from_kpa
from simulators.water import Mains, drawing
from tests.unit.stations import DRAWING, HOUR, PSI, QUIET
from tests.unit.test_cross_checks import Values, again, at_rest, checks, ready_station

REST = QUIET
DAY_S = 86_400


# -- a static pressure that has sunk since the last draw


@pytest.mark.parametrize("curve, valve", [(1.385, 2.83), (0.6, 3.5), (2.5, 1.5)])
@pytest.mark.parametrize("sunk_kpa", [10.0, 40.0, 90.0])
def test_what_drawing_would_leave_is_what_pipes_and_valve_leave(curve: float, valve: float, sunk_kpa: float) -> None:
    mains = Mains(curve=curve, valve=valve)
    before, after = (
        drawing(mains, static, (2.0, 0.02), (3.0, 0.03), valve)
        for static in (mains.static_kpa, mains.static_kpa - sunk_kpa)
    )
    told = drawn_from_kpa(mains.static_kpa - sunk_kpa, mains.static_kpa, before.supply_kpa)
    assert told == pytest.approx(after.supply_kpa, abs=0.04 * sunk_kpa)
    assert abs(told - after.supply_kpa) < abs(before.supply_kpa - sunk_kpa - after.supply_kpa), (
        "better than a mere shift"
    )


@pytest.mark.parametrize("psi", [42, 43, 46])
def test_a_pressure_that_has_sunk_to_where_drawing_would_fall_below_the_least_is_unknown(psi: float) -> None:
    driver = ready_station()
    driver.run(240, at_rest(psi))
    assert driver.verdict() == "ready", "a neighbour's draw may be so long"
    driver.run(120, at_rest(psi))
    for one in (driver, again(driver)):
        condition = one.condition("pressure")
        assert condition["state"] == "unknown" and "has sunk since the last draw" in condition["text"]
        assert one.station.judged(one.now)["pressure"].ask.startswith("Draw water again") and one.verdict() == "unknown"
    assert f"{psi}.0 psi while nothing draws, 55.0 psi about the last draw" in driver.condition("pressure")["text"]
    assert driver.condition("flow")["state"] == "met"
    driver.run(60, at_rest(psi) | {"flow": 9.0, "supply": 41 * PSI, "between": 38 * PSI, "filtered": 34 * PSI})
    driver.run(900, at_rest(psi))
    assert driver.condition("pressure")["state"] == "met" and driver.verdict() == "ready", "the draw showed better"
    assert [what for check, what, _ in checks(driver) if check == "static_sunk"] == ["began", "ended"]


def test_a_pressure_that_comes_back_makes_the_last_draw_stand_again() -> None:
    driver = ready_station()
    driver.run(3600, at_rest(44))
    driver.run(240, REST)
    assert driver.verdict() == "unknown"
    driver.run(120, REST)
    assert driver.verdict() == "ready"


def test_mains_that_swing_and_wander_over_days_say_nothing() -> None:
    """By 2 psi over the day, 1 psi from hour to hour, with a gauge's noise and a slow drift; draws now and then."""
    driver, rng = ready_station(), random.Random(5)
    off = 0.0

    def day(t: float) -> Values:
        nonlocal off
        off = 0.999 * off + rng.gauss(0.0, 0.04)
        here = 54 + 2 * math.sin(2 * math.pi * t / DAY_S) + off - t / DAY_S + rng.gauss(0.0, 0.3)
        if t % 7200 < 60:
            return (
                REST
                | {"flow": 9.0}
                | {tap: (here - less) * PSI for tap, less in (("supply", 9), ("between", 12), ("filtered", 16))}
            )
        return at_rest(here)

    driver.run(DAY_S, day, every_s=10)
    assert checks(driver) == [] and driver.condition("pressure")["state"] == "met"


def test_a_pressure_tank_gives_less_at_a_draws_end() -> None:
    driver = ready_station()
    for _ in range(3):
        driver.run(120, at_rest(58))
        driver.run(
            60, lambda t: DRAWING | {tap: DRAWING[tap] - t / 8 * PSI for tap in ("supply", "between", "filtered")}
        )
        driver.run(1200, at_rest(47))
    assert driver.condition("pressure")["state"] == "met" and checks(driver) == []


def test_where_nothing_was_seen_at_rest_before_a_draw_the_draws_before_tell() -> None:
    flows = Flows()
    for flow in (7.0, 9.0, 11.0):
        took = 1.385 * flow ** (1 / 0.54)
        flows.add(
            0,
            {
                "flow_l_min": flow,
                "supply_kpa": 385.0 - took,
                "static_kpa": {"supply": 385.0},
                "static_before_kpa": None,
            },
        )
    assert flows.takes_kpa(8.0) == pytest.approx(1.385 * 8.0 ** (1 / 0.54), rel=1e-6)
    assert Flows().takes_kpa(8.0) is None
    driver = ready_station()
    driver.run(45, DRAWING)
    driver.run(5, REST)  # too short to come to rest
    driver.run(60, DRAWING)
    driver.run(60, REST)
    about = driver.station.evidence.rest_and_drawn_kpa()
    assert about == pytest.approx((55 * PSI, 46 * PSI), rel=1e-3)
    driver.run(400, at_rest(44))
    assert driver.verdict() == "unknown"


def test_a_draw_whose_end_was_not_seen_settles_nothing() -> None:
    driver = ready_station()
    driver.run(600, at_rest(44))
    driver.run(40, DRAWING)
    driver.run(30, {name: value for name, value in REST.items() if name != "flow"})
    driver.run(60, REST)
    assert driver.condition("pressure")["state"] == "unknown" and driver.mono_ms < HOUR * 2
