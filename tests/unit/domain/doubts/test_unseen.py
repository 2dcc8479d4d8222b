"""Water that flows while the meter shows none: a low pressure isn't passed over, and gauges that are exchanged are told at once.

Plain facts, no published source: flowing water loses pressure in every filter, and a pressure that everything shares, or that a check valve
holds, tells nothing of a flow. Numbers are common practice.
"""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest

from edge.domain.doubts.unseen import Unseen
from tests.unit.domain.doubts.test_cross_checks import Values, again, at_rest, checks, ready_station
from tests.unit.stations import DRAWING, PSI, QUIET, Driver

DEAD = {"flow": 0.0}


def without(values: Values, *names: str) -> Values:
    return {name: value for name, value in values.items() if name not in names}


def taps(supply: float, between: float, filtered: float) -> Values:
    return QUIET | {"supply": supply * PSI, "between": between * PSI, "filtered": filtered * PSI}


LOW = taps(36, 33, 29)
TAPS = ("supply", "between", "filtered")


# -- a low draw that the meter doesn't see


@pytest.mark.parametrize("meter", ["dead", "silent"])
@pytest.mark.parametrize("seconds, every_s", [(40, 1.0), (25, 1.0), (60, 5.0)])
def test_a_low_draw_of_which_the_meter_says_nothing_is_not_passed_over(
    meter: str, seconds: float, every_s: float
) -> None:
    driver = ready_station()
    names = ("flow",) if meter == "silent" else ()
    driver.run(60, without(QUIET, *names), every_s)
    driver.run(seconds, without(LOW, *names), every_s)
    driver.run(120, QUIET, every_s)
    for one in (driver, again(driver)):
        one.run(5, QUIET)
        condition = one.condition("pressure")
        assert condition["state"] == "unknown" and "the meter said nothing of it" in condition["text"]
        assert one.verdict() != "ready"
    assert checks(driver) == [("unseen_low", "began", ["supply"])]
    driver.run(60, DRAWING)
    driver.run(240, QUIET)
    assert driver.verdict() == "ready"


def test_an_unseen_draw_that_shows_enough_is_told_as_before_at_the_third() -> None:
    driver = ready_station()
    for told in (0, 0, 1):
        driver.run(60, taps(46, 43, 39))
        driver.run(300, QUIET)
        assert [check for check, _, _ in checks(driver)] == ["no_pulses"] * told


@pytest.mark.parametrize("values", [
    taps(36, 36, 36),  # all of the building's pressure
    taps(36, 36, 55), taps(36, 55, 55),  # a check valve holds what stands behind it
    taps(36, 37, 37.5),  # and lets some of it go back
])  # fmt: skip
def test_a_neighbours_draw_is_no_draw_of_ours(values: Values) -> None:
    driver = ready_station()
    for _ in range(4):
        driver.run(100, values)
        driver.run(300, QUIET)
    assert checks(driver) == [] and driver.verdict() == "ready"


def test_a_machine_without_power_and_noisy_gauges_at_rest_say_nothing() -> None:
    driver, rng = ready_station(), random.Random(2)
    driver.run(60, LOW | {"power": 0.0})
    driver.run(300, QUIET)
    driver.run(
        3600,
        lambda _: at_rest(45) | {tap: (45 + rng.gauss(0.0, 0.4)) * PSI for tap in ("supply", "between", "filtered")},
    )
    assert {check for check, _, _ in checks(driver)} <= {"static_sunk"}


# -- gauges exchanged while the meter is dead


def exchanged(one: str, other: str) -> Callable[[Values], Values]:
    return lambda values: values | {one: values[other], other: values[one]}


@pytest.mark.parametrize("pair", [("supply", "between"), ("between", "filtered"), ("supply", "filtered")])
@pytest.mark.parametrize("noise", [0.0, 0.2])
def test_gauges_exchanged_while_the_meter_is_dead_are_told_at_the_first_draw(
    pair: tuple[str, str], noise: float
) -> None:
    driver, rng, swap = ready_station(), random.Random(6), exchanged(*pair)

    def noisy(values: Values) -> Callable[[float], Values]:
        return lambda _: swap(
            values | {tap: values[tap] + rng.gauss(0.0, noise) * PSI for tap in ("supply", "between", "filtered")}
        )

    driver.run(300, noisy(QUIET))
    assert checks(driver) == [] and driver.verdict() == "ready", "at rest nothing tells"
    driver.run(45, noisy(taps(46, 43, 39)))
    driver.run(120, noisy(QUIET))
    check, what, points = checks(driver)[0]
    assert (check, what) == ("exchanged", "began") and set(pair) <= set(points)
    assert driver.verdict() == "unknown" and again(driver).verdict() != "ready"
    driver.run(60, DRAWING)
    driver.run(240, QUIET)
    assert driver.verdict() == "ready", "the meter turns again, and the gauges are in order"


def test_clean_filters_whose_gauges_are_read_one_after_another_are_in_order() -> None:
    driver = ready_station()
    for _ in range(2):
        driver.run(60, taps(46, 45.5, 44.9), every_s=5)
        driver.run(300, QUIET, every_s=5)
    assert checks(driver) == []


def test_two_gauges_alone_do_not_tell_an_exchange_from_a_check_valve() -> None:
    watch = Unseen(10_000, 15_000)
    for at in range(60):
        watch.hear({"supply": 380.0, "filtered": 380.0}, at * 1000)
    told = [watch.hear({"supply": 270.0, "filtered": 300.0}, at * 1000) for at in range(60, 120)]
    assert told[-1] is not None and not told[-1].has_order and not told[-1].is_flow


def test_a_gap_or_a_new_level_begins_anew() -> None:
    watch = Unseen(10_000, 15_000)
    watch.hear({"supply": 380.0, "filtered": 380.0}, 0)
    assert [watch.hear({"supply": 270.0, "filtered": 240.0}, at * 1000) for at in (20, 30, 40, 50)] == [None] * 4
    watch = Unseen(10_000, 15_000)
    told = [watch.hear({"supply": 380.0, "filtered": 380.0 if at < 60 else 350.0}, at * 1000) for at in range(3600)]
    assert any(told) and not any(told[60 + 20 * 60 + 2 :]), "what stays apart for long is how they rest now"


def test_a_draw_in_which_the_meter_fell_silent_is_not_how_the_water_rests() -> None:
    driver = Driver()
    driver.run(120, QUIET)
    driver.run(20, DRAWING)
    driver.run(120, without(DRAWING, "flow"))
    driver.run(120, without(QUIET, "flow"))
    driver.run(40, without(LOW, "flow"))
    assert [check for check, _, _ in checks(driver)] == ["unseen_low"]


# -- gauges that read in steps of 1 psi


def by_whole_psi(kpa: float) -> float:
    return round(kpa / PSI) * PSI


@pytest.mark.parametrize("zeros", [(1.9, -2.6, 0.7), (-3.2, 0.4, 3.1), (0.0, 2.3, -2.3)])
def test_a_neighbours_draw_in_gauges_of_wide_steps_is_no_flow(zeros: tuple[float, float, float]) -> None:
    """What all three fall by is rounded for each of them, and so is the rest before; they are read one after another."""
    rng, told = random.Random(8), []
    for tenth in range(60):
        unseen, at_ms, rest_kpa = Unseen(20_000, 15_000), 0, 380.0 + 0.23 * tenth
        seen = dict.fromkeys(TAPS, by_whole_psi(rest_kpa))
        for kpa, readings in (
            (rest_kpa, 60),
            (rest_kpa + 34.0, 1),
            (rest_kpa, 8),
            (rest_kpa - 23.0 - tenth, 4),
            (rest_kpa, 4),
        ):
            for _ in range(readings):
                at_ms += 5000
                for tap, zero in zip(TAPS, zeros, strict=True):
                    seen[tap] = by_whole_psi(kpa + zero + rng.gauss(0.0, 0.05))
                    apart = unseen.hear(seen, at_ms) if tap == "supply" else None  # the others are as they were before
                    told += [apart] if apart is not None and (apart.has_order or apart.is_flow) else []
    assert told == []


@pytest.mark.parametrize("swap, check", [(False, "unseen_low"), (True, "exchanged")])
def test_gauges_of_wide_steps_still_tell_of_a_draw_that_the_meter_misses(swap: bool, check: str) -> None:
    driver, rng = ready_station(), random.Random(9)

    def rounded(values: Values) -> Callable[[float], Values]:
        order = ("between", "supply", "filtered") if swap else TAPS
        return lambda _: (
            values | {tap: by_whole_psi(values[of] + rng.gauss(0.0, 0.3)) for tap, of in zip(TAPS, order, strict=True)}
        )

    driver.run(300, rounded(at_rest(55) | DEAD))
    driver.run(45, rounded(taps(36, 32, 27) | DEAD))
    driver.run(60, rounded(at_rest(55) | DEAD))
    assert [name for name, _, _ in checks(driver)] == [check]
