"""Where new hypotheses are looked for: all over the prior, or around those that the evidence favours.

Places are numbers that are standard normal in the prior. They are spread by the sequence of mixture.py, its steps the square roots of
primes (Richtmyer's; from memory). Around a weighted cloud they are drawn from a normal distribution with its mean and its covariance,
widened, and some from the prior still; each draw's weight is corrected by the density it was drawn with (importance sampling, repeated:
population Monte Carlo, Cappe and others, J. Comput. Graph. Stat. 13, 2004; from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from math import exp, log, sqrt
from statistics import NormalDist
from typing import Final

from edge.domain.maths.mixture import shares

NUMBERS: Final = 10  # of a hypothesis
MOST: Final = 3.0  # beyond so many deviations nothing is believed
WIDER: Final = 1.25  # than the cloud, as a factor of deviations
NARROWEST: Final = 0.15  # a cloud is at least so wide
BY_PRIOR: Final = 0.15  # of draws
ENOUGH: Final = 12.0  # effective hypotheses that a covariance can stand on
_STEPS: Final = tuple(sqrt(prime) % 1.0 for prime in (2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31))
_NORMAL: Final = NormalDist()


def place(i: int) -> list[float]:
    """The `i`-th place in the prior."""
    return [_NORMAL.inv_cdf(share) for share in shares(i, _STEPS[:NUMBERS])]


def effective(weights: Sequence[float]) -> float:
    """How many equal weights these are worth; none of none."""
    return sum(weights) ** 2 / sum(w * w for w in weights) if weights else 0.0


class Cloud:
    """A weighted cloud of places, as a distribution to draw from."""

    def __init__(self, places: Sequence[Sequence[float]], log_weights: Sequence[float]) -> None:
        top = max(log_weights)
        power = 1.0
        weights = [exp(lw - top) for lw in log_weights]
        while effective(weights) < min(ENOUGH, 0.5 * len(places)):
            power *= 0.8
            weights = [exp(power * (lw - top)) for lw in log_weights]
        total = sum(weights)
        n = range(NUMBERS)
        self.mean = [sum(w * z[i] for w, z in zip(weights, places, strict=True)) / total for i in n]
        cov = [
            [
                sum(w * (z[i] - self.mean[i]) * (z[j] - self.mean[j]) for w, z in zip(weights, places, strict=True))
                / total
                for j in n
            ]
            for i in n
        ]
        for i in n:
            cov[i][i] += NARROWEST**2
        self.root = _cholesky(cov)
        self._log_scale = sum(log(WIDER * self.root[i][i]) for i in n)

    def draw(self, i: int) -> tuple[list[float], float]:
        """The `i`-th place, and the logarithm of the prior's density over the density it is drawn with."""
        first, *rest = shares(i, _STEPS)
        normal = [_NORMAL.inv_cdf(share) for share in rest]
        if first >= BY_PRIOR:
            normal = [
                m + WIDER * sum(a * b for a, b in zip(row, normal, strict=False))
                for m, row in zip(self.mean, self.root, strict=True)
            ]
        z = [min(max(x, -MOST), MOST) for x in normal]
        return z, self._log_ratio(z)

    def _log_ratio(self, z: Sequence[float]) -> float:
        off: list[float] = []  # of z from the middle, in the cloud's own deviations
        for row, x, m in zip(self.root, z, self.mean, strict=True):
            off.append(((x - m) / WIDER - sum(a * b for a, b in zip(row, off, strict=False))) / row[len(off)])
        near = 0.5 * (sum(x * x for x in z) - sum(x * x for x in off)) - self._log_scale
        return -log(BY_PRIOR + (1.0 - BY_PRIOR) * exp(min(near, 600.0)))


def _cholesky(a: Sequence[Sequence[float]]) -> list[list[float]]:
    """Lower triangle whose square is the positive definite `a`; rows as long as they are filled."""
    root: list[list[float]] = []
    for i, row in enumerate(a):
        made: list[float] = []
        for j in range(i):
            made.append((row[j] - sum(x * y for x, y in zip(made, root[j], strict=False))) / root[j][j])
        made.append(sqrt(max(row[i] - sum(x * x for x in made), 1e-12)))
        root.append(made)
    return root
