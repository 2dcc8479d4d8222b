"""Statistics of the reservoir's probe: noise, quantisation step, outliers, and averages of a quarter of a minute with their slopes.

A reading far from the one before is a suspect and waits for the next. If the next one agrees the change is real and both count; else the
suspect was an outlier (a spike on the wire) and is left out. "Far" is relative to the noise seen so far, so that a coarse or noisy probe
makes no suspects.

The readings are taken once. Those who follow them (warmup.py, cooldown.py, cycle.py) begin again at different moments: each has a
`ProbeView`, the readings since its own moment.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Sequence
from math import exp, inf, sqrt
from typing import Final, NamedTuple

#: An average is taken over this time [ms]: a quarter of a minute.
BIN_MS: Final = 15_000
#: Averages are kept for this long [ms].
RECENT_MS: Final = 1_500_000
#: After a silence longer than this a reading has nothing to do with those before [ms].
GAP_MS: Final = 900_000
#: After a silence longer than this, and than three intervals of the readings, the open average is closed as it stands [ms].
PAUSE_MS: Final = 45_000
#: A coarser step is no quantisation step [K].
COARSEST_K: Final = 1.1
#: A finer quantisation step doesn't matter [K].
FINEST_K: Final = 0.011
#: Readings written with two decimals are off their quantisation steps by this [K].
ROUNDED_K: Final = 0.011
#: A probe has no quantisation step if this share of its differences is not a multiple of the smallest one.
OFF_STEP: Final = 0.25
#: A reading this far from the one before is a suspect [K].
SUSPECT_K: Final = 0.25
#: A reading is a suspect only beyond this many root mean squares of neighbours' differences.
SUSPECT_SIGMAS: Final = 5.5
#: A reading is a suspect only beyond this many quantisation steps.
SUSPECT_STEPS: Final = 2.2
#: While the noise isn't known, a reading this far from the one before is a suspect [K].
UNKNOWN_SUSPECT_K: Final = 1.5
#: The noise is known after this many differences.
MIN_DIFFERENCES: Final = 12


class Average(NamedTuple):
    """The mean of the readings of a quarter of a minute, or of a minute: time [ms], liquid and room [Cel], readings, variance [K^2]."""

    at_ms: int
    liquid_c: float
    room_c: float
    n: int
    variance: float


class Slope(NamedTuple):
    """A slope [K/min] and its standard error [K/min]."""

    k_per_min: float
    sd: float


class Line(NamedTuple):
    """A least-squares line through `n` points: mean time [ms], mean temperature [Cel], slope [K/ms].

    `spread`: the sum of squares of the times about their mean [ms^2].
    """

    n: int
    mean_ms: float
    mean_c: float
    k_per_ms: float
    spread: float

    def at(self, at_ms: float) -> float:
        """The line's temperature at `at_ms` [Cel]."""
        return self.mean_c + self.k_per_ms * (at_ms - self.mean_ms)

    def variance_at(self, at_ms: float, variance: float) -> float:
        """Variance of the line's temperature at `at_ms` [K^2], if each point has `variance` [K^2]."""
        return variance * (1.0 / self.n + (at_ms - self.mean_ms) ** 2 / self.spread)


def line(points: Sequence[Sequence[float]]) -> Line:
    """The least-squares line through at least two points, each beginning with a time [ms] and a temperature [Cel]."""
    return lines(points, (len(points),))[0]


def lines(points: Sequence[Sequence[float]], numbers: Iterable[int]) -> list[Line]:
    """As line(), through the first points: so many of them, by rising `numbers`; each sum goes on where the one before ended."""
    found, done, at0, c0 = [], 0, points[0][0], points[0][1]
    st = sc = stt = stc = 0.0
    for n in numbers:
        for point in points[done:n]:
            t, c = point[0] - at0, point[1] - c0
            st += t
            sc += c
            stt += t * t
            stc += t * c
        done, spread = n, stt - st * st / n
        found.append(Line(n, at0 + st / n, c0 + sc / n, (stc - st * sc / n) / spread, spread))
    return found


class ProbeStatistics:
    """The statistics of one probe."""

    __slots__ = (
        "recent", "last", "every_s", "_step_k", "_on_step", "_off_step", "_diff2", "_turn2", "_net", "_before", "_diffs", "_limit_k",
        "_suspect", "_passed_ms", "_bin_ms", "_sum", "_room_sum", "_time_sum", "_count", "per_bin", "_cut",
    )  # fmt: skip

    def __init__(self) -> None:
        self._step_k = inf  # smallest difference of two readings [K]
        self._on_step = self._off_step = 0  # differences that are multiples of the smallest one, and those that are not
        # Sums of squared differences [K^2], of squared second differences [K^2], of differences [K].
        self._diff2 = self._turn2 = self._net = 0.0
        self._before, self._diffs = 0.0, 0
        self._limit_k = UNKNOWN_SUSPECT_K
        self.per_bin = 10.0  # mean number of readings of an average
        self.every_s = BIN_MS / 10_000.0
        self.recent: deque[Average] = deque()  # averages of a quarter of a minute, their variance not filled in
        self.last: tuple[int, float, float] | None = None  # time [ms], liquid [Cel], room [Cel]
        self._begin(0)

    def _begin(self, mono_ms: int) -> None:
        """Forget the readings, but not the noise and the quantisation step: the probe is the same."""
        self._suspect: tuple[int, float, float] | None = None
        self._cut: Average | None = None  # an average that was closed early and not returned yet
        self._bin_ms, self._count, self._sum, self._room_sum, self._time_sum = mono_ms, 0, 0.0, 0.0, 0
        self._passed_ms = 0
        self.recent.clear()

    def shift(self, by_k: float) -> None:
        """Add `by_k` [K] to all readings so far: the probe was calibrated."""
        if self.last is not None:
            self.last = (self.last[0], self.last[1] + by_k, self.last[2])
        if self._suspect is not None:
            self._suspect = (self._suspect[0], self._suspect[1] + by_k, self._suspect[2])
        if self._cut is not None:
            self._cut = self._cut._replace(liquid_c=self._cut.liquid_c + by_k)
        self._sum += by_k * self._count
        self.recent = deque(average._replace(liquid_c=average.liquid_c + by_k) for average in self.recent)

    def gap_exceeded(self, mono_ms: int) -> bool:
        """Has the probe been silent for longer than GAP_MS?"""
        return self.last is not None and mono_ms - self.last[0] > GAP_MS

    def cut(self) -> int:
        """Close the open average, so that the readings before and after now are not averaged; the time of the last reading [ms], or -1."""
        if self.last is None:
            return -1
        if self._count:
            self._cut = self._close(self.last[0])
        return self.last[0]

    def hear(self, liquid_c: float, room_c: float, mono_ms: int) -> Average | None:
        """Take one reading; the average that it closes, its variance not filled in. Begins again after GAP_MS."""
        last = self.last
        if last is None or mono_ms - last[0] > GAP_MS:
            self._begin(mono_ms)
            self._take(liquid_c, room_c, mono_ms)
            return None
        step = liquid_c - last[1]
        if step > self._limit_k or -step > self._limit_k:
            before, self._suspect = self._suspect, (mono_ms, liquid_c, room_c)
            self._look_at_size(abs(step))
            if before is None or (before[1] > last[1]) != (step > 0.0):
                return None
            self._suspect = None
            self._learn(max(min(before[1] - last[1], self._limit_k), -self._limit_k))
            self._take(before[1], before[2], before[0])
        else:
            self._suspect = None
            self._learn(step)
            if step != 0.0:
                self._look_at_size(abs(step))
        pause = self._is_pause(mono_ms - last[0])
        closed, self._cut = self._close(last[0]) if pause and self._count else self._cut, None
        if pause:
            self._bin_ms = mono_ms
        self._take(liquid_c, room_c, mono_ms)
        return self._close(mono_ms) if mono_ms - self._bin_ms >= BIN_MS else closed

    def _is_pause(self, passed_ms: int) -> bool:
        """Is the time since the last reading a gap? A second gap of like length in a row is the probe's interval instead."""
        before_ms, self._passed_ms = self._passed_ms, passed_ms
        if passed_ms <= PAUSE_MS or passed_ms <= 3000.0 * self.every_s:
            return False
        if before_ms <= PAUSE_MS or not 0.5 <= passed_ms / before_ms <= 2.0:
            return True
        self.every_s = passed_ms / 1000.0
        return False

    @property
    def suspects(self) -> bool:
        """Is the last reading a suspect, which waits for the next?"""
        return self._suspect is not None

    def _take(self, liquid_c: float, room_c: float, mono_ms: int) -> None:
        self.last = (mono_ms, liquid_c, room_c)
        self._sum += liquid_c
        self._room_sum += room_c
        self._time_sum += mono_ms - self._bin_ms
        self._count += 1

    def _learn(self, step: float) -> None:
        """Take the difference of two neighbouring readings into the noise."""
        self._diffs += 1
        turn, self._before = step - self._before, step
        self._turn2 += turn * turn
        if step != 0.0:
            self._diff2 += step * step
            self._net += step

    def _look_at_size(self, size: float) -> None:
        """Take the size of a difference into the quantisation step: is it a multiple of the smallest one?"""
        q = self._step_k
        if size > 3.0 * COARSEST_K:
            return
        if size < q - ROUNDED_K * 0.5:
            self._on_step, self._off_step = self._on_step // 4, self._off_step // 4
            self._step_k = size
            return
        if size < q:
            self._step_k = q = size
        if abs(size / q - round(size / q)) * q <= min(ROUNDED_K, 0.2 * q):
            self._on_step += 1
        else:
            self._off_step += 1

    @property
    def step_k(self) -> float | None:
        """The probe's quantisation step [K]; None where it has none that matters."""
        q = self._step_k
        if not FINEST_K < q <= COARSEST_K or self._off_step > OFF_STEP * (self._on_step + self._off_step):
            return None
        return q

    def _close(self, end_ms: int) -> Average:
        """Close the open average at `end_ms`."""
        n = self._count
        found = Average(self._bin_ms + self._time_sum // n, self._sum / n, self._room_sum / n, n, 0.0)
        if self._diffs > 400:
            share = self._diffs // 2 / self._diffs
            self._diffs = self._diffs // 2
            self._diff2, self._turn2, self._net = self._diff2 * share, self._turn2 * share, self._net * share
            self._on_step, self._off_step = self._on_step // 2, self._off_step // 2
        if self._diffs >= MIN_DIFFERENCES:
            wide_k = SUSPECT_SIGMAS * sqrt(self._diff2 / self._diffs)
            self._limit_k = max(wide_k, SUSPECT_STEPS * (self.step_k or 0.0), SUSPECT_K)
        self.per_bin += 0.1 * (n - self.per_bin)
        if end_ms - self._bin_ms >= BIN_MS:  # else a silence has closed the average
            self.every_s += 0.1 * ((end_ms - self._bin_ms) / 1000.0 / n - self.every_s)
        self._bin_ms, self._count, self._sum, self._room_sum, self._time_sum = end_ms, 0, 0.0, 0.0, 0
        recent = self.recent
        recent.append(found)
        while found.at_ms - recent[0].at_ms > RECENT_MS:
            recent.popleft()
        return found

    def noise2(self) -> float:
        """Variance of one reading before it is rounded [K^2].

        A fast rise: from second differences, which a steady rise doesn't change; their mean square is 6 s^2, where s^2 contains q^2/12
        if each reading passes quantisation steps q. A slow rise: from half the mean square of the differences, to which the rise adds
        q rise/2 a reading. Noise s well below q shows there as 0.564 q s, above a third of q as s^2 + q^2/12; both meet in between.
        """
        if not self._diffs:
            return 0.0025
        q, rise = self.step_k, abs(self._net) / self._diffs
        if q is None:
            return max(self._turn2 / self._diffs / 6.0, 1e-6)
        if rise > 0.7 * q:
            return max(self._turn2 / self._diffs / 6.0 - q * q / 12.0, 1e-6)
        seen = self._diff2 / self._diffs / 2.0
        seen = max(seen - 0.5 * q * rise, 0.05 * seen)
        return max((seen / (0.564 * q)) ** 2 if seen < 0.17 * q * q else seen - q * q / 12.0, 1e-6)

    def level_variance(self, n: float) -> float:
        """Variance of the mean of `n` readings of a constant temperature [K^2]: noise and quantisation.

        Noise that spreads over the quantisation steps q averages the quantisation error out (first harmonic of the sawtooth,
        exp(-4 pi^2 s^2/q^2)).
        """
        return self.noise2() / n + self._rounding2()

    def variance(self, n: float, slope: float) -> float:
        """Variance of the mean of `n` readings over a quarter of a minute [K^2], in a long rise of `slope` [K/s].

        A quantisation step that lasts longer than the average gives its information once; a rise through whole steps averages them out.
        """
        found, q = self.noise2() / n, self.step_k
        if q is not None:
            passed = max(slope * max(BIN_MS / 1000.0, self.every_s) / q, 0.05)
            found += self._rounding2() * (1.0 / passed if passed < 1.0 else 1.0 / passed**2)
        return found

    def _rounding2(self) -> float:
        q = self.step_k
        return 0.0 if q is None else q * q / 12.0 * exp(-min(39.5 * self.noise2() / q**2, 50.0))

    def scatter_k(self) -> float:
        """Standard deviation of averages of a quarter of a minute at a constant temperature [K]."""
        q = self.step_k or 0.0
        return sqrt(self.noise2() / max(self.per_bin, 1.0) + q * q / 12.0)


class ProbeView:
    """The readings of a probe since its user last called forget()."""

    __slots__ = ("probe", "since_ms")

    def __init__(self, probe: ProbeStatistics) -> None:
        self.probe = probe
        self.forget()

    def forget(self) -> None:
        """Begin again: only readings from now on belong to the view."""
        self.since_ms = self.probe.cut()

    @property
    def last(self) -> tuple[int, float, float] | None:
        """Last reading: time [ms], liquid [Cel], room [Cel]; None where there is none."""
        last = self.probe.last
        return None if last is None or last[0] <= self.since_ms else last

    def lately(self, over_ms: int = RECENT_MS) -> list[Average]:
        """The averages of the last `over_ms` (at most RECENT_MS), newest first."""
        recent, found = self.probe.recent, []
        if recent:
            from_ms = max(recent[-1].at_ms - over_ms, self.since_ms + 1)
            for average in reversed(recent):
                if average.at_ms < from_ms:
                    break
                found.append(average)
        return found

    def slope(self, over_ms: int, sd_k: float | None = None) -> Slope | None:
        """Slope over the last `over_ms` (at most RECENT_MS); None where fewer than four averages cover half of that time.

        Args:
            sd_k: standard deviation of an average [K]; None: scatter_k().
        """
        rows = self.lately(over_ms)
        if len(rows) < 4 or rows[0].at_ms - rows[-1].at_ms < over_ms / 2:
            return None
        found, sd_k = line(rows), self.probe.scatter_k() if sd_k is None else sd_k
        return Slope(60_000.0 * found.k_per_ms, 60_000.0 * sd_k / sqrt(found.spread))

    def mean_c(self, over_ms: int) -> float:
        """Mean of the averages of the last `over_ms` [Cel]; there must be at least one."""
        rows = self.lately(over_ms)
        return sum(average.liquid_c for average in rows) / len(rows)

    def highest_c(self, over_ms: int) -> float:
        """Highest of the averages of the last `over_ms` [Cel]; -inf where there is none."""
        return max((average.liquid_c for average in self.lately(over_ms)), default=-inf)
