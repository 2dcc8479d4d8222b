"""The filter train from finished draws: the taps' zeros, each stage's drop over the water that has passed, and the life left.

Everything here is rebuilt from the journal's draw entries, in their order. Pressure sensors of 1 % of 100 psi are 0.8 psi off, on a clean
drop of 2 psi. But without flow all taps have one pressure. So the differences between the taps at rest, before each draw (a whole
quiet night is before the first one), are the differences of their zeros, and are taken off the drops. Zeros drift: where they move by more
than a quiet spell's own noise, the zero is the median of fewer spells.

A sudden fall of a drop is never good news: a filter may be torn or by-passed, or was changed without a record. Numbers without a
source beside them are common practice, no published source.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise
from typing import Any, Final, NamedTuple
from zoneinfo import ZoneInfo

from edge.domain.entry_bodies import DrawBody, tap_kpa
from edge.domain.maths.robust import MAD_TO_SIGMA, Z90, mad_sigma, mann_kendall, median
from edge.domain.settings import Settings
from edge.domain.water.draws import SEEN_TO_END
from edge.domain.water.filter_life import SCALE_U, Housing, Kind, Life, Point, fit
from edge.domain.water.filter_pair import LEAST_TOGETHER, Pair, Side, together
from edge.domain.water.normalise import GAINS_AT_MOST_KPA, Parts, colder_share, parts, scaled, taps_of

#: Id of the whole train as one stage, where no pressure is known between its stages; no filter's id is a star.
TRAIN: Final = "*"
#: A zero is the median of at most this many quiet spells.
ZERO_SPELLS: Final = 15
#: A drifting zero is the median of at least this many quiet spells.
LEAST_SPELLS: Final = 3
#: A larger difference between taps at rest is no zero error [kPa]: a check valve may hold pressure.
ZERO_AT_MOST_KPA: Final = 25.0
#: Quiet spells kept of each tap, to tell drift from noise.
ZEROS_KEPT: Final = 60
#: Drift shows in the differences of spells this many apart.
DRIFTS_OVER: Final = 8
#: Those differences are drift beyond this many times the mean square of neighbouring ones.
BY_CHANCE: Final = 1.3
#: Points kept of a stage, an even number; neighbours are merged beyond it, so that each point has as many draws as the first.
POINTS_KEPT: Final = 96
#: The drop is the median of this many last draws.
DROP_DRAWS: Final = 3
#: Efficiency of the median absolute deviation for normal values (Hampel: 37 %).
MAD_AS_GOOD: Final = 0.37
#: A sudden fall is told by this many draws: with more the median would look better first.
FALL_DRAWS: Final = 2
#: A sudden fall is compared with this many draws before it.
FALL_BEFORE: Final = 10
#: With fewer draws before it no ordinary fall is told.
FALL_LEAST_BEFORE: Final = 5
#: A drop that is up again within this many draws had not fallen; a later growth is that of another filter, or of a torn one.
COMES_BACK: Final = 6
#: A fall below this share of the least drop before is told even with few draws: a new filter takes more.
NEARLY_ALL: Final = 0.2
#: Such a fall needs this many draws before it.
NEARLY_ALL_BEFORE: Final = 2
#: A sudden fall is at least this share of the drop.
FELL_SHARE: Final = 0.3
#: A sudden fall is at least this [kPa].
FELL_KPA: Final = 3.0
#: A sudden fall is at least this many standard deviations of the draws before.
FELL_SIGMA: Final = 6.0
#: A new filter below this share of its predecessor's clean drop is none: an empty housing takes some pressure, too.
EMPTY_SHARE: Final = 0.25
#: The predecessor was seen clean if it took at most this share of its limit: media of one rating differ by a factor of two, not of four.
CLEAN_SHARE: Final = 0.5
#: A filter that is due stays due until it is changed, or its drop is below the limit by this share.
DUE_BAND: Final = 0.1
#: Relative standard uncertainty of a drop's scale without a water temperature: 2.5 % of viscosity go with 1 K, cold water varies by some
#: 4 K over the year, and its mean may be as far from the reference.
SCALE_BLIND_U: Final = 0.15
#: Of two stages that seem to end together, the first is told as ending this share sooner.
TIE: Final = 0.005
#: A stage loads if its drops rise with this standard score (Mann-Kendall; 2.5 % by chance).
LOADS_Z: Final = 1.96
#: The fit is made again once this share more water has passed.
REFIT_SHARE: Final = 0.02


class Zeros:
    """The taps' zeros: how far each tap reads below the supply's at rest [kPa]."""

    def __init__(self) -> None:
        self._seen: dict[str, deque[float]] = {}
        self._below: dict[str, float] = {}  # caches of below() and surely_below(), by tap
        self._surely: dict[str, float] = {}
        #: Taps whose gauges are doubted at rest (cross_checks.py): nothing is learned of them.
        self.held: frozenset[str] = frozenset()

    def learn(self, static_kpa: Mapping[str, float]) -> None:
        """Learn from the pressures of all taps in one quiet spell [kPa]."""
        supply = static_kpa.get("supply")
        if supply is None:
            return
        self._anew()
        for tap, kpa in static_kpa.items():
            is_held = tap in self.held or "supply" in self.held
            if tap != "supply" and not is_held and abs(supply - kpa) <= ZERO_AT_MOST_KPA:
                self._seen.setdefault(tap, deque(maxlen=ZEROS_KEPT)).append(round(supply - kpa, 4))

    def forget(self, tap: str) -> None:
        """Forget the zero of a tap whose gauge was calibrated or compared; the supply's is the reference of all others."""
        for one in [tap] if tap != "supply" else list(self._seen):
            self._seen.pop(one, None)
        self._anew()

    def _anew(self) -> None:
        self._below.clear()
        self._surely.clear()

    def below(self, tap: str) -> float:
        """The correction that makes a tap's pressure comparable with the supply's [kPa]."""
        if tap not in self._below:
            seen = self._seen.get(tap)
            self._below[tap] = median(list(seen)[-spells_of(seen) :]) if seen else 0.0
        return self._below[tap]

    def surely_below(self, tap: str) -> float:
        """As below(), but surely not too small [kPa]: the largest difference seen but one, and at least 0.

        Pressure that a check valve holds behind the supply's gauge looks like a tap that reads too high, until the valve lets go.
        """
        if tap not in self._surely:
            seen = self._seen.get(tap)
            self._surely[tap] = max([0.0, *sorted(seen)[-2:][:1]]) if seen else 0.0
        return self._surely[tap]

    def knows(self, tap: str) -> bool:
        """Was this tap seen at rest, so that its zero is known?"""
        return tap == "supply" or tap in self._seen

    def state(self) -> dict[str, list[float]]:
        """What has to survive a restart, as JSON."""
        return {tap: list(seen) for tap, seen in self._seen.items()}

    def restore(self, state: Mapping[str, Sequence[float]]) -> None:
        """Take back what state() gave."""
        self._seen = {tap: deque(seen, maxlen=ZEROS_KEPT) for tap, seen in state.items()}
        self._anew()


def spells_of(seen: Sequence[float]) -> int:
    """The best number of quiet spells for the median that is a zero: fewer where the zero drifts by more than the spells' noise.

    For a random walk of variance q per spell, read with variance r, values m apart differ by 2 r + m q in the mean square. The median of m
    values has a variance of about 1.57 r / m by noise and q m / 3 by its lag, so the best m is sqrt(4.7 r / q).
    """
    if len(seen) < 3 * DRIFTS_OVER:
        return ZERO_SPELLS
    near, far = (_spread(seen, apart) for apart in (1, DRIFTS_OVER))
    drift = max(far - BY_CHANCE * near, 0.0) / (DRIFTS_OVER - 1)
    noise = max(near - drift, 0.0) / 2.0
    best = math.sqrt(4.7 * noise / drift) if drift > 0.0 else math.inf
    return int(min(max(best, LEAST_SPELLS), ZERO_SPELLS))


def _spread(seen: Sequence[float], apart: int) -> float:
    """The mean square of the differences of values `apart` places apart; outliers are clipped to three standard deviations."""
    rows = list(seen)
    off = [b - a for a, b in zip(rows, rows[apart:], strict=False)]
    most = 3.0 * MAD_TO_SIGMA * median([abs(v) for v in off])
    return sum(min(abs(v), most) ** 2 for v in off) / len(off)


class Fall(NamedTuple):
    """A sudden fall of a drop: before, after [kPa]; wall time of the last draw before it [ms]."""

    before_kpa: float
    after_kpa: float
    wall_ms: int


class LifePoint(NamedTuple):
    """A point of a stage's life with the wall time of its last draw [ms]."""

    wall_ms: int
    point: Point


class Stage:
    """One stage of the train, or the whole train as one: its drops at the reference [kPa] since the last change."""

    def __init__(self, limit_kpa: float | None) -> None:
        self.limit_kpa = limit_kpa
        self.life: Life | None = None
        self._alone: Life | None = None  # the fit of its own points, without the other stage's evidence
        self.loads = True  # its drops rise, or are too few to tell
        self.fell: Fall | None = None
        self._seen: list[LifePoint] = []
        self._aside: list[LifePoint] = []  # points from before the last change, which a correction may take back
        self._recent: deque[LifePoint] = deque(maxlen=FALL_DRAWS + FALL_BEFORE)
        # The share of the last draw's drop that may be due to cold water; None: its water temperature is known.
        self.colder: float | None = None
        self.is_due = False
        self._housing = Housing()  # kept over a change of the filter: the housing stays
        self._before: Point | None = None
        self._fitted_l: float | None = None
        self._cache: dict[int | None, float | None] = {}  # cache of drop_kpa(), by time of change

    def add(self, seen: LifePoint, changed_ms: int | None, colder: float | None = None) -> None:
        """Add one draw. `colder`: the share of its drop that may be due to cold water; None: the water's temperature is known."""
        self.colder = colder
        self._cache.clear()
        self.rebase(changed_ms)
        if self._before is not None:
            self._housing = self._housing.and_draws(self._before, seen.point)
        self._before = seen.point
        self._recent.append(seen)
        self._look_for_fall(changed_ms)
        self._look_whether_due(changed_ms)
        if self._seen and seen.point.volume_l <= self._seen[-1].point.volume_l:
            return  # the meter ran backwards, or no water passed: no new point
        open_still = len(self._seen) > 1 and self._seen[-1].point.weight < self._seen[0].point.weight
        if open_still:
            self._seen[-1] = _merged(self._seen[-1], seen)
            return
        if len(self._seen) == POINTS_KEPT:
            self._seen = [_merged(a, b) for a, b in zip(self._seen[::2], self._seen[1::2], strict=True)]
        self._seen.append(seen)

    def rebase(self, changed_ms: int | None) -> None:
        """Divide the points anew by the last change: those before it belong to another filter."""
        since = -math.inf if changed_ms is None else changed_ms
        if self.fell is not None and self.fell.wall_ms < since:
            self.fell = None
        if self._recent and self._recent[-1].wall_ms <= since:
            self.is_due = False
        old, new = self._aside, self._seen
        if (old and old[-1].wall_ms > since) or (new and new[0].wall_ms <= since):
            every = [*old, *new]
            self._seen = [seen for seen in every if seen.wall_ms > since]
            self._aside = [seen for seen in every if seen.wall_ms <= since][-POINTS_KEPT:]
            self._cache.clear()
            self.life = self._fitted_l = None
            self.loads = True

    def _housing_kpa(self) -> float:
        first = [seen.point for seen in self._seen[:5]]
        clean = median([point.drop_kpa / point.laminar for point in first]) if first else 0.0
        return self._housing.known_kpa(clean) if clean > 0.0 else 0.0

    def level(self, point: Point) -> float:
        """A draw's drop at the reference [kPa]: the housing's share, if known, scales with the square of the flow, the rest as laminar."""
        return scaled(point.drop_kpa, Parts(point.laminar, point.square), self._housing_kpa())

    def _levels(self, changed_ms: int | None) -> list[float]:
        """Drops at the reference of the last draws since the change [kPa]."""
        housing = self._housing_kpa()
        return [
            scaled(seen.point.drop_kpa, Parts(seen.point.laminar, seen.point.square), housing)
            for seen in self._recent
            if changed_ms is None or seen.wall_ms > changed_ms
        ]

    def drop_kpa(self, changed_ms: int | None) -> float | None:
        """The drop now [kPa]: the median of the last three draws; of two, the later. None without a draw since the change."""
        if changed_ms not in self._cache:
            levels = self._levels(changed_ms)[-DROP_DRAWS:]
            self._cache[changed_ms] = None if not levels else levels[-1] if len(levels) < DROP_DRAWS else median(levels)
        return self._cache[changed_ms]

    def took_clean_kpa(self, changed_ms: int | None) -> float | None:
        """The clean drop of the filters before [kPa], where this one takes far too little to be a filter; else None.

        Two draws count, since air leaves a housing with the first. The clean drop is the 10 % point of the drops before the change, since
        some draws are of other water.
        """
        now = self._levels(changed_ms)[-FALL_DRAWS:]
        before = sorted(self.level(seen.point) for seen in self._aside)
        if not before or len(now) < FALL_DRAWS or self.limit_kpa is None:
            return None
        clean = before[len(before) // 10]
        seen_clean = clean <= CLEAN_SHARE * self.limit_kpa
        return clean if seen_clean and max(now) < EMPTY_SHARE * clean else None

    def half_kpa(self, changed_ms: int | None) -> float | None:
        """Half the 90 % interval of `drop_kpa` [kPa], from the scatter of the draws; None where there were too few.

        The median of three normal values has 0.67 times the standard deviation of one (textbook). The standard deviation of a few
        differences is itself poorly known, which Student's factor accounts for (Cornish and Fisher's first term).
        """
        levels = self._levels(changed_ms)
        steps = [abs(b - a) for a, b in pairwise(levels)]
        if len(steps) < DROP_DRAWS:
            return None
        sigma = MAD_TO_SIGMA * median(steps) / math.sqrt(2.0)
        return Z90 * (1.0 + (Z90 * Z90 + 1.0) / (4.0 * len(steps) * MAD_AS_GOOD)) * 0.67 * sigma

    def _look_for_fall(self, changed_ms: int | None) -> None:
        levels = self._levels(changed_ms)
        if self.fell is not None:
            since = sum(seen.wall_ms > self.fell.wall_ms for seen in self._recent)
            is_back = min(levels[-FALL_DRAWS:], default=0.0) > (self.fell.before_kpa + self.fell.after_kpa) / 2.0
            if is_back and since <= COMES_BACK:
                self.fell = None
            return
        before, after = levels[:-FALL_DRAWS], levels[-FALL_DRAWS:]
        nearly_all = len(before) >= NEARLY_ALL_BEFORE and max(after) < NEARLY_ALL * min(before)
        if len(before) < FALL_LEAST_BEFORE and not nearly_all:
            return
        was, now = median(before), max(after)
        if was - now > max(FELL_SHARE * was, FELL_KPA, FELL_SIGMA * mad_sigma(before)):
            self.fell = Fall(round(was, 3), round(median(after), 3), self._recent[-FALL_DRAWS - 1].wall_ms)

    def doubt_kpa(self, drop_kpa: float) -> float:
        """The part of a drop that may be due to water colder than the reference [kPa]."""
        return drop_kpa * self.colder if self.colder is not None else 0.0

    def _look_whether_due(self, changed_ms: int | None) -> None:
        drop = self.drop_kpa(changed_ms)
        if drop is None or self.limit_kpa is None:
            return
        band = DUE_BAND if self.is_due else 0.0
        self.is_due = drop - self.doubt_kpa(drop) > (1.0 - band) * self.limit_kpa

    def look(self, passed_l: float, changed_ms: int | None) -> bool:
        """Make the fit again where enough water has passed since the last one; is there another fit than before?"""
        self.rebase(changed_ms)
        if self.limit_kpa is None or self.fell is not None or not self._seen:
            was, self.life, self._fitted_l = self.life, None, None
            return was is not None
        span = passed_l - self._seen[0].point.volume_l
        if self._fitted_l is not None and passed_l - self._fitted_l < REFIT_SHARE * span:
            return False
        self._fitted_l = passed_l
        points = [seen.point for seen in self._seen]
        drops = [point.drop_kpa / point.laminar for point in points]
        self.loads = len(drops) < LEAST_TOGETHER or mann_kendall(drops).z > LOADS_Z
        scale_u = SCALE_U if self.colder is None else SCALE_BLIND_U
        self._alone = fit(points, self._housing, self.limit_kpa, passed_l, scale_u)
        self.life = self._alone
        return True

    def side(self) -> Side | None:
        """This stage as input of the fit of two together; None without a fit of its own."""
        if self.life is None or self._alone is None or self.limit_kpa is None:
            return None
        return Side([s.point for s in self._seen], self.limit_kpa, self._alone)

    def told(self, weights: Mapping[Kind, float]) -> None:
        """Take the weights of this stage's laws from the fit of two together."""
        if self._alone is not None:
            self.life = self._alone.weighed(weights)

    def left(self, passed_l: float) -> tuple[float, float, float] | None:
        """(litres left, 5 and 95 % points); infinity: the drop hardly grows; None: nothing can be said."""
        if self.life is None or self._fitted_l is None:
            return None
        since = passed_l - self._fitted_l
        low, middle, high = (max(v - since, 0.0) for v in (self.life.low_l, self.life.left_l, self.life.high_l))
        return middle, low, high

    def state(self) -> dict[str, Any]:
        """What has to survive a restart, as JSON."""
        fell = None if self.fell is None else list(self.fell)
        lists = {"seen": self._seen, "aside": self._aside, "recent": self._recent}
        return {name: [_flat(seen) for seen in kept] for name, kept in lists.items()} | {
            "fell": fell,
            "housing": list(self._housing),
            "colder": self.colder,
            "due": self.is_due,
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take back what state() gave."""
        self._seen, self._aside = ([_life_point(flat) for flat in state[name]] for name in ("seen", "aside"))
        self._recent = deque(map(_life_point, state["recent"]), maxlen=FALL_DRAWS + FALL_BEFORE)
        self.colder, self.is_due = state["colder"], state["due"]
        self._housing, self._before = Housing(*state["housing"]), self._recent[-1].point if self._recent else None
        self.fell = None if state["fell"] is None else Fall(*state["fell"])
        self._cache.clear()


def _merged(a: LifePoint, b: LifePoint) -> LifePoint:
    """Two neighbouring points merged by weight: the sums of the fit stay the same, but for the curvature between them."""
    one, other = a.point, b.point
    weight = one.weight + other.weight
    mean = [(x * one.weight + y * other.weight) / weight for x, y in zip(one[:4], other[:4], strict=True)]
    return LifePoint(b.wall_ms, Point(mean[0], mean[1], mean[2], mean[3], weight))


def _flat(seen: LifePoint) -> list[float]:
    return [seen.wall_ms, *(round(value, 6) for value in seen.point)]


def _life_point(flat: Sequence[float]) -> LifePoint:
    return LifePoint(int(flat[0]), Point(*flat[1:]))


def _pooled(one: tuple[float, float, float], other: tuple[float, float, float]) -> float:
    """The mean of two medians weighted by the inverse square of their intervals; where one is infinite, the other."""
    known = [left for left in (one, other) if math.isfinite(left[0])]
    if not known:
        return math.inf
    weights = [(max(min(high, 1e12) - low, 1e-9)) ** -2 for _, low, high in known]
    return sum(w * left[0] for w, left in zip(weights, known, strict=True)) / sum(weights)


class Train:
    """All stages of a station.

    Args:
        taps: the taps that have a pressure point.
        changed: gives a filter's last recorded change [ms, wall]; None where there is none on record.
    """

    def __init__(
        self, settings: Settings, taps: frozenset[str], changed: Callable[[str], int | None], zone: ZoneInfo
    ) -> None:
        self._settings, self._changed, self._zone = settings, changed, zone
        self.zeros = Zeros()
        ids = [stage.id for stage in settings.filters]
        limits = {stage.id: stage.drop_limit_kpa for stage in settings.filters}
        pairs = {ident: pair for ident, pair in taps_of(ids).items() if set(pair) <= taps}
        #: Only the drop over all stages is known: they can't be told apart.
        self.is_lumped = not pairs and len(ids) > 1 and {"supply", "filtered"} <= taps
        self._pairs = {TRAIN: ("supply", "filtered")} if self.is_lumped else pairs
        known = [limit for limit in limits.values() if limit is not None]
        limits[TRAIN] = sum(known) if len(known) == len(ids) else None
        self.stages = {ident: Stage(limits[ident]) for ident in self._pairs}
        self.pair: Pair | None = None

    def of(self, ident: str) -> Stage | None:
        """The stage of a filter: its own, or the whole train."""
        return self.stages.get(TRAIN if self.is_lumped else ident)

    def taps_of(self, ident: str) -> tuple[str, ...]:
        """The taps before and after a filter, or those of the whole train where no pressure is known between."""
        return tuple(self._pairs.get(TRAIN if self.is_lumped else ident, ()))

    def zeros_known(self, ident: str) -> bool:
        """Are the zeros of both taps of a filter known, so that they are taken off its drop?"""
        return all(self.zeros.knows(tap) for tap in self.taps_of(ident))

    def changed_ms(self, ident: str) -> int | None:
        """When a stage was last changed [ms, wall]; the whole train counts from its newest change."""
        if ident != TRAIN and not self.is_lumped:
            return self._changed(ident)
        return max(filter(None, (self._changed(stage.id) for stage in self._settings.filters)), default=None)

    def rebase(self) -> None:
        """Divide all stages' points anew by the filters' changes."""
        for ident, stage in self.stages.items():
            stage.rebase(self.changed_ms(ident))

    def learn(self, body: DrawBody, wall_ms: int) -> dict[str, float]:
        """Learn from a draw's entry; the drop at the reference [kPa] of each stage that it shows, by filter id."""
        flow_l_min, temperature_c = body["flow_l_min"], body["supply_c"]
        self.zeros.learn(body.get("static_kpa") or {})
        if flow_l_min is None or flow_l_min <= 0.0 or body["ended"] != SEEN_TO_END:
            return {}
        laminar, square = parts(self._settings, flow_l_min, temperature_c)
        reference_c = self._settings.reference_c
        blind = temperature_c is None and reference_c is not None
        colder = colder_share(reference_c, wall_ms, self._zone) if blind and reference_c is not None else None
        found: dict[str, float] = {}
        for ident, (before, after) in self._pairs.items():
            high, low = tap_kpa(body, before), tap_kpa(body, after)
            if high is None or low is None or not self.zeros.held.isdisjoint((before, after)):
                continue
            drop = (high + self.zeros.below(before)) - (low + self.zeros.below(after))
            if drop < -GAINS_AT_MOST_KPA:
                continue
            point = Point(body["total_l"] - body["volume_l"] / 2.0, laminar, square, drop)
            self.stages[ident].add(LifePoint(wall_ms, point), self.changed_ms(ident), colder)
            found[ident] = round(self.stages[ident].level(point), 4)
        return found

    def look(self, passed_l: float) -> None:
        """After a draw: make the fits again where they are due."""
        anew = [stage.look(passed_l, self.changed_ms(ident)) for ident, stage in self.stages.items()]
        if len(self.stages) != 2 or not any(anew):
            return
        one, other = self.stages.values()
        own, its = one.side(), other.side()
        both_load = one.loads and other.loads  # otherwise neither shows anything of the other
        self.pair = None if own is None or its is None or not both_load else together(own, its)
        if self.pair is not None:
            one.told(self.pair.one_kinds)
            other.told(self.pair.other_kinds)

    def left(self, ident: str, passed_l: float) -> tuple[float, float, float] | None:
        """(a stage's litres left, 5 and 95 % points); None: nothing can be said.

        Where the fit of both says which stage ends first but their litres are in the other order, both get the pooled litres, the first
        by TIE less and the second by TIE more.
        """
        stage = self.of(ident)
        own = None if stage is None else stage.left(passed_l)
        if own is not None and stage is not None and not stage.loads and own[0] > 0.0:
            return math.inf, own[1], math.inf
        if own is None or self.pair is None or self.is_lumped:
            return own
        lefts = {name: left for name, of in self.stages.items() if (left := of.left(passed_l)) is not None}
        if len(lefts) < 2 or any(left[0] == 0.0 for left in lefts.values()):
            return own
        names = list(lefts) if self.pair.one_first >= 0.5 else list(lefts)[::-1]
        first, second = (lefts[name] for name in names)
        pooled = _pooled(first, second)
        if first[0] < second[0] or math.isinf(pooled):
            return own
        middle = pooled * (1.0 - TIE) if names[0] == ident else pooled * (1.0 + TIE)
        return middle, min(own[1], middle), max(own[2], middle)

    def leading(self, passed_l: float) -> str | None:
        """The stage that will reach its limit first; where that can't be told, the one nearest to its limit. None: nothing can be said.

        A stage that doesn't load is left out, unless it is at its limit already.
        """
        if self.is_lumped or len(self.stages) < 2:
            return None
        ranks: list[tuple[float, float, str]] = []
        for ident, stage in self.stages.items():
            drop = stage.drop_kpa(self.changed_ms(ident))
            if drop is None or not stage.limit_kpa:
                return None
            left = self.left(ident, passed_l)
            if not stage.loads and drop < stage.limit_kpa:
                continue
            ranks.append((math.inf if left is None else left[0], -drop / stage.limit_kpa, ident))
        return min(ranks)[2] if ranks else None

    def state(self) -> dict[str, Any]:
        """What has to survive a restart, as JSON."""
        return {"zeros": self.zeros.state(), "stages": {ident: stage.state() for ident, stage in self.stages.items()}}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take back what state() gave; a stage that this station no longer has is ignored."""
        self.zeros.restore(state["zeros"])
        for ident, kept in state["stages"].items():
            if ident in self.stages:
                self.stages[ident].restore(kept)
