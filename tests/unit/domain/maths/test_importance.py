"""Where new hypotheses are looked for: draws corrected by the density they are drawn with are the prior again."""

from __future__ import annotations

import math
import random

import pytest

from edge.domain.maths.importance import NUMBERS, Cloud, effective, place


def a_cloud() -> tuple[list[list[float]], list[float]]:
    """Places that favour one corner, two of their numbers together."""
    rng = random.Random(7)
    places = []
    for _ in range(60):
        z = [rng.gauss(0.0, 1.0) for _ in range(NUMBERS)]
        z[1] = 0.8 * z[0] + 0.3 * z[1]
        places.append(z)
    return places, [-0.5 * ((z[0] - 0.7) / 0.4) ** 2 for z in places]


def test_corrected_draws_have_the_moments_of_a_standard_normal_distribution() -> None:
    """Importance sampling: the mean of the ratios is one, and weighted by them mean and variance are the prior's, 0 and 1."""
    cloud = Cloud(*a_cloud())
    drawn = [cloud.draw(i) for i in range(20_000)]
    ratios = [math.exp(log_ratio) for _, log_ratio in drawn]
    assert sum(ratios) / len(ratios) == pytest.approx(1.0, abs=0.08)
    for i in range(NUMBERS):
        mean = sum(r * z[i] for r, (z, _) in zip(ratios, drawn, strict=True)) / sum(ratios)
        square = sum(r * z[i] ** 2 for r, (z, _) in zip(ratios, drawn, strict=True)) / sum(ratios)
        assert mean == pytest.approx(0.0, abs=0.12)
        assert square == pytest.approx(1.0, abs=0.2)


def test_draws_lie_where_the_weights_are() -> None:
    places, log_weights = a_cloud()
    cloud = Cloud(places, log_weights)
    drawn = [cloud.draw(i)[0] for i in range(400)]
    middle = sum(z[0] for z in drawn) / len(drawn)
    assert middle == pytest.approx(0.85 * cloud.mean[0], abs=0.1)  # some are still drawn from the prior, around nought
    assert 0.3 < cloud.mean[0] < 1.0
    off = [(z[0] - middle, z[1] - sum(y[1] for y in drawn) / len(drawn)) for z in drawn]
    together = sum(a * b for a, b in off) / math.sqrt(sum(a * a for a, _ in off) * sum(b * b for _, b in off))
    assert together > 0.4


def test_a_cloud_of_one_heavy_place_is_still_one_to_draw_from() -> None:
    """All weight on one: the weights are evened out until a covariance can stand on them."""
    places, _ = a_cloud()
    cloud = Cloud(places, [0.0] + [-1e4] * (len(places) - 1))
    drawn = [cloud.draw(i)[0] for i in range(100)]
    assert len({tuple(z) for z in drawn}) == 100
    assert all(math.isfinite(x) for z in drawn for x in z)


def test_places_are_spread_evenly_and_are_always_the_same() -> None:
    first = [place(i) for i in range(512)]
    assert first == [place(i) for i in range(512)]
    for i in range(NUMBERS):
        below = sum(z[i] < 0.0 for z in first)
        assert abs(below - 256) <= 12


def test_effective_weights() -> None:
    assert effective([1.0] * 8) == pytest.approx(8.0)
    assert effective([1.0, 0.0, 0.0]) == pytest.approx(1.0)
    assert effective([]) == 0.0
