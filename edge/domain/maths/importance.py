"""Places of new hypotheses: spread over the prior, or drawn around the hypotheses of high weight (importance sampling).

A place is a vector of numbers that are standard normal in the prior. Places are spread by the sequence of mixture.py with the square roots
of primes as steps (Richtmyer's; from memory). Around a weighted cloud, places are drawn from a normal distribution with the cloud's mean
and widened covariance, and a share of them from the prior. The weight of each draw is corrected by the density that it was drawn with
(repeated importance sampling, population Monte Carlo: Cappe and others, J. Comput. Graph. Stat. 13, 2004; from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from math import exp, log, sqrt
from operator import mul
from statistics import NormalDist
from typing import Final

from edge.domain.maths.mixture import shares

#: Parameters of a hypothesis.
NUMBERS: Final = 10
#: No parameter lies further from the prior's middle than this many standard deviations.
MAX_DEVIATIONS: Final = 3.0
#: Draws are made with the cloud's standard deviations times this factor.
WIDENING: Final = 1.25
#: Standard deviation that is added to the cloud on each axis, in those of the prior.
MIN_SD: Final = 0.15
#: This share of the draws comes from the prior.
PRIOR_SHARE: Final = 0.15
#: A covariance needs this many effective hypotheses; the weights are tempered until there are as many.
MIN_EFFECTIVE: Final = 12.0
_STEPS: Final = tuple(sqrt(prime) % 1.0 for prime in (2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31))
_NORMAL: Final = NormalDist()


def place(i: int) -> list[float]:
    """The `i`-th place in the prior."""
    return [_NORMAL.inv_cdf(share) for share in shares(i, _STEPS[:NUMBERS])]


def effective(weights: Sequence[float]) -> float:
    """Effective number of weights: the square of their sum over the sum of their squares; 0.0 for none."""
    return sum(weights) ** 2 / sum(w * w for w in weights) if weights else 0.0


class Cloud:
    """A weighted cloud of places as a distribution to draw from."""

    def __init__(self, places: Sequence[Sequence[float]], log_weights: Sequence[float]) -> None:
        top = max(log_weights)
        power = 1.0
        weights = [exp(lw - top) for lw in log_weights]
        while effective(weights) < min(MIN_EFFECTIVE, 0.5 * len(places)):
            power *= 0.8
            weights = [exp(power * (lw - top)) for lw in log_weights]
        total = sum(weights)
        n = range(NUMBERS)
        axes = list(zip(*places, strict=True))
        self.mean = [sum(map(mul, weights, axis)) / total for axis in axes]
        off = [[x - mean for x in axis] for axis, mean in zip(axes, self.mean, strict=True)]
        weighed = [list(map(mul, weights, axis)) for axis in off]
        cov = [[sum(map(mul, weighed[i], off[j])) / total for j in range(i + 1)] for i in n]
        for i in n:
            cov[i][i] += MIN_SD**2
        self.root = _cholesky(cov)
        self._log_scale = sum(log(WIDENING * self.root[i][i]) for i in n)

    def draw(self, i: int) -> tuple[list[float], float]:
        """The `i`-th place, and the logarithm of the prior's density over the density of the draw."""
        first, *rest = shares(i, _STEPS)
        normal = [_NORMAL.inv_cdf(share) for share in rest]
        if first >= PRIOR_SHARE:
            normal = [m + WIDENING * sum(map(mul, row, normal)) for m, row in zip(self.mean, self.root, strict=True)]
        z = [min(max(x, -MAX_DEVIATIONS), MAX_DEVIATIONS) for x in normal]
        return z, self._log_ratio(z)

    def _log_ratio(self, z: Sequence[float]) -> float:
        off: list[float] = []  # z in standard deviations of the cloud, uncorrelated
        for row, x, m in zip(self.root, z, self.mean, strict=True):
            off.append(((x - m) / WIDENING - sum(map(mul, row, off))) / row[len(off)])
        near = 0.5 * (sum(map(mul, z, z)) - sum(map(mul, off, off))) - self._log_scale
        return -log(PRIOR_SHARE + (1.0 - PRIOR_SHARE) * exp(min(near, 600.0)))


def _cholesky(a: Sequence[Sequence[float]]) -> list[list[float]]:
    """Cholesky factor of the positive definite `a`; of both the lower triangle, each row up to its diagonal."""
    root: list[list[float]] = []
    for i, row in enumerate(a):
        made: list[float] = []
        for j in range(i):
            made.append((row[j] - sum(map(mul, made, root[j]))) / root[j][j])
        made.append(sqrt(max(row[i] - sum(map(mul, made, made)), 1e-12)))
        root.append(made)
    return root
