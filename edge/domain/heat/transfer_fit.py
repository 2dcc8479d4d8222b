"""Measures a transfer by a probe in the basin: when the liquid came, and which temperature it had there.

When a cycle takes the liquid away (cycle.py), the reservoir's fall gives the time within a minute, the basin's rise gives it better. After
the rise the probe follows with its lag, liquid and metal even out, and both cool slowly. With x seconds since the rise

    T(x) = a - b x + d exp(-x/lag) + e exp(-x/even)

where a - b x is the liquid's temperature after the transfer. Least squares give a, d and e at each point of a grid of b, lag and even; the
points are weighted by their fit, so that temperature and standard deviation need no choice of one point. Slow evening out looks much
like cooling. Therefore the temperature is told for a minute and a half after the rise, not for the rise itself: the heat lost until then
counts as lost on the way.

f = (liquid - basin)/(liquid - Tcold), where Tcold is the room. Where no room is measured, Tcold is what the basin's own probe showed at
rest before: the declared coldest room would make f look smaller than it is.

The day's first cycle finds everything cold and counts. A basin that is warm already (a later cycle, rinse residue) is counted apart.
Common practice, no published source; it was tried on `python -m tests.bench.transfer`.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from math import exp, hypot, sqrt
from typing import Final, NamedTuple

from edge.domain.heat.warmup import hinge
from edge.domain.maths.robust import median

#: An average is taken over this time [ms]: a quarter of a minute.
BIN_MS: Final = 15_000
#: Averages are kept for this long [ms].
KEPT_MS: Final = 25 * 60_000
#: The basin's rise is looked for from this long before the reservoir's fall [ms]: a large heel shows its fall late.
RISES_FROM_MS: Final = 300_000
#: The basin's rise is looked for until this long after the reservoir's fall [ms].
RISES_UNTIL_MS: Final = 300_000
#: A smaller rise of the basin is none [K].
BASIN_RISE_K: Final = 2.0
#: The rise has to come within this time [ms].
RISE_WITHIN_MS: Final = 75_000
#: The contact is measured for this long after the rise; by the label it lasts longer, or hardly less [s].
WINDOW_S: Final = 300.0
#: A contact shorter than this isn't measured [s].
LEAST_S: Final = 160.0
#: Averages within this time of the rise are left out: the basin still fills [s].
FILLED_S: Final = 20.0
#: Grid of the probe's lag [s].
LAGS_S: Final = (4.0, 8.0, 15.0, 25.0, 40.0, 60.0, 90.0, 130.0)
#: The temperature is told for this long after the rise [s].
COUNTS_FROM_S: Final = 90.0
#: Grid of the time constant with which liquid and metal even out [s].
EVENS_S: Final = (30.0, 60.0, 100.0)
#: Grid of the basin's rate of cooling.
COOLS_K_PER_MIN: Final = (0.0, 0.03, 0.07, 0.12, 0.2)
#: Prior standard deviation of the amplitude e of the evening out [K].
EVENS_K: Final = 3.0
#: Least standard deviation of an average about the fit, and of the result [K].
LEAST_SD_K: Final = 0.02
#: Prior mean of the basin's rate of cooling: a few litres lose some tens of watts to basin and room.
USUAL_COOLS_K_PER_MIN: Final = 0.06
#: The liquid leaves the basin when it falls within a quarter of a minute by this more than just before [K].
LEAVES_K: Final = 0.35
#: A basin that still falls this fast at the end never held the liquid.
EMPTIES_K_PER_MIN: Final = 0.6


class Averages:
    """Averages of a quarter of a minute, (mean time [ms], Cel), of the last 25 minutes."""

    __slots__ = ("rows", "_from_ms", "_times", "_sum", "_n")

    def __init__(self) -> None:
        self.rows: deque[tuple[int, float]] = deque()
        self._from_ms = self._times = self._n = 0
        self._sum = 0.0

    def add(self, value_c: float, mono_ms: int) -> bool:
        """Take one reading [Cel]; True where it closed an average."""
        ended = self._n > 0 and mono_ms - self._from_ms >= BIN_MS
        if ended:
            rows = self.rows
            rows.append((self._times // self._n, self._sum / self._n))
            while rows and mono_ms - rows[0][0] > KEPT_MS:
                rows.popleft()
            self._n = 0
        if not self._n:
            self._from_ms, self._times, self._sum = mono_ms, 0, 0.0
        self._times += mono_ms
        self._sum += value_c
        self._n += 1
        return ended

    def between(self, from_ms: float, to_ms: float) -> list[tuple[int, float]]:
        """The averages whose mean time lies within."""
        return [row for row in self.rows if from_ms <= row[0] <= to_ms]


class Plateau(NamedTuple):
    """The basin's temperature at COUNTS_FROM_S [Cel], its standard deviation [K], and the rate of cooling."""

    basin_c: float
    sd_k: float
    falls_k_per_min: float


class Arrival(NamedTuple):
    """The liquid's arrival in the basin: time [ms], temperature before [Cel], rise [K], and the averages since (s, Cel)."""

    at_ms: float
    was_c: float
    rose_k: float
    rows: list[tuple[float, float]]
    is_over: bool  # the liquid has left again


def plateau(rows: Sequence[tuple[float, float]], step_k: float = 0.0) -> Plateau | None:
    """a - b x of this module's head at COUNTS_FROM_S; None: too few averages.

    Args:
        rows: the averages (s since the rise, Cel).
        step_k: the probe's quantisation step [K]; 0.0: none, or not known.
    """
    if len(rows) < 3 or rows[-1][0] < LEAST_S - FILLED_S:
        return None
    shapes = [(lag, even, cools) for lag in LAGS_S for even in EVENS_S for cools in COOLS_K_PER_MIN]
    found = [_fit(rows, lag, even, cools / 60.0) for lag, even, cools in shapes]
    best = min(left for _, _, left in found)
    variance = max((best + 3.0 * LEAST_SD_K**2) / len(rows), LEAST_SD_K**2, (step_k / 3.0) ** 2)
    whole = mean = square = falls = 0.0
    for (a, spread, left), (_, _, cools) in zip(found, shapes, strict=True):
        weight = exp(-0.5 * min((left - best) / variance, 60.0) - cools / USUAL_COOLS_K_PER_MIN)
        seen = a - cools * COUNTS_FROM_S / 60.0
        whole, mean, falls = whole + weight, mean + weight * seen, falls + weight * cools
        square += weight * (seen * seen + spread * variance)
    mean /= whole
    return Plateau(mean, hypot(LEAST_SD_K, sqrt(max(square / whole - mean * mean, 0.0))), falls / whole)


def _fit(rows: Sequence[tuple[float, float]], lag: float, even: float, cools: float) -> tuple[float, float, float]:
    """Least squares of a, d and e: (a [Cel], its variance in units of an average's, residual sum of squares [K^2])."""
    base, n = rows[-1][1], float(len(rows))
    # Prior weights in units of an average's noise: d is free, e has the standard deviation EVENS_K.
    sd, se, sdd, sde, see, sy, sdy, sey, syy = 0.0, 0.0, 1e-6, 0.0, (LEAST_SD_K / EVENS_K) ** 2, 0.0, 0.0, 0.0, 0.0
    for x, c in rows:
        u, v, y = exp(-x / lag), exp(-x / even), c - base + cools * x
        sd, se, sdd, sde, see = sd + u, se + v, sdd + u * u, sde + u * v, see + v * v
        sy, sdy, sey, syy = sy + y, sdy + u * y, sey + v * y, syy + y * y
    # The symmetric 3 x 3 system, solved by cofactors.
    a00, a01, a02 = sdd * see - sde * sde, se * sde - sd * see, sd * sde - se * sdd
    a11, a12, a22 = n * see - se * se, sd * se - n * sde, n * sdd - sd * sd
    det = n * a00 + sd * a01 + se * a02
    a, d, e = ((a00 * sy + a01 * sdy + a02 * sey) / det, (a01 * sy + a11 * sdy + a12 * sey) / det,
               (a02 * sy + a12 * sdy + a22 * sey) / det)  # fmt: skip
    return base + a, a00 / det, max(syy - a * sy - d * sdy - e * sey, 0.0)


def left_at_ms(liquid: Sequence[tuple[int, float]], away_ms: int) -> float:
    """When the liquid began to leave [ms], by the reservoir's averages (ms, Cel) up to `away_ms`, when the cycle was detected."""
    rows = [(t, -c) for t, c in liquid if away_ms - 9 * 60_000 <= t <= away_ms + 45_000]
    bend = hinge(rows) if len(rows) >= 8 else None
    if bend is not None:
        return bend[0]
    late = [row for row in rows if row[0] >= away_ms - 5 * 60_000] or rows
    return max(late, key=lambda row: (-row[1], row[0]))[0] if late else float(away_ms)


def arrival(basin: Sequence[tuple[int, float]], left_ms: float) -> Arrival | None:
    """The basin's rise; without one, the averages from when the liquid must have come on; None: too little was seen.

    Args:
        basin: the basin's averages (ms, Cel).
        left_ms: when the liquid left by the reservoir's probe.
    """
    from_ms = left_ms - RISES_FROM_MS
    begins = _rise([row for row in basin if from_ms <= row[0] <= left_ms + RISES_UNTIL_MS])
    if begins is None:  # a heel may show the cycle only when the liquid returns
        begins = _rise([row for row in basin if row[0] < from_ms])
        if (
            begins is not None
            and min((c for t, c in basin if begins[0] + 90_000 < t < left_ms - 30_000), default=0.0) < begins[2]
        ):
            begins = None
    if begins is None:
        before = [c for t, c in basin if left_ms - 150_000 <= t < left_ms - 15_000]
        return Arrival(left_ms + 30_000, median(before), 0.0, *_since(basin, left_ms + 30_000)) if before else None
    at0_ms, rises_to_c, _ = begins
    before = [c for t, c in basin if at0_ms - 150_000 <= t <= at0_ms]
    was_c = min(median(before), rises_to_c)
    top = max(c for t, c in basin if at0_ms <= t <= at0_ms + 240_000)
    half, at_ms, prior = (was_c + top) / 2.0, float(at0_ms), (at0_ms, was_c)
    for row in basin:
        if row[0] <= at0_ms:
            continue
        if row[1] >= half:
            at_ms = prior[0] + (row[0] - prior[0]) * (half - prior[1]) / max(row[1] - prior[1], 1e-6)
            break
        prior = row
    return Arrival(at_ms, was_c, top - was_c, *_since(basin, at_ms))


def _rise(rows: Sequence[tuple[int, float]]) -> tuple[int, float, float] | None:
    """The steepest rise within RISE_WITHIN_MS: (its start [ms], the next average [Cel], start plus 60 % of the rise [Cel]); None: none."""
    rose, first = 0.0, -1
    for i, (from_ms, from_c) in enumerate(rows):
        for j in range(i + 1, len(rows)):
            if rows[j][0] - from_ms > RISE_WITHIN_MS and j > i + 1:
                break
            if rows[j][1] - from_c > rose:
                rose, first = rows[j][1] - from_c, i
    if rose < BASIN_RISE_K:
        return None
    return rows[first][0], rows[first + 1][1], rows[first][1] + 0.6 * rose


def _since(basin: Sequence[tuple[int, float]], at_ms: float) -> tuple[list[tuple[float, float]], bool]:
    """The averages of the window (s, Cel), and whether the liquid has left within it."""
    rows: list[tuple[float, float]] = []
    before = 0.0
    for t, c in basin:
        x = (t - at_ms) / 1000.0
        if x < FILLED_S or x > WINDOW_S:
            continue
        fell = (rows[-1][1] - c) / max((x - rows[-1][0]) / 15.0, 1.0) if rows else 0.0
        if x > 120.0 and fell > LEAVES_K + max(
            before, 0.0
        ):  # a fall by evening out slows down, so a faster one is the liquid's leaving
            return rows, True
        before = fell
        rows.append((x, c))
    return rows, False


def empties(rows: Sequence[tuple[float, float]]) -> bool:
    """Does the basin still fall at the end faster than one that holds liquid? A fill that was broken off leaves warm metal."""
    late = [row for row in rows if row[0] >= max(rows[-1][0] - 90.0, 120.0)]
    return len(late) > 1 and (late[0][1] - late[-1][1]) * 60.0 / (late[-1][0] - late[0][0]) > EMPTIES_K_PER_MIN
