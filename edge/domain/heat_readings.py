"""The reservoir's readings, averaged over quarters of a minute: odd ones left out, noise and the probe's steps found from them.

A reading far from the one before waits for the next: where that one agrees the change is real and both count, else it was a slip (a spike
on the wire) and is left out. "Far" is by the noise seen so far, so a coarse or noisy probe is no suspect.
"""

from __future__ import annotations

from collections import deque
from math import exp, inf, sqrt
from typing import Final, NamedTuple

BIN_MS: Final = 15_000
RECENT_MS: Final = 1_500_000
GAP_MS: Final = 900_000  # after such a silence it is another story
PAUSE_MS: Final = 45_000  # after such a silence, or three readings', an average is closed as it stands
COARSEST_K: Final = 1.1  # a probe's steps beyond this are no quantisation
FINEST_K: Final = 0.011  # and below this none that matters
ROUNDED_K: Final = 0.011  # readings written with two decimals are off their steps by as much
OFF_STEP: Final = 0.25  # a probe of which this share of differences is no multiple of its smallest has no steps
#: a reading this far from the one before is a suspect [K]; also so many standard deviations of neighbours' differences, or steps
SUSPECT_K: Final = 0.25
SUSPECT_SIGMAS: Final = 5.5
SUSPECT_STEPS: Final = 2.2
UNKNOWN_SUSPECT_K: Final = 1.5  # while the noise isn't known
FEW: Final = 12  # differences that tell no noise


class Average(NamedTuple):
    """Of a quarter of a minute, or a minute: when, Cel, room, of how many readings, variance [K^2]."""

    at_ms: int
    liquid_c: float
    room_c: float
    n: int
    variance: float


class Slope(NamedTuple):
    """K/min, and its standard deviation."""

    k_per_min: float
    sd: float


class Readings:
    """What was heard of one probe."""

    __slots__ = (
        "recent", "last", "every_s", "_step_k", "_on_step", "_off_step", "_diff2", "_turn2", "_net", "_before", "_diffs", "_limit_k",
        "_suspect", "_passed_ms", "_bin_ms", "_sum", "_room_sum", "_time_sum", "_count", "_per_bin",
    )  # fmt: skip

    def __init__(self) -> None:
        self._step_k = inf  # the smallest difference of two readings
        self._on_step = self._off_step = 0  # how many differences are multiples of it, and how many not
        self._diff2 = self._turn2 = self._net = (
            0.0  # sums: squares of differences and of their differences, differences
        )
        self._before, self._diffs = 0.0, 0
        self._limit_k = UNKNOWN_SUSPECT_K
        self._per_bin = 10.0  # readings an average is made of
        self.every_s = BIN_MS / 10_000.0
        self.recent: deque[tuple[int, float, float]] = deque()  # averages of a quarter of a minute: when, Cel, room
        self.forget()

    def forget(self) -> None:
        """What comes has nothing to do with what was; the probe is the same."""
        self.last: tuple[int, float, float] | None = None  # mono, liquid, room
        self._suspect: tuple[int, float, float] | None = None
        self._bin_ms = self._time_sum = self._count = self._passed_ms = 0
        self._sum = self._room_sum = 0.0
        self.recent.clear()

    def hear(self, liquid_c: float, room_c: float, mono_ms: int) -> Average | None:
        """One reading; the average that it ends, without its variance. Begins anew after GAP_MS."""
        last = self.last
        if last is None or mono_ms - last[0] > GAP_MS:
            self.forget()
            self._bin_ms = mono_ms
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
        closed = self._close(last[0]) if pause and self._count else None
        if pause:
            self._bin_ms = mono_ms
        self._take(liquid_c, room_c, mono_ms)
        return self._close(mono_ms) if mono_ms - self._bin_ms >= BIN_MS else closed

    def _is_pause(self, passed_ms: int) -> bool:
        """So long since the last reading that nothing is known between them; twice in a row it is how the probe is read."""
        before_ms, self._passed_ms = self._passed_ms, passed_ms
        if passed_ms <= PAUSE_MS or passed_ms <= 3000.0 * self.every_s:
            return False
        if before_ms <= PAUSE_MS or not 0.5 <= passed_ms / before_ms <= 2.0:
            return True
        self.every_s = passed_ms / 1000.0
        return False

    @property
    def suspects(self) -> bool:
        """The last reading waits for the next."""
        return self._suspect is not None

    def _take(self, liquid_c: float, room_c: float, mono_ms: int) -> None:
        self.last = (mono_ms, liquid_c, room_c)
        self._sum += liquid_c
        self._room_sum += room_c
        self._time_sum += mono_ms - self._bin_ms
        self._count += 1

    def _learn(self, step: float) -> None:
        """A difference of two neighbours."""
        self._diffs += 1
        turn, self._before = step - self._before, step
        self._turn2 += turn * turn
        if step != 0.0:
            self._diff2 += step * step
            self._net += step

    def _look_at_size(self, size: float) -> None:
        """Of a difference: is it a multiple of the smallest so far?"""
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
        """The probe's steps [K]; None where it has none that matter."""
        q = self._step_k
        if not FINEST_K < q <= COARSEST_K or self._off_step > OFF_STEP * (self._on_step + self._off_step):
            return None
        return q

    def _close(self, end_ms: int) -> Average:
        """A quarter of a minute is over."""
        n = self._count
        found = Average(self._bin_ms + self._time_sum // n, self._sum / n, self._room_sum / n, n, 0.0)
        if self._diffs > 400:
            share = self._diffs // 2 / self._diffs
            self._diffs = self._diffs // 2
            self._diff2, self._turn2, self._net = self._diff2 * share, self._turn2 * share, self._net * share
            self._on_step, self._off_step = self._on_step // 2, self._off_step // 2
        if self._diffs >= FEW:
            wide_k = SUSPECT_SIGMAS * sqrt(self._diff2 / self._diffs)
            self._limit_k = max(wide_k, SUSPECT_STEPS * (self.step_k or 0.0), SUSPECT_K)
        self._per_bin += 0.1 * (n - self._per_bin)
        if end_ms - self._bin_ms >= BIN_MS:  # else a pause has ended it
            self.every_s += 0.1 * ((end_ms - self._bin_ms) / 1000.0 / n - self.every_s)
        self._bin_ms, self._count, self._sum, self._room_sum, self._time_sum = end_ms, 0, 0.0, 0.0, 0
        recent = self.recent
        recent.append((found.at_ms, found.liquid_c, found.room_c))
        while found.at_ms - recent[0][0] > RECENT_MS:
            recent.popleft()
        return found

    def noise2(self) -> float:
        """Variance of one reading before it is rounded [K^2].

        From the differences of neighbours' differences, which a steady rise leaves alone: their mean square is 6 s^2, with q^2/12 in s^2
        where steps q are passed at each reading. Slower than that half the mean square of the differences tells: a slow rise adds q rise/2
        a reading; noise s well below q shows as 0.564 q s, above a third of it as s^2 + q^2/12 (both meet there).
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

    def variance(self, n: float, slope: float) -> float:
        """Variance of the mean of `n` readings of a quarter of a minute [K^2]: noise, and what rounding leaves.

        Rounding leaves little where noise spreads over the steps (the first harmonic of the sawtooth, exp(-4 pi^2 s^2/q^2)), and
        where the rise passes whole steps; a step that takes longer than the mean tells its place once.
        """
        noise2, q = self.noise2(), self.step_k
        found = noise2 / n
        if q is not None:
            passed = max(slope * max(BIN_MS / 1000.0, self.every_s) / q, 0.05)
            left = exp(-min(39.5 * noise2 / q**2, 50.0))
            found += q * q / 12.0 * left * (1.0 / passed if passed < 1.0 else 1.0 / passed**2)
        return found

    def scatter_k(self) -> float:
        """By how much averages of a quarter of a minute differ though nothing moves: a standard deviation [K]."""
        q = self.step_k or 0.0
        return sqrt(self.noise2() / max(self._per_bin, 1.0) + q * q / 12.0)

    def slope(self, over_ms: int) -> Slope | None:
        """Slope of the last `over_ms` (at most RECENT_MS); None where there are fewer than four averages over half of it."""
        if not self.recent:
            return None
        end_ms, base, _ = self.recent[-1]
        n = 0
        st = sc = stt = stc = first = 0.0
        for at_ms, liquid_c, _ in reversed(self.recent):
            t = at_ms - end_ms
            if -t > over_ms:
                break
            c = liquid_c - base
            n, first = n + 1, -t
            st, sc, stt, stc = st + t, sc + c, stt + t * t, stc + t * c
        if n < 4 or first < over_ms / 2:
            return None
        spread = stt - st * st / n
        return Slope(60_000.0 * (stc - st * sc / n) / spread, 60_000.0 * self.scatter_k() / sqrt(spread))

    def mean_c(self, over_ms: int) -> float:
        """Mean of the averages of the last `over_ms` [Cel]; there is at least one."""
        end_ms = self.recent[-1][0]
        rows = [c for at_ms, c, _ in self.recent if end_ms - at_ms <= over_ms]
        return sum(rows) / len(rows)

    def fell_by(self, liquid_c: float, over_ms: int) -> float:
        """How far it is below its highest average of the last `over_ms` [K]."""
        if not self.recent:
            return 0.0
        since_ms = self.recent[-1][0] - over_ms
        highest = liquid_c
        for at_ms, c, _ in reversed(self.recent):
            if at_ms < since_ms:
                break
            if c > highest:
                highest = c
        return highest - liquid_c
