"""When what is judged passes a limit, behind a probe whose way is known: what is judged is late, and scatters.

A minimum is judged by a mean of readings less its standard errors (believed_liquid.py), so it is passed later than the probe passes
it: by half of what the mean spans, by those standard errors, and by what rounding does to each reading. So the mean is followed
through the readings to come, each as it is expected to be; near the limit those that were heard already are known, and stand in it
still.

About that the mean scatters, and the condition is met for good with its last fall below the limit. A reading's mean falls below it
on its own about once in the quarter of its span; of such looks, LOOK_S apart, after x s / r seconds there are s / (r LOOK_S) G(x) below
it in the mean, s the mean's scatter, r the rise, G(x) the integral of the normal tail; in the median there is none more where that is
ln 2. Once it has passed, it falls back by what fresh readings can do to it: their sum scatters as the square root of their number, and
falls below on its way twice as often as it is there at the end (reflection principle; both textbook matter).
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence
from math import ceil, erfc, exp, floor, hypot, log, pi, sqrt
from typing import Final, NamedTuple

from edge.domain.alarms.states import AT_LIMIT

MOST_WIDE_S: Final = 300.0
#: the expected way of the mean is followed for so many of its spans
FOLLOWED: Final = 3.0
#: it is read no more often; and where it hardly rises, the way is not followed any longer (each reading to come costs time)
LEAST_EVERY_S: Final = 0.05
FOLLOWED_AT_MOST_MS: Final = 1_800_000.0
#: a look of its own is so much of what a mean spans
LOOK_SHARE: Final = 0.25
QUIET_SHARE: Final = 0.2  # scatter that passes within so much of a look is none
ROUNDED_SHARE: Final = 0.3  # noise that shows by rounding is known to this share at best
ROUNDS_ALONE: Final = 0.5  # of a step: with more noise rounding leaves nothing in the mean


class Probe(NamedTuple):
    """How it reads: its steps [K] (0.0: none), one value it can read, the noise before it is rounded [K], how often [s]."""

    step_k: float
    reads_c: float
    noise_k: float
    every_s: float


class Rule(NamedTuple):
    """How it is judged: the mean of the last `wanted` readings within `within_s` [s] less `sure` standard errors [K].

    `noise_k` a reading; `known_by`: of how many readings that noise is known.
    """

    wanted: int
    within_s: float
    noise_k: float
    sure: float
    known_by: int = 400


class Rise(NamedTuple):
    """The probe's way: at `at_ms` it sees `sees_c`, and rises with `k_per_s` about there."""

    at_ms: float
    sees_c: float
    k_per_s: float

    def at(self, mono_ms: float) -> float:
        """What it sees [Cel]."""
        return self.sees_c + self.k_per_s * (mono_ms - self.at_ms) / 1000.0

    def when_ms(self, sees_c: float) -> float:
        """When it sees this."""
        return self.at_ms + 1000.0 * (sees_c - self.sees_c) / self.k_per_s


class Passing:
    """One probe, one rule, and the readings that are averaged now: (mono ms, Cel), oldest first, at least one."""

    def __init__(self, probe: Probe, rule: Rule, heard: Sequence[tuple[int, float]], limit_c: float) -> None:
        self.probe = probe = probe._replace(every_s=max(probe.every_s, LEAST_EVERY_S))
        self.rule, self.heard = rule, heard
        self.every_ms = 1000.0 * probe.every_s
        self.averaged = max(min(rule.wanted, 1 + int(rule.within_s / probe.every_s)), 1)
        self.scatter_k = probe.noise_k if self.averaged == 1 else rule.noise_k / sqrt(self.averaged)
        self.limit_c = limit_c
        needs_c = limit_c - AT_LIMIT + rule.sure * rule.noise_k / sqrt(self.averaged)
        #: what the probe must see, were nothing late [Cel]; a single reading that rounds reads it half a step early
        self.sees_c = rounded_up(needs_c, probe) if self.averaged == 1 else needs_c

    def comes(self, rise: Rise) -> tuple[float, float]:
        """(mono ms, standard deviation [s]) of when the limit is passed for good, by the way that the probe is on."""
        span_s = self.averaged * self.probe.every_s
        looks_s = max(LOOK_SHARE * span_s, self.probe.every_s)
        wide_s = min(self.scatter_k / rise.k_per_s, MOST_WIDE_S)
        late_s = 0.5 * self.probe.every_s
        if wide_s > QUIET_SHARE * looks_s:
            late_s += max(last_look(wide_s / looks_s), 0.0) * wide_s
        scatter_s = wide_s * (0.5 + 0.5 * span_s / (span_s + wide_s))
        sd_s = hypot(scatter_s, self._rule_sd_s(rise), 0.4 * self.probe.every_s)
        return self._passes_ms(rise) + 1000.0 * late_s, sd_s

    def _rule_sd_s(self, rise: Rise) -> float:
        """The noise that the rule goes by isn't known well, least where it shows by rounding; nor what follows from it."""
        rule, every_s = self.rule, self.probe.every_s
        share = min(1.0 / sqrt(max(rule.known_by, 4)), 0.5)
        if self.probe.noise_k < ROUNDS_ALONE * self.probe.step_k:
            share = max(share, ROUNDED_SHARE)
        less_k = rule.sure * rule.noise_k / sqrt(self.averaged) * hypot(share, 0.15 / self.averaged)
        spans_s = every_s * self.averaged * share if self.averaged == rule.wanted > 1 else 0.0
        return min(hypot(less_k / rise.k_per_s, spans_s), MOST_WIDE_S)

    def _passes_ms(self, rise: Rise) -> float:
        """When the expected mean passes, less half a reading's period."""
        if self.averaged == 1:
            return rise.when_ms(self.sees_c)
        steps_ms = min(2000.0 * self.probe.step_k / rise.k_per_s, FOLLOWED_AT_MOST_MS)
        to_ms = rise.when_ms(self.sees_c) + steps_ms + FOLLOWED * self.averaged * self.every_ms
        comes_ms = next((at_ms for at_ms, margin_k, _ in self._way(rise, to_ms) if margin_k >= 0.0), to_ms)
        return comes_ms - 0.5 * self.every_ms

    def _way(self, rise: Rise, to_ms: float) -> Iterator[tuple[float, float, int]]:
        """(mono ms, margin of the expected mean over the limit [K], how many of its readings are still to come) of the readings to come.

        From the last one on; where the limit is far off, from shortly before it, with a mean of readings that are all expected.
        """
        span_ms = self.every_ms * self.averaged
        mean: deque[tuple[float, float]] = deque(self.heard)
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
        """The mean of many readings [Cel] where the probe sees this."""
        q, noise_k = self.probe.step_k, self.probe.noise_k
        if not q or noise_k > ROUNDS_ALONE * q:
            return sees_c
        steps = (sees_c - self.probe.reads_c) / q
        below = floor(steps)
        if not noise_k:
            return self.probe.reads_c + floor(steps + 0.5) * q
        beyond = sum(0.5 * erfc((below + j - 0.5 - steps) * q / noise_k / sqrt(2.0)) for j in (-1, 0, 1, 2))
        return self.probe.reads_c + (below - 2 + beyond) * q

    def holds(self, rise: Rise, ends_ms: float) -> tuple[float, float]:
        """(mono ms in the median, and at its 95 % point) of the last fall below the limit until `ends_ms`; 0.0 where there is none.

        It is above the limit now.
        """
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

    def _singly(self, rise: Rise, ends_ms: float) -> Iterator[tuple[float, float, int]]:
        """As _way(), where each reading counts by itself."""
        at_ms = float(self.heard[-1][0]) + self.every_ms
        while at_ms < ends_ms:
            yield at_ms, rise.at(at_ms) - self.sees_c, 1
            at_ms += self.every_ms


def rounded_up(needs_c: float, probe: Probe) -> float:
    """What must be seen for the reading to be `needs_c` at least: one that rounds reads it half a step early."""
    if not probe.step_k:
        return needs_c
    return probe.reads_c + (ceil((needs_c - probe.reads_c) / probe.step_k - 1e-6) - 0.5) * probe.step_k


def last_look(share: float) -> float:
    """x, in scatters of the mean, after which in the median no look is below; `share`: looks while it rises by its scatter."""
    low, high = -4.0, 4.0
    for _ in range(14):
        x = 0.5 * (low + high)
        tail = exp(-0.5 * x * x) / sqrt(2.0 * pi) - x * 0.5 * erfc(x / sqrt(2.0))
        low, high = (x, high) if share * tail > log(2.0) else (low, x)
    return 0.5 * (low + high)
