"""The fit of one cool-down: the losses of a vessel that nothing heats, and how long its probe stays above a limit.

Theory. Liquid and wall together lose b (T - Troom), b = UA/C (textbook lumped capacity). So the reading runs towards the room with the rate
b, once probe and wall have settled. Until then, if the heater stops at t = 0 after a rise s and the liquid falls by b (T0 - Troom) from
there on,
    y(t) = L(t) + (s + b (T0 - Troom)) g(t),   g(t) = w/k exp(-k t) - (1 + w) exp(-r t)/r.
Here k is the rate of exchange between liquid and wall, 1/r the probe's lag, and w the wall's share of the liquid's heat capacity as far as
it has followed: its share times 1 - exp(-k D) after a rise that took D. These are first-order responses to a ramp that bends, and to the
heat that the wall still draws. Where the stop of the heater is not known, t = 0 is the highest reading. There the wall still lags behind
the rise and the probe doesn't:
    y(t) = L(t) + (s + b (T0 - Troom)) g(t) + s exp(-r t)/r.
(L, b, s) is linear for each (w, k, r), so each hypothesis has a Kalman filter for it. The hypotheses are spread over the vessel's prior
(prior.py, mixture.py) and weighted by likelihood.

Letters of the code, where names would hide the sums:
    level_c, loss, rise    L [Cel], b [1/s], s [K/s]
    p00 .. p22             their covariance matrix P, in that order
    g1, g                  what 1 of b and 1 of s adds to the reading beyond L
    q0 .. q2, k0 .. k2     P h and the Kalman gain
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import exp, inf, log, sqrt
from typing import Final, NamedTuple

from edge.domain.heat.prior import Prior, Spread
from edge.domain.maths.mixture import POINTS, pruned, shares, weights

#: Hypotheses spread over the station's prior.
HYPOTHESES: Final = 40
#: A hypothesis is pruned once the logarithm of its weight is this far below the best.
PRUNE_LOG_WEIGHT: Final = 8.0
#: Pruning leaves at least this many hypotheses.
MIN_HYPOTHESES: Final = 10
#: Hypotheses spread over the broad prior all the same: a lid may be open that never was.
N_BROAD: Final = 12
#: Prior weight of the N_BROAD hypotheses together.
BROAD_SHARE: Final = 0.1
#: Standard deviation that is added to each average for what the model leaves out [K].
FLOOR_K: Final = 0.008
#: Process noise of the level [K^2/s].
LEVEL_WALK: Final = 0.0016**2 / 60.0
#: Process noise of the loss rate, as a variance of its share [1/s].
LOSS_WALK: Final = 0.008**2 / 60.0
#: Log-likelihoods count by this factor, since the hypotheses don't lie close enough.
TEMPER: Final = 0.7
#: An innovation beyond this many standard deviations is a disturbance: something was done to the liquid.
ODD_SIGMAS: Final = 5.0
#: A disturbance is at least this large [K].
ODD_K: Final = 0.08
#: The smoothed standardised innovation beyond which the loss rate must have changed.
MAX_STRAIN: Final = 1.7
#: Standard deviation that the loss rate then gains, as a share of it.
LOSS_DOUBT_SHARE: Final = 0.3
#: Least loss rate b [1/s].
MIN_LOSS: Final = 2e-6
#: A cool-down that leaves the logarithm of b less certain than this standard deviation teaches nothing.
MAX_LEARNED_SD: Final = 0.25
_GOLDEN: Final = tuple(
    (1.0 / 1.16730397826) ** k for k in range(1, 5)
)  # powers of the inverse root of x^5 = x + 1: a generalised golden ratio


class LossEstimate(NamedTuple):
    """The likelihood of b [1/s] from one cool-down, without its prior: median, standard deviation of the logarithm."""

    median: float
    sd: float


class Start(NamedTuple):
    """The start of a cool-down: level [Cel] and rate of rise before [K/s], each with its standard deviation, and the room [Cel].

    `rose_s`: how long the liquid had risen [s]; `at_top`: this is the highest reading, and the heater stopped somewhat earlier.
    """

    level_c: float
    level_sd: float
    rise: float
    rise_sd: float
    room_c: float
    rose_s: float = inf
    at_top: bool = False


@dataclass(slots=True)
class _Hypothesis:
    """One hypothesis: parameters taken as known, logarithm of the weight, and mean and covariance of (L, b, s)."""

    wall: float
    wall_rate: float
    probe_rate: float
    at_top: bool
    log_weight: float
    level_c: float = 0.0
    loss: float = 0.0
    rise: float = 0.0
    p00: float = 0.0
    p01: float = 0.0
    p02: float = 0.0
    p11: float = 0.0
    p12: float = 0.0
    p22: float = 0.0

    def bends(self, t: float) -> tuple[float, float]:
        """What a bend of 1 K/s still hides from the probe after t seconds [K]: for the loss, and for the rise before."""
        lag = exp(-self.probe_rate * t) / self.probe_rate
        g = self.wall / self.wall_rate * exp(-self.wall_rate * t) - (1.0 + self.wall) * lag
        return g, g + lag if self.at_top else g

    def begin(self, start: Start, b: float, b_sd: float) -> None:
        """Set the state at the start: the level is the reading less the transient that was still to come."""
        g1, g = self.bends(0.0)
        by_b = -g1 * (start.level_c - start.room_c)
        self.level_c, self.loss, self.rise = start.level_c - g * start.rise + b * by_b, b, start.rise
        self.p11, self.p22 = b_sd**2, start.rise_sd**2
        self.p01, self.p02 = by_b * self.p11, -g * self.p22
        self.p00 = start.level_sd**2 + by_b * by_b * self.p11 + g * g * self.p22

    def predict(self, lost: float, dt: float) -> None:
        """Kalman prediction over `dt` seconds, in which the integral of (T - Troom) grew by `lost` [K s]."""
        self.level_c -= lost * self.loss
        self.p00 += lost * (lost * self.p11 - 2.0 * self.p01) + LEVEL_WALK * dt
        self.p01 -= lost * self.p11
        self.p02 -= lost * self.p12
        self.p11 += LOSS_WALK * self.loss * self.loss * dt

    def expected(self, t: float, above: float) -> tuple[float, float, float, float]:
        """(derivative by b, derivative by s, mean [Cel], variance [K^2]) of the reading; `above`: T0 - Troom [K]."""
        g1, g = self.bends(t)
        g1 *= above
        variance = (
            self.p00 + g1 * (2.0 * self.p01 + g1 * self.p11) + g * (2.0 * (self.p02 + g1 * self.p12) + g * self.p22)
        )
        return g1, g, self.level_c + self.loss * g1 + self.rise * g, variance

    def update(self, g1: float, g: float, innovation: float, innovation_var: float) -> None:
        """Kalman update by an innovation [K] of this variance [K^2]."""
        q0 = self.p00 + self.p01 * g1 + self.p02 * g
        q1 = self.p01 + self.p11 * g1 + self.p12 * g
        q2 = self.p02 + self.p12 * g1 + self.p22 * g
        k0, k1, k2 = q0 / innovation_var, q1 / innovation_var, q2 / innovation_var
        self.level_c += k0 * innovation
        self.loss += k1 * innovation
        self.rise += k2 * innovation
        self.p00 -= k0 * q0
        self.p01 -= k0 * q1
        self.p02 -= k0 * q2
        self.p11 -= k1 * q1
        self.p12 -= k1 * q2
        self.p22 -= k2 * q2


class CoolFit:
    """One cool-down. Times in s from when the heater stopped.

    Args:
        start: the state at the start.
        vessel: prior of wall and probe.
        loss: prior of b [1/s].
        broad: prior of b without a history [1/s]; None where that is `loss`.
    """

    def __init__(self, start: Start, vessel: Prior, loss: Spread, broad: Spread | None) -> None:
        self.t = 0.0
        self.above = self.theta = start.level_c - start.room_c
        self.room_c = start.room_c
        self.n = 0
        self.disturbed = False
        self.strain = 0.0  # smoothed standardised innovation
        self.loss = loss
        self.min_loss = min(loss.at(0.005), (broad or loss).at(0.005))
        share = BROAD_SHARE if broad is not None else 0.0
        self.hyps = _spread(start, vessel, loss, HYPOTHESES, 1.0 - share)
        if broad is not None:
            self.hyps += _spread(start, vessel, broad, N_BROAD, share)

    def add(self, t: float, read_c: float, variance: float, room_c: float) -> None:
        """Take the mean of the readings around `t` [s], with its variance [K^2], and the room [Cel]."""
        theta, dt = read_c - room_c, max(t - self.t, 0.0)
        lost = 0.5 * (theta + self.theta) * dt  # growth of the integral of T - Troom [K s]
        self.t, self.theta, self.room_c = t, theta, room_c
        self.n += 1
        variance += FLOOR_K**2
        self._doubt()
        rows: list[tuple[_Hypothesis, float, float, float, float]] = []
        for h in self.hyps:
            h.predict(lost, dt)
            g1, g, mean, wide = h.expected(t, self.above)
            rows.append((h, g1, g, read_c - mean, variance + wide))
        off = self._disturbed_by_k(rows, variance)
        for h, g1, g, innovation, innovation_var in rows:
            if off:  # a disturbance: the level is uncertain by twice the innovation
                h.p00 += 4.0 * off * off
                innovation_var += 4.0 * off * off
            else:
                h.log_weight -= 0.5 * TEMPER * (innovation * innovation / innovation_var + log(innovation_var))
            h.update(g1, g, innovation, innovation_var)

    def _doubt(self) -> None:
        """Widen the loss rate where the innovations stay on one side; prune the hypotheses."""
        if abs(self.strain) > MAX_STRAIN:
            self.strain = 0.0
            for h in self.hyps:
                h.p11 += (LOSS_DOUBT_SHARE * h.loss) ** 2
        if self.n % 4 == 0 and len(self.hyps) > MIN_HYPOTHESES:
            self.hyps = pruned(self.hyps, PRUNE_LOG_WEIGHT, MIN_HYPOTHESES)

    def _disturbed_by_k(self, rows: list[tuple[_Hypothesis, float, float, float, float]], variance: float) -> float:
        """The mean innovation [K] where it shows a disturbance; else 0.0."""
        weighed = weights(self.hyps)
        off = sum(w * innovation for w, (_, _, _, innovation, _) in zip(weighed, rows, strict=True))
        wide = (
            sum(
                w * (innovation_var + innovation * innovation)
                for w, (_, _, _, innovation, innovation_var) in zip(weighed, rows, strict=True)
            )
            - off * off
        )
        sigmas = off / sqrt(max(wide, variance))
        self.strain = 0.75 * self.strain + 0.25 * max(min(sigmas, 4.0), -4.0)
        odd = abs(off) > ODD_K and abs(sigmas) > ODD_SIGMAS
        self.disturbed |= odd or abs(self.strain) > MAX_STRAIN
        return off if odd else 0.0

    def copy(self) -> CoolFit:
        """An independent copy."""
        twin: CoolFit = object.__new__(CoolFit)
        twin.__dict__.update(self.__dict__)
        twin.hyps = [replace(h) for h in self.hyps]
        return twin

    def now_c(self) -> float:
        """The expected reading at the last average [Cel]."""
        return sum(w * h.expected(self.t, self.above)[2] for w, h in zip(weights(self.hyps), self.hyps, strict=True))

    def loss_now(self) -> float:
        """Mean of b [1/s]."""
        return sum(w * h.loss for w, h in zip(weights(self.hyps), self.hyps, strict=True))

    def shown(self) -> LossEstimate | None:
        """The likelihood of b from this cool-down, the prior taken off; None where it is too wide to teach anything."""
        logs = [
            (w, log(max(h.loss, MIN_LOSS)), h.p11 / max(h.loss, MIN_LOSS) ** 2)
            for w, h in zip(weights(self.hyps), self.hyps, strict=True)
        ]
        mean = sum(w * m for w, m, _ in logs)
        variance = max(sum(w * (v + (m - mean) ** 2) for w, m, v in logs), 1e-6)
        more = 1.0 / variance - 1.0 / self.loss.sd**2
        if more < 1.0 / MAX_LEARNED_SD**2:
            return None
        median = (mean / variance - log(self.loss.median) / self.loss.sd**2) / more
        return LossEstimate(exp(median), sqrt(1.0 / more))

    def points(self, limit_c: float, room_c: float) -> list[tuple[float, float]]:
        """(seconds from the last average until the probe reads `limit_c` [Cel], weight), sorted; inf: never."""
        found: list[tuple[float, float]] = []
        for h, weight in zip(self.hyps, weights(self.hyps), strict=True):
            if weight < 2e-3:
                continue
            x = (h.level_c, h.loss, h.rise)
            moves = self._moves(h, limit_c, room_c)
            for z, share in POINTS:
                at = tuple(x[i] + z * moves[i] for i in range(3))
                found.append((self._seconds(h, at, limit_c, room_c), weight * share))
        found.sort()
        return found

    def _moves(self, h: _Hypothesis, limit_c: float, room_c: float) -> tuple[float, ...]:
        """The step of (L, b, s) along which the time is one standard deviation longer (first order); zeros where the time is "never"."""
        x = (h.level_c, h.loss, h.rise)
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

    def _seconds(self, h: _Hypothesis, x: tuple[float, ...], limit_c: float, room_c: float) -> float:
        level, b, rise = x[0], max(x[1], self.min_loss), x[2]
        seconds, falls = 0.0, b * self.above
        for _ in range(5):
            g1, g = h.bends(self.t + max(seconds, 0.0))
            at = limit_c - falls * g1 - rise * g
            if at <= room_c or level <= room_c:
                return inf
            seconds = log((level - room_c) / (at - room_c)) / b
            if seconds > 900.0 and seconds * h.wall_rate > 8.0:
                break
        return seconds


def _spread(start: Start, vessel: Prior, loss: Spread, n: int, share: float) -> list[_Hypothesis]:
    """`n` hypotheses spread over the prior, with the weight `share` between them."""
    found = []
    for i in range(n):
        spreads = (vessel.wall, vessel.wall_s, vessel.lag_s, loss)
        w, wall_s, lag_s, b = (s.at(share_below) for s, share_below in zip(spreads, shares(i, _GOLDEN), strict=True))
        h = _Hypothesis(
            w * (1.0 - exp(-start.rose_s / wall_s)), 1.0 / wall_s, 1.0 / lag_s, start.at_top, log(share / n)
        )
        h.begin(start, b, 0.35 * loss.sd * b)
        found.append(h)
    return found
