"""What a probe in the basin shows of each transfer, and what a station learns of its loss.

When a cycle takes the liquid away (cycle.py), the reservoir's fall says when, within a minute; the basin's rise says it better. Before
it stands the liquid's temperature, after it the basin's: a probe follows with a lag, liquid and metal even out, and the whole cools
slowly. With x seconds since the rise

    T(x) = a - b x + d exp(-x/lag) + e exp(-x/even)

a - b x is what the liquid became by the transfer. Over a grid of b, lag and even the least squares give a, d and e, weighted by how
well they fit: its temperature and standard deviation without choosing one. Slow evening out looks much like cooling; so it is told for
the time a minute and a half after the rise, not for the rise itself: what is lost until then counts as lost on the way.

f = (liquid - basin)/(liquid - Tcold), Tcold the room; where no room is measured it is what the basin's own probe showed at rest before,
since the declared coldest room would make f look smaller than it is.

The day's first cycle finds all cold and counts; a basin that is warm already (a later cycle, rinse residue) is counted apart.
Common practice, no published source; `python -m tests.bench.transfer` is what it was tried on.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from math import exp, hypot, sqrt
from typing import Final, NamedTuple

from edge.domain.heat.warmup import hinge
from edge.domain.maths.robust import median

BIN_MS: Final = 15_000
KEPT_MS: Final = 25 * 60_000
#: the basin's rise is looked for from so long before the reservoir's fall (a large heel shows it late) until so long after it
RISES_FROM_MS: Final = 300_000
RISES_UNTIL_MS: Final = 300_000
RISE_K: Final = 2.0  # less than this is none
RISE_WITHIN_MS: Final = 75_000
#: the part of the contact that is measured; by the label it lasts longer, or little so
WINDOW_S: Final = 300.0
LEAST_S: Final = 160.0
FILLED_S: Final = 20.0
LAGS_S: Final = (4.0, 8.0, 15.0, 25.0, 40.0, 60.0, 90.0, 130.0)
COUNTS_FROM_S: Final = 90.0
EVENS_S: Final = (30.0, 60.0, 100.0)
COOLS_K_PER_MIN: Final = (0.0, 0.03, 0.07, 0.12, 0.2)
EVENS_K: Final = 3.0  # how much of it evening out can take, standard deviation
LEAST_SD_K: Final = 0.02
USUAL_COOLS_K_PER_MIN: Final = 0.06  # a few litres lose some tens of watts to basin and room
#: falls faster by so much within a quarter of a minute than just before, and the liquid has left the basin
LEAVES_K: Final = 0.35
#: and one that still falls so fast at the end never held it
EMPTIES_K_PER_MIN: Final = 0.6


class Averages:
    """Means of a quarter of a minute: (ms of their middle, Cel), for 25 minutes."""

    __slots__ = ("rows", "_from_ms", "_times", "_sum", "_n")

    def __init__(self) -> None:
        self.rows: deque[tuple[int, float]] = deque()
        self._from_ms = self._times = self._n = 0
        self._sum = 0.0

    def add(self, value_c: float, mono_ms: int) -> bool:
        """One reading. True where it ended a quarter of a minute."""
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
        """Those whose middle lies within."""
        return [row for row in self.rows if from_ms <= row[0] <= to_ms]


class Plateau(NamedTuple):
    """What the basin came to: Cel at COUNTS_FROM_S, standard deviation, and how fast it cools."""

    basin_c: float
    sd_k: float
    falls_k_per_min: float


class Arrival(NamedTuple):
    """The liquid's arrival in the basin: when [ms], what stood there before [Cel], and the rows since, s and Cel."""

    at_ms: float
    was_c: float
    rose_k: float
    rows: list[tuple[float, float]]
    is_over: bool  # the liquid has left again


def plateau(rows: Sequence[tuple[float, float]], step_k: float = 0.0) -> Plateau | None:
    """The T(x) of this module's head without its last terms at COUNTS_FROM_S, from rows of (s since the rise, Cel); None: too few.

    Args:
        step_k: the probe's resolution [K], where it is known.
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
    """Least squares of a, d and e: (a, its variance in units of that of a row, sum of squares left)."""
    base, n = rows[-1][1], float(len(rows))
    # beforehand, in units of a row's noise: d may be anything, e is a kelvin or so
    sd, se, sdd, sde, see, sy, sdy, sey, syy = 0.0, 0.0, 1e-6, 0.0, (LEAST_SD_K / EVENS_K) ** 2, 0.0, 0.0, 0.0, 0.0
    for x, c in rows:
        u, v, y = exp(-x / lag), exp(-x / even), c - base + cools * x
        sd, se, sdd, sde, see = sd + u, se + v, sdd + u * u, sde + u * v, see + v * v
        sy, sdy, sey, syy = sy + y, sdy + u * y, sey + v * y, syy + y * y
    # symmetric 3 x 3 by cofactors
    a00, a01, a02 = sdd * see - sde * sde, se * sde - sd * see, sd * sde - se * sdd
    a11, a12, a22 = n * see - se * se, sd * se - n * sde, n * sdd - sd * sd
    det = n * a00 + sd * a01 + se * a02
    a, d, e = ((a00 * sy + a01 * sdy + a02 * sey) / det, (a01 * sy + a11 * sdy + a12 * sey) / det,
               (a02 * sy + a12 * sdy + a22 * sey) / det)  # fmt: skip
    return base + a, a00 / det, max(syy - a * sy - d * sdy - e * sey, 0.0)


def left_at_ms(liquid: Sequence[tuple[int, float]], away_ms: int) -> float:
    """When the liquid began to leave, by the reservoir's averages before `away_ms`, when that was told."""
    rows = [(t, -c) for t, c in liquid if away_ms - 9 * 60_000 <= t <= away_ms + 45_000]
    bend = hinge(rows) if len(rows) >= 8 else None
    if bend is not None:
        return bend[0]
    late = [row for row in rows if row[0] >= away_ms - 5 * 60_000] or rows
    return max(late, key=lambda row: (-row[1], row[0]))[0] if late else float(away_ms)


def arrival(basin: Sequence[tuple[int, float]], left_ms: float) -> Arrival | None:
    """The basin's rise, or where there was none, what it shows from the time at which liquid must have come; None: too little was seen.

    Args:
        basin: the basin's averages.
        left_ms: when the reservoir says that the liquid left.
    """
    from_ms = left_ms - RISES_FROM_MS
    begins = _rise([row for row in basin if from_ms <= row[0] <= left_ms + RISES_UNTIL_MS])
    if begins is None:  # a heel may show only by the liquid's return that it was away
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
    """The steepest rise within RISE_WITHIN_MS: (where it begins [ms], the next average, what the liquid keeps above); None below RISE_K."""
    rose, first = 0.0, -1
    for i, (from_ms, from_c) in enumerate(rows):
        for j in range(i + 1, len(rows)):
            if rows[j][0] - from_ms > RISE_WITHIN_MS and j > i + 1:
                break
            if rows[j][1] - from_c > rose:
                rose, first = rows[j][1] - from_c, i
    if rose < RISE_K:
        return None
    return rows[first][0], rows[first + 1][1], rows[first][1] + 0.6 * rose


def _since(basin: Sequence[tuple[int, float]], at_ms: float) -> tuple[list[tuple[float, float]], bool]:
    """The rows of the window, and whether the liquid has left within it."""
    rows: list[tuple[float, float]] = []
    before = 0.0
    for t, c in basin:
        x = (t - at_ms) / 1000.0
        if x < FILLED_S or x > WINDOW_S:
            continue
        fell = (rows[-1][1] - c) / max((x - rows[-1][0]) / 15.0, 1.0) if rows else 0.0
        if x > 120.0 and fell > LEAVES_K + max(before, 0.0):  # evening out falls less and less
            return rows, True
        before = fell
        rows.append((x, c))
    return rows, False


def empties(rows: Sequence[tuple[float, float]]) -> bool:
    """Does it still fall at the end as no basin does that holds liquid? (A fill that was broken off leaves warm metal.)"""
    late = [row for row in rows if row[0] >= max(rows[-1][0] - 90.0, 120.0)]
    return len(late) > 1 and (late[0][1] - late[-1][1]) * 60.0 / (late[-1][0] - late[0][0]) > EMPTIES_K_PER_MIN
