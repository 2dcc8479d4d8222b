"""The life of a loading filter: how much water will still pass before its pressure drop reaches the limit.

Theory: J. Hermia, Trans. IChemE 60 (1982) 183, "Constant pressure blocking filtration laws": d2t/dV2 = k (dt/dV)^n with n = 2
(complete blocking), 3/2 (standard), 1 (intermediate), 0 (cake). At constant pressure dt/dV is the resistance R, so dR/dV = k R^n:
how resistance grows with the volume that has passed, whatever the flow was. (Cited from memory; the four growth laws of R were read
in a public text on filtration, www.eurocode.us/wastewater-treatment.) Solved, each law has a function of R that is a straight line
over the volume:

    complete      1/R = (1 - k V) / R0
    standard      1/sqrt(R) = (1 - k V / 2) / sqrt(R0)
    intermediate  ln R = ln R0 + k V
    cake          R = R0 (1 + k V)

A line goes on as it is from any of its points, so it doesn't matter where counting began.

Noise. Water is not equally dirty every day: along the line the filter runs ahead and falls behind, as a random walk over the volume, and
each drop has its own error of measurement. The model has both (a local level with drift; A. C. Harvey, Forecasting, structural time series
models and the Kalman filter, 1989; the line's two parameters by generalised least squares on the filter's innovations, P. de Jong 1991).
So the forecast starts from where the filter is now, not from where the line would have it. Its uncertainty contains the walk still to come:
the first passage of a walk with drift, whose variance is gap x q / drift^3 (inverse Gaussian distribution).

Averaging. Laws, and ratios of walk to error, are weighted by their restricted likelihood. All have the same number of parameters, so
differences of Akaike's or the Bayesian information criterion are those of the likelihood (Burnham and Anderson 2002).

Changing water. A law may have changed on the way. Beside the one line through all points there are pairs of lines, for a few places
where the second may begin; the likelihood of the first line counts in that of the pair. A burst of dirt (works on the mains, rain) is
a jump that stays: the model allows any jump there, so that the slope is that of usual water. The frequency and the worth of bursts so far
are reckoned with for the volume ahead. So is a change of law still to come, the more in water that was seen to change.

Housing. A draw's drop is R x viscosity x flow (Darcy), plus a share of the housing that goes with the square of the flow and never grows.
The housing's share is found from neighbouring draws of different flow, whatever the law.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise
from typing import Final, NamedTuple

from edge.domain.maths.robust import huber_weight, mad_sigma, median

LAWS: Final = ("complete", "standard", "intermediate", "cake")
#: With fewer points no law is fitted.
LEAST_POINTS: Final = 6
#: Grid of the random walk's variance over the volume seen, relative to the error variance of one point.
RATIOS: Final = (0.03, 0.3, 3.0, 30.0, 300.0, 3000.0)
#: A coarser grid for the line before a change of law.
FEW_RATIOS: Final = (0.3, 30.0, 1000.0)
#: Lines whose log-likelihood is this far below the best are left out.
LOG_LIKELIHOOD_RANGE: Final = 7.0
#: Parts of the mixture below this weight are left out.
MIN_WEIGHT: Final = 2e-4
#: Least standard deviation of a point, as a share of the limit: gauges' linearity, viscosity's formula (common practice, no source).
FLOOR_SHARE: Final = 0.001
#: Dirt comes in spells of days, so the walk's steps are correlated: this many points count as one.
CORRELATED_POINTS: Final = 2.0
#: Relative standard uncertainty of the drops' scale: an uncalibrated meter is 2 % off, and so is a drop that is scaled by its flow (common
#: practice, no published source).
SCALE_U: Final = 0.02
#: A larger uncertainty of the scale is not propagated linearly, but by three values of the limit.
WIDE_U: Final = 0.05
#: Prior of the housing's share of a clean filter's drop: mean and standard deviation (common practice, no published source). The share is
#: never above the mean plus twice that deviation.
HOUSING: Final = (0.10, 0.10)
#: The housing's share is known once its uncertainty is below this share of its prior standard deviation.
KNOWN_U_SHARE: Final = 0.4
#: Three points of a normal distribution with its mean, variance and kurtosis (Gauss-Hermite): (standard deviations, weight).
_NODES: Final = ((-math.sqrt(3.0), 1.0 / 6.0), (0.0, 2.0 / 3.0), (math.sqrt(3.0), 1.0 / 6.0))
#: Places where the law may have changed, as shares of the points seen.
CHANGES_AT: Final = (0.2, 0.35, 0.5, 0.62, 0.74, 0.84, 0.92)
#: Either side of a change of law has at least this many points.
LEAST_SIDE: Final = 8
# The numbers on changes, bursts and long lives were chosen on 280 lives of tests/bench/filters.py (steady: seed 1; hard: 1, 3, 5); the
# probability of a change ahead on 400 others (steady: seed 2; hard: 101, 102, 103).
#: Log prior odds of a change of law so far, in steady water.
CHANGE_PRIOR: Final = -1.2
#: Log prior odds of a change of law so far, in water that comes in bursts.
CHANGE_PRIOR_IN_BURSTS: Final = -0.3
#: A rate of loading is taken over this many points.
RATE_OVER: Final = 8
#: The usual rate at a point is the median of the rates of this many points to either side.
RATE_ABOUT: Final = 12
#: A burst exceeds the usual rise by this many standard deviations.
BURST_SIGMAS: Final = 3.0
#: A burst exceeds the usual rise by that of this many spacings of points.
BURST_SPACINGS: Final = 1.5
#: A burst is worth at most this share of the litres seen.
BURST_AT_MOST: Final = 0.3
#: Variance of a burst's jump, in error variances of a point: it may have brought anything.
BURST_VARIANCE: Final = 1e4
#: Prior number of bursts in as many litres as were seen (common practice, no published source).
BURSTS_BEFORE: Final = 0.3
#: Prior worth of a burst, as a share of the litres seen (common practice, no published source).
BURST_SHARE: Final = 0.05
#: At most this many bursts ahead are reckoned with.
MOST_BURSTS: Final = 4
#: Rate of changes of law ahead, in steady water: their probability within as many litres as were seen is this times ln 2.
CHANGE_AHEAD: Final = 0.15
#: The same in water that was seen to change.
CHANGE_AHEAD_SEEN: Final = 0.8
#: Standard deviation of the logarithm of the litres left that a change of law ahead adds.
CHANGE_U: Final = 0.4
#: A change of law ahead comes after this share of the litres left: early, since one that has just come doesn't show yet.
TURNS_AT: Final = 0.1
#: Power of the prior 1 / (1 + x) against a life left of x times the litres seen.
OUTLASTS_POWER: Final = 1.0
#: A life left beyond this many times the litres seen is told as infinite.
LONG_SPANS: Final = 30.0


#: A law, and the litres since which it holds; minus infinity: it hasn't changed.
Kind = tuple[str, float]


class Point(NamedTuple):
    """What one draw, or several neighbours merged, showed of a stage.

    Args:
        volume_l: litres that had passed.
        laminar, square: viscosity times flow, and flow squared, each relative to the reference.
        drop_kpa: the pressure drop as measured.
        weight: how many draws the point stands for.
    """

    volume_l: float
    laminar: float
    square: float
    drop_kpa: float
    weight: float = 1.0


class Line(NamedTuple):
    """The fit of one law, with one ratio of walk to error and one housing.

    Args:
        likelihood: logarithm of the restricted likelihood.
        log_left, deviation: the litres left as a lognormal; `log_left` infinite: the drop doesn't grow; minus infinity: past the limit.
        since_l: litres since which the law holds; minus infinity: it hasn't changed.
        level: the law's straight function now, where the limit is ahead.
    """

    law: str
    likelihood: float
    log_left: float
    deviation: float
    since_l: float = -math.inf
    level: float = math.nan


class Life(NamedTuple):
    """The result of the fit.

    Args:
        left_l, low_l, high_l: litres left, median, 5 and 95 % points; infinity: the drop doesn't seem to grow.
        weights: weight of each law.
        housing_kpa: the housing's share at the reference.
        far_l: litres left beyond this are told as infinite.
        parts: (weight, line), the mixture.
    """

    left_l: float
    low_l: float
    high_l: float
    weights: dict[str, float]
    housing_kpa: float
    far_l: float
    parts: tuple[tuple[float, Line], ...]

    @property
    def law(self) -> str | None:
        """The law that holds at least 80 % of the weight; None where none does."""
        best = max(self.weights, key=self.weights.__getitem__)
        return best if self.weights[best] >= 0.8 else None

    def believed(self) -> dict[Kind, float]:
        """Weights of the laws by the litres since which each holds."""
        found: dict[Kind, float] = {}
        for weight, line in self.parts:
            found[line.law, line.since_l] = found.get((line.law, line.since_l), 0.0) + weight
        return found

    def weighed(self, weights: Mapping[Kind, float]) -> Life:
        """The same mixture with other weights of the laws, which rest on further evidence."""
        own = self.believed()
        parts = [
            (weight * weights.get((line.law, line.since_l), 0.0) / max(own[line.law, line.since_l], 1e-12), line)
            for weight, line in self.parts
        ]
        return _life(parts, self.housing_kpa, self.far_l)


class Bursts(NamedTuple):
    """Bursts of dirt: for each point, whether a burst lies between it and the point before; and each burst's worth.

    `sizes_l`: litres of usual water that a burst was worth, beyond those that passed.
    """

    steps: list[bool]
    sizes_l: list[float]


def bursts(volumes: Sequence[float], seen: Sequence[float]) -> Bursts:
    """Where the resistance rose by much more than nearby, and stayed there; rates are compared with their neighbours', whatever the law."""
    n = len(volumes)
    steps, sizes = [False] * n, list[float]()
    if n < 3 * RATE_OVER:
        return Bursts(steps, sizes)
    rates = [
        (seen[k + RATE_OVER] - seen[k]) / max(volumes[k + RATE_OVER] - volumes[k], 1e-9) for k in range(n - RATE_OVER)
    ]

    def usual(i: int) -> float:
        middle = i - RATE_OVER // 2
        begin = min(max(middle - RATE_ABOUT, 0), len(rates) - 1)
        return max(median(rates[begin : max(middle + RATE_ABOUT, begin + 1)]), 0.0)

    def jump(i: int, j: int) -> tuple[float, float]:
        """(rise of the resistance from before point i to point j on, litres between)."""
        before, after = slice(max(i - 3, 0), i), slice(j, j + 3)
        return median(seen[after]) - median(seen[before]), median(volumes[after]) - median(volumes[before])

    over = [0.0] * n
    for i in range(3, n - 1):
        rise, litres = jump(i, i)
        over[i] = rise - usual(i) * litres
    wide = BURST_SIGMAS * mad_sigma(over[3 : n - 1])
    i = 3
    while i < n - 1:
        rate, spacing = usual(i), (volumes[-1] - volumes[0]) / n
        if over[i] <= max(wide, BURST_SPACINGS * rate * spacing) or rate <= 0.0:
            i += 1
            continue
        end = i
        while end < n - 1 and over[end] > wide / 2.0:
            steps[end] = True
            end += 1
        rise, litres = jump(i, min(end, n - 1))
        apart = [*rates[max(i - RATE_OVER - RATE_ABOUT, 0) : max(i - RATE_OVER, 0)], *rates[end : end + RATE_ABOUT]]
        rate = median(apart) if apart and median(apart) > 0.0 else rate  # rates whose points don't span the burst
        sizes.append(min(max(rise / rate - litres, 0.0), BURST_AT_MOST * (volumes[-1] - volumes[0])))
        i = end + 1
    return Bursts(steps, sizes)


def straight(law: str, resistance: float) -> float:
    """The function of a resistance (above 0, any unit) that the law makes a straight line.

    >>> [straight(law, 4.0) for law in LAWS]
    [0.25, 0.5, 1.3862943611198906, 4.0]
    """
    if law == "complete":
        return 1.0 / resistance
    if law == "standard":
        return 1.0 / math.sqrt(resistance)
    return math.log(resistance) if law == "intermediate" else resistance


def steepness(law: str, resistance: float) -> float:
    """The slope |d straight / d resistance|."""
    if law == "complete":
        return 1.0 / resistance**2
    if law == "standard":
        return 0.5 / (resistance * math.sqrt(resistance))
    return 1.0 / resistance if law == "intermediate" else 1.0


class Housing(NamedTuple):
    """Evidence of the housing's share from neighbouring draws of different flow.

    Sums over the differences x of square / laminar and y of drop / laminar: xx, xy [kPa], yy [kPa2], and their number.
    """

    xx: float = 0.0
    xy: float = 0.0
    yy: float = 0.0
    n: int = 0

    def and_draws(self, one: Point, other: Point) -> Housing:
        """The evidence with one more pair of neighbouring draws; outliers are clipped to three standard deviations."""
        x = other.square / other.laminar - one.square / one.laminar
        y = other.drop_kpa / other.laminar - one.drop_kpa / one.laminar
        if self.n >= 8:
            most = 3.0 * math.sqrt(self.yy / self.n)
            y = min(max(y, -most), most)
        return Housing(self.xx + x * x, self.xy + x * y, self.yy + y * y, self.n + 1)

    def slope_kpa(self) -> tuple[float, float] | None:
        """(the housing's share by the draws alone [kPa], its variance [kPa2]); None where too few draws differed in their flow.

        Regression: drop / laminar = medium + share x square / laminar.
        """
        if self.n < 4 or self.xx <= 0.0:
            return None
        slope = self.xy / self.xx
        # Neighbouring differences share a draw, so they count for two thirds of their number.
        noise = max(self.yy - slope * self.xy, 1e-12) / self.n
        return slope, 1.5 * noise / self.xx

    def known_kpa(self, clean_kpa: float) -> float:
        """The housing's share [kPa], where the draws have narrowed its prior; else 0.0, and the whole drop is taken as laminar."""
        share, u = self.share_kpa(clean_kpa)
        return share if u < KNOWN_U_SHARE * HOUSING[1] * clean_kpa else 0.0

    def share_kpa(self, clean_kpa: float) -> tuple[float, float]:
        """(the housing's share, its standard uncertainty) [kPa], with the prior for a filter of this clean drop."""
        mean, sigma = HOUSING[0] * clean_kpa, HOUSING[1] * clean_kpa
        found = self.slope_kpa()
        if sigma <= 0.0 or found is None:
            return mean, sigma
        slope, seen = found
        both = 1.0 / (1.0 / sigma**2 + 1.0 / seen)
        value = both * (mean / sigma**2 + slope / seen)
        return min(max(value, 0.0), mean + 2.0 * sigma), math.sqrt(both)


def fit(
    points: Sequence[Point], housing: Housing, limit_kpa: float, passed_l: float, scale_u: float = SCALE_U
) -> Life | None:
    """The litres left until the drop at the reference reaches the limit; None where the points can't tell.

    Args:
        points: in the order of volume, only those since the filter's change; some 100 at most.
        housing: evidence of the housing's share.
        limit_kpa: the limit of the drop at the reference.
        passed_l: litres that have passed by now, counted as those of the points.
        scale_u: relative standard uncertainty of the drops' scale.
    """
    if len(points) < LEAST_POINTS or points[-1].volume_l <= points[0].volume_l:
        return None
    clean = median([point.drop_kpa / point.laminar for point in points[:5]])
    if clean <= 0.0:
        return None
    share, doubt = housing.share_kpa(clean)
    # A scale that is poorly known is taken at three values: by the largest drop the limit may be passed, by the least it may be far off.
    scales = _NODES if scale_u > WIDE_U else ((0.0, 1.0),)
    narrow_u, floor = min(scale_u, WIDE_U), (FLOOR_SHARE * limit_kpa) ** 2
    lines: list[tuple[float, Line]] = []
    for off, weight in _NODES:
        part = min(max(share + off * doubt, 0.0), 0.8 * clean)
        for along, worth in scales:
            limit = limit_kpa * math.exp(scale_u * along)
            lines += [
                (math.log(weight * worth) + line.likelihood, line)
                for line in _lines(points, part, limit, passed_l, narrow_u, floor)
            ]
    if not lines:
        return None
    best = max(likelihood for likelihood, _ in lines)
    mixture = [(math.exp(lk - best), line) for lk, line in lines if lk > best - LOG_LIKELIHOOD_RANGE]
    return _life(mixture, share, LONG_SPANS * (points[-1].volume_l - points[0].volume_l))


def _life(mixture: Sequence[tuple[float, Line]], housing_kpa: float, far_l: float) -> Life:
    least = MIN_WEIGHT * sum(weight for weight, _ in mixture)
    heavy = [(weight, line) for weight, line in mixture if weight > least]
    total = sum(weight for weight, _ in heavy)
    parts = tuple((weight / total, line) for weight, line in heavy)
    weights = {law: sum(w for w, line in parts if line.law == law) for law in LAWS}
    ahead = [(weight, line.log_left, line.deviation) for weight, line in parts]
    low, middle, high = (_quantile(ahead, wanted, far_l) for wanted in (0.05, 0.5, 0.95))
    return Life(middle, low, high, weights, housing_kpa, far_l, parts)


def _lines(
    points: Sequence[Point], housing_kpa: float, limit_kpa: float, passed_l: float, scale_u: float, floor: float
) -> list[Line]:
    seen = [(p.drop_kpa - housing_kpa * p.square) / p.laminar for p in points]
    limit = limit_kpa - housing_kpa
    least = 0.02 * median(seen)
    if least <= 0.0 or limit <= least:
        return []
    seen = [max(value, least) for value in seen]
    weights = _sober_weights(points, seen)
    volumes = [p.volume_l for p in points]
    limits = limit, scale_u * limit_kpa
    dirty = bursts(volumes, seen)

    def of(begin: int, end: int, ratios: Sequence[float]) -> list[Line]:
        part = slice(begin, end)
        at = passed_l if end == len(points) else volumes[end - 1]
        solvers = [
            _solver(law, volumes[part], seen[part], weights[part], dirty.steps[part], floor, limits) for law in LAWS
        ]
        return [line for solve in solvers for ratio in ratios if (line := solve(ratio, at)) is not None]

    # Each burst that was seen halves the probability that this water is steady.
    changing = 1.0 - 0.5 ** len(dirty.sizes_l)
    prior = CHANGE_PRIOR + changing * (CHANGE_PRIOR_IN_BURSTS - CHANGE_PRIOR)
    found = of(0, len(points), RATIOS)
    for share in CHANGES_AT:
        at = round(share * len(points))
        if min(at, len(points) - at) < LEAST_SIDE or volumes[at - 1] <= volumes[0] or volumes[-1] <= volumes[at]:
            continue
        past = _evidence(of(0, at, FEW_RATIOS))
        found += [
            line._replace(likelihood=line.likelihood + past + prior, since_l=volumes[at])
            for line in of(at, len(points), RATIOS[1:-1])
        ]
    span, best = volumes[-1] - volumes[0], max((line.likelihood for line in found), default=0.0)
    found = [line for line in found if line.likelihood > best - LOG_LIKELIHOOD_RANGE]
    if not found:
        return []
    weights_of = [(math.exp(line.likelihood - best), line.since_l > -math.inf) for line in found]
    changed = sum(weight for weight, is_so in weights_of if is_so) * math.exp(CHANGE_PRIOR - prior)
    changing = max(changing, changed / (changed + sum(weight for weight, is_so in weights_of if not is_so)))
    per_span = CHANGE_AHEAD + changing * (CHANGE_AHEAD_SEEN - CHANGE_AHEAD)
    return [ahead for line in found for ahead in _ahead(line, dirty.sizes_l, span, per_span, limit)]


def _ahead(line: Line, sizes_l: Sequence[float], seen_l: float, per_span: float, limit_kpa: float) -> list[Line]:
    """The mixture for the litres left by a line, with bursts and a change of law that may still come.

    Bursts come at the rate seen (a negative binomial, since a few bursts tell their rate poorly), with the sizes seen (exponential). A
    change of law is the likelier the more of the life is ahead; any other law may follow, so a stage that loads ever faster can only slow
    down, and one that loads evenly can only quicken. A life left of x times the litres seen has the prior 1 / (1 + x), which draws a wide
    distribution down by its variance.
    """
    if not math.isfinite(line.log_left) or line.log_left > math.log(LONG_SPANS * seen_l):
        return [line]
    left, shape = max(math.exp(line.log_left), 1e-6 * seen_l), len(sizes_l) + BURSTS_BEFORE
    mean_l = (sum(sizes_l) + BURSTS_BEFORE * BURST_SHARE * seen_l) / shape
    share = left / (left + seen_l)
    # Probability of a change ahead, at the rate per_span.
    changes = min(per_span * math.log1p(left / seen_l), 0.6)
    turns = _turns(line, limit_kpa)
    found, log = [], shape * math.log(1.0 - share) + OUTLASTS_POWER * math.log(1.0 - share)
    for number in range(MOST_BURSTS + 1):
        more = number * mean_l / left
        middle = line.log_left - math.log(1.0 + more)
        wide = math.hypot(line.deviation, math.sqrt(number) * mean_l / left / (1.0 + more))
        for weight, turned, also in (
            (1.0 - changes, 0.0, 0.0),
            *((changes / len(turns), turn, CHANGE_U) for turn in turns),
        ):
            u = math.hypot(wide, also)
            drawn = OUTLASTS_POWER * min(u * u, 1.0) * share
            found.append(
                Line(line.law, line.likelihood + log + math.log(weight), middle + turned - drawn, u, line.since_l)
            )
        log += math.log(share * (shape + number) / (number + 1.0))
    return found


def _turns(line: Line, limit_kpa: float) -> list[float]:
    """For each other law: log of the litres left if that law holds from TURNS_AT of them on, over the litres left without a change.

    At the change the stage loads as fast as before.
    """
    goes_on = straight(line.law, limit_kpa) - line.level
    at = _resistance(line.law, line.level + TURNS_AT * goes_on)
    found = []
    for law in LAWS:
        if law != line.law:
            gap = abs(straight(law, limit_kpa) - straight(law, at)) / steepness(law, at)
            found.append(math.log(TURNS_AT + gap * steepness(line.law, at) / abs(goes_on)))
    return found


def _resistance(law: str, value: float) -> float:
    """The inverse of straight(): the resistance of this value."""
    if law == "complete":
        return 1.0 / value
    if law == "standard":
        return 1.0 / value**2
    return math.exp(value) if law == "intermediate" else value


def _evidence(lines: Sequence[Line]) -> float:
    """Logarithm of the mean likelihood."""
    best = max((line.likelihood for line in lines), default=-math.inf)
    return best + math.log(sum(math.exp(line.likelihood - best) for line in lines) / len(lines)) if lines else best


def _sober_weights(points: Sequence[Point], seen: Sequence[float]) -> list[float]:
    """Weights of the points: those that stand out of their neighbours weigh less (Huber), whatever the law."""
    off = [value - median([*seen[max(i - 3, 0) : i], *seen[i + 1 : i + 4]]) for i, value in enumerate(seen)]
    sigma = mad_sigma(off)
    return [p.weight * huber_weight(r, sigma) ** 2 for p, r in zip(points, off, strict=True)]


def _solver(
    law: str,
    volumes: Sequence[float],
    seen: Sequence[float],
    weights: Sequence[float],
    dirty: Sequence[bool],
    floor: float,
    limits: tuple[float, float],
) -> Callable[[float, float], Line | None]:
    """A function solve(ratio of walk to error, litres passed) for one law. `limits`: the medium's limit and its uncertainty [kPa]."""
    start, span, n = volumes[0], volumes[-1] - volumes[0], len(volumes)
    ys = [straight(law, value) for value in seen]
    slopes = [steepness(law, value) for value in seen]
    mean_weight = sum(weights) / n
    errors = [s * s * mean_weight / w for s, w in zip(slopes, weights, strict=True)]
    typical = median(errors)
    # The Jacobian makes likelihoods of the straight functions comparable, as those of drops; flat priors of the drop at both ends.
    ends = median(slopes[:5]) * median(slopes[-5:]) * limits[0] ** 2
    jacobian = sum(map(math.log, slopes)) - math.log(ends) + math.log(span) - 0.5 * (n - 2) * math.log(2.0 * math.pi)
    # A volume that runs backwards (a total taken up again after a loss) makes no certainty.
    steps = [0.0, *(max(later - sooner, 0.0) for sooner, later in pairwise(volumes))]

    limit, scale = straight(law, limits[0]), limits[1] * steepness(law, limits[0])

    def solve(ratio: float, passed_l: float) -> Line | None:
        walk = ratio * typical / span
        wy = w1 = wv = variance = 0.0  # the filtered walk of the series y, 1 and V; its variance, in units of `noise`
        logs = yy = y1 = yv = oo = ov = vv = 0.0
        for y, volume, step, error, burst in zip(ys, volumes, steps, errors, dirty, strict=True):
            variance += walk * step + (BURST_VARIANCE * typical if burst else 0.0)
            total = variance + error
            gain = variance / total
            v = volume - start
            ey, e1, ev = y - wy, 1.0 - w1, v - wv
            wy, w1, wv = wy + gain * ey, w1 + gain * e1, wv + gain * ev
            variance -= gain * variance
            logs += math.log(total)
            sy, s1, sv = ey / total, e1 / total, ev / total
            yy, y1, yv = yy + sy * ey, y1 + s1 * ey, yv + sv * ey
            oo, ov, vv = oo + s1 * e1, ov + s1 * ev, vv + sv * ev
        det = oo * vv - ov * ov
        if det <= 0.0:
            return None
        level0, slope = (y1 * vv - yv * ov) / det, (oo * yv - ov * y1) / det
        freedom = n - 2
        rss = max(yy - level0 * y1 - slope * yv, 0.0)
        noise = rss / freedom + floor
        likelihood = (
            jacobian - 0.5 * (logs + math.log(det) + freedom * math.log(noise) + rss / noise)
        ) / CORRELATED_POINTS
        # The line's level now, and the variances of level and slope.
        c1, cv = 1.0 - w1, passed_l - start - wv
        level = level0 * c1 + slope * cv + wy
        ahead = walk * max(passed_l - volumes[-1], 0.0)
        var_level = noise * ((c1 * c1 * vv - 2.0 * c1 * cv * ov + cv * cv * oo) / det + variance + ahead)
        var_slope = noise * oo / det
        both = noise * (cv * oo - c1 * ov) / det
        gap = limit - level
        if gap == 0.0 or _passed(law, gap):
            return Line(law, likelihood, -math.inf, 0.0)
        if slope * gap <= 0.0:
            return Line(law, likelihood, math.inf, 0.0)
        relative = var_level / gap**2 + var_slope / slope**2 + 2.0 * both / (gap * slope)
        relative += noise * walk / abs(gap * slope)
        relative = (
            max(relative, 1e-9) * CORRELATED_POINTS * (1.0 + 3.0 / freedom)
        )  # the last factor: heavier tails for few points (Student)
        relative += (scale / gap) ** 2
        return Line(law, likelihood, math.log(gap / slope), math.sqrt(relative), level=level)

    return solve


def falls(law: str) -> bool:
    """Does the law's straight function fall as the filter loads?"""
    return law in ("complete", "standard")


def _passed(law: str, gap: float) -> bool:
    """Is the line beyond its limit, by the gap from level to limit?"""
    return gap > 0.0 if falls(law) else gap < 0.0


def _quantile(parts: Sequence[tuple[float, float, float]], wanted: float, far: float) -> float:
    """Quantile of a mixture of lognormals (weight, logarithm, deviation); infinity beyond `far`."""

    over = sum(weight for weight, middle, _ in parts if middle == -math.inf)
    ahead = [
        (weight, middle, math.sqrt(2.0) * deviation) for weight, middle, deviation in parts if math.isfinite(middle)
    ]

    def below(log: float) -> float:
        return over + sum(0.5 * weight * math.erfc((middle - log) / wide) for weight, middle, wide in ahead)

    low, high = -7.0, math.log(far)
    if below(low) >= wanted:
        return 0.0
    if below(high) < wanted:
        return math.inf
    for _ in range(20):
        middle = (low + high) / 2.0
        low, high = (middle, high) if below(middle) < wanted else (low, middle)
    return math.exp((low + high) / 2.0)
