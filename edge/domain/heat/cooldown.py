"""Follows a reservoir that nothing heats: how long does it stay above what the room needs?

It cools from when its heater is known to have no power, or from its highest where it falls beyond its noise. The fit
(cooldown_fit.py) is given an average when that is old enough to be surely of the fall, and not of a heater that has come on again.

What is believed of the loss b: broad by the volume, then this station's heat-ups, then its own falls: each thermostat's pause between two
rounds is a cool-down of some minutes, and what one leaves is kept in the journal (`cool_down`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import exp, hypot, inf, log, sqrt
from typing import Any, Final

from edge.domain.heat.balance import Forecast
from edge.domain.heat.cooldown_fit import CoolFit, Loss, Start
from edge.domain.heat.prior import Prior, Spread
from edge.domain.heat.probe import Average, Heard, ProbeWatch, Slope, line
from edge.domain.maths.mixture import quantile
from edge.domain.maths.robust import Z90

RECENT_MS: Final = 900_000  # a fall is looked for in so much
SLOPE_MS: Final = 180_000
FALLING_K_PER_MIN: Final = -0.003
RISE_K: Final = 0.2  # it is heated where it has risen by this much and goes on
RISING_K_PER_MIN: Final = 0.03
FOUNDED: Final = 12  # averages since its highest, before a fall is one
SIGMAS: Final = 4.0
HOLDS_SLACK_K: Final = 0.3  # a thermostat lets it fall this much below where it should come on
RISE_SD: Final = 3e-4  # of how it rose before, where that isn't known [K/s]
TOP_SHARE: Final = 0.3  # or of how it rose before its top, as a share
STOP_SHARE: Final = 0.4  # or before its heater lost its power: the probe may not have settled
UNSEEN_RISE_S: Final = 300.0  # how long it had risen before a fall that had begun when it was first seen
START_SD_K: Final = 0.01
LEAST_SD_S: Final = 12.0
ROOM_K: Final = 0.2  # standard deviation of what a room may do within an hour
ROOM_SHARE: Final = 0.5  # of that, in what is needed and in what it is cooled by
MODEL_SHARE: Final = 0.03
LONGEST_S: Final = 172_800.0
#: a heat-up tells the loss of a whole rise; near the set point more evaporates
HEAT_UP_SD: Final = 0.12
DAILY_SD: Final = 0.06
REMEMBERED: Final = 12
KEPT_EVERY_MS: Final = 6 * 3_600_000  # a pause of the thermostat is kept this often
LONG_MS: Final = 1_200_000  # what has cooled for so long is kept in any case
HELD_MS: Final = 180_000  # an average is given to the fit when it is this old
RISES_MS: Final = 900_000  # so long after it lost its power its heat may still come through
UNSEEN_K: Final = 0.1  # and by so much, at the least, where it had come on unseen
LAG_MS: Final = 30_000  # a heater may have been on for so long before the probe shows it


def is_usable(fit: object) -> bool:
    """Can something be learned from this "fit" of a cool_down entry? (Another version may have written it.)"""
    pair = fit.get("loss") if isinstance(fit, Mapping) else None
    if not isinstance(pair, Sequence) or len(pair) != 2:
        return False
    return all(isinstance(x, int | float) and not isinstance(x, bool) and 0.0 < x < 1e3 for x in pair)


def believed(prior: Prior, seen: Sequence[Loss]) -> Spread:
    """b after this station's heat-ups (in `prior`) and its own cool-downs, each with what differs from day to day."""
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


class CoolWatch:
    """One reservoir: is it cooling, since when, and what its losses are. `prior`: what its heat-ups taught."""

    __slots__ = (
        "prior", "broad", "kept", "seen", "_probe", "heard", "_off_ms", "_fit", "_from_ms", "_low", "_heated_ms", "_trough_c", "_noted",
        "_kept_ms", "_from_c", "_held", "_asked", "_still_rises", "_is_at_top",
    )  # fmt: skip

    def __init__(self, broad: Prior | None = None, probe: ProbeWatch | None = None) -> None:
        self.prior = self.broad = broad or Prior()
        self.kept: list[Loss] = []  # of this station's cool-downs in the journal, oldest first
        self.seen: list[Loss] = []  # of those since the start that aren't
        self._probe = probe or ProbeWatch()
        self.heard = Heard(self._probe)
        self._off_ms: int | None = None  # since when the heater is known to have no power
        self._trough_c: float | None = None  # where its thermostat came on of late
        self._noted: dict[str, Any] | None = None
        self._kept_ms: int | None = None
        self.forget()

    def forget(self) -> None:
        """What is going on has nothing to do with cooling (the liquid is away, or has just come back)."""
        self.heard.forget()
        self._from_ms = 0
        self._fit: CoolFit | None = None
        self._low: tuple[int, float] | None = None  # lowest since it last was heated
        self._heated_ms: int | None = None  # since when it is being heated
        self._from_c = 0.0
        self._still_rises = self._is_at_top = False  # it may rise since its heater lost its power; it did
        self._held: list[Average] = []  # the newest, which may already be of the next heat-up
        self._asked: CoolFit | None = None  # the fit with those, worked out when asked for

    # -- what is learned

    def learn(self, body: Mapping[str, Any]) -> None:
        """Take what a cool_down entry of the journal has to teach."""
        fit = body.get("fit")
        if is_usable(fit):
            assert isinstance(fit, Mapping)
            self.kept = [*self.kept, Loss(fit["loss"][0] / 3_600.0, fit["loss"][1])][-REMEMBERED:]

    def believed(self) -> Spread:
        """b [1/s], by all that is known of this station."""
        return believed(self.prior, [*self.kept, *self.seen][-REMEMBERED:])

    def take_noted(self) -> dict[str, Any] | None:
        """The body, times aside, of the entry of a cool-down that has just ended and is worth keeping; once."""
        noted, self._noted = self._noted, None
        return noted

    # -- what is heard

    def heater(self, is_off: bool, mono_ms: int) -> None:
        """Is the heater known to have no power?"""
        if not is_off:
            self._off_ms, self._still_rises, self._is_at_top = None, False, False
        elif self._off_ms is None:
            self._off_ms = mono_ms
            self._probe.cut()
            if self._fit is not None and self._low is not None:
                self._end(self._low)  # what began here isn't that pause: the heater may just have come on
            if self.heard.last is not None and self._fit is None:
                self._begin(mono_ms)
            self._still_rises = self._heated_ms is None  # if it rises now it was heated, and that was not seen
            self._heated_ms = None

    def take(self, average: Average) -> None:
        """A quarter of a minute is over."""
        if average.at_ms <= self.heard.since_ms:
            return
        if self._low is None or average.liquid_c < self._low[1]:
            self._low = (average.at_ms, average.liquid_c)
        if self._fit is not None and average.at_ms > self._from_ms:
            self._add(average)
        if self._off_ms is None:
            slope = self.heard.slope(SLOPE_MS, self._sd_k())
            if slope is not None:
                self._look_for_heat(average, slope, self._low)
                self._look_for_fall(slope)
        elif self._fit is None:
            self._begin(max(self._off_ms, self.heard.lately()[-1].at_ms))
        elif self._still_rises:
            self._look_for_top(average)

    def _sd_k(self) -> float:
        """Standard deviation of an average [K]."""
        return sqrt(self._probe.level_variance(self._probe.per_bin))

    def _look_for_heat(self, average: Average, slope: Slope, low: tuple[int, float]) -> None:
        if self._heated_ms is None:
            rose = average.liquid_c - low[1] > max(RISE_K, SIGMAS * self._sd_k())
            if rose and slope.k_per_min > max(RISING_K_PER_MIN, SIGMAS * slope.sd):
                self._heated_ms, self._trough_c = low
                self._end(low)
        elif slope.k_per_min < min(FALLING_K_PER_MIN, -SIGMAS * slope.sd):
            self._heated_ms = None
            self._low = (average.at_ms, average.liquid_c)

    def _look_for_fall(self, slope: Slope) -> None:
        """Has it been falling, beyond its noise, for a while?"""
        if self._fit is not None or self._heated_ms is not None or slope.k_per_min > FALLING_K_PER_MIN:
            return
        rows = self.heard.lately(RECENT_MS)
        top = max(range(len(rows)), key=lambda i: (rows[i].liquid_c, -i))
        if top + 1 < FOUNDED:
            return
        falls = self.heard.slope(rows[0].at_ms - rows[top].at_ms, self._sd_k())
        if falls is not None and falls.k_per_min < -SIGMAS * falls.sd:
            self._begin(rows[top].at_ms)

    def _look_for_top(self, average: Average) -> None:
        """A heater that came on just before it lost its power, unseen: it cools from its top on, and what was begun is void."""
        assert self._off_ms is not None and self._low is not None
        if average.at_ms - self._off_ms > RISES_MS:
            self._still_rises = False
        elif self._is_at_top and average.liquid_c > self._from_c:
            self._begin(average.at_ms)
        elif not self._is_at_top and average.liquid_c - self._low[1] > max(UNSEEN_K, SIGMAS * self._sd_k()):
            self._is_at_top = True
            self._begin(average.at_ms)

    def _begin(self, at_ms: int) -> None:
        """It cools from here on."""
        rows = self.heard.lately(RECENT_MS)[::-1]
        before = [average for average in rows if average.at_ms <= at_ms] or rows[:1]
        start = self._at_top(before) if self._off_ms is None or self._is_at_top else self._at_stop(at_ms, before[-8:])
        known = bool(self.seen or self.kept or self.prior.heat_ups)
        self._from_ms, self._from_c, self._held, self._asked = at_ms, start.level_c, [], None
        self._fit = CoolFit(start, self.prior, self.believed(), self.broad.loss if known else None)
        for average in rows:
            if average.at_ms > at_ms:
                self._add(average)

    def _at_top(self, before: list[Average]) -> Start:
        """It falls from the last of these on, where a thermostat may have stopped its heater."""
        sd_k, top, low = self._sd_k(), before[-1], min(before, key=lambda average: average.liquid_c)
        rise, rose_s = 0.0, UNSEEN_RISE_S
        if top.liquid_c - low.liquid_c >= max(RISE_K, SIGMAS * sd_k):
            rose_s = (top.at_ms - low.at_ms) / 1000.0
            rise = (top.liquid_c - low.liquid_c) / rose_s
        return Start(top.liquid_c, sd_k + START_SD_K, rise, hypot(RISE_SD, TOP_SHARE * rise), top.room_c, rose_s, True)

    def _at_stop(self, at_ms: int, before: list[Average]) -> Start:
        """Its heater has just lost its power; these were read before."""
        sd_k = self._sd_k()
        if not before:
            assert self.heard.last is not None
            _, level_c, room_c = self.heard.last
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
        """An average since it cools. The fit gets it when it is sure that it was not of a heat-up."""
        held = self._held
        held.append(average._replace(variance=self._probe.level_variance(average.n)))
        if self._asked is not None:
            self._give(self._asked, held[-1])
        if average.at_ms - held[0].at_ms > HELD_MS:
            assert self._fit is not None
            self._give(self._fit, held.pop(0))

    def _give(self, fit: CoolFit, average: Average) -> None:
        t = (average.at_ms - self._from_ms) / 1000.0
        fit.add(t, average.liquid_c, average.variance, average.room_c)

    def _until_now(self) -> CoolFit | None:
        """The fit with all that was heard."""
        if self._asked is None and self._fit is not None:
            self._asked = self._fit.copy()
            for average in self._held:
                self._give(self._asked, average)
        return self._asked

    def _end(self, low: tuple[int, float]) -> None:
        """It is heated again since its lowest: the cool-down is over, and may have taught something."""
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
            self.seen = [*self.seen, loss][-REMEMBERED:]
            return
        self._kept_ms = at_ms
        self._noted = {
            "from_c": round(self._from_c, 3), "to_c": round(low_c, 3), "room_c": round(fit.room_c, 3),
            "start_ms": self._from_ms, "duration_s": lasted_ms / 1000.0,
            "fit": {"loss": [float(f"{loss.median * 3_600.0:.4g}"), float(f"{loss.sd:.4g}")]},
        }  # fmt: skip
        self.learn(self._noted)

    # -- what is said

    def until_below(self, limit_c: float, mono_ms: int, holds_c: float = inf) -> Forecast:
        """Time until a cooling liquid reads less than `limit_c`; `holds_c`: where its thermostat comes on, where it has power."""
        last = self.heard.last
        if last is None:
            return Forecast(None, None, None, "no reading of the reservoir")
        _, liquid_c, room_c = last
        why = self._why_not(limit_c, liquid_c, room_c, holds_c)
        fit = None if why else self._until_now()
        if fit is None:
            return Forecast(None, None, None, why or "not known yet: too little has been seen of it")
        points = fit.points(limit_c, room_c)
        mid = quantile(points, 0.5)
        if mid == inf:
            return Forecast(None, None, None, "the room keeps it above")
        more = Z90 * self._unmodelled_s(fit, max(mid, 0.0), limit_c)
        low = mid - hypot(mid - quantile(points, 0.05), more)
        high = mid + hypot(min(quantile(points, 0.95), LONGEST_S) - mid, more)
        passed_s = (mono_ms - self._from_ms) / 1000.0 - fit.t
        left_ms, low_ms, high_ms = (int(max(min(s, LONGEST_S) - passed_s, 0.0) * 1000.0) for s in (mid, low, high))
        return Forecast(left_ms, low_ms, high_ms, "")

    def _why_not(self, limit_c: float, liquid_c: float, room_c: float, holds_c: float) -> str:
        """Why no time is told; empty where one may be."""
        if self._is_below(limit_c, liquid_c):
            return "it is below already"
        if self._off_ms is None:
            if self._heated_ms is not None:
                return "it is being heated"
            if self._fit is None:
                return "it is not cooling"
            trough_c = holds_c if self._trough_c is None else min(holds_c, self._trough_c)
            if trough_c < inf and liquid_c > trough_c - HOLDS_SLACK_K and limit_c < trough_c:
                return "the thermostat holds it"
        return "the room keeps it above" if self._fit is not None and room_c >= limit_c else ""

    def _is_below(self, limit_c: float, liquid_c: float) -> bool:
        """Surely: by the reading, and where it is about there by what the averages say."""
        noise_k = 3.0 * sqrt(self._probe.noise2()) + (self._probe.step_k or 0.0)
        if liquid_c < limit_c - noise_k:
            return True
        newest = self.heard.lately(0)
        if not newest or liquid_c > limit_c + noise_k:
            return liquid_c < limit_c
        fit = self._until_now()
        return (newest[0].liquid_c if fit is None else fit.now_c()) < limit_c

    def _unmodelled_s(self, fit: CoolFit, mid_s: float, limit_c: float) -> float:
        """Standard deviation of what no hypothesis knows: what the room will do, and when a single reading is below."""
        rate = max((fit.theta - 0.5 * (fit.now_c() - limit_c)) * fit.loss_now(), 1e-6)
        room_k = ROOM_SHARE * ROOM_K * sqrt(mid_s / 3_600.0)
        edge_k = hypot(0.35 * sqrt(self._probe.noise2()), 0.2 * (self._probe.step_k or 0.0))
        return hypot(MODEL_SHARE * mid_s, room_k / rate, edge_k / rate, LEAST_SD_S)
