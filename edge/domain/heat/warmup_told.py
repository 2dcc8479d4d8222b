"""What is told of a heat-up: when the probe sees a temperature, with room for what no hypothesis knows.

What the model leaves out is different from plant to plant, so the station's own forecasts of this heat-up are held against what came: from
time to time it is forecast when the probe sees a few temperatures ahead; once it has seen them, how far that was beside the interval tells
how much wider the next ones have to be. The factor is the root of a mean square, with FAITH forecasts counted as right beforehand (a
scaled inverse chi-square prior of a variance: Gelman and others, Bayesian Data Analysis, section 2.6; from memory).
"""

from __future__ import annotations

from math import exp, hypot, inf, sqrt
from math import floor as floor_of
from typing import Final

from edge.domain.heat.warmup_fit import HeatFit
from edge.domain.maths.mixture import quantile
from edge.domain.maths.robust import Z90

#: standard deviation of what is left that no hypothesis knows: always, and at five minutes (falling with the time since)
FLOOR_SHARE: Final = 0.006
EARLY_SHARE: Final = 0.03
#: where it would end wanders, with the room and the mains, by so much [K], within so long [s]; a target near there is passed much later
WANDER_K: Final = 0.2
WANDER_S: Final = 1_800.0
#: what makes it later, never sooner. An opening of the lid still to come takes so much heat, as a rise of the liquid [K], standard
#: deviation; of less than OPENING_S that is left it is rarer. Walls not felt yet: share of what is left, at five minutes
OPENING_K: Final = 0.5
OPENING_S: Final = 1_800.0
OPENING_MOST: Final = 0.15  # of what is left
HIDDEN_SHARE: Final = 0.08
HIDDEN_POWER: Final = 0.5  # of the time since, with which it falls
GRID_K: Final = 0.25
LONGEST_S: Final = 172_800.0
#: forecasts held against what came: the first so long after the start, the next whenever it is older by this factor, so far ahead each
TRIED_AFTER_S: Final = 300.0
TRIED_AGAIN: Final = 1.4
AHEAD: Final = (0.5, 1.0, 2.0)  # of the time since the start
FAITH: Final = 4.0
MOST_Z: Final = 8.0  # that one of them tells
NARROWEST: Final = 0.85  # that they may make an interval


class Trial:
    """One forecast made: at when, and (temperature, low, middle, high) of what is still to come, times of the fit."""

    __slots__ = ("ahead", "at_c", "at_s", "last", "z")

    def __init__(self, at_s: float, at_c: float, ahead: list[tuple[float, float, float, float]]) -> None:
        self.at_s, self.at_c, self.ahead = at_s, at_c, ahead
        self.last = (at_s, at_c)
        self.z: float | None = None  # deviations by which it was beside, at the last temperature seen

    def hear(self, t: float, read_c: float, sd_k: float) -> None:
        """The probe reads this."""
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
                self.z = max(z, self.z or 0.0)  # overdue by so much at the least
                return
            self.z = z
            del self.ahead[0]


class Told:
    """What is told by a fit."""

    def __init__(self, fit: HeatFit) -> None:
        self.fit = fit
        self._trials: list[Trial] = []
        self._of: tuple[float, float | None] = (fit.start_t, fit.disturbed_t)  # that the trials are of
        self._next_s = TRIED_AFTER_S

    def hear(self, variance: float) -> None:
        """The fit has taken another average, of this variance [K^2]."""
        fit = self.fit
        if self._of != (fit.start_t, fit.disturbed_t):
            self._of = (fit.start_t, fit.disturbed_t)
            self._trials.clear()
            self._next_s = max(TRIED_AFTER_S, fit.t - fit.start_t)
        read_c = fit.theta + fit.room_c
        for trial in self._trials:
            trial.hear(fit.t, read_c, sqrt(variance * max(fit.excess, 1.0)))
        since = fit.t - fit.start_t
        if since >= self._next_s and not fit.is_disturbed:
            self._next_s = TRIED_AGAIN * since
            ahead = []
            for share in AHEAD:
                sees_c = read_c + self.rate(read_c) * share * since
                found = self._interval(sees_c, _point(fit, sees_c))
                if not isinstance(found, float) and found[2] < LONGEST_S:
                    low, mid, high = found
                    ahead.append((sees_c, fit.t + low, fit.t + mid, fit.t + high))
            self._trials.append(Trial(fit.t, read_c, ahead))

    def rate(self, sees_c: float) -> float:
        """How fast it rises there [K/s]."""
        power, loss = self.fit.power_now()[0], self.fit.loss_now()[0]
        return max(power - loss * (sees_c - self.fit.room_c), 0.1 * power, 1e-5)

    @property
    def wider(self) -> float:
        """By how much what is told has to be wider than it would be by the model."""
        squares = [min(abs(trial.z), MOST_Z) ** 2 for trial in self._trials if trial.z is not None]
        return sqrt(max((FAITH + sum(squares)) / (FAITH + len(squares)), NARROWEST**2))

    def later_s(self, sees_c: float, mid_s: float) -> float:
        """Standard deviation of how much later it sees this by what nothing shows yet."""
        rate = self.rate(0.5 * (self.fit.theta + self.fit.room_c + sees_c))
        left_s = max(mid_s, 0.0)
        opening_s = min(OPENING_K / rate, OPENING_MOST * left_s) * sqrt(min(left_s / OPENING_S, 1.0))
        return hypot(opening_s, HIDDEN_SHARE * (300.0 / max(self.fit.t, 60.0)) ** HIDDEN_POWER * left_s)

    def interval(self, sees_c: float) -> tuple[float, float, float] | float:
        """5, 50 and 95 % points [s from the last average] of when the probe sees this; the chance of never where it rather never does.

        The target moves with the room and is asked for at every reading: worked out on a grid, once an average, and read off between.
        """
        below = floor_of(sees_c / GRID_K) * GRID_K
        share = (sees_c - below) / GRID_K
        left, right = _grid_point(self.fit, below), _grid_point(self.fit, below + GRID_K)
        if isinstance(left, float) or isinstance(right, float):
            return self._interval(sees_c, _grid_point(self.fit, sees_c), self.wider)
        # at a point that may never be reached the grid holds infinity, which has no place between
        pairs = zip(left, right, strict=True)
        low, mid, high = (max(a, b) if inf in (a, b) else a + share * (b - a) for a, b in pairs)
        return self._interval(sees_c, (low, mid, high), self.wider)

    def _interval(
        self, sees_c: float, found: tuple[float, float, float] | float, wider: float = 1.0
    ) -> tuple[float, float, float] | float:
        """With the room for what no hypothesis knows."""
        if isinstance(found, float):
            return found
        low, mid, high = found
        floor = Z90 * hypot(
            hypot(FLOOR_SHARE, EARLY_SHARE * 300.0 / max(self.fit.t, 60.0)) * mid, _wanders_s(self.fit, sees_c, mid)
        )
        return mid - wider * hypot(mid - low, floor), mid, min(mid + wider * hypot(high - mid, floor), LONGEST_S)


def _grid_point(fit: HeatFit, sees_c: float) -> tuple[float, float, float] | float:
    """As _point; remembered until the fit takes another average."""
    found = fit.memo.get(sees_c)
    if found is None:
        found = fit.memo[sees_c] = _point(fit, sees_c)
    return found


def _point(fit: HeatFit, sees_c: float) -> tuple[float, float, float] | float:
    """5, 50 and 95 % points for one temperature, or the chance of never."""
    points = fit.points(sees_c, fit.room_c)
    mid = quantile(points, 0.5)
    if mid == inf:
        return never(points)
    # a lid that has been open may be closed at any moment, or stay open: the interval holds both
    shut = fit.shut(sees_c, fit.room_c)
    total = 1.0 + sum(weight for _, weight in shut)
    low = quantile(sorted((seconds, weight / total) for seconds, weight in (*points, *shut)), 0.05)
    return (min(low, mid), mid, min(quantile(points, 0.95), LONGEST_S))


def never(points: list[tuple[float, float]]) -> float:
    """The chance that it never gets there."""
    return sum(weight for seconds, weight in points if seconds == inf)


def _wanders_s(fit: HeatFit, sees_c: float, mid_s: float) -> float:
    """Standard deviation of the time, as the room and the mains wander: of ln((end - now) / (end - target)) / b, by the end's."""
    if mid_s <= 0.0:
        return 0.0
    end_c, loss = fit.plateau_c(fit.room_c), max(fit.loss_now()[0], 2e-6)
    wander_k = WANDER_K * sqrt(1.0 - exp(-mid_s / WANDER_S))
    left_k = max(end_c - sees_c, wander_k)
    way_k = max(sees_c - fit.theta - fit.room_c, 0.0)
    return wander_k * way_k / (left_k * (left_k + way_k)) / loss
