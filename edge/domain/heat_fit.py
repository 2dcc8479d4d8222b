"""How a heat-up goes on: weighted hypotheses about wall, probe and losses, each with a Kalman filter for what is linear.

Theory. Liquid (capacity C) and vessel wall (share w of C) exchange heat with the rate k; both lose heat b (T - Troom); a heater puts in
p from the start on; a probe follows the liquid with the lag 1/r (textbook lumped capacities, first-order lag). With
L the temperature of liquid and wall together, X the integral of (T - Troom) and F[.] the probe's lag,
    y(t) = F[L + w D],   L' = p - b (T - Troom),   D' = L' - k D,
(T - Troom) is in part what drives evaporation, which grows faster: a share e of the loss, per hypothesis.
L is linear in (L0, p, b, d) for each (w, k, r, e), its losses following from the readings themselves, since the lag of an integral is the
integral of what lags. The state carried along is (L, p, b, d), so what wanders, wanders from now on only.
d g(t) is what the beginning leaves open: the start's instant after rest (g = F[1]), or a wall that isn't as warm as the
liquid after a cycle (g = F[exp(-k t)]). Hypotheses are spread over the prior by a fixed low-discrepancy sequence (Kronecker's, with
the roots of the generalised golden ratio; M. Roberts 2018, from memory), weighted by the evidence of their filters, and given up when it
is hopeless. R. E. Kalman's filter and the Rao-Blackwellised mixture are textbook matter.

Forecast: L runs towards Troom + p/b by a closed form; what is left of wall and probe is added; each hypothesis gives five points along
the direction that moves its own time most, so the interval is skew where it must be, and "never" has a probability.
"""

from __future__ import annotations

from math import exp, inf, log, sqrt
from typing import Any, Final

from edge.domain.heat_prior import Prior, damp_at, damp_k

HYPOTHESES: Final = 96
HOPELESS: Final = 9.0  # in the logarithm of the weight
FEWEST: Final = 10
KNOWN: Final = 48  # hypotheses about a station whose history is known
STRANGE: Final = 32  # and those that don't believe the history
STRANGE_SHARE: Final = 0.1
#: what the model leaves out, as noise: of each sample [K], of the level [K^2/s], of the heater [share^2/s]
FLOOR_K: Final = 0.008
LEVEL_WALK: Final = 0.0016**2 / 60.0
POWER_WALK: Final = 0.002**2 / 60.0
#: a disturbance is over when for SETTLED_S the rise is as it was to this share of the heater's; where it doesn't end: it heats otherwise
SETTLED_S: Final = 60.0
SETTLED_SHARE: Final = 0.2
OTHERWISE_S: Final = 360.0
AGAIN: Final = 3  # nor are so many disturbances the same way any
YOUNG_S: Final = 600.0  # nor one so soon: the start was taken wrongly
OPENED: Final = 0.04  # by this share the heater's power is open after a disturbance
OPEN_K: Final = 0.15  # and by this the level
EXCESS_RATE: Final = 0.05  # how fast a probe that is noisier than it seemed is found out
EXCESS_MOST: Final = 6.0  # by what one sample may tell of that
TEMPER: Final = 0.7  # evidence counts for less than it says: the hypotheses don't lie close enough
ALONE: Final = 1e-3  # relative; between two hypotheses' rates and lags that would coincide
#: what may have happened, for people
COOLED: Final = "a new estimate: something cooled the liquid on its way; was the lid open, or cold liquid poured in?"
WARMED: Final = "a new estimate: it rises faster than it did; was the lid closed, or warm liquid poured in?"
PAUSED: Final = "a new estimate: heating had paused, or the liquid was cooled"
_POINTS: Final = ((-1.8, 0.10), (-0.8, 0.24), (0.0, 0.32), (0.8, 0.24), (1.8, 0.10))
_GOLDEN: Final = tuple((1.0 / 1.13472413840) ** k for k in range(1, 6))  # root of x^6 = x + 1


class Hyp:
    """One hypothesis: its numbers, its weight, and mean and covariance of (L, p, b, d)."""

    __slots__ = (
        "w", "k", "r", "e", "t0", "ts", "lw", "y", "x0", "x1", "x2", "x3", "p00", "p01", "p02", "p03", "p11", "p12", "p13", "p22",
        "p23", "p33", "nu", "s", "h1", "h2", "h3",
    )  # fmt: skip
    w: float  # heat capacity of the wall over the liquid's
    k: float  # 1/s, with which wall and liquid even out
    r: float  # 1/s, with which the probe follows
    e: float  # share of the loss by evaporation
    t0: float  # when the heater came on
    ts: float  # how long it has been on
    lw: float  # logarithm of the weight
    y: float  # the wall's integral Y
    x0: float
    x1: float
    x2: float
    x3: float
    p00: float
    p01: float
    p02: float
    p03: float
    p11: float
    p12: float
    p13: float
    p22: float
    p23: float
    p33: float
    nu: float  # of the sample under way: how far off it is, its variance, and the row's last three numbers
    s: float
    h1: float
    h2: float
    h3: float


class HeatFit:
    """One heat-up. Times in s from where its record begins, temperatures in Cel.

    Args:
        level_c, level_sd: where it starts from.
        bend_s: where the straight rise, drawn back, meets the level (start and probe's lag together); None where the start wasn't seen.
        bend_sd_s: by how much that may be wrong.
        slope: K/s, roughly.
        prior: what is believed beforehand.
    """

    def __init__(
        self,
        level_c: float,
        level_sd: float,
        bend_s: float | None,
        bend_sd_s: float,
        slope: float,
        prior: Prior,
        broad: Prior,
    ) -> None:
        self.prior, self.broad = prior, broad
        self.t = 0.0
        self.room_c = 0.0
        self.damp_slope = 1.0  # of what drives evaporation, from here to the target
        self.disturbed_t: float | None = None  # when something last happened that nothing here explains
        self.disturbed_by = ""  # and what that may have been, in words
        #: what was worked out since the last average, by temperature
        self.memo: dict[float, tuple[float, float, float] | float] = {}
        self._power: tuple[float, float] | None = None
        self._loss: tuple[float, float] | None = None
        self._begin(level_c, level_sd, bend_s, bend_sd_s * slope)

    def _begin(self, level_c: float, level_sd: float, bend_s: float | None, open_k: float) -> None:
        self.seen_start = bend_s is not None
        self.theta = self.damp = 0.0
        self.n = 0
        self.odd = self.again = 0  # samples in a row that nothing explains; disturbances the same way, < 0 downwards
        self.shifts: list[
            tuple[float, float]
        ] = []  # of a disturbance under way: when, how far it went beside what was expected
        self.start_t = self.t if bend_s is None else bend_s
        self.excess = 1.0  # of the readings' scatter over what they are said to have
        level = (level_c, level_sd**2)
        self.hyps: list[Hyp] = []
        if self.prior.heat_ups:
            self._spread(self.prior, KNOWN, log(1.0 - STRANGE_SHARE), level, bend_s, open_k)
            self._spread(self.broad, STRANGE, log(STRANGE_SHARE), level, bend_s, open_k)
        else:
            self._spread(self.broad, HYPOTHESES, 0.0, level, bend_s, open_k)

    def _spread(
        self, prior: Prior, n: int, log_share: float, level: tuple[float, float], bend_s: float | None, open_k: float
    ) -> None:
        """`n` hypotheses all over a prior."""
        spreads = (prior.wall, prior.wall_s, prior.lag_s, prior.loss)
        loss_sd = prior.loss.sd * prior.loss.median
        pull = prior.power_loss / loss_sd**2
        for i in range(n):
            shares = [(0.5 + (i + 1) * g) % 1.0 for g in _GOLDEN]
            w, wall_s, lag_s, loss = (s.at(0.01 + 0.98 * share) for s, share in zip(spreads, shares[:4], strict=True))
            h = Hyp()
            h.e = damp_at(prior.damp, 0.01 + 0.98 * shares[4])
            h.w, h.k, h.r = w, 1.0 / wall_s, 1.0 / lag_s
            if abs(h.k / h.r - 1.0) < ALONE:
                h.k *= 1.0 + 2.0 * ALONE
            h.t0 = self.t if bend_s is None else bend_s - lag_s
            h.lw, h.y, h.ts = log_share - log(n), 0.0, 0.0
            h.x0, h.x1, h.x2, h.x3 = level[0], prior.power[0] + pull * (loss - prior.loss.median), loss, 0.0
            h.p22 = (0.35 * prior.loss.sd * loss) ** 2
            h.p12 = pull * h.p22
            h.p11 = max(prior.power[1] ** 2 - pull * prior.power_loss, 0.0) + pull * h.p12 + (0.002 * h.x1) ** 2
            h.p00 = level[1]
            h.p33 = open_k**2 if bend_s is not None else 0.7**2
            h.p01 = h.p02 = h.p03 = h.p13 = h.p23 = 0.0
            self.hyps.append(h)

    def add(self, t: float, read_c: float, variance: float, room_c: float) -> None:
        """The mean of the readings around `t`, with its variance [K^2], and the room."""
        self.memo.clear()
        self._power = self._loss = None
        dt = t - self.t
        theta, damp = read_c - room_c, damp_k(read_c, room_c)
        dry_mean, damp_mean = 0.5 * (theta + self.theta), 0.5 * (damp + self.damp)
        if not self.n:
            dry_mean = damp_mean = 0.0
        self.t, self.theta, self.damp, self.room_c = t, theta, damp, room_c
        self.n += 1
        variance = variance * max(self.excess, 1.0) + FLOOR_K**2
        total = off = wide = 0.0
        best = max(h.lw for h in self.hyps)
        seen_start = self.seen_start
        for h in self.hyps:
            mean = dry_mean + h.e * (damp_mean - dry_mean)
            gained = mean * dt  # of the integral of what drives the loss
            ts = t - h.t0
            heated = (ts if ts > 0.0 else 0.0) - h.ts
            h.ts += heated
            # liquid and wall together move on; the covariance with them
            h.x0 += heated * h.x1 - gained * h.x2
            h.p00 += (
                heated * (2.0 * h.p01 + heated * h.p11 - 2.0 * gained * h.p12)
                + gained * (gained * h.p22 - 2.0 * h.p02)
                + LEVEL_WALK * dt
            )
            h.p01 += heated * h.p11 - gained * h.p12
            h.p02 += heated * h.p12 - gained * h.p22
            h.p03 += heated * h.p13 - gained * h.p23
            h.p11 += POWER_WALK * h.x1 * h.x1 * dt
            fade = exp(-h.k * dt)
            h.y = h.y * fade + mean * (1.0 - fade) / h.k
            if ts > 0.0:
                er, ek = exp(-h.r * ts), exp(-h.k * ts)
                a = (ek - er) / (1.0 - h.k / h.r)
                h1 = h.w * (1.0 - er - a) / h.k - (1.0 - er) / h.r
                h3 = 1.0 - er if seen_start else a + er
            else:
                h1, h3 = 0.0, 0.0 if seen_start else 1.0
            h2 = -h.w * h.y
            h.h1, h.h2, h.h3 = h1, h2, h3
            h.nu = read_c - h.x0 - h.x1 * h1 - h.x2 * h2 - h.x3 * h3
            h.s = variance + h.p00 + h1 * (2.0 * h.p01 + h1 * h.p11) + h2 * (2.0 * (h.p02 + h1 * h.p12) + h2 * h.p22) \
                + h3 * (2.0 * (h.p03 + h1 * h.p13 + h2 * h.p23) + h3 * h.p33)  # fmt: skip
            weight = exp(h.lw - best)
            total += weight
            off += weight * h.nu
            wide += weight * (h.s + h.nu * h.nu)
        off /= total
        wide = max(wide / total - off * off, variance)
        self.excess += EXCESS_RATE * (min(off * off / wide, EXCESS_MOST) * max(self.excess, 1.0) - self.excess)
        if self.shifts:
            self._follow(t, off, read_c, variance)
            return
        if self.n > 12 and t - self.start_t > 60.0 and off * off > 25.0 * wide and abs(off) > 0.08:
            self._odd(t, off, read_c)
            return
        self.odd = 0
        self._update()

    def _odd(self, t: float, off: float, read_c: float) -> None:
        """A sample that nothing explains is passed over; with a second one it is a disturbance, or the start was taken wrongly."""
        self.odd += 1
        if self.odd < 2:
            return
        up = off > 0.0
        self.again = self.again + (1 if up else -1) if up == (self.again > 0) else 1 if up else -1
        young = self.seen_start and t - self.start_t < YOUNG_S
        if not young:
            self.disturbed_t, self.disturbed_by = t, WARMED if up else COOLED
        if young or abs(self.again) >= AGAIN:
            self._begin(read_c, 1.0, None, 0.0)
            return
        self.shifts.append((t, off))
        self._shift()

    @property
    def is_disturbed(self) -> bool:
        """Something is being done to the liquid."""
        return len(self.shifts) > 0

    def _shift(self) -> None:
        """The liquid is where it is read to be; nothing is learned of heater and losses."""
        for h in self.hyps:
            h.x0 += h.nu
            h.p00, h.p01, h.p02, h.p03 = OPEN_K**2, 0.0, 0.0, 0.0

    def _follow(self, t: float, off: float, read_c: float, variance: float) -> None:
        """In a disturbance: until it rises as it did before."""
        shifts = self.shifts
        shifts.append((t, off))
        self._shift()
        self.disturbed_t = t
        began = shifts[0][0]
        if t - began < SETTLED_S:
            return
        lately = sum(shift for at, shift in shifts[1:] if t - at < SETTLED_S)
        power = max(self.power_now()[0], 0.0)
        if abs(lately) <= max(SETTLED_SHARE * power * SETTLED_S, 3.0 * sqrt(2.0 * variance)):
            shifts.clear()
            self.odd = 0
            for h in self.hyps:
                h.p00 += variance
                h.p11 += (OPENED * h.x1) ** 2
        elif t - began > OTHERWISE_S:
            self._begin(read_c, 1.0, None, 0.0)

    def _update(self) -> None:
        top = -inf
        for h in self.hyps:
            h1, h2, h3, s = h.h1, h.h2, h.h3, h.s
            g0 = h.p00 + h.p01 * h1 + h.p02 * h2 + h.p03 * h3
            g1 = h.p01 + h.p11 * h1 + h.p12 * h2 + h.p13 * h3
            g2 = h.p02 + h.p12 * h1 + h.p22 * h2 + h.p23 * h3
            g3 = h.p03 + h.p13 * h1 + h.p23 * h2 + h.p33 * h3
            k0, k1, k2, k3, nu = g0 / s, g1 / s, g2 / s, g3 / s, h.nu
            h.x0 += k0 * nu
            h.x1 += k1 * nu
            h.x2 += k2 * nu
            h.x3 += k3 * nu
            h.p00 -= k0 * g0
            h.p01 -= k0 * g1
            h.p02 -= k0 * g2
            h.p03 -= k0 * g3
            h.p11 -= k1 * g1
            h.p12 -= k1 * g2
            h.p13 -= k1 * g3
            h.p22 -= k2 * g2
            h.p23 -= k2 * g3
            h.p33 -= k3 * g3
            h.lw -= 0.5 * TEMPER * (nu * nu / s + log(s))
            if h.lw > top:
                top = h.lw
        if len(self.hyps) > FEWEST and self.n % 4 == 0:
            kept = [h for h in self.hyps if h.lw > top - HOPELESS]
            if len(kept) < FEWEST:
                kept = sorted(self.hyps, key=lambda h: -h.lw)[:FEWEST]
            self.hyps = kept

    def weights(self) -> list[float]:
        """Of the hypotheses, adding up to one."""
        top = max(h.lw for h in self.hyps)
        raw = [exp(h.lw - top) for h in self.hyps]
        total = sum(raw)
        return [r / total for r in raw]

    def summary(self) -> dict[str, Any]:
        """What the next heat-up can learn from: see heat_prior.learned."""
        weights = self.weights()
        power, power_sd = _moments([(w, h.x1, h.p11) for w, h in zip(weights, self.hyps, strict=True)])
        loss, loss_sd = _moments([(w, h.x2, h.p22) for w, h in zip(weights, self.hyps, strict=True)])
        joint = sum(w * (h.p12 + (h.x1 - power) * (h.x2 - loss)) for w, h in zip(weights, self.hyps, strict=True))
        found: dict[str, Any] = {
            "power": [_short(power * 60.0), _short(power_sd * 60.0)],
            "loss": [_short(max(loss, 2e-6) * 3_600.0), _short(loss_sd * 3_600.0)],
            "together": round(max(min(joint / (power_sd * loss_sd), 0.98), -0.98), 3),
        }
        damp, damp_sd = _moments([(w, h.e, 0.05**2) for w, h in zip(weights, self.hyps, strict=True)])
        found["damp"] = [_short(max(damp, 0.01)), _short(damp_sd)]
        for name, logs in (
            ("wall", [log(h.w) for h in self.hyps]),
            ("wall_s", [-log(h.k) for h in self.hyps]),
            ("lag_s", [-log(h.r) for h in self.hyps]),
        ):
            mean, sd = _moments([(w, x, 0.1**2) for w, x in zip(weights, logs, strict=True)])
            found[name] = [_short(exp(mean)), _short(sd)]
        return found

    def power_now(self) -> tuple[float, float]:
        """P/C [K/s] and its standard deviation."""
        if self._power is None:
            self._power = _moments([(w, h.x1, h.p11) for w, h in zip(self.weights(), self.hyps, strict=True)])
        return self._power

    def loss_now(self) -> tuple[float, float]:
        """UA/C [1/s] and its standard deviation."""
        if self._loss is None:
            self._loss = _moments([(w, h.x2, h.p22) for w, h in zip(self.weights(), self.hyps, strict=True)])
        return self._loss

    def plateau_c(self, room_c: float) -> float:
        """Where it ends if it goes on like this [Cel]."""
        power, loss = self.power_now()[0], max(self.loss_now()[0], 2e-6)
        share = sum(w * h.e for w, h in zip(self.weights(), self.hyps, strict=True))
        low, high = room_c - 10.0, room_c + min(power / loss, 200.0) + 20.0
        for _ in range(24):
            mid = 0.5 * (low + high)
            drive = (1.0 - share) * (mid - room_c) + share * damp_k(mid, room_c)
            low, high = (mid, high) if loss * drive < power else (low, mid)
        return 0.5 * (low + high)

    def resumed(self) -> None:
        """It goes on after a break."""
        self.disturbed_t, self.disturbed_by = self.t, PAUSED

    def points(self, target_c: float, room_c: float) -> list[tuple[float, float]]:
        """(seconds from the last sample until the probe reads `target_c`, weight), sorted.

        inf where it never does, negative where it has.
        """
        found: list[tuple[float, float]] = []
        # evaporation between here and there, as a straight line with the same mean
        now_c = self.theta + room_c
        way = target_c - now_c
        if abs(way) > 0.05:
            middle, end = damp_k(now_c + 0.5 * way, room_c), damp_k(target_c, room_c)
            self.damp_slope = 2.0 * ((self.damp + 4.0 * middle + end) / 6.0 - self.damp) / way
        else:
            self.damp_slope = 1.0
        for h, weight in zip(self.hyps, self.weights(), strict=True):
            if weight < 2e-3:
                continue
            x = (h.x0, h.x1, h.x2, h.x3)
            mid = self._seconds(h, x, target_c, room_c)
            cov = (
                (h.p00, h.p01, h.p02, h.p03),
                (h.p01, h.p11, h.p12, h.p13),
                (h.p02, h.p12, h.p22, h.p23),
                (h.p03, h.p13, h.p23, h.p33),
            )
            grad = self._gradient(h, x, cov, mid, target_c, room_c)
            moved = [sum(cov[i][j] * grad[j] for j in range(4)) for i in range(4)]
            variance = sum(moved[i] * grad[i] for i in range(4))
            sd = sqrt(variance) if variance > 0.0 else 0.0
            for z, share in _POINTS:
                if z == 0.0 or sd == 0.0:
                    found.append((mid, weight * share))
                else:
                    at = tuple(x[i] + z * moved[i] / sd for i in range(4))
                    found.append((self._seconds(h, at, target_c, room_c), weight * share))
        found.sort()
        return found

    def _gradient(
        self,
        h: Hyp,
        x: tuple[float, ...],
        cov: tuple[tuple[float, ...], ...],
        mid: float,
        target_c: float,
        room_c: float,
    ) -> list[float]:
        if mid == inf:  # how far short it falls instead: the plateau's
            rate = max(x[2] * (1.0 + h.e * (self.damp_slope - 1.0)), 1e-7)
            return [0.0, -1.0 / rate, x[1] / rate**2, 0.0]
        grad = []
        for i in range(3 if self.seen_start else 4):
            step = 0.2 * sqrt(max(cov[i][i], 0.0))
            if step == 0.0:
                grad.append(0.0)
                continue
            up = self._seconds(h, (*x[:i], x[i] + step, *x[i + 1 :]), target_c, room_c)
            if up == inf:
                step = -step
                up = self._seconds(h, (*x[:i], x[i] + step, *x[i + 1 :]), target_c, room_c)
            grad.append((up - mid) / step if up < inf else 0.0)
        return [*grad, grad[0]] if self.seen_start else grad  # a late start and a low level are the same from now on

    def _seconds(self, h: Hyp, x: tuple[float, ...], target_c: float, room_c: float) -> float:
        """Seconds until the probe reads the target, by one hypothesis and one point of what it leaves open."""
        level, p, b, d = x
        b = max(b, 2e-6)
        lag = 1.0 / h.r
        ek = exp(-h.k * (self.t - h.t0))
        # liquid and wall together, and what the liquid stands above that; the probe is late in what they lost
        steep = 1.0 + h.e * (self.damp_slope - 1.0)
        drive = self.theta + h.e * (self.damp - self.theta)
        theta = drive + lag * steep * (p - b * drive)
        whole = level - b * lag * drive
        above = h.w * (p * (1.0 - ek) / h.k - b * h.y)
        if self.seen_start:
            whole += d
        else:
            above += d * ek
        net = p - b * theta
        b *= steep
        shift = h.w / h.k - lag  # of the probe from L, in seconds of the slow rise
        now = whole + shift * net
        rest = (above - h.w / h.k * net) / (1.0 - h.k * lag)  # of the wall, as the probe will see it
        gap = (target_c - now) / (1.0 - b * shift)
        seconds, left = 0.0, rest
        for _ in range(3):
            if gap <= left:
                return (gap - left) / max(net, 1e-6)
            q = 1.0 - b * (gap - left) / max(net, 1e-9)
            if q <= 0.0:
                return inf
            seconds = -log(q) / b
            if -1e-4 < rest < 1e-4:
                break
            left = rest * exp(-min(h.k * seconds, 30.0))
        return seconds


def _moments(rows: list[tuple[float, float, float]]) -> tuple[float, float]:
    """(mean, standard deviation) of a mixture: weight, mean and variance of each."""
    mean = sum(w * m for w, m, _ in rows)
    return mean, sqrt(max(sum(w * (v + (m - mean) ** 2) for w, m, v in rows), 1e-18))


def _short(x: float) -> float:
    return float(f"{x:.4g}")
