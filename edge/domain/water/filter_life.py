"""How much water a loading filter will still let through before its drop reaches the limit.

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

Water is not equally dirty every day: along the line the filter runs ahead and falls behind, as a random walk over the volume; and each
drop has its own error of measurement. Both are in the model (a local level with drift; A. C. Harvey, Forecasting, structural time
series models and the Kalman filter, 1989; the line's two numbers by generalised least squares on the filter's innovations, P. de Jong
1991). So what lies ahead starts from where the filter is now, not from where the line would have it, and its uncertainty has the walk
still to come: the first passage of a walk with drift, whose variance is gap x q / drift^3 (inverse Gaussian distribution).

Laws, and ratios of walk to error, are weighed by their restricted likelihood and averaged: all have the same number of parameters,
so differences of Akaike's or the Bayesian information criterion are those of the likelihood (Burnham and Anderson 2002).

Water changes. A law may have changed on the way: beside one line through all points there are those of two, for each of a few places
where the second may begin; what the first leaves to be explained counts in its likelihood. A burst of dirt (works on the mains, rain) is
a jump that stays: the line may make it there as it likes, so its slope is that of usual water, and how often bursts came and what each
was worth is reckoned with for the volume ahead. So is a change of law still to come, the more in water that was seen to change.

A draw's drop is R x viscosity x flow (Darcy), and a share of the housing that goes with the square of the flow and never grows. The
housing is found from neighbouring draws of different flow, whatever the law may be.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise
from typing import Final, NamedTuple

from edge.domain.maths.robust import huber_weight, mad_sigma, median

LAWS: Final = ("complete", "standard", "intermediate", "cake")
#: fewer points tell nothing of a law
LEAST_POINTS: Final = 6
#: the walk's variance over the volume seen, relative to that of one point's error
RATIOS: Final = (0.03, 0.3, 3.0, 30.0, 300.0, 3000.0)
FEW_RATIOS: Final = (0.3, 30.0, 1000.0)
#: likelihoods below exp(-7) of the best are left out
WORTH: Final = 7.0
#: and so are parts of the mixture that weigh less than this
LIGHTEST: Final = 2e-4
#: a point can't be better than this share of the limit: gauges' linearity, viscosity's formula (common practice, no published source)
FLOOR_SHARE: Final = 0.001
#: dirt comes in spells of days, so the walk's steps go together: points are worth so many times fewer than they are
SPELLS: Final = 2.0
#: standard uncertainty of a drop's scale: an uncalibrated meter is 2 % off, and so is the drop that is scaled by its flow (common
#: practice, no published source)
SCALE_U: Final = 0.02
#: beyond this, a scale's uncertainty is more than a straight line's slope can stand for
WIDE_U: Final = 0.05
#: what a housing takes of a clean filter's drop, before anything was seen: mean and standard deviation (common practice, no
#: published source), never beyond twice that deviation above the mean
HOUSING: Final = (0.10, 0.10)
#: a share counts as known once its uncertainty is below this part of what it was before anything was seen
KNOWN: Final = 0.4
#: three points of a normal distribution with its mean, variance and kurtosis (Gauss-Hermite): (standard deviations, weight)
_NODES: Final = ((-math.sqrt(3.0), 1.0 / 6.0), (0.0, 2.0 / 3.0), (math.sqrt(3.0), 1.0 / 6.0))
#: where the law may have changed: shares of the points seen; both sides have so many points at least
CHANGES_AT: Final = (0.2, 0.35, 0.5, 0.62, 0.74, 0.84, 0.92)
LEAST_SIDE: Final = 8
#: what follows on changes, bursts and long lives was chosen on lives of tests/bench/filters.py: 280 (steady: seed 1; hard: 1, 3, 5), what a
#: change ahead is worth on 400 others (steady: seed 2; hard: 101, 102, 103)
#: log of what a change of law is worth before anything was seen, relative to none; and in water that was seen to come in bursts
CHANGE_PRIOR: Final = -1.2
CHANGE_PRIOR_IN_BURSTS: Final = -0.3
#: the usual rate at a point: the median of those over so many points, of so many to either side
RATE_OVER: Final = 8
RATE_ABOUT: Final = 12
#: a burst: by so many standard deviations and usual spacings of points more than usual; never worth more than this share of the litres seen
BURST_SIGMAS: Final = 3.0
BURST_SPACINGS: Final = 1.5
BURST_AT_MOST: Final = 0.3
#: variance, in that of a point's error, of what a burst may have brought
BURST_VARIANCE: Final = 1e4
#: bursts reckoned with before any was seen: so many in as many litres as were seen, each worth this share of them (common practice, no
#: published source)
BURSTS_BEFORE: Final = 0.3
BURST_SHARE: Final = 0.05
#: so many ahead at most
MOST_BURSTS: Final = 4
#: the probability of a change of law within as much as was seen is this times ln 2, in steady water and in such as was seen to change; it
#: makes the rate uncertain by so much (log), beside what the other laws make of it
CHANGE_AHEAD: Final = 0.15
CHANGE_AHEAD_SEEN: Final = 0.8
CHANGE_U: Final = 0.4
#: where it comes, as a share of what is left: sooner rather than later, for one that has only just come isn't seen yet
TURNS_AT: Final = 0.1
#: how strongly what outlasts all that was seen is disbelieved
OUTLASTS: Final = 1.0
#: volumes left beyond this many times the volume seen say only "long"
LONG: Final = 30.0


#: a law, and the litres since which it holds: minus infinity where it hasn't changed
Kind = tuple[str, float]


class Point(NamedTuple):
    """What one draw, or several like it, showed of a stage: litres that had passed; drop [kPa]; its parts at that draw relative to
    the reference: viscosity times flow, and flow squared; how many draws it stands for."""

    volume_l: float
    laminar: float
    square: float
    drop_kpa: float
    weight: float = 1.0


class Line(NamedTuple):
    """One law, since when it holds (litres; minus infinity where it hasn't changed), ratio and housing: log of the restricted likelihood,
    and the volume left as a lognormal (logarithm, deviation); infinity as the logarithm where the drop doesn't grow, minus infinity
    where the limit is passed. `level`: of the law's straight function now, where the limit is ahead."""

    law: str
    likelihood: float
    log_left: float
    deviation: float
    since_l: float = -math.inf
    level: float = math.nan


class Life(NamedTuple):
    """What the fit says. Volume left [L] with the 5 and 95 % points, infinity where the drop doesn't seem to grow; `weights` of the
    laws; `housing_kpa`: the housing's share at the reference. `parts`: (weight, line) of what it is the mixture of."""

    left_l: float
    low_l: float
    high_l: float
    weights: dict[str, float]
    housing_kpa: float
    far_l: float
    parts: tuple[tuple[float, Line], ...]

    @property
    def law(self) -> str | None:
        """The law that is decided on: none where no law has 80 % of the weight."""
        best = max(self.weights, key=self.weights.__getitem__)
        return best if self.weights[best] >= 0.8 else None

    def believed(self) -> dict[Kind, float]:
        """Weights of the laws, each with the litres since which it holds."""
        found: dict[Kind, float] = {}
        for weight, line in self.parts:
            found[line.law, line.since_l] = found.get((line.law, line.since_l), 0.0) + weight
        return found

    def weighed(self, weights: Mapping[Kind, float]) -> Life:
        """The same with other weights of the laws: something else told of them as well."""
        own = self.believed()
        parts = [
            (weight * weights.get((line.law, line.since_l), 0.0) / max(own[line.law, line.since_l], 1e-12), line)
            for weight, line in self.parts
        ]
        return _life(parts, self.housing_kpa, self.far_l)


class Bursts(NamedTuple):
    """Spells of much dirtier water: for each point, whether one lies between it and the one before; and how many litres of usual water
    each was worth beyond those that passed."""

    steps: list[bool]
    sizes_l: list[float]


def bursts(volumes: Sequence[float], seen: Sequence[float]) -> Bursts:
    """Where resistance rose by much more than about it, and stayed there. Whatever the law: rates are compared with their neighbours'."""
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
        """By how much it rose from before point i to from point j on, and the litres between."""
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
        rate = median(apart) if apart and median(apart) > 0.0 else rate  # of what doesn't reach over it
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
    """|d straight / d resistance|."""
    if law == "complete":
        return 1.0 / resistance**2
    if law == "standard":
        return 0.5 / (resistance * math.sqrt(resistance))
    return 1.0 / resistance if law == "intermediate" else 1.0


class Housing(NamedTuple):
    """What neighbouring draws of different flow told of the housing's share: sums over their differences of (square / laminar) and of
    (drop / laminar): xx, xy [kPa], yy [kPa2], and how many."""

    xx: float = 0.0
    xy: float = 0.0
    yy: float = 0.0
    n: int = 0

    def and_draws(self, one: Point, other: Point) -> Housing:
        """With two draws that followed on each other. The wildest differences are taken as three standard deviations."""
        x = other.square / other.laminar - one.square / one.laminar
        y = other.drop_kpa / other.laminar - one.drop_kpa / one.laminar
        if self.n >= 8:
            most = 3.0 * math.sqrt(self.yy / self.n)
            y = min(max(y, -most), most)
        return Housing(self.xx + x * x, self.xy + x * y, self.yy + y * y, self.n + 1)

    def slope_kpa(self) -> tuple[float, float] | None:
        """(the housing's share by the draws alone, its variance [kPa2]): two terms, drop / laminar = medium + share x square / laminar.
        None where too few draws differed in their flow."""
        if self.n < 4 or self.xx <= 0.0:
            return None
        slope = self.xy / self.xx
        # neighbours share a draw, so their differences are worth two thirds of their number
        noise = max(self.yy - slope * self.xy, 1e-12) / self.n
        return slope, 1.5 * noise / self.xx

    def known_kpa(self, clean_kpa: float) -> float:
        """The share, where draws have told it much better than what is usual; else none, and all is taken as laminar."""
        share, u = self.share_kpa(clean_kpa)
        return share if u < KNOWN * HOUSING[1] * clean_kpa else 0.0

    def share_kpa(self, clean_kpa: float) -> tuple[float, float]:
        """(the housing's share, its standard uncertainty) [kPa], with what is usual of a filter of this clean drop as prior."""
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
    """The volume left until the drop at the reference reaches the limit; None where the points can't tell.

    Args:
        points: in the order of volume, those of before a change left out; some 100 at most.
        passed_l: litres that have passed by now, counted as the points' are.
        scale_u: relative standard uncertainty of the drops' scale.
    """
    if len(points) < LEAST_POINTS or points[-1].volume_l <= points[0].volume_l:
        return None
    clean = median([point.drop_kpa / point.laminar for point in points[:5]])
    if clean <= 0.0:
        return None
    share, doubt = housing.share_kpa(clean)
    # a scale that is poorly known is taken at three places, as a limit that may be passed already, or not by far
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
    mixture = [(math.exp(lk - best), line) for lk, line in lines if lk > best - WORTH]
    return _life(mixture, share, LONG * (points[-1].volume_l - points[0].volume_l))


def _life(mixture: Sequence[tuple[float, Line]], housing_kpa: float, far_l: float) -> Life:
    least = LIGHTEST * sum(weight for weight, _ in mixture)
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

    # each burst that was seen makes it half as likely that this water is steady
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
    found = [line for line in found if line.likelihood > best - WORTH]
    if not found:
        return []
    weights_of = [(math.exp(line.likelihood - best), line.since_l > -math.inf) for line in found]
    changed = sum(weight for weight, is_so in weights_of if is_so) * math.exp(CHANGE_PRIOR - prior)
    changing = max(changing, changed / (changed + sum(weight for weight, is_so in weights_of if not is_so)))
    per_span = CHANGE_AHEAD + changing * (CHANGE_AHEAD_SEEN - CHANGE_AHEAD)
    return [ahead for line in found for ahead in _ahead(line, dirty.sizes_l, span, per_span, limit)]


def _ahead(line: Line, sizes_l: Sequence[float], seen_l: float, per_span: float, limit_kpa: float) -> list[Line]:
    """What a line says of the volume ahead, with what may still come.

    Bursts: as many as were seen in as many litres (a negative binomial, as a rate that is itself known by few makes of it), of sizes as
    they were (exponential). A change of law: the more likely the more of the life is ahead; each other law may follow, so a stage that
    loads ever faster may only slow down, and one that loads evenly only quicken. And what would outlast by far all that was seen is
    believed the less: x times as much is worth 1 / (1 + x), which draws a wide distribution down by its variance.
    """
    if not math.isfinite(line.log_left) or line.log_left > math.log(LONG * seen_l):
        return [line]
    left, shape = max(math.exp(line.log_left), 1e-6 * seen_l), len(sizes_l) + BURSTS_BEFORE
    mean_l = (sum(sizes_l) + BURSTS_BEFORE * BURST_SHARE * seen_l) / shape
    share = left / (left + seen_l)
    # one of two rates of change that may come or not
    changes = min(per_span * math.log1p(left / seen_l), 0.6)
    turns = _turns(line, limit_kpa)
    found, log = [], shape * math.log(1.0 - share) + OUTLASTS * math.log(1.0 - share)
    for number in range(MOST_BURSTS + 1):
        more = number * mean_l / left
        middle = line.log_left - math.log(1.0 + more)
        wide = math.hypot(line.deviation, math.sqrt(number) * mean_l / left / (1.0 + more))
        for weight, turned, also in (
            (1.0 - changes, 0.0, 0.0),
            *((changes / len(turns), turn, CHANGE_U) for turn in turns),
        ):
            u = math.hypot(wide, also)
            drawn = OUTLASTS * min(u * u, 1.0) * share
            found.append(
                Line(line.law, line.likelihood + log + math.log(weight), middle + turned - drawn, u, line.since_l)
            )
        log += math.log(share * (shape + number) / (number + 1.0))
    return found


def _turns(line: Line, limit_kpa: float) -> list[float]:
    """For each other law that may hold from TURNS_AT of what is left on, the stage loading as fast there as before: log of what is left
    then, over what it would be without."""
    goes_on = straight(line.law, limit_kpa) - line.level
    at = _resistance(line.law, line.level + TURNS_AT * goes_on)
    found = []
    for law in LAWS:
        if law != line.law:
            gap = abs(straight(law, limit_kpa) - straight(law, at)) / steepness(law, at)
            found.append(math.log(TURNS_AT + gap * steepness(line.law, at) / abs(goes_on)))
    return found


def _resistance(law: str, value: float) -> float:
    """The resistance whose straight function is this."""
    if law == "complete":
        return 1.0 / value
    if law == "standard":
        return 1.0 / value**2
    return math.exp(value) if law == "intermediate" else value


def _evidence(lines: Sequence[Line]) -> float:
    """Log of the mean likelihood."""
    best = max((line.likelihood for line in lines), default=-math.inf)
    return best + math.log(sum(math.exp(line.likelihood - best) for line in lines) / len(lines)) if lines else best


def _sober_weights(points: Sequence[Point], seen: Sequence[float]) -> list[float]:
    """Points that stand out of their neighbours weigh less (Huber), whatever law may hold."""
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
    """For one law: solve(ratio of walk to error, litres passed). `limits`: of the medium, and its standard uncertainty [kPa]."""
    start, span, n = volumes[0], volumes[-1] - volumes[0], len(volumes)
    ys = [straight(law, value) for value in seen]
    slopes = [steepness(law, value) for value in seen]
    mean_weight = sum(weights) / n
    errors = [s * s * mean_weight / w for s, w in zip(slopes, weights, strict=True)]
    typical = median(errors)
    # likelihoods are of drops, not of the law's own straight function of them; and nothing is known before of the drop at either end
    ends = median(slopes[:5]) * median(slopes[-5:]) * limits[0] ** 2
    jacobian = sum(map(math.log, slopes)) - math.log(ends) + math.log(span) - 0.5 * (n - 2) * math.log(2.0 * math.pi)
    steps = [0.0, *(later - sooner for sooner, later in pairwise(volumes))]

    limit, scale = straight(law, limits[0]), limits[1] * steepness(law, limits[0])

    def solve(ratio: float, passed_l: float) -> Line | None:
        walk = ratio * typical / span
        wy = w1 = wv = variance = 0.0  # the walk as filtered from the series y, 1 and V; its variance over the errors'
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
        likelihood = (jacobian - 0.5 * (logs + math.log(det) + freedom * math.log(noise) + rss / noise)) / SPELLS
        # where the line is now, and how sure that and its slope are
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
            max(relative, 1e-9) * SPELLS * (1.0 + 3.0 / freedom)
        )  # the last for the tails of few points (Student)
        relative += (scale / gap) ** 2
        return Line(law, likelihood, math.log(gap / slope), math.sqrt(relative), level=level)

    return solve


def falls(law: str) -> bool:
    """Does the law's straight line fall as the filter loads?"""
    return law in ("complete", "standard")


def _passed(law: str, gap: float) -> bool:
    """Does the line stand beyond its limit?"""
    return gap > 0.0 if falls(law) else gap < 0.0


def _quantile(parts: Sequence[tuple[float, float, float]], wanted: float, far: float) -> float:
    """The value below which this share of a mixture of lognormals lies; infinity beyond `far`."""

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
