"""One probe, heard once, for all that watch it from different moments on."""

from __future__ import annotations

import random

import pytest

from edge.domain.heat.probe import GAP_MS, Average, ProbeStatistics, ProbeView, line

ROOM_C = 20.0


def heard_of(probe: ProbeStatistics, from_s: int, to_s: int, every_s: int = 5, slope: float = 0.0) -> list[Average]:
    """The averages told of between two times, where it reads 30 Cel and rises from then on [K/s]."""
    found = (probe.hear(30.0 + slope * (s - from_s), ROOM_C, 1000 * s) for s in range(from_s, to_s, every_s))
    return [average for average in found if average is not None]


def test_each_watch_sees_what_was_read_since_it_began_anew() -> None:
    probe = ProbeStatistics()
    always, anew = ProbeView(probe), ProbeView(probe)
    heard_of(probe, 0, 600)
    anew.forget()
    assert anew.last is None and anew.lately() == [] and anew.slope(300_000) is None
    assert anew.highest_c(600_000) == -float("inf")
    heard_of(probe, 600, 900, slope=0.01)
    assert {a.at_ms > 595_000 for a in anew.lately()} == {True} and min(a.at_ms for a in always.lately()) < 15_000
    rising, whole = anew.slope(240_000), always.slope(900_000)
    assert rising is not None and rising.k_per_min == pytest.approx(0.6, rel=0.02)
    assert whole is not None and whole.k_per_min < 0.4
    assert anew.last == always.last == probe.last


def test_a_mark_in_the_middle_of_an_average_ends_it_and_nobody_loses_it() -> None:
    probe = ProbeStatistics()
    goes_on, begins = ProbeView(probe), ProbeView(probe)
    told = heard_of(probe, 0, 40)  # two readings into the next average
    begins.forget()
    begins.forget()  # as often as one likes
    told += heard_of(probe, 40, 80, slope=0.1)
    assert told == list(probe.recent) == goes_on.lately()[::-1]
    before = [a for a in told if a.at_ms < 40_000]
    assert sum(a.n for a in before) == len(range(0, 40, 5)) and {a.liquid_c for a in before} == {30.0}
    assert all(a.at_ms >= 40_000 for a in begins.lately())


def test_marks_at_every_reading_starve_nobody() -> None:
    probe = ProbeStatistics()
    goes_on, begins = ProbeView(probe), ProbeView(probe)
    told = 0
    for s in range(0, 900, 5):
        told += probe.hear(30.0 + 0.01 * s, ROOM_C, 1000 * s) is not None
        begins.forget()
    slope = goes_on.slope(600_000)
    assert told > 100 and slope is not None and slope.k_per_min == pytest.approx(0.6, rel=0.02)


def test_after_a_long_silence_it_is_another_story_of_the_same_probe() -> None:
    probe, rng = ProbeStatistics(), random.Random(2)
    for s in range(900):
        probe.hear(round((30.0 + 0.002 * s + rng.gauss(0.0, 0.03)) / 0.0625) * 0.0625, ROOM_C, 1000 * s)
    noise2, step_k = probe.noise2(), probe.step_k
    assert not probe.gap_exceeded(899_000 + GAP_MS) and probe.gap_exceeded(900_000 + GAP_MS)
    assert probe.hear(25.0, ROOM_C, 900_000 + GAP_MS) is None
    assert not probe.suspects and not probe.recent
    assert (probe.noise2(), probe.step_k) == (noise2, step_k) and step_k == 0.0625


def test_rounding_hides_in_noise_and_stays_without_it() -> None:
    for noise_k, left in ((0.0, 1.0), (0.05, 0.0)):
        probe, rng = ProbeStatistics(), random.Random(5)
        for s in range(1_800):
            probe.hear(round((30.0 + 0.003 * s + rng.gauss(0.0, noise_k)) / 0.1) * 0.1, ROOM_C, 1000 * s)
        rounding2 = probe.level_variance(1e9)
        assert rounding2 == pytest.approx(left * 0.1**2 / 12.0, rel=0.1, abs=1e-5)


def test_the_line_through_averages_is_the_textbooks() -> None:
    """By hand: (0, 1), (1, 3), (2, 2): slope 1/2 through (1, 2), spread 2; its variance at the end 1/3 + 1/2."""
    found = line([Average(at, c, ROOM_C, 1, 0.0) for at, c in ((0, 1.0), (1, 3.0), (2, 2.0))])
    assert found == pytest.approx((3, 1.0, 2.0, 0.5, 2.0))
    assert found.at(2) == pytest.approx(2.5) and found.variance_at(2, 1.0) == pytest.approx(1 / 3 + 1 / 2)
