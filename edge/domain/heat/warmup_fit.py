"""The fit of one heat-up: weighted hypotheses about wall, lags and losses (hypothesis.py), and the detection of disturbances.

The first hypotheses are spread over the prior, weighted by the likelihood of their innovations, and pruned. They lie too far apart for the
precision that a few minutes of readings give. Therefore new ones are drawn again and again around those of high weight (importance.py);
each is run through all averages so far and joins the others. (Rao-Blackwellised mixture, textbook.)

Lid. A lid that is opened during the heat-up makes the innovations stay on one side: the power of all hypotheses may then have jumped for a
while, and is pulled back to its mean, at once or slowly. A lid that has stood open from the start looks like a vessel of high loss: beside
the forecast of each hypothesis stands a second one, with a lid that is closed now (`shut`), weighted by the odds of an open lid.
"""

from __future__ import annotations

from math import exp, log, sqrt
from typing import Any, Final, cast

from edge.domain.entry_bodies import HeatUpFit
from edge.domain.heat.hypothesis import Action, Hypothesis, Observation, Query, WarmUpStart
from edge.domain.heat.prior import Prior, evaporation_k
from edge.domain.maths.importance import Cloud, effective, place
from edge.domain.maths.mixture import pruned, weights
from edge.domain.messages import Message, say

#: Hypotheses at the start, for a station without learned heat-ups.
HYPOTHESES: Final = 96
#: Hypotheses at the start that are spread over the station's learned prior.
N_LEARNED: Final = 48
#: Hypotheses at the start that are spread over the broad prior all the same: the heater may have been changed.
N_BROAD: Final = 32
#: Prior weight of the N_BROAD hypotheses together.
BROAD_SHARE: Final = 0.1
#: A hypothesis is pruned once the logarithm of its weight is this far below the best.
PRUNE_LOG_WEIGHT: Final = 9.0
#: Pruning leaves at least this many hypotheses.
MIN_HYPOTHESES: Final = 10
#: At most this many hypotheses of one prior are kept when new ones have joined.
MAX_HYPOTHESES: Final = 96
#: A forecast queries the heaviest hypotheses until they hold this share of the weight.
QUERIED_WEIGHT: Final = 0.98
#: One refinement draws this many new hypotheses.
N_DRAWN: Final = 96
#: The new hypotheses are drawn in portions of this many per average, to spread the computing time.
DRAWS_PER_AVERAGE: Final = 12
#: The first refinement begins this long after the start [s].
REFINE_AFTER_S: Final = 180.0
#: The next refinement begins when the heat-up is older by this factor.
REFINE_FACTOR: Final = 1.1
#: Refinement ends after this many averages, since each new hypothesis has to be run through all of them.
MAX_REPLAYED: Final = 400
#: Standard deviation that is added to each average for what the model leaves out [K].
FLOOR_K: Final = 0.008
#: A disturbance has ended when the rise has been normal for this long [s].
SETTLED_S: Final = 60.0
#: The rise is normal when it differs from the expected one by less than this share of the heater's own rise.
SETTLED_SHARE: Final = 0.2
#: A disturbance that lasts longer than this is a changed heater or vessel: the fit begins again [s].
MAX_DISTURBED_S: Final = 360.0
#: This many disturbances on one side mean that the model is wrong, not the liquid: the fit begins again.
MAX_SAME_SIDE: Final = 3
#: A disturbance within this time of the start means that the start was misjudged: the fit begins again [s].
START_UNCERTAIN_S: Final = 600.0
#: Cumulative sum (CUSUM) of standardised innovations: each counts less this slack.
CUSUM_SLACK: Final = 1.0
#: The power has jumped when the cumulative sum of one side exceeds this.
CUSUM_LIMIT: Final = 4.0
#: Jumps are not looked for within this time of the start [s].
JUMPS_AFTER_S: Final = 300.0
#: A jump that leaves less than this share of the mean power is a disturbance instead: no lid takes so much.
MIN_POWER_SHARE: Final = 0.5
#: Prior odds that the lid has stood open from the start and will be closed (common practice, no published source).
OPEN_SHARE: Final = 0.4
#: Mean time for which a lid stands open [s].
OPEN_LASTS_S: Final = 1_200.0
#: Odds of an open lid below this are left out of the forecast.
MIN_ODDS: Final = 0.001
#: Rate per average with which `excess` follows the squared standardised innovations.
EXCESS_RATE: Final = 0.05
#: One average counts with at most this squared standardised innovation in `excess`.
EXCESS_MAX: Final = 6.0
#: What may have happened.
COOLED: Final = say("heating.cooled")
WARMED: Final = say("heating.warmed")
PAUSED: Final = say("heating.paused")


class HeatFit:
    """One heat-up. Times in s from where its record begins, temperatures in Cel.

    Args:
        start: the state at the start.
        prior: this station's prior.
        broad: the prior of any station of this volume.
    """

    def __init__(self, start: WarmUpStart, prior: Prior, broad: Prior) -> None:
        self.prior, self.broad = prior, broad
        self.t = 0.0
        self.room_c = 0.0
        self.disturbed_t: float | None = None  # time of the last disturbance [s]
        self.disturbed_by: Message | None = None  # what that disturbance may have been
        #: Results since the last average, by temperature [Cel]: (5, 50, 95 % points [s]) or the probability of never.
        self.memo: dict[float, tuple[float, float, float] | float] = {}
        self._power: tuple[float, float] | None = None
        self._loss: tuple[float, float] | None = None
        self._begin(start)

    def _begin(self, start: WarmUpStart) -> None:
        self._start = start
        self.n = 0
        self.theta = self.evaporation_k = 0.0
        # Outliers in a row; disturbances in a row on one side, negative: downwards.
        self.unexplained = self.same_side = 0
        # Cumulative sums of innovations, downwards and upwards [standard deviations].
        self._cusum_down = self._cusum_up = 0.0
        self.has_jumped = self._has_slowed = False
        #: Of a disturbance under way: (time [s], innovation [K]) of each average.
        self.shifts: list[tuple[float, float]] = []
        self.start_t = start.now_s if start.bend_s is None else start.bend_s
        self.excess = 1.0  # variance of the innovations over the predicted variance
        self._rows: list[tuple[Observation, Action]] = []  # every average with the action that was taken
        self._cloud: Cloud | None = None  # the distribution that new hypotheses are drawn from
        self._drawn: list[Hypothesis] = []
        self._draws = HYPOTHESES  # index of the next place of the low-discrepancy sequence
        self._refine_t = self.start_t + REFINE_AFTER_S
        self._log_shares: dict[Prior, float] = {}  # logarithm of each prior's weight at the start
        self.hyps: list[Hypothesis] = []
        if self.prior.heat_ups:
            self._spread(self.prior, N_LEARNED, log(1.0 - BROAD_SHARE))
            self._spread(self.broad, N_BROAD, log(BROAD_SHARE))
        else:
            self._spread(self.broad, HYPOTHESES, 0.0)

    def _spread(self, prior: Prior, n: int, log_share: float) -> None:
        """Add `n` hypotheses spread over a prior."""
        self._log_shares[prior] = log_share
        self.hyps += [Hypothesis(prior, place(i), log_share - log(n), self._start) for i in range(n)]

    def add(self, t: float, read_c: float, variance: float, room_c: float) -> None:
        """Take the mean of the readings around `t` [s], with its variance [K^2], and the room [Cel]."""
        dt = t - self.t
        theta, evaporation = read_c - room_c, evaporation_k(read_c, room_c)
        sensible_mean, evaporation_mean = 0.5 * (theta + self.theta), 0.5 * (evaporation + self.evaporation_k)
        if not self.n:
            sensible_mean = evaporation_mean = 0.0
        self.t, self.theta, self.evaporation_k, self.room_c = t, theta, evaporation, room_c
        self.n += 1
        variance = variance * max(self.excess, 1.0) + FLOOR_K**2
        observed = Observation(t, dt, read_c, variance, sensible_mean, evaporation_mean)
        total = off = wide = 0.0
        log_weights = [h.log_weight for h in self.hyps]
        best = max(log_weights)
        # Nearly every average is taken. Where that hangs on the state as it is predicted, it isn't taken before it is judged.
        taken = None if self.shifts or self._has_slowed else [h.take(observed) for h in self.hyps]
        for h, log_weight in zip(self.hyps, log_weights, strict=True):
            if taken is None:
                h.predict(observed)
            weight = exp(log_weight - best)
            total += weight
            off += weight * h.innovation
            wide += weight * (h.innovation_var + h.innovation * h.innovation)
        off /= total
        wide = max(wide / total - off * off, variance)
        self.excess += EXCESS_RATE * (min(off * off / wide, EXCESS_MAX) * max(self.excess, 1.0) - self.excess)
        self._apply(observed, self._judge(observed, off, wide), taken)
        self.memo.clear()
        self._power = self._loss = None

    def _judge(self, observed: Observation, off: float, wide: float) -> Action | None:
        """The action for this average, whose mean innovation is `off` [K], of variance `wide` [K^2]; None where the fit begins again."""
        if self.shifts:
            return self._follow(observed, off)
        is_odd = self.n > 12 and observed.t - self.start_t > 60.0 and off * off > 25.0 * wide and abs(off) > 0.08
        if is_odd:
            return self._skip_or_shift(observed, off)
        self.unexplained = 0
        if self._has_slowed and self.power_now()[0] < MIN_POWER_SHARE * _mean_power(self.hyps):
            # No lid takes so much: the jump was a disturbance.
            self._has_slowed = False
            self.shifts.append((observed.t, off))
            return Action.BACK
        return self._jumps(observed, off / sqrt(wide))

    def _jumps(self, observed: Observation, z: float) -> Action:
        """Detect a jump of the rise: innovations too small for a disturbance each, but on one side (`z`: the standardised innovation).

        Cumulative sums: E. S. Page, Biometrika 41, 1954; from memory. A lid that is opened makes the liquid rise more slowly for a while.
        Closing it ends that. A lid whose opening was not seen had been open from the start.
        """
        self._cusum_down, self._cusum_up = (
            max(self._cusum_down - z - CUSUM_SLACK, 0.0),
            max(self._cusum_up + z - CUSUM_SLACK, 0.0),
        )
        if observed.t - self.start_t < JUMPS_AFTER_S or max(self._cusum_down, self._cusum_up) < CUSUM_LIMIT:
            return Action.TAKE
        is_up = self._cusum_up > self._cusum_down
        stays = is_up and not self._has_slowed and observed.t - self.start_t < 2.0 * OPEN_LASTS_S
        self._cusum_down = self._cusum_up = 0.0
        self.has_jumped, self._has_slowed = True, not is_up
        self.disturbed_t, self.disturbed_by = observed.t, WARMED if is_up else COOLED
        return Action.QUICKENS if stays else Action.SLOWS

    def _skip_or_shift(self, observed: Observation, off: float) -> Action | None:
        """Skip one outlier; take a second in a row as a disturbance, or as a sign that the start was misjudged."""
        t = observed.t
        self.unexplained += 1
        if self.unexplained < 2:
            return Action.SKIP
        up = off > 0.0
        self.same_side = self.same_side + (1 if up else -1) if up == (self.same_side > 0) else 1 if up else -1
        is_start_uncertain = self._start.bend_s is not None and t - self.start_t < START_UNCERTAIN_S
        if not is_start_uncertain:
            self.disturbed_t, self.disturbed_by = t, WARMED if up else COOLED
        if is_start_uncertain or abs(self.same_side) >= MAX_SAME_SIDE:
            self._begin(WarmUpStart(observed.read_c, 1.0, t))
            return None
        self.shifts.append((t, off))
        return Action.SHIFT

    @property
    def seen_start(self) -> bool:
        """Was the start of the heat-up seen?"""
        return self._start.bend_s is not None

    @property
    def is_disturbed(self) -> bool:
        """Is a disturbance under way?"""
        return len(self.shifts) > 0

    def _follow(self, observed: Observation, off: float) -> Action | None:
        """During a disturbance: shift the level until the liquid rises as it did before."""
        t, shifts = observed.t, self.shifts
        shifts.append((t, off))
        self.disturbed_t = t
        began = shifts[0][0]
        if t - began < SETTLED_S:
            return Action.SHIFT
        lately = sum(shift for at, shift in shifts[1:] if t - at < SETTLED_S)
        power = max(self.power_now()[0], 0.0)
        if abs(lately) <= max(SETTLED_SHARE * power * SETTLED_S, 3.0 * sqrt(2.0 * observed.variance)):
            shifts.clear()
            self.unexplained = 0
            return Action.SETTLE
        if t - began > MAX_DISTURBED_S:
            self._begin(WarmUpStart(observed.read_c, 1.0, t))
            return None
        return Action.SHIFT

    def _apply(self, observed: Observation, action: Action | None, taken: list[tuple[float, ...]] | None) -> None:
        """Apply the action to all hypotheses; prune them, and draw new ones. `taken`: what each was, where all have taken the average."""
        if action is None:
            return
        if taken is None:
            for h in self.hyps:
                h.apply(action, observed)
        elif action is not Action.TAKE:
            for h, before in zip(self.hyps, taken, strict=True):
                h.undo(before)
                h.predict(observed)
                h.apply(action, observed)
        for h in self._drawn:
            h.follow(((observed, action),))
        if len(self.hyps) > MIN_HYPOTHESES and self.n % 4 == 0:
            self.hyps = pruned(self.hyps, PRUNE_LOG_WEIGHT, MIN_HYPOTHESES)
        self._rows.append((observed, action))
        if len(self._rows) <= MAX_REPLAYED:
            self._refine()
        else:
            self._cloud, self._drawn = None, []

    def _refine(self) -> None:
        """Draw a portion of new hypotheses around those of high weight; when all are drawn, join them to the others."""
        if self._cloud is None:
            if self.t < self._refine_t or self.shifts:
                return
            self._refine_t = self.t + (REFINE_FACTOR - 1.0) * (self.t - self.start_t)
            favoured = self._favoured()
            self._prior = favoured[0].prior
            self._cloud = Cloud([h.place for h in favoured], [h.log_weight for h in favoured])
        log_share = self._log_shares[self._prior]
        for _ in range(DRAWS_PER_AVERAGE):
            z, log_ratio = self._cloud.draw(self._draws)
            self._draws += 1
            h = Hypothesis(self._prior, z, log_share + log_ratio - log(N_DRAWN), self._start)
            h.follow(self._rows)
            self._drawn.append(h)
        if len(self._drawn) >= N_DRAWN:
            self._join()

    def _favoured(self) -> list[Hypothesis]:
        """The hypotheses of the prior that holds the most weight."""
        weight = dict.fromkeys(self._log_shares, 0.0)
        for h, w in zip(self.hyps, weights(self.hyps), strict=True):
            weight[h.prior] += w
        most = max(weight, key=lambda of: weight[of])
        return [h for h in self.hyps if h.prior == most]

    def _join(self) -> None:
        """Join the drawn hypotheses to the others of their prior: two estimates of one posterior, weighted by their effective numbers."""
        old = [h for h in self.hyps if h.prior == self._prior]
        top = max(h.log_weight for h in (*old, *self._drawn))
        # A set without one hypothesis near the best estimates nothing.
        sets = [
            some for some in (old, self._drawn) if some and max(h.log_weight for h in some) > top - PRUNE_LOG_WEIGHT
        ]
        worth = [effective([exp(h.log_weight - top) for h in some]) for some in sets]
        for some, share in zip(sets, worth, strict=True):
            for h in some:
                h.log_weight += log(share / sum(worth))
        both = sorted((h for some in sets for h in some), key=lambda h: -h.log_weight)[:MAX_HYPOTHESES]
        self.hyps = [*both, *(h for h in self.hyps if h.prior != self._prior)]
        self._cloud, self._drawn = None, []

    def summary(self) -> HeatUpFit:
        """The "fit" of a heat_up entry, from which prior.learned() learns: each [value, standard deviation], rounded to 4 digits."""
        (power, power_sd), (loss, loss_sd) = self.power_now(), self.loss_now()
        weighed = weights(self.hyps)
        joint = sum(w * (h.p12 + (h.power - power) * (h.loss - loss)) for w, h in zip(weighed, self.hyps, strict=True))
        found: dict[str, Any] = {
            "power": [_short(power * 60.0), _short(power_sd * 60.0)],
            "loss": [_short(max(loss, 2e-6) * 3_600.0), _short(loss_sd * 3_600.0)],
            "together": round(max(min(joint / (power_sd * loss_sd), 0.98), -0.98), 3),
        }
        evaporation, evaporation_sd = _moments(
            [(w, h.evaporation, 0.05**2) for w, h in zip(weighed, self.hyps, strict=True)]
        )
        found["damp"] = [_short(max(evaporation, 0.01)), _short(evaporation_sd)]
        for name, logs in (
            ("wall", [log(h.wall) for h in self.hyps]),
            ("wall_s", [-log(h.wall_rate) for h in self.hyps]),
            ("lag_s", [-log(h.probe_rate) for h in self.hyps]),
            ("element_s", [-log(h.heater_rate) for h in self.hyps]),
            ("outer", [log(h.outer) for h in self.hyps]),
            ("outer_s", [-log(h.outer_rate) for h in self.hyps]),
        ):
            mean, sd = _moments([(w, x, 0.1**2) for w, x in zip(weighed, logs, strict=True)])
            found[name] = [_short(exp(mean)), _short(sd)]
        return cast(HeatUpFit, found)

    def power_now(self) -> tuple[float, float]:
        """P/C [K/s] and its standard deviation."""
        if self._power is None:
            self._power = _moments([(w, h.power, h.p11) for w, h in zip(weights(self.hyps), self.hyps, strict=True)])
        return self._power

    def loss_now(self) -> tuple[float, float]:
        """UA/C [1/s] and its standard deviation."""
        if self._loss is None:
            self._loss = _moments([(w, h.loss, h.p22) for w, h in zip(weights(self.hyps), self.hyps, strict=True)])
        return self._loss

    def plateau_c(self, room_c: float) -> float:
        """Temperature at which heating and losses balance [Cel], by bisection."""
        power, loss = self.power_now()[0], max(self.loss_now()[0], 2e-6)
        share = sum(w * h.evaporation for w, h in zip(weights(self.hyps), self.hyps, strict=True))
        low, high = room_c - 10.0, room_c + min(power / loss, 200.0) + 20.0
        for _ in range(24):
            mid = 0.5 * (low + high)
            drive = (1.0 - share) * (mid - room_c) + share * evaporation_k(mid, room_c)
            low, high = (mid, high) if loss * drive < power else (low, mid)
        return 0.5 * (low + high)

    def resumed(self) -> None:
        """The heat-up goes on after a break: tell that beside the estimate."""
        self.disturbed_t, self.disturbed_by = self.t, PAUSED

    def _query(self, target_c: float, room_c: float) -> Query:
        """The query for a target; evaporation up to there is taken as a straight line of the same mean (Simpson's rule)."""
        now_c = self.theta + room_c
        way, slope = target_c - now_c, 1.0
        if abs(way) > 0.05:
            middle, end = evaporation_k(now_c + 0.5 * way, room_c), evaporation_k(target_c, room_c)
            slope = 2.0 * ((self.evaporation_k + 4.0 * middle + end) / 6.0 - self.evaporation_k) / way
        return Query(self.t, self.theta, self.evaporation_k, slope, target_c, room_c)

    def points(self, target_c: float, room_c: float) -> list[tuple[float, float]]:
        """(seconds from the last average until the probe reads `target_c`, weight), sorted; inf: never; negative: it reads it already."""
        query = self._query(target_c, room_c)
        found: list[tuple[float, float]] = []
        queried = 0.0
        for weight, i in sorted(((w, i) for i, w in enumerate(weights(self.hyps))), reverse=True):
            found += [(seconds, weight * share) for seconds, share in self.hyps[i].points(query)]
            queried += weight
            if queried >= QUERIED_WEIGHT:
                break
        found = [(seconds, weight / queried) for seconds, weight in found]
        found.sort()
        return found

    def shut(self, target_c: float, room_c: float) -> list[tuple[float, float]]:
        """As points(), unsorted, if the lid has stood open from the start and is closed now; the weights are the odds of that."""
        if self.has_jumped:
            return []
        query, found = self._query(target_c, room_c), list[tuple[float, float]]()
        share = OPEN_SHARE * exp(-(self.t - self.start_t) / OPEN_LASTS_S)
        for h, weight in zip(self.hyps, weights(self.hyps), strict=True):
            odds = share * weight * h.open_odds()
            if odds > MIN_ODDS:
                found += [(seconds, odds * part) for seconds, part in h.shut(query)]
        return found


def _mean_power(hyps: list[Hypothesis]) -> float:
    """Weighted mean of the power that each is pulled back to [K/s]."""
    return sum(w * h.mean_power for w, h in zip(weights(hyps), hyps, strict=True))


def _moments(rows: list[tuple[float, float, float]]) -> tuple[float, float]:
    """(mean, standard deviation) of a mixture, from (weight, mean, variance) of each part."""
    mean = sum(w * m for w, m, _ in rows)
    return mean, sqrt(max(sum(w * (v + (m - mean) ** 2) for w, m, v in rows), 1e-18))


def _short(x: float) -> float:
    return float(f"{x:.4g}")
