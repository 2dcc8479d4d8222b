"""Robust statistics, which a few outliers can't spoil, and the normal distribution. Plain Python.

Sources: P. K. Sen 1968 (slope and its interval), H. B. Mann 1945 and M. G. Kendall (trend), F. R. Hampel (median absolute
deviation), P. J. Huber (weights): textbooks, formulas from memory; checked in tests/handbook/test_statistics.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

#: The standard deviation of normal values over their median absolute deviation.
MAD_TO_SIGMA: Final = 1.4826022185056018
#: Half of the 90 % interval of a normal distribution, in standard deviations.
Z90: Final = 1.645
#: Huber's constant: 95 % efficiency for normal values.
HUBER_K: Final = 1.345


def median(values: Sequence[float]) -> float:
    """The middle value; of an even number, the mean of the two.

    Raises:
        ValueError: there is none; a mistake in the caller.
    """
    if not values:
        raise ValueError("median of nothing")
    ordered = sorted(values)
    half = len(ordered) // 2
    return ordered[half] if len(ordered) % 2 else (ordered[half - 1] + ordered[half]) / 2.0


def mad_sigma(values: Sequence[float]) -> float:
    """Standard deviation of the values, from their median absolute deviation.

    >>> round(mad_sigma([1.0, 2.0, 3.0, 4.0, 90.0]), 4)
    1.4826
    """
    middle = median(values)
    return MAD_TO_SIGMA * median([abs(value - middle) for value in values])


def huber_weight(residual: float, sigma: float) -> float:
    """Huber's weight: 1 for a residual within HUBER_K sigma, falling as 1/residual beyond."""
    size = abs(residual)
    return 1.0 if sigma <= 0.0 or size <= HUBER_K * sigma else HUBER_K * sigma / size


def normal_cdf(z: float) -> float:
    """Probability of a standard normal value below z."""
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def normal_quantile(share: float) -> float:
    """The z below which a standard normal value lies with probability `share`, by bisection to 1e-12; 0 < share < 1."""
    if not 0.0 < share < 1.0:
        raise ValueError(f"share must lie between 0 and 1, got {share}")
    low, high = -40.0, 40.0
    while high - low > 1e-12:
        middle = (low + high) / 2.0
        if normal_cdf(middle) < share:
            low = middle
        else:
            high = middle
    return (low + high) / 2.0


class RobustLine(NamedTuple):
    """A robust line: slope, intercept, and the slope's confidence interval."""

    slope: float
    intercept: float
    low: float
    high: float


def theil_sen(x: Sequence[float], y: Sequence[float], confidence: float = 0.95) -> RobustLine | None:
    """The Theil-Sen line: median of the slopes between all pairs of points, interval by Kendall's statistic, through both medians.

    None where no two points differ in x. The cost grows with the square of the number of points: thin them out first.
    """
    n = len(x)
    slopes = sorted((y[j] - y[i]) / (x[j] - x[i]) for i in range(n) for j in range(i + 1, n) if x[j] != x[i])
    if not slopes:
        return None
    middle = median(slopes)
    spread = normal_quantile(0.5 + confidence / 2.0) * math.sqrt(_kendall_variance(x, y))
    count = len(slopes)
    upper = min(round((count + spread) / 2.0), count - 1)
    lower = max(round((count - spread) / 2.0) - 1, 0)
    return RobustLine(middle, median(y) - middle * median(x), slopes[lower], slopes[upper])


def _kendall_variance(x: Sequence[float], y: Sequence[float]) -> float:
    def part(n: int) -> float:
        return n * (n - 1) * (2.0 * n + 5.0)

    variance = part(len(x))
    for values in (x, y):
        for tied in _ties(values):
            variance -= part(tied)
    return max(variance, 0.0) / 18.0


def _ties(values: Sequence[float]) -> list[int]:
    counts: dict[float, int] = {}
    for value in values:
        counts[value] = counts.get(value, 0) + 1
    return [count for count in counts.values() if count > 1]


class Trend(NamedTuple):
    """Result of the Mann-Kendall test: S, its standard score, and the two-sided probability of that score without a trend."""

    s: int
    z: float
    p: float


def mann_kendall(values: Sequence[float]) -> Trend:
    """Mann-Kendall test for a trend in values in the order of time; fewer than four values show none."""
    n = len(values)
    s = sum((b > a) - (b < a) for i, a in enumerate(values) for b in values[i + 1 :])
    variance = _kendall_variance(range(n), values)
    if n < 4 or variance <= 0.0:
        return Trend(s, 0.0, 1.0)
    z = (s - (s > 0) + (s < 0)) / math.sqrt(variance)
    return Trend(s, z, 2.0 * (1.0 - normal_cdf(abs(z))))
