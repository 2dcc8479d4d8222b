"""A flow that is read amid interference is unknown: it is no water, and it isn't the absence of water either. Our own rules."""

from __future__ import annotations

import pytest

from edge.domain.readings import Sample
from tests.unit.stations import DRAWING, QUIET, Driver


def noisy(driver: Driver, seconds: int, l_min: float, rest: dict[str, float] = QUIET) -> None:
    """Interference on the meter's line, in which it reads so much; everything else as it is."""
    for _ in range(seconds):
        driver.pass_to(driver.mono_ms + 1000)
        samples = [Sample(name, driver.mono_ms, value) for name, value in rest.items() if name != "flow"]
        samples.append(Sample("flow", driver.mono_ms, l_min, "edges_noisy", "300 of 312 edges are none of the meter's"))
        driver.keep(driver.station.hear(samples, driver.now))


def draws(driver: Driver) -> list[dict[str, object]]:
    return [entry.body for entry in driver.said if entry.kind == "draw"]


def test_interference_of_a_few_seconds_begins_no_draw_and_is_no_leak() -> None:
    driver = Driver()
    driver.run(120, QUIET)
    for _ in range(40):
        noisy(driver, 5, 9.0)
        driver.run(30, QUIET)
    assert draws(driver) == [] and driver.station.parts.draws is not None
    assert driver.station.parts.draws.leaked.most_l == 0.0
    assert driver.station.points(driver.now)["flow"]["quality"] == "good"


def test_it_is_shown_as_uncertain_with_its_reason() -> None:
    driver = Driver()
    driver.run(60, QUIET)
    noisy(driver, 3, 9.0)
    shown = driver.station.points(driver.now)["flow"]
    assert (shown["quality"], shown["reason"], shown["value"], shown["age_s"]) == ("uncertain", "edges_noisy", 9.0, 0.0)
    assert "300 of 312" in shown["detail"] and driver.condition("no_leak")["state"] == "met"


@pytest.mark.parametrize("l_min", [0.0, 9.0, 29.0])
def test_whatever_it_reads_a_draw_goes_on_and_its_volume_is_that_of_the_flow_on_both_sides(l_min: float) -> None:
    driver = Driver()
    driver.run(60, QUIET)
    driver.run(60, DRAWING)
    noisy(driver, 6, l_min, DRAWING)
    driver.run(60, DRAWING)
    driver.run(30, QUIET)
    assert [draw["ended"] for draw in draws(driver)] == ["flow"]
    assert draws(driver)[0]["volume_l"] == pytest.approx(9.0 * 126 / 60, abs=0.2)  # L/min times minutes


@pytest.mark.parametrize("l_min", [0.0, 9.0])
def test_one_that_lasts_makes_the_flow_unknown_and_says_what_to_mend(l_min: float) -> None:
    driver = Driver()
    driver.run(60, QUIET)
    driver.run(60, DRAWING)
    noisy(driver, 40, l_min, DRAWING)
    assert [draw["ended"] for draw in draws(driver)] == ["flow not known"]
    assert driver.condition("no_leak")["state"] == "unknown"
    assert driver.alarms("silent:flow") == ["unacknowledged"]
    alarm = driver.station.alarms(driver.now)["silent:flow"]
    assert "more edges than the meter can give" in alarm["cause"] and "300 of 312" in alarm["cause"]
    driver.run(60, QUIET)
    assert (
        driver.condition("no_leak")["state"] == "met" and not driver.station.alarms(driver.now)["silent:flow"]["active"]
    )
