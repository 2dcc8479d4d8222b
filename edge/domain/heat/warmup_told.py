"""The forecast of a heat-up as it is told: when the probe sees a temperature, with an allowance for what the model leaves out.

What the model leaves out differs from plant to plant. Therefore the station checks its own forecasts of this heat-up (trials): from time
to time it forecasts when the probe sees a few temperatures ahead. Once the probe has seen them, the error over the interval's width
shows how much wider the next intervals have to be. The factor is the root mean square of these errors, with PRIOR_TRIALS forecasts counted
as right beforehand (a scaled inverse chi-square prior of a variance: Gelman and others, Bayesian Data Analysis, section 2.6; from memory).
"""

from __future__ import annotations

from math import exp, hypot, inf, sqrt
from math import floor as floor_of
from typing import Final

from edge.domain.heat.warmup_fit import HeatFit
from edge.domain.maths.mixture import quantile
from edge.domain.maths.robust import Z90

#: Standard deviation of the model's error, as a share of the time left.
MODEL_ERROR_SHARE: Final = 0.006
#: The same five minutes after the start; it falls as 1/time.
EARLY_ERROR_SHARE: Final = 0.03
#: Standard deviation by which the plateau wanders with the room and the mains [K]; a target near the plateau is passed much later.
WANDER_K: Final = 0.2
#: Time constant of that wandering [s].
WANDER_S: Final = 1_800.0
#: Standard deviation of the heat that openings of the lid still to come take, as a rise of the liquid [K].
OPENING_K: Final = 0.5
#: With less than this left, an opening of the lid is rarer [s].
OPENING_S: Final = 1_800.0
#: Openings of the lid delay by at most this share of the time left.
OPENING_MAX_SHARE: Final = 0.15
#: Standard deviation of the delay by walls not felt yet, as a share of the time left, five minutes after the start.
HIDDEN_SHARE: Final = 0.08
#: That share falls with this power of the time since.
HIDDEN_POWER: Final = 0.5
#: Spacing of the grid of temperatures [K].
GRID_K: Final = 0.25
#: Forecasts end here [s]: two days.
FARTHEST_S: Final = 172_800.0
#: The first trial is made this long after the start [s].
TRIAL_AFTER_S: Final = 300.0
#: The next trial is made when the heat-up is older by this factor.
TRIAL_FACTOR: Final = 1.4
#: A trial forecasts this far ahead, as shares of the time since the start.
TRIAL_AHEAD: Final = (0.5, 1.0, 2.0)
#: Trials counted as right beforehand.
PRIOR_TRIALS: Final = 4.0
#: An error counts with at most this many standard deviations.
MAX_Z: Final = 8.0
#: Trials make an interval narrower by at most this factor.
MIN_WIDENING: Final = 0.85


class Trial:
    """One forecast: made at `at_s` [s] when the probe read `at_c` [Cel]. `ahead`: (temperature [Cel], low, middle, high [s of the fit])."""

    __slots__ = ("ahead", "at_c", "at_s", "last", "z")

    def __init__(self, at_s: float, at_c: float, ahead: list[tuple[float, float, float, float]]) -> None:
        self.at_s, self.at_c, self.ahead = at_s, at_c, ahead
        self.last = (at_s, at_c)
        self.z: float | None = None  # error in standard deviations, at the last temperature seen

    def hear(self, t: float, read_c: float, sd_k: float) -> None:
        """The probe reads `read_c` [Cel] at `t` [s of the fit], with the standard deviation `sd_k` [K]."""
        before_s, before_c = self.last
        self.last = (t, read_c)
        while self.ahead:
            sees_c, low, mid, high = self.ahead[0]
            is_passed = read_c >= sees_c
            share = (sees_c - before_c) / (read_c - before_c) if is_passed and read_c > before_c else 1.0
            at_s = before_s + min(max(share, 0.0), 1.0) * (t - before_s)
            if not is_passed and t <= mid:
                return
            side = (high - mid if at_s > mid else mid - low) / Z90
            sd_s = sd_k * (at_s - self.at_s) / max(sees_c - self.at_c, 1e-3)
            z = (at_s - mid) / max(hypot(side, sd_s), 1.0)
            if not is_passed:
                self.z = max(z, self.z or 0.0)  # overdue: the error is at least this
                return
            self.z = z
            del self.ahead[0]


class CheckedForecasts:
    """The forecasts of one fit, with their intervals."""

    def __init__(self, fit: HeatFit) -> None:
        self.fit = fit
        self._trials: list[Trial] = []
        # Start and last disturbance that the trials belong to.
        self._of: tuple[float, float | None] = (fit.start_t, fit.disturbed_t)
        self._next_s = TRIAL_AFTER_S

    def hear(self, variance: float) -> None:
        """Check the trials with the average that the fit has just taken, of this variance [K^2]; begin another trial where it is due."""
        fit = self.fit
        if self._of != (fit.start_t, fit.disturbed_t):
            self._of = (fit.start_t, fit.disturbed_t)
            self._trials.clear()
            self._next_s = max(TRIAL_AFTER_S, fit.t - fit.start_t)
        read_c = fit.theta + fit.room_c
        for trial in self._trials:
            trial.hear(fit.t, read_c, sqrt(variance * max(fit.excess, 1.0)))
        since = fit.t - fit.start_t
        if since >= self._next_s and not fit.is_disturbed:
            self._next_s = TRIAL_FACTOR * since
            ahead = []
            for share in TRIAL_AHEAD:
                sees_c = read_c + self.rate(read_c) * share * since
                found = self._interval(sees_c, _point(fit, sees_c))
                if not isinstance(found, float) and found[2] < FARTHEST_S:
                    low, mid, high = found
                    ahead.append((sees_c, fit.t + low, fit.t + mid, fit.t + high))
            self._trials.append(Trial(fit.t, read_c, ahead))

    def rate(self, sees_c: float) -> float:
        """Rate of rise [K/s] at `sees_c` [Cel]."""
        power, loss = self.fit.power_now()[0], self.fit.loss_now()[0]
        return max(power - loss * (sees_c - self.fit.room_c), 0.1 * power, 1e-5)

    @property
    def wider(self) -> float:
        """Factor by which the intervals have to be wider than the model's."""
        squares = [min(abs(trial.z), MAX_Z) ** 2 for trial in self._trials if trial.z is not None]
        return sqrt(max((PRIOR_TRIALS + sum(squares)) / (PRIOR_TRIALS + len(squares)), MIN_WIDENING**2))

    def later_s(self, sees_c: float, mid_s: float) -> float:
        """Standard deviation [s] of the delay by what no reading shows yet: openings of the lid to come, walls not felt yet."""
        rate = self.rate(0.5 * (self.fit.theta + self.fit.room_c + sees_c))
        left_s = max(mid_s, 0.0)
        opening_s = min(OPENING_K / rate, OPENING_MAX_SHARE * left_s) * sqrt(min(left_s / OPENING_S, 1.0))
        return hypot(opening_s, HIDDEN_SHARE * (300.0 / max(self.fit.t, 60.0)) ** HIDDEN_POWER * left_s)

    def interval(self, sees_c: float) -> tuple[float, float, float] | float:
        """5, 50 and 95 % points of when the probe sees `sees_c` [s from the last average]; where it probably never does, that probability.

        The target moves with the room and is asked for at every reading: so the points are computed once an average, on a grid of
        temperatures, and interpolated.
        """
        below = floor_of(sees_c / GRID_K) * GRID_K
        share = (sees_c - below) / GRID_K
        left, right = _grid_point(self.fit, below), _grid_point(self.fit, below + GRID_K)
        if isinstance(left, float) or isinstance(right, float):
            return self._interval(sees_c, _grid_point(self.fit, sees_c), self.wider)
        # A temperature that may never be reached has an infinite point, which can't be interpolated.
        pairs = zip(left, right, strict=True)
        low, mid, high = (max(a, b) if inf in (a, b) else a + share * (b - a) for a, b in pairs)
        return self._interval(sees_c, (low, mid, high), self.wider)

    def _interval(
        self, sees_c: float, found: tuple[float, float, float] | float, wider: float = 1.0
    ) -> tuple[float, float, float] | float:
        """The points with the allowance for what the model leaves out, widened by the trials' factor."""
        if isinstance(found, float):
            return found
        low, mid, high = found
        floor = Z90 * hypot(
            hypot(MODEL_ERROR_SHARE, EARLY_ERROR_SHARE * 300.0 / max(self.fit.t, 60.0)) * mid,
            _wanders_s(self.fit, sees_c, mid),
        )
        return mid - wider * hypot(mid - low, floor), mid, min(mid + wider * hypot(high - mid, floor), FARTHEST_S)


def _grid_point(fit: HeatFit, sees_c: float) -> tuple[float, float, float] | float:
    """As _point(), cached until the fit takes another average."""
    found = fit.memo.get(sees_c)
    if found is None:
        found = fit.memo[sees_c] = _point(fit, sees_c)
    return found


def _point(fit: HeatFit, sees_c: float) -> tuple[float, float, float] | float:
    """5, 50 and 95 % points [s] for one temperature, or the probability of never."""
    points = fit.points(sees_c, fit.room_c)
    mid = quantile(points, 0.5)
    if mid == inf:
        return never(points)
    # A lid that has been open may be closed at any moment or stay open: the interval covers both.
    shut = fit.shut(sees_c, fit.room_c)
    total = 1.0 + sum(weight for _, weight in shut)
    low = quantile(sorted((seconds, weight / total) for seconds, weight in (*points, *shut)), 0.05)
    return (min(low, mid), mid, min(quantile(points, 0.95), FARTHEST_S))


def never(points: list[tuple[float, float]]) -> float:
    """The probability of never."""
    return sum(weight for seconds, weight in points if seconds == inf)


def _wanders_s(fit: HeatFit, sees_c: float, mid_s: float) -> float:
    """Standard deviation of the time [s] as room and mains wander: of ln((end - now) / (end - target)) / b, by that of the end."""
    if mid_s <= 0.0:
        return 0.0
    end_c, loss = fit.plateau_c(fit.room_c), max(fit.loss_now()[0], 2e-6)
    wander_k = WANDER_K * sqrt(1.0 - exp(-mid_s / WANDER_S))
    left_k = max(end_c - sees_c, wander_k)
    way_k = max(sees_c - fit.theta - fit.room_c, 0.0)
    return wander_k * way_k / (left_k * (left_k + way_k)) / loss
