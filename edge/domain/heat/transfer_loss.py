"""What share of the heat is lost on the way to the basin, and what of it may be relied on.

A transfer is a mixing: liquid of heat capacity C1 at T meets basin, hoses and scope of C2 at Tcold, and both end at T - f (T - Tcold)
with f = C2/(C1 + C2) (calorimetry). Each cycle whose basin has a probe shows one f. They differ a little from cycle to cycle (another
scope, a basin not quite at the room's temperature), and now and then one is odd (a probe in air, a fill broken off). So what is
believed is a mixture: most transfers scatter about F with an unknown standard deviation s, one in ODD shows anything at all. Over a
grid of F and s this gives the distribution of the next transfer's f, by Bayes' rule; textbook, no other source.

What counts: the rule, or what the station file says was measured, holds until FEW first cycles agree; then f may lie below it,
taken at the upper end of its interval, the basin probe's own uncertainty included. A middle value above it counts at once. The
label's maximum is judged with the other end.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import erf, exp, hypot, log, pi, sqrt
from typing import Final, NamedTuple

from edge.domain.maths.robust import Z90, median

#: 4 K of the 19 K between 39 Cel and a 20 Cel room (common practice, no published source)
RULE_SHARE: Final = 4.0 / 19.0
#: so many first cycles that agree may take f below the rule: two can agree by chance, and one may have been warm by accident
FEW: Final = 3
#: transfers that are remembered, of each sort; and the newest that are asked whether something has changed
REMEMBERED: Final = 10
NEWEST: Final = 3
#: what a station's f may be before anything of it is known: standard deviation of its logarithm about the rule, as it is told
RULE_SPREAD: Final = 0.3
#: and as a single transfer has to stand against it (Student's t of four degrees): one far away is odd until others agree with it
ABOUT_SPREAD: Final = 0.25
#: and about what somebody has measured
MEASURED_SPREAD: Final = 0.08
#: one transfer in so many is odd, and then shows any f up to LARGEST
ODD: Final = 4.0
LARGEST: Final = 0.9
#: standard deviations from cycle to cycle that are thought of, with what is believed of each beforehand
SCATTERS: Final = ((0.003, 0.15), (0.006, 0.2), (0.012, 0.25), (0.024, 0.25), (0.048, 0.15))
#: a probe without calibration or stated uncertainty: a rectangle of 0.5 K to either side (digital probes' data sheets)
UNSTATED_U_K: Final = 0.3
LEAST_U: Final = 0.003  # of one transfer: no probe tells more
STEP: Final = 0.0025


def share_of(before_c: float, after_c: float, cold_c: float) -> float:
    """f of a transfer: liquid at `before_c` that meets what is at `cold_c`, both then at `after_c` [Cel].

    >>> share_of(39.0, 35.0, 20.0) == 4 / 19
    True
    """
    return (before_c - after_c) / (before_c - cold_c)


def mixed_c(*parts: tuple[float, float]) -> float:
    """Temperature of what is mixed [Cel]; parts are (heat capacity, in any one unit; temperature [Cel]).

    >>> mixed_c((10.0, 40.0), (10.0, 20.0))
    30.0
    """
    return sum(c * t for c, t in parts) / sum(c for c, _ in parts)


class Seen(NamedTuple):
    """One transfer: f, and its standard uncertainty by noise and fit, without what the probes are always off by."""

    share: float
    u: float


class Believed(NamedTuple):
    """f of the next transfer: middle, 5 and 95 % points, and how many transfers agree with it."""

    best: float
    low: float
    high: float
    agree: int


class Loss(NamedTuple):
    """What is judged with.

    Args:
        needed: what the reservoir needs is worked out with this f: the guarded end.
        hot: and what the basin sees at most with this one.
        best: the middle.
        low, high: 90 % interval of f.
        cycles: first cycles that it rests on; 0: on the rule or the station file.
        words: where it is from, for people.
    """

    needed: float
    hot: float
    best: float
    low: float
    high: float
    cycles: int
    words: str


def believed(seen: Sequence[Seen], about: float) -> Believed:
    """The next transfer's f by those seen, oldest first; `about`: what was thought of it before."""
    grid = _grid([s.share for s in seen], about)
    prior = [-2.5 * log(1.0 + (log(f / about) / ABOUT_SPREAD) ** 2 / 4.0) - log(f) for f in grid]
    odd = 1.0 / ODD / LARGEST
    cells: list[tuple[float, float, float]] = []  # F, s, logarithm of its weight
    for scatter, weight in SCATTERS:
        spreads = [hypot(scatter, s.u, LEAST_U) for s in seen]
        factors = [(1.0 - 1.0 / ODD) / (sd * sqrt(2.0 * pi)) for sd in spreads]
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
    agree = sum(abs(one.share - best) <= 3.0 * hypot(spread, one.u, LEAST_U) for one in seen)
    return Believed(best, low, high, agree)


def _grid(shares: Sequence[float], about: float) -> list[float]:
    low, high = min([*shares, about]), max([*shares, about])
    first = max(round((low - 0.1) / STEP), 4)
    return [n * STEP for n in range(first, min(round((high + 0.1) / STEP), round(LARGEST / STEP)) + 1)]


def _quantile(cells: Sequence[tuple[float, float, float]], whole: float, share: float) -> float:
    """Of a mixture of normal distributions (middle, standard deviation, weight), by bisection."""
    low, high = 0.0, 1.0
    for _ in range(14):
        middle = (low + high) / 2.0
        below = sum(w * 0.5 * (1.0 + erf((middle - f) / (s * sqrt(2.0)))) for f, s, w in cells)
        low, high = (middle, high) if below < share * whole else (low, middle)
    return (low + high) / 2.0


def by_the_file(declared: float, measured: bool) -> Loss:
    """What holds while nothing has been learned: only a measured f may go below the rule."""
    share, spread = declared, MEASURED_SPREAD
    words = "as measured by the station file"
    if not measured:
        share, spread, words = max(declared, RULE_SHARE), RULE_SPREAD, "by the rule"
    wide = exp(Z90 * spread)
    return Loss(share, share, share, share / wide, min(share * wide, LARGEST), 0, words)


def decided(filed: Loss, first: Sequence[Seen], later: Sequence[Seen], u_sure: float, u: float) -> Loss:
    """What is judged with after these transfers.

    Args:
        filed: what by_the_file() says.
        first: f of first cycles of their days, oldest first.
        later: f of cycles that found a basin still warm: they show how little can be lost.
        u_sure: standard uncertainty of f by the basin probe's calibration; 0.0 where it has none (such a probe decides as it reads).
        u: the same, also where the probe isn't calibrated: what it is stated or assumed to be. An f below the rule asks for it.
    """
    if not first:
        return filed
    about = believed(first[-REMEMBERED:], filed.best)
    newest = believed(first[-NEWEST:], filed.best)
    if len(first) > NEWEST and newest.agree == NEWEST and newest.low > about.best:
        about = newest  # something has changed, for the worse
    best, n = about.best, about.agree
    low, high = _wider(about, u)
    if n >= FEW:
        needed = min(high, filed.needed) if best <= filed.needed else _wider(about, u_sure)[1]
        hot = max(low, 0.0)
    else:
        needed, hot = (max(best, filed.needed), min(best, filed.hot)) if n else (filed.needed, filed.hot)
    if len(later) >= FEW:
        warm = believed(later[-REMEMBERED:], filed.best)
        needed, hot = max(needed, warm.best), min(hot, _wider(warm, u)[0])
    cycles = f"{n} first cycle{'s' if n != 1 else ''}"
    words = f"{filed.words}; {cycles} measured" if needed == filed.needed else f"measured on {cycles}"
    low, high = min(low, needed), max(high, needed)
    return Loss(needed, max(hot, 0.0), best, max(low, 0.0), min(high, LARGEST), n, words)


def middle(seen: Sequence[Seen]) -> float | None:
    """The median f, for people; None where there is none."""
    return median([s.share for s in seen]) if seen else None


def _wider(about: Believed, u: float) -> tuple[float, float]:
    """The interval with an uncertainty that is the same in all transfers."""
    return (
        about.best - hypot(about.best - about.low, Z90 * u),
        about.best + hypot(about.high - about.best, Z90 * u),
    )
