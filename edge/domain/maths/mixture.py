"""What heat-ups and cool-downs share: beliefs made of weighted hypotheses, each with a normal distribution of its own.

Hypotheses carry the logarithm of their weight. The first ones are spread evenly over a prior by a low-discrepancy sequence
(Kronecker's: steps that share no whole multiple), so the same readings give the same answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import exp, inf
from typing import Final, Protocol, TypeVar

#: five points of a normal distribution, in its deviations, and their weights
POINTS: Final = ((-1.8, 0.10), (-0.8, 0.24), (0.0, 0.32), (0.8, 0.24), (1.8, 0.10))


class Weighted(Protocol):
    """A hypothesis."""

    lw: float  # logarithm of its weight


W = TypeVar("W", bound=Weighted)


def shares(i: int, steps: Sequence[float]) -> list[float]:
    """The `i`-th point of the sequence in the unit cube, of which the outermost hundredth of each side is left out."""
    return [0.01 + 0.98 * ((0.5 + (i + 1) * step) % 1.0) for step in steps]


def weights(hypotheses: Sequence[Weighted]) -> list[float]:
    """Of the hypotheses, adding up to one."""
    top = max(h.lw for h in hypotheses)
    raw = [exp(h.lw - top) for h in hypotheses]
    total = sum(raw)
    return [r / total for r in raw]


def hopeful(hypotheses: list[W], within: float, fewest: int) -> list[W]:
    """Those whose weight's logarithm is `within` of the best, but never fewer than `fewest`: the best ones then."""
    top = max(h.lw for h in hypotheses)
    kept = [h for h in hypotheses if h.lw > top - within]
    return kept if len(kept) >= fewest else sorted(hypotheses, key=lambda h: -h.lw)[:fewest]


def quantile(points: list[tuple[float, float]], share: float) -> float:
    """Of weighted, sorted points, between their middles."""
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
