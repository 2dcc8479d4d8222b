"""Mixtures for heat-ups and cool-downs: weighted hypotheses, each with a normal distribution of its own.

Hypotheses carry the logarithm of their weight. The first ones are spread evenly over the prior by a low-discrepancy sequence (Kronecker's,
its steps irrational), so that the same readings always give the same answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import exp, inf
from typing import Final, Protocol, TypeVar

#: Five points of a standard normal distribution and their weights.
POINTS: Final = ((-1.8, 0.10), (-0.8, 0.24), (0.0, 0.32), (0.8, 0.24), (1.8, 0.10))


class Weighted(Protocol):
    """A hypothesis with the natural logarithm of its weight."""

    log_weight: float


W = TypeVar("W", bound=Weighted)


def shares(i: int, steps: Sequence[float]) -> list[float]:
    """The `i`-th point of the sequence, within 0.01 to 0.99 on each axis of the unit cube."""
    return [0.01 + 0.98 * ((0.5 + (i + 1) * step) % 1.0) for step in steps]


def weights(hypotheses: Sequence[Weighted]) -> list[float]:
    """Weights of the hypotheses, with the sum 1."""
    top = max(h.log_weight for h in hypotheses)
    raw = [exp(h.log_weight - top) for h in hypotheses]
    total = sum(raw)
    return [r / total for r in raw]


def pruned(hypotheses: list[W], within: float, at_least: int) -> list[W]:
    """The hypotheses whose log-weight is within `within` of the best; where these are too few, the `at_least` best."""
    top = max(h.log_weight for h in hypotheses)
    kept = [h for h in hypotheses if h.log_weight > top - within]
    return kept if len(kept) >= at_least else sorted(hypotheses, key=lambda h: -h.log_weight)[:at_least]


def quantile(points: list[tuple[float, float]], share: float) -> float:
    """The quantile of weighted, sorted points (value, weight), interpolated between the middles of their weights."""
    before, last_at, last = 0.0, -1.0, points[0][0]
    for value, weight in points:
        at = before + 0.5 * weight
        if at >= share:
            if last_at < 0.0 or value == inf or at == last_at:
                return value
            return last + (value - last) * (share - last_at) / (at - last_at)
        last_at, last = at, value
        before += weight
    return points[-1][0]
