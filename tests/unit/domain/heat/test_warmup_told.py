"""What is told of a heat-up is as wide as its own earlier forecasts were wrong; plants are stepped here, by no formula of ours."""

from __future__ import annotations

import math
import random
from collections.abc import Callable

import pytest
from scipy.stats import lognorm

from edge.domain.heat.hypothesis import OPEN_LOSS, OPEN_LOSS_SD, PULL_S, Action, Hypothesis, Observation, WarmUpStart
from edge.domain.heat.prior import Prior
from edge.domain.heat.warmup_fit import COOLED, WARMED, HeatFit
from edge.domain.heat.warmup_told import PRIOR_TRIALS, CheckedForecasts, Trial

STEP_S = 15.0
ROOM_C = 20.0


def followed(power: Callable[[float], float], until_s: float, seed: int = 1) -> tuple[CheckedForecasts, float]:
    """A vessel of one node that loses 6e-5 of its excess each second, `power` [K/s] at its time [s]; and where it is in the end [Cel]."""
    rng, start = (
        random.Random(seed),
        WarmUpStart(21.0, 1e-4, 0.0, bend_s=20.0, rise_s=240.0, bend_sd_s=20.0, slope=0.004),
    )
    fit = HeatFit(start, Prior(), Prior())
    told, liquid, probe, t = CheckedForecasts(fit), 21.0, 21.0, 0.0
    while t < until_s:
        for _ in range(int(STEP_S)):
            liquid += power(t) - 6e-5 * (liquid - ROOM_C)
            probe += (liquid - probe) / 20.0
            t += 1.0
        fit.add(t, probe + rng.gauss(0.0, 0.005), 0.005**2, ROOM_C)
        told.hear(0.005**2)
    return told, liquid


def width_s(told: CheckedForecasts, ahead_k: float) -> float:
    found = told.interval(told.fit.theta + ROOM_C + ahead_k)
    assert not isinstance(found, float)
    low, mid, high = found
    assert low < mid < high
    return high - low


def test_a_plant_as_it_is_believed_to_be_is_told_no_more_widely_for_it() -> None:
    told, _ = followed(lambda t: 0.004, 2_700.0)
    assert told.wider < 1.0


def test_a_plant_that_was_slower_than_forecast_is_told_more_widely() -> None:
    """Its heater loses a tenth of its power every five minutes, on and on: no hypothesis knows of that."""
    told, _ = followed(lambda t: 0.004 * 0.9 ** (t / 300.0), 2_700.0)
    assert told.wider > 1.3
    straight, _ = followed(lambda t: 0.004, 2_700.0)
    assert width_s(told, 1.0) > 1.5 * width_s(straight, 1.0)


def test_a_plant_disturbed_in_sight_is_not_held_to_what_was_forecast_before() -> None:
    told, _ = followed(lambda t: 0.004 if not 1_500.0 <= t < 1_530.0 else -0.06, 1_590.0)
    assert told.fit.disturbed_t is not None
    assert told.wider == 1.0


@pytest.mark.parametrize(("until_s", "within"), [(2_400.0, 0.06), (3_000.0, 0.035)])
def test_what_has_taken_a_heater_down_for_a_while_passes(until_s: float, within: float) -> None:
    """Five minutes of 6 % less power, then all of it."""
    told, now_c = followed(lambda t: 0.004 * (0.94 if 2_100.0 <= t < 2_400.0 else 1.0), until_s)
    end_c = ROOM_C + 0.004 / 6e-5
    truth_s = math.log((end_c - now_c) / (end_c - 38.0)) / 6e-5 + 20.0  # closed form of one node, and the probe's lag
    found = told.interval(38.0)
    assert not isinstance(found, float)
    assert found[0] <= truth_s <= found[2]
    assert found[1] == pytest.approx(truth_s, rel=within)


def test_power_that_nothing_is_heard_of_is_pulled_back_to_its_mean() -> None:
    """Ornstein and Uhlenbeck's process: exp(-t / tau) of a deviation is left, and its variance tends to its own beside the mean's."""
    h = Hypothesis(
        Prior(), [0.0] * 10, 0.0, WarmUpStart(21.0, 1e-4, 0.0, bend_s=0.0, rise_s=240.0, bend_sd_s=20.0, slope=0.004)
    )
    mean = h.mean_power
    h.power = 0.9 * mean
    for i in range(1, 401):
        h.predict(Observation(i * 5.0, 5.0, 21.0, 1e-4, 0.0, 0.0))
        if i * 5.0 == PULL_S:
            assert (h.power - mean) / (-0.1 * mean) == pytest.approx(math.exp(-1.0), rel=0.01)
    for i in range(401, 4_001):
        h.predict(Observation(i * 5.0, 5.0, 21.0, 1e-4, 0.0, 0.0))
    assert h.mean_power == mean
    assert h.p11 - h.p44 == pytest.approx(h.wander * h.power**2, rel=0.01)
    assert h.p14 == pytest.approx(h.p44, rel=0.01)


def test_what_is_made_of_an_average_moves_the_mean_less_than_the_power() -> None:
    """One average lower than expected, late in a heat-up: it may have been a while's doing."""
    h = Hypothesis(
        Prior(), [0.0] * 10, 0.0, WarmUpStart(21.0, 1e-4, 0.0, bend_s=0.0, rise_s=240.0, bend_sd_s=20.0, slope=0.006)
    )
    for i in range(1, 200):
        read_c = h.level_c + 15.0 * h.power if i == 1 else h.level_c + h.power * 15.0 + h.power * h.h1
        observed = Observation(i * 15.0, 15.0, read_c, 1e-4, 0.0, 0.0)
        h.predict(observed)
        h.apply(Action.TAKE, observed)
    power, mean = h.power, h.mean_power
    observed = Observation(200 * 15.0, 15.0, h.level_c, 1e-4, 0.0, 0.0)
    h.predict(observed)
    h.apply(Action.TAKE, observed)
    assert h.power - power < h.mean_power - mean < 0.0


def test_a_trial_is_as_far_beside_as_its_deviations_say() -> None:
    trial = Trial(300.0, 22.0, [(24.0, 700.0, 800.0, 964.5), (26.0, 1_100.0, 1_300.0, 1_629.0)])
    trial.hear(600.0, 23.2, 0.0)
    assert trial.z is None
    trial.hear(700.0, 24.0, 0.0)
    assert trial.z == pytest.approx(-1.645, abs=0.01)
    # nor has it seen the next one, which was to come 200 s ago: that is a standard deviation by now, whatever it becomes
    trial.hear(1_500.0, 25.0, 0.0)
    assert trial.z == pytest.approx(1.0, abs=0.01)
    trial.hear(1_700.0, 26.0, 0.0)
    assert trial.z == pytest.approx(2.0, abs=0.01)


def test_a_noisy_probe_does_not_refute_a_forecast() -> None:
    quiet, noisy = (Trial(300.0, 22.0, [(24.0, 790.0, 800.0, 810.0)]) for _ in range(2))
    quiet.hear(830.0, 24.0, 0.0)
    noisy.hear(830.0, 24.0, 0.2)  # 53 s of a rise of 2 K in 530 s
    assert quiet.z is not None and noisy.z is not None
    assert quiet.z == pytest.approx(1.645 * 3.0, abs=0.02)
    assert noisy.z < 0.6


def test_the_factor_is_the_root_of_a_mean_square_in_which_some_are_right_beforehand() -> None:
    told, _ = followed(lambda t: 0.004, 1_200.0)
    told._trials = [Trial(0.0, 20.0, []) for _ in range(3)]
    assert told.wider == 1.0
    for trial, z in zip(told._trials, (3.0, -2.0, 1.0), strict=True):
        trial.z = z
    assert told.wider == pytest.approx(math.sqrt((PRIOR_TRIALS + 14.0) / (PRIOR_TRIALS + 3.0)))


def test_a_slow_heat_up_has_more_room_for_a_lid_than_a_quick_one() -> None:
    slow, _ = followed(lambda t: 0.003, 2_700.0)
    quick, _ = followed(lambda t: 0.006, 2_700.0)
    assert slow.later_s(slow.fit.theta + ROOM_C + 3.0, 1_800.0) > 1.3 * quick.later_s(
        quick.fit.theta + ROOM_C + 3.0, 1_800.0
    )
    assert slow.later_s(slow.fit.theta + ROOM_C, 0.0) == 0.0


def test_the_odds_of_an_open_lid_are_those_of_two_lognormal_losses() -> None:
    """Densities: scipy.stats.lognorm."""
    start, loss = WarmUpStart(21.0, 1e-4, 0.0), Prior().loss
    for z in (-1.0, 0.0, 1.0, 2.0):
        h = Hypothesis(Prior(), [0.0, 0.0, 0.0, 0.0, z, 0.0, 0.0, 0.0, 0.0, 0.0], 0.0, start)
        shut = lognorm(loss.sd, scale=loss.median).pdf(h.loss)
        left_open = lognorm(math.hypot(loss.sd, OPEN_LOSS_SD), scale=OPEN_LOSS * loss.median).pdf(h.loss)
        assert h.open_odds() == pytest.approx(left_open / shut, rel=1e-9)


def lidded(opened: Callable[[float], bool], until_s: float) -> tuple[CheckedForecasts, float, float]:
    """A vessel of one node whose open lid takes a quarter of its heater's power: what is told, the liquid now, and its plain loss."""
    return *followed(lambda t: 0.004 - (1e-3 if opened(t) else 0.0), until_s), 6e-5


def seconds_to(target_c: float, from_c: float, power: float, loss: float) -> float:
    """Closed form of one node, and the probe's lag."""
    end_c = ROOM_C + power / loss
    return math.log((end_c - from_c) / (end_c - target_c)) / loss + 20.0


def test_while_a_lid_is_open_both_its_closing_and_its_staying_open_are_inside() -> None:
    told, now_c, loss = lidded(lambda t: t >= 1_800.0, 2_100.0)
    assert told.fit.has_jumped and told.fit.disturbed_by == COOLED and not told.fit.is_disturbed
    found = told.interval(30.0)
    assert not isinstance(found, float)
    closes, stays = seconds_to(30.0, now_c, 0.004, loss), seconds_to(30.0, now_c, 0.003, loss)
    assert found[0] <= closes < found[1] < stays <= found[2]


def test_a_lid_that_has_been_closed_again_leaves_the_forecast_as_it_was() -> None:
    told, now_c, loss = lidded(lambda t: 1_800.0 <= t < 2_100.0, 2_400.0)
    assert told.fit.disturbed_by == WARMED
    found, truth_s = told.interval(36.0), seconds_to(36.0, now_c, 0.004, loss)
    assert not isinstance(found, float)
    assert found[0] <= truth_s <= found[2]
    assert found[1] == pytest.approx(truth_s, rel=0.08)


def test_what_no_lid_takes_is_a_disturbance() -> None:
    told, _ = followed(lambda t: 0.004 if t < 1_800.0 else -0.001, 1_920.0)
    assert told.fit.is_disturbed


@pytest.mark.parametrize("seed", range(4))
def test_a_steady_rise_makes_no_jump_of_its_noise(seed: int) -> None:
    told, _ = followed(lambda t: 0.004, 3_000.0, seed)
    assert not told.fit.has_jumped and told.fit.disturbed_t is None


@pytest.mark.parametrize("action", Action)
def test_an_average_that_is_taken_at_once_leaves_the_same_as_one_that_is_predicted_first(action: Action) -> None:
    """To the last bit, and so does one that was taken too soon and taken back."""
    start = WarmUpStart(21.0, 1e-4, 0.0, bend_s=0.0, rise_s=240.0, bend_sd_s=20.0, slope=0.006)
    first, other = (Hypothesis(Prior(), [0.3] * 10, 0.0, start) for _ in range(2))
    for i in range(1, 40):
        observed = Observation(i * 15.0, 15.0, 21.0 + 0.08 * i, 1e-4, 0.1 * i, 0.2 * i)
        act = action if i == 30 else Action.TAKE
        first.predict(observed)
        predicted = first.innovation, first.innovation_var
        first.apply(act, observed)
        before = other.take(observed)
        assert (other.innovation, other.innovation_var) == predicted
        if act is not Action.TAKE:
            other.undo(before)
            other.predict(observed)
            other.apply(act, observed)
        assert [getattr(first, name) for name in first.__slots__] == [getattr(other, name) for name in other.__slots__]
