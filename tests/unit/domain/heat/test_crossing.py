"""When what is judged passes a limit: against readings drawn one by one, with their noise and their rounding, and judged as they come."""

from __future__ import annotations

import random
import statistics

import pytest

from edge.domain.alarms.states import AT_LIMIT
from edge.domain.entries import Now
from edge.domain.heat.balance import HOLD_MS
from edge.domain.heat.believed_liquid import AVERAGED_MS, GUARD_SIGMAS, LiquidEstimator
from edge.domain.heat.crossing import AveragingRule, LimitCrossing, ProbeModel, ProbeTrend, rounded_up
from edge.domain.heat.reservoir import ReservoirMonitor
from edge.domain.settings import Reservoir
from tests.unit.domain.heat.test_warmup import Tank

LIMIT_C = 39.5
RISE = 0.003  # K/s


def drawn(rng: random.Random, probe: ProbeModel, sees_c: float) -> float:
    read = sees_c + rng.gauss(0.0, probe.noise_k)
    return round(read / probe.step_k) * probe.step_k if probe.step_k else read


def passes_s(rng: random.Random, probe: ProbeModel, rise_k_per_s: float = RISE) -> tuple[float, LiquidEstimator]:
    """After how long what is judged is above the limit for good, from when the probe sees the limit; and the watch, some minutes before."""
    watch, last_below, before = LiquidEstimator(), -1_000.0, LiquidEstimator()
    at_s = -600.0 - rng.uniform(0.0, probe.every_s)
    while at_s < 400.0:
        at_s += probe.every_s
        read = drawn(rng, probe, LIMIT_C + rise_k_per_s * at_s)
        for follows in (watch, before) if at_s <= -200.0 else (watch,):
            follows.hear(read, 0.001, round(1e6 + 1000 * at_s))
        if watch.judged_c(read) < LIMIT_C - AT_LIMIT:
            last_below = at_s
    return last_below + probe.every_s, before


@pytest.mark.parametrize("every_s", [1.0, 5.0, 15.0])
@pytest.mark.parametrize("step_k, noise_k", [(0.0, 0.02), (0.0, 0.1), (0.0625, 0.03), (0.1, 0.05)])
def test_what_is_judged_comes_when_readings_drawn_one_by_one_come(
    step_k: float, noise_k: float, every_s: float
) -> None:
    rng, probe = random.Random(f"{step_k}/{noise_k}/{every_s}"), ProbeModel(step_k, 0.0, noise_k, every_s)
    errors, spreads = [], []
    for _ in range(40):
        truth_s, before = passes_s(rng, probe)
        crossing = before.crossing(LIMIT_C, probe)
        assert crossing is not None
        comes_ms, sd_s = crossing.comes(ProbeTrend(1e6, LIMIT_C, RISE))
        errors.append((comes_ms - 1e6) / 1000.0 - truth_s)
        spreads.append(sd_s)
    assert abs(statistics.median(errors)) <= 3.0 + 0.5 * every_s
    assert statistics.stdev(errors) <= 1.6 * statistics.fmean(spreads) + 3.0


def test_readings_that_stand_in_the_mean_already_count() -> None:
    """By chance they were low: it passes later than it would."""
    probe, rule, rise = (
        ProbeModel(0.0, 0.0, 0.09, 1.0),
        AveragingRule(20, 90.0, 0.09, GUARD_SIGMAS),
        ProbeTrend(6_000.0, LIMIT_C, RISE),
    )
    found = []
    for luck_k in (-0.03, 0.0, 0.03):
        heard = [(1000 * s, rise.at(1000 * s) + luck_k) for s in range(20)]
        found.append(LimitCrossing(probe, rule, heard, LIMIT_C).comes(rise)[0])
    assert found == sorted(found, reverse=True) and found[0] - found[2] > 5_000


def test_a_coarse_probe_shows_the_limit_half_a_step_early() -> None:
    probe = ProbeModel(0.5, 20.0, 0.0, 10.0)
    assert [rounded_up(c, probe) for c in (39.5, 39.6, 40.0)] == [39.25, 39.75, 39.75]
    crossing = LimitCrossing(probe, AveragingRule(1, 90.0, 0.0, GUARD_SIGMAS), [(0, 38.0)], 39.5)
    comes_ms, sd_s = crossing.comes(ProbeTrend(0.0, 38.0, 0.0025))
    assert comes_ms == pytest.approx(500_000 + 5_000) and sd_s < 10.0


def test_a_hold_is_sure_once_what_is_judged_is_well_above_and_begins_anew_where_it_will_fall() -> None:
    probe, rule = ProbeModel(0.0, 0.0, 0.09, 1.0), AveragingRule(20, 90.0, 0.09, GUARD_SIGMAS)
    needs_c = LIMIT_C + GUARD_SIGMAS * 0.09 / 20.0**0.5
    for above_k, falls, may_fall in ((-0.06, True, True), (-0.002, False, True), (0.3, False, False)):
        rise = ProbeTrend(0.0, needs_c + above_k + 10 * RISE, RISE)
        heard = [(1000 * s - 19_000, rise.at(1000 * s - 19_000)) for s in range(20)]
        middle_ms, late_ms = LimitCrossing(probe, rule, heard, LIMIT_C).holds(rise, 110_000)
        assert ((middle_ms > 0.0), (late_ms > 0.0)) == (falls, may_fall), above_k
        assert middle_ms <= late_ms < 110_000


PROBES = [(0.03, 0.0625, 2), (0.1, 0.0, 2), (0.05, 0.1, 10), (0.02, 0.0, 30)]


@pytest.mark.parametrize("noise_k, step_k, every_s", PROBES)
def test_the_last_minutes_are_told_by_what_the_condition_goes_by(noise_k: float, step_k: float, every_s: int) -> None:
    """Once a reading showed the target, what is judged still had half a minute to go."""
    tank, warmth = Tank(seed=5), ReservoirMonitor(Reservoir(40.0, 0.5, 33.0, 4 / 19, True, 7_200_000, volume_l=11.0))
    tank.noise_k, tank.step_k = noise_k, step_k or 1e-9
    said: list[tuple[int, int, int, int]] = []
    met_ms = 0
    for second in range(20_000):
        tank.on = second > 900
        read = tank.second()
        if second % every_s:
            continue
        now_ms = second * 1000
        warmth.hear(read, 20.0, now_ms)
        if warmth.look(read, now_ms, 20.0, False, Now(now_ms, now_ms, True))[1]:
            met_ms = now_ms
            break
        if tank.probe > 38.0:
            when = warmth.until(20.0, now_ms)
            assert when.in_ms is not None and when.low_ms is not None and when.high_ms is not None
            said.append((now_ms, now_ms + when.in_ms, now_ms + when.low_ms, now_ms + when.high_ms))
    assert met_ms
    outside = 0
    for left_s in (600, 300, 180, 130, 60):
        at_ms, middle, low, high = min(said, key=lambda s: abs(met_ms - s[0] - 1000 * left_s))
        assert abs(middle - met_ms) <= max(0.1 * (met_ms - at_ms), 1000.0 * every_s + 5_000), left_s
        outside += not low - 1000 * every_s <= met_ms <= high + 1000 * every_s
    assert outside <= 1
    begins = next(i for i, s in enumerate(said) if met_ms - s[0] <= HOLD_MS)
    (_, _, low, high), (_, middle, _, _) = said[begins - 1], said[begins]
    assert low <= middle <= high


def test_what_was_averaged_before_is_the_rule_that_is_reckoned_with() -> None:
    watch = LiquidEstimator()
    assert watch.crossing(LIMIT_C, ProbeModel(0.0, 0.0, 0.1, 1.0)) is None
    rng = random.Random(3)
    for second in range(400):
        watch.hear(30.0 + rng.gauss(0.0, 0.1), 0.001, 1000 * second)
    crossing = watch.crossing(LIMIT_C, ProbeModel(0.0, 0.0, 0.1, 1.0))
    assert crossing is not None and crossing.averaged == len(watch._averaged)
    assert crossing.rule.within_s == AVERAGED_MS / 1000.0
    last = crossing.readings[-1][1]
    mean = statistics.fmean(c for _, c in crossing.readings)
    assert watch.judged_c(last) == pytest.approx(mean - (crossing.sees_c - LIMIT_C), abs=0.002)
