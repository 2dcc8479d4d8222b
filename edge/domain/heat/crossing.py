"""When the judged value crosses a limit, for a probe whose trend is known: the judged value lags behind the probe, and scatters.

Expected crossing. A minimum is compared with a mean of readings less some standard errors, the guard band (believed_liquid.py). So it
crosses the limit later than the probe: by half the span of the mean, by the guard band, and by the quantisation of each reading.
Therefore the mean is followed through the expected readings to come; near the limit the readings so far are part of the mean still.

Scatter. The mean scatters about its expectation, and the condition is met for good after its last fall below the limit. Means a quarter
of their span apart are nearly independent; let such looks be T seconds apart. With the mean's scatter s and the rise r, the expected number
of looks below the limit from x s / r seconds on is s / (r T) G(x), where G(x) is the integral of the normal tail. In the median none is
left where that number is ln 2. A mean that has crossed falls back by its fresh readings alone: their sum scatters with the square root of
their number, and is below the limit on its way twice as often as at the end (reflection principle; both textbook).
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence
from math import ceil, erfc, exp, floor, hypot, log, pi, sqrt
from typing import Final, NamedTuple

from edge.domain.alarms.states import AT_LIMIT

#: Standard deviations of the crossing time end here [s].
MAX_SD_S: Final = 300.0
#: The expected mean is followed for this many of its spans.
FOLLOWED_SPANS: Final = 3.0
#: Shorter intervals of the readings count as this [s].
MIN_EVERY_S: Final = 0.05
#: The expected mean of a probe that hardly rises is followed no longer than this, since each reading costs computing time [ms].
MAX_FOLLOWED_MS: Final = 1_800_000.0
#: Independent looks are this share of the mean's span apart.
LOOK_SHARE: Final = 0.25
#: Scatter that the rise passes within this share of a look delays nothing.
QUIET_SHARE: Final = 0.2
#: Noise that shows only through quantisation is known to this relative standard error at best.
ROUNDED_SHARE: Final = 0.3
#: With noise above this share of the quantisation step, quantisation leaves nothing in the mean.
ROUNDS_ALONE: Final = 0.5


class ProbeModel(NamedTuple):
    """How a probe reads: quantisation step [K] (0.0: none), one possible reading [Cel], noise before quantisation [K], interval [s]."""

    step_k: float
    reads_c: float
    noise_k: float
    every_s: float


class AveragingRule(NamedTuple):
    """How a minimum is judged: by the mean of the last `wanted` readings within `within_s` [s], less `sure` standard errors.

    `noise_k`: standard deviation of one reading [K]; `known_by`: number of readings that this noise was estimated from.
    """

    wanted: int
    within_s: float
    noise_k: float
    sure: float
    known_by: int = 400


class ProbeTrend(NamedTuple):
    """The probe's expected trend: it sees `sees_c` [Cel] at `at_ms` and rises by `k_per_s` [K/s]."""

    at_ms: float
    sees_c: float
    k_per_s: float

    def at(self, mono_ms: float) -> float:
        """What the probe sees at `mono_ms` [Cel]."""
        return self.sees_c + self.k_per_s * (mono_ms - self.at_ms) / 1000.0

    def when_ms(self, sees_c: float) -> float:
        """When the probe sees `sees_c` [ms]."""
        return self.at_ms + 1000.0 * (sees_c - self.sees_c) / self.k_per_s


class LimitCrossing:
    """The crossing of one limit by the judged value of one probe. `readings`: the averaged ones (ms, Cel), oldest first, at least one."""

    def __init__(
        self, probe: ProbeModel, rule: AveragingRule, readings: Sequence[tuple[int, float]], limit_c: float
    ) -> None:
        self.probe = probe = probe._replace(every_s=max(probe.every_s, MIN_EVERY_S))
        self.rule, self.readings = rule, readings
        self.every_ms = 1000.0 * probe.every_s
        self.averaged = max(min(rule.wanted, 1 + int(rule.within_s / probe.every_s)), 1)
        self.scatter_k = probe.noise_k if self.averaged == 1 else rule.noise_k / sqrt(self.averaged)
        self.limit_c = limit_c
        needs_c = limit_c - AT_LIMIT + rule.sure * rule.noise_k / sqrt(self.averaged)
        #: What the probe must see if the mean had no lag [Cel]; a single quantised reading shows that half a step early.
        self.sees_c = rounded_up(needs_c, probe) if self.averaged == 1 else needs_c

    def comes(self, rise: ProbeTrend) -> tuple[float, float]:
        """(time [ms], standard deviation [s]) at which the limit is crossed for good, if the probe follows this trend."""
        span_s = self.averaged * self.probe.every_s
        looks_s = max(LOOK_SHARE * span_s, self.probe.every_s)
        wide_s = min(self.scatter_k / rise.k_per_s, MAX_SD_S)
        late_s = 0.5 * self.probe.every_s
        if wide_s > QUIET_SHARE * looks_s:
            late_s += max(last_look(wide_s / looks_s), 0.0) * wide_s
        scatter_s = wide_s * (0.5 + 0.5 * span_s / (span_s + wide_s))
        sd_s = hypot(scatter_s, self._rule_sd_s(rise), 0.4 * self.probe.every_s)
        return self._passes_ms(rise) + 1000.0 * late_s, sd_s

    def _rule_sd_s(self, rise: ProbeTrend) -> float:
        """Standard deviation of the crossing [s] because the noise in the rule is itself an estimate, least known under quantisation."""
        rule, every_s = self.rule, self.probe.every_s
        share = min(1.0 / sqrt(max(rule.known_by, 4)), 0.5)
        if self.probe.noise_k < ROUNDS_ALONE * self.probe.step_k:
            share = max(share, ROUNDED_SHARE)
        less_k = rule.sure * rule.noise_k / sqrt(self.averaged) * hypot(share, 0.15 / self.averaged)
        spans_s = every_s * self.averaged * share if self.averaged == rule.wanted > 1 else 0.0
        return min(hypot(less_k / rise.k_per_s, spans_s), MAX_SD_S)

    def _passes_ms(self, rise: ProbeTrend) -> float:
        """When the expected mean crosses the limit [ms], less half an interval."""
        if self.averaged == 1:
            return rise.when_ms(self.sees_c)
        steps_ms = min(2000.0 * self.probe.step_k / rise.k_per_s, MAX_FOLLOWED_MS)
        to_ms = rise.when_ms(self.sees_c) + steps_ms + FOLLOWED_SPANS * self.averaged * self.every_ms
        comes_ms = next((at_ms for at_ms, margin_k, _ in self._way(rise, to_ms) if margin_k >= 0.0), to_ms)
        return comes_ms - 0.5 * self.every_ms

    def _way(self, rise: ProbeTrend, to_ms: float) -> Iterator[tuple[float, float, int]]:
        """For each reading to come: (time [ms], margin of the expected mean over the limit [K], how many of its readings are to come).

        Begins at the last reading; if the limit is far off, shortly before it, with a mean of expected readings only.
        """
        span_ms = self.every_ms * self.averaged
        mean: deque[tuple[float, float]] = deque(self.readings)
        at_ms, fresh = float(mean[-1][0]), 0
        ahead = floor((rise.at_ms - span_ms - at_ms) / self.every_ms)
        if ahead > self.averaged:
            at_ms += ahead * self.every_ms
            times = [at_ms - i * self.every_ms for i in reversed(range(self.averaged))]
            mean, fresh = deque((ms, self._expected(rise.at(ms))) for ms in times), self.averaged
        total = sum(c - self.limit_c for _, c in mean)
        while at_ms < to_ms:
            at_ms += self.every_ms
            read_c = self._expected(rise.at(at_ms))
            mean.append((at_ms, read_c))
            total += read_c - self.limit_c
            fresh += 1
            while len(mean) > self.averaged or at_ms - mean[0][0] > 1000.0 * self.rule.within_s:
                total -= mean.popleft()[1] - self.limit_c
            n = len(mean)
            yield at_ms, total / n - self.rule.sure * self.rule.noise_k / sqrt(n) + AT_LIMIT, min(fresh, n)

    def _expected(self, sees_c: float) -> float:
        """The expected reading [Cel] of a probe that sees `sees_c` [Cel]: quantisation after noise."""
        q, noise_k = self.probe.step_k, self.probe.noise_k
        if not q or noise_k > ROUNDS_ALONE * q:
            return sees_c
        steps = (sees_c - self.probe.reads_c) / q
        below = floor(steps)
        if not noise_k:
            return self.probe.reads_c + floor(steps + 0.5) * q
        beyond = sum(0.5 * erfc((below + j - 0.5 - steps) * q / noise_k / sqrt(2.0)) for j in (-1, 0, 1, 2))
        return self.probe.reads_c + (below - 2 + beyond) * q

    def holds(self, rise: ProbeTrend, ends_ms: float) -> tuple[float, float]:
        """Median and 95 % point [ms] of the last fall below the limit until `ends_ms`; 0.0: none. It is above the limit now."""
        middle = late = falls = 0.0
        rows = list(self._singly(rise, ends_ms) if self.averaged == 1 else self._way(rise, ends_ms - self.every_ms))
        for at_ms, margin_k, fresh in reversed(rows):
            sd_k = self.probe.noise_k if self.averaged == 1 else self.rule.noise_k * sqrt(fresh) / self.averaged
            below = 0.5 * erfc(margin_k / max(sd_k, 1e-6) / sqrt(2.0))
            falls = falls + below if self.averaged == 1 else max(falls, 2.0 * below)
            if falls > 0.05:
                late = max(late, at_ms)
            if falls > (log(2.0) if self.averaged == 1 else 0.5):
                middle = max(middle, at_ms)
                break
        return middle, late

    def _singly(self, rise: ProbeTrend, ends_ms: float) -> Iterator[tuple[float, float, int]]:
        """As _way(), for a rule that judges single readings."""
        at_ms = float(self.readings[-1][0]) + self.every_ms
        while at_ms < ends_ms:
            yield at_ms, rise.at(at_ms) - self.sees_c, 1
            at_ms += self.every_ms


def rounded_up(needs_c: float, probe: ProbeModel) -> float:
    """What the probe must see for a reading of at least `needs_c` [Cel]: a quantised one reads it half a step early."""
    if not probe.step_k:
        return needs_c
    return probe.reads_c + (ceil((needs_c - probe.reads_c) / probe.step_k - 1e-6) - 0.5) * probe.step_k


def last_look(share: float) -> float:
    """The x of the module's head, in scatters of the mean, by bisection; `share`: looks while the mean rises by its scatter."""
    low, high = -4.0, 4.0
    for _ in range(14):
        x = 0.5 * (low + high)
        tail = exp(-0.5 * x * x) / sqrt(2.0 * pi) - x * 0.5 * erfc(x / sqrt(2.0))
        low, high = (x, high) if share * tail > log(2.0) else (low, x)
    return 0.5 * (low + high)
