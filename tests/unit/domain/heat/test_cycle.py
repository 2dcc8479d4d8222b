"""Cycles told from everything else that makes a heated liquid fall. The falls are exponentials and steps; no plant is tuned for.

What a cycle does to the probe (air or a heel, back at 33 to 37 Cel) is common practice, no published source.
"""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Callable

import pytest

from edge.domain.heat.cycle import AWAY_AT_MOST_MS, CycleDetector, Phase, phase_of
from edge.domain.heat.probe import ProbeStatistics
from edge.domain.heat.reservoir import ReservoirMonitor
from edge.domain.settings import Reservoir
from tests.bench.cycles import FOUND_S, GOAL_RIGHT, Result, Run

ROOM, WARM = 21.0, 39.0
MINUTE = 60_000


def watch_over(
    liquid: Callable[[float], float], seconds: int, every_s: int = 5, noise_k: float = 0.03, step_k: float = 0.0625,
    before_s: int = 900, seed: int = 1, drawn_at_s: int | None = None,
    powered: bool = True,
) -> tuple[CycleDetector, list[tuple[str, int]]]:  # fmt: skip
    """A watch that has heard `liquid` (of seconds; before 0 it is held), and what it said at which second."""
    r, probe, said = random.Random(seed), ProbeStatistics(), []
    watch = CycleDetector(7_200_000, probe)
    watch.powered = powered
    for t in range(-before_s, seconds, every_s):
        seen = round((liquid(max(t, 0)) + r.gauss(0.0, noise_k)) / step_k) * step_k
        mono_ms = 10_000_000 + t * 1000
        if drawn_at_s is not None and t == drawn_at_s:
            watch.drew(mono_ms)
        closed = probe.hear(seen, ROOM, mono_ms)
        told = None if probe.suspects else watch.hear(seen, ROOM, WARM, closed, mono_ms)
        if told:
            said.append((told, t))
    return watch, said


def air(t: float) -> float:
    return 28.0 + 11.6 * math.exp(-t / 150.0)


def heel(minutes: float) -> Callable[[float], float]:
    """Cools by so many K in the first minute."""
    return lambda t: ROOM + 18.6 * math.exp(-t * minutes / 18.6 / 60.0)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize(
    "liquid, drawn, within_s",
    [(air, None, 60), (heel(0.5), None, 120), (heel(0.3), None, 200), (heel(0.22), None, 240), (heel(0.22), -60, 200)],
    ids=["air", "small heel", "heel", "large heel", "large heel, water drawn"],
)
def test_liquid_taken_away_is_found_within_four_minutes(liquid, drawn, within_s, seed):
    _, said = watch_over(liquid, 600, seed=seed, drawn_at_s=drawn)
    assert said[0][0] == "away" and 0 < said[0][1] <= within_s, said


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize(
    "liquid",
    [
        lambda t: 39.6 - 0.06 * t / 60.0,  # a covered vessel
        lambda t: 39.6 - 0.12 * t / 60.0,  # its lid open
        lambda t: 39.3 + 0.3 * math.sin(t / 140.0),  # a thermostat
        lambda t: 26.0 - 4.0 * t / 900.0,  # cold liquid, hardly above the room
    ],
    ids=["covered", "lid open", "thermostat", "not warm"],
)
@pytest.mark.parametrize("step_k", [0.0625, 0.25, 0.5])
def test_slow_falls_are_no_cycle(liquid, step_k, seed):
    assert watch_over(liquid, 1800, noise_k=0.05, step_k=step_k, seed=seed)[1] == []


def test_a_noisy_probe_is_no_cycle():
    for seed in range(20):
        assert watch_over(lambda t: 39.4, 3600, noise_k=0.12, seed=seed)[1] == []


def test_one_wild_reading_is_no_cycle():
    assert watch_over(lambda t: 38.4 if t == 300 else 39.6, 900)[1] == []


@pytest.mark.parametrize("back_c", [33.0, 35.0, 37.0])
@pytest.mark.parametrize("minutes", [5, 12, 40])
@pytest.mark.parametrize("away", [air, heel(0.3)], ids=["air", "heel"])
def test_the_liquids_return_is_found(away, minutes, back_c):
    def liquid(t: float) -> float:
        if t < minutes * 60:
            return away(t)
        return min(back_c + 0.2 * (t - minutes * 60) / 60.0, 39.8)

    _, said = watch_over(liquid, minutes * 60 + 1500)
    assert [what for what, _ in said] == ["away", "back"]
    assert minutes * 60 - 60 < said[1][1] <= minutes * 60 + 420, (
        "at once where it rises, else with the first half kelvin"
    )


def test_a_return_to_a_heater_that_stands_still_is_found_by_its_level():
    watch, said = watch_over(lambda t: heel(0.4)(t) if t < 600 else 34.4 - 0.03 * (t - 600) / 60.0, 2400)
    assert [what for what, _ in said] == ["away", "back"] and said[1][1] <= 600 + 480
    assert not watch.is_away(10_000_000 + 2_400_000)


def test_a_heel_is_not_taken_for_the_liquid():
    """READY with the liquid away would be the worst: a heel that cools slowly is away until something rises."""
    for seed in range(10):
        _, said = watch_over(heel(0.25), 2400, noise_k=0.1, seed=seed)
        assert [what for what, _ in said] == ["away"], (seed, said)


def test_cold_liquid_poured_in_passes_for_a_cycle_for_some_minutes_only():
    def poured(t: float) -> float:
        return 39.6 - 1.5 * (1.0 - math.exp(-t / 20.0)) + 0.12 * t / 60.0

    _, said = watch_over(poured, 1800)
    assert [what for what, _ in said] == ["away", "back"] and said[1][1] - said[0][1] <= 420


def test_after_a_restart_in_the_middle_of_a_cycle_the_first_average_is_no_return():
    probe = ProbeStatistics()
    watch = CycleDetector(7_200_000, probe)
    watch.away_since_ms = 0
    said = []
    for t in range(0, 900, 5):
        seen = air(t) if t < 600 else 35.0
        closed = probe.hear(seen, ROOM, t * 1000)
        told = None if probe.suspects else watch.hear(seen, ROOM, WARM, closed, t * 1000)
        said += [] if told is None else [(told, t)]
    assert [what for what, _ in said] == ["back"] and said[0][1] >= 600


def test_a_fall_over_a_long_silence_is_no_cycle():
    warmth = ReservoirMonitor(Reservoir(40.0, 0.5, 35.0, 4 / 19, True, 7_200_000))
    said = {warmth.hear(39.6, ROOM, t * 1000) for t in range(0, 600, 5)}
    said |= {warmth.hear(36.0, ROOM, t * 1000) for t in range(3_600, 4_200, 5)}
    assert said == {None}


def test_an_explanation_runs_out():
    watch, said = watch_over(air, 5000)
    assert [what for what, _ in said] == ["away"]
    gone_ms = 10_000_000 + said[0][1] * 1000
    assert watch.is_away(gone_ms + AWAY_AT_MOST_MS) and not watch.is_away(gone_ms + AWAY_AT_MOST_MS + 1)
    assert watch.next_deadline_ms() == gone_ms + AWAY_AT_MOST_MS + 1
    watch, said = watch_over(lambda t: air(t) if t < 600 else 35.0, 1200)
    back_ms = 10_000_000 + said[1][1] * 1000
    assert watch.explains_cold(back_ms + 90 * MINUTE) and not watch.explains_cold(back_ms + 90 * MINUTE + 1)


def test_a_machine_without_power_takes_no_liquid_away():
    _, said = watch_over(air, 600, powered=False)
    assert said == []


def test_every_mix_of_facts_has_one_phase():
    names = ("off", "at_work", "away", "drawn", "reheating", "resting")
    for facts in itertools.product((False, True), repeat=6):
        phase, known = phase_of(**dict(zip(names, facts, strict=True))), dict(zip(names, facts, strict=True))
        first = next((n for n in names if known[n]), None)
        assert phase is {
            "off": Phase.OFF, "at_work": Phase.AT_WORK, "away": Phase.IN_USE, "drawn": Phase.IN_USE, "reheating": Phase.REHEATING,
            "resting": Phase.AT_REST, None: Phase.IDLE,
        }[first]  # fmt: skip


@pytest.fixture(scope="module")
def two_days(fewer_hypotheses: None) -> Result:
    """Of the bench: with and without a flow meter; the whole runs by `python -m tests.bench.cycles`."""
    found = Result()
    for seed in (2, 3):
        run = Run(seed)
        run.run()
        found.add(run.result())
    return found


def test_busy_days_are_judged_right(two_days: Result):
    assert two_days.cycles >= 10 and two_days.found == two_days.cycles, f"within {FOUND_S} s"
    assert two_days.right / two_days.minutes >= GOAL_RIGHT
    assert two_days.told == two_days.away_ready == 0, "never READY where the basin would be too cold"
    assert two_days.false == [] and two_days.missed == []


def test_a_fall_that_may_become_a_cycle_holds_an_alarm_back_for_five_minutes_only():
    watch, said = watch_over(lambda t: 39.6 - 0.11 * t / 60.0, 500, noise_k=0.01)
    assert said == [] and watch.may_explain_cold(10_000_000 + 500_000) and not watch.explains_cold(10_000_000 + 500_000)
    watch, said = watch_over(lambda t: 39.6 - 0.11 * t / 60.0, 900, noise_k=0.01)
    assert said == [] and not watch.may_explain_cold(10_000_000 + 900_000)
