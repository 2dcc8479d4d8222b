"""How a heat-up goes on: weighted hypotheses about wall, lags and losses (hypothesis.py), and what disturbs it.

The first hypotheses are spread over the prior and weighted by the evidence of their filters; what is hopeless is given up. They lie
too far apart for what a few minutes of readings tell: again and again new ones are drawn around those that the evidence favours
(importance.py), hear all that has been heard so far, and join them. Rao-Blackwellised mixtures are textbook matter.

A lid. One that is opened on the way shows as averages that are all off the same way: the power of all hypotheses may then have jumped for a
while, and is pulled back to its mean, at once or slowly. One that has stood open from the start looks like a vessel that loses much: beside
each hypothesis stands another, of a lid that is closed at once (`shut`), with the odds that its loss is such a lid's.
"""

from __future__ import annotations

from math import exp, log, sqrt
from typing import Any, Final, cast

from edge.domain.entry_bodies import HeatUpFit
from edge.domain.heat.hypothesis import Begin, Do, Heard, Hypothesis, Look
from edge.domain.heat.prior import Prior, damp_k
from edge.domain.maths.importance import Cloud, effective, place
from edge.domain.maths.mixture import hopeful, weights

HYPOTHESES: Final = 96
HOPELESS: Final = 9.0  # in the logarithm of the weight
FEWEST: Final = 10
KNOWN: Final = 48  # hypotheses about a station whose history is known
STRANGE: Final = 32  # and those that don't believe the history
STRANGE_SHARE: Final = 0.1
ASKED: Final = 0.98  # of the weight is asked, the heaviest first
#: new hypotheses: so many, so many with each average, first this long after the start, then whenever it is older by this factor
DRAWN: Final = 96
MOST: Final = 96  # are kept
AT_ONCE: Final = 12
REFINE_AFTER_S: Final = 180.0
REFINE_AGAIN: Final = 1.1
REMEMBERED_ROWS: Final = 400  # averages; later than that no new ones
#: what the model leaves out, as noise of each sample [K]
FLOOR_K: Final = 0.008
#: a disturbance is over when for SETTLED_S the rise is as it was to this share of the heater's; where it doesn't end: it heats otherwise
SETTLED_S: Final = 60.0
SETTLED_SHARE: Final = 0.2
OTHERWISE_S: Final = 360.0
AGAIN: Final = 3  # nor are so many disturbances the same way any
YOUNG_S: Final = 600.0  # nor one so soon: the start was taken wrongly
#: the rise jumps where deviations of one sign, each less this many of its own, add up to so many; nor so soon after the start
SLACK: Final = 1.0
JUMPED: Final = 4.0
JUMPS_AFTER_S: Final = 300.0
LEFT_SHARE: Final = 0.5  # a jump that leaves less of the power than this is a disturbance
#: odds that the lid has stood open from the start and will be closed, before anything was seen (common practice, no published source); what
#: is not looked at
OPEN_SHARE: Final = 0.4
OPEN_FOR_S: Final = 1_200.0  # a lid stands open for so long, in the mean
LEAST_ODDS: Final = 0.001
EXCESS_RATE: Final = 0.05  # how fast a probe that is noisier than it seemed is found out
EXCESS_MOST: Final = 6.0  # by what one sample may tell of that
#: what may have happened, for people
COOLED: Final = "a new estimate: something cooled the liquid on its way; was the lid open, or cold liquid poured in?"
WARMED: Final = "a new estimate: it rises faster than it did; was the lid closed, or warm liquid poured in?"
PAUSED: Final = "a new estimate: heating had paused, or the liquid was cooled"


class HeatFit:
    """One heat-up. Times in s from where its record begins, temperatures in Cel.

    Args:
        begin: where it starts from.
        prior: what is believed beforehand, of this station.
        broad: and of any.
    """

    def __init__(self, begin: Begin, prior: Prior, broad: Prior) -> None:
        self.prior, self.broad = prior, broad
        self.t = 0.0
        self.room_c = 0.0
        self.disturbed_t: float | None = None  # when something last happened that nothing here explains
        self.disturbed_by = ""  # and what that may have been, in words
        #: what was worked out since the last average, by temperature
        self.memo: dict[float, tuple[float, float, float] | float] = {}
        self._power: tuple[float, float] | None = None
        self._loss: tuple[float, float] | None = None
        self._begin(begin)

    def _begin(self, begin: Begin) -> None:
        self._start = begin
        self.n = 0
        self.theta = self.damp = 0.0
        self.odd = self.again = 0  # samples in a row that nothing explains; disturbances the same way, < 0 downwards
        #: deviations added up, downwards and upwards; has the rise jumped ever, and downwards the last time
        self._low = self._high = 0.0
        self.jumped = self._slowed = False
        #: of a disturbance under way: when, how far it went beside what was expected
        self.shifts: list[tuple[float, float]] = []
        self.start_t = begin.now_s if begin.bend_s is None else begin.bend_s
        self.excess = 1.0  # of the readings' scatter over what they are said to have
        self._rows: list[tuple[Heard, Do]] = []  # what has been heard, and what was made of it
        self._cloud: Cloud | None = None  # that new hypotheses are drawn from
        self._drawn: list[Hypothesis] = []
        self._draws = HYPOTHESES  # so many places of the sequence are used up
        self._refine_t = self.start_t + REFINE_AFTER_S
        self._log_shares: dict[Prior, float] = {}  # of each prior's hypotheses at first
        self.hyps: list[Hypothesis] = []
        if self.prior.heat_ups:
            self._spread(self.prior, KNOWN, log(1.0 - STRANGE_SHARE))
            self._spread(self.broad, STRANGE, log(STRANGE_SHARE))
        else:
            self._spread(self.broad, HYPOTHESES, 0.0)

    def _spread(self, prior: Prior, n: int, log_share: float) -> None:
        """`n` hypotheses all over a prior."""
        self._log_shares[prior] = log_share
        self.hyps += [Hypothesis(prior, place(i), log_share - log(n), self._start) for i in range(n)]

    def add(self, t: float, read_c: float, variance: float, room_c: float) -> None:
        """The mean of the readings around `t`, with its variance [K^2], and the room."""
        dt = t - self.t
        theta, damp = read_c - room_c, damp_k(read_c, room_c)
        dry_mean, damp_mean = 0.5 * (theta + self.theta), 0.5 * (damp + self.damp)
        if not self.n:
            dry_mean = damp_mean = 0.0
        self.t, self.theta, self.damp, self.room_c = t, theta, damp, room_c
        self.n += 1
        variance = variance * max(self.excess, 1.0) + FLOOR_K**2
        heard = Heard(t, dt, read_c, variance, dry_mean, damp_mean)
        total = off = wide = 0.0
        best = max(h.lw for h in self.hyps)
        for h in self.hyps:
            h.hear(heard)
            weight = exp(h.lw - best)
            total += weight
            off += weight * h.nu
            wide += weight * (h.s + h.nu * h.nu)
        off /= total
        wide = max(wide / total - off * off, variance)
        self.excess += EXCESS_RATE * (min(off * off / wide, EXCESS_MOST) * max(self.excess, 1.0) - self.excess)
        self._make(heard, self._judge(heard, off, wide))
        self.memo.clear()
        self._power = self._loss = None

    def _judge(self, heard: Heard, off: float, wide: float) -> Do | None:
        """What is to be made of this average; None where it begins anew with it."""
        if self.shifts:
            return self._follow(heard, off)
        is_odd = self.n > 12 and heard.t - self.start_t > 60.0 and off * off > 25.0 * wide and abs(off) > 0.08
        if is_odd:
            return self._odd(heard, off)
        self.odd = 0
        if self._slowed and self.power_now()[0] < LEFT_SHARE * _mean(self.hyps):
            # no lid takes so much
            self._slowed = False
            self.shifts.append((heard.t, off))
            return Do.BACK
        return self._jumps(heard, off / sqrt(wide))

    def _jumps(self, heard: Heard, z: float) -> Do:
        """Has the rise jumped? Each average is off by too little for a disturbance, but off the same way as those before it
        (cumulative sums: E. S. Page, Biometrika 41, 1954; from memory).

        A lid that is opened makes it rise more slowly for a while. One that is closed gives it back what it took; where it wasn't seen to
        be opened it had been open from the start.
        """
        self._low, self._high = max(self._low - z - SLACK, 0.0), max(self._high + z - SLACK, 0.0)
        if heard.t - self.start_t < JUMPS_AFTER_S or max(self._low, self._high) < JUMPED:
            return Do.TAKE
        is_up = self._high > self._low
        stays = is_up and not self._slowed and heard.t - self.start_t < 2.0 * OPEN_FOR_S
        self._low = self._high = 0.0
        self.jumped, self._slowed = True, not is_up
        self.disturbed_t, self.disturbed_by = heard.t, WARMED if is_up else COOLED
        return Do.QUICKENS if stays else Do.SLOWS

    def _odd(self, heard: Heard, off: float) -> Do | None:
        """A sample that nothing explains is passed over; with a second one it is a disturbance, or the start was taken wrongly."""
        t = heard.t
        self.odd += 1
        if self.odd < 2:
            return Do.PASS
        up = off > 0.0
        self.again = self.again + (1 if up else -1) if up == (self.again > 0) else 1 if up else -1
        young = self._start.bend_s is not None and t - self.start_t < YOUNG_S
        if not young:
            self.disturbed_t, self.disturbed_by = t, WARMED if up else COOLED
        if young or abs(self.again) >= AGAIN:
            self._begin(Begin(heard.read_c, 1.0, t))
            return None
        self.shifts.append((t, off))
        return Do.SHIFT

    @property
    def seen_start(self) -> bool:
        """The heat-up was seen to begin."""
        return self._start.bend_s is not None

    @property
    def is_disturbed(self) -> bool:
        """Something is being done to the liquid."""
        return len(self.shifts) > 0

    def _follow(self, heard: Heard, off: float) -> Do | None:
        """In a disturbance: until it rises as it did before."""
        t, shifts = heard.t, self.shifts
        shifts.append((t, off))
        self.disturbed_t = t
        began = shifts[0][0]
        if t - began < SETTLED_S:
            return Do.SHIFT
        lately = sum(shift for at, shift in shifts[1:] if t - at < SETTLED_S)
        power = max(self.power_now()[0], 0.0)
        if abs(lately) <= max(SETTLED_SHARE * power * SETTLED_S, 3.0 * sqrt(2.0 * heard.variance)):
            shifts.clear()
            self.odd = 0
            return Do.SETTLE
        if t - began > OTHERWISE_S:
            self._begin(Begin(heard.read_c, 1.0, t))
            return None
        return Do.SHIFT

    def _make(self, heard: Heard, what: Do | None) -> None:
        """Let all hypotheses make this of what they have heard; give up the hopeless, draw new ones."""
        if what is None:
            return
        for h in self._drawn:
            h.hear(heard)
        for h in (*self.hyps, *self._drawn):
            h.do(what, heard)
        if len(self.hyps) > FEWEST and self.n % 4 == 0:
            self.hyps = hopeful(self.hyps, HOPELESS, FEWEST)
        self._rows.append((heard, what))
        if len(self._rows) <= REMEMBERED_ROWS:
            self._refine()
        else:
            self._cloud, self._drawn = None, []

    def _refine(self) -> None:
        """Draw some new hypotheses around those that the evidence favours; when there are enough they join them."""
        if self._cloud is None:
            if self.t < self._refine_t or self.shifts:
                return
            self._refine_t = self.t + (REFINE_AGAIN - 1.0) * (self.t - self.start_t)
            favoured = self._favoured()
            self._prior = favoured[0].of
            self._cloud = Cloud([h.z for h in favoured], [h.lw for h in favoured])
        for _ in range(AT_ONCE):
            z, log_ratio = self._cloud.draw(self._draws)
            self._draws += 1
            h = Hypothesis(self._prior, z, self._log_shares[self._prior] + log_ratio - log(DRAWN), self._start)
            for heard, what in self._rows:
                h.hear(heard)
                h.do(what, heard)
            self._drawn.append(h)
        if len(self._drawn) >= DRAWN:
            self._join()

    def _favoured(self) -> list[Hypothesis]:
        """Those of the prior that most of the weight believes in."""
        weight = dict.fromkeys(self._log_shares, 0.0)
        for h, w in zip(self.hyps, weights(self.hyps), strict=True):
            weight[h.of] += w
        most = max(weight, key=lambda of: weight[of])
        return [h for h in self.hyps if h.of == most]

    def _join(self) -> None:
        """The drawn ones and the others of their prior are two estimates of the same: put together by what each is worth."""
        old = [h for h in self.hyps if h.of == self._prior]
        top = max(h.lw for h in (*old, *self._drawn))
        # a set in which nothing comes near is no estimate of anything
        sets = [some for some in (old, self._drawn) if some and max(h.lw for h in some) > top - HOPELESS]
        worth = [effective([exp(h.lw - top) for h in some]) for some in sets]
        for some, share in zip(sets, worth, strict=True):
            for h in some:
                h.lw += log(share / sum(worth))
        both = sorted((h for some in sets for h in some), key=lambda h: -h.lw)[:MOST]
        self.hyps = [*both, *(h for h in self.hyps if h.of != self._prior)]
        self._cloud, self._drawn = None, []

    def summary(self) -> HeatUpFit:
        """What the next heat-up can learn from: see heat_prior.learned."""
        (power, power_sd), (loss, loss_sd) = self.power_now(), self.loss_now()
        weighed = weights(self.hyps)
        joint = sum(w * (h.p12 + (h.x1 - power) * (h.x2 - loss)) for w, h in zip(weighed, self.hyps, strict=True))
        found: dict[str, Any] = {
            "power": [_short(power * 60.0), _short(power_sd * 60.0)],
            "loss": [_short(max(loss, 2e-6) * 3_600.0), _short(loss_sd * 3_600.0)],
            "together": round(max(min(joint / (power_sd * loss_sd), 0.98), -0.98), 3),
        }
        damp, damp_sd = _moments([(w, h.e, 0.05**2) for w, h in zip(weighed, self.hyps, strict=True)])
        found["damp"] = [_short(max(damp, 0.01)), _short(damp_sd)]
        for name, logs in (
            ("wall", [log(h.w) for h in self.hyps]),
            ("wall_s", [-log(h.k) for h in self.hyps]),
            ("lag_s", [-log(h.r) for h in self.hyps]),
            ("element_s", [-log(h.q) for h in self.hyps]),
            ("outer", [log(h.w2) for h in self.hyps]),
            ("outer_s", [-log(h.k2) for h in self.hyps]),
        ):
            mean, sd = _moments([(w, x, 0.1**2) for w, x in zip(weighed, logs, strict=True)])
            found[name] = [_short(exp(mean)), _short(sd)]
        return cast(HeatUpFit, found)

    def power_now(self) -> tuple[float, float]:
        """P/C [K/s] and its standard deviation."""
        if self._power is None:
            self._power = _moments([(w, h.x1, h.p11) for w, h in zip(weights(self.hyps), self.hyps, strict=True)])
        return self._power

    def loss_now(self) -> tuple[float, float]:
        """UA/C [1/s] and its standard deviation."""
        if self._loss is None:
            self._loss = _moments([(w, h.x2, h.p22) for w, h in zip(weights(self.hyps), self.hyps, strict=True)])
        return self._loss

    def plateau_c(self, room_c: float) -> float:
        """Where it ends if it goes on like this [Cel]."""
        power, loss = self.power_now()[0], max(self.loss_now()[0], 2e-6)
        share = sum(w * h.e for w, h in zip(weights(self.hyps), self.hyps, strict=True))
        low, high = room_c - 10.0, room_c + min(power / loss, 200.0) + 20.0
        for _ in range(24):
            mid = 0.5 * (low + high)
            drive = (1.0 - share) * (mid - room_c) + share * damp_k(mid, room_c)
            low, high = (mid, high) if loss * drive < power else (low, mid)
        return 0.5 * (low + high)

    def resumed(self) -> None:
        """It goes on after a break."""
        self.disturbed_t, self.disturbed_by = self.t, PAUSED

    def _look(self, target_c: float, room_c: float) -> Look:
        """Evaporation between here and there is taken as a straight line with the same mean."""
        now_c = self.theta + room_c
        way, slope = target_c - now_c, 1.0
        if abs(way) > 0.05:
            middle, end = damp_k(now_c + 0.5 * way, room_c), damp_k(target_c, room_c)
            slope = 2.0 * ((self.damp + 4.0 * middle + end) / 6.0 - self.damp) / way
        return Look(self.t, self.theta, self.damp, slope, target_c, room_c)

    def points(self, target_c: float, room_c: float) -> list[tuple[float, float]]:
        """(seconds from the last sample until the probe reads `target_c`, weight), sorted.

        inf where it never does, negative where it has.
        """
        look = self._look(target_c, room_c)
        found: list[tuple[float, float]] = []
        asked = 0.0
        for weight, i in sorted(((w, i) for i, w in enumerate(weights(self.hyps))), reverse=True):
            found += [(seconds, weight * share) for seconds, share in self.hyps[i].points(look)]
            asked += weight
            if asked >= ASKED:
                break
        found = [(seconds, weight / asked) for seconds, weight in found]
        found.sort()
        return found

    def shut(self, target_c: float, room_c: float) -> list[tuple[float, float]]:
        """As `points`, unsorted, where the lid has stood open from the start and is closed at once; the weights are the odds for that."""
        if self.jumped:
            return []
        look, found = self._look(target_c, room_c), list[tuple[float, float]]()
        share = OPEN_SHARE * exp(-(self.t - self.start_t) / OPEN_FOR_S)
        for h, weight in zip(self.hyps, weights(self.hyps), strict=True):
            odds = share * weight * h.open_odds()
            if odds > LEAST_ODDS:
                found += [(seconds, odds * part) for seconds, part in h.shut(look)]
        return found


def _mean(hyps: list[Hypothesis]) -> float:
    """What their power is pulled back to [K/s]."""
    return sum(w * h.x4 for w, h in zip(weights(hyps), hyps, strict=True))


def _moments(rows: list[tuple[float, float, float]]) -> tuple[float, float]:
    """(mean, standard deviation) of a mixture: weight, mean and variance of each."""
    mean = sum(w * m for w, m, _ in rows)
    return mean, sqrt(max(sum(w * (v + (m - mean) ** 2) for w, m, v in rows), 1e-18))


def _short(x: float) -> float:
    return float(f"{x:.4g}")
