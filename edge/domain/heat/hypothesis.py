"""One hypothesis about a heat-up: walls, lags and losses taken as known, a Kalman filter for what is linear.

Liquid (capacity C) and vessel wall (share w of C) exchange heat with the rate k; what warms up slowly, an outer wall, is a second one of
this kind (w2, k2). All lose heat b (T - Troom); a heater puts in p from the start on, late by its own heat (1/q); a probe follows the
liquid with the lag 1/r (textbook lumped capacities, first-order lags). Walls that lie one behind the other answer as walls side by side
do, with other shares and rates (the modes of their matrix). With L the temperature of liquid and walls together, F[.] the probe's lag,
H[.] the heater's,
    y(t) = F[L + w D + w2 D2],   L' = H[p] - b (T - Troom),   D' = L' - k D,   D2' = L' - k2 D2,
(T - Troom) is in part what drives evaporation, which grows faster: a share e of the loss.
L is linear in (L0, p, b, d), its losses following from the readings themselves, since the lag of an integral is the integral of what
lags. The state carried along is (L, p, b, d) and the mean that p is pulled back to: p wanders about it as Ornstein and Uhlenbeck's process
does, from now on only. L is carried as if the heater were never late.
d g(t) is what the beginning leaves open: the start's instant after rest (g = F[1]), or a wall that isn't as warm as the liquid after a
cycle (g = F[exp(-k t)]; the heater's own heat is in it).

Forecast: L runs towards Troom + p/b by a closed form, p in the mean of the way; what is left of wall and probe is added, and what the
liquid gains or loses against a slow wall makes it quicker or slower than L; five points along the direction that moves the time most, so
the interval is skew where it must be, and "never" has a probability.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from enum import IntEnum
from math import exp, hypot, inf, log, sqrt
from typing import Final, NamedTuple

from edge.domain.heat.prior import Prior, damp_of
from edge.domain.maths.mixture import POINTS

LEVEL_WALK: Final = 0.0016**2 / 60.0  # what the model leaves out, as noise of the level [K^2/s]
#: the heater's power wanders with the mains, and what an open lid takes is as if it gave less: about its mean, from which it is pulled
#: back within PULL_S; by this share, median and standard deviation of its logarithm
WANDER: Final = 0.016
WANDER_SD: Final = 0.8
PULL_S: Final = 1_500.0
LONGEST_S: Final = 20_000.0  # a way that takes longer, or never ends, is as long
OPENED: Final = 0.04  # by this share the heater's power is open after a disturbance
JUMP: Final = 0.15  # and by this where it jumps
BACK_U: Final = 0.8  # of what it is off its mean may be back at any moment, or not before the end; standard deviation
#: an open lid makes the loss so many times as much, with this standard deviation of the logarithm; what is looked at instead of all of
#: that; and the loss's relative deviation when it has been closed (common practice, no published source)
OPEN_LOSS: Final = 2.5
OPEN_LOSS_SD: Final = 0.4
OPEN_TIMES: Final = (1.8, 4.0)
CLOSED_SD: Final = 0.4
OPEN_K: Final = 0.15  # and by this the level
ALONE: Final = 1e-3  # relative; between rates that would coincide
LOSS_LEFT: Final = 0.35  # of the loss's spread is left to the filter
LEAST_GROWS: Final = -0.8  # of an outer wall that falls back on the liquid
UNSEEN_K: Final = 0.7  # what a start that wasn't seen leaves open
START_LEFT_S: Final = 8.0  # of the start's instant is left to the filter


_Four = tuple[float, float, float, float]


class Heard(NamedTuple):
    """An average of readings, and what drove the losses since the one before: (T - Troom), and the same for evaporation [K]."""

    t: float
    dt: float
    read_c: float
    variance: float
    dry: float
    damp: float


class Do(IntEnum):
    """What is made of an average."""

    TAKE = 0
    PASS = 1
    SHIFT = 2  # the liquid is where it is read to be; nothing is learned of heater and losses
    SETTLE = 3  # the same, and a disturbance has ended
    SLOWS = 4  # taken: the rise has jumped, for a while, or back
    BACK = 5  # shifted; its power is what it was before it jumped
    QUICKENS = 6  # taken: it has jumped upwards for good


class Begin(NamedTuple):
    """Where a heat-up begins: its level [Cel] and its variance, and now.

    Of a start that was seen: where the straight rise, drawn back, meets the level, from how long a rise, by how much that may be wrong
    [s], and the rise [K/s].
    """

    level_c: float
    level_var: float
    now_s: float
    bend_s: float | None = None
    rise_s: float = 0.0
    bend_sd_s: float = 0.0
    slope: float = 0.0


class Look(NamedTuple):
    """What all hypotheses share for a forecast: now, (T - Troom), what drives evaporation now, its slope from here to the target."""

    t: float
    theta: float
    damp: float
    damp_slope: float
    target_c: float
    room_c: float


class Hypothesis:
    """Its numbers, the logarithm of its weight, and mean and covariance of (L, p, b, d, the mean of p)."""

    __slots__ = (
        "z", "of", "w", "k", "w2", "k2", "r", "q", "e", "wander", "t0", "ts", "lw", "y", "y2", "seen", "x0", "x1", "x2", "x3", "x4",
        "p00", "p01", "p02", "p03", "p04", "p11", "p12", "p13", "p14", "p22", "p23", "p24", "p33", "p34", "p44", "nu", "s", "h1", "h2",
        "h3",
    )  # fmt: skip

    def __init__(self, prior: Prior, z: Sequence[float], log_weight: float, begin: Begin) -> None:
        """`z`: standard normal numbers (10) that place it in the prior."""
        self.z, self.of, self.lw = tuple(z), prior, log_weight
        wall_s, lag_s, element_s = prior.wall_s.of(z[1]), prior.lag_s.of(z[2]), prior.element_s.of(z[3])
        self.w, self.k, self.r, self.q = prior.wall.of(z[0]), 1.0 / wall_s, 1.0 / lag_s, 1.0 / element_s
        if abs(self.k / self.r - 1.0) < ALONE:
            self.k *= 1.0 + 2.0 * ALONE
        while abs(self.q / self.r - 1.0) < ALONE or abs(self.q / self.k - 1.0) < ALONE:
            self.q *= 1.0 + 2.0 * ALONE
        self.w2, self.k2 = prior.outer.of(z[8]), 1.0 / prior.outer_s.of(z[9])
        self.wander = (WANDER * exp(WANDER_SD * z[7])) ** 2
        self.e = damp_of(prior.damp, z[5])
        self.seen = begin.bend_s is not None
        #: when the heater came on, how long it has been on, and the walls' integrals Y
        self.t0, self.ts, self.y, self.y2 = begin.now_s, 0.0, 0.0, 0.0
        open_k = UNSEEN_K
        if begin.bend_s is not None:
            late_s = lag_s + element_s
            # a rise that is still bent meets the level early
            late_s *= begin.rise_s / (begin.rise_s + 2.0 * late_s)
            self.t0 = begin.bend_s - late_s + begin.bend_sd_s * z[6]
            open_k = START_LEFT_S * begin.slope
        loss = prior.loss.of(z[4])
        pull = prior.power_loss / (prior.loss.sd * prior.loss.median) ** 2
        self.x0, self.x1, self.x2, self.x3 = (
            begin.level_c,
            prior.power[0] + pull * (loss - prior.loss.median),
            loss,
            0.0,
        )
        self.p22 = (LOSS_LEFT * prior.loss.sd * loss) ** 2
        self.p12 = pull * self.p22
        self.p11 = max(prior.power[1] ** 2 - pull * prior.power_loss, 0.0) + pull * self.p12 + (0.002 * self.x1) ** 2
        self.p00, self.p33 = begin.level_var, open_k**2
        self.p01 = self.p02 = self.p03 = self.p04 = self.p13 = self.p23 = self.p34 = 0.0
        # the mean that its power is pulled back to
        self.x4, self.p14, self.p24, self.p44 = self.x1, self.p11, self.p12, self.p11
        self.p11 += self.wander * self.x1**2
        #: of the average under way: how far off it is, its variance, and the row's last three numbers
        self.nu = self.s = self.h1 = self.h2 = self.h3 = 0.0

    def hear(self, heard: Heard) -> None:
        """Liquid and wall move on to the average; what is expected of it."""
        dt = heard.dt
        mean = heard.dry + self.e * (heard.damp - heard.dry)
        gained = mean * dt  # of the integral of what drives the loss
        ts = heard.t - self.t0
        heated = (ts if ts > 0.0 else 0.0) - self.ts
        self.ts += heated
        self.x0 += heated * self.x1 - gained * self.x2
        self.p00 += (
            heated * (2.0 * self.p01 + heated * self.p11 - 2.0 * gained * self.p12)
            + gained * (gained * self.p22 - 2.0 * self.p02)
            + LEVEL_WALK * dt
        )
        self.p01 += heated * self.p11 - gained * self.p12
        self.p02 += heated * self.p12 - gained * self.p22
        self.p03 += heated * self.p13 - gained * self.p23
        self.p04 += heated * self.p14 - gained * self.p24
        keep = exp(-dt / PULL_S)
        pull = 1.0 - keep
        self.x1 += pull * (self.x4 - self.x1)
        self.p11 = (
            keep * (keep * self.p11 + 2.0 * pull * self.p14)
            + pull * pull * self.p44
            + (1.0 - keep * keep) * self.wander * self.x1 * self.x1
        )
        self.p01 = keep * self.p01 + pull * self.p04
        self.p12 = keep * self.p12 + pull * self.p24
        self.p13 = keep * self.p13 + pull * self.p34
        self.p14 = keep * self.p14 + pull * self.p44
        w, k = self.w, self.k
        fade = exp(-k * dt)
        self.y = self.y * fade + mean * (1.0 - fade) / k
        fade = exp(-self.k2 * dt)
        self.y2 = self.y2 * fade + mean * (1.0 - fade) / self.k2
        h1, h3 = self._row(ts) if ts > 0.0 else (0.0, 0.0 if self.seen else 1.0)
        h2 = -w * self.y - self.w2 * self.y2
        self.h1, self.h2, self.h3 = h1, h2, h3
        self.nu = heard.read_c - self.x0 - self.x1 * h1 - self.x2 * h2 - self.x3 * h3
        self.s = self._spread(heard.variance)

    def _spread(self, variance: float) -> float:
        """Variance of how far off an average is."""
        h1, h2, h3 = self.h1, self.h2, self.h3
        return variance + self.p00 + h1 * (2.0 * self.p01 + h1 * self.p11) \
            + h2 * (2.0 * (self.p02 + h1 * self.p12) + h2 * self.p22) \
            + h3 * (2.0 * (self.p03 + h1 * self.p13 + h2 * self.p23) + h3 * self.p33)  # fmt: skip

    def _row(self, ts: float) -> tuple[float, float]:
        """What one of p adds to the probe beside what it adds to L, and what one of d adds, `ts` after the heater came on.

        By partial fractions of r q / (s^2 (s + q) (s + r)) (1 + w s / (s + k)), the pole at 0 left to L.
        """
        w, k, w2, k2, r = self.w, self.k, self.w2, self.k2, self.r
        er, ek, e2 = exp(-r * ts), exp(-k * ts), exp(-k2 * ts)
        if not self.seen:
            a, a2 = (ek - er) / (1.0 - k / r), (e2 - er) / (1.0 - k2 / r)
            return w * (1.0 - er - a) / k + w2 * (1.0 - er - a2) / k2 - (1.0 - er) / r, a + er
        q = self.q
        by_q, by_r = r * exp(-q * ts) / (r - q), q * er / (r - q)
        lags = by_q / q - by_r / r - 1.0 / q - 1.0 / r
        wall = w * (1.0 / k - by_q / (k - q) + by_r / (k - r) - r * q * ek / (k * (q - k) * (r - k)))
        outer = w2 * (1.0 / k2 - by_q / (k2 - q) + by_r / (k2 - r) - r * q * e2 / (k2 * (q - k2) * (r - k2)))
        return lags + wall + outer, 1.0 - er

    def do(self, what: Do, heard: Heard) -> None:
        """Make this of the average that was heard."""
        if what is Do.TAKE:
            self._take()
        elif what is Do.SLOWS or what is Do.QUICKENS:
            self._jump(heard, what is Do.QUICKENS)
            self._take()
        elif what is not Do.PASS:
            if what is Do.BACK:
                self.nu -= (self.x4 - self.x1) * self.h1
                self.x1, self.p11 = self.x4, self.p44 + self.wander * self.x4**2
                self.p12, self.p13, self.p14 = self.p24, self.p34, self.p44
            self.x0 += self.nu
            self.p00, self.p01, self.p02, self.p03, self.p04 = OPEN_K**2, 0.0, 0.0, 0.0, 0.0
            if what is Do.SETTLE:
                self.p00 += heard.variance
                opened = (OPENED * self.x1) ** 2
                self.p11 += opened
                self.p14 += opened
                self.p44 += opened

    def _jump(self, heard: Heard, for_good: bool) -> None:
        """Its power may have jumped since the average before. Where that is for good, a lid that was open from the start has been closed:
        its loss is then between what an open lid would make of it and what vessels are like."""
        if for_good:
            less = min(sqrt(max(self.x2, 0.0) * self.of.loss.median / OPEN_LOSS), self.x2) - self.x2
            given = less * (heard.dry + self.e * (heard.damp - heard.dry))  # what it rises by stays as it is
            self.x0 -= less * self.h2 + given * self.h1
            self.x1, self.x2, self.x4 = self.x1 + given, self.x2 + less, self.x4 + given
            self.p02 = self.p12 = self.p23 = self.p24 = 0.0
            self.p22 = (CLOSED_SD * self.x2) ** 2
        # the probe is late: what it shows by now has passed since the average before
        ago, jump = heard.dt - self.h1, (JUMP * self.x1) ** 2
        self.p00 += ago * ago * jump
        self.p01 += ago * jump
        self.p11 += jump
        if for_good:
            self.p04 += ago * jump
            self.p14 += jump
            self.p44 += jump
        self.s = self._spread(heard.variance)

    def _take(self) -> None:
        h1, h2, h3, s, nu = self.h1, self.h2, self.h3, self.s, self.nu
        g0 = self.p00 + self.p01 * h1 + self.p02 * h2 + self.p03 * h3
        g1 = self.p01 + self.p11 * h1 + self.p12 * h2 + self.p13 * h3
        g2 = self.p02 + self.p12 * h1 + self.p22 * h2 + self.p23 * h3
        g3 = self.p03 + self.p13 * h1 + self.p23 * h2 + self.p33 * h3
        g4 = self.p04 + self.p14 * h1 + self.p24 * h2 + self.p34 * h3
        k0, k1, k2, k3, k4 = g0 / s, g1 / s, g2 / s, g3 / s, g4 / s
        self.x0 += k0 * nu
        self.x1 += k1 * nu
        self.x2 += k2 * nu
        self.x3 += k3 * nu
        self.x4 += k4 * nu
        self.p00 -= k0 * g0
        self.p01 -= k0 * g1
        self.p02 -= k0 * g2
        self.p03 -= k0 * g3
        self.p11 -= k1 * g1
        self.p12 -= k1 * g2
        self.p13 -= k1 * g3
        self.p22 -= k2 * g2
        self.p23 -= k2 * g3
        self.p33 -= k3 * g3
        self.p04 -= k0 * g4
        self.p14 -= k1 * g4
        self.p24 -= k2 * g4
        self.p34 -= k3 * g4
        self.p44 -= k4 * g4
        self.lw -= 0.5 * (nu * nu / s + log(s))

    def points(self, look: Look) -> list[tuple[float, float]]:
        """(seconds until the probe reads the target, share): inf where it never does, negative where it has."""
        mid = self._seconds((self.x0, self.x1, self.x2, self.x3), look)
        # its power in the mean of the way: pulled back, and wandering on (Ornstein and Uhlenbeck's process, textbook matter)
        far = min(max(mid, 1.0), LONGEST_S) / PULL_S
        near = (1.0 - exp(-far)) / far
        mean = 1.0 - near
        x = (self.x0, near * self.x1 + mean * self.x4, self.x2, self.x3)
        on = self.wander * x[1] ** 2 * (2.0 - 2.0 * near - far * near * near) / far
        on += (BACK_U * near * (self.x1 - self.x4)) ** 2
        p11 = near * (near * self.p11 + 2.0 * mean * self.p14) + mean * mean * self.p44 + on
        p01, p12 = near * self.p01 + mean * self.p04, near * self.p12 + mean * self.p24
        p13 = near * self.p13 + mean * self.p34
        mid = self._seconds(x, look)
        g0, g1, g2, g3 = self._gradient(x, (self.p00, p11, self.p22, self.p33), mid, look)
        moved = (
            self.p00 * g0 + p01 * g1 + self.p02 * g2 + self.p03 * g3,
            p01 * g0 + p11 * g1 + p12 * g2 + p13 * g3,
            self.p02 * g0 + p12 * g1 + self.p22 * g2 + self.p23 * g3,
            self.p03 * g0 + p13 * g1 + self.p23 * g2 + self.p33 * g3,
        )
        variance = moved[0] * g0 + moved[1] * g1 + moved[2] * g2 + moved[3] * g3
        if variance <= 0.0:
            return [(mid, 1.0)]
        a, b, c, d = (m / sqrt(variance) for m in moved)
        return [
            (mid if z == 0.0 else self._seconds((x[0] + z * a, x[1] + z * b, x[2] + z * c, x[3] + z * d), look), share)
            for z, share in POINTS
        ]

    def shut(self, look: Look) -> list[tuple[float, float]]:
        """(seconds until the probe reads the target, share), where what it loses is by a lid that is closed at once."""
        return [
            (self._seconds((self.x0, self.x1, self.x2 / times, self.x3), look), 1.0 / len(OPEN_TIMES))
            for times in OPEN_TIMES
        ]

    def open_odds(self) -> float:
        """How many times likelier its loss is of an open lid than of the vessel: two lognormal densities."""
        loss = self.of.loss
        off, wide = log(max(self.x2, 2e-6) / loss.median), hypot(loss.sd, OPEN_LOSS_SD)
        beyond = (off - log(OPEN_LOSS)) / wide
        return loss.sd / wide * exp(min(0.5 * ((off / loss.sd) ** 2 - beyond * beyond), 5.0))

    def _gradient(self, x: _Four, variances: _Four, mid: float, look: Look) -> _Four:
        """Of the seconds, by (L, p, b, d)."""
        level, p, b, d = x
        if mid == inf:  # how far short it falls instead: the plateau's
            rate = max(b * (1.0 + self.e * (look.damp_slope - 1.0)), 1e-7)
            return 0.0, -1.0 / rate, p / rate**2, 0.0
        steps = [0.2 * sqrt(max(variance, 0.0)) for variance in variances]
        by_level = self._slope(steps[0], lambda step: self._seconds((level + step, p, b, d), look) - mid)
        by_p = self._slope(steps[1], lambda step: self._seconds((level, p + step, b, d), look) - mid)
        by_b = self._slope(steps[2], lambda step: self._seconds((level, p, b + step, d), look) - mid)
        if self.seen:  # a late start and a low level are the same from now on
            return by_level, by_p, by_b, by_level
        return (
            by_level,
            by_p,
            by_b,
            self._slope(steps[3], lambda step: self._seconds((level, p, b, d + step), look) - mid),
        )

    @staticmethod
    def _slope(step: float, longer: Callable[[float], float]) -> float:
        """Of how much longer it takes, at nothing; where one way it never gets there, by the other."""
        if step == 0.0:
            return 0.0
        more = longer(step)
        if more == inf:
            step = -step
            more = longer(step)
        return more / step if more < inf else 0.0

    def _seconds(self, x: _Four, look: Look) -> float:
        """Seconds until the probe reads the target, at one point of what is left open."""
        level, p, b, d = x
        b = max(b, 2e-6)
        lag = 1.0 / self.r
        ek = exp(-self.k * (look.t - self.t0))
        # liquid and wall together, and what the liquid stands above that; the probe is late in what they lost
        steep = 1.0 + self.e * (look.damp_slope - 1.0)
        drive = look.theta + self.e * (look.damp - look.theta)
        theta = drive + lag * steep * (p - b * drive)
        whole = level - b * lag * drive
        above = self.w * (p * (1.0 - ek) / self.k - b * self.y)
        k2, w2 = self.k2, self.w2
        d2 = p * (1.0 - exp(-k2 * (look.t - self.t0))) / k2 - b * self.y2
        if self.seen:
            whole += d - p / self.q
        else:
            above += d * ek
        net = p - b * theta
        b *= steep
        shift = self.w / self.k - lag  # of the probe from L, in seconds of the slow rise
        # how much faster than L the liquid rises, for what it stands above the outer wall goes on growing
        grows = w2 * (1.0 - k2 * d2 / max(net, 1e-9))
        now = whole + shift * net + w2 * (d2 - lag * (net - k2 * d2))
        rest = (above - self.w / self.k * net) / (1.0 - self.k * lag)  # of the wall, as the probe will see it
        gap = (look.target_c - now) / (1.0 - b * shift)
        seconds, left = 0.0, rest
        for _ in range(3):
            if gap <= left:
                return (gap - left) / max(net, 1e-6)
            share = 1.0 - b * (gap - left) / max(net, 1e-9)
            if share <= 0.0:
                return inf
            grows = max(grows, LEAST_GROWS)
            seconds = -log(share) / (b * (1.0 + grows))
            left = rest * exp(-min(self.k * seconds, 30.0))
            risen = (gap - left) / (1.0 + grows)
            passed = 1.0 - exp(-k2 * seconds)
            grows = w2 * passed * (1.0 / max(k2 * seconds, 1e-6) - d2 / max(risen, 1e-6))
        return seconds
