"""Follows the reservoir's heating: is a heat-up under way, since when, and when does the probe see a given temperature?

Readings are averaged over a quarter of a minute, later over a whole minute. The averages wait until somebody asks for a forecast; the fit
(warmup_fit.py) then takes them in order. So the answer doesn't depend on how often it is asked for, and no forecast is computed unasked.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import exp, hypot, log, sqrt
from typing import Any, Final, NamedTuple

from edge.domain.entry_bodies import HeatUpFit
from edge.domain.heat.balance import Forecast
from edge.domain.heat.crossing import ProbeModel, ProbeTrend
from edge.domain.heat.hypothesis import WarmUpStart
from edge.domain.heat.prior import HEAT_UPS_KEPT, Prior, is_usable, learned
from edge.domain.heat.probe import RECENT_MS, Average, ProbeStatistics, ProbeView, line
from edge.domain.heat.warmup_fit import HeatFit
from edge.domain.heat.warmup_told import FARTHEST_S, CheckedForecasts, never
from edge.domain.maths.robust import Z90
from edge.domain.messages import Message, both, celsius, number, part, say

#: Before a heat-up is this old it tells nothing [ms].
FOUNDED_MS: Final = 240_000
#: The same for a station with learned heat-ups [ms].
FOUNDED_LEARNED_MS: Final = 150_000
#: A heat-up tells nothing before it has risen by this many quantisation steps of the probe.
FOUNDED_STEPS: Final = 2.5
#: From this age on the fit gets one average a minute instead of one each quarter of a minute [ms].
COARSE_AFTER_MS: Final = 1_800_000
#: A 90 % interval wider than this many times its middle is not told.
MAX_WIDTH_SHARE: Final = 1.3
#: A heat-up that goes on within this time after a break is the same heat-up [ms].
RESUME_MS: Final = 900_000
#: A heat-up shows by a rise of at least this [K].
RISE_K: Final = 0.25
#: A heat-up shows by a slope of at least this, beyond what a warmer room gives.
RISING_K_PER_MIN: Final = 0.015
#: A slope below this is a fall.
FALLING_K_PER_MIN: Final = -0.015
#: A slope below this has levelled off.
LEVEL_K_PER_MIN: Final = 0.003
#: A slope below this share of the heat-up's first slope has levelled off, too.
LEVEL_SHARE: Final = 0.015
#: A heat-up that has come down from its highest average by this falls [K].
FELL_K: Final = 0.7
#: A slope counts as rising or falling beyond this many standard errors.
SLOPE_SIGMAS: Final = 2.0
#: Averages differ beyond this many times their scatter (standard deviation).
AVERAGE_SCATTERS: Final = 4.5
#: Averages differ beyond this many quantisation steps of the probe.
AVERAGE_STEPS: Final = 1.4
#: A heat-up that was broken off teaches the next one if it had risen by this [K].
TODAY_K: Final = 3.0
#: A disturbance is told beside the estimate for this long [s].
NEWS_S: Final = 900.0
#: A heat-up that falls for this long has ended [ms].
FALLING_MS: Final = 240_000
#: That a heat-up was broken off is told for this long [ms].
BROKEN_MS: Final = 480_000
BROKEN_OFF: Final = say("heating.broken_off")
TOO_LITTLE: Final = say("heating.too_little_seen")
SLOWER: Final = say("heating.slower")
#: A rise below this share of the forecast one contradicts the forecast, unless a disturbance is still news.
SLOWER_SHARE: Final = 0.6
#: The rise is compared with the forecast over this time [ms].
RISE_MS: Final = 300_000
#: From this probability of "never" on, it is said that the target may not be reached.
MAYBE_NEVER: Final = 0.2
#: From this probability of "never" on, it is said that the target will not be reached.
SURELY_NEVER: Final = 0.9
#: Neither is said before the heat-up is this old [s].
SURELY_AFTER_S: Final = 600.0
#: A liquid that has levelled off this far below the plateau of its fit has lost its heater [K].
STILL_HEATS_K: Final = 3.0
#: When this many averages wait, the fit takes them though nobody asks.
MAX_WAITING: Final = 240
#: Least standard deviation of a forecast [s].
MIN_SD_S: Final = 4.0
#: A forecast is not contradicted by a rise that would take less than this [s].
MIN_SOON_S: Final = 300.0
#: A heater that surely gives less than this share of its habit is weak.
WEAK_SHARE: Final = 0.9
#: Standard deviation of the start of a rise, beside the scatter of the averages [s].
BEND_SD_S: Final = 30.0


class ProbeForecast(NamedTuple):
    """When the probe sees a temperature: seconds from now with a 90 % interval, negative: it has seen it. `why`: a recent disturbance."""

    mid_s: float
    low_s: float
    high_s: float
    why: Message | None

    def later(self, late_s: float, late_sd_s: float, hold_ms: int) -> Forecast:
        """The forecast of a condition that is met `late_s` later (standard deviation `late_sd_s`) and has to hold for `hold_ms`."""
        mid, wide_s = self.mid_s, Z90 * late_sd_s
        low, high = mid - hypot(mid - self.low_s, wide_s), mid + hypot(self.high_s - mid, wide_s)
        mid_ms, low_ms, high_ms = (int(max(s + late_s, 0.0) * 1000.0) + hold_ms for s in (mid, low, high))
        return Forecast(mid_ms, low_ms, high_ms, self.why)


class WarmUpEstimator:
    """The heating of one reservoir. `broad`: the prior without this station's history."""

    __slots__ = (
        "prior", "broad", "_start_ms", "_start_c", "_low", "_turn_c", "_fit", "_forecasts", "_from_ms", "_waiting", "_broken",
        "_plan", "_merge", "_stalled", "_slope", "_rise", "_probe", "view", "_fits", "_today", "_origin", "_falling_ms",
    )  # fmt: skip

    def __init__(self, broad: Prior | None = None, probe: ProbeStatistics | None = None) -> None:
        self.prior = self.broad = broad or Prior()
        self._probe = probe or ProbeStatistics()
        self.view = ProbeView(self._probe)
        self._fits: list[Mapping[str, Any]] = []  # the fits of earlier heat-ups, from the journal
        self._today: Mapping[str, Any] | None = None  # the fit of a heat-up that was broken off
        self._waiting: list[Average] = []  # averages that the fit has not taken yet
        self._fit: HeatFit | None = None
        self._forecasts: CheckedForecasts | None = None  # the forecasts of the fit
        self._start_ms: int | None = None  # start of the heat-up under way
        self._start_c = self._turn_c = 0.0
        #: A heat-up that was broken off: time [ms], rise until then [K], and its start (ms, Cel) where it may go on.
        self._broken: tuple[int, float, tuple[int, float] | None] | None = None
        self.forget()

    def forget(self) -> None:
        """Forget the heat-up under way: the liquid is away, or has just come back."""
        if self._start_ms is not None and self.view.last is not None:
            self._remember()
            self._broken = (self.view.last[0], self._turn_c - self._start_c, None)
        self._start_ms = None
        self._origin: tuple[int, float] | None = None  # start (ms, Cel) of the heat-up that goes on after a break
        self._start_c = self._turn_c = 0.0
        self._low: tuple[int, float] | None = None  # lowest average (ms, Cel) since the last fall
        self._from_ms = 0
        self._fit = None
        self._plan: WarmUpStart | None = None  # the start that the fit is made with
        self._merge: list[Average] = []  # averages to be merged into one of a minute
        self._stalled = False
        self._falling_ms: int | None = None  # since when the liquid has been falling
        self._slope = self._rise = 0.0
        self._waiting.clear()
        self.view.forget()

    def _remember(self) -> None:
        """Keep the fit of a heat-up that is broken off for the next one: the vessel is the same."""
        fit = self._fit
        if fit is not None and fit.t >= 600.0 and self._turn_c - self._start_c >= TODAY_K:
            found = fit.summary()
            if is_usable(found):
                self._today = found

    def learn(self, fits: Sequence[Mapping[str, Any]]) -> None:
        """Learn from the fits of this station's earlier heat-ups, oldest first; they count from the next heat-up on."""
        self._fits = [fit for fit in fits if is_usable(fit)][-HEAT_UPS_KEPT:]
        self._today = None
        self.prior = learned(self.broad, self._fits)

    @property
    def heating_since_ms(self) -> int | None:
        """Monotonic start of the heat-up under way; None where it isn't heating."""
        return self._start_ms if self._origin is None or self._start_ms is None else self._origin[0]

    @property
    def started_at_c(self) -> float:
        """Temperature at which the heat-up under way began [Cel]."""
        return self._start_c if self._origin is None else self._origin[1]

    @property
    def highest_c(self) -> float | None:
        """Highest quarter-minute average of the heat-up under way [Cel]: beyond the set point it is overshoot."""
        return None if self._start_ms is None else self._turn_c

    @property
    def has_levelled_off(self) -> bool:
        """Has the heat-up under way stopped rising?"""
        return self._start_ms is not None and self._stalled

    def weaker_than_habit(self, usual: float = 0.0) -> float | None:
        """Power of the heat-up under way as a share of the habit, where it is surely below WEAK_SHARE; else None.

        Args:
            usual: the power of long ago, P/C [K/s].
        """
        if self._start_ms is None or not self.prior.heat_ups:
            return None
        fit = self._catch_up()
        if fit is None:
            return None
        power, sd = fit.power_now()
        habit = max(self.prior.power[0], usual)
        return power / habit if power + Z90 * sd < WEAK_SHARE * habit else None

    def summary(self) -> HeatUpFit | None:
        """The fit of the heat-up under way, to learn from; None where it was disturbed, or too little of it was seen."""
        fit = self._catch_up()
        if fit is None or fit.disturbed_t is not None or fit.t < (600.0 if fit.seen_start else 1_500.0):
            return None
        found = fit.summary()
        return found if is_usable(found) else None

    def take(self, average: Average) -> None:
        """Take one average of a quarter of a minute."""
        if average.at_ms <= self.view.since_ms:
            return
        at_ms, liquid_c, room_c, _, _ = average
        if self._low is None or liquid_c < self._low[1]:
            self._low = (at_ms, liquid_c)
        self._keep(average)
        if self._start_ms is None or self._stalled:
            if self._rises(liquid_c, room_c):
                self._begin(at_ms)
            elif self._stalled:
                self._look_for_fall(at_ms, liquid_c)
            return
        self._turn_c = max(self._turn_c, liquid_c)
        if self._plan is None and self._fit is None:
            founded_ms = FOUNDED_LEARNED_MS if self.prior.heat_ups or self._today is not None else FOUNDED_MS
            rose_k = liquid_c - self._start_c
            if at_ms - self._start_ms >= founded_ms and rose_k >= FOUNDED_STEPS * (self._probe.step_k or 0.0):
                self._make_plan(at_ms)
        self._look_for_fall(at_ms, liquid_c)

    def _surely_k(self, least_k: float) -> float:
        """The least difference of averages, at least `least_k`, that the probe's scatter and quantisation don't explain [K]."""
        return max(least_k, AVERAGE_SCATTERS * self._probe.scatter_k(), AVERAGE_STEPS * (self._probe.step_k or 0.0))

    def _rises(self, liquid_c: float, room_c: float) -> bool:
        """Does the liquid rise faster than a warmer room can make it?"""
        assert self._low is not None
        if liquid_c - self._low[1] < RISE_K:
            return False
        slope = self.view.slope(300_000)
        if slope is None or liquid_c - self._low[1] < self._surely_k(RISE_K):
            return False
        by_room = 60.0 * self.broad.loss.at(0.95) * max(room_c - liquid_c, 0.0)
        return slope.k_per_min - SLOPE_SIGMAS * slope.sd > RISING_K_PER_MIN + by_room

    def _keep(self, average: Average) -> None:
        """Keep an average for the fit, as it is or merged into one of a minute."""
        waiting = self._waiting
        if self._stalled:
            return
        if self._plan is None:
            waiting.append(average)
            if len(waiting) > 2 * 60:
                del waiting[:60]
            return
        average = average._replace(variance=self._probe.variance(average.n, self._slope))
        if average.at_ms - self._from_ms < COARSE_AFTER_MS:
            waiting.append(average)
        else:
            merge = self._merge
            merge.append(average)
            if len(merge) == 4:
                t, c, r, n, v = (sum(a[i] for a in merge) for i in range(5))
                waiting.append(Average(round(t / 4.0), c / 4.0, r / 4.0, int(n), v / 16.0))
                merge.clear()
        if len(waiting) > MAX_WAITING:
            self._catch_up()

    def _look_for_fall(self, at_ms: int, liquid_c: float) -> None:
        """Detect that the heat-up under way has ended, or has levelled off."""
        assert self._start_ms is not None
        slope = self.view.slope(300_000)
        if slope is not None and slope.k_per_min > 0.0:
            self._slope = slope.k_per_min / 60.0
        falls = liquid_c < self._turn_c - self._surely_k(FELL_K)
        falls = falls or (slope is not None and slope.k_per_min + SLOPE_SIGMAS * slope.sd < FALLING_K_PER_MIN)
        levels = not falls and not self._stalled and at_ms - self._start_ms > 900_000 and self._levels()
        if falls and not self._stalled and not self._goes_on_falling(at_ms):
            return
        if not falls:
            self._falling_ms = None
            if not levels:
                return
        if not self._stalled:
            self._catch_up()
            self._remember()
            self._broken = (at_ms, self._turn_c - self._start_c, self._origin or (self._start_ms, self._start_c))
        self._low = (at_ms, liquid_c)
        self._stalled = levels
        self._plan = None
        self._merge.clear()
        self._waiting.clear()
        if falls:
            self._start_ms, self._fit, self._origin = None, None, None

    def _goes_on_falling(self, at_ms: int) -> bool:
        """Has the liquid been falling for FALLING_MS: too long for an open lid or for cold liquid that was poured in?"""
        lately = self.view.slope(120_000)
        if self._fit is None or self._falling_ms is None:
            self._falling_ms = at_ms
        if lately is not None and lately.k_per_min > SLOPE_SIGMAS * lately.sd:
            self._falling_ms = at_ms
        return self._fit is None or at_ms - self._falling_ms >= FALLING_MS

    def _levels(self) -> bool:
        """Is the slope as good as level, over a time in which a tenth of the first slope would have shown?"""
        limit = max(LEVEL_K_PER_MIN, LEVEL_SHARE * 60.0 * self._rise)
        for over_ms in (600_000, RECENT_MS):
            slope = self.view.slope(over_ms)
            if slope is not None and slope.k_per_min + 0.5 * SLOPE_SIGMAS * slope.sd < limit:
                steps_k = 2.0 * (self._probe.step_k or 0.0)
                return self._rise == 0.0 or over_ms == RECENT_MS or 1e-4 * self._rise * over_ms > steps_k
        return False

    def _begin(self, at_ms: int) -> None:
        """A heat-up has begun, or goes on after a break."""
        assert self._low is not None
        self._merge.clear()
        self._stalled = False
        self._turn_c = self._low[1]
        if self._broken is not None and at_ms - self._broken[0] > RESUME_MS:
            self._broken = None
        self._origin = None if self._broken is None else self._broken[2]
        self._start_ms, self._start_c = self._low
        self._fit = self._plan = None
        found = hinge([(average.at_ms, average.liquid_c) for average in reversed(self.view.lately(600_000))])
        if found is not None:
            self._start_ms, self._start_c = int(found[0]), found[1]

    # -- the fit

    def _catch_up(self) -> HeatFit | None:
        """Give the waiting averages to the fit."""
        if self._plan is None:
            return None
        if self._fit is None:
            fits = self._fits if self._today is None else [*self._fits, self._today]
            self._fit = HeatFit(self._plan, learned(self.broad, fits), self.broad)
            if self._broken is not None and self._broken[1] >= TODAY_K:
                self._fit.resumed()
            self._forecasts = CheckedForecasts(self._fit)
        fit, forecasts = self._fit, self._forecasts
        assert forecasts is not None
        for at_ms, liquid_c, room_c, _, variance in self._waiting:
            fit.add((at_ms - self._from_ms) / 1000.0, liquid_c, variance, room_c)
            forecasts.hear(variance)
        self._waiting.clear()
        return fit

    def _make_plan(self, at_ms: int) -> None:
        """Find where the rise began; where that isn't seen, begin with the averages of the last two minutes."""
        assert self._start_ms is not None
        # At rest the liquid runs towards the room: that drift is taken off before the hinge is fitted.
        loss, seen = self.prior.loss.median / 1000.0, [w for w in self._waiting if w[0] > self._start_ms - 420_000]
        rows = [(t, liquid_c + loss * (liquid_c - room_c) * (t - at_ms)) for t, liquid_c, room_c, _, _ in seen]
        found = hinge(rows)
        if found is not None:
            bend_ms, level, slope, before = found
            first = seen[max(before - 16, 0)]
            self._from_ms, self._start_ms = first[0], int(bend_ms)
            self._start_c = level - loss * (level - first[2]) * (bend_ms - at_ms)
            level -= loss * (level - first[2]) * (first[0] - at_ms)
            sd = sqrt(self._probe.variance(10, 0.0) / min(before, 16)) + 0.02
            bend_sd_s = hypot(BEND_SD_S, self._probe.scatter_k() / (slope * 1000.0))
            bend_s, rise_s = (bend_ms - first[0]) / 1000.0, (at_ms - bend_ms) / 1000.0
            self._plan = WarmUpStart(level, sd**2, 0.0, bend_s, rise_s, bend_sd_s, slope * 1000.0)
        else:
            late, early = self._slope_of(at_ms - 120_000, at_ms), self._slope_of(at_ms - 240_000, at_ms - 120_000)
            if late is None or early is None or late < 0.75 * early:
                return  # the probe, or a wall, has not settled yet
            rows = [w for w in rows if w[0] > at_ms - 120_000]
            self._from_ms = rows[0][0]
            self._plan = WarmUpStart(rows[0][1], 1.0, 0.0, slope=late * 1000.0)
        self._slope = self._rise = self._plan.slope
        self._waiting = [
            w._replace(variance=self._probe.variance(w.n, self._slope))
            for w in self._waiting
            if w.at_ms >= self._from_ms
        ]

    def _slope_of(self, from_ms: int, to_ms: int) -> float | None:
        """Slope [K/ms] of the averages between two times; None where there are fewer than four."""
        rows = [average for average in self.view.lately() if from_ms < average.at_ms <= to_ms]
        return line(rows).k_per_ms if len(rows) >= 4 else None

    def sees(self, sees_c: float, mono_ms: int) -> ProbeForecast | Message:
        """When the probe sees `sees_c` [Cel]; or why that isn't known."""
        if self.view.last is None:
            return say("reservoir.no_reading")
        if self._start_ms is None:
            broken = self._broken
            lately = broken is not None and mono_ms - broken[0] <= BROKEN_MS and broken[1] >= TODAY_K
            return BROKEN_OFF if lately else say("heating.off")
        if self._stalled:
            return self._why_stalled()
        fit = self._catch_up()
        if fit is not None and fit.is_disturbed:
            return BROKEN_OFF
        if fit is None or self._forecasts is None or fit.n < 4:
            return say("heating.just_begun")
        found = self._forecasts.interval(sees_c)
        if isinstance(found, float):
            return self._why_never(fit, found)
        low, mid, high = found
        if self._contradicts(sees_c, mid, fit):
            return self._why_slower(sees_c)
        if mid > 0.0 and high - low > MAX_WIDTH_SHARE * (mid + 120.0):
            chance = never(fit.points(sees_c, fit.room_c)) if high == FARTHEST_S else 0.0
            return self._why_never(fit, chance) if chance >= MAYBE_NEVER else TOO_LITTLE
        high = min(mid + hypot(high - mid, Z90 * self._forecasts.later_s(sees_c, mid)), FARTHEST_S)
        ago = (mono_ms - self._from_ms) / 1000.0 - fit.t
        return ProbeForecast(mid - ago, low - ago, high - ago, self._news(fit))

    def _contradicts(self, sees_c: float, mid_s: float, fit: HeatFit) -> bool:
        """Is the forecast too soon for the present rise? A rise under constant power only slows down, once the start has settled."""
        lately = self.view.slope(RISE_MS)
        if lately is None or fit.t - fit.start_t < SURELY_AFTER_S or self._news(fit) is not None:
            return False
        at_most = max(lately.k_per_min + 2.0 * SLOPE_SIGMAS * lately.sd, LEVEL_K_PER_MIN) / 60.0
        return sees_c - self.view.mean_c(60_000) > at_most * max(mid_s / SLOWER_SHARE, MIN_SOON_S)

    def _why_slower(self, sees_c: float) -> Message:
        """What is said of a rise slower than its forecast; where it slows down exponentially to an end below the target, that end."""
        late, whole = self.view.slope(RECENT_MS // 2), self.view.slope(RECENT_MS)
        if late is None or whole is None:
            return SLOWER
        half_s, now_k, before_k = RECENT_MS / 2000.0, late.k_per_min, 2.0 * whole.k_per_min - late.k_per_min
        if not 0.0 < now_k < before_k - 2.0 * SLOPE_SIGMAS * hypot(whole.sd, late.sd):
            return SLOWER
        fades_s = half_s / log(before_k / now_k)
        ends_c = self.view.mean_c(60_000) + now_k / 60.0 * exp(-0.5 * half_s / fades_s) * fades_s
        if ends_c >= sees_c:
            return SLOWER
        return say("heating.perhaps_never.slows_down", near=celsius(ends_c))

    def rise(self, sees_c: float, seen: ProbeForecast, mono_ms: int) -> ProbeTrend:
        """The probe's trend near `sees_c` [Cel]."""
        assert self._forecasts is not None
        return ProbeTrend(mono_ms + 1000.0 * seen.mid_s, sees_c, self._forecasts.rate(sees_c))

    @property
    def probe(self) -> ProbeModel:
        """How the probe reads: quantisation step, last reading, noise, interval."""
        probe, last = self._probe, self.view.last
        return ProbeModel(probe.step_k or 0.0, 0.0 if last is None else last[1], sqrt(probe.noise2()), probe.every_s)

    @staticmethod
    def _news(fit: HeatFit) -> Message | None:
        """A disturbance within the last NEWS_S; else None."""
        return fit.disturbed_by if fit.disturbed_t is not None and fit.t - fit.disturbed_t <= NEWS_S else None

    def _why_stalled(self) -> Message:
        """What is said of a heat-up that has levelled off: losses and heater balance there, or the heater is off."""
        ends_c, room_c = self.view.mean_c(600_000), self.view.lately(0)[0].room_c
        fit = self._fit
        if fit is not None and fit.plateau_c(room_c) > ends_c + STILL_HEATS_K:
            return say("heating.off.stopped_rising", near=celsius(ends_c))
        levels_off = say("heating.never.levels_off", near=celsius(ends_c))
        return say("heating.never", why=part(both(levels_off, None if fit is None else self._cause(fit))))

    def _why_never(self, fit: HeatFit, chance: float) -> Message:
        """What is said of a target that is never reached with this probability."""
        if fit.t - fit.start_t < SURELY_AFTER_S:
            return TOO_LITTLE
        ends_c = max(fit.plateau_c(fit.room_c), self._turn_c)
        if chance < SURELY_NEVER:
            return say("heating.perhaps_never.ends", near=celsius(ends_c))
        ends = say("heating.never.ends", near=celsius(ends_c))
        return say("heating.never", why=part(both(ends, self._cause(fit))))

    def _cause(self, fit: HeatFit) -> Message:
        """The cause of a plateau that is too low, from a comparison with this station's earlier heat-ups."""
        if self.prior.heat_ups:
            power, loss = fit.power_now()[0] / self.prior.power[0], fit.loss_now()[0] / self.prior.loss.median
            if power < WEAK_SHARE:
                return say("heating.weak", share=number(100.0 * power, "%"))
            if loss > 1.25:
                return say("heating.loses_more")
        return say("heating.too_weak")


def hinge(rows: list[tuple[int, float]]) -> tuple[float, float, float, int] | None:
    """Fit a level followed by a straight rise to rows of (ms, Cel), by least squares over all places of the bend.

    Returns:
        (time of the bend [ms], level [Cel], slope of the rise [K/ms], rows before the bend); None where no level was seen.
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
