"""A reservoir's probe that swings by kelvins from reading to reading is not believed, whatever its average is; noise and cycles are.

That litres of liquid can't turn by kelvins within seconds is a plain fact of their heat capacity; the numbers are common practice.
"""

from __future__ import annotations

import random
from math import cos, pi

import pytest

from edge.domain.doubts.restless import Restless
from simulators.physics.reservoir import Vessel
from tests.unit.domain.doubts.test_cross_checks import again, checks, ready_station
from tests.unit.domain.doubts.test_jumps import cycle
from tests.unit.domain.doubts.test_unheated import hears, world
from tests.unit.stations import QUIET

BEGAN = ("restless", "began", ["reservoir"])


def swinging(t: float, by_k: float, period_s: float) -> dict[str, float]:
    return QUIET | {"reservoir": 39.6 + (by_k + 0.01) * (1.0 if t % period_s < period_s / 2.0 else -1.0)}


@pytest.mark.parametrize("by_k", [1.0, 3.0, 4.5])
@pytest.mark.parametrize("every_s, period_s", [(1, 2), (1, 10), (5, 10), (20, 40)])
def test_a_probe_that_swings_about_a_warm_average_leaves_the_reservoir_unknown(
    by_k: float, every_s: float, period_s: float
) -> None:
    driver = ready_station()
    driver.run(300, lambda t: swinging(t, by_k, period_s), every_s=every_s)
    assert checks(driver) == [BEGAN]
    assert (
        driver.condition("reservoir")["state"] == "unknown"
        and "swings by 2 K and more" in driver.condition("reservoir")["text"]
    )
    assert driver.verdict() != "ready"
    driver = again(driver)
    driver.run(240, lambda t: swinging(t, by_k, period_s), every_s=every_s)
    assert driver.condition("reservoir")["state"] == "unknown"
    driver.run(420, QUIET, every_s=every_s)
    driver.run(200, QUIET, every_s=5)
    assert checks(driver) == [("restless", "ended", ["reservoir"])]
    assert driver.condition("reservoir")["state"] == "met", driver.condition("reservoir")["text"]


def test_a_liquid_that_was_too_cold_is_not_made_ready_by_a_probe_that_swings() -> None:
    driver = ready_station()
    driver.run(1200, QUIET | {"reservoir": 35.0}, every_s=5)
    n = [e.body["to"] for e in driver.said if e.kind == "verdict"].count("ready")
    driver.run(1800, lambda t: QUIET | {"reservoir": 39.6 + 4.6 * cos(2.0 * pi * t / 8.0)}, every_s=1)
    assert [e.body["to"] for e in driver.said if e.kind == "verdict"].count("ready") == n


@pytest.mark.parametrize("sigma, every_s", [(0.03, 10), (0.1, 1), (0.1, 10), (0.3, 1), (0.3, 10)])
def test_a_noisy_probe_is_left_alone(sigma: float, every_s: float) -> None:
    driver, rng = ready_station(), random.Random(5)
    driver.run(3600 * every_s, lambda _: QUIET | {"reservoir": 39.6 + rng.gauss(0.0, sigma)}, every_s=every_s)
    assert checks(driver) == []


@pytest.mark.parametrize("every_s", [1, 5, 20, 60])
@pytest.mark.parametrize("sigma", [0.3, 0.4])
def test_noise_for_days_is_no_swing(sigma: float, every_s: int) -> None:
    restless, rng = Restless(), random.Random(int(10 * sigma) + every_s)
    assert not any(restless.hear(39.0 + rng.gauss(0.0, sigma), n * every_s * 1000) for n in range(200_000))


def test_slips_and_cycles_in_a_row_are_no_swing() -> None:
    driver = ready_station()
    driver.run(1800, lambda t: QUIET | {"reservoir": 39.6 if t % 60 >= 5 else 45.0}, every_s=5)
    assert BEGAN not in checks(driver)
    events = [event for n in range(8) for event in cycle(1200 + 1200 * n, 6, n % 2 == 0)]
    driver, plant = ready_station(), world(*events, vessel=Vessel(probe_lag_air_s=20.0, probe_lag_s=3.0), trip=False)
    hears(driver, plant, 3 * 3600)
    assert checks(driver) == []


def test_it_is_forgotten_over_a_long_silence() -> None:
    restless = Restless()
    assert not any(restless.hear(39.0 + 3.0 * (n % 2), n * 301_000) for n in range(100))
