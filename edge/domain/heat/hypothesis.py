"""One hypothesis about a heat-up: wall, lags and evaporation are taken as known, a Kalman filter estimates the rest.

Model (textbook lumped capacities and first-order lags). Liquid (heat capacity C) and vessel wall (share w of C) exchange heat with the
rate k. An outer wall that warms up slowly is a second wall of this kind (w2, k2). Liquid and walls together lose b (T - Troom). The heater
puts in p from the start on, delayed by its own heat capacity (lag 1/q). The probe follows the liquid with the lag 1/r. Walls that lie one
behind the other respond as walls side by side do, with other shares and rates (the modes of their matrix). With L the temperature of
liquid and walls together, F[.] the probe's lag, H[.] the heater's,
    y(t) = F[L + w D + w2 D2],   L' = H[p] - b (T - Troom),   D' = L' - k D,   D2' = L' - k2 D2.
A share e of the loss is evaporation, which grows faster than (T - Troom).

State. L is linear in (L0, p, b, d): its losses follow from the readings themselves, since the lag of an integral is the integral of the
lagged quantity. The filter carries (L, p, b, d) and the mean of p. From now on p wanders about that mean and is pulled back to it (process
of Ornstein and Uhlenbeck). L is carried as if the heater had no lag. d g(t) is what the start leaves open: the instant of the start after
rest (g = F[1]), or a wall that is colder than the liquid after a cycle (g = F[exp(-k t)], the heater's own heat included).

Forecast. L runs towards Troom + p/b in closed form, with p's mean over the way. The remaining transients of wall and probe are added, and
the heat that the outer wall still takes slows L down. The forecast is evaluated at five points along the direction of the state that moves
the time most: so the interval may be skew, and "never" has a probability.

Letters of the code, where names would hide the sums:
    p, b, d, L       as above: power [K/s], loss rate [1/s], start_gap [K], level_c [Cel]
    p00 .. p44       covariance matrix P of (level_c, power, loss, start_gap, mean_power); p01 is that of level_c and power
    h1, h2, h3       observation row: what 1 of power, loss and start_gap adds to the reading (level_c adds 1)
    nu, s            the innovation [K] and its variance [K^2]
    g0 .. g4         P h in _filter(), the gradient of the time in points(); c0 .. c4: the Kalman gain
    w, k, w2, k2, r, q   wall, wall_rate, outer, outer_rate, probe_rate, heater_rate; er, ek, e2: exp(-rate t)
    k_q, k_qr        k - q, k (q - k) (r - k), and so on: the constants of the partial fractions

Speed. Heat-ups take most of a replay's time, nearly all of it in _filter() and _seconds(). So _filter() holds the whole state in local
names over any number of averages, and what stays the same from one average, or from one state, to the next is computed once: _of_poles()
and _way().
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from enum import IntEnum
from math import exp, hypot, inf, log, sqrt
from operator import attrgetter
from typing import Final, NamedTuple, cast

from edge.domain.heat.prior import Prior, evaporation_share
from edge.domain.maths.mixture import POINTS

#: Process noise of the level [K^2/s]: what the model leaves out.
LEVEL_WALK: Final = 0.0016**2 / 60.0
#: The heater's power wanders about its mean, with the mains voltage and the opening of the lid, by this share of it (median).
WANDER: Final = 0.016
#: Standard deviation of the logarithm of WANDER, from plant to plant.
WANDER_SD: Final = 0.8
#: Time constant [s] with which the power is pulled back to its mean.
PULL_S: Final = 1_500.0
#: A forecast of more seconds than this, or of "never", counts as this many where the power is averaged over the way.
LONGEST_WAY_S: Final = 20_000.0
#: Standard deviation that the power gains when a disturbance has settled, as a share of the power.
SETTLED_POWER_SHARE: Final = 0.04
#: Standard deviation that the level has after a disturbance [K].
SETTLED_LEVEL_K: Final = 0.15
#: Standard deviation of a jump of the power, as a share of the power.
JUMP_SHARE: Final = 0.15
#: A power that is off its mean may return at any moment or not before the end: standard deviation, as a share of that deviation.
RETURN_SHARE: Final = 0.8
#: An open lid multiplies the loss by this (median; common practice, no published source).
OPEN_LOSS: Final = 2.5
#: Standard deviation of the logarithm of OPEN_LOSS.
OPEN_LOSS_SD: Final = 0.4
#: The forecast with a lid that is closed at once is evaluated at these two factors in place of the whole distribution of OPEN_LOSS.
OPEN_TIMES: Final = (1.8, 4.0)
#: Relative standard deviation of the loss once an open lid has been closed.
CLOSED_SD: Final = 0.4
#: Two rates are kept this far apart (relative): the partial fractions have poles where rates coincide.
RATES_APART: Final = 1e-3
#: This share of the loss's prior standard deviation is left to the filter; the hypotheses cover the rest.
LOSS_SHARE: Final = 0.35
#: Least gain of the liquid over L by the outer wall: below -1 the closed form would run backwards.
MIN_OUTER_GAIN: Final = -0.8
#: Standard deviation of d where the start was not seen [K].
UNSEEN_START_K: Final = 0.7
#: Standard deviation of the start's instant that is left to the filter [s].
START_SD_S: Final = 8.0


_Four = tuple[float, float, float, float]
#: what an average changes of a hypothesis, beside what its prediction sets anew
_STATE: Final = (
    "level_c", "power", "loss", "start_gap", "mean_power", "heated_s", "log_weight", "wall_integral", "outer_integral",
    "p00", "p01", "p02", "p03", "p04", "p11", "p12", "p13", "p14", "p22", "p23", "p24", "p33", "p34", "p44",
)  # fmt: skip
_STATE_OF: Final = attrgetter(*_STATE)
#: stands for the constants of the partial fractions where the start was not seen: they are not used then
_UNSEEN: Final = (0.0,) * 12


class Observation(NamedTuple):
    """An average of readings: its time t [s], the time dt since the one before [s], the mean [Cel], its variance [K^2].

    `sensible_k`: mean of (T - Troom) since the average before [K]; `evaporation_k`: mean of what drove evaporation, as evaporation_k().
    """

    t: float
    dt: float
    read_c: float
    variance: float
    sensible_k: float
    evaporation_k: float


class Action(IntEnum):
    """What a hypothesis does with an average."""

    #: Kalman update.
    TAKE = 0
    #: The average is an outlier and changes nothing.
    SKIP = 1
    #: Set the level to the reading; learn nothing of heater and losses.
    SHIFT = 2
    #: SHIFT, and the disturbance has ended.
    SETTLE = 3
    #: The power has jumped, for a while or back to its mean; then TAKE.
    SLOWS = 4
    #: SHIFT, and the power is back at its mean.
    BACK = 5
    #: The power has jumped upwards for good; then TAKE.
    QUICKENS = 6


class _Way(NamedTuple):
    """What of one hypothesis a forecast rests on, whatever its state; letters: see the module's head.

    `passed`, `passed2`: 1 - ek, 1 - e2; `drive`: what drives the loss now [K]; `steep`: its slope over T; `shift`: lead of the probe over
    L, in seconds of the slow rise; `share`: w/k; `unlagged`: 1 - k/r.
    """

    ek: float
    passed: float
    passed2: float
    lag: float
    drive: float
    steep: float
    lag_steep: float
    shift: float
    share: float
    unlagged: float


class WarmUpStart(NamedTuple):
    """Where a heat-up begins: the level [Cel], its variance [K^2], and the present time [s].

    Where the start was seen: `bend_s`, the time at which the straight rise, drawn back, meets the level; `rise_s`, how long that rise had
    lasted; `bend_sd_s`, the standard deviation of `bend_s`; all [s]; and the slope of the rise [K/s].
    """

    level_c: float
    level_var: float
    now_s: float
    bend_s: float | None = None
    rise_s: float = 0.0
    bend_sd_s: float = 0.0
    slope: float = 0.0


class Query(NamedTuple):
    """What all hypotheses share in a forecast: the time t [s], theta = T - Troom [K], the target and the room [Cel].

    `evaporation_k`: what drives evaporation now [K]; `evaporation_slope`: its slope over T from here to the target [K/K].
    """

    t: float
    theta: float
    evaporation_k: float
    evaporation_slope: float
    target_c: float
    room_c: float


class Hypothesis:
    """The parameters taken as known, the logarithm of the weight, and mean and covariance of the state; letters: see the module's head."""

    __slots__ = (
        "place", "prior", "wall", "wall_rate", "outer", "outer_rate", "probe_rate", "heater_rate", "evaporation", "wander", "on_t",
        "heated_s", "log_weight", "wall_integral", "outer_integral", "level_c", "power", "loss", "start_gap",
        "mean_power", "p00", "p01", "p02", "p03", "p04", "p11", "p12", "p13", "p14", "p22", "p23", "p24", "p33", "p34", "p44",
        "innovation", "innovation_var", "h1", "h2", "h3", "_poles",
    )  # fmt: skip

    def __init__(self, prior: Prior, z: Sequence[float], log_weight: float, start: WarmUpStart) -> None:
        """`z`: ten standard normal numbers, the hypothesis's place in the prior."""
        self.place, self.prior, self.log_weight = tuple(z), prior, log_weight
        wall_s, lag_s, element_s = prior.wall_s.of(z[1]), prior.lag_s.of(z[2]), prior.element_s.of(z[3])
        self.wall, self.wall_rate, self.probe_rate, self.heater_rate = (
            prior.wall.of(z[0]),
            1.0 / wall_s,
            1.0 / lag_s,
            1.0 / element_s,
        )
        if abs(self.wall_rate / self.probe_rate - 1.0) < RATES_APART:
            self.wall_rate *= 1.0 + 2.0 * RATES_APART
        while (
            abs(self.heater_rate / self.probe_rate - 1.0) < RATES_APART
            or abs(self.heater_rate / self.wall_rate - 1.0) < RATES_APART
        ):
            self.heater_rate *= 1.0 + 2.0 * RATES_APART
        self.outer, self.outer_rate = prior.outer.of(z[8]), 1.0 / prior.outer_s.of(z[9])
        self.wander = (WANDER * exp(WANDER_SD * z[7])) ** 2
        self.evaporation = evaporation_share(prior.evaporation, z[5])
        # on_t: when the heater came on [s]; heated_s: for how long; the integrals: of the loss's drive, filtered by each wall [K s]
        self.on_t, self.heated_s, self.wall_integral, self.outer_integral = start.now_s, 0.0, 0.0, 0.0
        open_k = UNSEEN_START_K
        if start.bend_s is not None:
            late_s = lag_s + element_s
            # A rise that is still bent, drawn back, meets the level too early.
            late_s *= start.rise_s / (start.rise_s + 2.0 * late_s)
            self.on_t = start.bend_s - late_s + start.bend_sd_s * z[6]
            open_k = START_SD_S * start.slope
        loss = prior.loss.of(z[4])
        pull = prior.power_loss / (prior.loss.sd * prior.loss.median) ** 2
        self.level_c, self.power, self.loss, self.start_gap = (
            start.level_c,
            prior.power[0] + pull * (loss - prior.loss.median),
            loss,
            0.0,
        )
        self.p22 = (LOSS_SHARE * prior.loss.sd * loss) ** 2
        self.p12 = pull * self.p22
        self.p11 = max(prior.power[1] ** 2 - pull * prior.power_loss, 0.0) + pull * self.p12 + (0.002 * self.power) ** 2
        self.p00, self.p33 = start.level_var, open_k**2
        self.p01 = self.p02 = self.p03 = self.p04 = self.p13 = self.p23 = self.p34 = 0.0
        # The power starts at the mean that it is pulled back to.
        self.mean_power, self.p14, self.p24, self.p44 = self.power, self.p11, self.p12, self.p11
        self.p11 += self.wander * self.power**2
        # Of the newest average: the innovation [K], its variance [K^2], and the observation row.
        self.innovation = self.innovation_var = self.h1 = self.h2 = self.h3 = 0.0
        # constants of the partial fractions; None where the start was not seen
        self._poles = None if start.bend_s is None else self._of_poles()

    def predict(self, observed: Observation) -> None:
        """Kalman prediction up to the average: state, covariance, observation row and innovation."""
        self._filter(iter(((observed, Action.SKIP),)))

    def take(self, observed: Observation) -> tuple[float, ...]:
        """predict(), and apply TAKE at once: what nearly every average comes to. Returns what undo() needs."""
        before = _STATE_OF(self)
        self._filter(iter(((observed, Action.TAKE),)))
        return cast(tuple[float, ...], before)

    def undo(self, before: tuple[float, ...]) -> None:
        """As it was before take()."""
        for name, value in zip(_STATE, before, strict=True):
            setattr(self, name, value)

    def apply(self, action: Action, observed: Observation) -> None:
        """Apply this action with the average that was predicted last."""
        if action is Action.TAKE:
            self._filter(iter(((observed, action),)), is_predicted=True)
        elif action is Action.SLOWS or action is Action.QUICKENS:
            self._jump(observed, action is Action.QUICKENS)
            self.apply(Action.TAKE, observed)
        elif action is not Action.SKIP:
            if action is Action.BACK:
                self.innovation -= (self.mean_power - self.power) * self.h1
                self.power, self.p11 = self.mean_power, self.p44 + self.wander * self.mean_power**2
                self.p12, self.p13, self.p14 = self.p24, self.p34, self.p44
            self.level_c += self.innovation
            self.p00, self.p01, self.p02, self.p03, self.p04 = SETTLED_LEVEL_K**2, 0.0, 0.0, 0.0, 0.0
            if action is Action.SETTLE:
                self.p00 += observed.variance
                opened = (SETTLED_POWER_SHARE * self.power) ** 2
                self.p11 += opened
                self.p14 += opened
                self.p44 += opened

    def follow(self, rows: Iterable[tuple[Observation, Action]]) -> None:
        """Predict up to each of these averages and apply its action."""
        left = iter(rows)
        while (stopped := self._filter(left)) is not None:
            self.apply(stopped[1], stopped[0])

    def _filter(
        self, rows: Iterator[tuple[Observation, Action]], is_predicted: bool = False
    ) -> tuple[Observation, Action] | None:
        """The Kalman filter over these averages, up to one whose action isn't TAKE: that one is predicted only, and returned.

        `is_predicted`: the first average is predicted already.
        """
        w, k, w2, k2, r, q = self.wall, self.wall_rate, self.outer, self.outer_rate, self.probe_rate, self.heater_rate
        start_seen, evaporation, wander = self._poles is not None, self.evaporation, self.wander
        r_q, per_q, per_r, rq, per_k, k_q, k_r, k_qr, per_k2, k2_q, k2_r, k2_qr = self._poles or _UNSEEN
        on_t, heated_s, mean_power = self.on_t, self.heated_s, self.mean_power
        level_c, power, loss, start_gap = self.level_c, self.power, self.loss, self.start_gap
        p00, p01, p02, p03, p04 = self.p00, self.p01, self.p02, self.p03, self.p04
        p11, p12, p13, p14, p22 = self.p11, self.p12, self.p13, self.p14, self.p22
        p23, p24, p33, p34, p44 = self.p23, self.p24, self.p33, self.p34, self.p44
        wall_integral, outer_integral, log_weight = self.wall_integral, self.outer_integral, self.log_weight
        nu, s, h1, h2, h3 = self.innovation, self.innovation_var, self.h1, self.h2, self.h3
        faded_s, keep, pull, pull2, twice, wanders = -1.0, 1.0, 0.0, 0.0, 0.0, 0.0
        fade, faded, fade2, faded2, walk = 1.0, 0.0, 1.0, 0.0, 0.0
        stopped, take = None, Action.TAKE
        for row in rows:
            (t, dt, read_c, variance, sensible_k, evaporation_k), action = row
            if is_predicted:
                is_predicted = False
            else:
                if dt != faded_s:  # averages come at the same interval for long
                    faded_s, keep, fade, fade2 = dt, exp(-dt / PULL_S), exp(-k * dt), exp(-k2 * dt)
                    pull, faded, faded2, wanders = 1.0 - keep, 1.0 - fade, 1.0 - fade2, (1.0 - keep * keep) * wander
                    pull2, twice, walk = pull * pull, 2.0 * pull, LEVEL_WALK * dt
                mean = sensible_k + evaporation * (evaporation_k - sensible_k)
                gained = mean * dt  # growth of the integral of the loss's drive [K s]
                ts = t - on_t
                heated = (ts if ts > 0.0 else 0.0) - heated_s
                heated_s += heated
                level_c += heated * power - gained * loss
                a11, a12, a22 = heated * p11, gained * p12, gained * p22
                p00 += heated * (2.0 * p01 + a11 - 2.0 * a12) + gained * (a22 - 2.0 * p02) + walk
                p01 += a11 - a12
                p02 += heated * p12 - a22
                p03 += heated * p13 - gained * p23
                p04 += heated * p14 - gained * p24
                power += pull * (mean_power - power)
                p11 = keep * (keep * p11 + twice * p14) + pull2 * p44 + wanders * power * power
                p01 = keep * p01 + pull * p04
                p12 = keep * p12 + pull * p24
                p13 = keep * p13 + pull * p34
                p14 = keep * p14 + pull * p44
                wall_integral = wall_integral * fade + mean * faded / k
                outer_integral = outer_integral * fade2 + mean * faded2 / k2
                # h1: what 1 of p adds to the reading beyond what it adds to L; h3: what 1 of d adds. By partial fractions of
                # r q / (s^2 (s + q) (s + r)) (1 + w s / (s + k)), the pole at 0 left to L; without the heater's lag where the
                # start was not seen.
                if ts <= 0.0:
                    h1, h3 = 0.0, 0.0 if start_seen else 1.0
                elif start_seen:
                    er = exp(-r * ts)
                    by_q, by_r = r * exp(-q * ts) / r_q, q * er / r_q
                    h1 = by_q / q - by_r / r - per_q - per_r
                    h1 += w * (per_k - by_q / k_q + by_r / k_r - rq * exp(-k * ts) / k_qr)
                    h1 += w2 * (per_k2 - by_q / k2_q + by_r / k2_r - rq * exp(-k2 * ts) / k2_qr)
                    h3 = 1.0 - er
                else:
                    er = exp(-r * ts)
                    a, a2 = (exp(-k * ts) - er) / (1.0 - k / r), (exp(-k2 * ts) - er) / (1.0 - k2 / r)
                    h1, h3 = w * (1.0 - er - a) / k + w2 * (1.0 - er - a2) / k2 - (1.0 - er) / r, a + er
                h2 = -w * wall_integral - w2 * outer_integral
                nu = read_c - level_c - power * h1 - loss * h2 - start_gap * h3
            b11, b12, b13, b22, b23, b33 = h1 * p11, h1 * p12, h1 * p13, h2 * p22, h2 * p23, h3 * p33
            s = variance + p00 + h1 * (2.0 * p01 + b11)
            s = s + h2 * (2.0 * (p02 + b12) + b22) + h3 * (2.0 * (p03 + b13 + b23) + b33)
            if action is not take:
                stopped = row
                break
            g0 = p00 + p01 * h1 + p02 * h2 + p03 * h3
            g1 = p01 + b11 + p12 * h2 + p13 * h3
            g2 = p02 + b12 + b22 + p23 * h3
            g3 = p03 + b13 + b23 + b33
            g4 = p04 + p14 * h1 + p24 * h2 + p34 * h3
            c0, c1, c2, c3, c4 = g0 / s, g1 / s, g2 / s, g3 / s, g4 / s
            level_c += c0 * nu
            power += c1 * nu
            loss += c2 * nu
            start_gap += c3 * nu
            mean_power += c4 * nu
            p00 -= c0 * g0
            p01 -= c0 * g1
            p02 -= c0 * g2
            p03 -= c0 * g3
            p04 -= c0 * g4
            p11 -= c1 * g1
            p12 -= c1 * g2
            p13 -= c1 * g3
            p14 -= c1 * g4
            p22 -= c2 * g2
            p23 -= c2 * g3
            p24 -= c2 * g4
            p33 -= c3 * g3
            p34 -= c3 * g4
            p44 -= c4 * g4
            log_weight -= 0.5 * (nu * nu / s + log(s))
        self.level_c, self.power, self.loss, self.start_gap = level_c, power, loss, start_gap
        self.mean_power, self.heated_s, self.log_weight = mean_power, heated_s, log_weight
        self.p00, self.p01, self.p02, self.p03, self.p04 = p00, p01, p02, p03, p04
        self.p11, self.p12, self.p13, self.p14, self.p22 = p11, p12, p13, p14, p22
        self.p23, self.p24, self.p33, self.p34, self.p44 = p23, p24, p33, p34, p44
        self.wall_integral, self.outer_integral = wall_integral, outer_integral
        self.innovation, self.innovation_var, self.h1, self.h2, self.h3 = nu, s, h1, h2, h3
        return stopped

    def _of_poles(self) -> tuple[float, ...]:
        """The constants of the partial fractions in _filter()."""
        k, k2, r, q = self.wall_rate, self.outer_rate, self.probe_rate, self.heater_rate
        of_k = 1.0 / k, k - q, k - r, k * (q - k) * (r - k)
        return r - q, 1.0 / q, 1.0 / r, r * q, *of_k, 1.0 / k2, k2 - q, k2 - r, k2 * (q - k2) * (r - k2)

    def _jump(self, observed: Observation, for_good: bool) -> None:
        """Let the power have jumped since the average before.

        A jump for good means that a lid that was open from the start has been closed: the loss is then the geometric mean of the loss
        over OPEN_LOSS and the prior's median, and never more than it was.
        """
        if for_good:
            less = min(sqrt(max(self.loss, 0.0) * self.prior.loss.median / OPEN_LOSS), self.loss) - self.loss
            # The power changes with the loss, so that the rate of the rise stays as it is.
            given = less * (observed.sensible_k + self.evaporation * (observed.evaporation_k - observed.sensible_k))
            self.level_c -= less * self.h2 + given * self.h1
            self.power, self.loss, self.mean_power = self.power + given, self.loss + less, self.mean_power + given
            self.p02 = self.p12 = self.p23 = self.p24 = 0.0
            self.p22 = (CLOSED_SD * self.loss) ** 2
        # The probe lags: the jump may lie further back than the average before.
        ago, jump = observed.dt - self.h1, (JUMP_SHARE * self.power) ** 2
        self.p00 += ago * ago * jump
        self.p01 += ago * jump
        self.p11 += jump
        if for_good:
            self.p04 += ago * jump
            self.p14 += jump
            self.p44 += jump

    def points(self, query: Query) -> list[tuple[float, float]]:
        """(seconds until the probe reads the target, weight) at five points; inf: never; negative: it reads the target already."""
        way = self._way(query)
        mid = self._seconds((self.level_c, self.power, self.loss, self.start_gap), way, query.target_c)
        # The power's mean over the way: it is pulled back and wanders on (process of Ornstein and Uhlenbeck, textbook).
        far = min(max(mid, 1.0), LONGEST_WAY_S) / PULL_S
        near = (1.0 - exp(-far)) / far
        mean = 1.0 - near
        x = (self.level_c, near * self.power + mean * self.mean_power, self.loss, self.start_gap)
        on = self.wander * x[1] ** 2 * (2.0 - 2.0 * near - far * near * near) / far
        on += (RETURN_SHARE * near * (self.power - self.mean_power)) ** 2
        p11 = near * (near * self.p11 + 2.0 * mean * self.p14) + mean * mean * self.p44 + on
        p01, p12 = near * self.p01 + mean * self.p04, near * self.p12 + mean * self.p24
        p13 = near * self.p13 + mean * self.p34
        mid = self._seconds(x, way, query.target_c)
        g0, g1, g2, g3 = self._gradient(x, (self.p00, p11, self.p22, self.p33), mid, way, query.target_c)
        moved = (
            self.p00 * g0 + p01 * g1 + self.p02 * g2 + self.p03 * g3,
            p01 * g0 + p11 * g1 + p12 * g2 + p13 * g3,
            self.p02 * g0 + p12 * g1 + self.p22 * g2 + self.p23 * g3,
            self.p03 * g0 + p13 * g1 + self.p23 * g2 + self.p33 * g3,
        )
        variance = moved[0] * g0 + moved[1] * g1 + moved[2] * g2 + moved[3] * g3
        if variance <= 0.0:
            return [(mid, 1.0)]
        wide = sqrt(variance)
        a, b, c, d = (m / wide for m in moved)
        found = []
        for z, share in POINTS:
            if z != 0.0:
                at = x[0] + z * a, x[1] + z * b, x[2] + z * c, x[3] + z * d
                found.append((self._seconds(at, way, query.target_c), share))
            else:
                found.append((mid, share))
        return found

    def shut(self, query: Query) -> list[tuple[float, float]]:
        """(seconds until the probe reads the target, weight), if its loss is that of an open lid that is closed now."""
        way = self._way(query)
        states = [(self.level_c, self.power, self.loss / times, self.start_gap) for times in OPEN_TIMES]
        return [(self._seconds(state, way, query.target_c), 1.0 / len(OPEN_TIMES)) for state in states]

    def open_odds(self) -> float:
        """How many times likelier the loss is with an open lid than with a closed one: the ratio of two lognormal densities."""
        loss = self.prior.loss
        off, wide = log(max(self.loss, 2e-6) / loss.median), hypot(loss.sd, OPEN_LOSS_SD)
        beyond = (off - log(OPEN_LOSS)) / wide
        return loss.sd / wide * exp(min(0.5 * ((off / loss.sd) ** 2 - beyond * beyond), 5.0))

    def _gradient(self, x: _Four, variances: _Four, mid: float, way: _Way, target_c: float) -> _Four:
        """Gradient of the seconds by (L, p, b, d); where the target is never reached, that of the plateau."""
        level, p, b, d = x
        if mid == inf:  # no time to differentiate: the plateau's distance from the target takes its place
            rate = max(b * way.steep, 1e-7)
            return 0.0, -1.0 / rate, p / rate**2, 0.0
        steps = [0.2 * sqrt(max(variance, 0.0)) for variance in variances]
        by_level = _slope(steps[0], lambda step: self._seconds((level + step, p, b, d), way, target_c) - mid)
        by_p = _slope(steps[1], lambda step: self._seconds((level, p + step, b, d), way, target_c) - mid)
        by_b = _slope(steps[2], lambda step: self._seconds((level, p, b + step, d), way, target_c) - mid)
        if self._poles is not None:  # from now on a late start and a low level have the same effect
            return by_level, by_p, by_b, by_level
        by_d = _slope(steps[3], lambda step: self._seconds((level, p, b, d + step), way, target_c) - mid)
        return by_level, by_p, by_b, by_d

    def _way(self, query: Query) -> _Way:
        """What a forecast rests on, whatever the state is."""
        on_s, lag = query.t - self.on_t, 1.0 / self.probe_rate
        ek, share = exp(-self.wall_rate * on_s), self.wall / self.wall_rate
        steep = 1.0 + self.evaporation * (query.evaporation_slope - 1.0)
        return _Way(
            ek=ek,
            passed=1.0 - ek,
            passed2=1.0 - exp(-self.outer_rate * on_s),
            lag=lag,
            drive=query.theta + self.evaporation * (query.evaporation_k - query.theta),
            steep=steep,
            lag_steep=lag * steep,
            shift=share - lag,
            share=share,
            unlagged=1.0 - self.wall_rate * lag,
        )

    def _seconds(self, x: _Four, way: _Way, target_c: float) -> float:
        """Seconds until the probe reads the target with the state x = (L, p, b, d); inf: never; negative: it reads it already."""
        level, p, b, d = x
        ek, passed, passed2, lag, drive, steep, lag_steep, shift, share, unlagged = way
        k, w2, k2 = self.wall_rate, self.outer, self.outer_rate
        if b < 2e-6:
            b = 2e-6
        # whole: L as the probe sees it, late in what was lost; above: how far the liquid stands above L by the wall.
        theta = drive + lag_steep * (p - b * drive)
        whole = level - b * lag * drive
        above = self.wall * (p * passed / k - b * self.wall_integral)
        d2 = p * passed2 / k2 - b * self.outer_integral
        if self._poles is not None:
            whole += d - p / self.heater_rate
        else:
            above += d * ek
        net = p - b * theta
        b *= steep
        at_least = 1e-9 if net < 1e-9 else net
        # grows: by what share the liquid rises faster than L while its distance above the outer wall still grows
        grows = w2 * (1.0 - k2 * d2 / at_least)
        now = whole + shift * net + w2 * (d2 - lag * (net - k2 * d2))
        # rest: the wall's transient, as the probe will see it
        rest = (above - share * net) / unlagged
        gap = (target_c - now) / (1.0 - b * shift)
        left = rest
        for again in (True, True, False):
            if gap <= left:
                return (gap - left) / (1e-6 if net < 1e-6 else net)
            below = 1.0 - b * (gap - left) / at_least
            if below <= 0.0:
                return inf
            if grows < MIN_OUTER_GAIN:
                grows = MIN_OUTER_GAIN
            faster = 1.0 + grows
            seconds = -log(below) / (b * faster)
            if again:
                faded = k * seconds
                left = rest * exp(-(30.0 if faded > 30.0 else faded))
                risen, faded2 = (gap - left) / faster, k2 * seconds
                begun, risen = (1e-6 if faded2 < 1e-6 else faded2), (1e-6 if risen < 1e-6 else risen)
                grows = w2 * (1.0 - exp(-faded2)) * (1.0 / begun - d2 / risen)
        return seconds


def _slope(step: float, longer: Callable[[float], float]) -> float:
    """Derivative of `longer` at 0 by one step; by the step the other way where the first leads to "never"."""
    if step == 0.0:
        return 0.0
    more = longer(step)
    if more == inf:
        step = -step
        more = longer(step)
    return more / step if more < inf else 0.0
