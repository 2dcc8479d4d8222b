"""When will the reservoir be warm, how long will it stay warm enough, and how warm must it be?

Theory. One lumped liquid: C dT/dt = P - UA (T - Troom). Integrated from the start of a heat-up,
    T(t) = c + a t - b X(t),  a = P/C [K/s],  b = UA/C [1/s],  X(t) = integral of (T - Troom) dt [K s],
linear in (c, a, b): a recursive least-squares fit with a prior on b (a covered vessel of some ten litres has a time constant of
some hours) and older samples forgotten, because the vessel's wall and the probe's lag bend the beginning. From the fit's own
present value T1 the liquid runs towards the plateau Tp = Troom + a/b:
    t = ln((Tp - T1) / (Tp - target)) / b.
The interval comes from the fit's covariance and a floor for what one lump leaves out. Where nothing can be said, the forecast
says why. Source of the balance: textbook lumped capacity; its closed forms are checked against tests/handbook/h.heat.jsonl.
The fit is a first one: no learning from earlier heat-ups yet.

Transfer loss: the basin sees T - f (T - Tcold); f by the rule of the station file or measured; so the reservoir needs
(Tmin - f Tcold) / (1 - f).
"""

from __future__ import annotations

from collections import deque
from math import exp, inf, log, sqrt
from typing import Final, NamedTuple

from edge.domain.settings import Reservoir

SAMPLE_MS: Final = 15_000
SKIP_MS: Final = 240_000  # the first minutes show wall and probe more than the balance
FOUNDED_MS: Final = 480_000  # before this a heat-up tells nothing
FORGET_S: Final = 2_700.0
PRIOR_B: Final = 1.0 / 18_000.0  # 1/s: five hours; broad
PRIOR_B_SD: Final = 0.5 * PRIOR_B
NOISE_K: Final = 0.06
MODEL_FLOOR: Final = 0.03  # standard deviation of the remaining time that one lump leaves out
COARSEST_K: Final = 0.25  # a probe's steps beyond this are no quantisation
HOLD_MS: Final = 120_000  # the condition has to hold this long
Z90: Final = 1.645


class Forecast(NamedTuple):
    """Wall-independent: milliseconds from now, with a 90 % interval; None where nothing can be said, and why."""

    in_ms: int | None
    low_ms: int | None
    high_ms: int | None
    why: str


def needed_c(reservoir: Reservoir, cold_c: float) -> float:
    """Reservoir temperature [Cel] at which the basin just sees the label's minimum, with Tcold = `cold_c` [Cel].

    Source: heat lost to what the liquid meets on the way, a share f of (T - Tcold); 4 K in a 20 Cel room at 39 Cel: f = 4/19
    (common practice, no published source).
    """
    return (reservoir.contact_min_c - reservoir.loss_share * cold_c) / (1.0 - reservoir.loss_share)


def basin_c(reservoir: Reservoir, liquid_c: float, cold_c: float) -> float:
    """Temperature [Cel] that the basin sees of a liquid at `liquid_c`."""
    return liquid_c - reservoir.loss_share * (liquid_c - cold_c)


def plateau_c(power_w: float, ua_w_per_k: float, room_c: float) -> float:
    """Where heating ends, dT/dt = 0: Troom + P/UA [Cel]."""
    return room_c + power_w / ua_w_per_k


def time_to_s(start_c: float, target_c: float, plateau: float, rate_per_s: float) -> float | None:
    """Seconds from `start_c` to `target_c` on the way to `plateau` with b = UA/C = `rate_per_s`; None where it never gets there.

    >>> round(time_to_s(20.0, 39.0, 80.0, 1 / 18_000))
    6853
    """
    if (
        rate_per_s <= 0.0
        or (plateau - target_c) * (plateau - start_c) <= 0.0
        or abs(plateau - target_c) > abs(plateau - start_c)
    ):
        return None
    return log((plateau - start_c) / (plateau - target_c)) / rate_per_s


class Fit:
    """Weighted least squares of T = c + a t - b X, with a prior on b and older samples forgotten. Times in s, T in Cel."""

    __slots__ = ("_m", "_v", "n", "_last_s", "integral", "_t0")

    def __init__(self) -> None:
        # information matrix and vector of (c, a, b); times are counted from _t0
        self._m = [[0.0] * 3 for _ in range(3)]
        self._v = [0.0] * 3
        self.n = 0
        self._last_s = 0.0
        self.integral = 0.0
        self._t0 = 0.0

    def add(self, t_s: float, temp_c: float) -> None:
        """One sample; `integral` must be up to date."""
        fade = exp(-(t_s - self._last_s) / FORGET_S) if self.n else 1.0
        self._last_s = t_s
        row = (1.0, t_s, -self.integral)
        for i in range(3):
            self._v[i] = self._v[i] * fade + row[i] * temp_c
            for j in range(3):
                self._m[i][j] = self._m[i][j] * fade + row[i] * row[j]
        self.n += 1

    def solve(self) -> tuple[tuple[float, float, float], list[list[float]]] | None:
        """(c, a, b) and their covariance; None while there is too little."""
        if self.n < 8:
            return None
        weight = 1.0 / NOISE_K**2
        m = [[self._m[i][j] * weight for j in range(3)] for i in range(3)]
        v = [self._v[i] * weight for i in range(3)]
        m[2][2] += 1.0 / PRIOR_B_SD**2
        v[2] += PRIOR_B / PRIOR_B_SD**2
        cov = _inverse(m)
        if cov is None:
            return None
        c, a, b = (sum(cov[i][j] * v[j] for j in range(3)) for i in range(3))
        return (c, a, b), cov


def _inverse(m: list[list[float]]) -> list[list[float]] | None:
    """Inverse of a symmetric positive definite 3 x 3 matrix, scaled to unit diagonal first; None where it has none."""
    scale = [sqrt(m[i][i]) if m[i][i] > 0.0 else 0.0 for i in range(3)]
    if not all(scale):
        return None
    (a, b, c), (_, d, e), (_, _, f) = ([m[i][j] / (scale[i] * scale[j]) for j in range(3)] for i in range(3))
    det = a * (d * f - e * e) - b * (b * f - c * e) + c * (b * e - c * d)
    if det < 1e-14:
        return None
    cof = [[d * f - e * e, c * e - b * f, b * e - c * d], [0, a * f - c * c, b * c - a * e], [0, 0, a * d - b * b]]
    return [[cof[min(i, j)][max(i, j)] / det / (scale[i] * scale[j]) for j in range(3)] for i in range(3)]


class HeatWatch:
    """Follows the reservoir: is it heating, cooling, since when, and what follows from that."""

    __slots__ = (
        "fit", "_start_ms", "_start_c", "_low", "_last", "_sampled_ms", "_recent", "_turn_c", "_step_k",
    )  # fmt: skip

    def __init__(self) -> None:
        self.fit = Fit()
        self._start_ms: int | None = None  # start of the heat-up under way
        self._start_c = 0.0
        self._low: tuple[int, float] | None = None  # lowest since the last time it was falling
        self._last: tuple[int, float, float] | None = None  # mono, liquid, room
        self._sampled_ms = 0
        self._recent: deque[tuple[int, float]] = deque()  # one a quarter of a minute, ten minutes

        self._turn_c = 0.0
        self._step_k = inf  # the smallest step between two readings: the probe's resolution

    @property
    def heating_since_ms(self) -> int | None:
        """Monotonic start of the heat-up under way; None where it isn't heating."""
        return self._start_ms

    @property
    def started_at_c(self) -> float:
        """Temperature at which the heat-up under way began [Cel]."""
        return self._start_c

    def forget(self) -> None:
        """What is going on has nothing to do with heating (the liquid is away, or has just come back)."""
        self._stop()
        self._low = self._last = None
        self._recent.clear()

    def _stop(self) -> None:
        self._start_ms = None
        self.fit = Fit()

    def hear(self, liquid_c: float, room_c: float, mono_ms: int) -> None:
        """One good reading of the reservoir, with the room (measured or declared)."""
        last = self._last
        if last is not None and liquid_c != last[1]:
            self._step_k = min(self._step_k, abs(liquid_c - last[1]))
        self._last = (mono_ms, liquid_c, room_c)
        if last is None or mono_ms - last[0] > 900_000:
            self.forget()
            self._last, self._low = (mono_ms, liquid_c, room_c), (mono_ms, liquid_c)
            self._sample(mono_ms, liquid_c)
            return
        if self._start_ms is not None:
            step_s = (mono_ms - last[0]) / 1000.0
            self.fit.integral += 0.5 * (liquid_c - room_c + last[1] - last[2]) * step_s
        if mono_ms - self._sampled_ms >= SAMPLE_MS:
            self._sample(mono_ms, liquid_c)

    def _sample(self, mono_ms: int, liquid_c: float) -> None:
        self._sampled_ms = mono_ms
        recent = self._recent
        recent.append((mono_ms, liquid_c))
        while mono_ms - recent[0][0] > 600_000:
            recent.popleft()
        if self._low is None or liquid_c < self._low[1]:
            self._low = (mono_ms, liquid_c)
        if self._start_ms is None:
            slope = self.slope_k_per_min(300_000)
            if liquid_c - self._low[1] >= 0.3 and slope is not None and slope > 0.03:
                self._begin()
        else:
            self._turn_c = max(self._turn_c, liquid_c)
            slope = self.slope_k_per_min(300_000)
            if liquid_c < self._turn_c - 0.7 or (slope is not None and slope < -0.03):
                self._stop()
                self._low = (mono_ms, liquid_c)
            elif mono_ms - self._start_ms >= SKIP_MS:
                self.fit.add((mono_ms - self._start_ms) / 1000.0, liquid_c)

    def _begin(self) -> None:
        """A heat-up is under way: it began where the lowest reading was; what came since is taken along."""
        assert self._low is not None and self._last is not None
        start, room_c = self._low[0], self._last[2]
        self._start_ms, self._start_c, self._turn_c, self.fit = start, self._low[1], self._low[1], Fit()
        before: tuple[int, float] | None = None
        for mono_ms, liquid_c in self._recent:
            if mono_ms < start:
                continue
            if before is not None:
                self.fit.integral += 0.5 * (liquid_c + before[1] - 2.0 * room_c) * (mono_ms - before[0]) / 1000.0
            before = (mono_ms, liquid_c)
            if mono_ms - start >= SKIP_MS:
                self.fit.add((mono_ms - start) / 1000.0, liquid_c)

    def slope_k_per_min(self, over_ms: int) -> float | None:
        """Slope of the last `over_ms` (at most ten minutes); None where there are fewer than four samples over half of it."""
        recent = [(t, c) for t, c in self._recent if self._sampled_ms - t <= over_ms]
        if len(recent) < 4 or recent[-1][0] - recent[0][0] < over_ms / 2:
            return None
        n = len(recent)
        mean_t, mean_c = sum(t for t, _ in recent) / n, sum(c for _, c in recent) / n
        spread = sum((t - mean_t) ** 2 for t, _ in recent)
        return 60_000.0 * sum((t - mean_t) * (c - mean_c) for t, c in recent) / spread if spread else None

    def fell_by(self, liquid_c: float, over_ms: int) -> float:
        """How far it is below its highest sample of the last `over_ms` [K]."""
        return max((c for t, c in self._recent if self._sampled_ms - t <= over_ms), default=liquid_c) - liquid_c

    def until(self, target_c: float, mono_ms: int) -> Forecast:
        """Time until the liquid reads `target_c` and has held it for two minutes.

        A probe that rounds to steps reads the target half a step early.
        """
        target_c -= 0.5 * self._step_k if self._step_k <= COARSEST_K else 0.0
        if self._last is None:
            return Forecast(None, None, None, "no reading of the reservoir")
        if self._start_ms is None:
            return Forecast(None, None, None, "it is not heating")
        if mono_ms - self._start_ms < FOUNDED_MS:
            return Forecast(None, None, None, "not known yet: heating has only just begun")
        solved = self.fit.solve()
        if solved is None:
            return Forecast(None, None, None, "not known yet: too few readings since heating began")
        (c, a, b), cov = solved
        room_c, since_s = self._last[2], (mono_ms - self._start_ms) / 1000.0
        since_s = min(since_s, (self._last[0] - self._start_ms) / 1000.0)
        now_c = c + a * since_s - b * self.fit.integral

        def remaining(da: float = 0.0, db: float = 0.0, dc: float = 0.0) -> float | None:
            rate = max(b + db, 1e-7)
            start = now_c + dc + da * since_s - db * self.fit.integral
            return 0.0 if start >= target_c else time_to_s(start, target_c, room_c + (a + da) / rate, rate)

        mean = remaining()
        if mean is None:
            return Forecast(
                None, None, None, f"it will not get there: at this rate it ends near {room_c + a / max(b, 1e-7):.1f} °C"
            )
        grad = []
        for k, sd in enumerate(sqrt(max(cov[i][i], 0.0)) for i in range(3)):
            step = 0.1 * sd
            moved = remaining(**{("dc", "da", "db")[k]: step})
            grad.append(0.0 if moved is None or step == 0.0 else (moved - mean) / step)
        variance = sum(grad[i] * cov[i][j] * grad[j] for i in range(3) for j in range(3))
        sd_s = sqrt(max(variance, 0.0) + (MODEL_FLOOR * mean) ** 2)
        passed_ms = mono_ms - self._last[0]
        mean_ms = max(int(mean * 1000) - passed_ms, 0)
        spread_ms = int(Z90 * sd_s * 1000)
        return Forecast(mean_ms + HOLD_MS, max(mean_ms - spread_ms, 0) + HOLD_MS, mean_ms + spread_ms + HOLD_MS, "")

    def until_below(self, limit_c: float, mono_ms: int) -> Forecast:
        """Time until a cooling liquid is below `limit_c`."""
        if self._last is None:
            return Forecast(None, None, None, "no reading of the reservoir")
        liquid_c, room_c = self._last[1], self._last[2]
        if liquid_c < limit_c:
            return Forecast(None, None, None, "it is below already")
        slope = self.slope_k_per_min(600_000)
        if slope is None or slope > -0.005:
            return Forecast(None, None, None, "it is not cooling")
        if room_c >= limit_c:
            return Forecast(None, None, None, "the room keeps it above")
        # the slope of the last ten minutes gives b, as at their middle
        middle_c = liquid_c - slope * 5.0
        rate_per_s = -slope / 60.0 / max(middle_c - room_c, 0.5)
        left = time_to_s(liquid_c, limit_c, room_c, rate_per_s)
        if left is None:
            return Forecast(None, None, None, "it is not cooling")
        left_ms = max(int(left * 1000) - (mono_ms - self._last[0]), 0)
        spread_ms = int(0.25 * left_ms) + 60_000
        return Forecast(left_ms, max(left_ms - spread_ms, 0), left_ms + spread_ms, "")
