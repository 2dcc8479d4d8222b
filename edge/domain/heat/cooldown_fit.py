"""One cool-down: what is believed of a vessel that nothing heats, and how long its probe stays above a limit.

Theory. Liquid and wall together lose b (T - Troom), b = UA/C (textbook lumped capacity), so what the probe reads runs towards the
room by the rate b, once probe and wall have settled. Until then, with the heater gone at t = 0, a rise s before it and the fall
b (T0 - Troom) after it,
    y(t) = L(t) + (s + b (T0 - Troom)) g(t),   g(t) = w/k exp(-k t) - (1 + w) exp(-r t)/r,
k the rate with which liquid and wall even out, 1/r the probe's lag, w the wall's share of the liquid's capacity, as far as it has followed:
its share times 1 - exp(-k D) after a rise that took D. First-order responses to a ramp that bends, and to what the wall draws at once.
Where it isn't known when the heater stopped, t = 0 is the highest that the probe read: there the wall is still behind the rise, it isn't,
    y(t) = L(t) + (s + b (T0 - Troom)) g(t) + s exp(-r t)/r.
(L, b, s) is linear for each (w, k, r) and is followed by a Kalman filter per hypothesis; hypotheses lie all over what is believed of the
vessel (prior.py, mixture.py) and are weighted by evidence.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import exp, inf, log, sqrt
from typing import Final, NamedTuple

from edge.domain.heat.prior import Prior, Spread
from edge.domain.maths.mixture import POINTS, hopeful, shares, weights

HYPOTHESES: Final = 40
HOPELESS: Final = 8.0  # in the logarithm of the weight
FEWEST: Final = 10
STRANGE: Final = 12  # those that don't believe the history: a lid is open that never was
STRANGE_SHARE: Final = 0.1
#: what the model leaves out: of an average [K], of the level [K^2/s], of the loss [share^2/s]
FLOOR_K: Final = 0.008
LEVEL_WALK: Final = 0.0016**2 / 60.0
LOSS_WALK: Final = 0.008**2 / 60.0
TEMPER: Final = 0.7  # evidence counts for less than it says: the hypotheses don't lie close enough
ODD: Final = 5.0  # standard deviations: something was done to the liquid
ODD_K: Final = 0.08
STRAINED: Final = 1.7
OTHERWISE_SHARE: Final = 0.3
LEAST_B: Final = 2e-6
TOLD_SD: Final = 0.25  # a fall that leaves the loss less sure teaches nothing
_GOLDEN: Final = tuple((1.0 / 1.16730397826) ** k for k in range(1, 5))  # root of x^5 = x + 1


class Loss(NamedTuple):
    """What one cool-down showed of b [1/s]: median, standard deviation of the logarithm; without what was believed before."""

    median: float
    sd: float


class Start(NamedTuple):
    """What the probe read [Cel] and how it rose before [K/s], each with its standard deviation; the room; for how long it had risen.

    `at_top`: this is the highest that was read, the heater stopped somewhat earlier.
    """

    level_c: float
    level_sd: float
    rise: float
    rise_sd: float
    room_c: float
    rose_s: float = inf
    at_top: bool = False


@dataclass(slots=True)
class _Hyp:
    """One hypothesis: wall, its rate, the probe's rate, does it begin at the top; weight; mean and covariance of (L, b, s)."""

    w: float
    k: float
    r: float
    at_top: bool
    lw: float
    x0: float = 0.0
    x1: float = 0.0
    x2: float = 0.0
    p00: float = 0.0
    p01: float = 0.0
    p02: float = 0.0
    p11: float = 0.0
    p12: float = 0.0
    p22: float = 0.0

    def bends(self, t: float) -> tuple[float, float]:
        """What of a bend of 1 K/s the probe hasn't shown after t seconds [K]: of what it loses by, and of how it rose."""
        lag = exp(-self.r * t) / self.r
        g = self.w / self.k * exp(-self.k * t) - (1.0 + self.w) * lag
        return g, g + lag if self.at_top else g

    def begin(self, start: Start, b: float, b_sd: float) -> None:
        """The level is what was read less what was still to come."""
        g1, g = self.bends(0.0)
        by_b = -g1 * (start.level_c - start.room_c)
        self.x0, self.x1, self.x2 = start.level_c - g * start.rise + b * by_b, b, start.rise
        self.p11, self.p22 = b_sd**2, start.rise_sd**2
        self.p01, self.p02 = by_b * self.p11, -g * self.p22
        self.p00 = start.level_sd**2 + by_b * by_b * self.p11 + g * g * self.p22

    def go_on(self, lost: float, dt: float) -> None:
        """For `dt` seconds, in which it lost b `lost`."""
        self.x0 -= lost * self.x1
        self.p00 += lost * (lost * self.p11 - 2.0 * self.p01) + LEVEL_WALK * dt
        self.p01 -= lost * self.p11
        self.p02 -= lost * self.p12
        self.p11 += LOSS_WALK * self.x1 * self.x1 * dt

    def foresees(self, t: float, above: float) -> tuple[float, float, float, float]:
        """(d/db, d/ds, mean, variance) of what the probe shows."""
        g1, g = self.bends(t)
        g1 *= above
        variance = (
            self.p00 + g1 * (2.0 * self.p01 + g1 * self.p11) + g * (2.0 * (self.p02 + g1 * self.p12) + g * self.p22)
        )
        return g1, g, self.x0 + self.x1 * g1 + self.x2 * g, variance

    def learn(self, g1: float, g: float, nu: float, s: float) -> None:
        """It showed `nu` more, with the variance `s`."""
        q0 = self.p00 + self.p01 * g1 + self.p02 * g
        q1 = self.p01 + self.p11 * g1 + self.p12 * g
        q2 = self.p02 + self.p12 * g1 + self.p22 * g
        k0, k1, k2 = q0 / s, q1 / s, q2 / s
        self.x0 += k0 * nu
        self.x1 += k1 * nu
        self.x2 += k2 * nu
        self.p00 -= k0 * q0
        self.p01 -= k0 * q1
        self.p02 -= k0 * q2
        self.p11 -= k1 * q1
        self.p12 -= k1 * q2
        self.p22 -= k2 * q2


class CoolFit:
    """One cool-down. Times in s from when the heater stopped.

    Args:
        start: what was read then.
        vessel: what is believed of wall and probe.
        loss: what is believed of b.
        broad: what would be believed of b without a history; None where that is `loss`.
    """

    def __init__(self, start: Start, vessel: Prior, loss: Spread, broad: Spread | None) -> None:
        self.t = 0.0
        self.above = self.theta = start.level_c - start.room_c
        self.room_c = start.room_c
        self.n = 0
        self.disturbed = False
        self.strain = 0.0  # what is off, in standard deviations, of late
        self.loss = loss
        self.least_b = min(loss.at(0.005), (broad or loss).at(0.005))
        share = STRANGE_SHARE if broad is not None else 0.0
        self.hyps = _spread(start, vessel, loss, HYPOTHESES, 1.0 - share)
        if broad is not None:
            self.hyps += _spread(start, vessel, broad, STRANGE, share)

    def add(self, t: float, read_c: float, variance: float, room_c: float) -> None:
        """The mean of the readings around `t`, with its variance [K^2], and the room."""
        theta, dt = read_c - room_c, max(t - self.t, 0.0)
        lost = 0.5 * (theta + self.theta) * dt  # the integral of T - Troom
        self.t, self.theta, self.room_c = t, theta, room_c
        self.n += 1
        variance += FLOOR_K**2
        self._doubt()
        rows: list[tuple[_Hyp, float, float, float, float]] = []
        for h in self.hyps:
            h.go_on(lost, dt)
            g1, g, mean, wide = h.foresees(t, self.above)
            rows.append((h, g1, g, read_c - mean, variance + wide))
        off = self._how_odd(rows, variance)
        for h, g1, g, nu, s in rows:
            if off:  # the level is open again
                h.p00 += 4.0 * off * off
                s += 4.0 * off * off
            else:
                h.lw -= 0.5 * TEMPER * (nu * nu / s + log(s))
            h.learn(g1, g, nu, s)

    def _doubt(self) -> None:
        """It may lose otherwise than it did; and some hypotheses are hopeless."""
        if abs(self.strain) > STRAINED:
            self.strain = 0.0
            for h in self.hyps:
                h.p11 += (OTHERWISE_SHARE * h.x1) ** 2
        if self.n % 4 == 0 and len(self.hyps) > FEWEST:
            self.hyps = hopeful(self.hyps, HOPELESS, FEWEST)

    def _how_odd(self, rows: list[tuple[_Hyp, float, float, float, float]], variance: float) -> float:
        """By how much it is off all that was foreseen [K], where something must have been done to the liquid; else 0.0."""
        weighed = weights(self.hyps)
        off = sum(w * nu for w, (_, _, _, nu, _) in zip(weighed, rows, strict=True))
        wide = sum(w * (s + nu * nu) for w, (_, _, _, nu, s) in zip(weighed, rows, strict=True)) - off * off
        sigmas = off / sqrt(max(wide, variance))
        self.strain = 0.75 * self.strain + 0.25 * max(min(sigmas, 4.0), -4.0)
        odd = abs(off) > ODD_K and abs(sigmas) > ODD
        self.disturbed |= odd or abs(self.strain) > STRAINED
        return off if odd else 0.0

    def copy(self) -> CoolFit:
        """One that can go on by itself."""
        twin: CoolFit = object.__new__(CoolFit)
        twin.__dict__.update(self.__dict__)
        twin.hyps = [replace(h) for h in self.hyps]
        return twin

    def now_c(self) -> float:
        """What the probe reads now, without its noise [Cel]."""
        return sum(w * h.foresees(self.t, self.above)[2] for w, h in zip(weights(self.hyps), self.hyps, strict=True))

    def loss_now(self) -> float:
        """b [1/s], in the mean."""
        return sum(w * h.x1 for w, h in zip(weights(self.hyps), self.hyps, strict=True))

    def shown(self) -> Loss | None:
        """What it has shown of b beyond what was believed; None where that is little."""
        logs = [
            (w, log(max(h.x1, LEAST_B)), h.p11 / max(h.x1, LEAST_B) ** 2)
            for w, h in zip(weights(self.hyps), self.hyps, strict=True)
        ]
        mean = sum(w * m for w, m, _ in logs)
        variance = max(sum(w * (v + (m - mean) ** 2) for w, m, v in logs), 1e-6)
        more = 1.0 / variance - 1.0 / self.loss.sd**2
        if more < 1.0 / TOLD_SD**2:
            return None
        median = (mean / variance - log(self.loss.median) / self.loss.sd**2) / more
        return Loss(exp(median), sqrt(1.0 / more))

    def points(self, limit_c: float, room_c: float) -> list[tuple[float, float]]:
        """(seconds from the last average until the probe reads `limit_c`, weight), sorted; inf where it never does."""
        found: list[tuple[float, float]] = []
        for h, weight in zip(self.hyps, weights(self.hyps), strict=True):
            if weight < 2e-3:
                continue
            x = (h.x0, h.x1, h.x2)
            moves = self._moves(h, limit_c, room_c)
            for z, share in POINTS:
                at = tuple(x[i] + z * moves[i] for i in range(3))
                found.append((self._seconds(h, at, limit_c, room_c), weight * share))
        found.sort()
        return found

    def _moves(self, h: _Hyp, limit_c: float, room_c: float) -> tuple[float, ...]:
        """By how much (L, b, s) go together where the time is a standard deviation longer (first order); zeros where it is never."""
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
        sd = sqrt(variance) if variance > 0.0 else inf
        return tuple(m / sd for m in moved)

    def _seconds(self, h: _Hyp, x: tuple[float, ...], limit_c: float, room_c: float) -> float:
        level, b, s = x[0], max(x[1], self.least_b), x[2]
        seconds, falls = 0.0, b * self.above
        for _ in range(5):
            g1, g = h.bends(self.t + max(seconds, 0.0))
            at = limit_c - falls * g1 - s * g
            if at <= room_c or level <= room_c:
                return inf
            seconds = log((level - room_c) / (at - room_c)) / b
            if seconds > 900.0 and seconds * h.k > 8.0:
                break
        return seconds


def _spread(start: Start, vessel: Prior, loss: Spread, n: int, share: float) -> list[_Hyp]:
    """Hypotheses all over what is believed, that have this share of the belief between them."""
    found = []
    for i in range(n):
        spreads = (vessel.wall, vessel.wall_s, vessel.lag_s, loss)
        w, wall_s, lag_s, b = (s.at(share_below) for s, share_below in zip(spreads, shares(i, _GOLDEN), strict=True))
        h = _Hyp(w * (1.0 - exp(-start.rose_s / wall_s)), 1.0 / wall_s, 1.0 / lag_s, start.at_top, log(share / n))
        h.begin(start, b, 0.35 * loss.sd * b)
        found.append(h)
    return found
