"""A draw outside its limits that a restart cuts: the draw before it stands no more, whatever an alarm's delay would have said."""

from __future__ import annotations

import pytest

from edge.domain.station.station import Station
from tests.unit.domain.doubts.test_cross_checks import Values, again, checks, ready_station
from tests.unit.stations import DRAWING, PSI, QUIET, SETTINGS, Driver, english

LOW = DRAWING | {"supply": 36 * PSI, "between": 33 * PSI, "filtered": 29 * PSI}
SLOW = DRAWING | {"flow": 6.0}


def by_snapshot(driver: Driver) -> Driver:
    other = Driver(SETTINGS, boot="boot-2", wall_ms=driver.wall_ms)
    other.station = Station(SETTINGS, "boot-2", driver.station.state())
    return other


@pytest.mark.parametrize(
    "values, ident, other, point", [(LOW, "pressure", "flow", "supply"), (SLOW, "flow", "pressure", "flow")]
)
@pytest.mark.parametrize("seconds", [22, 27])
def test_a_restart_within_the_alarms_delay_leaves_it_unknown_until_water_is_drawn(
    values: Values, ident: str, other: str, point: str, seconds: float
) -> None:
    driver = ready_station()
    driver.run(seconds, values)
    assert driver.alarms("pressure_low") == driver.alarms("flow_low") == [], "within its delay"
    assert driver.condition(ident)["state"] == "unmet"
    for one in (again(driver), by_snapshot(driver)):
        one.run(600, QUIET)
        condition = one.condition(ident)
        assert condition["state"] == "unknown" and "whose end has not been seen" in condition["text"]
        assert english(one.station.conditions[ident](one.now).ask) == "Draw water for half a minute"
        assert one.condition(other)["state"] == "met" and one.verdict() != "ready"
        one.run(60, DRAWING)
        one.run(60, QUIET)
        assert one.condition(ident)["state"] == "met" and checks(one) == [("draw_out", "ended", [point])]


def test_a_draw_that_ends_says_it_itself_and_is_noted_once() -> None:
    driver = ready_station()
    for _ in range(3):
        driver.run(60, LOW)
        driver.run(100, QUIET)
        assert driver.condition("pressure")["state"] == "unmet"
    assert checks(driver) == [("draw_out", "began", ["supply"]), ("draw_out", "ended", ["supply"])], (
        "only where the last one kept them"
    )


def test_a_draw_that_begins_badly_and_ends_well_is_well_once_it_has_ended() -> None:
    driver = ready_station()
    driver.run(24, LOW)
    driver.run(300, DRAWING)
    driver.run(240, QUIET)
    assert driver.condition("pressure")["state"] == "met" and driver.verdict() == "ready"


def test_a_draw_within_its_limits_that_is_cut_changes_nothing() -> None:
    driver = ready_station()
    driver.run(30, DRAWING)
    other = again(driver)
    other.run(60, QUIET)
    assert other.condition("pressure")["state"] == other.condition("flow")["state"] == "met"
