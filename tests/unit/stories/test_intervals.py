"""Intervals of what is estimated: they follow from what is known, and hold the truth nine times in ten."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import pytest

from edge.domain.entries import Now
from edge.domain.heat.balance import time_to_s
from edge.domain.heat.prior import Prior, Spread
from edge.domain.station.parts.reservoir.alarms import doubt_s
from edge.domain.water.filter_life import Point
from edge.domain.water.filter_train import LifePoint, Stage
from tests.unit.stations import DRAWING, PSI, QUIET, SETTINGS, Driver


def test_a_drop_by_the_scatter_of_draws_holds_the_truth_nine_times_in_ten() -> None:
    chance, inside, widths = random.Random(5), 0, []
    for _ in range(400):
        truth, sd, stage = chance.uniform(10.0, 50.0), chance.uniform(0.1, 2.0), Stage(None)
        for draw in range(12):
            seen = chance.gauss(truth, sd)
            stage._recent.append(LifePoint(draw, Point(10.0 * draw, 1.0, 1.0, seen)))
        half, drop = stage.half_kpa(None), stage.drop_kpa(None)
        assert half is not None and drop is not None
        inside += abs(drop - truth) <= half
        widths.append(half / sd)
    assert 0.86 <= inside / 400 <= 0.97
    assert sum(widths) / 400 < 2.0, "half of it in standard deviations of one draw: 1.1 if that were known"


def test_heating_must_start_by_earlier_heat_ups_holds_the_truth_nine_times_in_ten() -> None:
    chance, inside = random.Random(7), 0
    for _ in range(400):
        power, loss, sd = chance.uniform(0.002, 0.008), chance.uniform(3e-5, 9e-5), chance.uniform(0.02, 0.06)
        power_sd = 0.04 * power
        prior = Prior(power=(power, power_sd), loss=Spread(loss, sd), lag_s=Spread(20.0, 0.3), heat_ups=5)
        start, target, room = chance.uniform(18.0, 30.0), 38.5, 20.0
        told = time_to_s(start, target, room + power / loss, loss)
        if told is None:
            continue
        true_power, true_loss = chance.gauss(power, power_sd), loss * math.exp(chance.gauss(0.0, sd))
        truth = time_to_s(start, target, room + true_power / true_loss, true_loss)
        half = doubt_s(prior, start, target, room, told)
        inside += half is not None and truth is not None and abs(truth - told) <= 1.645 * half
    assert 0.86 <= inside / 400 <= 0.97


def test_heating_that_may_never_get_there_has_no_interval() -> None:
    prior = Prior(power=(0.001, 0.0004), loss=Spread(5e-5, 0.05), heat_ups=3)
    told = time_to_s(20.0, 38.5, 20.0 + 0.001 / 5e-5, 5e-5)
    assert told is not None and doubt_s(prior, 20.0, 38.5, 20.0, told) is None


@pytest.mark.parametrize(("resolution", "u"), [(0.1, None), (None, 0.03), (0.1, 0.03)])
def test_the_flow_of_the_night_is_known_to_half_the_meters_step_and_its_uncertainty(resolution, u) -> None:
    points = tuple(replace(p, resolution=resolution, uncertainty=u) if p.id == "flow" else p for p in SETTINGS.points)
    true_l_min = 0.04
    shown = true_l_min if resolution is None else resolution * round(true_l_min / resolution)
    driver = Driver(replace(SETTINGS, points=points))
    driver.run(3 * 1800, QUIET | {"flow": shown}, every_s=5.0)
    night = driver.station.estimates(driver.now)["night_flow"]
    assert night["low"] <= true_l_min <= night["high"] and night["low"] <= night["value"] <= night["high"]
    assert night["high"] - night["low"] <= 0.2
    plain = Driver()
    plain.run(3 * 1800, QUIET, every_s=5.0)
    told = plain.station.estimates(plain.now)["night_flow"]
    assert told["value"] == 0.0 and told["low"] is None and "resolution" in told["why"]


def test_a_stations_drop_comes_with_its_interval_once_draws_have_shown_their_scatter() -> None:
    driver, chance = Driver(), random.Random(3)
    for n in range(8):
        driver.run(200)
        driver.run(60, lambda _t: DRAWING | {"between": (43.0 + chance.gauss(0.0, 0.1)) * PSI})
        told = driver.station.estimates(driver.now)["filter:coarse:drop"]
        if n == 1:
            assert told["low"] is None and "too few draws" in told["why"]
    driver.run(60)
    told = driver.station.estimates(Now(driver.mono_ms, driver.wall_ms, True))["filter:coarse:drop"]
    assert told["low"] <= told["value"] <= told["high"] and 0.0 <= told["high"] - told["low"] < 10.0, told
