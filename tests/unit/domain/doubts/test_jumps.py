"""A reservoir's probe that jumps up, as no heater can heat a liquid, is not believed; liquids that return, and what was recorded, are.

Heat capacity and power: 3.7 kW into 11 L of water heat it by 3700/(11 x 4153) = 0.081 K/s (4153 J/(L K) by 4178 J/(kg K) and 0.994 kg/L,
IAPWS-95, as tests/handbook has it). The liquids are the simulator's. No published source for the rest: common practice.
"""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import product

import pytest

from edge.domain.doubts.jumps import Jump, Jumps, heats_k_per_s
from edge.domain.doubts.levels import Levels
from edge.domain.readings import Role
from simulators.physics.events import HOUR, MINUTE, Away, Draw, Event, LidOpen, TopUp, Trip
from simulators.physics.reservoir import Vessel
from tests.unit.domain.doubts.test_cross_checks import again, checks, ready_station
from tests.unit.domain.doubts.test_unheated import hears, world
from tests.unit.stations import QUIET, SETTINGS, Driver, point

BEGAN = ("jumped", "began", ["reservoir"])
ENDED = ("jumped", "ended", ["reservoir"])


def cold_station(level_c: float = 37.0) -> Driver:
    """A station that has been watched for longer than a cycle lasts, whose liquid is too cold."""
    driver, rng = ready_station(), random.Random(1)
    driver.run(100 * 60, lambda _: reads(level_c, rng), every_s=10)
    assert checks(driver) == [] and driver.condition("reservoir")["state"] == "unmet"
    return driver


def reads(level_c: float, rng: random.Random) -> dict[str, float]:
    return QUIET | {"reservoir": round((level_c + rng.gauss(0.0, 0.03)) / 0.0625) * 0.0625}


@pytest.mark.parametrize(
    "by_k, every_s", [*product((1.5, 2.0, 3.0, 5.0, 10.0), (10, 30)), (1.5, 1), (10.0, 1), (2.0, 20), (5.0, 20)]
)
def test_a_step_upward_is_doubted_before_the_hold_is_over(by_k: float, every_s: float) -> None:
    driver, rng = cold_station(39.3 - by_k + 0.4 if by_k < 3.0 else 36.5), random.Random(2)
    level = 39.3 - by_k + 0.4 if by_k < 3.0 else 36.5
    driver.run(300, lambda _: reads(level, rng), every_s=every_s)
    n = len([e for e in driver.said if e.kind == "verdict" and e.body["to"] == "ready"])
    driver.run(1200, lambda _: reads(level + by_k, rng), every_s=every_s)
    assert checks(driver) == [BEGAN]
    assert driver.verdict() != "ready" and driver.condition("reservoir")["state"] == "unknown"
    assert len([e for e in driver.said if e.kind == "verdict" and e.body["to"] == "ready"]) == n, "never READY by it"
    assert "a heater makes" in driver.condition("reservoir")["text"]


def test_a_step_that_comes_in_a_few_readings_is_one() -> None:
    driver, rng = cold_station(), random.Random(2)
    driver.run(600, lambda t: reads(37.0 + min(t / 20.0, 1.0) * 2.5, rng), every_s=5)
    assert checks(driver) == [BEGAN]


def doubted_station() -> Driver:
    driver, rng = cold_station(), random.Random(2)
    driver.run(300, lambda _: reads(40.0, rng), every_s=5)
    assert checks(driver) == [BEGAN]
    return driver


@pytest.mark.parametrize(
    "record, body",
    [
        ("disinfectant_fill", {}),
        ("disinfectant_top_up", {"litres": 2.0, "stirred": True}),
        ("service", {"what": "probe fixed again", "point": "reservoir"}),
        ("calibration", {"point": "reservoir", "points": [{"reference": "40.0 degC"}], "reference_u": "0.05 K"}),
    ],
)
def test_a_record_explains_it_also_after_a_restart(record: str, body: dict[str, object]) -> None:
    driver, rng = again(doubted_station()), random.Random(3)
    driver.run(120, lambda _: reads(40.0, rng), every_s=5)
    driver.record("service", what="lamp changed")
    assert driver.condition("reservoir")["state"] == "unknown"
    driver.record(record, **body)
    assert ("jumped", "ended", ["reservoir"]) in checks(driver)


def test_it_ends_where_it_jumps_back_and_not_where_a_cycle_takes_the_liquid() -> None:
    rng, plant = random.Random(3), world(Away(100 * 60, 115 * 60), vessel=Vessel(), trip=False)
    driver = doubted_station()
    hears(driver, plant, 2 * HOUR + 30 * MINUTE, off_k=3.0)
    assert checks(driver) == [BEGAN]
    driver = doubted_station()
    driver.run(120, lambda _: reads(37.0, rng), every_s=5)
    assert checks(driver) == [BEGAN, ENDED]


def test_what_was_recorded_or_declared_before_explains_it() -> None:
    for records in (["disinfectant_top_up"], ["work_begins"], ["work_begins", "work_ends"]):
        driver, rng = cold_station(), random.Random(4)
        for record in records:
            driver.record(record)
        driver.run(600, lambda _: reads(40.0, rng), every_s=5)  # noqa: B023 - run at once
        assert checks(driver) == []


def test_a_jump_while_the_outlet_is_tripped_is_told_as_one_and_ends_with_it() -> None:
    driver, rng = cold_station(), random.Random(9)
    tripped = {"heater-outlet": 1.0}
    driver.run(50 * 60, lambda t: reads(37.0 - t / 3600.0, rng) | tripped, every_s=10)
    driver.run(600, lambda _: reads(39.5, rng) | tripped, every_s=10)
    assert checks(driver) == [BEGAN]
    driver.run(300, lambda _: reads(36.1, rng), every_s=10)
    assert checks(driver) == [BEGAN, ENDED]


def test_slips_and_a_pause_are_no_jump() -> None:
    driver, rng = cold_station(), random.Random(5)
    driver.run(1800, lambda t: reads(40.0 if t % 300 < 20 else 37.0, rng), every_s=5)
    driver.run(600, {name: value for name, value in QUIET.items() if name != "reservoir"}, every_s=5)
    driver.run(600, lambda _: reads(39.5, rng), every_s=5)
    assert checks(driver) == []


def test_a_probe_that_hung_in_air_is_plunged_into_the_warm_liquid() -> None:
    driver, rng = Driver(), random.Random(6)
    driver.run(3 * HOUR, lambda _: reads(23.0, rng), every_s=10)
    driver.run(600, lambda _: reads(39.5, rng), every_s=10)
    assert checks(driver) == []


def test_a_probe_that_was_pulled_out_and_put_back_is_believed() -> None:
    driver, rng = ready_station(), random.Random(6)
    driver.run(100 * 60, lambda _: reads(39.5, rng), every_s=10)
    driver.run(20 * 60, lambda t: reads(max(39.5 - t / 10.0, 23.0), rng), every_s=10)
    driver.run(600, lambda _: reads(39.3, rng), every_s=10)
    assert checks(driver) == []
    driver.run(100 * 60, lambda _: reads(37.0, rng), every_s=10)
    driver.run(600, lambda _: reads(39.3, rng), every_s=10)
    assert checks(driver) == [BEGAN], "what fell an hour and a half ago, and came back since, explains nothing"


def test_after_a_silence_in_which_a_cycle_took_the_liquid_it_returns() -> None:
    for back_c, said in ((36.5, []), (40.0, [BEGAN])):
        driver, rng = cold_station(), random.Random(7)
        driver.run(360, {name: value for name, value in QUIET.items() if name != "reservoir"}, every_s=5)
        driver.run(600, lambda _: reads(31.0, rng), every_s=5)  # noqa: B023 - run at once
        driver.run(600, lambda _: reads(back_c, rng), every_s=5)  # noqa: B023 - run at once
        assert checks(driver) == said


@pytest.mark.parametrize("air_c", [31.0, 34.0])
def test_after_a_start_in_the_middle_of_a_cycle_the_liquid_returns(air_c: float) -> None:
    for back_c, said in ((36.5, []), (40.0, [BEGAN])):
        driver, rng = Driver(), random.Random(7)
        driver.run(600, lambda t: reads(max(air_c - t / 60.0, 30.0), rng), every_s=5)  # noqa: B023 - run at once
        driver.run(600, lambda _: reads(back_c, rng), every_s=5)  # noqa: B023 - run at once
        assert checks(driver) == said


def cycle(at_s: int, minutes: int, in_air: bool) -> tuple[Event, ...]:
    return (Draw(at_s, at_s + 150), Away(at_s + 240, at_s + 240 + minutes * MINUTE, in_air))


@pytest.mark.parametrize(
    "vessel",
    [
        Vessel(), Vessel(heel_l=1.4, wall_j_per_k=6_000.0, probe_lag_s=60.0), Vessel(litres=8.0, heater_w=400.0, lower_share=0.3),
        Vessel(litres=16.0, heater_w=160.0, lower_share=0.5, probe_lag_s=5.0),
    ],
    ids=["plain", "a large heel", "quick in layers", "slow in layers"],
)  # fmt: skip
def test_cycles_pourings_lids_trips_and_a_warm_up_raise_nothing(vessel: Vessel) -> None:
    events = (
        *cycle(HOUR, 8, True), *cycle(2 * HOUR, 40, False), *cycle(3 * HOUR, 5, True), TopUp(4 * HOUR, 1.5, 12.0),
        LidOpen(4 * HOUR + 40 * MINUTE, 4 * HOUR + 50 * MINUTE, 5.0), Trip(5 * HOUR, 5 * HOUR + 50 * MINUTE, "heater"),
        TopUp(6 * HOUR + 30 * MINUTE, 1.0, 12.0), *cycle(7 * HOUR, 12, False),
    )  # fmt: skip
    driver, plant = ready_station(), world(*events, vessel=vessel, trip=False)
    hears(driver, plant, 8 * HOUR)
    assert checks(driver) == []


def test_a_second_probe_of_the_reservoir_is_looked_at_too() -> None:
    second = point("reservoir-2", Role.RESERVOIR_TEMPERATURE, -10.0, 90.0)
    driver = Driver(replace(SETTINGS, points=(*SETTINGS.points, second)))
    driver.run(100 * 60, QUIET | {"reservoir-2": 37.5}, every_s=10)
    driver.run(600, QUIET | {"reservoir-2": 39.5}, every_s=10)
    assert checks(driver) == [("jumped", "began", ["reservoir-2"])]
    assert driver.condition("reservoir")["state"] == "unknown"


def test_the_greatest_rate_is_what_a_socket_gives_or_what_was_seen() -> None:
    broad = (0.004, 0.006)
    assert heats_k_per_s((1.0, 1.0), (1.0, 1.0), 0, 11.0) == pytest.approx(3700.0 / (11.0 * 4153.0))
    assert heats_k_per_s(broad, broad, 0, None) == pytest.approx(0.022)
    assert heats_k_per_s(broad, (0.003, 0.0001), 3, 11.0) == pytest.approx(1.5 * 0.0033)


@pytest.mark.parametrize("step_k", [0.0625, 0.25, 0.5])
@pytest.mark.parametrize("every_s", [5, 20, 60])
def test_a_warm_up_as_fast_as_believable_is_no_jump(step_k: float, every_s: int) -> None:
    levels, jumps, rng, found = Levels(), Jumps(), random.Random(8), list[Jump | None]()
    for at_s in range(0, 4 * 3600, every_s):
        true = 24.0 + min(0.02 * at_s, 15.0)
        level = levels.hear(round((true + rng.gauss(0.0, 0.03)) / step_k) * step_k, at_s * 1000)
        if level is not None:
            found.append(jumps.hear(levels, level, 0.022, 20.0, 39.0, step_k, at_s * 1000))
            levels.take(level, 0.001, step_k, at_s * 1000)
    assert found and not any(found)


@pytest.mark.parametrize("every_s", [1, 2, 5])
def test_what_was_read_before_a_pause_is_no_level_of_after_it(every_s: int) -> None:
    levels, jumps, found = Levels(), Jumps(), list[Jump | None]()
    for at_s in range(0, 3600, every_s):
        if 8 <= at_s % 600 < 160:
            continue  # readings are lost
        level = levels.hear(24.0 + 0.015 * at_s, at_s * 1000)
        if level is not None:
            found.append(jumps.hear(levels, level, 0.02, 20.0, 0.0, 0.0, at_s * 1000))
            levels.take(level, 0.001, 0.0, at_s * 1000)
    assert found and not any(found)
