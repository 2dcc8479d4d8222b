"""Following a heat-up: what is said when, on plants integrated step by step here and in the bench (no formula of the estimator's)."""

from __future__ import annotations

import json
import math
import random
from collections.abc import Callable
from dataclasses import replace
from functools import cache

import pytest

from edge.domain.entries import Now
from edge.domain.heat.balance import HOLD_MS, Forecast
from edge.domain.heat.prior import Prior, Spread, is_usable, learned, of_volume
from edge.domain.heat.reservoir import ReservoirMonitor
from edge.domain.heat.warmup import WarmUpEstimator, hinge
from edge.domain.maths.mixture import quantile
from edge.domain.messages import say
from edge.domain.settings import Reservoir
from tests.bench.heating import Morning, Plant, a_heater, a_morning, a_plant, history, record, steps
from tests.told import tell, until_read
from tests.unit.stations import english

ROOM_C = 20.0
PLAN = Reservoir(40.0, 0.5, 35.0, 4 / 19, True, 7_200_000, volume_l=11.0)


class Tank:
    """Liquid, wall, probe and a heater that can be handled; one-second steps. W, W/K, J/K, s, Cel."""

    def __init__(self, start_c: float = 21.0, power: float = 200.0, seed: int = 1) -> None:
        self.liquid = self.probe = start_c
        self.wall = start_c
        self.power, self.loss, self.lag_s = power, 2.4, 15.0
        self.on = False
        self.rng = random.Random(seed)
        self.noise_k, self.step_k = 0.03, 0.0625

    def second(self) -> float:
        across = 60.0 * (self.liquid - self.wall)
        heat = self.power if self.on else 0.0
        self.liquid += (heat - across - 0.3 * self.loss * (self.liquid - ROOM_C)) / 45_000.0
        self.wall += (across - 0.7 * self.loss * (self.wall - ROOM_C)) / 3_500.0
        self.probe += (self.liquid - self.probe) / self.lag_s
        return round((self.probe + self.rng.gauss(0.0, self.noise_k)) / self.step_k) * self.step_k


class Bench:
    """A tank, followed second by second."""

    def __init__(self, tank: Tank, watch: WarmUpEstimator | None = None) -> None:
        self.tank, self.s = tank, 0
        self.watch = watch or WarmUpEstimator()
        self.heard: list[float] = []

    def run(self, seconds: int, each: Callable[[], None] | None = None) -> None:
        for _ in range(seconds):
            self.s += 1
            if each is not None:
                each()
            self.heard.append(self.tank.second())
            tell(self.watch, self.heard[-1], ROOM_C, self.s * 1000)

    def until(self, target_c: float = 39.0) -> Forecast:
        return until_read(self.watch, target_c, self.s * 1000)

    def truth_s(self, target_c: float = 39.0) -> float:
        """How long the same tank, undisturbed, really needs from now on; by going on with a copy of it."""
        tank = Tank()
        for name in ("liquid", "probe", "wall", "power", "loss", "lag_s"):
            setattr(tank, name, getattr(self.tank, name))
        tank.on, tank.noise_k, tank.step_k = True, 0.0, 1e-9
        for second in range(40_000):
            if tank.second() >= target_c:
                return float(second)
        return math.inf


def left_s(said: Forecast) -> tuple[float, float, float]:
    """(middle, low, high) seconds to the target itself, without the hold."""
    assert said.in_ms is not None and said.low_ms is not None and said.high_ms is not None, said
    assert said.low_ms <= said.in_ms <= said.high_ms
    return tuple((ms - HOLD_MS) / 1000.0 for ms in (said.in_ms, said.low_ms, said.high_ms))  # type: ignore[return-value] # three of them


def heating(rest_s: int = 900, **more: float) -> Bench:
    bench = Bench(Tank(**more))  # type: ignore[arg-type] # numbers
    bench.run(rest_s)
    bench.tank.on = True
    return bench


def test_nothing_is_said_before_it_is_founded_then_an_interval_that_narrows() -> None:
    bench = heating()
    assert bench.until() == Forecast(None, None, None, say("heating.off"))
    bench.run(200)
    assert bench.until().in_ms is None and "only just begun" in english(bench.until().why)
    widths = []
    for minutes in (10, 20, 40, 60):
        bench.run(60 * minutes + 900 - bench.s)
        middle, low, high = left_s(bench.until())
        assert low <= bench.truth_s() <= high
        assert middle == pytest.approx(bench.truth_s(), rel=0.08)
        widths.append(high - low)
    assert widths == sorted(widths, reverse=True) and widths[-1] < 0.4 * widths[0]


def test_the_start_is_found_within_a_minute_of_when_the_heater_came_on() -> None:
    bench = heating(rest_s=1_300)
    bench.run(600)
    assert bench.watch.heating_since_ms == pytest.approx(1_300_000, abs=60_000)
    assert bench.watch.started_at_c == pytest.approx(21.0, abs=0.15)


def test_the_answer_does_not_depend_on_how_often_one_asks() -> None:
    often, seldom = heating(), heating()
    for _ in range(50):
        often.run(60)
        often.until()
    seldom.run(3_000)
    assert often.until() == seldom.until()


def test_random_plants_are_right_and_the_interval_holds() -> None:
    """Twenty plants of the bench: its goals, loosely (a sample of twenty): `python -m tests.bench.heating` gives the figures."""
    errors, inside, asked = [], 0, 0
    for i in range(20):
        rng = random.Random(f"unit/{i}")
        plant, morning = a_plant(rng), a_morning(rng)
        plant = a_heater(plant, morning, rng)
        seen, watch, done = record(plant, morning), WarmUpEstimator(), False
        for t, read, room in seen.rows:
            tell(watch, read, room, int(t * 1000))
            if not done and t - seen.start_s >= 1_200.0 and seen.reached_s - t > 300.0:
                said, done = until_read(watch, seen.target_c, int(t * 1000)), True
                if said.in_ms is None:
                    continue
                middle, low, high = left_s(said)
                truth = seen.reached_s - t
                errors.append(abs(middle / truth - 1.0))
                inside, asked = inside + (low <= truth <= high), asked + 1
    assert asked >= 18
    assert sorted(errors)[asked // 2] <= 0.04 and max(errors) <= 0.2
    assert inside >= 0.8 * asked


def said_at(plant: Plant, morning: Morning, minutes: float) -> tuple[float, float, float, float]:
    """(truth, middle, low, high) of what is left, so many minutes after the heat's start [s]."""
    seen, watch = record(plant, morning), WarmUpEstimator()
    for t, read, room in seen.rows:
        tell(watch, read, room, int(t * 1000))
        if t - seen.start_s >= 60.0 * minutes:
            return seen.reached_s - t, *left_s(until_read(watch, seen.target_c, int(t * 1000)))
    raise AssertionError


@pytest.mark.parametrize(("lag_s", "element_s"), [(115.0, 30.0), (60.0, 58.0), (6.0, 60.0)])
def test_a_slow_probe_and_a_slow_heater_are_told_from_a_wall(lag_s: float, element_s: float) -> None:
    """Both delay the rise by minutes, which a wall explains, too, and wrongly."""
    plant = Plant(52_000.0, 7_000.0, 110.0, 1.0, 1.0, element_s, lag_s, 300.0, 0.0625, 0.012, 1, 0.0)
    morning = Morning(19.0, 20.0, 0.2, 0.1, 0.001, 900.0, 900, 39.0, 5)
    # at twenty minutes it might still be a slow outer wall
    for minutes, within in ((20.0, 0.03), (30.0, 0.02), (40.0, 0.02)):
        truth, middle, low, high = said_at(plant, morning, minutes)
        assert low <= truth <= high
        assert middle == pytest.approx(truth, rel=within)


def test_mains_that_wander_widen_the_interval() -> None:
    """The same vessel with a steady heater, and with one that wanders by 4 %: only the readings tell which it is."""
    plant = Plant(42_000.0, 5_000.0, 30.0, 1.2, 1.2, 10.0, 20.0, 250.0, 0.0, 0.02, 2, 0.0)
    widths = []
    for ripple in (0.0, 0.04):
        morning = Morning(20.0, 20.0, 0.0, 0.0, ripple, 1_000.0, 900, 39.0, 9)
        truth, _, low, high = said_at(plant, morning, 40.0)
        assert low <= truth <= high
        widths.append((high - low) / truth)
    assert widths[1] > 1.3 * widths[0]


def test_the_model_itself_is_right_when_a_plant_is_known_exactly() -> None:
    """All of wall, lags and losses given: what is left of the error is the readings' and the closed form's: under one per cent."""
    plant = Plant(40_000.0, 8_000.0, 20.0, 2.4, 0.0, 0.1, 40.0, 220.0, 0.0, 0.005, 1, 0.0)
    morning = Morning(20.0, 20.0, 0.0, 0.0, 0.0, 600.0, 900, 39.0, 1)
    known = Prior(
        Spread(0.2, 0.01),
        Spread(8_000.0 / 20.0 / 1.2, 0.01),
        Spread(40.0, 0.01),
        Spread(2.4 / 48_000.0, 0.01),
        evaporation=(0.0, 0.01),
        element_s=Spread(1.0, 0.01),
    )
    seen, watch = record(plant, morning), WarmUpEstimator(known)
    for t, read, room in seen.rows:
        tell(watch, read, room, int(t * 1000))
        if t in (1_500.0, 2_100.0, 3_300.0):
            middle, _, _ = left_s(until_read(watch, 39.0, int(t * 1000)))
            assert middle == pytest.approx(seen.reached_s - t, rel=0.01), t


def test_a_lid_open_for_three_minutes_gives_a_new_estimate_that_is_right() -> None:
    """And nothing else jumps: a new estimate lies in the interval of the minute before, but for the lid."""
    bench = heating()
    before: tuple[float, float] | None = None
    moved, asked, inside = [], 0, 0

    def lid() -> None:
        if 2_400 <= bench.s - 900 < 2_580:
            bench.tank.liquid -= 250.0 / 45_000.0  # W: what an open surface gives off more

    while bench.truth_s() > 240.0:
        bench.run(60, lid)
        said = bench.until()
        if said.in_ms is None:
            before = None
            continue
        middle, low, high = left_s(said)
        asked, inside = asked + 1, inside + (low <= bench.truth_s() <= high)
        if before is not None and not before[0] <= bench.s + middle <= before[1]:
            moved.append((bench.s - 900) // 60)
        before = (bench.s + low, bench.s + high)
    assert all(39 <= minute <= 50 for minute in moved), moved
    assert asked > 60 and inside >= 0.85 * asked


def test_a_heater_that_pauses_and_goes_on_is_the_same_heat_up() -> None:
    bench = heating()
    bench.run(2_400)
    since = bench.watch.heating_since_ms
    bench.tank.on = False
    bench.run(480)
    assert bench.watch.heating_since_ms is None or bench.until().in_ms is not None
    bench.tank.on = True
    bench.run(600)
    assert bench.watch.heating_since_ms == since
    middle, low, high = left_s(bench.until())
    assert middle == pytest.approx(bench.truth_s(), rel=0.1) and low <= bench.truth_s() <= high


def test_a_record_that_begins_while_it_heats() -> None:
    bench = Bench(Tank())
    bench.tank.on = True
    for _ in range(1_500):
        bench.tank.second()  # nobody listens
    bench.run(1_200)
    middle, low, high = left_s(bench.until())
    assert middle == pytest.approx(bench.truth_s(), rel=0.1) and low <= bench.truth_s() <= high


def known_fits() -> list[dict[str, object]]:
    """What five heat-ups of one tank left, each from another temperature; of its own each time, as a test may change it."""
    return [json.loads(text) for text in _left_by_five()]


@cache
def _left_by_five() -> tuple[str, ...]:
    return tuple(json.dumps(_fit(Tank(seed=seed, start_c=19.0 + seed))) for seed in range(5))


def test_an_unused_prior_heater_at_half_power_is_said_to_be_weak() -> None:
    fits = known_fits()
    for power, weak in ((200.0, False), (100.0, True)):
        watch = WarmUpEstimator()
        watch.learn(fits)
        assert watch.prior.heat_ups == 5
        bench = Bench(Tank(power=power), watch)
        bench.run(900)
        bench.tank.on = True
        bench.run(1_500)
        share = watch.weaker_than_habit()
        assert (share is not None) == weak
        if weak:
            assert share == pytest.approx(0.5, abs=0.05)
            middle, low, high = left_s(bench.until())
            assert low <= bench.truth_s() <= high and middle == pytest.approx(bench.truth_s(), rel=0.15)
    # a third of the power never gets there, and the cause is known
    watch = WarmUpEstimator()
    watch.learn(fits)
    bench = Bench(Tank(power=40.0, start_c=28.0), watch)
    bench.run(900)
    bench.tank.on = True
    bench.run(4_000)
    assert bench.truth_s() == math.inf
    assert bench.until().in_ms is None


def _fit(tank: Tank) -> dict[str, object]:
    bench = Bench(tank)
    bench.run(900)
    tank.on = True
    while tank.liquid < 39.2:
        bench.run(60)
    left = bench.watch.summary()
    assert left is not None and is_usable(left)
    again = json.loads(json.dumps(left))
    assert again == left
    assert left["power"][0] == pytest.approx(60.0 * 200.0 / 48_500.0, rel=0.05)  # K/min, of the tank's own numbers
    return again  # type: ignore[no-any-return] # a dict of names


def test_what_was_learned_serves_from_the_fifth_minute_on() -> None:
    watch = WarmUpEstimator()
    watch.learn(known_fits())
    bench = Bench(Tank(start_c=23.0), watch)
    bench.run(900)
    bench.tank.on = True
    bench.run(300)
    middle, low, high = left_s(bench.until())
    assert middle == pytest.approx(bench.truth_s(), rel=0.05) and low <= bench.truth_s() <= high


def test_it_will_not_get_there_is_said_with_where_it_ends() -> None:
    bench = heating(power=45.0, start_c=30.0)  # the plateau is 20 + 45/2.4 = 38.75 Cel, by hand
    bench.run(7_200)
    said = bench.until(42.0)
    assert said.in_ms is None and "will not get there" in english(said.why)
    bench.run(48_000)
    said = bench.until(42.0)
    assert said.in_ms is None and "levels off near" in english(said.why), said
    assert float(english(said.why).split("near ")[1].split(" ")[0]) == pytest.approx(38.75, abs=0.6)


def test_a_set_point_below_what_is_needed_is_the_cause() -> None:
    warmth = ReservoirMonitor(replace(PLAN, set_point_c=38.0))
    said = warmth.until(16.0, 0)  # in a room of 16 Cel some 40 Cel are needed
    assert said.in_ms is None and "set point of 38.0 °C is below the 40.1 °C needed" in english(said.why)


class Thermostat:
    """Switches at 40 Cel and half a kelvin below."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench

    def __call__(self) -> None:
        tank = self.bench.tank
        tank.on = tank.liquid < 39.5 if not tank.on else tank.liquid < 40.0


def test_a_thermostat_that_cycles_is_not_weak() -> None:
    bench = heating()
    watch = bench.watch
    watch.learn([_fit(Tank(seed=3))])
    warmth = ReservoirMonitor(PLAN)
    warmth.heat = watch
    thermostat = Thermostat(bench)
    for _ in range(300):
        bench.run(60, thermostat)
        warmth.look(bench.heard[-1], bench.s * 1000, ROOM_C, False, Now(bench.s * 1000, 0, False))
        assert warmth.weaker_than_habit() is None
    assert warmth.is_warm


def test_the_highest_of_a_heat_up_that_goes_beyond_its_set_point_is_known() -> None:
    bench = heating()
    while bench.tank.liquid < 41.5:
        bench.run(60)
    assert bench.watch.highest_c == pytest.approx(41.5, abs=0.15)


def test_what_stays_cold_is_not_said_to_heat_until_its_heater_is_on() -> None:
    bench = Bench(Tank(start_c=25.0))
    bench.run(1020)
    assert bench.watch.heating_since_ms is None
    bench.tank.on = True
    bench.run(600)
    since_ms = bench.watch.heating_since_ms
    assert since_ms is not None and abs(since_ms - 1_020_000) <= 240_000 and not bench.watch.has_levelled_off


def test_a_cooler_liquid_back_from_a_cycle_is_forecast() -> None:
    """Away for a quarter of an hour, back at 35.5 Cel into a wall that has cooled; the probe creeps up."""
    bench = heating()
    warmth = ReservoirMonitor(PLAN)
    tank = bench.tank
    thermostat = Thermostat(bench)

    def hear(seconds: int, heated: bool = True) -> None:
        for _ in range(seconds):
            bench.s += 1
            if heated:
                thermostat()
            else:
                tank.on = False
            warmth.hear(tank.second(), ROOM_C, bench.s * 1000)

    while tank.liquid < 39.9:
        hear(60)
    hear(1_800)
    liquid = tank.liquid
    tank.liquid, tank.wall, tank.lag_s = 24.0, 24.0, 90.0
    hear(300, heated=False)
    assert warmth.cycle.is_away(bench.s * 1000)
    hear(600, heated=False)
    assert liquid > 39.0
    tank.liquid, tank.wall, tank.lag_s = 35.5, 30.0, 15.0
    hear(720)
    said = until_read(warmth.heat, 39.5, bench.s * 1000)
    middle, low, high = left_s(said)
    truth = bench.truth_s(39.5)
    assert low <= truth <= high and middle == pytest.approx(truth, rel=0.2)


def test_a_probe_in_steps_reads_the_target_half_a_step_early() -> None:
    """First passage: with 0.5 K steps and no noise the reading 39.0 comes when the probe is at 38.75."""
    bench = Bench(Tank())
    bench.tank.step_k, bench.tank.noise_k = 0.5, 0.0
    bench.run(900)
    bench.tank.on = True
    bench.run(3_600)
    middle, low, high = left_s(bench.until(39.0))
    early, exact = bench.truth_s(38.75), bench.truth_s(39.0)
    assert exact - early > 60.0
    assert abs(middle - early) < abs(middle - exact) and middle == pytest.approx(early, rel=0.03)
    assert low <= early <= high


def test_what_a_heat_up_leaves_comes_back_from_the_journal() -> None:
    bench, warmth = heating(), ReservoirMonitor(PLAN)
    warmth.heat = bench.watch
    while bench.tank.liquid < 39.8:
        bench.run(60)
    body = warmth.heat_up(ROOM_C, Now(bench.s * 1000, 1_700_000_000_000, True))
    assert body is not None and is_usable(body["fit"])
    again = ReservoirMonitor(PLAN)
    again.learn(json.loads(json.dumps(body)))
    assert again.fits == warmth.fits and again.heat.prior.heat_ups == 1
    restored = ReservoirMonitor(PLAN)
    restored.recall(json.loads(json.dumps(again.fits)))
    assert restored.heat.prior == again.heat.prior


PAIRS = {name: [1.0, 1.0] for name in ("power", "loss", "wall", "wall_s", "lag_s")}


@pytest.mark.parametrize(
    "fit",
    [
        None,
        3,
        {},
        {"power": [0.2, 0.01]},
        PAIRS,
        PAIRS | {"together": 0.5, "power": [0.2, "x"]},
        PAIRS | {"together": 0.5, "loss": [-1.0, 1.0]},
        PAIRS | {"together": 1.0},
    ],
)
def test_what_cannot_be_used_is_passed_over(fit: object) -> None:
    warmth = ReservoirMonitor(PLAN)
    warmth.learn({"from_c": 20.0, "fit": fit})
    assert warmth.fits == [] and warmth.heat.prior.heat_ups == 0


def test_histories_narrow_the_belief_and_the_volume_moves_it() -> None:
    rng = random.Random(5)
    plant, morning = a_plant(rng), a_morning(rng)
    plant = a_heater(plant, morning, rng)
    fits = history(plant, morning.target_c, "unit", 3)
    prior = learned(Prior(), fits)
    power = plant.heater / (plant.liquid + plant.wall)
    assert prior.power[0] == pytest.approx(power, rel=0.06) and prior.power[1] < 0.06 * power
    assert prior.loss.sd < 0.5 * Prior().loss.sd
    assert of_volume(5.0).loss.median > of_volume(20.0).loss.median
    assert of_volume(None) == Prior()


def test_hinge_finds_the_bend_of_two_straight_pieces() -> None:
    rows = [(15_000 * i, 20.0 + max(0.0, 0.004 * 15 * (i - 12))) for i in range(30)]
    found = hinge(rows)
    assert found is not None
    bend_ms, level, slope, _ = found
    assert (
        bend_ms == pytest.approx(180_000, abs=1)
        and level == pytest.approx(20.0)
        and slope * 1000 == pytest.approx(0.004)
    )
    assert hinge([(15_000 * i, 20.0 + 0.06 * i) for i in range(30)]) is None  # it rises from the beginning


def test_quantiles_of_weighted_points() -> None:
    points = [(1.0, 0.2), (2.0, 0.6), (3.0, 0.2)]
    assert quantile(points, 0.5) == pytest.approx(2.0)
    assert quantile(points, 0.05) == 1.0 and quantile(points, 0.95) == 3.0
    assert quantile([(5.0, 0.5), (math.inf, 0.5)], 0.95) == math.inf


def test_the_bench_holds_its_own_heat_balance() -> None:
    """First law over a heat-up: what the heater gave is in liquid and wall or went to the room (the bench's plant, not ours)."""
    plant = Plant(40_000.0, 6_000.0, 30.0, 1.0, 1.5, 20.0, 30.0, 250.0, 0.0, 0.0, 1, 0.0)
    morning = Morning(20.0, 20.0, 0.0, 0.0, 0.0, 600.0, 0, 39.0, 1)
    lossless = replace(plant, surface_loss=0.0, wall_loss=0.0)
    liquid = next(liquid for t, liquid, _ in steps(lossless, morning) if t >= 3_600.0)
    # long after the wall's and the element's transients both nodes rise alike: total heat / total capacity, lag of the wall known
    rate = 250.0 / 46_000.0
    assert liquid == pytest.approx(
        20.0 + rate * (3_600.0 - 20.0) + rate * 6_000.0 / 30.0 * 6_000.0 / 46_000.0, abs=0.02
    )
