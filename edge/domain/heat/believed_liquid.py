"""The temperature that the liquid surely has, behind a probe with noise, quantisation and lag that may hang above colder liquid.

Noise. White noise of variance s^2 makes neighbouring differences of readings reverse: the negative part of their products is
-REVERSAL_SHARE s^2 in the mean (two normal variables of variance 2 s^2 and correlation -1/2), and a steep rise or fall adds nothing. A
ramp, quantised or not, and a step have no reversals. So a single reading of a quiet probe counts at once; of a noisy one the mean of as
many readings as bring its standard error to QUIET_K.

Fall. A covered vessel cools by b (T - Troom). A faster fall will go on: the probe follows cold liquid with its lag, or cold liquid lies
below the probe and spreads (a layer of heat content C dT that mixes slowly shows as a slow, lasting fall). The slope beyond
b (T - Troom) is found by least squares over spans of SPAN_BINS bins. It has to exceed FALL_SIGMAS standard errors and a quantisation
step over the span. From it follows how far the probe may fall yet: for FALL_LASTS times the span in which the fall shows, between
SHORTEST_FALL_S and LONGEST_FALL_S. The figures are common practice, no published source; they were tried on
`python -m tests.bench.cycles`.
"""

from __future__ import annotations

from collections import deque
from math import ceil, inf, sqrt
from typing import Final

from edge.domain.heat.crossing import AveragingRule, LimitCrossing, ProbeModel
from edge.domain.heat.probe import lines

#: Readings are averaged until the standard error of their mean is this [K].
QUIET_K: Final = 0.02
#: The guard band of minima: this many standard errors of the mean are taken off.
GUARD_SIGMAS: Final = 2.0
#: Readings older than this are not averaged [ms].
AVERAGED_MS: Final = 90_000
#: Slopes are fitted to means over bins of this length [ms].
BIN_MS: Final = 5_000
#: A fall is looked for over the last 2, 3, 6, 12 and 30 bins; a slow point needs the longest span even for few bins.
SPAN_BINS: Final = (2, 3, 6, 12, 30)
#: Bins are kept for this long [ms].
LONGEST_SPAN_MS: Final = 150_000
#: Over a span longer than this the lag of a usual probe hides little [s].
TELLING_S: Final = 50.0
#: Within a shorter span an unstirred liquid may move by this at the probe [K].
WOBBLE_K: Final = 0.1
#: The liquid is calm if it has not fallen beyond cooling over a span of this length [s].
CALM_S: Final = 140.0
#: "Not fallen" is tested with this many standard errors of the slope.
CALM_SIGMAS: Final = 2.0
#: Calm allows this slope beyond what the vessel cools [K/s].
CALM_K_PER_S: Final = 0.0005
#: A fall counts beyond this many standard errors of the slope.
FALL_SIGMAS: Final = 4.0
#: A fall between two bins counts only beyond this many standard errors: there are many pairs of bins.
PAIR_SIGMAS: Final = 5.0
#: A sudden fall counts beyond this many standard errors of the difference between the newest readings and those before.
SUDDEN_SIGMAS: Final = 4.0
#: A sudden fall is looked for in the newest reading, and in the means of this many seconds.
SUDDEN_S: Final = (5, 10, 20)
#: A sudden fall is measured from the mean of the readings of this time [ms].
LATELY_MS: Final = 45_000
#: A fall may go on for this many times the span in which it shows.
FALL_LASTS: Final = 4.0
#: A fall may go on for at least this long: the lag of a slow probe [s].
SHORTEST_FALL_S: Final = 60.0
#: A fall goes on for at most this long [s].
LONGEST_FALL_S: Final = 600.0
#: A coarser step is no quantisation step [K].
COARSEST_K: Final = 1.0
#: Mean of the negative part of products of neighbouring differences, over the noise's variance.
REVERSAL_SHARE: Final = 1.218
#: Two temperatures that differ by less are equal: shifting by a calibration and back leaves rounding errors [K].
SAME_K: Final = 1e-9
#: One product of neighbouring differences counts with at most this [K^2]: an outlier is no noise.
WILD_K2: Final = 0.25
#: After a longer silence all but noise and quantisation step is forgotten [ms].
GAP_MS: Final = 300_000


class LiquidEstimator:
    """The liquid at one probe. After a silence of GAP_MS all is forgotten but noise and quantisation step."""

    __slots__ = (
        "_averaged",
        "_bin_ms",
        "_bins",
        "_count",
        "_diff",
        "_last",
        "_lately",
        "_lately_ms",
        "_lately_c",
        "_grouped_ms",
        "_goes_to_c",
        "_reversed",
        "_seen",
        "_step_k",
        "_sum",
        "falls_yet_k",
        "falls_k_per_s",
        "fell_beyond_k",
        "rises_k_per_s",
        "is_calm",
        "line_c",
        "line_falls_k_per_s",
    )

    def __init__(self) -> None:
        # Sum of the negative products of neighbouring differences [K^2], and the number of products.
        self._reversed, self._seen = 0.0, 0
        self._step_k = inf  # smallest difference of two readings [K]: the quantisation step
        self.forget()

    def forget(self) -> None:
        """Forget the readings, but not noise and quantisation step."""
        self._last: tuple[int, float] | None = None
        self._diff = 0.0
        self._averaged: deque[tuple[int, float]] = deque()  # the readings in the mean
        self._lately: deque[tuple[int, float]] = deque()  # the readings of the last LATELY_MS
        self._lately_ms, self._lately_c = 0, 0.0  # sums of the times and temperatures of _lately
        # When the means of SUDDEN_S were last compared [ms], and where the liquid may be going by them [Cel].
        self._grouped_ms, self._goes_to_c = 0, inf
        self._bins: deque[tuple[int, float]] = deque()
        self._sum, self._count, self._bin_ms = 0.0, 0, 0
        self.falls_yet_k = 0.0  # how far the probe may fall below its reading yet, beyond the vessel's cooling [K]
        self.falls_k_per_s = 0.0  # sure rate of fall [K/s]; 0.0: no sure fall
        self.fell_beyond_k = 0.0  # sure fall beyond the vessel's cooling, over a span of TELLING_S or more [K]
        self.rises_k_per_s = 0.0  # sure rate of rise over a span of TELLING_S or more [K/s]
        # End of the line through a sure fall of CALM_S [Cel]: below the reading by up to a quantisation step; None: no such fall.
        self.line_c: float | None = None
        self.line_falls_k_per_s = 0.0  # possible rate of fall at the end of that line [K/s]
        self.is_calm = False  # over CALM_S the liquid hasn't fallen faster than the vessel cools

    def shift(self, by_k: float) -> None:
        """Add `by_k` [K] to all readings so far: the probe was calibrated."""
        self._last = None if self._last is None else (self._last[0], self._last[1] + by_k)
        self._averaged = deque((t, c + by_k) for t, c in self._averaged)
        self._lately = deque((t, c + by_k) for t, c in self._lately)
        self._bins = deque((t, c + by_k) for t, c in self._bins)
        self._lately_c += by_k * len(self._lately)
        self._sum += by_k * self._count
        self._goes_to_c += by_k
        self.line_c = None if self.line_c is None else self.line_c + by_k

    @property
    def noise_k(self) -> float:
        """Standard deviation of one reading [K]."""
        return sqrt(-self._reversed / REVERSAL_SHARE / self._seen) if self._seen else 0.0

    @property
    def step_k(self) -> float:
        """The quantisation step where it shows through the noise [K]; else 0.0."""
        return self._step_k if self._step_k <= COARSEST_K and self.noise_k < 0.5 * self._step_k else 0.0

    def hear(self, liquid_c: float, cools_k_per_s: float, mono_ms: int) -> None:
        """Take one good reading [Cel]. `cools_k_per_s`: how fast the covered vessel may cool now [K/s]."""
        last = self._last
        if last is not None and mono_ms - last[0] > GAP_MS:
            self.forget()
            last = None
        if last is None:
            self._bin_ms = mono_ms
        else:
            diff = liquid_c - last[1]
            if diff and abs(diff) < self._step_k:
                self._step_k = abs(diff)
            self._reversed += max(min(diff * self._diff, 0.0), -WILD_K2)
            self._diff = diff
            self._seen += 1
            if self._seen > 400:
                self._reversed, self._seen = self._reversed / 2.0, self._seen // 2
        self._last = (mono_ms, liquid_c)
        lately = self._lately
        lately.append(self._last)
        self._lately_ms += mono_ms
        self._lately_c += liquid_c
        while len(lately) > 1 and mono_ms - lately[0][0] > LATELY_MS:
            gone_ms, gone_c = lately.popleft()
            self._lately_ms -= gone_ms
            self._lately_c -= gone_c
        self._average(liquid_c, mono_ms)
        self._sum += liquid_c
        self._count += 1
        if mono_ms - self._bin_ms >= BIN_MS or last is None:
            self._close(cools_k_per_s, mono_ms)

    def _average(self, liquid_c: float, mono_ms: int) -> None:
        averaged = self._averaged
        averaged.append((mono_ms, liquid_c))
        wanted = self._wanted
        while len(averaged) > wanted or mono_ms - averaged[0][0] > AVERAGED_MS:
            averaged.popleft()

    @property
    def _wanted(self) -> int:
        """The number of readings that brings the standard error of their mean to QUIET_K."""
        return max(min(ceil((self.noise_k / QUIET_K) ** 2), 1000), 1)

    def crossing(self, limit_c: float, probe: ProbeModel) -> LimitCrossing | None:
        """The crossing of `limit_c` [Cel] by judged_c(); None before the first reading."""
        if not self._averaged:
            return None
        rule = AveragingRule(self._wanted, AVERAGED_MS / 1000.0, self.noise_k, GUARD_SIGMAS, self._seen)
        return LimitCrossing(probe, rule, self._averaged, limit_c)

    def judged_c(self, liquid_c: float, slipped: bool = False) -> float:
        """The value that minima are compared with [Cel]: the mean of the readings less GUARD_SIGMAS standard errors.

        Args:
            liquid_c: the newest reading [Cel]; where it isn't in the mean yet, it is judged by itself.
            slipped: the newest reading is an outlier: the mean before it stands.
        """
        averaged = self._averaged
        if not averaged or (abs(averaged[-1][1] - liquid_c) > SAME_K and not slipped):
            return liquid_c
        return sum(c for _, c in averaged) / len(averaged) - GUARD_SIGMAS * self.noise_k / sqrt(len(averaged))

    def falls_to_c(self, liquid_c: float, cools_k_per_s: float, lag_s: float, mono_ms: int) -> float | None:
        """Where the liquid may be going by this reading [Cel], which hear() has not taken yet; None where it agrees with those before.

        The reading, and every BIN_MS the means of SUDDEN_S, are compared with the readings of LATELY_MS before. In its first t seconds in
        colder liquid a probe shows the share t/lag of the difference.
        """
        if not self._lately or self._step_k == inf:  # the first change of all may be a quantisation step
            return None
        if mono_ms - self._grouped_ms >= BIN_MS:
            self._grouped_ms = mono_ms
            readings = [*self._lately, (mono_ms, liquid_c)]
            self._goes_to_c = min(self._fell_since(readings, s * 1000, cools_k_per_s, lag_s) for s in SUDDEN_S)
        n = len(self._lately)
        before = (self._lately_ms / n, self._lately_c / n, n)
        lowest = self._beyond_noise(before, self._lately[-1][0], (mono_ms, liquid_c, 1), cools_k_per_s, lag_s)
        lowest = min(lowest, self._goes_to_c)
        return None if lowest == inf else lowest

    def _fell_since(self, readings: list[tuple[int, float]], over_ms: int, cools_k_per_s: float, lag_s: float) -> float:
        """As falls_to_c(), for the mean of the last `over_ms`; inf where it agrees with the readings before, or there are none."""
        end_ms = readings[-1][0]
        lately = [r for r in readings if end_ms - r[0] <= over_ms]
        before = readings[: len(readings) - len(lately)]
        if not before:
            return inf
        return self._beyond_noise(_mean(before), before[-1][0], _mean(lately), cools_k_per_s, lag_s)

    def _beyond_noise(
        self, was: tuple[float, float, int], until_ms: int, now: tuple[float, float, int], cools_k_per_s: float, lag_s: float
    ) -> float:  # fmt: skip
        """Where the liquid may be going [Cel] by two means (ms, Cel, readings), the first until `until_ms`; inf where they agree."""
        fell_k = was[1] - now[1] - cools_k_per_s * (now[0] - was[0]) / 1000.0
        if fell_k <= max(WOBBLE_K, self._step_k if self._step_k <= COARSEST_K else 0.0):
            return inf
        if fell_k <= SUDDEN_SIGMAS * self.noise_k * sqrt(1.0 / now[2] + 1.0 / was[2]):
            return inf
        return now[1] - fell_k * lag_s / max((now[0] - until_ms) / 1000.0, 1.0)

    def _close(self, cools_k_per_s: float, mono_ms: int) -> None:
        """Close a bin, and find rise, fall and calm anew."""
        bins = self._bins
        bins.append((mono_ms, self._sum / self._count))
        per_bin, self._sum, self._count, self._bin_ms = self._count, 0.0, 0, mono_ms
        while mono_ms - bins[0][0] > LONGEST_SPAN_MS:
            bins.popleft()
        noise_k, step_k = self.noise_k / sqrt(per_bin), self.step_k
        self.falls_yet_k = self.falls_k_per_s = self.fell_beyond_k = self.rises_k_per_s = 0.0
        self.is_calm, self.line_c = False, None
        lately = list(reversed(bins))
        spans = sorted({min(wanted, len(lately)) for wanted in SPAN_BINS}) if len(lately) > 1 else []
        for found in lines(lately, spans):
            n, end_ms, span_s = found.n, mono_ms, (mono_ms - lately[found.n - 1][0]) / 1000.0
            slope = 1000.0 * found.k_per_ms
            noisy = 1000.0 * noise_k / sqrt(found.spread)
            rounded = (step_k if span_s >= TELLING_S else max(step_k, WOBBLE_K)) / span_s
            unsure = (FALL_SIGMAS if n > 2 else PAIR_SIGMAS) * noisy + rounded
            if span_s >= CALM_S:
                self.is_calm = -slope + CALM_SIGMAS * noisy + rounded <= cools_k_per_s + CALM_K_PER_S
            if span_s >= TELLING_S:
                self.rises_k_per_s = max(self.rises_k_per_s, slope - unsure)
            falls = -slope - unsure
            if falls <= 0.0:
                continue
            self.falls_k_per_s = max(self.falls_k_per_s, falls)
            if span_s >= CALM_S:
                self.line_c, self.line_falls_k_per_s = found.at(end_ms), GUARD_SIGMAS * noisy - slope
            beyond = falls - cools_k_per_s
            if beyond > 0.0:
                self.falls_yet_k = max(
                    self.falls_yet_k, beyond * min(max(FALL_LASTS * span_s, SHORTEST_FALL_S), LONGEST_FALL_S)
                )
                if span_s >= TELLING_S:
                    self.fell_beyond_k = max(self.fell_beyond_k, beyond * span_s)


def _mean(readings: list[tuple[int, float]]) -> tuple[float, float, int]:
    """Mean time [ms], mean temperature [Cel], number of readings."""
    n, ms, total_c = len(readings), 0, 0.0
    for at_ms, read_c in readings:
        ms += at_ms
        total_c += read_c
    return ms / n, total_c / n, n
