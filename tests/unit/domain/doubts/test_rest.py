"""What the pressures at rest say of what the last draw showed.

Plain facts, no published source: less pressure at rest leaves less while drawing. How much less is held against the balance of pipes,
filters and valve that the simulator solves (simulators/physics/water.py), which the domain doesn't share. Numbers are common practice.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable

import pytest

from edge.domain.doubts.rest import odd
from edge.domain.records.fact import Fact
from edge.domain.station.part import FactAdded
from edge.domain.water.supply import Flows, drawn_from_kpa
from simulators.physics.water import Mains, drawing
from tests.unit.domain.doubts.test_cross_checks import Values, again, at_rest, checks, ready_station
from tests.unit.stations import DRAWING, HOUR, PSI, QUIET, Driver, english

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
        ask = english(one.station.conditions["pressure"](one.now).ask)
        assert ask.startswith("Draw water again") and one.verdict() == "unknown"
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
    about = driver.station.parts.evidence.rest_and_drawn_kpa()
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


# -- a gauge that stands apart from two that agree


def off_by(psi: float, gauge: str, values: Values) -> Values:
    return values | {gauge: values[gauge] + psi * PSI}


def draws(driver: Driver, times: int, change: Callable[[Values], Values] = dict, rest_s: float = 400) -> None:
    for _ in range(times):
        driver.run(60, change(DRAWING), every_s=2)
        driver.run(rest_s, change(REST), every_s=10)


@pytest.mark.parametrize("psi", [1.5, 3.0, 4.5])
@pytest.mark.parametrize("drawn_before", [1, 10])
def test_a_supply_gauge_whose_zero_moves_up_is_named_until_it_agrees_or_is_calibrated(
    psi: float, drawn_before: int
) -> None:
    driver = ready_station()
    draws(driver, drawn_before)
    draws(driver, 12, lambda values: off_by(psi, "supply", values))
    assert checks(driver) == [("zero", "began", ["supply"])], "once, and no draw takes it back"
    for one in (driver, again(driver)):
        one.run(5, off_by(psi, "supply", REST))
        condition = one.condition("pressure")
        assert condition["state"] == "unknown" and f"a zero has moved: {psi} psi" in condition["text"]
        assert "apart at rest from the others" in condition["text"] and one.verdict() != "ready"
        assert one.condition("flow")["state"] == "met", "the meter is believed"
    assert driver.alarms("filter_fell:coarse") == driver.alarms("filter_due:coarse") == []
    driver.run(150, REST)
    assert checks(driver)[-1] == ("zero", "ended", ["supply"]) and driver.condition("pressure")["state"] == "met"


@pytest.mark.parametrize("gauge, psi, filters", [
    ("between", 3.8 - 55, ("coarse", "fine")), ("between", -10, ("coarse", "fine")), ("between", 25, ("coarse", "fine")),
    ("filtered", -3, ("fine",)),
])  # fmt: skip
def test_a_gauge_behind_the_supply_that_stands_apart_is_named_and_the_meter_believed(
    gauge: str, psi: float, filters: tuple[str, ...]
) -> None:
    driver = ready_station()
    driver.run(240, off_by(psi, gauge, REST))
    assert checks(driver) == [("zero", "began", [gauge])]
    assert all(driver.condition(f"filter:{ident}")["state"] == "unknown" for ident in filters)
    assert driver.condition("flow")["state"] == "met" and driver.verdict() == "unknown"
    assert again(driver).condition(f"filter:{filters[-1]}")["state"] == "unknown"


@pytest.mark.parametrize(
    "gauge, psi", [("supply", 3.7), ("supply", -3.7), ("between", 3.7), ("between", -3.7), ("filtered", -3.7)]
)
def test_a_gauge_that_is_off_from_the_very_start_is_told_once_and_as_what_it_is(gauge: str, psi: float) -> None:
    driver = Driver()
    driver.duties_done()
    driver.run(200, off_by(psi, gauge, REST))
    draws(driver, 5, lambda values: off_by(psi, gauge, values))
    assert checks(driver) == [("zero", "began", [gauge])]
    assert driver.condition("pressure")["state"] == ("unknown" if gauge == "supply" else "met")


@pytest.mark.parametrize("gauge, psi, named", [("supply", 4.0, "supply"), ("filtered", -4.0, "filtered")])
def test_where_the_others_differ_too_a_draw_that_the_meter_shows_tells_a_gauge_from_running_water(
    gauge: str, psi: float, named: str
) -> None:
    """At first it may be water past a torn filter; but that doesn't take the same before and after a draw of a meter that turns."""
    driver, other = Driver(), "between" if gauge == "filtered" else "filtered"
    driver.duties_done()

    def gauges(values: Values) -> Values:
        return off_by(psi, gauge, off_by(-0.5, other, values))

    driver.run(300, gauges(REST))
    draws(driver, 4, gauges)
    assert [(check, what) for check, what, _ in checks(driver)] == [
        ("drop_no_flow", "began"),
        ("drop_no_flow", "ended"),
        ("zero", "began"),
    ]
    assert checks(driver)[-1][2] == [named]


@pytest.mark.parametrize("coarse, fine", [(0.4, 1.2), (0.7, 1.0)])
def test_water_that_runs_at_a_dead_meter_past_a_filter_that_takes_little_is_no_gauge(
    coarse: float, fine: float
) -> None:
    driver = ready_station()
    runs = REST | {"between": REST["supply"] - coarse * PSI, "filtered": REST["supply"] - (coarse + fine) * PSI}
    driver.run(400, runs)
    assert checks(driver) == [("drop_no_flow", "began", ["flow", "supply", "filtered"])]
    assert driver.condition("flow")["state"] == "unknown"


@pytest.mark.parametrize("gauge, psi", [("supply", 0.9), ("between", -0.9), ("filtered", 0.9)])
def test_zeros_that_differ_by_little_or_drift_say_nothing(gauge: str, psi: float) -> None:
    driver, rng = ready_station(), random.Random(4)
    draws(driver, 4, lambda values: off_by(psi, gauge, values))
    for step in range(24):  # by 3 psi in all
        off = psi * (1 + step / 10)
        noisy = {tap: 55 * PSI + rng.gauss(0.0, 1.0) for tap in ("supply", "between", "filtered")}
        driver.run(60, off_by(off, gauge, DRAWING), every_s=2)
        driver.run(240, off_by(off, gauge, REST | noisy), every_s=5)
    assert checks(driver) == []


def test_a_check_valve_that_holds_what_stands_behind_it_names_no_gauge() -> None:
    driver = ready_station()
    for _ in range(3):
        driver.run(250, at_rest(50) | {"between": 55 * PSI, "filtered": 55 * PSI})
        driver.run(250, at_rest(50) | {"filtered": 55 * PSI})
        draws(driver, 1)
    assert checks(driver) == [] and odd({"supply": 1.0, "filtered": 90.0}, 7.0, 3.0) is None


def test_a_gauge_that_is_compared_with_a_reference_has_its_zero_learnt_anew() -> None:
    driver = ready_station()
    draws(driver, 3)
    driver.station.view.happen(
        FactAdded(driver.station.book.add(Fact(None, "calibration", driver.wall_ms, {"point": "filtered"}, True))),
        driver.now,
    )
    assert driver.station.parts.evidence.train.zeros.knows(
        "between"
    ) and not driver.station.parts.evidence.train.zeros.knows("filtered")
    driver.run(60, off_by(-2, "filtered", REST))
    draws(driver, 4, lambda values: off_by(-2, "filtered", values))
    assert checks(driver) == []
    driver.station.view.happen(
        FactAdded(driver.station.book.add(Fact(None, "calibration", driver.wall_ms, {"point": "supply"}, True))),
        driver.now,
    )
    assert not driver.station.parts.evidence.train.zeros.knows("between")


@pytest.mark.parametrize("lets_go", [lambda t: 0.0, lambda t: max(39.0 - t / 3, 0.0)])
@pytest.mark.parametrize("drawn_first", [True, False])
def test_a_gauge_behind_the_machines_own_valve_falls_to_zero_at_rest_and_is_fine(
    lets_go: Callable[[float], float], drawn_first: bool
) -> None:
    driver = ready_station() if drawn_first else Driver()
    driver.duties_done()
    driver.run(400, lambda t: REST | {"filtered": 0.0})
    for _ in range(4):
        driver.run(60, DRAWING)
        driver.run(400, lambda t: REST | {"filtered": lets_go(t) * PSI})
    assert checks(driver) == [] and driver.condition("filter:fine")["state"] == "met"
    driver.run(60, DRAWING | {"filtered": 0.0})
    driver.run(400, REST | {"filtered": 0.0})
    assert driver.condition("filter:fine")["state"] != "met", "it is dead"


def test_a_train_that_is_let_go_as_a_whole_does_not_count_as_a_gauge_behind_a_valve() -> None:
    driver = ready_station()
    driver.run(200, at_rest(1))
    driver.run(600, REST)
    draws(driver, 1)
    driver.run(400, REST | {"filtered": 45 * PSI})
    assert ("zero", "began", ["filtered"]) in checks(driver)
