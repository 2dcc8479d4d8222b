"""What two stages in a row tell together: how each loads, and which will be the first at its limit.

The same water, as dirty as it is, passes both. Over the litres each of them runs ahead and falls behind with the dirt; but over one
another they don't: where one stage's law makes it a straight line over the dirt that has passed, and the other's law the other, the
one's straight function is a straight line over the other's. What is left about that line is only error of measurement; so pairs of
laws are told apart sooner than one law over the litres, and which limit comes first can be read off without a forecast of the dirt.

Where one of both may have changed its law on the way, the line begins anew there; what was before is then a line of its own, and what is
left about both counts.

A line with errors in both (W. E. Deming 1943: effective variance, by iteration); distances from it are taken in kPa, at right angles
to the curve, so that pairs of laws are compared by the same measure. If the stages do not load together after all, the distances wander,
and count for fewer: by as many times as the means of long stretches scatter more than their neighbours' differences let expect
(the inefficiency of a correlated series by blocks; textbook).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from typing import Final, NamedTuple

from edge.domain.maths.robust import median, normal_cdf
from edge.domain.water.filter_life import FLOOR_SHARE, LAWS, LEAST_SIDE, Kind, Life, Point, falls, steepness, straight

#: fewer points of both tell nothing of a pair of laws
LEAST_TOGETHER: Final = 12
_TURNS: Final = 3
#: share of a law's weight that stays with what its stage says alone: the two may not load together, unseen as yet
DOUBT: Final = 0.2
#: stretches that the distances are looked at in
BLOCKS: Final = 8
#: 95 % of a normal distribution lie below so many deviations
_Z95: Final = 1.645


class Side(NamedTuple):
    """One stage: its points, its limit [kPa], and what its drops over the litres alone say."""

    points: Sequence[Point]
    limit_kpa: float
    life: Life


class Pair(NamedTuple):
    """Weights of the laws of each, with since when they hold, and the probability that the first of both is the first at its limit."""

    one_kinds: dict[Kind, float]
    other_kinds: dict[Kind, float]
    one_first: float

    @property
    def one(self) -> dict[str, float]:
        """Weights of the laws of the first."""
        return _by_law(self.one_kinds)

    @property
    def other(self) -> dict[str, float]:
        """Weights of the laws of the second."""
        return _by_law(self.other_kinds)


def _by_law(kinds: Mapping[Kind, float]) -> dict[str, float]:
    return {law: sum(weight for kind, weight in kinds.items() if kind[0] == law) for law in LAWS}


def together(one: Side, other: Side) -> Pair | None:
    """What both say; None where too few of their points are of the same water."""
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
    # the likelihood of both is that of one over the litres times that of the other over the one; the mean of both ways round. Where
    # they don't load together, that of each over the litres
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
            found[kind] = found.get(kind, 0.0) + (1.0 - DOUBT) * weight / total
    for found, own in zip(both, kinds, strict=True):
        for kind, weight in own.items():
            found[kind] = found.get(kind, 0.0) + DOUBT * weight
    first = sum(weight * normal_cdf(line.ahead * math.sqrt(share)) for _, _, line, weight in raw) / total
    return Pair(*both, share * first + (1.0 - share) * _first_alone(one.life, other.life))


def _since(
    seen: Sequence[_Both], starts: Iterable[float], limits: tuple[float, float], floor: float
) -> dict[float, dict[tuple[str, str], _Line]]:
    """For each of these litres, the lines of all pairs of laws from there on; their noise is that of the best line of before with them.
    Two lines can always be laid closer than one: the noise counts for as much more as two more numbers let it seem less (the Bayesian
    information criterion)."""
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
    """The probability that one is the first, by what each says over the litres: as two lognormals."""
    if not (math.isfinite(one.left_l) and math.isfinite(other.left_l) and one.left_l > 0.0 and other.left_l > 0.0):
        return float(one.left_l < other.left_l)
    spread = math.hypot(
        *(math.log(max(life.left_l / max(life.low_l, 1e-3 * life.left_l), 1.001)) for life in (one, other))
    )
    return normal_cdf(_Z95 * math.log(other.left_l / one.left_l) / spread)


class _Line(NamedTuple):
    """Variance about the line [kPa2]; how many times more its distances scatter over long stretches than from one to the next, at
    least 1; by how many standard deviations the other stage is still short of its limit when the first reaches its own."""

    noise: float
    wanders: float
    ahead: float


class _Both(NamedTuple):
    """Resistances of both [kPa at the reference] at these litres."""

    volume_l: float
    one: float
    other: float
    weight: float


def _side_by_side(one: Side, other: Side) -> list[_Both]:
    """Where both were seen, at the volumes of the one with fewer."""
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
    """The resistance at a volume, by the straight line between its neighbours; none outside."""
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
    # the slope to begin with: between the ends' medians
    n = len(seen)
    third = max(n // 4, 2)
    run = median(x[-third:]) - median(x[:third])
    slope = (median(y[-third:]) - median(y[:third])) / run if run else 0.0
    level = mean_x = sxx = 0.0
    for _ in range(_TURNS):
        weights = [w / (q * q + slope * slope * p * p) for (_, _, w), p, q in zip(seen, sx, sy, strict=True)]
        total = sum(weights)
        mean_x = sum(w * v for w, v in zip(weights, x, strict=True)) / total
        level = sum(w * v for w, v in zip(weights, y, strict=True)) / total
        # where the line stands for a point: errors in x would else make the slope too small
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
