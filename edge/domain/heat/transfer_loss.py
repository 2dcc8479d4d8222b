"""The transfer loss: the share f of its heat that the liquid loses on the way to the basin, and the value that is judged with.

A transfer is a mixing: liquid of heat capacity C1 at T meets basin, hoses and scope of C2 at Tcold, and both end at T - f (T - Tcold)
with f = C2/(C1 + C2) (calorimetry). Each cycle whose basin has a probe shows one f. These differ a little from cycle to cycle (another
scope, a basin not quite at the room's temperature), and now and then one is odd (a probe in air, a fill broken off). So the model is a
mixture: most transfers scatter about F with an unknown standard deviation s, and one in ODD_ONE_IN shows anything at all. A grid of F and s
gives the distribution of the next transfer's f by Bayes' rule; textbook, no other source.

The rule, or the measured value of the station file, holds until MIN_AGREEING first cycles agree. Then f may lie below it, taken at the
upper end of its interval, the basin probe's own uncertainty included. A middle above the rule counts at once. The label's maximum is
judged with the lower end.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import erf, exp, hypot, log, pi, sqrt
from typing import Final, NamedTuple

from edge.domain.maths.robust import Z90, median
from edge.domain.messages import Message, both, number, say

#: The rule: 4 K of the 19 K between 39 Cel and a 20 Cel room (common practice, no published source).
RULE_SHARE: Final = 4.0 / 19.0
#: First cycles that have to agree before f may lie below the rule: two can agree by chance, and one basin may have been warm by accident.
MIN_AGREEING: Final = 3
#: First cycles, and later ones, that f rests on at most.
TRANSFERS_KEPT: Final = 10
#: This many newest first cycles show whether f has changed.
NEWEST_ASKED: Final = 3
#: Standard deviation of the logarithm of a station's f about the rule, as told before any transfer.
RULE_SPREAD: Final = 0.3
#: Scale of the prior of the logarithm of f (Student's t, four degrees of freedom): one distant transfer is odd until others agree with it.
ABOUT_SPREAD: Final = 0.25
#: Standard deviation of the logarithm of f about a measured value of the station file.
MEASURED_SPREAD: Final = 0.08
#: One transfer in this many is odd, and shows any f up to LARGEST_SHARE.
ODD_ONE_IN: Final = 4.0
#: The largest f.
LARGEST_SHARE: Final = 0.9
#: Grid of the standard deviation of f from cycle to cycle, each with its prior weight.
CYCLE_SCATTERS: Final = ((0.003, 0.15), (0.006, 0.2), (0.012, 0.25), (0.024, 0.25), (0.048, 0.15))
#: Standard uncertainty of a probe without calibration or stated uncertainty: a rectangle of 0.5 K either side (probes' data sheets).
UNSTATED_U_K: Final = 0.3
#: Least standard uncertainty of one transfer's f: no probe is better.
MIN_U: Final = 0.003
#: Spacing of the grid of f.
GRID_STEP: Final = 0.0025


def share_of(before_c: float, after_c: float, cold_c: float) -> float:
    """f of a transfer: liquid at `before_c` mixes with basin and hoses at `cold_c`, and both are then at `after_c` [Cel].

    >>> share_of(39.0, 35.0, 20.0) == 4 / 19
    True
    """
    return (before_c - after_c) / (before_c - cold_c)


def mixed_c(*parts: tuple[float, float]) -> float:
    """Temperature of a mixture [Cel] of parts (heat capacity in any one unit, temperature [Cel]).

    >>> mixed_c((10.0, 40.0), (10.0, 20.0))
    30.0
    """
    return sum(c * t for c, t in parts) / sum(c for c, _ in parts)


class Transfer(NamedTuple):
    """One transfer: f, and its standard uncertainty by noise and fit, without the probes' systematic errors."""

    share: float
    u: float


class Believed(NamedTuple):
    """Distribution of the next transfer's f: median, 5 and 95 % points, and how many transfers agree with the median."""

    best: float
    low: float
    high: float
    agree: int


class TransferLoss(NamedTuple):
    """The values of f that are judged with.

    Args:
        needed: the reservoir's needed temperature is computed with this f, the upper end.
        hot: the basin's highest temperature is computed with this f, the lower end.
        best: the median.
        low, high: 90 % interval of f.
        cycles: first cycles that f rests on; 0: the rule or the station file.
        origin: what f is from.
    """

    needed: float
    hot: float
    best: float
    low: float
    high: float
    cycles: int
    origin: Message


def believed(seen: Sequence[Transfer], about: float) -> Believed:
    """Distribution of the next transfer's f from those seen, oldest first; `about`: the middle of its prior."""
    grid = _grid([s.share for s in seen], about)
    prior = [-2.5 * log(1.0 + (log(f / about) / ABOUT_SPREAD) ** 2 / 4.0) - log(f) for f in grid]
    odd = 1.0 / ODD_ONE_IN / LARGEST_SHARE
    cells: list[tuple[float, float, float]] = []  # (F, s, logarithm of the weight)
    for scatter, weight in CYCLE_SCATTERS:
        spreads = [hypot(scatter, s.u, MIN_U) for s in seen]
        factors = [(1.0 - 1.0 / ODD_ONE_IN) / (sd * sqrt(2.0 * pi)) for sd in spreads]
        rows = list(zip(seen, spreads, factors, strict=True))
        for f, lp in zip(grid, prior, strict=True):
            lw = lp + log(weight)
            for one, sd, factor in rows:
                lw += log(factor * exp(-0.5 * ((one.share - f) / sd) ** 2) + odd)
            cells.append((f, scatter, lw))
    top = max(lw for _, _, lw in cells)
    kept = [(f, s, exp(lw - top)) for f, s, lw in cells if lw > top - 9.0]
    whole = sum(w for _, _, w in kept)
    low, best, high = (_quantile(kept, whole, share) for share in (0.05, 0.5, 0.95))
    spread = sum(s * w for _, s, w in kept) / whole
    agree = sum(abs(one.share - best) <= 3.0 * hypot(spread, one.u, MIN_U) for one in seen)
    return Believed(best, low, high, agree)


def _grid(shares: Sequence[float], about: float) -> list[float]:
    low, high = min([*shares, about]), max([*shares, about])
    first = max(round((low - 0.1) / GRID_STEP), 4)
    return [
        n * GRID_STEP for n in range(first, min(round((high + 0.1) / GRID_STEP), round(LARGEST_SHARE / GRID_STEP)) + 1)
    ]


def _quantile(cells: Sequence[tuple[float, float, float]], whole: float, share: float) -> float:
    """Quantile of a mixture of normal distributions (middle, standard deviation, weight), by bisection."""
    low, high = 0.0, 1.0
    for _ in range(14):
        middle = (low + high) / 2.0
        below = sum(w * 0.5 * (1.0 + erf((middle - f) / (s * sqrt(2.0)))) for f, s, w in cells)
        low, high = (middle, high) if below < share * whole else (low, middle)
    return (low + high) / 2.0


def by_the_file(declared: float, measured: bool) -> TransferLoss:
    """The transfer loss before any transfer was measured: an f of the station file below the rule counts only if it was measured."""
    share, spread = declared, MEASURED_SPREAD
    origin = say("transfer_loss.by_the_file")
    if not measured:
        share, spread, origin = max(declared, RULE_SHARE), RULE_SPREAD, say("transfer_loss.by_the_rule")
    wide = exp(Z90 * spread)
    return TransferLoss(share, share, share, share / wide, min(share * wide, LARGEST_SHARE), 0, origin)


def decided(
    filed: TransferLoss, first: Sequence[Transfer], later: Sequence[Transfer], u_sure: float, u: float
) -> TransferLoss:
    """The transfer loss to judge with after these transfers.

    Args:
        filed: the result of by_the_file().
        first: f of the first cycles of their days, oldest first.
        later: f of cycles that found a basin still warm: they show how little can be lost.
        u_sure: standard uncertainty of f by the basin probe's calibration; 0.0 where it has none (its readings then decide as they are).
        u: the same, with the stated or assumed uncertainty where the probe isn't calibrated; it guards an f below the rule.
    """
    if not first:
        return filed
    about = believed(first[-TRANSFERS_KEPT:], filed.best)
    newest = believed(first[-NEWEST_ASKED:], filed.best)
    if len(first) > NEWEST_ASKED and newest.agree == NEWEST_ASKED and newest.low > about.best:
        about = newest  # the loss has become larger
    best, n = about.best, about.agree
    low, high = _wider(about, u)
    if n >= MIN_AGREEING:
        needed = min(high, filed.needed) if best <= filed.needed else _wider(about, u_sure)[1]
        hot = max(low, 0.0)
    else:
        needed, hot = (max(best, filed.needed), min(best, filed.hot)) if n else (filed.needed, filed.hot)
    if len(later) >= MIN_AGREEING:
        warm = believed(later[-TRANSFERS_KEPT:], filed.best)
        needed, hot = max(needed, warm.best), min(hot, _wider(warm, u)[0])
    low, high = min(low, needed), max(high, needed)
    return TransferLoss(
        needed, max(hot, 0.0), best, max(low, 0.0), min(high, LARGEST_SHARE), n, _origin(filed, needed, n)
    )


def _origin(filed: TransferLoss, needed: float, n: int) -> Message:
    """What an f is from that is judged with after `n` first cycles agree."""
    cycles = number(n)
    if needed == filed.needed:
        seen = say("transfer_loss.cycle_measured" if n == 1 else "transfer_loss.cycles_measured", cycles=cycles)
        return both(filed.origin, seen)
    return say("transfer_loss.by_cycle" if n == 1 else "transfer_loss.by_cycles", cycles=cycles)


def middle(seen: Sequence[Transfer]) -> float | None:
    """The median f of these transfers, for people; None without transfers."""
    return median([s.share for s in seen]) if seen else None


def _wider(about: Believed, u: float) -> tuple[float, float]:
    """The 90 % interval widened by an uncertainty that is common to all transfers."""
    return (
        about.best - hypot(about.best - about.low, Z90 * u),
        about.best + hypot(about.high - about.best, Z90 * u),
    )
