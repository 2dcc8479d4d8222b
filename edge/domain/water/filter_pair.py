"""Two filter stages in a row, fitted together: the law by which each loads, and which one will be the first at its limit.

The same dirt passes both stages. Over the litres each stage runs ahead and falls behind with the dirt, but not over the other stage: if
each stage's law makes its function of the resistance a straight line over the dirt that has passed, the one's function is a straight line
over the other's. Only errors of measurement remain about that line. So pairs of laws are told apart sooner than one law over litres, and
the line shows which limit comes first without a forecast of the dirt.

If one of the stages may have changed its law, the line begins again there. The points before then have a line of their own, and the
residuals of both lines count.

The line has errors in both variables (W. E. Deming 1943: effective variance, by iteration). Distances are taken in kPa at right angles to
the curve, so that pairs of laws are compared by one measure. If the stages do not load together after all, the distances wander. The
points then count for fewer, by the factor by which the means of long blocks scatter more than differences of neighbours predict (the
statistical inefficiency of a correlated series; textbook).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from typing import Final, NamedTuple

from edge.domain.maths.robust import median, normal_cdf
from edge.domain.water.filter_life import FLOOR_SHARE, LAWS, LEAST_SIDE, Kind, Life, Point, falls, steepness, straight

#: With fewer points of both stages no pair of laws is fitted.
LEAST_TOGETHER: Final = 12
#: Iterations of the fit with errors in both variables.
_ITERATIONS: Final = 3
#: This share of a law's weight stays that of its stage alone: the two may not load together, and not show it yet.
ALONE_SHARE: Final = 0.2
#: The distances are averaged over this many blocks to see whether they wander.
BLOCKS: Final = 8
#: The 95 % point of a normal distribution, in standard deviations.
_Z95: Final = 1.645


class Side(NamedTuple):
    """One stage: its points, its limit [kPa], and its fit over the litres alone."""

    points: Sequence[Point]
    limit_kpa: float
    life: Life


class Pair(NamedTuple):
    """Weights of the laws of each stage, and the probability that the first stage is the first at its limit."""

    one_kinds: dict[Kind, float]
    other_kinds: dict[Kind, float]
    one_first: float

    @property
    def one(self) -> dict[str, float]:
        """Weights of the first stage's laws."""
        return _by_law(self.one_kinds)

    @property
    def other(self) -> dict[str, float]:
        """Weights of the second stage's laws."""
        return _by_law(self.other_kinds)


def _by_law(kinds: Mapping[Kind, float]) -> dict[str, float]:
    return {law: sum(weight for kind, weight in kinds.items() if kind[0] == law) for law in LAWS}


def together(one: Side, other: Side) -> Pair | None:
    """The fit of both stages together; None where too few of their points lie at the same litres."""
    seen = _side_by_side(one, other)
    if len(seen) < LEAST_TOGETHER:
        return None
    limits = one.limit_kpa - one.life.housing_kpa, other.limit_kpa - other.life.housing_kpa
    if min(limits) <= 0.0:
        return None
    floor = (FLOOR_SHARE * max(one.limit_kpa, other.limit_kpa)) ** 2
    kinds = one.life.believed(), other.life.believed()
    lines = _since(seen, {since_l for of in kinds for _, since_l in of}, limits, floor)
    best = min((line for since in lines.values() for line in since.values()), key=lambda line: line.noise)
    share = 1.0 / best.wanders
    worth = share * (len(seen) - 2)
    # The likelihood of both stages is that of one over the litres times that of the other over the one, in the mean of both orders. If
    # they don't load together, it is the product of both over the litres.
    alone = 1.0 - 0.5 * share
    told = [
        (kind_a, kind_b, line, -0.5 * worth * math.log(line.noise / best.noise) + alone * math.log(wa * wb + 1e-12))
        for kind_a, wa in kinds[0].items()
        for kind_b, wb in kinds[1].items()
        if (line := lines.get(max(kind_a[1], kind_b[1]), {}).get((kind_a[0], kind_b[0]))) is not None
    ]
    if not told:
        return None
    top = max(log for *_, log in told)
    raw = [(kind_a, kind_b, line, math.exp(log - top)) for kind_a, kind_b, line, log in told]
    total = sum(weight for *_, weight in raw)
    both: tuple[dict[Kind, float], dict[Kind, float]] = ({}, {})
    for kind_a, kind_b, _, weight in raw:
        for found, kind in zip(both, (kind_a, kind_b), strict=True):
            found[kind] = found.get(kind, 0.0) + (1.0 - ALONE_SHARE) * weight / total
    for found, own in zip(both, kinds, strict=True):
        for kind, weight in own.items():
            found[kind] = found.get(kind, 0.0) + ALONE_SHARE * weight
    first = sum(weight * normal_cdf(line.ahead * math.sqrt(share)) for _, _, line, weight in raw) / total
    return Pair(*both, share * first + (1.0 - share) * _first_alone(one.life, other.life))


def _since(
    seen: Sequence[_Both], starts: Iterable[float], limits: tuple[float, float], floor: float
) -> dict[float, dict[tuple[str, str], _Line]]:
    """For each start in litres, the lines of all pairs of laws from there on; their noise includes that of the best line before it.

    Two lines always fit closer than one. The noise is raised by the penalty of the Bayesian information criterion for two more parameters.
    """
    found: dict[float, dict[tuple[str, str], _Line]] = {}
    for since_l in starts:
        before, after = ([row for row in seen if (row.volume_l >= since_l) is late] for late in (False, True))
        if not before:
            found[since_l] = {(a, b): _line(a, b, after, limits, floor) for a in LAWS for b in LAWS}
        elif min(len(before), len(after)) >= LEAST_SIDE:
            n1, n2 = len(before) - 2, len(after) - 2
            past = min(_line(a, b, before, limits, floor).noise for a in LAWS for b in LAWS)
            dearer = math.exp(2.0 * math.log(len(seen)) / (n1 + n2))
            lines = {(a, b): _line(a, b, after, limits, floor) for a in LAWS for b in LAWS}
            found[since_l] = {
                pair: line._replace(noise=dearer * (n1 * past + n2 * line.noise) / (n1 + n2))
                for pair, line in lines.items()
            }
    return found


def _first_alone(one: Life, other: Life) -> float:
    """The probability that the first stage is the first at its limit, by the fits over the litres alone, as two lognormals."""
    if not (math.isfinite(one.left_l) and math.isfinite(other.left_l) and one.left_l > 0.0 and other.left_l > 0.0):
        return float(one.left_l < other.left_l)
    spread = math.hypot(
        *(math.log(max(life.left_l / max(life.low_l, 1e-3 * life.left_l), 1.001)) for life in (one, other))
    )
    return normal_cdf(_Z95 * math.log(other.left_l / one.left_l) / spread)


class _Line(NamedTuple):
    """The fit of one pair of laws.

    Args:
        noise: variance about the line [kPa2].
        wanders: statistical inefficiency of the distances, at least 1.
        ahead: how far the second stage is short of its limit when the first reaches its own [standard deviations].
    """

    noise: float
    wanders: float
    ahead: float


class _Both(NamedTuple):
    """Resistances of both stages [kPa at the reference] at the same litres."""

    volume_l: float
    one: float
    other: float
    weight: float


def _side_by_side(one: Side, other: Side) -> list[_Both]:
    """The resistances of both stages at the litres of the stage with fewer points; the other's are interpolated."""
    a, b = (_resistances(side) for side in (one, other))
    if len(a) <= len(b):
        return [_Both(v, y, at, w) for v, y, w in a if (at := _between(b, v)) is not None]
    return [_Both(v, at, y, w) for v, y, w in b if (at := _between(a, v)) is not None]


def _resistances(side: Side) -> list[tuple[float, float, float]]:
    seen = [(p.drop_kpa - side.life.housing_kpa * p.square) / p.laminar for p in side.points]
    least = 0.02 * median(seen)
    if least <= 0.0:
        return []
    return [(p.volume_l, max(r, least), p.weight) for p, r in zip(side.points, seen, strict=True)]


def _between(rows: Sequence[tuple[float, float, float]], volume_l: float) -> float | None:
    """The resistance at a volume, interpolated between its neighbours; None outside."""
    if not rows or not rows[0][0] <= volume_l <= rows[-1][0]:
        return None
    low, high = 0, len(rows) - 1
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if rows[middle][0] <= volume_l else (low, middle)
    (v0, r0, _), (v1, r1, _) = rows[low], rows[high]
    return r0 if v1 <= v0 else r0 + (r1 - r0) * (volume_l - v0) / (v1 - v0)


def _line(a: str, b: str, rows: Sequence[_Both], limits: tuple[float, float], floor: float) -> _Line:
    seen = [(row.one, row.other, row.weight) for row in rows]
    x, y = [straight(a, r) for r, _, _ in seen], [straight(b, r) for _, r, _ in seen]
    sx, sy = [steepness(a, r) for r, _, _ in seen], [steepness(b, r) for _, r, _ in seen]
    # The slope to begin with lies between the medians of both ends.
    n = len(seen)
    third = max(n // 4, 2)
    run = median(x[-third:]) - median(x[:third])
    slope = (median(y[-third:]) - median(y[:third])) / run if run else 0.0
    level = mean_x = sxx = 0.0
    for _ in range(_ITERATIONS):
        weights = [w / (q * q + slope * slope * p * p) for (_, _, w), p, q in zip(seen, sx, sy, strict=True)]
        total = sum(weights)
        mean_x = sum(w * v for w, v in zip(weights, x, strict=True)) / total
        level = sum(w * v for w, v in zip(weights, y, strict=True)) / total
        # The points are projected onto the line, since errors in x would make the slope too small.
        fit_x = [
            (u * q * q + slope * p * p * (v - level + slope * mean_x)) / (q * q + slope * slope * p * p)
            for u, v, p, q in zip(x, y, sx, sy, strict=True)
        ]
        sxx = sum(w * (f - mean_x) ** 2 for w, f in zip(weights, fit_x, strict=True))
        sxy = sum(w * (f - mean_x) * (v - level) for w, f, v in zip(weights, fit_x, y, strict=True))
        sux = sum(w * (f - mean_x) * (u - mean_x) for w, f, u in zip(weights, fit_x, x, strict=True))
        if sux <= 0.0 or sxx <= 0.0:
            break
        slope = sxy / sux
    off = [
        (v - level - slope * (u - mean_x)) / math.sqrt(q * q + slope * slope * p * p)
        for u, v, p, q in zip(x, y, sx, sy, strict=True)
    ]
    mean_weight = sum(w for _, _, w in seen) / n
    squares = sum(w * d * d for (_, _, w), d in zip(seen, off, strict=True)) / mean_weight
    noise = squares / (n - 2) + floor
    limit_x, limit_y = straight(a, limits[0]), straight(b, limits[1])
    gap = limit_y - level - slope * (limit_x - mean_x)
    total = sum(w / (q * q + slope * slope * p * p) for (_, _, w), p, q in zip(seen, sx, sy, strict=True)) / mean_weight
    far = (limit_x - mean_x) ** 2 * mean_weight / sxx if sxx > 0.0 else math.inf
    doubt = math.sqrt(noise * (1.0 / total + far))
    ahead = (-gap if falls(b) else gap) / doubt if doubt > 0.0 else 0.0
    return _Line(noise, _wanders(off, floor), ahead)


def _wanders(off: Sequence[float], floor: float) -> float:
    length = max(len(off) // BLOCKS, 2)
    means = [sum(off[at : at + length]) / length for at in range(0, len(off) - length + 1, length)]
    near = sum((b - a) ** 2 for a, b in pairwise(off)) / (2.0 * (len(off) - 1)) + floor
    return max(length * sum(m * m for m in means) / (max(len(means) - 2, 1) * near), 1.0)
