"""A valve that closes slowly is no flow that is too low. Numbers are common practice, no published source."""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest

from edge.domain.alarms.states import AT_LIMIT
from tests.unit.domain.doubts.test_cross_checks import Values, checks, ready_station
from tests.unit.stations import DRAWING, PSI, QUIET, Driver


def at(flow: float) -> Values:
    """What the taps show at this flow [L/min]: the mains' curve of fire-flow tests, exponent 1.85; filters in proportion."""
    supply = 55.0 - 9.0 * (flow / 9.0) ** 1.85
    taps = {"supply": supply, "between": supply - flow / 3.0, "filtered": supply - flow / 3.0 - flow * 4.0 / 9.0}
    return QUIET | {"flow": flow} | {tap: psi * PSI for tap, psi in taps.items()}


def closes(
    after_s: float, over_s: float, how: Callable[[float], float] = lambda share: share
) -> Callable[[float], Values]:
    """Full flow, then less and less: `how` of what is left of the closing."""
    return lambda t: at(9.0 * how(min(max(1.0 - (t - after_s) / over_s, 0.0), 1.0)))


@pytest.mark.parametrize("over_s", [5, 15, 30, 40])
@pytest.mark.parametrize("every_s", [1.0, 2.0, 5.0])
def test_a_valve_that_closes_slowly_raises_nothing_and_is_no_part_of_the_draw(over_s: float, every_s: float) -> None:
    driver, rng = ready_station(), random.Random(1)
    before = driver.station.parts.evidence.last
    for _ in range(3):
        driver.run(60 + over_s + 10, closes(60, over_s), every_s)
        driver.run(200, QUIET, every_s)
    noisy = closes(60, over_s)
    driver.run(60 + over_s + 10, lambda t: noisy(t) | {"flow": noisy(t)["flow"] * (1 + rng.gauss(0.0, 0.01))}, every_s)
    driver.run(200, QUIET, every_s)
    assert driver.alarms("flow_low") == driver.alarms("pressure_high") == [] and checks(driver) == []
    last = driver.station.parts.evidence.last
    assert last is not None and last is not before
    assert last["body"]["flow_l_min"] == pytest.approx(9.0, abs=0.15), "the closing is not in its mean"
    assert driver.condition("flow")["state"] == "met"


@pytest.mark.parametrize("how", [lambda left: left**0.5, lambda left: left**2])
def test_however_it_closes(how: Callable[[float], float]) -> None:
    driver = ready_station()
    for _ in range(3):
        driver.run(110, closes(60, 30, how))
        driver.run(200, QUIET)
    assert driver.alarms("flow_low") == []


def test_a_flow_that_falls_and_stays_low_is_told() -> None:
    driver = ready_station()
    driver.run(90, lambda t: at(max(9.0 - max(t - 30, 0.0) * 0.3, 5.0)))
    assert driver.alarms("flow_low") == ["unacknowledged"]
    driver.run(60, QUIET)
    last = driver.station.parts.evidence.last
    assert last is not None and last["body"]["least_flow_l_min"] == pytest.approx(5.0), (
        "what was held back counts once it levels off"
    )


def test_a_sudden_fall_is_told_within_seconds_of_the_on_delay() -> None:
    driver = ready_station()
    driver.run(30, DRAWING)
    driver.run(19, at(6.0))
    assert driver.alarms("flow_low") == []
    driver.run(4, at(6.0))
    assert driver.alarms("flow_low") == ["unacknowledged"]


def test_a_filter_that_clogs_within_a_draw_is_no_closing_valve() -> None:
    driver = ready_station()
    driver.run(300, lambda t: at(9.0 - t * 0.01))
    assert driver.alarms("flow_low") == ["unacknowledged"]
    assert driver.station.parts.draws is not None and driver.station.parts.draws.draw is not None
    flow = driver.station.parts.draws.draw.flow
    assert flow.least < 7.57 - AT_LIMIT and flow.n > 250


def test_a_draw_is_none_the_worse_for_a_meter_of_much_noise() -> None:
    driver, rng = Driver(), random.Random(9)
    driver.run(120, QUIET)
    driver.run(120, lambda _: DRAWING | {"flow": 9.0 * (1 + rng.gauss(0.0, 0.08))})
    driver.run(30, QUIET)
    last = driver.station.parts.evidence.last
    assert last is not None and last["body"]["flow_l_min"] == pytest.approx(9.0, abs=0.25)
