"""How long it stays warm enough without its heater. The truth is what the tank below goes on to do."""

from __future__ import annotations

import json
import random
from collections.abc import Callable

import pytest

from edge.domain.heat.balance import Forecast
from edge.domain.heat.cooldown import CoolDownEstimator, believed, is_usable
from edge.domain.heat.cooldown_fit import LossEstimate
from edge.domain.heat.prior import Prior, Spread, of_volume
from edge.domain.messages import say
from edge.domain.station.station import Station
from tests.bench.cooling import AT_MIN, Figures, one
from tests.told import tell
from tests.unit.stations import QUIET, SETTINGS, Driver, english

ROOM_C = 22.0
LOSS_PER_S = 2.4 / (45_000.0 + 3_500.0)


class Tank:
    """Liquid, wall, probe and thermostat in one-second steps. W, W/K, J/K, s, Cel."""

    def __init__(self, start_c: float, seed: int = 1) -> None:
        self.liquid = self.wall = self.probe = start_c
        self.rng, self.noise_k, self.step_k = random.Random(seed), 0.03, 0.0625
        self.room_c, self.loss, self.lag_s, self.set_c, self.band_k = ROOM_C, 2.4, 25.0, 39.5, 0.5
        self.on, self.powered = False, True

    def second(self) -> float:
        self.on = self.powered and self.probe < (self.set_c if self.on else self.set_c - self.band_k)
        across = 60.0 * (self.liquid - self.wall)
        heat = 300.0 if self.on else 0.0
        self.liquid += (heat - across - 0.3 * self.loss * (self.liquid - self.room_c)) / 45_000.0
        self.wall += (across - 0.7 * self.loss * (self.wall - self.room_c)) / 3_500.0
        self.probe += (self.liquid - self.probe) / self.lag_s
        return round((self.probe + self.rng.gauss(0.0, self.noise_k)) / self.step_k) * self.step_k


class Bench:
    """A tank, followed; `trip()` takes its power."""

    def __init__(self, start_c: float = 39.2, watch: CoolDownEstimator | None = None, **more: object) -> None:
        self.tank, self.s = Tank(start_c), 0
        for name, value in more.items():
            setattr(self.tank, name, value)
        self.watch = watch or CoolDownEstimator(of_volume(11.0))

    def run(self, seconds: int) -> None:
        for _ in range(seconds):
            self.s += 1
            tell(self.watch, self.tank.second(), self.tank.room_c, self.s * 1000)

    def trip(self) -> None:
        self.tank.powered = False
        self.watch.heater(True, self.s * 1000)

    def until(self, limit_c: float = 37.0) -> Forecast:
        return self.watch.until_below(limit_c, self.s * 1000, self.tank.set_c - self.tank.band_k)

    def truth_s(self, limit_c: float = 37.0) -> int:
        copy = Tank(0.0)
        copy.__dict__.update(self.tank.__dict__ | {"noise_k": 0.0, "step_k": 1e-9, "rng": random.Random(1)})
        seconds = 0
        while copy.probe >= limit_c:
            copy.second()
            seconds += 1
        return seconds


def left(said: Forecast) -> tuple[float, float, float]:
    assert said.in_ms is not None and said.low_ms is not None and said.high_ms is not None, said.why
    return said.in_ms / 1000.0, said.low_ms / 1000.0, said.high_ms / 1000.0


def test_a_trip_is_answered_at_once_from_the_volume_alone_and_sharpens() -> None:
    bench = Bench()
    bench.run(300)
    bench.trip()
    widths = []
    for minutes in (0, 5, 10, 20):
        bench.run(300 + 60 * minutes - bench.s)
        middle, low, high = left(bench.until())
        assert low <= bench.truth_s() <= high, (minutes, middle, low, high, bench.truth_s())
        widths.append(high - low)
    assert widths[2] < 0.5 * widths[0] and middle == pytest.approx(bench.truth_s(), rel=0.1, abs=60)


def test_the_thermostats_pauses_teach_what_it_loses() -> None:
    bench = Bench()
    bench.run(9_000)
    assert bench.watch.seen or bench.watch.kept
    assert bench.watch.believed().median == pytest.approx(LOSS_PER_S, rel=0.15)
    bench.trip()
    middle, low, high = left(bench.until())
    assert middle == pytest.approx(bench.truth_s(), rel=0.15) and low <= bench.truth_s() <= high
    assert high - low < 0.7 * middle


@pytest.mark.parametrize("heated_s", [20, 30, 40, 50])
def test_a_heater_that_came_on_unseen_just_before_the_trip_does_not_make_it_long(heated_s: int) -> None:
    """The slow probe shows the warmth minutes after the power has gone: it rises with no heater, which isn't that it loses nothing."""
    bench = Bench(lag_s=90.0, noise_k=0.01)
    bench.run(7_200)
    while bench.tank.on:
        bench.run(1)
    while not bench.tank.on:
        bench.run(1)
    bench.run(heated_s)
    bench.trip()
    for minutes in (4, 5, 8):
        bench.run(60 * minutes - (bench.s - bench.watch._off_ms // 1000))  # type: ignore[operator] # it is off
        middle, low, high = left(bench.until())
        assert low <= bench.truth_s() <= high, (minutes, middle, low, high, bench.truth_s())
        assert middle == pytest.approx(bench.truth_s(), rel=0.25), minutes


@pytest.mark.parametrize("step_k", [0.0625, 0.1, 1e-9])
def test_cooling_that_nobody_told_of_is_seen(step_k: float) -> None:
    bench = Bench(step_k=step_k)
    bench.run(600)
    bench.tank.powered = False
    bench.run(1_500)
    middle, low, high = left(bench.until(36.0))
    assert middle == pytest.approx(bench.truth_s(36.0), rel=0.2) and low <= bench.truth_s(36.0) <= high
    assert bench.until(ROOM_C - 1.0).why == say("cooling.room_keeps_it_above")
    assert bench.until(45.0).why == say("cooling.below_already")


def test_a_trip_in_the_middle_of_heating_up_reckons_with_wall_and_probe() -> None:
    bench = Bench(start_c=30.0, lag_s=60.0)
    bench.run(900)
    while bench.tank.probe < 38.5:
        bench.run(30)
    bench.trip()
    middle, low, high = left(bench.until())
    assert low <= bench.truth_s() <= high
    bench.run(600)
    middle, low, high = left(bench.until())
    assert middle == pytest.approx(bench.truth_s(), rel=0.25) and low <= bench.truth_s() <= high


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_trip_just_after_the_heater_came_on_is_no_pause_that_goes_on(seed: int) -> None:
    bench = Bench(rng=random.Random(seed))
    bench.run(7_000)
    while bench.tank.on:
        bench.run(1)
    while not bench.tank.on:
        bench.run(1)
    bench.run(60)
    bench.trip()
    for _ in range(5):
        bench.run(60)
        middle, low, high = left(bench.until())
        assert low <= bench.truth_s() <= high and high - low < 0.8 * middle, (middle, low, high, bench.truth_s())


def test_what_the_thermostat_holds_is_not_said_to_fall_below() -> None:
    bench = Bench()
    whys = set()
    for _ in range(120):
        bench.run(60)
        said = bench.until()
        assert said.in_ms is None, said
        whys.add(english(said.why))
    assert whys <= {"it is not cooling", "the thermostat holds it", "it is being heated"} and len(whys) > 1


def test_where_the_thermostats_own_trough_is_too_low_the_time_is_told() -> None:
    bench = Bench()
    said = []
    for _ in range(60):
        bench.run(60)
        said.append(bench.until(39.2))
    assert any(one.in_ms is not None and one.in_ms < 900_000 for one in said)


def test_with_its_power_back_it_is_heated_and_no_time_is_told() -> None:
    bench = Bench()
    bench.run(600)
    bench.trip()
    bench.run(1_200)
    left(bench.until())
    bench.tank.powered = True
    bench.watch.heater(False, bench.s * 1000)
    bench.run(180)
    assert bench.until(36.0).why == say("cooling.being_heated")


def test_the_answer_does_not_depend_on_how_often_one_asks() -> None:
    often, seldom = Bench(), Bench()
    for _ in range(20):
        often.run(60)
        often.until()
    seldom.run(1_200)
    often.trip()
    seldom.trip()
    for _ in range(10):
        often.run(60)
        often.until()
    seldom.run(600)
    assert often.until() == seldom.until()


@pytest.mark.parametrize("number", [84, 90, 103, 143])
def test_what_a_slow_wall_still_draws_in_a_pause_is_not_taken_for_its_losses(number: int) -> None:
    """Vessels of the bench, stepped there, whose walls need minutes to follow, after an hour and a half under their thermostats."""
    table = {minutes: Figures() for minutes in AT_MIN}
    one(number, 5_400, 0, table, [], [])
    for minutes in (0, 5):
        [(truth, _, low, high)] = table[minutes].rows
        assert 0.98 * low <= truth <= 1.02 * high, (minutes, truth, low, high)


def test_a_lid_that_is_opened_is_believed_against_the_history() -> None:
    bench = Bench()
    bench.run(7_200)
    bench.trip()
    before = left(bench.until())
    bench.tank.loss *= 2.5
    bench.run(600)
    middle, low, high = left(bench.until())
    assert low <= bench.truth_s() <= high and before[0] > 1.5 * (600 + middle)


def test_losses_are_put_together_and_unusable_ones_passed_over() -> None:
    broad = Prior()
    seen = [LossEstimate(4e-5, 0.1)] * 4
    told = believed(broad, seen)
    assert told.median == pytest.approx(4e-5, rel=0.02) and 0.06 < told.sd < 0.1
    assert believed(broad, []) == broad.loss
    assert believed(broad._replace(loss=Spread(6e-5, 0.05), heat_ups=3), []).sd > 0.1, "a rise isn't a fall"
    for fit in (
        {},
        None,
        {"loss": 3},
        {"loss": [1.0]},
        {"loss": [0.0, 0.1]},
        {"loss": [float("nan"), 0.1]},
        {"loss": [True, 1]},
    ):
        assert not is_usable(fit), fit


# -- at a station


def holding(s: float) -> dict[str, float]:
    """A thermostat's rounds between 39.0 and 39.5, 0.05 K a minute down, four times as fast up."""
    phase = s % 750.0
    liquid = 39.5 - 0.05 * phase / 60.0 if phase < 600.0 else 39.0 + 0.2 * (phase - 600.0) / 60.0
    return QUIET | {"room": 24.0, "reservoir": round(liquid * 16.0) / 16.0}


def follow(driver: Driver, seconds: float, values: Callable[[float], dict[str, float]]) -> None:
    driver.run(seconds, values, every_s=5.0)


def test_a_stations_trip_has_its_time_in_the_same_instant() -> None:
    driver = Driver(SETTINGS)
    follow(driver, 3_600, holding)
    assert driver.station.estimates(driver.now)["reservoir_below_needed"]["value"] is None
    follow(driver, 5, lambda s: holding(0.0) | {"heater-outlet": 1.0})
    said = driver.station.estimates(driver.now)["reservoir_below_needed"]
    assert said["low"] < said["value"] < said["high"], said


def test_what_a_cool_down_taught_survives_a_restart() -> None:
    driver = Driver(SETTINGS)
    follow(driver, 4 * 3_600, holding)
    kept = [e.body for e in driver.said if e.kind == "cool_down"]
    assert 1 <= len(kept) <= 2, "one in six hours"
    rate = 0.05 / 60.0 / (39.25 - 24.0) * 3_600.0
    assert kept[0]["fit"]["loss"][0] == pytest.approx(rate, rel=0.25)
    again = Station(SETTINGS, "other")
    for entry in driver.said:
        again.fold(entry)
    assert again.parts.warmth is not None and driver.station.parts.warmth is not None
    assert again.parts.warmth.cool.kept == driver.station.parts.warmth.cool.kept != []
    state = json.loads(json.dumps(driver.station.state()))
    restored = Station(SETTINGS, "third", state)
    assert (
        restored.parts.warmth is not None and restored.parts.warmth.cool.kept == driver.station.parts.warmth.cool.kept
    )
    assert restored.parts.warmth.cool.believed() != restored.parts.warmth.cool.prior.loss
