"""A stage that doesn't load is never named as the first to reach its limit, whatever its neighbour does."""

from __future__ import annotations

import random
from functools import cache

import pytest

from edge.domain.entries import Now
from edge.domain.station.parts.filters.estimates import FilterEstimates
from edge.domain.water.draws import Draw
from tests.unit.stations import HOUR, PSI, Driver, english

DRAWS = 120


@cache
def sixty_days(seed: int, constant: str, psi: float, noise_psi: float) -> Driver:
    """Two draws a day; one stage stays at a drop, the other rises from 3 to 7 psi. Gauges with noise, a flow that wanders by 2 %."""
    rng, driver = random.Random(seed), Driver()
    begun_ms, wall_ms = driver.wall_ms, driver.wall_ms
    for k in range(DRAWS):
        wall_ms += 12 * HOUR
        rises = 3.0 + 4.0 * k / DRAWS
        coarse, fine = (psi, rises) if constant == "coarse" else (rises, psi)
        share = rng.gauss(1.0, 0.02)
        draw = Draw(0, wall_ms - 60_000, volume_l=20.0, readings=60)
        for mean, at in (
            (draw.supply, 50.0), (draw.between, 50.0 - coarse * share), (draw.filtered, 50.0 - (coarse + fine) * share),
        ):  # fmt: skip
            mean.add((at + rng.gauss(0.0, noise_psi)) * PSI)
        draw.flow.add(9.46 * share)
        draw.static_kpa = dict.fromkeys(("supply", "between", "filtered"), 55 * PSI)
        draw.supply_temperature_c = 15.0
        driver.station.parts.evidence.finish(draw, "flow", Now(wall_ms - begun_ms, wall_ms, True))
    driver.mono_ms, driver.wall_ms = driver.mono_ms + wall_ms - begun_ms, wall_ms
    return driver


def left(driver: Driver, stage: str) -> str:
    """What the stage's condition says of what is left."""
    station = driver.station
    told = FilterEstimates(station.view, station.parts.evidence, has_draws=True)
    return english(told.left(stage, driver.now))


@pytest.mark.parametrize(
    "constant, psi, seed", [("coarse", 2.0, 0), ("coarse", 2.0, 1), ("coarse", 5.0, 0), ("fine", 2.0, 0)]
)
def test_a_stage_that_stays_as_it_is_is_not_the_first_to_reach_its_limit(constant, psi, seed):
    driver = sixty_days(seed, constant, psi, 0.1)
    train, other = driver.station.parts.evidence.train, "fine" if constant == "coarse" else "coarse"
    assert train.stages[other].loads
    assert train.leading(driver.station.parts.evidence.total_l) == other
    said = left(driver, constant)
    assert "first to reach" not in said and ("doesn't load" in said or said == "" or train.stages[constant].loads)
    assert "the first to reach its limit" in left(driver, other)


def test_most_that_do_not_load_say_so():
    said = [left(d, "coarse") for d in (sixty_days(seed, "coarse", 2.0, 0.1) for seed in range(3))]
    assert sum("doesn't load" in text for text in said) == 3
