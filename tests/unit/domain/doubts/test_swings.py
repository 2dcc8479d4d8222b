"""A reservoir's probe that toggles between two neighbouring steps is told from one of a steady liquid by how the liquid swung before.

The liquids are the simulator's (heat capacities and conductances), and hand-made ones of a controller that holds steadily. No published
source: that an on/off thermostat makes a liquid swing by its hysteresis is a plain fact.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator

import pytest

from edge.domain.doubts.swings import Swings
from simulators.physics.events import HOUR, MINUTE, Away, Day, Draw, Event, LidOpen
from simulators.physics.reservoir import Vessel
from simulators.physics.world import METERS, World
from tests.unit.domain.doubts.test_cross_checks import again, checks, ready_station
from tests.unit.stations import QUIET, Driver

STEP_K = METERS["reservoir"].resolution
ROOM = ((0.0, 20.0), (12.0, 22.0))


def liquid(seed: int = 1, hysteresis_k: float = 0.5, liquid_c: float = 39.7, cycles: tuple[int, ...] = ()) -> World:
    """A vessel with its thermostat, from 05:00 on; a cycle takes the liquid for 12 min."""
    events: list[Event] = []
    for at_s in cycles:
        events += [Draw(at_s, at_s + 150), Away(at_s + 4 * MINUTE, at_s + 12 * MINUTE)]
    day = Day(5 * HOUR, liquid_c=liquid_c, room=ROOM, events=tuple(events), vessel=Vessel(hysteresis_k=hysteresis_k))
    return World.of_day(day, seed)


def read(world: World, until_s: int, every_s: int = 10, from_s: int = 0) -> Iterator[tuple[int, float]]:
    for at_s in range(from_s, until_s, every_s):
        world.step_to(at_s * 1000)
        value = world.read("reservoir")
        assert isinstance(value, float)
        yield at_s * 1000, value


def hears(driver: Driver, world: World, until_s: int, from_s: int = 0) -> None:
    for _, value in read(world, until_s, from_s=from_s):
        driver.run(10, QUIET | {"reservoir": value}, every_s=10)


def toggles(driver: Driver, low: float, seconds: float, step: float = STEP_K, seed: int = 3) -> None:
    rng = random.Random(seed)
    driver.run(seconds, lambda _: QUIET | {"reservoir": low + step * rng.choice((0, 1))}, every_s=10)


def test_a_probe_that_toggles_between_two_steps_though_its_liquid_swung_is_doubted() -> None:
    driver, world = ready_station(), liquid()
    hears(driver, world, 2 * HOUR)
    assert checks(driver) == [] and driver.verdict() == "ready"
    toggles(driver, 39.75, 25 * 60)
    assert checks(driver) == [], "half an hour of it tells"
    toggles(driver, 39.75, 15 * 60)
    assert checks(driver) == [("toggling", "began", ["reservoir"])]
    assert driver.verdict() == "unknown" and driver.condition("reservoir")["state"] == "unknown"
    assert "within one step for 30 min" in driver.condition("reservoir")["text"]
    hears(driver, world, 2 * HOUR + 15 * 60, from_s=2 * HOUR)
    assert checks(driver)[1:] == [("toggling", "ended", ["reservoir"])]
    assert driver.verdict() == "ready"


def test_the_doubt_outlives_a_restart_for_as_long_as_it_toggles() -> None:
    driver, world = ready_station(), liquid()
    hears(driver, world, 2 * HOUR)
    toggles(driver, 39.75, 40 * 60)
    other = again(driver)
    toggles(other, 39.75, HOUR)
    assert checks(other) == [] and other.condition("reservoir")["state"] == "unknown"
    hears(other, world, 2 * HOUR + 15 * 60, from_s=2 * HOUR)
    assert checks(other) == [("toggling", "ended", ["reservoir"])]


@pytest.mark.parametrize(
    "values", [(39.0, 39.0625), (38.9375, 39.0, 39.0625)], ids=["two neighbours", "39.0 and a step to each side"]
)
def test_a_steady_liquid_is_left_alone_for_hours(values: tuple[float, ...]) -> None:
    driver, rng = ready_station(), random.Random(2)
    driver.run(4 * HOUR, lambda _: QUIET | {"reservoir": rng.choice(values)}, every_s=10)
    assert checks(driver) == [] and driver.verdict() == "ready" and driver.alarms("silent:reservoir") == []


def stuck_at(readings: Iterator[tuple[int, float]]) -> list[float]:
    """Hours at which a probe with these readings was taken for stuck."""
    swings, found = Swings(), []
    for mono_ms, value in readings:
        swings.hear(value, mono_ms, False)
        if swings.stuck(mono_ms) is not None:
            found.append(mono_ms / 3_600_000)
    return found


@pytest.mark.parametrize("hysteresis_k", [0.2, 0.5, 2.0])
def test_a_liquid_that_swings_all_day_with_cycles_and_a_warm_up_is_never_stuck(hysteresis_k: float) -> None:
    for seed, liquid_c in ((1, 39.7), (2, 24.0)):
        world = liquid(seed, hysteresis_k, liquid_c, (4 * HOUR, 7 * HOUR))
        assert stuck_at(read(world, 20 * HOUR, 20)) == []


def rounded(level: Callable[[float], float], hours: float, sigma: float, seed: int) -> Iterator[tuple[int, float]]:
    """Readings each 20 s of a level [K] over hours, with noise of `sigma` steps."""
    rng = random.Random(seed)
    for at_s in range(0, int(hours * HOUR), 20):
        yield at_s * 1000, round(level(at_s / HOUR) / STEP_K + rng.gauss(0.0, sigma)) * STEP_K


@pytest.mark.parametrize("sigma", [0.2, 0.35, 0.4, 0.45, 0.5, 0.8])
def test_noise_about_a_steady_level_is_no_swing(sigma: float) -> None:
    """Near a step it toggles among three values, in the middle between two it rests among these two, for hours."""
    for seed in range(4):
        assert stuck_at(rounded(lambda h: 39.0 + STEP_K * 0.5 * (int(h) % 2), 12, sigma, seed)) == []


def held(hour: float) -> float:
    """A controller that holds steadily: each hour until the sixth a cycle, after which it overshoots; then the night."""
    minute = hour % 1.0 * 60.0
    if hour >= 6.0 or minute >= 24.0:
        return 39.7
    return 36.0 + 0.5 * minute if minute < 10.0 else 39.7 + (0.6, -0.4, 0.3, -0.2)[int((minute - 10.0) / 3.5)]


def test_a_controller_that_holds_steadily_between_cycles_is_not_taken_for_stuck_at_night() -> None:
    assert stuck_at(rounded(held, 18, 0.3, 1)) == []


def steadily(at_s: int, rests_s: int, cycles: int, falls_s: int = 300) -> float:
    """Held within a step for `rests_s`; then one cycle upon the other, each begun when it is warm again: a fall, a slow rise."""
    lasts_s, at_s = falls_s + 1200, at_s - rests_s
    if not 0 <= at_s < cycles * lasts_s:
        return 40.06 if at_s % 600 < 300 else 40.0
    within_s = at_s % lasts_s
    fallen = 40.0 - 4.0 * min(within_s / falls_s, 1.0)
    liquid_c = fallen if within_s < falls_s else min(36.0 + 4.0 * (within_s - falls_s) / 1150.0, 40.0)
    return round(liquid_c / STEP_K) * STEP_K


@pytest.mark.parametrize(
    "falls_s, cycles", [(300, 7), (1600, 14)], ids=["a fall in air", "in a large heel, shown late"]
)
def test_cycles_upon_cycles_are_no_swings_of_a_thermostat(falls_s: int, cycles: int) -> None:
    driver = ready_station()
    lasts_s = 1200 + cycles * (falls_s + 1200) + HOUR
    driver.run(lasts_s, lambda s: QUIET | {"reservoir": steadily(int(s), 1200, cycles, falls_s)}, every_s=10)
    assert checks(driver) == [] and driver.condition("reservoir")["state"] == "met"


@pytest.mark.parametrize(
    "opened_min, shut_min, w_per_k, sticks_min, hysteresis_k",
    [(113, 143, 3.0, 133, 0.5), (93, 123, 3.0, 110, 0.5), (113, 143, 10.0, 116, 0.5), (10, 240, 3.0, 120, 0.5), (10, 240, 3.0, 120, 0.8)],
    ids=["as it sticks", "earlier", "wide open, just before", "all day", "all day, wider swings"],
)  # fmt: skip
@pytest.mark.parametrize("seed", [1, 2])
def test_an_open_lid_hides_no_stuck_probe(
    opened_min: int, shut_min: int, w_per_k: float, sticks_min: int, hysteresis_k: float, seed: int
) -> None:
    """With its lid open the liquid falls by half a kelvin in five minutes, again and again: that may become a cycle, and is none."""
    lid = LidOpen(opened_min * MINUTE, shut_min * MINUTE, w_per_k)
    day = Day(5 * HOUR, liquid_c=39.7, room=ROOM, events=(lid,), vessel=Vessel(hysteresis_k=hysteresis_k))
    driver, world = ready_station(), World.of_day(day, seed)
    hears(driver, world, sticks_min * MINUTE)
    assert checks(driver) == []
    toggles(driver, float(str(world.read("reservoir"))), 40 * 60, seed=seed)
    assert checks(driver) == [("toggling", "began", ["reservoir"])] and driver.verdict() == "unknown"


def test_a_cycle_costs_none_of_the_swings_before_it() -> None:
    swings, world = Swings(), liquid()
    for mono_ms, value in read(world, 2 * HOUR):
        swings.hear(value, mono_ms, False)
    for at_s in range(2 * HOUR, 2 * HOUR + 2400, 10):
        swings.pause(36.0 + (at_s - 2 * HOUR) / 700.0, at_s * 1000)
    found = [at_s for at_s in range(2 * HOUR + 2400, 4 * HOUR, 10) if _stuck(swings, 39.75, at_s)]
    assert found and found[0] <= 2 * HOUR + 2400 + 31 * 60


def _stuck(swings: Swings, value: float, at_s: int) -> bool:
    swings.hear(value, at_s * 1000, False)
    return swings.stuck(at_s * 1000) is not None


def test_a_probe_that_toggles_after_swings_and_cycles_is_still_told() -> None:
    driver, world = ready_station(), liquid(cycles=(2 * HOUR, 2 * HOUR + 40 * MINUTE))
    hears(driver, world, 4 * HOUR)
    toggles(driver, 39.75, 45 * 60)
    assert checks(driver) == [("toggling", "began", ["reservoir"])]


def test_a_weak_heater_under_which_the_liquid_rests_below_its_swings_is_not_a_stuck_probe() -> None:
    def weak(hour: float) -> float:
        return 39.75 + 0.25 * (1 if int(hour * 10) % 2 else -1) if hour < 3.0 else max(39.5 - (hour - 3.0), 38.9)

    assert stuck_at(rounded(weak, 8, 0.3, 1)) == []
    assert stuck_at(rounded(lambda h: weak(h) if h < 3.0 else 39.6, 8, 0.3, 1)), "but one within its swings is"


def test_steps_that_are_rounded_to_two_decimals_and_short_silences_hide_nothing() -> None:
    swings, found = Swings(), None
    for mono_ms, value in read(liquid(), 2 * HOUR):
        swings.hear(round(value, 2), mono_ms, False)
    rng = random.Random(1)
    for at_s in range(2 * HOUR, 3 * HOUR, 10):
        if at_s % 240 < 60:  # three minutes of each four are missing
            swings.hear(rng.choice((39.75, 39.81)), at_s * 1000, False)
            found = found or swings.stuck(at_s * 1000)
    assert found is not None and found[0] <= 3_600_000


def test_what_was_doubted_wrongly_takes_twice_as_long_the_next_time() -> None:
    swings, world = Swings(), liquid()
    for mono_ms, value in read(world, 2 * HOUR):
        swings.hear(value, mono_ms, False)
    swings.hear(30.0, 2 * HOUR * 1000, True)
    for mono_ms, value in read(world, 4 * HOUR, from_s=2 * HOUR + 10):
        swings.hear(value, mono_ms, False)
    when = []
    for at_s in range(4 * HOUR, 6 * HOUR, 10):
        swings.hear(39.75, at_s * 1000, False)
        if swings.stuck(at_s * 1000) is not None:
            when.append((at_s - 4 * HOUR) / 60)
    assert 59 <= when[0] <= 63
