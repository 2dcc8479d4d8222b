"""Follows a reservoir that nothing heats: how long does it stay above what the room needs?

Theory. Liquid and wall together lose b (T - Troom), b = UA/C (textbook lumped capacity), so what the probe reads runs towards the
room by the rate b, once probe and wall have settled. Until then, with the heater gone at t = 0, a rise s before it and the fall
b (T0 - Troom) after it,
    y(t) = L(t) + (s + b (T0 - Troom)) g(t),   g(t) = w/k exp(-k t) - exp(-r t)/r,
w the wall's share of the liquid's capacity, k the rate with which the two even out, 1/r the probe's lag: first-order responses to a ramp
that bends. (L, b, s) is linear for each (w, k, r) and is followed by a Kalman filter per hypothesis; hypotheses lie all over what is
believed of the vessel (heat_prior.py), by the same low-discrepancy sequence as a heat-up's (heat_fit.py), and are weighted by evidence.

What is believed of b: broad by the volume, then this station's heat-ups, then its own falls: each thermostat's pause between two
rounds is a cool-down of some minutes, and what one leaves is kept in the journal (`cool_down`).
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from math import exp, hypot, inf, log, sqrt
from typing import Any, Final, NamedTuple

from edge.domain.heat_prior import Prior, Spread
from edge.domain.heat_watch import quantile
from edge.domain.heating import Forecast

BIN_MS: Final = 15_000
RECENT_MS: Final = 900_000
GAP_MS: Final = 900_000  # after such a silence it is another story
HYPOTHESES: Final = 40
HOPELESS: Final = 8.0  # in the logarithm of the weight
FEWEST: Final = 10
STRANGE: Final = 12  # those that don't believe the history: a lid is open that never was
STRANGE_SHARE: Final = 0.1
COARSEST_K: Final = 0.25  # a probe's steps beyond this are no quantisation
FALLING_K_PER_MIN: Final = -0.003
RISE_K: Final = 0.2  # it is heated where it has risen by this much and goes on
RISING_K_PER_MIN: Final = 0.03
FOUNDED: Final = 12  # averages since its highest, before a fall is one
SIGMAS: Final = 4.0
HOLDS_SLACK_K: Final = 0.3  # a thermostat lets it fall this much below where it should come on
#: what the model leaves out: of an average [K], of the level [K^2/s], of the loss [share^2/s]
FLOOR_K: Final = 0.008
LEVEL_WALK: Final = 0.0016**2 / 60.0
LOSS_WALK: Final = 0.008**2 / 60.0
TEMPER: Final = 0.7  # evidence counts for less than it says: the hypotheses don't lie close enough
ODD: Final = 5.0  # standard deviations: something was done to the liquid
STRAINED: Final = 1.7
OTHERWISE_SHARE: Final = 0.3
LEAST_SD_S: Final = 12.0
ROOM_K: Final = 0.2  # standard deviation of what a room may do within an hour
ROOM_SHARE: Final = 0.5  # of that, in what is needed and in what it is cooled by
MODEL_SHARE: Final = 0.03
LONGEST_S: Final = 172_800.0
LEAST_B: Final = 2e-6
#: a heat-up tells the loss of a whole rise; near the set point more evaporates
HEAT_UP_SD: Final = 0.12
DAILY_SD: Final = 0.06
REMEMBERED: Final = 12
KEPT_EVERY_MS: Final = 6 * 3_600_000  # a pause of the thermostat is kept this often
LONG_MS: Final = 1_200_000  # what has cooled for so long is kept in any case
HELD_MS: Final = 180_000  # an average is given to the fit when it is this old
LAG_MS: Final = 30_000  # a heater may have been on for so long before the probe shows it
TOLD_SD: Final = 0.25  # a fall that leaves the loss less sure teaches nothing
_POINTS: Final = ((-1.8, 0.10), (-0.8, 0.24), (0.0, 0.32), (0.8, 0.24), (1.8, 0.10))
_GOLDEN: Final = tuple((1.0 / 1.16730397826) ** k for k in range(1, 5))  # root of x^5 = x + 1


class Average(NamedTuple):
    """Of a quarter of a minute: when, Cel, room, variance [K^2]."""

    at_ms: int
    liquid_c: float
    room_c: float
    variance: float


class Loss(NamedTuple):
    """What one cool-down showed of b [1/s]: median, standard deviation of the logarithm; without what was believed before."""

    median: float
    sd: float


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


class _Hyp:
    """One hypothesis: wall, its rate, the probe's rate; weight; mean and covariance of (L, b, s)."""

    __slots__ = ("w", "k", "r", "lw", "x0", "x1", "x2", "p00", "p01", "p02", "p11", "p12", "p22")
    w: float
    k: float
    r: float
    lw: float
    x0: float
    x1: float
    x2: float
    p00: float
    p01: float
    p02: float
    p11: float
    p12: float
    p22: float

    def copy(self) -> _Hyp:
        twin = _Hyp()
        twin.w, twin.k, twin.r, twin.lw, twin.x0, twin.x1, twin.x2 = (
            self.w,
            self.k,
            self.r,
            self.lw,
            self.x0,
            self.x1,
            self.x2,
        )
        twin.p00, twin.p01, twin.p02, twin.p11, twin.p12, twin.p22 = (
            self.p00,
            self.p01,
            self.p02,
            self.p11,
            self.p12,
            self.p22,
        )
        return twin

    def g(self, t: float) -> float:
        """What of a bend of 1 K/s the probe hasn't shown after t seconds [K]."""
        return self.w / self.k * exp(-self.k * t) - exp(-self.r * t) / self.r


class CoolFit:
    """One cool-down. Times in s from when the heater stopped.

    Args:
        level_c, level_sd: what the probe read then.
        rise, rise_sd: how it rose before [K/s].
        above_k: how far above the room it was.
        vessel: what is believed of wall and probe.
        loss: what is believed of b.
        broad: what would be believed of b without a history; None where that is `loss`.
    """

    def __init__(
        self, level: tuple[float, float], rise: tuple[float, float], above_k: float, vessel: Prior, loss: Spread, broad: Spread | None
    ) -> None:  # fmt: skip
        self.t = 0.0
        self.above = self.theta = above_k
        self.room_c = level[0] - above_k
        self.n = 0
        self.disturbed = False
        self.strain = 0.0  # what is off, in standard deviations, of late
        self.loss = loss
        self.least_b = min(loss.at(0.005), (broad or loss).at(0.005))
        self.hyps: list[_Hyp] = []
        share = STRANGE_SHARE if broad is not None else 0.0
        self._spread(vessel, loss, HYPOTHESES, log(1.0 - share), level, rise)
        if broad is not None:
            self._spread(vessel, broad, STRANGE, log(share), level, rise)

    def _spread(
        self, vessel: Prior, loss: Spread, n: int, log_share: float, level: tuple[float, float], rise: tuple[float, float]
    ) -> None:  # fmt: skip
        for i in range(n):
            shares = [(0.5 + (i + 1) * g) % 1.0 for g in _GOLDEN]
            spreads = (vessel.wall, vessel.wall_s, vessel.lag_s, loss)
            w, wall_s, lag_s, b = (s.at(0.01 + 0.98 * share) for s, share in zip(spreads, shares, strict=True))
            h = _Hyp()
            h.w, h.k, h.r, h.lw = w, 1.0 / wall_s, 1.0 / lag_s, log_share - log(n)
            g, h.x1, h.x2 = h.g(0.0), b, rise[0]
            h.p11, h.p22 = (0.35 * loss.sd * b) ** 2, rise[1] ** 2
            c1 = -g * self.above  # the level is what was read less what was still to come
            h.x0 = level[0] - g * (h.x2 + b * self.above)
            h.p01, h.p02, h.p12 = c1 * h.p11, -g * h.p22, 0.0
            h.p00 = level[1] ** 2 + c1 * c1 * h.p11 + g * g * h.p22
            self.hyps.append(h)

    def add(self, t: float, read_c: float, variance: float, room_c: float) -> None:
        """The mean of the readings around `t`, with its variance [K^2], and the room."""
        theta, dt = read_c - room_c, max(t - self.t, 0.0)
        lost = 0.5 * (theta + self.theta) * dt  # the integral of T - Troom
        self.t, self.theta, self.room_c = t, theta, room_c
        self.n += 1
        variance += FLOOR_K**2
        if abs(self.strain) > STRAINED:  # it loses otherwise than it did
            self.strain = 0.0
            for h in self.hyps:
                h.p11 += (OTHERWISE_SHARE * h.x1) ** 2
        rows: list[tuple[_Hyp, float, float, float, float]] = []
        best = max(h.lw for h in self.hyps)
        if self.n % 4 == 0 and len(self.hyps) > FEWEST:
            kept = [h for h in self.hyps if h.lw > best - HOPELESS]
            self.hyps = kept if len(kept) >= FEWEST else sorted(self.hyps, key=lambda h: -h.lw)[:FEWEST]
        total = off = wide = 0.0
        for h in self.hyps:
            h.x0 -= lost * h.x1
            h.p00 += lost * (lost * h.p11 - 2.0 * h.p01) + LEVEL_WALK * dt
            h.p01 -= lost * h.p11
            h.p02 -= lost * h.p12
            h.p11 += LOSS_WALK * h.x1 * h.x1 * dt
            g = h.g(t)
            g1 = self.above * g
            nu = read_c - h.x0 - h.x1 * g1 - h.x2 * g
            s = variance + h.p00 + g1 * (2.0 * h.p01 + g1 * h.p11) + g * (2.0 * (h.p02 + g1 * h.p12) + g * h.p22)
            rows.append((h, g1, g, nu, s))
            weight = exp(h.lw - best)
            total, off, wide = total + weight, off + weight * nu, wide + weight * (s + nu * nu)
        off /= total
        odd = abs(off) > 0.08 and off * off > ODD**2 * max(wide / total - off * off, variance)
        self.strain = 0.75 * self.strain + 0.25 * max(
            min(off / sqrt(max(wide / total - off * off, variance)), 4.0), -4.0
        )
        self.disturbed |= odd or abs(self.strain) > STRAINED
        for h, g1, g, nu, s in rows:
            if odd:  # the level is open again
                h.p00 += 4.0 * off * off
                s += 4.0 * off * off
            q0 = h.p00 + h.p01 * g1 + h.p02 * g
            q1 = h.p01 + h.p11 * g1 + h.p12 * g
            q2 = h.p02 + h.p12 * g1 + h.p22 * g
            k0, k1, k2 = q0 / s, q1 / s, q2 / s
            h.x0 += k0 * nu
            h.x1 += k1 * nu
            h.x2 += k2 * nu
            h.p00 -= k0 * q0
            h.p01 -= k0 * q1
            h.p02 -= k0 * q2
            h.p11 -= k1 * q1
            h.p12 -= k1 * q2
            h.p22 -= k2 * q2
            if not odd:
                h.lw -= 0.5 * TEMPER * (nu * nu / s + log(s))

    def copy(self) -> CoolFit:
        """One that can go on by itself."""
        twin: CoolFit = object.__new__(CoolFit)
        twin.__dict__.update(self.__dict__)
        twin.hyps = [h.copy() for h in self.hyps]
        return twin

    def weights(self) -> list[float]:
        """Of the hypotheses, adding up to one."""
        top = max(h.lw for h in self.hyps)
        raw = [exp(h.lw - top) for h in self.hyps]
        total = sum(raw)
        return [r / total for r in raw]

    def now_c(self) -> float:
        """What the probe reads now, without its noise [Cel]."""
        g = [h.g(self.t) for h in self.hyps]
        return sum(
            w * (h.x0 + h.x1 * self.above * gi + h.x2 * gi)
            for w, h, gi in zip(self.weights(), self.hyps, g, strict=True)
        )

    def shown(self) -> Loss | None:
        """What it has shown of b beyond what was believed; None where that is little."""
        logs = [
            (w, log(max(h.x1, LEAST_B)), h.p11 / max(h.x1, LEAST_B) ** 2)
            for w, h in zip(self.weights(), self.hyps, strict=True)
        ]
        mean = sum(w * m for w, m, _ in logs)
        variance = sum(w * (v + (m - mean) ** 2) for w, m, v in logs)
        more = 1.0 / max(variance, 1e-6) - 1.0 / self.loss.sd**2
        if more < 1.0 / TOLD_SD**2:
            return None
        median = (mean / max(variance, 1e-6) - log(self.loss.median) / self.loss.sd**2) / more
        return Loss(exp(median), sqrt(1.0 / more))

    def points(self, limit_c: float, room_c: float) -> list[tuple[float, float]]:
        """(seconds from the last average until the probe reads `limit_c`, weight), sorted; inf where it never does."""
        found: list[tuple[float, float]] = []
        for h, weight in zip(self.hyps, self.weights(), strict=True):
            if weight < 2e-3:
                continue
            x = (h.x0, h.x1, h.x2)
            mid = self._seconds(h, x, limit_c, room_c)
            cov = ((h.p00, h.p01, h.p02), (h.p01, h.p11, h.p12), (h.p02, h.p12, h.p22))
            grad = [0.0, 0.0, 0.0]
            for i in range(3):
                step = 0.2 * sqrt(max(cov[i][i], 0.0))
                if step > 0.0 and mid < inf:
                    up = self._seconds(h, (*x[:i], x[i] + step, *x[i + 1 :]), limit_c, room_c)
                    grad[i] = (up - mid) / step if up < inf else 0.0
            moved = [sum(cov[i][j] * grad[j] for j in range(3)) for i in range(3)]
            variance = sum(moved[i] * grad[i] for i in range(3))
            sd = sqrt(variance) if variance > 0.0 else 0.0
            for z, share in _POINTS:
                at = x if sd == 0.0 else tuple(x[i] + z * moved[i] / sd for i in range(3))
                found.append((self._seconds(h, at, limit_c, room_c), weight * share))
        found.sort()
        return found

    def _seconds(self, h: _Hyp, x: tuple[float, ...], limit_c: float, room_c: float) -> float:
        level, b, s = x[0], max(x[1], self.least_b), x[2]
        bend = s + b * self.above
        seconds, missing = 0.0, bend * h.g(self.t)
        for _ in range(4):
            at = limit_c - missing
            if at <= room_c or level <= room_c:
                return inf
            seconds = log((level - room_c) / (at - room_c)) / b
            if seconds > 900.0 and seconds * h.k > 8.0:
                break
            missing = bend * h.g(max(self.t + seconds, 0.0))
        return seconds


class CoolWatch:
    """One reservoir: is it cooling, since when, and what its losses are. `prior`: what its heat-ups taught."""

    __slots__ = (
        "prior", "broad", "kept", "seen", "_recent", "_sum", "_room_sum", "_count", "_bin_ms", "_last", "_diff2", "_diffs", "_step_k",
        "_per_bin", "_off_ms", "_fit", "_from_ms", "_low", "_heated_ms", "_trough_c", "_noted", "_kept_ms", "_from_c", "_held", "_asked",
    )  # fmt: skip

    def __init__(self, broad: Prior | None = None) -> None:
        self.prior = self.broad = broad or Prior()
        self.kept: list[Loss] = []  # of this station's cool-downs in the journal, oldest first
        self.seen: list[Loss] = []  # of those since the start that aren't
        self._recent: deque[Average] = deque()
        self._step_k = inf  # the smallest step between two readings: the probe's resolution
        self._diff2, self._diffs, self._per_bin = 0.0, 0, 10.0
        self._off_ms: int | None = None  # since when the heater is known to have no power
        self._trough_c: float | None = None  # where its thermostat came on of late
        self._noted: dict[str, Any] | None = None
        self._kept_ms: int | None = None
        self.forget()

    def forget(self) -> None:
        """What is going on has nothing to do with cooling (the liquid is away, or has just come back)."""
        self._last: tuple[int, float, float] | None = None  # mono, liquid, room
        self._sum = self._room_sum = 0.0
        self._count = self._bin_ms = self._from_ms = 0
        self._fit: CoolFit | None = None
        self._low: tuple[int, float] | None = None  # lowest since it last was heated
        self._heated_ms: int | None = None  # since when it is being heated
        self._from_c = 0.0
        self._held: list[Average] = []  # the newest, which may already be of the next heat-up
        self._asked: CoolFit | None = None  # the fit with those, worked out when asked for
        self._recent.clear()

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
            self._off_ms = None
        elif self._off_ms is None:
            self._off_ms = mono_ms
            self._heated_ms = None
            if self._last is not None and self._count:
                self._close(mono_ms)
            if self._fit is not None and self._has_turned():
                assert self._low is not None
                self._end(self._low[0])
            if self._last is not None and self._fit is None:
                self._begin(mono_ms)

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
            if self._off_ms is not None and self._fit is None:
                self._begin(max(self._off_ms, self._recent[0].at_ms))

    def _close(self, mono_ms: int) -> None:
        """A quarter of a minute is over."""
        n = self._count
        at_ms, liquid_c, room_c = (self._bin_ms + mono_ms) // 2, self._sum / n, self._room_sum / n
        self._bin_ms, self._count, self._sum, self._room_sum = mono_ms, 0, 0.0, 0.0
        if self._diffs > 400:
            self._diffs, self._diff2 = self._diffs // 2, self._diff2 / 2.0
        self._per_bin += 0.1 * (n - self._per_bin)
        average = Average(at_ms, liquid_c, room_c, self._variance())
        recent = self._recent
        recent.append(average)
        while average.at_ms - recent[0].at_ms > RECENT_MS:
            recent.popleft()
        if self._low is None or average.liquid_c < self._low[1]:
            self._low = (average.at_ms, average.liquid_c)
        if self._fit is not None:
            self._add(average)
        slope = self._slope_k_per_min(180_000)
        if self._off_ms is None and slope is not None:
            self._look_for_heat(average, slope)
        if self._fit is None and self._off_ms is None:
            self._look_for_fall(slope)

    def _look_for_heat(self, average: Average, slope: float) -> None:
        assert self._low is not None
        sd = 60.0 * sqrt(self._variance() * 12.0 / 12.0**3) / (BIN_MS / 1000.0)
        if self._heated_ms is None:
            risen = average.liquid_c - self._low[1]
            if risen > max(RISE_K, SIGMAS * sqrt(self._variance())) and slope > max(RISING_K_PER_MIN, SIGMAS * sd):
                self._heated_ms = self._low[0]
                self._trough_c = self._low[1]
                self._end(self._low[0])
        elif slope < min(FALLING_K_PER_MIN, -SIGMAS * sd):
            self._heated_ms = None
            self._low = (average.at_ms, average.liquid_c)

    def _has_turned(self) -> bool:
        """It may have begun to be heated again, though that can't be told for sure yet."""
        low, last = self._low, self._recent[-1] if self._recent else None
        if low is None or last is None or last.at_ms - low[0] < BIN_MS:
            return False
        return last.liquid_c - low[1] > 2.5 * sqrt(self._variance())

    def _look_for_fall(self, slope: float | None) -> None:
        """Has it been falling, beyond its noise, for a while?"""
        if slope is None or slope > FALLING_K_PER_MIN or self._heated_ms is not None:
            return
        rows = list(self._recent)
        top = max(range(len(rows)), key=lambda i: (rows[i].liquid_c, i))
        since = rows[top:]
        if len(since) < FOUNDED:
            return
        n = len(since)
        times = [(a.at_ms - since[0].at_ms) / 1000.0 for a in since]
        mean_t, mean_c = sum(times) / n, sum(a.liquid_c for a in since) / n
        spread = sum((t - mean_t) ** 2 for t in times)
        fall = sum((t - mean_t) * (a.liquid_c - mean_c) for t, a in zip(times, since, strict=True)) / spread
        if fall < -SIGMAS * sqrt(self._variance() / spread):
            self._begin(since[0].at_ms)

    def _begin(self, at_ms: int) -> None:
        """It cools from here on."""
        before = [a for a in self._recent if a.at_ms <= at_ms]
        after = [a for a in self._recent if a.at_ms > at_ms]
        last = before[-8:] or after[:1]
        if not last:
            assert self._last is not None
            last = [Average(at_ms, self._last[1], self._last[2], self._variance())]
        level, rise, rise_sd = last[-1].liquid_c, 0.0, 3e-4
        variance = self._variance()
        level_sd = sqrt(variance)
        if len(last) >= 6 and self._off_ms is not None:
            n = len(last)
            times = [(a.at_ms - at_ms) / 1000.0 for a in last]
            mean_t, mean_c = sum(times) / n, sum(a.liquid_c for a in last) / n
            spread = sum((t - mean_t) ** 2 for t in times)
            rise = sum((t - mean_t) * (a.liquid_c - mean_c) for t, a in zip(times, last, strict=True)) / spread
            level = mean_c - rise * mean_t
            level_sd = sqrt(variance / n + variance * mean_t**2 / spread)
            rise_sd = hypot(3e-4, 0.4 * abs(rise), sqrt(variance / spread))
        room_c = last[-1].room_c
        known = bool(self.seen or self.kept or self.prior.heat_ups)
        self._from_ms, self._from_c = at_ms, level
        self._held = []
        self._fit = CoolFit(
            (level, level_sd + 0.01),
            (rise, rise_sd),
            level - room_c,
            self.prior,
            self.believed(),
            self.broad.loss if known else None,
        )
        for average in after:
            self._add(average)

    def _add(self, average: Average) -> None:
        """An average since it cools. The fit gets it when it is sure that it was not of a heat-up."""
        held = self._held
        held.append(average)
        if self._asked is not None:
            self._give(self._asked, average)
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

    def _end(self, at_ms: int) -> None:
        """It is heated again: the cool-down is over, and may have taught something."""
        fit, self._fit, self._asked = self._fit, None, None
        if fit is None:
            return
        for average in self._held:
            if average.at_ms < at_ms - LAG_MS:
                self._give(fit, average)
        if fit.disturbed:
            return
        loss = fit.shown()
        if loss is None:
            return
        lasted_ms = at_ms - self._from_ms
        if self._kept_ms is not None and at_ms - self._kept_ms < KEPT_EVERY_MS and lasted_ms < LONG_MS:
            self.seen = [*self.seen, loss][-REMEMBERED:]
            return
        self._kept_ms = at_ms
        assert self._low is not None
        self._noted = {
            "from_c": round(self._from_c, 3), "to_c": round(self._low[1], 3), "room_c": round(fit.room_c, 3),
            "start_ms": self._from_ms, "duration_s": lasted_ms / 1000.0,
            "fit": {"loss": [float(f"{loss.median * 3_600.0:.4g}"), float(f"{loss.sd:.4g}")]},
        }  # fmt: skip
        self.learn(self._noted)

    # -- what is said

    def until_below(self, limit_c: float, mono_ms: int, holds_c: float = inf) -> Forecast:
        """Time until a cooling liquid reads less than `limit_c`; `holds_c`: where its thermostat comes on, where it has power."""
        if self._last is None:
            return Forecast(None, None, None, "no reading of the reservoir")
        _, liquid_c, room_c = self._last
        if self._is_below(limit_c, liquid_c):
            return Forecast(None, None, None, "it is below already")
        fit = self._fit
        if self._off_ms is None:
            if self._heated_ms is not None:
                return Forecast(None, None, None, "it is being heated")
            trough_c = holds_c if self._trough_c is None else min(holds_c, self._trough_c)
            if fit is None or (trough_c < inf and liquid_c > trough_c - HOLDS_SLACK_K and limit_c < trough_c):
                return Forecast(None, None, None, "it is not cooling" if fit is None else "the thermostat holds it")
        if fit is None:
            return Forecast(None, None, None, "not known yet: too little has been seen of it")
        if room_c >= limit_c:
            return Forecast(None, None, None, "the room keeps it above")
        fit = self._until_now() or fit
        points = fit.points(limit_c, room_c)
        mid = quantile(points, 0.5)
        if mid == inf:
            return Forecast(None, None, None, "the room keeps it above")
        low, high = quantile(points, 0.05), min(quantile(points, 0.95), LONGEST_S)
        rate = max((fit.theta - 0.5 * (fit.now_c() - limit_c)) * sum(
            w * h.x1 for w, h in zip(fit.weights(), fit.hyps, strict=True)
        ), 1e-6)  # fmt: skip
        room_s = ROOM_SHARE * ROOM_K * sqrt(max(mid, 0.0) / 3_600.0) / rate
        edge_s = self._edge_k() / rate
        more = 1.645 * hypot(MODEL_SHARE * max(mid, 0.0), room_s, edge_s, LEAST_SD_S)
        low, high = mid - hypot(mid - low, more), mid + hypot(high - mid, more)
        passed_s = (mono_ms - self._from_ms) / 1000.0 - fit.t
        left_ms, low_ms, high_ms = (
            int(max(s - passed_s, 0.0) * 1000.0) for s in (min(mid, LONGEST_S), low, min(high, LONGEST_S))
        )
        return Forecast(left_ms, low_ms, high_ms, "")

    def _is_below(self, limit_c: float, liquid_c: float) -> bool:
        """Surely: by the reading, and where it is about there by what the averages say."""
        noise = 3.0 * sqrt(self._noise2()) + (self._step_k if self._step_k <= COARSEST_K else 0.0)
        if liquid_c < limit_c - noise:
            return True
        if not self._recent or liquid_c > limit_c + noise:
            return liquid_c < limit_c
        fit = self._until_now()
        return (self._recent[-1].liquid_c if fit is None else fit.now_c()) < limit_c

    def _edge_k(self) -> float:
        """How far a single reading may lie from what is read in the mean."""
        step = self._step_k if self._step_k <= COARSEST_K else 0.0
        return hypot(0.35 * sqrt(self._noise2()), 0.2 * step)

    def _noise2(self) -> float:
        """Variance of one reading [K^2]: half the mean square of neighbours' differences."""
        return 0.0025 if not self._diffs else max(self._diff2 / self._diffs / 2.0, 1e-6)

    def _variance(self) -> float:
        """Variance of an average [K^2], with what rounding leaves where noise doesn't spread over the steps."""
        noise2 = self._noise2()
        found, q = noise2 / max(self._per_bin, 1.0), self._step_k
        if q <= COARSEST_K:
            found += q * q / 12.0 * exp(-min(39.5 * noise2 / q**2, 50.0)) + q * q / 300.0
        return found

    def _slope_k_per_min(self, over_ms: int) -> float | None:
        """Slope of the last averages; None where there are too few."""
        end_ms = self._recent[-1].at_ms
        rows = []
        for average in reversed(self._recent):
            if end_ms - average.at_ms > over_ms:
                break
            rows.append(((average.at_ms - end_ms) / 60_000.0, average.liquid_c))
        n = len(rows)
        if n < 4 or -rows[-1][0] * 60_000.0 < over_ms / 2:
            return None
        mean_t, mean_c = sum(t for t, _ in rows) / n, sum(c for _, c in rows) / n
        return sum((t - mean_t) * (c - mean_c) for t, c in rows) / sum((t - mean_t) ** 2 for t, _ in rows)
