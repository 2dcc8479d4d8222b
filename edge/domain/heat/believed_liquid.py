"""What the liquid can be believed to be, behind a probe that is noisy, rounds and lags, and may hang above colder liquid.

Noise: white noise of variance s^2 shows in neighbouring differences of readings, which then tend to reverse: their products' negative
part is -REVERSED s^2 in the mean (two normal variables of variance 2 s^2 and correlation -1/2), and a steep rise or fall adds nothing. A
ramp, rounded or not, and a step have no reversals: what is read of a quiet probe counts at once, of a noisy one an average of as
many readings as bring its standard error to QUIET_K.

A fall: a covered vessel cools by b (T - Troom), and what falls faster is going somewhere: the probe follows cold liquid with its
lag, or cold liquid lies below it and spreads (a layer of heat content C dT that comes through slowly shows as a slow fall that goes
on). So from the slope beyond b (T - Troom), found by least squares over spans of SPANS bins and surely there (SIGMAS standard
deviations of the slope, and a step of the probe over the span), follows how far it may fall yet: for as long again as LASTS times the
span in which it shows, from a lag's length to LONGEST_S. The figures are common practice, no published source;
`python -m tests.bench.cycles` is what they were tried on.
"""

from __future__ import annotations

from collections import deque
from math import ceil, inf, sqrt
from typing import Final

from edge.domain.heat.crossing import Passing, Probe, Rule
from edge.domain.heat.probe import line

QUIET_K: Final = 0.02
SURE: Final = 2.0
AVERAGED_MS: Final = 90_000
BIN_MS: Final = 5_000
#: bins that a slope is looked for in; slower points need the longest span still
SPANS: Final = (2, 3, 6, 12, 30)
LONGEST_MS: Final = 150_000
#: a span that tells more than a step of the probe's lag [s]
TELLING_S: Final = 50.0
WOBBLE_K: Final = 0.1  # within less a liquid that isn't stirred may move by so much
#: calm: over most of the longest span it surely (CALM_SIGMAS) falls no faster than this beyond what the vessel cools [K/s]
CALM_S: Final = 140.0
CALM_SIGMAS: Final = 2.0
CALM_K_PER_S: Final = 0.0005
SIGMAS: Final = 4.0
SUDDEN_SIGMAS: Final = 4.0  # of a reading, or the last ones over so many seconds, against those before them
SUDDEN_S: Final = (5, 10, 20)
LATELY_MS: Final = 45_000
PAIR_SIGMAS: Final = 5.0  # of two bins there are many
LASTS: Final = 4.0
LAG_S: Final = 60.0
LONGEST_S: Final = 600.0
COARSEST_K: Final = 1.0  # a probe has no coarser steps
REVERSED: Final = 1.218
SAME_K: Final = 1e-9  # what arithmetic makes of a shift and back
#: so much counts of one reversal: a wild reading is no noise
WILD_K2: Final = 0.25
GAP_MS: Final = 300_000


class LiquidWatch:
    """One probe. What it says is forgotten after GAP_MS of silence; its noise and its steps are not."""

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
        self._reversed, self._seen = (
            0.0,
            0,
        )  # sum of negative products of neighbouring differences [K^2], and of how many
        self._step_k = inf  # the smallest step between two readings: the probe's resolution
        self.forget()

    def forget(self) -> None:
        """What is heard next has nothing to do with what was heard before."""
        self._last: tuple[int, float] | None = None
        self._diff = 0.0
        self._averaged: deque[tuple[int, float]] = deque()  # the readings that are averaged
        self._lately: deque[tuple[int, float]] = deque()  # those that a sudden fall is looked for in
        self._lately_ms, self._lately_c = 0, 0.0  # their sums
        self._grouped_ms, self._goes_to_c = 0, inf  # when the last few were looked at together, and where they went
        self._bins: deque[tuple[int, float]] = deque()
        self._sum, self._count, self._bin_ms = 0.0, 0, 0
        self.falls_yet_k = 0.0  # how far below what it reads it may come yet, by a fall that no vessel's cooling is
        self.falls_k_per_s = 0.0  # how fast it falls, where it surely does
        self.fell_beyond_k = 0.0  # how far it has surely fallen within a telling span beyond what the vessel cools
        self.rises_k_per_s = 0.0  # how fast it surely rises, over a telling span
        self.line_c: float | None = (
            None  # where the line through minutes of a sure fall ends: rounding stands between it and what is read
        )
        self.line_falls_k_per_s = 0.0  # and how fast it may fall there
        self.is_calm = False  # for minutes it hasn't fallen faster than the vessel cools

    def shift(self, by_k: float) -> None:
        """All that was heard was so much warmer: its probe was calibrated."""
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
        return sqrt(-self._reversed / REVERSED / self._seen) if self._seen else 0.0

    @property
    def step_k(self) -> float:
        """The probe's resolution, where rounding shows through its noise [K]; else 0.0."""
        return self._step_k if self._step_k <= COARSEST_K and self.noise_k < 0.5 * self._step_k else 0.0

    def hear(self, liquid_c: float, cools_k_per_s: float, mono_ms: int) -> None:
        """One good reading. `cools_k_per_s`: how fast the covered vessel may cool now."""
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
        """Readings that bring the standard error of their mean to QUIET_K."""
        return max(min(ceil((self.noise_k / QUIET_K) ** 2), 1000), 1)

    def passing(self, limit_c: float, probe: Probe) -> Passing | None:
        """How judged_c will come to pass this; None before the first reading."""
        if not self._averaged:
            return None
        rule = Rule(self._wanted, AVERAGED_MS / 1000.0, self.noise_k, SURE, self._seen)
        return Passing(probe, rule, self._averaged, limit_c)

    def judged_c(self, liquid_c: float, slipped: bool = False) -> float:
        """What minima are compared with, where it reads `liquid_c` [Cel]: the average less SURE of its standard errors.

        `slipped`: that reading isn't believed, what was heard before stands.
        """
        averaged = self._averaged
        if not averaged or (abs(averaged[-1][1] - liquid_c) > SAME_K and not slipped):
            return liquid_c
        return sum(c for _, c in averaged) / len(averaged) - SURE * self.noise_k / sqrt(len(averaged))

    def falls_to_c(self, liquid_c: float, cools_k_per_s: float, lag_s: float, mono_ms: int) -> float | None:
        """Where it may be on its way to with this reading, not heard yet [Cel]; None where that agrees with what was heard before.

        The reading, and every few seconds the last ones, are held against those of LATELY_MS before them. A probe shows in its first
        seconds in colder liquid t/lag of how much colder that is.
        """
        if not self._lately or self._step_k == inf:  # the first change of all may be the probe's step
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
        """As falls_to_c, by the mean of the last `over_ms`; inf where it agrees, or nothing is older."""
        end_ms = readings[-1][0]
        lately = [r for r in readings if end_ms - r[0] <= over_ms]
        before = readings[: len(readings) - len(lately)]
        if not before:
            return inf
        return self._beyond_noise(_mean(before), before[-1][0], _mean(lately), cools_k_per_s, lag_s)

    def _beyond_noise(
        self, was: tuple[float, float, int], until_ms: int, now: tuple[float, float, int], cools_k_per_s: float, lag_s: float
    ) -> float:  # fmt: skip
        """Two means (ms, Cel, of how many), the first until `until_ms`: where the liquid may go; inf where they agree."""
        fell_k = was[1] - now[1] - cools_k_per_s * (now[0] - was[0]) / 1000.0
        if fell_k <= max(WOBBLE_K, self._step_k if self._step_k <= COARSEST_K else 0.0):
            return inf
        if fell_k <= SUDDEN_SIGMAS * self.noise_k * sqrt(1.0 / now[2] + 1.0 / was[2]):
            return inf
        return now[1] - fell_k * lag_s / max((now[0] - until_ms) / 1000.0, 1.0)

    def _close(self, cools_k_per_s: float, mono_ms: int) -> None:
        """A bin is full: where is it going?"""
        bins = self._bins
        bins.append((mono_ms, self._sum / self._count))
        per_bin, self._sum, self._count, self._bin_ms = self._count, 0.0, 0, mono_ms
        while mono_ms - bins[0][0] > LONGEST_MS:
            bins.popleft()
        noise_k, step_k = self.noise_k / sqrt(per_bin), self.step_k
        self.falls_yet_k = self.falls_k_per_s = self.fell_beyond_k = self.rises_k_per_s = 0.0
        self.is_calm, self.line_c, before = False, None, 0
        for wanted in SPANS:
            n = min(wanted, len(bins))
            if n == before or n < 2:
                break
            before = n
            lately = [bins[-i] for i in range(1, n + 1)]
            found, end_ms, span_s = line(lately), lately[0][0], (lately[0][0] - lately[-1][0]) / 1000.0
            slope = 1000.0 * found.k_per_ms
            noisy = 1000.0 * noise_k / sqrt(found.spread)
            rounded = (step_k if span_s >= TELLING_S else max(step_k, WOBBLE_K)) / span_s
            unsure = (SIGMAS if n > 2 else PAIR_SIGMAS) * noisy + rounded
            if span_s >= CALM_S:
                self.is_calm = -slope + CALM_SIGMAS * noisy + rounded <= cools_k_per_s + CALM_K_PER_S
            if span_s >= TELLING_S:
                self.rises_k_per_s = max(self.rises_k_per_s, slope - unsure)
            falls = -slope - unsure
            if falls <= 0.0:
                continue
            self.falls_k_per_s = max(self.falls_k_per_s, falls)
            if span_s >= CALM_S:
                self.line_c, self.line_falls_k_per_s = found.at(end_ms), SURE * noisy - slope
            beyond = falls - cools_k_per_s
            if beyond > 0.0:
                self.falls_yet_k = max(self.falls_yet_k, beyond * min(max(LASTS * span_s, LAG_S), LONGEST_S))
                if span_s >= TELLING_S:
                    self.fell_beyond_k = max(self.fell_beyond_k, beyond * span_s)


def _mean(readings: list[tuple[int, float]]) -> tuple[float, float, int]:
    """When [ms], Cel, of how many."""
    n = len(readings)
    return sum(t for t, _ in readings) / n, sum(c for _, c in readings) / n, n
