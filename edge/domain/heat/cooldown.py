"""Follows a reservoir that nothing heats: how long does it stay above the temperature that the room asks for?

A cool-down begins when the heater is known to have lost its power, or at the highest average of a fall beyond the noise. The fit
(cooldown_fit.py) takes an average only when it is old enough to belong surely to the fall, and not to a heater that has come on again.

The prior of the loss rate b comes from the volume, then from this station's heat-ups, then from its own cool-downs: each pause of the
thermostat is a cool-down of some minutes. The estimate of a cool-down is kept in the journal (`cool_down`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import exp, hypot, inf, log, sqrt
from typing import Any, Final

from edge.domain.heat.balance import Forecast
from edge.domain.heat.cooldown_fit import CoolFit, LossEstimate, Start
from edge.domain.heat.prior import Prior, Spread
from edge.domain.heat.probe import Average, ProbeStatistics, ProbeView, Slope, line
from edge.domain.maths.mixture import quantile
from edge.domain.maths.robust import Z90
from edge.domain.messages import Message, say

#: A fall is looked for in the averages of this time [ms].
FALL_WINDOW_MS: Final = 900_000
#: Slopes are taken over this time [ms].
SLOPE_MS: Final = 180_000
#: A slope below this is a fall.
FALLING_K_PER_MIN: Final = -0.003
#: The liquid is being heated if it has risen from its lowest by this [K] and goes on rising.
RISE_K: Final = 0.2
#: "Goes on rising" is a slope above this.
RISING_K_PER_MIN: Final = 0.03
#: A fall is one when this many averages since the highest have been seen.
MIN_FALL_AVERAGES: Final = 12
#: A rise, a fall or a slope counts beyond this many standard errors.
CHANGE_SIGMAS: Final = 4.0
#: A thermostat may let the liquid fall this far below the temperature at which it should come on [K].
HOLDS_SLACK_K: Final = 0.3
#: Standard deviation of the rate of rise before the cool-down, where that rate isn't known [K/s].
RISE_SD: Final = 3e-4
#: Standard deviation of the rate of rise before the highest average, as a share of it.
TOP_SHARE: Final = 0.3
#: Standard deviation of the rate of rise before the heater lost its power, as a share: the probe may not have settled.
STOP_SHARE: Final = 0.4
#: The rise before a fall that had begun when it was first seen is taken to have lasted this long [s].
UNSEEN_RISE_S: Final = 300.0
#: Standard deviation of the level at the start, beside that of an average [K].
START_SD_K: Final = 0.01
#: Least standard deviation of a forecast [s].
MIN_SD_S: Final = 12.0
#: Standard deviation of the room's change within an hour [K].
ROOM_K: Final = 0.2
#: This share of the room's change counts, as the room moves both the limit and the cooling.
ROOM_SHARE: Final = 0.5
#: Standard deviation of the model's error, as a share of the time left.
MODEL_SHARE: Final = 0.03
#: Forecasts end here [s]: two days.
FARTHEST_S: Final = 172_800.0
#: Standard deviation of the logarithm of b between heat-ups and cool-downs: near the set point evaporation has a larger share.
HEAT_UP_SD: Final = 0.12
#: Standard deviation of the logarithm of b from day to day.
DAILY_SD: Final = 0.06
#: What is learned of b rests on this many cool-downs at most.
COOL_DOWNS_KEPT: Final = 12
#: A short pause of the thermostat is noted in the journal this often [ms].
KEPT_EVERY_MS: Final = 6 * 3_600_000
#: A cool-down of this length is noted in any case [ms].
LONG_MS: Final = 1_200_000
#: The fit takes an average when it is this old [ms]: a newer one may already belong to the next heat-up.
FIT_DELAY_MS: Final = 180_000
#: After the heater has lost its power, its heat may come through for this long [ms].
STILL_RISES_MS: Final = 900_000
#: A heater that had come on unseen shows by a rise of at least this [K].
UNSEEN_K: Final = 0.1
#: A heater may have been on for this long before the probe shows it [ms].
LAG_MS: Final = 30_000


def is_usable(fit: object) -> bool:
    """Is this "fit" of a cool_down entry complete and valid? Another version may have written it."""
    pair = fit.get("loss") if isinstance(fit, Mapping) else None
    if not isinstance(pair, Sequence) or len(pair) != 2:
        return False
    return all(isinstance(x, int | float) and not isinstance(x, bool) and 0.0 < x < 1e3 for x in pair)


def believed(prior: Prior, seen: Sequence[LossEstimate]) -> Spread:
    """b [1/s] after this station's heat-ups (in `prior`) and its cool-downs, each with its variation from day to day."""
    sd = prior.loss.sd if not prior.heat_ups else hypot(prior.loss.sd, HEAT_UP_SD)
    if not seen:
        return Spread(prior.loss.median, sd)
    weight = 1.0 / sd**2
    total = weight * log(prior.loss.median)
    for loss in seen:
        more = 1.0 / (loss.sd**2 + DAILY_SD**2)
        weight += more
        total += more * log(loss.median)
    return Spread(exp(total / weight), hypot(sqrt(1.0 / weight), DAILY_SD))


class CoolDownEstimator:
    """The cooling of one reservoir: is it cooling, since when, and at which rate? `prior`: learned from its heat-ups."""

    __slots__ = (
        "prior", "broad", "kept", "seen", "_probe", "view", "_off_ms", "_fit", "_from_ms", "_low", "_heated_ms", "_trough_c", "_noted",
        "_kept_ms", "_from_c", "_held", "_asked", "_still_rises", "_is_at_top",
    )  # fmt: skip

    def __init__(self, broad: Prior | None = None, probe: ProbeStatistics | None = None) -> None:
        self.prior = self.broad = broad or Prior()
        self.kept: list[LossEstimate] = []  # estimates of cool-downs in the journal, oldest first
        self.seen: list[LossEstimate] = []  # estimates of cool-downs since the start that are not in the journal
        self._probe = probe or ProbeStatistics()
        self.view = ProbeView(self._probe)
        self._off_ms: int | None = None  # since when the heater is known to have no power
        self._trough_c: float | None = None  # lowest average before the thermostat last came on [Cel]
        self._noted: dict[str, Any] | None = None
        self._kept_ms: int | None = None
        self.forget()

    def forget(self) -> None:
        """Forget the cool-down under way: the liquid is away, or has just come back."""
        self.view.forget()
        self._from_ms = 0
        self._fit: CoolFit | None = None
        self._low: tuple[int, float] | None = None  # lowest average (ms, Cel) since the last heating
        self._heated_ms: int | None = None  # since when it is being heated
        self._from_c = 0.0
        # Since the heater lost its power: may the liquid still rise, and has it risen?
        self._still_rises = self._is_at_top = False
        self._held: list[Average] = []  # the newest averages, which may already belong to the next heat-up
        self._asked: CoolFit | None = None  # copy of the fit that has taken _held, made when a forecast is asked for

    # -- learning

    def learn(self, body: Mapping[str, Any]) -> None:
        """Learn from a cool_down entry of the journal."""
        fit = body.get("fit")
        if is_usable(fit):
            assert isinstance(fit, Mapping)
            self.kept = [*self.kept, LossEstimate(fit["loss"][0] / 3_600.0, fit["loss"][1])][-COOL_DOWNS_KEPT:]

    def believed(self) -> Spread:
        """b [1/s] by all that is known of this station."""
        return believed(self.prior, [*self.kept, *self.seen][-COOL_DOWNS_KEPT:])

    def take_noted(self) -> dict[str, Any] | None:
        """The body of the cool_down entry of a cool-down that has just ended and is to be noted, its times monotonic; once."""
        noted, self._noted = self._noted, None
        return noted

    # -- readings

    def heater(self, is_off: bool, mono_ms: int) -> None:
        """Take whether the heater is known to have no power."""
        if not is_off:
            self._off_ms, self._still_rises, self._is_at_top = None, False, False
        elif self._off_ms is None:
            self._off_ms = mono_ms
            self._probe.cut()
            if self._fit is not None and self._low is not None:
                self._end(self._low)  # the fall before was a pause of the thermostat: its heater may just have come on
            if self.view.last is not None and self._fit is None:
                self._begin(mono_ms)
            self._still_rises = self._heated_ms is None  # a rise from now on means that a heating was not seen
            self._heated_ms = None

    def take(self, average: Average) -> None:
        """Take one average of a quarter of a minute."""
        if average.at_ms <= self.view.since_ms:
            return
        if self._low is None or average.liquid_c < self._low[1]:
            self._low = (average.at_ms, average.liquid_c)
        if self._fit is not None and average.at_ms > self._from_ms:
            self._add(average)
        if self._off_ms is None:
            slope = self.view.slope(SLOPE_MS, self._sd_k())
            if slope is not None:
                self._look_for_heat(average, slope, self._low)
                self._look_for_fall(slope)
        elif self._fit is None:
            self._begin(max(self._off_ms, self.view.lately()[-1].at_ms))
        elif self._still_rises:
            self._look_for_top(average)

    def _sd_k(self) -> float:
        """Standard deviation of an average [K]."""
        return sqrt(self._probe.level_variance(self._probe.per_bin))

    def _look_for_heat(self, average: Average, slope: Slope, low: tuple[int, float]) -> None:
        if self._heated_ms is None:
            rose = average.liquid_c - low[1] > max(RISE_K, CHANGE_SIGMAS * self._sd_k())
            if rose and slope.k_per_min > max(RISING_K_PER_MIN, CHANGE_SIGMAS * slope.sd):
                self._heated_ms, self._trough_c = low
                self._end(low)
        elif slope.k_per_min < min(FALLING_K_PER_MIN, -CHANGE_SIGMAS * slope.sd):
            self._heated_ms = None
            self._low = (average.at_ms, average.liquid_c)

    def _look_for_fall(self, slope: Slope) -> None:
        """Begin a cool-down where the averages have been falling beyond their noise for a while."""
        if self._fit is not None or self._heated_ms is not None or slope.k_per_min > FALLING_K_PER_MIN:
            return
        rows = self.view.lately(FALL_WINDOW_MS)
        top = max(range(len(rows)), key=lambda i: (rows[i].liquid_c, -i))
        if top + 1 < MIN_FALL_AVERAGES:
            return
        falls = self.view.slope(rows[0].at_ms - rows[top].at_ms, self._sd_k())
        if falls is not None and falls.k_per_min < -CHANGE_SIGMAS * falls.sd:
            self._begin(rows[top].at_ms)

    def _look_for_top(self, average: Average) -> None:
        """Begin the cool-down again at its top where the heater had come on unseen just before it lost its power."""
        assert self._off_ms is not None and self._low is not None
        if average.at_ms - self._off_ms > STILL_RISES_MS:
            self._still_rises = False
        elif self._is_at_top and average.liquid_c > self._from_c:
            self._begin(average.at_ms)
        elif not self._is_at_top and average.liquid_c - self._low[1] > max(UNSEEN_K, CHANGE_SIGMAS * self._sd_k()):
            self._is_at_top = True
            self._begin(average.at_ms)

    def _begin(self, at_ms: int) -> None:
        """Begin a cool-down at `at_ms`."""
        rows = self.view.lately(FALL_WINDOW_MS)[::-1]
        before = [average for average in rows if average.at_ms <= at_ms] or rows[:1]
        start = self._at_top(before) if self._off_ms is None or self._is_at_top else self._at_stop(at_ms, before[-8:])
        known = bool(self.seen or self.kept or self.prior.heat_ups)
        self._from_ms, self._from_c, self._held, self._asked = at_ms, start.level_c, [], None
        self._fit = CoolFit(start, self.prior, self.believed(), self.broad.loss if known else None)
        for average in rows:
            if average.at_ms > at_ms:
                self._add(average)

    def _at_top(self, before: list[Average]) -> Start:
        """The start of a fall from the last of these averages on, where a thermostat may have stopped the heater."""
        sd_k, top, low = self._sd_k(), before[-1], min(before, key=lambda average: average.liquid_c)
        rise, rose_s = 0.0, UNSEEN_RISE_S
        if top.liquid_c - low.liquid_c >= max(RISE_K, CHANGE_SIGMAS * sd_k):
            rose_s = (top.at_ms - low.at_ms) / 1000.0
            rise = (top.liquid_c - low.liquid_c) / rose_s
        return Start(top.liquid_c, sd_k + START_SD_K, rise, hypot(RISE_SD, TOP_SHARE * rise), top.room_c, rose_s, True)

    def _at_stop(self, at_ms: int, before: list[Average]) -> Start:
        """The start of a cool-down after the heater has lost its power; `before`: the averages until then."""
        sd_k = self._sd_k()
        if not before:
            assert self.view.last is not None
            _, level_c, room_c = self.view.last
            return Start(level_c, sqrt(self._probe.noise2()) + START_SD_K, 0.0, RISE_SD, room_c)
        newest = before[-1]
        if len(before) < 6:
            return Start(newest.liquid_c, sd_k + START_SD_K, 0.0, RISE_SD, newest.room_c)
        rose = line(before)
        rise, level_sd = 1000.0 * rose.k_per_ms, sqrt(rose.variance_at(at_ms, sd_k**2)) + START_SD_K
        rise_sd = hypot(RISE_SD, STOP_SHARE * abs(rise), 1000.0 * sd_k / sqrt(rose.spread))
        rose_s = inf if self._heated_ms is None else (at_ms - self._heated_ms) / 1000.0
        return Start(rose.at(at_ms), level_sd, rise, rise_sd, newest.room_c, rose_s)

    def _add(self, average: Average) -> None:
        """Hold an average until it is surely not part of a heat-up, then give it to the fit."""
        held = self._held
        held.append(average._replace(variance=self._probe.level_variance(average.n)))
        if self._asked is not None:
            self._give(self._asked, held[-1])
        if average.at_ms - held[0].at_ms > FIT_DELAY_MS:
            assert self._fit is not None
            self._give(self._fit, held.pop(0))

    def _give(self, fit: CoolFit, average: Average) -> None:
        t = (average.at_ms - self._from_ms) / 1000.0
        fit.add(t, average.liquid_c, average.variance, average.room_c)

    def _until_now(self) -> CoolFit | None:
        """The fit with all averages, the held ones included."""
        if self._asked is None and self._fit is not None:
            self._asked = self._fit.copy()
            for average in self._held:
                self._give(self._asked, average)
        return self._asked

    def _end(self, low: tuple[int, float]) -> None:
        """End the cool-down at its lowest average: the liquid is heated again. Learn from it and note it, where it taught enough."""
        (at_ms, low_c), fit, self._fit, self._asked = low, self._fit, None, None
        if fit is None:
            return
        for average in self._held:
            if average.at_ms < at_ms - LAG_MS:
                self._give(fit, average)
        loss = None if fit.disturbed else fit.shown()
        if loss is None:
            return
        lasted_ms = at_ms - self._from_ms
        if self._kept_ms is not None and at_ms - self._kept_ms < KEPT_EVERY_MS and lasted_ms < LONG_MS:
            self.seen = [*self.seen, loss][-COOL_DOWNS_KEPT:]
            return
        self._kept_ms = at_ms
        self._noted = {
            "from_c": round(self._from_c, 3), "to_c": round(low_c, 3), "room_c": round(fit.room_c, 3),
            "start_ms": self._from_ms, "duration_s": lasted_ms / 1000.0,
            "fit": {"loss": [float(f"{loss.median * 3_600.0:.4g}"), float(f"{loss.sd:.4g}")]},
        }  # fmt: skip
        self.learn(self._noted)

    # -- forecasts

    def until_below(self, limit_c: float, mono_ms: int, holds_c: float = inf) -> Forecast:
        """Time until a cooling liquid reads less than `limit_c` [Cel]; `holds_c`: where a thermostat with power comes on [Cel]."""
        last = self.view.last
        if last is None:
            return Forecast(None, None, None, say("reservoir.no_reading"))
        _, liquid_c, room_c = last
        why = self._why_not(limit_c, liquid_c, room_c, holds_c)
        fit = None if why is not None else self._until_now()
        if fit is None:
            return Forecast(None, None, None, why or say("cooling.too_little_seen"))
        points = fit.points(limit_c, room_c)
        mid = quantile(points, 0.5)
        if mid == inf:
            return Forecast(None, None, None, say("cooling.room_keeps_it_above"))
        more = Z90 * self._unmodelled_s(fit, max(mid, 0.0), limit_c)
        low = mid - hypot(mid - quantile(points, 0.05), more)
        high = mid + hypot(min(quantile(points, 0.95), FARTHEST_S) - mid, more)
        passed_s = (mono_ms - self._from_ms) / 1000.0 - fit.t
        left_ms, low_ms, high_ms = (int(max(min(s, FARTHEST_S) - passed_s, 0.0) * 1000.0) for s in (mid, low, high))
        return Forecast(left_ms, low_ms, high_ms, None)

    def _why_not(self, limit_c: float, liquid_c: float, room_c: float, holds_c: float) -> Message | None:
        """Why no time can be told; None where one can."""
        if self._is_below(limit_c, liquid_c):
            return say("cooling.below_already")
        if self._off_ms is None:
            if self._heated_ms is not None:
                return say("cooling.being_heated")
            if self._fit is None:
                return say("cooling.not_cooling")
            trough_c = holds_c if self._trough_c is None else min(holds_c, self._trough_c)
            if trough_c < inf and liquid_c > trough_c - HOLDS_SLACK_K and limit_c < trough_c:
                return say("cooling.thermostat_holds_it")
        if self._fit is not None and room_c >= limit_c:
            return say("cooling.room_keeps_it_above")
        return None

    def _is_below(self, limit_c: float, liquid_c: float) -> bool:
        """Is the liquid below the limit: by the reading, or within its noise of the limit by the averages?"""
        noise_k = 3.0 * sqrt(self._probe.noise2()) + (self._probe.step_k or 0.0)
        if liquid_c < limit_c - noise_k:
            return True
        newest = self.view.lately(0)
        if not newest or liquid_c > limit_c + noise_k:
            return liquid_c < limit_c
        fit = self._until_now()
        return (newest[0].liquid_c if fit is None else fit.now_c()) < limit_c

    def _unmodelled_s(self, fit: CoolFit, mid_s: float, limit_c: float) -> float:
        """Standard deviation [s] of what the model leaves out: the room to come, and the noise of the first reading below the limit."""
        rate = max((fit.theta - 0.5 * (fit.now_c() - limit_c)) * fit.loss_now(), 1e-6)
        room_k = ROOM_SHARE * ROOM_K * sqrt(mid_s / 3_600.0)
        edge_k = hypot(0.35 * sqrt(self._probe.noise2()), 0.2 * (self._probe.step_k or 0.0))
        return hypot(MODEL_SHARE * mid_s, room_k / rate, edge_k / rate, MIN_SD_S)
