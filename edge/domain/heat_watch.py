"""Follows the reservoir: is it heating, resting, since when, and when will it be where it is wanted.

Readings are averaged over a quarter of a minute, later over half and whole minutes, and kept until somebody asks: the fit
(heat_fit.py) takes them in order then, so the answer doesn't depend on how often one asks, and nothing is computed for nobody.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from math import ceil, erfc, exp, hypot, inf, log, pi, sqrt
from math import floor as floor_of
from typing import Any, Final, NamedTuple

from edge.domain.heat_fit import HeatFit
from edge.domain.heat_prior import REMEMBERED, Prior, is_usable, learned
from edge.domain.heating import HOLD_MS, Forecast

BIN_MS: Final = 15_000
RECENT_MS: Final = 1_500_000
FOUNDED_MS: Final = 240_000  # before this a heat-up tells nothing
FOUNDED_LEARNED_MS: Final = 150_000  # nor, of a station that is known
COARSE_AFTER_MS: Final = 1_800_000  # then one average a minute is enough
WIDEST: Final = 1.3  # an interval wider than this many times its middle says nothing
COARSEST_K: Final = 0.25  # a probe's steps beyond this are no quantisation
FINEST_K: Final = 0.011  # and below this none that matters
GAP_MS: Final = 900_000  # after such a silence it is another story
RESUME_MS: Final = 900_000  # a heat-up that goes on within this is the same one
RISE_K: Final = 0.25  # a heat-up shows by a rise of this much, at this slope
RISING_K_PER_MIN: Final = 0.03
FALLING_K_PER_MIN: Final = -0.03
LEVEL_K_PER_MIN: Final = 0.003  # slower than this it has levelled off
FELL_K: Final = 0.7
WAITING: Final = 240  # averages kept for the fit before it is made to take them
#: standard deviation of what is left that no hypothesis knows: always, and at five minutes (falling with the time since)
FLOOR_SHARE: Final = 0.009
EARLY_SHARE: Final = 0.08
LEAST_SD_S: Final = 4.0
GRID_K: Final = 0.25
LONGEST_S: Final = 172_800.0
WEAK_SHARE: Final = 0.9  # of its habit
Z90: Final = 1.645


class _Average(NamedTuple):
    """Of a quarter of a minute, or a minute: when, Cel, room, of how many readings, variance [K^2]."""

    at_ms: int
    liquid_c: float
    room_c: float
    n: int
    variance: float


class HeatWatch:
    """One reservoir. `broad`: what is believed of its heating whatever it did before."""

    __slots__ = (
        "prior", "broad", "_start_ms", "_start_c", "_low", "_last", "_recent", "_turn_c", "_step_k", "_sum", "_room_sum", "_count",
        "_bin_ms", "_diff2", "_diffs", "_fit", "_from_ms", "_waiting", "_paused", "_plan", "_merge", "_stalled", "_per_bin", "_stopped_ms",
        "_slope",
    )  # fmt: skip

    def __init__(self, broad: Prior | None = None) -> None:
        self.prior = self.broad = broad or Prior()
        self._step_k = inf  # the smallest step between two readings: the probe's resolution
        self._diff2, self._diffs = 0.0, 0
        self._per_bin = 10.0  # readings an average is made of
        self._waiting: list[_Average] = []  # what the fit has not taken yet
        self._recent: deque[tuple[int, float, float]] = deque()  # averages of a quarter of a minute: when, Cel, room
        self.forget()

    def forget(self) -> None:
        """What is going on has nothing to do with heating (the liquid is away, or has just come back)."""
        self._start_ms: int | None = None  # start of the heat-up under way
        self._start_c = self._turn_c = 0.0
        self._low: tuple[int, float] | None = None  # lowest since the last time it was falling
        self._last: tuple[int, float, float] | None = None  # mono, liquid, room
        self._sum = self._room_sum = 0.0
        self._count = self._bin_ms = self._from_ms = 0
        self._fit: HeatFit | None = None
        self._plan: tuple[float, float, float | None, float] | None = None  # what the fit begins with
        self._paused: tuple[int, HeatFit, int, int, float] | None = None  # when it stopped, and what there was
        self._merge: list[_Average] = []  # those that become one of a minute
        self._stalled = False
        self._stopped_ms = 0
        self._slope = 0.0
        self._waiting.clear()
        self._recent.clear()

    def learn(self, fits: Sequence[Mapping[str, Any]]) -> None:
        """What this station's earlier heat-ups left in the journal, oldest first. Counts from the next heat-up on."""
        self.prior = learned(self.broad, [fit for fit in fits if is_usable(fit)][-REMEMBERED:])

    @property
    def heating_since_ms(self) -> int | None:
        """Monotonic start of the heat-up under way; None where it isn't heating."""
        return self._start_ms

    @property
    def started_at_c(self) -> float:
        """Temperature at which the heat-up under way began [Cel]."""
        return self._start_c

    @property
    def highest_c(self) -> float | None:
        """Highest quarter-minute average of the heat-up under way [Cel]: beyond the set point it is overshoot."""
        return None if self._start_ms is None else self._turn_c

    @property
    def has_levelled_off(self) -> bool:
        """It was heating and rises no more."""
        return self._start_ms is not None and self._stalled

    def not_heating_since_ms(self) -> int | None:
        """Since when it has been in sight without heating (at most RECENT_MS ago); None while it heats, or where nothing is known."""
        if self._start_ms is not None or not self._recent:
            return None
        return max(self._recent[0][0], self._stopped_ms)

    def weaker_than_habit(self) -> float | None:
        """Heat-up power as a share of this station's habit, where it is surely below WEAK_SHARE; None else."""
        if self._start_ms is None or not self.prior.heat_ups:
            return None
        fit = self._catch_up()
        if fit is None:
            return None
        power, sd = fit.power_now()
        habit = self.prior.power[0]
        return power / habit if power + Z90 * sd < WEAK_SHARE * habit else None

    def summary(self) -> dict[str, Any] | None:
        """What the heat-up under way leaves to learn from; None where it was disturbed, or too little of it was seen."""
        fit = self._catch_up()
        if fit is None or fit.disturbed_t is not None or fit.t < (600.0 if fit.seen_start else 1_500.0):
            return None
        found = fit.summary()
        return found if is_usable(found) else None

    def hear(self, liquid_c: float, room_c: float, mono_ms: int) -> None:
        """One good reading of the reservoir, with the room (measured or declared)."""
        last = self._last
        if last is None or mono_ms - last[0] > GAP_MS:
            self.forget()
            self._bin_ms = mono_ms
        else:
            step = liquid_c - last[1]
            if step != 0.0:
                self._diff2 += step * step
                if -self._step_k < step < self._step_k:
                    self._step_k = abs(step)
            self._diffs += 1
        self._last = (mono_ms, liquid_c, room_c)
        self._sum += liquid_c
        self._room_sum += room_c
        self._count += 1
        if mono_ms - self._bin_ms >= BIN_MS:
            self._close(mono_ms)

    def _close(self, mono_ms: int) -> None:
        """A quarter of a minute is over."""
        liquid_c, room_c, n = self._sum / self._count, self._room_sum / self._count, self._count
        at_ms = (
            self._bin_ms + mono_ms + (mono_ms - self._bin_ms) // n
        ) // 2  # the last reading is at its end, none at its beginning
        self._bin_ms, self._count, self._sum, self._room_sum = mono_ms, 0, 0.0, 0.0
        if self._diffs > 400:
            self._diffs, self._diff2 = self._diffs // 2, self._diff2 / 2.0
        self._per_bin += 0.1 * (n - self._per_bin)
        recent = self._recent
        recent.append((at_ms, liquid_c, room_c))
        while at_ms - recent[0][0] > RECENT_MS:
            recent.popleft()
        if self._low is None or liquid_c < self._low[1]:
            self._low = (at_ms, liquid_c)
        self._keep(at_ms, liquid_c, room_c, n)
        if self._start_ms is None or self._stalled:
            if liquid_c - self._low[1] >= RISE_K and (self.slope_k_per_min(300_000) or 0.0) > RISING_K_PER_MIN:
                self._begin(at_ms)
            elif self._stalled:
                self._look_for_fall(at_ms, liquid_c)
            return
        self._turn_c = max(self._turn_c, liquid_c)
        if self._plan is None and self._fit is None:
            founded_ms = FOUNDED_LEARNED_MS if self.prior.heat_ups else FOUNDED_MS
            if at_ms - self._start_ms >= founded_ms:
                self._make_plan(at_ms)
        self._look_for_fall(at_ms, liquid_c)

    def _keep(self, at_ms: int, liquid_c: float, room_c: float, n: int) -> None:
        """An average for the fit: as it is, or as a part of a minute's."""
        waiting = self._waiting
        if self._stalled:
            return
        if self._plan is None:
            waiting.append(_Average(at_ms, liquid_c, room_c, n, 0.0))
            if len(waiting) > 2 * 60:
                del waiting[:60]
            return
        average = _Average(at_ms, liquid_c, room_c, n, self._variance(n, self._slope))
        if at_ms - self._from_ms < COARSE_AFTER_MS:
            waiting.append(average)
        else:
            merge = self._merge
            merge.append(average)
            if len(merge) == 4:
                t, c, r, v = (sum(a[i] for a in merge) for i in (0, 1, 2, 4))
                waiting.append(_Average(round(t / 4.0), c / 4.0, r / 4.0, 4 * n, v / 16.0))
                merge.clear()
        if len(waiting) > WAITING:
            self._catch_up()

    def _look_for_fall(self, at_ms: int, liquid_c: float) -> None:
        """Has the heat-up under way come to its end, or to a stop?"""
        assert self._start_ms is not None
        slope = self.slope_k_per_min(300_000)
        if slope is not None and slope > 0.0:
            self._slope = slope / 60.0
        falls = liquid_c < self._turn_c - FELL_K or (slope is not None and slope < FALLING_K_PER_MIN)
        levels = False
        if not falls and not self._stalled and at_ms - self._start_ms > 900_000:
            long = self.slope_k_per_min(600_000)
            levels = long is not None and long < LEVEL_K_PER_MIN
        if not falls and not levels:
            return
        if not self._stalled:
            fit = self._catch_up()
            self._paused = None if fit is None else (at_ms, fit, self._from_ms, self._start_ms, self._start_c)
        self._low = (at_ms, liquid_c)
        self._stalled = levels
        self._plan = None
        self._merge.clear()
        self._waiting.clear()
        if falls:
            self._start_ms, self._fit, self._stopped_ms = None, None, at_ms

    def _begin(self, at_ms: int) -> None:
        """A heat-up is under way, or goes on."""
        assert self._low is not None
        self._merge.clear()
        self._stalled = False
        self._turn_c = self._low[1]
        paused, self._paused = self._paused, None
        if paused is not None and at_ms - paused[0] <= RESUME_MS:
            _, self._fit, self._from_ms, self._start_ms, self._start_c = paused
            self._fit.open_level()
            self._waiting.clear()
            self._plan = (0.0, 0.0, None, 0.0)
            return
        self._start_ms, self._start_c = self._low
        self._fit = self._plan = None
        found = hinge([(t, c) for t, c, _ in self._recent if at_ms - t <= 600_000])
        if found is not None:
            self._start_ms, self._start_c = int(found[0]), found[1]

    def slope_k_per_min(self, over_ms: int) -> float | None:
        """Slope of the last `over_ms` (at most RECENT_MS); None where there are fewer than four samples over half of it."""
        if not self._recent:
            return None
        end_ms = self._recent[-1][0]
        n = 0
        st = sc = stt = stc = first = 0.0
        base = self._recent[-1][1]
        for at_ms, liquid_c, _ in reversed(self._recent):
            t = at_ms - end_ms
            if -t > over_ms:
                break
            c = liquid_c - base
            n, first = n + 1, -t
            st, sc, stt, stc = st + t, sc + c, stt + t * t, stc + t * c
        if n < 4 or first < over_ms / 2:
            return None
        return 60_000.0 * (n * stc - st * sc) / (n * stt - st * st)

    def fell_by(self, liquid_c: float, over_ms: int) -> float:
        """How far it is below its highest average of the last `over_ms` [K]."""
        if not self._recent:
            return 0.0
        since_ms = self._recent[-1][0] - over_ms
        highest = liquid_c
        for at_ms, c, _ in reversed(self._recent):
            if at_ms < since_ms:
                break
            if c > highest:
                highest = c
        return highest - liquid_c

    # -- the fit

    def _noise2(self, slope: float) -> float:
        """Variance of one reading before it is rounded [K^2], at a slope [K/s].

        Half the mean square of neighbours' differences holds the rounding: a slow rise adds q rise/2 a reading; noise s well below the
        step q shows as 0.564 q s, above a third of it as s^2 + q^2/12 (both meet there).
        """
        if not self._diffs:
            return 0.0025
        seen, q = self._diff2 / self._diffs / 2.0, self._step_k
        rise = slope * BIN_MS / 1000.0 / self._per_bin
        if not FINEST_K < q <= COARSEST_K:
            return max(seen - 0.5 * rise * rise, 1e-6)
        seen = max(seen - 0.5 * q * rise, 0.05 * seen)
        return max((seen / (0.564 * q)) ** 2 if seen < 0.17 * q * q else seen - q * q / 12.0, 1e-6)

    def _variance(self, n: int, slope: float) -> float:
        """Variance of the mean of `n` readings of a quarter of a minute [K^2]: noise, and what rounding leaves.

        Rounding leaves little where noise spreads over the steps (the first harmonic of the sawtooth, exp(-4 pi^2 s^2/q^2)), and
        where the rise passes whole steps; a step that takes longer than the mean tells its place once.
        """
        noise2 = self._noise2(slope)
        found, q = noise2 / n, self._step_k
        if FINEST_K < q <= COARSEST_K:
            passed = max(slope * BIN_MS / 1000.0 / q, 0.05)
            left = exp(-min(39.5 * noise2 / q**2, 50.0))
            found += q * q / 12.0 * left * (1.0 / passed if passed < 1.0 else 1.0 / passed**2)
        return found

    def _catch_up(self) -> HeatFit | None:
        """Give the fit what it hasn't seen."""
        if self._plan is None:
            return None
        if self._fit is None:
            self._fit = HeatFit(*self._plan, self.prior, self.broad)
        fit = self._fit
        for at_ms, liquid_c, room_c, _, variance in self._waiting:
            fit.add((at_ms - self._from_ms) / 1000.0, liquid_c, variance, room_c)
        self._waiting.clear()
        return fit

    def _make_plan(self, at_ms: int) -> None:
        """Enough has been seen of the rise: find where it began, or that this can't be told."""
        assert self._start_ms is not None
        # at rest it runs towards the room: that is taken away before a level is looked for
        loss, seen = self.prior.loss.median / 1000.0, [w for w in self._waiting if w[0] > self._start_ms - 420_000]
        rows = [(t, liquid_c + loss * (liquid_c - room_c) * (t - at_ms)) for t, liquid_c, room_c, _, _ in seen]
        found = hinge(rows)
        if found is not None:
            bend_ms, level, slope, before = found
            first = seen[max(before - 16, 0)]
            self._from_ms, self._start_ms = first[0], int(bend_ms)
            self._start_c = level - loss * (level - first[2]) * (bend_ms - at_ms)
            level -= loss * (level - first[2]) * (first[0] - at_ms)
            sd = sqrt(self._variance(10, 0.0) / min(before, 16)) + 0.02
            self._plan = (level, sd, (bend_ms - first[0]) / 1000.0, slope * 1000.0)
        else:
            late, early = self._slope_of(at_ms - 120_000, at_ms), self._slope_of(at_ms - 240_000, at_ms - 120_000)
            if late is None or early is None or late < 0.75 * early:
                return  # the probe, or a wall, is still catching up
            rows = [w for w in rows if w[0] > at_ms - 120_000]
            self._from_ms = rows[0][0]
            self._plan = (rows[0][1], 1.0, None, late * 1000.0)
        self._slope = self._plan[3]
        self._waiting = [
            w._replace(variance=self._variance(w.n, self._slope)) for w in self._waiting if w.at_ms >= self._from_ms
        ]

    def _slope_of(self, from_ms: int, to_ms: int) -> float | None:
        """K/ms of the averages between two times; None where there are fewer than four."""
        rows = [(t, c) for t, c, _ in self._recent if from_ms < t <= to_ms]
        if len(rows) < 4:
            return None
        n = len(rows)
        mean_t, mean_c = sum(t for t, _ in rows) / n, sum(c for _, c in rows) / n
        return sum((t - mean_t) * (c - mean_c) for t, c in rows) / sum((t - mean_t) ** 2 for t, _ in rows)

    def _threshold(self, target_c: float) -> float:
        """What the probe must see for the reading to be `target_c`: one that rounds reads it half a step early."""
        q = self._step_k
        assert self._last is not None
        if not FINEST_K < q <= COARSEST_K:
            return target_c
        steps = (target_c - self._last[1]) / q
        return self._last[1] + (ceil(steps - 1e-6) - 0.5) * q

    def until(self, target_c: float, mono_ms: int) -> Forecast:
        """Time until the liquid reads `target_c` and has held it for two minutes."""
        if self._last is None:
            return Forecast(None, None, None, "no reading of the reservoir")
        if self._start_ms is None:
            return Forecast(None, None, None, "it is not heating")
        if self._stalled:
            ends_c = self._turn_c
            if self._paused is not None:
                ends_c = max(ends_c, self._paused[1].plateau_c(self._last[2]))
            return Forecast(None, None, None, f"it will not get there: it levels off near {ends_c:.1f} °C")
        fit = self._catch_up()
        if fit is None or fit.n < 4:
            return Forecast(None, None, None, "not known yet: heating has only just begun")
        room_c = fit.room_c
        found = self._quantiles(fit, self._threshold(target_c))
        if found is None:
            ends_c = fit.plateau_c(room_c)
            return Forecast(
                None, None, None, f"it will not get there: at this rate it ends near {ends_c:.1f} °C{self._cause(fit)}"
            )
        low, mid, high = found
        floor = Z90 * hypot(FLOOR_SHARE, EARLY_SHARE * 300.0 / max(fit.t, 60.0)) * mid
        low = mid - hypot(mid - low, floor)
        high = min(mid + hypot(high - mid, floor), LONGEST_S)
        if mid > 0.0 and high - low > WIDEST * (mid + 120.0):
            return Forecast(None, None, None, "not known yet: too little has been seen of this heat-up")
        late, late_sd = self._held_late_s(fit, target_c, room_c)
        late -= (mono_ms - self._from_ms) / 1000.0 - fit.t
        low, high = mid - hypot(mid - low, Z90 * late_sd), mid + hypot(high - mid, Z90 * late_sd)
        mid_ms, low_ms, high_ms = (int(max(s + late, 0.0) * 1000.0) + HOLD_MS for s in (mid, low, high))
        return Forecast(mid_ms, low_ms, high_ms, "")

    @staticmethod
    def _quantiles(fit: HeatFit, sees_c: float) -> tuple[float, float, float] | None:
        """5, 50 and 95 % points [s] of when the probe sees this; None where it rather never does.

        The target moves with the room and is asked for at every reading: worked out on a grid, once an average, and read off between.
        """
        below = floor_of(sees_c / GRID_K) * GRID_K
        share = (sees_c - below) / GRID_K
        left, right = _grid_point(fit, below), _grid_point(fit, below + GRID_K)
        if left is None or right is None:
            return _grid_point(fit, sees_c)
        # at a point that may never be reached the grid holds infinity, which has no place between
        pairs = zip(left, right, strict=True)
        low, mid, high = (max(a, b) if inf in (a, b) else a + share * (b - a) for a, b in pairs)
        return None if mid == inf else (low, mid, high)

    def _cause(self, fit: HeatFit) -> str:
        """Why it will not get there, where this station's habit tells."""
        if self.prior.heat_ups:
            power, loss = fit.power_now()[0] / self.prior.power[0], fit.loss_now()[0] / self.prior.loss.median
            if power < WEAK_SHARE:
                return f"; the heater gives {100.0 * power:.0f} % of what it used to"
            if loss > 1.25:
                return "; it loses more heat than it used to: is the lid open?"
        return "; the heater is too weak, or the lid open"

    def _held_late_s(self, fit: HeatFit, target_c: float, room_c: float) -> tuple[float, float]:
        """How long after the mean passes the target the last noisy reading below it comes: median, standard deviation.

        Of readings below it after tau seconds there are s/(r dt) G(r tau/s), G(x) the integral of the normal tail, s the noise, r
        the rise; in the median there is none more where that is ln 2.
        """
        power, loss = fit.power_now()[0], fit.loss_now()[0]
        rate = max(power - loss * (target_c - room_c), 0.1 * power, 1e-5)
        every_s = BIN_MS / 1000.0 / max(self._per_bin, 1.0)
        wide_s = min(sqrt(self._noise2(rate)) / rate, 300.0)
        sd_s = hypot(0.5 * wide_s, 0.4 * every_s, LEAST_SD_S)
        if wide_s < 0.2 * every_s:
            return 0.5 * every_s, sd_s
        low, high = -4.0, 4.0
        for _ in range(14):
            x = 0.5 * (low + high)
            tail = exp(-0.5 * x * x) / sqrt(2.0 * pi) - x * 0.5 * erfc(x / sqrt(2.0))
            low, high = (x, high) if wide_s / every_s * tail > log(2.0) else (low, x)
        return 0.5 * (low + high) * wide_s + 0.5 * every_s, sd_s


def _grid_point(fit: HeatFit, sees_c: float) -> tuple[float, float, float] | None:
    """5, 50 and 95 % points for one temperature, remembered until the fit takes another average."""
    if sees_c not in fit.memo:
        points = fit.points(sees_c, fit.room_c)
        never = sum(w for s, w in points if s == inf)
        fit.memo[sees_c] = (
            None
            if never > 0.5
            else (quantile(points, 0.05), quantile(points, 0.5), min(quantile(points, 0.95), LONGEST_S))
        )
    return fit.memo[sees_c]


def hinge(rows: list[tuple[int, float]]) -> tuple[float, float, float, int] | None:
    """Level, then a straight rise: (ms of the bend, level, K/ms, samples before it) by least squares; None where no level was seen.

    The rise is the least sum of squares over all places of the bend.
    """
    n = len(rows)
    best: tuple[float, float, float, float, int] | None = None
    at0 = rows[0][0]
    for j in range(4, n - 3):
        bend = rows[j][0] - at0
        sx = sxx = sy = sxy = syy = 0.0
        for t, c in rows:
            x = max(t - at0 - bend, 0.0)
            y = c - rows[0][1]
            sx, sxx, sy, sxy, syy = sx + x, sxx + x * x, sy + y, sxy + x * y, syy + y * y
        det = n * sxx - sx * sx
        slope = (n * sxy - sx * sy) / det
        level = (sy - slope * sx) / n
        left = syy - level * sy - slope * sxy
        if slope > 0.0 and (best is None or left < best[0]):
            best = (left, float(at0 + bend), level + rows[0][1], slope, j)
    if best is None or best[4] == 4:
        return None
    return best[1:]


def quantile(points: list[tuple[float, float]], share: float) -> float:
    """Of weighted, sorted points, between their middles."""
    before, last_at, last = 0.0, -1.0, points[0][0]
    for value, weight in points:
        at = before + 0.5 * weight
        if at >= share:
            if last_at < 0.0 or value == inf or at == last_at:
                return value
            return last + (value - last) * (share - last_at) / (at - last_at)
        last_at, last = at, value
        before += weight
    return points[-1][0]
