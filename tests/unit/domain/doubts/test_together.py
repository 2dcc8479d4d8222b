"""Points that all repeat their values since one and the same time are not believed: what reads them has hung. Quiet nights are.

By chance the stills of points that don't know of each other begin together and outlast three of their longest all but never
(probabilities multiply). Common practice, no published source.
"""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest

from tests.unit.domain.doubts.test_cross_checks import again, checks, ready_station
from tests.unit.stations import DRAWING, PSI, QUIET, Driver

Values = dict[str, float]
NOISE = {
    "reservoir": (0.04, 0.0625), "room": (0.04, 0.0625), "supply": (0.5, 0.1), "between": (0.5, 0.1), "filtered": (0.5, 0.1),
}  # fmt: skip
WIRES = ["reservoir", "room", "supply", "between", "filtered", "flow"]


def lively(rng: random.Random, still: Values | None = None, base: Values = QUIET) -> Callable[[float], Values]:
    """Each point with its own noise and steps; those in `still` repeat that."""

    def values(_: float) -> Values:
        read = {
            name: round((base[name] + rng.gauss(0.0, sigma)) / step) * step for name, (sigma, step) in NOISE.items()
        }
        return base | read | (still or {})

    return values


def standing(driver: Driver, *points: str) -> Values:
    """What these points read last."""
    found = {name: driver.station.watches[name].good for name in points or QUIET}
    return {name: value for name, value in found.items() if value is not None}


def warmed_up(seed: int = 1, hours: float = 1.0, every_s: float = 2.0) -> tuple[Driver, random.Random]:
    driver, rng = ready_station(every_s=1.0), random.Random(seed)
    driver.run(hours * 3600, lively(rng), every_s=every_s)
    assert checks(driver) == [] and driver.verdict() == "ready"
    return driver, rng


def stopped(driver: Driver) -> list[tuple[str, str, list[str]]]:
    return [told for told in checks(driver) if told[0] == "stopped"]


@pytest.mark.parametrize("every_s", [2, 5])
def test_a_gateway_that_repeats_its_last_answers_is_told_within_a_quarter_of_an_hour(every_s: float) -> None:
    driver, rng = warmed_up(hours=2.0, every_s=every_s)
    still = standing(driver)
    driver.run(11 * 60, lively(rng, still), every_s=every_s)
    assert stopped(driver) == [] and driver.verdict() == "ready"
    driver.run(4 * 60, lively(rng, still), every_s=every_s)
    assert stopped(driver) == [("stopped", "began", WIRES)]
    cause = next(e.body["cause"] for e in driver.said if e.kind == "contradiction")
    assert "reservoir, room, supply" in cause and "since one and the same time" in cause
    assert driver.verdict() == "unknown"
    assert {c["id"]: c["state"] for c in driver.station.verdict(driver.now)["conditions"]}["pressure"] == "unknown"
    assert driver.condition("reservoir")["state"] == "unknown"
    other = again(driver)
    other.run(60, lively(rng, still), every_s=every_s)
    assert other.condition("reservoir")["state"] == "unknown"
    for one in (driver, other):
        one.run(10, lively(rng), every_s=every_s)
        assert ("stopped", "ended", WIRES) in checks(one) and one.condition("reservoir")["state"] != "unknown"


def test_what_is_learned_while_it_hangs_makes_no_point_quiet() -> None:
    driver, rng = warmed_up()
    for _ in range(2):
        driver.run(20 * 60, lively(rng, standing(driver)), every_s=2)
        driver.run(20 * 60, lively(rng), every_s=2)
    assert [what for _, what, _ in stopped(driver)] == ["began", "ended"] * 2


def test_where_one_point_moves_nothing_has_hung() -> None:
    for moves in ("room", "between"):
        driver, rng = warmed_up(seed=2)
        driver.run(25 * 60, lively(rng, standing(driver, *(name for name in WIRES if name != moves))), every_s=2)
        assert stopped(driver) == []


def test_one_that_was_frozen_before_hides_nothing() -> None:
    driver, rng = warmed_up(seed=3)
    driver.run(40 * 60, lively(rng, standing(driver, "between")), every_s=2)
    assert checks(driver) == [("frozen", "began", ["between"])]
    driver.run(20 * 60, lively(rng, standing(driver)), every_s=2)
    assert stopped(driver) == [("stopped", "began", WIRES)]


def test_pressures_that_come_to_rest_together_at_night_are_no_hung_gateway() -> None:
    driver, rng = warmed_up(seed=4)
    driver.run(14 * 60, lively(rng, standing(driver, "supply", "between", "filtered")), every_s=2)
    assert checks(driver) == []


def test_points_that_rest_between_their_steps_by_night_are_left_alone() -> None:
    """Thermometers of little noise and gauges that show whole kilopascals: each rests for long, whenever it likes."""
    rng, driver = random.Random(5), ready_station()

    def night(t: float) -> Values:
        room = round((22.0 - t / 20_000.0 + rng.gauss(0.0, 0.01)) / 0.0625) * 0.0625
        liquid = round((39.3 + 0.3 * ((t / 900.0) % 1.0) + rng.gauss(0.0, 0.01)) / 0.0625) * 0.0625
        taps = {tap: float(round(55 * PSI + rng.gauss(0.0, 0.15))) for tap in ("supply", "between", "filtered")}
        return QUIET | taps | {"room": room, "reservoir": liquid}

    driver.run(8 * 3600, night, every_s=5)
    assert checks(driver) == []


def test_a_silence_of_all_is_no_still() -> None:
    driver, rng = warmed_up(seed=6)
    still = standing(driver)
    driver.run(20 * 60, {}, every_s=5)
    driver.run(11 * 60, lively(rng, still), every_s=2)
    assert stopped(driver) == []
    driver.run(120, lively(rng), every_s=2)
    driver.run(60, lively(rng, base=DRAWING), every_s=2)
    assert stopped(driver) == []
